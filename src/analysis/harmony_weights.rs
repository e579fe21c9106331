//! The chords of each mode and the probabilities of the harmony model.
//!
//! First version: set by hand, to be fitted.

use crate::score::Mode;

/// Logarithm of how likely a melody note is each degree above the root of a major, minor, diminished
/// and dominant seventh chord.
pub(super) const TONES: [[f32; 12]; 4] = [
    [-1.1, -5.0, -3.0, -5.0, -1.2, -3.5, -4.5, -1.5, -5.0, -3.0, -4.0, -4.0],
    [-1.1, -5.0, -3.0, -1.2, -5.0, -3.5, -4.5, -1.5, -4.5, -4.0, -3.2, -5.0],
    [-1.2, -5.0, -4.0, -1.3, -5.0, -4.0, -1.5, -5.0, -3.5, -3.5, -5.0, -5.0],
    [-1.3, -5.0, -3.2, -5.0, -1.4, -3.7, -4.7, -1.6, -5.0, -3.2, -1.9, -5.0],
];

/// Probability that the chord changes at a beat, by metrical level (0 to 3 and weaker): row 0 for
/// tunes of about a note a beat, row 1 for denser ones.
pub(super) const CHANGE: [[f32; 4]; 2] = [[0.7, 0.6, 0.5, 0.3], [0.6, 0.35, 0.1, 0.05]];

/// What a change of chord costs where the parts are there to tell.
pub(super) const PARTS_CHANGE: f32 = 0.6;

/// The chords of a mode with their probabilities.
pub(super) struct Grammar {
    /// Semitones of the root above the tonic, quality (row of [`TONES`]), logarithm of how common
    /// it is.
    pub(super) chords: &'static [(u8, u8, f32)],
}

const MAJOR: Grammar = Grammar {
    chords: &[
        (0, 0, -0.9),
        (2, 1, -2.3),
        (4, 1, -3.5),
        (5, 0, -1.7),
        (7, 0, -1.3),
        (9, 1, -2.5),
        (10, 0, -4.5),
    ],
};
const MINOR: Grammar = Grammar {
    chords: &[
        (0, 1, -0.9),
        (3, 0, -2.3),
        (5, 1, -2.0),
        (7, 0, -1.7),
        (7, 1, -2.6),
        (8, 0, -2.6),
        (10, 0, -1.9),
    ],
};
const DORIAN: Grammar = Grammar {
    chords: &[(0, 1, -0.9), (10, 0, -1.3), (5, 0, -2.2), (7, 1, -2.4), (3, 0, -2.6), (2, 1, -3.5)],
};
const MIXOLYDIAN: Grammar = Grammar {
    chords: &[
        (0, 0, -0.9),
        (10, 0, -1.4),
        (5, 0, -1.8),
        (7, 1, -2.6),
        (2, 1, -3.0),
        (9, 1, -3.2),
        (7, 0, -2.6),
    ],
};
const PHRYGIAN: Grammar = Grammar {
    chords: &[(0, 1, -0.9), (1, 0, -1.6), (10, 1, -2.0), (5, 1, -2.2), (8, 0, -2.4), (3, 0, -2.6)],
};
const LYDIAN: Grammar =
    Grammar { chords: &[(0, 0, -0.9), (2, 0, -1.6), (7, 0, -1.6), (9, 1, -2.4), (4, 1, -3.0)] };
const LOCRIAN: Grammar = Grammar {
    chords: &[(0, 2, -1.2), (1, 0, -1.8), (3, 1, -2.0), (5, 1, -2.2), (6, 0, -2.4), (8, 0, -2.4)],
};

impl Grammar {
    /// The chords of a mode.
    pub(super) fn of(mode: Mode) -> &'static Grammar {
        match mode {
            Mode::Major => &MAJOR,
            Mode::Minor => &MINOR,
            Mode::Dorian => &DORIAN,
            Mode::Phrygian => &PHRYGIAN,
            Mode::Lydian => &LYDIAN,
            Mode::Mixolydian => &MIXOLYDIAN,
            Mode::Locrian => &LOCRIAN,
        }
    }

    /// Logarithm of the probability of beginning with a chord.
    pub(super) fn first(&self, chord: usize) -> f32 {
        self.chords[chord].2
    }

    /// Logarithm of the probability of going on to a chord, given that there is a change.
    pub(super) fn next(&self, _from: usize, to: usize) -> f32 {
        self.chords[to].2
    }

    /// What ending on a chord is worth: tunes end on the tonic chord.
    pub(super) fn last(&self, chord: usize) -> f32 {
        if self.chords[chord].0 == 0 { 0.0 } else { -3.0 }
    }
}
