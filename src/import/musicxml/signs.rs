//! What stands around the notes: attributes, chord symbols, bar lines, jumps, tempo.

use roxmltree::Node;

use super::super::Error;
use super::note::semitones;
use super::raw::{RawMeter, diatonic_of};
use super::xml::{child, child_text, elements, integer, text};
use crate::score::{
    Chord, Interval, Jump, Meter, Mode, NoteName, Quality, Step, Time, Transposition, value,
};

/// A key signature as written; the flag is true where a non-traditional one was brought to the
/// nearest traditional one.
pub(super) fn key(node: Node<'_, '_>) -> Option<(i8, Option<Mode>, bool)> {
    let mode = match child_text(node, "mode") {
        "major" | "ionian" => Some(Mode::Major),
        "minor" | "aeolian" => Some(Mode::Minor),
        other => Mode::ALL.into_iter().find(|m| m.name() == other),
    };
    if let Some(fifths) = child(node, "fifths") {
        let fifths = text(fifths).parse::<i8>().ok().filter(|f| (-11..=11).contains(f))?;
        return Some((fifths, mode, false));
    }
    // Steps and their alterations, one after the other.
    let mut wanted = [0i8; 7];
    let mut step = None;
    for part in elements(node) {
        match part.tag_name().name() {
            "key-step" => step = text(part).chars().next().and_then(Step::from_letter),
            "key-alter" => {
                let alter = semitones(part, "key-alter", 6).ok()?.0;
                if let Some(slot) = step.and_then(|s| wanted.get_mut(s.index() as usize)) {
                    *slot = alter;
                }
            }
            _ => {}
        }
    }
    step?;
    // The traditional signature that differs in the fewest letters; the one with fewer signs first.
    let differs = |fifths: i8| {
        let mut signs = [0i8; 7];
        for place in i16::from(fifths) - 1..i16::from(fifths) + 6 {
            let name = NoteName::from_fifths(place);
            if let Some(slot) = signs.get_mut(name.step.index() as usize) {
                *slot = name.alter;
            }
        }
        signs.iter().zip(&wanted).filter(|(a, b)| a != b).count()
    };
    let nearest = (-7..=7).min_by_key(|f: &i8| (differs(*f), f.unsigned_abs()))?;
    Some((nearest, mode, differs(nearest) > 0))
}

/// A time signature; `None` where it names none that can be.
pub(super) fn meter(node: Node<'_, '_>) -> Option<RawMeter> {
    let mut groups: Vec<(u16, u16)> = Vec::new();
    let mut beats: Vec<u16> = Vec::new();
    for part in elements(node) {
        match part.tag_name().name() {
            "senza-misura" => return Some(RawMeter::Senza),
            "beats" => {
                beats.clear();
                for n in text(part).split('+') {
                    beats.push(n.trim().parse().ok().filter(|n| (1..=1024).contains(n))?);
                }
            }
            "beat-type" => {
                let unit = text(part).parse::<u16>().ok().filter(|n| (1..=1024).contains(n))?;
                groups.extend(beats.drain(..).map(|n| (n, unit)));
            }
            _ => {}
        }
    }
    let unit = groups.iter().map(|g| g.1).max()?;
    if let [(beats, unit)] = groups[..] {
        return Meter::new(beats, unit).map(RawMeter::Meter);
    }
    // 3/8 + 2/4 is 3+4 over 8.
    let mut scaled = Vec::with_capacity(groups.len());
    for (n, over) in &groups {
        if unit % over != 0 {
            return None;
        }
        scaled.push(u8::try_from(n * (unit / over)).ok()?);
    }
    let total = || Meter::new(scaled.iter().map(|g| u16::from(*g)).sum(), unit);
    Meter::additive(&scaled, unit).or_else(total).map(RawMeter::Meter)
}

/// A `transpose` element.
pub(super) fn transposition(node: Node<'_, '_>) -> Result<Transposition, Error> {
    let mut t = Transposition::default();
    let mut diatonic = None;
    for part in elements(node) {
        match part.tag_name().name() {
            "chromatic" => t.chromatic = semitones(part, "chromatic", 60)?.0,
            "diatonic" => {
                let n = integer(part, "diatonic", (-40, 40), "is a small number of staff steps")?;
                diatonic = Some(n as i8);
            }
            "octave-change" => {
                let n = integer(part, "octave-change", (-8, 8), "is a small number of octaves")?;
                t.octaves = n as i8;
            }
            _ => {}
        }
    }
    t.diatonic = diatonic.unwrap_or_else(|| diatonic_of(Interval::new(i16::from(t.chromatic))));
    Ok(t)
}

fn name(node: Node<'_, '_>, step: &str, alter: &str) -> Option<NoteName> {
    let letter = Step::from_letter(child_text(node, step).chars().next()?)?;
    let alter = child(node, alter).and_then(|n| semitones(n, "alter", 3).ok()).map_or(0, |a| a.0);
    Some(NoteName::new(letter, alter))
}

