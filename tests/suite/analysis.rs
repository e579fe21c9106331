//! Key, pitch set, phrases and harmony of small tunes (worked examples, from memory, traditional and
//! long in the public domain) and of made ones.

mod trade;

use barwright::analysis::profile::PROFILES;
use barwright::analysis::{Analysis, HarmonySource, KeySource, Options, analyse};
use barwright::score::{
    Interval, Key, KeySignature, Line, Measure, Meter, Mode, Note, Part, Pitch, PitchClass,
    Quality, Score, Time, VoiceId,
};
use proptest::prelude::*;

/// A score of one part from `C4:1 D4:1/2 ...` (`-` is a rest), in `meter` with a pickup of `pickup`.
fn tune(text: &str, meter: (u16, u16), pickup: Time, fifths: Option<i8>) -> (Score, Line) {
    let meter = Meter::new(meter.0, meter.1).unwrap();
    let mut part = Part::new("P1", "Voice");
    let mut at = Time::ZERO;
    for word in text.split_whitespace() {
        let (pitch, length) = word.split_once(':').unwrap_or((word, "1"));
        let length: Time = length.parse().unwrap();
        if pitch != "-" {
            part.notes.push(Note::new(at, length, pitch.parse::<Pitch>().unwrap()));
        }
        at += length;
    }
    let mut measures = Vec::new();
    let mut start = Time::ZERO;
    if pickup.is_positive() {
        let mut first = Measure::full("0", start, meter);
        first.duration = pickup;
        first.lead = meter.measure() - pickup;
        start = first.end();
        measures.push(first);
    }
    while start < at {
        measures.push(Measure::full(measures.len().to_string(), start, meter));
        start += meter.measure();
    }
    let keys = fifths
        .map(|fifths| KeySignature { at: Time::ZERO, fifths, mode: None })
        .into_iter()
        .collect();
    let line = Line::top(0, None::<VoiceId>, &part.notes);
    (Score { measures, keys, parts: vec![part], ..Score::default() }, line)
}

fn analysed(text: &str, meter: (u16, u16), pickup: Time, fifths: Option<i8>) -> Analysis {
    let (score, line) = tune(text, meter, pickup, fifths);
    analyse(&score, &line, Options::default())
}

/// "Twinkle, twinkle" (Ah! vous dirai-je, maman; French, 18th century), encoded from memory.
const TWINKLE: &str = "C4 C4 G4 G4 A4 A4 G4:2 F4 F4 E4 E4 D4 D4 C4:2 \
    G4 G4 F4 F4 E4 E4 D4:2 G4 G4 F4 F4 E4 E4 D4:2 \
    C4 C4 G4 G4 A4 A4 G4:2 F4 F4 E4 E4 D4 D4 C4:2";

#[test]
fn twinkle_is_in_c_major_with_six_phrases() {
    let found = analysed(TWINKLE, (4, 4), Time::ZERO, None);
    assert_eq!(found.key.best.key.to_string(), "C major");
    assert_eq!(found.key.source, KeySource::Notes);
    let labels: Vec<&str> = found.phrases.iter().map(|p| p.label.as_str()).collect();
    assert_eq!(labels, ["a", "b", "c", "c", "a", "b"]);
    assert_eq!(found.pitch_set.name.as_deref(), Some("do hexachord"));
    assert_eq!(found.pitch_set.solfa, ["do", "re", "mi", "fa", "so", "la"]);
    assert!(!found.pitch_set.semitone_free);
    assert_eq!(found.pitch_set.span.semitones(), 9);
    assert_eq!(found.harmony_source, HarmonySource::Melody);
    assert_eq!(found.harmony.first().unwrap().degree, "I");
    assert_eq!(found.harmony.last().unwrap().degree, "I");
    assert!((0.0..=1.0).contains(&found.drone_share));
}

