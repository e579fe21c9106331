//! Played onsets to grid points: one grid for each beat, found by an exact search.
//!
//! The music is cut into windows of a beat (a quarter, or a dotted quarter in compound meters). Each
//! window has one of the grids of [`SIMPLE`] or [`COMPOUND`]. A choice of grids costs, in nats
//! (negative logarithms of likelihoods):
//!
//! - for each onset d²/2σ², d being its distance in time from the grid point it is put on, and the
//!   point's own cost, which grows with the fineness of the note value ([`point_cost`]);
//! - [`COLLISION`] where two strokes of a part that aren't one chord come to lie on one point;
//! - for each window the cost of its grid, first that of the table, then minus the logarithm of how
//!   often the grid was used in this very file;
//! - [`CHANGE`] where a window of thirds follows one of halves, or the other way round.
//!
//! The cheapest choice is found by dynamic programming over the windows (the grids) and over the onsets
//! of each part within a window (the points). With the grids settled, each part's onsets get their
//! points by one more dynamic programme over the whole part, which also sees collisions across the
//! bounds of windows. σ and the grids' frequencies start from the constants here and are
//! estimated again from the result ([`ROUNDS`] times in all).

use crate::score::{Meter, Time};

use super::{Clock, Played};

/// One grid: into how many parts it divides its window, and what it costs to use it.
#[derive(Clone, Copy, Debug)]
struct Grid {
    parts: u8,
    cost: f64,
}

const fn grid(parts: u8, cost: f64) -> Grid {
    Grid { parts, cost }
}

/// Grids of a beat of a quarter. The costs are rough logarithms of how rare a grid is (common practice,
/// no source); the file's own frequencies take over after the first round.
const SIMPLE: [Grid; 9] = [
    grid(1, 0.0),
    grid(2, 0.3),
    grid(4, 0.8),
    grid(3, 2.5),
    grid(8, 3.5),
    grid(6, 4.0),
    grid(12, 6.0),
    grid(5, 8.0),
    grid(7, 9.0),
];
/// Grids of a beat of a dotted quarter.
const COMPOUND: [Grid; 7] = [
    grid(1, 0.2),
    grid(3, 0.0),
    grid(6, 0.8),
    grid(12, 3.5),
    grid(2, 4.0),
    grid(4, 4.0),
    grid(9, 5.0),
];
/// Most parts of any grid.
const MAX_PARTS: usize = 12;
/// Cost of going from a binary to a ternary grid or back.
const CHANGE: f64 = 1.0;
/// Cost of two strokes of a part on one point that aren't a chord.
const COLLISION: f64 = 7.0;
/// How far onsets of careful playing scatter, in milliseconds: where the estimate starts. Studies of
/// tapping and ensemble playing find standard deviations of 10 to 30 ms (from memory).
const SCATTER_MS: f64 = 15.0;
/// The estimate keeps between these.
const SCATTER_BOUNDS_MS: (f64, f64) = (3.0, 45.0);
/// The starting values count as much as so many onsets or windows.
const PRIOR_WEIGHT: f64 = 20.0;
/// Rounds of search and estimation.
const ROUNDS: usize = 3;
/// Strokes of a chord fall within so many milliseconds of the first ...
const CHORD_MS: f64 = 60.0;
/// ... and within this share of the shorter of two notes (else it is a melody played legato).
const CHORD_OVERLAP: f64 = 0.4;

/// What a point costs by the denominator of its place in a beat of a quarter: finer values are rarer.
fn point_cost(denominator: u8) -> f64 {
    match denominator {
        1 => 0.2,
        2 => 0.6,
        3 => 1.0,
        4 => 1.4,
        6 => 2.2,
        8 => 2.8,
        _ => 3.4,
    }
}

/// The same in a beat of a dotted quarter.
fn compound_point_cost(denominator: u8) -> f64 {
    match denominator {
        1 => 0.2,
        3 => 0.6,
        2 => 1.4,
        6 => 1.6,
        _ => 2.8,
    }
}

fn gcd(a: u8, b: u8) -> u8 {
    if b == 0 { a } else { gcd(b, a % b) }
}

