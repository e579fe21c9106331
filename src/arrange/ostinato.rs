//! The ostinato: a short pattern, repeated, that fills in between melody and drone.
//!
//! The grammar. A cycle is one measure (two to four beats; the whole measure in longer meters).
//! Every beat of it holds one of these figures, as shares of the beat:
//!
//! | figure | undivided or halved beats | beats in three (6/8 and the like) |
//! |---|---|---|
//! | rest | nothing | nothing |
//! | long | one note, the whole beat | one note, the whole beat |
//! | two | two halves | two thirds, then one third |
//! | after | a note on the second half | a note on the last third |
//! | upbeat | a note on the last quarter of the beat, leading to the next | on the last sixth |
//! | heartbeat | a note on the beat, and an upbeat | the same |
//!
//! Each note takes one of at most [`MOST_BARS`] neighbouring bars. The search goes through every
//! combination of figures, and for each finds the best bars by an exact dynamic programme (the cost
//! of a bar depends only on the note and on the bar before it), so the result is the cheapest of the
//! whole grammar; a twin that goes through every melody of the grammar checks that. The cost, for
//! each measure of the section, in the units of [`grind`](super::grind): clashes with the melody and
//! with the drone as they come; [`TOGETHER`] for a note that begins with a melody note;
//! [`FOREIGN`] for a note on a strong beat that is no tone of the chord; the move from bar to bar
//! ([`step`]); [`CROWD`] for each note more or fewer than wanted; [`UNSTEADY`] for a beat whose note
//! comes after it and [`NO_START`] for a cycle that doesn't begin on its first beat (a pattern all
//! off the beat fits the melody best and is the hardest to hold); [`LOOSE_UPBEAT`] for an upbeat
//! that leads to no note.
//!
//! One cycle serves the whole song; a section (phrases of one letter) gets its own only where that
//! saves [`WORTH_A_CHANGE`] of its cost: every change is one more thing to learn.

use super::grind::{Grind, Sounding, against_melody, against_part};
use super::limits::{self, Limits};
use super::rack::{RING_SECONDS, Rack};
use super::request::Level;
use super::song::{Song, Strike, Tick};
use crate::score::{Meter, Midi};

/// A note that begins together with a melody note.
pub(super) const TOGETHER: u32 = 12;
/// A note that begins with a note of the other ostinato.
const TOGETHER_WITH_OTHER: u32 = 4;
/// A note on a beat that doesn't belong to the chord.
const FOREIGN: u32 = 3;
/// Each note more or fewer than wanted, for every measure.
const CROWD: u32 = 5;
/// A beat that is silent itself and has a note after it, for every measure.
const UNSTEADY: u32 = 2;
/// An upbeat with no note on the beat that it leads to, for every measure.
const LOOSE_UPBEAT: u32 = 2;
/// A cycle without a note on its first beat, for every measure.
const NO_START: u32 = 6;
/// A section's own cycle must be cheaper than the song's by this share: one part in four.
const WORTH_A_CHANGE: u32 = 4;
/// A section shorter than this keeps the song's cycle.
const FEWEST_MEASURES: usize = 4;
/// Most bars that the search considers.
pub(super) const MOST_BARS: usize = 6;
/// Most figures' combinations gone through for one cycle: 6 figures on 4 beats.
const MOST_BEATS: usize = 4;

/// A note of a figure: where in its beat it begins and ends, in twelfths of the beat.
type Piece = (i64, i64);

const HALVED: [&[Piece]; 6] =
    [&[], &[(0, 12)], &[(0, 6), (6, 12)], &[(6, 12)], &[(9, 12)], &[(0, 9), (9, 12)]];
const IN_THREE: [&[Piece]; 6] =
    [&[], &[(0, 12)], &[(0, 8), (8, 12)], &[(8, 12)], &[(10, 12)], &[(0, 8), (10, 12)]];
/// The figures of a simpler arrangement: the first ones of the lists.
const SIMPLE_FIGURES: usize = 3;

/// A note of a cycle: offset in the measure, end, and its costs by bar.
#[derive(Clone, Debug)]
pub(super) struct Slot {
    pub(super) at: Tick,
    pub(super) end: Tick,
    /// Cost for each bar of the rack's choice, coincidence included.
    pub(super) costs: Vec<u32>,
}

