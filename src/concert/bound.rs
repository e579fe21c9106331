//! A lower bound that no plan can undercut.
//!
//! A concert is a round trip: out of the plain white bars, through every song once, back to the
//! plain white bars. Replace the cost between two songs by the least over all their ways, and the
//! cheapest round trip can only get cheaper; replace the round trip by a 1-tree (a spanning tree of
//! the songs and two edges to the plain bars), and it gets cheaper still. Adding a price to every
//! song's edges changes all round trips alike but not all 1-trees, so prices are moved until the
//! 1-tree is as dear as it will get: the bound of Held & Karp, "The traveling-salesman problem and
//! minimum spanning trees", Operations Research 18 (1970), part II: Mathematical Programming 1
//! (1971).

use super::problem::Problem;
use super::room::{Cost, MOVE, PLAIN, Way};

/// Least costs between songs, in thousandths of a move; the plain white bars are node `songs`.
///
/// Half of each song's fit cost is on its edge to either side.
pub(super) struct Edges {
    /// How many songs.
    pub(super) songs: usize,
    /// `least[a * (songs + 1) + b]`: the least of both directions.
    least: Vec<f64>,
    /// Every cost is a multiple of this.
    grain: Cost,
}

/// An edge that no plan uses; large, yet harmless in sums.
const BARRED: f64 = 1.0e15;

/// What a bound may be off by for rounding of floating point sums, in thousandths of a move.
const ROUNDING: f64 = 1.0e-3;

/// Steps of the ascent. More than 200 changed the bound by less than 1 % on made-up concerts of 40
/// songs (tuned there).
const ASCENT_STEPS: usize = 200;

/// Half of a way's fit cost.
fn half(way: &Way) -> f64 {
    way.cost as f64 / 2.0
}

/// The least moves that any concert needs to set up a way directly after another one.
///
/// Instruments that the way before doesn't use may lie as any way of another song, or nobody yet,
/// left them.
pub(super) fn least_moves(
    problem: &Problem,
    floor: &[Vec<Vec<u32>>],
    before: &Way,
    song: usize,
    way: &Way,
) -> u32 {
    let mut sum = 0;
    for (i, wanted) in way.patterns.iter().enumerate() {
        let Some(wanted) = wanted else { continue };
        sum += match before.leaves.get(i).copied().flatten() {
            Some(lies) => problem.room.moves(i, lies, *wanted),
            None => floor[song][i].get(usize::from(wanted.0)).map_or(0, |m| *m),
        };
    }
    sum
}

/// For every song, instrument and pattern: the least moves to it from the plain bars or from any
/// pattern that another song's way leaves there.
pub(super) fn floors(problem: &Problem) -> Vec<Vec<Vec<u32>>> {
    let room = &problem.room;
    (0..problem.songs.len())
        .map(|song| {
            (0..room.len())
                .map(|i| {
                    let mut left = vec![PLAIN];
                    for (other, ways) in problem.songs.iter().enumerate() {
                        if other != song {
                            left.extend(ways.iter().filter_map(|w| w.leaves.get(i).copied()?));
                        }
                    }
                    left.sort_unstable();
                    left.dedup();
                    (0..room.patterns_of(i))
                        .map(|to| {
                            let to = super::room::Pattern(to as u16);
                            left.iter().map(|from| room.moves(i, *from, to)).min().unwrap_or(0)
                        })
                        .collect()
                })
                .collect()
        })
        .collect()
}

impl Edges {
    pub(super) fn new(problem: &Problem) -> Edges {
        let songs = problem.songs.len();
        let nodes = songs + 1;
        let room = &problem.room;
        let floor = floors(problem);
        let barred = barred(problem);
        let plain = room.plain();
        let mut directed = vec![BARRED; nodes * nodes];
        for (b, ways) in problem.songs.iter().enumerate() {
            for way in ways {
                let out = f64::from(room.moves_to(&plain, way)) * MOVE as f64 + half(way);
                let edge = &mut directed[songs * nodes + b];
                if !barred[songs * nodes + b] && out < *edge {
                    *edge = out;
                }
                let home = way
                    .leaves
                    .iter()
                    .enumerate()
                    .filter_map(|(i, p)| Some(room.moves(i, (*p)?, PLAIN)))
                    .sum::<u32>();
                let home = f64::from(home) * MOVE as f64 + half(way);
                let edge = &mut directed[b * nodes + songs];
                if !barred[b * nodes + songs] && home < *edge {
                    *edge = home;
                }
                for (a, others) in problem.songs.iter().enumerate() {
                    if a == b || barred[a * nodes + b] {
                        continue;
                    }
                    for other in others {
                        let moves = least_moves(problem, &floor, other, b, way);
                        let cost = f64::from(moves) * MOVE as f64 + half(other) + half(way);
                        let edge = &mut directed[a * nodes + b];
                        if cost < *edge {
                            *edge = cost;
                        }
                    }
                }
            }
        }
        let mut least = directed.clone();
        for a in 0..nodes {
            for b in 0..nodes {
                let back = directed[b * nodes + a];
                if back < least[a * nodes + b] {
                    least[a * nodes + b] = back;
                }
            }
        }
        let grain = problem.songs.iter().flatten().fold(MOVE, |g, w| common_divisor(g, w.cost));
        Edges { songs, least, grain }
    }

