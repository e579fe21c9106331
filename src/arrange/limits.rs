//! What a player can do, and how a part is thinned until it fits.

use std::collections::BTreeSet;

use super::request::Level;
use super::song::{Song, Strike, Tick};
use crate::kit::Player;
use crate::score::Slide;

/// What a part may ask of its player.
#[derive(Clone, Copy, Debug)]
pub(super) struct Limits {
    pub(super) mallets: u8,
    /// Least comfortable time between two strokes, in seconds; 0 where nothing is known of the
    /// player.
    pub(super) gap: f64,
    pub(super) level: Level,
}

impl Limits {
    pub(super) fn of(player: Option<&Player>, level: Level) -> Limits {
        match player {
            Some(p) => Limits {
                mallets: p.mallets,
                gap: if p.strikes_per_minute > 0.0 { 60.0 / p.strikes_per_minute } else { 0.0 },
                level,
            },
            None => Limits { mallets: 2, gap: 0.0, level },
        }
    }
}

/// Rounding slack of the times in seconds: a part in a thousand million.
pub(super) const SLACK: f64 = 1e-9;

/// Whether a player who needs `gap` seconds between two strokes has them from one moment to a later one.
pub(super) fn apart(song: &Song, from: Tick, to: Tick, gap: f64) -> bool {
    song.seconds(from, to) >= gap * (1.0 - SLACK)
}

/// The moments at which a player strikes: both mallets at once are one stroke, and so is a slide.
pub(super) fn strokes(strikes: &[Strike]) -> Vec<Tick> {
    let mut at: Vec<Tick> = strikes
        .iter()
        .filter(|s| !matches!(s.slide, Some(Slide::Through | Slide::Stop)))
        .map(|s| s.at)
        .collect();
    at.dedup();
    at
}

/// Whether no two strokes follow each other faster than the player comfortably strikes.
pub(super) fn in_time(song: &Song, strikes: &[Strike], gap: f64) -> bool {
    gap <= 0.0 || strokes(strikes).windows(2).all(|w| apart(song, w[0], w[1], gap))
}

/// For each two strokes that follow each other, the factor by which the song would have to be slower for
/// them to be in time: 1 or less where they are.
pub(super) fn slower(song: &Song, strikes: &[Strike], gap: f64) -> Vec<f64> {
    let factor = |w: &[Tick]| gap / song.seconds(w[0], w[1]).max(1e-6);
    strokes(strikes).windows(2).map(factor).collect()
}

/// Thins a part until it is in time for its player. The order: off-beat notes go first, from the
/// weakest place of the measure up, then the weaker beats, then all but the measures' first beats,
/// then every second measure, then three measures of four. What stays is held until the next note
/// that stays. Returns what was done, in plain words; `None` where nothing was.
pub(super) fn thin(song: &Song, strikes: &mut Vec<Strike>, gap: f64) -> Option<String> {
    if in_time(song, strikes, gap) {
        return None;
    }
    let full = strikes.clone();
    let levels: Vec<u8> = full.iter().map(|s| song.level(s.at)).collect();
    let bar_of = |at: Tick| song.bars.partition_point(|b| b.0 <= at).saturating_sub(1);
    let beat_level = song
        .score
        .measures
        .iter()
        .find(|m| m.lead.is_zero())
        .and_then(|m| m.meter.beats().iter().map(|b| m.meter.level(*b)).max())
        .unwrap_or(2);
    // Step by step: the deepest metrical level kept, and every how many measures.
    let steps = (0..=8u8).rev().map(|l| (l, 1)).chain([(0, 2), (0, 4), (0, 8)]);
    for (deepest, every) in steps {
        let kept: Vec<Strike> = full
            .iter()
            .zip(&levels)
            .filter(|(s, l)| **l <= deepest && bar_of(s.at).is_multiple_of(every))
            .map(|(s, _)| *s)
            .collect();
        if kept.is_empty() {
            break;
        }
        if in_time(song, &kept, gap) {
            *strikes = kept;
            hold(strikes, song.close);
            return Some(match (deepest, every) {
                (0, 1) => "only the first note of each measure is left".to_owned(),
                (0, n) => format!("only the first note of every {n} measures is left"),
                (l, _) if l >= beat_level => "the quickest off-beat notes are left out".to_owned(),
                _ => "only the notes on the strong beats are left".to_owned(),
            });
        }
    }
    // Even one stroke in eight measures comes too soon, or nothing stands on a first beat: the
    // first note alone is left, held.
    let first = full.first().map(|s| s.at);
    strikes.retain(|s| Some(s.at) == first);
    hold(strikes, song.close);
    Some("only the first note is left".to_owned())
}

/// Thins a melody: places of the measure come in order of strength, those of one strength in order of
/// time, and a note stays where it is in time with those that stay already. So the tune loses notes only
/// where it is too quick. Returns what was done, in plain words; `None` where nothing was.
pub(super) fn thin_melody(song: &Song, strikes: &mut Vec<Strike>, gap: f64) -> Option<String> {
    if in_time(song, strikes, gap) {
        return None;
    }
    let mut order: Vec<Tick> = strokes(strikes);
    let all = order.len();
    let end = strikes.iter().map(|s| s.end).max().unwrap_or(song.close);
    order.sort_by_key(|at| (song.level(*at), *at));
    let mut kept: BTreeSet<Tick> = BTreeSet::new();
    let apart = |a: Tick, b: Tick| apart(song, a, b, gap);
    for at in order {
        let before = kept.range(..at).next_back().is_none_or(|b| apart(*b, at));
        if before && kept.range(at..).next().is_none_or(|a| apart(at, *a)) {
            kept.insert(at);
        }
    }
    strikes.retain(|s| kept.contains(&s.at));
    // Not to the song's close: an ending of the accompaniment may follow on the tune.
    hold(strikes, end);
    let firsts = kept.iter().all(|at| song.level(*at) == 0);
    Some(if firsts {
        "only first notes of measures are left".to_owned()
    } else {
        let out = all - kept.len();
        let are = if out == 1 { "is" } else { "are" };
        format!("{out} of its {all} notes {are} left out, the weakest places of the measure first")
    })
}

/// Holds each note until the next one, at most for a measure's length of its own kind of note.
fn hold(strikes: &mut [Strike], close: Tick) {
    let onsets: Vec<Tick> = strikes.iter().map(|s| s.at).collect();
    for strike in strikes.iter_mut() {
        let next = onsets.get(onsets.partition_point(|t| *t <= strike.at)).copied();
        // The notes keep their own length but for the last, so that the part ends with the others.
        if next.is_none() {
            strike.end = close.max(strike.at + 1);
        }
    }
}
