//! A whole concert: keys, order and changeovers of a set of songs for one room of instruments.
//!
//! Pure planning: songs come in as ways to play them (a setup for every instrument used, and a fit
//! cost), plans, cards and documents come out. Reading songs and writing files is the business of
//! `cli`.
//!
//! What is minimised is the sum of all moves and of the weighted fit costs. A **move** is one slot
//! that changes its state between two songs; setting up the first song and clearing after the last
//! count too, from and to the plain white bars. An instrument that a song doesn't use stays as it
//! lies until a later song uses it or the room is cleared.

mod best;
mod bound;
mod changes;
mod document;
mod fair;
mod file;
mod given;
mod lays;
mod problem;
mod room;
mod search;
mod text;
mod walk;

pub use changes::{Changeover, InventoryFault, changeovers, inventory, put_breaks, spoken};
pub use document::{Document, Part, Programme, Song, document};
pub use fair::{Share, shares};
pub use file::{Break, BreakPlace, ConcertFile, FileError, SongWish};
pub use given::plan_in_order;
pub use problem::{Contradiction, Pins, Plan, Problem};
pub use room::{Cost, MOVE, Pattern, Room, Way, cost_units, undominated};
pub use text::{heading, mover, text};

/// Up to so many songs the order is planned; a larger set is a library rather than a concert and
/// keeps the order given.
pub const MAX_PLANNED: usize = 200;

/// The best order and ways: exact where that is possible (see [`Plan::is_optimal`]), else a good plan
/// with a proven lower bound.
///
/// # Errors
/// [`Contradiction`] where the pins can't all hold.
pub fn plan_best(problem: &Problem) -> Result<Plan, Contradiction> {
    let start = problem.pins.an_order()?;
    let known = search::good_plan(problem, &start);
    let edges = bound::Edges::new(problem);
    let (tree_bound, prices) = edges.bound(problem, known.cost);
    let walks = walk::Walks::new(problem, known.cost);
    let bound = tree_bound.max(edges.up(walks.bound));
    if bound >= known.cost {
        return Ok(Plan { lower_bound: known.cost, ..known });
    }
    let bounds = best::Bounds { edges: &edges, prices: &prices, walks: &walks };
    Ok(best::optimum(problem, &bounds, &known).unwrap_or(Plan { lower_bound: bound, ..known }))
}

/// A cost that no plan can undercut, by the bounds that large concerts use (see [`plan_best`]).
///
/// # Errors
/// [`Contradiction`] where the pins can't all hold.
pub fn lower_bound(problem: &Problem) -> Result<Cost, Contradiction> {
    let start = problem.pins.an_order()?;
    let known = plan_in_order(problem, &start);
    let edges = bound::Edges::new(problem);
    let walks = walk::Walks::new(problem, known.cost);
    Ok(edges.bound(problem, known.cost).0.max(edges.up(walks.bound)))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test fails by panicking")]
mod tests;
