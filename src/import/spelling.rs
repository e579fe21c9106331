//! Names for sounding pitches, found on the line of fifths.
//!
//! Two exact searches (dynamic programming, both checked against trying everything):
//!
//! 1. Where the file has no key signature, one is found for every [`BUCKET`] of music: the sequence of
//!    signatures that costs least, a note outside a signature's scale costing
//!    [`OUTSIDE`] and a change [`MOVE`] for each fifth.
//! 2. For each part, the sequence of names that costs least: each name by its place on the line of
//!    fifths as seen from the signature ([`name_cost`]), each pair of neighbours by the distance
//!    of their names on that line ([`step_cost`]), so that a semitone is rather a step (E D♯ E) than a
//!    changed note (E E♭ E).
//!
//! The line of fifths as the space in which spelling is decided is Temperley's (The Cognition of Basic
//! Musical Structures, 2001, chapter 5). Costs are the project's own, tuned on 400 folk tunes of
//! music21's corpora (seed 1) and every other chorale soprano.

use crate::score::{Midi, NoteName, Pitch, Time};

/// Length of the pieces of music that may have a signature of their own, in quarters.
const BUCKET: Time = Time::quarters(4);
/// Cost of a note outside the scale of its signature.
const OUTSIDE: f32 = 1.0;
/// A raised leading note of the relative minor is less of a stranger.
const LEADING: f32 = 0.7;
/// Cost of changing the signature by one fifth.
const MOVE: f32 = 3.0;
/// Cost of each sharp or flat, so that of signatures that suit equally the simplest is taken.
const ACCIDENTAL: f32 = 0.02;
/// Signatures that are tried: so many flats to so many sharps.
const WIDEST: i8 = 6;
const SIGNATURES: usize = 2 * WIDEST as usize + 1;

/// What a name costs by its place on the line of fifths above the signature's major tonic: −1 to 5 are
/// the scale; beyond lie the raised notes (6 is the raised fourth) and the lowered ones.
fn name_cost(place: i16) -> f32 {
    match place {
        -1..=5 => 0.0,
        6 => 1.0,
        7 => 1.2,
        8 => 1.1,
        9 => 2.0,
        10 => 3.0,
        -2 => 0.9,
        -3 => 1.6,
        -4 => 2.2,
        -5 => 3.0,
        _ => 4.0 + 0.2 * f32::from(place.unsigned_abs()),
    }
}

/// What two neighbouring names cost by their distance on the line of fifths: intervals of a scale (up
/// to the tritone) nothing, a chromatic semitone (7) and the further augmented and diminished ones
/// more and more, an enharmonic change (12) most.
fn step_cost(distance: i16) -> f32 {
    match distance.unsigned_abs() {
        0..=6 => 0.0,
        7 | 9 => 0.6,
        8 => 0.5,
        10 => 1.2,
        11 => 2.0,
        _ => 3.0,
    }
}

/// The two places on the line of fifths that are considered for a pitch class under a signature: the
/// nearest to the scale's middle, and the nearest on the other side.
fn candidates(midi: Midi, fifths: i8) -> [i16; 2] {
    // The scale's places are fifths − 1 to fifths + 5; 7 is its own inverse modulo 12.
    let middle = i16::from(fifths) + 2;
    let up = (midi.class().number() * 7 - middle).rem_euclid(12);
    if up <= 6 { [middle + up, middle + up - 12] } else { [middle + up - 12, middle + up] }
}

