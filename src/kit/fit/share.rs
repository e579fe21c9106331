//! Melodies that no single set-up carries: shared by two instruments, or with bars moved on the way.

use std::collections::HashMap;
use std::rc::Rc;

use super::rack::{Rack, Song};
use super::search::{Candidate, Plan, Room};
use super::terms::Terms;
use crate::kit::bar::BarSet;
use crate::score::Midi;

/// One instrument at one octave.
struct Place<'r> {
    rack: &'r Rack,
    octave: i8,
    /// Semitones from the song to here.
    shift: i16,
    /// The song's pitches for which it has a bar.
    reach: BarSet,
    /// What its being there costs, whatever its bars.
    terms: Terms,
    cost: f64,
}

/// A set of song pitches that an instrument holds at once.
struct Holding {
    set: BarSet,
    /// Bars put in, bars taken off.
    moved: (usize, usize),
    cost: f64,
}

/// What one search has found out already.
pub(super) struct Known {
    /// By what either instrument alone has. The cheapest hand-overs depend on nothing else, so that
    /// all transpositions and pairs of instruments share them.
    turns: HashMap<(BarSet, BarSet), Turns>,
    /// By instrument and semitones from the song. Transpositions an octave apart share them.
    holdings: HashMap<(usize, i16), Rc<[Holding]>>,
    /// What a hand-over costs before each note.
    prices: Vec<f64>,
}

impl Known {
    pub(super) fn new(room: &Room<'_>, song: &Song) -> Known {
        let mut prices = vec![room.weights.hand_over_inside; song.notes.len()];
        for start in &song.phrases {
            if let Some(price) = prices.get_mut(*start) {
                *price = room.weights.hand_over;
            }
        }
        Known { turns: HashMap::new(), holdings: HashMap::new(), prices }
    }

    /// All that an instrument can hold at a place, cheapest first.
    fn holdings(&mut self, room: &Room<'_>, song: &Song, place: &Place<'_>) -> Rc<[Holding]> {
        let (rack, shift) = (place.rack, place.shift);
        let make = || {
            let own = song.classes(shift);
            let mut all: Vec<Holding> = holdings(rack, song, shift)
                .into_iter()
                .map(|set| {
                    let moved = rack.moved(sounding(set, shift), own, false);
                    let terms = Terms { swapped: moved.0, off: moved.1, ..Terms::default() };
                    Holding { set, moved, cost: terms.cost(room.weights) }
                })
                .collect();
            all.sort_by(|a, b| a.cost.total_cmp(&b.cost));
            all.into()
        };
        Rc::clone(self.holdings.entry((rack.instrument, shift)).or_insert_with(make))
    }
}

/// Two instruments by turns.
///
/// For one transposition exactly: every instrument and octave, every choice of bar for the slots
/// where a spare is wanted, and for each two sets of bars the cheapest sequence of hand-overs, found
/// by dynamic programming over the notes. Places and sets come in the order of their cost; what
/// can't beat the best way found, with one hand-over, is passed over, and so are two places that
/// lack a pitch between them.
pub(super) fn shared(
    room: &Room<'_>,
    song: &Song,
    t: i16,
    base: Terms,
    known: &mut Known,
) -> Option<Candidate> {
    if song.set.is_empty() {
        return None;
    }
    let places = places(room, song, t);
    let over = room.weights.hand_over.min(room.weights.hand_over_inside);
    let always = base.cost(room.weights) + over;
    let mut best: Option<Candidate> = None;
    for (i, one) in places.iter().enumerate() {
        for two in &places[i + 1..] {
            let bound = best.as_ref().map_or(f64::INFINITY, |c| c.cost);
            // Later places only cost more.
            if always + one.cost + two.cost >= bound {
                break;
            }
            if one.reach.union(two.reach) == song.set && one.rack.instrument != two.rack.instrument
            {
                // The instrument that the kit names first is the first one.
                let (a, b) =
                    if one.rack.instrument < two.rack.instrument { (one, two) } else { (two, one) };
                pair(room, song, (t, base, always), (a, b), known, &mut best);
            }
        }
    }
    best
}

