//! Meters and the strength of their beats.
//!
//! [`Meter::level`] is the one place that says how strong a moment of a measure is; analysis, the
//! drone, the ostinato and the spelling of rhythms all ask it.

use std::fmt;

use super::time::Time;

/// Most groups that an additive meter may name.
pub const MAX_GROUPS: usize = 6;

/// A time signature. Additive ones (3+2 over 8) keep their groups.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Meter {
    /// The upper number; the sum of the groups for an additive meter.
    pub beats: u16,
    /// The lower number.
    pub beat_type: u16,
    /// The groups of an additive meter, padded with zeros; all zero for a plain one.
    groups: [u8; MAX_GROUPS],
}

impl Meter {
    /// Four quarters, the meter of a score that names none.
    pub const COMMON: Meter = Meter { beats: 4, beat_type: 4, groups: [0; MAX_GROUPS] };

    /// A plain meter; `None` where a number is zero or over 1,024.
    pub fn new(beats: u16, beat_type: u16) -> Option<Meter> {
        ((1..=1024).contains(&beats) && (1..=1024).contains(&beat_type)).then_some(Meter {
            beats,
            beat_type,
            groups: [0; MAX_GROUPS],
        })
    }

    /// An additive meter such as 3+2 over 8; `None` where it has no group, an empty group or more
    /// than [`MAX_GROUPS`].
    pub fn additive(groups: &[u8], beat_type: u16) -> Option<Meter> {
        if groups.is_empty() || groups.len() > MAX_GROUPS || groups.contains(&0) {
            return None;
        }
        let mut meter = Meter::new(groups.iter().map(|g| u16::from(*g)).sum(), beat_type)?;
        if groups.len() > 1 {
            for (slot, group) in meter.groups.iter_mut().zip(groups) {
                *slot = *group;
            }
        }
        Some(meter)
    }

    /// The groups that an additive meter names; empty for a plain one.
    pub fn groups(&self) -> &[u8] {
        let n = self.groups.iter().position(|g| *g == 0).unwrap_or(MAX_GROUPS);
        &self.groups[..n]
    }

    /// The length of a full measure.
    pub fn measure(&self) -> Time {
        Time::new(i64::from(self.beats) * 4, i64::from(self.beat_type))
    }

    /// The length that the lower number names.
    pub fn unit(&self) -> Time {
        Time::new(4, i64::from(self.beat_type))
    }

    /// Whether the beat is dotted: 6/8, 9/8, 12/8 and the like (upper number a multiple of three
    /// above three, lower number 8 or more). Common practice.
    pub fn is_compound(&self) -> bool {
        self.groups[0] == 0 && self.beats > 3 && self.beats.is_multiple_of(3) && self.beat_type >= 8
    }

    /// The starts of the beats that a musician counts, from 0: quarters in 3/4, dotted quarters in
    /// 6/8, the groups in 5/8 and 7/8 (3+2 and 2+2+3 where the score doesn't say).
    pub fn beats(&self) -> Vec<Time> {
        let mut at = Time::ZERO;
        let mut starts = Vec::with_capacity(self.counted_groups().len());
        for group in self.counted_groups() {
            starts.push(at);
            at += self.unit() * i64::from(group);
        }
        starts
    }

    /// The beats on which a drone falls: the measure's start, and each further beat no weaker than
    /// the half of the measure (3 in 4/4, the second dotted quarter in 6/8, 4 in 5/4).
    pub fn strong_beats(&self) -> Vec<Time> {
        let mut beats = self.beats();
        // In triple time beats 2 and 3 are equally weak: only the first is strong.
        let triple = beats.len() == 3 && self.groups[0] == 0 && !self.is_odd();
        beats.retain(|b| b.is_zero() || (!triple && self.level(*b) <= 1));
        beats
    }

    /// The usual length of one counted beat: the first one's.
    pub fn beat(&self) -> Time {
        self.unit() * i64::from(self.counted_groups().first().copied().unwrap_or(1))
    }

