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
    -0.159, // last note is the tonic
    -0.518, // last note is the third
    -0.512, // last note is the fifth
    0.578, // last note is the second
    -0.956, // last note is outside the scale
    0.091, // phrase ends on the tonic
    0.466, // phrase ends on the third
    0.194, // phrase ends on the fifth
    0.181, // phrase ends on second or seventh
    3.486, // section ends on the tonic
    0.260, // section ends on the fifth
    0.410, // first downbeat is the tonic
    0.182, // first downbeat is the third
    1.008, // first downbeat is the fifth
    0.592, // pickup rises from fifth to tonic
    0.463, // downbeats on the tonic
    1.180, // downbeats on the third
    -0.616, // downbeats on the fifth
    0.252, // long notes on the tonic
    -0.557, // long notes on third or fifth
    21.815, // weight of the tonic
    1.672, // weight of the second
    5.841, // weight of the third
    2.513, // weight of the fourth
    8.396, // weight of the fifth
    4.511, // weight of the sixth
    8.000, // weight of the seventh
    -6.247, // weight outside the scale
    -1.275, // weight outside the scale, logarithm
    -12.811, // scale notes that are missing
    0.983, // sixth is missing
    0.104, // seventh is missing
    0.769, // third is missing
    18.063, // raised seventh in a minor mode
    -12.472, // leading note rises to the tonic
    -18.580, // whole tone rises to the tonic
    -6.997, // step falls to the tonic
    9.413, // leaps between tonic and fifth
    0.596, // last note is the tonic, reached by step or from the fifth
    0.348, // lowest note is the tonic
    0.553, // lowest note is the fifth
    0.491, // highest note is the tonic
    -0.706, // highest note is the fifth
    -1.164, // last downbeat is the tonic
    -0.505, // last downbeat is the third
    0.043, // last downbeat is the fifth
    0.255, // sections open on the tonic
    0.571, // sections open on the fifth
    0.082, // sections close with the tonic on the downbeat
    3.402, // first measure is of the tonic chord
    2.113, // last measure is of the tonic chord
    -0.365, // measure before the last is of the dominant
    0.579, // measure before the last is of the chord under the tonic
    0.279, // phrases end in the tonic chord
    1.104, // measures with the whole tonic chord
    -0.686, // measures mostly of the tonic chord
    -4.343, // correlation with Krumhansl-Kessler
    1.016, // correlation with Temperley
    3.548, // correlation with Aarden
    -1.787, // mode is minor
    -4.192, // mode is dorian
    -6.359, // mode is phrygian
    -5.951, // mode is lydian
    -3.456, // mode is mixolydian
    -4.611, // mode is locrian
    4.173, // last bass note is the tonic
    4.454, // last chord is the tonic chord
    -3.158, // first bass note is the tonic
    4.422, // all parts: weight outside the scale
    7.045, // all parts: correlation with Temperley
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
    -2.600, // last note is the tonic
    -0.417, // last note is the third
    -0.865, // last note is the fifth
    0.691, // last note is the second
    -0.148, // last note is outside the scale
    0.215, // phrase ends on the tonic
    0.245, // phrase ends on the third
    0.260, // phrase ends on the fifth
    0.493, // phrase ends on second or seventh
    3.073, // section ends on the tonic
    0.420, // section ends on the fifth
    0.617, // first downbeat is the tonic
    0.118, // first downbeat is the third
    0.766, // first downbeat is the fifth
    0.281, // pickup rises from fifth to tonic
    0.091, // downbeats on the tonic
    0.695, // downbeats on the third
    -0.772, // downbeats on the fifth
    0.231, // long notes on the tonic
    -0.562, // long notes on third or fifth
    13.577, // weight of the tonic
    -2.839, // weight of the second
    0.978, // weight of the third
    -1.643, // weight of the fourth
    1.962, // weight of the fifth
    -3.292, // weight of the sixth
    0.685, // weight of the seventh
    -1.116, // weight outside the scale
    -0.517, // weight outside the scale, logarithm
    -1.908, // scale notes that are missing
    0.787, // sixth is missing
    0.322, // seventh is missing
    1.081, // third is missing
    2.692, // raised seventh in a minor mode
    -8.692, // leading note rises to the tonic
    -17.992, // whole tone rises to the tonic
    -8.783, // step falls to the tonic
    4.469, // leaps between tonic and fifth
    0.880, // last note is the tonic, reached by step or from the fifth
    0.077, // lowest note is the tonic
    0.551, // lowest note is the fifth
    0.376, // highest note is the tonic
    -0.690, // highest note is the fifth
    -1.158, // last downbeat is the tonic
    -0.635, // last downbeat is the third
    0.001, // last downbeat is the fifth
    -0.039, // sections open on the tonic
    0.709, // sections open on the fifth
    -0.105, // sections close with the tonic on the downbeat
    2.500, // first measure is of the tonic chord
    2.734, // last measure is of the tonic chord
    -0.088, // measure before the last is of the dominant
    0.655, // measure before the last is of the chord under the tonic
    -0.369, // phrases end in the tonic chord
    1.265, // measures with the whole tonic chord
    -1.133, // measures mostly of the tonic chord
    -1.466, // correlation with Krumhansl-Kessler
    2.194, // correlation with Temperley
    0.724, // correlation with Aarden
    -1.845, // mode is minor
    -2.414, // mode is dorian
    -6.200, // mode is phrygian
    -6.842, // mode is lydian
    -2.538, // mode is mixolydian
    -4.019, // mode is locrian
    4.762, // last bass note is the tonic
    3.589, // last chord is the tonic chord
    -2.413, // first bass note is the tonic
    -0.595, // all parts: weight outside the scale
    0.722, // all parts: correlation with Temperley
    0.000, // last chord symbol is on the tonic
    0.000, // first chord symbol is on the tonic
    0.000, // chord symbols on the tonic
    0.000, // tonic chord symbols of the mode's kind
    6.794, // signature agrees
    -1.288, // signature is one fifth sharper
    -1.116, // signature is one fifth flatter
    2.295, // signature agrees and last note is the tonic
];

/// What the scores are divided by before they become probabilities, without and with the signature:
/// fitted on the held-out scores of the five folds.
pub(super) const TEMPERATURE: [f32; 2] = [1.36, 1.34];
