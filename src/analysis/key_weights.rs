//! The weights of the key model, one for each of [`super::key_features::FEATURE_NAMES`].
//!
//! First version: set by hand, to be fitted.

use super::key_features::Feature as F;
use super::key_features::{FEATURES, Row};

const fn hand(signature: bool) -> Row {
    let mut w = [0.0; FEATURES];
    w[F::LastTonic as usize] = 3.0;
    w[F::LastOutside as usize] = -2.0;
    w[F::EndsTonic as usize] = 2.0;
    w[F::DownbeatTonic as usize] = 0.5;
    w[F::StrongTonic as usize] = 2.0;
    w[F::Outside as usize] = -8.0;
    w[F::OutsideLog as usize] = -1.5;
    w[F::LeadingNote as usize] = 5.0;
    w[F::Krumhansl as usize] = 3.0;
    w[F::Temperley as usize] = 6.0;
    w[F::IsMinor as usize] = -0.5;
    w[F::IsDorian as usize] = -1.5;
    w[F::IsPhrygian as usize] = -4.0;
    w[F::IsLydian as usize] = -4.0;
    w[F::IsMixolydian as usize] = -1.5;
    w[F::IsLocrian as usize] = -6.0;
    w[F::BassLast as usize] = 2.0;
    w[F::ChordLast as usize] = 3.0;
    w[F::SymbolLast as usize] = 2.0;
    w[F::SymbolFirst as usize] = 1.0;
    w[F::SymbolThird as usize] = 1.0;
    if signature {
        w[F::Signature as usize] = 4.0;
    }
    w
}

/// Without the signature.
pub(super) const NOTES: Row = hand(false);

/// With the signature.
pub(super) const WITH_SIGNATURE: Row = hand(true);

/// What the scores are divided by before they become probabilities, without and with the signature.
pub(super) const TEMPERATURE: [f32; 2] = [1.0, 1.0];
