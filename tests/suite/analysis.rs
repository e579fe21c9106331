//! Key, pitch set, phrases and harmony of small tunes (worked examples, from memory, traditional and
//! long in the public domain) and of made ones.

use barwright::analysis::{Analysis, HarmonySource, KeySource, Options, analyse};
use barwright::score::{
    KeySignature, Line, Measure, Meter, Mode, Note, Part, Pitch, Score, Time, VoiceId,
};

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
