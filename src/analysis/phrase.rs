//! Phrases: where they begin, and which are alike.
//!
//! A division of the melody is worth the sum, over its inner boundaries, of a weighted sum of the
//! figures of [`PHRASE_FEATURES`] and, over its phrases, of a weighted sum of [`LENGTH_FEATURES`].
//! The best division is found exactly by dynamic programming over the notes. The weights stand in
//! `phrase_weights.rs`.

use super::Phrase;
use super::key_features::median_length;
use super::phrase_weights::{BOUNDARY, LENGTH};
use super::table::Table;
use crate::score::{Line, Score, Syllabic, Time};

/// The figures of a boundary before a note, in the order of their weights.
#[allow(dead_code, reason = "names the weights; the fit prints them")]
pub(super) const PHRASE_FEATURES: &[&str] = &[
    "constant",
    "rest before the note",
    "rest in beats, at most two",
    "note before: length over the median, octaves of two",
    "note before is longer than both neighbours",
    "note before: length over this note's, octaves of two",
    "same place in the measure as the tune's first note",
    "note begins a measure",
    "double bar or repeat between",
    "leap of a fourth or more",
    "leap bigger than both neighbours",
    "note before is reached by a falling step",
    "next four notes as at the tune's start",
    "next four notes as at an earlier place",
    "next four lengths as at the tune's start",
    "note before is the tune's last class",
    "note before is a fifth above the tune's last class",
    "note before falls on a strong beat",
    "fermata on the note before",
    "syllable before ends a sentence",
    "syllable before ends a clause",
    "syllable begins with a capital after a finished word",
];

/// Number of boundary figures.
pub(super) const BOUNDARIES: usize = 22;

/// The figures of a phrase's length, in the order of their weights.
#[allow(dead_code, reason = "names the weights; the fit prints them")]
pub(super) const LENGTH_FEATURES: &[&str] = &[
    "missing to eight beats, as a share of eight",
    "the same squared",
    "beyond eight beats, as a share of eight, at most two",
    "the same squared",
    "a whole number of measures",
    "two or four measures",
    "eight beats",
    "fewer than four notes",
];

/// Number of length figures.
pub(super) const LENGTHS: usize = 8;

/// The figures of one boundary.
pub(super) type BoundaryRow = [f32; BOUNDARIES];

/// No phrase holds more notes than this (so that the search is linear in the tune's length).
const MOST_NOTES: usize = 64;

/// Two lengths in measures count as equal within this (a tick of any usual grid is larger).
const NEAR: f32 = 0.02;

/// A length in octaves of two, kept within three either way.
fn octaves(ratio: f64) -> f32 {
    if ratio <= 0.0 { -3.0 } else { (ratio.log2() as f32).clamp(-3.0, 3.0) }
}

