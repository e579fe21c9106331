//! Melodies that no single set-up carries: shared by two instruments, or with bars moved on the way.

use super::rack::{Rack, Song};
use super::search::{Candidate, Plan, Room};
use super::terms::Terms;
use crate::kit::bar::BarSet;
use crate::score::Midi;

/// Two instruments by turns.
///
/// For one transposition and every pair of instruments and octaves, exactly: every choice of bar for
/// the slots where a spare is wanted is tried, and for each the cheapest sequence of hand-overs is
/// found by dynamic programming over the notes. Choices whose bars alone cost as much as the best
/// way found so far are passed over.
pub(super) fn shared(room: &Room<'_>, song: &Song, t: i16, base: Terms) -> Option<Candidate> {
    let own = song.classes(t);
    let mut best: Option<Candidate> = None;
    for (i, a) in room.racks.iter().enumerate() {
        let places_a = places(a, song, t);
        for b in &room.racks[i + 1..] {
            for (octave_a, reach_a) in &places_a {
                for (octave_b, reach_b) in places(b, song, t) {
                    if reach_a.union(reach_b) != song.set {
                        continue;
                    }
                    let mut terms = base;
                    terms.carrier = a.carrier + b.carrier;
                    terms.octaves = octaves(a, *octave_a) + octaves(b, octave_b);
                    pair(room, song, own, t, (a, b), (*octave_a, octave_b), terms, &mut best);
                }
            }
        }
    }
    best
}

fn octaves(rack: &Rack, octave: i8) -> usize {
    usize::from(rack.octave_shift.abs_diff(octave))
}

/// The octaves at which an instrument has any bar of the song, with the song's pitches (at the
/// song's own height) that it has there.
fn places(rack: &Rack, song: &Song, t: i16) -> Vec<(i8, BarSet)> {
    Room::OCTAVES
        .filter_map(|o| {
            let shift = t + 12 * i16::from(o);
            let reach: BarSet = song
                .pitches
                .iter()
                .filter(|p| rack.slot_of(p.midi + shift).is_some())
                .map(|p| Midi::new(p.midi))
                .collect();
            (!reach.is_empty()).then_some((o, reach))
        })
        .collect()
}

/// Every set of song pitches that an instrument can hold at once, apart from sets that another one
/// contains without more bars put in: for each slot with a spare the song wants, one bar or none.
fn holdings(rack: &Rack, song: &Song, shift: i16) -> Vec<BarSet> {
    let mut by_slot: Vec<(usize, Vec<(Midi, bool)>)> = Vec::new();
    for pitch in &song.pitches {
        let sounding = pitch.midi + shift;
        let Some(slot) = rack.slot_of(sounding) else { continue };
        let entry = (Midi::new(pitch.midi), rack.plain.contains(Midi::new(sounding)));
        match by_slot.iter_mut().find(|s| s.0 == slot) {
            Some((_, bars)) => bars.push(entry),
            None => by_slot.push((slot, vec![entry])),
        }
    }
    let mut sets = vec![BarSet::EMPTY];
    for (_, bars) in by_slot {
        // A plain bar that stands anyway costs nothing: leaving its slot empty gains nothing.
        let empty = bars.iter().all(|(_, plain)| !plain);
        let mut more = Vec::with_capacity(sets.len() * (bars.len() + usize::from(empty)));
        for set in &sets {
            for (bar, _) in &bars {
                let mut with = *set;
                with.insert(*bar);
                more.push(with);
            }
            if empty {
                more.push(*set);
            }
        }
        sets = more;
    }
    sets
}

fn sounding(set: BarSet, shift: i16) -> BarSet {
    set.iter().map(|m| Midi::new(m.number() + shift)).collect()
}

