//! Fewer bars: the exact trade-off between the number of notes in use and how much of a tune stays.

use super::{ChangedNote, Harmony, PitchSet, SmallerSet};
use crate::score::{Line, Midi, NoteName, Pitch, PitchClass, Score};

/// A note on one of the two strongest metrical levels may move up to a fifth to stay in the tune, any
/// other up to a major third; beyond that it becomes a rest: an offbeat is better left out than leapt
/// to. Semitones; ours, not tuned.
const STRONG_LEVEL: u8 = 1;
/// See [`STRONG_LEVEL`].
const FAR: i16 = 7;
/// See [`STRONG_LEVEL`].
const NEAR: i16 = 4;

/// For every number of pitch classes below the tune's own, down to one, the classes that keep the
/// most of its metrical and durational weight ([`PitchUse::weight`](super::PitchUse::weight)), and
/// what the other notes become.
///
/// The weights of notes kept add up class by class, so the heaviest classes are the best set of each
/// size: exact, and a test tries every subset against it. Of equal weights, the class earlier in
/// `set.classes` stays. A note changes to the nearest pitch of the set (within a few semitones, and
/// within the tune's own compass) that belongs to the harmony of its moment, else to a rest.
pub fn smaller_sets(
    score: &Score,
    line: &Line,
    set: &PitchSet,
    harmony: &[Harmony],
) -> Vec<SmallerSet> {
    let Some((low, high)) = set.lowest.zip(set.highest) else { return Vec::new() };
    let mut weights = [0.0f64; 12];
    for used in &set.pitches {
        weights[used.pitch.class().index()] += used.weight;
    }
    let mut order: Vec<(usize, NoteName)> = set.classes.iter().copied().enumerate().collect();
    order.sort_by(|a, b| {
        let weight = |n: &NoteName| weights[n.class().index()];
        weight(&b.1).total_cmp(&weight(&a.1)).then(a.0.cmp(&b.0))
    });
    let rooms = rooms(score, line, harmony);
    let mut sets = Vec::with_capacity(order.len().saturating_sub(1));
    for size in (1..order.len()).rev() {
        let mut kept: Vec<(usize, NoteName)> = order[..size].to_vec();
        kept.sort_by_key(|k| k.0);
        let mask = kept.iter().fold(0u16, |m, k| m | 1 << k.1.class().number());
        let ends = (low.midi().number(), high.midi().number());
        sets.push(SmallerSet {
            classes: kept.iter().map(|k| k.1).collect(),
            changed: changes(line, &rooms, mask, &kept, ends),
            kept_weight: kept.iter().map(|k| weights[k.1.class().index()]).sum::<f64>().min(1.0),
        });
    }
    sets
}

/// What one note may become: semitones it may move, and the classes of its moment's chord as a mask
/// (all twelve where there is no chord).
struct Room {
    reach: i16,
    chord: u16,
}

fn rooms(score: &Score, line: &Line, harmony: &[Harmony]) -> Vec<Room> {
    const ALL: u16 = 0xFFF;
    let mut next = harmony.iter().peekable();
    let mut chord = ALL;
    line.notes
        .iter()
        .map(|note| {
            while let Some(now) = next.next_if(|h| h.at <= note.onset) {
                chord = now.chord.classes().iter().fold(0, |m, c| m | 1 << c.number());
            }
            let reach = if score.level(note.onset) <= STRONG_LEVEL { FAR } else { NEAR };
            Room { reach, chord: if chord == 0 { ALL } else { chord } }
        })
        .collect()
}

fn changes(
    line: &Line,
    rooms: &[Room],
    mask: u16,
    kept: &[(usize, NoteName)],
    (low, high): (i16, i16),
) -> Vec<ChangedNote> {
    let has = |mask: u16, n: i16| mask >> PitchClass::new(n).number() & 1 == 1;
    let mut changed = Vec::new();
    let mut before: Option<i16> = None;
    for (i, (note, room)) in line.notes.iter().zip(rooms).enumerate() {
        let own = note.midi().number();
        if has(mask, own) {
            before = Some(own);
            continue;
        }
        let to = (low.max(own - room.reach)..=high.min(own + room.reach))
            .filter(|n| has(mask & room.chord, *n))
            .min_by_key(|n| ((n - own).abs(), before.map_or(0, |b| (n - b).abs()), *n));
        before = to.or(before);
        let pitch = to.and_then(|n| {
            let name = kept.iter().find(|k| k.1.class() == PitchClass::new(n))?.1;
            Pitch::with_name(Midi::new(n), name)
        });
        changed.push(ChangedNote { note: i, to: pitch });
    }
    changed
}
