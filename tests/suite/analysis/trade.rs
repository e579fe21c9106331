//! What a teacher asks of a tune and can check by hand: the sets' names, phrases alike, words, modal
//! chords, beats. Worked examples; facts of the trade are common practice where no source is named.

use barwright::analysis::{HarmonySource, Options, analyse};
use barwright::score::{
    Key, KeySignature, Lyric, Measure, Meter, Mode, Note, NoteName, Syllabic, Time,
};

use super::{TWINKLE, analysed, tune};

/// The set's name of a tune that leaves no doubt of its tonic: up and down, and home on a long note.
fn set_name(notes: &str) -> Option<String> {
    let first = notes.split(' ').next().unwrap();
    let down: Vec<&str> = notes.split(' ').rev().collect();
    let text = format!("{first}:2 {notes} {} {first}:2 {notes} {first}:4", down.join(" "));
    let found = analysed(&text, (4, 4), Time::ZERO, None);
    let tonic: NoteName = first.trim_end_matches(char::is_numeric).parse().unwrap();
    assert_eq!(found.key.best.key.tonic, tonic, "{notes}: {}", found.key.best.key);
    found.pitch_set.name
}

#[test]
fn sets_have_the_names_of_the_trade() {
    for (notes, name) in [
        ("C4 D4 E4", "do-re-mi"),
        ("C4 D4 E4 G4", "do-re-mi-so"),
        ("C4 D4 E4 A4", "do-re-mi-la"),
        ("C4 E4 G4 A4", "do-mi-so-la"),
        ("C4 D4 E4 F4 G4", "do pentachord"),
        ("A3 B3 C4 D4 E4", "la pentachord"),
        ("C4 D4 E4 G4 A4", "major pentatonic"),
        ("A3 C4 D4 E4 G4", "minor pentatonic"),
        ("C4 D4 E4 F4 G4 A4", "do hexachord"),
        ("C4 D4 E4 G4 A4 B4", "major hexatonic without its fourth"),
        ("A3 B3 C4 D4 E4 G4", "minor hexatonic without its sixth"),
        ("C4 D4 E4 F4 G4 A4 B4", "major"),
        ("D4 E4 F4 G4 A4 B4 C5", "dorian"),
        ("A3 B3 C4 D4 E4 F4 G#4", "harmonic minor"),
    ] {
        assert_eq!(set_name(notes).as_deref(), Some(name), "{notes}");
    }
    let added = set_name("C4 D4 E4 F4 F#4 G4 A4 B4");
    assert_eq!(added.as_deref(), Some("major with F# added"));
}

/// The five modes of the semitone-free set are one set begun on another of its notes.
#[test]
fn every_mode_of_the_pentatonic_is_semitone_free() {
    for (notes, semitone_free) in
        [("D4 E4 G4 A4 C5", true), ("G4 A4 C5 D5 E5", true), ("C4 D4 F4 G4 B4", false)]
    {
        let first = notes.split(' ').next().unwrap();
        let found =
            analysed(&format!("{first}:2 {notes} {first}:4"), (4, 4), Time::ZERO, None).pitch_set;
        assert_eq!(found.semitone_free, semitone_free, "{notes}");
    }
}

/// a a' b a: the second phrase ends otherwise, the third is another.
#[test]
fn phrases_alike_share_a_letter() {
    let a = "C4:1/2 D4:1/2 E4 G4 E4 F4:1/2 E4:1/2 D4 C4:2";
    let changed = "C4:1/2 D4:1/2 E4 G4 E4 F4:1/2 E4:1/2 D4 D4:2";
    let b = "A4:3/2 G4:1/2 A4 B4 C5:3/2 B4:1/2 G4:2";
    let found = analysed(&format!("{a} {changed} {b} {a}"), (4, 4), Time::ZERO, None);
    let phrases: Vec<(String, &str)> =
        found.phrases.iter().map(|p| (p.from.to_string(), p.label.as_str())).collect();
    let expected = [("0", "a"), ("8", "a'"), ("16", "b"), ("24", "a")];
    assert_eq!(phrases, expected.map(|(at, label)| (at.to_owned(), label)));
}

/// The same even notes with a sentence that ends after the sixth: the words divide them there.
#[test]
fn a_sentence_ends_a_phrase() {
    let text = "C4 D4 E4 D4 E4 F4 D4 E4 F4 E4 D4 C4 D4 E4 D4 C4";
    let starts = |stop: &str| {
        let (mut score, mut line) = tune(text, (4, 4), Time::ZERO, None);
        for (i, note) in line.notes.iter_mut().enumerate() {
            let word = if i == 5 { format!("la{stop}") } else { "la".to_owned() };
            let word = if i == 6 && !stop.is_empty() { "La".to_owned() } else { word };
            note.lyrics.push(Lyric {
                verse: 1,
                text: word,
                syllabic: Syllabic::Single,
                extend: false,
            });
        }
        score.parts[0].notes.clone_from(&line.notes);
        let found = analyse(&score, &line, Options::default());
        found.phrases.iter().map(|p| p.from).collect::<Vec<Time>>()
    };
    assert!(!starts("").contains(&Time::quarters(6)));
    assert!(starts(".").contains(&Time::quarters(6)), "{:?}", starts("."));
}

