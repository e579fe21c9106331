//! The planners against a twin that tries everything.

use proptest::prelude::*;

use super::problem::{Pins, Problem};
use super::room::{Cost, MOVE, Room, undominated};
use super::*;
use crate::kit::{Bar, Setup, State};
use crate::score::Midi;

/// States of each instrument's slots, where it is used.
type Bars = Vec<Option<Vec<State>>>;

/// A way as plain data: bars before the song, bars that it leaves, and a cost.
type RawWay = (Bars, Bars, Cost);

const SLOTS: [usize; 3] = [3, 2, 4];

fn state() -> impl Strategy<Value = State> {
    prop_oneof![
        3 => Just(State::Keep),
        2 => Just(State::Remove),
        1 => Just(State::Fill),
        1 => Just(State::Swap(Bar(Midi::new(66)))),
    ]
}

fn way() -> impl Strategy<Value = RawWay> {
    // Bars before and after; mostly the same.
    let instrument = |slots: usize| {
        let bars = move || prop::collection::vec(state(), slots);
        proptest::option::weighted(0.7, (bars(), proptest::option::weighted(0.15, bars())))
    };
    (
        (instrument(SLOTS[0]), instrument(SLOTS[1]), instrument(SLOTS[2])),
        prop_oneof![Just(0), (0u64..5).prop_map(|c| c * MOVE), 0u64..4000],
    )
        .prop_map(|((a, b, c), cost)| {
            let all = [a, b, c];
            let before = all.iter().map(|i| i.as_ref().map(|(b, _)| b.clone())).collect();
            let after = all.into_iter().map(|i| i.map(|(b, a)| a.unwrap_or(b))).collect();
            (before, after, cost)
        })
}

fn concert(songs: std::ops::RangeInclusive<usize>) -> impl Strategy<Value = Vec<Vec<RawWay>>> {
    prop::collection::vec(prop::collection::vec(way(), 1..=4), songs)
}

fn build(raw: &[Vec<RawWay>], pins: Pins) -> Problem {
    let plain = SLOTS.iter().map(|n| vec![State::Keep; *n]).collect();
    let mut room = Room::from_plain(plain);
    let songs = raw
        .iter()
        .map(|ways| {
            ways.iter()
                .map(|(before, after, cost)| {
                    let setups = |bars: &Bars| -> Vec<Setup> {
                        bars.iter()
                            .enumerate()
                            .filter_map(|(instrument, states)| {
                                let states = states.clone()?;
                                Some(Setup { instrument, states, cautions: Vec::new() })
                            })
                            .collect()
                    };
                    room.way(&setups(before), &setups(after), *cost)
                })
                .collect()
        })
        .collect();
    Problem { room, songs, pins }
}

/// Changes the bars and counts the moves.
fn set_up(lies: &mut [Vec<State>], wanted: &Bars) -> Cost {
    let mut moves = 0;
    for (slots, wanted) in lies.iter_mut().zip(wanted) {
        for (slot, wanted) in slots.iter_mut().zip(wanted.iter().flatten()) {
            moves += if slot == wanted { 0 } else { MOVE };
            *slot = *wanted;
        }
    }
    moves
}

/// The contract's count, slot by slot, knowing nothing of patterns and lays.
fn counted(raw: &[Vec<RawWay>], order: &[(usize, usize)]) -> Cost {
    let mut lies: Vec<Vec<State>> = SLOTS.iter().map(|n| vec![State::Keep; *n]).collect();
    let mut sum = 0;
    for (song, way) in order {
        let (before, after, cost) = &raw[*song][*way];
        sum += cost + set_up(&mut lies, before);
        set_up(&mut lies, after);
    }
    sum + MOVE * lies.iter().flatten().filter(|s| **s != State::Keep).count() as Cost
}

fn ways_tried(raw: &[Vec<RawWay>], order: &[usize], best: &mut Cost) {
    let mut chosen = vec![0; order.len()];
    loop {
        let plan: Vec<(usize, usize)> = order.iter().copied().zip(chosen.iter().copied()).collect();
        *best = (*best).min(counted(raw, &plan));
        let mut at = 0;
        loop {
            let Some(digit) = chosen.get_mut(at) else { return };
            *digit += 1;
            if *digit < raw[order[at]].len() {
                break;
            }
            *digit = 0;
            at += 1;
        }
    }
}

fn brute_given(raw: &[Vec<RawWay>], order: &[usize]) -> Cost {
    let mut best = Cost::MAX;
    ways_tried(raw, order, &mut best);
    best
}

