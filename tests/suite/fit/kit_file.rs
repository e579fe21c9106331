//! Kit files: every key, and every fault with its place.

use barwright::kit::{Kind, Kit, Position, Reads, report, show};
use barwright::score::Midi;

/// The faults of a text, a line each.
fn faults(text: &str) -> Vec<String> {
    Kit::parse(text).unwrap_err().0.iter().map(ToString::to_string).collect()
}

const WHOLE: &str = include_str!("../../../fixtures/kits/every-key.toml");

#[test]
fn every_key_is_read() {
    let kit = Kit::parse(WHOLE).unwrap();
    assert_eq!(kit.name, "every key");
    assert_eq!(kit.singing.0.to_string(), "D4");
    assert_eq!(kit.weights.hand_over, 0.5);
    let bass = &kit.instruments[0];
    assert_eq!((bass.id.as_str(), bass.kind, bass.fillers), ("bass", Kind::BassXylophone, true));
    assert!(bass.slots.iter().any(|s| s.lost && s.bar.to_string() == "B3"));
    assert_eq!(bass.slots.iter().map(|s| s.spares.len()).sum::<usize>(), 2);
    assert_eq!(bass.melody_cost(), None);
    let c3 = bass.slots[0].bar;
    assert_eq!(bass.mark(c3).unwrap().color.as_deref(), Some("#cc0000"));
    let row = &kit.instruments[1];
    assert_eq!((row.kind, row.like), (Kind::Custom, Kind::AltoMetallophone));
    assert_eq!(row.slots.len(), 25);
    assert!(row.holds([65, 66, 70, 71].map(Midi::new).into_iter().collect()));
    assert_eq!(row.mallet(), "cork");
    let bars = &kit.instruments[2];
    assert!(bars.slots.iter().all(|s| s.loose));
    assert_eq!(bars.id, "tone-bars");
    let other = &kit.instruments[3];
    let d4 = other.slot_of(Midi::new(63)).unwrap();
    assert_eq!(other.slots[d4].bar.to_string(), "D4");
    let player = &kit.players[0];
    assert_eq!((player.mallets, player.position, player.reads), (1, Position::Bed, Reads::Ear));
    assert_eq!(player.strikes_per_minute, 45.5);
}

#[test]
fn all_faults_are_told_at_once_with_place_and_nearest_word() {
    let text = "nam = \"x\"\n[[instrument]]\nkind = \"alto xylofone\"\n\n[[instrument]]\n\
                kind = \"bass xylophone\"\nspares = [\"F#5\"]\nmissing = [\"C9\"]\nrang = \"C3-A4\"\n\
                [[player]]\nname = \"a\"\nmallets = 3\nposition = \"sofa\"\ninstruments = [\"bas\"]\n";
    assert_eq!(
        faults(text),
        [
            "line 1, column 1: unknown key `nam` in the kit file; did you mean `name`?",
            "line 3, column 8: unknown kind `alto xylofone`; did you mean `alto xylophone`?",
            "line 7, column 11: F#5 can't stand on `bass-xylophone`: it goes in the place of F5, \
             and there is no F5; the nearest bar that can is F#4",
            "line 8, column 12: C9 can't be missing from `bass-xylophone`: it has no such bar; the \
             nearest bar that can is A4",
            "line 9, column 1: unknown key `rang` in instrument; did you mean `range`?",
            "line 12, column 11: `mallets` must be 1 or 2",
            "line 13, column 12: unknown position `sofa`; the nearest allowed word is `floor`; \
             allowed are floor, seated, standing, wheelchair, bed",
            "line 14, column 16: unknown instrument id `bas`; the nearest allowed word is \
             `bass-xylophone`; allowed are bass-xylophone",
        ]
    );
}

/// A misspelled kind is one fault: its instrument's id is known all the same.
#[test]
fn one_fault_does_not_raise_others() {
    let text = "[[instrument]]\nkind = \"alto xylofone\"\nid = \"a\"\n[[instrument]]\n\
                kind = \"bass xylophone\"\nid = \"A\"\n[[player]]\nname = \"x\"\ninstruments = [\"a\"]\n";
    assert_eq!(
        faults(text),
        [
            "line 2, column 8: unknown kind `alto xylofone`; did you mean `alto xylophone`?",
            "line 6, column 6: instrument id `A` is named twice; give each its own (capitals don't count)",
        ]
    );
}

#[test]
fn broken_toml_and_empty_files_are_faults() {
    assert!(faults("name = ").iter().all(|f| f.starts_with("line 1, column ")));
    assert!(faults("")[0].contains("[[instrument]]"));
    assert!(faults("[[instrument]]\nid = \"a\"")[0].contains("needs `kind`"));
    assert!(faults("[[instrument]]\nkind = \"tone bars\"")[0].contains("needs `bars`"));
    let twice = "[[instrument]]\nkind = \"alto xylophone\"\nid = \"A\"\n".to_owned()
        + "[[instrument]]\nkind = \"alto xylophone\"\nid = \"a\"\n";
    assert_eq!(
        faults(&twice),
        [
            "line 6, column 6: instrument id `a` is named twice; give each its own (capitals don't count)"
        ]
    );
    for bad in ["voice", "a/b", "../x", ""] {
        let text = format!("[[instrument]]\nkind = \"alto xylophone\"\nid = \"{bad}\"");
        assert_eq!(faults(&text).len(), 1, "{bad}");
    }
}

#[test]
fn any_text_is_read_or_refused_without_a_panic() {
    // Cut the whole kit at every character, and drop every single line.
    for (at, _) in WHOLE.char_indices() {
        let _ = Kit::parse(&WHOLE[..at]);
    }
    let lines: Vec<&str> = WHOLE.lines().collect();
    for skip in 0..lines.len() {
        let mut left = lines.clone();
        left.remove(skip);
        let _ = Kit::parse(&left.join("\n"));
    }
}

#[test]
fn the_starter_kit_is_shown_and_reported() {
    insta::assert_snapshot!("starter_show", show(&Kit::starter()));
    insta::assert_snapshot!("starter_report", report(&Kit::starter()));
}
