//! Whether and how a song fits a kit: an exact search.
//!
//! Every transposition up to an octave either way, every octave position and every instrument that
//! may carry the melody are tried slot by slot, on 128-bit masks. The answer's cost is a documented
//! sum ([`Weights`](super::Weights)). Where no single set-up carries the tune, two instruments
//! share it, or bars are moved at phrase ends; notes are changed only where the request lets them. A
//! search by rules of thumb was rejected: the whole space of one tune takes some tens of
//! microseconds.

mod kept;
mod parts;
mod rack;
mod search;
mod share;
mod tell;
mod terms;
mod why;

pub use parts::{MAX_LINES, PartFit, PartsOption, fit_parts};
use rack::Song;
use search::{Candidate, Found, Plan, Room};
pub use tell::{FitRow, csv, table, tell, tell_parts};
pub(crate) use why::counted;

use super::bar::BarSet;
use super::people::Kit;
use super::setup::{Clear, Setup, State};
use crate::analysis::{Analysis, ChangedNote};
use crate::score::{Interval, Key, Line, Midi, Pitch, Score, Time};

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
    /// Notes changed to make it fit; empty where none. The new pitches are at the song's own height,
    /// before the transposition and the carrier's octave.
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
///
/// The options come cheapest first. Those with missing notes are given only where there is none
/// without; a line without notes has no options.
pub fn fit(score: &Score, line: &Line, analysis: &Analysis, kit: &Kit, ask: &FitRequest) -> Fit {
    let song = Song::new(line, analysis);
    let room = Room::new(kit);
    let key = analysis.key.best.key;
    let (all, whole) = match room.search(&song, key, ask) {
        Found::Whole(all) => (all, true),
        Found::Lacking(all) => (all, false),
    };
    let mut shown = search::worth_showing(all, &room, ask.dominated && whole);
    shown.truncate(ask.top.max(1));
    let maker = Maker { score, line, analysis, kit, song: &song, key, ask };
    let options: Vec<FitOption> = shown.iter().map(|c| maker.option(c, whole)).collect();
    let verdict = match shown.first() {
        Some(best) if whole => {
            if best.terms.swapped + best.terms.moved_inside == 0 {
                Verdict::Fits
            } else {
                Verdict::FitsWithChanges
            }
        }
        _ => Verdict::DoesNotFit,
    };
    Fit { verdict, options }
}

/// Makes options of candidates.
struct Maker<'a> {
    score: &'a Score,
    line: &'a Line,
    analysis: &'a Analysis,
    kit: &'a Kit,
    song: &'a Song,
    key: Key,
    ask: &'a FitRequest,
}

impl Maker<'_> {
    fn option(&self, candidate: &Candidate, whole: bool) -> FitOption {
        let by = Interval::new(candidate.t);
        let key = self.key.transposed(by);
        let sung = |p: Option<&rack::Sung>| {
            Pitch::spelled(Midi::new(p.map_or(0, |p| p.midi + candidate.t)), key.fifths())
        };
        let singing = (sung(self.song.pitches.first()), sung(self.song.pitches.last()));
        let mut option = FitOption {
            transpose: by,
            key,
            cost: candidate.cost,
            carriers: Vec::new(),
            setups: Vec::new(),
            changes: Vec::new(),
            missing: Vec::new(),
            changed: Vec::new(),
            singing,
            singing_inside: candidate.terms.singing == 0,
            why: String::new(),
        };
        self.play(candidate, whole, &mut option);
        option.why = why::why(self.kit, candidate, &option);
        option
    }

    fn play(&self, candidate: &Candidate, whole: bool, option: &mut FitOption) {
        let t = candidate.t;
        let shift = |octave: i8| t + 12 * i16::from(octave);
        let carrier =
            |instrument, octave_shift, from_note| Carrier { instrument, octave_shift, from_note };
        match &candidate.plan {
            Plan::Single { rack, octave } => {
                option.carriers.push(carrier(*rack, *octave, 0));
                let needed = self.song.moved(shift(*octave)).unwrap_or_default();
                option.setups.extend(self.setup(t, *rack, needed, Clear::Foreign));
            }
            Plan::Shared { racks, octaves, turns, sets } => {
                for (from, second) in turns {
                    let (rack, octave) =
                        if *second { (racks.1, octaves.1) } else { (racks.0, octaves.0) };
                    option.carriers.push(carrier(rack, octave, *from));
                }
                for (rack, set) in [(racks.0, sets.0), (racks.1, sets.1)] {
                    option.setups.extend(self.setup(t, rack, set, Clear::Foreign));
                }
            }
            Plan::Switched { rack, octave, runs, first } => {
                option.carriers.push(carrier(*rack, *octave, 0));
                let Some(mut now) = self.setup(t, *rack, *first, Clear::Foreign) else { return };
                option.setups.push(now.clone());
                for (from, set) in runs.iter().skip(1) {
                    self.switch(&mut now, *set);
                    if let Some(note) = self.line.notes.get(*from) {
                        let (from_note, at) = (*from, note.onset);
                        option.changes.push(SetupChange { from_note, at, setup: now.clone() });
                    }
                }
            }
            Plan::Kept { rack, octave, kept } => {
                option.carriers.push(carrier(*rack, *octave, 0));
                let clear = if self.ask.bars.is_some() { Clear::Unneeded } else { Clear::Foreign };
                option.setups.extend(self.setup(t, *rack, *kept, clear));
                if whole {
                    option.changed = kept::changes(
                        self.score,
                        self.line,
                        self.analysis,
                        self.key,
                        *kept,
                        shift(*octave),
                    );
                } else {
                    option.missing = kept::missing(self.song, t, *octave, *kept, option.key);
                }
            }
            Plan::Nobody => {
                option.missing = kept::missing(self.song, t, 0, BarSet::EMPTY, option.key);
            }
        }
    }

    fn setup(&self, t: i16, instrument: usize, needed: BarSet, clear: Clear) -> Option<Setup> {
        let own = self.song.classes(t);
        // The search has made sure that the bars can stand.
        Setup::within(self.kit, instrument, needed, own, clear, false).ok()
    }

    /// Moves the bars that a stretch needs otherwise.
    fn switch(&self, setup: &mut Setup, needed: BarSet) {
        let Some(at) = self.kit.instruments.get(setup.instrument) else { return };
        for (slot, state) in at.slots.iter().zip(&mut setup.states) {
            let Some(bar) = needed.intersection(slot.choices()).lowest().map(super::Bar) else {
                continue;
            };
            *state = if bar == slot.bar { State::Keep } else { State::Swap(bar) };
        }
    }
}
