//! The packs of a concert that was planned as a whole: one with everything, and one for each player.

use std::collections::HashSet;

use super::concert_song::{Ready, Sheet};
use super::files;
use crate::concert::{self, Changeover, Programme};
use crate::kit::Kit;
use crate::print::{self, Card, ConcertPages, PrintOptions, SongPage};

/// The packs as HTML.
pub(super) struct Packs {
    /// Programme, changeover cards, every song.
    pub(super) whole: String,
    /// File name without its ending, and the pack, for each player of the kit.
    pub(super) players: Vec<(String, String)>,
}

/// Makes the packs; `sheets` are in playing order.
pub(super) fn packs(
    programme: &Programme<'_>,
    sheets: &[(Ready, Sheet)],
    options: &PrintOptions,
) -> Packs {
    let warnings: Vec<Vec<String>> = sheets.iter().map(|(r, _)| r.song.warnings()).collect();
    let songs: Vec<SongPage<'_>> = sheets
        .iter()
        .zip(&warnings)
        .map(|((ready, sheet), warnings)| SongPage {
            title: &ready.song.title,
            composer: &ready.song.imported.score.composer,
            source: &ready.song.source,
            analysis: &ready.song.analysis,
            kit: programme.kit,
            arrangement: &sheet.arrangement,
            staves: &sheet.staves,
            warnings,
        })
        .collect();
    let notes: Vec<Vec<String>> =
        programme.changeovers.iter().map(|c| notes(programme, c)).collect();
    let cards: Vec<Card<'_>> = programme
        .changeovers
        .iter()
        .zip(&notes)
        .map(|(c, notes)| Card { after: c.after, before: c.before, moves: &c.moves, notes })
        .collect();
    let pages = ConcertPages {
        title: programme.heading(),
        kit: programme.kit,
        songs: &songs,
        cards: &cards,
        failed: programme.failed,
    };
    let players = file_names(programme.kit)
        .into_iter()
        .enumerate()
        .map(|(player, name)| (name, print::player_pack(&pages, player, options)))
        .collect();
    Packs { whole: print::concert_pack(&pages, options), players }
}

/// What else a card says: a break, who moves the bars, how long it takes.
fn notes(programme: &Programme<'_>, changeover: &Changeover) -> Vec<String> {
    let mut notes = Vec::new();
    if let Some(minutes) = changeover.break_minutes {
        notes.push(format!("Break of {minutes} minutes."));
    }
    if !changeover.moves.is_empty() {
        let movers: Vec<String> = changeover
            .moves
            .chunk_by(|a, b| a.instrument == b.instrument)
            .map(|moves| concert::mover(programme, changeover, moves))
            .collect();
        notes.push(format!("Who moves what: {}.", movers.join("; ")));
        notes.push(format!(
            "About {} seconds with one person at each instrument.",
            changeover.seconds()
        ));
    }
    notes
}

/// A file name for each player: plain ASCII letters, so that no name leads out of the folder, and no
/// two alike.
fn file_names(kit: &Kit) -> Vec<String> {
    let mut taken = HashSet::new();
    let mut name_of = |name: &str| {
        let slug = files::slug_or(name, "player");
        let free = files::numbered(&slug).find(|name| taken.insert(name.clone()));
        free.unwrap_or(slug)
    };
    kit.players.iter().map(|p| name_of(&p.name)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn odd_names_make_safe_files_no_two_alike() {
        let mut kit = crate::kit::starter();
        let text = "name = \"r\"\n[[instrument]]\nid = \"b\"\nkind = \"bass xylophone\"\n";
        let names = ["blue/chair", "blue chair", "../..", "مريم", "<script>", "blue chair 2"];
        let players: String =
            names.iter().map(|n| format!("[[player]]\nname = \"{n}\"\n")).collect();
        kit.players = Kit::parse(&format!("{text}{players}")).unwrap().players;
        let made = file_names(&kit);
        assert_eq!(
            made,
            ["blue-chair", "blue-chair-2", "player", "player-2", "script", "blue-chair-2-2"]
        );
    }
}