/// The least cost over all orders that the pins allow and all ways: a plain search that knows of no
/// table, dropping only branches that already cost more than the best.
fn brute_best(raw: &[Vec<RawWay>], pins: &Pins) -> Cost {
    struct Try<'a> {
        raw: &'a [Vec<RawWay>],
        pins: &'a Pins,
        order: Vec<(usize, usize)>,
        best: Cost,
    }
    fn go(t: &mut Try<'_>, lies: &[Vec<State>], cost: Cost) {
        if cost >= t.best {
            return;
        }
        if t.order.len() == t.raw.len() {
            let open = lies.iter().flatten().filter(|s| **s != State::Keep).count() as Cost;
            t.best = t.best.min(cost + MOVE * open);
            return;
        }
        for song in 0..t.raw.len() {
            let placed = |s: usize| t.order.iter().any(|(o, _)| *o == s);
            if placed(song) || !t.pins.before[song].iter().all(|e| placed(*e)) {
                continue;
            }
            for way in 0..t.raw[song].len() {
                let (before, after, fit) = &t.raw[song][way];
                let mut lies = lies.to_vec();
                let cost = cost + fit + set_up(&mut lies, before);
                set_up(&mut lies, after);
                t.order.push((song, way));
                go(t, &lies, cost);
                t.order.pop();
            }
        }
    }
    let plain: Vec<Vec<State>> = SLOTS.iter().map(|n| vec![State::Keep; *n]).collect();
    let mut t = Try { raw, pins, order: Vec::new(), best: Cost::MAX };
    go(&mut t, &plain, 0);
    t.best
}

/// Pins that can hold: "a before b" along a hidden order.
fn some_pins(songs: usize, seeds: &[(usize, usize)]) -> Pins {
    let mut pins = Pins::none(songs);
    for (a, b) in seeds {
        // 7 and 3 only scramble: the hidden order is by (7 × song + 3) mod songs, then by song.
        let rank = |s: usize| ((7 * s + 3) % songs, s);
        let (a, b) = (a % songs, b % songs);
        match rank(a).cmp(&rank(b)) {
            std::cmp::Ordering::Less => pins.put_before(a, b),
            std::cmp::Ordering::Greater => pins.put_before(b, a),
            std::cmp::Ordering::Equal => {}
        }
    }
    pins
}

fn given_agrees(raw: &[Vec<RawWay>]) -> Result<(), TestCaseError> {
    let problem = build(raw, Pins::none(raw.len()));
    let order: Vec<usize> = (0..raw.len()).collect();
    let plan = plan_in_order(&problem, &order);
    prop_assert!(plan.is_optimal());
    prop_assert_eq!(plan.order.iter().map(|o| o.0).collect::<Vec<_>>(), order.clone());
    prop_assert_eq!(counted(raw, &plan.order), plan.cost);
    prop_assert_eq!(problem.cost_of(&plan.order), plan.cost);
    prop_assert_eq!(plan.cost, brute_given(raw, &order));
    Ok(())
}

fn best_agrees(raw: &[Vec<RawWay>], seeds: &[(usize, usize)]) -> Result<(), TestCaseError> {
    let pins = some_pins(raw.len(), seeds);
    let problem = build(raw, pins.clone());
    let optimum = brute_best(raw, &pins);
    let plan = plan_best(&problem).map_err(|e| TestCaseError::fail(e.to_string()))?;
    prop_assert!(plan.is_optimal());
    let mut songs: Vec<usize> = plan.order.iter().map(|o| o.0).collect();
    prop_assert!(pins.hold(&songs));
    songs.sort_unstable();
    prop_assert_eq!(songs, (0..raw.len()).collect::<Vec<_>>());
    prop_assert_eq!(counted(raw, &plan.order), plan.cost);
    prop_assert_eq!(plan.cost, optimum);
    let bound = lower_bound(&problem).map_err(|e| TestCaseError::fail(e.to_string()))?;
    prop_assert!(bound <= optimum, "bound {bound} above optimum {optimum}");
    // The exact search alone, without a good plan to start from, agrees too.
    let edges = bound::Edges::new(&problem);
    let start = problem.pins.an_order().map_err(|e| TestCaseError::fail(e.to_string()))?;
    let first = plan_in_order(&problem, &start);
    let prices = edges.bound(&problem, first.cost).1;
    let walks = walk::Walks::new(&problem, first.cost);
    prop_assert!(edges.up(walks.bound) <= optimum, "walk {} above optimum {optimum}", walks.bound);
    let bounds = best::Bounds { edges: &edges, prices: &prices, walks: &walks };
    let exact = best::optimum(&problem, &bounds, &first);
    prop_assert_eq!(exact.map(|p| p.cost), Some(optimum));
    // The heuristic never claims less than is possible.
    prop_assert!(search::good_plan(&problem, &start).cost >= optimum);
    Ok(())
}

