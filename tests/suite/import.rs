//! Reading MusicXML: conformance cases, melody choice.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use barwright::import::{self, Imported, MelodyError, melody};
use barwright::score::{Lyric, Note, Part, Pitch, Score, Syllabic, Time, VoiceId, playback};

fn fixtures(folder: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(folder)
}

fn note_line(part: &Part, note: &Note) -> String {
    let mut line = format!("{} {} {} {}", part.id, note.onset, note.duration, note.pitch);
    let voice = part.voice_name(note.voice);
    if voice != "1" {
        write!(line, " v={voice}").unwrap();
    }
    if note.grace {
        line.push_str(" g");
    }
    if !note.lyrics.is_empty() {
        let verses: Vec<String> = note.lyrics.iter().map(syllable).collect();
        write!(line, " l={}", verses.join(",")).unwrap();
    }
    line
}

fn syllable(lyric: &Lyric) -> String {
    let (before, after) = match lyric.syllabic {
        Syllabic::Single => ("", ""),
        Syllabic::Begin => ("", "-"),
        Syllabic::Middle => ("-", "-"),
        Syllabic::End => ("-", ""),
    };
    let extend = if lyric.extend { "_" } else { "" };
    format!("{}:{before}{}{after}{extend}", lyric.verse, lyric.text)
}

/// What a case may check besides its notes, by the word before the colon.
fn fact(word: &str, read: &Imported) -> String {
    let score = &read.score;
    let notes = || score.parts.iter().flat_map(|p| &p.notes);
    let facts: Vec<String> = match word {
        "title" => vec![score.title.clone()],
        "composer" => vec![score.composer.clone()],
        "warnings" => vec![read.warnings.len().to_string()],
        "measures" => score
            .measures
            .iter()
            .map(|m| format!("{}@{}+{}", m.number, m.start, m.duration))
            .collect(),
        "leads" => score.measures.iter().map(|m| m.lead.to_string()).collect(),
        "meters" => score.meters().iter().map(|(at, m)| format!("{at}={m}")).collect(),
        "keys" => score
            .keys
            .iter()
            .map(|k| format!("{}={}{}", k.at, k.fifths, k.mode.map_or("", |m| m.name())))
            .collect(),
        "tempos" => score.tempos.iter().map(|t| format!("{}={}", t.at, t.quarter_bpm)).collect(),
        "marks" => score.marks.iter().map(|m| format!("{}={}", m.at, m.text)).collect(),
        "words" => score
            .parts
            .iter()
            .flat_map(|p| &p.words)
            .map(|w| format!("{}={}", w.at, w.text))
            .collect(),
        "chords" => score
            .chords
            .iter()
            .map(|c| {
                let symbol = c.chord.as_ref().map_or("-".to_owned(), |c| c.symbol());
                format!("{}={symbol}", c.at)
            })
            .collect(),
        "kinds" => score
            .chords
            .iter()
            .filter_map(|c| c.chord.as_ref())
            .map(|c| c.quality.name().to_owned())
            .collect(),
        "tones" => score
            .chords
            .iter()
            .filter_map(|c| c.chord.as_ref())
            .map(|c| {
                let tones: Vec<String> =
                    c.classes().iter().map(|t| t.number().to_string()).collect();
                tones.join(",")
            })
            .collect(),
        "order" => playback::order(&score.measures).0.iter().map(usize::to_string).collect(),
        "jumps" => score
            .measures
            .iter()
            .enumerate()
            .flat_map(|(i, m)| m.jumps.iter().map(move |j| format!("{i}={j:?}")))
            .collect(),
        "staves" => score.parts.iter().map(|p| p.staves.to_string()).collect(),
        "names" => score.parts.iter().map(|p| p.name.clone()).collect(),
        "sounds" => score
            .parts
            .iter()
            .map(|p| {
                let program = p.sound.program.map_or("-".to_owned(), |n| n.to_string());
                format!("{program} {}", p.sound.standard.as_deref().unwrap_or("-"))
            })
            .collect(),
        "unpitched" => score.parts.iter().filter(|p| p.unpitched).map(|p| p.id.clone()).collect(),
        "fermatas" => notes().filter(|n| n.fermata).map(|n| n.onset.to_string()).collect(),
        "slides" => notes().map(|n| n.slide.map_or("-".to_owned(), |s| format!("{s:?}"))).collect(),
        "tuplets" => {
            notes().map(|n| n.tuplet.map_or("-".to_owned(), |(a, b)| format!("{a}/{b}"))).collect()
        }
        other => panic!("a case checks `{other}`, which the test doesn't know"),
    };
    format!("{word}: {}", facts.join(" ")).trim_end().to_owned()
}

