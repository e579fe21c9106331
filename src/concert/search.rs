//! A good order for concerts that are too large for the exact search, and a first plan for it.
//!
//! Nearest-neighbour starts are improved by moving short runs of songs and turning stretches round
//! until neither helps; then the best ways for the order are found exactly and the two are repeated.
//! Small jolts (cutting the order in four and joining it differently) lead out of dead ends. The
//! number of tries is fixed, not the time, so that the same concert gets the same plan everywhere.

use super::bound::{floors, least_moves};
use super::given::plan_with;
use super::lays::Lays;
use super::problem::{Plan, Problem};
use super::room::{Cost, MOVE};

/// States kept a song while searching; the final plan is made with all.
const SEARCH_STATES: usize = 4;

/// Orders improved from different starts.
const STARTS: usize = 6;

/// Jolts times songs: 12 jolts for 40 songs, fewer for more; each is one descent.
const JOLTS_TIMES_SONGS: usize = 480;

/// Jolts at the most, and for small concerts, which are planned exactly anyway, two a song.
const MAX_JOLTS: usize = 30;

/// Longest run of songs that is moved as one.
const LONGEST_RUN: usize = 3;

/// Up to so many songs, every move is also tried with all ways chosen anew.
const THOROUGH_SONGS: usize = 20;

struct Search<'a, 'p> {
    problem: &'p Problem,
    lays: &'a mut Lays<'p>,
    /// Estimated cost of each way after each other way; row `ways` is the plain bars.
    arcs: Vec<Cost>,
    ways: usize,
}

/// The best plan found. Its `lower_bound` is zero: `bound` proves one.
pub(super) fn good_plan(problem: &Problem, start: &[usize]) -> Plan {
    let mut lays = Lays::new(problem);
    let ways = lays.ways.len();
    let arcs = arcs(problem, &lays);
    let mut search = Search { problem, lays: &mut lays, arcs, ways };
    let songs = problem.songs.len();
    let mut best = search.improved(start.to_vec());
    for first in 0..STARTS.min(songs) {
        // Openers spread over the songs.
        let opener = first * songs / STARTS.min(songs);
        if let Some(order) = search.nearest(opener) {
            let plan = search.improved(order);
            if plan.cost < best.cost {
                best = plan;
            }
        }
    }
    let mut dice = Dice(0x9E37_79B9_7F4A_7C15);
    let jolts = (JOLTS_TIMES_SONGS / songs.max(1)).min(MAX_JOLTS).min(2 * songs);
    for _ in 0..jolts {
        let order = jolted(&songs_of(&best), &mut dice);
        if songs < 4 || !problem.pins.hold(&order) {
            continue;
        }
        let plan = search.improved(order);
        if plan.cost < best.cost {
            best = plan;
        }
    }
    let mut plan = super::given::plan_in_order(problem, &songs_of(&best));
    plan.lower_bound = 0;
    plan
}

fn songs_of(plan: &Plan) -> Vec<usize> {
    plan.order.iter().map(|(song, _)| *song).collect()
}

fn arcs(problem: &Problem, lays: &Lays<'_>) -> Vec<Cost> {
    let floor = floors(problem);
    let ways = lays.ways.len();
    let mut arcs = Vec::with_capacity((ways + 1) * ways);
    for before in &lays.ways {
        for song in 0..problem.songs.len() {
            for way in lays.ways_of(song) {
                let to = lays.ways[way];
                arcs.push(Cost::from(least_moves(problem, &floor, before, song, to)) * MOVE);
            }
        }
    }
    for way in &lays.ways {
        arcs.push(Cost::from(problem.room.moves_to(&problem.room.plain(), way)) * MOVE);
    }
    arcs
}

impl Search<'_, '_> {
    fn arc(&self, from: Option<usize>, to: usize) -> Cost {
        self.arcs[from.unwrap_or(self.ways) * self.ways + to]
    }

    /// Estimated cost of a run of ways from the plain bars and back to them.
    fn estimate(&self, ways: &[usize]) -> Cost {
        let mut sum = 0;
        let mut before = None;
        for way in ways {
            sum += self.arc(before, *way);
            before = Some(*way);
        }
        // Clearing costs what setting up does.
        sum + before.map_or(0, |w| self.arc(None, w))
    }

