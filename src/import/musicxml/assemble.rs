//! Puts the parts together: measure lengths and starts, pickups, and notes on one time line.

use super::super::{Error, Warning};
use super::raw::{At, Bar, RawMeter, RawPart};
use super::ties::{self, Placed};
use super::warn::Warnings;
use crate::score::{
    ChordSymbol, Jump, KeySignature, Mark, Measure, Meter, Note, Part, Score, Tempo, Time, Words,
};

/// The time line of the measures, in grid ticks.
struct Line {
    grid: i64,
    starts: Vec<i64>,
    lengths: Vec<i64>,
    /// By how many ticks a measure's notes may overhang or miss its end through rounding.
    snapped: Vec<i64>,
}

impl Line {
    /// A moment on the line, at the latest the end of its measure.
    fn at(&self, at: At) -> i64 {
        let i = at.measure as usize;
        match (self.starts.get(i), self.lengths.get(i)) {
            (Some(start), Some(length)) => start + at.tick.min(*length),
            _ => 0,
        }
    }

    fn time(&self, ticks: i64) -> Time {
        if ticks % self.grid == 0 {
            Time::quarters(ticks / self.grid)
        } else {
            Time::new(ticks, self.grid)
        }
    }
}

/// Makes the score. `too_long` makes the error for a measure (its place in the text is given) that
/// ends too late.
pub(super) fn score(
    mut bars: Vec<Bar>,
    parts: Vec<RawPart>,
    grid: i64,
    warnings: &mut Warnings,
    too_long: impl Fn(usize) -> Error,
) -> Result<Score, Error> {
    let mut line = Line { grid, starts: vec![], lengths: vec![], snapped: vec![] };
    let mut meters = Vec::with_capacity(bars.len());
    let mut meter = Meter::COMMON;
    let mut senza = false;
    let mut start = 0i64;
    for bar in &bars {
        match bar.meter {
            Some(RawMeter::Meter(m)) => (meter, senza) = (m, false),
            Some(RawMeter::Senza) => senza = true,
            None => {}
        }
        let nominal = meter.measure().ticks(grid);
        // Rests alone fill a measure up to its meter, not beyond what notes hold.
        let rested = if senza { bar.rested } else { bar.rested.min(nominal) };
        let (length, snap) = if bar.held == 0 && rested == 0 {
            (nominal, 0)
        } else if rested > bar.held {
            (rested, bar.slack)
        } else if !senza && (bar.held - nominal).abs() <= bar.slack {
            (nominal, bar.slack)
        } else {
            (bar.held, 0)
        };
        meters.push(if senza { fitting(length, grid) } else { meter });
        line.starts.push(start);
        line.lengths.push(length);
        line.snapped.push(if length == bar.held || bar.held == 0 { 0 } else { snap });
        start = start.saturating_add(length);
        if start > grid.saturating_mul(Time::MAX_QUARTERS) {
            return Err(too_long(bar.offset));
        }
    }
    let leads = leads(&bars, &meters, &line);
    settle_codas(&mut bars);

    let mut score = Score { measures: Vec::with_capacity(bars.len()), ..Score::default() };
    let numbers: Vec<String> = bars.iter().map(|b| b.number.clone()).collect();
    for (i, bar) in bars.into_iter().enumerate() {
        let mut jumps: Vec<Jump> = Vec::new();
        for jump in bar.jumps {
            if !jumps.contains(&jump) {
                jumps.push(jump);
            }
        }
        score.measures.push(Measure {
            number: bar.number,
            start: line.time(line.starts[i]),
            duration: line.time(line.lengths[i]),
            meter: meters[i],
            lead: line.time(leads[i]),
            implicit: bar.implicit,
            repeat_start: bar.repeat_start,
            repeat_end: bar.repeat_end,
            ending_start: bar.ending_start,
            ending_stop: bar.ending_stop,
            jumps,
            double_bar: bar.double_bar,
        });
    }
    keys(&mut score, &parts, &line);
    signs(&mut score, &parts, &line);
    for raw in parts {
        score.parts.push(part(raw, &line, &numbers, warnings));
    }
    Ok(score)
}