/// Strokes of a part that belong together: one note or a chord.
#[derive(Clone, Copy, Debug)]
struct Group {
    /// Index of its first note, and how many notes it has.
    first: usize,
    len: usize,
    /// Mean onset in ticks.
    tick: f64,
}

/// A beat with the strokes in it.
#[derive(Clone, Debug)]
struct Window {
    start: Time,
    length: Time,
    compound: bool,
    /// Length in milliseconds.
    ms: f64,
    /// Strokes, by part and then time: part, index of its group, place from 0 to 1 in the window.
    strokes: Vec<(usize, usize, f64)>,
}

impl Window {
    fn grids(&self) -> &'static [Grid] {
        if self.compound { &COMPOUND } else { &SIMPLE }
    }

    fn cost_of_point(&self, point: usize, parts: u8) -> f64 {
        let point = point as u8 % parts;
        let denominator = parts / gcd(point, parts);
        if self.compound { compound_point_cost(denominator) } else { point_cost(denominator) }
    }
}

/// What is estimated from the file.
#[derive(Clone, Debug)]
struct Model {
    /// Standard deviation of onsets in milliseconds.
    scatter: f64,
    /// Cost of each grid of [`SIMPLE`] and of [`COMPOUND`].
    simple: Vec<f64>,
    compound: Vec<f64>,
}

impl Model {
    fn start() -> Model {
        Model {
            scatter: SCATTER_MS,
            simple: SIMPLE.iter().map(|g| g.cost).collect(),
            compound: COMPOUND.iter().map(|g| g.cost).collect(),
        }
    }

    fn grid_cost(&self, window: &Window, grid: usize) -> f64 {
        let costs = if window.compound { &self.compound } else { &self.simple };
        costs.get(grid).copied().unwrap_or(f64::INFINITY)
    }

    /// Cost of putting a stroke at `place` on a point of a grid.
    fn stroke_cost(&self, window: &Window, place: f64, point: usize, parts: u8) -> f64 {
        let off = (place - point as f64 / f64::from(parts)) * window.ms / self.scatter;
        off * off / 2.0 + window.cost_of_point(point, parts)
    }

    /// The cheapest way to put the strokes of a window on the points of a grid.
    fn window_cost(&self, window: &Window, parts: u8) -> f64 {
        let mut total = 0.0;
        let mut strokes = window.strokes.as_slice();
        while let Some((part, ..)) = strokes.first() {
            let len = strokes.iter().take_while(|s| s.0 == *part).count();
            let (of_part, rest) = strokes.split_at(len);
            total += self.line_cost(window, of_part, parts);
            strokes = rest;
        }
        total
    }

    /// The same for the strokes of one part, which come in order and don't overtake each other.
    fn line_cost(&self, window: &Window, strokes: &[(usize, usize, f64)], parts: u8) -> f64 {
        // best[j]: cheapest way with the last stroke on point j.
        let points = usize::from(parts) + 1;
        let mut best = [f64::INFINITY; MAX_PARTS + 1];
        for (i, (_, _, place)) in strokes.iter().enumerate() {
            let mut before = if i == 0 { 0.0 } else { f64::INFINITY };
            for (point, best) in best.iter_mut().enumerate().take(points) {
                // Strictly before this point, or on it at the price of a collision.
                let from = if i == 0 { 0.0 } else { before.min(*best + COLLISION) };
                before = before.min(*best);
                *best = from + self.stroke_cost(window, *place, point, parts);
            }
        }
        best.iter().take(points).copied().fold(f64::INFINITY, f64::min)
    }
}

/// The length of a window in this meter, and whether it is a dotted beat.
fn beat_of(meter: Meter) -> (Time, bool) {
    if meter.beat_type < 8 {
        return (Time::QUARTER, false);
    }
    if meter.groups().is_empty() && meter.beats.is_multiple_of(3) {
        return (meter.unit() * 3, true);
    }
    let units = if meter.beats.is_multiple_of(2) && meter.groups().is_empty() { 2 } else { 1 };
    (meter.unit() * units, false)
}