    /// An order that goes on with the nearest song each time; `None` where the pins forbid the
    /// opener.
    fn nearest(&self, opener: usize) -> Option<Vec<usize>> {
        let songs = self.problem.songs.len();
        let mut order: Vec<usize> = Vec::with_capacity(songs);
        let mut placed = vec![false; songs];
        let mut last: Option<usize> = None;
        while order.len() < songs {
            let free =
                |s: &usize| !placed[*s] && self.problem.pins.before[*s].iter().all(|e| placed[*e]);
            let next = (0..songs)
                .filter(free)
                .filter(|s| !order.is_empty() || *s == opener)
                .flat_map(|s| self.lays.ways_of(s).map(move |w| (s, w)))
                .min_by_key(|(_, w)| self.arc(last, *w) + self.lays.ways[*w].cost)?;
            placed[next.0] = true;
            order.push(next.0);
            last = Some(next.1);
        }
        Some(order)
    }

    /// Improves an order until nothing helps.
    fn improved(&mut self, order: Vec<usize>) -> Plan {
        let mut best = plan_with(self.lays, &order, SEARCH_STATES);
        loop {
            let order = self.rearranged(&best);
            let mut plan = plan_with(self.lays, &order, SEARCH_STATES);
            if plan.cost >= best.cost && self.problem.songs.len() <= THOROUGH_SONGS {
                plan = self.thorough(&best).unwrap_or(plan);
            }
            if plan.cost >= best.cost {
                return best;
            }
            best = plan;
        }
    }

    /// With the ways as they are: moves runs and turns stretches while the estimate falls.
    fn rearranged(&self, plan: &Plan) -> Vec<usize> {
        let place = |(song, way): &(usize, usize)| (*song, self.lays.ways_of(*song).start + way);
        let mut now: Vec<(usize, usize)> = plan.order.iter().map(place).collect();
        let cost = |o: &[(usize, usize)]| {
            self.estimate(&o.iter().map(|(_, w)| *w).collect::<Vec<usize>>())
        };
        let mut now_cost = cost(&now);
        let songs = |o: &[(usize, usize)]| o.iter().map(|(s, _)| *s).collect::<Vec<usize>>();
        loop {
            let mut better = None;
            neighbours(now.len(), |change| {
                let mut next = now.clone();
                change.apply(&mut next);
                let next_cost = cost(&next);
                if next_cost < now_cost && self.problem.pins.hold(&songs(&next)) {
                    better = Some((next, next_cost));
                }
                better.is_some()
            });
            match better {
                Some((next, next_cost)) => (now, now_cost) = (next, next_cost),
                None => return songs(&now),
            }
        }
    }

    /// The first change that helps once all ways are chosen anew.
    fn thorough(&mut self, best: &Plan) -> Option<Plan> {
        let order = songs_of(best);
        let mut found = None;
        neighbours(order.len(), |change| {
            // Turning long stretches seldom helps and is most of the work.
            if matches!(change, Change::Turn { .. }) {
                return false;
            }
            let mut next = order.clone();
            change.apply(&mut next);
            if self.problem.pins.hold(&next) {
                let plan = plan_with(self.lays, &next, SEARCH_STATES);
                if plan.cost < best.cost {
                    found = Some(plan);
                }
            }
            found.is_some()
        });
        found
    }
}

/// A change of the order.
#[derive(Clone, Copy)]
enum Change {
    /// Takes `run` songs from `from` and puts them so that they begin at `to` of the rest.
    Move { from: usize, run: usize, to: usize },
    /// Turns a stretch round.
    Turn { from: usize, to: usize },
}

impl Change {
    fn apply<T: Clone>(self, order: &mut Vec<T>) {
        match self {
            Change::Move { from, run, to } => {
                let taken: Vec<T> = order.drain(from..from + run).collect();
                order.splice(to..to, taken);
            }
            Change::Turn { from, to } => order[from..=to].reverse(),
        }
    }
}

/// Hands out all changes of an order of `len` songs until told to stop.
fn neighbours(len: usize, mut stop: impl FnMut(Change) -> bool) {
    for run in 1..=LONGEST_RUN.min(len) {
        for from in 0..=len - run {
            for to in 0..=len - run {
                if to != from && stop(Change::Move { from, run, to }) {
                    return;
                }
            }
        }
    }
    for from in 0..len {
        for to in from + 1..len {
            if stop(Change::Turn { from, to }) {
                return;
            }
        }
    }
}

/// Cuts an order in four and joins the parts as first, third, second, fourth.
fn jolted(order: &[usize], dice: &mut Dice) -> Vec<usize> {
    if order.len() < 4 {
        return order.to_vec();
    }
    let mut cuts = [0; 3];
    for cut in &mut cuts {
        *cut = 1 + dice.below(order.len() - 1);
    }
    cuts.sort_unstable();
    let [a, b, c] = cuts;
    [&order[..a], &order[b..c], &order[a..b], &order[c..]].concat()
}

/// Marsaglia's xorshift generator (Journal of Statistical Software 8, 2003), seeded with a constant:
/// the search must be repeatable, not random.
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % n.max(1) as u64) as usize
    }
}
