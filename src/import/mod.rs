//! Bytes to [`Score`](crate::score::Score): MusicXML, compressed MusicXML and Standard MIDI Files.

use crate::score::{Line, Score, VoiceId};

/// The kinds of file that can be read; told from the content, not the name.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Kind {
    /// MusicXML text.
    MusicXml,
    /// Compressed MusicXML.
    Mxl,
    /// A Standard MIDI File.
    Midi,
}

impl Kind {
    /// `musicxml`, `mxl` or `midi`.
    pub fn name(self) -> &'static str {
        match self {
            Kind::MusicXml => "musicxml",
            Kind::Mxl => "mxl",
            Kind::Midi => "midi",
        }
    }
}

/// Something doubtful in a file that was read all the same.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Warning {
    /// Where: "part P1, measure 12", "track 3, beat 17".
    pub place: String,
    /// What is the matter and what was done about it.
    pub what: String,
}

/// A file that was read.
#[derive(Clone, PartialEq, Debug)]
pub struct Imported {
    /// What kind of file it was.
    pub kind: Kind,
    /// The score.
    pub score: Score,
    /// What was doubtful.
    pub warnings: Vec<Warning>,
}

/// Why a file can't be read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The bytes are none of the kinds that can be read.
    #[error("{0}")]
    NotASong(String),
}

/// Reads a song from its bytes.
pub fn read(bytes: &[u8]) -> Result<Imported, Error> {
    let _ = bytes;
    unimplemented!("lands with the import branch")
}

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