/// Notes struck together: within a part, near in time, and sounding together for most of their length.
fn groups(notes: &[Played], clock: &Clock) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::with_capacity(notes.len());
    let mut shortest = 0;
    let mut sum = 0.0;
    for (i, note) in notes.iter().enumerate() {
        let length = note.off - note.on;
        if let Some(group) = groups.last_mut() {
            let first = notes.get(group.first).map_or(0, |n| n.on);
            let apart = (note.on - first) as f64;
            let ms = apart * clock.quarter_ms(note.on) / clock.per_quarter as f64;
            let chord = notes.get(group.first..i).unwrap_or_default();
            let near = ms <= CHORD_MS && apart <= CHORD_OVERLAP * length.min(shortest) as f64;
            // A chord of hostile size would be searched again for every note.
            let same_key = chord.iter().rev().take(128).any(|n| n.key == note.key);
            if (near || apart == 0.0) && !same_key {
                group.len += 1;
                sum += note.on as f64;
                group.tick = sum / group.len as f64;
                shortest = shortest.min(length);
                continue;
            }
        }
        shortest = length;
        sum = note.on as f64;
        groups.push(Group { first: i, len: 1, tick: sum });
    }
    groups
}

/// Cuts the music into windows that begin `phase` of a beat late in the first meter. Windows without
/// strokes are left out.
fn windows(parts: &[Vec<Group>], clock: &Clock, phase: Time) -> Vec<Window> {
    let ticks = clock.per_quarter as f64;
    // (meter, number of the beat in it, part, group)
    let mut strokes: Vec<(usize, i64, usize, usize)> = Vec::new();
    for (part, groups) in parts.iter().enumerate() {
        let mut meter = 0;
        for (i, group) in groups.iter().enumerate() {
            while clock.meters.get(meter + 1).is_some_and(|(at, _)| *at as f64 <= group.tick) {
                meter += 1;
            }
            let (start, length, _) = first_beat(clock, meter, phase);
            let beat = ((group.tick / ticks - start.as_f64()) / length.as_f64()).floor();
            strokes.push((meter, beat as i64, part, i));
        }
    }
    strokes.sort_unstable();
    let mut windows: Vec<Window> = Vec::new();
    let mut last = None;
    for (meter, beat, part, i) in strokes {
        let Some(group) = parts.get(part).and_then(|g| g.get(i)) else { continue };
        if last != Some((meter, beat)) {
            last = Some((meter, beat));
            let (start, length, compound) = first_beat(clock, meter, phase);
            let start = start + length * beat;
            let at = (start.as_f64() * ticks).max(0.0) as u64;
            let ms = length.as_f64() * clock.quarter_ms(at);
            windows.push(Window { start, length, compound, ms, strokes: Vec::new() });
        }
        if let Some(window) = windows.last_mut() {
            let place = (group.tick / ticks - window.start.as_f64()) / window.length.as_f64();
            window.strokes.push((part, i, place));
        }
    }
    windows
}

/// Where the first beat of a meter begins, how long its beats are, and whether they are dotted.
fn first_beat(clock: &Clock, meter: usize, phase: Time) -> (Time, Time, bool) {
    let (tick, meter_here) = clock.meters.get(meter).copied().unwrap_or((0, Meter::COMMON));
    let (length, compound) = beat_of(meter_here);
    let late = if meter == 0 { phase } else { Time::ZERO };
    (clock.time(tick) + late, length, compound)
}

/// Whether a grid divides its window in thirds (in the sense that matters for [`CHANGE`]: unlike the
/// usual division of the beat).
fn is_odd_one(window: &Window, parts: u8) -> bool {
    if window.compound { !parts.is_multiple_of(3) && parts > 1 } else { parts.is_multiple_of(3) }
}

