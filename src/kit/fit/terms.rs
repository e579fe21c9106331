//! The cost of one way to play a song, term by term.

use crate::kit::cost::Weights;

/// Counts of plain units; each times its weight of [`Weights`] gives the cost.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub(super) struct Terms {
    pub(super) swapped: usize,
    pub(super) off: usize,
    pub(super) accidentals: usize,
    pub(super) semitones: usize,
    pub(super) singing: usize,
    pub(super) octaves: usize,
    pub(super) carrier: f64,
    pub(super) hand_overs: usize,
    pub(super) hand_overs_inside: usize,
    pub(super) moved_inside: usize,
    /// Notes changed, a note of mean weight counting one.
    pub(super) changed: f64,
}

impl Terms {
    fn units(&self) -> [f64; 11] {
        [
            self.swapped as f64,
            self.off as f64,
            self.accidentals as f64,
            self.semitones as f64,
            self.singing as f64,
            self.octaves as f64,
            self.carrier,
            self.hand_overs as f64,
            self.hand_overs_inside as f64,
            self.moved_inside as f64,
            self.changed,
        ]
    }

    /// The sum, term by term.
    pub(super) fn plus(&self, other: &Terms) -> Terms {
        Terms {
            swapped: self.swapped + other.swapped,
            off: self.off + other.off,
            accidentals: self.accidentals + other.accidentals,
            semitones: self.semitones + other.semitones,
            singing: self.singing + other.singing,
            octaves: self.octaves + other.octaves,
            carrier: self.carrier + other.carrier,
            hand_overs: self.hand_overs + other.hand_overs,
            hand_overs_inside: self.hand_overs_inside + other.hand_overs_inside,
            moved_inside: self.moved_inside + other.moved_inside,
            changed: self.changed + other.changed,
        }
    }

    /// The weighted sum.
    pub(super) fn cost(&self, weights: &Weights) -> f64 {
        self.units().iter().zip(weights.values()).map(|(unit, weight)| unit * weight).sum()
    }

    /// Whether this is nowhere worse than the other and somewhere better.
    pub(super) fn beats(&self, other: &Terms) -> bool {
        let (own, others) = (self.units(), other.units());
        own.iter().zip(others).all(|(a, b)| *a <= b) && own != others
    }
}
