//! The fit search against a brute-force twin on small songs and kits.
//!
//! The twin shares no code with the search: it lists every way the slots of an instrument can stand,
//! every assignment of notes to two instruments and every subset of pitches, and adds the cost up
//! from the documented sum.

use std::cell::RefCell;

use barwright::analysis::{
    Analysis, HarmonySource, KeyFinding, KeyGuess, KeySource, Phrase, PitchSet, PitchUse,
};
use barwright::kit::{
    Bar, BarSet, Fit, FitOption, FitRequest, Instrument, Kind, Kit, Setup, Slot, State, Transpose,
    Verdict, Weights, fit,
};
use barwright::score::{Interval, Key, Line, Midi, Mode, Note, Pitch, PitchClass, Score, Time};
use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

use super::from_notes;

/// A small song, a small kit and a request.
#[derive(Clone, Debug)]
struct Case {
    pitches: Vec<i16>,
    weights: Vec<u32>,
    phrase_starts: Vec<bool>,
    key: Key,
    kit: Kit,
    ask: FitRequest,
}

fn instrument() -> impl Strategy<Value = Instrument> {
    let bars = prop_oneof![
        // A row of naturals, or any bars at all.
        (55i16..68, 3usize..7).prop_map(|(low, n)| {
            (low..127).map(|m| Bar(Midi::new(m))).filter(|b| b.is_natural()).take(n).collect()
        }),
        proptest::collection::btree_set(55i16..76, 1..6)
            .prop_map(|set| set.into_iter().map(|m| Bar(Midi::new(m))).collect::<Vec<_>>()),
    ];
    (
        bars,
        any::<bool>(),
        proptest::collection::vec((0usize..6, any::<bool>()), 0..4),
        proptest::collection::vec(0usize..6, 0..2),
        prop_oneof![4 => Just(None), 1 => Just(Some(true)), 1 => Just(Some(false))],
        -1i8..=1,
    )
        .prop_map(|(bars, loose, spares, lost, melody, octave_shift)| {
            let mut at = Instrument::with_bars("x", Kind::Custom, &bars, loose && bars.len() < 5);
            for (slot, up) in spares {
                let slot = bars[slot % bars.len()];
                at.add_spare(Bar(slot.0 + Interval::new(if up { 1 } else { -1 })), slot);
            }
            for i in lost {
                if let Some(slot) = at.slots.get_mut(i) {
                    slot.lost = true;
                }
            }
            at.melody = melody;
            at.octave_shift = octave_shift;
            at
        })
}

fn weights() -> impl Strategy<Value = Weights> {
    let quarters = proptest::collection::vec(0u8..12, 11);
    prop_oneof![
        1 => Just(Weights::default()),
        1 => quarters.prop_map(|list| {
            let mut weights = Weights::default();
            for ((name, _), n) in Weights::default().named().into_iter().zip(list) {
                weights.set(name, f64::from(n) / 4.0);
            }
            weights
        }),
    ]
}

fn ask() -> impl Strategy<Value = FitRequest> {
    (
        prop_oneof![
            2 => Just(Transpose::None),
            2 => (-5i16..=5).prop_map(|n| Transpose::By(Interval::new(n))),
            1 => Just(Transpose::Any),
        ],
        prop_oneof![3 => Just(None), 1 => (1usize..5).prop_map(Some)],
        prop_oneof![2 => Just(None), 1 => (0usize..4).prop_map(Some)],
        any::<bool>(),
        prop_oneof![3 => Just(None), 1 => (0i16..12).prop_map(Some)],
    )
        .prop_map(|(transpose, bars, changed_notes, hard, tonic)| FitRequest {
            transpose,
            bars,
            changed_notes,
            singing_hard: hard && matches!(transpose, Transpose::Any),
            key: tonic
                .filter(|_| transpose == Transpose::Any)
                .map(|t| Key::on(PitchClass::new(t), Mode::Major)),
            top: 4,
            dominated: hard,
        })
}

