//! The weights of the phrase model.
//!
//! First version: set by hand, to be fitted.

use super::phrase::{BOUNDARIES, LENGTHS};

/// For each of [`super::phrase::PHRASE_FEATURES`].
pub(super) const BOUNDARY: [f32; BOUNDARIES] = [
    -3.0, 1.0, 0.7, 1.2, 0.6, 0.5, 1.0, 0.2, 2.0, 0.3, 0.3, 0.2, 1.5, 0.8, 0.5, 0.3, 0.2, 0.3, 5.0,
    3.0, 1.5, 0.7,
];

/// For each of [`super::phrase::LENGTH_FEATURES`].
pub(super) const LENGTH: [f32; LENGTHS] = [-1.0, -3.0, -0.5, -0.5, 0.7, 0.5, 0.5, -2.0];
