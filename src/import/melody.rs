//! Which part, and which voice of it, holds the melody.
//!
//! Every part and every voice is scored on what a listener goes by: its name, words under its notes,
//! lying on top, one note at a time, a singable range, few repeated notes, a melody's rate, and
//! having something to say in most of the piece. The weights are the project's own, set by hand;
//! DEVELOPERS.md says what they reach on which music.

use std::collections::BTreeMap;

use crate::score::{Line, Note, Score, Time, VoiceId};

/// How likely a part is to hold the melody.
#[derive(Clone, PartialEq, Debug)]
pub struct PartScore {
    /// Index into [`Score::parts`].
    pub part: usize,
    /// From 0 to 1.
    pub melody_score: f64,
}

/// The melody that was picked.
#[derive(Clone, PartialEq, Debug)]
pub struct Melody {
    /// The line itself.
    pub line: Line,
    /// The voice it was taken from; `None` for the top line of the part.
    pub voice: Option<VoiceId>,
    /// One sentence in plain words.
    pub why: String,
    /// Every part's score, in the order of the parts.
    pub scores: Vec<PartScore>,
    /// Moments at which the part begins a note and the line has none, and all moments at which it
    /// begins one: what lies under held notes or in other voices isn't in the melody.
    pub left_out: (usize, usize),
}

/// Why no melody could be picked.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum MelodyError {
    /// No part has a pitched note.
    #[error("there are no pitched notes in it; choose a file with a tune")]
    NoNotes,
    /// The part that was asked for has no pitched note.
    #[error("part `{asked}` has no pitched notes; the parts are {known}")]
    EmptyPart {
        /// What was asked for.
        asked: String,
        /// The parts there are.
        known: String,
    },
    /// The part that was asked for isn't there.
    #[error("there is no part `{asked}`; the parts are {known}")]
    NoSuchPart {
        /// What was asked for.
        asked: String,
        /// The parts there are: "1 Voice (P1), 2 Guitar (P2)".
        known: String,
    },
}

/// What speaks for and against a line being the melody, each from 0 to 1.
#[derive(Clone, Copy, Debug, Default)]
struct Traits {
    /// How often its notes are the highest that sound.
    on_top: f64,
    /// How much of it is one note at a time.
    single: f64,
    /// How many of its notes have words.
    words: f64,
    /// How well it lies for a voice.
    range: f64,
    /// How rarely it repeats a note.
    moves: f64,
    /// Whether it has about as many notes to the beat as tunes have.
    rate: f64,
    /// In how much of the piece it plays.
    present: f64,
    /// 1 for a melody's name, -1 for an accompaniment's, else 0.
    name: f64,
}

impl Traits {
    /// The weights add up to 1 without the name; a name moves the score by up to 0.3.
    fn score(&self) -> f64 {
        let plain = 0.34 * self.on_top
            + 0.20 * self.single
            + 0.14 * self.words
            + 0.10 * self.range
            + 0.06 * self.moves
            + 0.04 * self.rate
            + 0.12 * self.present;
        (plain + 0.3 * self.name).clamp(0.0, 1.0)
    }

    fn why(&self) -> String {
        let mut reasons = Vec::new();
        if self.name > 0.0 {
            reasons.push("its name says so");
        }
        if self.on_top > 0.7 {
            reasons.push("it lies on top");
        }
        if self.words > 0.3 {
            reasons.push("it has the words");
        }
        if self.single > 0.9 {
            reasons.push("it moves one note at a time");
        }
        if self.range > 0.8 {
            reasons.push("it lies well for a voice");
        }
        if reasons.is_empty() {
            reasons.push("it is the likeliest of all");
        }
        reasons.join(", ")
    }
}

/// Words in part names that speak for or against the melody (common practice, no source).
const MELODY_NAMES: [&str; 17] = [
    "melod", "vocal", "voice", "voix", "vox", "lead", "soprano", "sopran", "singer", "sing",
    "tune", "solo", "cantus", "canto", "song", "gesang", "lyric",
];
const OTHER_NAMES: [&str; 22] = [
    "bass", "alto", "tenor", "drum", "perc", "chord", "accomp", "begleit", "pad", "string",
    "guitar", "piano", "organ", "rhythm", "left", "harmon", "backing", "back", "brass", "kick",
    "snare", "comp",
];

fn named(name: &str) -> f64 {
    let name = name.to_lowercase();
    let has = |list: &[&str]| list.iter().any(|w| name.contains(w));
    match (has(&MELODY_NAMES), has(&OTHER_NAMES)) {
        (true, false) => 1.0,
        (false, true) => -1.0,
        _ => 0.0,
    }
}

/// A candidate: a whole part or one of its voices.
type Candidate = (usize, Option<VoiceId>);

