//! Lengths to note values: what is one value, what must be split and tied, where tuplets stand.
//!
//! A length is written as one value where that reads well, else split at the strongest moment of the
//! meter inside it ([`Meter::level`]). Lengths that no dotted value has are tuplets: the stretch from
//! the last moment on a power-of-two grid to the next is one tuplet of `p` in the time of the largest
//! power of two below `p`, `p` being the odd part of its common denominator. Both are exact; the
//! lengths written always add up to the measure.

use std::collections::HashMap;

use crate::score::value::{self, Value};
use crate::score::{Measure, Meter, Time};

/// A stretch of one lane in one measure: a chord's piece, or a rest.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Raw {
    /// Where it begins, in the score.
    pub(super) start: Time,
    /// Where it ends.
    pub(super) end: Time,
    /// Index of the chord in its lane; `None` for a rest.
    pub(super) group: Option<usize>,
    /// The tuplet that the source showed.
    pub(super) hint: Option<(u16, u16)>,
}

/// A stretch with its note value.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Piece {
    /// Where it begins, in the score.
    pub(super) start: Time,
    /// Where it ends.
    pub(super) end: Time,
    /// Index of the chord in its lane; `None` for a rest.
    pub(super) group: Option<usize>,
    /// The value to print; `None` for a rest that fills the measure.
    pub(super) value: Option<Value>,
    /// Notes in the time of, for a tuplet's notes.
    pub(super) ratio: Option<(u32, u32)>,
    /// Number of the tuplet in its measure, from 1; 0 outside tuplets.
    pub(super) tuplet: u32,
}

/// Largest number of notes in a tuplet that is printed as one: readers and people alike lose track
/// beyond. Times that ask for more are written with the nearest value, their exact length being in
/// the file all the same.
const MAX_TUPLET: i64 = 1_000;

/// How a stretch on the grid is written: its pieces' starts and ends from the stretch's start, and
/// their values.
type Written = Vec<(Time, Time, Value)>;

/// Stretches that were written before. What a stretch becomes follows from its meter, its place in
/// it, its length and whether it sounds; tunes repeat the same few.
pub(super) type Known = HashMap<(Meter, Time, Time, bool), Written>;

/// Gives the stretches of one lane in one measure their values. `raws` follow each other without
/// gaps. `beats` are the starts of the meter's counted beats ([`Meter::beats`]).
pub(super) fn notate(
    measure: &Measure,
    beats: &[Time],
    raws: &[Raw],
    known: &mut Known,
) -> Vec<Piece> {
    let mut writer =
        Notation { measure, meter: measure.meter, beats, known, pieces: Vec::new(), tuplets: 0 };
    // A stack: what is split off goes back on it.
    let mut rest: Vec<Raw> = raws.iter().rev().copied().collect();
    while let Some(raw) = rest.pop() {
        writer.next(raw, &mut rest);
    }
    writer.pieces
}

struct Notation<'a> {
    measure: &'a Measure,
    meter: Meter,
    beats: &'a [Time],
    known: &'a mut Known,
    pieces: Vec<Piece>,
    tuplets: u32,
}