    /// The least cost between two nodes.
    pub(super) fn least(&self, a: usize, b: usize) -> f64 {
        self.least[a * (self.songs + 1) + b]
    }

    /// The smallest cost that a plan can have that costs at least `bound`.
    pub(super) fn up(&self, bound: f64) -> Cost {
        let whole = (bound - ROUNDING).ceil().max(0.0) as Cost;
        whole.div_ceil(self.grain) * self.grain
    }

    /// A spanning tree over some songs and, where `plain` is set, the plain bars, with a price added
    /// to both ends of every edge: its cost, and each node's degree added to `degrees`.
    pub(super) fn tree(
        &self,
        members: &[usize],
        prices: &[f64],
        mut degrees: Option<&mut [i64]>,
    ) -> f64 {
        // Prim's algorithm; the graphs are complete and small.
        let Some((first, rest)) = members.split_first() else { return 0.0 };
        let cost = |a: usize, b: usize| self.least(a, b) + prices[a] + prices[b];
        let mut outside: Vec<(usize, f64, usize)> =
            rest.iter().map(|m| (*m, cost(*first, *m), *first)).collect();
        let mut sum = 0.0;
        while !outside.is_empty() {
            let mut nearest = 0;
            for (i, entry) in outside.iter().enumerate() {
                if entry.1 < outside[nearest].1 {
                    nearest = i;
                }
            }
            let (node, edge, from) = outside.swap_remove(nearest);
            sum += edge;
            if let Some(degrees) = degrees.as_deref_mut() {
                degrees[node] += 1;
                degrees[from] += 1;
            }
            for entry in &mut outside {
                let edge = cost(node, entry.0);
                if edge < entry.1 {
                    *entry = (entry.0, edge, node);
                }
            }
        }
        sum
    }

    /// The bound, and the prices that gave it. `upper` is the cost of a known plan.
    pub(super) fn bound(&self, problem: &Problem, upper: Cost) -> (Cost, Vec<f64>) {
        let n = self.songs;
        let mut best_prices = vec![0.0; n + 1];
        if n < 2 {
            let one = problem.songs.first().into_iter().flatten().map(|w| {
                let lay = problem.room.plain();
                let after = problem.room.after(&lay, w);
                let moves =
                    problem.room.moves_to(&lay, w) + problem.room.moves_between(&after, &lay);
                Cost::from(moves) * MOVE + w.cost
            });
            return (one.min().unwrap_or(0), best_prices);
        }
        let songs: Vec<usize> = (0..n).collect();
        let mut prices = best_prices.clone();
        let mut best = f64::NEG_INFINITY;
        // Scale and patience of the ascent as usual for it: start at 2, halve after 10 steps
        // without gain.
        let mut scale = 2.0;
        let mut idle = 0;
        for _ in 0..ASCENT_STEPS {
            let mut degrees = vec![0i64; n + 1];
            let mut sum = self.tree(&songs, &prices, Some(&mut degrees));
            // The two cheapest edges to the plain bars.
            let mut ends: Vec<(f64, usize)> =
                songs.iter().map(|s| (self.least(n, *s) + prices[*s], *s)).collect();
            ends.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            for (cost, song) in ends.iter().take(2) {
                sum += cost;
                degrees[*song] += 1;
            }
            let bound = sum - 2.0 * prices.iter().sum::<f64>();
            if bound > best + ROUNDING {
                best = bound;
                best_prices.clone_from(&prices);
                idle = 0;
            } else {
                idle += 1;
                if idle >= 10 {
                    scale /= 2.0;
                    idle = 0;
                }
            }
            let off: i64 = songs.iter().map(|s| (degrees[*s] - 2).pow(2)).sum();
            if off == 0 || self.up(best) >= upper {
                break;
            }
            let step = scale * (upper as f64 - bound).max(1.0) / off as f64;
            for song in &songs {
                prices[*song] += step * (degrees[*song] - 2) as f64;
            }
        }
        (self.up(best), best_prices)
    }
}

/// Neighbours that the pins rule out: `a` directly before `b` where `b` must come first, or a third
/// song between them; songs that can't open or close the concert.
fn barred(problem: &Problem) -> Vec<bool> {
    let songs = problem.songs.len();
    let nodes = songs + 1;
    let mut barred = vec![false; nodes * nodes];
    let earlier = |song: usize| problem.pins.before.get(song).map_or(&[][..], Vec::as_slice);
    for b in 0..songs {
        for a in earlier(b) {
            barred[b * nodes + a] = true;
            // `a` can't close, `b` can't open.
            barred[a * nodes + songs] = true;
            barred[songs * nodes + b] = true;
            for first in earlier(*a) {
                barred[first * nodes + b] = true;
            }
        }
    }
    barred
}

fn common_divisor(a: Cost, b: Cost) -> Cost {
    if b == 0 { a } else { common_divisor(b, a % b) }
}