    /// How deep in the meter's tree a moment of the measure lies: 0 at the measure's start, 1 at its
    /// largest parts (beat 3 of 4/4, beats 2 and 3 of 3/4, the second half of 6/8), and one more for
    /// each division below; moments off every division down to a 64th of the measure get 9.
    ///
    /// `offset` is taken modulo the measure. The metrical tree is Lerdahl & Jackendoff's (A
    /// Generative Theory of Tonal Music, 1983): every level divides the one above in two or three.
    pub fn level(&self, offset: Time) -> u8 {
        const OFF: u8 = 9;
        let offset = offset.rem_floor(self.measure());
        if offset.is_zero() {
            return 0;
        }
        let mut level = 1u8;
        let (within, group_units);
        if let Some((size, count)) = self.equal_groups() {
            let length = self.unit() * i64::from(size);
            let mut beat = offset.div_floor(length);
            (within, group_units) = (offset - length * beat, size);
            let on_beat = within.is_zero();
            // Beats in larger number are gathered first: 4/4 is two halves of two beats, 5/4 three
            // and two.
            let mut beats = i64::from(count);
            while beats > 3 {
                let (size, count) = gathered(beats);
                let group = (beat / size).min(count - 1);
                if on_beat && beat == group * size {
                    return level;
                }
                beat -= group * size;
                // The last group takes what is left.
                beats = if group + 1 == count { beats - group * size } else { size };
                level += 1;
            }
            if on_beat {
                return level;
            }
        } else {
            let mut at = Time::ZERO;
            let mut inside = (Time::ZERO, 1);
            for group in self.counted_groups() {
                let length = self.unit() * i64::from(group);
                if offset == at {
                    return level;
                }
                if offset > at && offset < at + length {
                    inside = (offset - at, group);
                }
                at += length;
            }
            (within, group_units) = inside;
        }
        level += 1;
        // Within a beat: its units if it has several, then halves. A third of a unit (a triplet)
        // counts one level below the unit's halves.
        let mut step = self.unit();
        if group_units > 1 {
            if within.rem_floor(step).is_zero() {
                return level;
            }
            level += 1;
        }
        let triplet = self.unit() / 3;
        if within.rem_floor(triplet).is_zero() {
            return (level + 1).min(OFF);
        }
        while level < OFF {
            step = step / 2;
            if within.rem_floor(step).is_zero() {
                return level;
            }
            level += 1;
        }
        OFF
    }

    /// The metrical weight of a moment of the measure: 2^−level, so 1 at its start, ½ at its largest
    /// parts, and so on down.
    pub fn weight(&self, offset: Time) -> f64 {
        0.5f64.powi(i32::from(self.level(offset)))
    }

    /// Whether the counted beats differ in length (5/8, 7/8, 3+2+3 over 8).
    pub fn is_odd(&self) -> bool {
        self.equal_groups().is_none()
    }

    /// Units in a beat and beats in a measure, where all beats are as long.
    fn equal_groups(&self) -> Option<(u8, u16)> {
        let size = if self.groups[0] != 0 {
            let groups = self.groups();
            if groups.iter().any(|g| *g != groups[0]) {
                return None;
            }
            return Some((groups[0], groups.len() as u16));
        } else if self.is_compound() {
            3
        } else if self.beat_type >= 8 && self.beats >= 5 && self.beats % 2 == 1 {
            return None;
        } else if self.beat_type >= 8 && self.beats.is_multiple_of(2) {
            2
        } else {
            1
        };
        Some((size, self.beats / u16::from(size)))
    }

    /// The counted beats in units of the lower number.
    fn counted_groups(&self) -> Vec<u8> {
        if let Some((size, count)) = self.equal_groups() {
            return vec![size; usize::from(count)];
        }
        if self.groups[0] != 0 {
            return self.groups().to_vec();
        }
        // 5/8 as 3+2, 7/8 as 2+2+3, 11/8 as 2+2+2+2+3: common practice where nothing is said.
        if self.beats == 5 {
            return vec![3, 2];
        }
        let mut groups = vec![2; usize::from((self.beats - 3) / 2)];
        groups.push(3);
        groups
    }
}

/// How many counted beats go together, and in how many groups; the last takes what is left. Halves
/// where the number is even, threes where it is nine or the like, else 3+2 for five and twos with a
/// three at the end (7/4 as 2+2+3), as in 5/8 and 7/8. Common practice; an additive meter says it
/// otherwise.
fn gathered(beats: i64) -> (i64, i64) {
    match beats {
        5 => (3, 2),
        _ if beats % 2 == 0 => (beats / 2, 2),
        _ if beats % 3 == 0 => (beats / 3, 3),
        _ => (2, beats / 2),
    }
}

