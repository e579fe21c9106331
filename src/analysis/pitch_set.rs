//! The pitches of a melody: which, how much of each, what the set is called, and their solfa.

use super::PitchSet;
use super::PitchUse;
use super::table::Table;
use crate::score::{Interval, Key, Line, Mode, NoteName, Pitch, PitchClass};

/// Sets with a name of their own, as semitones above the tonic. Pentatonic modes are named by the
/// solfa syllable of their tonic, the two usual ones major and minor; common practice, no source.
const NAMED: &[(&str, &[i16])] = &[
    ("major pentatonic", &[0, 2, 4, 7, 9]),
    ("minor pentatonic", &[0, 3, 5, 7, 10]),
    ("re pentatonic", &[0, 2, 5, 7, 10]),
    ("mi pentatonic", &[0, 3, 5, 8, 10]),
    ("so pentatonic", &[0, 2, 5, 7, 9]),
    ("do-re-mi", &[0, 2, 4]),
    ("do-re-mi-so", &[0, 2, 4, 7]),
    ("do-re-mi-fa", &[0, 2, 4, 5]),
    ("do-re-mi-la", &[0, 2, 4, 9]),
    ("do-mi-so-la", &[0, 4, 7, 9]),
    ("do-mi-so", &[0, 4, 7]),
    ("la-do-mi", &[0, 3, 7]),
    ("la-do-re-mi", &[0, 3, 5, 7]),
    ("la-ti-do", &[0, 2, 3]),
    ("do pentachord", &[0, 2, 4, 5, 7]),
    ("la pentachord", &[0, 2, 3, 5, 7]),
    ("do hexachord", &[0, 2, 4, 5, 7, 9]),
    ("la hexachord", &[0, 2, 3, 5, 7, 8]),
    ("harmonic minor", &[0, 2, 3, 5, 7, 8, 11]),
    ("melodic minor", &[0, 2, 3, 5, 7, 9, 11]),
    ("whole-tone", &[0, 2, 4, 6, 8, 10]),
    ("chromatic", &[0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]),
];

/// Children's sets whose tonic doesn't sound: semitones above their mi. They keep their name and their
/// syllables whatever key is found, for too few notes sound to tell one (common practice, no source).
const WITHOUT_TONIC: &[(&str, &[i16])] = &[("so-mi", &[0, 3]), ("so-mi-la", &[0, 3, 5])];

/// The name of such a set and the class of its mi.
fn without_tonic(mask: u16) -> Option<(&'static str, u32)> {
    WITHOUT_TONIC.iter().find_map(|(name, set)| {
        (0..12).find(|down| turned(mask, *down) == bits(set)).map(|mi| (*name, mi))
    })
}

/// A set of semitones as twelve bits.
fn bits(set: &[i16]) -> u16 {
    set.iter().fold(0, |m, s| m | 1 << s.rem_euclid(12))
}

/// Twelve bits turned so that the class `down` becomes 0.
fn turned(mask: u16, down: u32) -> u16 {
    ((mask >> down) | (mask << (12 - down))) & 0xFFF
}

