//! From a plan to what people do between the songs.

use super::file::{Break, BreakPlace};
use super::problem::Problem;
use super::room::{Pattern, Room};
use crate::kit::{Kit, Move, State};

/// Rough seconds to lift a bar off or set one down, walking included; common practice, no source.
const SECONDS_A_MOVE: u32 = 8;

/// Rough seconds for everybody to look up, change and be ready again; common practice, no source.
const SECONDS_TO_SETTLE: u32 = 15;

/// What is done between two neighbouring songs.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Changeover {
    /// The place in the concert's order of the song before; `None`: setting up the room.
    pub after: Option<usize>,
    /// The place of the song after; `None`: clearing the room.
    pub before: Option<usize>,
    /// Slots that change, by instrument, low to high.
    pub moves: Vec<Move>,
    /// A break of so many minutes falls here.
    pub break_minutes: Option<u32>,
}

impl Changeover {
    /// Rough seconds when each instrument has a person of its own.
    pub fn seconds(&self) -> u32 {
        let mut most = 0;
        let mut here = (usize::MAX, 0);
        for one in &self.moves {
            here =
                if here.0 == one.instrument { (here.0, here.1 + 1) } else { (one.instrument, 1) };
            most = most.max(here.1);
        }
        if most == 0 { 0 } else { SECONDS_TO_SETTLE + most * SECONDS_A_MOVE }
    }
}

/// All changeovers of an order, the first setting-up and the last clearing included.
pub fn changeovers(problem: &Problem, order: &[(usize, usize)]) -> Vec<Changeover> {
    let room = &problem.room;
    let mut lies = room.plain();
    let mut all = Vec::with_capacity(order.len() + 1);
    for (at, (song, way)) in order.iter().enumerate() {
        let Some(way) = problem.songs.get(*song).and_then(|w| w.get(*way)) else { continue };
        let before = room.ready_for(&lies, way);
        let moves = moves(room, &lies, &before);
        all.push(Changeover {
            after: at.checked_sub(1),
            before: Some(at),
            moves,
            break_minutes: None,
        });
        lies = room.after(&lies, way);
    }
    let moves = moves(room, &lies, &room.plain());
    all.push(Changeover {
        after: order.len().checked_sub(1),
        before: None,
        moves,
        break_minutes: None,
    });
    all
}

/// Slots in which two lays differ, by instrument, low to high.
fn moves(room: &Room, from: &[Pattern], to: &[Pattern]) -> Vec<Move> {
    let mut moves = Vec::new();
    for (instrument, (from, to)) in from.iter().zip(to).enumerate() {
        if from == to {
            continue;
        }
        let pairs = room.states(instrument, *from).iter().zip(room.states(instrument, *to));
        for (slot, (from, to)) in pairs.enumerate() {
            if from != to {
                moves.push(Move { instrument, slot, from: *from, to: *to });
            }
        }
    }
    moves
}

/// Puts breaks into the changeovers. `places[song]` is the place in the order of each song of the
/// concert file; a break after a song that isn't played is let go.
pub fn put_breaks(changeovers: &mut [Changeover], breaks: &[Break], places: &[Option<usize>]) {
    let songs = changeovers.len().saturating_sub(1);
    for pause in breaks {
        // The changeover before song number `at`.
        let at = match pause.place {
            BreakPlace::AfterSong(song) => places.get(song).copied().flatten().map(|p| p + 1),
            BreakPlace::AfterSongs(n) => Some(n),
            BreakPlace::WhereMostMoves => {
                // The middle half, so that a break isn't right after the start or before the end.
                let middle = (songs / 4).max(1)..=(songs - songs / 4).min(songs.saturating_sub(1));
                middle.filter(|c| changeovers[*c].break_minutes.is_none()).max_by_key(|c| {
                    (changeovers[*c].moves.len(), std::cmp::Reverse(c.abs_diff(songs / 2)))
                })
            }
        };
        // Before the first song and after the last there is no break.
        if let Some(at) = at.filter(|a| (1..songs).contains(a)) {
            changeovers[at].break_minutes = Some(pause.minutes);
        }
    }
}

/// What one person is told about one slot: "take F3 off", "put F#3 in place of F3".
pub fn spoken(kit: &Kit, one: &Move) -> String {
    let Some(slot) = kit.instruments.get(one.instrument).and_then(|i| i.slots.get(one.slot)) else {
        return String::new();
    };
    let own = slot.bar;
    let mut steps: Vec<String> = Vec::new();
    match one.from {
        State::Keep if slot.loose => steps.push(format!("put the {own} bar away")),
        State::Keep => steps.push(format!("take {own} off (to the bar box)")),
        State::Swap(bar) => steps.push(format!("take {bar} off (to the bar box)")),
        State::Fill => steps.push(format!("take the filler out at {own}")),
        State::Remove => {}
    }
    match one.to {
        State::Keep if slot.loose => steps.push(format!("set up the {own} bar")),
        State::Keep => steps.push(format!("put {own} on (from the bar box)")),
        State::Swap(bar) => {
            steps.push(format!("put {bar} in the place of {own} (from the bar box)"))
        }
        State::Fill => steps.push(format!("put a filler in at {own}")),
        State::Remove => {}
    }
    steps.join(", ")
}

/// A use of bars that can't be: a spare that the slot doesn't have, or one spare in two places.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct InventoryFault {
    /// The place in the order.
    pub song: usize,
    /// What is wrong, in plain words.
    pub what: String,
}

/// Checks, song by song, that every spare in use is one that its slot has and that no spare of an
/// instrument lies in two places at once. The kit file gives every instrument spares and loose bars
/// of its own, so none are shared between instruments.
pub fn inventory(kit: &Kit, problem: &Problem, order: &[(usize, usize)]) -> Vec<InventoryFault> {
    let mut faults = Vec::new();
    for (song, lay) in problem.walk(order).0.iter().enumerate() {
        for (at, (instrument, pattern)) in kit.instruments.iter().zip(lay.iter()).enumerate() {
            let mut used = Vec::new();
            for (slot, state) in instrument.slots.iter().zip(problem.room.states(at, *pattern)) {
                let State::Swap(bar) = state else { continue };
                if !slot.spares.contains(bar) {
                    let what = format!(
                        "{}: there is no {bar} for the slot of {}",
                        instrument.id, slot.bar
                    );
                    faults.push(InventoryFault { song, what });
                }
                if used.contains(bar) {
                    let what = format!("{}: {bar} would lie in two places at once", instrument.id);
                    faults.push(InventoryFault { song, what });
                }
                used.push(*bar);
            }
        }
    }
    faults
}
