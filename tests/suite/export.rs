//! MusicXML, MIDI, JSON and setup lists.

use std::fs;
use std::path::{Path, PathBuf};

use barwright::export::{midi, musicxml};
use barwright::import;
use barwright::score::{
    Hand, KeySignature, Lyric, Measure, Meter, Midi, Mode, Note, Part, Pitch, Score, Sound, Tempo,
    Time, Transposition, VoiceId, playback,
};
use proptest::prelude::*;

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
fn a_score_and_its_parts_at_once_are_those_one_by_one() {
    for file in fixtures("musicxml", &["musicxml", "xml", "mxl"]) {
        let Ok(imported) = import::read(&fs::read(&file).unwrap()) else { continue };
        let score = imported.score;
        let (whole, parts) = musicxml::score_and_parts(&score);
        assert!(whole == musicxml::score(&score), "{}", file.display());
        assert_eq!(parts.len(), score.parts.len());
        for (i, part) in parts.iter().enumerate() {
            assert!(*part == musicxml::part(&score, i), "{}: part {i}", file.display());
        }
    }
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

/// A score with one part and measures of one meter that hold all its notes.
fn one_part(meter: Meter, lead: Time, notes: Vec<Note>) -> Score {
    let mut part = Part::new("alto-xylophone", "Alto xylophone");
    let end = notes.iter().map(Note::end).max().unwrap_or(Time::ZERO);
    part.voices = vec!["1".to_owned(), "2".to_owned()];
    part.notes = notes;
    part.sort_notes();
    let mut score = Score { title: "Tune".to_owned(), parts: vec![part], ..Score::default() };
    let mut at = Time::ZERO;
    while at < end || score.measures.is_empty() {
        let mut measure = Measure::full((score.measures.len() + 1).to_string(), at, meter);
        if at.is_zero() {
            measure.lead = lead;
            measure.duration = meter.measure() - lead;
            measure.implicit = lead.is_positive();
        }
        at = measure.end();
        score.measures.push(measure);
    }
    score
}

/// Ends of all voices of all measures in divisions, from the written text alone.
fn assert_measures_add_up(text: &str, score: &Score) {
    let document = roxmltree::Document::parse(text).unwrap();
    for part in document.root_element().children().filter(|n| n.has_tag_name("part")) {
        let mut divisions = 1;
        let measures = part.children().filter(|n| n.has_tag_name("measure"));
        for (measure, model) in measures.zip(&score.measures) {
            let number = |node: roxmltree::Node<'_, '_>, tag: &str| {
                let child = node.children().find(|c| c.has_tag_name(tag))?;
                child.text()?.parse::<i64>().ok()
            };
            for attributes in measure.children().filter(|c| c.has_tag_name("attributes")) {
                divisions = number(attributes, "divisions").unwrap_or(divisions);
            }
            let full = model.duration.ticks(divisions);
            let mut at = 0;
            for child in measure.children() {
                let chord = child.children().any(|c| c.has_tag_name("chord"));
                match (child.tag_name().name(), number(child, "duration")) {
                    ("note", Some(length)) if !chord => at += length,
                    ("backup", Some(length)) => {
                        assert_eq!(at, full, "a voice of measure {} doesn't fill it", model.number);
                        at -= length;
                    }
                    _ => {}
                }
            }
            assert_eq!(at, full, "a voice of measure {} doesn't fill it", model.number);
        }
    }
}

prop_compose! {
    /// A note somewhere in four measures, on grids of eighths, 16ths, triplets, quintuplets and
    /// septuplets, of either voice, overlapping others as it likes.
    fn any_note()(
        grid in prop::sample::select(vec![1i64, 2, 4, 3, 6, 5, 7]),
        at in 0i64..96,
        length in 1i64..20,
        midi in 40i16..90,
        fifths in -3i8..4,
        voice in 0u16..2,
        grace in prop::bool::weighted(0.1),
    ) -> Note {
        let onset = Time::new(at % (12 * grid), grid);
        let length = if grace { Time::ZERO } else { Time::new(length, grid) };
        let mut note = Note::new(onset, length, Pitch::spelled(Midi::new(midi), fifths));
        note.voice = VoiceId(voice);
        note.grace = grace;
        note
    }
}

fn any_meter() -> impl Strategy<Value = Meter> {
    prop::sample::select(vec![
        Meter::COMMON,
        Meter::new(3, 4).unwrap(),
        Meter::new(6, 8).unwrap(),
        Meter::new(2, 2).unwrap(),
        Meter::new(3, 8).unwrap(),
        Meter::new(5, 8).unwrap(),
        Meter::additive(&[3, 2, 3], 8).unwrap(),
    ])
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 100, ..ProptestConfig::default() })]

    #[test]
    fn any_notes_read_back_from_musicxml(
        notes in prop::collection::vec(any_note(), 0..24),
        meter in any_meter(),
        pickup in 0i64..3,
        octaves in -2i8..3,
    ) {
        let lead = if pickup > 0 { meter.measure() - Time::new(pickup, 2) } else { Time::ZERO };
        let mut score = one_part(meter, lead, notes);
        let transposition = Transposition { octaves, ..Transposition::default() };
        score.parts[0].transpositions = vec![(Time::ZERO, transposition)];
        let text = musicxml::score(&score);
        assert_measures_add_up(&text, &score);
        prop_assert_eq!(&text, &musicxml::score(&score), "the same bytes each time");
        // Without a pitched note there is nothing to read.
        if score.parts[0].notes.iter().all(|n| n.grace) {
            return Ok(());
        }
        let again = import::read(text.as_bytes()).unwrap();
        prop_assert_eq!(rows(&score), rows(&again.score));
        prop_assert_eq!(again.score.parts[0].transposition_at(Time::ZERO), transposition);
    }

    #[test]
    fn any_notes_stand_in_midi(notes in prop::collection::vec(any_note(), 1..24)) {
        // One stroke of a pitch at a time, so that what must be heard is what is written.
        let mut kept: Vec<Note> = Vec::new();
        for note in notes {
            let apart = |k: &Note| k.midi() != note.midi() || k.end() <= note.onset || note.end() <= k.onset;
            if !note.grace && kept.iter().all(apart) {
                kept.push(note);
            }
        }
        let score = one_part(Meter::COMMON, Time::ZERO, kept.clone());
        let mut want: Vec<(Time, Time, i16)> =
            kept.iter().map(|n| (n.onset, n.end(), n.midi().number())).collect();
        want.sort();
        prop_assert_eq!(strokes(&midi::write(&score)), want);
    }
}

