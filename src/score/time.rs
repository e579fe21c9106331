//! Exact musical time.
//!
//! Every onset and duration in barwright is an exact fraction of a quarter note. Floating point was
//! rejected: a triplet has no exact binary fraction, and one tick of error in a measure moves
//! everything behind it.

use std::cmp::Ordering;
use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Div, Mul, Neg, Rem, Sub, SubAssign};
use std::str::FromStr;

use num_rational::Ratio;
use num_traits::{CheckedAdd, CheckedMul};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A time or a length of time: an exact fraction of a quarter note.
///
/// The readers bound the size and the common denominator of the times they let in
/// ([`Time::MAX_QUARTERS`], [`Time::MAX_DENOMINATOR`]), so that sums and differences of times of one
/// score can't overflow.
///
/// Always in lowest terms, the denominator positive. The arithmetic of `num_rational` searches for
/// common factors in every step and compares by continued fractions; most times of most scores lie on
/// a grid of powers of two, where a shift does, and time is what every stage counts with. So the
/// four operations are written out here, with that library's results (a test compares them).
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Time {
    numerator: i64,
    denominator: i64,
}

impl Time {
    /// No time: the start of the score.
    pub const ZERO: Time = Time::quarters(0);
    /// One quarter note.
    pub const QUARTER: Time = Time::quarters(1);
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
        if denominator < 0 {
            return Time::reduced(-numerator, -denominator);
        }
        Time::reduced(numerator, denominator)
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
        Time::new(ticks, per_quarter)
    }

    /// `numerator / denominator` that are known to be in lowest terms, the denominator positive: for
    /// readers of many notes, to whom the search for common factors is most of the cost.
    pub(crate) fn from_reduced(numerator: i64, denominator: i64) -> Time {
        let time = Time { numerator, denominator };
        debug_assert_eq!(time, Time::new(numerator, denominator));
        time
    }

    /// `n` whole quarter notes.
    pub const fn quarters(n: i64) -> Time {
        Time { numerator: n, denominator: 1 }
    }

    /// In lowest terms; the denominator is positive.
    fn reduced(numerator: i64, denominator: i64) -> Time {
        if denominator & (denominator - 1) == 0 {
            let twos = numerator.trailing_zeros().min(denominator.trailing_zeros());
            return Time { numerator: numerator >> twos, denominator: denominator >> twos };
        }
        let common = gcd(numerator, denominator);
        Time { numerator: numerator / common, denominator: denominator / common }
    }

    /// `self` and `other` in units of their common denominator, and that.
    fn together(self, other: Time) -> (i64, i64, i64) {
        let (a, b) = (self.denominator, other.denominator);
        if a == b {
            return (self.numerator, other.numerator, a);
        }
        let all = if a & (a - 1) == 0 && b & (b - 1) == 0 { a.max(b) } else { a / gcd(a, b) * b };
        (self.numerator * (all / a), other.numerator * (all / b), all)
    }

    /// The numerator, in lowest terms.
    pub fn numerator(self) -> i64 {
        self.numerator
    }

    /// The denominator, in lowest terms; always positive.
    pub fn denominator(self) -> i64 {
        self.denominator
    }

    /// Whether this is exactly no time.
    pub fn is_zero(self) -> bool {
        self.numerator == 0
    }

    /// Whether this is later than zero.
    pub fn is_positive(self) -> bool {
        self.numerator > 0
    }

    /// The sum, or `None` where it does not fit.
    pub fn checked_add(self, other: Time) -> Option<Time> {
        self.as_ratio().checked_add(&other.as_ratio()).map(Time::from_ratio)
    }

    /// The product with a whole number, or `None` where it does not fit.
    pub fn checked_mul(self, n: i64) -> Option<Time> {
        self.as_ratio().checked_mul(&Ratio::from_integer(n)).map(Time::from_ratio)
    }

    /// How many whole `step`s fit (rounding towards earlier); 0 for a step that isn't positive.
    pub fn div_floor(self, step: Time) -> i64 {
        if !step.is_positive() {
            return 0;
        }
        let (whole, part, _) = self.together(step);
        whole.div_euclid(part)
    }

    /// What is left after taking off whole `step`s: from 0 up to, not including, `step`.
    pub fn rem_floor(self, step: Time) -> Time {
        if !step.is_positive() {
            return Time::ZERO;
        }
        let (whole, part, all) = self.together(step);
        Time::reduced(whole.rem_euclid(part), all)
    }

    /// `self / other` as an exact ratio of two times, or `None` where `other` is zero.
    pub fn ratio(self, other: Time) -> Option<Ratio<i64>> {
        if other.is_zero() { None } else { Some(self.as_ratio() / other.as_ratio()) }
    }

    /// This time in ticks of `per_quarter` to the quarter, rounded to the nearest (for formats that
    /// have no fractions).
    pub fn ticks(self, per_quarter: i64) -> i64 {
        (self.as_ratio() * per_quarter).round().to_integer()
    }

    fn as_ratio(self) -> Ratio<i64> {
        Ratio::new_raw(self.numerator, self.denominator)
    }

    fn from_ratio(ratio: Ratio<i64>) -> Time {
        Time { numerator: *ratio.numer(), denominator: *ratio.denom() }
    }

    /// As a floating point number of quarters, for weights and drawing only, never for adding up.
    pub fn as_f64(self) -> f64 {
        self.numerator as f64 / self.denominator as f64
    }
}

