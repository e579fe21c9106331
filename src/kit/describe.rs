//! Kits and setups in plain words and as rows of letters, for the terminal and the sheets.

use super::bar::{Bar, Instrument};
use super::catalogue::Size;
use super::fit::counted;
use super::people::Kit;
use super::setup::{Setup, State};
use crate::score::{Key, Mode, PitchClass};

/// What the row of letters shows for a gap, a filler, and after a spare.
const GAP: &str = ".";
/// See [`GAP`].
const FILLER: &str = "=";
/// See [`GAP`].
const SPARE: &str = "*";

/// How [`row`] is read, in one line.
pub const ROW_KEY: &str = "a letter: the bar is on; *: a spare is in; .: taken off; =: a filler";

/// An instrument's bars, low to high, as a row of letters: `C D E F#* G A . C`.
pub fn row(instrument: &Instrument, states: &[State]) -> String {
    let cells: Vec<String> = instrument
        .slots
        .iter()
        .zip(states)
        .map(|(slot, state)| match state {
            State::Keep => slot.bar.letter(),
            State::Swap(bar) => format!("{}{SPARE}", bar.letter()),
            State::Remove => GAP.to_owned(),
            State::Fill => FILLER.to_owned(),
        })
        .collect();
    cells.join(" ")
}

/// A setup as a sentence: `Put F#4 in place of F4; take off B4 and B5; leave the other 12 bars.`
pub fn sentence(instrument: &Instrument, states: &[State]) -> String {
    let mut parts = Vec::new();
    let slots = || instrument.slots.iter().zip(states);
    let swaps: Vec<String> = slots()
        .filter_map(|(slot, state)| match state {
            State::Swap(bar) => Some(format!("{bar} in place of {}", slot.bar)),
            _ => None,
        })
        .collect();
    if !swaps.is_empty() {
        parts.push(format!("put {}", listed(&swaps)));
    }
    let boxes: Vec<String> = slots()
        .filter(|(slot, state)| **state == State::Keep && slot.plain() == State::Remove)
        .map(|(slot, _)| slot.bar.to_string())
        .collect();
    if !boxes.is_empty() {
        parts.push(format!("add {}", listed(&boxes)));
    }
    let of = |wanted: State| -> Vec<String> {
        slots()
            .filter(|(slot, state)| **state == wanted && slot.plain() == State::Keep)
            .map(|(slot, _)| slot.bar.to_string())
            .collect()
    };
    let (off, filled) = (of(State::Remove), of(State::Fill));
    let verb = if instrument.slots.iter().any(|s| s.loose) { "put away" } else { "take off" };
    if !off.is_empty() {
        parts.push(format!("{verb} {}", listed(&off)));
    }
    if !filled.is_empty() {
        parts.push(format!("put a filler in place of {}", listed(&filled)));
    }
    let kept = slots()
        .filter(|(slot, state)| **state == State::Keep && slot.plain() == State::Keep)
        .count();
    let text = match (parts.is_empty(), kept) {
        (true, 0) => "No bar stays".to_owned(),
        (true, n) => format!("Leave all {} as they are", counted(n, "bar")),
        (false, 0) => parts.join("; "),
        (false, 1) => format!("{}; leave the other bar", parts.join("; ")),
        (false, n) => format!("{}; leave the other {}", parts.join("; "), counted(n, "bar")),
    };
    format!("{}.", capital(&text))
}

/// `a`, `a and b`, `a, b and c`.
pub(super) fn listed(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

/// A text with its first letter as a capital.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |c| c.to_uppercase().chain(letters).collect())
}

