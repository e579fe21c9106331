//! One `note` element: its children looked up in a single pass.

use roxmltree::Node;

use super::super::Error;
use super::xml::{Decimal, bad_number, child_text, elements, integer, text};
use crate::score::{Lyric, Pitch, Slide, Step, Syllabic, Time, value};

/// Syllables sung on one note are joined by an undertie.
const UNDERTIE: char = '\u{203F}';

/// What a note element says, times still as written.
pub(super) struct Written<'a, 'i> {
    pub(super) grace: bool,
    pub(super) cue: bool,
    pub(super) chord: bool,
    pub(super) rest: bool,
    pub(super) unpitched: bool,
    pub(super) pitch: Option<Pitch>,
    pub(super) duration: Option<Node<'a, 'i>>,
    pub(super) voice: &'a str,
    pub(super) staff: u8,
    pub(super) tie_start: bool,
    pub(super) tie_stop: bool,
    pub(super) value: &'a str,
    pub(super) dots: u32,
    pub(super) tuplet: Option<(u16, u16)>,
    pub(super) fermata: bool,
    pub(super) slide: Option<Slide>,
    /// Whether an alteration was no whole number of semitones.
    pub(super) rounded_alter: bool,
    /// Whether it has a `lyric` at all; they are read only for notes that are kept.
    pub(super) has_lyrics: bool,
}

impl Written<'_, '_> {
    /// The length that type, dots and time modification name; `None` without a known type.
    pub(super) fn nominal(&self) -> Option<Time> {
        let base = value::length_of(self.value)?;
        let dots = self.dots.min(8);
        // With k dots a value lasts (2 − 2^−k) of its base.
        let dotted = base * ((1i64 << (dots + 1)) - 1) / (1i64 << dots);
        Some(match self.tuplet {
            Some((actual, normal)) => dotted * i64::from(normal) / i64::from(actual),
            None => dotted,
        })
    }
}

/// Reads a note element.
pub(super) fn read<'a, 'i>(node: Node<'a, 'i>) -> Result<Written<'a, 'i>, Error> {
    let mut w = Written {
        grace: false,
        cue: false,
        chord: false,
        rest: false,
        unpitched: false,
        pitch: None,
        duration: None,
        voice: "",
        staff: 1,
        tie_start: false,
        tie_stop: false,
        value: "",
        dots: 0,
        tuplet: None,
        fermata: false,
        slide: None,
        rounded_alter: false,
        has_lyrics: false,
    };
    for part in elements(node) {
        match part.tag_name().name() {
            "pitch" => {
                let (pitch, rounded) = pitch(part)?;
                w.pitch = Some(pitch);
                w.rounded_alter = rounded;
            }
            "duration" => w.duration = Some(part),
            "voice" => w.voice = text(part),
            "type" => w.value = text(part),
            "chord" => w.chord = true,
            "dot" => w.dots += 1,
            "rest" => w.rest = true,
            "grace" => w.grace = true,
            "cue" => w.cue = true,
            "unpitched" => w.unpitched = true,
            "staff" => w.staff = text(part).parse().unwrap_or(1).max(1),
            "tie" => match part.attribute("type") {
                Some("start") => w.tie_start = true,
                Some("stop") => w.tie_stop = true,
                _ => {}
            },
            "time-modification" => w.tuplet = ratio(part),
            "notations" => {
                for sign in elements(part) {
                    match sign.tag_name().name() {
                        "fermata" => w.fermata = true,
                        "glissando" | "slide" => match sign.attribute("type") {
                            Some("start") => w.slide = Some(Slide::Start),
                            // A note between two slides both ends one and begins one.
                            Some("stop") if w.slide == Some(Slide::Start) => {
                                w.slide = Some(Slide::Through);
                            }
                            Some("stop") => w.slide = Some(Slide::Stop),
                            _ => {}
                        },
                        _ => {}
                    }
                }
            }
            "lyric" => w.has_lyrics = true,
            _ => {}
        }
    }
    Ok(w)
}

