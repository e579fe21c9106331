//! The `[[instrument]]` tables of a kit file.

use std::collections::HashMap;

use toml::de::{DeTable, DeValue};

use super::fault::{KitError, Pos};
use super::reader::{Reader, Value};
use super::{NamedMark, read_marks};
use crate::kit::bar::{Bar, Instrument, Mark};
use crate::kit::catalogue::Kind;
use crate::kit::people::Kit;
use crate::score::{Midi, Pitch};

/// Longest id: it becomes a file name.
const MAX_ID: usize = 60;

/// One table as written, before its bars are worked out.
#[derive(Default)]
struct Raw {
    kind: Option<Kind>,
    id: Option<(Pos, String)>,
    name: Option<String>,
    range: Option<(Pos, Bar, Bar)>,
    bars: Option<Vec<(Pos, Bar)>>,
    spares: Option<Vec<(Pos, Bar, Bar)>>,
    missing: Vec<(Pos, Bar)>,
    chromatic: bool,
    loose: Option<bool>,
    fillers: bool,
    like: Option<Kind>,
    octave_shift: Option<i8>,
    melody: Option<bool>,
    mallets: Option<String>,
    marks: Vec<NamedMark>,
}

/// Reads every instrument into the kit. The ids that are given away, those of instruments with a fault
/// among them: one fault is not to raise others.
pub(super) fn read_all<'i>(
    reader: &mut Reader<'i>,
    tables: &[(&Value<'i>, &DeTable<'i>)],
    kit_marks: &[NamedMark],
    kit: &mut Kit,
) -> Vec<String> {
    let mut raws = Vec::new();
    for (value, table) in tables {
        raws.push((reader.at(*value), read_raw(reader, value, table)));
    }
    let mut of_kind: HashMap<Kind, usize> = HashMap::new();
    for kind in raws.iter().filter_map(|r| r.1.kind) {
        *of_kind.entry(kind).or_default() += 1;
    }
    let taken: Vec<String> =
        raws.iter().filter_map(|r| r.1.id.as_ref()).map(|i| i.1.to_lowercase()).collect();
    let mut numbered: HashMap<Kind, usize> = HashMap::new();
    let mut ids: Vec<String> = Vec::new();
    let twice = |reader: &mut Reader<'i>, ids: &[String], (at, id): &(Pos, String)| {
        if ids.iter().any(|other| other.eq_ignore_ascii_case(id)) {
            let what = format!("instrument id `{id}`");
            let todo = "give each its own (capitals don't count)";
            reader.faults.push(KitError::Twice { at: *at, what, todo });
        }
    };
    for (at, raw) in raws {
        let Some(kind) = raw.kind else {
            if let Some(id) = &raw.id {
                twice(reader, &ids, id);
                ids.push(id.1.clone());
            }
            continue;
        };
        let number = numbered.entry(kind).or_default();
        *number += 1;
        let several = of_kind.get(&kind).is_some_and(|n| *n > 1);
        let name = raw.name.clone().unwrap_or_else(|| match several {
            true => format!("{} {number}", kind.name()),
            false => kind.name().to_owned(),
        });
        let id = match &raw.id {
            Some(id) => {
                twice(reader, &ids, id);
                id.1.clone()
            }
            None => free_id(kind, *number, several, &taken, &ids),
        };
        ids.push(id.clone());
        let mut instrument = build(reader, at, kind, &raw, &id);
        instrument.name = name;
        instrument.marks = marks_of(&instrument, kit_marks, &raw.marks);
        kit.instruments.push(instrument);
    }
    ids
}

/// An id made of the kind's words, numbered where there are several, that nobody has yet.
fn free_id(kind: Kind, number: usize, several: bool, taken: &[String], ids: &[String]) -> String {
    let stem = kind.name().replace(' ', "-");
    let mut id = if several { format!("{stem}-{number}") } else { stem.clone() };
    let mut n = number;
    while taken.contains(&id) || ids.contains(&id) {
        n += 1;
        id = format!("{stem}-{n}");
    }
    id
}

fn read_raw<'i>(reader: &mut Reader<'i>, value: &Value<'i>, table: &DeTable<'i>) -> Raw {
    const KEYS: [&str; 15] = [
        "id",
        "kind",
        "name",
        "range",
        "bars",
        "spares",
        "missing",
        "chromatic",
        "loose",
        "fillers",
        "like",
        "octave_shift",
        "melody",
        "mallets",
        "marks",
    ];
    let kinds = Kind::ALL.map(|k| (k.name(), k));
    let mut raw = Raw::default();
    let mut kind_named = false;
    for (key, value) in reader.entries(table, "instrument", &KEYS) {
        match key {
            "id" => raw.id = id(reader, value),
            "kind" => {
                kind_named = true;
                raw.kind = reader.word(value, key, "kind", &kinds);
            }
            "name" => raw.name = reader.string(value, key).map(str::to_owned),
            "range" => raw.range = range(reader, value),
            "bars" => raw.bars = Some(reader.bars(value, key)),
            "spares" => raw.spares = Some(spares(reader, value)),
            "missing" => raw.missing = reader.bars(value, key),
            "chromatic" => raw.chromatic = reader.flag(value, key).unwrap_or_default(),
            "loose" => raw.loose = reader.flag(value, key),
            "fillers" => raw.fillers = reader.flag(value, key).unwrap_or_default(),
            "like" => raw.like = reader.word(value, key, "kind", &kinds),
            "octave_shift" => {
                raw.octave_shift =
                    reader.whole(value, key, (-4, 4), "a whole number of octaves, -4 to 4");
            }
            "melody" => raw.melody = reader.flag(value, key),
            "mallets" => raw.mallets = reader.string(value, key).map(str::to_owned),
            _ => raw.marks = read_marks(reader, value),
        }
    }
    if !kind_named {
        let at = reader.at(value);
        reader.faults.push(KitError::MissingKey {
            at,
            place: "an instrument".to_owned(),
            key: "kind",
            wanted: "a kind such as \"alto xylophone\", or \"custom\"",
        });
    }
    raw
}

