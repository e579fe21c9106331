//! `setup.txt`: the room set up from a sheet of plain text, instrument by instrument.

use std::fmt::Write as _;

use crate::arrange::Arrangement;
use crate::kit::{self, GENERAL_CAUTIONS, Kit, ROW_KEY, Setup, State};

/// The sheet for one song.
pub fn write(title: &str, kit: &Kit, arrangement: &Arrangement) -> String {
    let mut text = String::new();
    // Writing to a String can't fail.
    let _ =
        writeln!(text, "{title}: bars to set up\nRoom: {}. Key: {}.", kit.name, arrangement.key);
    let moves: usize = arrangement.setups.iter().map(|s| s.moves(kit).len()).sum();
    let _ = writeln!(
        text,
        "{moves} bars to move in all, counted from the plain white bars.\n\nHow the rows are read, low bars left. {}.",
        kit::capital(ROW_KEY)
    );
    for setup in &arrangement.setups {
        one(&mut text, kit, arrangement, setup);
    }
    for change in &arrangement.setup_changes {
        let Some(at) = kit.instruments.get(change.setup.instrument) else { continue };
        let measure = arrangement.score.measure_at(change.at).map_or("?", |m| m.number.as_str());
        let _ = writeln!(
            text,
            "\nBefore measure {measure}, {}: {}\n  {}",
            at.name,
            kit::sentence(at, &change.setup.states),
            kit::row(at, &change.setup.states)
        );
    }
    cautions(&mut text, kit, arrangement);
    text
}

fn one(text: &mut String, kit: &Kit, arrangement: &Arrangement, setup: &Setup) {
    let Some(at) = kit.instruments.get(setup.instrument) else { return };
    let _ = writeln!(text, "\n{}", at.name.to_uppercase());
    for plan in arrangement.parts.iter().filter(|p| p.instrument == Some(setup.instrument)) {
        let who = plan.player.and_then(|p| kit.players.get(p));
        let who = who.map(|p| format!(", played by {}", p.name)).unwrap_or_default();
        let role = plan.role.name();
        // The pattern of a melody begins with its role's own name: "melody by turns".
        let pattern = match plan.pattern.strip_prefix(role).unwrap_or(&plan.pattern).trim() {
            "" => String::new(),
            pattern => format!(" ({pattern})"),
        };
        let _ = writeln!(text, "  Part:     {role}{pattern}{who}");
    }
    let _ = writeln!(text, "  Bars:     {}", kit::row(at, &setup.states));
    let of = |wanted: fn(&State) -> bool| -> String {
        let names: Vec<String> = at
            .slots
            .iter()
            .zip(&setup.states)
            // A bar that is lost, or that stays in its box, is nobody's to take off.
            .filter(|(slot, state)| {
                wanted(state) && (**state != State::Remove || slot.plain() != State::Remove)
            })
            .map(|(slot, state)| match state {
                State::Swap(bar) => format!("{bar} in place of {}", slot.bar),
                _ => slot.bar.to_string(),
            })
            .collect();
        names.join(", ")
    };
    let lists = [
        ("Keep", of(|s| *s == State::Keep)),
        ("Swap in", of(|s| matches!(s, State::Swap(_)))),
        ("Take off", of(|s| *s == State::Remove)),
        ("Fill", of(|s| *s == State::Fill)),
    ];
    for (label, names) in lists.iter().filter(|(_, names)| !names.is_empty()) {
        let label = format!("{label}:");
        let _ = writeln!(text, "  {label:<9} {names}");
    }
    let _ = writeln!(text, "  Mallets:  {}", at.mallet());
}

/// Every caution once, with the instruments it is for; those for all stand last.
fn cautions(text: &mut String, kit: &Kit, arrangement: &Arrangement) {
    let mut said: Vec<(&str, Vec<&str>)> = Vec::new();
    for setup in &arrangement.setups {
        let Some(at) = kit.instruments.get(setup.instrument) else { continue };
        for caution in &setup.cautions {
            match said.iter_mut().find(|s| s.0 == caution) {
                Some((_, names)) if names.contains(&at.name.as_str()) => {}
                Some((_, names)) => names.push(&at.name),
                None => said.push((caution, vec![&at.name])),
            }
        }
    }
    text.push_str("\nMIND\n");
    let all = arrangement.setups.len();
    said.sort_by_key(|s| s.1.len() == all);
    for (caution, names) in said {
        let who = match names.len() {
            n if n == all => "All instruments".to_owned(),
            _ => kit::capital(&names.join(", ")),
        };
        let _ = writeln!(text, "  - {who}. {caution}");
    }
    for caution in GENERAL_CAUTIONS {
        let _ = writeln!(text, "  - {caution}");
    }
}
