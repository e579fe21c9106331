//! Facts of the trade: the handbook's tables and its arithmetic (common practice, no single source).

use barwright::kit::{Bar, Instrument, Kind, Setup, State, cautions, moves, row, sentence};
use barwright::kit::{Clear, Kit, Position};
use barwright::score::{Key, Midi, Mode, Pitch, PitchClass};

use super::bars;

/// Handbook, "The instruments" and "Mallets", copied row by row: kind, lowest and highest bar, number
/// of bars, spares, octaves above what is written, General MIDI program counted from 1, mallet.
type Row = (&'static str, &'static str, &'static str, usize, &'static str, i8, u8, &'static str);
const HANDBOOK: [Row; 9] = [
    (
        "soprano glockenspiel",
        "C6",
        "A7",
        13,
        "F# F# Bb",
        2,
        10,
        "wood, or hard rubber for a softer sound",
    ),
    (
        "alto glockenspiel",
        "C5",
        "C7",
        15,
        "F# F# Bb Bb",
        1,
        10,
        "wood, or hard rubber for a softer sound",
    ),
    ("soprano xylophone", "C5", "A6", 13, "F# F# Bb", 1, 14, "hard yarn or felt"),
    ("soprano metallophone", "C5", "A6", 13, "F# F# Bb", 1, 12, "hard yarn or felt"),
    ("alto xylophone", "C4", "C6", 15, "F# F# Bb Bb", 0, 14, "medium yarn or felt"),
    ("alto metallophone", "C4", "C6", 15, "F# F# Bb Bb", 0, 12, "medium yarn or felt"),
    ("bass xylophone", "C3", "A4", 13, "F# F# Bb", -1, 13, "soft, large head"),
    ("bass metallophone", "C3", "A4", 13, "F# F# Bb", -1, 12, "soft, large head"),
    ("contrabass bars", "C2", "C3", 8, "F# Bb", -2, 13, "very soft, very large head"),
];

#[test]
fn the_catalogue_agrees_with_the_handbook() {
    for (name, low, high, count, spares, octaves, program, mallet) in HANDBOOK {
        let kind = Kind::from_name(name).unwrap();
        let at = Instrument::of_kind("x", kind);
        let naturals: Vec<Bar> =
            at.slots.iter().map(|s| s.bar).filter(|b| b.is_natural()).collect();
        assert_eq!(naturals.len(), count, "{name}");
        assert_eq!(naturals[0].to_string(), low, "{name}");
        assert_eq!(naturals[count - 1].to_string(), high, "{name}");
        let mut letters: Vec<String> = kind.spares().map(Bar::letter).collect();
        letters.sort_by_key(|l| !l.starts_with('F'));
        assert_eq!(letters.join(" "), spares, "{name}");
        assert_eq!(at.octave_shift, octaves, "{name}");
        // A metallophone's nearest program is the vibraphone, a bass xylophone's the marimba.
        assert_eq!(kind.program() + 1, program, "{name}");
        assert_eq!(kind.mallet(), mallet, "{name}");
        // MusicXML 4.0's standard sounds, as the handbook lists them.
        let word = name.rsplit(' ').next().unwrap();
        if let Some(size) = name.strip_suffix(word).map(str::trim).filter(|_| word != "bars") {
            assert_eq!(kind.standard_sound(), format!("pitched-percussion.{word}.{size}"));
        }
    }
}

/// "The number of spares agrees with the compass": each spare stands for one F or one B.
#[test]
fn spares_equal_the_fs_and_bs_of_the_compass() {
    for kind in Kind::ALL.into_iter().filter(|k| !k.is_loose() && *k != Kind::Custom) {
        let at = Instrument::of_kind("x", kind);
        for slot in &at.slots {
            let wanted = match slot.bar.letter().as_str() {
                "F" => vec![Bar(slot.bar.0 + barwright::score::Interval::new(1))],
                "B" => vec![Bar(slot.bar.0 + barwright::score::Interval::new(-1))],
                _ => Vec::new(),
            };
            assert_eq!(slot.spares, wanted, "{kind} {}", slot.bar);
        }
    }
}

#[test]
fn some_makers_altos_run_to_a5_with_thirteen_bars_and_three_spares() {
    let kit = Kit::parse("[[instrument]]\nkind = \"alto xylophone\"\nrange = \"C4-A5\"").unwrap();
    let at = &kit.instruments[0];
    assert_eq!(at.slots.len(), 13);
    assert_eq!(at.slots.iter().map(|s| s.spares.len()).sum::<usize>(), 3);
}

/// "Keys within reach of a set with F♯ and B♭ spares: C, F, G major and their modes": complete and
/// exact, over every tonic and mode.
#[test]
fn keys_within_reach_are_c_f_and_g_major_and_their_modes() {
    let alto = Instrument::of_kind("x", Kind::AltoXylophone);
    for tonic in 0..12 {
        for mode in Mode::ALL {
            let key = Key::on(PitchClass::new(tonic), mode);
            let within = (-1..=1).contains(&key.fifths());
            assert_eq!(alto.keys().contains(&key), within, "{key}");
        }
    }
    assert_eq!(alto.keys().len(), 21);
    // F major without the B♭ bar is lydian.
    let mut plain = alto.clone();
    plain.slots.iter_mut().for_each(|s| s.spares.clear());
    assert!(!plain.keys().contains(&Key::on(PitchClass::new(5), Mode::Major)));
    assert!(plain.keys().contains(&Key::on(PitchClass::new(5), Mode::Lydian)));
}

/// "Semitone-free (pentatonic) on the plain white bars: do on C, on F, on G", and what comes off.
#[test]
fn white_bar_pentatonics_have_do_on_c_f_and_g() {
    let kit = Kit::parse("[[instrument]]\nkind = \"alto xylophone\"").unwrap();
    let alto = &kit.instruments[0];
    let numbers: Vec<i16> = alto.pentatonics(true).iter().map(|c| c.number()).collect();
    assert_eq!(numbers, [0, 5, 7]);
    for (set, off) in [
        (["C4", "D4", "E4", "G4", "A4"], ["F", "B"]),
        (["F4", "G4", "A4", "C4", "D4"], ["E", "B"]),
        (["G4", "A4", "B4", "D4", "E4"], ["C", "F"]),
    ] {
        let setup = Setup::for_pitches(&kit, 0, bars(&set), Clear::Foreign, false).unwrap();
        let mut gone: Vec<String> = alto
            .slots
            .iter()
            .zip(&setup.states)
            .filter(|(_, state)| **state == State::Remove)
            .map(|(slot, _)| slot.bar.letter())
            .collect();
        gone.sort_by_key(|l| off.iter().position(|o| o == l));
        gone.dedup();
        assert_eq!(gone, off);
        // No two bars a semitone apart at any octave.
        let left: Vec<Midi> = setup.bars(&kit).iter().collect();
        for a in &left {
            assert!(left.iter().all(|b| (*a - *b).class() != 1));
        }
    }
}

#[test]
fn a_loose_bar_stands_beside_any_other() {
    let at = Instrument::of_kind("x", Kind::ContrabassBars);
    assert!(at.holds(bars(&["F2", "F#2", "Bb2", "B2"])));
    assert_eq!(at.plain_bars(), bars(&["C2", "D2", "E2", "F2", "G2", "A2", "B2", "C3"]));
}

#[test]
fn a_setup_is_told_in_words_and_letters() {
    let kit = Kit::parse("[[instrument]]\nkind = \"soprano xylophone\"\nfillers = true").unwrap();
    let at = &kit.instruments[0];
    let needed = bars(&["D5", "E5", "F#5", "A5", "B5"]);
    let setup = Setup::for_pitches(&kit, 0, needed, Clear::Foreign, false).unwrap();
    assert_eq!(row(at, &setup.states), ". D E F#* . A B . D E . . A");
    assert_eq!(
        sentence(at, &setup.states),
        "Put F#5 in place of F5; take off C5, G5, C6, F6 and G6; leave the other 7 bars."
    );
    let filled = Setup::for_pitches(&kit, 0, needed, Clear::Foreign, true).unwrap();
    assert_eq!(filled.counts().fill, 5);
    // A gap that gets a filler is a move (contract: a slot that changes state).
    assert_eq!(moves(&setup, &filled).len(), 5);
    assert_eq!(filled.moves(&kit).len(), 6);
    assert!(filled.cautions.iter().any(|c| c.contains("choking")));
}

#[test]
fn cautions_go_with_the_instrument_and_the_place() {
    let said = |kind, position| {
        let at = Instrument::of_kind("x", kind);
        cautions(&at, &at.plain(), position).join(" ")
    };
    assert!(said(Kind::BassXylophone, None).contains("two people"));
    assert!(said(Kind::SopranoGlockenspiel, None).contains("loud"));
    assert!(!said(Kind::AltoXylophone, None).contains("loud"));
    assert!(said(Kind::AltoXylophone, Some(Position::Wheelchair)).contains("clearance"));
    assert!(said(Kind::AltoXylophone, Some(Position::Bed)).contains("secure"));
    assert!(!said(Kind::AltoXylophone, Some(Position::Seated)).contains("secure"));
}

#[test]
fn enharmonic_names_are_one_bar() {
    let bar = |name: &str| Bar(name.parse::<Pitch>().unwrap().midi());
    assert_eq!(bar("A#4"), bar("Bb4"));
    assert_eq!(bar("Gb4").to_string(), "F#4");
    let names: Vec<String> = (60..72).map(|n| Bar(Midi::new(n)).letter()).collect();
    assert_eq!(names.join(" "), "C C# D Eb E F F# G G# A Bb B");
}