/// Dropping dominated ways doesn't change the optimum.
fn dominance_is_safe(raw: &[Vec<RawWay>]) -> Result<(), TestCaseError> {
    let problem = build(raw, Pins::none(raw.len()));
    let kept: Vec<Vec<RawWay>> = raw
        .iter()
        .zip(&problem.songs)
        .map(|(raw, ways)| {
            undominated(&problem.room, ways).into_iter().map(|i| raw[i].clone()).collect()
        })
        .collect();
    prop_assert!(kept.iter().all(|w: &Vec<RawWay>| !w.is_empty()));
    let none = Pins::none(raw.len());
    prop_assert_eq!(brute_best(&kept, &none), brute_best(raw, &none));
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(250))]

    #[test]
    fn keys_for_a_given_order_are_the_best_there_are(raw in concert(1..=6)) {
        given_agrees(&raw)?;
    }

    #[test]
    fn the_best_order_is_the_best_there_is(
        raw in concert(1..=5),
        pins in prop::collection::vec((0usize..6, 0usize..6), 0..4),
    ) {
        best_agrees(&raw, &pins)?;
    }

    #[test]
    fn a_dominated_way_is_never_needed(raw in concert(1..=4)) {
        dominance_is_safe(&raw)?;
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(5000))]

    /// The long form: 5,000 concerts of up to 6 songs and 4 ways, in both modes.
    /// `cargo test --release --no-default-features concert:: -- --ignored`
    #[test]
    #[ignore = "minutes long; run with --release -- --ignored"]
    fn both_modes_on_five_thousand_concerts(
        raw in concert(1..=6),
        pins in prop::collection::vec((0usize..6, 0usize..6), 0..4),
    ) {
        given_agrees(&raw)?;
        best_agrees(&raw, &pins)?;
    }
}

/// A made-up concert: every song uses all instruments, and each way takes the bars of one of twelve
/// seven-note sets off, as keys round the circle of fifths do.
pub(super) fn made_up(songs: usize, ways: usize, unused: bool) -> Problem {
    let slots = 14;
    let mut room = Room::from_plain(vec![vec![State::Keep; slots]; 5]);
    let mut seed = 12345u64;
    let mut dice = move |n: u64| {
        seed ^= seed << 13;
        seed ^= seed >> 7;
        seed ^= seed << 17;
        seed % n
    };
    let mut all = Vec::new();
    for _ in 0..songs {
        let mut song = Vec::new();
        for way in 0..ways {
            let key = dice(12);
            let mut setups = Vec::new();
            for instrument in 0..5 {
                if unused && instrument >= 2 && dice(3) == 0 {
                    continue;
                }
                let turn = instrument as u64 * dice(2);
                let state = |s: u64| match (s * 7 + key * 5 + turn) % 12 {
                    0..=6 => State::Keep,
                    7 => State::Swap(Bar(Midi::new(66))),
                    _ => State::Remove,
                };
                let states = (0..slots as u64).map(state).collect();
                setups.push(Setup { instrument, states, cautions: Vec::new() });
            }
            song.push(room.way(&setups, &[], way as Cost * MOVE + dice(MOVE)));
        }
        all.push(song);
    }
    let songs = all;
    let pins = Pins::none(songs.len());
    Problem { room, songs, pins }
}

#[test]
#[ignore = "a measurement: run with --release -- --ignored --nocapture"]
fn how_long_and_how_close() {
    for (songs, unused) in [
        (10, false),
        (14, false),
        (14, true),
        (16, false),
        (18, false),
        (20, true),
        (30, false),
        (40, false),
        (40, true),
        (60, false),
        (120, false),
        (200, false),
    ] {
        let problem = made_up(songs, 6, unused);
        let start = std::time::Instant::now();
        let good = search::good_plan(&problem, &(0..songs).collect::<Vec<_>>());
        let searched = start.elapsed();
        let plan = plan_best(&problem).unwrap();
        println!(
            "{songs} songs, unused {unused}: search {searched:?} cost {}, plan {:?} cost {} bound {} gap {:.1} %",
            good.cost,
            start.elapsed() - searched,
            plan.cost,
            plan.lower_bound,
            100.0 * (plan.cost - plan.lower_bound) as f64 / plan.cost as f64
        );
    }
}

#[test]
fn pins_that_contradict_are_named() {
    let mut pins = Pins::none(4);
    pins.put_before(0, 1);
    pins.put_before(1, 2);
    pins.put_before(2, 0);
    assert_eq!(pins.an_order().unwrap_err().songs, [0, 1, 2]);
    let mut pins = Pins::none(3);
    pins.put_first(2);
    pins.put_last(0);
    assert_eq!(pins.an_order().unwrap(), [2, 1, 0]);
}
