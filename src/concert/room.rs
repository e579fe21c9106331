//! The room as the planner sees it: which bars lie on each instrument, and how many moves apart two
//! such rows of bars are.
//!
//! Every row of bars that some song asks of an instrument gets a small number (a [`Pattern`]), and
//! the moves between any two patterns of an instrument are tabled once. A song's way of being played
//! is then a short list of numbers, and the moves between two songs a few look-ups, which is what
//! makes exact planning over thousands of combinations cheap.
//!
//! An instrument that a song doesn't use is left as it lies: nobody touches it, and its bars are
//! changed only when the next song that uses it comes up, or when the room is cleared.

use crate::kit::{Instrument, Kit, Setup, State};

/// A row of bars of one instrument, by number.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Pattern(pub(super) u16);

/// The pattern of the plain white bars, on every instrument.
pub(super) const PLAIN: Pattern = Pattern(0);

/// What lies on every instrument of the kit, in the kit's order.
pub(super) type Lay = Box<[Pattern]>;

/// The patterns of one instrument.
#[derive(Clone, Debug)]
struct Patterns {
    states: Vec<Box<[State]>>,
    /// `moves[a][b]`: slots in which two patterns differ.
    moves: Vec<Vec<u32>>,
}

/// The instruments with all patterns that were asked of them so far.
#[derive(Clone, Debug)]
pub struct Room {
    instruments: Vec<Patterns>,
}

/// One way to play a song: a pattern for each instrument that it uses, and what it costs apart from
/// moves.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Way {
    /// For every instrument of the kit its pattern; `None` where the song doesn't use it.
    pub(super) patterns: Box<[Option<Pattern>]>,
    /// The same as it leaves them: other ones where bars move while the song goes on.
    pub(super) leaves: Box<[Option<Pattern>]>,
    /// The weighted fit cost, in thousandths of a move.
    pub(super) cost: Cost,
}

/// A cost in thousandths of a move. Whole numbers, so that sums don't depend on their order and
/// equal plans compare equal.
pub type Cost = u64;

/// One move in units of [`Cost`].
pub const MOVE: Cost = 1000;

/// The fit cost that stands for "more than any concert": keeps sums far from overflow.
const COST_CAP: f64 = 1.0e9;

/// A fit cost in [`Cost`] units: rounded, and never negative.
pub fn cost_units(cost: f64, weight: f64) -> Cost {
    let units = cost * weight * MOVE as f64;
    if units.is_nan() { 0 } else { units.clamp(0.0, COST_CAP).round() as Cost }
}

impl Room {
    /// The room of a kit, every instrument with its plain white bars.
    pub fn new(kit: &Kit) -> Room {
        Room::from_plain(kit.instruments.iter().map(Instrument::plain).collect())
    }

    /// A room from the plain states of each instrument's slots.
    pub(super) fn from_plain(plain: Vec<Vec<State>>) -> Room {
        let instruments = plain
            .into_iter()
            .map(|states| Patterns { states: vec![states.into()], moves: vec![vec![0]] })
            .collect();
        Room { instruments }
    }

    /// How many instruments there are.
    pub(super) fn len(&self) -> usize {
        self.instruments.len()
    }

    /// The number of patterns of an instrument.
    pub(super) fn patterns_of(&self, instrument: usize) -> usize {
        self.instruments.get(instrument).map_or(0, |i| i.states.len())
    }

    /// What lies on the instruments before the first song and after the last.
    pub(super) fn plain(&self) -> Lay {
        vec![PLAIN; self.instruments.len()].into()
    }

    /// The number of a row of bars; a new one where it wasn't asked for before. `None` for an
    /// instrument that isn't there, and beyond 65,535 patterns of one instrument.
    pub(super) fn pattern(&mut self, instrument: usize, states: &[State]) -> Option<Pattern> {
        let known = self.instruments.get_mut(instrument)?;
        if let Some(at) = known.states.iter().position(|s| **s == *states) {
            return u16::try_from(at).ok().map(Pattern);
        }
        let number = u16::try_from(known.states.len()).ok()?;
        let row: Vec<u32> = known.states.iter().map(|s| differing(s, states)).collect();
        for (moves, to_new) in known.moves.iter_mut().zip(&row) {
            moves.push(*to_new);
        }
        known.moves.push(row.into_iter().chain([0]).collect());
        known.states.push(states.into());
        Some(Pattern(number))
    }

