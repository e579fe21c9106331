//! The instruments in the room, their bars, and whether a song fits them.

mod bar;
mod catalogue;
mod caution;
mod cost;
mod describe;
mod file;
mod fit;
mod people;
mod reach;
mod setup;

pub use bar::{Bar, BarSet, Instrument, Mark, Slot};
pub use catalogue::{Kind, Material, Size};
pub use caution::{GENERAL_CAUTIONS, cautions};
pub use cost::Weights;
pub use describe::{ROW_KEY, capital, report, row, sentence, show};
pub use file::{KitError, KitErrors, MAX_OF_A_KIND, Pos, starter, starter_toml};
pub use fit::{
    Carrier, Fit, FitOption, FitRequest, FitRow, MAX_LINES, PartFit, PartsOption, SetupChange,
    Transpose, Verdict, csv, fit, fit_parts, table, tell, tell_parts,
};
pub use people::{Kit, Player, Position, Reads};
pub use setup::{Clear, Counts, Move, NoBar, Setup, State, moves};