fn id<'i>(reader: &mut Reader<'i>, value: &Value<'i>) -> Option<(Pos, String)> {
    let text = reader.string(value, "id")?;
    let good = text.len() <= MAX_ID
        && text.starts_with(|c: char| c.is_ascii_alphanumeric())
        && text.chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_')
        // The singers' part has this name.
        && !text.eq_ignore_ascii_case("voice");
    if !good {
        reader.bad(
            value,
            "id",
            "a word of letters, digits, - and _ (it names files; `voice` is the singers' own)",
        );
        return None;
    }
    Some((reader.at(value), text.to_owned()))
}

/// `"C3-A4"`.
fn range<'i>(reader: &mut Reader<'i>, value: &Value<'i>) -> Option<(Pos, Bar, Bar)> {
    let ends = match value.get_ref() {
        DeValue::String(text) => text.split_once(['-', '–', '—']).and_then(|(low, high)| {
            let end = |t: &str| t.trim().parse::<Pitch>().ok().map(Pitch::midi);
            Some((end(low)?, end(high)?))
        }),
        _ => None,
    };
    let ends =
        ends.filter(|(low, high)| low < high && low.as_u7().is_some() && high.as_u7().is_some());
    if ends.is_none() {
        reader.bad(value, "range", "two sounding pitches, low to high, such as \"C3-A4\"");
    }
    ends.map(|(low, high)| (reader.at(value), Bar(low), Bar(high)))
}

/// Spares, each with the slot it stands in.
fn spares<'i>(reader: &mut Reader<'i>, value: &Value<'i>) -> Vec<(Pos, Bar, Bar)> {
    let mut found = Vec::new();
    for item in reader.list(value, "spares", "a list of bars such as [\"F#4\", \"Bb4\"]") {
        let at = reader.at(item);
        if let DeValue::Table(table) = item.get_ref() {
            let (mut bar, mut slot) = (None, None);
            for (key, value) in reader.entries(table, "spares", &["bar", "slot"]) {
                let read = reader.bar(value, key);
                if key == "bar" { bar = read } else { slot = read }
            }
            match bar {
                Some(bar) => found.push((at, bar, slot.unwrap_or(bar.usual_slot()))),
                None => reader.bad(item, "spares", "a bar, or { bar = \"Eb4\", slot = \"D4\" }"),
            }
        } else if let Some(bar) = reader.bar(item, "spares") {
            found.push((at, bar, bar.usual_slot()));
        }
    }
    found
}

/// Works out the slots.
fn build(reader: &mut Reader<'_>, at: Pos, kind: Kind, raw: &Raw, id: &str) -> Instrument {
    let range = raw.range.map(|(_, low, high)| (low, high));
    let range = range.or(kind.range().map(|(low, high)| (Bar(low), Bar(high))));
    let bars: Vec<Bar> = match (&raw.bars, range) {
        (Some(_), _) if raw.range.is_some() => {
            let todo = "keep `range` or `bars`, not both";
            reader.faults.push(KitError::Twice { at, what: format!("what `{id}` holds"), todo });
            Vec::new()
        }
        (Some(listed), _) => {
            let mut bars: Vec<Bar> = Vec::new();
            for (at, bar) in listed {
                if bars.contains(bar) {
                    let todo = "list each bar once";
                    reader.faults.push(KitError::Twice { at: *at, what: bar.to_string(), todo });
                } else {
                    bars.push(*bar);
                }
            }
            bars
        }
        (None, Some((low, high))) => (low.0.number()..=high.0.number())
            .map(|n| Bar(Midi::new(n)))
            .filter(|b| raw.chromatic || b.is_natural())
            .collect(),
        (None, None) => Vec::new(),
    };
    if bars.is_empty() && (raw.bars.is_none() || raw.bars.as_ref().is_some_and(Vec::is_empty)) {
        reader.faults.push(KitError::MissingKey {
            at,
            place: format!("instrument `{id}`"),
            key: "bars",
            wanted: "its bars one by one, such as [\"C4\", \"D4\", \"E4\"], or a `range`",
        });
    }
    if raw.chromatic && raw.bars.is_some() {
        let todo = "give `chromatic` with a `range`, or list the black-note bars too";
        reader.faults.push(KitError::Twice { at, what: format!("what `{id}` holds"), todo });
    }
    let mut instrument =
        Instrument::with_bars(id, kind, &bars, raw.loose.unwrap_or(kind.is_loose()));
    instrument.like = raw.like.unwrap_or(kind);
    instrument.octave_shift = raw.octave_shift.unwrap_or(instrument.like.octave_shift());
    instrument.fillers = raw.fillers;
    instrument.melody = raw.melody;
    instrument.mallets.clone_from(&raw.mallets);
    add_spares(reader, kind, raw, &mut instrument);
    for (at, bar) in &raw.missing {
        lose(reader, *at, *bar, &mut instrument);
    }
    instrument
}

