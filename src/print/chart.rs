//! The letter chart: a box for each beat, the letters of the bars to strike in it, hands beneath
//! them, the sung words below as landmarks, the way through in words.
//!
//! Letters are set so that their capitals are 6.5 mm high: about 22 minutes of arc at one metre, the
//! upper end of what ISO 9241-303 prefers for reading (20 to 22; recalled from memory).

use maud::{Markup, html};

use super::names::Letters;
use super::route::{Signs, breaks_before, signs};
use crate::kit::{Bar, Instrument};
use crate::score::{Hand, Lyric, Measure, Note, Part, Score, Slide, Syllabic, Time};

/// What a chart is drawn from.
pub(super) struct Chart<'a> {
    pub score: &'a Score,
    pub part: &'a Part,
    /// Where the sung words come from: a part with lyrics.
    pub words: Option<&'a Part>,
    /// The instrument, for its marks; `None` for a singer.
    pub instrument: Option<&'a Instrument>,
    pub letters: Letters,
    /// Whether hands are shown.
    pub hands: bool,
    /// Whether every verse is shown, or the first alone.
    pub all_verses: bool,
}

/// One tone of a strike.
struct Tone {
    letter: String,
    hand: Option<Hand>,
    symbol: Option<String>,
    color: Option<String>,
}

/// One strike in a beat box.
struct Strike {
    /// From the start of the beat.
    at: Time,
    /// High to low, as they lie on the page.
    tones: Vec<Tone>,
    /// Where a slide that starts here ends, and whether that is higher.
    slide_to: Option<(String, bool)>,
}

/// One beat box.
struct Cell {
    length: Time,
    number: usize,
    strikes: Vec<Strike>,
    held: bool,
    words: Vec<String>,
}

impl Cell {
    fn silent(&self) -> bool {
        self.strikes.is_empty() && !self.held
    }

    /// The equal columns of the box, and the one (from 1) in which each strike stands: by time where
    /// halves or thirds of the beat hold all strikes; else one after the other, behind an empty column
    /// where the first comes late.
    fn columns(&self) -> (usize, Vec<usize>) {
        for n in 1..=FINEST_GRID {
            let step = self.length / n;
            let places: Option<Vec<usize>> = self
                .strikes
                .iter()
                .map(|s| (0..n).find(|k| step * *k == s.at).map(|k| k as usize + 1))
                .collect();
            if let Some(places) = places {
                return (n as usize, places);
            }
        }
        let late = usize::from(self.strikes.first().is_some_and(|s| s.at.is_positive()));
        let n = self.strikes.len();
        (n + late, (1..=n).map(|k| k + late).collect())
    }

    /// How wide a beat must be drawn, in sizes of the letters, for this box to hold its letters.
    fn need(&self) -> f64 {
        let widest = self.strikes.iter().map(Strike::width).fold(0.0, f64::max);
        let (least, most) = SHARES;
        let (columns, _) = self.columns();
        columns as f64 * widest / self.length.as_f64().clamp(least, most)
    }
}

impl Strike {
    /// Its width in sizes of the letters, with a little air.
    fn width(&self) -> f64 {
        let tone = |t: &Tone| {
            let own = f64::from(u8::from(t.color.is_some()) + u8::from(t.symbol.is_some()));
            letters_wide(&t.letter) + own * OWN_WIDTH
        };
        let tones = self.tones.iter().map(tone).fold(0.0, f64::max);
        AIR + match &self.slide_to {
            Some((to, _)) => tones + letters_wide(to) + ARROW_WIDTH,
            None => tones,
        }
    }
}

/// The width of letters in their size, from above.
fn letters_wide(letters: &str) -> f64 {
    let wide = |c: char| if "′″‴".contains(c) { STROKE_WIDTH } else { LETTER_WIDTH };
    letters.chars().map(wide).sum()
}

