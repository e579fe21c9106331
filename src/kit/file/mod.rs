//! The kit file: TOML in, a [`Kit`] out, or every fault of it at once.
//!
//! | table | key | what it says | left out |
//! |---|---|---|---|
//! | (top) | `name` | the group's name | `kit` |
//! | | `singing` | `{ low = "C4", high = "D5" }`: comfortable singing range | C4 to D5 |
//! | | `[weights]` | what counts how much in the fit's cost; see [`Weights`](super::Weights) | the defaults |
//! | | `[marks]` | a colour or symbol of the kit's own by bar (`"F#" = "#c00"`, `C4 = { color = "teal", symbol = "A" }`) | none |
//! | `[[instrument]]` | `kind` | a kind of the catalogue, or `custom`; must be there | |
//! | | `id` | unique; used in file names | the kind's words, numbered |
//! | | `name` | what the sheets call it | the kind, numbered among several |
//! | | `range` | `"C3-A4"`: lowest to highest bar | the kind's |
//! | | `bars` | its bars one by one, instead of `range` | |
//! | | `chromatic` | `true`: a second row holds every black-note bar within the range | `false` |
//! | | `loose` | `true`: each bar on its own box, any beside any | the kind's |
//! | | `spares` | its spare bars; `{ bar = "Eb4", slot = "D4" }` where one stands elsewhere than usual | F♯ and B♭ for each F and B |
//! | | `missing` | bars lost or broken | none |
//! | | `fillers` | card fillers are at hand | `false` |
//! | | `like` | custom only: the kind whose mallets, sound and cautions it shares | wood, middle size |
//! | | `octave_shift` | octaves by which it sounds above what is written | the kind's |
//! | | `melody` | `true`: carries the melody at no cost; `false`: never | the kind's cost |
//! | | `mallets` | its mallets in your words | the kind's |
//! | | `marks` | as the kit's, for this instrument alone | the kit's |
//! | `[[player]]` | `name` | no real name needed; must be there, unique | |
//! | | `instruments` | ids that the player may play; empty: any | any |
//! | | `mallets` | 1 or 2 | 2 |
//! | | `strikes_per_minute` | fastest comfortable | 240 with two mallets, 120 with one |
//! | | `position` | floor, seated, standing, wheelchair, bed | seated |
//! | | `reads` | staff, letters, ear | letters |

mod fault;
mod instrument;
mod reader;

use std::collections::HashSet;

pub use fault::{KitError, KitErrors, Pos};
use reader::{Reader, Value};
use toml::de::{DeTable, DeValue};

use super::bar::Mark;
use super::cost::Weights;
use super::people::{Kit, Player, Position, Reads};
use crate::score::{NoteName, Pitch};

/// Most instruments, and most players, that a kit file may name: far more than a room holds, few
/// enough for the exact searches.
pub const MAX_OF_A_KIND: usize = 64;

/// Heaviest weight that a kit file may give.
const MAX_WEIGHT: f64 = 1000.0;

/// Fastest rate, in strikes a minute, that a kit file may give: faster than any hands.
const MAX_STRIKES: f64 = 2000.0;

/// The starter kit as a kit file: one of each of the eight soprano, alto and bass kinds and a second
/// alto xylophone, with the catalogue's bars and spares.
pub fn starter_toml() -> &'static str {
    include_str!("starter.toml")
}

/// The starter kit; the same as [`Kit::starter`].
pub fn starter() -> Kit {
    Kit::starter()
}

impl Kit {
    /// The starter kit; see [`starter_toml`].
    pub fn starter() -> Kit {
        // A test checks that the built-in text reads without a fault.
        Kit::parse(starter_toml()).unwrap_or_else(|_| Kit::empty("starter kit"))
    }

    /// Reads a kit file. The keys are in the table at the head of this file's documentation (README,
    /// "The kit file").
    ///
    /// # Errors
    /// Every fault of the file with line and column: text that is no TOML, unknown keys and words with
    /// the nearest allowed one, bars that can't be, names given twice.
    pub fn parse(text: &str) -> Result<Kit, KitErrors> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let (tree, errors) = DeTable::parse_recoverable(text);
        let mut reader = Reader::new(text);
        for error in &errors {
            let at = reader.pos(error.span().map_or(0, |s| s.start));
            let what = error.message().replace('\n', " ");
            reader.faults.push(KitError::Syntax { at, what });
        }
        // What follows a syntax fault is guesswork; its faults would mislead.
        if !errors.is_empty() {
            return Err(KitErrors(reader.faults));
        }
        let kit = read(&mut reader, tree.get_ref());
        let mut faults = reader.faults;
        if faults.is_empty() {
            return Ok(kit);
        }
        faults.sort_by_key(KitError::at);
        Err(KitErrors(faults))
    }
}