/// The figures of one beat, each as its slots.
pub(super) type Beat = Vec<Vec<Slot>>;

/// A cycle that was found: for each note its offset, end and bar.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub(super) struct Cycle {
    pub(super) notes: Vec<(Tick, Tick, usize)>,
    pub(super) cost: u32,
}

/// What a move between two bars costs, by their distance in the list of bars: a step or a third is
/// easy to sing and to play, a repeated bar is dull, a wide leap is hard.
pub(super) fn step(a: usize, b: usize) -> u32 {
    match a.abs_diff(b) {
        0 => 2,
        1 | 2 => 0,
        3 => 1,
        n => n as u32,
    }
}

/// What the search is asked for one section.
#[derive(Clone, Debug)]
pub(super) struct Search {
    pub(super) beats: Vec<Beat>,
    pub(super) bars: usize,
    /// Number of measures of the section.
    pub(super) measures: u32,
    /// Fewest and most notes that cost nothing.
    pub(super) wanted: (usize, usize),
    /// Least ticks between two notes, round the cycle too.
    pub(super) gap: Tick,
    /// Length of the cycle.
    pub(super) length: Tick,
    /// Where its beats begin.
    pub(super) starts: Vec<Tick>,
}

/// What a cycle costs in another section (its tables); `None` where its notes aren't in them.
fn price(cycle: &Cycle, ask: &Search) -> Option<u32> {
    let mut figures = Vec::with_capacity(ask.beats.len());
    let mut slots: Vec<&Slot> = Vec::new();
    let ends = ask.starts.iter().copied().skip(1).chain([ask.length]);
    for ((beat, start), end) in ask.beats.iter().zip(&ask.starts).zip(ends) {
        let here: Vec<_> = cycle.notes.iter().filter(|n| (*start..end).contains(&n.0)).collect();
        let figure = beat.iter().position(|f| {
            f.len() == here.len() && f.iter().zip(&here).all(|(s, n)| (s.at, s.end) == (n.0, n.1))
        })?;
        figures.push(figure);
        slots.extend(&beat[figure]);
    }
    let mut cost = rhythm_cost(&slots, &ask.beats, &figures, ask);
    for (slot, note) in slots.iter().zip(&cycle.notes) {
        cost += slot.costs.get(note.2)?;
    }
    for (i, note) in cycle.notes.iter().enumerate() {
        let next = cycle.notes.get(i + 1).or(cycle.notes.first())?;
        cost += step(note.2, next.2) * ask.measures;
    }
    Some(cost)
}

/// The cheapest cycle of the grammar; `None` where nothing fits the gap.
///
/// The combinations are gone through beat by beat, and a branch is left as soon as what it costs at
/// the least (each note on its own cheapest bar, each further beat with its own cheapest figure) is
/// no better than the best cycle found.
pub(super) fn search(ask: &Search) -> Option<Cycle> {
    // What each beat costs at the least, whatever the others hold, and from each beat on.
    let floors: Vec<Vec<u32>> = ask
        .beats
        .iter()
        .zip(&ask.starts)
        .map(|(beat, start)| {
            beat.iter()
                .map(|figure| {
                    let notes: u32 =
                        figure.iter().map(|s| s.costs.iter().min().copied().unwrap_or(0)).sum();
                    notes + beat_cost(figure, *start) * ask.measures
                })
                .collect()
        })
        .collect();
    let mut rest = vec![0u32; floors.len() + 1];
    for i in (0..floors.len()).rev() {
        rest[i] = rest[i + 1] + floors[i].iter().min().copied().unwrap_or(0);
    }
    let order: Vec<Vec<usize>> = floors
        .iter()
        .map(|costs| {
            let mut figures: Vec<usize> = (0..costs.len()).collect();
            figures.sort_by_key(|f| costs[*f]);
            figures
        })
        .collect();
    let mut best = None;
    let mut figures = Vec::with_capacity(floors.len());
    descend(ask, &floors, &rest, &order, &mut figures, 0, &mut best);
    best
}

