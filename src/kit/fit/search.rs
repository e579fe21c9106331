//! The search over transpositions, octaves and instruments.

use std::ops::RangeInclusive;

use super::kept::{self, Bounds};
use super::rack::{Rack, Song};
use super::share;
use super::terms::Terms;
use super::{FitRequest, Transpose};
use crate::kit::bar::BarSet;
use crate::kit::cost::Weights;
use crate::kit::people::Kit;
use crate::score::{Interval, Key};

/// How a candidate plays the melody.
#[derive(Clone, Debug)]
pub(super) enum Plan {
    /// One instrument, one set-up.
    Single { rack: usize, octave: i8 },
    /// Two instruments by turns: from which note on, and whether the second one.
    Shared {
        racks: (usize, usize),
        octaves: (i8, i8),
        turns: Vec<(usize, bool)>,
        /// The bars (sounding) that each has up.
        sets: (BarSet, BarSet),
    },
    /// One instrument, bars moved at phrase ends: from which note on, the bars needed, and the bars
    /// that stand at first.
    Switched { rack: usize, octave: i8, runs: Vec<(usize, BarSet)>, first: BarSet },
    /// One instrument that has only these bars (sounding) of the song's.
    Kept { rack: usize, octave: i8, kept: BarSet },
    /// No instrument at all.
    Nobody,
}

/// One way to play the song.
#[derive(Clone, Debug)]
pub(super) struct Candidate {
    /// Semitones from the song to here.
    pub(super) t: i16,
    pub(super) terms: Terms,
    pub(super) cost: f64,
    pub(super) plan: Plan,
}

impl Candidate {
    /// The instruments, as indices into the kit's.
    pub(super) fn carriers(&self) -> (Option<usize>, Option<usize>) {
        match &self.plan {
            Plan::Single { rack, .. } | Plan::Switched { rack, .. } | Plan::Kept { rack, .. } => {
                (Some(*rack), None)
            }
            Plan::Shared { racks, .. } => (Some(racks.0), Some(racks.1)),
            Plan::Nobody => (None, None),
        }
    }
}

/// What a search found.
pub(super) enum Found {
    /// Ways to play every note, or all but those that the request lets change.
    Whole(Vec<Candidate>),
    /// None; these come nearest.
    Lacking(Vec<Candidate>),
}

/// The kit's side of a search.
pub(super) struct Room<'a> {
    pub(super) kit: &'a Kit,
    pub(super) racks: Vec<Rack>,
    pub(super) weights: &'a Weights,
}

impl<'a> Room<'a> {
    /// Octaves tried between the transposed song and the instrument: enough to bring any pitch of 0
    /// to 127 to any bar.
    pub(super) const OCTAVES: RangeInclusive<i8> = -10..=10;

