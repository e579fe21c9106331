//! The weights of the key model, one for each of [`super::key_features::FEATURE_NAMES`]. Made by
//! `python tests/external/analysis_fit_key.py --write`; not to be changed by hand.
//!
//! Fitted on 8990 cases: the tunes of music21's ABC collections `ryansMammoth`, `oneills1850` and
//! `airdsAirs` with their K: fields (each as it is and bare of double bars and pickup), and its Bach chorales, each as soprano alone and with all four
//! parts, every one transposed at random. See DEVELOPERS.md for the figures.

use super::key_features::Row;

/// Without the signature.
#[rustfmt::skip]
pub(super) const NOTES: Row = [
    0.723, // last note is the tonic
    -0.095, // last note is the third
    -0.044, // last note is the fifth
    0.317, // last note is the second
    -0.232, // last note is outside the scale
    0.315, // phrase ends on the tonic
    -0.084, // phrase ends on the third
    -0.076, // phrase ends on the fifth
    -0.098, // phrase ends on second or seventh
    1.694, // section ends on the tonic
    0.117, // section ends on the fifth
    0.047, // first downbeat is the tonic
    -0.057, // first downbeat is the third
    0.366, // first downbeat is the fifth
    0.361, // pickup rises from fifth to tonic
    -0.134, // downbeats on the tonic
    0.350, // downbeats on the third
    -0.771, // downbeats on the fifth
    0.907, // long notes on the tonic
    -0.148, // long notes on third or fifth
    8.713, // weight of the tonic
    2.316, // weight of the second
    0.367, // weight of the third
    0.839, // weight of the fourth
    2.862, // weight of the fifth
    0.583, // weight of the sixth
    3.728, // weight of the seventh
    -2.277, // weight outside the scale
    -1.233, // weight outside the scale, logarithm
    -4.525, // scale notes that are missing
    0.067, // sixth is missing
    -0.594, // seventh is missing
    -0.161, // third is missing
    3.668, // raised seventh in a minor mode
    -2.250, // leading note rises to the tonic
    -19.940, // whole tone rises to the tonic
    -2.615, // step falls to the tonic
    10.966, // leaps between tonic and fifth
    0.679, // last note is the tonic, reached by step or from the fifth
    0.339, // lowest note is the tonic
    0.650, // lowest note is the fifth
    0.584, // highest note is the tonic
    -0.768, // highest note is the fifth
    -0.406, // last downbeat is the tonic
    -0.264, // last downbeat is the third
    0.258, // last downbeat is the fifth
    0.393, // sections open on the tonic
    0.458, // sections open on the fifth
    -0.085, // sections close with the tonic on the downbeat
    3.331, // first measure is of the tonic chord
    0.910, // last measure is of the tonic chord
    -0.065, // measure before the last is of the dominant
    0.641, // measure before the last is of the chord under the tonic
    0.336, // phrases end in the tonic chord
    1.143, // measures with the whole tonic chord
    0.587, // measures mostly of the tonic chord
    0.267, // correlation with Krumhansl-Kessler
    1.344, // correlation with Temperley
    1.278, // correlation with Aarden
    -0.477, // mode is minor
    -2.486, // mode is dorian
    -3.282, // mode is phrygian
    -4.188, // mode is lydian
    -2.773, // mode is mixolydian
    -1.742, // mode is locrian
    2.261, // last bass note is the tonic
    2.882, // last chord is the tonic chord
    -0.846, // first bass note is the tonic
    -0.378, // all parts: weight outside the scale
    1.812, // all parts: correlation with Temperley
    0.000, // last chord symbol is on the tonic
    0.000, // first chord symbol is on the tonic
    0.000, // chord symbols on the tonic
    0.000, // tonic chord symbols of the mode's kind
    0.000, // signature agrees
    0.000, // signature is one fifth sharper
    0.000, // signature is one fifth flatter
    0.000, // signature agrees and last note is the tonic
];

