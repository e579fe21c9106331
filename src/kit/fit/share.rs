//! Melodies that no single set-up carries: shared by two instruments, or with bars moved on the way.

use std::collections::HashMap;

use super::rack::{Rack, Song};
use super::search::{Candidate, Plan, Room};
use super::terms::Terms;
use crate::kit::bar::BarSet;
use crate::score::Midi;

/// One instrument at one octave: what it could take of the song.
struct Place<'r> {
    rack: &'r Rack,
    octave: i8,
    /// Semitones from the song to here.
    shift: i16,
    /// Every set of them that it can hold at once.
    holdings: Vec<Holding>,
}

/// A set of song pitches that an instrument holds at once.
struct Holding {
    set: BarSet,
    terms: Terms,
    cost: f64,
}

/// Who holds a set: the cost, and indices of the place and of its holding.
type Holder = (f64, usize, usize);

/// Two instruments by turns.
///
/// For one transposition exactly: every instrument and octave, every choice of bar for the slots
/// where a spare is wanted, and for each two sets of bars the cheapest sequence of hand-overs, found
/// by dynamic programming over the notes. Of the instruments that hold the same set only the two
/// cheapest matter, one of them perhaps being the partner. Sets come in the order of their cost; what
/// can't beat the best way found, with one hand-over, is passed over.
pub(super) fn shared(
    room: &Room<'_>,
    song: &Song,
    t: i16,
    base: Terms,
    known: &mut KnownTurns,
) -> Option<Candidate> {
    let places = places(room, song, t);
    let mut by_set: HashMap<BarSet, Vec<Holder>> = HashMap::new();
    for (i, place) in places.iter().enumerate() {
        for (j, holding) in place.holdings.iter().enumerate() {
            cheapest_two(by_set.entry(holding.set).or_default(), (holding.cost, i, j), &places);
        }
    }
    let mut sets: Vec<(BarSet, Vec<Holder>)> = by_set.into_iter().collect();
    // The holders' indices make the order the same each time.
    sets.sort_by(|a, b| {
        let (a, b) = (&a.1[0], &b.1[0]);
        a.0.total_cmp(&b.0).then((a.1, a.2).cmp(&(b.1, b.2)))
    });
    let over = room.weights.hand_over.min(room.weights.hand_over_inside);
    let always = base.cost(room.weights) + over;
    let mut best: Option<Candidate> = None;
    for (i, (one, by_one)) in sets.iter().enumerate() {
        for (two, by_two) in &sets[i + 1..] {
            let bound = best.as_ref().map_or(f64::INFINITY, |c| c.cost);
            // Later sets only cost more.
            if always + by_one[0].0 + by_two[0].0 >= bound {
                break;
            }
            if one.union(*two) != song.set {
                continue;
            }
            let Some((x, y)) = partners(by_one, by_two, &places) else { continue };
            // The instrument that the kit names first is the first one.
            let (x, y) = if x.1 <= y.1 { (x, y) } else { (y, x) };
            let (a, b) = (&places[x.1], &places[y.1]);
            let (one, two) = (&a.holdings[x.2], &b.holdings[y.2]);
            // What both have, either may play: only what one alone has forces a hand-over.
            let alone = (one.set.difference(two.set), two.set.difference(one.set));
            let turns =
                known.entry(alone).or_insert_with(|| Turns::new(room, song, alone.0, alone.1));
            let mut terms = base.plus(&one.terms).plus(&two.terms);
            terms.hand_overs = turns.at_phrases;
            terms.hand_overs_inside = turns.inside;
            let cost = terms.cost(room.weights);
            if cost < bound {
                let racks = (a.rack.instrument, b.rack.instrument);
                let octaves = (a.octave, b.octave);
                let sets = (sounding(one.set, a.shift), sounding(two.set, b.shift));
                let turns = turns.turns.clone();
                let plan = Plan::Shared { racks, octaves, turns, sets };
                best = Some(Candidate { t, terms, cost, plan });
            }
        }
    }
    best
}

/// Keeps the cheapest holder, and the cheapest on another instrument.
fn cheapest_two(list: &mut Vec<Holder>, new: Holder, places: &[Place<'_>]) {
    let rack = |h: &Holder| places[h.1].rack.instrument;
    if let Some(same) = list.iter_mut().find(|h| rack(h) == rack(&new)) {
        if new.0 < same.0 {
            *same = new;
        }
    } else {
        list.push(new);
    }
    list.sort_by(|a, b| a.0.total_cmp(&b.0).then((a.1, a.2).cmp(&(b.1, b.2))));
    list.truncate(2);
}

/// The cheapest two holders, one of each list, that are different instruments.
fn partners(one: &[Holder], two: &[Holder], places: &[Place<'_>]) -> Option<(Holder, Holder)> {
    let apart = |a: &Holder, b: &Holder| places[a.1].rack.instrument != places[b.1].rack.instrument;
    one.iter()
        .flat_map(|a| two.iter().map(move |b| (*a, *b)))
        .filter(|(a, b)| apart(a, b))
        .min_by(|x, y| (x.0.0 + x.1.0).total_cmp(&(y.0.0 + y.1.0)))
}

/// Every instrument at every octave at which it has any bar of the song.
fn places<'r>(room: &'r Room<'_>, song: &Song, t: i16) -> Vec<Place<'r>> {
    let own = song.classes(t);
    let mut places = Vec::new();
    for rack in &room.racks {
        for octave in Room::OCTAVES {
            let shift = t + 12 * i16::from(octave);
            if !song.pitches.iter().any(|p| rack.slot_of(p.midi + shift).is_some()) {
                continue;
            }
            let place = Room::place(rack, octave, Terms::default());
            let holdings: Vec<Holding> = holdings(rack, song, shift)
                .into_iter()
                .map(|set| {
                    let mut terms = place;
                    (terms.swapped, terms.off) = rack.moved(sounding(set, shift), own, false);
                    Holding { set, terms, cost: terms.cost(room.weights) }
                })
                .collect();
            places.push(Place { rack, octave, shift, holdings });
        }
    }
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
    set.iter().map(|m| Midi::new(m.number() + shift)).collect()
}

/// The cheapest hand-overs by what either instrument alone has. They depend on nothing else, so
/// that all transpositions and pairs of instruments share them.
pub(super) type KnownTurns = HashMap<(BarSet, BarSet), Turns>;

/// A sequence of turns.
pub(super) struct Turns {
    /// From which note on who plays (`false`: the first instrument).
    turns: Vec<(usize, bool)>,
    /// Hand-overs at phrase ends.
    at_phrases: usize,
    /// Hand-overs within phrases.
    inside: usize,
}

impl Turns {
    fn new(room: &Room<'_>, song: &Song, only_a: BarSet, only_b: BarSet) -> Turns {
        let turns = turns(room, song, song.set.difference(only_b), song.set.difference(only_a));
        let at_phrases =
            turns.iter().skip(1).filter(|t| song.phrases.binary_search(&t.0).is_ok()).count();
        let inside = turns.len().saturating_sub(1 + at_phrases);
        Turns { turns, at_phrases, inside }
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
