//! `concert.txt`: the programme, a card for every changeover, and who plays how much.

use std::fmt::Write as _;

use super::changes::{Changeover, spoken};
use super::document::Programme;
use super::fair::shares;
use crate::kit::Move;

/// The whole text.
pub fn text(programme: &Programme<'_>) -> String {
    let mut out = String::new();
    let title = programme.heading();
    let _ = writeln!(out, "{title}\nRoom: {}\n", programme.kit.name);
    order(&mut out, programme);
    out.push_str("\nCHANGEOVERS\n");
    out.push_str(
        "Lift bars from the end that is on the pegs, never lever them. Times are rough, with one \
         person at each instrument.\n",
    );
    for changeover in programme.changeovers {
        card(&mut out, programme, changeover);
    }
    players(&mut out, programme);
    if !programme.failed.is_empty() {
        out.push_str("\nNOT IN THE CONCERT\n");
        for (song, error) in programme.failed {
            let _ = writeln!(out, "  {song}: {error}");
        }
    }
    out.push_str(
        "\nWhat a player may safely do is for the licensed therapist, teacher or care team and the \
         local rules to decide.\n",
    );
    out
}

fn order(out: &mut String, programme: &Programme<'_>) {
    out.push_str("ORDER\n");
    for (at, song) in programme.songs.iter().enumerate() {
        let _ = writeln!(out, "{:3}  {}, in {}  ({})", at + 1, song.title, song.key, song.folder);
    }
    let moves = programme.moves_total();
    let _ = writeln!(out, "\n{moves} bar moves in all, setting up and clearing included.");
    if programme.order_is_optimal {
        out.push_str("No other order and keys cost less (moves and fit together): proven.\n");
    } else if !programme.keys_are_planned {
        out.push_str(
            "This is a large set: every song is in its own best key, in the order given; order and \
             keys were not planned together.\n",
        );
    } else if let Some(gap) = programme.gap() {
        let _ = writeln!(
            out,
            "Moves and fit cost {:.1} together; nothing below {:.1} is possible in any order and \
             keys, so at most {:.0} % could be saved.",
            programme.cost,
            programme.lower_bound.unwrap_or(0.0),
            100.0 * gap
        );
    } else {
        out.push_str("The keys are the best for this order; the order is as given.\n");
    }
}

/// What a changeover is between: `After "A", before "B"`.
pub fn heading(programme: &Programme<'_>, changeover: &Changeover) -> String {
    let title = |at: Option<usize>| {
        at.and_then(|a| programme.songs.get(a)).map_or("", |s| s.title.as_str())
    };
    let (after, before) = (title(changeover.after), title(changeover.before));
    match (changeover.after, changeover.before) {
        (None, Some(_)) => format!("Setting up for \"{before}\""),
        (Some(_), None) => format!("Clearing up after \"{after}\""),
        (None, None) => "Setting up".to_owned(),
        _ => format!("After \"{after}\", before \"{before}\""),
    }
}

/// Who moves the bars of one instrument, and which: "blue chair, bass-xylophone". Whoever plays it
/// next has it in front of them; else whoever played it last; else whoever is nearest.
pub fn mover(programme: &Programme<'_>, changeover: &Changeover, moves: &[Move]) -> String {
    let instrument = moves.first().and_then(|m| programme.kit.instruments.get(m.instrument));
    let id = instrument.map_or("", |i| i.id.as_str());
    let player = [changeover.before, changeover.after].into_iter().flatten().find_map(|song| {
        let parts = &programme.songs.get(song)?.parts;
        let part = parts.iter().find(|p| p.instrument.as_deref() == Some(id))?;
        part.player.clone()
    });
    format!("{}, {id}", player.as_deref().unwrap_or("whoever is nearest"))
}

/// The card of one changeover: who moves what, low to high, instrument by instrument.
fn card(out: &mut String, programme: &Programme<'_>, changeover: &Changeover) {
    let _ = write!(out, "\n{}: ", heading(programme, changeover));
    match changeover.moves.len() {
        0 => out.push_str("nothing to move"),
        1 => out.push_str("1 move"),
        n => {
            let _ = write!(out, "{n} moves");
        }
    }
    if changeover.seconds() > 0 {
        let _ = write!(out, ", about {} s", changeover.seconds());
    }
    if let Some(minutes) = changeover.break_minutes {
        let _ = write!(out, "; BREAK of {minutes} minutes");
    }
    out.push('\n');
    for moves in changeover.moves.chunk_by(|a, b| a.instrument == b.instrument) {
        let _ = writeln!(out, "  [ ] {}:", mover(programme, changeover, moves));
        for (n, one) in moves.iter().enumerate() {
            let _ = writeln!(out, "      {}. {}", n + 1, spoken(programme.kit, one));
        }
    }
}

fn players(out: &mut String, programme: &Programme<'_>) {
    let shares = shares(programme.kit, programme.songs);
    if shares.is_empty() {
        return;
    }
    out.push_str("\nWHO PLAYS HOW MUCH\n");
    for share in shares {
        let roles: Vec<String> =
            share.roles.iter().map(|(role, times)| format!("{role} {times}")).collect();
        let _ = write!(out, "  {}: an instrument in {} songs", share.player, share.songs);
        if !roles.is_empty() {
            let _ = write!(out, " ({})", roles.join(", "));
        }
        if share.without_instrument > 0 {
            let _ = write!(out, ", sings or rests in {}", share.without_instrument);
        }
        out.push('\n');
    }
}
