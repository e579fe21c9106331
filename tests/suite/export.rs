//! MusicXML, MIDI, JSON and setup lists.

use std::fs;
use std::path::{Path, PathBuf};

use barwright::export::{midi, musicxml};
use barwright::import;
use barwright::score::{Pitch, Score, Time, playback};

fn fixtures(folder: &str, extensions: &[&str]) -> Vec<PathBuf> {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(folder);
    let mut files: Vec<PathBuf> = fs::read_dir(dir)
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| extensions.iter().any(|x| e == *x)))
        .collect();
    files.sort();
    files
}

/// What must survive a round trip of one part, in a fixed order: onset, length, sound and spelling,
/// grace, verses.
type Row = (Time, Time, i16, Pitch, bool, bool, Vec<(u8, String, bool)>);

fn rows(score: &Score) -> Vec<Vec<Row>> {
    score
        .parts
        .iter()
        .map(|part| {
            let mut rows: Vec<Row> = part
                .notes
                .iter()
                .map(|n| {
                    let lyrics =
                        n.lyrics.iter().map(|l| (l.verse, l.text.clone(), l.extend)).collect();
                    (n.onset, n.duration, n.midi().number(), n.pitch, n.grace, n.fermata, lyrics)
                })
                .collect();
            rows.sort();
            rows
        })
        .collect()
}

fn assert_same(name: &str, before: &Score, after: &Score) {
    let (a, b) = (rows(before), rows(after));
    assert_eq!(a.len(), b.len(), "{name}: parts");
    for (i, (a, b)) in a.iter().zip(&b).enumerate() {
        for (x, y) in a.iter().zip(b) {
            assert_eq!(x, y, "{name}: part {i}");
        }
        assert_eq!(a.len(), b.len(), "{name}: part {i}");
    }
    let measures = |s: &Score| {
        s.measures
            .iter()
            .map(|m| {
                let signs = (m.repeat_start, m.repeat_end, m.ending_start.clone(), m.ending_stop);
                (m.number.clone(), m.start, m.duration, m.meter, m.implicit, signs, m.jumps.clone())
            })
            .collect::<Vec<_>>()
    };
    for (x, y) in measures(before).iter().zip(&measures(after)) {
        assert_eq!(x, y, "{name}");
    }
    assert_eq!(before.keys, after.keys, "{name}");
    assert_eq!(before.tempos, after.tempos, "{name}");
    assert_eq!(before.marks, after.marks, "{name}");
    let chords = |s: &Score| {
        s.chords
            .iter()
            .map(|c| (c.at, c.chord.as_ref().map(|c| (c.symbol(), c.classes()))))
            .collect::<Vec<_>>()
    };
    assert_eq!(chords(before), chords(after), "{name}");
}

#[test]
fn every_fixture_reads_back_from_its_musicxml() {
    let mut faults = Vec::new();
    for file in fixtures("musicxml", &["musicxml", "xml", "mxl"]) {
        let name = file.file_name().unwrap().to_string_lossy().into_owned();
        let Ok(song) = import::read(&fs::read(&file).unwrap()) else { continue };
        let text = musicxml::score(&song.score);
        let again = import::read(text.as_bytes()).unwrap();
        let result = std::panic::catch_unwind(|| assert_same(&name, &song.score, &again.score));
        if let Err(fault) = result {
            let text = fault.downcast_ref::<String>().cloned().unwrap_or_default();
            faults.push(format!("{name}: {text}"));
        }
        if !again.warnings.is_empty() {
            faults.push(format!("{name}: {:?}", again.warnings));
        }
        assert!(!midi::write(&song.score).is_empty());
    }
    assert!(faults.is_empty(), "{} faults\n{}", faults.len(), faults.join("\n"));
}

/// All notes as onset, length and number, whatever their part.
fn struck(score: &Score) -> Vec<(String, String, i16)> {
    let notes = score.parts.iter().flat_map(|p| &p.notes);
    notes.map(|n| (n.onset.to_string(), n.duration.to_string(), n.midi().number())).collect()
}

/// Not a check by itself: turns every song of a folder into our MusicXML and MIDI for the scripts in
/// tests/external. `BARWRIGHT_IN` and `BARWRIGHT_OUT` name the folders.
#[test]
#[ignore = "run by tests/external/export_roundtrip.py"]
fn convert_a_folder() {
    let folder = |name| PathBuf::from(std::env::var_os(name).unwrap());
    let (from, to) = (folder("BARWRIGHT_IN"), folder("BARWRIGHT_OUT"));
    let mut files: Vec<PathBuf> = fs::read_dir(from).unwrap().map(|e| e.unwrap().path()).collect();
    files.sort();
    for file in files {
        let stem = file.file_name().unwrap().to_string_lossy().into_owned();
        let song = match import::read(&fs::read(&file).unwrap()) {
            Ok(song) => song,
            Err(fault) => {
                fs::write(to.join(format!("{stem}.failed")), fault.to_string()).unwrap();
                continue;
            }
        };
        let (text, midi) = (musicxml::score(&song.score), midi::write(&song.score));
        let again = import::read(text.as_bytes()).map(|a| a.score);
        let same = std::panic::catch_unwind(|| assert_same(&stem, &song.score, &again.unwrap()));
        if let Err(fault) = same {
            let fault = fault.downcast_ref::<String>().cloned().unwrap_or_default();
            fs::write(to.join(format!("{stem}.differs")), fault).unwrap();
        }
        let heard = import::read(&midi).map(|heard| struck(&heard.score)).unwrap_or_default();
        fs::write(to.join(format!("{stem}.heard")), serde_json::to_string(&heard).unwrap())
            .unwrap();
        fs::write(to.join(format!("{stem}.musicxml")), text).unwrap();
        fs::write(to.join(format!("{stem}.mid")), midi).unwrap();
        let parts: Vec<Vec<(String, String, i16, bool)>> = song
            .score
            .parts
            .iter()
            .map(|p| {
                p.notes
                    .iter()
                    .map(|n| {
                        let number = n.midi().number();
                        (n.onset.to_string(), n.duration.to_string(), number, n.grace)
                    })
                    .collect()
            })
            .collect();
        let played: Vec<(String, String)> = playback::order(&song.score.measures)
            .0
            .iter()
            .map(|i| &song.score.measures[*i])
            .map(|m| (m.start.to_string(), m.end().to_string()))
            .collect();
        let json = serde_json::to_string(&(parts, played)).unwrap();
        fs::write(to.join(format!("{stem}.json")), json).unwrap();
    }
}
