//! Whether and how a song fits a kit.

use super::people::Kit;
use super::setup::Setup;
use crate::analysis::{Analysis, ChangedNote};
use crate::score::{Interval, Key, Line, Pitch, Score, Time};

/// Who carries a stretch of the melody.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Carrier {
    /// Index into [`Kit::instruments`].
    pub instrument: usize,
    /// Octaves by which the line sounds above the transposed song.
    pub octave_shift: i8,
    /// From this note of the line on (index into [`Line::notes`]).
    pub from_note: usize,
}

/// A setup that takes over at a phrase's end.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct SetupChange {
    /// From this note of the line on.
    pub from_note: usize,
    /// From this moment on: the note's onset.
    pub at: Time,
    /// The instrument's new setup.
    pub setup: Setup,
}

/// One way to play a song.
#[derive(Clone, PartialEq, Debug)]
pub struct FitOption {
    /// The transposition.
    pub transpose: Interval,
    /// The key after it.
    pub key: Key,
    /// The documented cost, in plain units.
    pub cost: f64,
    /// Who carries the melody: one carrier, or several by turns; empty where no instrument can and
    /// the melody is sung only.
    pub carriers: Vec<Carrier>,
    /// Setups of the carrying instruments (for the melody alone), as they stand at the start.
    pub setups: Vec<Setup>,
    /// Setups that take over while the song goes on, at phrase ends; usually none.
    pub changes: Vec<SetupChange>,
    /// Pitches of the transposed melody that no bar gives, low to high.
    pub missing: Vec<Pitch>,
    /// Notes changed to make it fit; empty where none.
    pub changed: Vec<ChangedNote>,
    /// Lowest and highest sung pitch after the transposition.
    pub singing: (Pitch, Pitch),
    /// Whether that lies in the kit's singing range.
    pub singing_inside: bool,
    /// One line of why one would take it.
    pub why: String,
}

/// Whether a song fits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Verdict {
    /// On the plain white bars as they stand, or with bars only taken off.
    Fits,
    /// With spare bars swapped in.
    FitsWithChanges,
    /// Not with these bars.
    DoesNotFit,
}

/// The answer for one song.
#[derive(Clone, PartialEq, Debug)]
pub struct Fit {
    /// The verdict for the best option.
    pub verdict: Verdict,
    /// Options, best first; those with missing notes only where none is without.
    pub options: Vec<FitOption>,
}

/// Which transpositions may be tried.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Transpose {
    /// All, up to an octave either way.
    #[default]
    Any,
    /// The song's own key only.
    None,
    /// By just this much.
    By(Interval),
}

/// What [`fit`] is asked.
///
/// Build it with `FitRequest { transpose, ..FitRequest::default() }`: it grows.
#[derive(Clone, PartialEq, Debug)]
pub struct FitRequest {
    /// Transpositions allowed.
    pub transpose: Transpose,
    /// Only keys with this tonic class and, where given, mode.
    pub key: Option<Key>,
    /// How many options to list at the most.
    pub top: usize,
    /// At most so many different bars for the melody (`--bars`); more than that and notes change.
    pub bars: Option<usize>,
    /// At most so many notes changed (`--changed-notes`); `None`: none, unless `bars` asks for it.
    pub changed_notes: Option<usize>,
    /// Leave out options that go beyond the singing range, instead of counting it as a cost.
    pub singing_hard: bool,
    /// List options too that another one beats in every respect (for planning a whole concert).
    pub dominated: bool,
}

impl Default for FitRequest {
    /// Any key, the five best options, no note changed.
    fn default() -> FitRequest {
        FitRequest {
            transpose: Transpose::Any,
            key: None,
            top: 5,
            bars: None,
            changed_notes: None,
            singing_hard: false,
            dominated: false,
        }
    }
}

/// Finds how a song fits a kit.
pub fn fit(score: &Score, line: &Line, analysis: &Analysis, kit: &Kit, ask: &FitRequest) -> Fit {
    let _ = (score, line, analysis, kit, ask);
    unimplemented!("lands with the kit branch")
}
