//! The document of `fit --json`.

use serde::Serialize;

use super::{FORMAT, KeyJson, SetupChangeJson, SetupJson, changes, setup};
use crate::import::Melody;
use crate::kit::{Fit, FitOption, Kit};
use crate::score::{Interval, Pitch, Score, Time};

/// One song of `fit --json`.
#[derive(Serialize)]
pub struct SongFit<'a> {
    song: &'a str,
    verdict: &'static str,
    options: Vec<OptionJson<'a>>,
}

#[derive(Serialize)]
struct OptionJson<'a> {
    transpose: Interval,
    key: KeyJson,
    cost: f64,
    melody: Option<CarrierJson<'a>>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    carriers: Vec<CarrierJson<'a>>,
    setups: Vec<SetupJson<'a>>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    setup_changes: Vec<SetupChangeJson<'a>>,
    missing: &'a [Pitch],
    changed_notes: usize,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    changes: Vec<ChangeJson<'a>>,
    singing: SingingJson,
    why: &'a str,
}

#[derive(Serialize)]
struct CarrierJson<'a> {
    instrument: &'a str,
    octave_shift: i8,
    #[serde(skip_serializing_if = "Option::is_none")]
    from_note: Option<usize>,
}

#[derive(Serialize)]
struct ChangeJson<'a> {
    measure: &'a str,
    onset: Time,
    from: Pitch,
    to: Option<Pitch>,
}

#[derive(Serialize)]
struct SingingJson {
    lowest: Pitch,
    highest: Pitch,
    inside: bool,
}

/// One song's entry of the `fit` document.
pub fn song_fit<'a>(
    song: &'a str,
    score: &'a Score,
    melody: &'a Melody,
    kit: &'a Kit,
    fit: &'a Fit,
) -> SongFit<'a> {
    SongFit {
        song,
        verdict: fit.verdict.name(),
        options: fit.options.iter().map(|o| option(score, melody, kit, o)).collect(),
    }
}

fn option<'a>(
    score: &'a Score,
    melody: &'a Melody,
    kit: &'a Kit,
    option: &'a FitOption,
) -> OptionJson<'a> {
    let carriers: Vec<(usize, CarrierJson<'a>)> = option
        .carriers
        .iter()
        .filter_map(|c| {
            let at = kit.instruments.get(c.instrument)?;
            let carrier =
                CarrierJson { instrument: &at.id, octave_shift: c.octave_shift, from_note: None };
            Some((c.from_note, carrier))
        })
        .collect();
    let first = carriers.first().map(|(_, c)| CarrierJson {
        instrument: c.instrument,
        octave_shift: c.octave_shift,
        from_note: None,
    });
    OptionJson {
        transpose: option.transpose,
        key: option.key.into(),
        cost: option.cost,
        melody: first,
        carriers: match carriers.len() {
            0 | 1 => Vec::new(),
            _ => carriers
                .into_iter()
                .map(|(from, c)| CarrierJson { from_note: Some(from), ..c })
                .collect(),
        },
        setups: option.setups.iter().filter_map(|s| setup(kit, s)).collect(),
        setup_changes: changes(kit, &option.changes),
        missing: &option.missing,
        changed_notes: option.changed.len(),
        changes: option
            .changed
            .iter()
            .filter_map(|c| {
                let note = melody.line.notes.get(c.note)?;
                Some(ChangeJson {
                    measure: score.measure_at(note.onset).map_or("", |m| m.number.as_str()),
                    onset: note.onset,
                    from: note.pitch,
                    to: c.to,
                })
            })
            .collect(),
        singing: SingingJson {
            lowest: option.singing.0,
            highest: option.singing.1,
            inside: option.singing_inside,
        },
        why: &option.why,
    }
}

/// What `fit --json` prints.
#[derive(Serialize)]
pub struct Fits<'a, S> {
    format: u32,
    kit: &'a str,
    songs: Vec<S>,
}

/// The document of `fit`.
pub fn fits<'a, S: Serialize>(kit: &'a Kit, songs: Vec<S>) -> Fits<'a, S> {
    Fits { format: FORMAT, kit: &kit.name, songs }
}