/// The cheapest choice of grids: an index into the window's grids for each, and what it costs.
fn choose(windows: &[Window], model: &Model) -> (Vec<usize>, f64) {
    let mut costs: Vec<f64> = Vec::new();
    let mut came: Vec<[u8; SIMPLE.len()]> = Vec::with_capacity(windows.len());
    let mut before: Option<&Window> = None;
    for window in windows {
        let mut next = Vec::with_capacity(SIMPLE.len());
        let mut from = [0u8; SIMPLE.len()];
        for (g, grid) in window.grids().iter().enumerate() {
            let here = model.grid_cost(window, g) + model.window_cost(window, grid.parts);
            let mut cheapest = 0.0;
            if let Some(before) = before {
                cheapest = f64::INFINITY;
                for (h, (cost, grid_before)) in costs.iter().zip(before.grids()).enumerate() {
                    // A window without any division goes with either kind.
                    let neutral = grid.parts == 1 || grid_before.parts == 1;
                    let change = !neutral
                        && is_odd_one(window, grid.parts) != is_odd_one(before, grid_before.parts);
                    let cost = cost + if change { CHANGE } else { 0.0 };
                    if cost < cheapest {
                        cheapest = cost;
                        from[g] = h as u8;
                    }
                }
            }
            next.push(cheapest + here);
        }
        costs = next;
        came.push(from);
        before = Some(window);
    }
    let best = costs.iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1));
    let (mut at, cost) = best.map_or((0, 0.0), |(i, c)| (i, *c));
    let mut chosen = vec![0; windows.len()];
    for (slot, from) in chosen.iter_mut().zip(&came).rev() {
        *slot = at;
        at = usize::from(from.get(at).copied().unwrap_or(0));
    }
    (chosen, cost)
}

/// A group with the points it may be put on.
struct Spot<'a> {
    window: &'a Window,
    parts: u8,
    place: f64,
}

impl Spot<'_> {
    /// The time of a point, in quarters, to compare by.
    fn at(&self, point: usize) -> f64 {
        let share = point as f64 / f64::from(self.parts);
        self.window.start.as_f64() + self.window.length.as_f64() * share
    }

    fn time(&self, point: usize) -> Time {
        self.window.start + self.window.length * point as i64 / i64::from(self.parts)
    }
}

/// The cheapest points for all strokes of a part, the grids being settled: strokes don't overtake each
/// other, and two on one point cost a collision.
fn points(spots: &[Spot<'_>], model: &Model) -> Vec<usize> {
    /// Times nearer than this, in quarters, are the same: far below the finest grid.
    const SAME: f64 = 1e-6;
    let mut came: Vec<[u8; MAX_PARTS + 1]> = Vec::with_capacity(spots.len());
    let mut costs: Vec<f64> = Vec::new();
    let mut before: Option<&Spot<'_>> = None;
    for spot in spots {
        let mut next = Vec::with_capacity(usize::from(spot.parts) + 1);
        let mut from = [0u8; MAX_PARTS + 1];
        for point in 0..=usize::from(spot.parts) {
            let mut cheapest = if before.is_none() { 0.0 } else { f64::INFINITY };
            if let Some(before) = before {
                for (p, cost) in costs.iter().enumerate() {
                    let ahead = spot.at(point) - before.at(p);
                    if ahead < -SAME {
                        continue;
                    }
                    let cost = cost + if ahead < SAME { COLLISION } else { 0.0 };
                    if cost < cheapest {
                        cheapest = cost;
                        from[point] = p as u8;
                    }
                }
            }
            next.push(cheapest + model.stroke_cost(spot.window, spot.place, point, spot.parts));
        }
        costs = next;
        came.push(from);
        before = Some(spot);
    }
    let best = costs.iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1));
    let mut at = best.map_or(0, |(i, _)| i);
    let mut chosen = vec![0; spots.len()];
    for (slot, from) in chosen.iter_mut().zip(&came).rev() {
        *slot = at;
        at = usize::from(from.get(at).copied().unwrap_or(0));
    }
    chosen
}

/// For each part and group its time, and how far it was played from it in milliseconds.
type Settled = Vec<Vec<(Time, f64)>>;

