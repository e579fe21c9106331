//! Harmony: one chord per beat at most, from chord symbols, from the other parts, or inferred from
//! the melody by a Viterbi search over the usual chords of the mode.

use super::harmony_weights::{
    CHANGE_DENSE, CHANGE_SLOW, DEGREES, DENSE, Grammar, NOT_PLAIN, PARTS_CHANGE, PARTS_TONES, SCALE,
};
use super::table::{Event, Table};
use super::{Harmony, HarmonySource};
use crate::score::{Chord, Key, Line, Meter, NoteName, Quality, Score, Time};

/// The least unit of harmony: a counted beat.
#[derive(Clone, Copy, Debug)]
struct Slot {
    at: f64,
    end: f64,
    measure: u32,
    /// Number of the beat in its measure's list of beats.
    beat: u16,
    level: u8,
    strong: bool,
}

/// A counted beat of a meter: offset in quarter notes, level, whether it is strong.
type Beat = (f64, u8, bool);

/// The beats of the whole score.
fn slots(score: &Score, table: &Table) -> Vec<Slot> {
    let mut slots: Vec<Slot> = Vec::with_capacity(table.bars.len() * 4);
    let mut shape: Option<(Meter, Vec<Beat>)> = None;
    for (m, bar) in table.bars.iter().enumerate() {
        let meter = score.measures.get(m).map_or(Meter::COMMON, |m| m.meter);
        let lead = score.measures.get(m).map_or(0.0, |m| m.lead.as_f64());
        if shape.as_ref().is_none_or(|(known, _)| *known != meter) {
            let strong = meter.strong_beats();
            let beats = meter
                .beats()
                .into_iter()
                .map(|b| (b.as_f64(), meter.level(b), strong.contains(&b)))
                .collect();
            shape = Some((meter, beats));
        }
        let Some((_, beats)) = &shape else { continue };
        let first = slots.len();
        for (k, (offset, level, strong)) in beats.iter().enumerate() {
            let at = bar.at + offset - lead;
            let until = beats.get(k + 1).map_or(f64::MAX, |b| bar.at + b.0 - lead);
            if until <= bar.at || at >= bar.end {
                continue;
            }
            slots.push(Slot {
                at: at.max(bar.at),
                end: until.min(bar.end),
                measure: m as u32,
                beat: k as u16,
                // A measure that begins within a beat begins weakly.
                level: if at < bar.at { 9 } else { *level },
                strong: *strong && at >= bar.at,
            });
        }
        // A measure longer than its meter keeps its last beat going.
        if let Some(last) = slots.get_mut(first..).and_then(<[Slot]>::last_mut) {
            last.end = last.end.max(bar.end);
        }
    }
    slots
}

impl Slot {
    /// Its level as far as chord changes go, 0 to 3: the weak beats of triple time count with those
    /// inside a half measure.
    fn kind(&self) -> u8 {
        if self.level == 1 && !self.strong { 2 } else { self.level.min(3) }
    }

    /// Where it begins, exactly.
    fn time(&self, score: &Score) -> Time {
        let Some(measure) = score.measures.get(self.measure as usize) else { return Time::ZERO };
        let beats = measure.meter.beats();
        let offset = beats.get(usize::from(self.beat)).copied().unwrap_or(Time::ZERO);
        (measure.start + offset - measure.lead).max(measure.start)
    }
}

/// Weight by pitch class of what sounds in each slot: the sounding length, twice for a note that
/// begins on the slot's start.
fn weights(slots: &[Slot], events: &[Event], bass: bool) -> Vec<[f32; 12]> {
    let mut out = vec![[0.0f32; 12]; slots.len()];
    let mut lowest = vec![(i16::MAX, 0.0f32); if bass { slots.len() } else { 0 }];
    let mut s = 0;
    for e in events {
        while slots.get(s + 1).is_some_and(|n| n.at <= e.at) {
            s += 1;
        }
        let mut k = s;
        while let Some(slot) = slots.get(k).filter(|slot| slot.at < e.end()) {
            let length = e.end().min(slot.end) - e.at.max(slot.at);
            if length > 0.0 {
                let fresh = if (e.at - slot.at).abs() < 1e-9 { 1.0 } else { 0.5 };
                let w = (length / (slot.end - slot.at).max(1e-9)) as f32 * (0.5 + fresh);
                out[k][usize::from(e.class)] += w;
                if let Some(low) = lowest.get_mut(k).filter(|low| e.midi < low.0) {
                    *low = (e.midi, w);
                }
            }
            k += 1;
        }
    }
    for (row, (midi, w)) in out.iter_mut().zip(lowest) {
        if midi != i16::MAX {
            // The bass names the chord more than any other voice.
            row[midi.rem_euclid(12) as usize] += w;
        }
    }
    out
}

