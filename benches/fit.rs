//! Benchmark of the fit stage: one tune against the 9-instrument starter kit, after analysis.
#![allow(clippy::unwrap_used, reason = "a benchmark may stop by panicking")]

use std::hint::black_box;

use barwright::analysis::{Analysis, Options, analyse};
use barwright::kit::{FitRequest, Kit, Transpose, fit};
use barwright::score::{Line, Measure, Meter, Midi, Note, Part, Pitch, Score, Time};
use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};

/// Semitones above the tonic, an eighth each: the shape of a 16-measure dance tune in two strains
/// (128 notes, written for this benchmark).
const STRAIN: [i16; 64] = [
    0, 4, 7, 4, 9, 7, 4, 2, 0, 4, 7, 12, 11, 9, 7, 5, 4, 7, 12, 7, 9, 12, 9, 7, 5, 4, 2, 4, 5, 7,
    4, 2, 0, 4, 7, 4, 9, 7, 4, 2, 0, 4, 7, 12, 11, 9, 7, 5, 4, 5, 7, 9, 11, 12, 14, 11, 12, 9, 7,
    4, 2, 5, 0, 0,
];

/// A tune of so many strains on a tonic; `chromatic`: with an F and F♯ of one octave side by side, so
/// that no single instrument carries it.
fn tune(strains: usize, tonic: i16, chromatic: bool) -> (Score, Line, Analysis) {
    let eighth = Time::new(1, 2);
    let mut notes = Vec::new();
    for i in 0..strains * STRAIN.len() {
        let mut step = STRAIN[i % STRAIN.len()];
        if chromatic && i % STRAIN.len() == 30 {
            step = 6;
        }
        let pitch = Pitch::spelled(Midi::new(tonic + step), 1);
        notes.push(Note::new(eighth * i as i64, eighth, pitch));
    }
    let mut score = Score::default();
    for i in 0..strains * 8 {
        let start = Time::quarters(4 * i as i64);
        score.measures.push(Measure::full((i + 1).to_string(), start, Meter::COMMON));
    }
    let mut part = Part::new("P1", "tune");
    part.notes = notes.clone();
    score.parts.push(part);
    let line = Line { part: 0, voice: None, notes };
    let analysis = analyse(&score, &line, Options::default());
    (score, line, analysis)
}

fn bench(c: &mut Criterion) {
    let kit = Kit::starter();
    let any = FitRequest::default();
    let mut group = c.benchmark_group("fit");
    for (name, tonic, chromatic) in [("in D", 62, false), ("shared", 60, true)] {
        let (score, line, analysis) = tune(2, tonic, chromatic);
        group.bench_function(name, |b| {
            b.iter(|| fit(black_box(&score), &line, &analysis, &kit, &any));
        });
    }
    let own = FitRequest { transpose: Transpose::None, ..FitRequest::default() };
    for strains in [2, 20] {
        let (score, line, analysis) = tune(strains, 62, false);
        group.bench_with_input(BenchmarkId::new("strains", strains), &strains, |b, _| {
            b.iter(|| fit(&score, &line, &analysis, &kit, &own));
        });
        let (score, line, analysis) = tune(strains, 60, true);
        group.bench_with_input(BenchmarkId::new("shared strains", strains), &strains, |b, _| {
            b.iter(|| fit(&score, &line, &analysis, &kit, &any));
        });
    }
    group.finish();
}

criterion_group!(benches, bench);
criterion_main!(benches);