/// `kit show`: each instrument as its row of bars, spares beside it; then the players.
pub fn show(kit: &Kit) -> String {
    let mut text = format!("{}\n", kit.name);
    text.push_str(&format!(
        "{}, {}; singing {} to {}\n",
        counted(kit.instruments.len(), "instrument"),
        counted(kit.players.len(), "player"),
        kit.singing.0,
        kit.singing.1
    ));
    for at in &kit.instruments {
        text.push('\n');
        text.push_str(&show_instrument(at));
    }
    if !kit.players.is_empty() {
        text.push_str("\nPlayers\n");
    }
    for player in &kit.players {
        let on = match player.instruments.is_empty() {
            true => "any instrument".to_owned(),
            false => listed(&player.instruments),
        };
        text.push_str(&format!(
            "  {}: {on}; {}, up to {} strikes a minute, {}, reads {}\n",
            player.name,
            counted(usize::from(player.mallets), "mallet"),
            player.strikes_per_minute,
            player.position.name(),
            match player.reads.name() {
                "ear" => "nothing, plays by ear",
                word => word,
            }
        ));
    }
    text
}

fn show_instrument(at: &Instrument) -> String {
    let ends = match (at.slots.first(), at.slots.last()) {
        (Some(low), Some(high)) => format!("{} to {}", low.bar, high.bar),
        _ => "no bars".to_owned(),
    };
    let cells: Vec<String> = at
        .slots
        .iter()
        .map(|slot| match slot.lost {
            true => format!("({})", slot.bar.letter()),
            false => slot.bar.letter(),
        })
        .collect();
    let spares: Vec<String> = at.slots.iter().flat_map(|s| &s.spares).map(Bar::to_string).collect();
    let lost: Vec<String> = at.slots.iter().filter(|s| s.lost).map(|s| s.bar.to_string()).collect();
    let mut text = format!("{} [{}]  {ends}\n  {}", capital(&at.name), at.id, cells.join(" "));
    if !spares.is_empty() {
        text.push_str(&format!("   spares: {}", spares.join(" ")));
    }
    text.push('\n');
    if !lost.is_empty() {
        text.push_str(&format!("  lost, in brackets: {}\n", lost.join(" ")));
    }
    text.push_str(&format!(
        "  mallets: {}; fillers: {}\n",
        at.mallet(),
        if at.fillers { "at hand" } else { "none" }
    ));
    text
}

/// `kit check`: what a kit can and can't do.
pub fn report(kit: &Kit) -> String {
    let mut text = format!(
        "{}: no fault found; {}, {}.\n",
        kit.name,
        counted(kit.instruments.len(), "instrument"),
        counted(kit.players.len(), "player")
    );
    let names = |wanted: &dyn Fn(&Instrument) -> bool| -> Vec<String> {
        kit.instruments.iter().filter(|i| wanted(i)).map(|i| i.name.clone()).collect()
    };
    text.push_str("\nWhat it can carry (one part to an instrument)\n");
    // Handbook, "Parts": the melody on alto and soprano xylophones and glockenspiels, drones on bass
    // or alto instruments, colour on glockenspiels and metallophones.
    let melodies = names(&|i| i.melody_cost().is_some() && i.size() != Size::Large);
    let drones = names(&|i| i.size() != Size::Small && !i.drone_roots().is_empty());
    let colours = names(&|i| i.rings() && i.size() != Size::Large);
    for (what, who) in [("melodies", melodies), ("drones", drones), ("colour parts", colours)] {
        match who.is_empty() {
            true => text.push_str(&format!("  {what}: none\n")),
            false => {
                text.push_str(&format!("  {what}: up to {} ({})\n", who.len(), who.join(", ")))
            }
        }
    }
    text.push_str("\nKeys with every note in place, from the lowest to the highest bar\n");
    // Instruments that can show the same keys are named together.
    let mut groups: Vec<(String, Vec<String>)> = Vec::new();
    for at in &kit.instruments {
        let keys = keys_of(at);
        match groups.iter_mut().find(|g| g.0 == keys) {
            Some((_, names)) => names.push(at.name.clone()),
            None => groups.push((keys, vec![at.name.clone()])),
        }
    }
    let several = groups.len() > 1;
    for (keys, names) in groups {
        text.push_str(&format!("  {}\n{keys}", capital(&listed(&names))));
    }
    let common: Vec<Key> = common_keys(kit);
    if several {
        match common.is_empty() {
            true => text.push_str("  All together: no key\n"),
            false => text.push_str(&format!("  All together: {}\n", by_mode(&common).join("; "))),
        }
    }
    let hints = hints(kit);
    if !hints.is_empty() {
        text.push_str("\nTo mind\n");
        for hint in hints {
            text.push_str(&format!("  {hint}\n"));
        }
    }
    text
}

