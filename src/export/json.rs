//! The JSON documents: their types, apart from the model, and how the model fills them.

use serde::Serialize;

use crate::analysis::Analysis;
use crate::arrange::Arrangement;
use crate::import::{Imported, Melody};
use crate::kit::{Fit, FitOption, Kit, Setup, SetupChange, State};
use crate::score::{Interval, Key, Note, NoteName, Part, Pitch, Score, Time};

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

/// What `inspect --json` prints.
#[derive(Serialize)]
pub struct Inspection<'a> {
    format: u32,
    source: Source<'a>,
    warnings: Vec<WarningJson<'a>>,
    meters: Vec<MeterJson>,
    tempos: Vec<TempoJson>,
    pickup: Time,
    parts: Vec<PartJson<'a>>,
    melody: MelodyJson<'a>,
    key: KeyFound,
    pitch_set: PitchSetJson<'a>,
    smaller_sets: Vec<SmallerJson<'a>>,
    phrases: Vec<PhraseJson<'a>>,
    harmony: Vec<HarmonyJson<'a>>,
    drone_share: f64,
}

#[derive(Serialize)]
struct Source<'a> {
    file: &'a str,
    kind: &'static str,
    title: &'a str,
    composer: &'a str,
}

#[derive(Serialize)]
struct WarningJson<'a> {
    r#where: &'a str,
    what: &'a str,
}

#[derive(Serialize)]
struct MeterJson {
    at: Time,
    beats: u16,
    beat_type: u16,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    groups: Vec<u8>,
}

#[derive(Serialize)]
struct TempoJson {
    at: Time,
    quarter_bpm: f64,
}

#[derive(Serialize)]
struct PartJson<'a> {
    id: &'a str,
    name: &'a str,
    melody_score: f64,
    notes: Vec<NoteJson<'a>>,
}

#[derive(Serialize)]
struct NoteJson<'a> {
    onset: Time,
    duration: Time,
    midi: i16,
    pitch: Pitch,
    voice: &'a str,
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    grace: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    lyric: Option<&'a str>,
}

impl<'a> NoteJson<'a> {
    fn new(part: &'a Part, note: &'a Note) -> NoteJson<'a> {
        NoteJson {
            onset: note.onset,
            duration: note.duration,
            midi: note.midi().number(),
            pitch: note.pitch,
            voice: part.voice_name(note.voice),
            grace: note.grace,
            lyric: note.lyrics.iter().min_by_key(|l| l.verse).map(|l| l.text.as_str()),
        }
    }
}

#[derive(Serialize)]
struct MelodyJson<'a> {
    part: &'a str,
    voice: &'a str,
    notes: usize,
    why: &'a str,
}

#[derive(Serialize)]
struct KeyFound {
    #[serde(flatten)]
    key: KeyJson,
    fifths: i8,
    confidence: f64,
    from: &'static str,
    alternatives: Vec<Alternative>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    sections: Vec<SectionJson>,
}

#[derive(Serialize)]
struct Alternative {
    #[serde(flatten)]
    key: KeyJson,
    confidence: f64,
}

#[derive(Serialize)]
struct SectionJson {
    from: Time,
    to: Time,
    #[serde(flatten)]
    key: KeyJson,
    confidence: f64,
}

#[derive(Serialize)]
struct PitchSetJson<'a> {
    classes: &'a [NoteName],
    lowest: Option<Pitch>,
    highest: Option<Pitch>,
    span: Interval,
    semitone_free: bool,
    name: Option<&'a str>,
    solfa: &'a [String],
    pitches: Vec<PitchJson>,
}

#[derive(Serialize)]
struct PitchJson {
    pitch: Pitch,
    count: usize,
    weight: f64,
}

#[derive(Serialize)]
struct SmallerJson<'a> {
    classes: &'a [NoteName],
    changed_notes: usize,
    kept_weight: f64,
}

#[derive(Serialize)]
struct PhraseJson<'a> {
    from: Time,
    to: Time,
    label: &'a str,
}

