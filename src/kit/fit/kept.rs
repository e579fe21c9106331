//! When not every pitch has a bar, or fewer bars are wanted: which to keep, and what the others
//! become.

use super::rack::{Rack, Song, Sung};
use super::search::{Candidate, Plan, Room};
use super::terms::Terms;
use crate::analysis::{Analysis, ChangedNote};
use crate::kit::bar::BarSet;
use crate::score::{Interval, Key, Line, Midi, Pitch, Score};

/// What bounds the choice.
#[derive(Clone, Copy)]
pub(super) struct Bounds {
    /// Most bars.
    pub(super) bars: Option<usize>,
    /// Most notes changed.
    pub(super) changed: Option<usize>,
}

/// A pitch that could be kept: its slot, its bar, what moving that bar costs.
struct Choice {
    slot: usize,
    sounding: Midi,
    sung: Sung,
    dear: f64,
}

/// For every instrument the cheapest octave, each with the bars that keep the most of the tune.
pub(super) fn all(
    room: &Room<'_>,
    song: &Song,
    t: i16,
    base: Terms,
    bounds: Bounds,
    found: &mut Vec<Candidate>,
) {
    let own = song.classes(t);
    for rack in &room.racks {
        let mut best: Option<Candidate> = None;
        for octave in Room::OCTAVES {
            let shift = t + 12 * i16::from(octave);
            if !song.set.is_empty() && rack.bars.shifted(-shift).intersection(song.set).is_empty() {
                continue;
            }
            let Some((kept, weight)) = keep(room, rack, song, shift, own, bounds) else { continue };
            let mut terms = Room::place(rack, octave, base);
            (terms.swapped, terms.off) = rack.moved(kept, own, bounds.bars.is_some());
            let lost = (song.total - weight) as f64 / song.total as f64;
            terms.changed = lost * song.notes.len() as f64;
            room.keep_best(&mut best, t, terms, || Plan::Kept {
                rack: rack.instrument,
                octave,
                kept,
            });
        }
        found.extend(best);
    }
}

/// The bars that keep the most weight, of equals those that are cheapest to put up; `None` where none
/// can be kept or the bounds can't be met.
///
/// Each slot shows one bar, so the heaviest pitch of each slot and then the heaviest slots are best:
/// exact, since the weights add up. Only where that changes too many notes are bars weighed against
/// counts, by dynamic programming over (bars, notes kept).
fn keep(
    room: &Room<'_>,
    rack: &Rack,
    song: &Song,
    shift: i16,
    own: BarSet,
    bounds: Bounds,
) -> Option<(BarSet, u64)> {
    let mut choices: Vec<Choice> = Vec::with_capacity(song.pitches.len());
    for sung in &song.pitches {
        let midi = sung.midi + shift;
        let Some(slot) = rack.slot_of(midi) else { continue };
        let sounding = Midi::new(midi);
        choices.push(Choice {
            slot,
            sounding,
            sung: *sung,
            dear: dear(room, rack, sounding, own, bounds),
        });
    }
    let limit = bounds.bars.unwrap_or(usize::MAX);
    let needed = song.notes.len() - bounds.changed.unwrap_or(usize::MAX).min(song.notes.len());
    let by_weight = greedy(&choices, limit, |c| c.sung.weight);
    let count = |picked: &[usize]| picked.iter().map(|i| choices[*i].sung.count).sum::<usize>();
    let picked = if count(&by_weight) >= needed {
        by_weight
    } else if count(&greedy(&choices, limit, |c| c.sung.count as u64)) < needed {
        return None;
    } else {
        counted(&choices, limit, needed)?
    };
    if picked.is_empty() {
        return None;
    }
    let kept = picked.iter().map(|i| choices[*i].sounding).collect();
    Some((kept, picked.iter().map(|i| choices[*i].sung.weight).sum()))
}

/// What putting up one bar adds to the cost, the bars that come off anyway taken into account.
fn dear(room: &Room<'_>, rack: &Rack, bar: Midi, own: BarSet, bounds: Bounds) -> f64 {
    let natural = |m: &Midi| match bounds.bars {
        Some(_) => room.weights.bar_off,
        None if own.contains(*m) => 0.0,
        None => room.weights.bar_off,
    };
    if rack.plain.contains(bar) {
        return -natural(&bar);
    }
    let gone = rack.gives_way.iter().find(|g| g.0 == bar).and_then(|g| g.1);
    room.weights.bar_swapped - gone.as_ref().map_or(0.0, natural)
}

