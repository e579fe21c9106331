//! One part, measure by measure: the cursor, attributes, notes and what stands around them.

use roxmltree::Node;

use super::super::limits::{MAX_NOTES, MAX_VOICES};
use super::super::{Error, Warning};
use super::note::{self, Written};
use super::raw::{At, Bar, RawKey, RawMeter, RawNote, RawPart, fifths_of, sounding};
use super::signs;
use super::warn::Warnings;
use super::xml::{Decimal, bad_number, child, child_text, elements, one_line, position, text};
use crate::score::{ChordSymbol, EndingStop, Jump, Time, Transposition, VoiceId};

/// Why reading a part stops.
#[derive(Debug)]
pub(super) enum Stop {
    /// The file can't be read.
    Fault(Error),
    /// A length needs the grid to be finer by this factor: the score is read again on that grid.
    Finer(i64),
}

impl From<Error> for Stop {
    fn from(fault: Error) -> Stop {
        Stop::Fault(fault)
    }
}

/// Most ticks by which rounding alone may make a measure miss its meter's length, where ticks are
/// so short that no note value could be meant: three, as seen in files that round a septuplet.
const ROUNDING_TICKS: i64 = 3;
/// Ticks to a quarter from which [`ROUNDING_TICKS`] of them are too short to be meant (less than a
/// 128th note together).
const FINE_DIVISIONS: i64 = 97;

/// Reads the measures of one part.
pub(super) struct PartReader<'s> {
    pub(super) out: RawPart,
    /// Ticks of the common grid in a quarter note.
    grid: i64,
    /// Grid ticks in one of the part's own ticks, as a ratio.
    unit: (i64, i64),
    /// Own ticks in a quarter note, rounded down.
    divisions: i64,
    transposed: Vec<(At, u8, Transposition)>,
    verses: Vec<String>,
    warnings: &'s mut Warnings,
    notes_left: &'s mut usize,
    // The measure being read.
    at: At,
    /// Where the last note that was no chord note began, and whether it was a grace note.
    last: Option<i64>,
    held: i64,
    rounded: i64,
    /// Whether it has a note, not only rests.
    sounded: bool,
}