    /// A way to play a song from the setups of the instruments that it uses, and from those that
    /// take over while it goes on, in their order (moves inside a song are part of its fit cost).
    ///
    /// `cost` is the weighted fit cost. Of two setups for one instrument the later one counts.
    pub fn way(&mut self, setups: &[Setup], inside: &[Setup], cost: Cost) -> Way {
        let mut patterns = vec![None; self.instruments.len()];
        for setup in setups {
            let pattern = self.pattern(setup.instrument, &setup.states);
            if let Some(place) = patterns.get_mut(setup.instrument) {
                *place = pattern;
            }
        }
        let mut leaves = patterns.clone();
        for setup in inside {
            let pattern = self.pattern(setup.instrument, &setup.states);
            if let Some(place) = leaves.get_mut(setup.instrument) {
                // An instrument that turns up only inside the song lies plain before it.
                if let Some(entry) = patterns.get_mut(setup.instrument) {
                    *entry = entry.or(Some(PLAIN));
                }
                *place = pattern;
            }
        }
        Way { patterns: patterns.into(), leaves: leaves.into(), cost }
    }

    /// The states of a pattern, slot by slot.
    pub(super) fn states(&self, instrument: usize, pattern: Pattern) -> &[State] {
        self.instruments
            .get(instrument)
            .and_then(|i| i.states.get(usize::from(pattern.0)))
            .map_or(&[], |s| s)
    }

    /// Moves from one pattern of an instrument to another.
    pub(super) fn moves(&self, instrument: usize, from: Pattern, to: Pattern) -> u32 {
        self.instruments
            .get(instrument)
            .and_then(|i| i.moves.get(usize::from(from.0)))
            .and_then(|row| row.get(usize::from(to.0)))
            .map_or(0, |m| *m)
    }

    /// Moves that a way needs on what lies there.
    pub(super) fn moves_to(&self, lay: &[Pattern], way: &Way) -> u32 {
        let mut sum = 0;
        for (i, wanted) in way.patterns.iter().enumerate() {
            if let (Some(wanted), Some(lies)) = (wanted, lay.get(i)) {
                sum += self.moves(i, *lies, *wanted);
            }
        }
        sum
    }

    /// Moves from one lay of all instruments to another.
    pub(super) fn moves_between(&self, a: &[Pattern], b: &[Pattern]) -> u32 {
        a.iter().zip(b).enumerate().map(|(i, (x, y))| self.moves(i, *x, *y)).sum()
    }

    /// What lies there once a way is set up, before it is played.
    pub(super) fn ready_for(&self, lay: &[Pattern], way: &Way) -> Lay {
        lay.iter().zip(way.patterns.iter()).map(|(lies, wanted)| wanted.unwrap_or(*lies)).collect()
    }

    /// What lies there once a way was played; instruments that it doesn't use are left as they are.
    pub(super) fn after(&self, lay: &[Pattern], way: &Way) -> Lay {
        lay.iter().zip(way.leaves.iter()).map(|(lies, left)| left.unwrap_or(*lies)).collect()
    }
}

/// Slots in which two rows of bars differ; a row that is shorter differs in the rest.
fn differing(a: &[State], b: &[State]) -> u32 {
    let common = a.iter().zip(b).filter(|(x, y)| x != y).count();
    u32::try_from(common + a.len().abs_diff(b.len())).unwrap_or(u32::MAX)
}

/// Takes out ways that can never be better than another one of the same song.
///
/// A way A is dropped for B where B uses no instrument that A doesn't, and B's cost plus the moves
/// from A's bars to B's, before and after the song, is at most A's cost: whatever concert uses A, putting B in its place
/// costs no more (moves obey the triangle inequality). Returns the indices kept, in order.
pub fn undominated(room: &Room, ways: &[Way]) -> Vec<usize> {
    let mut kept: Vec<usize> = Vec::new();
    for (a, way) in ways.iter().enumerate() {
        let beaten = ways.iter().enumerate().any(|(b, other)| {
            a != b
                && dominates(room, other, way)
                // Of two that dominate each other the first stays.
                && (b < a || !dominates(room, way, other))
        });
        if !beaten {
            kept.push(a);
        }
    }
    kept
}

fn dominates(room: &Room, b: &Way, a: &Way) -> bool {
    let mut apart: Cost = 0;
    for i in 0..room.len() {
        let place = |list: &[Option<Pattern>]| list.get(i).copied().flatten();
        match (place(&b.patterns), place(&b.leaves), place(&a.patterns), place(&a.leaves)) {
            (Some(before_b), Some(after_b), Some(before_a), Some(after_a)) => {
                apart += Cost::from(room.moves(i, before_a, before_b));
                apart += Cost::from(room.moves(i, after_a, after_b));
            }
            // What A moves inside the song would have to be moved outside it.
            (None, None, Some(before_a), Some(after_a)) => {
                apart += Cost::from(room.moves(i, before_a, after_a));
            }
            (None, None, None, None) => {}
            _ => return false,
        }
    }
    b.cost + MOVE * apart <= a.cost
}