    pub(super) fn new(kit: &'a Kit) -> Room<'a> {
        Room { kit, racks: Rack::all(kit), weights: &kit.weights }
    }

    /// Every way that the request allows, several for one transposition.
    pub(super) fn search(&self, song: &Song, key: Key, ask: &FitRequest) -> Found {
        let bases = self.bases(song, key, ask);
        let too_many = ask.bars.is_some_and(|n| song.pitches.len() > n);
        let mut found = Vec::new();
        if !too_many {
            for (t, base) in &bases {
                self.single(song, *t, *base, &mut found);
            }
            if !found.is_empty() {
                return Found::Whole(found);
            }
            let mut known = share::Known::new(self, song);
            for (t, base) in &bases {
                self.switched(song, *t, *base, &mut found);
                found.extend(share::shared(self, song, *t, *base, &mut known));
            }
        }
        if too_many || ask.changed_notes.is_some_and(|n| n > 0) {
            let bounds = Bounds { bars: ask.bars, changed: ask.changed_notes };
            for (t, base) in &bases {
                kept::all(self, song, *t, *base, bounds, &mut found);
            }
        }
        if !found.is_empty() {
            return Found::Whole(found);
        }
        let bounds = Bounds { bars: ask.bars, changed: None };
        for (t, base) in &bases {
            kept::all(self, song, *t, *base, bounds, &mut found);
        }
        if found.is_empty() {
            found.extend(bases.iter().map(|(t, base)| Candidate {
                t: *t,
                terms: *base,
                cost: base.cost(self.weights),
                plan: Plan::Nobody,
            }));
        }
        Found::Lacking(found)
    }

    /// The transpositions allowed, with the terms that they alone decide.
    fn bases(&self, song: &Song, key: Key, ask: &FitRequest) -> Vec<(i16, Terms)> {
        let asked: Vec<i16> = match ask.transpose {
            Transpose::Any => (-12..=12).collect(),
            Transpose::None => vec![0],
            Transpose::By(by) => vec![by.semitones()],
        };
        let (Some(low), Some(high)) = (song.pitches.first(), song.pitches.last()) else {
            return Vec::new();
        };
        let singing = (self.kit.singing.0.midi().number(), self.kit.singing.1.midi().number());
        let mut bases = Vec::with_capacity(asked.len());
        for t in asked {
            let new = key.transposed(Interval::new(t));
            if ask.key.is_some_and(|k| k.tonic.class() != new.tonic.class()) {
                continue;
            }
            let below = (singing.0 - (low.midi + t)).max(0).unsigned_abs();
            let above = (high.midi + t - singing.1).max(0).unsigned_abs();
            if ask.singing_hard && below + above > 0 {
                continue;
            }
            bases.push((
                t,
                Terms {
                    accidentals: usize::from(new.fifths().unsigned_abs()),
                    semitones: usize::from(t.unsigned_abs()),
                    singing: usize::from(below + above),
                    ..Terms::default()
                },
            ));
        }
        bases
    }

    /// The terms of one instrument at one octave, its bars apart.
    pub(super) fn place(rack: &Rack, octave: i8, base: Terms) -> Terms {
        Terms {
            carrier: rack.carrier,
            octaves: usize::from(rack.octave_shift.abs_diff(octave)),
            ..base
        }
    }

    /// One instrument, every note: the cheapest octave of each.
    fn single(&self, song: &Song, t: i16, base: Terms, found: &mut Vec<Candidate>) {
        let own = song.classes(t);
        for rack in &self.racks {
            let mut best: Option<Candidate> = None;
            for octave in Room::OCTAVES {
                let Some(needed) = song.moved(t + 12 * i16::from(octave)) else { continue };
                if !rack.holds(needed) {
                    continue;
                }
                let mut terms = Room::place(rack, octave, base);
                (terms.swapped, terms.off) = rack.moved(needed, own, false);
                self.keep_best(&mut best, t, terms, || Plan::Single {
                    rack: rack.instrument,
                    octave,
                });
            }
            found.extend(best);
        }
    }

    /// One instrument, bars moved on the way.
    fn switched(&self, song: &Song, t: i16, base: Terms, found: &mut Vec<Candidate>) {
        let own = song.classes(t);
        for rack in &self.racks {
            let mut best: Option<Candidate> = None;
            for octave in Room::OCTAVES {
                let shift = t + 12 * i16::from(octave);
                let Some((moved, runs)) = share::switched(song, rack, shift) else { continue };
                let mut terms = Room::place(rack, octave, base);
                let first = share::first_bars(rack, &runs);
                (terms.swapped, terms.off) = rack.moved(first, own, false);
                terms.moved_inside = moved;
                self.keep_best(&mut best, t, terms, || Plan::Switched {
                    rack: rack.instrument,
                    octave,
                    runs,
                    first,
                });
            }
            found.extend(best);
        }
    }

    /// Replaces the best candidate by a cheaper one.
    pub(super) fn keep_best(
        &self,
        best: &mut Option<Candidate>,
        t: i16,
        terms: Terms,
        plan: impl FnOnce() -> Plan,
    ) {
        let cost = terms.cost(self.weights);
        if best.as_ref().is_none_or(|b| cost < b.cost) {
            *best = Some(Candidate { t, terms, cost, plan: plan() });
        }
    }
}

/// The candidates worth showing, cheapest first (of equals the nearer transposition, then the kit's
/// order).
///
/// For each transposition, and for each kind of instrument, the cheapest way is a real alternative,
/// and so is the way that moves the fewest bars. Of the first sort, those that another shown way
/// beats in every respect are left out.
pub(super) fn worth_showing(
    mut all: Vec<Candidate>,
    room: &Room<'_>,
    dominated: bool,
) -> Vec<Candidate> {
    let carriers = |c: &Candidate| {
        let twin = |i: Option<usize>| {
            i.map(|i| room.racks.iter().find(|r| r.instrument == i).map_or(i, |r| r.twin_of))
        };
        let (a, b) = c.carriers();
        (twin(a), twin(b))
    };
    all.sort_by(|a, b| {
        a.cost
            .total_cmp(&b.cost)
            .then_with(|| (a.t.abs(), a.t, a.carriers()).cmp(&(b.t.abs(), b.t, b.carriers())))
    });
    let mut seen = Vec::new();
    all.retain(|c| {
        let this = (c.t, carriers(c));
        let new = !seen.contains(&this);
        if new {
            seen.push(this);
        }
        new
    });
    if dominated {
        return all;
    }
    let fewest = (0..all.len()).min_by_key(|i| all[*i].terms.swapped + all[*i].terms.off);
    let mut keys = Vec::new();
    let mut kinds = Vec::new();
    // (candidate, shown whatever beats it)
    let mut picked: Vec<(usize, bool)> = Vec::new();
    for (i, c) in all.iter().enumerate() {
        let new_key = !keys.contains(&c.t);
        let new_kind = !kinds.contains(&carriers(c));
        if new_key {
            keys.push(c.t);
        }
        if new_kind {
            kinds.push(carriers(c));
        }
        if new_key || new_kind || fewest == Some(i) {
            picked.push((i, new_kind || fewest == Some(i)));
        }
    }
    let shown: Vec<usize> = picked
        .iter()
        .filter(|(i, sure)| {
            *sure || !picked.iter().any(|(j, _)| all[*j].terms.beats(&all[*i].terms))
        })
        .map(|(i, _)| *i)
        .collect();
    shown.into_iter().map(|i| all[i].clone()).collect()
}
