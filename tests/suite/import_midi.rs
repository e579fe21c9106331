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

/// What a reader found in a fixture that isn't what its `.notes` file says; see
/// `tests/external/midi_fixtures.py` for that file's form.
fn faults(stem: &str, bytes: &[u8], facts: &str) -> Vec<String> {
    let mut faults = Vec::new();
    let read = midi::read(bytes);
    if let Some(error) = facts.lines().find_map(|l| l.strip_prefix("error ")) {
        match read {
            Err(e) if e.to_string().contains(error) => {}
            other => faults.push(format!("{stem}: no error with `{error}`: {other:?}")),
        }
        return faults;
    }
    let (score, warnings) = match read {
        Ok(read) => read,
        Err(e) => return vec![format!("{stem}: {e}")],
    };
    let mut has: Vec<String> = vec![
        format!("title {}", score.title),
        format!("pickup {}", score.pickup()),
        format!("measures {}", score.measures.len()),
    ];
    has.extend(score.meters().iter().map(|(at, m)| format!("meter {at} {m}")));
    has.extend(score.keys.iter().map(|k| format!("key {} {}", k.at, k.fifths)));
    has.extend(score.tempos.iter().map(|t| format!("tempo {} {}", t.at, t.quarter_bpm.round())));
    let mut notes = Vec::new();
    for part in &score.parts {
        has.push(format!("part {} {}", part.id, part.name));
        has.extend(part.sound.program.map(|p| format!("program {} {p}", part.id)));
        has.extend(part.unpitched.then(|| format!("unpitched {}", part.id)));
        for n in &part.notes {
            let mut line = format!("note {} {} {} {}", part.id, n.onset, n.duration, n.pitch);
            if n.grace {
                line.push_str(" grace");
            }
            for lyric in &n.lyrics {
                let letter = format!("{:?}", lyric.syllabic).to_lowercase();
                line.push_str(&format!(" {}:{}", lyric.text, &letter[..1]));
            }
            notes.push(line);
        }
        let voices = part.voices.len();
        assert!(part.notes.iter().all(|n| usize::from(n.voice.0) < voices), "{stem}: voices");
    }
    for pair in score.measures.windows(2) {
        assert_eq!(pair[0].end(), pair[1].start, "{stem}: measures add up");
    }
    let mut wanted: Vec<String> = Vec::new();
    for fact in facts.lines() {
        if fact.starts_with("note ") {
            wanted.push(fact.to_owned());
        } else if let Some(text) = fact.strip_prefix("warning ") {
            if !warnings.iter().any(|w| w.what.contains(text)) {
                faults.push(format!("{stem}: no warning with `{text}`: {warnings:?}"));
            }
        } else if fact == "no-warnings" {
            if !warnings.is_empty() {
                faults.push(format!("{stem}: {warnings:?}"));
            }
        } else if !has.iter().any(|h| h == fact) {
            faults.push(format!("{stem}: not `{fact}` but {has:?}"));
        }
    }
    wanted.sort();
    notes.sort();
    if wanted != notes {
        faults.push(format!("{stem}: wanted {wanted:#?}, found {notes:#?}"));
    }
    faults
}

#[test]
fn every_fixture_gives_the_notes_written_beside_it() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/midi");
    let mut all = Vec::new();
    let mut count = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|e| e != "mid") {
            continue;
        }
        count += 1;
        let stem = path.file_stem().unwrap().to_string_lossy().into_owned();
        let facts = std::fs::read_to_string(path.with_extension("notes")).unwrap();
        all.extend(faults(&stem, &std::fs::read(&path).unwrap(), &facts));
    }
    assert!(count >= 59, "{count} fixtures");
    assert!(all.is_empty(), "{}", all.join("\n"));
}

#[test]
fn no_cut_and_no_changed_byte_makes_it_panic() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/midi");
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|e| e != "mid") {
            continue;
        }
        let bytes = std::fs::read(&path).unwrap();
        for i in 0..bytes.len() {
            let _ = midi::read(&bytes[..i]);
            let mut changed = bytes.clone();
            for value in [0x00, 0x80, 0xFF] {
                changed[i] = value;
                let _ = midi::read(&changed);
            }
        }
    }
}