/// What the notes of a slot are worth under a chord of this kind on this root.
fn emission(weights: &[f32; 12], root: usize, tones: &[f32; 12]) -> f32 {
    (0..12).map(|d| weights[(root + d) % 12] * tones[d]).sum()
}

/// The chord of each slot as (root class, number of the quality in [`PARTS_TONES`]), from the melody.
fn from_melody(key: Key, slots: &[Slot], weights: &[[f32; 12]], density: f32) -> Vec<(u8, u8)> {
    let grammar = Grammar::of(key.mode);
    let tonic = key.tonic.class().index();
    let emissions = |s: usize, c: usize| {
        let (root, kind) = grammar.chords[c];
        SCALE * emission(&weights[s], (tonic + usize::from(root)) % 12, &DEGREES[usize::from(kind)])
    };
    let stay = |s: usize| change(slots[s].kind(), density);
    let next: Vec<f32> = (0..grammar.chords.len().pow(2))
        .map(|i| {
            let (from, to) = (i / grammar.chords.len(), i % grammar.chords.len());
            let odd = density > DENSE && !grammar.is_plain(to);
            grammar.next(from, to) - if odd { NOT_PLAIN } else { 0.0 }
        })
        .collect();
    let ends = |c: usize| (grammar.first(c), grammar.last(c));
    viterbi(slots.len(), grammar.chords.len(), ends, &next, emissions, stay)
        .into_iter()
        .map(|c| {
            let (root, quality) = grammar.chords[usize::from(c)];
            (((tonic + usize::from(root)) % 12) as u8, quality)
        })
        .collect()
}

/// Logarithms of the probabilities of staying and of changing at a beat of this kind.
fn change(kind: u8, density: f32) -> (f32, f32) {
    let row = if density > DENSE { &CHANGE_DENSE } else { &CHANGE_SLOW };
    let p = row[usize::from(kind.min(3))];
    ((1.0 - p).ln(), p.ln())
}

/// The best path through `slots` of `n` states each: an exact search. `ends` gives what beginning and
/// ending in a state are worth, `next[from * n + to]` what going on is, `change` what staying and
/// changing are worth at a slot. Returns a state for each slot.
pub(super) fn viterbi(
    slots: usize,
    n: usize,
    ends: impl Fn(usize) -> (f32, f32),
    next: &[f32],
    emission: impl Fn(usize, usize) -> f32,
    change: impl Fn(usize) -> (f32, f32),
) -> Vec<u8> {
    if slots == 0 || n == 0 {
        return Vec::new();
    }
    let mut value: Vec<f32> = (0..n).map(|c| ends(c).0 + emission(0, c)).collect();
    let mut coming = vec![0.0f32; n];
    let mut back = vec![0u8; slots * n];
    for s in 1..slots {
        let (stay, go) = change(s);
        for c in 0..n {
            let (mut best, mut from) = (value[c] + stay, c);
            for (b, v) in value.iter().enumerate() {
                let worth = v + go + next[b * n + c];
                if b != c && worth > best {
                    (best, from) = (worth, b);
                }
            }
            coming[c] = best + emission(s, c);
            back[s * n + c] = from as u8;
        }
        std::mem::swap(&mut value, &mut coming);
    }
    let mut c =
        (0..n).fold(0, |b, c| if value[c] + ends(c).1 > value[b] + ends(b).1 { c } else { b });
    let mut path = vec![0u8; slots];
    for s in (0..slots).rev() {
        path[s] = c as u8;
        c = usize::from(back[s * n + c]);
    }
    path
}

