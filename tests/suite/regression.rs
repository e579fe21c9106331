//! One test per fault that was found in use.

use barwright::import;
use barwright::score::{Note, Part, Pitch, Score, Time};

/// A MIDI file of one track at 96 ticks a quarter, from notes as (on, off, key).
fn midi(notes: &[(u32, u32, u8)]) -> Vec<u8> {
    let mut events: Vec<(u32, u8, u8)> = Vec::new();
    for (on, off, key) in notes {
        events.push((*on, 0x90, *key));
        events.push((*off, 0x80, *key));
    }
    events.sort();
    let mut track = Vec::new();
    let mut now = 0;
    for (at, status, key) in events {
        let delta = at - now;
        assert!(delta < 0x4000);
        if delta >= 0x80 {
            track.push((delta >> 7) as u8 | 0x80);
        }
        track.extend([(delta & 0x7F) as u8, status, key, 80]);
        now = at;
    }
    track.extend([0, 0xFF, 0x2F, 0]);
    let mut bytes = b"MThd\0\0\0\x06\0\x01\0\x01\0\x60MTrk".to_vec();
    bytes.extend((track.len() as u32).to_be_bytes());
    bytes.extend(track);
    bytes
}

fn pitches(melody: &import::Melody) -> Vec<String> {
    melody.line.notes.iter().map(|n| n.pitch.to_string()).collect()
}

/// Notes that last into the next went into voices of their own, one voice was taken for the tune,
/// and the rest was dropped without a word.
#[test]
fn a_tune_played_legato_stays_whole() {
    let keys = [72, 71, 69, 67, 65, 64, 62, 60, 62, 64, 65, 67];
    let notes: Vec<(u32, u32, u8)> = keys
        .iter()
        .enumerate()
        .map(|(i, key)| (96 * i as u32, 96 * i as u32 + 144, *key))
        .collect();
    let read = import::read(&midi(&notes)).unwrap();
    let melody = import::melody(&read.score, None).unwrap();
    assert_eq!(
        pitches(&melody),
        "C5 B4 A4 G4 F4 E4 D4 C4 D4 E4 F4 G4".split(' ').collect::<Vec<_>>()
    );
    assert_eq!(melody.left_out, (0, 12));
}

/// A grace note whose end was written before its stroke took the end of the next note of its key, and
/// so did every one after it: each lay over the tune like a lid.
#[test]
fn a_grace_note_takes_no_later_notes_end() {
    let path =
        concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/midi/grace-note-ended-before-struck.mid");
    let read = import::read(&std::fs::read(path).unwrap()).unwrap();
    let melody = import::melody(&read.score, None).unwrap();
    assert_eq!(pitches(&melody), ["C4", "F4", "G4"]);
}

/// What a melody leaves out of its part is counted, so that it can be said.
#[test]
fn notes_left_out_of_the_melody_are_counted() {
    let mut part = Part::new("P1", "");
    let at = Time::quarters;
    let pitch = |p: &str| p.parse::<Pitch>().unwrap();
    part.notes = vec![
        Note::new(at(0), at(4), pitch("G5")),
        Note::new(at(1), at(1), pitch("C4")),
        Note::new(at(2), at(1), pitch("E4")),
        Note::new(at(4), at(4), pitch("A5")),
    ];
    let score = Score { parts: vec![part], ..Score::default() };
    let melody = import::melody(&score, None).unwrap();
    assert_eq!(pitches(&melody), ["G5", "A5"]);
    assert_eq!(melody.left_out, (2, 4));
}