/// The keys that every instrument can show.
fn common_keys(kit: &Kit) -> Vec<Key> {
    let mut lists = kit.instruments.iter().map(Instrument::keys);
    let mut common = lists.next().unwrap_or_default();
    for keys in lists {
        common.retain(|k| keys.contains(k));
    }
    common
}

fn keys_of(at: &Instrument) -> String {
    let mut text = String::new();
    let keys = by_mode(&at.keys());
    match keys.is_empty() {
        true => text.push_str("    no whole key\n"),
        false => text.push_str(&format!("    {}\n", keys.join("; "))),
    }
    let classes = |list: Vec<PitchClass>| {
        let names: Vec<String> =
            list.iter().map(|c| Key::on(*c, Mode::Major).tonic.to_string()).collect();
        names.join(" ")
    };
    let (plain, all) = (at.pentatonics(true), at.pentatonics(false));
    let more: Vec<PitchClass> = all.into_iter().filter(|c| !plain.contains(c)).collect();
    if !plain.is_empty() {
        text.push_str(&format!("    pentatonic without spares, do on {}", classes(plain)));
        if !more.is_empty() {
            text.push_str(&format!("; with spares also {}", classes(more)));
        }
        text.push('\n');
    } else if !more.is_empty() {
        text.push_str(&format!("    pentatonic with spares, do on {}\n", classes(more)));
    }
    text
}

/// `C, F, G major`.
fn by_mode(keys: &[Key]) -> Vec<String> {
    Mode::ALL
        .iter()
        .filter_map(|mode| {
            let mut tonics: Vec<_> =
                keys.iter().filter(|k| k.mode == *mode).map(|k| k.tonic).collect();
            tonics.sort();
            let names: Vec<String> = tonics.iter().map(ToString::to_string).collect();
            (!names.is_empty()).then(|| format!("{} {mode}", names.join(" ")))
        })
        .collect()
}

fn hints(kit: &Kit) -> Vec<String> {
    let mut hints = Vec::new();
    for at in &kit.instruments {
        let lost: Vec<String> =
            at.slots.iter().filter(|s| s.lost).map(|s| s.bar.to_string()).collect();
        if !lost.is_empty() {
            hints.push(format!("The {} lacks {}.", at.name, listed(&lost)));
        }
        if !kit.players.is_empty() && !kit.players.iter().any(|p| p.may_play(at)) {
            hints.push(format!("No player may play the {}.", at.name));
        }
    }
    let large = kit.instruments.iter().any(|i| i.size() == Size::Large);
    if !large {
        hints.push("There is no bass: drones go to an alto instrument.".to_owned());
    }
    if kit.instruments.iter().all(|i| i.melody_cost().is_none()) {
        hints.push("No instrument may carry a melody: every tune is sung.".to_owned());
    }
    if kit.players.len() > kit.instruments.len() {
        hints.push(format!(
            "{} for {}: some share or sing.",
            counted(kit.players.len(), "player"),
            counted(kit.instruments.len(), "instrument")
        ));
    }
    hints
}

/// What to do to the bars of one setup, in two lines: the sentence and the row of letters.
pub(super) fn setup_lines(kit: &Kit, setup: &Setup) -> String {
    let Some(at) = kit.instruments.get(setup.instrument) else { return String::new() };
    format!(
        "  {}: {}\n    {}\n",
        capital(&at.name),
        sentence(at, &setup.states),
        row(at, &setup.states)
    )
}
