//! The search against trying every combination of figures and bars.

use proptest::prelude::*;

use super::super::table::HALVED;
use super::*;

/// Goes through every combination of figures and every melody on the bars.
fn brute(ask: &Search) -> Option<u32> {
    let counts: Vec<usize> = ask.beats.iter().map(Vec::len).collect();
    let rhythms: usize = counts.iter().product();
    let mut best: Option<u32> = None;
    for mut code in 0..rhythms {
        let mut figures = Vec::new();
        for n in &counts {
            figures.push(code % n);
            code /= n;
        }
        let slots: Vec<&Slot> = ask.beats.iter().zip(&figures).flat_map(|(b, f)| &b[*f]).collect();
        if !fits(&slots, ask) {
            continue;
        }
        let base = rhythm_cost(&slots, &ask.beats, &figures, ask);
        for mut code in 0..ask.bars.pow(slots.len() as u32) {
            let mut bars = Vec::new();
            for _ in &slots {
                bars.push(code % ask.bars);
                code /= ask.bars;
            }
            if ask.bars > 1 && bars.iter().all(|b| *b == bars[0]) {
                continue;
            }
            let mut cost = base;
            for (i, (slot, bar)) in slots.iter().zip(&bars).enumerate() {
                cost += slot.costs[*bar];
                cost += step(*bar, bars[(i + 1) % bars.len()]) * ask.times;
            }
            best = Some(best.map_or(cost, |b| b.min(cost)));
        }
    }
    best
}

fn ask() -> impl Strategy<Value = Search> {
    let numbers = (1usize..4, 1usize..3, 1u32..4, 1i64..20, 0u32..24, 0u32..6, 0u32..20);
    numbers.prop_flat_map(|(bars, beats, measures, gap, no_start, unsteady, loose_upbeat)| {
        let costs = prop::collection::vec(prop::collection::vec(0u32..60, bars), 9 * beats);
        costs.prop_map(move |costs| {
            let mut costs = costs.into_iter().cycle();
            let starts: Vec<Tick> = (0..beats as i64).map(|i| i * 12).collect();
            let tables = starts
                .iter()
                .map(|start| {
                    HALVED
                        .iter()
                        .map(|pieces| {
                            pieces
                                .iter()
                                .map(|(a, b)| Slot {
                                    at: start + a,
                                    end: start + b,
                                    costs: costs.next().unwrap_or_default(),
                                })
                                .collect()
                        })
                        .collect()
                })
                .collect();
            Search {
                beats: tables,
                bars,
                times: measures,
                wanted: (2, 3),
                gap,
                length: 12 * beats as i64,
                starts,
                no_start,
                unsteady,
                loose_upbeat,
            }
        })
    })
}

proptest! {
    #[test]
    fn the_cycle_is_the_cheapest_of_the_grammar(ask in ask()) {
        let found = search(&ask, u32::MAX);
        prop_assert_eq!(found.as_ref().map(|c| c.cost), brute(&ask));
        if let Some(cycle) = found {
            prop_assert_eq!(price(&cycle, &ask), Some(cycle.cost));
            prop_assert_eq!(search(&ask, cycle.cost), None);
            prop_assert_eq!(search(&ask, cycle.cost + 1), Some(cycle));
        }
    }
}
