//! What stands around the notes: bar lines, directions, chord symbols.

use crate::score::{Chord, EndingStop, Jump, Measure, NoteName, Part, Score, Time, Words};

use super::fifths_of;
use super::xml::Xml;

/// Something that stands at a moment of a measure above its first lane.
pub(super) enum Sign<'a> {
    /// A tempo in quarter notes a minute; the flag says whether the beat is dotted.
    Tempo(f64, bool),
    /// A rehearsal mark.
    Mark(&'a str),
    /// Words.
    Words(&'a str),
    /// A chord symbol; `None` for "no chord".
    Chord(Option<Chord>),
    /// A jump or its target.
    Jump(&'a Jump),
}

/// Signs of a part in order of time; those of one moment in the order of this page.
pub(super) fn signs<'a>(score: &'a Score, part: &'a Part, shared: bool) -> Vec<(Time, Sign<'a>)> {
    let mut signs: Vec<(Time, Sign<'a>)> = Vec::new();
    if shared {
        signs.extend(score.marks.iter().map(|m| (m.at, Sign::Mark(&m.text))));
        signs.extend(score.tempos.iter().filter(|t| t.quarter_bpm > 0.0).map(|t| {
            let dotted = score.measure_at(t.at).is_some_and(|m| m.meter.is_compound());
            (t.at, Sign::Tempo(t.quarter_bpm, dotted))
        }));
        signs.extend(score.chords.iter().map(|c| {
            // Chord symbols stand in the key that the part reads, like its notes.
            let start = score.measure_at(c.at).map_or(Time::ZERO, |m| m.start);
            let fifths = fifths_of(part.transposition_at(start));
            (c.at, Sign::Chord(c.chord.as_ref().map(|chord| chord.transposed(-fifths))))
        }));
    }
    let words = part.words.iter().filter(|w| !repeats_jump(score, w));
    signs.extend(words.map(|w| (w.at, Sign::Words(&w.text))));
    signs.sort_by_key(|s| s.0);
    signs
}

/// Whether words only print a jump ("Fine", "D.C. al Coda") that a measure there has anyway: its
/// sign is written with words of its own.
fn repeats_jump(score: &Score, words: &Words) -> bool {
    let plain: String =
        words.text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect();
    let begins = ["dacapo", "dcal", "dcsenza", "dalsegno", "dsal"];
    let is_jump = ["fine", "tocoda", "alcoda", "coda", "segno", "dc", "ds"].contains(&&*plain)
        || begins.iter().any(|b| plain.starts_with(b));
    let after = score.measures.partition_point(|m| m.start <= words.at);
    is_jump
        && score.measures[after.saturating_sub(2)..after]
            .iter()
            .any(|m| m.end() >= words.at && !m.jumps.is_empty())
}

/// Writes a sign. `offset` is how many divisions after the current place it stands.
pub(super) fn sign(xml: &mut Xml, sign: &Sign<'_>, score: &Score, offset: i64) {
    match sign {
        Sign::Chord(chord) => harmony(xml, chord.as_ref(), offset),
        Sign::Words(text) => direction(xml, offset, None, |xml| xml.text("words", text)),
        Sign::Mark(text) => direction(xml, offset, None, |xml| xml.text("rehearsal", text)),
        Sign::Tempo(bpm, dotted) => {
            let exact = bpm.to_string();
            let per_minute = if *dotted { bpm / 1.5 } else { *bpm };
            // What is printed is rounded to hundredths; what sounds isn't.
            let shown = ((per_minute * 100.0).round() / 100.0).to_string();
            direction(xml, offset, Some(("tempo", &exact)), |xml| {
                xml.open("metronome", &[]);
                xml.text("beat-unit", "quarter");
                if *dotted {
                    xml.empty("beat-unit-dot", &[]);
                }
                xml.text("per-minute", &shown);
                xml.close("metronome");
            });
        }
        Sign::Jump(jump) => {
            let has = |wanted: &Jump| score.measures.iter().any(|m| m.jumps.contains(wanted));
            let how = match (has(&Jump::Fine), has(&Jump::Coda)) {
                (true, _) => " al Fine",
                (false, true) => " al Coda",
                (false, false) => "",
            };
            match jump {
                Jump::Segno => direction(xml, offset, Some(("segno", "segno")), |xml| {
                    xml.empty("segno", &[]);
                }),
                Jump::Coda => direction(xml, offset, Some(("coda", "coda")), |xml| {
                    xml.empty("coda", &[]);
                }),
                Jump::ToCoda => direction(xml, offset, Some(("tocoda", "coda")), |xml| {
                    xml.text("words", "To Coda");
                }),
                Jump::DaCapo => direction(xml, offset, Some(("dacapo", "yes")), |xml| {
                    xml.text("words", &format!("D.C.{how}"));
                }),
                Jump::DalSegno => direction(xml, offset, Some(("dalsegno", "segno")), |xml| {
                    xml.text("words", &format!("D.S.{how}"));
                }),
                Jump::Fine => direction(xml, offset, Some(("fine", "yes")), |xml| {
                    xml.text("words", "Fine");
                }),
            }
        }
    }
}

/// Whether a jump's sign stands at the start of its measure (else at its end).
pub(super) fn at_start(jump: &Jump) -> bool {
    matches!(jump, Jump::Segno | Jump::Coda)
}

fn direction(
    xml: &mut Xml,
    offset: i64,
    sound: Option<(&str, &str)>,
    content: impl FnOnce(&mut Xml),
) {
    xml.open("direction", &[("placement", "above")]);
    xml.open("direction-type", &[]);
    content(xml);
    xml.close("direction-type");
    if offset != 0 {
        xml.text_with("offset", &[("sound", "yes")], &offset.to_string());
    }
    if let Some((attribute, value)) = sound {
        xml.empty("sound", &[(attribute, value)]);
    }
    xml.close("direction");
}

/// MusicXML 4.0 numbers the degrees of an added tone from the root's major scale with a minor
/// seventh (`degree-alter`: "relative to a dominant chord"). Rows: degree and alteration for 0 to 11
/// semitones above the root.
const DEGREES: [(i64, i64); 12] = [
    (1, 0),
    (9, -1),
    (9, 0),
    (3, -1),
    (3, 0),
    (11, 0),
    (5, -1),
    (5, 0),
    (5, 1),
    (13, 0),
    (7, 0),
    (7, 1),
];

fn harmony(xml: &mut Xml, chord: Option<&Chord>, offset: i64) {
    xml.open("harmony", &[]);
    match chord {
        // The schema wants a root even where no chord sounds; its text is hidden (common practice).
        None => {
            xml.open("root", &[]);
            xml.text_with("root-step", &[("text", "")], "C");
            xml.close("root");
            xml.text_with("kind", &[("text", "N.C.")], "none");
        }
        Some(chord) => {
            name(xml, "root", chord.root);
            xml.text_with("kind", &[("text", chord.quality.suffix())], chord.quality.name());
            if let Some(bass) = chord.bass {
                name(xml, "bass", bass);
            }
            for degree in &chord.degrees {
                let gone = *degree < 0;
                let tone = if gone { -1 - *degree } else { *degree };
                let (value, alter) = DEGREES[usize::from(tone.rem_euclid(12).unsigned_abs())];
                // Above the octave, tones keep their place: 2 and 14 are both a ninth to readers.
                xml.open("degree", &[]);
                xml.number("degree-value", value);
                // A tone that is taken off is named as the chord has it.
                xml.number("degree-alter", if gone { 0 } else { alter });
                xml.text("degree-type", if gone { "subtract" } else { "add" });
                xml.close("degree");
            }
        }
    }
    if offset != 0 {
        xml.number("offset", offset);
    }
    xml.close("harmony");
}

fn name(xml: &mut Xml, element: &str, name: NoteName) {
    let (step, alter) = match element {
        "root" => ("root-step", "root-alter"),
        _ => ("bass-step", "bass-alter"),
    };
    xml.open(element, &[]);
    xml.text(step, name.step.letter().encode_utf8(&mut [0; 4]));
    if name.alter != 0 {
        xml.number(alter, i64::from(name.alter));
    }
    xml.close(element);
}

/// The numbers of an ending as MusicXML has them: `1, 2`.
fn ending_numbers(numbers: &[u8]) -> String {
    let numbers: Vec<String> = numbers.iter().filter(|n| **n > 0).map(u8::to_string).collect();
    if numbers.is_empty() { "1".to_owned() } else { numbers.join(", ") }
}

/// The bar line at a measure's start, where it shows anything.
pub(super) fn left_bar_line(xml: &mut Xml, measure: &Measure) {
    if !measure.repeat_start && measure.ending_start.is_empty() {
        return;
    }
    xml.open("barline", &[("location", "left")]);
    if measure.repeat_start {
        xml.text("bar-style", "heavy-light");
    }
    if !measure.ending_start.is_empty() {
        let numbers = ending_numbers(&measure.ending_start);
        xml.empty("ending", &[("number", &numbers), ("type", "start")]);
    }
    if measure.repeat_start {
        xml.empty("repeat", &[("direction", "forward")]);
    }
    xml.close("barline");
}

/// The bar line at a measure's end, where it isn't a plain one. `ending` holds the numbers of the
/// ending that was begun last.
pub(super) fn right_bar_line(xml: &mut Xml, measure: &Measure, ending: &[u8], last: bool) {
    if measure.repeat_end.is_none() && measure.ending_stop.is_none() && !measure.double_bar && !last
    {
        return;
    }
    xml.open("barline", &[("location", "right")]);
    if measure.repeat_end.is_some() || (last && !measure.double_bar) {
        xml.text("bar-style", "light-heavy");
    } else if measure.double_bar {
        xml.text("bar-style", "light-light");
    }
    if let Some(stop) = measure.ending_stop {
        let kind = match stop {
            EndingStop::Hooked => "stop",
            EndingStop::Open => "discontinue",
        };
        xml.empty("ending", &[("number", &ending_numbers(ending)), ("type", kind)]);
    }
    if let Some(times) = measure.repeat_end {
        let count = times.to_string();
        let attributes = [("direction", "backward"), ("times", count.as_str())];
        xml.empty("repeat", if times == 2 { &attributes[..1] } else { &attributes });
    }
    xml.close("barline");
}
