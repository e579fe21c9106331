//! Lays of the whole room by number, with the moves from each to every way, computed once.

use std::collections::HashMap;

use super::problem::Problem;
use super::room::{Cost, Lay, MOVE, Way};

/// The number of a lay.
pub(super) type LayId = u32;

/// All ways of all songs in one list, and the lays that were met so far.
pub(super) struct Lays<'a> {
    problem: &'a Problem,
    /// The ways of all songs, one song after the other.
    pub(super) ways: Vec<&'a Way>,
    /// Where each song's ways begin in `ways`, and the end.
    starts: Vec<usize>,
    lays: Vec<Lay>,
    numbers: HashMap<Lay, LayId>,
    /// For each lay the moves to every way.
    moves: Vec<u32>,
    /// For each lay and way the lay after it, or [`UNKNOWN`].
    next: Vec<LayId>,
}

/// A lay that wasn't worked out yet.
const UNKNOWN: LayId = LayId::MAX;

impl<'a> Lays<'a> {
    pub(super) fn new(problem: &'a Problem) -> Lays<'a> {
        let mut starts = vec![0];
        for song in &problem.songs {
            starts.push(starts.last().map_or(0, |s| *s) + song.len());
        }
        let mut lays = Lays {
            problem,
            ways: problem.songs.iter().flatten().collect(),
            starts,
            lays: Vec::new(),
            numbers: HashMap::new(),
            moves: Vec::new(),
            next: Vec::new(),
        };
        lays.number(problem.room.plain());
        lays
    }

    /// The plain white bars.
    pub(super) fn plain(&self) -> LayId {
        0
    }

    /// How many lays were met.
    pub(super) fn len(&self) -> usize {
        self.lays.len()
    }

    /// The places of a song's ways in [`Lays::ways`].
    pub(super) fn ways_of(&self, song: usize) -> std::ops::Range<usize> {
        match (self.starts.get(song), self.starts.get(song + 1)) {
            (Some(from), Some(to)) => *from..*to,
            _ => 0..0,
        }
    }

    /// The index of a way among its song's.
    pub(super) fn way_in_song(&self, song: usize, way: usize) -> usize {
        way - self.ways_of(song).start
    }

    fn number(&mut self, lay: Lay) -> LayId {
        if let Some(number) = self.numbers.get(&lay) {
            return *number;
        }
        let number = self.lays.len() as LayId;
        for way in &self.ways {
            self.moves.push(self.problem.room.moves_to(&lay, way));
            self.next.push(UNKNOWN);
        }
        self.numbers.insert(lay.clone(), number);
        self.lays.push(lay);
        number
    }

    /// What setting up a way costs on what lies there: moves and its fit cost.
    pub(super) fn step(&self, lay: LayId, way: usize) -> Cost {
        Cost::from(self.moves[lay as usize * self.ways.len() + way]) * MOVE + self.ways[way].cost
    }

    /// What lies there after it.
    pub(super) fn after(&mut self, lay: LayId, way: usize) -> LayId {
        let at = lay as usize * self.ways.len() + way;
        if self.next[at] == UNKNOWN {
            let after = self.problem.room.after(&self.lays[lay as usize], self.ways[way]);
            self.next[at] = self.number(after);
        }
        self.next[at]
    }

    /// What changing one lay into another costs.
    pub(super) fn between(&self, a: LayId, b: LayId) -> Cost {
        let (a, b) = (&self.lays[a as usize], &self.lays[b as usize]);
        Cost::from(self.problem.room.moves_between(a, b)) * MOVE
    }

    /// Whether changing one lay into another costs at most `limit`.
    fn within(&self, a: LayId, b: LayId, limit: Cost) -> bool {
        let limit = limit / MOVE;
        let mut moves = 0;
        let (a, b) = (&self.lays[a as usize], &self.lays[b as usize]);
        for (i, (x, y)) in a.iter().zip(b.iter()).enumerate() {
            if x != y {
                moves += Cost::from(self.problem.room.moves(i, *x, *y));
                if moves > limit {
                    return false;
                }
            }
        }
        true
    }

    /// What clearing the room costs.
    pub(super) fn clearing(&self, lay: LayId) -> Cost {
        self.between(lay, 0)
    }
}

/// A partial plan: what it cost so far, what lies there now, and where it came from.
#[derive(Clone, Copy, Debug)]
pub(super) struct Label {
    pub(super) cost: Cost,
    pub(super) lay: LayId,
    /// Index into [`Lays::ways`].
    pub(super) way: u32,
    /// Index among the labels that it grew from.
    pub(super) parent: u32,
}

/// Takes out labels that another label of the same songs makes needless: one that costs no more even
/// after changing its lay into the other's. Exact, for moves obey the triangle inequality. Sorts by
/// cost; ties stay in the order they came.
pub(super) fn prune(labels: &mut Vec<Label>, lays: &Lays<'_>) {
    labels.sort_by_key(|l| l.cost);
    let mut kept: Vec<Label> = Vec::with_capacity(labels.len());
    for label in labels.iter() {
        let needless = kept.iter().any(|k| lays.within(k.lay, label.lay, label.cost - k.cost));
        if !needless {
            kept.push(*label);
        }
    }
    *labels = kept;
}
