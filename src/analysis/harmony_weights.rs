//! The chords of each mode and the tables of the harmony model.
//!
//! Those between the two marks are made by `python tests/external/analysis_fit_harmony.py --write` from
//! music21's Bach chorales (the soprano's notes against the root of the four-part chord on each beat).
//! The old modes have too few chorales: they take over what their family (major or minor third) does, but that
//! in mixolydian flat VII and minor v share with V what V does in major (set by hand).

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
    [-1.111, -8.211, -3.060, -3.921, -1.218, -4.710, -5.839, -1.328, -7.136, -5.613, -4.056, -4.683],
    [-1.054, -6.552, -3.189, -1.212, -3.580, -4.742, -8.461, -1.493, -5.405, -5.628, -3.194, -7.363],
    [-0.714, -4.501, -6.778, -1.386, -4.070, -4.335, -2.536, -3.070, -5.766, -6.085, -2.457, -6.778],
];

/// Probability that the chord changes at a beat, by its kind (0 to 3), where the tune has about a
/// note a beat.
pub(super) const CHANGE_SLOW: [f32; 4] = [0.848, 0.816, 0.659, 0.500];

#[rustfmt::skip]
const MAJOR: Grammar = Grammar {
    chords: &[(0, 0), (2, 1), (4, 1), (5, 0), (7, 0), (9, 1), (11, 2), (10, 0)],
    first: &[-1.178, -2.040, -2.724, -2.344, -1.526, -2.055, -3.681, -4.200],
    next: &[
        &[-4.200, -1.699, -3.442, -1.404, -1.097, -1.993, -3.423, -4.200],
        &[-1.684, -4.200, -2.307, -3.479, -0.743, -2.105, -3.447, -4.156],
        &[-2.074, -2.261, -4.200, -1.724, -2.699, -0.725, -4.200, -4.200],
        &[-0.971, -1.888, -2.951, -4.200, -1.509, -2.780, -2.408, -3.901],
        &[-0.553, -2.228, -2.560, -2.795, -4.200, -1.918, -4.200, -4.200],
        &[-2.040, -1.105, -2.023, -2.451, -1.569, -4.200, -2.841, -4.099],
        &[-0.757, -3.912, -1.436, -3.276, -2.348, -2.177, -4.200, -4.200],
        &[-1.831, -2.652, -1.683, -1.616, -1.754, -2.217, -3.951, -4.200],
    ],
};
#[rustfmt::skip]
const MINOR: Grammar = Grammar {
    chords: &[(0, 1), (2, 2), (3, 0), (5, 1), (7, 0), (7, 1), (8, 0), (10, 0)],
    first: &[-1.239, -2.713, -1.959, -2.090, -1.793, -2.997, -2.777, -2.280],
    next: &[
        &[-4.200, -1.743, -3.003, -1.272, -1.307, -2.511, -2.561, -2.495],
        &[-1.670, -4.200, -2.147, -3.576, -0.680, -1.884, -2.709, -3.332],
        &[-1.643, -2.936, -4.200, -1.657, -2.518, -3.722, -1.657, -1.516],
        &[-1.443, -2.411, -2.088, -4.200, -2.108, -3.312, -3.469, -1.149],
        &[-0.425, -3.148, -2.829, -2.485, -4.200, -5.404, -2.473, -4.036],
        &[-0.425, -3.148, -2.829, -2.485, -4.200, -5.404, -2.473, -4.036],
        &[-2.483, -1.679, -1.440, -1.756, -2.456, -3.660, -4.200, -2.064],
        &[-1.975, -3.839, -0.629, -2.053, -2.461, -3.665, -3.356, -4.200],
    ],
};
#[rustfmt::skip]
const DORIAN: Grammar = Grammar {
    chords: &[(0, 1), (2, 1), (3, 0), (5, 0), (7, 1), (7, 0), (10, 0)],
    first: &[-1.239, -2.713, -1.959, -2.090, -1.793, -2.997, -2.280],
    next: &[
        &[-4.200, -1.743, -3.003, -1.272, -1.307, -2.511, -2.495],
        &[-1.670, -4.200, -2.147, -3.576, -0.680, -1.884, -3.332],
        &[-1.643, -2.936, -4.200, -1.657, -2.518, -3.722, -1.516],
        &[-1.443, -2.411, -2.088, -4.200, -2.108, -3.312, -1.149],
        &[-0.425, -3.148, -2.829, -2.485, -4.200, -5.404, -4.036],
        &[-0.425, -3.148, -2.829, -2.485, -4.200, -5.404, -4.036],
        &[-1.975, -3.839, -0.629, -2.053, -2.461, -3.665, -4.200],
    ],
};
#[rustfmt::skip]
const MIXOLYDIAN: Grammar = Grammar {
    chords: &[(0, 0), (2, 1), (5, 0), (7, 1), (7, 0), (9, 1), (10, 0)],
    first: &[-1.178, -2.040, -2.344, -2.730, -2.443, -2.055, -2.596],
    next: &[
        &[-4.200, -1.699, -1.404, -2.301, -2.013, -1.993, -2.215],
        &[-1.684, -4.200, -3.479, -1.947, -1.659, -2.105, -1.843],
        &[-0.971, -1.888, -4.200, -2.713, -2.426, -2.780, -2.447],
        &[-0.553, -2.228, -2.795, -5.404, -5.116, -1.918, -4.200],
        &[-0.553, -2.228, -2.795, -5.404, -5.116, -1.918, -4.200],
        &[-2.040, -1.105, -2.451, -2.773, -2.485, -4.200, -2.537],
        &[-1.001, -2.418, -2.041, -3.649, -3.362, -2.056, -3.450],
    ],
};
#[rustfmt::skip]
const PHRYGIAN: Grammar = Grammar {
    chords: &[(0, 1), (1, 0), (3, 0), (5, 1), (8, 0), (10, 1)],
    first: &[-1.239, -4.200, -1.959, -2.090, -2.777, -2.280],
    next: &[
        &[-4.200, -4.200, -3.003, -1.272, -2.561, -2.495],
        &[-2.422, -4.200, -2.874, -2.623, -1.386, -1.685],
        &[-1.643, -4.200, -4.200, -1.657, -1.657, -1.516],
        &[-1.443, -3.967, -2.088, -4.200, -3.469, -1.149],
        &[-2.483, -3.012, -1.440, -1.756, -4.200, -2.064],
        &[-1.975, -4.200, -0.629, -2.053, -3.356, -4.200],
    ],
};
#[rustfmt::skip]
const LYDIAN: Grammar = Grammar {
    chords: &[(0, 0), (2, 0), (4, 1), (7, 0), (9, 1)],
    first: &[-1.178, -2.040, -2.724, -1.526, -2.055],
    next: &[
        &[-4.200, -1.699, -3.442, -1.097, -1.993],
        &[-1.684, -4.200, -2.307, -0.743, -2.105],
        &[-2.074, -2.261, -4.200, -2.699, -0.725],
        &[-0.553, -2.228, -2.560, -4.200, -1.918],
        &[-2.040, -1.105, -2.023, -1.569, -4.200],
    ],
};
#[rustfmt::skip]
const LOCRIAN: Grammar = Grammar {
    chords: &[(0, 2), (1, 0), (3, 1), (5, 1), (6, 0), (8, 0)],
    first: &[-1.239, -4.200, -1.959, -2.090, -4.200, -2.777],
    next: &[
        &[-4.200, -4.200, -3.003, -1.272, -4.200, -2.561],
        &[-2.422, -4.200, -2.874, -2.623, -3.722, -1.386],
        &[-1.643, -4.200, -4.200, -1.657, -4.200, -1.657],
        &[-1.443, -3.967, -2.088, -4.200, -4.034, -3.469],
        &[-1.892, -3.738, -4.200, -3.738, -4.200, -3.738],
        &[-2.483, -3.012, -1.440, -1.756, -4.200, -4.200],
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