/// Picks the melody. `wanted` names the part by id, name or 1-based number, and a voice after a
/// slash (`P1/2`); without it the likeliest part and voice are taken.
///
/// # Errors
/// [`MelodyError`] where no part, or not the part that was asked for, has a pitched note.
pub fn melody(score: &Score, wanted: Option<&str>) -> Result<Melody, MelodyError> {
    if score.parts.iter().all(|p| p.notes.is_empty()) {
        return Err(MelodyError::NoNotes);
    }
    let whole: Vec<Traits> = traits(score, false);
    let scores: Vec<PartScore> = whole
        .iter()
        .enumerate()
        .map(|(part, t)| {
            let empty = score.parts[part].notes.is_empty();
            PartScore { part, melody_score: if empty { 0.0 } else { t.score() } }
        })
        .collect();
    let (part, voice, why) = match wanted {
        Some(asked) => {
            let (part, voice) = find(score, asked)?;
            let voice = voice.or_else(|| best_voice(score, part));
            (part, voice, "you asked for it".to_owned())
        }
        None => {
            let best = scores
                .iter()
                .filter(|s| !score.parts[s.part].notes.is_empty())
                // The first of equals.
                .fold(None::<&PartScore>, |best, s| match best {
                    Some(b) if b.melody_score >= s.melody_score => Some(b),
                    _ => Some(s),
                });
            let Some(best) = best else { return Err(MelodyError::NoNotes) };
            let why = if score.parts.iter().filter(|p| !p.notes.is_empty()).count() == 1 {
                "it is the only part with notes".to_owned()
            } else {
                whole[best.part].why()
            };
            (best.part, best_voice(score, best.part), why)
        }
    };
    let line = Line::top(part, voice, &score.parts[part].notes);
    let label = label(score, part);
    let of = match voice {
        Some(v) => format!("voice {} of {label}", score.parts[part].voice_name(v)),
        None if chords(&score.parts[part].notes) => format!("the top line of {label}"),
        None => label,
    };
    let all = strokes(&score.parts[part].notes, None);
    let left_out = (all.saturating_sub(line.notes.len()), all);
    Ok(Melody { line, voice, why: format!("{of}: {why}"), scores, left_out })
}

/// Number of moments at which a note of a part, or of one of its voices, begins; the notes are in
/// order of time.
fn strokes(notes: &[Note], voice: Option<VoiceId>) -> usize {
    let mut last = None;
    notes
        .iter()
        .filter(|n| !n.grace && voice.is_none_or(|v| v == n.voice))
        .filter(|n| last.replace(n.onset) != Some(n.onset))
        .count()
}

fn label(score: &Score, part: usize) -> String {
    let p = &score.parts[part];
    if p.name.is_empty() { format!("part {}", p.id) } else { format!("part {} ({})", p.id, p.name) }
}

fn chords(notes: &[Note]) -> bool {
    notes.windows(2).any(|w| w[0].onset == w[1].onset && !w[0].grace && !w[1].grace)
}

/// The part, and the voice, that the user names.
fn find(score: &Score, asked: &str) -> Result<(usize, Option<VoiceId>), MelodyError> {
    let known = || {
        let names: Vec<String> = score
            .parts
            .iter()
            .take(40)
            .enumerate()
            .map(|(i, p)| format!("{} {} ({})", i + 1, p.name, p.id).replace("  ", " "))
            .collect();
        names.join(", ")
    };
    let part_of = |name: &str| {
        let name = name.trim();
        let is = |f: &dyn Fn(&crate::score::Part) -> bool| score.parts.iter().position(f);
        is(&|p| p.id == name)
            .or_else(|| is(&|p| !name.is_empty() && p.name.to_lowercase() == name.to_lowercase()))
            .or_else(|| {
                let n = name.parse::<usize>().ok()?.checked_sub(1)?;
                (n < score.parts.len()).then_some(n)
            })
    };
    let none = || MelodyError::NoSuchPart { asked: asked.to_owned(), known: known() };
    let (part, voice) = match part_of(asked) {
        Some(part) => (part, None),
        None => {
            let (name, voice) = asked.rsplit_once('/').ok_or_else(none)?;
            let part = part_of(name).ok_or_else(none)?;
            let place = score.parts[part].voices.iter().position(|v| v == voice.trim());
            let place = place.and_then(|v| u16::try_from(v).ok()).ok_or_else(|| {
                MelodyError::NoSuchPart {
                    asked: asked.to_owned(),
                    known: format!(
                        "{}; the voices of {name} are {}",
                        known(),
                        score.parts[part].voices.join(", ")
                    ),
                }
            })?;
            (part, Some(VoiceId(place)))
        }
    };
    let has =
        score.parts[part].notes.iter().any(|n| !n.grace && voice.is_none_or(|v| v == n.voice));
    if !has {
        return Err(MelodyError::EmptyPart { asked: asked.to_owned(), known: known() });
    }
    Ok((part, voice))
}