/// The old modes' own chords, heard in the melody alone: flat VII in mixolydian, IV in dorian, VII in minor.
#[test]
fn modal_chords_are_inferred_from_the_melody() {
    for (text, key, degree) in [
        (
            "G4:2 B4 D5 G4:2 B4 D5 F4:2 A4 C5 F4:2 A4 C5 G4:2 B4 D5 F4:2 A4 C5 G4:4 G4:4",
            "G mixolydian",
            "bVII",
        ),
        (
            "D4:2 F4 A4 D4:2 F4 A4 G4:2 B4 D5 G4:2 B4 D5 D4:2 F4 A4 C4:2 E4 G4 D4:4 D4:4",
            "D dorian",
            "IV",
        ),
        (
            "A4:2 C5 E5 A4:2 C5 E5 G4:2 B4 D5 G4:2 B4 D5 A4:2 C5 E5 F4:2 A4 C5 A4:4 A4:4",
            "A minor",
            "VII",
        ),
    ] {
        let found = analysed(text, (4, 4), Time::ZERO, None);
        assert_eq!(found.key.best.key.to_string(), key);
        assert_eq!(found.harmony_source, HarmonySource::Melody);
        assert!(found.harmony.iter().any(|h| h.degree == degree), "{key}: {:?}", found.harmony);
        assert!(found.harmony.last().unwrap().degree.eq_ignore_ascii_case("I"));
    }
}

/// Two voices that meet in one chord are a double stop, not an accompaniment: its bass and chord would
/// stand for the whole tune.
#[test]
fn a_few_double_stops_are_no_accompaniment() {
    let (mut score, line) = tune(TWINKLE, (4, 4), Time::ZERO, None);
    let alone = analyse(&score, &line, Options::default());
    score.parts[0].notes.push(Note::new(Time::quarters(8), Time::QUARTER, "Ab3".parse().unwrap()));
    score.parts[0].sort_notes();
    let found = analyse(&score, &line, Options::default());
    assert_eq!(found.harmony_source, HarmonySource::Melody);
    assert_eq!(found.harmony, alone.harmony);
    assert_eq!(found.key.best.key.to_string(), "C major");
}

/// A tune without a tonic says so by a low confidence: all twelve notes alike, the whole-tone scale, a call
/// on so and mi without a signature.
#[test]
fn tunes_without_a_tonic_are_not_sure() {
    for text in [
        "C4 F#4 D4 G#4 E4 A#4 C#4 G4 D#4 A4 F4 B4",
        "D4 E4 F#4 G#4 A#4 C5 E4 G#4 C5 F#4 A#4 D5",
        "G4 E4 G4 E4 G4:2 E4:2",
    ] {
        let best = analysed(text, (4, 4), Time::ZERO, None).key.best;
        assert!(best.confidence < 0.8, "{text}: {} {:.2}", best.key, best.confidence);
    }
}

/// One note or two tell no key, whatever the signature: `sure` would be wrong.
#[test]
fn one_note_or_two_tell_no_key() {
    for text in ["C4 C4 C4:2", "C4:4", "G4 E4 G4 E4 G4 G4 E4:2", "C4 G4 C4:2"] {
        for signature in [None, Some(0)] {
            let best = analysed(text, (4, 4), Time::ZERO, signature).key.best;
            assert!(best.confidence < 0.7, "{text}: {} {:.2}", best.key, best.confidence);
        }
    }
}

/// Beat strength over a pickup and a change of meter, by hand: 3/4 with a pickup of one, then 6/8, then 2/4.
#[test]
fn beat_strength_minds_pickup_and_meter() {
    let (mut score, _) = tune("G4", (3, 4), Time::QUARTER, None);
    for (n, (beats, unit)) in [(3, 4), (6, 8), (2, 4)].into_iter().enumerate() {
        let start = score.end();
        score.measures.push(Measure::full(
            (n + 1).to_string(),
            start,
            Meter::new(beats, unit).unwrap(),
        ));
    }
    let level = |at: &str| score.level(at.parse().unwrap());
    assert!(level("0") > 0, "the pickup is a weak beat");
    // The downbeats of the three measures.
    assert_eq!((level("1"), level("4"), level("7")), (0, 0, 0));
    // The second dotted quarter of 6/8 is its other beat; in 3/4 the same place is off the beat.
    assert_eq!(level("11/2"), 1);
    assert!(level("5/2") > level("2"));
    assert_eq!(level("2"), level("3"), "second and third beat of 3/4 are alike");
    assert!(level("8") > level("7"));
}

/// Scales and their spelling against music21's own, for every mode and signature.
#[test]
fn scales_agree_with_a_reference_library() {
    let text = include_str!("../../../fixtures/analysis/scales.json");
    let reference: serde_json::Value = serde_json::from_str(text).unwrap();
    let scales = reference["scales"].as_object().unwrap();
    assert_eq!(scales.len(), 7 * 15);
    for mode in Mode::ALL {
        for fifths in -7..=7 {
            let key = Key::from_signature(fifths, mode);
            let names: Vec<String> = key.scale().iter().map(NoteName::to_string).collect();
            let theirs = scales[&key.to_string()].as_str().unwrap();
            assert_eq!(names.join(" "), theirs, "{key}");
        }
    }
}

/// `--ignore-signature` leaves a wrong signature out: a tune in C under four sharps.
#[test]
fn a_wrong_signature_can_be_left_out() {
    let (mut score, line) = tune(TWINKLE, (4, 4), Time::ZERO, None);
    score.keys.push(KeySignature { at: Time::ZERO, fifths: 4, mode: Some(Mode::Minor) });
    let options = Options { ignore_signature: true, ..Options::default() };
    let found = analyse(&score, &line, options);
    assert_eq!(found.key.best.key.to_string(), "C major");
    assert_eq!(found.key.source.name(), "notes");
    let minded = analyse(&score, &line, Options::default());
    assert!(
        minded.key.best.confidence < found.key.best.confidence
            || minded.key.best.key != found.key.best.key
    );
    assert_eq!(minded.key.source.name(), "notes+signature");
}
