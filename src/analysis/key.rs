//! The key: a linear score over the named features of each candidate, made into probabilities by a
//! softmax; and the piece cut into stretches of one key.

use std::ops::Range;

use super::key_features::{CANDIDATES, Row, Summary};
use super::key_weights::{DEGREE_SCORES, NOTES, TEMPERATURE, WITH_SIGNATURE};
use super::table::Table;
use super::{KeyFinding, KeyGuess, KeySection, KeySource, Options};
use crate::score::{Key, KeySignature, Line, Mode, PitchClass, Score, Time};

/// How many runners-up are given.
const RUNNERS_UP: usize = 5;

/// Runners-up less likely than this are left out.
const LEAST_CONFIDENCE: f64 = 0.001;

/// A candidate's number: twelve tonics by seven modes.
pub(super) fn candidate(tonic: usize, mode: usize) -> usize {
    tonic * 7 + mode
}

/// What a mode that the source names beside its signature adds to the score of the key it means: a
/// minor or an old mode is named on purpose, `major` often because a program writes it everywhere.
/// Set by hand: in the training tunes the named mode is the label itself, so it can't be fitted.
const NAMED_MODE: f32 = 4.0;
const NAMED_MAJOR: f32 = 2.0;

/// What the scores are divided by besides where fewer pitch classes than [`ENOUGH_CLASSES`] sound: one
/// note or two tell no key. Set by hand, for hardly a training tune has so few.
const TOO_FEW: f32 = 3.0;
const ENOUGH_CLASSES: usize = 3;

/// The probability of each candidate key of a stretch.
fn probabilities(summary: &Summary, signature: Option<KeySignature>) -> [f32; CANDIDATES] {
    let with_signature = signature.is_some();
    let (weights, temperature): (&Row, f32) =
        if with_signature { (&WITH_SIGNATURE, TEMPERATURE[1]) } else { (&NOTES, TEMPERATURE[0]) };
    let few = summary.classes() < ENOUGH_CLASSES;
    let temperature = if few { TOO_FEW * temperature } else { temperature };
    let mut scores = [0.0f32; CANDIDATES];
    for tonic in 0..12 {
        for mode in 0..7 {
            let row = summary.row(tonic, mode);
            let score: f32 = row.iter().zip(weights).map(|(f, w)| f * w).sum();
            scores[candidate(tonic, mode)] = score / temperature;
        }
    }
    if let Some((fifths, mode)) = signature.and_then(|k| Some((k.fifths, k.mode?))) {
        let tonic = Key::from_signature(fifths.clamp(-7, 7), mode).tonic.class().index();
        let number = Mode::ALL.iter().position(|m| *m == mode).unwrap_or(0);
        let named = if mode == Mode::Major { NAMED_MAJOR } else { NAMED_MODE };
        scores[candidate(tonic, number)] += named;
    }
    let top = scores.iter().copied().fold(f32::MIN, f32::max);
    let mut sum = 0.0;
    for s in &mut scores {
        *s = (*s - top).exp();
        sum += *s;
    }
    scores.map(|s| s / sum)
}

/// The signature at a moment, where it is to be minded.
fn signature(score: &Score, at: Time, options: Options) -> Option<KeySignature> {
    if options.ignore_signature { None } else { score.signature_at(at).copied() }
}

/// The key on this tonic, spelled as the tune and its signature spell it.
fn spelled(tonic: usize, mode: Mode, line: &Line, signature: Option<i16>) -> Key {
    let class = PitchClass::new(tonic as i16);
    let plain = Key::on(class, mode);
    if let Some(fifths) = signature {
        let off = (fifths - i16::from(plain.fifths())).rem_euclid(12);
        if off == 0 {
            return Key::from_signature(fifths.clamp(-7, 7) as i8, mode);
        }
    }
    // As the tune writes its tonic, as long as the signature stays within seven sharps or flats.
    let written = line.notes.iter().map(|n| n.pitch.name).find(|n| n.class() == class);
    match written.map(|name| Key::new(name, mode)) {
        Some(key) if (-7..=7).contains(&key.fifths()) => key,
        _ => plain,
    }
}

