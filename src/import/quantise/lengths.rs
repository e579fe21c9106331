//! Played durations to notated ones.

use crate::score::Time;

use super::{Clock, Placed, Played};

/// A note that sounds at least this share of the time to the next one is held to it: players let go
/// 5 to 40 % early, and a rest is written only for more.
const HELD: f64 = 0.55;
/// A note may sound on for this much longer than its value (legato) and still end at the next one.
const OVERLAP: f64 = 1.2;
/// Note values that are tried where a rest follows, in quarters: plain ones before dotted ones.
const VALUES: [(i64, i64); 14] = [
    (1, 4),
    (1, 2),
    (1, 1),
    (2, 1),
    (4, 1),
    (1, 8),
    (1, 3),
    (2, 3),
    (3, 4),
    (3, 2),
    (3, 1),
    (6, 1),
    (8, 1),
    (1, 6),
];
/// A value suits a note that sounds for this share of it.
const SUITS: (f64, f64) = (0.58, 1.08);

/// Notes with durations as notated: held to the next stroke of the part where they nearly reach it,
/// else of the plainest value that suits.
pub(super) fn place(notes: &[Played], onsets: &[Time], clock: &Clock) -> Vec<Placed> {
    let mut later: Vec<Time> = onsets.to_vec();
    later.sort_unstable();
    later.dedup();
    notes
        .iter()
        .zip(onsets)
        .map(|(note, onset)| {
            let sounds = (note.off - note.on) as f64 / clock.per_quarter as f64;
            let after = later.partition_point(|t| t <= onset);
            let duration = notated(sounds, *onset, later.get(after..).unwrap_or_default());
            Placed { onset: *onset, duration }
        })
        .collect()
}

/// The notated duration of a note that sounds for so many quarters, given the onsets after it.
fn notated(sounds: f64, onset: Time, later: &[Time]) -> Time {
    // Held to the first stroke that it doesn't sound far beyond.
    let beyond = later.partition_point(|t| OVERLAP * (*t - onset).as_f64() < sounds);
    let reached = later.get(beyond);
    if let Some(end) = reached {
        let gap = *end - onset;
        if sounds >= HELD * gap.as_f64() {
            return gap;
        }
    }
    let room = reached.map(|end| *end - onset);
    let fits = |value: &Time| {
        let share = sounds / value.as_f64();
        share >= SUITS.0 && share <= SUITS.1 && room.is_none_or(|room| *value <= room)
    };
    let values = || VALUES.iter().map(|(n, d)| Time::new(*n, *d));
    if let Some(value) = values().find(fits) {
        return value;
    }
    // Longer than any value: whole quarters, rounded up; shorter: the shortest that leaves room.
    let rounded = Time::quarters(((sounds / SUITS.1).ceil() as i64).max(1));
    let value = if sounds > 1.0 { rounded } else { Time::new(1, 8) };
    room.map_or(value, |room| value.min(room))
}
