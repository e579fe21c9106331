//! From played time to notated time.

use crate::score::{Meter, Midi, Time};

/// A note as played, in ticks.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) struct Played {
    /// When it is struck.
    pub(crate) on: u64,
    /// When it is let go; never before `on`.
    pub(crate) off: u64,
    /// Its pitch.
    pub(crate) key: Midi,
    /// MIDI channel, from 0.
    pub(crate) channel: u8,
}

/// A note in notated time.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) struct Placed {
    /// Where it begins.
    pub(crate) onset: Time,
    /// How long it lasts; zero for a grace note.
    pub(crate) duration: Time,
}

/// What a tick means.
#[derive(Clone, PartialEq, Debug)]
pub(crate) struct Clock {
    /// Ticks to the quarter note, at least 1.
    pub(crate) per_quarter: u64,
    /// Microseconds a quarter from a tick on.
    pub(crate) tempos: Vec<(u64, u32)>,
    /// Meters from a tick on, the first at 0.
    pub(crate) meters: Vec<(u64, Meter)>,
}

impl Clock {
    /// A tick as a time, exactly.
    pub(crate) fn time(&self, tick: u64) -> Time {
        Time::from_ticks(tick as i64, self.per_quarter as i64)
    }
}

/// Puts the notes of all parts on a grid; one list for each part, in the order of its notes.
pub(crate) fn place(parts: &[&[Played]], clock: &Clock) -> Vec<Vec<Placed>> {
    parts
        .iter()
        .map(|notes| {
            notes
                .iter()
                .map(|n| Placed { onset: clock.time(n.on), duration: clock.time(n.off - n.on) })
                .collect()
        })
        .collect()
}