/// The figures of the boundary before each note (the first note's are all zero).
pub(super) fn boundary_rows(line: &Line, table: &Table, ignore_fermatas: bool) -> Vec<BoundaryRow> {
    let events = &table.events;
    let n = events.len();
    let mut rows = vec![[0.0f32; BOUNDARIES]; n];
    let Some(last) = events.last() else { return rows };
    let median = median_length(events);
    let onset_gap = |i: usize| match events.get(i + 1) {
        Some(next) => next.at - events[i].at,
        None => events[i].length,
    };
    let (same_notes, same_lengths, earlier) = repeats(table);
    let final_class = last.class;
    for i in 1..n {
        let (before, e) = (&events[i - 1], &events[i]);
        let bar = table.bars.get(before.measure as usize).copied().unwrap_or(table.bars[0]);
        let rest = (e.at - before.end()).max(0.0) as f32 / bar.beat.max(0.01);
        let gap = onset_gap(i - 1);
        let next_gap = onset_gap(i);
        let leap = (e.midi - before.midi).abs();
        let from_before = if i >= 2 { before.midi - events[i - 2].midi } else { 0 };
        let after = events.get(i + 1).map_or(0, |a| (a.midi - e.midi).abs());
        let yes = |b: bool| f32::from(u8::from(b));
        let row = &mut rows[i];
        row[0] = 1.0;
        // A quarter of a beat: shorter gaps are ways of playing, not rests.
        row[1] = yes(rest >= 0.25);
        row[2] = rest.min(2.0);
        row[3] = octaves(gap / median.max(1e-9));
        let longer_than_before = i < 2 || gap > onset_gap(i - 2);
        row[4] = yes(longer_than_before && gap > next_gap);
        row[5] = octaves(gap / next_gap.max(1e-9));
        row[6] = yes((e.place - events[0].place).abs() < 1e-4);
        row[7] = yes(e.level == 0);
        let crossed = table.bars.get(before.measure as usize..e.measure as usize);
        row[8] = yes(crossed.is_some_and(|b| b.iter().any(|b| b.closes)));
        row[9] = yes(leap >= 5);
        row[10] = yes(leap > from_before.abs() && leap > after);
        row[11] = yes(from_before == -1 || from_before == -2);
        row[12] = yes(same_notes[i]);
        row[13] = yes(earlier[i]);
        row[14] = yes(same_lengths[i]);
        row[15] = yes(before.class == final_class);
        row[16] = yes(before.class == (final_class + 7) % 12);
        row[17] = yes(before.level <= 1);
        let (from, to) = (&line.notes[i - 1], &line.notes[i]);
        row[18] = yes(!ignore_fermatas && from.fermata);
        if let Some(lyric) = from.lyrics.first() {
            let end = lyric.text.trim_end_matches(['"', '\'', '”', '’', ')', '»']);
            row[19] = yes(end.ends_with(['.', '!', '?', ';', ':', '/']));
            row[20] = yes(end.ends_with([',', '–', '—']));
        }
        if let Some(lyric) = to.lyrics.first() {
            let starts = matches!(lyric.syllabic, Syllabic::Single | Syllabic::Begin);
            let capital = lyric.text.chars().find(|c| c.is_alphabetic());
            // "I" is a capital anywhere.
            row[21] =
                yes(starts && lyric.text.trim() != "I" && capital.is_some_and(char::is_uppercase));
        }
    }
    rows
}

/// For each note: whether the four notes from it on repeat the tune's first four (intervals and
/// lengths), their lengths alone, and whether they repeat any earlier four that the note before
/// didn't belong to already.
fn repeats(table: &Table) -> (Vec<bool>, Vec<bool>, Vec<bool>) {
    let events = &table.events;
    let n = events.len();
    let (mut notes, mut lengths, mut earlier) = (vec![false; n], vec![false; n], vec![false; n]);
    if n < 5 {
        return (notes, lengths, earlier);
    }
    // A mix of three intervals and three onset distances, which is all that four notes share.
    let prints: Vec<(u64, u64)> = events
        .windows(4)
        .map(|w| {
            let (mut steps, mut times) = (0u64, 0u64);
            for p in w.windows(2) {
                steps = steps.wrapping_mul(263).wrapping_add((p[1].midi - p[0].midi + 128) as u64);
                let gap = ((p[1].at - p[0].at) * 5040.0).round() as u64;
                times = times.wrapping_mul(1_000_003).wrapping_add(gap);
            }
            (steps.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ times, times)
        })
        .collect();
    let mut order: Vec<(u64, u32)> =
        prints.iter().enumerate().map(|(i, p)| (p.0, i as u32)).collect();
    order.sort_unstable();
    let mut first_seen = vec![u32::MAX; prints.len()];
    for group in order.chunk_by(|a, b| a.0 == b.0) {
        for pair in group.windows(2) {
            first_seen[pair[1].1 as usize] = group[0].1;
        }
    }
    for i in 1..prints.len() {
        notes[i] = prints[i].0 == prints[0].0;
        lengths[i] = prints[i].1 == prints[0].1;
        let seen = first_seen[i];
        let goes_on = seen != u32::MAX && seen > 0 && first_seen[i - 1] == seen - 1;
        earlier[i] = seen != u32::MAX && !goes_on;
    }
    (notes, lengths, earlier)
}