/// With the signature.
#[rustfmt::skip]
pub(super) const WITH_SIGNATURE: Row = [
    -1.214, // last note is the tonic
    0.142, // last note is the third
    0.105, // last note is the fifth
    0.473, // last note is the second
    -0.104, // last note is outside the scale
    0.014, // phrase ends on the tonic
    -0.297, // phrase ends on the third
    -0.174, // phrase ends on the fifth
    0.092, // phrase ends on second or seventh
    1.281, // section ends on the tonic
    0.053, // section ends on the fifth
    0.148, // first downbeat is the tonic
    0.025, // first downbeat is the third
    0.332, // first downbeat is the fifth
    0.358, // pickup rises from fifth to tonic
    -0.490, // downbeats on the tonic
    0.141, // downbeats on the third
    -0.741, // downbeats on the fifth
    0.890, // long notes on the tonic
    -0.165, // long notes on third or fifth
    7.218, // weight of the tonic
    -0.084, // weight of the second
    -1.051, // weight of the third
    -0.782, // weight of the fourth
    1.103, // weight of the fifth
    -1.995, // weight of the sixth
    0.643, // weight of the seventh
    -0.593, // weight outside the scale
    -0.296, // weight outside the scale, logarithm
    -0.984, // scale notes that are missing
    0.364, // sixth is missing
    -0.164, // seventh is missing
    0.355, // third is missing
    -0.206, // raised seventh in a minor mode
    0.380, // leading note rises to the tonic
    -16.124, // whole tone rises to the tonic
    -4.541, // step falls to the tonic
    6.567, // leaps between tonic and fifth
    0.642, // last note is the tonic, reached by step or from the fifth
    0.214, // lowest note is the tonic
    0.551, // lowest note is the fifth
    0.467, // highest note is the tonic
    -0.621, // highest note is the fifth
    -0.431, // last downbeat is the tonic
    -0.312, // last downbeat is the third
    0.225, // last downbeat is the fifth
    0.287, // sections open on the tonic
    0.471, // sections open on the fifth
    -0.097, // sections close with the tonic on the downbeat
    2.415, // first measure is of the tonic chord
    1.013, // last measure is of the tonic chord
    0.021, // measure before the last is of the dominant
    0.622, // measure before the last is of the chord under the tonic
    0.254, // phrases end in the tonic chord
    0.784, // measures with the whole tonic chord
    0.324, // measures mostly of the tonic chord
    0.543, // correlation with Krumhansl-Kessler
    1.341, // correlation with Temperley
    0.926, // correlation with Aarden
    -0.922, // mode is minor
    -1.337, // mode is dorian
    -3.134, // mode is phrygian
    -3.685, // mode is lydian
    -1.867, // mode is mixolydian
    -1.494, // mode is locrian
    2.298, // last bass note is the tonic
    2.646, // last chord is the tonic chord
    -0.883, // first bass note is the tonic
    -0.169, // all parts: weight outside the scale
    0.175, // all parts: correlation with Temperley
    0.000, // last chord symbol is on the tonic
    0.000, // first chord symbol is on the tonic
    0.000, // chord symbols on the tonic
    0.000, // tonic chord symbols of the mode's kind
    4.261, // signature agrees
    -1.018, // signature is one fifth sharper
    -1.013, // signature is one fifth flatter
    2.274, // signature agrees and last note is the tonic
];

/// Logarithm of the share of a tune's time that each degree (semitones above the tonic) has, by mode in the
/// order of `Mode::ALL`: counted in the folk tunes; phrygian, lydian and locrian (few tunes) from minor and
/// major with the degrees changed that differ.
#[rustfmt::skip]
pub(super) const DEGREE_SCORES: [[f32; 12]; 7] = [
    [-1.344, -7.112, -2.001, -7.858, -1.795, -2.496, -5.933, -1.735, -6.922, -2.346, -5.885, -2.581],
    [-1.371, -6.723, -2.135, -1.919, -6.306, -2.175, -6.461, -1.767, -3.611, -4.529, -1.980, -4.125],
    [-1.464, -5.226, -1.939, -2.503, -4.677, -2.142, -5.116, -1.802, -5.041, -2.921, -1.784, -4.466],
    [-1.371, -2.135, -6.723, -1.919, -6.306, -2.175, -6.461, -1.767, -3.611, -4.529, -1.980, -4.125],
    [-1.344, -7.112, -2.001, -7.858, -1.795, -5.933, -2.496, -1.735, -6.922, -2.346, -5.885, -2.581],
    [-1.441, -5.314, -2.125, -5.144, -2.086, -2.096, -5.263, -1.800, -5.257, -2.231, -2.360, -4.756],
    [-1.371, -2.135, -6.723, -1.919, -6.306, -2.175, -1.767, -6.461, -3.611, -4.529, -1.980, -4.125],
];

/// What the scores are divided by before they become probabilities, without and with the signature:
/// fitted on the held-out scores of the five folds.
pub(super) const TEMPERATURE: [f32; 2] = [1.12, 1.10];