/// The chord of each slot from all that sounds: any root, any quality of [`PARTS_TONES`], with one cost for
/// a change.
fn from_parts(slots: &[Slot], weights: &[[f32; 12]]) -> Vec<(u8, u8)> {
    let states = 12 * PARTS_TONES.len();
    let mut value = vec![0.0f32; states];
    let mut back: Vec<u8> = vec![0; slots.len() * states];
    for s in 0..slots.len() {
        let best = (0..states).fold(0, |b, c| if value[c] > value[b] { c } else { b });
        let changed = value[best] - PARTS_CHANGE;
        for c in 0..states {
            let mut from = c;
            if s > 0 && changed > value[c] {
                value[c] = changed;
                from = best;
            }
            back[s * states + c] = from as u8;
        }
        for root in 0..12 {
            for (q, tones) in PARTS_TONES.iter().enumerate() {
                value[root * PARTS_TONES.len() + q] += emission(&weights[s], root, tones);
            }
        }
    }
    let mut c = (0..states).fold(0, |b, c| if value[c] > value[b] { c } else { b });
    let mut path = vec![(0u8, 0u8); slots.len()];
    for s in (0..slots.len()).rev() {
        path[s] = ((c / PARTS_TONES.len()) as u8, (c % PARTS_TONES.len()) as u8);
        c = usize::from(back[s * states + c]);
    }
    path
}

/// The qualities that [`PARTS_TONES`] has rows for.
const QUALITIES: [Quality; 4] =
    [Quality::MAJOR, Quality::MINOR, Quality::DIMINISHED, Quality::DOMINANT];

/// The degree of a chord in a key: a Roman numeral, small for minor and diminished chords. Roots
/// outside the scale that the key's third suggests (major, natural minor) carry `b` or `#`, so that
/// the chord under the tonic of a mixolydian tune is `bVII`, that of a minor tune `VII`.
pub(super) fn degree(key: Key, chord: &Chord) -> String {
    const NUMERALS: [&str; 7] = ["I", "II", "III", "IV", "V", "VI", "VII"];
    let steps = (chord.root.step.index() - key.tonic.step.index()).rem_euclid(7);
    let usual = if key.mode.has_major_third() {
        crate::score::Mode::Major
    } else {
        crate::score::Mode::Minor
    };
    let expected = usual.scale()[steps as usize];
    let mut off = (key.tonic.class().up_to(chord.root.class()) - expected).rem_euclid(12);
    if off > 6 {
        off -= 12;
    }
    let mut text = String::new();
    for _ in 0..off.unsigned_abs() {
        text.push(if off < 0 { 'b' } else { '#' });
    }
    let numeral = NUMERALS[steps as usize];
    let quality = chord.quality;
    let tones = quality.semitones();
    let diminished = quality.is_minor() && tones.contains(&6);
    if quality.is_minor() {
        text.push_str(&numeral.to_lowercase());
    } else {
        text.push_str(numeral);
    }
    if diminished {
        text.push('°');
    }
    if quality == Quality::AUGMENTED {
        text.push('+');
    }
    // Added sevenths and the like, without the letter that the small numeral already says.
    let suffix = quality.suffix();
    let rest = match suffix {
        "m" | "dim" | "aug" => "",
        "m7b5" | "dim7" => "7",
        s => s.strip_prefix('m').filter(|s| !s.starts_with('a')).unwrap_or(s),
    };
    text.push_str(rest);
    text
}

/// The harmony of a piece, where it comes from, and the share of strong beats that a drone on the
/// tonic suits.
pub(super) fn harmony(
    score: &Score,
    line: &Line,
    table: &Table,
    key: Key,
) -> (Vec<Harmony>, HarmonySource, f64) {
    let slots = slots(score, table);
    let melody = weights(&slots, &table.events, false);
    let symbols: Vec<Harmony> = score
        .chords
        .iter()
        .filter_map(|s| {
            let chord = s.chord.clone()?;
            let degree = degree(key, &chord);
            Some(Harmony { at: s.at, chord, degree })
        })
        .collect();
    let source = if !symbols.is_empty() {
        HarmonySource::Symbols
    } else if table.others.is_empty() {
        HarmonySource::Melody
    } else {
        HarmonySource::Parts
    };
    let chords = match source {
        HarmonySource::Symbols => {
            let mut chords = symbols;
            if let Some(first) = chords.first_mut() {
                // The first chord holds from the pickup on.
                first.at = first.at.min(Time::ZERO);
            }
            chords
        }
        HarmonySource::Parts => {
            let mut all: Vec<Event> = table.events.iter().chain(&table.others).copied().collect();
            all.sort_by(|a, b| a.at.total_cmp(&b.at));
            named(score, key, &slots, &from_parts(&slots, &weights(&slots, &all, true)))
        }
        HarmonySource::Melody => {
            let beats = slots.len().max(1) as f32;
            let density = line.notes.len() as f32 / beats;
            named(score, key, &slots, &from_melody(key, &slots, &melody, density))
        }
    };
    let share = drone_share(key, &slots, &melody, &chords);
    (chords, source, share)
}

