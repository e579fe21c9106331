//! The weights of the phrase model. Made by `python tests/external/analysis_fit_phrase.py --write`:
//! fitted on the sopranos of music21's Bach chorales, a fermata being a phrase's end; those of fermatas
//! and lyrics are set by hand (no data behind them). See DEVELOPERS.md for the figures.

use super::phrase::{BOUNDARIES, LENGTHS};

/// For each of [`super::phrase::PHRASE_FEATURES`].
#[rustfmt::skip]
pub(super) const BOUNDARY: [f32; BOUNDARIES] = [
    -4.159, // constant
    1.967, // rest before the note
    1.545, // rest in beats, at most two
    2.052, // note before: length over the median, octaves of two
    -1.368, // note before is longer than both neighbours
    0.629, // note before: length over this note's, octaves of two
    1.269, // same place in the measure as the tune's first note
    -0.417, // note begins a measure
    3.180, // double bar or repeat between
    0.521, // leap of a fourth or more
    0.845, // leap bigger than both neighbours
    0.809, // note before is reached by a falling step
    1.402, // next four notes as at the tune's start
    0.453, // next four notes as at an earlier place
    1.326, // next four lengths as at the tune's start
    0.880, // note before is the tune's last class
    0.866, // note before is a fifth above the tune's last class
    1.122, // note before falls on a strong beat
    5.000, // fermata on the note before
    3.000, // syllable before ends a sentence
    1.500, // syllable before ends a clause
    0.700, // syllable begins with a capital after a finished word
];

/// For each of [`super::phrase::LENGTH_FEATURES`].
#[rustfmt::skip]
pub(super) const LENGTH: [f32; LENGTHS] = [
    -1.940, // missing to eight beats, as a share of eight
    -3.051, // the same squared
    0.198, // beyond eight beats, as a share of eight, at most two
    -0.443, // the same squared
    -0.046, // a whole number of measures
    0.387, // two or four measures
    0.936, // eight beats
    -1.405, // fewer than four notes
];
