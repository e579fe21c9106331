//! Exact musical time.
//!
//! Every onset and duration in barwright is an exact fraction of a quarter note. Floating point was
//! rejected: a triplet has no exact binary fraction, and one tick of error in a measure moves
//! everything behind it.

use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Div, Mul, Neg, Rem, Sub, SubAssign};
use std::str::FromStr;

use num_rational::Ratio;
use num_traits::{CheckedAdd, CheckedMul, Zero};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A time or a length of time: an exact fraction of a quarter note.
///
/// The readers bound the size and the common denominator of the times they let in
/// ([`Time::MAX_QUARTERS`], [`Time::MAX_DENOMINATOR`]), so that sums and differences of times of one
/// score can't overflow.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Time(Ratio<i64>);

impl Time {
    /// No time: the start of the score.
    pub const ZERO: Time = Time(Ratio::new_raw(0, 1));
    /// One quarter note.
    pub const QUARTER: Time = Time(Ratio::new_raw(1, 1));
    /// The latest time, in quarter notes, that a reader lets into a score: more than a week of music
    /// at any usual tempo.
    pub const MAX_QUARTERS: i64 = 1_000_000;
    /// The largest common denominator of all times of one score that a reader lets in.
    /// With [`Time::MAX_QUARTERS`] it keeps every numerator below 10^15.
    pub const MAX_DENOMINATOR: i64 = 1_000_000_000;

    /// `numerator / denominator` quarter notes; a zero denominator gives [`Time::ZERO`].
    pub fn new(numerator: i64, denominator: i64) -> Time {
        if denominator == 0 {
            return Time::ZERO;
        }
        Time(Ratio::new(numerator, denominator))
    }

    /// `ticks / per_quarter` quarter notes, whole quarters without a search for common factors (most
    /// notes of most MIDI files); a `per_quarter` of zero gives [`Time::ZERO`].
    pub fn from_ticks(ticks: i64, per_quarter: i64) -> Time {
        if per_quarter == 0 {
            return Time::ZERO;
        }
        let (whole, rest) = (ticks / per_quarter, ticks % per_quarter);
        if rest == 0 {
            return Time::quarters(whole);
        }
        Time(Ratio::new(ticks, per_quarter))
    }

    /// `numerator / denominator` that are known to be in lowest terms, the denominator positive: for
    /// readers of many notes, to whom the search for common factors is most of the cost.
    pub(crate) fn from_reduced(numerator: i64, denominator: i64) -> Time {
        let time = Time(Ratio::new_raw(numerator, denominator));
        debug_assert_eq!(time, Time::new(numerator, denominator));
        time
    }

    /// `n` whole quarter notes.
    pub const fn quarters(n: i64) -> Time {
        Time(Ratio::new_raw(n, 1))
    }

    /// The numerator, in lowest terms.
    pub fn numerator(self) -> i64 {
        *self.0.numer()
    }

    /// The denominator, in lowest terms; always positive.
    pub fn denominator(self) -> i64 {
        *self.0.denom()
    }

    /// Whether this is exactly no time.
    pub fn is_zero(self) -> bool {
        self.0.is_zero()
    }

    /// Whether this is later than zero.
    pub fn is_positive(self) -> bool {
        *self.0.numer() > 0
    }

    /// The sum, or `None` where it does not fit.
    pub fn checked_add(self, other: Time) -> Option<Time> {
        self.0.checked_add(&other.0).map(Time)
    }

    /// The product with a whole number, or `None` where it does not fit.
    pub fn checked_mul(self, n: i64) -> Option<Time> {
        self.0.checked_mul(&Ratio::from_integer(n)).map(Time)
    }

    /// How many whole `step`s fit (rounding towards earlier); 0 for a step that isn't positive.
    pub fn div_floor(self, step: Time) -> i64 {
        if !step.is_positive() {
            return 0;
        }
        (self.0 / step.0).floor().to_integer()
    }

    /// What is left after taking off whole `step`s: from 0 up to, not including, `step`.
    pub fn rem_floor(self, step: Time) -> Time {
        if !step.is_positive() {
            return Time::ZERO;
        }
        self - step * self.div_floor(step)
    }