/// The heaviest choice of each slot, then the heaviest slots.
fn greedy(choices: &[Choice], limit: usize, weight: impl Fn(&Choice) -> u64) -> Vec<usize> {
    let mut order: Vec<usize> = (0..choices.len()).collect();
    order.sort_by(|a, b| {
        let (a, b) = (&choices[*a], &choices[*b]);
        weight(b).cmp(&weight(a)).then(a.dear.total_cmp(&b.dear))
    });
    let mut slots = Vec::new();
    order.retain(|i| {
        let new = !slots.contains(&choices[*i].slot);
        if new {
            slots.push(choices[*i].slot);
        }
        new
    });
    order.truncate(limit);
    order
}

/// The most weight with at most `limit` bars, one to a slot, that keep at least `needed` notes.
fn counted(choices: &[Choice], limit: usize, needed: usize) -> Option<Vec<usize>> {
    let mut slots: Vec<usize> = choices.iter().map(|c| c.slot).collect();
    slots.sort_unstable();
    slots.dedup();
    let limit = limit.min(slots.len());
    // best[bars][notes kept, at most `needed`] = (weight, dearness, the bars).
    type Best = Option<(u64, f64, Vec<usize>)>;
    let mut best: Vec<Vec<Best>> = vec![vec![None; needed + 1]; limit + 1];
    best[0][0] = Some((0, 0.0, Vec::new()));
    for slot in slots {
        for bars in (0..limit).rev() {
            for kept in (0..=needed).rev() {
                let Some((weight, dear, list)) = best[bars][kept].clone() else { continue };
                for (i, choice) in choices.iter().enumerate().filter(|(_, c)| c.slot == slot) {
                    let to = (kept + choice.sung.count).min(needed);
                    let (w, d) = (weight + choice.sung.weight, dear + choice.dear);
                    let place = &mut best[bars + 1][to];
                    let better =
                        place.as_ref().is_none_or(|(pw, pd, _)| w > *pw || (w == *pw && d < *pd));
                    if better {
                        let mut list = list.clone();
                        list.push(i);
                        *place = Some((w, d, list));
                    }
                }
            }
        }
    }
    best.into_iter()
        .filter_map(|row| row.into_iter().nth(needed).flatten())
        .max_by(|a, b| a.0.cmp(&b.0).then(b.1.total_cmp(&a.1)))
        .map(|b| b.2)
}

/// What the notes without a bar become, by the song's own pitches: the nearest kept bar that belongs
/// to the harmony of the moment, or a rest.
///
/// On a strong beat a bar up to a fifth away will do, elsewhere up to a third: an offbeat is better
/// left out than leapt to. Of two equally near, the one nearer to the note before. The distances are
/// ours, not tuned.
pub(super) fn changes(
    score: &Score,
    line: &Line,
    analysis: &Analysis,
    key: Key,
    kept: BarSet,
    shift: i16,
) -> Vec<ChangedNote> {
    const STRONG: u8 = 1;
    const FAR: i16 = 7;
    const NEAR: i16 = 4;
    let mut changed = Vec::new();
    let mut before: Option<i16> = None;
    for (i, note) in line.notes.iter().enumerate() {
        let own = note.midi().number();
        if kept.contains(Midi::new(own + shift)) {
            before = Some(own);
            continue;
        }
        let reach = if score.level(note.onset) <= STRONG { FAR } else { NEAR };
        let chord = analysis
            .harmony
            .iter()
            .take_while(|h| h.at <= note.onset)
            .last()
            .map(|h| h.chord.classes())
            .unwrap_or_else(|| [0, 2, 4].map(|d| key.scale()[d].class()).to_vec());
        let to = kept
            .iter()
            .map(|m| m.number() - shift)
            .filter(|m| (m - own).abs() <= reach && chord.contains(&Midi::new(*m).class()))
            .min_by_key(|m| ((m - own).abs(), before.map_or(0, |b| (m - b).abs()), *m));
        before = to.or(before);
        changed.push(ChangedNote {
            note: i,
            to: to.map(|m| Pitch::spelled(Midi::new(m), key.fifths())),
        });
    }
    changed
}

/// The pitches of the moved song that no bar gives, low to high.
pub(super) fn missing(song: &Song, t: i16, octave: i8, kept: BarSet, key: Key) -> Vec<Pitch> {
    let by = Interval::octaves(octave);
    song.pitches
        .iter()
        .map(|p| Midi::new(p.midi + t))
        .filter(|m| !kept.contains(*m + by))
        .map(|m| Pitch::spelled(m, key.fifths()))
        .collect()
}
