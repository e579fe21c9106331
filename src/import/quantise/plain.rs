//! Files whose notes lie on their ticks already.

use crate::score::Time;

use super::{Placed, Played};

/// Divisions of the quarter note that notation uses all the time, coarse ones first.
const PLAIN: [i64; 10] = [1, 2, 3, 4, 6, 8, 12, 16, 24, 32];
/// Further ones that a note off those is tried on: tuplets of five and seven, and finer values.
const ODD: [i64; 8] = [5, 7, 10, 9, 14, 20, 48, 64];
/// With so many ticks to the quarter, a note one tick off its point is still taken to lie on it; with
/// fewer a tick is too long for that.
const SLACK_FROM: u64 = 192;
/// Pairs of a binary and a ternary division on which "plain" is judged, and how many points they have
/// to the quarter. The first pair that leaves most ticks off its points is taken.
const JUDGED: [(u64, u64, u64); 3] = [(16, 12, 24), (8, 6, 12), (4, 3, 6)];
/// The share of ticks that may lie on the judged points by mere chance.
const CHANCE: f64 = 0.3;
/// The share of onsets that must be plain for a file to be taken as exact. Lower than 1 for the sake of
/// grace notes, arpeggios and rare tuplets.
const ENOUGH: f64 = 0.95;
/// The same for the ends of a part's notes.
const ENOUGH_ENDS: f64 = 0.9;

fn slack(per_quarter: u64) -> u64 {
    u64::from(per_quarter >= SLACK_FROM)
}

/// Whether the place within a quarter lies on a point of this division, rounded to ticks either way.
fn on_point(rest: u64, per_quarter: u64, division: u64, slack: u64) -> bool {
    // The distance to the nearest point, in ticks times the division.
    let off = (rest * division) % per_quarter;
    let off = off.min(per_quarter - off);
    if per_quarter.is_multiple_of(division) {
        off <= slack * division
    } else {
        // Points so near each other that every tick lies by one say nothing.
        off < (slack + 1) * division && division * 4 <= per_quarter
    }
}

/// How many of these ticks lie on the judged points, and how many there are.
fn count(ticks: impl Iterator<Item = u64>, per_quarter: u64) -> (usize, usize) {
    let slack = slack(per_quarter);
    let chance = |points: u64| (points * (1 + 2 * slack)) as f64 / per_quarter as f64;
    let [.., last] = JUDGED;
    let (binary, ternary, _) =
        JUDGED.into_iter().find(|(.., points)| chance(*points) <= CHANCE).unwrap_or(last);
    let (mut on, mut all) = (0, 0);
    let mut known = (u64::MAX, false);
    for tick in ticks {
        let rest = tick % per_quarter;
        if rest != known.0 {
            let plain = rest == 0
                || on_point(rest, per_quarter, binary, slack)
                || on_point(rest, per_quarter, ternary, slack);
            known = (rest, plain);
        }
        on += usize::from(known.1);
        all += 1;
    }
    (on, all)
}

/// Whether the notes are struck on plain points of the quarter note.
pub(super) fn onsets_are_plain(parts: &[&[Played]], per_quarter: u64) -> bool {
    let (on, all) = count(parts.iter().flat_map(|p| p.iter()).map(|n| n.on), per_quarter);
    on as f64 >= all as f64 * ENOUGH
}

/// Whether the notes of a part end on plain points.
pub(super) fn ends_are_plain(notes: &[Played], per_quarter: u64) -> bool {
    let (on, all) = count(notes.iter().map(|n| n.off), per_quarter);
    on as f64 >= all as f64 * ENOUGH_ENDS
}

/// Ticks to times, mending what was rounded to ticks.
pub(super) struct Ticks {
    per_quarter: u64,
    slack: u64,
    /// Places within the quarter that were met before, with their fraction.
    known: Vec<(u64, i64, i64)>,
}

/// A power of two; so many places are remembered.
const REMEMBERED: usize = 64;

impl Ticks {
    pub(super) fn new(per_quarter: u64) -> Ticks {
        let per_quarter = per_quarter.max(1);
        Ticks { per_quarter, slack: slack(per_quarter), known: vec![(u64::MAX, 0, 1); REMEMBERED] }
    }

