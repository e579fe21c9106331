//! Which root each measure asks of the accompaniment.
//!
//! The analysis names chords beat by beat; a drone changes no faster than by measures. A measure asks for a
//! root where one chord holds most of it, or else where the triad on that root holds most of its melody and
//! clearly more than the tonic's triad does. Everywhere else nothing is asked for, and the tonic stays.

use super::song::{MelodyNote, Span, Tick};
use crate::score::{Interval, Key, PitchClass};

/// The share of a measure that a chord, or of its melody that a triad, must hold.
const MOST: f64 = 0.75;
/// How much more of the melody it must hold than the tonic's triad. Both set by hand.
const CLEARLY: f64 = 0.25;
/// Degrees whose triads are tried, the usual ones first: V, IV, vi, ii, iii, VII (of those equal the first
/// is taken).
const DEGREES: [usize; 6] = [4, 3, 5, 1, 2, 6];

/// For each measure the root that it asks for, the tonic included; `None` where it asks for none.
pub(super) fn roots(
    key: Key,
    bars: &[(Tick, Tick)],
    melody: &[MelodyNote],
    harmony: &[Span],
) -> Vec<Option<PitchClass>> {
    bars.iter().map(|bar| held(*bar, harmony).or_else(|| outlined(key, *bar, melody))).collect()
}

/// How long two stretches overlap.
fn overlap(a: (Tick, Tick), b: (Tick, Tick)) -> Tick {
    (a.1.min(b.1) - a.0.max(b.0)).max(0)
}

/// The root that holds most of a measure by its chords.
fn held(bar: (Tick, Tick), harmony: &[Span]) -> Option<PitchClass> {
    let mut share = [0; 12];
    let first = harmony.partition_point(|s| s.end <= bar.0);
    for span in harmony.iter().skip(first).take_while(|s| s.at < bar.1) {
        share[span.root.index()] += overlap(bar, (span.at, span.end));
    }
    let root = (0..12).max_by_key(|i| share[*i])?;
    (share[root] as f64 >= MOST * (bar.1 - bar.0) as f64).then(|| PitchClass::new(root as i16))
}

/// The root whose triad the melody of a measure outlines.
fn outlined(key: Key, bar: (Tick, Tick), melody: &[MelodyNote]) -> Option<PitchClass> {
    let first = melody.partition_point(|n| n.end <= bar.0);
    let inside: Vec<(PitchClass, Tick)> = melody
        .iter()
        .skip(first)
        .take_while(|n| n.at < bar.1)
        .map(|n| (n.midi.class(), overlap(bar, (n.at, n.end))))
        .collect();
    let all: Tick = inside.iter().map(|n| n.1).sum();
    let share = |degree: usize| {
        let triad = triad(key, degree);
        let own: Tick = inside.iter().filter(|n| triad.contains(&n.0)).map(|n| n.1).sum();
        own as f64 / all.max(1) as f64
    };
    let tonic = share(0);
    let mut best: Option<(f64, usize)> = None;
    for degree in DEGREES {
        let own = share(degree);
        if own >= MOST && own >= tonic + CLEARLY && best.is_none_or(|(b, _)| own > b) {
            best = Some((own, degree));
        }
    }
    best.map(|(_, degree)| triad(key, degree)[0])
}

/// The triad on a degree of the scale (0 is the tonic), root first.
pub(super) fn triad(key: Key, degree: usize) -> [PitchClass; 3] {
    let scale = key.mode.scale();
    [0, 2, 4].map(|third| {
        let step = scale.get((degree + third) % scale.len()).copied().unwrap_or(0);
        key.tonic.class() + Interval::new(step)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::score::{Midi, Mode, NoteName, Step};

    fn measure(midis: &[i16]) -> Vec<MelodyNote> {
        let note = |(i, m): (usize, &i16)| MelodyNote {
            at: i as Tick * 48,
            end: (i as Tick + 1) * 48,
            midi: Midi::new(*m),
        };
        midis.iter().enumerate().map(note).collect()
    }

    /// In C major: B D G D outlines V, F A C A outlines IV, C E G E and a plain scale ask for nothing.
    #[test]
    fn a_measure_asks_for_the_triad_that_it_outlines() {
        let key = Key::new(NoteName::new(Step::C, 0), Mode::Major);
        let asks = |midis: &[i16]| roots(key, &[(0, 192)], &measure(midis), &[])[0];
        assert_eq!(asks(&[59, 62, 67, 62]), Some(PitchClass::new(7)));
        assert_eq!(asks(&[65, 69, 72, 69]), Some(PitchClass::new(5)));
        assert_eq!(asks(&[60, 64, 67, 64]), None);
        assert_eq!(asks(&[60, 62, 64, 65]), None);
    }

    #[test]
    fn a_chord_that_holds_most_of_a_measure_is_asked_for() {
        let key = Key::new(NoteName::new(Step::C, 0), Mode::Major);
        let span =
            |at, end, root| Span { at, end, root: PitchClass::new(root), classes: Vec::new() };
        let melody = measure(&[60, 60, 60, 60]);
        let long = [span(0, 48, 0), span(48, 192, 7)];
        assert_eq!(roots(key, &[(0, 192)], &melody, &long), [Some(PitchClass::new(7))]);
        let halves = [span(0, 96, 0), span(96, 192, 7)];
        assert_eq!(roots(key, &[(0, 192)], &melody, &halves), [None]);
    }
}
