//! Which part, and which voice of it, holds the melody.

use crate::score::{Line, Score, VoiceId};

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
}

/// Why no melody could be picked.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum MelodyError {
    /// No part has a pitched note.
    #[error("there are no pitched notes in it")]
    NoNotes,
    /// The part that was asked for isn't there.
    #[error("there is no part `{asked}`; the parts are {known}")]
    NoSuchPart {
        /// What was asked for.
        asked: String,
        /// The parts there are: "1 Voice (P1), 2 Guitar (P2)".
        known: String,
    },
}

/// Picks the melody. `wanted` names the part by id, name or 1-based number, and a voice after a
/// slash (`P1/2`); without it the likeliest part and voice are taken.
pub fn melody(score: &Score, wanted: Option<&str>) -> Result<Melody, MelodyError> {
    let _ = (score, wanted);
    unimplemented!("lands with the import branch")
}