#[derive(Serialize)]
struct HarmonyJson<'a> {
    at: Time,
    root: NoteName,
    quality: &'static str,
    degree: &'a str,
}

/// The document of `inspect`. `file` is the source's name; pitches are at sounding height.
pub fn inspect<'a>(
    file: &'a str,
    imported: &'a Imported,
    melody: &'a Melody,
    analysis: &'a Analysis,
) -> Inspection<'a> {
    let score = &imported.score;
    let part_of = |i: usize| score.parts.get(i);
    let key = &analysis.key;
    let set = &analysis.pitch_set;
    Inspection {
        format: FORMAT,
        source: Source {
            file,
            kind: imported.kind.name(),
            title: &score.title,
            composer: &score.composer,
        },
        warnings: imported
            .warnings
            .iter()
            .map(|w| WarningJson { r#where: &w.place, what: &w.what })
            .collect(),
        meters: score
            .meters()
            .into_iter()
            .map(|(at, m)| MeterJson {
                at,
                beats: m.beats,
                beat_type: m.beat_type,
                groups: m.groups().to_vec(),
            })
            .collect(),
        tempos: score
            .tempos
            .iter()
            .map(|t| TempoJson { at: t.at, quarter_bpm: t.quarter_bpm })
            .collect(),
        pickup: score.pickup(),
        parts: score
            .parts
            .iter()
            .enumerate()
            .map(|(i, part)| PartJson {
                id: &part.id,
                name: &part.name,
                melody_score: melody
                    .scores
                    .iter()
                    .find(|s| s.part == i)
                    .map_or(0.0, |s| s.melody_score),
                notes: part.notes.iter().map(|n| NoteJson::new(part, n)).collect(),
            })
            .collect(),
        melody: MelodyJson {
            part: part_of(melody.line.part).map_or("", |p| p.id.as_str()),
            voice: match (part_of(melody.line.part), melody.voice, melody.line.notes.first()) {
                (Some(part), Some(voice), _) => part.voice_name(voice),
                (Some(part), None, Some(note)) => part.voice_name(note.voice),
                _ => "1",
            },
            notes: melody.line.notes.len(),
            why: &melody.why,
        },
        key: KeyFound {
            key: key.best.key.into(),
            fifths: key.best.key.fifths(),
            confidence: key.best.confidence,
            from: key.source.name(),
            alternatives: key
                .alternatives
                .iter()
                .map(|a| Alternative { key: a.key.into(), confidence: a.confidence })
                .collect(),
            sections: match key.sections.as_slice() {
                [_] => Vec::new(),
                sections => sections
                    .iter()
                    .map(|s| SectionJson {
                        from: s.from,
                        to: s.to,
                        key: s.key.into(),
                        confidence: s.confidence,
                    })
                    .collect(),
            },
        },
        pitch_set: PitchSetJson {
            classes: &set.classes,
            lowest: set.lowest,
            highest: set.highest,
            span: set.span,
            semitone_free: set.semitone_free,
            name: set.name.as_deref(),
            solfa: &set.solfa,
            pitches: set
                .pitches
                .iter()
                .map(|p| PitchJson { pitch: p.pitch, count: p.count, weight: p.weight })
                .collect(),
        },
        smaller_sets: analysis
            .smaller_sets
            .iter()
            .map(|s| SmallerJson {
                classes: &s.classes,
                changed_notes: s.changed.len(),
                kept_weight: s.kept_weight,
            })
            .collect(),
        phrases: analysis
            .phrases
            .iter()
            .map(|p| PhraseJson { from: p.from, to: p.to, label: &p.label })
            .collect(),
        harmony: analysis
            .harmony
            .iter()
            .map(|h| HarmonyJson {
                at: h.at,
                root: h.chord.root,
                quality: h.chord.quality.name(),
                degree: &h.degree,
            })
            .collect(),
        drone_share: analysis.drone_share,
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