#[allow(clippy::too_many_arguments, reason = "one search step of a single caller")]
fn pair(
    room: &Room<'_>,
    song: &Song,
    own: BarSet,
    t: i16,
    (a, b): (&Rack, &Rack),
    octaves: (i8, i8),
    terms: Terms,
    best: &mut Option<Candidate>,
) {
    let shifts = (t + 12 * i16::from(octaves.0), t + 12 * i16::from(octaves.1));
    let sets_b = holdings(b, song, shifts.1);
    for set_a in holdings(a, song, shifts.0) {
        for set_b in &sets_b {
            if set_a.union(*set_b) != song.set {
                continue;
            }
            let mut terms = terms;
            let mut count = |rack: &Rack, set: BarSet, shift| {
                let (swapped, off) = rack.moved(sounding(set, shift), own, false);
                terms.swapped += swapped;
                terms.off += off;
            };
            count(a, set_a, shifts.0);
            count(b, *set_b, shifts.1);
            let bound = best.as_ref().map_or(f64::INFINITY, |c| c.cost);
            if terms.cost(room.weights) >= bound {
                continue;
            }
            let turns = turns(room, song, set_a, *set_b);
            for turn in turns.iter().skip(1) {
                match song.phrases.binary_search(&turn.0) {
                    Ok(_) => terms.hand_overs += 1,
                    Err(_) => terms.hand_overs_inside += 1,
                }
            }
            let cost = terms.cost(room.weights);
            if cost < bound {
                let racks = (a.instrument, b.instrument);
                let sets = (sounding(set_a, shifts.0), sounding(*set_b, shifts.1));
                *best = Some(Candidate {
                    t,
                    terms,
                    cost,
                    plan: Plan::Shared { racks, octaves, turns, sets },
                });
            }
        }
    }
}

/// The cheapest turns: from which note on who plays (`false`: the first instrument).
fn turns(room: &Room<'_>, song: &Song, a: BarSet, b: BarSet) -> Vec<(usize, bool)> {
    let n = song.notes.len();
    // From each note to the end: the cost with either instrument on that note.
    let mut rest = [0.0f64; 2];
    let mut stays = vec![[true; 2]; n];
    let price = |i: usize| match song.phrases.binary_search(&i) {
        Ok(_) => room.weights.hand_over,
        Err(_) => room.weights.hand_over_inside,
    };
    for i in (0..n).rev() {
        let midi = Midi::new(song.notes[i]);
        let next = rest;
        for (who, set) in [a, b].into_iter().enumerate() {
            if !set.contains(midi) {
                rest[who] = f64::INFINITY;
                continue;
            }
            if i + 1 == n {
                rest[who] = 0.0;
                continue;
            }
            let over = next[1 - who] + price(i + 1);
            stays[i][who] = next[who] <= over;
            rest[who] = next[who].min(over);
        }
    }
    let mut who = usize::from(rest[1] < rest[0]);
    let mut turns = Vec::new();
    for (i, stay) in stays.iter().enumerate() {
        if turns.last().is_none_or(|(_, last)| *last != (who == 1)) {
            turns.push((i, who == 1));
        }
        if !stay[who] {
            who = 1 - who;
        }
    }
    turns
}

/// One instrument whose bars are moved at phrase ends.
///
/// Each slot shows the bar that it needs next; a slot changes only when the other bar is needed, so
/// the number of bars moved is the same wherever the changes are made, and making each as late as
/// possible gives the fewest changes (a set that can stand stays so when bars are left out, so the
/// longest first stretch is never worse).
pub(super) fn switched(
    song: &Song,
    rack: &Rack,
    shift: i16,
) -> Option<(usize, Vec<(usize, BarSet)>)> {
    let all = song.moved(shift)?;
    if !all.is_subset(rack.bars) {
        return None;
    }
    let mut runs: Vec<(usize, BarSet)> = Vec::new();
    let mut moved = 0;
    let mut last: Vec<(usize, i16)> = Vec::new();
    let ends = song.phrases.iter().skip(1).copied().chain([song.notes.len()]);
    for (from, to) in song.phrases.iter().copied().zip(ends) {
        let phrase: BarSet = song.notes[from..to].iter().map(|m| Midi::new(m + shift)).collect();
        if !rack.holds(phrase) {
            return None;
        }
        for midi in phrase.iter() {
            let Some(slot) = rack.slot_of(midi.number()) else { continue };
            match last.iter_mut().find(|l| l.0 == slot) {
                Some((_, bar)) if *bar == midi.number() => {}
                Some((_, bar)) => {
                    *bar = midi.number();
                    moved += 1;
                }
                None => last.push((slot, midi.number())),
            }
        }
        match runs.last_mut() {
            Some((_, set)) if rack.holds(set.union(phrase)) => *set = set.union(phrase),
            _ => runs.push((from, phrase)),
        }
    }
    Some((moved, runs))
}

/// The bars that stand at the start: for each slot the first one needed.
pub(super) fn first_bars(rack: &Rack, runs: &[(usize, BarSet)]) -> BarSet {
    let mut first = BarSet::EMPTY;
    for (_, set) in runs {
        for midi in set.iter() {
            let mut with = first;
            with.insert(midi);
            if rack.holds(with) {
                first = with;
            }
        }
    }
    first
}