fn descend(
    ask: &Search,
    floors: &[Vec<u32>],
    rest: &[u32],
    order: &[Vec<usize>],
    figures: &mut Vec<usize>,
    so_far: u32,
    best: &mut Option<Cycle>,
) {
    let depth = figures.len();
    if best.as_ref().is_some_and(|b| so_far + rest[depth] >= b.cost) {
        return;
    }
    let Some(choices) = order.get(depth) else {
        let slots: Vec<&Slot> =
            ask.beats.iter().zip(figures.iter()).flat_map(|(beat, f)| &beat[*f]).collect();
        if !fits(&slots, ask) {
            return;
        }
        let rhythm = rhythm_cost(&slots, &ask.beats, figures, ask);
        let notes: u32 = slots.iter().filter_map(|s| s.costs.iter().min()).sum();
        if best.as_ref().is_some_and(|b| rhythm + notes >= b.cost) {
            return;
        }
        let Some((cost, bars)) = tune(&slots, ask) else { return };
        if best.as_ref().is_none_or(|b| rhythm + cost < b.cost) {
            let notes = slots.iter().zip(bars).map(|(s, b)| (s.at, s.end, b)).collect();
            *best = Some(Cycle { notes, cost: rhythm + cost });
        }
        return;
    };
    for figure in choices {
        figures.push(*figure);
        descend(ask, floors, rest, order, figures, so_far + floors[depth][*figure], best);
        figures.pop();
    }
}

/// What a figure costs in itself: more where its first note comes after the beat.
fn beat_cost(figure: &[Slot], start: Tick) -> u32 {
    if figure.first().is_some_and(|s| s.at != start) { UNSTEADY } else { 0 }
}

/// What a rhythm costs apart from its notes.
pub(super) fn rhythm_cost(slots: &[&Slot], beats: &[Beat], figures: &[usize], ask: &Search) -> u32 {
    let (fewest, most) = ask.wanted;
    let n = slots.len();
    let mut cost = (fewest.saturating_sub(n) + n.saturating_sub(most)) as u32 * CROWD;
    for ((beat, figure), start) in beats.iter().zip(figures).zip(&ask.starts) {
        cost += beat.get(*figure).map_or(0, |f| beat_cost(f, *start));
    }
    if slots.first().is_some_and(|s| s.at != 0) {
        cost += NO_START;
    }
    for (slot, next) in slots.iter().zip(slots.iter().skip(1).chain(slots.first())) {
        // A note in the last quarter of its beat is an upbeat: it leads to a note on the next beat.
        let beat = ask.starts.partition_point(|s| *s <= slot.at);
        let start = ask.starts[beat - 1];
        let end = ask.starts.get(beat).copied().unwrap_or(ask.length);
        if (slot.at - start) * 4 >= (end - start) * 3 && next.at != end % ask.length {
            cost += LOOSE_UPBEAT;
        }
    }
    cost * ask.measures
}

/// Whether a rhythm has a note, two where there are bars to move between, and time between them.
pub(super) fn fits(slots: &[&Slot], ask: &Search) -> bool {
    let Some((first, last)) = slots.first().zip(slots.last()) else { return false };
    // A lone note can't move: two at the least, where there are two bars.
    if slots.len() < 2 && ask.bars > 1 {
        return false;
    }
    slots.windows(2).all(|w| w[1].at - w[0].at >= ask.gap)
        && first.at + ask.length - last.at >= ask.gap
}

