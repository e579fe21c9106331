//! Benchmark of the concert stage: made-up concerts whose songs ask for the bars of scales round the
//! circle of fifths, planned in the given order and in the best one.
//!
//! With a folder of tunes in `BARWRIGHT_TUNES` it measures roxmltree's bare parse of them instead: what
//! `tests/external/concert_bench.py` compares the whole program with.
#![allow(clippy::unwrap_used, reason = "a benchmark may stop by panicking")]

use std::hint::black_box;
use std::path::Path;
use std::time::Instant;

use barwright::concert::{MOVE, Pins, Problem, Room, plan_best, plan_in_order};
use barwright::kit::{Setup, State, starter};
use criterion::{Criterion, criterion_group};

/// Songs of six ways each; way `w` of song `s` takes the bars of a rotated seven-note pattern off.
fn concert(songs: usize) -> Problem {
    let kit = starter();
    let mut room = Room::new(&kit);
    let songs: Vec<_> = (0..songs)
        .map(|song| {
            (0..6)
                .map(|way| {
                    let key = song * 5 + way * 7;
                    let setups: Vec<Setup> = kit
                        .instruments
                        .iter()
                        .enumerate()
                        .map(|(instrument, i)| Setup {
                            instrument,
                            states: (0..i.slots.len())
                                .map(|s| {
                                    if (s * 7 + key) % 12 < 7 { State::Keep } else { State::Remove }
                                })
                                .collect(),
                            cautions: Vec::new(),
                        })
                        .collect();
                    room.way(&setups, &[], way as u64 * MOVE)
                })
                .collect()
        })
        .collect();
    Problem { pins: Pins::none(songs.len()), room, songs }
}

fn bench(c: &mut Criterion) {
    let mut group = c.benchmark_group("concert");
    group.sample_size(10);
    let large = concert(40);
    let order: Vec<usize> = (0..40).collect();
    group.bench_function("40 songs x 6 ways, given order", |b| {
        b.iter(|| plan_in_order(black_box(&large), &order));
    });
    let small = concert(14);
    group.bench_function("14 songs x 6 ways, best order", |b| {
        b.iter(|| plan_best(black_box(&small)));
    });
    group.finish();
}

/// Prints the median and the mean of roxmltree's bare parse of every MusicXML file of a folder, the
/// fastest of five each.
fn bare_parse(folder: &Path) {
    let mut times: Vec<f64> = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|e| e != "musicxml") {
            continue;
        }
        let text = std::fs::read_to_string(path).unwrap();
        let once = || {
            let options = roxmltree::ParsingOptions { allow_dtd: true, ..Default::default() };
            let began = Instant::now();
            let document = roxmltree::Document::parse_with_options(black_box(&text), options);
            black_box(document.unwrap());
            began.elapsed().as_secs_f64() * 1e3
        };
        times.push((0..5).map(|_| once()).fold(f64::INFINITY, f64::min));
    }
    times.sort_by(f64::total_cmp);
    let mean = times.iter().sum::<f64>() / times.len() as f64;
    println!("{{\"median_ms\": {}, \"mean_ms\": {mean}}}", times[times.len() / 2]);
}

criterion_group!(benches, bench);

fn main() {
    if let Some(folder) = std::env::var_os("BARWRIGHT_TUNES") {
        return bare_parse(Path::new(&folder));
    }
    benches();
    Criterion::default().configure_from_args().final_summary();
}
