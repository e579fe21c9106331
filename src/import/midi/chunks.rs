//! The outer shape of a Standard MIDI File: header and track chunks.
//!
//! Standard MIDI Files 1.0 (MIDI Manufacturers Association, 1996), "MIDI Files consist of chunks".
//! The chunks are walked here rather than by midly, because a chunk whose length is wrong can only be
//! mended where the end of its events is known, and because positions are wanted for the messages.

use super::MidiError;

/// How many ticks there are to what.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Division {
    /// Ticks to the quarter note.
    PerQuarter(u16),
    /// Ticks to the second, as a fraction (29.97 frames are 30,000/1,001).
    PerSecond(u32, u32),
}

/// The header chunk.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Header {
    /// 0, 1 or 2.
    pub(super) format: u16,
    /// How many tracks it announces.
    pub(super) tracks: u16,
    /// What a tick is.
    pub(super) division: Division,
    /// Where the chunks after the header begin.
    pub(super) end: usize,
}

/// Bytes of a chunk's type and length.
pub(super) const CHUNK_HEAD: usize = 8;
/// Bytes of the header that the standard defines; later versions may add some.
const HEADER_BODY: usize = 6;

/// A big-endian number of two bytes.
fn u16_at(bytes: &[u8], at: usize) -> Option<u16> {
    bytes.get(at..at + 2)?.try_into().ok().map(u16::from_be_bytes)
}

/// Type and announced length of the chunk at this place.
pub(super) fn chunk_head(bytes: &[u8], at: usize) -> Option<([u8; 4], usize)> {
    let head = bytes.get(at..at.checked_add(CHUNK_HEAD)?)?;
    let kind = head.get(..4)?.try_into().ok()?;
    let length = u32::from_be_bytes(head.get(4..)?.try_into().ok()?);
    Some((kind, usize::try_from(length).unwrap_or(usize::MAX)))
}

/// The next place at or after `from` where a track chunk begins.
pub(super) fn find_track(bytes: &[u8], from: usize) -> Option<usize> {
    let rest = bytes.get(from..)?;
    rest.windows(4).position(|w| w == b"MTrk").map(|i| from + i)
}

/// Reads the header; `None` of its fields is trusted beyond what it says.
pub(super) fn header(bytes: &[u8]) -> Result<Header, MidiError> {
    // A RIFF file ("RMID") wraps the MIDI file whole in one of its chunks.
    let start = if bytes.starts_with(b"RIFF") {
        const NEAR: usize = 4096;
        let near = bytes.get(..NEAR.min(bytes.len())).unwrap_or(bytes);
        near.windows(4).position(|w| w == b"MThd").ok_or(MidiError::NotMidi)?
    } else {
        0
    };
    if bytes.get(start..start + 4) != Some(b"MThd") {
        return Err(MidiError::NotMidi);
    }
    let (_, length) = chunk_head(bytes, start).ok_or(MidiError::ShortHeader)?;
    let body = start + CHUNK_HEAD;
    let fields = (u16_at(bytes, body), u16_at(bytes, body + 2), u16_at(bytes, body + 4));
    let (Some(format), Some(tracks), Some(division)) = fields else {
        return Err(MidiError::ShortHeader);
    };
    if format > 2 {
        return Err(MidiError::Format { format, offset: body });
    }
    let division = match division {
        0 => return Err(MidiError::Division { offset: body + 4 }),
        1..=0x7FFF => Division::PerQuarter(division),
        _ => {
            // The upper byte is the number of frames a second, negated.
            let frames = 0x100 - (division >> 8);
            let ticks = u32::from(division & 0xFF);
            match frames {
                24 | 25 | 30 if ticks > 0 => Division::PerSecond(u32::from(frames) * ticks, 1),
                29 if ticks > 0 => Division::PerSecond(30_000 * ticks, 1_001),
                _ => return Err(MidiError::Division { offset: body + 4 }),
            }
        }
    };
    // A header that says to be longer than the file is one of the standard's length.
    let end = body.saturating_add(length.max(HEADER_BODY));
    let end = if end > bytes.len() { body + HEADER_BODY } else { end };
    Ok(Header { format, tracks, division, end })
}
