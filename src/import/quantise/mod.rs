//! From played time to notated time.
//!
//! A file that was written by a notation program lies exactly on its ticks and is kept as it is
//! ([`plain`]). One that was played lies near a grid that differs from beat to beat; the grids are found
//! by an exact search over all of them at once ([`grid`]). Rounding to one grid for the whole file was
//! rejected: a triplet in a march or a run of sixteenths in a jig needs another one for a beat.
//! Played durations are mostly shorter than notated ones; [`lengths`] finds what was meant.

mod grid;
mod lengths;
pub(crate) mod pickup;
mod plain;

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
    /// Microseconds a quarter from a tick on, the first at 0 or later.
    pub(crate) tempos: Vec<(u64, u32)>,
    /// Meters from a tick on, the first at 0.
    pub(crate) meters: Vec<(u64, Meter)>,
}

impl Clock {
    /// A tick as a time, exactly.
    pub(crate) fn time(&self, tick: u64) -> Time {
        Time::from_ticks(tick as i64, self.per_quarter as i64)
    }

    /// Milliseconds that a quarter note lasts at a tick.
    fn quarter_ms(&self, tick: u64) -> f64 {
        let after = self.tempos.partition_point(|(at, _)| *at <= tick);
        let tempo = self.tempos.get(after.saturating_sub(1));
        tempo.map_or(500.0, |(_, micros)| f64::from(*micros) / 1000.0)
    }
}

/// Puts the notes of all parts on a grid; one list for each part, in the order of its notes. The notes
/// of a part come sorted by onset.
pub(crate) fn place(parts: &[&[Played]], clock: &Clock) -> Vec<Vec<Placed>> {
    let mut ticks = plain::Ticks::new(clock.per_quarter);
    let exact = plain::onsets_are_plain(parts, clock.per_quarter);
    let onsets: Vec<Vec<Time>> = if exact {
        let of = |notes: &&[Played], ticks: &mut plain::Ticks| {
            notes.iter().map(|n| ticks.time(n.on)).collect()
        };
        parts.iter().map(|notes| of(notes, &mut ticks)).collect()
    } else {
        grid::onsets(parts, clock)
    };
    parts
        .iter()
        .zip(onsets)
        .map(|(notes, onsets)| {
            let mut placed = if exact && plain::ends_are_plain(notes, clock.per_quarter) {
                plain::place(notes, &onsets, &mut ticks)
            } else {
                lengths::place(notes, &onsets, clock)
            };
            plain::lengthen_lone(&mut placed);
            placed
        })
        .collect()
}