/// The worth of a phrase from its length: `beats` of counted beats, `measures` and `notes`.
pub(super) fn length_score(
    weights: &[f32; LENGTHS],
    beats: f32,
    measures: f32,
    notes: usize,
) -> f32 {
    let short = (8.0 - beats).max(0.0) / 8.0;
    let long = ((beats - 8.0).max(0.0) / 8.0).min(2.0);
    // Lengths are positive; f32::round is a library call on plain x86-64, and this is the inner loop.
    let near = (measures + 0.5) as i32 as f32;
    let whole = (measures - near).abs() < NEAR;
    let mut sum = weights[0] * short
        + weights[1] * short * short
        + weights[2] * long
        + weights[3] * long * long;
    if whole {
        sum += weights[4];
        if near == 2.0 || near == 4.0 {
            sum += weights[5];
        }
    }
    if (beats - 8.0).abs() < NEAR {
        sum += weights[6];
    }
    if notes < 4 {
        sum += weights[7];
    }
    sum
}

/// The best division: the indices of the notes that begin phrases, 0 first. `places` are the notes'
/// onsets in beats and in measures, with the end of the tune as one more row.
pub(super) fn best_division(
    rows: &[BoundaryRow],
    places: &[(f32, f32)],
    boundary: &BoundaryRow,
    length: &[f32; LENGTHS],
) -> Vec<usize> {
    let n = rows.len();
    if n == 0 || places.len() <= n {
        return Vec::new();
    }
    // best[j]: the worth of the best division of the notes before j.
    let mut best = vec![f32::NEG_INFINITY; n + 1];
    let mut from = vec![0u32; n + 1];
    best[0] = 0.0;
    for j in 1..=n {
        for i in j.saturating_sub(MOST_NOTES)..j {
            let (beats, measures) = (places[j].0 - places[i].0, places[j].1 - places[i].1);
            let worth = best[i] + length_score(length, beats, measures, j - i);
            if worth > best[j] {
                best[j] = worth;
                from[j] = i as u32;
            }
        }
        if let Some(row) = rows.get(j) {
            best[j] += row.iter().zip(boundary).map(|(f, w)| f * w).sum::<f32>();
        }
    }
    let mut starts = Vec::new();
    let mut j = n;
    while j > 0 {
        j = from[j] as usize;
        starts.push(j);
    }
    starts.reverse();
    starts
}

/// The onsets in beats and measures that [`best_division`] takes, with the end as the last row.
pub(super) fn places(table: &Table) -> Vec<(f32, f32)> {
    let events = &table.events;
    let mut out: Vec<(f32, f32)> = Vec::with_capacity(events.len() + 1);
    let mut beats = 0.0f64;
    let mut before: Option<f64> = None;
    for e in events {
        let beat = table.bars.get(e.measure as usize).map_or(1.0, |b| b.beat);
        if let Some(at) = before {
            beats += (e.at - at) / f64::from(beat.max(0.01));
        }
        before = Some(e.at);
        out.push((beats as f32, e.bar));
    }
    if let Some(last) = events.last() {
        let bar = table.bars.get(last.measure as usize).copied().unwrap_or(table.bars[0]);
        let end = last.end();
        // A last note that stops short of its measure is followed by rests that belong to it.
        let filled = if end < bar.end { bar.end } else { end };
        let length = filled - last.at;
        out.push((
            beats as f32 + length as f32 / bar.beat.max(0.01),
            last.bar + length as f32 / bar.full.max(0.01),
        ));
    }
    out
}

/// The indices of the notes that begin phrases, 0 first; empty for a melody without notes.
pub(super) fn starts(line: &Line, table: &Table, ignore_fermatas: bool) -> Vec<usize> {
    let rows = boundary_rows(line, table, ignore_fermatas);
    best_division(&rows, &places(table), &BOUNDARY, &LENGTH)
}