impl<'s> PartReader<'s> {
    pub(super) fn new(
        out: RawPart,
        grid: i64,
        warnings: &'s mut Warnings,
        notes_left: &'s mut usize,
    ) -> PartReader<'s> {
        PartReader {
            out,
            grid,
            unit: (grid, 1),
            divisions: 1,
            transposed: Vec::new(),
            verses: Vec::new(),
            warnings,
            notes_left,
            at: At { measure: 0, tick: 0 },
            last: None,
            held: 0,
            rounded: 0,
            sounded: false,
        }
    }

    fn warn(&mut self, bars: &[Bar], what: impl Into<String>) {
        let number = bars.get(self.at.measure as usize).map_or("", |b| b.number.as_str());
        let place = format!("part {}, measure {number}", self.out.id);
        self.warnings.add(Warning { place, what: what.into() });
    }

    /// Reads what the part holds in one measure.
    pub(super) fn measure(
        &mut self,
        index: u32,
        content: Node<'_, '_>,
        bars: &mut [Bar],
    ) -> Result<(), Stop> {
        self.at = At { measure: index, tick: 0 };
        self.last = None;
        self.held = 0;
        self.rounded = 0;
        self.sounded = false;
        for node in elements(content) {
            match node.tag_name().name() {
                "note" => self.note(node, bars)?,
                "backup" => {
                    let back = self.length(node, "backup")?;
                    if back > self.at.tick {
                        self.warn(bars, "a backup goes behind the measure's start; taken to it");
                    }
                    self.at.tick = (self.at.tick - back).max(0);
                }
                "forward" => {
                    let on = self.length(node, "forward")?;
                    self.advance(node, on)?;
                }
                "attributes" => self.attributes(node, bars)?,
                "direction" => self.direction(node, bars)?,
                "harmony" => self.harmony(node, bars)?,
                "barline" => self.barline(node, bars),
                "sound" => self.sound(node, bars)?,
                _ => {}
            }
        }
        let fine = if self.divisions >= FINE_DIVISIONS { ROUNDING_TICKS } else { 0 };
        let slack = self.rounded.max(fine).saturating_mul(self.unit.0) / self.unit.1;
        if let Some(bar) = bars.get_mut(index as usize) {
            if !self.sounded {
                bar.rested = bar.rested.max(self.held);
            } else if self.held > bar.held {
                bar.held = self.held;
                bar.slack = slack;
            } else if self.held == bar.held {
                bar.slack = bar.slack.max(slack);
            }
        }
        Ok(())
    }

    fn advance(&mut self, node: Node<'_, '_>, by: i64) -> Result<(), Stop> {
        self.at.tick = self.at.tick.saturating_add(by);
        if self.at.tick > self.grid.saturating_mul(Time::MAX_QUARTERS) {
            return Err(too_long(node).into());
        }
        Ok(())
    }

    /// The `duration` of a note, backup or forward in grid ticks.
    fn length(&self, node: Node<'_, '_>, element: &'static str) -> Result<i64, Stop> {
        match child(node, "duration") {
            Some(duration) => self.ticks(duration),
            None => Err(bad_number(node, element, "needs a duration").into()),
        }
    }

    fn ticks(&self, node: Node<'_, '_>) -> Result<i64, Stop> {
        let written = match node.text() {
            Some(text) => text,
            None => text(node),
        };
        // Nearly every duration is a short whole number; seven digits can't overflow.
        let mut n = 0i64;
        if !written.is_empty() && written.len() <= 7 && written.bytes().all(|b| b.is_ascii_digit())
        {
            for b in written.bytes() {
                n = n * 10 + i64::from(b - b'0');
            }
            if self.unit.1 == 1 && n <= self.grid.saturating_mul(Time::MAX_QUARTERS) / self.unit.0 {
                return Ok(n * self.unit.0);
            }
        }
        let needs = "is a number of ticks, zero or more";
        let Some(length) = Decimal::parse(written.trim()).filter(|l| l.n >= 0) else {
            return Err(bad_number(node, "duration", needs).into());
        };
        self.whole(
            node,
            i128::from(length.n) * i128::from(self.unit.0),
            i128::from(length.d) * i128::from(self.unit.1),
        )
    }

    /// `n / d` grid ticks as a whole number; otherwise the grid must be made finer.
    fn whole(&self, node: Node<'_, '_>, n: i128, d: i128) -> Result<i64, Stop> {
        if n > i128::from(self.grid) * i128::from(Time::MAX_QUARTERS) * d {
            return Err(too_long(node).into());
        }
        if n % d == 0 {
            return Ok((n / d) as i64);
        }
        let (mut a, mut b) = (d, n);
        while b != 0 {
            (a, b) = (b, a % b);
        }
        let factor = d / a;
        match i64::try_from(factor) {
            Ok(f) if self.grid.checked_mul(f).is_some_and(|g| g <= Time::MAX_DENOMINATOR) => {
                Err(Stop::Finer(f))
            }
            _ => Err(too_fine(node).into()),
        }
    }

    /// A note's length in grid ticks: its `duration`, or what its type says where that is missing.
    fn note_ticks(
        &mut self,
        node: Node<'_, '_>,
        w: &Written<'_, '_>,
        bars: &[Bar],
    ) -> Result<i64, Stop> {
        let Some(duration) = w.duration else {
            if w.grace {
                return Ok(0);
            }
            let Some(nominal) = w.nominal() else {
                self.warn(bars, "a note has neither duration nor type; taken as no length");
                return Ok(0);
            };
            self.warn(bars, "a note has no duration; its type was taken");
            let n = i128::from(nominal.numerator()) * i128::from(self.grid);
            return self.whole(node, n, i128::from(nominal.denominator()));
        };
        if w.grace {
            return Ok(0);
        }
        let ticks = self.ticks(duration)?;
        if w.tuplet.is_some() && !w.chord {
            // A tuplet note whose exact length is no whole number of the file's ticks was rounded,
            // by less than one tick.
            if let Some(nominal) = w.nominal() {
                let exact = i128::from(nominal.numerator()) * i128::from(self.grid);
                let off = exact - i128::from(ticks) * i128::from(nominal.denominator());
                let tick = i128::from(self.unit.0) * i128::from(nominal.denominator());
                if off != 0 && off.abs() * i128::from(self.unit.1) < tick {
                    self.rounded += 1;
                }
            }
        }
        Ok(ticks)
    }

    fn note(&mut self, node: Node<'_, '_>, bars: &[Bar]) -> Result<(), Stop> {
        if *self.notes_left == 0 {
            return Err(Error::TooMany { what: "notes and rests", limit: MAX_NOTES }.into());
        }
        *self.notes_left -= 1;
        let w = note::read(node)?;
        let ticks = self.note_ticks(node, &w, bars)?;
        let onset = match self.last {
            Some(last) if w.chord => last,
            _ => {
                if w.chord {
                    self.warn(bars, "a chord note has no note before it; taken as a plain note");
                }
                let onset = self.at.tick;
                self.last = Some(onset);
                self.advance(node, ticks)?;
                onset
            }
        };
        self.held = self.held.max(onset + ticks);
        self.sounded |= !w.rest;
        if w.unpitched {
            self.out.strokes = true;
            return Ok(());
        }
        if w.cue {
            return Ok(());
        }
        let Some(pitch) = w.pitch else {
            if !w.rest {
                self.warn(bars, "a note has no pitch; taken as a rest");
            }
            return Ok(());
        };
        if w.rounded_alter {
            self.warn(bars, format!("a quarter tone is read as {pitch}"));
        }
        let at = At { measure: self.at.measure, tick: onset };
        let voice = self.voice(w.voice)?;
        if !w.grace && ticks == 0 {
            self.warn(bars, format!("{pitch} has no length; left out"));
            return Ok(());
        }
        self.out.staves = self.out.staves.max(w.staff);
        let pitch = if self.transposed.is_empty() {
            pitch
        } else {
            sounding(pitch, self.transposition(at, w.staff))
        };
        let lyrics = if w.has_lyrics { note::lyrics(node, &mut self.verses) } else { Vec::new() };
        self.out.notes.push(RawNote {
            at,
            ticks,
            pitch,
            voice,
            staff: w.staff,
            grace: w.grace,
            fermata: w.fermata,
            tie_start: w.tie_start && !w.grace,
            tie_stop: w.tie_stop && !w.grace,
            tuplet: w.tuplet,
            slide: w.slide,
            lyrics,
        });
        Ok(())
    }

    /// The transposition in force for a staff at a moment: the last one said for it by then.
    fn transposition(&self, at: At, staff: u8) -> Transposition {
        self.transposed
            .iter()
            .rev()
            .find(|(from, of, _)| *from <= at && (*of == 0 || *of == staff))
            .map(|t| t.2)
            .unwrap_or_default()
    }

    fn voice(&mut self, name: &str) -> Result<VoiceId, Stop> {
        let name = if name.is_empty() { "1" } else { name };
        if let Some(known) = self.out.voices.iter().position(|v| v == name) {
            return Ok(VoiceId(known as u16));
        }
        if self.out.voices.len() >= MAX_VOICES {
            return Err(Error::TooMany { what: "voices in one part", limit: MAX_VOICES }.into());
        }
        self.out.voices.push(name.to_owned());
        Ok(VoiceId((self.out.voices.len() - 1) as u16))
    }

    fn attributes(&mut self, node: Node<'_, '_>, bars: &mut [Bar]) -> Result<(), Stop> {
        // Transposition first: a key in the same element is written for it.
        for t in elements(node).filter(|n| n.tag_name().name() == "transpose") {
            let read = signs::transposition(t)?;
            let staff = t.attribute("number").and_then(|n| n.parse().ok()).unwrap_or(0);
            let same = self.transposition(self.at, staff) == read;
            if !same || (self.transposed.is_empty() && read != Transposition::default()) {
                self.transposed.push((self.at, staff, read));
                self.out.transpositions.push((self.at, read));
            }
        }
        for part in elements(node) {
            match part.tag_name().name() {
                "divisions" => {
                    let needs = "is a number over zero";
                    let d = Decimal::parse(text(part)).filter(|d| d.n > 0);
                    let Some(d) = d else {
                        return Err(bad_number(part, "divisions", needs).into());
                    };
                    let n = self.grid.checked_mul(d.d).ok_or_else(|| too_fine(part))?;
                    self.unit = if n % d.n == 0 { (n / d.n, 1) } else { (n, d.n) };
                    self.divisions = d.n / d.d;
                }
                "key" => self.key(part, bars),
                "time" => self.time(part, bars),
                "staves" => {
                    let staves = text(part).parse::<u8>().unwrap_or(1).max(1);
                    self.out.staves = self.out.staves.max(staves);
                }
                _ => {}
            }
        }
        Ok(())
    }

    fn key(&mut self, node: Node<'_, '_>, bars: &[Bar]) {
        // A key for one staff only: the first staff's counts.
        if node.attribute("number").is_some_and(|n| n != "1") {
            return;
        }
        let Some((written, mode, changed)) = signs::key(node) else {
            self.warn(bars, "a key signature can't be read; left out");
            return;
        };
        let by = fifths_of(self.transposition(self.at, 1));
        let mut fifths = i16::from(written) + by;
        if by != 0 {
            // A transposed signature beyond seven signs is written enharmonically.
            while fifths > 7 {
                fifths -= 12;
            }
            while fifths < -7 {
                fifths += 12;
            }
        }
        if changed {
            self.warn(
                bars,
                "a key signature of an unusual kind; the nearest usual one is kept, notes are as written",
            );
        }
        self.out.keys.push(RawKey { at: self.at, fifths: fifths.clamp(-11, 11) as i8, mode });
    }

    fn time(&mut self, node: Node<'_, '_>, bars: &mut [Bar]) {
        if node.attribute("number").is_some_and(|n| n != "1") {
            return;
        }
        let Some(meter) = signs::meter(node) else {
            self.warn(bars, "a time signature can't be read; left out");
            return;
        };
        // One that stands behind the first note holds from the next measure on.
        let from = self.at.measure as usize + usize::from(self.at.tick > 0);
        if let Some(bar) = bars.get_mut(from)
            && bar.meter.is_none()
        {
            bar.meter = Some(meter);
        } else if let Some(Bar { meter: Some(RawMeter::Meter(other)), .. }) = bars.get(from)
            && RawMeter::Meter(*other) != meter
        {
            let other = other.to_string();
            self.warn(bars, format!("its time signature differs; {other} is kept for all parts"));
        }
    }

    /// This moment moved by an `offset`, if the element has one.
    fn shifted(&self, node: Node<'_, '_>) -> Result<At, Stop> {
        let Some(offset) = child(node, "offset") else { return Ok(self.at) };
        let Some(by) = Decimal::parse(text(offset)) else { return Ok(self.at) };
        let n = i128::from(by.n) * i128::from(self.unit.0);
        let ticks = n / (i128::from(by.d) * i128::from(self.unit.1));
        let most = self.grid.saturating_mul(Time::MAX_QUARTERS);
        let tick = (i128::from(self.at.tick) + ticks).clamp(0, i128::from(most)) as i64;
        Ok(At { tick, ..self.at })
    }

    fn harmony(&mut self, node: Node<'_, '_>, bars: &[Bar]) -> Result<(), Stop> {
        let at = self.shifted(node)?;
        let Some(chord) = signs::harmony(node) else {
            self.warn(bars, "a chord symbol without a root; left out");
            return Ok(());
        };
        let by = fifths_of(self.transposition(at, 1));
        let chord = chord.map(|c| if by == 0 { c } else { c.transposed(by) });
        self.out.chords.push((at, ChordSymbol { at: Time::ZERO, chord }));
        Ok(())
    }

    fn sound(&mut self, node: Node<'_, '_>, bars: &mut [Bar]) -> Result<(), Stop> {
        if let Some(bpm) = signs::sound_tempo(node) {
            let at = self.shifted(node)?;
            self.out.tempos.push((at, bpm));
        } else if node.attribute("tempo").is_some() {
            self.warn(bars, "a tempo that can't be; left out");
        }
        if let Some(bar) = bars.get_mut(self.at.measure as usize) {
            signs::sound_jumps(node, &mut bar.jumps);
            bar.repeat_start |= node.attribute("forward-repeat") == Some("yes");
        }
        Ok(())
    }

    fn direction(&mut self, node: Node<'_, '_>, bars: &mut [Bar]) -> Result<(), Stop> {
        let sound = child(node, "sound");
        let mut words = String::new();
        let mut jumps: Vec<Jump> = Vec::new();
        let mut coda = false;
        for kind in elements(node).filter(|n| n.tag_name().name() == "direction-type") {
            for sign in elements(kind) {
                match sign.tag_name().name() {
                    "words" => {
                        if !words.is_empty() {
                            words.push(' ');
                        }
                        words.push_str(text(sign));
                    }
                    "rehearsal" => {
                        let mark = one_line(text(sign));
                        if !mark.is_empty() {
                            self.out.marks.push((self.at, mark));
                        }
                    }
                    "metronome" => {
                        let said = sound.is_some_and(|s| s.attribute("tempo").is_some());
                        if let Some(bpm) = signs::metronome(sign).filter(|_| !said) {
                            self.out.tempos.push((self.at, bpm));
                        }
                    }
                    "segno" => jumps.push(Jump::Segno),
                    "coda" => coda = true,
                    _ => {}
                }
            }
        }
        let words = one_line(&words);
        if let Some(sound) = sound {
            let before = self.at;
            self.at = self.shifted(node)?;
            self.sound(sound, bars)?;
            self.at = before;
            let mut said = Vec::new();
            signs::sound_jumps(sound, &mut said);
            coda &= !said.iter().any(|j| matches!(j, Jump::Coda | Jump::ToCoda));
            if said.is_empty() {
                jumps.extend(signs::jump_in_words(&words));
            }
        } else {
            jumps.extend(signs::jump_in_words(&words));
        }
        if jumps.contains(&Jump::ToCoda) {
            coda = false;
        }
        if let Some(bar) = bars.get_mut(self.at.measure as usize) {
            bar.jumps.extend(jumps);
            bar.coda_sign |= coda;
        }
        if !words.is_empty() {
            self.out.words.push((self.at, words));
        }
        Ok(())
    }

    fn barline(&mut self, node: Node<'_, '_>, bars: &mut [Bar]) {
        let here = self.at.measure as usize;
        let nothing_yet = self.at.tick == 0 && self.last.is_none();
        let left = match node.attribute("location") {
            Some("left") => true,
            Some("right") => false,
            Some("middle") => {
                if child(node, "repeat").is_some() {
                    self.warn(bars, "a repeat sign inside a measure; left out");
                }
                return;
            }
            _ => nothing_yet,
        };
        // What closes stands at the end of a measure, what opens at the start of one.
        let closing = if left { here.checked_sub(1) } else { Some(here) };
        let opening = if left { here } else { here + 1 };
        for part in elements(node) {
            match part.tag_name().name() {
                "repeat" if part.attribute("direction") == Some("forward") => {
                    if let Some(bar) = bars.get_mut(opening) {
                        bar.repeat_start = true;
                    }
                }
                "repeat" => {
                    let times = part.attribute("times").and_then(|t| t.trim().parse().ok());
                    if let Some(bar) = closing.and_then(|i| bars.get_mut(i)) {
                        bar.repeat_end = Some(times.unwrap_or(2u8).max(2));
                    }
                }
                "ending" => {
                    if part.attribute("type") == Some("start") {
                        let mut numbers =
                            signs::ending_numbers(part.attribute("number").unwrap_or(""));
                        if numbers.is_empty() {
                            numbers = signs::ending_numbers(text(part));
                        }
                        if numbers.is_empty() {
                            numbers.push(1);
                        }
                        if let Some(bar) = bars.get_mut(opening) {
                            bar.ending_start = numbers;
                        }
                    } else if let Some(bar) = closing.and_then(|i| bars.get_mut(i)) {
                        bar.ending_stop = Some(match part.attribute("type") {
                            Some("discontinue") => EndingStop::Open,
                            _ => EndingStop::Hooked,
                        });
                    }
                }
                "segno" => {
                    if let Some(bar) = bars.get_mut(opening) {
                        bar.jumps.push(Jump::Segno);
                    }
                }
                "coda" => {
                    if let Some(bar) = bars.get_mut(if left { here } else { opening }) {
                        bar.coda_sign = true;
                    }
                }
                _ => {}
            }
        }
        if child_text(node, "bar-style") == "light-light"
            && let Some(bar) = closing.and_then(|i| bars.get_mut(i))
        {
            bar.double_bar = true;
        }
    }
}

fn too_long(node: Node<'_, '_>) -> Error {
    Error::TooLong { limit: Time::MAX_QUARTERS, at: position(node) }
}

pub(super) fn too_fine(node: Node<'_, '_>) -> Error {
    Error::TooFine { limit: Time::MAX_DENOMINATOR, at: position(node) }
}
