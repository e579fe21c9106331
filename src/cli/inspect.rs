//! `barwright inspect`: what a song is.

use std::fmt::Write as _;

use super::args;
use super::song::Song;
use super::{Outcome, print, print_json};
use crate::analysis::{HarmonySource, KeyFinding, Options};
use crate::export::json;
use crate::score::{Score, Time};

pub(super) fn run(ask: &args::Inspect) -> anyhow::Result<Outcome> {
    let options = Options { ignore_signature: ask.ignore_signature, ..Options::default() };
    let song = Song::read(&ask.song, ask.part.as_deref(), options)?;
    if ask.json {
        print_json(&json::inspect(&song.source, &song.imported, &song.melody, &song.analysis))?;
    } else {
        print(&describe(&song))?;
    }
    Ok(Outcome::Done)
}

/// Where a moment lies, for readers: "measure 5", "the pickup".
fn place(score: &Score, at: Time) -> String {
    if score.pickup().is_positive() && score.measure_index(at) == Some(0) {
        return "the pickup".to_owned();
    }
    format!("measure {}", score.measure_at(at).map_or("?", |m| m.number.as_str()))
}

/// A length in note values: "an eighth note", "3 eighth notes".
fn length(time: Time) -> String {
    let (one, many) = match time.denominator() {
        1 => ("a quarter note", "quarter notes"),
        2 => ("an eighth note", "eighth notes"),
        4 => ("a sixteenth note", "sixteenth notes"),
        _ => return format!("{time} of a quarter note"),
    };
    if time.numerator() == 1 { one.to_owned() } else { format!("{} {many}", time.numerator()) }
}

/// How sure a key finding is, in words that a reader of no statistics understands.
fn sureness(confidence: f64) -> &'static str {
    match confidence {
        c if c >= 0.95 => "sure",
        c if c >= 0.8 => "fairly sure",
        c if c >= 0.5 => "likely",
        _ => "a guess: listen before you trust it",
    }
}

fn key_line(found: &KeyFinding) -> String {
    let confidence = found.best.confidence;
    // Nothing heard is certain, so never "100 %".
    let percent = if confidence >= 0.995 {
        "over 99 %".to_owned()
    } else {
        format!("{:.0} %", confidence * 100.0)
    };
    let mut line = format!("{} ({}, {percent})", found.best.key, sureness(confidence));
    let others: Vec<String> = found
        .alternatives
        .iter()
        .filter(|a| a.confidence >= 0.05)
        .take(2)
        .map(|a| format!("{} {:.0} %", a.key, a.confidence * 100.0))
        .collect();
    if !others.is_empty() {
        let _ = write!(line, "; or {}", others.join(", "));
    }
    line
}

fn describe(song: &Song) -> String {
    let score = &song.imported.score;
    let analysis = &song.analysis;
    let line = &song.melody.line;
    let mut text = String::new();
    let mut row = |label: &str, value: String| {
        // Writing to a String can't fail.
        let _ = writeln!(text, "{label:<9} {value}");
    };

    let by =
        if score.composer.is_empty() { String::new() } else { format!(", {}", score.composer) };
    row("Song", format!("{}{by}", song.title));

    let meters: Vec<String> = score.meters().iter().map(|(_, m)| m.to_string()).collect();
    let mut shape = vec![format!("{} measures in {}", score.measures.len(), joined(&meters, 4))];
    if score.pickup().is_positive() {
        shape.push(format!("pickup of {}", length(score.pickup())));
    }
    if let Some(tempo) = score.tempos.first() {
        shape.push(format!("quarter note = {:.0}", tempo.quarter_bpm));
    }
    row("Form", shape.join(", "));

    row("Melody", song.melody.why.clone());
    let mut key = key_line(&analysis.key);
    let tonic = analysis.key.best.key.tonic;
    if !line.notes.is_empty()
        && !analysis.pitch_set.classes.iter().any(|c| c.class() == tonic.class())
    {
        let _ = write!(key, "; {tonic} itself isn't among its notes");
    }
    row("Key", key);
    if analysis.key.sections.len() > 1 {
        for section in &analysis.key.sections {
            row("", format!("{} from {}", section.key, place(score, section.from)));
        }
    }

    let set = &analysis.pitch_set;
    let names: Vec<String> = set.classes.iter().map(ToString::to_string).collect();
    let name = set.name.as_deref().map(|n| format!(", {n}")).unwrap_or_default();
    let semitones = if set.semitone_free { "no semitones" } else { "with semitones" };
    row("Notes", format!("{}{name}; {semitones}", names.join(" ")));
    if let (Some(low), Some(high)) = (set.lowest, set.highest) {
        row("Range", format!("{low} to {high}, {} semitones", set.span.semitones()));
    }
    for smaller in analysis.smaller_sets.iter().filter(|s| s.kept_weight >= 0.85).take(2) {
        let names: Vec<String> = smaller.classes.iter().map(ToString::to_string).collect();
        row(
            "Fewer",
            format!(
                "{} would do with {} of {} notes changed",
                names.join(" "),
                smaller.changed.len(),
                line.notes.len()
            ),
        );
    }

    let phrases: Vec<String> = analysis
        .phrases
        .iter()
        .map(|p| format!("{} from {}", p.label, place(score, p.from)))
        .collect();
    row("Phrases", joined(&phrases, 12));

    let mut chords: Vec<String> = Vec::new();
    for harmony in &analysis.harmony {
        let chord = format!("{} ({})", harmony.chord.symbol(), harmony.degree);
        if chords.last() != Some(&chord) {
            chords.push(chord);
        }
    }
    let from = match analysis.harmony_source {
        HarmonySource::Symbols => "from its chord symbols",
        HarmonySource::Parts => "from the other parts",
        HarmonySource::Melody => "suggested by the melody",
    };
    row("Chords", format!("{}; {from}", joined(&chords, 12)));
    row(
        "Drone",
        format!(
            "a drone on {} suits {:.0} % of the strong beats",
            analysis.key.best.key.tonic,
            analysis.drone_share * 100.0
        ),
    );
    text
}

/// The first `most` items in a row, and how many more there are.
fn joined(items: &[String], most: usize) -> String {
    let shown = items.iter().take(most).cloned().collect::<Vec<_>>().join(", ");
    match items.len().saturating_sub(most) {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}
