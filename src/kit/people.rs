//! The room: instruments, players, and what the group minds most.

use super::bar::Instrument;
use super::cost::Weights;
use crate::score::{Pitch, Step};

/// How a player plays.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[allow(missing_docs, reason = "the variants are the kit file's words")]
pub enum Position {
    Floor,
    Seated,
    Standing,
    Wheelchair,
    Bed,
}

impl Position {
    /// Every position.
    pub const ALL: [Position; 5] = [
        Position::Floor,
        Position::Seated,
        Position::Standing,
        Position::Wheelchair,
        Position::Bed,
    ];

    /// The kit file's word.
    pub fn name(self) -> &'static str {
        match self {
            Position::Floor => "floor",
            Position::Seated => "seated",
            Position::Standing => "standing",
            Position::Wheelchair => "wheelchair",
            Position::Bed => "bed",
        }
    }
}

/// What a player reads.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[allow(missing_docs, reason = "the variants are the kit file's words")]
pub enum Reads {
    Staff,
    Letters,
    Ear,
}

impl Reads {
    /// Every way of reading.
    pub const ALL: [Reads; 3] = [Reads::Staff, Reads::Letters, Reads::Ear];

    /// The kit file's word.
    pub fn name(self) -> &'static str {
        match self {
            Reads::Staff => "staff",
            Reads::Letters => "letters",
            Reads::Ear => "ear",
        }
    }
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

impl Player {
    /// Strikes a minute where the kit file says nothing: two mallets in turn play eighths at a
    /// quarter of 120, what adults and school-age children who have played for a while do in ensembles;
    /// one mallet alone half of that. Common practice, no source; the kit file sets it for each
    /// player, and should for beginners and for whoever is slower.
    pub fn usual_strikes_per_minute(mallets: u8) -> f64 {
        if mallets < 2 { 120.0 } else { 240.0 }
    }

    /// A player with two mallets, the usual speed for them, seated, reading letters.
    pub fn new(name: impl Into<String>) -> Player {
        Player {
            name: name.into(),
            instruments: Vec::new(),
            mallets: 2,
            strikes_per_minute: Player::usual_strikes_per_minute(2),
            position: Position::Seated,
            reads: Reads::Letters,
        }
    }

    /// Whether the player may play an instrument.
    pub fn may_play(&self, instrument: &Instrument) -> bool {
        self.instruments.is_empty() || self.instruments.contains(&instrument.id)
    }
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
    /// What the group minds most: the weights of the fit's cost.
    pub weights: Weights,
}

impl Kit {
    /// The singing range where a kit file says nothing (handbook: "most comfortably from about C4 or
    /// D4 to about C5 or D5").
    pub const USUAL_SINGING: (Pitch, Pitch) =
        (Pitch::new(Step::C, 0, 4), Pitch::new(Step::D, 0, 5));

    /// A kit without instruments or players.
    pub fn empty(name: impl Into<String>) -> Kit {
        Kit {
            name: name.into(),
            singing: Kit::USUAL_SINGING,
            instruments: Vec::new(),
            players: Vec::new(),
            weights: Weights::default(),
        }
    }

    /// The index of the instrument with this id.
    pub fn instrument(&self, id: &str) -> Option<usize> {
        self.instruments.iter().position(|i| i.id == id)
    }
}
