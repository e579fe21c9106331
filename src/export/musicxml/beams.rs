//! Beams: the notes of one counted beat, or of one tuplet, are joined.

use crate::score::{Measure, Meter, Time};

use super::rhythm::Piece;

/// The beams of one note, from the outermost in; empty for a note without.
pub(super) type Beams = Vec<&'static str>;

/// The stretches of a meter that a beam may join, as their starts from 0: the counted beats, but
/// never less than a quarter note and, in 3/8 and the like, the whole measure (common practice).
fn windows(meter: Meter) -> Vec<Time> {
    let beats = meter.beats();
    if beats.len() == 3 && meter.measure() < Time::quarters(3) && !meter.is_odd() {
        return vec![Time::ZERO];
    }
    let mut starts: Vec<Time> = Vec::new();
    for beat in beats {
        if starts.last().is_none_or(|last| beat - *last >= Time::QUARTER || meter.is_odd()) {
            starts.push(beat);
        }
    }
    starts
}

/// Number of flags of a value: 1 for an eighth, 2 for a 16th, ...
fn flags(piece: &Piece) -> usize {
    const FLAGGED: [&str; 8] =
        ["eighth", "16th", "32nd", "64th", "128th", "256th", "512th", "1024th"];
    piece.value.and_then(|v| FLAGGED.iter().position(|name| *name == v.name)).map_or(0, |i| i + 1)
}

/// The beams of every piece of one lane in one measure. `joined` says whether a chord, given by its
/// index in the lane, may be under a beam.
pub(super) fn beams(
    measure: &Measure,
    pieces: &[Piece],
    joined: impl Fn(usize) -> bool,
) -> Vec<Beams> {
    let mut all: Vec<Beams> = vec![Vec::new(); pieces.len()];
    if pieces.iter().filter(|p| p.group.is_some() && flags(p) > 0).count() < 2 {
        return all;
    }
    let windows = windows(measure.meter);
    let whole = measure.meter.measure();
    let window = |piece: &Piece| {
        let metrical = measure.metrical(piece.start);
        let round = metrical.div_floor(whole);
        let inside = metrical - whole * round;
        (
            piece.tuplet,
            if piece.tuplet > 0 {
                (0, 0)
            } else {
                (round, windows.partition_point(|w| *w <= inside))
            },
        )
    };
    let mut at = 0;
    while at < pieces.len() {
        let joins = |p: &Piece| p.group.is_some_and(&joined) && flags(p) > 0;
        let mut after = at + 1;
        if joins(&pieces[at]) {
            let place = window(&pieces[at]);
            while after < pieces.len() && joins(&pieces[after]) && window(&pieces[after]) == place {
                after += 1;
            }
            join(&pieces[at..after], &mut all[at..after]);
        }
        at = after;
    }
    all
}

/// Joins a run of flagged notes.
fn join(run: &[Piece], beams: &mut [Beams]) {
    if run.len() < 2 {
        return;
    }
    for (i, piece) in run.iter().enumerate() {
        for level in 1..=flags(piece) {
            let has =
                |j: Option<usize>| j.and_then(|j| run.get(j)).is_some_and(|p| flags(p) >= level);
            let (left, right) = (has(i.checked_sub(1)), has(Some(i + 1)));
            beams[i].push(match (left, right) {
                (false, true) => "begin",
                (true, true) => "continue",
                (true, false) => "end",
                (false, false) if i == 0 => "forward hook",
                (false, false) => "backward hook",
            });
        }
    }
}