/// A pitch as written, and whether its alteration was rounded to semitones.
fn pitch(node: Node<'_, '_>) -> Result<(Pitch, bool), Error> {
    let mut step = None;
    let mut alter = 0i8;
    let mut octave = None;
    let mut rounded = false;
    for part in elements(node) {
        match part.tag_name().name() {
            "step" => {
                let mut letters = text(part).chars();
                step =
                    letters.next().and_then(Step::from_letter).filter(|_| letters.next().is_none());
                if step.is_none() {
                    return Err(bad_number(part, "step", "is a letter from A to G"));
                }
            }
            "alter" => (alter, rounded) = semitones(part, "alter", 6)?,
            "octave" => {
                let n = integer(part, "octave", (-1, 10), "is a whole number from -1 to 10")?;
                octave = Some(n as i8);
            }
            _ => {}
        }
    }
    match (step, octave) {
        (Some(step), Some(octave)) => Ok((Pitch::new(step, alter, octave), rounded)),
        _ => Err(bad_number(node, "pitch", "needs a step and an octave")),
    }
}

/// A number of semitones, quarter tones rounded towards zero; true where it was rounded. An empty
/// element counts as none.
pub(super) fn semitones(
    node: Node<'_, '_>,
    element: &'static str,
    most: i64,
) -> Result<(i8, bool), Error> {
    let written = text(node);
    if written.is_empty() {
        return Ok((0, false));
    }
    match Decimal::parse(written) {
        Some(x) if (x.n / x.d).abs() <= most => Ok(((x.n / x.d) as i8, x.d != 1)),
        _ => Err(bad_number(node, element, "is a small number of semitones")),
    }
}

/// Actual and normal notes of a time modification; `None` where they make no ratio.
fn ratio(node: Node<'_, '_>) -> Option<(u16, u16)> {
    let number =
        |name| child_text(node, name).parse::<u16>().ok().filter(|n| (1..=1024).contains(n));
    Some((number("actual-notes")?, number("normal-notes")?))
}

/// The syllables under a note. `names` holds the verse names met so far that are no numbers.
pub(super) fn lyrics(node: Node<'_, '_>, names: &mut Vec<String>) -> Vec<Lyric> {
    let mut lyrics: Vec<Lyric> = Vec::new();
    for lyric in elements(node).filter(|n| n.tag_name().name() == "lyric") {
        let Some(mut read) = syllable(lyric) else { continue };
        read.verse = verse(lyric.attribute("number").or(lyric.attribute("name")), names);
        if lyrics.iter().all(|l| l.verse != read.verse) {
            lyrics.push(read);
        }
    }
    lyrics.sort_by_key(|l| l.verse);
    lyrics
}

/// The verse that a `lyric`'s number names: the number at its end, or for other names their order
/// of appearance.
fn verse(number: Option<&str>, names: &mut Vec<String>) -> u8 {
    let Some(number) = number.map(str::trim).filter(|n| !n.is_empty()) else { return 1 };
    let start = number.trim_end_matches(|c: char| c.is_ascii_digit()).len();
    if let Some(n) = number.get(start..).and_then(|n| n.parse::<u8>().ok()).filter(|n| *n > 0) {
        return n;
    }
    let place = names.iter().position(|n| n == number).unwrap_or_else(|| {
        // A score has a handful of verses; names beyond that share the last place.
        if names.len() < 32 {
            names.push(number.to_owned());
        }
        names.len().saturating_sub(1)
    });
    place as u8 + 1
}

/// The syllable of a `lyric`; `None` where it has no text (a melisma's line going on).
fn syllable(lyric: Node<'_, '_>) -> Option<Lyric> {
    let mut joined = String::new();
    let mut extend = false;
    // Whether the first syllable goes on from the one before, and the last into the next.
    let (mut from_before, mut into_next) = (false, false);
    let mut first = true;
    let mut elided = false;
    let mut syllabic = "single";
    for part in elements(lyric) {
        match part.tag_name().name() {
            "syllabic" => syllabic = text(part),
            "text" => {
                let piece = text(part);
                if elided && !joined.is_empty() && !piece.is_empty() {
                    joined.push(UNDERTIE);
                }
                joined.push_str(piece);
                elided = false;
                if first {
                    from_before = matches!(syllabic, "middle" | "end");
                    first = false;
                }
                into_next = matches!(syllabic, "middle" | "begin");
            }
            "elision" => {
                elided = true;
                syllabic = "single";
            }
            "extend" => extend = part.attribute("type") != Some("stop"),
            _ => {}
        }
    }
    if joined.is_empty() {
        return None;
    }
    let syllabic = match (from_before, into_next) {
        (false, false) => Syllabic::Single,
        (false, true) => Syllabic::Begin,
        (true, true) => Syllabic::Middle,
        (true, false) => Syllabic::End,
    };
    Some(Lyric { verse: 1, text: joined, syllabic, extend })
}
