//! What stands around the melody and tells its key: the other parts and the chord symbols.

use super::key_features::normalised;
use super::profile::TEMPERLEY_KOSTKA_PAYNE;
use super::table::{Event, Table};
use crate::score::Score;

/// What the other parts say about the key.
pub(super) struct Parts {
    pub(super) hist: [f32; 12],
    pub(super) temperley: [[f32; 12]; 2],
    pub(super) bass_last: usize,
    pub(super) last_chord: u16,
    pub(super) bass_first: usize,
}

/// What the chord symbols say.
pub(super) struct Symbols {
    pub(super) first: usize,
    pub(super) last: usize,
    pub(super) share: [f32; 12],
    pub(super) with_third: [[f32; 12]; 2],
}

impl Parts {
    /// What the other parts say between two moments; `None` where they are silent there.
    pub(super) fn new(
        table: &Table,
        melody: &[Event],
        melody_hist: &[f32; 12],
        from: f64,
        to: f64,
    ) -> Option<Parts> {
        let start = table.others.partition_point(|e| e.at < from);
        let end = table.others.partition_point(|e| e.at < to);
        let others = table.others.get(start..end)?;
        let (first, last) = (others.first()?, others.last()?);
        let mut hist = [0.0f32; 12];
        for e in others {
            hist[usize::from(e.class)] += e.weight;
        }
        let total: f32 = melody.iter().map(|e| e.weight).sum();
        for (h, m) in hist.iter_mut().zip(melody_hist) {
            *h += m * total;
        }
        let hist = normalised(hist);
        // The last chord: what begins latest, with all that still sounds then.
        let moment = last.at;
        let sounding = |e: &&Event| e.at <= moment && e.end() > moment;
        let mut last_chord = 0u16;
        let mut bass_last = last.midi;
        // Notes longer than eight measures don't occur in the last chord of anything readable.
        for e in others.iter().rev().take(64).filter(sounding) {
            last_chord |= 1 << e.class;
            bass_last = bass_last.min(e.midi);
        }
        if let Some(e) = melody.iter().rev().find(sounding) {
            last_chord |= 1 << e.class;
        }
        let bass_first = others.iter().take_while(|e| e.at <= first.at).map(|e| e.midi).min()?;
        Some(Parts {
            temperley: TEMPERLEY_KOSTKA_PAYNE.correlations(&hist),
            hist,
            bass_last: bass_last.rem_euclid(12) as usize,
            last_chord,
            bass_first: bass_first.rem_euclid(12) as usize,
        })
    }
}

impl Symbols {
    /// What the symbols between two moments say; `None` where there are none.
    pub(super) fn new(score: &Score, from: f64, to: f64) -> Option<Symbols> {
        let mut share = [0.0f32; 12];
        let mut with_third = [[0.0f32; 12]; 2];
        let mut ends: Option<(usize, usize)> = None;
        let mut count = 0.0f32;
        for symbol in &score.chords {
            let at = symbol.at.as_f64();
            let Some(chord) = &symbol.chord else { continue };
            if at < from || at >= to {
                continue;
            }
            let root = chord.root.class().index();
            share[root] += 1.0;
            with_third[usize::from(chord.quality.is_minor())][root] += 1.0;
            count += 1.0;
            ends = Some((ends.map_or(root, |e| e.0), root));
        }
        let (first, last) = ends?;
        for v in share.iter_mut().chain(with_third.iter_mut().flatten()) {
            *v /= count;
        }
        Some(Symbols { first, last, share, with_third })
    }
}