fn add_spares(reader: &mut Reader<'_>, kind: Kind, raw: &Raw, instrument: &mut Instrument) {
    let Some(listed) = &raw.spares else {
        // "The number of spares agrees with the compass" (handbook): one F♯ for each F, one B♭ for
        // each B. Only kinds that come with spares, and no second row or list of single bars.
        if kind.spares().next().is_some() && !raw.chromatic && raw.bars.is_none() {
            let own: Vec<Bar> = instrument.slots.iter().map(|s| s.bar).collect();
            for slot in own {
                if let Some(spare) = usual_spare(slot) {
                    instrument.add_spare(spare, slot);
                }
            }
        }
        return;
    };
    for (at, bar, slot) in listed {
        if instrument.slots.iter().any(|s| s.bar == *bar || s.spares.contains(bar)) {
            let what = format!("{bar} of `{}`", instrument.id);
            let todo = "list each bar once; two bars of one pitch can't both stand";
            reader.faults.push(KitError::Twice { at: *at, what, todo });
        } else if !instrument.add_spare(*bar, *slot) && !instrument.slots.is_empty() {
            let mut could: Vec<Bar> = instrument.slots.iter().map(|s| s.bar).collect();
            could.retain(|b| b.is_natural());
            let why = format!(
                "{bar} can't stand on `{}`: it goes in the place of {slot}, and there is no {slot}",
                instrument.id
            );
            let nearest = nearest_spare(*bar, instrument);
            reader.faults.push(KitError::ImpossibleBar { at: *at, why, nearest });
        }
    }
}

/// The spare that comes with a natural: F♯ for F, B♭ for B.
fn usual_spare(natural: Bar) -> Option<Bar> {
    [1, -1]
        .map(|n| Bar(natural.0 + crate::score::Interval::new(n)))
        .into_iter()
        .find(|b| matches!(b.0.class().number(), 6 | 10) && b.usual_slot() == natural)
}

/// The bar of the same note, at the nearest octave, that has a slot.
fn nearest_spare(bar: Bar, instrument: &Instrument) -> Option<String> {
    (0..=127)
        .map(|n| Bar(Midi::new(n)))
        .filter(|b| b.0.class() == bar.0.class())
        .filter(|b| instrument.slots.iter().any(|s| s.bar == b.usual_slot()))
        .min_by_key(|b| (b.0 - bar.0).semitones().abs())
        .map(|b| b.to_string())
}

/// Takes a lost bar out: a slot's own bar is marked lost, a spare is gone.
fn lose(reader: &mut Reader<'_>, at: Pos, bar: Bar, instrument: &mut Instrument) {
    if let Some(slot) = instrument.slots.iter_mut().find(|s| s.bar == bar) {
        if slot.lost {
            let todo = "list each missing bar once";
            reader.faults.push(KitError::Twice { at, what: bar.to_string(), todo });
        }
        slot.lost = true;
        return;
    }
    if let Some(slot) = instrument.slots.iter_mut().find(|s| s.spares.contains(&bar)) {
        slot.spares.retain(|b| *b != bar);
        return;
    }
    let nearest = instrument
        .slots
        .iter()
        .flat_map(|s| s.spares.iter().chain(std::iter::once(&s.bar)))
        .min_by_key(|b| (b.0 - bar.0).semitones().abs())
        .map(Bar::to_string);
    let why = format!("{bar} can't be missing from `{}`: it has no such bar", instrument.id);
    reader.faults.push(KitError::ImpossibleBar { at, why, nearest });
}

/// The marks of an instrument's bars: its own before the kit's, one pitch before a name.
fn marks_of(instrument: &Instrument, kit: &[NamedMark], own: &[NamedMark]) -> Vec<(Bar, Mark)> {
    let mut marks = Vec::new();
    let bars = instrument.slots.iter().flat_map(|s| std::iter::once(&s.bar).chain(&s.spares));
    for bar in bars {
        let at_pitch = |list: &[NamedMark]| {
            list.iter()
                .find(|m| m.1.is_some_and(|p| p.midi() == bar.0))
                .or_else(|| list.iter().find(|m| m.1.is_none() && m.0.class() == bar.0.class()))
                .map(|m| m.2.clone())
        };
        if let Some(mark) = at_pitch(own).or_else(|| at_pitch(kit)) {
            marks.push((*bar, mark));
        }
    }
    marks
}
