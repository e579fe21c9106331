//! The melody: sung, carried by the instruments that the fit names, and doubled at other octaves.

use super::song::{Song, Strike};
use crate::kit::{BarSet, FitOption, Instrument};
use crate::score::Interval;

/// The octaves at which a doubling is tried, in this order: as the melody is, then above, then below.
const DOUBLE_AT: [i8; 7] = [0, 1, 2, 3, -1, -2, 4];

/// A stretch of the melody for one instrument.
#[derive(Clone, Debug)]
pub(super) struct Carried {
    pub(super) instrument: usize,
    pub(super) strikes: Vec<Strike>,
}

/// The melody as the option gives it to instruments: one entry for each instrument, stretches of the
/// same instrument together.
pub(super) fn carried(song: &Song, option: &FitOption) -> Vec<Carried> {
    let mut parts: Vec<Carried> = Vec::new();
    for (i, carrier) in option.carriers.iter().enumerate() {
        let until = option.carriers.get(i + 1).map_or(usize::MAX, |c| c.from_note);
        let from = if i == 0 { 0 } else { carrier.from_note };
        let mut strikes: Vec<Strike> = song
            .melody
            .iter()
            .enumerate()
            .filter(|(j, _)| song.source.get(*j).is_some_and(|s| (from..until).contains(s)))
            .map(|(j, note)| Strike {
                line: Some(j),
                ..Strike::new(
                    note.at,
                    note.end,
                    note.midi + Interval::octaves(carrier.octave_shift),
                )
            })
            .collect();
        match parts.iter_mut().find(|p| p.instrument == carrier.instrument) {
            Some(part) => part.strikes.append(&mut strikes),
            None => parts.push(Carried { instrument: carrier.instrument, strikes }),
        }
    }
    parts
}

/// The whole melody moved by octaves.
pub(super) fn whole(song: &Song, shift: i8) -> Vec<Strike> {
    song.melody
        .iter()
        .enumerate()
        .map(|(j, note)| Strike {
            line: Some(j),
            ..Strike::new(note.at, note.end, note.midi + Interval::octaves(shift))
        })
        .collect()
}

/// The octave shift with which an instrument can play the whole melody, if there is one.
pub(super) fn shift_for(song: &Song, instrument: &Instrument) -> Option<i8> {
    let set: BarSet = song.melody.iter().map(|n| n.midi).collect();
    let shift = |octaves: &i8| {
        set.moved(Interval::octaves(*octaves)).is_some_and(|moved| instrument.holds(moved))
    };
    // Nothing outside 0 to 127 is a bar.
    if song.melody.iter().any(|n| n.midi.as_u7().is_none()) {
        return None;
    }
    DOUBLE_AT.into_iter().find(shift)
}

/// Octaves from the melody as transposed to the pitch at which it is sung.
pub(super) fn sung_shift(song: &Song, option: &FitOption) -> i8 {
    let Some(lowest) = song.melody.iter().map(|n| n.midi).min() else { return 0 };
    let by: Interval = option.singing.0.midi() - lowest;
    if by.semitones() % 12 == 0 { (by.semitones() / 12).clamp(-8, 8) as i8 } else { 0 }
}