fn case() -> impl Strategy<Value = Case> {
    (
        // Mostly pitches that the kit has (by place in its list of bars), some that are anywhere.
        (
            proptest::collection::vec((0usize..64, 58i16..72, 0u8..12), 1..8),
            prop_oneof![3 => Just(0i16), 1 => -5i16..=5],
        ),
        proptest::collection::vec(1u32..6, 16),
        proptest::collection::vec(any::<bool>(), 8),
        (-3i8..=3, 0usize..7),
        (proptest::collection::vec(instrument(), 1..4), weights()),
        ask(),
    )
        .prop_map(|(notes, weights, phrase_starts, (fifths, mode), (list, costs), ask)| {
            let bars: Vec<i16> =
                list.iter().flat_map(|at| at.bars().iter()).map(Midi::number).collect();
            let (notes, away) = notes;
            let pitches = notes
                .into_iter()
                .map(|(place, free, dice)| match bars.is_empty() || dice == 0 {
                    true => free,
                    false => bars[place % bars.len()] + away,
                })
                .collect();
            let mut kit = Kit::empty("small");
            kit.instruments = list;
            kit.weights = costs;
            kit.singing = (Pitch::spelled(Midi::new(57), 0), Pitch::spelled(Midi::new(70), 0));
            let key = Key::from_signature(fifths, Mode::ALL[mode]);
            Case { pitches, weights, phrase_starts, key, kit, ask }
        })
}

impl Case {
    fn song(&self) -> (Score, Line, Analysis) {
        let note = |(i, m): (usize, &i16)| {
            let pitch = Pitch::spelled(Midi::new(*m), 0);
            Note::new(Time::quarters(i as i64), Time::QUARTER, pitch)
        };
        let (score, line) = from_notes(self.pitches.iter().enumerate().map(note).collect());
        let mut starts: Vec<i64> = vec![0];
        starts.extend((1..self.pitches.len()).filter(|i| self.phrase_starts[*i]).map(|i| i as i64));
        let mut ends = starts[1..].to_vec();
        ends.push(self.pitches.len() as i64);
        let phrases = starts
            .iter()
            .zip(ends)
            .map(|(from, to)| Phrase {
                from: Time::quarters(*from),
                to: Time::quarters(to),
                label: "a".into(),
            })
            .collect();
        let analysis = Analysis {
            key: KeyFinding {
                best: KeyGuess { key: self.key, confidence: 1.0 },
                alternatives: Vec::new(),
                source: KeySource::Notes,
                sections: Vec::new(),
            },
            pitch_set: PitchSet {
                classes: Vec::new(),
                pitches: self
                    .distinct()
                    .into_iter()
                    .map(|m| PitchUse {
                        pitch: Pitch::spelled(Midi::new(m), 0),
                        count: self.pitches.iter().filter(|p| **p == m).count(),
                        weight: self.weight(m) as f64 / 1e9,
                    })
                    .collect(),
                lowest: None,
                highest: None,
                span: Interval::UNISON,
                semitone_free: false,
                name: None,
                solfa: Vec::new(),
            },
            smaller_sets: Vec::new(),
            phrases,
            harmony: Vec::new(),
            harmony_source: HarmonySource::Melody,
            drone_share: 0.0,
        };
        (score, line, analysis)
    }

    fn distinct(&self) -> Vec<i16> {
        let mut list = self.pitches.clone();
        list.sort_unstable();
        list.dedup();
        list
    }

    /// Billionths of the tune's weight; sixteenths of an even share, so that ties happen.
    fn weight(&self, midi: i16) -> u64 {
        let n = self.pitches.iter().filter(|p| **p == midi).count() as u64;
        n * u64::from(self.weights[(midi % 16) as usize]) * 15_625_000
    }

    fn w(&self, name: &str) -> f64 {
        self.kit.weights.named().iter().find(|w| w.0 == name).unwrap().1
    }
}