/// A plain meter of exactly this length, for measures without one; common time where none fits.
fn fitting(length: i64, grid: i64) -> Meter {
    for unit in [4i64, 8, 16, 32, 64, 128, 256, 512, 1024] {
        let beats = i128::from(length) * i128::from(unit);
        let per = i128::from(grid) * 4;
        if beats % per == 0
            && let Ok(beats) = u16::try_from(beats / per)
            && let Some(meter) = Meter::new(beats, unit as u16)
        {
            return meter;
        }
    }
    Meter::COMMON
}

/// How far into its meter each measure begins: pickups and later parts of split measures.
fn leads(bars: &[Bar], meters: &[Meter], line: &Line) -> Vec<i64> {
    let mut leads = vec![0i64; bars.len()];
    // What the open split measure holds so far.
    let mut begun = 0i64;
    for i in 0..bars.len() {
        let full = meters[i].measure().ticks(line.grid);
        let length = line.lengths[i];
        let short = length < full;
        let implicit = bars[i].implicit;
        if i == 0 {
            if short && (implicit || bars.len() > 1) {
                leads[i] = full - length;
            }
            continue;
        }
        if !short || meters[i] != meters[i - 1] {
            begun = 0;
        }
        if !short {
            continue;
        }
        if begun > 0 && (begun + length == full || (implicit && begun + length < full)) {
            leads[i] = begun;
            begun = if begun + length == full { 0 } else { begun + length };
            continue;
        }
        let completed = line.lengths.get(i + 1).is_some_and(|next| length + next == full)
            && meters.get(i + 1) == meters.get(i);
        if implicit && !completed {
            leads[i] = full - length;
            begun = 0;
        } else {
            begun = length;
        }
    }
    leads
}

/// A coda sign alone is left at where another one follows, and arrived at where none does.
fn settle_codas(bars: &mut [Bar]) {
    let mut later = false;
    for bar in bars.iter_mut().rev() {
        let said = bar.jumps.iter().any(|j| matches!(j, Jump::Coda | Jump::ToCoda));
        if bar.coda_sign && !said {
            bar.jumps.push(if later { Jump::ToCoda } else { Jump::Coda });
        }
        later |= bar.jumps.contains(&Jump::Coda);
    }
}

/// Key signatures: those of the first part that begins with the signature most parts begin with,
/// percussion left out.
fn keys(score: &mut Score, parts: &[RawPart], line: &Line) {
    let has = |p: &&RawPart| !p.keys.is_empty() && !p.notes.is_empty();
    let first = |p: &RawPart| p.keys.first().map(|k| k.fifths);
    let votes = |f: Option<i8>| parts.iter().filter(has).filter(|p| first(p) == f).count();
    let mut chosen: Option<(&RawPart, usize)> = None;
    for part in parts.iter().filter(has) {
        let n = votes(first(part));
        if chosen.is_none_or(|(_, most)| n > most) {
            chosen = Some((part, n));
        }
    }
    let part = chosen.map(|c| c.0).or(parts.iter().find(|p| !p.keys.is_empty()));
    for key in part.map_or(&[][..], |p| &p.keys) {
        let at = line.time(line.at(key.at));
        if score.keys.last().is_some_and(|k| k.at == at) {
            score.keys.pop();
        }
        if score.keys.last().is_none_or(|k| (k.fifths, k.mode) != (key.fifths, key.mode)) {
            score.keys.push(KeySignature { at, fifths: key.fifths, mode: key.mode });
        }
    }
}