/// Every stroke of a MIDI file as onset, end and number, by midly.
fn strokes(bytes: &[u8]) -> Vec<(Time, Time, i16)> {
    let file = midly::Smf::parse(bytes).unwrap();
    let midly::Timing::Metrical(ppq) = file.header.timing else { panic!("no ticks") };
    let quarter = i64::from(ppq.as_int());
    let mut strokes = Vec::new();
    for track in &file.tracks {
        let mut now = 0;
        let mut open: Vec<(u8, i64)> = Vec::new();
        for event in track {
            now += i64::from(event.delta.as_int());
            let midly::TrackEventKind::Midi { message, .. } = event.kind else { continue };
            match message {
                midly::MidiMessage::NoteOn { key, .. } => open.push((key.as_int(), now)),
                midly::MidiMessage::NoteOff { key, .. } => {
                    let i = open.iter().position(|o| o.0 == key.as_int()).unwrap();
                    let (key, on) = open.remove(i);
                    let number = i16::from(key);
                    strokes.push((Time::new(on, quarter), Time::new(now, quarter), number));
                }
                _ => {}
            }
        }
        assert!(open.is_empty());
    }
    strokes.sort();
    strokes
}

#[test]
fn delta_times_are_the_quantities_of_the_midi_specification() {
    // Standard MIDI Files 1.0, table of variable-length quantities (handbook, "Numbers to check").
    let table: [(i64, &[u8]); 9] = [
        (0x40, &[0x40]),
        (0x7F, &[0x7F]),
        (0x80, &[0x81, 0x00]),
        (0x2000, &[0xC0, 0x00]),
        (0x3FFF, &[0xFF, 0x7F]),
        (0x4000, &[0x81, 0x80, 0x00]),
        (0x1F_FFFF, &[0xFF, 0xFF, 0x7F]),
        (0x20_0000, &[0x81, 0x80, 0x80, 0x00]),
        (0x0FFF_FFFF, &[0xFF, 0xFF, 0xFF, 0x7F]),
    ];
    for (ticks, bytes) in table {
        let onset = Time::new(ticks, 480);
        let note = Note::new(onset, Time::QUARTER, "C4".parse().unwrap());
        let mut score = one_part(Meter::COMMON, Time::ZERO, Vec::new());
        score.parts[0].notes = vec![note];
        score.measures[0].duration = onset + Time::quarters(4);
        let file = midi::write(&score);
        let wanted = [bytes, &[0x90, 60]].concat();
        assert!(file.windows(wanted.len()).any(|w| w == wanted), "{ticks:#x}");
    }
}

