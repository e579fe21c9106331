//! What a tune is: its key, its pitches, its phrases, its harmony. One file per question.
//!
//! [`analyse`] makes a compact table of the notes once and answers everything from it.

#[cfg(test)]
mod dump;
mod harmony;
mod harmony_weights;
mod key;
mod key_context;
mod key_features;
mod key_weights;
mod phrase;
mod phrase_weights;
mod pitch_set;
pub mod profile;
mod smaller_sets;
mod table;
#[cfg(test)]
mod twins;

pub use smaller_sets::smaller_sets;

use crate::score::{Chord, Interval, Key, Line, NoteName, Pitch, Score, Time};

/// What [`analyse`] is asked.
#[derive(Clone, Copy, Debug, Default)]
pub struct Options {
    /// Leave the key signatures of the score out of account.
    pub ignore_signature: bool,
    /// Leave fermatas out of account when looking for phrases (for measuring against them).
    pub ignore_fermatas: bool,
}

/// Where a key finding comes from.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum KeySource {
    /// From the notes alone.
    Notes,
    /// From the notes and the key signature.
    NotesAndSignature,
}

impl KeySource {
    /// `notes` or `notes+signature`.
    pub fn name(self) -> &'static str {
        match self {
            KeySource::Notes => "notes",
            KeySource::NotesAndSignature => "notes+signature",
        }
    }
}

/// A key with the probability that it is the right one.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct KeyGuess {
    /// The key.
    pub key: Key,
    /// From 0 to 1.
    pub confidence: f64,
}

/// A stretch of the piece in one key.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct KeySection {
    /// Where it begins.
    pub from: Time,
    /// Where it ends.
    pub to: Time,
    /// Its key.
    pub key: Key,
    /// From 0 to 1.
    pub confidence: f64,
}

/// The key of a piece.
#[derive(Clone, PartialEq, Debug)]
pub struct KeyFinding {
    /// The likeliest key of the whole.
    pub best: KeyGuess,
    /// The runners-up, likeliest first.
    pub alternatives: Vec<KeyGuess>,
    /// What it was found from.
    pub source: KeySource,
    /// The piece in stretches of one key each; one stretch where the key stays.
    pub sections: Vec<KeySection>,
}

/// A pitch of the tune with how much of the tune it carries.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct PitchUse {
    /// The pitch.
    pub pitch: Pitch,
    /// Number of notes.
    pub count: usize,
    /// Metrical and durational weight as a share of the whole tune's, 0 to 1.
    pub weight: f64,
}

/// The pitches of a tune.
#[derive(Clone, PartialEq, Debug)]
pub struct PitchSet {
    /// The pitch classes from the tonic up (or, where the tonic isn't among them, from the first one
    /// above it), by name.
    pub classes: Vec<NoteName>,
    /// Every pitch, low to high.
    pub pitches: Vec<PitchUse>,
    /// Lowest pitch; `None` for a tune without notes, likewise the next two.
    pub lowest: Option<Pitch>,
    /// Highest pitch.
    pub highest: Option<Pitch>,
    /// From lowest to highest.
    pub span: Interval,
    /// Whether no two of its classes lie a semitone apart.
    pub semitone_free: bool,
    /// The set's usual name (`major pentatonic`, `so-mi-la`, `dorian`, ...), where it has one.
    pub name: Option<String>,
    /// The solfa syllables of `classes` with the tonic's mode minded (la for a minor tonic).
    pub solfa: Vec<String>,
}

/// A note that a smaller set of bars changes.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct ChangedNote {
    /// Index into the line's notes.
    pub note: usize,
    /// What it becomes; `None` for a rest.
    pub to: Option<Pitch>,
}

/// A smaller set of pitch classes with which most of a tune can be played.
#[derive(Clone, PartialEq, Debug)]
pub struct SmallerSet {
    /// The classes kept, ordered as [`PitchSet::classes`].
    pub classes: Vec<NoteName>,
    /// The notes that change.
    pub changed: Vec<ChangedNote>,
    /// Metrical and durational weight of the notes kept, as a share of the whole, 0 to 1.
    pub kept_weight: f64,
}

/// A phrase.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Phrase {
    /// Where it begins.
    pub from: Time,
    /// Where the next begins, or the tune ends.
    pub to: Time,
    /// The letter of what it is like: `a`, `b`, and `a'` for a variant of `a`.
    pub label: String,
}

/// The chord in force from a moment on.
#[derive(Clone, PartialEq, Debug)]
pub struct Harmony {
    /// From when.
    pub at: Time,
    /// The chord.
    pub chord: Chord,
    /// Its degree in the key: `I`, `ii`, `V7`, `bVII`.
    pub degree: String,
}

/// Where the harmony was taken from.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum HarmonySource {
    /// Chord symbols of the score.
    Symbols,
    /// The other parts.
    Parts,
    /// Inferred from the melody.
    Melody,
}

/// All that the later stages need to know of a tune.
#[derive(Clone, PartialEq, Debug)]
pub struct Analysis {
    /// The key.
    pub key: KeyFinding,
    /// The pitches of the melody.
    pub pitch_set: PitchSet,
    /// Smaller sets, largest first.
    pub smaller_sets: Vec<SmallerSet>,
    /// Phrases; they cover the melody without gaps.
    pub phrases: Vec<Phrase>,
    /// Chords in order; they begin at the pickup's start and cover the song.
    pub harmony: Vec<Harmony>,
    /// Where the chords come from.
    pub harmony_source: HarmonySource,
    /// Share of strong beats, 0 to 1, whose chord and melody a drone on the tonic suits.
    pub drone_share: f64,
}

/// Analyses a melody in its score.
///
/// The harmony and the key may draw on the whole score; pitches and phrases are the line's.
pub fn analyse(score: &Score, line: &Line, options: Options) -> Analysis {
    let table = table::Table::new(score, line);
    let starts = phrase::starts(line, &table, options.ignore_fermatas);
    let key = key::find(score, line, &table, &starts, options);
    let (harmony, harmony_source, drone_share) =
        harmony::harmony(score, line, &table, key.best.key);
    let pitch_set = pitch_set::pitch_set(line, &table, key.best.key);
    Analysis {
        smaller_sets: smaller_sets::smaller_sets(score, line, &pitch_set, &harmony),
        pitch_set,
        phrases: phrase::phrases(score, line, &table, &starts),
        harmony,
        harmony_source,
        drone_share,
        key,
    }
}