fn read<'i>(reader: &mut Reader<'i>, top: &DeTable<'i>) -> Kit {
    let mut kit = Kit::empty("kit");
    let mut marks = Vec::new();
    let (mut instruments, mut players) = (Vec::new(), Vec::new());
    let keys = ["name", "singing", "weights", "marks", "instrument", "player"];
    for (key, value) in reader.entries(top, "the kit file", &keys) {
        match key {
            "name" => {
                if let Some(name) = reader.string(value, key) {
                    kit.name = name.to_owned();
                }
            }
            "singing" => {
                if let Some(range) = singing(reader, value) {
                    kit.singing = range;
                }
            }
            "weights" => kit.weights = weights(reader, value),
            "marks" => marks = read_marks(reader, value),
            "instrument" => instruments = tables(reader, value, key),
            _ => players = tables(reader, value, key),
        }
    }
    if instruments.is_empty() && reader.faults.is_empty() {
        let at = reader.pos(0);
        reader.faults.push(KitError::MissingKey {
            at,
            place: "the kit file".to_owned(),
            key: "[[instrument]]",
            wanted: "at least one, such as kind = \"alto xylophone\"",
        });
    }
    let given = instrument::read_all(reader, &instruments, &marks, &mut kit);
    for (value, table) in players {
        if let Some(player) = read_player(reader, value, table, &kit, &given) {
            kit.players.push(player);
        }
    }
    kit
}

/// A mark with the bars it is for: a name at every octave, or at one.
type NamedMark = (NoteName, Option<Pitch>, Mark);

/// The tables of a `[[list]]`.
fn tables<'i, 't>(
    reader: &mut Reader<'i>,
    value: &'t Value<'i>,
    key: &str,
) -> Vec<(&'t Value<'i>, &'t DeTable<'i>)> {
    const WANTED: &str = "a table of its own, headed by [[instrument]] or [[player]]";
    let mut found = Vec::new();
    for item in reader.list(value, key, WANTED) {
        if let Some(table) = reader.table(item, key, WANTED) {
            found.push((item, table));
        }
    }
    if found.len() > MAX_OF_A_KIND {
        reader.bad(value, key, "named at most 64 times");
        found.truncate(MAX_OF_A_KIND);
    }
    found
}

fn singing<'i>(reader: &mut Reader<'i>, value: &Value<'i>) -> Option<(Pitch, Pitch)> {
    let table = reader.table(value, "singing", "{ low = \"C4\", high = \"D5\" }")?;
    let (mut low, mut high) = Kit::USUAL_SINGING;
    let faults = reader.faults.len();
    for (key, value) in reader.entries(table, "singing", &["low", "high"]) {
        let Some(pitch) = reader.pitch(value, key) else { continue };
        if key == "low" { low = pitch } else { high = pitch }
    }
    if reader.faults.len() == faults && low.midi() > high.midi() {
        reader.bad(value, "singing", "a range whose low is no higher than its high");
    }
    Some((low, high))
}

fn weights<'i>(reader: &mut Reader<'i>, value: &Value<'i>) -> Weights {
    let mut weights = Weights::default();
    let Some(table) = reader.table(value, "weights", "a table headed by [weights]") else {
        return weights;
    };
    let names: Vec<&str> = weights.named().iter().map(|w| w.0).collect();
    for (key, value) in reader.entries(table, "weights", &names) {
        if let Some(n) = reader.number(value, key, (0.0, MAX_WEIGHT), "a number from 0 to 1000") {
            weights.set(key, n);
        }
    }
    weights
}

fn read_marks<'i>(reader: &mut Reader<'i>, value: &Value<'i>) -> Vec<NamedMark> {
    let mut marks = Vec::new();
    let wanted = "a table of bars, such as { C = \"#c00\", \"F#\" = { symbol = \"A\" } }";
    let Some(table) = reader.table(value, "marks", wanted) else { return marks };
    for (key, value) in table {
        let text: &str = key.get_ref();
        let at_pitch = text.parse::<Pitch>().ok();
        let Some(name) = at_pitch.map(|p| p.name).or_else(|| text.parse().ok()) else {
            let at = reader.at(key);
            reader.faults.push(KitError::BadValue {
                at,
                key: text.to_owned(),
                wanted: "a bar's name such as C, F# or Bb4",
            });
            continue;
        };
        marks.push((name, at_pitch, read_mark(reader, value, text)));
    }
    marks
}

