//! Names for sounding pitches.

use crate::score::{Midi, NoteName, Pitch};

/// The spelled pitch; `name` is of the pitch's class.
pub(crate) fn pitch(midi: Midi, name: NoteName) -> Pitch {
    Pitch::with_name(midi, name).unwrap_or_else(|| Pitch::spelled(midi, 0))
}