/// Every way the slots can stand: each empty or with one of its bars. Gives the cost of those that
/// hold all of `needed`, put in only spares of `allowed`, and take every foreign plain bar off
/// (`strict`: every plain bar that isn't needed); the least, or `None`.
fn stands(
    case: &Case,
    at: &Instrument,
    needed: &[i16],
    allowed: &[i16],
    own: &[i16],
    strict: bool,
) -> Option<f64> {
    fn go(
        slots: &[Slot],
        standing: &mut Vec<i16>,
        cost: f64,
        rule: &dyn Fn(&Slot, Option<i16>) -> Option<f64>,
        needed: &[i16],
        best: &mut Option<f64>,
    ) {
        let Some((slot, rest)) = slots.split_first() else {
            if needed.iter().all(|n| standing.contains(n)) && best.is_none_or(|b| cost < b) {
                *best = Some(cost);
            }
            return;
        };
        let mut options: Vec<Option<i16>> = vec![None];
        if !slot.lost {
            options.push(Some(slot.bar.0.number()));
        }
        options.extend(slot.spares.iter().map(|b| Some(b.0.number())));
        for option in options {
            let Some(price) = rule(slot, option) else { continue };
            standing.extend(option);
            go(rest, standing, cost + price, rule, needed, best);
            if option.is_some() {
                standing.pop();
            }
        }
    }
    let is_plain = |slot: &Slot| {
        let natural = matches!(slot.bar.0.number().rem_euclid(12), 0 | 2 | 4 | 5 | 7 | 9 | 11);
        !slot.lost && (natural || !slot.loose)
    };
    let rule = |slot: &Slot, option: Option<i16>| -> Option<f64> {
        let own_bar = slot.bar.0.number();
        match option {
            None => Some(if is_plain(slot) { case.w("bar_off") } else { 0.0 }),
            Some(bar) if bar == own_bar && is_plain(slot) => {
                let stays = match strict {
                    true => needed.contains(&bar),
                    false => own.iter().any(|o| (o - bar).rem_euclid(12) == 0),
                };
                stays.then_some(0.0)
            }
            Some(bar) => allowed.contains(&bar).then_some(case.w("bar_swapped")),
        }
    };
    let mut best = None;
    go(&at.slots, &mut Vec::new(), 0.0, &rule, needed, &mut best);
    best
}

/// What the twin finds: the least cost, and whether it is whole.
#[derive(Debug)]
struct Answer {
    whole: bool,
    cost: Option<f64>,
}

fn brute(case: &Case) -> Answer {
    let distinct = case.distinct();
    let (low, high) = (distinct[0], *distinct.last().unwrap());
    let mut single = None;
    let mut other = None;
    let mut lacking = None;
    let mut nobody = None;
    let too_many = case.ask.bars.is_some_and(|n| distinct.len() > n);
    let transpositions: Vec<i16> = match case.ask.transpose {
        Transpose::Any => (-12..=12).collect(),
        Transpose::None => vec![0],
        Transpose::By(by) => vec![by.semitones()],
    };
    let least = |place: &mut Option<f64>, cost: f64| {
        if place.is_none_or(|c| cost < c) {
            *place = Some(cost);
        }
    };
    for t in transpositions {
        let key = case.key.transposed(Interval::new(t));
        if case.ask.key.is_some_and(|k| k.tonic.class() != key.tonic.class()) {
            continue;
        }
        let beyond = (57 - (low + t)).max(0) + (high + t - 70).max(0);
        if case.ask.singing_hard && beyond > 0 {
            continue;
        }
        let base = f64::from(key.fifths().abs()) * case.w("accidental")
            + f64::from(t.abs()) * case.w("semitone_moved")
            + f64::from(beyond) * case.w("singing_semitone");
        least(&mut nobody, base);
        let mut turns: Vec<(usize, Vec<Option<f64>>)> = Vec::new();
        for (index, at) in case.kit.instruments.iter().enumerate() {
            let Some(carrier) = at.melody_cost() else { continue };
            for octave in -10i8..=10 {
                let up = t + 12 * i16::from(octave);
                let moved: Vec<i16> = distinct.iter().map(|m| m + up).collect();
                // Nothing of the song is there: no way at all (and much time saved).
                if !moved.iter().any(|m| at.bars().contains(Midi::new(*m))) {
                    continue;
                }
                let place = base
                    + carrier * case.w("carrier")
                    + f64::from((octave - at.octave_shift).abs()) * case.w("octave_moved");
                if !too_many {
                    if let Some(cost) = stands(case, at, &moved, &moved, &moved, false) {
                        least(&mut single, place + cost);
                    }
                    if let Some(cost) = switched(case, at, up, &moved) {
                        least(&mut other, place + cost);
                    }
                    turns.push((index, shares(case, at, up, &moved, place - base)));
                }
                for bound in [case.ask.changed_notes, None] {
                    let cost = kept(case, at, up, &distinct, bound).map(|c| c + place);
                    let asked = too_many || case.ask.changed_notes.is_some_and(|n| n > 0);
                    if let Some(cost) = cost {
                        if bound == case.ask.changed_notes && asked {
                            least(&mut other, cost);
                        }
                        if bound.is_none() {
                            least(&mut lacking, cost);
                        }
                    }
                }
            }
        }
        // Every assignment of the notes to two instruments.
        let n = case.pitches.len();
        for (i, (a, alone_a)) in turns.iter().enumerate() {
            for (b, alone_b) in &turns[i + 1..] {
                if a == b {
                    continue;
                }
                for (notes_of_b, dear_b) in alone_b.iter().enumerate() {
                    let notes_of_a = !notes_of_b & ((1 << n) - 1);
                    let (Some(x), Some(y)) = (alone_a[notes_of_a], *dear_b) else { continue };
                    let mut cost = base + x + y;
                    for note in 1..n {
                        if (notes_of_b >> note & 1) != (notes_of_b >> (note - 1) & 1) {
                            cost += match case.phrase_starts[note] {
                                true => case.w("hand_over"),
                                false => case.w("hand_over_inside"),
                            };
                        }
                    }
                    least(&mut other, cost);
                }
            }
        }
    }
    match single.or(other) {
        Some(cost) => Answer { whole: true, cost: Some(cost) },
        None => Answer { whole: false, cost: lacking.or(nobody) },
    }
}