impl Notation<'_> {
    fn next(&mut self, raw: Raw, rest: &mut Vec<Raw>) {
        let hinted = self.hinted(&raw);
        let (from, to) = (self.on_grid(raw.start), self.on_grid(raw.end));
        if from && to && !hinted {
            self.plain(raw.start, raw.end, raw.group);
            return;
        }
        if from && !hinted && (raw.group.is_none() || !writes_as_one(&raw)) {
            // [0, 7/3): two beats, then the tuplet that holds the third.
            if let Some(beat) = self.last_beat_inside(&raw) {
                self.plain(raw.start, beat, raw.group);
                rest.push(Raw { start: beat, ..raw });
                return;
            }
        }
        let mut region = vec![raw];
        if let Some(beat) = self.split_in_tuplet(&raw) {
            region[0].end = beat;
            rest.push(Raw { start: beat, ..raw });
        }
        while !self.complete(&region) {
            let Some(mut raw) = rest.pop() else { break };
            let dyadic = region.iter().all(|r| self.on_grid(r.start) && self.on_grid(r.end));
            if dyadic && raw.hint != region[0].hint {
                rest.push(raw);
                break;
            }
            if let Some(beat) = self.split_in_tuplet(&raw) {
                rest.push(Raw { start: beat, ..raw });
                raw.end = beat;
            }
            region.push(raw);
        }
        self.tuplet(&region);
    }

    /// Whether a moment lies on the grid of powers of two, seen from the measure's full start.
    fn on_grid(&self, at: Time) -> bool {
        power_of_two(self.measure.metrical(at).denominator())
    }

    /// Whether the source's tuplet gives the stretch a value.
    fn hinted(&self, raw: &Raw) -> bool {
        raw.hint.is_some_and(|hint| {
            hint.0 != hint.1 && value::exact(written(raw.end - raw.start, wide(hint)), 2).is_some()
        })
    }

    /// Where a stretch that begins inside a tuplet, or a rest that ends inside one, is to be split.
    fn split_in_tuplet(&self, raw: &Raw) -> Option<Time> {
        if self.hinted(raw) || (raw.group.is_some() && writes_as_one(raw)) {
            return None;
        }
        if self.on_grid(raw.start) {
            return None;
        }
        let beat = self.next_beat_after(raw.start)?;
        (beat < raw.end && self.on_grid(beat)).then_some(beat)
    }

    fn next_beat_after(&self, at: Time) -> Option<Time> {
        let metrical = self.measure.metrical(at);
        let whole = self.meter.measure();
        let round = whole * metrical.div_floor(whole);
        let inside = metrical - round;
        let beat =
            self.beats.iter().copied().find(|b| *b > inside).unwrap_or(whole) + round - metrical;
        Some(at + beat).filter(|b| *b > at)
    }

    fn last_beat_inside(&self, raw: &Raw) -> Option<Time> {
        let mut last = None;
        let mut at = raw.start;
        while let Some(beat) = self.next_beat_after(at).filter(|b| *b < raw.end) {
            if self.on_grid(beat) {
                last = Some(beat);
            }
            at = beat;
        }
        last
    }

    /// Whether a tuplet may end after the stretches gathered so far.
    fn complete(&self, region: &[Raw]) -> bool {
        let (Some(first), Some(last)) = (region.first(), region.last()) else { return true };
        if !self.on_grid(last.end) {
            return false;
        }
        // With a shown tuplet on the grid (a duplet in 6/8) the bracket is full when its length is a
        // whole number of times "normal notes of the smallest value".
        let Some(hint) = first.hint.filter(|_| self.hinted(first)) else { return true };
        let smallest = region.iter().map(|r| written(r.end - r.start, wide(hint))).min();
        let Some(smallest) = smallest else { return true };
        let span = smallest * i64::from(hint.1);
        (last.end - first.start).rem_floor(span).is_zero()
    }

    /// Writes a tuplet.
    fn tuplet(&mut self, region: &[Raw]) {
        let shown = region.iter().find_map(|r| r.hint).filter(|hint| {
            hint.0 != hint.1
                && region.iter().all(|r| {
                    r.hint.is_none_or(|h| h == *hint) && fine(written(r.end - r.start, wide(*hint)))
                })
        });
        let odd = region.iter().try_fold(1i64, |all, r| {
            lcm(all, odd_part((r.end - r.start).denominator())).filter(|n| *n <= MAX_TUPLET)
        });
        let ratio = match (shown, odd) {
            (Some(hint), _) => Some(wide(hint)),
            (None, Some(odd)) if odd > 1 => Some((odd as u32, power_below(odd) as u32)),
            _ => None,
        };
        let exact = ratio
            .filter(|ratio| region.iter().all(|r| fine(written(r.end - r.start, *ratio))))
            .inspect(|_| self.tuplets += 1);
        let Some(ratio) = exact else {
            for raw in region {
                self.push(raw.start, raw.end, raw.group, nearest(raw.end - raw.start), None);
            }
            return;
        };
        for raw in region {
            let mut start = raw.start;
            let mut left = written(raw.end - raw.start, ratio);
            while left.is_positive() {
                let value = value::exact(left, 2).or_else(|| value::largest_within(left));
                let Some(value) = value else { break };
                left -= value.length;
                // Of its lengths the tuplet's sound is normal/actual.
                let end = start + value.length * i64::from(ratio.1) / i64::from(ratio.0);
                self.push(start, end, raw.group, value, Some(ratio));
                start = end;
            }
        }
    }

    /// Writes a stretch on the grid: one value, or several split at the meter's strong moments.
    fn plain(&mut self, start: Time, end: Time, group: Option<usize>) {
        let key = (self.meter, self.measure.metrical(start), end - start, group.is_some());
        if let Some(written) = self.known.get(&key) {
            let piece = |(from, to, value): &(Time, Time, Value)| Piece {
                start: start + *from,
                end: start + *to,
                group,
                value: Some(*value),
                ratio: None,
                tuplet: 0,
            };
            self.pieces.extend(written.iter().map(piece));
            return;
        }
        let first = self.pieces.len();
        self.split(start, end, group);
        let new = self.pieces.iter().skip(first);
        let written =
            new.filter_map(|p| Some((p.start - start, p.end - start, p.value?))).collect();
        self.known.insert(key, written);
    }

    fn split(&mut self, start: Time, end: Time, group: Option<usize>) {
        let length = end - start;
        let cut = self.inner(start, end);
        // Dotted rests are for compound beats only (common practice).
        let dots = if group.is_some() || self.meter.is_compound() { 1 } else { 0 };
        let whole = value::exact(length, dots);
        let cut = match (whole, cut) {
            (Some(value), Some(cut)) if !self.hides(start, end, cut, group) => {
                self.push(start, end, group, value, None);
                return;
            }
            (Some(value), None) => {
                self.push(start, end, group, value, None);
                return;
            }
            (_, cut) => cut,
        };
        match cut {
            Some(cut) => {
                self.split(start, cut, group);
                self.split(cut, end, group);
            }
            None => self.push(start, end, group, nearest(length), None),
        }
    }

    fn level(&self, at: Time) -> u8 {
        self.meter.level(self.measure.metrical(at))
    }

    /// Whether one value over `cut`, the strongest moment inside, would hide the beat.
    fn hides(&self, start: Time, end: Time, cut: Time, group: Option<usize>) -> bool {
        let (from, inside) = (self.level(start), self.level(cut));
        if self.meter.is_compound() || self.meter.is_odd() {
            // Values go from beat to beat, or stay inside one.
            let crosses = self.is_beat(cut);
            return crosses && !(self.is_beat(start) && self.is_beat(end));
        }
        if group.is_none() {
            return inside < from || (inside == from && from > 0);
        }
        // A plain syncopation (a quarter on the second eighth) is read at sight; anything that hides
        // a moment two levels stronger isn't (common practice).
        inside + 1 < from
    }

    fn is_beat(&self, at: Time) -> bool {
        let metrical = self.measure.metrical(at).rem_floor(self.meter.measure());
        self.beats.contains(&metrical)
    }

    /// The strongest moment strictly inside a stretch; of several the one nearest its middle, the
    /// later one of two.
    fn inner(&self, start: Time, end: Time) -> Option<Time> {
        let off = |at: Time| {
            let off = at + at - start - end;
            if off.is_positive() { off } else { -off }
        };
        let mut best: Option<(u8, Time, Time)> = None;
        let mut at = start;
        while let Some(beat) = self.next_beat_after(at).filter(|b| *b < end) {
            let here = (self.level(beat), off(beat));
            if best.is_none_or(|(level, off, _)| here <= (level, off)) {
                best = Some((here.0, here.1, beat));
            }
            at = beat;
        }
        if best.is_some() {
            return best.map(|b| b.2);
        }
        // Below the beat: the coarsest division that has a moment inside. Twelve halvings reach
        // beyond the shortest value there is.
        let origin = self.measure.start - self.measure.lead;
        let mut step = self.meter.unit();
        for _ in 0..12 {
            let mut at = origin + step * ((start - origin).div_floor(step) + 1);
            let mut found: Option<Time> = None;
            while at < end {
                if found.is_none_or(|f| off(at) <= off(f)) {
                    found = Some(at);
                }
                at += step;
            }
            if found.is_some() {
                return found;
            }
            step = step / 2;
        }
        None
    }

    fn push(
        &mut self,
        start: Time,
        end: Time,
        group: Option<usize>,
        value: Value,
        ratio: Option<(u32, u32)>,
    ) {
        let tuplet = if ratio.is_some() { self.tuplets } else { 0 };
        self.pieces.push(Piece { start, end, group, value: Some(value), ratio, tuplet });
    }
}

