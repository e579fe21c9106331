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
    0.594, // last note is the tonic
    0.025, // last note is the third
    0.061, // last note is the fifth
    0.144, // last note is the second
    -0.196, // last note is outside the scale
    -0.117, // phrase ends on the tonic
    0.325, // phrase ends on the third
    0.517, // phrase ends on the fifth
    0.346, // phrase ends on second or seventh
    2.706, // section ends on the tonic
    0.012, // section ends on the fifth
    0.120, // first downbeat is the tonic
    0.034, // first downbeat is the third
    0.610, // first downbeat is the fifth
    0.293, // pickup rises from fifth to tonic
    0.343, // downbeats on the tonic
    1.123, // downbeats on the third
    -0.320, // downbeats on the fifth
    0.585, // long notes on the tonic
    -0.319, // long notes on third or fifth
    8.064, // weight of the tonic
    2.357, // weight of the second
    -0.161, // weight of the third
    1.535, // weight of the fourth
    2.129, // weight of the fifth
    2.005, // weight of the sixth
    2.787, // weight of the seventh
    -2.217, // weight outside the scale
    -1.142, // weight outside the scale, logarithm
    -4.524, // scale notes that are missing
    0.222, // sixth is missing
    -0.588, // seventh is missing
    -0.348, // third is missing
    5.180, // raised seventh in a minor mode
    -0.186, // leading note rises to the tonic
    -19.396, // whole tone rises to the tonic
    -5.225, // step falls to the tonic
    10.874, // leaps between tonic and fifth
    0.876, // last note is the tonic, reached by step or from the fifth
    0.434, // lowest note is the tonic
    0.541, // lowest note is the fifth
    0.669, // highest note is the tonic
    -0.722, // highest note is the fifth
    -0.469, // last downbeat is the tonic
    -0.112, // last downbeat is the third
    0.272, // last downbeat is the fifth
    0.761, // sections open on the tonic
    0.617, // sections open on the fifth
    -0.122, // sections close with the tonic on the downbeat
    3.031, // first measure is of the tonic chord
    1.154, // last measure is of the tonic chord
    -0.061, // measure before the last is of the dominant
    0.573, // measure before the last is of the chord under the tonic
    -0.041, // phrases end in the tonic chord
    1.586, // measures with the whole tonic chord
    0.567, // measures mostly of the tonic chord
    0.318, // correlation with Krumhansl-Kessler
    1.472, // correlation with Temperley
    1.077, // correlation with Aarden
    -0.418, // mode is minor
    -2.227, // mode is dorian
    -3.393, // mode is phrygian
    -4.135, // mode is lydian
    -2.820, // mode is mixolydian
    -1.793, // mode is locrian
    2.101, // last bass note is the tonic
    2.698, // last chord is the tonic chord
    -0.606, // first bass note is the tonic
    -0.230, // all parts: weight outside the scale
    1.697, // all parts: correlation with Temperley
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
    -1.447, // last note is the tonic
    0.260, // last note is the third
    0.198, // last note is the fifth
    0.259, // last note is the second
    -0.078, // last note is outside the scale
    -0.299, // phrase ends on the tonic
    -0.091, // phrase ends on the third
    0.205, // phrase ends on the fifth
    0.373, // phrase ends on second or seventh
    2.309, // section ends on the tonic
    0.005, // section ends on the fifth
    0.274, // first downbeat is the tonic
    0.022, // first downbeat is the third
    0.460, // first downbeat is the fifth
    0.169, // pickup rises from fifth to tonic
    -0.071, // downbeats on the tonic
    0.990, // downbeats on the third
    -0.502, // downbeats on the fifth
    0.524, // long notes on the tonic
    -0.312, // long notes on third or fifth
    7.188, // weight of the tonic
    -0.200, // weight of the second
    -1.626, // weight of the third
    -0.242, // weight of the fourth
    0.563, // weight of the fifth
    -0.477, // weight of the sixth
    -0.334, // weight of the seventh
    -0.577, // weight outside the scale
    -0.281, // weight outside the scale, logarithm
    -0.958, // scale notes that are missing
    0.419, // sixth is missing
    -0.128, // seventh is missing
    0.246, // third is missing
    -0.144, // raised seventh in a minor mode
    2.997, // leading note rises to the tonic
    -16.390, // whole tone rises to the tonic
    -5.630, // step falls to the tonic
    6.347, // leaps between tonic and fifth
    0.832, // last note is the tonic, reached by step or from the fifth
    0.277, // lowest note is the tonic
    0.521, // lowest note is the fifth
    0.532, // highest note is the tonic
    -0.580, // highest note is the fifth
    -0.472, // last downbeat is the tonic
    -0.143, // last downbeat is the third
    0.263, // last downbeat is the fifth
    0.497, // sections open on the tonic
    0.809, // sections open on the fifth
    -0.109, // sections close with the tonic on the downbeat
    2.333, // first measure is of the tonic chord
    1.249, // last measure is of the tonic chord
    -0.007, // measure before the last is of the dominant
    0.640, // measure before the last is of the chord under the tonic
    -0.160, // phrases end in the tonic chord
    1.423, // measures with the whole tonic chord
    0.268, // measures mostly of the tonic chord
    0.430, // correlation with Krumhansl-Kessler
    1.419, // correlation with Temperley
    0.810, // correlation with Aarden
    -0.643, // mode is minor
    -1.342, // mode is dorian
    -3.132, // mode is phrygian
    -3.510, // mode is lydian
    -1.645, // mode is mixolydian
    -1.362, // mode is locrian
    2.093, // last bass note is the tonic
    2.409, // last chord is the tonic chord
    -0.464, // first bass note is the tonic
    -0.139, // all parts: weight outside the scale
    0.215, // all parts: correlation with Temperley
    0.000, // last chord symbol is on the tonic
    0.000, // first chord symbol is on the tonic
    0.000, // chord symbols on the tonic
    0.000, // tonic chord symbols of the mode's kind
    4.257, // signature agrees
    -1.062, // signature is one fifth sharper
    -0.952, // signature is one fifth flatter
    2.247, // signature agrees and last note is the tonic
];

/// What the scores are divided by before they become probabilities, without and with the signature:
/// fitted on the held-out scores of the five folds.
pub(super) const TEMPERATURE: [f32; 2] = [1.14, 1.12];