/// Names the notes of a part, which come in order with the signature in force at each.
pub(crate) fn name(notes: &[(Midi, i8)]) -> Vec<Pitch> {
    let cost = |place: i16, fifths: i8| name_cost(place - i16::from(fifths));
    // Where every note is of its scale and the scale stays, nothing can be cheaper than nothing.
    let first = notes.first().map_or(0, |n| n.1);
    let plain = notes
        .iter()
        .all(|(midi, fifths)| *fifths == first && cost(candidates(*midi, first)[0], first) == 0.0);
    if plain {
        return notes.iter().map(|(m, f)| pitch(*m, candidates(*m, *f)[0])).collect();
    }
    let mut came: Vec<[u8; 2]> = Vec::with_capacity(notes.len());
    let mut costs = [0.0f32; 2];
    let mut before: Option<[i16; 2]> = None;
    for (midi, fifths) in notes {
        let here = candidates(*midi, *fifths);
        let mut next = [0.0; 2];
        let mut from = [0u8; 2];
        for (i, place) in here.into_iter().enumerate() {
            let mut cheapest = 0.0;
            if let Some(before) = before {
                let ways = [0, 1].map(|j| costs[j] + step_cost(place - before[j]));
                from[i] = u8::from(ways[1] < ways[0]);
                cheapest = ways[usize::from(from[i])];
            }
            next[i] = cheapest + cost(place, *fifths);
        }
        // Only differences matter; sums of a long piece would lose them to rounding.
        let least = next[0].min(next[1]);
        costs = [next[0] - least, next[1] - least];
        came.push(from);
        before = Some(here);
    }
    let mut at = usize::from(costs[1] < costs[0]);
    let mut names = Vec::with_capacity(notes.len());
    for ((midi, fifths), from) in notes.iter().zip(&came).rev() {
        names.push(pitch(*midi, candidates(*midi, *fifths)[at]));
        at = usize::from(from[at]);
    }
    names.reverse();
    names
}

fn pitch(midi: Midi, place: i16) -> Pitch {
    Pitch::with_name(midi, NoteName::from_fifths(place)).unwrap_or_else(|| Pitch::spelled(midi, 0))
}

/// Finds the signatures of music that names none: from which time on which signature holds.
pub(crate) fn signatures(notes: impl Iterator<Item = (Time, Midi)>) -> Vec<(Time, i8)> {
    let mut strokes: Vec<(i64, usize)> =
        notes.map(|(at, midi)| (at.div_floor(BUCKET), midi.class().index())).collect();
    strokes.sort_unstable();
    let mut buckets: Vec<(i64, [f32; 12])> = Vec::new();
    for (bucket, class) in strokes {
        if buckets.last().is_none_or(|b| b.0 != bucket) {
            buckets.push((bucket, [0.0; 12]));
        }
        if let Some(count) = buckets.last_mut().and_then(|b| b.1.get_mut(class)) {
            *count += 1.0;
        }
    }
    let chosen = cheapest_signatures(&buckets.iter().map(|b| b.1).collect::<Vec<_>>());
    let mut out: Vec<(Time, i8)> = Vec::new();
    for ((bucket, _), fifths) in buckets.iter().zip(chosen) {
        if out.last().is_none_or(|last| last.1 != fifths) {
            let at = if out.is_empty() { Time::ZERO } else { BUCKET * *bucket };
            out.push((at, fifths));
        }
    }
    out
}

/// What a bucket of notes, counted by pitch class, costs under a signature.
fn bucket_cost(counts: &[f32; 12], fifths: i8) -> f32 {
    let strange = counts.iter().enumerate().map(|(class, count)| {
        let midi = Midi::new(class as i16);
        let place = candidates(midi, fifths)[0] - i16::from(fifths);
        count
            * match place {
                -1..=5 => 0.0,
                8 | -4 => LEADING,
                _ => OUTSIDE,
            }
    });
    strange.sum::<f32>() + ACCIDENTAL * f32::from(fifths.unsigned_abs())
}

