//! What [`arrange`](super::arrange) is asked, and why it may refuse.

use std::str::FromStr;

use super::{DronePattern, Role};

/// How much is going on in the arrangement.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub enum Level {
    /// Fewer strikes and one thing at a time: the drone on the first beat of the measure, short
    /// ostinatos of few notes, colour at the end of the song only.
    Simpler,
    /// What suits most groups.
    #[default]
    Normal,
    /// More strikes: the drone in its livelier patterns, a second ostinato, colour wherever there
    /// is room.
    Fuller,
}

impl Level {
    /// `simpler`, `normal` or `fuller`.
    pub fn name(self) -> &'static str {
        match self {
            Level::Simpler => "simpler",
            Level::Normal => "normal",
            Level::Fuller => "fuller",
        }
    }
}

impl FromStr for Level {
    type Err = ArrangeError;
    fn from_str(text: &str) -> Result<Level, ArrangeError> {
        [Level::Simpler, Level::Normal, Level::Fuller]
            .into_iter()
            .find(|l| l.name().eq_ignore_ascii_case(text.trim()))
            .ok_or_else(|| ArrangeError::UnknownLevel(text.to_owned()))
    }
}

/// A role that the leader gives out: `drone=bass-xylophone` or `drone=bass-xylophone:blue chair`.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct RoleAsk {
    /// The role.
    pub role: Role,
    /// The id of the instrument in the kit file.
    pub instrument: String,
    /// The name of the player in the kit file; `None`: whoever suits.
    pub player: Option<String>,
}

impl FromStr for RoleAsk {
    type Err = ArrangeError;
    fn from_str(text: &str) -> Result<RoleAsk, ArrangeError> {
        let fault = || ArrangeError::NotARoleAsk(text.to_owned());
        let (role, rest) = text.split_once('=').ok_or_else(fault)?;
        let (instrument, player) = match rest.split_once(':') {
            Some((instrument, player)) => (instrument, Some(player.trim().to_owned())),
            None => (rest, None),
        };
        if instrument.trim().is_empty() || player.as_deref() == Some("") {
            return Err(fault());
        }
        Ok(RoleAsk { role: role.parse()?, instrument: instrument.trim().to_owned(), player })
    }
}

/// What [`arrange`](super::arrange) is asked. The default leaves every choice to the arranger.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct ArrangeRequest {
    /// The drone pattern; `None`: picked by meter, tempo, player and register.
    pub drone: Option<DronePattern>,
    /// Leave the drone out (`--drone none`); the same as `without` the drone.
    pub no_drone: bool,
    /// Roles given out by the leader (`--with`).
    pub with: Vec<RoleAsk>,
    /// Roles to leave out (`--without`).
    pub without: Vec<Role>,
    /// Measures of drone before the song, and after it to end with (`--intro`).
    pub intro: u8,
    /// Measures without melody between two times through the song (`--interlude`); 0: none.
    pub interlude: u8,
    /// How much is going on (`--level`).
    pub level: Level,
    /// A word of the lyrics on which colour falls (`--colour-word`), in any case.
    pub colour_word: Option<String>,
}

/// Why a song can't be arranged as asked.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ArrangeError {
    /// The option has notes without a bar.
    #[error("these notes have no bar: {0}; take another key, or a kit that has them")]
    MissingBars(String),
    /// The option is of another kit, or the line of another score.
    #[error("the fit option doesn't belong to this kit and song: {0}")]
    Mismatch(String),
    /// No melody to arrange.
    #[error("there are no notes in the melody")]
    NoNotes,
    /// `--with` names an instrument that the kit hasn't.
    #[error("the kit has no instrument `{asked}`; it has {known}")]
    UnknownInstrument {
        /// What was asked for.
        asked: String,
        /// The kit's instruments.
        known: String,
    },
    /// `--with` names a player that the kit hasn't.
    #[error("the kit has no player `{asked}`; {known}")]
    UnknownPlayer {
        /// What was asked for.
        asked: String,
        /// The kit's players: "its players are ...", or "it names no players".
        known: String,
    },
    /// The player may not play that instrument.
    #[error(
        "`{player}` doesn't play `{instrument}` by the kit file; add it to the player's instruments, or name another player"
    )]
    NotAllowed {
        /// The player.
        player: String,
        /// The instrument.
        instrument: String,
    },
    /// Two asks can't both be met.
    #[error("`{0}` is asked for twice; give each player and each instrument one role")]
    AskedTwice(String),
    /// The instrument can't play that role in this song.
    #[error("`{instrument}` can't play the {role} of this song: {why}")]
    CantPlay {
        /// The instrument.
        instrument: String,
        /// The role.
        role: &'static str,
        /// The reason, in plain words.
        why: String,
    },
    /// A word that names no role.
    #[error("`{0}` is no role; the roles are voice, melody, drone, ostinato and colour")]
    UnknownRole(String),
    /// A word that names no drone pattern.
    #[error("`{0}` is no drone; take chord, broken, crossover, level, moving or none")]
    UnknownPattern(String),
    /// A word that names no level.
    #[error("`{0}` is no level; take simpler, normal or fuller")]
    UnknownLevel(String),
    /// A text that gives out no role.
    #[error(
        "`{0}` gives out no role; write it as drone=bass-xylophone or drone=bass-xylophone:player"
    )]
    NotARoleAsk(String),
}
