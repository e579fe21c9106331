//! The pickup of a file that begins with its first note: MIDI files lay their measures from the
//! start, pickup or not, so where the bar lines belong must be told from the notes.

use crate::score::{Meter, Time};

use super::Placed;

/// Weight of the notes' mean metrical weight against that of the last note. Tuned on 400 folk tunes
/// (ryansMammoth, oneills1850, airdsAirs of music21's corpora, seed 1) and 371 chorale sopranos.
const ACCENT: f64 = 20.0;
/// Weight of the last note's metrical weight; tuned likewise.
const ENDING: f64 = 0.5;
/// A note counts by its length in quarters, longer ones as this; tuned likewise.
const LONGEST: f64 = 4.0;
/// Fewer notes tell nothing of where the measures begin.
const FEWEST: usize = 8;
/// As many notes of a part are heard.
const HEARD: usize = 4096;
/// Longest measure, in steps, for which this is done.
const MAX_STEPS: i64 = 64;

/// The length of the pickup, from nothing to just under half a measure, in steps of an eighth (or the
/// meter's own unit, if shorter): that with which long notes and the last one fall on the strongest
/// places of the measures. Every possible one is tried. Only notes before `until` count.
pub(crate) fn guess(parts: &[Vec<Placed>], meter: Meter, until: Option<Time>) -> Time {
    let step = meter.unit().min(Time::new(1, 2));
    let steps = meter.measure().div_floor(step);
    if !(2..=MAX_STEPS).contains(&steps) {
        return Time::ZERO;
    }
    // How much sound begins at each step of the measure, counted from the file's start.
    let mut begins = vec![0.0; steps as usize];
    let mut total = 0.0;
    let mut last = Time::ZERO;
    let mut heard = 0;
    let in_range = |p: &&Placed| until.is_none_or(|until| p.onset < until);
    for note in parts.iter().flat_map(|p| p.iter().take(HEARD)).filter(in_range) {
        let length = note.duration.as_f64().min(LONGEST);
        total += length;
        last = last.max(note.onset);
        heard += 1;
        // The step is one over a power of two; notes off the steps are as weak wherever it starts.
        if let Some(begins) = step_of(note.onset, step, steps).and_then(|i| begins.get_mut(i)) {
            *begins += length;
        }
    }
    if heard < FEWEST || total <= 0.0 {
        return Time::ZERO;
    }
    let weights: Vec<f64> = (0..steps).map(|i| meter.weight(step * i)).collect();
    let weight = |i: i64| weights.get(i.rem_euclid(steps) as usize).copied().unwrap_or(0.0);
    let ending = step_of(last, step, steps);
    let score = |pickup: i64| {
        let sum = begins.iter().enumerate().map(|(i, b)| b * weight(i as i64 - pickup));
        let accent: f64 = sum.sum::<f64>() / total;
        ACCENT * accent + ENDING * ending.map_or(0.0, |i| weight(i as i64 - pickup))
    };
    let mut best = (score(0), 0);
    for pickup in (1..steps).take_while(|p| p * 2 < steps) {
        let score = score(pickup);
        if score > best.0 {
            best = (score, pickup);
        }
    }
    step * best.1
}

/// The step of the measure on which a moment lies, if on any.
fn step_of(at: Time, step: Time, steps: i64) -> Option<usize> {
    // Steps are one over a whole number of quarters.
    let scaled = at.numerator() * step.denominator();
    if scaled % at.denominator() != 0 {
        return None;
    }
    usize::try_from((scaled / at.denominator()).rem_euclid(steps)).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first line of a tune in 3/4 whose measures are a half and a quarter, with an upbeat.
    #[test]
    fn long_notes_begin_measures() {
        let mut notes = Vec::new();
        let mut at = Time::ZERO;
        for length in [1, 2, 1, 2, 1, 2, 1, 2, 1, 2] {
            let duration = Time::quarters(length);
            notes.push(Placed { onset: at, duration });
            at += duration;
        }
        let meter = Meter::new(3, 4).unwrap();
        assert_eq!(guess(&[notes.clone()], meter, None), Time::QUARTER);
        let later = Time::QUARTER;
        let without: Vec<Placed> =
            notes[1..].iter().map(|n| Placed { onset: n.onset - later, ..*n }).collect();
        assert_eq!(guess(&[without], meter, None), Time::ZERO);
    }
}