/// Puts every part's strokes on points, the grids being settled.
fn settle(parts: &[Vec<Group>], windows: &[Window], grids: &[usize], model: &Model) -> Settled {
    let mut spots: Vec<Vec<Spot<'_>>> = parts.iter().map(|p| Vec::with_capacity(p.len())).collect();
    for (window, grid) in windows.iter().zip(grids) {
        let parts = window.grids().get(*grid).map_or(1, |g| g.parts);
        for (part, _, place) in &window.strokes {
            if let Some(spots) = spots.get_mut(*part) {
                spots.push(Spot { window, parts, place: *place });
            }
        }
    }
    spots
        .iter()
        .map(|spots| {
            let chosen = points(spots, model);
            let result = spots.iter().zip(chosen).map(|(spot, point)| {
                let off = spot.place - point as f64 / f64::from(spot.parts);
                (spot.time(point), off * spot.window.ms)
            });
            result.collect()
        })
        .collect()
}

/// Estimates scatter and grid frequencies from a result.
fn estimate(windows: &[Window], grids: &[usize], off: impl Iterator<Item = f64>) -> Model {
    let start = Model::start();
    let (sum, n) = off.fold((0.0, 0.0), |(sum, n), off| (sum + off * off, n + 1.0));
    let scatter = ((sum + PRIOR_WEIGHT * SCATTER_MS * SCATTER_MS) / (n + PRIOR_WEIGHT)).sqrt();
    let costs = |compound: bool, base: &[f64]| {
        let total: f64 = base.iter().map(|c| (-c).exp()).sum();
        let of_kind = || windows.iter().zip(grids).filter(|(w, _)| w.compound == compound);
        let all = of_kind().count() as f64;
        let cost = |(g, base): (usize, &f64)| {
            let used = of_kind().filter(|(_, grid)| **grid == g).count() as f64;
            let expected = PRIOR_WEIGHT * (-base).exp() / total;
            -((used + expected) / (all + PRIOR_WEIGHT)).ln()
        };
        base.iter().enumerate().map(cost).collect()
    };
    Model {
        scatter: scatter.clamp(SCATTER_BOUNDS_MS.0, SCATTER_BOUNDS_MS.1),
        simple: costs(false, &start.simple),
        compound: costs(true, &start.compound),
    }
}

/// The onsets of all notes of all parts on their grids.
pub(super) fn onsets(parts: &[&[Played]], clock: &Clock) -> Vec<Vec<Time>> {
    let groups: Vec<Vec<Group>> = parts.iter().map(|notes| groups(notes, clock)).collect();
    let mut best: Option<(f64, Settled)> = None;
    for phase in phases(clock) {
        let windows = windows(&groups, clock, phase);
        let mut model = Model::start();
        let mut result = (f64::INFINITY, Vec::new());
        for round in 0..ROUNDS {
            let (grids, cost) = choose(&windows, &model);
            let settled = settle(&groups, &windows, &grids, &model);
            if round + 1 < ROUNDS {
                let off = settled.iter().flatten().map(|(_, off)| *off);
                model = estimate(&windows, &grids, off);
            }
            result = (cost, settled);
        }
        // Without a gain the beats begin where the file says.
        if best.as_ref().is_none_or(|(cost, _)| result.0 + PHASE_GAIN < *cost) {
            best = Some(result);
        }
    }
    let settled = best.map(|(_, settled)| settled).unwrap_or_default();
    groups
        .iter()
        .zip(settled)
        .map(|(groups, settled)| {
            let times = groups.iter().zip(settled);
            times.flat_map(|(g, (t, _))| std::iter::repeat_n(t.max(Time::ZERO), g.len)).collect()
        })
        .collect()
}

/// What a late beginning of the beats must gain to be believed.
const PHASE_GAIN: f64 = 3.0;

/// Where the beats may begin: at the file's start, or later, where it begins with a pickup that is no
/// whole beat.
fn phases(clock: &Clock) -> Vec<Time> {
    let (length, compound) = clock.meters.first().map_or((Time::QUARTER, false), |m| beat_of(m.1));
    if compound {
        vec![Time::ZERO, length / 3, length * 2 / 3]
    } else {
        vec![Time::ZERO, length / 2]
    }
}

#[cfg(test)]
mod tests;
