//! A lower bound that minds the ways: the cheapest walk.
//!
//! The 1-tree (see `bound`) may enter a song in one way and leave it in another. A walk may not: it
//! goes from the plain bars through as many ways as there are songs and back, each way left as it
//! was entered. In return it may come to a song twice and leave another out, though never straight
//! back to the song that it came from. Prices on the songs are moved until it goes to each about
//! once: the state space relaxation of Christofides, Mingozzi and Toth, "State-space relaxation
//! procedures for the computation of bounds to routing problems", Networks 11 (1981), with the prices
//! found by subgradients as Held and Karp find theirs.
//!
//! What the walk costs from each way at each step on is a bound for the exact search too.

use super::bound::{floors, least_moves};
use super::problem::Problem;
use super::room::{Cost, MOVE, PLAIN};

/// A step that no walk takes; large, yet harmless in sums.
const BARRED: f64 = 1.0e15;

/// Steps of the ascent at the most.
const ASCENT_STEPS: usize = 150;

/// Look-ups spent on the ascent at the most: about a second.
const LOOK_UPS: usize = 1_000_000_000;

/// The cheapest rest of a walk, and the cheapest one whose next song is another.
#[derive(Clone, Copy)]
struct Rest {
    cost: f64,
    next: usize,
    other: f64,
    other_next: usize,
    /// The way that comes next, for either.
    way: usize,
    other_way: usize,
}

/// No rest of a walk.
const NOTHING: Rest = Rest {
    cost: BARRED,
    next: usize::MAX,
    other: BARRED,
    other_next: usize::MAX,
    way: usize::MAX,
    other_way: usize::MAX,
};

impl Rest {
    fn offer(&mut self, cost: f64, song: usize, way: usize) {
        if cost < self.cost {
            if song != self.next {
                (self.other, self.other_next, self.other_way) = (self.cost, self.next, self.way);
            }
            (self.cost, self.next, self.way) = (cost, song, way);
        } else if cost < self.other && song != self.next {
            (self.other, self.other_next, self.other_way) = (cost, song, way);
        }
    }

    /// Cost and way of the rest that doesn't go to this song at once.
    fn avoiding(&self, song: usize) -> (f64, usize) {
        if self.next == song { (self.other, self.other_way) } else { (self.cost, self.way) }
    }
}

/// Costs of walks.
pub(super) struct Walks {
    songs: usize,
    song_of: Vec<usize>,
    /// Cost of way `b` right after way `a` (row `ways`: the plain bars), with `b`'s fit cost.
    steps: Vec<f64>,
    /// Cost of clearing after each way.
    home: Vec<f64>,
    prices: Vec<f64>,
    /// `rests[k][way]`: from a way that is the song number `k` (from 0) on, prices included.
    rests: Vec<Vec<Rest>>,
    /// The bound that the prices gave.
    pub(super) bound: f64,
}

impl Walks {
    /// Works out prices and rests. `upper` is the cost of a known plan.
    pub(super) fn new(problem: &Problem, upper: Cost) -> Walks {
        let floor = floors(problem);
        let mut ways = Vec::new();
        let mut song_of = Vec::new();
        for (song, list) in problem.songs.iter().enumerate() {
            for way in list {
                ways.push(way);
                song_of.push(song);
            }
        }
        let later = |a: usize, b: usize| problem.pins.before.get(a).is_some_and(|l| l.contains(&b));
        let waits = |s: usize| problem.pins.before.get(s).is_some_and(|l| !l.is_empty());
        let awaited: Vec<bool> = (0..problem.songs.len())
            .map(|s| problem.pins.before.iter().any(|l| l.contains(&s)))
            .collect();
        let mut steps = vec![BARRED; (ways.len() + 1) * ways.len()];
        for (a, before) in ways.iter().enumerate() {
            for (b, way) in ways.iter().enumerate() {
                let (from, to) = (song_of[a], song_of[b]);
                if from != to && !later(from, to) {
                    let moves = least_moves(problem, &floor, before, to, way);
                    steps[a * ways.len() + b] = f64::from(moves) * MOVE as f64 + way.cost as f64;
                }
            }
        }
        let plain = problem.room.plain();
        for (b, way) in ways.iter().enumerate() {
            if !waits(song_of[b]) {
                let moves = problem.room.moves_to(&plain, way);
                steps[ways.len() * ways.len() + b] =
                    f64::from(moves) * MOVE as f64 + way.cost as f64;
            }
        }
        let home = ways
            .iter()
            .zip(&song_of)
            .map(|(way, song)| {
                if awaited[*song] {
                    return BARRED;
                }
                let left = way.leaves.iter().enumerate();
                let moves: u32 =
                    left.filter_map(|(i, p)| Some(problem.room.moves(i, (*p)?, PLAIN))).sum();
                f64::from(moves) * MOVE as f64
            })
            .collect();
        let songs = problem.songs.len();
        let mut walks = Walks {
            songs,
            song_of,
            steps,
            home,
            prices: vec![0.0; songs],
            rests: Vec::new(),
            bound: f64::NEG_INFINITY,
        };
        walks.ascend(upper as f64);
        walks
    }

