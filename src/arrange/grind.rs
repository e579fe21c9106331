//! How much a struck or ringing pitch would grind against what sounds already.

use super::song::{Song, Strike, Tick};
use crate::score::Midi;

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

    /// Adds what sounding against a pitch costs, to every class that is harsh with it (as
    /// `Interval::is_harsh` has it: a semitone either way, and the tritone).
    fn against(&mut self, midi: Midi, cost: u32) {
        let class = midi.class().index();
        for away in [1, 6, 11] {
            self.0[(class + away) % 12] += cost;
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
    let mut s = song.strong.partition_point(|t| *t < from);
    for note in song.melody.iter().skip(first).take_while(|n| n.at < to) {
        let (a, b) = (note.at.max(from), note.end.min(to));
        while song.strong.get(s).is_some_and(|t| *t < a) {
            s += 1;
        }
        let strong = song.strong[s..].iter().take_while(|t| **t < b).count() as u32;
        let passing = u64::from(PASSING) * (b - a) as u64 / beat as u64;
        grind.against(note.midi, strong * STRONG + passing.min(u64::from(PASSING)) as u32);
    }
    grind
}

/// A part that sounds already: its strikes by onset, and how much longer than written they last.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sounding<'a> {
    pub(super) strikes: &'a [Strike],
    pub(super) ring: Tick,
    longest: Tick,
}

impl<'a> Sounding<'a> {
    pub(super) fn new(strikes: &'a [Strike], ring: Tick) -> Sounding<'a> {
        let longest = strikes.iter().map(|s| s.end - s.at).max().unwrap_or(0) + ring;
        Sounding { strikes, ring, longest }
    }
}

/// The cost of sounding from `from` to `to` against the notes of another part.
pub(super) fn against_part(song: &Song, part: &Sounding<'_>, from: Tick, to: Tick) -> Grind {
    let mut grind = Grind::default();
    let first = part.strikes.partition_point(|s| s.at < from - part.longest);
    for strike in part.strikes.iter().skip(first).take_while(|s| s.at < to) {
        let (a, b) = (strike.at.max(from), (strike.end + part.ring).min(to));
        if a >= b {
            continue;
        }
        let s = song.strong.partition_point(|t| *t < a);
        let strong = song.strong.get(s).is_some_and(|t| *t < b);
        grind.against(strike.midi, if strong { STRONG / 2 } else { PASSING / 2 });
    }
    grind
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::score::Interval;

    #[test]
    fn grinding_is_what_the_score_calls_harsh() {
        for midi in 60..72 {
            let mut grind = Grind::default();
            grind.against(Midi::new(midi), 1);
            for other in 60..72 {
                let harsh = Interval::new(other - midi).is_harsh();
                assert_eq!(grind.of(Midi::new(other)) == 1, harsh, "{midi} {other}");
            }
        }
    }
}