#[test]
fn amazing_grace_is_major_pentatonic() {
    // "New Britain" (American, before 1829), encoded from memory.
    let text = "D4 G4:2 B4:1/2 G4:1/2 B4:2 A4 G4:2 E4 D4:2 D4 G4:2 B4:1/2 G4:1/2 B4:2 A4 D5:5 \
        B4 D5:3/2 B4:1/2 D5:1/2 B4:1/2 G4:2 D4 E4:3/2 G4:1/2 G4:1/2 E4:1/2 D4:2 \
        D4 G4:2 B4:1/2 G4:1/2 B4:2 A4 G4:5";
    let found = analysed(text, (3, 4), Time::QUARTER, Some(1));
    assert_eq!(found.key.best.key.to_string(), "G major");
    assert_eq!(found.key.source, KeySource::NotesAndSignature);
    assert_eq!(found.pitch_set.name.as_deref(), Some("major pentatonic"));
    assert!(found.pitch_set.semitone_free);
    assert_eq!(found.harmony.first().unwrap().at, Time::ZERO);
}

#[test]
fn drunken_sailor_is_dorian() {
    // "What shall we do with the drunken sailor" (shanty, before 1840), encoded from memory.
    let text = "A4:1/2 A4:1/4 A4:1/4 A4:1/2 A4:1/4 A4:1/4 A4:1/2 D4:1/2 F4:1/2 A4:1/2 \
        G4:1/2 G4:1/4 G4:1/4 G4:1/2 G4:1/4 G4:1/4 G4:1/2 C4:1/2 E4:1/2 G4:1/2 \
        A4:1/2 A4:1/4 A4:1/4 A4:1/2 A4:1/4 A4:1/4 A4:1/2 B4:1/2 C5:1/2 D5:1/2 \
        C5:1/2 A4:1/2 G4:1/2 E4:1/2 D4 D4";
    let found = analysed(text, (2, 4), Time::ZERO, None);
    assert_eq!(found.key.best.key.tonic.to_string(), "D");
    assert_eq!(found.key.best.key.mode, Mode::Dorian);
    assert_eq!(found.pitch_set.name.as_deref(), Some("dorian"));
}

#[test]
fn a_line_without_notes_is_analysed_too() {
    let found = analyse(&Score::default(), &Line::default(), Options::default());
    assert!(found.key.best.confidence < 0.1);
    assert!(found.phrases.is_empty());
    assert_eq!(found.pitch_set.lowest, None);
}

/// A score of one part in 4/4 from MIDI numbers and lengths in eighths.
fn made(notes: &[(i16, i64)], by: i16) -> (Score, Line) {
    let text: Vec<String> = notes
        .iter()
        .map(|(midi, eighths)| {
            let pitch = Pitch::spelled(barwright::score::Midi::new(midi + by), 0);
            format!("{pitch}:{}", Time::new(*eighths, 2))
        })
        .collect();
    tune(&text.join(" "), (4, 4), Time::ZERO, None)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn nothing_depends_on_absolute_pitch(
        notes in prop::collection::vec((55i16..76, 1i64..5), 3..40),
        by in -7i16..8,
    ) {
        let find = |by| {
            let (score, line) = made(&notes, by);
            analyse(&score, &line, Options::default())
        };
        let (here, there) = (find(0), find(by));
        let (a, b) = (here.key.best, there.key.best);
        prop_assert!((a.confidence - b.confidence).abs() < 1e-3);
        // Two keys of equal probability may change places by rounding.
        let tie = here.key.alternatives.first().is_some_and(|k| a.confidence - k.confidence < 1e-3);
        if !tie {
            prop_assert_eq!(a.key.tonic.class() + Interval::new(by), b.key.tonic.class());
            prop_assert_eq!(a.key.mode, b.key.mode);
            prop_assert_eq!(&here.pitch_set.semitone_free, &there.pitch_set.semitone_free);
        }
        prop_assert_eq!(here.phrases, there.phrases);
        let sum: f64 = here.pitch_set.pitches.iter().map(|p| p.weight).sum();
        prop_assert!((sum - 1.0).abs() < 1e-4);
        let times: Vec<Time> = here.harmony.iter().map(|h| h.at).collect();
        prop_assert!(times.windows(2).all(|t| t[0] < t[1]));
        prop_assert_eq!(times.first(), Some(&Time::ZERO));
    }
}

/// The profiles against music21's own tables (fixture; made by `analysis_figures.py`'s first check).
#[test]
fn profiles_agree_with_a_reference_library() {
    let text = include_str!("../../fixtures/analysis/profiles.json");
    let reference: serde_json::Value = serde_json::from_str(text).unwrap();
    for profile in PROFILES {
        for (mode, values) in [("major", profile.major), ("minor", profile.minor)] {
            let row = reference["profiles"][profile.name][mode].as_array().unwrap();
            assert_eq!(row.len(), 12);
            for (a, b) in row.iter().zip(values) {
                assert!((a.as_f64().unwrap() - f64::from(b)).abs() < 1e-4, "{}", profile.name);
            }
        }
    }
}