    fn ascend(&mut self, upper: f64) {
        let ways = self.song_of.len();
        let turns = (LOOK_UPS / (self.songs * ways * ways).max(1)).clamp(2, ASCENT_STEPS);
        let mut prices = self.prices.clone();
        let (mut scale, mut idle) = (1.0, 0);
        for _ in 0..turns {
            let (bound, visits, rests) = self.walk(&prices);
            if bound > self.bound {
                (self.bound, self.rests) = (bound, rests);
                self.prices.clone_from(&prices);
                idle = 0;
            } else {
                idle += 1;
                // Patience before smaller steps, as usual for such ascents.
                if idle >= 6 {
                    (scale, idle) = (scale / 2.0, 0);
                }
            }
            let off: i64 = visits.iter().map(|v| (v - 1).pow(2)).sum();
            if off == 0 || self.bound >= upper - 0.5 {
                break;
            }
            let step = scale * (upper - bound).max(1.0) / off as f64;
            for (price, visits) in prices.iter_mut().zip(&visits) {
                *price += step * (visits - 1) as f64;
            }
        }
    }

    /// The cheapest walk with these prices: its bound, how often it comes to each song, all rests.
    fn walk(&self, prices: &[f64]) -> (f64, Vec<i64>, Vec<Vec<Rest>>) {
        let ways = self.song_of.len();
        let end = |cost: f64| Rest { cost, other: cost, ..NOTHING };
        let mut rests: Vec<Vec<Rest>> = vec![self.home.iter().map(|h| end(*h)).collect()];
        for _ in 1..self.songs {
            let ahead = &rests[rests.len() - 1];
            let mut here = vec![NOTHING; ways];
            for (a, rest) in here.iter_mut().enumerate() {
                let from = self.song_of[a];
                for (b, step) in self.steps[a * ways..(a + 1) * ways].iter().enumerate() {
                    let to = self.song_of[b];
                    let cost = step + prices[to] + ahead[b].avoiding(from).0;
                    rest.offer(cost, to, b);
                }
            }
            rests.push(here);
        }
        rests.reverse();
        let mut visits = vec![0; self.songs];
        let first = &rests[0];
        let start = &self.steps[ways * ways..];
        let cost = |b: usize| start[b] + prices[self.song_of[b]] + first[b].cost;
        let Some(mut at) = (0..ways).min_by(|a, b| cost(*a).total_cmp(&cost(*b))) else {
            return (0.0, visits, rests);
        };
        let bound = cost(at) - prices.iter().sum::<f64>();
        let mut from = usize::MAX;
        for rest in &rests {
            visits[self.song_of[at]] += 1;
            let next = rest[at].avoiding(from).1;
            if next == usize::MAX {
                break;
            }
            from = self.song_of[at];
            at = next;
        }
        (bound, visits, rests)
    }

    /// The least that is still to come after a way that is number `played` (from 1) of the concert,
    /// where the songs `rest` are still to be played.
    pub(super) fn still_to_come(&self, way: usize, played: usize, rest_prices: f64) -> f64 {
        let rests = played.checked_sub(1).and_then(|k| self.rests.get(k)).and_then(|r| r.get(way));
        rests.map_or(0.0, |r| r.cost) - rest_prices
    }

    /// The price of a song.
    pub(super) fn price(&self, song: usize) -> f64 {
        self.prices.get(song).copied().unwrap_or(0.0)
    }
}