/// The best bars for a rhythm: exact, over the bar before, the cycle closed, and not all the same.
fn tune(slots: &[&Slot], ask: &Search) -> Option<(u32, Vec<usize>)> {
    const NEVER: u32 = u32::MAX / 2;
    let n = ask.bars;
    let mut best: Option<(u32, Vec<usize>)> = None;
    for first in 0..n {
        // State: bar of the last note, and whether any bar differed yet.
        let mut costs = vec![[NEVER; 2]; n];
        let mut back: Vec<Vec<[(u8, u8); 2]>> = Vec::with_capacity(slots.len());
        costs[first][0] = *slots.first()?.costs.get(first)?;
        for slot in slots.iter().skip(1) {
            let mut next = vec![[NEVER; 2]; n];
            let mut from = vec![[(0u8, 0u8); 2]; n];
            for (bar, own) in slot.costs.iter().enumerate().take(n) {
                for (before, reached) in costs.iter().enumerate() {
                    for (moved, c) in reached.iter().copied().enumerate() {
                        if c >= NEVER {
                            continue;
                        }
                        let now = usize::from(moved == 1 || bar != before);
                        let cost = c + own + step(before, bar) * ask.measures;
                        if cost < next[bar][now] {
                            next[bar][now] = cost;
                            from[bar][now] = (before as u8, moved as u8);
                        }
                    }
                }
            }
            costs = next;
            back.push(from);
        }
        for (last, reached) in costs.iter().enumerate() {
            for (moved, c) in reached.iter().copied().enumerate() {
                if moved == 0 && n > 1 {
                    continue;
                }
                if c >= NEVER {
                    continue;
                }
                let cost = c + step(last, first) * ask.measures;
                if best.as_ref().is_none_or(|(b, _)| cost < *b) {
                    let mut bars = vec![last];
                    let (mut bar, mut m) = (last, moved);
                    for from in back.iter().rev() {
                        let (b, before) = from[bar][m];
                        (bar, m) = (usize::from(b), usize::from(before));
                        bars.push(bar);
                    }
                    bars.reverse();
                    best = Some((cost, bars));
                }
            }
        }
    }
    best
}

/// The bars that the pattern may use: neighbouring bars of the scale without its fourth and seventh
/// degrees (they rub against root and third), in the middle of the instrument.
fn choice(song: &Song, rack: &Rack, high: bool) -> Vec<Midi> {
    let tonic = song.key.tonic.class();
    let scale = song.key.mode.scale();
    let soft: Vec<i16> = if song.key.mode.has_major_third() {
        vec![scale[0], scale[1], scale[2], scale[4], scale[5]]
    } else {
        vec![scale[0], scale[2], scale[3], scale[4], scale[6]]
    };
    let mut bars: Vec<Midi> =
        rack.bars.iter().copied().filter(|m| soft.contains(&tonic.up_to(m.class()))).collect();
    if bars.len() < 2 {
        bars = rack.bars.clone();
    }
    if bars.len() > MOST_BARS {
        let spare = bars.len() - MOST_BARS;
        // The second ostinato of a pair lies higher on its instrument.
        let from = if high { spare } else { spare / 2 };
        bars = bars[from..from + MOST_BARS].to_vec();
    }
    bars
}

/// A finished ostinato.
#[derive(Clone, Debug, Default)]
pub(super) struct Ostinato {
    pub(super) strikes: Vec<Strike>,
    /// The cycle of each section in note names.
    pub(super) words: String,
    /// Notes left out where they would have ground on a strong beat.
    pub(super) left_out: usize,
}

/// What sounds already.
#[derive(Clone, Copy, Debug)]
pub(super) struct Around<'a> {
    pub(super) drone: Sounding<'a>,
    /// The first ostinato, for the second.
    pub(super) other: &'a [Strike],
}