#[test]
fn conformance() {
    let mut faults = String::new();
    let mut seen = BTreeMap::new();
    for entry in fs::read_dir(fixtures("musicxml")).unwrap() {
        let path = entry.unwrap().path();
        let stem = path.file_stem().unwrap().to_str().unwrap().to_owned();
        let slot: &mut (bool, bool) = seen.entry(stem.clone()).or_default();
        if path.extension().is_some_and(|e| e == "txt") {
            slot.1 = true;
            continue;
        }
        slot.0 = true;
        let expected = fs::read_to_string(path.with_extension("txt")).unwrap();
        let read = match import::read(&fs::read(&path).unwrap()) {
            Ok(read) => read,
            Err(e) => {
                writeln!(faults, "{stem}: {e}").unwrap();
                continue;
            }
        };
        let is_fact = |l: &&str| l.split_once(':').is_some_and(|(w, _)| !w.contains(' '));
        let wanted: Vec<&str> = expected.lines().filter(|l| !is_fact(l)).collect();
        let got: Vec<String> =
            read.score.parts.iter().flat_map(|p| p.notes.iter().map(|n| note_line(p, n))).collect();
        if wanted != got {
            writeln!(faults, "{stem}: notes\n  expected {wanted:?}\n  read     {got:?}").unwrap();
        }
        for line in expected.lines().filter(is_fact) {
            let word = line.split_once(':').unwrap().0;
            let got = fact(word, &read);
            if line.trim_end() != got {
                writeln!(faults, "{stem}:\n  expected {line}\n  read     {got}").unwrap();
                for w in read.warnings.iter().filter(|_| word == "warnings") {
                    writeln!(faults, "    {}: {}", w.place, w.what).unwrap();
                }
            }
        }
    }
    assert!(seen.len() >= 120, "only {} cases", seen.len());
    for (stem, both) in &seen {
        assert_eq!(*both, (true, true), "{stem} lacks its song or its expected notes");
    }
    assert!(faults.is_empty(), "{faults}");
}

#[test]
fn every_conformance_case_is_in_the_index() {
    let index = fs::read_to_string(fixtures("README.md")).unwrap();
    for folder in ["musicxml", "broken"] {
        for entry in fs::read_dir(fixtures(folder)).unwrap() {
            let name = entry.unwrap().file_name().into_string().unwrap();
            if !name.ends_with(".txt") {
                assert!(
                    index.contains(&format!("`{name}`")),
                    "{name} is not in fixtures/README.md"
                );
            }
        }
    }
}

/// A part whose notes are given as "C4 D4 E4/2" (length after the slash, one quarter without).
fn part(id: &str, name: &str, notes: &str) -> Part {
    let mut part = Part::new(id, name);
    let mut at = Time::ZERO;
    for word in notes.split_whitespace() {
        let (pitches, length) = word.split_once('/').unwrap_or((word, "1"));
        let length = Time::quarters(length.parse().unwrap());
        for pitch in pitches.split('+').filter(|p| *p != "R") {
            part.notes.push(Note::new(at, length, pitch.parse::<Pitch>().unwrap()));
        }
        at += length;
    }
    part.sort_notes();
    part
}

fn score(parts: Vec<Part>) -> Score {
    Score { parts, ..Score::default() }
}

const TUNE: &str = "G4 A4 B4 D5 C5 B4 A4/2 B4 G4 E4 D4 G4 A4 G4/2";
const CHORDS: &str = "G3+B3+D4/4 C3+E3+G3/4 D3+F#3+A3/4 G3+B3+D4/4";
const BASS: &str = "G2/2 D2/2 C2/2 G2/2 D2/2 A2/2 G2/2 G2/2";

#[test]
fn the_tune_is_found_wherever_it_stands() {
    for order in [[0, 1, 2], [1, 0, 2], [2, 1, 0], [1, 2, 0]] {
        let all = [part("a", "", TUNE), part("b", "", CHORDS), part("c", "", BASS)];
        let song = score(order.iter().map(|i| all[*i].clone()).collect());
        let found = melody(&song, None).unwrap();
        assert_eq!(song.parts[found.line.part].id, "a", "{}", found.why);
        assert_eq!(found.scores.len(), 3);
        assert!(found.scores.iter().all(|s| (0.0..=1.0).contains(&s.melody_score)));
    }
}

#[test]
fn a_low_sung_line_with_words_is_the_melody_under_a_high_accompaniment() {
    let mut sung = part("v", "", "G3 A3 B3 D4 C4 B3 A3/2 B3 G3 E3 D3 G3 A3 G3/2");
    for note in &mut sung.notes {
        note.lyrics.push(Lyric { verse: 1, text: "la".to_owned(), ..Lyric::default() });
    }
    let song = score(vec![part("x", "Strings", "G5+B5/4 C5+E5/4 D5+F#5/4 G5+B5/4"), sung]);
    assert_eq!(melody(&song, None).unwrap().line.part, 1);
}

#[test]
fn the_user_names_part_and_voice() {
    let mut two = part("P1", "Choir", TUNE);
    two.voices.push("2".to_owned());
    for mut note in part("x", "", BASS).notes {
        note.voice = VoiceId(1);
        two.notes.push(note);
    }
    two.sort_notes();
    let song = score(vec![two, part("P2", "Flute", TUNE)]);
    for asked in ["P2", "flute", "2"] {
        assert_eq!(melody(&song, Some(asked)).unwrap().line.part, 1, "{asked}");
    }
    let low = melody(&song, Some("P1/2")).unwrap();
    assert_eq!((low.line.part, low.voice), (0, Some(VoiceId(1))));
    assert_eq!(low.line.notes[0].pitch.to_string(), "G2");
    assert_eq!(melody(&song, Some("Choir/1")).unwrap().voice, Some(VoiceId(0)));
    let fault = melody(&song, Some("oboe")).unwrap_err();
    assert!(fault.to_string().contains("2 Flute (P2)"), "{fault}");
    assert!(matches!(melody(&song, Some("P1/9")), Err(MelodyError::NoSuchPart { .. })));
    assert!(matches!(melody(&score(vec![]), None), Err(MelodyError::NoNotes)));
}
