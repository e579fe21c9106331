//! What every note of the ostinato's grammar costs in a section of the song.

use super::super::grind::{Grind, against_melody, against_part};
use super::super::limits::Limits;
use super::super::request::Level;
use super::super::song::{Song, Tick};
use super::search::{Beat, Search, Slot};
use super::{Around, Place, measures_of};
use crate::score::{Meter, Midi};

/// A note that begins together with a melody note.
const TOGETHER: u32 = 36;
/// A note that begins with a note of the other ostinato.
const TOGETHER_WITH_OTHER: u32 = 12;
/// A note on a beat that doesn't belong to the chord.
const FOREIGN: u32 = 8;
/// A cycle without a note on its first beat, in the first ostinato and in another one.
const NO_START: [u32; 2] = [50, 0];
/// A beat that is silent itself and has a note after it.
const UNSTEADY: u32 = 2;
/// An upbeat this close to its beat or closer, in seconds, is played only as a stroke before the beat's
/// own, hand after hand: alone it can't be placed in a group. Common practice, no source.
const ALONE_SECONDS: f64 = 0.15;
/// For a player of known speed an upbeat alone lasts at least this share of the least time between two
/// of the player's strokes: one part in so many. Common practice, no source.
const ALONE_SHARE: f64 = 4.0;
/// The shortest time between such a stroke and its beat's, and between any two notes where nothing is
/// known of the player. Common practice, no source.
const SHORTEST_SECONDS: f64 = 0.08;
/// An upbeat with no note on the beat that it leads to, for every time; and one that is too short for it.
const LOOSE_UPBEAT: [u32; 2] = [6, 200];
/// Most beats of a cycle: every combination of six figures on five beats, or eight on four, is gone through.
const MOST_BEATS: usize = 5;

/// A note of a figure: where in its beat it begins and ends, in twelfths of the beat.
type Piece = (i64, i64);

/// The pieces of a figure.
type Figure = &'static [Piece];

pub(super) const HALVED: &[Figure] =
    &[&[], &[(0, 12)], &[(0, 6), (6, 12)], &[(6, 12)], &[(9, 12)], &[(0, 9), (9, 12)]];
const IN_THREE: &[Figure] = &[
    &[],
    &[(0, 12)],
    &[(0, 8), (8, 12)],
    &[(8, 12)],
    &[(10, 12)],
    &[(0, 8), (10, 12)],
    &[(4, 12)],
    &[(0, 4), (4, 12)],
];
/// Different notes of a beat in the longer list.
const OWN_NOTES: usize = 6;
/// The figures of a simpler arrangement: the first ones of the lists.
const SIMPLE_FIGURES: usize = 3;

/// The tables of several sections of one meter as one.
pub(super) fn sum<'a>(mut tables: impl Iterator<Item = &'a Search>) -> Option<Search> {
    let mut all = tables.next()?.clone();
    for table in tables {
        all.times += table.times;
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
pub(super) fn table(
    song: &Song,
    bars: &[Midi],
    meter: &Meter,
    places: &[Place],
    limits: Limits,
    around: Around<'_>,
    ring: Tick,
) -> Search {
    // Meters of more beats: the figures fall on their strong ones.
    let mut beats = meter.beats();
    if beats.len() > MOST_BEATS {
        beats = meter.strong_beats();
        beats.truncate(MOST_BEATS);
    }
    let measure = song.tick(meter.measure());
    let count = measures_of(meter) as i64;
    let starts: Vec<Tick> =
        (0..count).flat_map(|m| beats.iter().map(move |b| m * measure + song.tick(*b))).collect();
    let length = count * measure;
    let unit = song.tick(meter.unit());
    let shortest = song.ticks_of(SHORTEST_SECONDS, 0);
    let ends: Vec<Tick> = starts.iter().copied().skip(1).chain([length]).collect();
    // Several figures share a note: its costs are counted once.
    let mut known: Vec<Slot> = Vec::with_capacity(OWN_NOTES * starts.len());
    let mut slot = |from: Tick, to: Tick, on_beat: bool| match known
        .iter()
        .rfind(|s| (s.at, s.end) == (from, to))
    {
        Some(slot) => slot.clone(),
        None => {
            let made = slot(song, bars, places, (from, to, on_beat), around, ring);
            known.push(made.clone());
            made
        }
    };
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
                    let quick = pieces.iter().any(|(a, b)| beat * (b - a) < 12 * shortest);
                    whole && !quick && (limits.level != Level::Simpler || *i < SIMPLE_FIGURES)
                })
                .map(|(_, pieces)| {
                    pieces
                        .iter()
                        .map(|(a, b)| slot(start + beat * a / 12, start + beat * b / 12, *a == 0))
                        .collect()
                })
                .collect()
        })
        .collect();
    let n = meter.beats().len() * count as usize;
    let wanted = match limits.level {
        Level::Simpler => (2, 2),
        Level::Normal => (n.clamp(2, 3), (n + 1).clamp(3, 4)),
        Level::Fuller => (n + 1, n + 2),
    };
    let answers = usize::from(!around.other.is_empty());
    let gap = if limits.gap > 0.0 { limits.gap } else { SHORTEST_SECONDS };
    // The shortest of the figures' upbeats: a quarter or a sixth of the beat.
    let upbeat = |length: Tick| if length == 3 * unit { length / 6 } else { length / 4 };
    let quickest = starts.iter().zip(&ends).map(|(from, to)| upbeat(to - from)).min();
    let alone = song.ticks_of(ALONE_SECONDS.max(limits.gap / ALONE_SHARE), 0);
    Search {
        beats,
        bars: bars.len(),
        times: places.len() as u32,
        wanted,
        // Where a cycle is too short for two of the player's strikes, the pattern is thinned over
        // several measures afterwards.
        gap: match song.ticks_of(gap, 0) + 1 {
            gap if 2 * gap > length => 1,
            gap => gap,
        },
        length,
        starts,
        no_start: NO_START[answers],
        loose_upbeat: LOOSE_UPBEAT[usize::from(quickest.is_some_and(|u| u < alone))],
        unsteady: UNSTEADY,
    }
}

/// One slot's costs over all measures of the section.
fn slot(
    song: &Song,
    bars: &[Midi],
    places: &[Place],
    (from, to, on_beat): (Tick, Tick, bool),
    around: Around<'_>,
    ring: Tick,
) -> Slot {
    let mut costs = vec![0u32; bars.len()];
    for (start, end) in places {
        let (at, until) = (start + from, (start + to).min(*end));
        if at >= *end {
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
        let chord = if on_beat { song.ground(at) } else { &[] };
        for (cost, bar) in costs.iter_mut().zip(bars) {
            let foreign = on_beat && !chord.contains(&bar.class());
            *cost += grind.of(*bar) + both + if foreign { FOREIGN } else { 0 };
        }
    }
    Slot { at: from, end: to, costs }
}