/// Finds and writes the ostinato, one cycle for each section (phrases of one letter) that asks for
/// its own.
pub(super) fn make(song: &Song, rack: &Rack, limits: Limits, around: Around<'_>) -> Ostinato {
    let bars = choice(song, rack, !around.other.is_empty());
    if bars.is_empty() {
        return Ostinato::default();
    }
    // Measures by section letter and meter.
    let mut sections: Vec<(char, Meter, Vec<usize>)> = Vec::new();
    for (i, measure) in song.score.measures.iter().enumerate() {
        let (start, end) = song.bars[i];
        let is_full = measure.lead.is_zero() && end - start == song.tick(measure.meter.measure());
        let label = label_at(song, start);
        let in_play = start < song.close && (is_full || measure.lead.is_zero());
        if !in_play {
            continue;
        }
        match sections.iter_mut().find(|s| s.0 == label && s.1 == measure.meter) {
            Some(section) => section.2.push(i),
            None => sections.push((label, measure.meter, vec![i])),
        }
    }
    let ring = if rack.rings { song.ticks_of(RING_SECONDS, 0) } else { 0 };
    let mut out = Ostinato::default();
    let mut words: Vec<(char, String)> = Vec::new();
    let tables: Vec<Search> = sections
        .iter()
        .map(|(_, meter, measures)| table(song, &bars, meter, measures, limits, around, ring))
        .collect();
    let mut common: Vec<(Meter, Option<Cycle>)> = Vec::new();
    for ((label, meter, measures), own_table) in sections.iter().zip(&tables) {
        let whole = match common.iter().find(|c| c.0 == *meter) {
            Some(known) => known.1.clone(),
            None => {
                let same = sections.iter().zip(&tables).filter(|(s, _)| s.1 == *meter);
                let cycle = sum(same.map(|(_, t)| t)).and_then(|all| search(&all));
                common.push((*meter, cycle.clone()));
                cycle
            }
        };
        let Some(whole) = whole else { continue };
        let mut cycle = whole;
        let alone = sections.iter().filter(|s| s.1 == *meter).count() < 2;
        if !alone
            && measures.len() >= FEWEST_MEASURES
            && let (Some(own), Some(shared)) = (search(own_table), price(&cycle, own_table))
            && shared > own.cost + shared / WORTH_A_CHANGE
        {
            cycle = own;
        }
        let names: Vec<String> = cycle
            .notes
            .iter()
            .filter_map(|n| bars.get(n.2))
            .map(|m| super::song::name_in(song.key, m.class()).to_string())
            .collect();
        words.push((*label, names.join(" ")));
        for m in measures {
            let (start, end) = song.bars[*m];
            for (at, to, bar) in &cycle.notes {
                let Some(midi) = bars.get(*bar) else { continue };
                let (at, to) = (start + at, (start + to).min(end).min(song.close));
                if at >= end || at >= song.close {
                    continue;
                }
                if grinds(song, at, to.max(at + ring), *midi) {
                    out.left_out += 1;
                    continue;
                }
                out.strikes.push(Strike::new(at, to, *midi));
            }
        }
    }
    out.strikes.sort_by_key(|s| (s.at, s.midi));
    if let Some(last) = out.strikes.last_mut() {
        last.end = song.close;
    }
    let same = words.iter().all(|w| words.first().is_some_and(|f| f.1 == w.1));
    out.words = match words.first() {
        Some(first) if same => first.1.clone(),
        _ => words.iter().map(|(l, w)| format!("{l}: {w}")).collect::<Vec<_>>().join("; "),
    };
    out
}

/// Thins a pattern that is too quick for its player, and keeps it moving: where only one pitch would
/// be left, every second note takes the next other pitch of the full pattern.
pub(super) fn thin(song: &Song, rack: &Rack, made: &mut Ostinato, gap: f64) -> Option<String> {
    let full = made.strikes.clone();
    let done = limits::thin(song, &mut made.strikes, gap);
    let ring = if rack.rings { song.ticks_of(RING_SECONDS, 0) } else { 0 };
    let one = made.strikes.first().map(|s| s.midi)?;
    if made.strikes.len() < 2 || made.strikes.iter().any(|s| s.midi != one) {
        return done;
    }
    let mut others: Vec<Midi> = full.iter().map(|s| s.midi).filter(|m| *m != one).collect();
    others.extend(rack.bars.iter().copied().filter(|m| (*m - one).semitones().abs() <= 5));
    others.retain(|m| *m != one);
    // In pairs (A B B A), so that two players who take turns don't get one pitch each.
    for (i, strike) in made.strikes.iter_mut().enumerate() {
        if i.div_ceil(2) % 2 == 0 {
            continue;
        }
        let end = strike.end.max(strike.at + ring);
        if let Some(other) = others.iter().find(|m| !grinds(song, strike.at, end, **m)) {
            strike.midi = *other;
        }
    }
    done
}

/// Whether a note would be a semitone, major seventh or tritone from the melody on a strong beat.
fn grinds(song: &Song, from: Tick, to: Tick, midi: Midi) -> bool {
    let s = song.strong.partition_point(|t| *t < from);
    song.strong
        .iter()
        .skip(s)
        .take_while(|t| **t < to)
        .any(|t| song.melody_at(*t).is_some_and(|n| (n.midi - midi).is_harsh()))
}

fn label_at(song: &Song, at: Tick) -> char {
    let i = song.phrases.partition_point(|p| p.0 <= at).saturating_sub(1);
    song.labels.get(i).copied().unwrap_or('a')
}