/// Tempos, chord symbols and rehearsal marks of all parts; where several parts have one at the same
/// moment, the first part's.
fn signs(score: &mut Score, parts: &[RawPart], line: &Line) {
    let mut tempos: Vec<(i64, f64)> =
        parts.iter().flat_map(|p| &p.tempos).map(|(at, bpm)| (line.at(*at), *bpm)).collect();
    tempos.sort_by_key(|t| t.0);
    tempos.dedup_by_key(|t| t.0);
    score.tempos = tempos.iter().map(|t| Tempo { at: line.time(t.0), quarter_bpm: t.1 }).collect();
    let mut chords: Vec<(i64, &ChordSymbol)> =
        parts.iter().flat_map(|p| &p.chords).map(|(at, c)| (line.at(*at), c)).collect();
    chords.sort_by_key(|c| c.0);
    chords.dedup_by_key(|c| c.0);
    score.chords = chords
        .into_iter()
        .map(|(at, c)| ChordSymbol { at: line.time(at), chord: c.chord.clone() })
        .collect();
    let mut marks: Vec<(i64, &String)> =
        parts.iter().flat_map(|p| &p.marks).map(|(at, m)| (line.at(*at), m)).collect();
    marks.sort_by_key(|m| m.0);
    marks.dedup_by_key(|m| m.0);
    score.marks =
        marks.into_iter().map(|(at, m)| Mark { at: line.time(at), text: m.clone() }).collect();
}

/// One part with its tied notes joined and its times made.
fn part(raw: RawPart, line: &Line, numbers: &[String], warnings: &mut Warnings) -> Part {
    let mut placed: Vec<Placed> = Vec::with_capacity(raw.notes.len());
    let mut tied = false;
    for note in raw.notes {
        let i = note.at.measure as usize;
        let start = line.starts.get(i).map_or(0, |s| s + note.at.tick);
        let mut end = start + note.ticks;
        let snap = line.snapped.get(i).copied().unwrap_or(0);
        if snap > 0 {
            // The measure's length was put right, so its last notes end with it.
            let close = line.starts[i] + line.lengths[i];
            if end > close || (note.tie_start && close - end <= snap) {
                end = close;
            }
        }
        tied |= note.tie_start || note.tie_stop;
        placed.push(Placed { start, end: end.max(start), raw: note, gone: false });
    }
    placed.sort_by_key(|p| p.start);
    if tied {
        let voices = raw.voices.len() as u16;
        ties::join(&mut placed, voices, |note| {
            let number = numbers.get(note.raw.at.measure as usize).map_or("", String::as_str);
            warnings.add(Warning {
                place: format!("part {}, measure {number}", raw.id),
                what: if note.raw.tie_start {
                    "tie without an end; note kept as written".to_owned()
                } else {
                    "tie without a start; note kept as written".to_owned()
                },
            });
        });
    }
    let mut notes = Vec::with_capacity(placed.len());
    for p in placed.into_iter().filter(|p| !p.gone) {
        notes.push(Note {
            onset: line.time(p.start),
            duration: if p.raw.grace { Time::ZERO } else { line.time(p.end - p.start) },
            pitch: p.raw.pitch,
            voice: p.raw.voice,
            staff: p.raw.staff,
            grace: p.raw.grace,
            fermata: p.raw.fermata,
            tuplet: p.raw.tuplet,
            lyrics: p.raw.lyrics,
            hand: None,
            slide: p.raw.slide,
        });
    }
    let mut transpositions: Vec<_> =
        raw.transpositions.iter().map(|(at, t)| (line.at(*at), *t)).collect();
    transpositions.sort_by_key(|t| t.0);
    let mut words: Vec<_> = raw.words.into_iter().map(|(at, w)| (line.at(at), w)).collect();
    words.sort_by_key(|w| w.0);
    let unpitched = raw.strokes && notes.is_empty();
    let mut part = Part {
        id: raw.id,
        name: raw.name,
        sound: raw.sound,
        transpositions: transpositions.into_iter().map(|(at, t)| (line.time(at), t)).collect(),
        voices: if raw.voices.is_empty() { vec!["1".to_owned()] } else { raw.voices },
        staves: raw.staves.max(1),
        notes,
        words: words.into_iter().map(|(at, text)| Words { at: line.time(at), text }).collect(),
        unpitched,
    };
    part.sort_notes();
    part
}
