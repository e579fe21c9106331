//! Reading MIDI files: grids, spelling, damage.

use barwright::import::midi::{self, MidiError};

/// A track chunk around these events.
fn chunk(events: &[u8]) -> Vec<u8> {
    let mut out = b"MTrk".to_vec();
    out.extend((events.len() as u32).to_be_bytes());
    out.extend(events);
    out
}

/// A whole file of format 1 at 96 ticks a quarter.
fn file(tracks: &[&[u8]]) -> Vec<u8> {
    let mut out = b"MThd\0\0\0\x06\0\x01\0".to_vec();
    out.push(tracks.len() as u8);
    out.extend([0, 96]);
    for track in tracks {
        out.extend(chunk(track));
    }
    out
}

#[test]
fn two_notes_with_running_status_and_a_silent_note_on() {
    let bytes = file(&[&[0, 0x90, 60, 64, 96, 60, 0, 0, 64, 64, 48, 64, 0, 0, 0xFF, 0x2F, 0]]);
    let (score, _) = midi::read(&bytes).unwrap();
    let notes: Vec<_> = score.parts[0]
        .notes
        .iter()
        .map(|n| (n.onset.to_string(), n.duration.to_string(), n.pitch.to_string()))
        .collect();
    let want = [("0", "1", "C4"), ("1", "1/2", "E4")];
    assert_eq!(notes, want.map(|(a, b, c)| (a.to_owned(), b.to_owned(), c.to_owned())));
}

#[test]
fn what_is_no_midi_file_is_refused_with_the_place() {
    assert_eq!(midi::read(b"").unwrap_err(), MidiError::NotMidi);
    assert_eq!(midi::read(b"MThd\0\0\0\x06\0\x01").unwrap_err(), MidiError::ShortHeader);
    // 0x80 frames a second: the byte whose negation overflows.
    let division = midi::read(b"MThd\0\0\0\x06\0\x01\0\0\x80\x00").unwrap_err();
    assert_eq!(division, MidiError::Division { offset: 12 });
    let none = midi::read(b"MThd\0\0\0\x06\0\x01\0\0\0\x60").unwrap_err();
    assert_eq!(none, MidiError::NoTracks { offset: 14 });
}