/// Handbook, "Keys within reach": semitone-free on the plain white bars are do on C (without F and B),
/// on F (without E and B) and on G (without C and F).
#[test]
fn white_bar_pentatonics_are_named() {
    for (notes, tonic) in
        [("C4 D4 E4 G4 A4", "C"), ("F4 G4 A4 C5 D5", "F"), ("G4 A4 B4 D5 E5", "G")]
    {
        let first = notes.split(' ').next().unwrap();
        let text = format!("{first}:2 {notes} {notes} {first}:4");
        let found = analysed(&text, (4, 4), Time::ZERO, None);
        assert_eq!(found.key.best.key.tonic.to_string(), tonic);
        assert_eq!(found.pitch_set.name.as_deref(), Some("major pentatonic"));
        assert!(found.pitch_set.semitone_free);
        assert_eq!(found.pitch_set.solfa, ["do", "re", "mi", "so", "la"]);
    }
}

/// Children's calls on two and three notes keep their name wherever a tonic is heard (common practice).
#[test]
fn calls_of_two_and_three_notes() {
    let set = |text| analysed(text, (2, 4), Time::ZERO, None).pitch_set;
    let name = |text| set(text).name;
    let mut solfa = set("G4 E4 G4 E4 G4 G4 E4:2").solfa;
    solfa.sort();
    assert_eq!(solfa, ["mi", "so"]);
    assert_eq!(name("G4 E4 G4 E4 G4 G4 E4:2").as_deref(), Some("so-mi"));
    assert_eq!(name("G4 E4 A4 E4 G4:1/2 G4:1/2 E4 A4:1/2 A4:1/2 E4").as_deref(), Some("so-mi-la"));
}

/// F major without the B flat bar is lydian (handbook); degrees of the borrowed chord.
#[test]
fn modes_by_their_notes() {
    let lydian =
        "F4 G4 A4 B4 C5:2 A4 F4 C5 B4 A4 G4 E4:2 F4:2 F4 A4 C5 A4 B4 C5 D5 C5 A4 G4 F4:2 F4:4";
    let found = analysed(lydian, (4, 4), Time::ZERO, Some(0));
    assert_eq!(found.key.best.key, Key::on(PitchClass::new(5), Mode::Lydian));
    assert_eq!(found.pitch_set.name.as_deref(), Some("lydian"));
}

#[test]
fn chord_symbols_are_taken_as_they_are() {
    let (mut score, line) = tune(TWINKLE, (4, 4), Time::ZERO, Some(0));
    for (at, root, quality) in [
        (4, "F", Quality::MAJOR),
        (8, "G", Quality::DOMINANT),
        (12, "C", Quality::MAJOR),
        (16, "A", Quality::MINOR),
        (20, "Bb", Quality::MAJOR),
    ] {
        score.chords.push(barwright::score::ChordSymbol {
            at: Time::quarters(at),
            chord: Some(barwright::score::Chord::new(root.parse().unwrap(), quality)),
        });
    }
    let found = analyse(&score, &line, Options::default());
    assert_eq!(found.harmony_source, HarmonySource::Symbols);
    let degrees: Vec<&str> = found.harmony.iter().map(|h| h.degree.as_str()).collect();
    assert_eq!(degrees, ["IV", "V7", "I", "vi", "bVII"]);
}

#[test]
fn accompanying_parts_name_the_chords() {
    let (mut score, line) = tune("E4:2 F4:2 D4:2 E4:2", (4, 4), Time::ZERO, Some(0));
    let mut bass = Part::new("P2", "Bass");
    for (i, chord) in [["C3", "G3"], ["F3", "C4"], ["G3", "B3"], ["C3", "G3"]].iter().enumerate() {
        for pitch in chord {
            let at = Time::quarters(2 * i as i64);
            bass.notes.push(Note::new(at, Time::quarters(2), pitch.parse().unwrap()));
        }
    }
    score.parts.push(bass);
    let found = analyse(&score, &line, Options::default());
    assert_eq!(found.harmony_source, HarmonySource::Parts);
    let degrees: Vec<&str> = found.harmony.iter().map(|h| h.degree.as_str()).collect();
    assert_eq!(degrees, ["I", "IV", "V", "I"]);
    assert_eq!(found.key.best.key.to_string(), "C major");
    // Strong beats: I, IV and I suit a drone on C and G; V doesn't.
    assert!((found.drone_share - 0.75).abs() < 1e-9, "{}", found.drone_share);
}

