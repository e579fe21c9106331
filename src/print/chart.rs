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
}

/// Most measures without a strike that stand one by one; from two on they are told in words.
const RESTS_DRAWN: usize = 1;

impl Chart<'_> {
    /// The chart.
    pub(super) fn html(&self) -> Markup {
        let beats = self.score.beats();
        let says = signs(&self.score.measures);
        let measures: Vec<Vec<Cell>> =
            self.score.measures.iter().map(|m| self.cells(m, &beats)).collect();
        let busiest = measures.iter().flatten().map(|c| c.strikes.len()).max().unwrap_or(0);
        let class = match busiest {
            0..=2 => "chart",
            3 => "chart three",
            _ => "chart four",
        };
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
            ol class=(class) {
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
        let share = cell.length.as_f64();
        html! {
            div class="beat" style={ "--beats:" (round(share)) } {
                span class="number" aria-hidden="true" { (cell.number) }
                div class="strikes" {
                    @if let Some(first) = cell.strikes.first() {
                        @if first.at.is_positive() {
                            span class="gap" style={ "flex-grow:" (round(first.at.as_f64() / share)) } {
                                @if cell.held { "–" }
                            }
                        }
                    } @else if cell.held {
                        span class="held" { "–" }
                    }
                    @for (i, strike) in cell.strikes.iter().enumerate() {
                        @let end = cell.strikes.get(i + 1).map_or(cell.length, |next| next.at);
                        (self.strike(strike, (end - strike.at).as_f64() / share))
                    }
                }
                @for n in 0..lines { p class="words" { (cell.words.get(n).map_or("\u{a0}", String::as_str)) } }
            }
        }
    }

    fn strike(&self, strike: &Strike, share: f64) -> Markup {
        html! {
            span class="strike" style={ "flex-grow:" (round(share)) } {
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

    /// The beat boxes of a measure.
    fn cells(&self, measure: &Measure, beats: &[Time]) -> Vec<Cell> {
        let mut starts: Vec<Time> =
            beats.iter().copied().filter(|b| *b >= measure.start && *b < measure.end()).collect();
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

/// Two decimals, for style attributes.
fn round(share: f64) -> String {
    format!("{share:.2}")
}