/// A chord symbol as written: outer `None` where it names no root, inner `None` for "no chord".
pub(super) fn harmony(node: Node<'_, '_>) -> Option<Option<Chord>> {
    let kind = child_text(node, "kind");
    if kind == "none" {
        return Some(None);
    }
    let root = name(child(node, "root")?, "root-step", "root-alter")?;
    let quality = Quality::from_musicxml(kind).unwrap_or(Quality::OTHER);
    let mut chord = Chord::new(root, quality);
    for part in elements(node) {
        match part.tag_name().name() {
            "bass" => {
                chord.bass = name(part, "bass-step", "bass-alter").filter(|b| *b != root);
            }
            "degree" => degree(part, &mut chord),
            _ => {}
        }
    }
    if chord.bass.is_none()
        && let Ok(inversion) = child_text(node, "inversion").parse::<usize>()
        && inversion > 0
        && let Some(tone) = quality.semitones().get(inversion)
    {
        chord.bass = Some(tone_name(root, *tone));
    }
    Some(Some(chord))
}

/// The usual name of a chord tone so many semitones above the root.
fn tone_name(root: NoteName, semitones: i16) -> NoteName {
    // Places on the line of fifths: the natural intervals above a root as chords spell them.
    const PLACES: [i16; 12] = [0, -5, 2, -3, 4, -1, -6, 1, 8, 3, -2, 5];
    let place = PLACES.get(semitones.rem_euclid(12) as usize).copied().unwrap_or(0);
    NoteName::from_fifths(root.fifths() + place)
}

/// Adds, alters or takes off a degree (MusicXML 4.0, `degree-alter`: added degrees count from a
/// dominant chord, altered and taken-off ones from the tone that the chord already has).
fn degree(node: Node<'_, '_>, chord: &mut Chord) {
    const SCALE: [i16; 7] = [0, 2, 4, 5, 7, 9, 10];
    let Some(value) =
        child_text(node, "degree-value").parse::<usize>().ok().filter(|v| (1..=13).contains(v))
    else {
        return;
    };
    let alter = child(node, "degree-alter").and_then(|n| semitones(n, "degree-alter", 3).ok());
    let alter = i16::from(alter.map_or(0, |a| a.0));
    let Some(natural) = SCALE.get((value - 1) % 7).copied() else { return };
    // The tone that stands for this degree in the chord: within a semitone of the natural one, or
    // the major seventh beside the minor.
    let present = chord
        .quality
        .semitones()
        .iter()
        .copied()
        .filter(|t| (t - natural).abs() <= 1)
        .min_by_key(|t| (t - natural).abs());
    match child_text(node, "degree-type") {
        "subtract" => chord.degrees.extend(present.map(|t| -1 - t)),
        "alter" => {
            chord.degrees.extend(present.map(|t| -1 - t));
            chord.degrees.push((present.unwrap_or(natural) + alter).rem_euclid(12));
        }
        _ => chord.degrees.push((natural + alter).rem_euclid(12)),
    }
}

/// Quarter notes a minute that a `sound` element names.
pub(super) fn sound_tempo(node: Node<'_, '_>) -> Option<f64> {
    node.attribute("tempo").and_then(sensible)
}

/// Quarter notes a minute that a metronome mark names: "♩. = 60". Marks that relate two note values
/// name none.
pub(super) fn metronome(node: Node<'_, '_>) -> Option<f64> {
    let mut unit = None;
    let mut dots = 0u32;
    let mut rate = None;
    for part in elements(node) {
        match part.tag_name().name() {
            "beat-unit" if unit.is_none() => unit = value::length_of(text(part)),
            "beat-unit-dot" if rate.is_none() => dots = (dots + 1).min(4),
            "per-minute" => {
                // "c. 96", "96-100": the first number.
                let digits = text(part);
                let from = digits.find(|c: char| c.is_ascii_digit())?;
                let digits = digits.get(from..)?;
                let to = digits.find(|c: char| !c.is_ascii_digit() && c != '.');
                rate = sensible(digits.get(..to.unwrap_or(digits.len()))?.trim_end_matches('.'));
            }
            _ => {}
        }
    }
    let length: Time = unit?;
    let dotted = length * ((1i64 << (dots + 1)) - 1) / (1i64 << dots);
    Some(rate? * dotted.as_f64())
}

/// A tempo that music can have; words, zeros and numbers beyond reason are none.
fn sensible(text: &str) -> Option<f64> {
    let text = text.trim();
    let plain = text.bytes().all(|b| b.is_ascii_digit() || b == b'.');
    let bpm = text.parse::<f64>().ok().filter(|_| plain)?;
    (1.0..=10_000.0).contains(&bpm).then_some(bpm)
}