/// The candidates in order of probability as keys.
fn ranked(
    probabilities: &[f32; CANDIDATES],
    line: &Line,
    signature: Option<i16>,
) -> (KeyGuess, Vec<KeyGuess>) {
    let mut order: Vec<usize> = (0..CANDIDATES).collect();
    order.sort_by(|a, b| probabilities[*b].total_cmp(&probabilities[*a]));
    let guess = |c: usize| KeyGuess {
        key: spelled(c / 7, Mode::ALL[c % 7], line, signature),
        confidence: f64::from(probabilities[c]),
    };
    let best = guess(order[0]);
    let others = order[1..=RUNNERS_UP]
        .iter()
        .map(|c| guess(*c))
        .filter(|g| g.confidence >= LEAST_CONFIDENCE)
        .collect();
    (best, others)
}

/// The key of a melody and its sections; `phrase_starts` are the indices of the notes that begin
/// phrases, the first note's included.
pub(super) fn find(
    score: &Score,
    line: &Line,
    table: &Table,
    phrase_starts: &[usize],
    options: Options,
) -> KeyFinding {
    let first = line.notes.first().map_or(Time::ZERO, |n| n.onset);
    let named = signature(score, first, options);
    let sharps = named.map(|k| i16::from(k.fifths));
    let source = if sharps.is_some() { KeySource::NotesAndSignature } else { KeySource::Notes };
    let ends: Vec<usize> = phrase_starts
        .iter()
        .skip(1)
        .map(|s| s.saturating_sub(1))
        .chain(table.events.len().checked_sub(1))
        .collect();
    let whole = 0..table.events.len();
    let Some(summary) = Summary::new(table, score, whole.clone(), &ends, sharps) else {
        // No notes: nothing to hear a key from but the signature.
        let key = Key::from_signature(sharps.unwrap_or(0).clamp(-7, 7) as i8, Mode::Major);
        let best = KeyGuess { key, confidence: 1.0 / CANDIDATES as f64 };
        let to = score.end();
        let section = KeySection { from: Time::ZERO, to, key, confidence: best.confidence };
        return KeyFinding { best, alternatives: Vec::new(), source, sections: vec![section] };
    };
    let (best, alternatives) = ranked(&probabilities(&summary, named), line, sharps);
    let mut sections: Vec<KeySection> = Vec::new();
    let ranges = segments(table, phrase_starts, COSTS);
    let mut ranges: Vec<Range<usize>> = if ranges.is_empty() { vec![whole] } else { ranges };
    if let [only] = ranges.as_mut_slice() {
        sections.push(KeySection {
            from: Time::ZERO,
            to: score.end().max(line.notes.last().map_or(Time::ZERO, |n| n.end())),
            key: best.key,
            confidence: best.confidence,
        });
        *only = 0..0;
        ranges.clear();
    }
    for range in ranges {
        let from = line.notes.get(range.start).map_or(Time::ZERO, |n| n.onset);
        let named = signature(score, from, options);
        let sharps = named.map(|k| i16::from(k.fifths));
        let Some(summary) = Summary::new(table, score, range, &ends, sharps) else { continue };
        let (guess, _) = ranked(&probabilities(&summary, named), line, sharps);
        let from = if sections.is_empty() { Time::ZERO } else { from };
        match sections.last_mut() {
            // Two stretches that turn out to be in one key are one stretch.
            Some(last) if last.key == guess.key => {
                last.confidence = last.confidence.max(guess.confidence);
            }
            _ => {
                if let Some(last) = sections.last_mut() {
                    last.to = from;
                }
                sections.push(KeySection {
                    from,
                    to: score.end(),
                    key: guess.key,
                    confidence: guess.confidence,
                });
            }
        }
    }
    KeyFinding { best, alternatives, source, sections }
}