/// Whether a stretch is one value of the tuplet that its own length asks for.
fn writes_as_one(raw: &Raw) -> bool {
    let length = raw.end - raw.start;
    let odd = odd_part(length.denominator());
    odd <= MAX_TUPLET
        && value::exact(written(length, (odd as u32, power_below(odd) as u32)), 2).is_some()
}

/// The printed length of a sounding length in a tuplet.
fn written(length: Time, ratio: (u32, u32)) -> Time {
    if ratio.1 == 0 { length } else { length * i64::from(ratio.0) / i64::from(ratio.1) }
}

/// Whether values, tied together, can print this length: a power of two above a 1024th's fraction of
/// a quarter note divides it.
fn fine(length: Time) -> bool {
    power_of_two(length.denominator()) && length.denominator() <= 256
}

/// The value nearest below, for lengths that none has.
fn nearest(length: Time) -> Value {
    value::largest_within(length).unwrap_or(Value {
        name: "1024th",
        dots: 0,
        length: Time::new(1, 256),
    })
}

fn wide(ratio: (u16, u16)) -> (u32, u32) {
    (u32::from(ratio.0), u32::from(ratio.1))
}

fn power_of_two(n: i64) -> bool {
    n > 0 && n & (n - 1) == 0
}

fn odd_part(n: i64) -> i64 {
    if n <= 0 { 1 } else { n >> n.trailing_zeros() }
}

/// The largest power of two below an odd number above 1; 1 for 1.
fn power_below(n: i64) -> i64 {
    if n <= 1 { 1 } else { 1 << (63 - n.leading_zeros()) }
}

/// Least common multiple of two positive numbers, where it fits.
pub(super) fn lcm(a: i64, b: i64) -> Option<i64> {
    let (mut x, mut y) = (a, b);
    while y != 0 {
        (x, y) = (y, x % y);
    }
    if x == 0 { None } else { (a / x).checked_mul(b) }
}
