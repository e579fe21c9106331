//! Hands the models' figures to the script that fits their weights
//! (`tests/external/analysis_fit_key.py` and its siblings run the ignored test below).
//!
//! `BARWRIGHT_TABLES` names the folder of note tables that `analysis_cache.py` made, `BARWRIGHT_END`
//! their ending (empty or `-quick`), `BARWRIGHT_OUT` the folder to write to:
//!
//! - `cases.jsonl` one line a case with its label; `key.f32` the case's 84 rows of features
//!   (tonic-major order) as little-endian floats; every case is transposed at random (seeded) first;
//!   folk tunes stand there twice, the second time (`bare`) without double bars and repeats, every
//!   other one without its pickup too;
//! - `phrase.jsonl` the chorale sopranos' boundary rows, places and true phrase starts;
//! - `harmony.jsonl` the chorale sopranos' beats: weights by pitch class above the tonic found, level,
//!   root of the sounding chord above that tonic.

use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::PathBuf;

use serde::Deserialize;
use serde_json::json;

use super::key::{Costs, segments};
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

/// Takes off what a MIDI file or a plain copy of a tune doesn't tell: double bars and repeats and, with
/// `no_pickup`, where the first full measure begins.
fn bare_of_signs(score: &mut Score, no_pickup: bool) {
    if no_pickup {
        let meter = score.measures.first().map_or(Meter::COMMON, |m| m.meter);
        let (end, mut start) = (score.end(), Time::ZERO);
        score.measures.clear();
        while start < end {
            score.measures.push(Measure::full("", start, meter));
            start += meter.measure();
        }
    }
    score.measures.iter_mut().for_each(|m| m.double_bar = false);
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
        .chain(folk.iter().map(|t| (t, "bare", 1)))
        .chain(chorales.iter().flat_map(|t| [(t, "soprano", 1), (t, "parts", 4)]));
    for (number, (tune, kind, parts)) in all.enumerate() {
        let by = transposition(&mut seed);
        let mut score = tune.score(by, parts);
        if kind == "bare" {
            bare_of_signs(&mut score, number % 2 == 0);
        }
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
                   "mode": mode, "by": by.semitones(),
                   "last": line.notes.last().unwrap().pitch.class().index(), "notes": line.notes.len(),
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
        // Seen from the tonic that the analysis itself hears in the soprano.
        let heard = found.key.best.key;
        let tonic = heard.tonic.class().number();
        let root = |at: f64| {
            let tick = (at * TICKS as f64).round() as i64;
            let found = tune.roots.iter().find(|r| r.0 == tick);
            found.map(|r| (r.1 + by.semitones() - tonic).rem_euclid(12))
        };
        writeln!(
            chords,
            "{}",
            json!({"name": tune.name, "mode": heard.mode.name(),
                   "density": line.notes.len() as f64 / score.beats().len() as f64,
                   "slots": harmony::dump(&score, &table, heard).into_iter()
                       .map(|(at, level, weights, measure)| json!([at, level, weights, root(at), measure]))
                       .collect::<Vec<_>>(),
                   "found": harmony::roots(&score, &line, &table, heard)})
        )
        .unwrap();
    }
}

/// The tune `b` put behind `a`, and where it begins.
fn glued(a: &Score, b: &Score) -> (Score, Time) {
    let mut whole = a.clone();
    let joint = a.end();
    whole.measures.extend(b.measures.iter().cloned().map(|mut m| {
        m.start += joint;
        m
    }));
    // The score's own double bars would give the joint away.
    whole.measures.iter_mut().for_each(|m| m.double_bar = false);
    let later = b.parts[0].notes.iter().cloned().map(|mut n| {
        n.onset += joint;
        n
    });
    whole.parts[0].notes.extend(later);
    (whole, joint)
}

/// Prints, for made pieces in two keys, how often the change is found within a measure and both keys
/// are right, notes only. `BARWRIGHT_COSTS` (`change at_phrase ends_on_tonic`) tries other costs for
/// the cut alone; `BARWRIGHT_PIECES` is `tune` (the first half of the pieces) or `test`.
#[test]
#[ignore = "run by analysis_figures.py"]
fn modulation() {
    let tables = PathBuf::from(std::env::var("BARWRIGHT_TABLES").unwrap());
    let ending = std::env::var("BARWRIGHT_END").unwrap_or_default();
    let test = std::env::var("BARWRIGHT_PIECES").is_ok_and(|v| v == "test");
    let costs = std::env::var("BARWRIGHT_COSTS").ok().map(|text| {
        let v: Vec<f32> = text.split_whitespace().map(|w| w.parse().unwrap()).collect();
        Costs { change: v[0], at_phrase: v[1], ends_on_tonic: v[2] }
    });
    let folk = read(tables.join(format!("folk{ending}.jsonl")));
    let mut seed = if test { 77 } else { 5 };
    let mut draw = |n: usize| {
        transposition(&mut seed);
        (seed >> 33) as usize % n
    };
    let pieces = if test { 300 } else { 150 };
    // Tuning and testing draw from different tunes.
    let pool: Vec<&Tune> = folk.iter().skip(usize::from(test)).step_by(2).collect();
    let (mut made, mut near, mut keys, mut once, mut single) = (0, 0, 0, 0, 0);
    while made < pieces {
        let (a, b) = (pool[draw(pool.len())], pool[draw(pool.len())]);
        let (up_a, up_b) = (draw(12) as i16 - 5, draw(12) as i16 - 5);
        let label = |t: &Tune, by: i16| {
            let name: crate::score::NoteName = t.tonic.parse().unwrap();
            let mode = Mode::ALL.into_iter().find(|m| m.name() == t.mode).unwrap();
            (name.class() + Interval::new(by), mode.has_major_third())
        };
        let truth = [label(a, up_a), label(b, up_b)];
        if truth[0] == truth[1] {
            continue;
        }
        made += 1;
        let (first, second) = (a.score(Interval::new(up_a), 1), b.score(Interval::new(up_b), 1));
        let (score, joint) = glued(&first, &second);
        let line = Line::top(0, None, &score.parts[0].notes);
        let measure = score.measure_at(joint).unwrap().meter.measure();
        let close = |at: Time| at - joint <= measure && joint - at <= measure;
        if let Some(costs) = costs {
            let table = Table::new(&score, &line);
            let starts = phrase::starts(&line, &table, true);
            let cuts = segments(&table, &starts, costs);
            once += usize::from(cuts.len() == 2);
            near += usize::from(cuts.len() == 2 && close(line.notes[cuts[1].start].onset));
            let line = Line::top(0, None, &first.parts[0].notes);
            let table = Table::new(&first, &line);
            let starts = phrase::starts(&line, &table, true);
            single += usize::from(segments(&table, &starts, costs).len() == 1);
            continue;
        }
        let options = Options { ignore_signature: true, ignore_fermatas: true };
        let found = analyse(&score, &line, options).key.sections;
        let hears = |s: &super::KeySection| (s.key.tonic.class(), s.key.mode.has_major_third());
        once += usize::from(found.len() == 2);
        near += usize::from(found.iter().skip(1).any(|s| close(s.from)));
        keys += usize::from(
            found.len() == 2 && hears(&found[0]) == truth[0] && hears(&found[1]) == truth[1],
        );
        let line = Line::top(0, None, &first.parts[0].notes);
        single += usize::from(analyse(&first, &line, options).key.sections.len() == 1);
    }
    let share = |n: usize| n as f64 / made as f64;
    println!(
        "{}",
        json!({"pieces": made, "one change": share(once), "change within a measure": share(near),
               "both keys": share(keys), "first tune alone is one section": share(single)})
    );
}