/// What cutting a melody into stretches of one key each costs and gains.
#[derive(Clone, Copy, Debug)]
pub(super) struct Costs {
    /// What a change of key costs.
    pub(super) change: f32,
    /// How much less it costs where a phrase begins.
    pub(super) at_phrase: f32,
    /// What a stretch gains by ending on its tonic.
    pub(super) ends_on_tonic: f32,
}

/// Tuned on 150 made pieces, each two of the training tunes glued together
/// (`analysis_figures.py` measures on others).
const COSTS: Costs = Costs { change: 14.0, at_phrase: 3.0, ends_on_tonic: 2.0 };

/// The places where the key may change: the notes that begin a measure or a phrase (told by the flag).
pub(super) fn starts_of_units(table: &Table, phrase_starts: &[usize]) -> Vec<(usize, bool)> {
    let mut starts: Vec<(usize, bool)> = Vec::new();
    let mut phrases = phrase_starts.iter().copied().peekable();
    for (i, e) in table.events.iter().enumerate() {
        let mut phrase = false;
        while phrases.next_if(|p| *p <= i).is_some() {
            phrase = true;
        }
        if i == 0 || phrase || e.measure != table.events[i - 1].measure {
            starts.push((i, phrase));
        }
    }
    starts
}

/// Cuts the melody into stretches of one key each, exactly: the best sum of note scores less the cost
/// of each change, by dynamic programming over the measures and phrases.
pub(super) fn segments(table: &Table, phrase_starts: &[usize], costs: Costs) -> Vec<Range<usize>> {
    let events = &table.events;
    if events.is_empty() {
        return Vec::new();
    }
    let starts = starts_of_units(table, phrase_starts);
    let per_degree = &DEGREE_SCORES;
    let mut value = [0.0f32; CANDIDATES];
    let mut back: Vec<[u8; CANDIDATES]> = Vec::with_capacity(starts.len());
    let mean = events.iter().map(|e| e.weight).sum::<f32>() / events.len() as f32;
    let scale = if mean > 0.0 { 1.0 / mean } else { 0.0 };
    for (u, &(start, phrase)) in starts.iter().enumerate() {
        let end = starts.get(u + 1).map_or(events.len(), |s| s.0);
        let mut hist = [0.0f32; 12];
        for e in &events[start..end] {
            hist[usize::from(e.class)] += e.weight * scale;
        }
        let mut from = [0u8; CANDIDATES];
        if u == 0 {
            back.push(from);
        } else {
            let before = usize::from(events[start - 1].class);
            let ended =
                |c: usize| value[c] + if c / 7 == before { costs.ends_on_tonic } else { 0.0 };
            let mut best = 0;
            for c in 1..CANDIDATES {
                if ended(c) > ended(best) {
                    best = c;
                }
            }
            let changed = ended(best) - costs.change + if phrase { costs.at_phrase } else { 0.0 };
            for c in 0..CANDIDATES {
                from[c] = c as u8;
                if changed > value[c] {
                    value[c] = changed;
                    from[c] = best as u8;
                }
            }
            back.push(from);
        }
        for tonic in 0..12 {
            for (mode, degrees) in per_degree.iter().enumerate() {
                let mut sum = 0.0;
                for (d, score) in degrees.iter().enumerate() {
                    sum += hist[(tonic + d) % 12] * score;
                }
                value[candidate(tonic, mode)] += sum;
            }
        }
    }
    let last = usize::from(events[events.len() - 1].class);
    let total = |c: usize| value[c] + if c / 7 == last { costs.ends_on_tonic } else { 0.0 };
    let mut key = (0..CANDIDATES).fold(0, |b, c| if total(c) > total(b) { c } else { b });
    let mut cuts = Vec::new();
    for u in (1..starts.len()).rev() {
        let from = usize::from(back[u][key]);
        if from != key {
            cuts.push(starts[u].0);
            key = from;
        }
    }
    cuts.push(0);
    cuts.reverse();
    (0..cuts.len()).map(|i| cuts[i]..cuts.get(i + 1).copied().unwrap_or(events.len())).collect()
}
