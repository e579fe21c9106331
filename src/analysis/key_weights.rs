//! The weights of the key model, one for each of [`super::key_features::FEATURE_NAMES`]. Made by
//! `python tests/external/analysis_fit_key.py --write`; not to be changed by hand.
//!
//! Fitted on 4789 cases: the tunes of music21's ABC collections `ryansMammoth`, `oneills1850` and
//! `airdsAirs` with their K: fields, and its Bach chorales, each as soprano alone and with all four
//! parts, every one transposed at random. See DEVELOPERS.md for the figures.

use super::key_features::Row;

/// Without the signature.
#[rustfmt::skip]
pub(super) const NOTES: Row = [
    0.601, // last note is the tonic
    -0.069, // last note is the third
    0.032, // last note is the fifth
    0.190, // last note is the second
    -0.203, // last note is outside the scale
    -0.286, // phrase ends on the tonic
    0.499, // phrase ends on the third
    0.535, // phrase ends on the fifth
    0.180, // phrase ends on second or seventh
    2.773, // section ends on the tonic
    -0.026, // section ends on the fifth
    0.113, // first downbeat is the tonic
    0.028, // first downbeat is the third
    0.611, // first downbeat is the fifth
    0.309, // pickup rises from fifth to tonic
    0.362, // downbeats on the tonic
    1.213, // downbeats on the third
    -0.314, // downbeats on the fifth
    0.606, // long notes on the tonic
    -0.324, // long notes on third or fifth
    8.170, // weight of the tonic
    2.433, // weight of the second
    -0.299, // weight of the third
    1.428, // weight of the fourth
    2.230, // weight of the fifth
    1.910, // weight of the sixth
    2.878, // weight of the seventh
    -2.221, // weight outside the scale
    -1.142, // weight outside the scale, logarithm
    -4.545, // scale notes that are missing
    0.231, // sixth is missing
    -0.580, // seventh is missing
    -0.343, // third is missing
    5.208, // raised seventh in a minor mode
    -0.099, // leading note rises to the tonic
    -19.465, // whole tone rises to the tonic
    -5.281, // step falls to the tonic
    10.509, // leaps between tonic and fifth
    0.864, // last note is the tonic, reached by step or from the fifth
    0.439, // lowest note is the tonic
    0.534, // lowest note is the fifth
    0.665, // highest note is the tonic
    -0.720, // highest note is the fifth
    -0.468, // last downbeat is the tonic
    -0.113, // last downbeat is the third
    0.276, // last downbeat is the fifth
    0.744, // sections open on the tonic
    0.600, // sections open on the fifth
    -0.130, // sections close with the tonic on the downbeat
    3.051, // first measure is of the tonic chord
    1.191, // last measure is of the tonic chord
    -0.058, // measure before the last is of the dominant
    0.591, // measure before the last is of the chord under the tonic
    -0.144, // phrases end in the tonic chord
    1.609, // measures with the whole tonic chord
    0.591, // measures mostly of the tonic chord
    0.315, // correlation with Krumhansl-Kessler
    1.473, // correlation with Temperley
    1.073, // correlation with Aarden
    -0.420, // mode is minor
    -2.226, // mode is dorian
    -3.406, // mode is phrygian
    -4.132, // mode is lydian
    -2.814, // mode is mixolydian
    -1.787, // mode is locrian
    2.098, // last bass note is the tonic
    2.692, // last chord is the tonic chord
    -0.614, // first bass note is the tonic
    -0.227, // all parts: weight outside the scale
    1.690, // all parts: correlation with Temperley
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
    -1.414, // last note is the tonic
    0.204, // last note is the third
    0.185, // last note is the fifth
    0.263, // last note is the second
    -0.081, // last note is outside the scale
    -0.687, // phrase ends on the tonic
    -0.010, // phrase ends on the third
    0.170, // phrase ends on the fifth
    0.330, // phrase ends on second or seventh
    2.445, // section ends on the tonic
    -0.022, // section ends on the fifth
    0.280, // first downbeat is the tonic
    0.031, // first downbeat is the third
    0.476, // first downbeat is the fifth
    0.192, // pickup rises from fifth to tonic
    -0.129, // downbeats on the tonic
    1.045, // downbeats on the third
    -0.511, // downbeats on the fifth
    0.590, // long notes on the tonic
    -0.283, // long notes on third or fifth
    7.353, // weight of the tonic
    -0.060, // weight of the second
    -1.982, // weight of the third
    -0.139, // weight of the fourth
    0.539, // weight of the fifth
    -0.567, // weight of the sixth
    -0.248, // weight of the seventh
    -0.580, // weight outside the scale
    -0.283, // weight outside the scale, logarithm
    -0.968, // scale notes that are missing
    0.444, // sixth is missing
    -0.133, // seventh is missing
    0.260, // third is missing
    -0.211, // raised seventh in a minor mode
    3.127, // leading note rises to the tonic
    -16.568, // whole tone rises to the tonic
    -5.652, // step falls to the tonic
    6.026, // leaps between tonic and fifth
    0.793, // last note is the tonic, reached by step or from the fifth
    0.288, // lowest note is the tonic
    0.516, // lowest note is the fifth
    0.550, // highest note is the tonic
    -0.578, // highest note is the fifth
    -0.476, // last downbeat is the tonic
    -0.151, // last downbeat is the third
    0.261, // last downbeat is the fifth
    0.477, // sections open on the tonic
    0.797, // sections open on the fifth
    -0.144, // sections close with the tonic on the downbeat
    2.295, // first measure is of the tonic chord
    1.238, // last measure is of the tonic chord
    -0.020, // measure before the last is of the dominant
    0.676, // measure before the last is of the chord under the tonic
    -0.029, // phrases end in the tonic chord
    1.386, // measures with the whole tonic chord
    0.346, // measures mostly of the tonic chord
    0.422, // correlation with Krumhansl-Kessler
    1.412, // correlation with Temperley
    0.814, // correlation with Aarden
    -0.652, // mode is minor
    -1.348, // mode is dorian
    -3.158, // mode is phrygian
    -3.507, // mode is lydian
    -1.631, // mode is mixolydian
    -1.355, // mode is locrian
    2.090, // last bass note is the tonic
    2.403, // last chord is the tonic chord
    -0.479, // first bass note is the tonic
    -0.140, // all parts: weight outside the scale
    0.215, // all parts: correlation with Temperley
    0.000, // last chord symbol is on the tonic
    0.000, // first chord symbol is on the tonic
    0.000, // chord symbols on the tonic
    0.000, // tonic chord symbols of the mode's kind
    4.261, // signature agrees
    -1.060, // signature is one fifth sharper
    -0.947, // signature is one fifth flatter
    2.270, // signature agrees and last note is the tonic
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
pub(super) const TEMPERATURE: [f32; 2] = [1.14, 1.12];