/// The tables of several sections of one meter as one.
fn sum<'a>(mut tables: impl Iterator<Item = &'a Search>) -> Option<Search> {
    let mut all = tables.next()?.clone();
    for table in tables {
        all.measures += table.measures;
        let slots = all.beats.iter_mut().flatten().flatten();
        for (slot, other) in slots.zip(table.beats.iter().flatten().flatten()) {
            for (cost, more) in slot.costs.iter_mut().zip(&other.costs) {
                *cost += more;
            }
        }
    }
    Some(all)
}

/// The costs of every slot of the grammar for one section.
fn table(
    song: &Song,
    bars: &[Midi],
    meter: &Meter,
    measures: &[usize],
    limits: Limits,
    around: Around<'_>,
    ring: Tick,
) -> Search {
    let mut starts: Vec<Tick> = meter.beats().iter().map(|b| song.tick(*b)).collect();
    let length = song.tick(meter.measure());
    let unit = song.tick(meter.unit());
    // Meters of more beats: the figures fall on every second one.
    while starts.len() > MOST_BEATS {
        starts = starts.into_iter().step_by(2).collect();
    }
    let ends: Vec<Tick> = starts.iter().copied().skip(1).chain([length]).collect();
    let beats: Vec<Beat> = starts
        .iter()
        .zip(&ends)
        .map(|(start, end)| {
            let beat = end - start;
            let in_three = beat == 3 * unit;
            let figures = if in_three { IN_THREE } else { HALVED };
            figures
                .iter()
                .enumerate()
                .filter(|(i, pieces)| {
                    let whole =
                        pieces.iter().all(|(a, b)| beat * a % 12 == 0 && beat * b % 12 == 0);
                    whole && (limits.level != Level::Simpler || *i < SIMPLE_FIGURES)
                })
                .map(|(_, pieces)| {
                    pieces
                        .iter()
                        .map(|(a, b)| {
                            let span = (start + beat * a / 12, start + beat * b / 12);
                            slot(song, bars, measures, span, around, ring)
                        })
                        .collect()
                })
                .collect()
        })
        .collect();
    let n = starts.len();
    let wanted = match limits.level {
        Level::Simpler => (2, 2),
        Level::Normal => (2, (n + 1).clamp(3, 4)),
        Level::Fuller => (n + 1, n + 2),
    };
    Search {
        beats,
        bars: bars.len(),
        measures: measures.len() as u32,
        wanted,
        // Where a measure is too short for two of the player's strikes, the pattern is thinned over
        // several measures afterwards.
        gap: match song.ticks_of(limits.gap, 0) + 1 {
            gap if 2 * gap > length => 1,
            gap => gap,
        },
        length,
        starts,
    }
}

/// One slot's costs over all measures of the section.
fn slot(
    song: &Song,
    bars: &[Midi],
    measures: &[usize],
    (from, to): (Tick, Tick),
    around: Around<'_>,
    ring: Tick,
) -> Slot {
    let mut costs = vec![0u32; bars.len()];
    for m in measures {
        let Some((start, end)) = song.bars.get(*m).copied() else { continue };
        let (at, until) = (start + from, (start + to).min(end));
        if at >= end {
            continue;
        }
        let mut grind: Grind = against_melody(song, at, until.max(at + ring));
        grind.add(&against_part(song, &around.drone, at, until));
        let mut both = 0;
        if song.melody.binary_search_by_key(&at, |n| n.at).is_ok() {
            both += TOGETHER;
        }
        if !around.other.is_empty() && around.other.binary_search_by_key(&at, |n| n.at).is_ok() {
            both += TOGETHER_WITH_OTHER;
        }
        let chord = song.chord_at(at).filter(|_| song.strong.binary_search(&at).is_ok());
        for (cost, bar) in costs.iter_mut().zip(bars) {
            let foreign = chord.is_some_and(|c| !c.classes.contains(&bar.class()));
            *cost += grind.of(*bar) + both + if foreign { FOREIGN } else { 0 };
        }
    }
    Slot { at: from, end: to, costs }
}

#[cfg(test)]
mod tests;
