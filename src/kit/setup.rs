//! How an instrument is set up for a song: a state for every slot, and what a person does about it.

use super::bar::{Bar, BarSet, Instrument};
use super::caution::cautions;
use super::people::{Kit, Player};
use crate::score::Midi;

/// What is to be done with a slot.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum State {
    /// The natural (or the loose bar) stays.
    Keep,
    /// This spare takes its place.
    Swap(Bar),
    /// The bar is taken off and leaves a gap; a loose bar is put away.
    Remove,
    /// The bar is taken off and a filler put in its place.
    Fill,
}

impl State {
    /// `keep`, `swap`, `remove` or `fill`.
    pub fn name(self) -> &'static str {
        match self {
            State::Keep => "keep",
            State::Swap(_) => "swap",
            State::Remove => "remove",
            State::Fill => "fill",
        }
    }
}

/// Which bars that a part doesn't strike come off.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub enum Clear {
    /// None: only what is needed is changed.
    Nothing,
    /// Bars whose note (at any octave) the part doesn't use: F and B for a pentatonic tune on C.
    /// What is left sounds well with the tune wherever the mallet lands.
    #[default]
    Foreign,
    /// Every bar that isn't struck: four bars are left of a bass for a drone.
    Unneeded,
}

/// Number of slots in each state.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default, serde::Serialize)]
pub struct Counts {
    /// Bars that stay.
    pub keep: usize,
    /// Spares put in.
    pub swap: usize,
    /// Bars taken off, gap left.
    pub remove: usize,
    /// Bars taken off, filler put in.
    pub fill: usize,
}

/// An instrument set up for one song.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Setup {
    /// Index into [`Kit::instruments`].
    pub instrument: usize,
    /// A state for every slot, low to high.
    pub states: Vec<State>,
    /// Cautions that apply, in plain sentences.
    pub cautions: Vec<String>,
}

/// What keeps an instrument from being set up: these pitches have no bar, or no slot left.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("no bar for {}", .0.iter().map(|m| Bar(*m).to_string()).collect::<Vec<_>>().join(", "))]
pub struct NoBar(pub Vec<Midi>);

impl Setup {
    /// The plain white bars of an instrument, nothing done.
    pub fn plain(kit: &Kit, instrument: usize) -> Setup {
        let states = kit.instruments.get(instrument).map(Instrument::plain).unwrap_or_default();
        Setup { instrument, states, cautions: Vec::new() }
    }

    /// Sets an instrument up so that all of these sounding pitches are there.
    ///
    /// Bars that aren't needed come off as `clear` says; `fill` puts fillers in their places where the
    /// kit has them (loose bars need none). A lost bar's place counts as taken off. The cautions are
    /// those for any player; see [`Setup::for_player`].
    ///
    /// # Errors
    /// The pitches that can't be there: no such bar, or F and F♯ of one octave wanted at once (then
    /// the spare is the one named).
    pub fn for_pitches(
        kit: &Kit,
        instrument: usize,
        needed: BarSet,
        clear: Clear,
        fill: bool,
    ) -> Result<Setup, NoBar> {
        Setup::within(kit, instrument, needed, needed, clear, fill)
    }

    /// As [`Setup::for_pitches`], where bars are foreign only if the whole song (`song`, at any
    /// octave) doesn't use their note.
    ///
    /// # Errors
    /// As [`Setup::for_pitches`].
    pub fn within(
        kit: &Kit,
        instrument: usize,
        needed: BarSet,
        song: BarSet,
        clear: Clear,
        fill: bool,
    ) -> Result<Setup, NoBar> {
        let Some(at) = kit.instruments.get(instrument) else {
            return Err(NoBar(needed.iter().collect()));
        };
        let own = BarSet::of_classes(song.classes() | needed.classes());
        let mut unmet = needed;
        let mut states = Vec::with_capacity(at.slots.len());
        for slot in &at.slots {
            let here = needed.intersection(slot.choices()).intersection(unmet);
            let wanted = if !slot.lost && here.contains(slot.bar.0) {
                Some(slot.bar)
            } else {
                slot.spares.iter().copied().find(|b| here.contains(b.0))
            };
            let off = if fill && at.fillers && !slot.loose { State::Fill } else { State::Remove };
            let state = match wanted {
                Some(bar) => {
                    let mut got = BarSet::EMPTY;
                    got.insert(bar.0);
                    unmet = unmet.difference(got);
                    if bar == slot.bar { State::Keep } else { State::Swap(bar) }
                }
                None if slot.lost => off,
                None => match clear {
                    Clear::Unneeded => off,
                    Clear::Foreign if !own.contains(slot.bar.0) => off,
                    // Loose black-note boxes stay away unless they are needed.
                    _ if slot.plain() == State::Remove => State::Remove,
                    _ => State::Keep,
                },
            };
            states.push(state);
        }
        if !unmet.is_empty() {
            return Err(NoBar(unmet.iter().collect()));
        }
        let cautions = cautions(at, &states, None);
        Ok(Setup { instrument, states, cautions })
    }

    /// The same setup with the cautions that go with the player who has it.
    pub fn for_player(mut self, kit: &Kit, player: &Player) -> Setup {
        if let Some(at) = kit.instruments.get(self.instrument) {
            self.cautions = cautions(at, &self.states, Some(player.position));
        }
        self
    }

    /// Number of slots in each state.
    pub fn counts(&self) -> Counts {
        let mut counts = Counts::default();
        for state in &self.states {
            match state {
                State::Keep => counts.keep += 1,
                State::Swap(_) => counts.swap += 1,
                State::Remove => counts.remove += 1,
                State::Fill => counts.fill += 1,
            }
        }
        counts
    }

    /// The bars that stand on the instrument.
    pub fn bars(&self, kit: &Kit) -> BarSet {
        let Some(at) = kit.instruments.get(self.instrument) else { return BarSet::EMPTY };
        at.slots.iter().zip(&self.states).filter_map(|(s, state)| standing(s.bar, *state)).collect()
    }

    /// The moves from the plain white bars to this setup.
    pub fn moves(&self, kit: &Kit) -> Vec<Move> {
        let plain = Setup::plain(kit, self.instrument);
        moves(&plain, self)
    }
}

/// The pitch that sounds in a slot with this bar of its own in this state.
fn standing(own: Bar, state: State) -> Option<Midi> {
    match state {
        State::Keep => Some(own.0),
        State::Swap(bar) => Some(bar.0),
        State::Remove | State::Fill => None,
    }
}

/// One slot that changes its state.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Move {
    /// Index into [`Kit::instruments`].
    pub instrument: usize,
    /// Index into [`Instrument::slots`].
    pub slot: usize,
    /// How it stands before.
    pub from: State,
    /// How it stands after.
    pub to: State,
}

/// The moves between two setups of one instrument: every slot whose state differs, low to high.
pub fn moves(before: &Setup, after: &Setup) -> Vec<Move> {
    before
        .states
        .iter()
        .zip(&after.states)
        .enumerate()
        .filter(|(_, (from, to))| from != to)
        .map(|(slot, (from, to))| Move { instrument: after.instrument, slot, from: *from, to: *to })
        .collect()
}