fn read_mark<'i>(reader: &mut Reader<'i>, value: &Value<'i>, bar: &str) -> Mark {
    let mut mark = Mark::default();
    match value.get_ref() {
        DeValue::String(text) if text.starts_with('#') && text.len() > 1 => {
            mark.color = color(reader, value, bar);
        }
        DeValue::String(_) => mark.symbol = symbol(reader, value, bar),
        DeValue::Table(table) => {
            for (key, value) in reader.entries(table, "marks", &["color", "symbol"]) {
                match key {
                    "color" => mark.color = color(reader, value, key),
                    _ => mark.symbol = symbol(reader, value, key),
                }
            }
        }
        _ => reader.bad(value, bar, "a colour such as \"#c00\", a symbol, or both in { }"),
    }
    mark
}

fn color<'i>(reader: &mut Reader<'i>, value: &Value<'i>, key: &str) -> Option<String> {
    let text = reader.string(value, key)?;
    let good = match text.strip_prefix('#') {
        Some(hex) => matches!(hex.len(), 3 | 6) && hex.chars().all(|c| c.is_ascii_hexdigit()),
        None => text.len() <= 24 && text.chars().all(|c| c.is_ascii_alphabetic()),
    };
    if !good {
        reader.bad(value, key, "a colour: #rgb, #rrggbb or a colour's name in letters");
    }
    good.then(|| text.to_owned())
}

fn symbol<'i>(reader: &mut Reader<'i>, value: &Value<'i>, key: &str) -> Option<String> {
    let text = reader.string(value, key)?;
    let good = text.chars().count() <= 4 && !text.chars().any(char::is_control);
    if !good {
        reader.bad(value, key, "a symbol of at most four characters");
    }
    good.then(|| text.to_owned())
}

fn read_player<'i>(
    reader: &mut Reader<'i>,
    value: &Value<'i>,
    table: &DeTable<'i>,
    kit: &Kit,
    given: &[String],
) -> Option<Player> {
    let mut player = Player::new("");
    let keys = ["name", "instruments", "mallets", "strikes_per_minute", "position", "reads"];
    let positions = Position::ALL.map(|p| (p.name(), p));
    let reads = Reads::ALL.map(|r| (r.name(), r));
    let mut named = None;
    let mut rate = None;
    for (key, value) in reader.entries(table, "player", &keys) {
        match key {
            "name" => {
                named = Some(value);
                player.name = reader.string(value, key).unwrap_or_default().to_owned();
            }
            "instruments" => player.instruments = ids(reader, value, given),
            "mallets" => {
                if let Some(n) = reader.whole(value, key, (1, 2), "1 or 2") {
                    player.mallets = n.unsigned_abs();
                }
            }
            "strikes_per_minute" => {
                let wanted = "a number from 1 to 2000";
                rate = reader.number(value, key, (1.0, MAX_STRIKES), wanted);
            }
            "position" => {
                if let Some(p) = reader.word(value, key, "position", &positions) {
                    player.position = p;
                }
            }
            _ => {
                if let Some(r) = reader.word(value, key, "way of reading", &reads) {
                    player.reads = r;
                }
            }
        }
    }
    player.strikes_per_minute =
        rate.unwrap_or_else(|| Player::usual_strikes_per_minute(player.mallets));
    match named {
        None => {
            let at = reader.at(value);
            reader.faults.push(KitError::MissingKey {
                at,
                place: "a player".to_owned(),
                key: "name",
                wanted: "any word that the group knows the player by",
            });
        }
        Some(value) if kit.players.iter().any(|p| p.name == player.name) => {
            let at = reader.at(value);
            let what = format!("player `{}`", player.name);
            reader.faults.push(KitError::Twice { at, what, todo: "give each a name of its own" });
        }
        Some(_) => {}
    }
    Some(player)
}

/// Ids of instruments, of those that are given away.
fn ids<'i>(reader: &mut Reader<'i>, value: &Value<'i>, given: &[String]) -> Vec<String> {
    let known: Vec<(&str, &str)> = given.iter().map(|id| (id.as_str(), id.as_str())).collect();
    let mut ids = Vec::new();
    let mut seen = HashSet::new();
    for item in reader.list(value, "instruments", "a list of instrument ids") {
        if let Some(id) = reader.word(item, "instruments", "instrument id", &known)
            && seen.insert(id)
        {
            ids.push(id.to_owned());
        }
    }
    ids
}