#[test]
fn two_keys_are_two_sections() {
    let second = TWINKLE.replace("C4", "F#4x").replace("D4", "G#4x").replace("E4", "A#4x");
    let second = second.replace("F4 ", "B4 ").replace("G4", "C#5").replace("A4 ", "D#5 ");
    let second = second.replace("G#4x", "G#4").replace("A#4x", "A#4").replace("F#4x", "F#4");
    let found = analysed(&format!("{TWINKLE} {second}"), (4, 4), Time::ZERO, None);
    let sections: Vec<(String, String)> =
        found.key.sections.iter().map(|s| (s.from.to_string(), s.key.to_string())).collect();
    assert_eq!(
        sections,
        [("0".to_owned(), "C major".to_owned()), ("48".to_owned(), "F# major".to_owned())]
    );
}

/// Four notes that C major and A minor share: a named mode decides, a bare signature doesn't.
#[test]
fn a_named_mode_counts() {
    let (mut score, line) = tune("E4 C4 E4 A4 E4 C4 E4:2", (4, 4), Time::ZERO, Some(0));
    let confidence = |score: &Score| {
        let key = analyse(score, &line, Options::default()).key;
        let all = std::iter::once(key.best).chain(key.alternatives);
        all.filter(|k| k.key.to_string() == "A minor").map(|k| k.confidence).sum::<f64>()
    };
    let bare = confidence(&score);
    score.keys[0].mode = Some(Mode::Minor);
    let named = confidence(&score);
    assert!(named > bare, "{named} {bare}");
    let options = Options { ignore_signature: true, ..Options::default() };
    let notes = analyse(&score, &line, options);
    score.keys.clear();
    assert_eq!(notes.key, analyse(&score, &line, Options::default()).key);
}

/// Keys of whole files, read as a user's are: `BARWRIGHT_SONGS` names a folder of MusicXML and MIDI
/// files with an `index.json` of their labels (`{"tunes": [{"name", "tonic", "mode"}]}`).
#[test]
#[ignore = "needs a folder of songs with their keys"]
fn keys_of_files() {
    let folder = std::path::PathBuf::from(std::env::var("BARWRIGHT_SONGS").unwrap());
    let index = std::fs::read_to_string(folder.join("index.json")).unwrap();
    let index: serde_json::Value = serde_json::from_str(&index).unwrap();
    for kind in ["musicxml", "mid"] {
        for (bare, unnamed) in [(true, false), (false, true), (false, false)] {
            let (mut songs, mut tonic, mut mode) = (0, 0, 0);
            for tune in index["tunes"].as_array().unwrap() {
                let (Some(name), Some(key)) = (tune["name"].as_str(), tune["tonic"].as_str())
                else {
                    continue;
                };
                if tune["key_changes"].as_i64() != Some(0) {
                    continue;
                }
                let bytes = std::fs::read(folder.join(format!("{name}.{kind}"))).unwrap();
                let mut score = barwright::import::read(&bytes).unwrap().score;
                if unnamed {
                    score.keys.iter_mut().for_each(|k| k.mode = None);
                }
                let line = barwright::import::melody(&score, None).unwrap().line;
                let options = Options { ignore_signature: bare, ..Options::default() };
                let found = analyse(&score, &line, options).key.best.key;
                let label: barwright::score::NoteName = key.parse().unwrap();
                songs += 1;
                tonic += usize::from(found.tonic.class() == label.class());
                mode += usize::from(
                    found.tonic.class() == label.class()
                        && Some(found.mode.name()) == tune["mode"].as_str(),
                );
            }
            let share = |n: usize| n as f64 / songs as f64;
            println!(
                "{kind}, signature ignored {bare}, mode left out {unnamed}: {songs} songs, tonic {:.3}, exact {:.3}",
                share(tonic),
                share(mode)
            );
        }
    }
}