#[test]
fn each_verse_is_sung_on_its_own_pass() {
    let mut note = Note::new(Time::ZERO, Time::QUARTER, "G4".parse().unwrap());
    let lyric = |verse, text: &str| Lyric { verse, text: text.to_owned(), ..Lyric::default() };
    note.lyrics = vec![lyric(1, "one"), lyric(2, "two")];
    let mut score = one_part(Meter::new(1, 4).unwrap(), Time::ZERO, vec![note]);
    score.measures[0].repeat_end = Some(2);
    let bytes = midi::write(&score);
    let file = midly::Smf::parse(&bytes).unwrap();
    let sung: Vec<&[u8]> = file
        .tracks
        .iter()
        .flatten()
        .filter_map(|e| match e.kind {
            midly::TrackEventKind::Meta(midly::MetaMessage::Lyric(text)) => Some(text),
            _ => None,
        })
        .collect();
    assert_eq!(sung, [b"one", b"two"]);
}

#[test]
fn a_pitch_struck_again_while_it_sounds_ends_there() {
    let c: Pitch = "C4".parse().unwrap();
    let mut low = Note::new(Time::QUARTER, Time::QUARTER, c);
    low.voice = VoiceId(1);
    let score =
        one_part(Meter::COMMON, Time::ZERO, vec![Note::new(Time::ZERO, Time::quarters(3), c), low]);
    let q = Time::quarters;
    assert_eq!(strokes(&midi::write(&score)), [(q(0), q(1), 60), (q(1), q(3), 60)]);
}

#[test]
fn what_an_alto_and_a_soprano_read_looks_alike() {
    // Handbook, "The instruments": written C4 sounds one octave up on a soprano xylophone.
    let score = |name: &str, octaves: i8| {
        let mut score = one_part(
            Meter::COMMON,
            Time::ZERO,
            vec![Note::new(Time::ZERO, Time::quarters(4), name.parse().unwrap())],
        );
        score.parts[0].transpositions =
            vec![(Time::ZERO, Transposition { octaves, ..Transposition::default() })];
        musicxml::score(&score)
    };
    for text in [score("C4", 0), score("C5", 1), score("C6", 2), score("C3", -1)] {
        assert!(text.contains("<octave>4</octave>"), "{text}");
    }
    assert!(score("C5", 1).contains("<octave-change>1</octave-change>"));
}

#[test]
fn a_small_score_is_written_as_the_golden_file_has_it() {
    let pitch = |name: &str| name.parse::<Pitch>().unwrap();
    let eighth = Time::new(1, 2);
    let mut notes = vec![
        Note::new(Time::ZERO, eighth, pitch("C5")),
        Note::new(eighth, Time::new(7, 2), pitch("G5")),
        Note::new(Time::quarters(4), Time::new(1, 3), pitch("F#5")),
        Note::new(Time::new(13, 3), Time::new(1, 3), pitch("G5")),
        Note::new(Time::new(14, 3), Time::new(1, 3), pitch("A5")),
        Note::new(Time::quarters(5), Time::quarters(2), pitch("C5")),
        Note::new(Time::quarters(5), Time::quarters(2), pitch("G5")),
    ];
    notes[0].hand = Some(Hand::Left);
    notes[0].lyrics = vec![Lyric { verse: 1, text: "Bells".to_owned(), ..Lyric::default() }];
    let mut score = one_part(Meter::new(3, 4).unwrap(), Time::quarters(2), notes);
    score.keys = vec![KeySignature { at: Time::ZERO, fifths: 0, mode: Some(Mode::Major) }];
    score.tempos = vec![Tempo { at: Time::ZERO, quarter_bpm: 96.0 }];
    score.measures[1].repeat_start = true;
    score.measures[2].repeat_end = Some(2);
    score.parts[0].sound = Sound {
        program: Some(13),
        standard: Some("pitched-percussion.xylophone.soprano".to_owned()),
    };
    score.parts[0].transpositions =
        vec![(Time::ZERO, Transposition { octaves: 1, ..Transposition::default() })];
    insta::with_settings!({
        snapshot_path => "../../fixtures/golden",
        prepend_module_to_snapshot => false,
        omit_expression => true,
    }, {
        insta::assert_snapshot!("small-score", musicxml::score(&score));
    });
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
