//! How much a struck or ringing pitch would grind against what sounds already.

use super::song::{Song, Strike, Tick};
use crate::score::{Interval, Midi};

/// What a semitone, major seventh or tritone against the melody costs on a strong beat. The other
/// costs of the drone and the ostinato are measured against it; it outweighs all of them, so that a
/// clash on a strong beat is taken only where nothing else is there.
pub(super) const STRONG: u32 = 24;
/// The same off the strong beats, for a clash that lasts a whole beat (a shorter one costs less in
/// proportion): passing clashes over a drone are the style's own.
pub(super) const PASSING: u32 = 6;

/// For each pitch class the cost of letting it sound.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub(super) struct Grind(pub(super) [u32; 12]);

impl Grind {
    pub(super) fn of(&self, midi: Midi) -> u32 {
        self.0[midi.class().index()]
    }

    /// Adds what sounding against a pitch costs, to every class that is harsh with it.
    fn against(&mut self, midi: Midi, cost: u32) {
        for class in 0..12i16 {
            if Interval::new(midi.number() - class).is_harsh() {
                self.0[class as usize] += cost;
            }
        }
    }

    pub(super) fn add(&mut self, other: &Grind) {
        for (a, b) in self.0.iter_mut().zip(&other.0) {
            *a += b;
        }
    }
}

/// The cost of sounding from `from` to `to` against the melody.
pub(super) fn against_melody(song: &Song, from: Tick, to: Tick) -> Grind {
    let mut grind = Grind::default();
    let first = song.melody.partition_point(|n| n.end <= from);
    let beat = song.per_quarter.max(1);
    for note in song.melody.iter().skip(first).take_while(|n| n.at < to) {
        let (a, b) = (note.at.max(from), note.end.min(to));
        let s = song.strong.partition_point(|t| *t < a);
        let strong = song.strong.iter().skip(s).take_while(|t| **t < b).count() as u32;
        let passing = u64::from(PASSING) * (b - a) as u64 / beat as u64;
        grind.against(note.midi, strong * STRONG + passing.min(u64::from(PASSING)) as u32);
    }
    grind
}

/// The cost of sounding from `from` to `to` against the notes of another part (sorted by onset, as
/// they sound: `ring` is how much longer than written its strikes last).
pub(super) fn against_part(
    song: &Song,
    part: &[Strike],
    ring: Tick,
    from: Tick,
    to: Tick,
) -> Grind {
    let mut grind = Grind::default();
    let longest = part.iter().map(|s| s.end - s.at).max().unwrap_or(0) + ring;
    let first = part.partition_point(|s| s.at < from - longest);
    for strike in part.iter().skip(first).take_while(|s| s.at < to) {
        let (a, b) = (strike.at.max(from), (strike.end + ring).min(to));
        if a >= b {
            continue;
        }
        let s = song.strong.partition_point(|t| *t < a);
        let strong = song.strong.get(s).is_some_and(|t| *t < b);
        grind.against(strike.midi, if strong { STRONG / 2 } else { PASSING / 2 });
    }
    grind
}