/// The voice of a part that holds its melody alone; `None` where the part has one voice, or where
/// no voice plays most of the time and the part's top line serves better.
fn best_voice(score: &Score, part: usize) -> Option<VoiceId> {
    let p = &score.parts[part];
    let used = p.voices.len() > 1
        && p.notes.first().is_some_and(|first| p.notes.iter().any(|n| n.voice != first.voice));
    if !used {
        return None;
    }
    let alone = Score { parts: vec![p.clone()], ..Score::default() };
    let traits = traits(&alone, true);
    let (best, found) = traits
        .iter()
        .enumerate()
        .max_by(|a, b| a.1.score().total_cmp(&b.1.score()).then(b.0.cmp(&a.0)))?;
    let voice = VoiceId(best as u16);
    // Set by hand: a voice that is silent for more than a third of the part, or that is below the
    // others half of the time, is not the tune by itself. Nor is one that lacks more than a tenth of
    // the strokes: the voices of a MIDI file are ours, made so that notes which overlap can be
    // written, and a tune played legato runs through several of them.
    let whole = strokes(&p.notes, Some(voice)) * 10 >= strokes(&p.notes, None) * 9;
    (whole && found.present > 0.66 && found.on_top > 0.5).then_some(voice)
}

/// The traits of every part, or of every voice of the first part.
fn traits(score: &Score, voices: bool) -> Vec<Traits> {
    let candidates: Vec<Candidate> = if voices {
        let n = score.parts.first().map_or(0, |p| p.voices.len());
        (0..n).map(|v| (0, Some(VoiceId(v as u16)))).collect()
    } else {
        (0..score.parts.len()).map(|p| (p, None)).collect()
    };
    let mut all = Vec::with_capacity(candidates.len());
    // For each beat in which something begins: the highest pitch of every candidate that begins.
    let mut beats: BTreeMap<i64, Vec<(usize, i16, Time)>> = BTreeMap::new();
    for (c, (part, voice)) in candidates.iter().enumerate() {
        let p = &score.parts[*part];
        let notes: Vec<&Note> =
            p.notes.iter().filter(|n| !n.grace && voice.is_none_or(|v| v == n.voice)).collect();
        for note in &notes {
            let beat = note.onset.div_floor(Time::QUARTER);
            let row = beats.entry(beat).or_default();
            let pitch = note.midi().number();
            match row.last_mut() {
                Some(last) if last.0 == c => {
                    if pitch > last.1 {
                        (last.1, last.2) = (pitch, note.end());
                    }
                }
                _ => row.push((c, pitch, note.end())),
            }
        }
        all.push(own_traits(&notes, if voices { 0.0 } else { named(&p.name) }));
    }
    // Who is on top, and who plays, beat by beat; a held note goes on counting.
    let n = candidates.len();
    let mut sounding: Vec<(i16, Time)> = vec![(i16::MIN, Time::ZERO); n];
    let mut begun = vec![0u32; n];
    let mut top = vec![0u32; n];
    let mut present = vec![0u32; n];
    let total = beats.len().max(1);
    for (beat, row) in &beats {
        let now = Time::quarters(*beat);
        for (c, pitch, end) in row {
            sounding[*c] = (*pitch, *end);
        }
        let playing = |s: &(i16, Time)| s.1 > now;
        let highest = sounding.iter().filter(|s| playing(s)).map(|s| s.0).max();
        for (c, s) in sounding.iter().enumerate() {
            present[c] += u32::from(playing(s));
        }
        for (c, pitch, _) in row {
            begun[*c] += 1;
            top[*c] += u32::from(highest.is_none_or(|h| *pitch >= h));
        }
    }
    for (c, t) in all.iter_mut().enumerate() {
        t.on_top = f64::from(top[c]) / f64::from(begun[c].max(1));
        t.present = f64::from(present[c]) / total as f64;
    }
    all
}

/// What the notes of a line say by themselves.
fn own_traits(notes: &[&Note], name: f64) -> Traits {
    let mut t = Traits { name, ..Traits::default() };
    let (Some(first), Some(last)) = (notes.first(), notes.last()) else { return t };
    let n = notes.len() as f64;
    let mut overlaps = 0u32;
    let mut repeated = 0u32;
    let mut end = Time::ZERO;
    for (i, note) in notes.iter().enumerate() {
        overlaps += u32::from(i > 0 && note.onset < end);
        repeated += u32::from(i > 0 && note.midi() == notes[i - 1].midi());
        end = end.max(note.end());
    }
    let pitches = || notes.iter().map(|n| f64::from(n.midi().number()));
    let mean = pitches().sum::<f64>() / n;
    let spread = (pitches().map(|p| (p - mean).powi(2)).sum::<f64>() / n).sqrt();
    t.single = 1.0 - f64::from(overlaps) / n;
    t.words = notes.iter().filter(|n| !n.lyrics.is_empty()).count() as f64 / n;
    // Full marks with the mean between G3 and G5 and a spread up to an octave's third.
    let outside = (55.0 - mean).max(mean - 79.0).max(0.0);
    t.range =
        (1.0 - outside / 12.0).clamp(0.0, 1.0) * (1.0 - (spread - 6.0) / 12.0).clamp(0.0, 1.0);
    t.moves = 1.0 - f64::from(repeated) / n;
    // Between one note in two quarters and three in one.
    let rate = n / (last.end() - first.onset).as_f64().max(1.0);
    t.rate = if rate < 0.5 { rate / 0.5 } else { (1.0 - (rate - 3.0) / 5.0).clamp(0.0, 1.0) };
    t
}
