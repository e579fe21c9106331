//! MusicXML 4.0, `score-partwise`.
//!
//! What is written reads back as the same notes: onset, length, sounding and spelled pitch, ties
//! merged, grace notes, verses, chord symbols, repeats and jumps. Every voice of every measure adds up
//! to the measure. The same score gives the same bytes. Pitches are written as the part reads them:
//! sounding minus the part's [`Transposition`], which goes into `transpose`; a change of it takes
//! effect at a bar line.

mod beams;
mod lanes;
mod notes;
mod part;
mod rhythm;
mod signs;
mod xml;

use std::collections::BTreeSet;

use crate::score::{Measure, Meter, Part, Score, Time, Transposition};

use self::part::PartWriter;
use self::rhythm::Known;
use self::xml::Xml;

/// The whole score as a MusicXML document.
pub fn score(score: &Score) -> String {
    document(score, &score.parts.iter().collect::<Vec<_>>())
}

/// One part of the score as a MusicXML document of its own, with the tempos, rehearsal marks and
/// chord symbols; an index that names no part gives a document with an empty part.
pub fn part(score: &Score, index: usize) -> String {
    document(score, &score.parts.get(index).into_iter().collect::<Vec<_>>())
}

/// The whole score, and each of its parts as a document of its own: what [`score`] and [`part`] give,
/// the notes being laid out only once for both.
pub fn score_and_parts(score: &Score) -> (String, Vec<String>) {
    if score.measures.is_empty() || score.parts.is_empty() {
        return (self::score(score), (0..score.parts.len()).map(|i| part(score, i)).collect());
    }
    let parts: Vec<&Part> = score.parts.iter().collect();
    let mut known = Known::new();
    let mut alone = Vec::with_capacity(parts.len());
    let whole = written(score, &parts, |xml, i| {
        let mut writer = PartWriter::new(score, parts[i], true, &mut known);
        let mut own = String::new();
        alone
            .push(written(score, &parts[i..=i], |xml, _| own = xml.noted(|xml| writer.write(xml))));
        if i == 0 {
            xml.insert(&own);
        } else {
            writer.share(false);
            writer.write(xml);
        }
    });
    (whole, alone)
}

fn document(score: &Score, parts: &[&Part]) -> String {
    // The schema wants a part with a measure; a score without any still is a document.
    let nobody = Part::new("P1", "");
    let parts = if parts.is_empty() { &[&nobody][..] } else { parts };
    let filled;
    let score = if score.measures.is_empty() {
        filled = with_measures(score);
        &filled
    } else {
        score
    };
    let mut known = Known::new();
    written(score, parts, |xml, i| PartWriter::new(score, parts[i], i == 0, &mut known).write(xml))
}

/// A document whose parts' measures are written by `measures`.
fn written(score: &Score, parts: &[&Part], mut measures: impl FnMut(&mut Xml, usize)) -> String {
    let ids = ids(parts);
    let mut xml = Xml::new();
    xml.open("score-partwise", &[("version", "4.0")]);
    if !score.title.is_empty() {
        xml.open("work", &[]);
        xml.text("work-title", &score.title);
        xml.close("work");
    }
    xml.open("identification", &[]);
    if !score.composer.is_empty() {
        xml.text_with("creator", &[("type", "composer")], &score.composer);
    }
    xml.open("encoding", &[]);
    xml.text("software", "barwright");
    xml.empty("supports", &[("element", "accidental"), ("type", "yes")]);
    xml.empty("supports", &[("element", "beam"), ("type", "yes")]);
    xml.close("encoding");
    xml.close("identification");
    xml.open("part-list", &[]);
    for (i, (part, id)) in parts.iter().zip(&ids).enumerate() {
        score_part(&mut xml, part, id, i);
    }
    xml.close("part-list");
    for (i, id) in ids.iter().enumerate() {
        xml.open("part", &[("id", &id.part)]);
        measures(&mut xml, i);
        xml.close("part");
    }
    xml.close("score-partwise");
    xml.finish()
}

