//! What is to be planned, and what a plan is: pure numbers, apart from songs and files.

use super::room::{Cost, Lay, MOVE, Room, Way};

/// What must hold for the order of the songs. Songs are counted from 0 in the order given.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Pins {
    /// For every song the songs that must come before it.
    pub(super) before: Vec<Vec<usize>>,
}

/// Pins that can't all hold.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error(
    "the fixed places contradict each other: each of these songs would have to come before itself"
)]
pub struct Contradiction {
    /// The songs that wait for each other.
    pub songs: Vec<usize>,
}

impl Pins {
    /// No pins for `songs` songs.
    pub fn none(songs: usize) -> Pins {
        Pins { before: vec![Vec::new(); songs] }
    }

    /// `earlier` comes before `later`. Songs that aren't there are let go.
    pub fn put_before(&mut self, earlier: usize, later: usize) {
        if earlier >= self.before.len() {
            return;
        }
        if let Some(list) = self.before.get_mut(later)
            && !list.contains(&earlier)
        {
            list.push(earlier);
        }
    }

    /// The song opens the concert.
    pub fn put_first(&mut self, song: usize) {
        for other in (0..self.before.len()).filter(|o| *o != song) {
            self.put_before(song, other);
        }
    }

    /// The song closes the concert.
    pub fn put_last(&mut self, song: usize) {
        for other in (0..self.before.len()).filter(|o| *o != song) {
            self.put_before(other, song);
        }
    }

    /// The pins among some of the songs, which are counted anew in the order of `kept`. What holds
    /// by way of a song that is left out still holds.
    pub fn among(&self, kept: &[usize]) -> Pins {
        let mut pins = Pins::none(kept.len());
        for (new_later, later) in kept.iter().enumerate() {
            let mut open = vec![*later];
            let mut seen = vec![false; self.before.len()];
            while let Some(song) = open.pop() {
                for earlier in self.before.get(song).into_iter().flatten() {
                    if !std::mem::replace(&mut seen[*earlier], true) {
                        open.push(*earlier);
                    }
                }
            }
            for (new_earlier, earlier) in kept.iter().enumerate() {
                if seen[*earlier] {
                    pins.put_before(new_earlier, new_later);
                }
            }
        }
        pins
    }

    /// Whether an order (each song once) obeys them.
    pub fn hold(&self, order: &[usize]) -> bool {
        let mut place = vec![usize::MAX; self.before.len()];
        for (at, song) in order.iter().enumerate() {
            if let Some(p) = place.get_mut(*song) {
                *p = at;
            }
        }
        self.before
            .iter()
            .enumerate()
            .all(|(later, list)| list.iter().all(|earlier| place[*earlier] < place[later]))
    }

    /// An order that obeys them and is otherwise as given.
    ///
    /// # Errors
    /// [`Contradiction`] where there is none.
    pub fn an_order(&self) -> Result<Vec<usize>, Contradiction> {
        let mut order: Vec<usize> = Vec::new();
        let mut placed = vec![false; self.before.len()];
        while order.len() < self.before.len() {
            let next = (0..self.before.len())
                .find(|s| !placed[*s] && self.before[*s].iter().all(|e| placed[*e]));
            match next {
                Some(song) => {
                    placed[song] = true;
                    order.push(song);
                }
                None => {
                    let songs = (0..placed.len()).filter(|s| !placed[*s]).collect();
                    return Err(Contradiction { songs });
                }
            }
        }
        Ok(order)
    }
}

/// A concert to be planned.
#[derive(Clone, Debug)]
pub struct Problem {
    /// The instruments and all patterns asked of them.
    pub room: Room,
    /// For every song its ways; at least one each.
    pub songs: Vec<Vec<Way>>,
    /// What must hold for the order.
    pub pins: Pins,
}

/// A plan: every song once, each with the way it is played.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Plan {
    /// Song and way, in the order of the concert.
    pub order: Vec<(usize, usize)>,
    /// Moves and weighted fit costs together, in thousandths of a move.
    pub cost: Cost,
    /// No plan costs less than this.
    pub lower_bound: Cost,
}

impl Plan {
    /// Whether no other plan can cost less.
    pub fn is_optimal(&self) -> bool {
        self.cost <= self.lower_bound
    }
}

impl Problem {
    /// What lies on the instruments after each song of a plan, and the moves before it; at the end
    /// the moves that clear the room.
    pub(super) fn walk(&self, order: &[(usize, usize)]) -> (Vec<Lay>, Vec<u32>) {
        let mut lay = self.room.plain();
        let mut lays = Vec::with_capacity(order.len());
        let mut moves = Vec::with_capacity(order.len() + 1);
        for (song, way) in order {
            let Some(way) = self.songs.get(*song).and_then(|w| w.get(*way)) else { continue };
            moves.push(self.room.moves_to(&lay, way));
            lay = self.room.after(&lay, way);
            lays.push(lay.clone());
        }
        moves.push(self.room.moves_between(&lay, &self.room.plain()));
        (lays, moves)
    }

    /// All moves of a plan, first setting-up and last clearing included.
    pub fn moves_total(&self, order: &[(usize, usize)]) -> u32 {
        self.walk(order).1.iter().sum()
    }

    /// What a plan costs: its moves and its ways' fit costs.
    pub fn cost_of(&self, order: &[(usize, usize)]) -> Cost {
        let fit: Cost = order
            .iter()
            .filter_map(|(song, way)| self.songs.get(*song)?.get(*way))
            .map(|w| w.cost)
            .sum();
        Cost::from(self.moves_total(order)) * MOVE + fit
    }
}
