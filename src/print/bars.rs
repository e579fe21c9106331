//! The bar picture: an instrument's row of bars as it stands for a song.
//!
//! Bars are drawn with their lengths in proportion. A state is told by shape, pattern and word at
//! once, never by colour: a bar that stays is a plain outlined bar; a spare put in has a heavy outline
//! and hatched ends; a gap is a dashed outline with nothing on it; a filler is a short dotted card.

use std::fmt::Write;

use super::names::Letters;
use crate::kit::{Bar, Instrument, Mark, Setup, State};

/// Width of one bar with its space, in drawing units (a tenth of a millimetre at full size).
const PITCH: f64 = 120.0;
/// Width of a bar.
const WIDTH: f64 = 100.0;
/// Length of the longest bar drawn.
const LONGEST: f64 = 640.0;
/// Semitones over which a bar becomes half as long: frequency goes with thickness over length
/// squared, so n semitones higher at equal thickness is 2^(−n/24) as long. Fletcher & Rossing, The
/// Physics of Musical Instruments, chapters on bars and mallet percussion.
const SEMITONES_TO_HALF: f64 = 24.0;
/// The nodes of a free uniform bar's first mode lie this share of its length from each end: the
/// holes or pegs. Same source.
const NODE: f64 = 0.224;

/// Length of a bar as a share of the length of one `semitones` lower.
pub(super) fn relative_length(semitones: i16) -> f64 {
    2f64.powf(-f64::from(semitones) / SEMITONES_TO_HALF)
}

/// The picture as an SVG element with its text alternative.
pub(super) fn picture(
    instrument: &Instrument,
    setup: &Setup,
    letters: &Letters,
    id: &str,
) -> String {
    let Some(lowest) = instrument.slots.first().map(|s| s.bar.0) else { return String::new() };
    let width = PITCH * instrument.slots.len() as f64;
    let height = LONGEST + 150.0;
    let mut svg = String::new();
    let (width, height) = (whole(width), whole(height));
    let _ = write!(
        svg,
        r#"<svg class="bars" role="img" aria-labelledby="{id}" viewBox="0 0 {width} {height}" style="--slots:{}"><title id="{id}">{}</title>"#,
        instrument.slots.len(),
        escape(&sentence(instrument, setup, letters)),
    );
    let _ = write!(
        svg,
        r#"<defs><pattern id="{id}-h" width="14" height="14" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><path d="M0 0V14" stroke="currentColor" stroke-width="5"/></pattern><pattern id="{id}-d" width="20" height="20" patternUnits="userSpaceOnUse"><circle cx="10" cy="10" r="3.2" fill="currentColor"/></pattern></defs>"#
    );
    let middle = LONGEST / 2.0 + 10.0;
    for (i, (slot, state)) in instrument.slots.iter().zip(&setup.states).enumerate() {
        let x = PITCH * i as f64 + (PITCH - WIDTH) / 2.0;
        let center = x + WIDTH / 2.0;
        let bar = match state {
            State::Swap(bar) => *bar,
            _ => slot.bar,
        };
        let length = LONGEST * relative_length((bar.0 - lowest).semitones()).min(1.06);
        let y = middle - length / 2.0;
        let letter = letters.letter(bar.0);
        match state {
            State::Keep => {
                let (left, top, tall) = (whole(x), whole(y), whole(length));
                let _ = write!(
                    svg,
                    r#"<rect class="bar" x="{left}" y="{top}" width="{WIDTH}" height="{tall}" rx="10" stroke-width="5"/>"#
                );
                holes(&mut svg, center, y, length);
                text(&mut svg, center, middle + 22.0, size(&letter, 66.0), true, &letter);
            }
            State::Swap(_) => {
                let end = length * 0.13;
                let (left, top, tall) = (whole(x), whole(y), whole(length));
                let (low, band) = (whole(y + length - end), whole(end));
                let _ = write!(
                    svg,
                    r#"<rect class="bar" x="{left}" y="{top}" width="{WIDTH}" height="{tall}" stroke-width="13"/><rect x="{left}" y="{top}" width="{WIDTH}" height="{band}" fill="url(#{id}-h)"/><rect x="{left}" y="{low}" width="{WIDTH}" height="{band}" fill="url(#{id}-h)"/>"#
                );
                holes(&mut svg, center, y, length);
                text(&mut svg, center, middle + 22.0, size(&letter, 66.0), true, &letter);
                let from = format!("not {}", letters.letter(slot.bar.0));
                text(&mut svg, center, middle + 74.0, 30.0, false, &from);
            }
            State::Remove => {
                let (left, top, tall) = (whole(x), whole(y), whole(length));
                let _ = write!(
                    svg,
                    r#"<rect x="{left}" y="{top}" width="{WIDTH}" height="{tall}" rx="10" fill="none" stroke="currentColor" stroke-width="3" stroke-dasharray="10 14"/>"#
                );
                text(&mut svg, center, middle + 16.0, size(&letter, 44.0), false, &letter);
            }
            State::Fill => {
                let card = length * 0.56;
                let (left, top, tall) = (whole(x), whole(middle - card / 2.0), whole(card));
                let _ = write!(
                    svg,
                    r#"<rect x="{left}" y="{top}" width="{WIDTH}" height="{tall}" rx="40" fill="url(#{id}-d)" stroke="currentColor" stroke-width="4"/><rect class="bar plain" x="{}" y="{}" width="76" height="70" rx="20"/>"#,
                    whole(center - 38.0),
                    whole(middle - 36.0)
                );
                text(&mut svg, center, middle + 16.0, size(&letter, 44.0), false, &letter);
            }
        }
        if let Some(mark) =
            instrument.mark(bar).filter(|_| matches!(state, State::Keep | State::Swap(_)))
        {
            // Under the letter; above it where "not F" stands there.
            let y = if matches!(state, State::Keep) { middle + 62.0 } else { middle - 66.0 };
            draw_mark(&mut svg, mark, center, y);
        }
        let word = word(*state, slot.loose);
        text(
            &mut svg,
            center,
            LONGEST + 76.0,
            38.0,
            matches!(state, State::Keep | State::Swap(_)),
            word,
        );
        if slot.lost {
            text(&mut svg, center, LONGEST + 118.0, 30.0, false, "lost");
        }
    }
    svg.push_str("</svg>");
    svg
}