    /// `self / other` as an exact ratio of two times, or `None` where `other` is zero.
    pub fn ratio(self, other: Time) -> Option<Ratio<i64>> {
        if other.is_zero() { None } else { Some(self.0 / other.0) }
    }

    /// This time in ticks of `per_quarter` to the quarter, rounded to the nearest (for formats that
    /// have no fractions).
    pub fn ticks(self, per_quarter: i64) -> i64 {
        (self.0 * per_quarter).round().to_integer()
    }

    /// As a floating point number of quarters, for weights and drawing only, never for adding up.
    pub fn as_f64(self) -> f64 {
        *self.0.numer() as f64 / *self.0.denom() as f64
    }
}

impl Add for Time {
    type Output = Time;
    fn add(self, other: Time) -> Time {
        if self.0.denom() == &1 && other.0.denom() == &1 {
            return Time::quarters(self.0.numer() + other.0.numer());
        }
        Time(self.0 + other.0)
    }
}

impl Sub for Time {
    type Output = Time;
    fn sub(self, other: Time) -> Time {
        if self.0.denom() == &1 && other.0.denom() == &1 {
            return Time::quarters(self.0.numer() - other.0.numer());
        }
        Time(self.0 - other.0)
    }
}

impl Neg for Time {
    type Output = Time;
    fn neg(self) -> Time {
        Time(-self.0)
    }
}

impl Mul<i64> for Time {
    type Output = Time;
    fn mul(self, n: i64) -> Time {
        Time(self.0 * n)
    }
}

impl Mul<Ratio<i64>> for Time {
    type Output = Time;
    fn mul(self, r: Ratio<i64>) -> Time {
        Time(self.0 * r)
    }
}

impl Div<i64> for Time {
    type Output = Time;
    /// Division by a whole number; by zero it gives [`Time::ZERO`].
    fn div(self, n: i64) -> Time {
        if n == 0 { Time::ZERO } else { Time(self.0 / n) }
    }
}

impl Rem for Time {
    type Output = Time;
    fn rem(self, step: Time) -> Time {
        self.rem_floor(step)
    }
}

impl AddAssign for Time {
    fn add_assign(&mut self, other: Time) {
        *self = *self + other;
    }
}

impl SubAssign for Time {
    fn sub_assign(&mut self, other: Time) {
        *self = *self - other;
    }
}

impl Sum for Time {
    fn sum<I: Iterator<Item = Time>>(times: I) -> Time {
        times.fold(Time::ZERO, |a, b| a + b)
    }
}

impl fmt::Display for Time {
    /// `3/2`, or `2` for whole quarters: the form that the JSON documents use.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl fmt::Debug for Time {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// A text that is no fraction such as `3/2`.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is no fraction of a quarter note such as 3/2")]
pub struct TimeError(String);

impl FromStr for Time {
    type Err = TimeError;
    fn from_str(text: &str) -> Result<Time, TimeError> {
        text.trim().parse::<Ratio<i64>>().map(Time).map_err(|_| TimeError(text.to_owned()))
    }
}

impl Serialize for Time {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Time {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Time, D::Error> {
        let text = String::deserialize(deserializer)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn prints_and_reads_fractions() {
        assert_eq!(Time::new(6, 4).to_string(), "3/2");
        assert_eq!(Time::quarters(2).to_string(), "2");
        assert_eq!("3/2".parse::<Time>(), Ok(Time::new(3, 2)));
        assert!("x".parse::<Time>().is_err());
        assert!("1/0".parse::<Time>().is_err());
    }

    #[test]
    fn remainder_is_never_negative() {
        let step = Time::new(3, 2);
        assert_eq!(Time::quarters(-1).rem_floor(step), Time::new(1, 2));
        assert_eq!(Time::quarters(5).div_floor(step), 3);
        assert_eq!(Time::quarters(5).rem_floor(Time::ZERO), Time::ZERO);
    }

    #[test]
    fn three_triplets_make_a_quarter() {
        let triplet = Time::new(1, 3);
        assert_eq!(triplet + triplet + triplet, Time::QUARTER);
    }
}
