//! The chords of each mode and the tables of the harmony model.
//!
//! Those between the two marks are made by `python tests/external/analysis_fit_harmony.py --write` from
//! music21's Bach chorales (the soprano's notes against the root of the four-part chord on each beat).
//! The old modes other than dorian and mixolydian have too few chorales: they take over what their
//! family (major or minor third) does.

use crate::score::Mode;

/// The chords of a mode and how they follow each other.
pub(super) struct Grammar {
    /// Semitones of the root above the tonic, and the chord's kind: 0 major, 1 minor, 2 diminished.
    pub(super) chords: &'static [(u8, u8)],
    /// Logarithm of the probability of each chord at the beginning.
    first: &'static [f32],
    /// Logarithm of the probability of each chord (inner) after each (outer), where the chord changes.
    next: &'static [&'static [f32]],
}

/// Logarithm of how likely a sounding note is each degree above the root of a major, minor,
/// diminished and dominant seventh chord, where all parts are there to tell. Set by hand: chord tones
/// about one in three, others rare; no data behind them.
pub(super) const PARTS_TONES: [[f32; 12]; 4] = [
    [-1.1, -5.0, -3.0, -5.0, -1.2, -3.5, -4.5, -1.5, -5.0, -3.0, -4.0, -4.0],
    [-1.1, -5.0, -3.0, -1.2, -5.0, -3.5, -4.5, -1.5, -4.5, -4.0, -3.2, -5.0],
    [-1.2, -5.0, -4.0, -1.3, -5.0, -4.0, -1.5, -5.0, -3.5, -3.5, -5.0, -5.0],
    [-1.3, -5.0, -3.2, -5.0, -1.4, -3.7, -4.7, -1.6, -5.0, -3.2, -1.9, -5.0],
];

/// What a change of chord costs where the parts are there to tell; set by hand.
pub(super) const PARTS_CHANGE: f32 = 0.6;

/// From this many notes a beat on, a tune's chords change with the measure and the half measure
/// rather than with the beat (common practice in dance tunes, no source).
pub(super) const DENSE: f32 = 1.6;

/// Probability that the chord changes at a beat, by its kind, in a dense tune. Set by hand: chorales
/// have about a note a beat and can't tell.
pub(super) const CHANGE_DENSE: [f32; 4] = [0.6, 0.35, 0.1, 0.05];

/// What going on to another chord than those on the tonic, the fourth, the fifth and (where the scale
/// has it) the flat seventh costs in a dense tune: dance tunes are accompanied with the plain chords
/// (common practice, no source; set by hand).
pub(super) const NOT_PLAIN: f32 = 0.7;

/// What ending on another chord than the tonic's costs; set by hand.
const NOT_TONIC_LAST: f32 = 3.0;

// FITTED, by analysis_fit_harmony.py --write
/// What the melody's notes are multiplied with against the chords' order.
pub(super) const SCALE: f32 = 0.7;

/// Logarithm of how likely a soprano note is each degree above the root of a major, minor and
/// diminished chord.
#[rustfmt::skip]
pub(super) const DEGREES: [[f32; 12]; 3] = [
    [-1.110, -8.213, -3.062, -3.924, -1.219, -4.712, -5.841, -1.329, -7.138, -5.616, -4.042, -4.686],
    [-1.056, -6.549, -3.186, -1.209, -3.597, -4.739, -8.458, -1.492, -5.402, -5.625, -3.200, -7.360],
    [-0.716, -4.506, -6.783, -1.392, -4.075, -4.341, -2.542, -3.034, -5.605, -6.090, -2.449, -6.783],
];

/// Probability that the chord changes at a beat, by its kind (0 to 3), where the tune has about a
/// note a beat.
pub(super) const CHANGE_SLOW: [f32; 4] = [0.848, 0.816, 0.659, 0.500];

