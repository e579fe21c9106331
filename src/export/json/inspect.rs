//! The document of `inspect --json`.

use serde::Serialize;

use super::{FORMAT, KeyJson};
use crate::analysis::Analysis;
use crate::import::{Imported, Melody};
use crate::score::{Interval, Note, NoteName, Part, Pitch, Time};

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
