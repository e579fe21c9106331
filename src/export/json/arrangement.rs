//! The document of `arrangement.json`.

use serde::Serialize;

use super::{FORMAT, KeyJson, SetupChangeJson, SetupJson, changes, setup};
use crate::arrange::Arrangement;
use crate::kit::Kit;
use crate::score::{Interval, Pitch, Time};

/// What `arrangement.json` holds.
#[derive(Serialize)]
pub struct ArrangementJson<'a> {
    format: u32,
    song: &'a str,
    source: &'a str,
    kit: &'a str,
    key: KeyJson,
    transpose: Interval,
    tempo: f64,
    parts: Vec<PlayedPart<'a>>,
    setups: Vec<SetupJson<'a>>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    setup_changes: Vec<SetupChangeJson<'a>>,
    checks: Vec<CheckJson<'a>>,
    leader_note: &'a [String],
}

#[derive(Serialize)]
struct PlayedPart<'a> {
    id: &'a str,
    instrument: Option<&'a str>,
    player: Option<&'a str>,
    role: &'static str,
    pattern: &'a str,
    octave_shift: i8,
    notes: Vec<Strike>,
    #[serde(skip_serializing_if = "<[String]>::is_empty")]
    changes: &'a [String],
}

#[derive(Serialize)]
struct Strike {
    onset: Time,
    duration: Time,
    midi: i16,
    pitch: Pitch,
    #[serde(skip_serializing_if = "Option::is_none")]
    hand: Option<char>,
}

#[derive(Serialize)]
struct CheckJson<'a> {
    check: &'a str,
    passed: bool,
    detail: &'a str,
}

/// The document of an arrangement. `song` is its title, `source` the file it was made from.
pub fn arrangement<'a>(
    song: &'a str,
    source: &'a str,
    kit: &'a Kit,
    arrangement: &'a Arrangement,
) -> ArrangementJson<'a> {
    ArrangementJson {
        format: FORMAT,
        song,
        source,
        kit: &kit.name,
        key: arrangement.key.into(),
        transpose: arrangement.transpose,
        tempo: arrangement.tempo,
        parts: arrangement
            .parts
            .iter()
            .filter_map(|plan| {
                let part = arrangement.score.parts.get(plan.part)?;
                let instrument = plan.instrument.and_then(|i| kit.instruments.get(i));
                Some(PlayedPart {
                    id: &part.id,
                    instrument: instrument.map(|i| i.id.as_str()),
                    player: plan.player.and_then(|p| kit.players.get(p)).map(|p| p.name.as_str()),
                    role: plan.role.name(),
                    pattern: &plan.pattern,
                    octave_shift: plan.octave_shift,
                    notes: part
                        .notes
                        .iter()
                        .map(|n| Strike {
                            onset: n.onset,
                            duration: n.duration,
                            midi: n.midi().number(),
                            pitch: n.pitch,
                            hand: n.hand.map(|h| h.letter()),
                        })
                        .collect(),
                    changes: &plan.changes,
                })
            })
            .collect(),
        setups: arrangement.setups.iter().filter_map(|s| setup(kit, s)).collect(),
        setup_changes: changes(kit, &arrangement.setup_changes),
        checks: arrangement
            .checks
            .iter()
            .map(|c| CheckJson { check: &c.check, passed: c.passed, detail: &c.detail })
            .collect(),
        leader_note: &arrangement.leader_note,
    }
}
