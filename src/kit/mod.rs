//! The instruments in the room, their bars, and whether a song fits them.

use crate::analysis::{Analysis, ChangedNote};
use crate::score::{Interval, Key, Line, Midi, Pitch, Score, Time};

/// A kind of instrument of the trade (handbook, "The instruments").
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
#[allow(missing_docs, reason = "the variants are the kinds' names")]
pub enum Kind {
    SopranoGlockenspiel,
    AltoGlockenspiel,
    SopranoXylophone,
    SopranoMetallophone,
    AltoXylophone,
    AltoMetallophone,
    BassXylophone,
    BassMetallophone,
    ContrabassBars,
    ToneBars,
    Custom,
}

/// A bar: a sounding pitch. Enharmonic names are one bar (A♯ is B♭).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Bar(pub Midi);

/// One place of an instrument: a slot, or a loose bar.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Slot {
    /// The bar that belongs here: the natural, or the loose bar itself.
    pub bar: Bar,
    /// Whether that bar is lost or broken.
    pub lost: bool,
    /// Spare bars that can stand here in its place.
    pub spares: Vec<Bar>,
    /// A loose bar stands on its own box beside the others: it has no gap and no filler.
    pub loose: bool,
}

/// An instrument of the room.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Instrument {
    /// Its id in the kit file.
    pub id: String,
    /// Its kind.
    pub kind: Kind,
    /// Its slots, low to high.
    pub slots: Vec<Slot>,
    /// Whether card fillers are at hand.
    pub fillers: bool,
    /// Octaves by which it sounds above what is written.
    pub octave_shift: i8,
}

/// How a player plays.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[allow(missing_docs, reason = "the variants are the kit file's words")]
pub enum Position {
    Floor,
    Seated,
    Standing,
    Wheelchair,
    Bed,
}

/// What a player reads.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[allow(missing_docs, reason = "the variants are the kit file's words")]
pub enum Reads {
    Staff,
    Letters,
    Ear,
}

/// A player.
#[derive(Clone, PartialEq, Debug)]
pub struct Player {
    /// The name in the kit file.
    pub name: String,
    /// Ids of the instruments that this player may play; empty: any.
    pub instruments: Vec<String>,
    /// 1 or 2.
    pub mallets: u8,
    /// The fastest comfortable rate.
    pub strikes_per_minute: f64,
    /// How the player sits, stands or lies.
    pub position: Position,
    /// What the player reads.
    pub reads: Reads,
}

/// The room: instruments and players.
#[derive(Clone, PartialEq, Debug)]
pub struct Kit {
    /// Its name.
    pub name: String,
    /// The comfortable singing range, lowest and highest; handbook's default C4 to D5.
    pub singing: (Pitch, Pitch),
    /// The instruments, in the file's order.
    pub instruments: Vec<Instrument>,
    /// The players, in the file's order; may be empty.
    pub players: Vec<Player>,
}

/// What is to be done with a slot.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum State {
    /// The natural (or the loose bar) stays.
    Keep,
    /// This spare takes its place.
    Swap(Bar),
    /// The bar is taken off and leaves a gap; a loose bar is put away.
    Remove,
    /// The bar is taken off and a filler put in its place.
    Fill,
}

/// An instrument set up for one song.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Setup {
    /// Index into [`Kit::instruments`].
    pub instrument: usize,
    /// A state for every slot, low to high.
    pub states: Vec<State>,
    /// Cautions that apply, in plain sentences.
    pub cautions: Vec<String>,
}

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
    /// Setups of the carrying instruments (for the melody alone).
    pub setups: Vec<Setup>,
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
#[derive(Clone, PartialEq, Debug)]
pub struct FitRequest {
    /// Transpositions allowed.
    pub transpose: Transpose,
    /// Only keys with this tonic class and, where given, mode.
    pub key: Option<Key>,
    /// How many options to list at the most.
    pub top: usize,
}

/// Finds how a song fits a kit.
pub fn fit(score: &Score, line: &Line, analysis: &Analysis, kit: &Kit, ask: &FitRequest) -> Fit {
    let _ = (score, line, analysis, kit, ask, Time::ZERO);
    unimplemented!("lands with the kit branch")
}
