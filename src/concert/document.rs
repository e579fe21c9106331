//! `concert.json`: the document's types, apart from the model.

use std::collections::BTreeMap;

use serde::Serialize;

use super::changes::Changeover;
use super::fair::shares;
use crate::arrange::Role;
use crate::kit::{Kit, State};
use crate::score::{Interval, Key};

/// A part of a song as the concert's lists need it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Part {
    /// What it does.
    pub role: Role,
    /// The instrument's id; `None` for a voice.
    pub instrument: Option<String>,
    /// The player's name, where the kit names players.
    pub player: Option<String>,
}

/// A song of the concert, as its lists need it.
#[derive(Clone, PartialEq, Debug)]
pub struct Song {
    /// The source, as it was given.
    pub source: String,
    /// The title.
    pub title: String,
    /// The folder of its files, in the concert's.
    pub folder: String,
    /// The key it is played in.
    pub key: Key,
    /// How far it was moved.
    pub transpose: Interval,
    /// The fit cost of the option taken.
    pub fit_cost: f64,
    /// Its parts.
    pub parts: Vec<Part>,
}

/// A planned concert with all that its lists show.
#[derive(Clone, Debug)]
pub struct Programme<'a> {
    /// The title; may be empty.
    pub title: &'a str,
    /// The room.
    pub kit: &'a Kit,
    /// The songs in their order.
    pub songs: &'a [Song],
    /// What is done before, between and after them.
    pub changeovers: &'a [Changeover],
    /// Whether this order is proven to need the least.
    pub order_is_optimal: bool,
    /// Whether the keys are the best for this order (`false` for sets too large to plan).
    pub keys_are_planned: bool,
    /// Moves and weighted fit costs together, in moves.
    pub cost: f64,
    /// No order and keys can cost less than this, in moves; `None` where none was worked out.
    pub lower_bound: Option<f64>,
    /// Songs that can't be played or read: source and reason.
    pub failed: &'a [(String, String)],
}

impl Programme<'_> {
    /// What stands above the lists: the title, or "Concert".
    pub fn heading(&self) -> &str {
        if self.title.is_empty() { "Concert" } else { self.title }
    }

    /// All moves.
    pub fn moves_total(&self) -> usize {
        self.changeovers.iter().map(|c| c.moves.len()).sum()
    }

    /// How far above the lower bound the cost is at most, as a share of the cost.
    pub fn gap(&self) -> Option<f64> {
        let bound = self.lower_bound?;
        Some(if self.cost > 0.0 { (self.cost - bound).max(0.0) / self.cost } else { 0.0 })
    }
}

#[derive(Serialize)]
struct Tonality {
    tonic: String,
    mode: &'static str,
}

#[derive(Serialize)]
struct Entry<'a> {
    song: &'a str,
    title: &'a str,
    folder: &'a str,
    key: Tonality,
    transpose: i16,
    fit_cost: f64,
}

#[derive(Serialize)]
struct OneMove<'a> {
    instrument: &'a str,
    slot: String,
    from: &'static str,
    to: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    from_bar: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    to_bar: Option<String>,
}

#[derive(Serialize)]
struct OneChangeover<'a> {
    after: Option<&'a str>,
    before: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    break_minutes: Option<u32>,
    about_seconds: u32,
    moves: Vec<OneMove<'a>>,
}

#[derive(Serialize)]
struct OneShare {
    player: String,
    songs: usize,
    without_instrument: usize,
    roles: BTreeMap<&'static str, usize>,
}

#[derive(Serialize)]
struct Failure<'a> {
    song: &'a str,
    error: &'a str,
}

/// `concert.json`, ready to be written.
#[derive(Serialize)]
pub struct Document<'a> {
    format: u32,
    title: &'a str,
    kit: &'a str,
    order: Vec<Entry<'a>>,
    moves_total: usize,
    order_is_optimal: bool,
    keys_are_planned: bool,
    cost: f64,
    lower_bound: Option<f64>,
    gap: Option<f64>,
    changeovers: Vec<OneChangeover<'a>>,
    players: Vec<OneShare>,
    failed: Vec<Failure<'a>>,
}

fn swapped(state: State) -> Option<String> {
    match state {
        State::Swap(bar) => Some(bar.to_string()),
        _ => None,
    }
}

/// The document of a programme. States are the setup's words; where a spare is swapped in or out,
/// `from_bar` and `to_bar` name it.
pub fn document<'a>(programme: &Programme<'a>) -> Document<'a> {
    let songs = programme.songs;
    let source = |at: Option<usize>| at.and_then(|a| songs.get(a)).map(|s| s.source.as_str());
    Document {
        format: 1,
        title: programme.title,
        kit: &programme.kit.name,
        order: songs
            .iter()
            .map(|s| Entry {
                song: &s.source,
                title: &s.title,
                folder: &s.folder,
                key: Tonality { tonic: s.key.tonic.to_string(), mode: s.key.mode.name() },
                transpose: s.transpose.semitones(),
                fit_cost: s.fit_cost,
            })
            .collect(),
        moves_total: programme.moves_total(),
        order_is_optimal: programme.order_is_optimal,
        keys_are_planned: programme.keys_are_planned,
        cost: programme.cost,
        lower_bound: programme.lower_bound,
        gap: programme.gap(),
        changeovers: programme
            .changeovers
            .iter()
            .map(|c| OneChangeover {
                after: source(c.after),
                before: source(c.before),
                break_minutes: c.break_minutes,
                about_seconds: c.seconds(),
                moves: c
                    .moves
                    .iter()
                    .filter_map(|m| {
                        let instrument = programme.kit.instruments.get(m.instrument)?;
                        Some(OneMove {
                            instrument: &instrument.id,
                            slot: instrument.slots.get(m.slot)?.bar.to_string(),
                            from: m.from.name(),
                            to: m.to.name(),
                            from_bar: swapped(m.from),
                            to_bar: swapped(m.to),
                        })
                    })
                    .collect(),
            })
            .collect(),
        players: shares(programme.kit, songs)
            .into_iter()
            .map(|s| OneShare {
                player: s.player,
                songs: s.songs,
                without_instrument: s.without_instrument,
                roles: s.roles,
            })
            .collect(),
        failed: programme.failed.iter().map(|(song, error)| Failure { song, error }).collect(),
    }
}
