//! Bytes to [`Score`]: MusicXML, compressed MusicXML and Standard MIDI Files.
//!
//! [`read`] tells the kind of file from its content, and [`melody`] picks the melody out of what was
//! read. What is doubtful but readable comes back as a [`Warning`], what can't be read as an
//! [`Error`] that says where and what to do. Nothing here opens a file or the network: external
//! entities of an XML text are never fetched.

mod error;
pub mod limits;
mod melody;
pub mod midi;
mod musicxml;
mod mxl;
mod quantise;
mod spelling;
mod text;

use crate::score::Score;

pub use error::{Error, Position};
pub use melody::{Melody, MelodyError, PartScore, melody};

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

/// Reads a song from its bytes.
///
/// # Errors
/// [`Error`] where the bytes are no song, are damaged beyond reading, or go over one of the
/// [`limits`].
pub fn read(bytes: &[u8]) -> Result<Imported, Error> {
    if bytes.len() > limits::MAX_BYTES {
        return Err(Error::TooLarge { what: "the file".to_owned(), limit: limits::MAX_BYTES });
    }
    match kind(bytes)? {
        Kind::MusicXml => {
            let (score, warnings) = musicxml::read(bytes)?;
            Ok(Imported { kind: Kind::MusicXml, score, warnings })
        }
        Kind::Mxl => {
            let unpacked = mxl::unpack(bytes)?;
            let (score, mut warnings) = musicxml::read(&unpacked.score)?;
            warnings.splice(0..0, unpacked.warnings);
            Ok(Imported { kind: Kind::Mxl, score, warnings })
        }
        Kind::Midi => {
            let (score, warnings) = midi::read(bytes)?;
            Ok(Imported { kind: Kind::Midi, score, warnings })
        }
    }
}

/// What kind of file the bytes are, told from how they begin.
fn kind(bytes: &[u8]) -> Result<Kind, Error> {
    if bytes.is_empty() {
        return Err(Error::Empty);
    }
    if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"PK\x05\x06") {
        return Ok(Kind::Mxl);
    }
    let riff = bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"RMID".as_slice());
    if bytes.starts_with(b"MThd") || riff {
        return Ok(Kind::Midi);
    }
    // XML in any of its encodings: the first thing that is no byte order mark, zero or space is `<`.
    let first = bytes.iter().take(1024).find(|b| {
        !matches!(b, 0xEF | 0xBB | 0xBF | 0xFE | 0xFF | 0 | b' ' | b'\t' | b'\r' | b'\n')
    });
    if first == Some(&b'<') {
        return Ok(Kind::MusicXml);
    }
    let looks_like = if bytes.starts_with(b"%PDF") {
        "a PDF document"
    } else if bytes.starts_with(b"\x89PNG") || bytes.starts_with(b"\xFF\xD8\xFF") {
        "a picture"
    } else if bytes.starts_with(b"ID3") || riff_wave(bytes) || bytes.starts_with(b"OggS") {
        "a sound recording"
    } else if first.is_none() {
        "a file of nothing but spaces"
    } else if bytes.iter().take(4096).all(|b| *b >= 0x20 || matches!(b, b'\t' | b'\r' | b'\n')) {
        "a text"
    } else {
        "a file of an unknown kind"
    };
    Err(Error::NotASong(looks_like.to_owned()))
}

fn riff_wave(bytes: &[u8]) -> bool {
    bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WAVE".as_slice())
}
