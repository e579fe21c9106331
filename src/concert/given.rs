//! The best keys for songs in a given order: exact, by dynamic programming.
//!
//! A state is what lies on the instruments after a song; usually that is fixed by the song's own
//! way, and there are as many states as ways. Where songs leave instruments unused, what lies there
//! depends on earlier songs, and the states are kept apart.

use super::lays::{Label, LayId, Lays, prune};
use super::problem::{Plan, Problem};
use super::room::Cost;

/// States kept after a song. Reached only by hundreds of songs that leave many instruments unused;
/// the cheapest are kept then and the plan isn't called optimal.
const MAX_STATES: usize = 4096;

/// The best ways for the songs in this order.
///
/// The plan's `lower_bound` is for this order, not for all orders.
pub fn plan_in_order(problem: &Problem, order: &[usize]) -> Plan {
    let mut lays = Lays::new(problem);
    plan_with(&mut lays, order, MAX_STATES)
}

/// The same with lays that are already known, keeping at most `max_states` states.
pub(super) fn plan_with(lays: &mut Lays<'_>, order: &[usize], max_states: usize) -> Plan {
    let mut exact = true;
    let mut steps: Vec<Vec<Label>> = Vec::with_capacity(order.len());
    let start = Label { cost: 0, lay: lays.plain(), way: u32::MAX, parent: 0 };
    let mut here = vec![start];
    for song in order {
        let mut next: Vec<Label> = Vec::new();
        for way in lays.ways_of(*song) {
            grow(lays, &here, way, &mut next);
        }
        prune(&mut next, lays);
        if next.len() > max_states {
            next.truncate(max_states);
            exact = false;
        }
        steps.push(next.clone());
        here = next;
    }
    let finished = |l: &Label| l.cost + lays.clearing(l.lay);
    let best = here.iter().enumerate().min_by_key(|(_, l)| finished(l));
    let Some((mut at, label)) = best else {
        return Plan { order: Vec::new(), cost: 0, lower_bound: 0 };
    };
    let cost = finished(label);
    let mut plan = Vec::with_capacity(order.len());
    for (step, song) in order.iter().enumerate().rev() {
        let label = steps[step][at];
        plan.push((*song, lays.way_in_song(*song, label.way as usize)));
        at = label.parent as usize;
    }
    plan.reverse();
    Plan { order: plan, cost, lower_bound: if exact { cost } else { fit_costs(lays, order) } }
}

/// Adds, for one way, the cheapest label for every lay that can result.
pub(super) fn grow(lays: &mut Lays<'_>, from: &[Label], way: usize, next: &mut Vec<Label>) {
    let first = next.len();
    for (parent, label) in from.iter().enumerate() {
        let cost = label.cost + lays.step(label.lay, way);
        let lay: LayId = lays.after(label.lay, way);
        match next[first..].iter_mut().find(|l| l.lay == lay) {
            Some(known) if known.cost <= cost => {}
            Some(known) => {
                known.cost = cost;
                known.parent = parent as u32;
            }
            None => next.push(Label { cost, lay, way: way as u32, parent: parent as u32 }),
        }
    }
}

/// What the songs' cheapest ways cost without any move: a bound that always holds.
fn fit_costs(lays: &Lays<'_>, order: &[usize]) -> Cost {
    order.iter().filter_map(|song| lays.ways_of(*song).map(|w| lays.ways[w].cost).min()).sum()
}
