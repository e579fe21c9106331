//! Standard MIDI Files to a [`Score`].

use super::Warning;
use crate::score::Score;

/// Why a MIDI file can't be read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum MidiError {
    /// The reader is not there yet.
    #[error("MIDI files can't be read yet")]
    NotYet,
}

/// Reads a Standard MIDI File.
pub fn read(bytes: &[u8]) -> Result<(Score, Vec<Warning>), MidiError> {
    let _ = bytes;
    Err(MidiError::NotYet)
}