/// The cheapest signature for each bucket.
fn cheapest_signatures(buckets: &[[f32; 12]]) -> Vec<i8> {
    let of = |i: usize| i as i8 - WIDEST;
    let mut costs = [0.0f32; SIGNATURES];
    let mut came: Vec<[u8; SIGNATURES]> = Vec::with_capacity(buckets.len());
    for (b, counts) in buckets.iter().enumerate() {
        let mut next = [0.0; SIGNATURES];
        let mut from = [0u8; SIGNATURES];
        for (i, next) in next.iter_mut().enumerate() {
            let mut cheapest = if b == 0 { 0.0 } else { f32::INFINITY };
            for (j, cost) in costs.iter().enumerate().take(if b == 0 { 0 } else { SIGNATURES }) {
                let cost = cost + MOVE * i.abs_diff(j) as f32;
                if cost < cheapest {
                    cheapest = cost;
                    from[i] = j as u8;
                }
            }
            *next = cheapest + bucket_cost(counts, of(i));
        }
        let least = next.iter().copied().fold(f32::INFINITY, f32::min);
        costs = next.map(|cost| cost - least);
        came.push(from);
    }
    let best = costs.iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1));
    let mut at = best.map_or(usize::from(WIDEST.unsigned_abs()), |(i, _)| i);
    let mut chosen = vec![0; buckets.len()];
    for (slot, from) in chosen.iter_mut().zip(&came).rev() {
        *slot = of(at);
        at = usize::from(from[at]);
    }
    chosen
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn spelled(numbers: &[i16], fifths: i8) -> String {
        let notes: Vec<_> = numbers.iter().map(|n| (Midi::new(*n), fifths)).collect();
        let names: Vec<_> = name(&notes).iter().map(ToString::to_string).collect();
        names.join(" ")
    }

    #[test]
    fn steps_rather_than_changed_notes() {
        assert_eq!(spelled(&[64, 63, 64], 0), "E4 D#4 E4");
        assert_eq!(spelled(&[67, 68, 69], 0), "G4 G#4 A4");
        assert_eq!(spelled(&[72, 70, 69, 65], 0), "C5 Bb4 A4 F4");
    }

    #[test]
    fn the_signature_of_a_plain_scale() {
        let g = [67, 69, 71, 72, 74, 76, 78, 79];
        let notes = g.iter().enumerate().map(|(i, n)| (Time::quarters(i as i64), Midi::new(*n)));
        assert_eq!(signatures(notes), [(Time::ZERO, 1)]);
    }

    fn total(notes: &[(Midi, i8)], places: &[i16]) -> f32 {
        let names: f32 = places.iter().zip(notes).map(|(p, n)| name_cost(p - i16::from(n.1))).sum();
        names + places.windows(2).map(|w| step_cost(w[1] - w[0])).sum::<f32>()
    }

    proptest! {
        /// No other choice of names is cheaper: every one is tried.
        #[test]
        fn names_are_the_cheapest(
            numbers in prop::collection::vec((50i16..70, -7i8..8), 1..9),
            one_key in any::<bool>(),
        ) {
            let fifths = numbers[0].1;
            let notes: Vec<_> = numbers
                .iter()
                .map(|(n, f)| (Midi::new(*n), if one_key { fifths } else { *f }))
                .collect();
            let got: Vec<i16> = name(&notes).iter().map(|p| p.name.fifths()).collect();
            let best = (0..1u32 << notes.len())
                .map(|bits| {
                    let places: Vec<i16> = notes
                        .iter()
                        .enumerate()
                        .map(|(i, n)| candidates(n.0, n.1)[(bits >> i & 1) as usize])
                        .collect();
                    total(&notes, &places)
                })
                .fold(f32::INFINITY, f32::min);
            prop_assert!((total(&notes, &got) - best).abs() < 1e-3);
        }

        /// No other sequence of signatures is cheaper.
        #[test]
        fn signatures_are_the_cheapest(counts in prop::collection::vec(prop::array::uniform12(0u8..4), 1..4)) {
            let buckets: Vec<[f32; 12]> = counts.iter().map(|c| c.map(f32::from)).collect();
            let cost = |chosen: &[i8]| {
                let own: f32 = chosen.iter().zip(&buckets).map(|(f, b)| bucket_cost(b, *f)).sum();
                let moves: u32 = chosen.windows(2).map(|w| u32::from(w[0].abs_diff(w[1]))).sum();
                own + MOVE * moves as f32
            };
            let n = buckets.len() as u32;
            let best = (0..SIGNATURES.pow(n))
                .map(|code| {
                    let of = |i: u32| (code / SIGNATURES.pow(i) % SIGNATURES) as i8 - WIDEST;
                    cost(&(0..n).map(of).collect::<Vec<_>>())
                })
                .fold(f32::INFINITY, f32::min);
            prop_assert!((cost(&cheapest_signatures(&buckets)) - best).abs() < 1e-3);
        }
    }
}
