//! Parts for the instruments and players of a kit.

use crate::analysis::Analysis;
use crate::kit::{FitOption, Kit, Setup, SetupChange};
use crate::score::{Interval, Key, Line, Score};

mod assign;
mod build;
mod checks;
mod colour;
mod drone;
mod finish;
mod form;
mod grind;
mod leader;
mod limits;
mod melody;
mod ostinato;
mod rack;
mod request;
mod roots;
mod song;
mod sticking;
mod worth;

pub use request::{ArrangeError, ArrangeRequest, Level, RoleAsk};

/// What a part does.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
#[allow(missing_docs, reason = "the variants are the trade's words")]
pub enum Role {
    Voice,
    Melody,
    Drone,
    Ostinato,
    Colour,
}

impl Role {
    /// All roles.
    pub const ALL: [Role; 5] =
        [Role::Voice, Role::Melody, Role::Drone, Role::Ostinato, Role::Colour];

    /// `voice`, `melody`, `drone`, `ostinato` or `colour`.
    pub fn name(self) -> &'static str {
        match self {
            Role::Voice => "voice",
            Role::Melody => "melody",
            Role::Drone => "drone",
            Role::Ostinato => "ostinato",
            Role::Colour => "colour",
        }
    }
}

impl std::str::FromStr for Role {
    type Err = ArrangeError;
    fn from_str(text: &str) -> Result<Role, ArrangeError> {
        Role::ALL
            .into_iter()
            .find(|r| r.name().eq_ignore_ascii_case(text.trim()))
            .ok_or_else(|| ArrangeError::UnknownRole(text.to_owned()))
    }
}

/// Drone patterns (handbook, "Parts").
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum DronePattern {
    /// Root and fifth together.
    Chord,
    /// One after the other.
    Broken,
    /// Root, fifth, root above, the hand crossing over.
    Crossover,
    /// The pair low, then the pair an octave up.
    Level,
    /// One of its notes steps to a neighbour and back.
    Moving,
}

impl DronePattern {
    /// All patterns.
    pub const ALL: [DronePattern; 5] = [
        DronePattern::Chord,
        DronePattern::Broken,
        DronePattern::Crossover,
        DronePattern::Level,
        DronePattern::Moving,
    ];

    /// `chord`, `broken`, `crossover`, `level` or `moving`.
    pub fn name(self) -> &'static str {
        match self {
            DronePattern::Chord => "chord",
            DronePattern::Broken => "broken",
            DronePattern::Crossover => "crossover",
            DronePattern::Level => "level",
            DronePattern::Moving => "moving",
        }
    }
}

impl std::str::FromStr for DronePattern {
    type Err = ArrangeError;
    fn from_str(text: &str) -> Result<DronePattern, ArrangeError> {
        DronePattern::ALL
            .into_iter()
            .find(|p| p.name().eq_ignore_ascii_case(text.trim()))
            .ok_or_else(|| ArrangeError::UnknownPattern(text.to_owned()))
    }
}

/// What a part of the arranged score is for; the notes are in [`Arrangement::score`].
#[derive(Clone, PartialEq, Debug)]
pub struct PartPlan {
    /// Index into the arranged score's parts.
    pub part: usize,
    /// What it does.
    pub role: Role,
    /// Index into [`Kit::instruments`]; `None` for the voice.
    pub instrument: Option<usize>,
    /// Index into [`Kit::players`]; `None` where the kit names no players, and for the voice of the
    /// whole group (a player for whom no instrument is left sings, and has a voice part).
    pub player: Option<usize>,
    /// The pattern in plain words: `chord`, `broken`, ... for a drone; a description elsewhere; may
    /// be empty.
    pub pattern: String,
    /// Octaves by which it sounds above what is written.
    pub octave_shift: i8,
    /// What was thinned or changed for its player, in plain sentences.
    pub changes: Vec<String>,
}

/// The result of one check that ran on an arrangement.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Check {
    /// Its name in plain words.
    pub check: String,
    /// Whether all is well.
    pub passed: bool,
    /// What was looked at, or what is wrong and where.
    pub detail: String,
}

/// A finished arrangement.
#[derive(Clone, PartialEq, Debug)]
pub struct Arrangement {
    /// All parts, with the measures, repeats, lyrics and chord symbols, at sounding pitch in the new
    /// key. Part ids are the instrument's id (with `-2`, ... where one instrument has several parts)
    /// or `voice`; they name the part files.
    pub score: Score,
    /// The plan of each part, in the score's order.
    pub parts: Vec<PartPlan>,
    /// The key it is in.
    pub key: Key,
    /// How far it was moved from the song.
    pub transpose: Interval,
    /// A setup for every instrument used.
    pub setups: Vec<Setup>,
    /// Setups that take over while the song goes on (as the fit option says); usually none.
    pub setup_changes: Vec<SetupChange>,
    /// The checks that ran.
    pub checks: Vec<Check>,
    /// The note for the leader, in plain sentences: why this key, who has what, where it is delicate
    /// (measure numbers), what was thinned or changed.
    pub leader_note: Vec<String>,
    /// The tempo suggested, in quarter notes a minute: the song's own, or, where it names none, one
    /// that suits its meter and the players. It stands in [`Arrangement::score`] too.
    pub tempo: f64,
}

/// Arranges a song as a fit option says.
///
/// The melody goes to the option's carriers (and is sung), the other roles to the kit's instruments
/// and players by one exact assignment; each part is made for the player who has it, the instruments
/// are set up for what they play, and the checks run on the result. The same input gives the same
/// result.
///
/// # Errors
/// What is asked for can't be done: see [`ArrangeError`]. An option with missing notes is refused.
pub fn arrange(
    score: &Score,
    line: &Line,
    analysis: &Analysis,
    kit: &Kit,
    option: &FitOption,
    ask: &ArrangeRequest,
) -> Result<Arrangement, ArrangeError> {
    if !option.missing.is_empty() {
        let names: Vec<String> = option.missing.iter().map(ToString::to_string).collect();
        return Err(ArrangeError::MissingBars(names.join(", ")));
    }
    let mut song = song::Song::new(score, line, analysis, option, ask)?;
    let built = build::build(&mut song, kit, option, ask)?;
    finish::finish(song, kit, option, ask, built)
}