/// The jumps that a `sound` element asks for.
pub(super) fn sound_jumps(node: Node<'_, '_>, jumps: &mut Vec<Jump>) {
    for (attribute, jump) in [
        ("segno", Jump::Segno),
        ("coda", Jump::Coda),
        ("tocoda", Jump::ToCoda),
        ("dacapo", Jump::DaCapo),
        ("dalsegno", Jump::DalSegno),
        ("fine", Jump::Fine),
    ] {
        if node.attribute(attribute).is_some_and(|v| v != "no") {
            jumps.push(jump);
        }
    }
}

/// The jump that printed words ask for ("D.C. al Fine", "To Coda"), where no `sound` says it.
pub(super) fn jump_in_words(words: &str) -> Option<Jump> {
    let plain: String = words
        .chars()
        .filter(|c| c.is_alphanumeric())
        .flat_map(char::to_lowercase)
        .take(40)
        .collect();
    let begins = |starts: &[&str]| starts.iter().any(|s| plain.starts_with(s));
    if plain == "fine" {
        Some(Jump::Fine)
    } else if plain == "tocoda" || plain == "alcoda" {
        Some(Jump::ToCoda)
    } else if plain == "coda" {
        Some(Jump::Coda)
    } else if plain == "segno" {
        Some(Jump::Segno)
    } else if begins(&["dacapo", "dcal", "dcsenza"]) || plain == "dc" {
        Some(Jump::DaCapo)
    } else if begins(&["dalsegno", "dsal"]) || plain == "ds" {
        Some(Jump::DalSegno)
    } else {
        None
    }
}

/// The numbers of an ending: `1`, `1, 2`, `1-3`, `1.2.`.
pub(super) fn ending_numbers(written: &str) -> Vec<u8> {
    let mut numbers: Vec<u8> = Vec::new();
    let mut range_from: Option<u8> = None;
    let mut rest = written;
    while let Some(from) = rest.find(|c: char| c.is_ascii_digit()) {
        let gap = rest.get(..from).unwrap_or("");
        let tail = rest.get(from..).unwrap_or("");
        let to = tail.find(|c: char| !c.is_ascii_digit()).unwrap_or(tail.len());
        let number =
            tail.get(..to).and_then(|n| n.parse::<u8>().ok()).filter(|n| (1..=32).contains(n));
        rest = tail.get(to..).unwrap_or("");
        let Some(number) = number else { continue };
        match range_from {
            Some(low) if gap.contains(['-', '–']) => numbers.extend(low + 1..=number.max(low)),
            _ => numbers.push(number),
        }
        range_from = Some(number);
    }
    numbers.sort_unstable();
    numbers.dedup();
    numbers
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn endings_name_their_numbers() {
        assert_eq!(ending_numbers("1"), [1]);
        assert_eq!(ending_numbers("1, 2"), [1, 2]);
        assert_eq!(ending_numbers("1-3"), [1, 2, 3]);
        assert_eq!(ending_numbers("1.2."), [1, 2]);
        assert!(ending_numbers(" ").is_empty());
    }

    #[test]
    fn words_that_jump_and_words_that_do_not() {
        assert_eq!(jump_in_words("D.C. al Fine"), Some(Jump::DaCapo));
        assert_eq!(jump_in_words("D.S. al Coda"), Some(Jump::DalSegno));
        assert_eq!(jump_in_words("To Coda"), Some(Jump::ToCoda));
        assert_eq!(jump_in_words("Fine"), Some(Jump::Fine));
        assert_eq!(jump_in_words("dolce"), None);
        assert_eq!(jump_in_words("finely"), None);
    }

    #[test]
    fn degrees_change_chords() {
        let chord = |xml: &str| {
            let document = roxmltree::Document::parse(xml).unwrap();
            harmony(document.root_element()).unwrap().unwrap()
        };
        let numbers = |c: &Chord| {
            let mut n: Vec<i16> = c.classes().iter().map(|c| c.number()).collect();
            n.sort_unstable();
            n
        };
        // C7 with a flattened fifth: C E G♭ B♭.
        let c = chord(
            "<harmony><root><root-step>C</root-step></root><kind>dominant</kind><degree>\
             <degree-value>5</degree-value><degree-alter>-1</degree-alter><degree-type>alter\
             </degree-type></degree></harmony>",
        );
        assert_eq!(numbers(&c), [0, 4, 6, 10]);
        // A with an added ninth, first inversion.
        let c = chord(
            "<harmony><root><root-step>A</root-step></root><kind>major</kind>\
             <inversion>1</inversion><degree><degree-value>9</degree-value><degree-alter>0\
             </degree-alter><degree-type>add</degree-type></degree></harmony>",
        );
        assert_eq!(c.symbol(), "A/C#");
        assert_eq!(numbers(&c), [1, 4, 9, 11]);
    }
}