/// Halves and thirds of a beat are columns of their own.
const FINEST_GRID: i64 = 3;
/// Between which shares of the beat's width a box is drawn; the style sheet's `.beat` says the same.
const SHARES: (f64, f64) = (0.72, 1.34);
/// Widths in letter sizes, set by eye on DejaVu Sans Bold, the widest of the usual system fonts:
/// a letter or sign, an octave stroke, a bar's own colour or symbol, the arrow, the air beside them.
const LETTER_WIDTH: f64 = 0.8;
const STROKE_WIDTH: f64 = 0.3;
const OWN_WIDTH: f64 = 0.42;
const ARROW_WIDTH: f64 = 0.8;
const AIR: f64 = 0.12;

/// Most measures without a strike that stand one by one; from two on they are told in words.
const RESTS_DRAWN: usize = 1;

impl Chart<'_> {
    /// The chart.
    pub(super) fn html(&self) -> Markup {
        let beats = self.score.beats();
        let says = signs(&self.score.measures);
        let measures: Vec<Vec<Cell>> =
            self.score.measures.iter().map(|m| self.cells(m, &beats)).collect();
        // Boxes grow until the fullest one holds its letters.
        let need = measures.iter().flatten().map(Cell::need).fold(0.0, f64::max);
        // Each block is one measure, or a run of several without a strike.
        let mut blocks = Vec::with_capacity(measures.len());
        let mut at = 0;
        while at < measures.len() {
            let rest = self.rest_from(at, &measures, &says);
            let n = if rest > RESTS_DRAWN { rest } else { 1 };
            blocks.push((at, n));
            at += n;
        }
        html! {
            ol class="chart" style={ "--need:" (round(need)) } {
                @for (at, n) in blocks {
                    @if n > RESTS_DRAWN {
                        (self.waiting(at, n, &says))
                    } @else {
                        (self.measure(at, &measures[at], &says[at]))
                    }
                }
            }
        }
    }

    /// How many measures from `at` on have no strike and nothing said between them.
    fn rest_from(&self, at: usize, measures: &[Vec<Cell>], says: &[Signs]) -> usize {
        let mut n = 0;
        while at + n < measures.len()
            && measures[at + n].iter().all(Cell::silent)
            && (n == 0 || (!breaks_before(says, at + n) && self.mark(at + n).is_none()))
        {
            n += 1;
        }
        n
    }

    /// The rehearsal mark that stands in a measure.
    fn mark(&self, measure: usize) -> Option<&str> {
        let m = self.score.measures.get(measure)?;
        let here = |at: Time| at >= m.start && at < m.end();
        self.score.marks.iter().find(|mark| here(mark.at)).map(|mark| mark.text.as_str())
    }

    fn head(&self, at: usize, says: &Signs) -> Markup {
        let measure = &self.score.measures[at];
        html! {
            @for text in &says.before { p class="say" { (text) } }
            p class="count" {
                @if let Some(mark) = self.mark(at) { b class="mark" { (mark) } " " }
                @if measure.implicit && measure.lead.is_positive() {
                    "pickup"
                } @else if !measure.number.is_empty() {
                    (measure.number)
                }
            }
        }
    }

    fn waiting(&self, at: usize, n: usize, says: &[Signs]) -> Markup {
        let first = &self.score.measures[at];
        let last = &self.score.measures[at + n - 1];
        let words = self.words_between(first.start, last.end());
        html! {
            li class="measure wait" {
                (self.head(at, &says[at]))
                p class="rest" { "wait " b { (n) } " measures" }
                @for line in &words { p class="words" { (line) } }
                @for text in &says[at + n - 1].after { p class="say after" { (text) } }
            }
        }
    }

    fn measure(&self, at: usize, cells: &[Cell], says: &Signs) -> Markup {
        let lines = cells.iter().map(|c| c.words.len()).max().unwrap_or(0);
        html! {
            li class="measure" {
                (self.head(at, says))
                div class="beats" { @for cell in cells { (self.cell(cell, lines)) } }
                @for text in &says.after { p class="say after" { (text) } }
            }
        }
    }

    /// One box; every box of a measure has as many lines of words, so that the letters stand level.
    fn cell(&self, cell: &Cell, lines: usize) -> Markup {
        let (columns, places) = cell.columns();
        html! {
            div class="beat" style={ "--beats:" (round(cell.length.as_f64())) } {
                span class="number" aria-hidden="true" { (cell.number) }
                div class="strikes" style={ "--columns:" (columns) } {
                    @let first = places.first().copied().unwrap_or(2);
                    @if cell.held && first > 1 {
                        span class="held" style={ "grid-column:1/" (first) } { "–" }
                    }
                    @for (strike, place) in cell.strikes.iter().zip(&places) {
                        (self.strike(strike, *place))
                    }
                }
                @for n in 0..lines { p class="words" { (cell.words.get(n).map_or("\u{a0}", String::as_str)) } }
            }
        }
    }

    fn strike(&self, strike: &Strike, place: usize) -> Markup {
        html! {
            span class="strike" style={ "grid-column:" (place) } {
                @if let Some((to, up)) = &strike.slide_to {
                    span class="slide" {
                        @for tone in &strike.tones { span class="tone" { (tone.letter) } }
                        @if *up { span class="arrow" { "↗" } } @else { span class="arrow" { "↘" } }
                        span class="tone" { (to) }
                        span class="hand" {
                            "slide from " (strike.tones.first().map_or("", |t| t.letter.as_str()))
                            @if *up { " up to " } @else { " down to " } (to)
                        }
                    }
                } @else {
                    @for tone in &strike.tones {
                        span class="tone" {
                            (tone.letter)
                            @if tone.color.is_some() || tone.symbol.is_some() {
                                span class="own" {
                                    @if let Some(color) = &tone.color {
                                        svg viewBox="0 0 10 10" aria-hidden="true" {
                                            circle cx="5" cy="5" r="4.4" fill=(color) stroke="currentColor" stroke-width="0.8" {}
                                        }
                                    }
                                    @if let Some(symbol) = &tone.symbol { (symbol) }
                                }
                            }
                            @if self.hands { @if let Some(hand) = tone.hand {
                                span class="hand" { (hand.letter()) }
                            } }
                        }
                    }
                }
            }
        }
    }

    /// The part as a list that is read aloud beside a staff: measure by measure, beat by beat.
    pub(super) fn spoken(&self) -> Markup {
        let beats = self.score.beats();
        let says = signs(&self.score.measures);
        html! {
            ol class="spoken" {
                @for (measure, said) in self.score.measures.iter().zip(&says) {
                    li {
                        @for text in &said.before { (text) ". " }
                        @if measure.implicit && measure.lead.is_positive() {
                            "Pickup: "
                        } @else {
                            "Measure " (measure.number) ": "
                        }
                        (self.measure_aloud(&self.cells(measure, &beats))) "."
                        @for text in &said.after { " " (text) "." }
                    }
                }
            }
        }
    }

    fn measure_aloud(&self, cells: &[Cell]) -> String {
        if cells.iter().all(Cell::silent) {
            return "rest".to_owned();
        }
        let beat = |cell: &Cell| {
            let strikes: Vec<String> = cell.strikes.iter().map(|s| self.strike_aloud(s)).collect();
            let played = match (strikes.is_empty(), cell.held) {
                (true, true) => "held".to_owned(),
                (true, false) => "rest".to_owned(),
                (false, _) => strikes.join(", "),
            };
            format!("beat {} {played}", cell.number)
        };
        cells.iter().map(beat).collect::<Vec<_>>().join("; ")
    }

    fn strike_aloud(&self, strike: &Strike) -> String {
        let tone = |t: &Tone| match t.hand.filter(|_| self.hands) {
            Some(hand) => format!("{} {}", t.letter, hand.letter()),
            None => t.letter.clone(),
        };
        let tones = strike.tones.iter().map(tone).collect::<Vec<_>>().join(" with ");
        match &strike.slide_to {
            Some((to, true)) => format!("{tones} sliding up to {to}"),
            Some((to, false)) => format!("{tones} sliding down to {to}"),
            None => tones,
        }
    }

    /// The beat boxes of a measure.
    fn cells(&self, measure: &Measure, beats: &[Time]) -> Vec<Cell> {
        let first = beats.partition_point(|b| *b < measure.start);
        let after = beats.partition_point(|b| *b < measure.end());
        let mut starts: Vec<Time> = beats.get(first..after).unwrap_or_default().to_vec();
        let whole = measure.meter.beats();
        let on_beat = starts.first() == Some(&measure.start);
        if !on_beat {
            starts.insert(0, measure.start);
        }
        let mut cells = Vec::with_capacity(starts.len());
        for (i, from) in starts.iter().enumerate() {
            let to = starts.get(i + 1).copied().unwrap_or(measure.end());
            let place = measure.metrical(*from).rem_floor(measure.meter.measure());
            let number = whole.iter().filter(|b| **b <= place).count().max(1);
            cells.push(self.cell_between(*from, to, number));
        }
        cells
    }

    fn cell_between(&self, from: Time, to: Time, number: usize) -> Cell {
        let notes = &self.part.notes;
        let first = notes.partition_point(|n| n.onset < from);
        let last = notes.partition_point(|n| n.onset < to);
        let mut strikes: Vec<Strike> = Vec::new();
        for (i, note) in notes.iter().enumerate().take(last).skip(first) {
            if note.grace || matches!(note.slide, Some(Slide::Through | Slide::Stop)) {
                continue;
            }
            let tone = self.tone(note);
            let at = note.onset - from;
            match strikes.last_mut().filter(|s| s.at == at) {
                Some(strike) => strike.tones.insert(0, tone),
                None => strikes.push(Strike { at, tones: vec![tone], slide_to: None }),
            }
            if note.slide == Some(Slide::Start)
                && let Some(stop) = notes.iter().skip(i + 1).find(|n| n.slide == Some(Slide::Stop))
                && let Some(strike) = strikes.last_mut()
            {
                let up = stop.midi() > note.midi();
                strike.slide_to = Some((self.letters.letter(stop.midi()), up));
            }
        }
        // Longest notes reach over many beats; looking back a few notes finds those still sounding.
        let held = notes[..first].iter().rev().take(8).any(|n| n.end() > from);
        let gliding = notes
            .get(first)
            .is_some_and(|n| n.onset < to && matches!(n.slide, Some(Slide::Through | Slide::Stop)));
        let words = self.words_between(from, to);
        Cell { length: to - from, number, strikes, held: held || gliding, words }
    }

    fn tone(&self, note: &Note) -> Tone {
        let mark = self.instrument.and_then(|i| i.mark(Bar(note.midi())));
        Tone {
            letter: self.letters.letter(note.midi()),
            hand: note.hand,
            symbol: mark.and_then(|m| m.symbol.clone()),
            color: mark.and_then(|m| m.color.clone()),
        }
    }

    /// The words sung in a stretch, a line for each verse.
    fn words_between(&self, from: Time, to: Time) -> Vec<String> {
        let Some(part) = self.words else { return Vec::new() };
        let first = part.notes.partition_point(|n| n.onset < from);
        let last = part.notes.partition_point(|n| n.onset < to);
        let notes = &part.notes[first..last];
        let mut verses: Vec<u8> = notes.iter().flat_map(|n| &n.lyrics).map(|l| l.verse).collect();
        verses.sort_unstable();
        verses.dedup();
        if !self.all_verses {
            verses.truncate(1);
        }
        verses
            .iter()
            .map(|v| sung(notes.iter().flat_map(|n| &n.lyrics).filter(|l| l.verse == *v)))
            .filter(|line| !line.is_empty())
            .collect()
    }
}

/// Syllables as running text: `Twin- kle, twin- kle`.
pub(super) fn sung<'a>(syllables: impl Iterator<Item = &'a Lyric>) -> String {
    let mut line = String::new();
    for syllable in syllables {
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(&syllable.text.replace('\u{203F}', " "));
        if matches!(syllable.syllabic, Syllabic::Begin | Syllabic::Middle) {
            line.push('-');
        }
    }
    line
}

/// Two decimals of a positive number, for style attributes.
fn round(share: f64) -> String {
    let hundredths = (share * 100.0).round() as i64;
    format!("{}.{:02}", hundredths / 100, hundredths % 100)
}