/// The slots' chords with names, equal neighbours made one.
fn named(score: &Score, key: Key, slots: &[Slot], path: &[(u8, u8)]) -> Vec<Harmony> {
    let mut out: Vec<Harmony> = Vec::new();
    let mut before: Option<(u8, u8)> = None;
    for (slot, &state) in slots.iter().zip(path) {
        if before == Some(state) {
            continue;
        }
        before = Some(state);
        let class = crate::score::PitchClass::new(i16::from(state.0));
        let quality = QUALITIES.get(usize::from(state.1)).copied().unwrap_or(Quality::MAJOR);
        let chord = Chord::new(NoteName::spelled(class, key.fifths()), quality);
        let degree = degree(key, &chord);
        let at = if out.is_empty() { Time::ZERO } else { slot.time(score) };
        out.push(Harmony { at, chord, degree });
    }
    out
}

/// Share of strong beats that a drone of the tonic and its fifth suits: no tone of the chord and no
/// melody note that sounds in the beat's first half lies a semitone (or a major seventh) from either.
///
/// By this rule a held drone suits I, ii, IV, vi and flat VII in major and grinds under V (handbook:
/// a held drone grinds at a cadence on V). The rule itself is the project's.
fn drone_share(key: Key, slots: &[Slot], melody: &[[f32; 12]], chords: &[Harmony]) -> f64 {
    let tonic = key.tonic.class().index();
    let mut harsh = 0u16;
    for tone in [tonic, tonic + 7] {
        harsh |= 1 << ((tone + 1) % 12) | 1 << ((tone + 11) % 12);
    }
    let times: Vec<(f64, u16)> = chords
        .iter()
        .map(|h| {
            let mask = h.chord.classes().iter().fold(0u16, |m, c| m | 1 << c.index());
            (h.at.as_f64(), mask)
        })
        .collect();
    let (mut strong, mut suits) = (0usize, 0usize);
    let mut now = 0;
    for (slot, notes) in slots.iter().zip(melody) {
        while times.get(now + 1).is_some_and(|t| t.0 <= slot.at + 1e-9) {
            now += 1;
        }
        if !slot.strong {
            continue;
        }
        strong += 1;
        let chord = times.get(now).map_or(0, |t| t.1);
        // Half of the slot's weight: a passing note doesn't grind.
        let total: f32 = notes.iter().sum();
        let grinding: f32 = (0..12).filter(|c| harsh & (1 << c) != 0).map(|c| notes[c]).sum();
        if chord & harsh == 0 && grinding <= 0.5 * total {
            suits += 1;
        }
    }
    if strong == 0 { 0.0 } else { suits as f64 / strong as f64 }
}

/// For the fit: onset, level and melody weights above the tonic of every slot.
#[cfg(test)]
pub(super) fn dump(score: &Score, table: &Table, key: Key) -> Vec<(f64, u8, [f32; 12], u32)> {
    let slots = slots(score, table);
    let tonic = key.tonic.class().index();
    weights(&slots, &table.events, false)
        .into_iter()
        .zip(&slots)
        .map(|(w, s)| (s.at, s.kind(), std::array::from_fn(|d| w[(tonic + d) % 12]), s.measure))
        .collect()
}

/// For the figures: the root of every slot above the tonic, inferred from the melody.
#[cfg(test)]
pub(super) fn roots(score: &Score, line: &Line, table: &Table, key: Key) -> Vec<usize> {
    let slots = slots(score, table);
    let melody = weights(&slots, &table.events, false);
    let density = line.notes.len() as f32 / slots.len().max(1) as f32;
    let tonic = key.tonic.class().index();
    from_melody(key, &slots, &melody, density)
        .into_iter()
        .map(|(root, _)| (usize::from(root) + 12 - tonic) % 12)
        .collect()
}