    /// The time of a tick: on the coarsest plain or odd division that it lies on, else the tick's own.
    pub(super) fn time(&mut self, tick: u64) -> Time {
        let (whole, rest) = (tick / self.per_quarter, tick % self.per_quarter);
        if rest == 0 {
            return Time::quarters(whole as i64);
        }
        // Multiplying by a large odd number spreads neighbouring places over the table.
        let slot = (rest.wrapping_mul(0x9E37_79B9) >> 8) as usize % REMEMBERED;
        let (of, _, _) = self.known[slot];
        if of != rest {
            let (numerator, denominator) = self.fraction(rest);
            self.known[slot] = (rest, numerator, denominator);
        }
        let (_, numerator, denominator) = self.known[slot];
        Time::from_reduced(whole as i64 * denominator + numerator, denominator)
    }

    /// The fraction of the quarter for a place within it, in lowest terms.
    fn fraction(&self, rest: u64) -> (i64, i64) {
        for division in PLAIN.into_iter().chain(ODD) {
            if on_point(rest, self.per_quarter, division as u64, self.slack) {
                let (rest, per_quarter) = (rest as i64, self.per_quarter as i64);
                let point = (2 * rest * division + per_quarter) / (2 * per_quarter);
                let time = Time::new(point, division);
                return (time.numerator(), time.denominator());
            }
        }
        let time = Time::new(rest as i64, self.per_quarter as i64);
        (time.numerator(), time.denominator())
    }
}

/// Notes whose ends are as plain as their onsets.
pub(super) fn place(notes: &[Played], onsets: &[Time], ticks: &mut Ticks) -> Vec<Placed> {
    notes
        .iter()
        .zip(onsets)
        .map(|(note, onset)| {
            let end = if note.off == note.on { *onset } else { ticks.time(note.off) };
            Placed { onset: *onset, duration: end - *onset }
        })
        .collect()
}

/// Gives notes without a length one, unless a longer note of the part begins with them: such a note is
/// how notation programs play a grace note.
pub(super) fn lengthen_lone(placed: &mut [Placed]) {
    if placed.iter().all(|p| p.duration.is_positive()) {
        return;
    }
    let sorted = placed.is_sorted_by_key(|p| p.onset);
    for i in 0..placed.len() {
        let here = placed[i];
        if here.duration.is_positive() || !sorted {
            continue;
        }
        let before = placed[..i].iter().rev().take_while(|p| p.onset == here.onset);
        let after = placed[i..].iter().take_while(|p| p.onset == here.onset);
        if before.chain(after).take(NEAR).any(|p| p.duration.is_positive()) {
            continue;
        }
        let next = placed[i..].iter().take(NEAR).find(|p| p.onset > here.onset);
        let lone = Time::new(LONE.0, LONE.1);
        placed[i].duration = next.map_or(lone, |p| lone.min(p.onset - here.onset));
    }
}

/// How many neighbours are looked at for a note of no length.
const NEAR: usize = 64;
/// The length that a note of no length gets: a sixteenth.
const LONE: (i64, i64) = (1, 4);

#[cfg(test)]
mod tests {
    use super::*;

    fn time(tick: u64, per_quarter: u64) -> String {
        Ticks::new(per_quarter).time(tick).to_string()
    }

    #[test]
    fn rounded_triplets_are_thirds() {
        // 100 ticks to the quarter have no third: writers round to 33 and 66 or 67.
        assert_eq!(time(133, 100), "4/3");
        assert_eq!(time(166, 100), "5/3");
        assert_eq!(time(167, 100), "5/3");
        // One tick early or late.
        assert_eq!(time(479, 480), "1");
        assert_eq!(time(321, 480), "2/3");
        assert_eq!(time(96, 480), "1/5");
        // Exactly on a tick that no usual division has.
        assert_eq!(time(17, 96), "17/96");
    }

    #[test]
    fn a_coarse_clock_is_judged_on_coarse_points() {
        let notes: Vec<Played> = (0..24)
            .map(|i| Played {
                on: i * 25,
                off: i * 25 + 20,
                key: crate::score::Midi::new(60),
                channel: 0,
            })
            .collect();
        // At 24 ticks a quarter every tick is a 24th, but such a file isn't exact for that.
        assert!(!onsets_are_plain(&[&notes], 24));
        assert!(onsets_are_plain(&[&notes], 25));
    }
}