/// The pitches of `line`, with `table` its table and `key` the key found.
pub(super) fn pitch_set(line: &Line, table: &Table, key: Key) -> PitchSet {
    let mut used: Vec<(i16, Pitch, usize, f32)> = Vec::new();
    let mut total = 0.0f32;
    for (note, event) in line.notes.iter().zip(&table.events) {
        total += event.weight;
        match used.binary_search_by_key(&event.midi, |u| u.0) {
            Ok(i) => {
                used[i].2 += 1;
                used[i].3 += event.weight;
            }
            Err(i) => used.insert(i, (event.midi, note.pitch, 1, event.weight)),
        }
    }
    let total = if total > 0.0 { f64::from(total) } else { 1.0 };
    let tonic = key.tonic.class();
    let mut classes: Vec<NoteName> = Vec::new();
    for (_, pitch, ..) in &used {
        if !classes.iter().any(|c| c.class() == pitch.class()) {
            classes.push(pitch.name);
        }
    }
    classes.sort_by_key(|c| tonic.up_to(c.class()));
    let mask = classes.iter().fold(0u16, |m, c| m | 1 << c.class().number());
    // In the calls on so and mi, do lies a major third below mi.
    let sung_in = without_tonic(mask)
        .map_or(key, |(_, mi)| Key::on(PitchClass::new(mi as i16 - 4), Mode::Major));
    let lowest = used.first().map(|u| u.1);
    let highest = used.last().map(|u| u.1);
    let span = match (used.first(), used.last()) {
        (Some(low), Some(high)) => Interval::new(high.0 - low.0),
        _ => Interval::new(0),
    };
    PitchSet {
        solfa: classes.iter().map(|c| solfa(*c, sung_in).to_owned()).collect(),
        semitone_free: mask & turned(mask, 1) == 0,
        name: name(mask, key, &classes),
        pitches: used
            .into_iter()
            .map(|(_, pitch, count, weight)| PitchUse {
                pitch,
                count,
                weight: f64::from(weight) / total,
            })
            .collect(),
        classes,
        lowest,
        highest,
        span,
    }
}

/// The solfa syllable of a note in a key, movable do with la for a minor tonic (re for a dorian one,
/// and so on); chromatic notes by their spelling: fi above fa, te below ti. Common practice (the
/// tonic sol-fa of the English-speaking world), from memory.
pub(super) fn solfa(name: NoteName, key: Key) -> &'static str {
    const UP: [&str; 17] = [
        "se", "ra", "le", "me", "te", "fa", "do", "so", "re", "la", "mi", "ti", "fi", "di", "si",
        "ri", "li",
    ];
    let mut place = name.fifths() - i16::from(key.fifths());
    while place > 10 {
        place -= 12;
    }
    while place < -6 {
        place += 12;
    }
    UP.get((place + 6) as usize).copied().unwrap_or("do")
}

/// The name of a set of pitch classes (bit 0 is C) in a key.
fn name(mask: u16, key: Key, classes: &[NoteName]) -> Option<String> {
    if mask == 0 {
        return None;
    }
    let on_tonic = turned(mask, key.tonic.class().number() as u32);
    if let Some((name, ..)) = without_tonic(mask) {
        return Some(name.to_owned());
    }
    for (name, set) in NAMED {
        if on_tonic == bits(set) {
            return Some((*name).to_owned());
        }
    }
    let scale = bits(&key.mode.scale());
    if on_tonic == scale {
        return Some(key.mode.name().to_owned());
    }
    // Another mode on the same tonic, where the key's own mode doesn't match the notes.
    for mode in Mode::ALL {
        if on_tonic == bits(&mode.scale()) {
            return Some(mode.name().to_owned());
        }
    }
    let inside = on_tonic & scale;
    let outside: Vec<String> =
        classes.iter().filter(|c| !key.contains(c.class())).map(NoteName::to_string).collect();
    let missing = scale & !on_tonic;
    if outside.is_empty() {
        let degrees: Vec<&str> = missing_degrees(missing, key);
        return match inside.count_ones() {
            6 => Some(format!("{} hexatonic without its {}", key.mode, degrees.join(" and "))),
            5 => Some(format!("{} without its {}", key.mode, degrees.join(" and "))),
            4 => Some(format!("tetratonic in {}", key.mode)),
            _ => None,
        };
    }
    (outside.len() <= 3 && inside.count_ones() >= 5)
        .then(|| format!("{} with {} added", key.mode, outside.join(", ")))
}

fn missing_degrees(missing: u16, key: Key) -> Vec<&'static str> {
    const ORDINALS: [&str; 7] = ["tonic", "second", "third", "fourth", "fifth", "sixth", "seventh"];
    key.mode
        .scale()
        .iter()
        .zip(ORDINALS)
        .filter(|(s, _)| missing & (1 << PitchClass::new(**s).number()) != 0)
        .map(|(_, o)| o)
        .collect()
}
