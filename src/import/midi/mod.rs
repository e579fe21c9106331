//! Standard MIDI Files (formats 0, 1 and 2) to [`Score`].
//!
//! midly reads the events; what is done here is all that lies between events and notation: chunks
//! whose lengths are wrong, notes paired, parts told apart, time on a grid (`import::quantise`),
//! measures, spelling (`import::spelling`) and syllables.

mod build;
mod chunks;
mod parts;
mod text;
mod track;

use crate::score::{Score, Time};

use super::Warning;
use super::limits::{MAX_MEASURES, MAX_NOTES, MAX_PARTS, MAX_WARNINGS};
use chunks::Header;
use track::Track;

/// Why a MIDI file can't be read.
#[derive(Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum MidiError {
    /// The bytes aren't those of a MIDI file.
    #[error(
        "this is no MIDI file: it doesn't begin with `MThd`; export it as a Standard MIDI File"
    )]
    NotMidi,
    /// The file ends within its header.
    #[error("the MIDI file ends within its header (byte {CUT_HEADER}); fetch or export it again")]
    ShortHeader,
    /// A format other than 0, 1 and 2.
    #[error(
        "MIDI format {format} at byte {offset} isn't one of 0, 1 and 2; export the file as format 1"
    )]
    Format {
        /// The format it says it has.
        format: u16,
        /// Where it says so.
        offset: usize,
    },
    /// A division that is no number of ticks.
    #[error(
        "the MIDI header names no usable number of ticks to the quarter note (byte {offset}); \
         export the file again"
    )]
    Division {
        /// Where it stands.
        offset: usize,
    },
    /// No track chunk at all.
    #[error("the MIDI file has no tracks after its header (byte {offset}); export it again")]
    NoTracks {
        /// Where the first track should be.
        offset: usize,
    },
    /// More notes than the limit.
    #[error(
        "track {track} passes the limit of {MAX_NOTES} notes a file at byte {offset}; \
         split the file"
    )]
    TooManyNotes {
        /// Number of the track, from 1.
        track: usize,
        /// Where the note stands that is one too many.
        offset: usize,
    },
    /// A note later than the limit.
    #[error(
        "track {track} has a note later than the limit of {limit} quarter notes; \
         check the file's ticks to the quarter note, or split it",
        limit = Time::MAX_QUARTERS
    )]
    TooLong {
        /// Number of the track, from 1.
        track: usize,
    },
    /// More parts than the limit.
    #[error("the file holds {parts} parts, more than the limit of {MAX_PARTS}; split it")]
    TooManyParts {
        /// How many tracks and channels have notes.
        parts: usize,
    },
    /// More measures than the limit.
    #[error("the file fills more than the limit of {MAX_MEASURES} measures; split it")]
    TooManyMeasures,
}

/// Bytes of a complete header chunk, where a file that is too short for it ends at the latest.
const CUT_HEADER: usize = 14;

/// Reads a MIDI file from its bytes.
///
/// Damage that leaves the file usable (cut or wrong-length tracks, unreadable events, notes without
/// an end) becomes warnings with the track's number and the byte.
///
/// # Errors
///
/// Where there is no MIDI header, no track, or a limit is passed.
pub fn read(bytes: &[u8]) -> Result<(Score, Vec<Warning>), MidiError> {
    let header = chunks::header(bytes)?;
    let mut warnings = Vec::new();
    let tracks = tracks(bytes, header, &mut warnings)?;
    let score = build::score(header, tracks, &mut warnings)?;
    if warnings.len() > MAX_WARNINGS {
        let more = warnings.len() - MAX_WARNINGS;
        warnings.truncate(MAX_WARNINGS);
        warnings.push(warning("the file", format!("{more} more warnings of this kind")));
    }
    Ok((score, warnings))
}

fn warning(place: impl Into<String>, what: impl Into<String>) -> Warning {
    Warning { place: place.into(), what: what.into() }
}

/// Reads the track chunks.
fn tracks(
    bytes: &[u8],
    header: Header,
    warnings: &mut Vec<Warning>,
) -> Result<Vec<Track>, MidiError> {
    let mut tracks = Vec::with_capacity(usize::from(header.tracks).min(64));
    let mut at = header.end;
    let mut notes = 0;
    while at < bytes.len() {
        let Some((kind, length)) = chunks::chunk_head(bytes, at) else {
            warnings.push(warning(
                format!("byte {at}"),
                "the file ends within the head of a chunk; what came before was read",
            ));
            break;
        };
        if &kind == b"MTrk" {
            let (track, next) = track::read(bytes, at, tracks.len() + 1, notes, warnings)?;
            notes += track.notes.len();
            tracks.push(track);
            at = next.max(at + chunks::CHUNK_HEAD);
        } else if kind.iter().all(u8::is_ascii_graphic) {
            // The standard asks readers to expect chunks of other kinds and to skip them.
            at = at.saturating_add(chunks::CHUNK_HEAD).saturating_add(length);
        } else {
            let next = chunks::find_track(bytes, at);
            if bytes[at..].iter().any(|b| *b != 0) {
                let rest = if next.is_some() { "skipped up to the next track" } else { "left out" };
                warnings
                    .push(warning(format!("byte {at}"), format!("bytes between tracks; {rest}")));
            }
            at = next.unwrap_or(bytes.len());
        }
    }
    if tracks.is_empty() {
        return Err(MidiError::NoTracks { offset: header.end });
    }
    if header.format != 2 && tracks.len() < usize::from(header.tracks) {
        let (says, has) = (header.tracks, tracks.len());
        warnings.push(warning(
            "the header",
            format!("it announces {says} tracks, but the file has {has}"),
        ));
    }
    Ok(tracks)
}
