//! Why a file can't be read: what is wrong, where, and what to do next.

use std::fmt;

use super::midi::MidiError;

/// A place in a text.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Position {
    /// The line, from 1.
    pub line: u32,
    /// The column in characters, from 1.
    pub column: u32,
}

impl fmt::Display for Position {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}, column {}", self.line, self.column)
    }
}

/// Why a file can't be read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// There are no bytes at all.
    #[error("the file is empty; save or export the song again")]
    Empty,
    /// The bytes are none of the kinds that can be read. Holds what they look like.
    #[error("this is {0}, no song; give a MusicXML (.musicxml, .xml, .mxl) or a MIDI (.mid) file")]
    NotASong(String),
    /// The file, or what it unpacks to, is too large.
    #[error("{what} is larger than {} MB, the most that is read; split the score", .limit >> 20)]
    TooLarge {
        /// The file or an entry of it.
        what: String,
        /// The limit in bytes.
        limit: usize,
    },
    /// More of something than a score may hold.
    #[error("there are more than {limit} {what}, the most that is read; split the score")]
    TooMany {
        /// Notes, measures, XML nodes, ...
        what: &'static str,
        /// The limit.
        limit: usize,
    },
    /// XML elements inside one another too deep.
    #[error(
        "{at}: elements are nested deeper than {limit}, the most that is read; this is no score"
    )]
    TooDeep {
        /// The limit.
        limit: usize,
        /// The first element that is too deep.
        at: Position,
    },
    /// A text in an encoding that is not known.
    #[error("line 1: the text encoding `{0}` is not known; save the file as UTF-8")]
    Encoding(String),
    /// The XML is not well-formed.
    #[error(
        "{at}: the XML is broken ({what}); export the song again from the program that wrote it"
    )]
    Xml {
        /// What the XML reader found.
        what: String,
        /// Where.
        at: Position,
    },
    /// Well-formed XML of another kind.
    #[error(
        "{at}: this XML is `{root}`, not a MusicXML score (`score-partwise` or `score-timewise`); export the song as MusicXML"
    )]
    NotMusicXml {
        /// The name of its root element.
        root: String,
        /// Where.
        at: Position,
    },
    /// A score without a single measure.
    #[error(
        "{at}: the score has no measures; export the song again from the program that wrote it"
    )]
    NoMeasures {
        /// Where.
        at: Position,
    },
    /// A text where a number must stand, or a number that can't be.
    #[error(
        "{at}: `{text}` can't be a {element}, which {needs}; correct it or export the song again"
    )]
    Number {
        /// The element's or attribute's name.
        element: &'static str,
        /// What stands there.
        text: String,
        /// What is allowed: "is a whole number from 1 to ...".
        needs: &'static str,
        /// Where.
        at: Position,
    },
    /// Lengths need a finer common division of the quarter note than times can have.
    #[error(
        "{at}: together the file's `divisions` cut a quarter note into more than {limit} ticks, the most that is read; export the song with ordinary divisions (480 or 10080)"
    )]
    TooFine {
        /// The limit in ticks.
        limit: i64,
        /// Where.
        at: Position,
    },
    /// The music lasts too long.
    #[error(
        "{at}: the music lasts more than {limit} quarter notes, the most that is read; correct the length"
    )]
    TooLong {
        /// The limit in quarter notes.
        limit: i64,
        /// Where.
        at: Position,
    },
    /// A compressed file that can't be unpacked.
    #[error("the compressed file can't be unpacked ({0}); copy or export it again")]
    Unpack(String),
    /// A compressed file without a score in it.
    #[error(
        "the compressed file holds no MusicXML score; export the song again as .mxl or .musicxml"
    )]
    NoScoreInside,
    /// The container of a compressed file names a score that isn't there or may not be read.
    #[error("the compressed file names `{path}` as its score, {why}; export the song again")]
    Rootfile {
        /// The name.
        path: String,
        /// What is wrong with it.
        why: &'static str,
    },
    /// An entry unpacks to so much that it can't be meant seriously.
    #[error(
        "`{entry}` unpacks to more than {limit} times its size, the most that is read; this is no score"
    )]
    Ratio {
        /// The entry's name.
        entry: String,
        /// The limit.
        limit: u64,
    },
    /// A fault in a MIDI file.
    #[error(transparent)]
    Midi(#[from] MidiError),
}