/// The phrases that begin at `starts`, with their letters; they cover the piece without gaps.
pub(super) fn phrases(score: &Score, line: &Line, table: &Table, starts: &[usize]) -> Vec<Phrase> {
    let labels = labels(table, starts);
    let end = score.end().max(line.notes.last().map_or(Time::ZERO, |n| n.end()));
    let onset = |k: usize| {
        if k == 0 {
            return Time::ZERO;
        }
        starts.get(k).and_then(|i| line.notes.get(*i)).map_or(end, |n| n.onset)
    };
    labels
        .into_iter()
        .enumerate()
        .map(|(k, label)| Phrase { from: onset(k), to: onset(k + 1), label })
        .collect()
}

/// From this share of common notes on, two phrases are the same.
const SAME: f32 = 0.95;

/// From this share of common notes on, one is a variant of the other.
const VARIANT: f32 = 0.6;

/// A phrase is compared with at most this many kinds of phrases before it.
const MOST_KINDS: usize = 64;

/// The letters of the phrases: those that share at least [`SAME`] of their notes have the same,
/// variants that share at least [`VARIANT`] have one with primes.
///
/// Two notes are common where place in the phrase and pitch agree. The thresholds are the project's
/// own; no data behind them.
fn labels(table: &Table, starts: &[usize]) -> Vec<String> {
    // Each kind: a phrase that stands for it, its letter, its variant's number.
    let mut kinds: Vec<(std::ops::Range<usize>, usize, usize)> = Vec::new();
    let mut letters: Vec<usize> = Vec::new();
    let mut labels = Vec::with_capacity(starts.len());
    for (k, &start) in starts.iter().enumerate() {
        let range = start..starts.get(k + 1).copied().unwrap_or(table.events.len());
        let mut likest: Option<(f32, usize)> = None;
        for (kind, (other, ..)) in kinds.iter().enumerate().rev().take(MOST_KINDS) {
            let likeness = likeness(table, other.clone(), range.clone());
            if likest.is_none_or(|(best, _)| likeness >= best) {
                likest = Some((likeness, kind));
            }
        }
        let (letter, variant) = match likest {
            Some((likeness, kind)) if likeness >= SAME => (kinds[kind].1, kinds[kind].2),
            Some((likeness, kind)) if likeness >= VARIANT => {
                let letter = kinds[kind].1;
                letters[letter] += 1;
                kinds.push((range, letter, letters[letter]));
                (letter, letters[letter])
            }
            _ => {
                letters.push(0);
                kinds.push((range, letters.len() - 1, 0));
                (letters.len() - 1, 0)
            }
        };
        labels.push(label(letter, variant));
    }
    labels
}

/// `a`, `b`, ..., `z`, `aa`, ... with primes.
fn label(letter: usize, variant: usize) -> String {
    let mut text = String::new();
    let mut n = letter + 1;
    while n > 0 {
        n -= 1;
        text.insert(0, char::from(b'a' + (n % 26) as u8));
        n /= 26;
    }
    text.extend(std::iter::repeat_n('\'', variant.min(3)));
    text
}

/// Share of notes that two phrases have in common: twice their number over that of all.
fn likeness(table: &Table, a: std::ops::Range<usize>, b: std::ops::Range<usize>) -> f32 {
    let (Some(a), Some(b)) = (table.events.get(a), table.events.get(b)) else { return 0.0 };
    let (Some(first_a), Some(first_b)) = (a.first(), b.first()) else { return 0.0 };
    // Laid over each other by measures, so that a pickup more or less doesn't shift them.
    let (start_a, start_b) = (first_a.bar.round(), first_b.bar.round());
    let (mut i, mut j, mut common) = (0, 0, 0usize);
    while let (Some(x), Some(y)) = (a.get(i), b.get(j)) {
        let apart = (x.bar - start_a) - (y.bar - start_b);
        if apart.abs() < NEAR / 2.0 {
            common += usize::from(x.midi == y.midi);
            i += 1;
            j += 1;
        } else if apart < 0.0 {
            i += 1;
        } else {
            j += 1;
        }
    }
    2.0 * common as f32 / (a.len() + b.len()) as f32
}
