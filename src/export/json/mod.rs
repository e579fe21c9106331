//! The JSON documents: their types, apart from the model, and how the model fills them.

mod arrangement;
mod fit;
mod inspect;

use serde::Serialize;

use crate::arrange::Arrangement;
use crate::kit::{Kit, Setup, SetupChange, State};
use crate::score::{Key, NoteName, Time};

pub use arrangement::{ArrangementJson, arrangement};
pub use fit::{Fits, SongFit, fits, song_fit};
pub use inspect::{Inspection, inspect};

/// The version of every document's form.
const FORMAT: u32 = 1;

/// A key as the documents write it.
#[derive(Serialize)]
struct KeyJson {
    tonic: NoteName,
    mode: &'static str,
}

impl From<Key> for KeyJson {
    fn from(key: Key) -> KeyJson {
        KeyJson { tonic: key.tonic, mode: key.mode.name() }
    }
}

/// A setup as the documents write it.
#[derive(Serialize)]
pub struct SetupJson<'a> {
    instrument: &'a str,
    kind: &'static str,
    bars: Vec<BarJson>,
    counts: CountsJson,
    mallet: &'a str,
    cautions: &'a [String],
}

#[derive(Serialize)]
struct BarJson {
    slot: String,
    state: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    bar: Option<String>,
}

#[derive(Serialize)]
struct CountsJson {
    keep: usize,
    swap: usize,
    remove: usize,
    fill: usize,
}

/// A setup's document; `None` where the kit hasn't the instrument.
fn setup<'a>(kit: &'a Kit, setup: &'a Setup) -> Option<SetupJson<'a>> {
    let at = kit.instruments.get(setup.instrument)?;
    let counts = setup.counts();
    Some(SetupJson {
        instrument: &at.id,
        kind: at.kind.name(),
        bars: at
            .slots
            .iter()
            .zip(&setup.states)
            .map(|(slot, state)| BarJson {
                slot: slot.bar.to_string(),
                state: state.name(),
                bar: match state {
                    State::Keep => Some(slot.bar.to_string()),
                    State::Swap(bar) => Some(bar.to_string()),
                    State::Remove | State::Fill => None,
                },
            })
            .collect(),
        counts: CountsJson {
            keep: counts.keep,
            swap: counts.swap,
            remove: counts.remove,
            fill: counts.fill,
        },
        mallet: at.mallet(),
        cautions: &setup.cautions,
    })
}

#[derive(Serialize)]
struct SetupChangeJson<'a> {
    at: Time,
    setup: SetupJson<'a>,
}

fn changes<'a>(kit: &'a Kit, changes: &'a [SetupChange]) -> Vec<SetupChangeJson<'a>> {
    changes
        .iter()
        .filter_map(|c| Some(SetupChangeJson { at: c.at, setup: setup(kit, &c.setup)? }))
        .collect()
}

/// What `setup.json` holds.
#[derive(Serialize)]
pub struct Setups<'a> {
    format: u32,
    song: &'a str,
    kit: &'a str,
    setups: Vec<SetupJson<'a>>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    setup_changes: Vec<SetupChangeJson<'a>>,
}

/// The document of an arrangement's setups.
pub fn setups<'a>(song: &'a str, kit: &'a Kit, arrangement: &'a Arrangement) -> Setups<'a> {
    Setups {
        format: FORMAT,
        song,
        kit: &kit.name,
        setups: arrangement.setups.iter().filter_map(|s| setup(kit, s)).collect(),
        setup_changes: changes(kit, &arrangement.setup_changes),
    }
}