/// A score that names no measures, with measures of four quarters for all its notes.
fn with_measures(score: &Score) -> Score {
    let notes = score.parts.iter().flat_map(|p| &p.notes);
    let end = notes.map(|n| n.end()).max().unwrap_or(Time::ZERO);
    let mut filled = score.clone();
    let mut at = Time::ZERO;
    while filled.measures.is_empty() || at < end {
        let number = (filled.measures.len() + 1).to_string();
        filled.measures.push(Measure::full(number, at, Meter::COMMON));
        at += Meter::COMMON.measure();
    }
    filled
}

/// The identifiers of a part in the file, unique in it.
struct Ids {
    part: String,
    instrument: String,
}

/// The parts' identifiers as XML allows them (`xs:ID`: a letter or `_`, then letters, digits, `.`,
/// `-`, `_`).
fn ids(parts: &[&Part]) -> Vec<Ids> {
    let mut used: BTreeSet<String> = BTreeSet::new();
    let mut unique = |wanted: String| {
        let mut id = wanted.clone();
        let mut n = 2;
        while !used.insert(id.clone()) {
            id = format!("{wanted}-{n}");
            n += 1;
        }
        id
    };
    let names: Vec<String> = parts
        .iter()
        .enumerate()
        .map(|(i, part)| {
            let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | '_');
            let mut id: String =
                part.id.trim().chars().map(|c| if plain(c) { c } else { '_' }).collect();
            if id.is_empty() {
                id = format!("P{}", i + 1);
            } else if !id.starts_with(|c: char| c.is_ascii_alphabetic() || c == '_') {
                id.insert(0, 'P');
            }
            unique(id)
        })
        .collect();
    names.into_iter().map(|part| Ids { instrument: unique(format!("{part}-I1")), part }).collect()
}

fn score_part(xml: &mut Xml, part: &Part, id: &Ids, index: usize) {
    xml.open("score-part", &[("id", &id.part)]);
    xml.text("part-name", &part.name);
    let sound = &part.sound;
    if sound.standard.is_some() || sound.program.is_some() {
        xml.open("score-instrument", &[("id", &id.instrument)]);
        xml.text("instrument-name", &part.name);
        if let Some(standard) = &sound.standard {
            xml.text("instrument-sound", standard);
        }
        xml.close("score-instrument");
    }
    if let Some(program) = sound.program {
        xml.open("midi-instrument", &[("id", &id.instrument)]);
        xml.number("midi-channel", i64::from(midi_channel(index)) + 1);
        xml.number("midi-program", i64::from(program.min(127)) + 1);
        xml.close("midi-instrument");
    }
    xml.close("score-part");
}

/// The MIDI channel of a part, from 0: channel 10 (9 here) is for drums in General MIDI and is left
/// out; past fifteen parts the channels begin anew.
pub(super) fn midi_channel(part: usize) -> u8 {
    let channel = (part % 15) as u8;
    if channel < 9 { channel } else { channel + 1 }
}

/// Places on the line of fifths by which a transposing part sounds from what it reads (B♭ clarinet
/// −2). A transposition that gives semitones but no fitting steps takes the usual spelling.
fn fifths_of(transposition: Transposition) -> i16 {
    use crate::score::{Midi, NoteName, Pitch, Step};
    let (steps, semitones) =
        (i16::from(transposition.diatonic), i16::from(transposition.chromatic));
    if semitones == 0 && steps == 0 {
        return 0;
    }
    let step = Step::ALL[usize::from(steps.rem_euclid(7).unsigned_abs())];
    let alter = semitones - step.semitones() - 12 * steps.div_euclid(7);
    match i8::try_from(alter) {
        Ok(alter) if alter.abs() <= 1 => NoteName::new(step, alter).fifths(),
        _ => Pitch::spelled(Midi::new(60 + semitones), 0).name.fifths(),
    }
}