/// For every set of notes: what it costs this instrument to have them, or `None`.
fn shares(case: &Case, at: &Instrument, up: i16, song: &[i16], place: f64) -> Vec<Option<f64>> {
    (0..1usize << case.pitches.len())
        .map(|mask| {
            let needed: Vec<i16> = (0..case.pitches.len())
                .filter(|i| mask >> i & 1 == 1)
                .map(|i| case.pitches[i] + up)
                .collect();
            let there = needed.iter().all(|m| at.bars().contains(Midi::new(*m)));
            if !there { None } else { stands(case, at, &needed, song, song, false) }
                .map(|c| c + place)
        })
        .collect()
}

/// Bars moved at phrase ends: every slot starts with the bar it needs first.
fn switched(case: &Case, at: &Instrument, up: i16, song: &[i16]) -> Option<f64> {
    let mut phrases: Vec<Vec<i16>> = Vec::new();
    for (i, m) in case.pitches.iter().enumerate() {
        if i == 0 || case.phrase_starts[i] {
            phrases.push(Vec::new());
        }
        phrases.last_mut().unwrap().push(m + up);
    }
    let mut first = Vec::new();
    let mut moved = 0;
    for slot in &at.slots {
        let mut shown: Option<i16> = None;
        for phrase in &phrases {
            let mut here: Vec<i16> = phrase
                .iter()
                .copied()
                .filter(|m| {
                    (slot.bar.0.number() == *m && !slot.lost)
                        || slot.spares.contains(&Bar(Midi::new(*m)))
                })
                .collect();
            here.sort_unstable();
            here.dedup();
            match (here.as_slice(), shown) {
                ([], _) => {}
                ([bar], None) => {
                    first.push(*bar);
                    shown = Some(*bar);
                }
                ([bar], Some(now)) => {
                    moved += i32::from(*bar != now);
                    shown = Some(*bar);
                }
                _ => return None,
            }
        }
    }
    if !song.iter().all(|m| at.bars().contains(Midi::new(*m))) {
        return None;
    }
    let start = stands(case, at, &first, &first, song, false)?;
    Some(start + f64::from(moved) * case.w("bar_moved_inside"))
}

/// The subset of pitches that keeps the most weight within the bounds, of equals the cheapest.
fn kept(
    case: &Case,
    at: &Instrument,
    up: i16,
    distinct: &[i16],
    changed: Option<usize>,
) -> Option<f64> {
    let song: Vec<i16> = distinct.iter().map(|m| m + up).collect();
    let total: u64 = distinct.iter().map(|m| case.weight(*m)).sum();
    let mut best: Option<(u64, f64)> = None;
    for mask in 1..1usize << distinct.len() {
        let picked: Vec<i16> =
            (0..distinct.len()).filter(|i| mask >> i & 1 == 1).map(|i| distinct[i]).collect();
        if case.ask.bars.is_some_and(|n| picked.len() > n) {
            continue;
        }
        let gone = case.pitches.iter().filter(|p| !picked.contains(p)).count();
        if changed.is_some_and(|n| gone > n) {
            continue;
        }
        let needed: Vec<i16> = picked.iter().map(|m| m + up).collect();
        if !needed.iter().all(|m| at.bars().contains(Midi::new(*m))) {
            continue;
        }
        let strict = case.ask.bars.is_some();
        let Some(cost) = stands(case, at, &needed, &needed, &song, strict) else { continue };
        let weight: u64 = picked.iter().map(|m| case.weight(*m)).sum();
        if best.is_none_or(|(w, c)| weight > w || (weight == w && cost < c)) {
            best = Some((weight, cost));
        }
    }
    let (weight, cost) = best?;
    let lost = (total - weight) as f64 / total as f64 * case.pitches.len() as f64;
    Some(cost + lost * case.w("note_changed"))
}