#[rustfmt::skip]
const MAJOR: Grammar = Grammar {
    chords: &[(0, 0), (2, 1), (4, 1), (5, 0), (7, 0), (9, 1), (11, 2), (10, 0)],
    first: &[-1.182, -2.039, -2.713, -2.353, -1.522, -2.052, -3.684, -4.200],
    next: &[
        &[-4.200, -1.709, -3.446, -1.408, -1.086, -1.996, -3.427, -4.200],
        &[-1.691, -4.200, -2.273, -3.391, -0.749, -2.111, -3.453, -4.162],
        &[-2.097, -2.232, -4.200, -1.732, -2.651, -0.729, -4.200, -4.200],
        &[-0.978, -1.891, -2.954, -4.200, -1.506, -2.760, -2.427, -3.837],
        &[-0.556, -2.227, -2.563, -2.774, -4.200, -1.911, -4.200, -4.200],
        &[-2.038, -1.095, -2.030, -2.496, -1.565, -4.200, -2.829, -4.105],
        &[-0.762, -3.916, -1.441, -3.280, -2.264, -2.222, -4.200, -4.200],
        &[-1.888, -2.827, -1.657, -1.657, -1.657, -2.191, -3.925, -4.200],
    ],
};
#[rustfmt::skip]
const MINOR: Grammar = Grammar {
    chords: &[(0, 1), (2, 2), (3, 0), (5, 1), (7, 0), (7, 1), (8, 0), (10, 0)],
    first: &[-1.232, -2.726, -1.959, -2.073, -1.800, -3.004, -2.807, -2.291],
    next: &[
        &[-4.200, -1.759, -3.032, -1.250, -1.314, -2.518, -2.589, -2.494],
        &[-1.642, -4.200, -2.130, -3.558, -0.697, -1.901, -2.721, -3.315],
        &[-1.629, -2.921, -4.200, -1.643, -2.504, -3.708, -1.663, -1.532],
        &[-1.432, -2.421, -2.108, -4.200, -2.098, -3.302, -3.561, -1.163],
        &[-0.422, -3.187, -2.803, -2.488, -4.200, -5.404, -2.488, -4.026],
        &[-0.422, -3.187, -2.803, -2.488, -4.200, -5.404, -2.488, -4.026],
        &[-2.457, -1.691, -1.444, -1.744, -2.457, -3.661, -4.200, -2.056],
        &[-1.996, -3.827, -0.631, -2.030, -2.450, -3.653, -3.344, -4.200],
    ],
};
#[rustfmt::skip]
const DORIAN: Grammar = Grammar {
    chords: &[(0, 1), (2, 1), (3, 0), (5, 0), (7, 1), (7, 0), (10, 0)],
    first: &[-1.232, -2.726, -1.959, -2.073, -1.800, -3.004, -2.291],
    next: &[
        &[-4.200, -1.759, -3.032, -1.250, -1.314, -2.518, -2.494],
        &[-1.642, -4.200, -2.130, -3.558, -0.697, -1.901, -3.315],
        &[-1.629, -2.921, -4.200, -1.643, -2.504, -3.708, -1.532],
        &[-1.432, -2.421, -2.108, -4.200, -2.098, -3.302, -1.163],
        &[-0.422, -3.187, -2.803, -2.488, -4.200, -5.404, -4.026],
        &[-0.422, -3.187, -2.803, -2.488, -4.200, -5.404, -4.026],
        &[-1.996, -3.827, -0.631, -2.030, -2.450, -3.653, -4.200],
    ],
};
#[rustfmt::skip]
const MIXOLYDIAN: Grammar = Grammar {
    chords: &[(0, 0), (2, 1), (5, 0), (7, 1), (7, 0), (9, 1), (10, 0)],
    first: &[-1.182, -2.039, -2.353, -1.522, -2.726, -2.052, -4.200],
    next: &[
        &[-4.200, -1.709, -1.408, -1.086, -2.290, -1.996, -4.200],
        &[-1.691, -4.200, -3.391, -0.749, -1.953, -2.111, -4.162],
        &[-0.978, -1.891, -4.200, -1.506, -2.710, -2.760, -3.837],
        &[-0.556, -2.227, -2.774, -4.200, -5.404, -1.911, -4.200],
        &[-0.556, -2.227, -2.774, -4.200, -5.404, -1.911, -4.200],
        &[-2.038, -1.095, -2.496, -1.565, -2.769, -4.200, -4.105],
        &[-1.888, -2.827, -1.657, -1.657, -2.861, -2.191, -4.200],
    ],
};
#[rustfmt::skip]
const PHRYGIAN: Grammar = Grammar {
    chords: &[(0, 1), (1, 0), (3, 0), (5, 1), (8, 0), (10, 1)],
    first: &[-1.232, -4.200, -1.959, -2.073, -2.807, -2.291],
    next: &[
        &[-4.200, -4.200, -3.032, -1.250, -2.589, -2.494],
        &[-2.239, -4.200, -3.195, -2.607, -1.370, -1.759],
        &[-1.629, -4.200, -4.200, -1.643, -1.663, -1.532],
        &[-1.432, -3.747, -2.108, -4.200, -3.561, -1.163],
        &[-2.457, -3.084, -1.444, -1.744, -4.200, -2.056],
        &[-1.996, -4.200, -0.631, -2.030, -3.344, -4.200],
    ],
};
#[rustfmt::skip]
const LYDIAN: Grammar = Grammar {
    chords: &[(0, 0), (2, 0), (4, 1), (7, 0), (9, 1)],
    first: &[-1.182, -2.039, -2.713, -1.522, -2.052],
    next: &[
        &[-4.200, -1.709, -3.446, -1.086, -1.996],
        &[-1.691, -4.200, -2.273, -0.749, -2.111],
        &[-2.097, -2.232, -4.200, -2.651, -0.729],
        &[-0.556, -2.227, -2.563, -4.200, -1.911],
        &[-2.038, -1.095, -2.030, -1.565, -4.200],
    ],
};
#[rustfmt::skip]
const LOCRIAN: Grammar = Grammar {
    chords: &[(0, 2), (1, 0), (3, 1), (5, 1), (6, 0), (8, 0)],
    first: &[-1.232, -4.200, -1.959, -2.073, -4.200, -2.807],
    next: &[
        &[-4.200, -4.200, -3.032, -1.250, -4.200, -2.589],
        &[-2.239, -4.200, -3.195, -2.607, -4.200, -1.370],
        &[-1.629, -4.200, -4.200, -1.643, -4.200, -1.663],
        &[-1.432, -3.747, -2.108, -4.200, -4.044, -3.561],
        &[-1.876, -3.722, -4.200, -3.722, -4.200, -3.722],
        &[-2.457, -3.084, -1.444, -1.744, -4.200, -4.200],
    ],
};
// END FITTED

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
        self.first[chord]
    }

    /// Logarithm of the probability of going on to a chord, given that there is a change.
    pub(super) fn next(&self, from: usize, to: usize) -> f32 {
        self.next[from][to]
    }

    /// Whether the chord is one of the plain ones of an accompanied dance tune.
    pub(super) fn is_plain(&self, chord: usize) -> bool {
        match self.chords[chord].0 {
            0 | 5 | 7 => true,
            // In the old modes and minor; mixolydian has the minor chord on the fifth.
            10 => self.chords[0].1 == 1 || self.chords.contains(&(7, 1)),
            _ => false,
        }
    }

    /// What ending on a chord is worth: tunes end on the tonic chord.
    pub(super) fn last(&self, chord: usize) -> f32 {
        if self.chords[chord].0 == 0 { 0.0 } else { -NOT_TONIC_LAST }
    }
}