/// The cheapest way for two places, where it beats the best one known.
fn pair(
    room: &Room<'_>,
    song: &Song,
    (t, base, always): (i16, Terms, f64),
    (a, b): (&Place<'_>, &Place<'_>),
    known: &mut Known,
    best: &mut Option<Candidate>,
) {
    let always = always + a.cost + b.cost;
    let (of_a, of_b) = (known.holdings(room, song, a), known.holdings(room, song, b));
    let least_b = of_b.first().map_or(0.0, |h| h.cost);
    for one in of_a.iter() {
        let bound = best.as_ref().map_or(f64::INFINITY, |c| c.cost);
        // Later sets only cost more.
        if always + one.cost + least_b >= bound {
            break;
        }
        let wanted = song.set.difference(one.set);
        if !wanted.is_subset(b.reach) {
            continue;
        }
        for two in of_b.iter() {
            let bound = best.as_ref().map_or(f64::INFINITY, |c| c.cost);
            if always + one.cost + two.cost >= bound {
                break;
            }
            if !wanted.is_subset(two.set) {
                continue;
            }
            // What both have, either may play: only what one alone has forces a hand-over.
            let alone = (one.set.difference(two.set), two.set.difference(one.set));
            let Known { turns, prices, .. } = &mut *known;
            let turns = turns.entry(alone).or_insert_with(|| Turns::new(song, prices, alone));
            let mut terms = base.plus(&a.terms).plus(&b.terms);
            terms.swapped += one.moved.0 + two.moved.0;
            terms.off += one.moved.1 + two.moved.1;
            terms.hand_overs = turns.at_phrases;
            terms.hand_overs_inside = turns.inside;
            let cost = terms.cost(room.weights);
            if cost < bound {
                let racks = (a.rack.instrument, b.rack.instrument);
                let octaves = (a.octave, b.octave);
                let sets = (sounding(one.set, a.shift), sounding(two.set, b.shift));
                let turns = turns.turns.clone();
                let plan = Plan::Shared { racks, octaves, turns, sets };
                *best = Some(Candidate { t, terms, cost, plan });
            }
        }
    }
}

/// Every instrument at every octave at which it has any bar of the song, cheapest first.
fn places<'r>(room: &'r Room<'_>, song: &Song, t: i16) -> Vec<Place<'r>> {
    let mut places = Vec::new();
    for rack in &room.racks {
        for octave in Room::OCTAVES {
            let shift = t + 12 * i16::from(octave);
            let reach = rack.bars.shifted(-shift).intersection(song.set);
            if reach.is_empty() {
                continue;
            }
            let terms = Room::place(rack, octave, Terms::default());
            let cost = terms.cost(room.weights);
            places.push(Place { rack, octave, shift, reach, terms, cost });
        }
    }
    // Stable: of equals the kit's order.
    places.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    places
}

/// Most spares of one instrument of which each may be left out on trial; an instrument that lends a
/// song more black-note bars than two octaves of them (only long rows of loose bars do) gets all.
const MOST_OPTIONAL: usize = 10;

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
    let optional = by_slot.iter().filter(|(_, bars)| bars.iter().all(|(_, p)| !p)).count();
    let mut sets = vec![BarSet::EMPTY];
    for (_, bars) in by_slot {
        // A plain bar that stands anyway costs nothing: leaving its slot empty gains nothing.
        let empty = optional <= MOST_OPTIONAL && bars.iter().all(|(_, plain)| !plain);
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
    set.shifted(shift)
}

/// A sequence of turns.
struct Turns {
    /// From which note on who plays (`false`: the first instrument).
    turns: Vec<(usize, bool)>,
    /// Hand-overs at phrase ends.
    at_phrases: usize,
    /// Hand-overs within phrases.
    inside: usize,
}

impl Turns {
    /// `alone`: what the first has and the second lacks, and the reverse.
    fn new(song: &Song, prices: &[f64], alone: (BarSet, BarSet)) -> Turns {
        let turns = turns(song, prices, alone);
        let at_phrases =
            turns.iter().skip(1).filter(|t| song.phrases.binary_search(&t.0).is_ok()).count();
        let inside = turns.len().saturating_sub(1 + at_phrases);
        Turns { turns, at_phrases, inside }
    }
}

/// The cheapest turns: from which note on who plays (`false`: the first instrument).
fn turns(song: &Song, prices: &[f64], alone: (BarSet, BarSet)) -> Vec<(usize, bool)> {
    let n = song.notes.len();
    // From each note to the end: the cost with either instrument on that note.
    let mut rest = [0.0f64; 2];
    let mut stays = vec![[true; 2]; n];
    for (i, midi) in song.notes.iter().enumerate().rev() {
        let midi = Midi::new(*midi);
        if let Some(price) = prices.get(i + 1) {
            let over = [rest[1] + price, rest[0] + price];
            stays[i] = [rest[0] <= over[0], rest[1] <= over[1]];
            rest = [rest[0].min(over[0]), rest[1].min(over[1])];
        }
        if alone.1.contains(midi) {
            rest[0] = f64::INFINITY;
        } else if alone.0.contains(midi) {
            rest[1] = f64::INFINITY;
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
