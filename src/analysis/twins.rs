//! The exact searches against brute-force twins on small inputs, and the tables' own sense.

use proptest::prelude::*;

use super::harmony::viterbi;
use super::key::{Costs, candidate, segments, starts_of_units};
use super::key_features::{FEATURE_NAMES, FEATURES};
use super::key_weights::{DEGREE_SCORES, TEMPERATURE};
use super::phrase::{
    BOUNDARIES, LENGTH_FEATURES, LENGTHS, PHRASE_FEATURES, best_division, length_score,
};
use super::table::Table;
use crate::score::{Line, Measure, Meter, Midi, Note, Pitch, Score, Time};

fn melody(midis: &[i16], per_measure: i64) -> (Score, Line) {
    let meter = Meter::new(per_measure as u16, 4).unwrap();
    let notes = midis.iter().enumerate().map(|(i, m)| {
        Note::new(Time::quarters(i as i64), Time::QUARTER, Pitch::spelled(Midi::new(*m), 0))
    });
    let line = Line { part: 0, voice: None, notes: notes.collect() };
    let measures = (0..=midis.len() as i64 / per_measure)
        .map(|i| Measure::full(i.to_string(), Time::quarters(i * per_measure), meter))
        .collect();
    (Score { measures, ..Score::default() }, line)
}

/// What a cut into stretches is worth, each stretch in its best key.
fn worth(table: &Table, units: &[(usize, bool)], cuts: &[usize], costs: Costs) -> f32 {
    let events = &table.events;
    let mean = events.iter().map(|e| e.weight).sum::<f32>() / events.len() as f32;
    let mut sum = 0.0;
    for (k, &start) in cuts.iter().enumerate() {
        let end = cuts.get(k + 1).copied().unwrap_or(events.len());
        let mut best = f32::NEG_INFINITY;
        for tonic in 0..12usize {
            for degrees in &DEGREE_SCORES {
                let notes: f32 = events[start..end]
                    .iter()
                    .map(|e| {
                        let degree = (usize::from(e.class) + 12 - tonic) % 12;
                        e.weight / mean * degrees[degree]
                    })
                    .sum();
                let home = usize::from(events[end - 1].class) == tonic;
                best = best.max(notes + if home { costs.ends_on_tonic } else { 0.0 });
            }
        }
        sum += best;
        if k > 0 {
            let phrase = units.iter().any(|u| u.0 == start && u.1);
            sum -= costs.change - if phrase { costs.at_phrase } else { 0.0 };
        }
    }
    sum
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn segmentation_is_the_best_of_all(
        midis in prop::collection::vec(55i16..80, 6..22),
        phrase in 1usize..6,
        change in 1.0f32..8.0,
    ) {
        let costs = Costs { change: change + 1.0, at_phrase: 0.5, ends_on_tonic: 0.4 };
        let (score, line) = melody(&midis, 3);
        let table = Table::new(&score, &line);
        let phrases = [0, phrase];
        let units = starts_of_units(&table, &phrases);
        let inner: Vec<usize> = units.iter().skip(1).map(|u| u.0).collect();
        let best = (0u32..1 << inner.len())
            .map(|mask| {
                let chosen = inner.iter().enumerate().filter(|(i, _)| mask & 1 << i != 0);
                let cuts: Vec<usize> = std::iter::once(0).chain(chosen.map(|c| *c.1)).collect();
                worth(&table, &units, &cuts, costs)
            })
            .fold(f32::NEG_INFINITY, f32::max);
        let found: Vec<usize> =
            segments(&table, &phrases, costs).iter().map(|r| r.start).collect();
        let found = worth(&table, &units, &found, costs);
        prop_assert!((found - best).abs() < 1e-2, "found {found}, best {best}");
    }

    #[test]
    fn phrase_division_is_the_best_of_all(
        figures in prop::collection::vec(prop::array::uniform22(-1.0f32..1.0), 1..10),
        gaps in prop::collection::vec(0.25f32..6.0, 10),
        weights in prop::array::uniform22(-1.0f32..1.0),
        lengths in prop::array::uniform8(-2.0f32..2.0),
    ) {
        let n = figures.len();
        let mut places = vec![(0.0f32, 0.75f32)];
        for gap in gaps.iter().take(n) {
            let (beats, measures) = *places.last().unwrap();
            places.push((beats + gap, measures + gap / 4.0));
        }
        let value = |starts: &[usize]| -> f32 {
            let mut sum = 0.0;
            for (k, &i) in starts.iter().enumerate() {
                let j = starts.get(k + 1).copied().unwrap_or(n);
                let (a, b) = (places[i], places[j]);
                sum += length_score(&lengths, b.0 - a.0, b.1 - a.1, j - i);
                if i > 0 {
                    sum += figures[i].iter().zip(&weights).map(|(f, w)| f * w).sum::<f32>();
                }
            }
            sum
        };
        let best = (0u32..1 << (n - 1))
            .map(|mask| {
                let starts: Vec<usize> =
                    (0..n).filter(|i| *i == 0 || mask & 1 << (i - 1) != 0).collect();
                value(&starts)
            })
            .fold(f32::NEG_INFINITY, f32::max);
        let found = value(&best_division(&figures, &places, &weights, &lengths));
        prop_assert!((found - best).abs() < 1e-3, "found {found}, best {best}");
    }

    #[test]
    fn viterbi_path_is_the_best_of_all(
        emissions in prop::collection::vec(prop::array::uniform3(-4.0f32..0.0), 1..7),
        next in prop::array::uniform9(-4.0f32..0.0),
        ends in prop::array::uniform6(-3.0f32..0.0),
        changes in prop::collection::vec((-2.0f32..0.0, -2.0f32..0.0), 7),
    ) {
        let slots = emissions.len();
        let value = |path: &[u8]| -> f32 {
            let at = |s: usize| usize::from(path[s]);
            let mut sum = ends[at(0)] + ends[3 + at(slots - 1)];
            for s in 0..slots {
                sum += emissions[s][at(s)];
                if s > 0 && at(s) == at(s - 1) {
                    sum += changes[s].0;
                } else if s > 0 {
                    sum += changes[s].1 + next[at(s - 1) * 3 + at(s)];
                }
            }
            sum
        };
        let best = (0..3u32.pow(slots as u32))
            .map(|code| {
                let path: Vec<u8> =
                    (0..slots).map(|s| (code / 3u32.pow(s as u32) % 3) as u8).collect();
                value(&path)
            })
            .fold(f32::NEG_INFINITY, f32::max);
        let path = viterbi(
            slots,
            3,
            |c| (ends[c], ends[3 + c]),
            &next,
            |s, c| emissions[s][c],
            |s| changes[s],
        );
        let found = value(&path);
        prop_assert!((found - best).abs() < 1e-3, "found {found}, best {best}");
    }
}

#[test]
fn every_weight_has_its_name() {
    assert_eq!(FEATURE_NAMES.len(), FEATURES);
    assert_eq!(PHRASE_FEATURES.len(), BOUNDARIES);
    assert_eq!(LENGTH_FEATURES.len(), LENGTHS);
    assert!(TEMPERATURE.iter().all(|t| *t > 0.0));
    assert_eq!(candidate(11, 6), 83);
}

#[test]
fn levels_of_the_table_are_the_meters() {
    let (score, line) = melody(&[60; 23], 4);
    for (note, event) in line.notes.iter().zip(&Table::new(&score, &line).events) {
        assert_eq!(event.level, score.level(note.onset));
    }
}
