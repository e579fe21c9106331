//! The pack: what is handed out. Pages as self-contained HTML that reads well on a screen and prints
//! well from any browser: the leader's overview, a setup and a part page for each player, the score.
//!
//! Pure functions: no file is opened here. Staff notation is engraved once per song
//! ([`Staves::engrave`]) and shared by every pack that shows it.

mod bars;
mod chart;
mod names;
mod page;
mod route;
mod set;
mod sheets;
mod staff;
#[cfg(feature = "engrave")]
mod svg;

use crate::analysis::Analysis;
use crate::arrange::Arrangement;
use crate::kit::{Kit, Move, Reads};

pub use names::Names;
pub use staff::{Staves, close_engraver};

/// The sheet that is printed on.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Paper {
    /// 210 × 297 mm.
    #[default]
    A4,
    /// 8.5 × 11 inches.
    Letter,
}

impl std::str::FromStr for Paper {
    type Err = String;
    /// Reads `a4` or `letter`.
    fn from_str(text: &str) -> Result<Paper, String> {
        match text {
            "a4" | "A4" => Ok(Paper::A4),
            "letter" => Ok(Paper::Letter),
            other => Err(format!("`{other}` is no paper that is known here; take a4 or letter")),
        }
    }
}

/// How a pack is printed.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct PrintOptions {
    /// The paper.
    pub paper: Paper,
    /// Larger letters, staves and text throughout.
    pub large: bool,
    /// How notes are named.
    pub names: Names,
}

/// All that the pages of one song show.
#[derive(Clone, Copy, Debug)]
pub struct SongPage<'a> {
    /// The song's title, or its file name.
    pub title: &'a str,
    /// Who made it; may be empty.
    pub composer: &'a str,
    /// Where it comes from: the file as the user named it.
    pub source: &'a str,
    /// What the song is, in its own key.
    pub analysis: &'a Analysis,
    /// The room.
    pub kit: &'a Kit,
    /// The parts.
    pub arrangement: &'a Arrangement,
    /// The staff notation.
    pub staves: &'a Staves,
    /// What the readers and the arranger warn of, in plain sentences.
    pub warnings: &'a [String],
}

/// A changeover between two songs of a concert.
#[derive(Clone, Copy, Debug)]
pub struct Card<'a> {
    /// Index of the song before it; `None` before the first.
    pub after: Option<usize>,
    /// Index of the song that it sets up; `None` for the clearing up at the end.
    pub before: Option<usize>,
    /// The moves, in the order in which they are made.
    pub moves: &'a [Move],
    /// What else is to be said, in plain sentences (who moves what, a rough time, a break).
    pub notes: &'a [String],
}

/// All that the pages of a concert show.
#[derive(Clone, Copy, Debug)]
pub struct ConcertPages<'a> {
    /// What the concert is called.
    pub title: &'a str,
    /// The room.
    pub kit: &'a Kit,
    /// The songs in playing order.
    pub songs: &'a [SongPage<'a>],
    /// The changeovers in order: before the first song, between neighbours, after the last.
    pub cards: &'a [Card<'a>],
    /// Songs that aren't in it, with the reason.
    pub failed: &'a [(String, String)],
}

/// Which parts of an arrangement need staff notation by how their players read: those who read staff,
/// and every part where the kit names no players.
pub fn needs_staff(kit: &Kit, arrangement: &Arrangement) -> Vec<bool> {
    arrangement
        .parts
        .iter()
        .map(|plan| match plan.player.and_then(|p| kit.players.get(p)) {
            Some(player) => player.reads == Reads::Staff,
            None => true,
        })
        .collect()
}

/// The pack of one song: overview, setup and part pages, score.
pub fn song_pack(song: &SongPage<'_>, options: &PrintOptions) -> String {
    let body = sheets::song(song, options, "s1", None);
    page::document(song.title, body, &[song.staves], options)
}

/// The pack of a concert: programme, changeover cards, then each song.
pub fn concert_pack(concert: &ConcertPages<'_>, options: &PrintOptions) -> String {
    let staves: Vec<&Staves> = concert.songs.iter().map(|s| s.staves).collect();
    page::document(concert.title, set::concert(concert, options), &staves, options)
}

/// The pack of one player (an index into the kit's players): setup and part pages of every song in
/// playing order.
pub fn player_pack(concert: &ConcertPages<'_>, player: usize, options: &PrintOptions) -> String {
    let staves: Vec<&Staves> = concert.songs.iter().map(|s| s.staves).collect();
    let name = concert.kit.players.get(player).map_or("", |p| p.name.as_str());
    let title = format!("{name}: {}", concert.title);
    page::document(&title, set::player(concert, player, options), &staves, options)
}