/// The greatest common factor; positive for a positive `b`.
fn gcd(a: i64, b: i64) -> i64 {
    let (mut a, mut b) = (a.unsigned_abs(), b.unsigned_abs());
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a as i64
}

impl Default for Time {
    fn default() -> Time {
        Time::ZERO
    }
}

impl PartialOrd for Time {
    fn partial_cmp(&self, other: &Time) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Time {
    fn cmp(&self, other: &Time) -> Ordering {
        if self.denominator == other.denominator {
            return self.numerator.cmp(&other.numerator);
        }
        let cross = |a: i64, b: i64| i128::from(a) * i128::from(b);
        cross(self.numerator, other.denominator).cmp(&cross(other.numerator, self.denominator))
    }
}

impl Add for Time {
    type Output = Time;
    fn add(self, other: Time) -> Time {
        let (a, b, all) = self.together(other);
        Time::reduced(a + b, all)
    }
}

impl Sub for Time {
    type Output = Time;
    fn sub(self, other: Time) -> Time {
        let (a, b, all) = self.together(other);
        Time::reduced(a - b, all)
    }
}

impl Neg for Time {
    type Output = Time;
    fn neg(self) -> Time {
        Time { numerator: -self.numerator, denominator: self.denominator }
    }
}

impl Mul<i64> for Time {
    type Output = Time;
    fn mul(self, n: i64) -> Time {
        Time::reduced(self.numerator * n, self.denominator)
    }
}

impl Mul<Ratio<i64>> for Time {
    type Output = Time;
    fn mul(self, r: Ratio<i64>) -> Time {
        Time::from_ratio(self.as_ratio() * r)
    }
}

impl Div<i64> for Time {
    type Output = Time;
    /// Division by a whole number; by zero it gives [`Time::ZERO`].
    #[allow(clippy::suspicious_arithmetic_impl, reason = "a fraction divided multiplies below")]
    fn div(self, n: i64) -> Time {
        Time::new(self.numerator, self.denominator * n)
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
        self.as_ratio().fmt(f)
    }
}

impl fmt::Debug for Time {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.as_ratio().fmt(f)
    }
}

/// A text that is no fraction such as `3/2`.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is no fraction of a quarter note such as 3/2")]
pub struct TimeError(String);

impl FromStr for Time {
    type Err = TimeError;
    fn from_str(text: &str) -> Result<Time, TimeError> {
        text.trim()
            .parse::<Ratio<i64>>()
            .map(Time::from_ratio)
            .map_err(|_| TimeError(text.to_owned()))
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
    fn counts_as_num_rational_does() {
        let numerators = [-17i64, -6, -1, 0, 1, 2, 3, 8, 9, 1_000_001];
        let denominators = [1i64, 2, 3, 4, 6, 7, 64, 480, 999_999_937];
        let all: Vec<(i64, i64)> =
            numerators.iter().flat_map(|n| denominators.iter().map(|d| (*n, *d))).collect();
        for (n, d) in &all {
            let (a, x) = (Time::new(*n, *d), Ratio::new(*n, *d));
            assert_eq!(a.as_ratio(), x);
            assert_eq!(Time::new(-n, -d), a);
            assert_eq!((-a).as_ratio(), -x);
            for k in [-3, 2, 6] {
                assert_eq!((a * k).as_ratio(), x * k);
                assert_eq!((a / k).as_ratio(), x / k);
            }
            for (m, e) in all.iter().filter(|(_, e)| *d < 1000 || *e < 1000) {
                let (b, y) = (Time::new(*m, *e), Ratio::new(*m, *e));
                assert_eq!((a + b).as_ratio(), x + y);
                assert_eq!((a - b).as_ratio(), x - y);
                assert_eq!(a.cmp(&b), x.cmp(&y));
                assert_eq!(a == b, x == y);
                if b.is_positive() {
                    let floor = (x / y).floor();
                    assert_eq!(a.div_floor(b), floor.to_integer());
                    assert_eq!(a.rem_floor(b).as_ratio(), x - y * floor);
                }
            }
        }
    }

    #[test]
    fn three_triplets_make_a_quarter() {
        let triplet = Time::new(1, 3);
        assert_eq!(triplet + triplet + triplet, Time::QUARTER);
    }
}
