//! The best order and keys together, exactly: dynamic programming over sets of songs.
//!
//! Held & Karp, "A dynamic programming approach to sequencing problems", J. SIAM 10 (1962): for
//! every set of songs played so far, keep the cheapest ways to have played them. What matters of
//! the past is what lies on the instruments, so a state is the set and the lay; a state that another
//! one of its set can turn into at no more cost is dropped, and so is one that even with the least
//! possible rest (a walk, see `walk`, or a spanning tree over the songs to come, see `bound`) can't beat a plan that is
//! already known.

use super::bound::Edges;
use super::given::grow;
use super::lays::{Label, Lays, prune};
use super::problem::{Plan, Problem};
use super::room::Cost;
use super::walk::Walks;

/// The most songs that are tried exactly; the table of sets has 2^songs rows.
pub(super) const MAX_SONGS: usize = 20;

/// The most states that are kept in all for concerts of up to [`SURE_SONGS`]: about 100 MB. Fourteen
/// songs of six ways that use the same instruments have at most 14 × 6 × 2^13 = 688,128; songs that
/// leave instruments unused have more.
const MAX_LABELS: usize = 4_000_000;

/// The most states for larger concerts, where the search is a try.
const MAX_LABELS_BEYOND: usize = 1_500_000;

/// Up to so many songs the optimum is wanted.
const SURE_SONGS: usize = 14;

/// The most lays that are told apart.
const MAX_LAYS: usize = 50_000;

/// What is known of the rest of a plan.
pub(super) struct Bounds<'a> {
    /// The 1-tree's edges, and the prices that made it dear.
    pub(super) edges: &'a Edges,
    pub(super) prices: &'a [f64],
    /// The walks.
    pub(super) walks: &'a Walks,
}

/// The optimum, where it can be found within the limits on states; else `None`.
///
/// `known` is a plan to beat; it is returned itself where nothing is cheaper.
pub(super) fn optimum(problem: &Problem, bounds: &Bounds<'_>, known: &Plan) -> Option<Plan> {
    let songs = problem.songs.len();
    if songs == 0 || songs > MAX_SONGS {
        return None;
    }
    let mut lays = Lays::new(problem);
    let earlier: Vec<u32> = (0..songs)
        .map(|s| problem.pins.before.get(s).map_or(0, |l| l.iter().fold(0, |m, e| m | 1 << e)))
        .collect();
    let full = (1u32 << songs) - 1;
    let start = Label { cost: 0, lay: lays.plain(), way: u32::MAX, parent: 0 };
    let mut table: Vec<Vec<Label>> = vec![Vec::new(); 1 << songs];
    table[0].push(start);
    let mut kept = 0;
    let most = if songs <= SURE_SONGS { MAX_LABELS } else { MAX_LABELS_BEYOND };
    for set in 1..=full {
        let mut labels: Vec<Label> = Vec::new();
        for song in (0..songs).filter(|s| set & (1 << s) != 0) {
            let from = set & !(1 << song);
            if from & earlier[song] != earlier[song] {
                continue;
            }
            for way in lays.ways_of(song) {
                grow(&mut lays, &table[from as usize], way, &mut labels);
            }
        }
        if labels.is_empty() {
            continue;
        }
        hopeful(&mut labels, &lays, bounds, set, known.cost);
        prune(&mut labels, &lays);
        kept += labels.len();
        if kept > most || lays.len() > MAX_LAYS {
            return None;
        }
        table[set as usize] = labels;
    }
    let finished = |l: &Label| l.cost + lays.clearing(l.lay);
    let best = table[full as usize].iter().enumerate().min_by_key(|(_, l)| finished(l));
    let (mut at, cost) = match best {
        Some((at, label)) if finished(label) < known.cost => (at, finished(label)),
        // Nothing beats the known plan, so it is an optimum.
        _ => return Some(Plan { lower_bound: known.cost, ..known.clone() }),
    };
    let mut order = Vec::with_capacity(songs);
    let mut set = full;
    while set != 0 {
        let label = table[set as usize][at];
        let song = (0..songs).find(|s| lays.ways_of(*s).contains(&(label.way as usize)))?;
        order.push((song, lays.way_in_song(song, label.way as usize)));
        set &= !(1 << song);
        at = label.parent as usize;
    }
    order.reverse();
    Some(Plan { order, cost, lower_bound: cost })
}

/// Drops states that can't lead to a plan as cheap as the known one.
fn hopeful(labels: &mut Vec<Label>, lays: &Lays<'_>, bounds: &Bounds<'_>, set: u32, known: Cost) {
    let Bounds { edges, walks, .. } = bounds;
    let rest = !set & ((1u32 << edges.songs) - 1);
    if rest == 0 {
        labels.retain(|l| l.cost + lays.clearing(l.lay) <= known);
        return;
    }
    let played = set.count_ones() as usize;
    let prices: f64 =
        (0..edges.songs).filter(|s| rest & (1 << s) != 0).map(|s| walks.price(s)).sum();
    labels.retain(|l| {
        let rest = walks.still_to_come(l.way as usize, played, prices);
        edges.up(l.cost as f64 + rest) <= known
    });
    if labels.is_empty() {
        return;
    }
    let mut members: Vec<usize> = (0..edges.songs).filter(|s| rest & (1 << s) != 0).collect();
    let prices = bounds.prices;
    let refund = 2.0 * members.iter().map(|s| prices[*s]).sum::<f64>();
    let mut entries: Vec<(usize, f64)> = Vec::new();
    for song in &members {
        for way in lays.ways_of(*song) {
            // `step` has the whole fit cost; this edge carries half of it.
            entries.push((way, prices[*song] - lays.ways[way].cost as f64 / 2.0));
        }
    }
    members.push(edges.songs);
    let tree = edges.tree(&members, prices, None) - refund;
    labels.retain(|label| {
        let entry = entries
            .iter()
            .map(|(way, extra)| lays.step(label.lay, *way) as f64 + extra)
            .fold(f64::INFINITY, f64::min);
        edges.up(label.cost as f64 + tree + entry) <= known
    });
}
