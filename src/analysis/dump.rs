//! Hands the models' figures to the script that fits their weights
//! (`tests/external/analysis_fit_key.py` and its siblings run the ignored test below).
//!
//! `BARWRIGHT_TABLES` names the folder of note tables that `analysis_cache.py` made, `BARWRIGHT_END`
//! their ending (empty or `-quick`), `BARWRIGHT_OUT` the folder to write to:
//!
//! - `cases.jsonl` one line a case with its label; `key.f32` the case's 84 rows of features
//!   (tonic-major order) as little-endian floats; every case is transposed at random (seeded) first;
//! - `phrase.jsonl` the chorale sopranos' boundary rows, places and true phrase starts;
//! - `harmony.jsonl` the chorale sopranos' beats: weights by pitch class above the true tonic, level,
//!   root of the sounding chord above the true tonic.

use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::PathBuf;

use serde::Deserialize;
use serde_json::json;

use super::key_features::{FEATURE_NAMES, Summary};
use super::table::Table;
use super::{Options, analyse, harmony, phrase};
use crate::score::{
    Interval, KeySignature, Line, Measure, Meter, Mode, Note, Part, Pitch, Score, Time,
};

/// One tune as `analysis_cache.py` writes it.
#[derive(Deserialize)]
pub(super) struct Tune {
    name: String,
    collection: String,
    tonic: String,
    mode: String,
    fifths: i8,
    measures: Vec<(i64, i64, u16, u16, u8)>,
    parts: Vec<Vec<(i64, i64, String, u8)>>,
    #[serde(default)]
    roots: Vec<(i64, i16)>,
}

const TICKS: i64 = 10_080;

impl Tune {
    /// The tune as a score, moved by `by`.
    fn score(&self, by: Interval, parts: usize) -> Score {
        let time = |t: i64| Time::new(t, TICKS);
        let mut score = Score::default();
        let mut short: Option<Time> = None;
        for (i, &(start, duration, beats, beat_type, closes)) in self.measures.iter().enumerate() {
            let meter = Meter::new(beats, beat_type).unwrap_or(Meter::COMMON);
            let mut measure = Measure::full(i.to_string(), time(start), meter);
            measure.duration = time(duration);
            measure.double_bar = closes == 1;
            // The end of the measure before, where the tune itself leaves gaps.
            let missing = meter.measure() - measure.duration;
            if missing.is_positive() {
                if i == 0 {
                    measure.lead = missing;
                } else if let Some(before) =
                    short.filter(|b| *b + measure.duration == meter.measure())
                {
                    measure.lead = before;
                } else if self.measures[i - 1].4 == 1 && measure.duration * 2 <= meter.measure() {
                    // A pickup to a section whose last measure was full.
                    measure.lead = missing;
                }
            }
            short = (missing.is_positive() && measure.lead.is_zero()).then_some(measure.duration);
            score.measures.push(measure);
        }
        let sharps = (i16::from(self.fifths) + by.semitones() * 7).rem_euclid(12);
        let sharps = if sharps > 6 { sharps - 12 } else { sharps } as i8;
        score.keys.push(KeySignature { at: Time::ZERO, fifths: sharps, mode: None });
        for (i, notes) in self.parts.iter().take(parts).enumerate() {
            let mut part = Part::new(format!("P{i}"), "");
            for (onset, duration, pitch, fermata) in notes {
                let pitch: Pitch = pitch.parse().unwrap();
                let midi = pitch.midi() + by;
                let mut note =
                    Note::new(time(*onset), time(*duration), Pitch::spelled(midi, sharps));
                note.fermata = *fermata == 1;
                part.notes.push(note);
            }
            part.sort_notes();
            score.parts.push(part);
        }
        score
    }
}

pub(super) fn read(path: PathBuf) -> Vec<Tune> {
    let text = fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    text.lines().map(|l| serde_json::from_str(l).unwrap()).collect()
}

/// A small generator (Knuth's MMIX constants), so that the transpositions are the same every time.
fn transposition(seed: &mut u64) -> Interval {
    *seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    Interval::new((*seed >> 33) as i16 % 12 - 5)
}