/// A word for a state, short enough to stand under a bar.
fn word(state: State, loose: bool) -> &'static str {
    match state {
        State::Keep => "keep",
        State::Swap(_) => "swap",
        State::Remove if loose => "away",
        State::Remove => "off",
        State::Fill => "filler",
    }
}

fn size(letter: &str, usual: f64) -> f64 {
    // A bar is 100 wide; bold letters run to about 0.72 of their size.
    let n = letter.chars().filter(|c| !"′″‴".contains(*c)).count() as f64;
    usual.min(usual * 1.75 / n.max(1.0))
}

/// Whole units: a picture of 640 needs no more, and whole numbers are quick to write.
fn whole(units: f64) -> i64 {
    units.round_ties_even() as i64
}

fn text(svg: &mut String, x: f64, y: f64, size: f64, bold: bool, what: &str) {
    let weight = if bold { r#" font-weight="700""# } else { "" };
    let (x, y, size) = (whole(x), whole(y), whole(size));
    let _ = write!(
        svg,
        r#"<text x="{x}" y="{y}" font-size="{size}" text-anchor="middle"{weight}>{}</text>"#,
        escape(what)
    );
}

fn holes(svg: &mut String, center: f64, y: f64, length: f64) {
    for share in [NODE, 1.0 - NODE] {
        let center = whole(center);
        let _ = write!(
            svg,
            r#"<circle cx="{center}" cy="{}" r="7" fill="none" stroke="currentColor" stroke-width="3"/>"#,
            whole(y + length * share)
        );
    }
}

fn draw_mark(svg: &mut String, mark: &Mark, center: f64, y: f64) {
    if let Some(color) = &mark.color {
        let (center, y) = (whole(center), whole(y));
        let _ = write!(
            svg,
            r#"<circle cx="{center}" cy="{y}" r="22" fill="{}" stroke="currentColor" stroke-width="3"/>"#,
            escape(color)
        );
    }
    if let Some(symbol) = &mark.symbol {
        if mark.color.is_some() {
            // A symbol of a coloured mark stands beyond the lower hole.
            text(svg, center, y + 72.0, 34.0, false, symbol);
        } else {
            text(svg, center, y + 12.0, 40.0, false, symbol);
        }
    }
}

/// The steps that set the instrument up, in words: one for each kind of change, empty where all
/// plain bars stay.
pub(super) fn steps(instrument: &Instrument, setup: &Setup, letters: &Letters) -> Vec<String> {
    let pairs = || instrument.slots.iter().zip(&setup.states);
    let list = |want: &dyn Fn(State) -> bool, loose: bool| -> Vec<String> {
        pairs()
            .filter(|(slot, state)| want(**state) && slot.loose == loose && !slot.lost)
            .map(|(slot, _)| letters.letter(slot.bar.0))
            .collect()
    };
    let mut said = Vec::new();
    let off = list(&|s| s == State::Remove, false);
    if !off.is_empty() {
        said.push(format!("Take off {} ({}).", off.join(" "), count(off.len(), "bar")));
    }
    for (slot, state) in pairs() {
        if let State::Swap(bar) = state {
            let (own, spare) = (letters.letter(slot.bar.0), letters.letter(bar.0));
            said.push(format!("Swap {own} for {spare}."));
        }
    }
    let fill = list(&|s| s == State::Fill, false);
    if !fill.is_empty() {
        said.push(format!(
            "Take off {} and put fillers there ({}).",
            fill.join(" "),
            count(fill.len(), "filler")
        ));
    }
    let away: Vec<String> = pairs()
        .filter(|(slot, state)| {
            **state == State::Remove && slot.loose && slot.plain() == State::Keep
        })
        .map(|(slot, _)| letters.letter(slot.bar.0))
        .collect();
    if !away.is_empty() {
        said.push(format!("Put away {}.", away.join(" ")));
    }
    let fetch: Vec<String> = pairs()
        .filter(|(slot, state)| {
            **state == State::Keep && slot.loose && slot.plain() == State::Remove
        })
        .map(|(slot, _)| letters.letter(slot.bar.0))
        .collect();
    if !fetch.is_empty() {
        said.push(format!("Fetch {}.", fetch.join(" ")));
    }
    said
}

/// The whole picture as a sentence.
pub(super) fn sentence(instrument: &Instrument, setup: &Setup, letters: &Letters) -> String {
    let mut words = Vec::with_capacity(instrument.slots.len());
    for (slot, state) in instrument.slots.iter().zip(&setup.states) {
        let own = letters.letter(slot.bar.0);
        words.push(match state {
            State::Keep => format!("{own} keep"),
            State::Swap(Bar(midi)) => format!("{own} swapped for {}", letters.letter(*midi)),
            State::Remove if slot.loose => format!("{own} away"),
            State::Remove => format!("{own} off"),
            State::Fill => format!("{own} off with a filler"),
        });
    }
    format!("{}, bars from low to high: {}.", instrument.name, words.join(", "))
}

/// `1 bar`, `9 bars`.
pub(super) fn count(n: usize, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}

/// Text made safe for SVG and HTML, attributes included.
pub(super) fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            c => safe.push(c),
        }
    }
    safe
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Fletcher & Rossing: two octaves higher at equal thickness is half as long.
    #[test]
    fn two_octaves_halve_a_bar() {
        assert!((relative_length(24) - 0.5).abs() < 1e-12);
        assert!((relative_length(12) - 0.5f64.sqrt()).abs() < 1e-12);
    }
}