impl fmt::Display for Meter {
    /// `3/4`, `3+2/8`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.groups[0] == 0 {
            return write!(f, "{}/{}", self.beats, self.beat_type);
        }
        for (i, group) in self.groups().iter().enumerate() {
            write!(f, "{}{group}", if i == 0 { "" } else { "+" })?;
        }
        write!(f, "/{}", self.beat_type)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn levels(beats: u16, beat_type: u16, step: Time) -> Vec<u8> {
        let meter = Meter::new(beats, beat_type).unwrap();
        let n = meter.measure().div_floor(step);
        (0..n).map(|i| meter.level(step * i)).collect()
    }

    #[test]
    fn levels_of_the_usual_meters() {
        let eighth = Time::new(1, 2);
        assert_eq!(levels(4, 4, eighth), [0, 3, 2, 3, 1, 3, 2, 3]);
        assert_eq!(levels(3, 4, eighth), [0, 2, 1, 2, 1, 2]);
        assert_eq!(levels(2, 4, eighth), [0, 2, 1, 2]);
        assert_eq!(levels(6, 8, eighth), [0, 2, 2, 1, 2, 2]);
        assert_eq!(levels(9, 8, eighth), [0, 2, 2, 1, 2, 2, 1, 2, 2]);
        assert_eq!(levels(2, 2, Time::QUARTER), [0, 2, 1, 2]);
        assert_eq!(levels(5, 8, eighth), [0, 2, 2, 1, 2]);
        assert_eq!(levels(7, 8, eighth), [0, 2, 1, 2, 1, 2, 2]);
        assert_eq!(levels(5, 4, eighth), [0, 3, 2, 3, 2, 3, 1, 3, 2, 3]);
        assert_eq!(levels(7, 4, Time::QUARTER), [0, 2, 1, 2, 1, 2, 2]);
        assert_eq!(levels(6, 4, Time::QUARTER), [0, 2, 2, 1, 2, 2]);
        assert_eq!(levels(9, 4, Time::QUARTER), [0, 2, 2, 1, 2, 2, 1, 2, 2]);
        assert_eq!(levels(10, 4, Time::QUARTER), [0, 3, 3, 2, 3, 1, 3, 3, 2, 3]);
        assert_eq!(levels(15, 8, Time::new(3, 2)), [0, 2, 2, 1, 2]);
    }

    #[test]
    fn equal_beats_are_told_from_the_groups() {
        let mut meters: Vec<Meter> = [1, 2, 4, 8, 16, 32]
            .into_iter()
            .flat_map(|t| (1..=40).filter_map(move |b| Meter::new(b, t)))
            .collect();
        meters.extend(
            [&[3, 2][..], &[2, 2, 3], &[3, 3], &[4]].map(|g| Meter::additive(g, 8).unwrap()),
        );
        for meter in meters {
            let groups = meter.counted_groups();
            let equal = groups.iter().all(|g| *g == groups[0]);
            let wanted = equal.then(|| (groups[0], groups.len() as u16));
            assert_eq!(meter.equal_groups(), wanted, "{meter}");
        }
    }

    #[test]
    fn strong_beats_carry_a_drone() {
        let strong = |b, t| Meter::new(b, t).unwrap().strong_beats();
        assert_eq!(strong(4, 4), [Time::ZERO, Time::quarters(2)]);
        assert_eq!(strong(3, 4), [Time::ZERO]);
        assert_eq!(strong(6, 8), [Time::ZERO, Time::new(3, 2)]);
        assert_eq!(strong(2, 4), [Time::ZERO, Time::QUARTER]);
        assert_eq!(strong(7, 8), [Time::ZERO, Time::QUARTER, Time::quarters(2)]);
        assert_eq!(strong(5, 8), [Time::ZERO, Time::new(3, 2)]);
        assert_eq!(strong(5, 4), [Time::ZERO, Time::quarters(3)]);
        assert_eq!(strong(7, 4), [Time::ZERO, Time::quarters(2), Time::quarters(4)]);
        assert_eq!(strong(12, 8), [Time::ZERO, Time::quarters(3)]);
        let two_three = Meter::additive(&[2, 3], 4).unwrap();
        assert_eq!(two_three.strong_beats(), [Time::ZERO, Time::quarters(2)]);
    }

    #[test]
    fn additive_meters_keep_their_groups() {
        let meter = Meter::additive(&[3, 2, 2], 8).unwrap();
        assert_eq!(meter.to_string(), "3+2+2/8");
        assert_eq!(meter.measure(), Time::new(7, 2));
        assert_eq!(meter.beats(), [Time::ZERO, Time::new(3, 2), Time::new(5, 2)]);
        assert!(Meter::additive(&[], 8).is_none());
        assert!(Meter::new(0, 4).is_none());
    }

    #[test]
    fn weights_halve_from_level_to_level() {
        let meter = Meter::COMMON;
        assert_eq!(meter.weight(Time::ZERO), 1.0);
        assert_eq!(meter.weight(Time::quarters(2)), 0.5);
        assert_eq!(meter.weight(Time::quarters(5)), 0.25);
        assert_eq!(meter.level(Time::new(1, 7)), 9);
    }
}