#[test]
#[ignore = "run by the scripts that fit the weights"]
fn dump() {
    let folder = |name: &str| PathBuf::from(std::env::var(name).unwrap());
    let ending = std::env::var("BARWRIGHT_END").unwrap_or_default();
    let (tables, out) = (folder("BARWRIGHT_TABLES"), folder("BARWRIGHT_OUT"));
    let create = |name: &str| BufWriter::new(File::create(out.join(name)).unwrap());
    let (mut cases, mut rows) = (create("cases.jsonl"), create("key.f32"));
    let (mut phrases, mut chords) = (create("phrase.jsonl"), create("harmony.jsonl"));
    writeln!(
        cases,
        "{}",
        json!({"features": FEATURE_NAMES, "boundary": phrase::PHRASE_FEATURES,
               "length": phrase::LENGTH_FEATURES})
    )
    .unwrap();
    let mut seed = 20;
    let folk = read(tables.join(format!("folk{ending}.jsonl")));
    let chorales = read(tables.join(format!("chorales{ending}.jsonl")));
    let all = folk
        .iter()
        .map(|t| (t, "folk", 1))
        .chain(chorales.iter().flat_map(|t| [(t, "soprano", 1), (t, "parts", 4)]));
    for (tune, kind, parts) in all {
        let by = transposition(&mut seed);
        let score = tune.score(by, parts);
        let line = Line::top(0, None, &score.parts[0].notes);
        let options = Options { ignore_fermatas: true, ..Options::default() };
        let table = Table::new(&score, &line);
        let starts = phrase::starts(&line, &table, true);
        let ends: Vec<usize> =
            starts.iter().skip(1).map(|s| s - 1).chain([line.notes.len() - 1]).collect();
        let range = 0..line.notes.len();
        let sharps = i16::from(score.keys[0].fifths);
        let summary = Summary::new(&table, &score, range, &ends, Some(sharps)).unwrap();
        for tonic in 0..12 {
            for mode in 0..7 {
                for value in summary.row(tonic, mode) {
                    rows.write_all(&value.to_le_bytes()).unwrap();
                }
            }
        }
        let name: crate::score::NoteName = tune.tonic.parse().unwrap();
        let tonic = (name.class() + by).index();
        let mode = Mode::ALL.iter().position(|m| m.name() == tune.mode).unwrap();
        let found = analyse(&score, &line, options);
        let bare = analyse(&score, &line, Options { ignore_signature: true, ..options });
        let key = |a: &super::Analysis| {
            let key = a.key.best.key;
            json!([
                key.tonic.class().index(),
                key.mode.name(),
                a.key.best.confidence,
                a.key.sections.len()
            ])
        };
        writeln!(
            cases,
            "{}",
            json!({"name": tune.name, "collection": tune.collection, "kind": kind, "tonic": tonic,
                   "mode": mode, "by": by.semitones(), "notes": line.notes.len(),
                   "found": key(&found), "bare": key(&bare)})
        )
        .unwrap();
        if kind != "soprano" {
            continue;
        }
        let true_starts: Vec<usize> =
            (1..line.notes.len()).filter(|i| line.notes[i - 1].fermata).collect();
        writeln!(
            phrases,
            "{}",
            json!({"name": tune.name, "rows": phrase::boundary_rows(&line, &table, true),
                   "places": phrase::places(&table), "starts": true_starts, "found": starts})
        )
        .unwrap();
        let root = |at: f64| {
            let tick = (at * TICKS as f64).round() as i64;
            tune.roots
                .iter()
                .find(|r| r.0 == tick)
                .map(|r| (r.1 - name.class().number()).rem_euclid(12))
        };
        let known = crate::score::Key::on((name.class()) + by, Mode::ALL[mode]);
        writeln!(
            chords,
            "{}",
            json!({"name": tune.name, "mode": tune.mode,
                   "density": line.notes.len() as f64 / score.beats().len() as f64,
                   "slots": harmony::dump(&score, &table, known).into_iter()
                       .map(|(at, level, weights)| json!([at, level, weights, root(at)]))
                       .collect::<Vec<_>>(),
                   "found": harmony::roots(&score, &line, &table, known)})
        )
        .unwrap();
    }
}
