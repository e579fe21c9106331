//! Benchmark of the concert stage: made-up concerts whose songs ask for the bars of scales round the
//! circle of fifths, planned in the given order and in the best one.

use std::hint::black_box;

use barwright::concert::{MOVE, Pins, Problem, Room, plan_best, plan_in_order};
use barwright::kit::{Setup, State, starter};
use criterion::{Criterion, criterion_group, criterion_main};

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

criterion_group!(benches, bench);
criterion_main!(benches);