/// Whether every note that isn't changed or missing has its bar up when it sounds.
pub(super) fn playable(kit: &Kit, line: &Line, option: &FitOption) -> Result<(), String> {
    for (i, note) in line.notes.iter().enumerate() {
        let moved = note.midi() + option.transpose;
        if option.missing.iter().any(|p| p.midi() == moved) {
            continue;
        }
        let carrier = option.carriers.iter().rev().find(|c| c.from_note <= i);
        let carrier = carrier.ok_or("a note without a carrier")?;
        let setup: &Setup = option
            .changes
            .iter()
            .rev()
            .find(|c| c.from_note <= i && c.setup.instrument == carrier.instrument)
            .map(|c| &c.setup)
            .or_else(|| option.setups.iter().find(|s| s.instrument == carrier.instrument))
            .ok_or("no setup")?;
        for (slot, state) in kit.instruments[setup.instrument].slots.iter().zip(&setup.states) {
            let real = match state {
                State::Keep => !slot.lost,
                State::Swap(bar) => slot.spares.contains(bar),
                State::Remove | State::Fill => true,
            };
            if !real {
                return Err(format!("{state:?} in {slot:?}"));
            }
        }
        let bars: BarSet = setup.bars(kit);
        let own = match option.changed.iter().find(|c| c.note == i) {
            None => note.midi(),
            Some(change) => match change.to {
                None => continue,
                Some(to) => to.midi(),
            },
        };
        let sounding = own + option.transpose + Interval::octaves(carrier.octave_shift);
        if !bars.contains(sounding) {
            return Err(format!("note {i} has no bar in {setup:?}"));
        }
    }
    Ok(())
}

/// What sort of answer a case has, so that a run can tell that it met every sort.
const SORTS: [&str; 6] = ["alone", "shared", "bars moved", "notes changed", "lacking", "nothing"];

fn sort(fit: &Fit) -> usize {
    match fit.options.first() {
        None => 5,
        Some(best) if !best.missing.is_empty() => 4,
        Some(best) if !best.changed.is_empty() => 3,
        Some(best) if !best.changes.is_empty() => 2,
        Some(best) if best.carriers.len() > 1 => 1,
        Some(_) => 0,
    }
}

fn check(case: &Case) -> Result<usize, TestCaseError> {
    let (score, line, analysis) = case.song();
    let found = fit(&score, &line, &analysis, &case.kit, &case.ask);
    let truth = brute(case);
    let cost = found.options.first().map(|o| o.cost);
    prop_assert_eq!(found.verdict != Verdict::DoesNotFit, truth.whole, "{:?} {:?}", found, truth);
    match (cost, truth.cost) {
        (Some(a), Some(b)) => prop_assert!((a - b).abs() < 1e-9, "{a} {b} {found:?}"),
        (a, b) => prop_assert!(a.is_none() && b.is_none(), "{a:?} {b:?}"),
    }
    for pair in found.options.windows(2) {
        prop_assert!(pair[0].cost <= pair[1].cost);
    }
    for option in &found.options {
        prop_assert_eq!(playable(&case.kit, &line, option), Ok(()), "{:?}", option);
        prop_assert_eq!(option.missing.is_empty(), truth.whole);
        if let Some(bound) = case.ask.changed_notes {
            prop_assert!(option.changed.len() <= bound);
        }
    }
    Ok(sort(&found))
}

fn config(cases: u32) -> Config {
    Config { cases, failure_persistence: None, ..Config::default() }
}

fn run(mut runner: TestRunner) {
    let met = RefCell::new([0u32; SORTS.len()]);
    let checked = runner.run(&case(), |case| {
        met.borrow_mut()[check(&case)?] += 1;
        Ok(())
    });
    checked.unwrap();
    let met = met.into_inner();
    println!("{SORTS:?} {met:?}");
    assert!(met[..5].iter().all(|n| *n > 0), "every sort of answer comes up: {met:?}");
}

#[test]
fn the_search_finds_the_brute_force_optimum() {
    // The same cases each time; the long form draws new ones.
    let rng = TestRng::deterministic_rng(RngAlgorithm::ChaCha);
    run(TestRunner::new_with_rng(config(400), rng));
}

/// `cargo test --release --no-default-features --test suite -- --ignored fit::twin`
#[test]
#[ignore = "20,000 cases take minutes; run it after a change to the search"]
fn the_search_finds_the_brute_force_optimum_at_length() {
    run(TestRunner::new(config(20_000)));
}
