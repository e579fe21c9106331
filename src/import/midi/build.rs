//! From tracks to a score: one timeline, measures, keys, parts.

use crate::import::quantise::{self, Clock};
use crate::import::spelling;
use crate::score::{KeySignature, Measure, Meter, Mode, Note, Part, Score, Tempo, Time};

use super::chunks::{Division, Header};
use super::parts;
use super::track::Track;
use super::{MAX_MEASURES, MAX_PARTS, MidiError, Warning, warning};

/// The tempo where a file names none, in microseconds a quarter: 120 quarters a minute (Standard MIDI
/// Files 1.0).
const DEFAULT_TEMPO: u32 = 500_000;
/// Ticks to the quarter that files in seconds are turned into.
const SECONDS_DIVISION: u64 = 960;
/// Largest signature that a key event may name.
const MAX_FIFTHS: i8 = 7;

/// Makes the score.
pub(super) fn score(
    header: Header,
    mut tracks: Vec<Track>,
    warnings: &mut Vec<Warning>,
) -> Result<Score, MidiError> {
    let single = header.format == 0 || tracks.len() == 1;
    let per_quarter = match header.division {
        Division::PerQuarter(n) => u64::from(n),
        Division::PerSecond(n, d) => {
            seconds_to_quarters(&mut tracks, n, d, warnings);
            SECONDS_DIVISION
        }
    };
    let end = |t: &Track| t.notes.iter().map(|n| n.off).max().unwrap_or(0);
    for track in &tracks {
        if end(track) / per_quarter > Time::MAX_QUARTERS as u64 {
            return Err(MidiError::TooLong { track: track.number });
        }
    }
    if header.format == 2 && tracks.len() > 1 {
        one_after_another(&mut tracks, per_quarter);
        warnings.push(warning(
            "the header",
            "format 2: the tracks are patterns of their own; read one after another",
        ));
        if let Some(track) = tracks.iter().find(|t| end(t) / per_quarter > MAX_QUARTERS) {
            return Err(MidiError::TooLong { track: track.number });
        }
    }
    let last_tick = tracks.iter().map(end).max().unwrap_or(0);
    let clock = Clock {
        per_quarter,
        tempos: tempos(&tracks, last_tick, warnings),
        meters: meters(&tracks, last_tick, warnings),
    };
    let title = parts::title(&tracks, single);
    let keys = keys(&tracks, last_tick, warnings);
    let sung = parts::syllables(&tracks);
    let drafts = parts::split(&mut tracks, single);

    if drafts.len() > MAX_PARTS {
        return Err(MidiError::TooManyParts { parts: drafts.len() });
    }
    let played: Vec<_> = drafts.iter().map(|d| d.notes.as_slice()).collect();
    let placed = quantise::place(&played, &clock);
    let mut score = Score { title, ..Score::default() };
    let ends = placed.iter().flatten().map(|p| p.onset + p.duration).max().unwrap_or(Time::ZERO);
    let first = placed.iter().flatten().map(|p| p.onset).min().unwrap_or(Time::ZERO);
    let until = clock.meters.get(1).map(|(tick, _)| clock.time(*tick));
    let meter = clock.meters.first().map_or(Meter::COMMON, |m| m.1);
    // A first meter shorter than its measure marks the pickup itself.
    let marked = until.is_some_and(|until| until <= meter.measure());
    let pickup = if first.is_zero() && !marked {
        quantise::pickup::guess(&placed, meter, until)
    } else {
        Time::ZERO
    };
    score.measures = measures(&clock, pickup, first, ends)?;
    // Silence before a pickup is taken off; everything moves forward by it.
    let silence = score.measures.first().map_or(Time::ZERO, |m| m.start);
    for measure in &mut score.measures {
        measure.start += -silence;
    }
    let shifted = |tick: u64| (clock.time(tick) - silence).max(Time::ZERO);
    for (tick, micros) in &clock.tempos {
        let quarter_bpm = 60e6 / f64::from(*micros);
        let at = shifted(*tick);
        score.tempos.retain(|t: &Tempo| t.at != at);
        score.tempos.push(Tempo { at, quarter_bpm });
    }
    for (tick, fifths, minor) in keys {
        let mode = Some(if minor { Mode::Minor } else { Mode::Major });
        let at = shifted(tick);
        score.keys.retain(|k: &KeySignature| k.at != at);
        score.keys.push(KeySignature { at, fifths, mode });
    }
    let signatures: Vec<(Time, i8)> = if score.keys.is_empty() {
        let strokes = drafts.iter().zip(&placed).flat_map(|(d, p)| d.notes.iter().zip(p));
        spelling::signatures(strokes.map(|(n, p)| (p.onset - silence, n.key)))
    } else {
        score.keys.iter().map(|k| (k.at, k.fifths)).collect()
    };
    let mut sounding = Vec::new();
    for (i, (draft, placed)) in drafts.iter().zip(&placed).enumerate() {
        let mut part = parts::part(draft, i + 1);
        sounding.clear();
        let mut key = 0;
        for (played, placed) in draft.notes.iter().zip(placed) {
            while signatures.get(key + 1).is_some_and(|(at, _)| *at <= placed.onset - silence) {
                key += 1;
            }
            sounding.push((played.key, signatures.get(key).map_or(0, |s| s.1)));
        }
        part.notes.reserve_exact(placed.len());
        for (pitch, placed) in spelling::name(&sounding).into_iter().zip(placed) {
            let onset = placed.onset - silence;
            let mut note = Note::new(onset, placed.duration, pitch);
            note.tuplet = tuplet(onset, placed.duration);
            note.grace = placed.duration.is_zero();
            part.notes.push(note);
        }
        score.parts.push(part);
    }
    for (track, syllables) in &sung {
        let Some(i) = parts::sung_by(*track, syllables, &drafts) else { continue };
        let (Some(part), Some(draft)) = (score.parts.get_mut(i), drafts.get(i)) else { continue };
        let lost = parts::attach(syllables, &draft.notes, &mut part.notes, per_quarter / 2);
        if lost > 0 {
            warnings.push(warning(
                format!("track {}", track + 1),
                format!("{lost} syllable(s) with no note near; left out"),
            ));
        }
    }
    for part in &mut score.parts {
        part.sort_notes();
        parts::assign_voices(part);
    }
    if score.parts.iter().all(|p: &Part| p.notes.is_empty())
        && score.parts.iter().any(|p| p.unpitched)
    {
        warnings
            .push(warning("channel 10", "all notes are on the drum channel; they have no pitch"));
    }
    Ok(score)
}

const MAX_QUARTERS: u64 = Time::MAX_QUARTERS as u64;

/// The tuplet that a note shows, told from the denominators of its times: a factor of three makes
/// triplets, five quintuplets, seven septuplets.
fn tuplet(onset: Time, duration: Time) -> Option<(u16, u16)> {
    let (a, b) = (onset.denominator(), duration.denominator());
    if a & (a - 1) == 0 && b & (b - 1) == 0 {
        return None;
    }
    [(3, 2), (5, 4), (7, 4)].into_iter().find(|(n, _)| {
        let n = i64::from(*n);
        a % n == 0 || b % n == 0
    })
}

/// Turns ticks of a second (SMPTE division) into ticks of a quarter note, by the first tempo of the
/// file or 120 quarters a minute.
fn seconds_to_quarters(tracks: &mut [Track], n: u32, d: u32, warnings: &mut Vec<Warning>) {
    let tempo = tracks.iter().flat_map(|t| &t.tempos).map(|(_, m)| *m).find(|m| *m > 0);
    let micros = tempo.unwrap_or(DEFAULT_TEMPO);
    warnings.push(warning(
        "the header",
        format!(
            "times are in seconds, not beats; read at {:.0} quarter notes a minute",
            60e6 / f64::from(micros)
        ),
    ));
    // quarters = ticks · d / n seconds · 10^6 / micros
    let up = u128::from(d) * 1_000_000 * u128::from(SECONDS_DIVISION);
    let down = u128::from(n.max(1)) * u128::from(micros);
    let turn = |tick: &mut u64| {
        let quarters = (u128::from(*tick) * up + down / 2) / down;
        *tick = u64::try_from(quarters).unwrap_or(u64::MAX / 4);
    };
    for track in tracks {
        for note in &mut track.notes {
            turn(&mut note.on);
            turn(&mut note.off);
        }
        track.tempos.truncate(1);
        track.each_tick(turn);
    }
}

/// Lets each track begin where the one before has ended, at a full measure.
fn one_after_another(tracks: &mut [Track], per_quarter: u64) {
    let mut start = 0u64;
    for track in tracks {
        let meter = track.meters.last().and_then(|(_, u, l)| meter_of(*u, *l));
        let measure =
            meter.unwrap_or(Meter::COMMON).measure().ticks(per_quarter as i64).max(1) as u64;
        let end = track.notes.iter().map(|n| n.off).max().unwrap_or(0);
        for note in &mut track.notes {
            note.on += start;
            note.off += start;
        }
        track.each_tick(|tick| *tick += start);
        start += end.div_ceil(measure) * measure;
    }
}

/// The meter of an event: upper number and the power of two of the lower one.
fn meter_of(upper: u8, lower: u8) -> Option<Meter> {
    Meter::new(u16::from(upper), 1u16.checked_shl(u32::from(lower)).unwrap_or(0))
}

/// The tempos of all tracks in order, repetitions left out.
fn tempos(tracks: &[Track], last: u64, warnings: &mut Vec<Warning>) -> Vec<(u64, u32)> {
    let mut all: Vec<(u64, u32)> = tracks.iter().flat_map(|t| t.tempos.iter().copied()).collect();
    all.retain(|(tick, micros)| *micros > 0 && (*tick == 0 || *tick < last));
    all.sort_by_key(|(tick, _)| *tick);
    let mut out: Vec<(u64, u32)> = Vec::new();
    for (tick, micros) in all {
        match out.last_mut() {
            // Of several at a moment the last is the one that plays on.
            Some(before) if before.0 == tick => before.1 = micros,
            Some(before) if before.1 == micros => {}
            _ => out.push((tick, micros)),
        }
    }
    if out.is_empty() {
        warnings.push(warning(
            "the file",
            "no tempo; 120 quarter notes a minute, as the standard says",
        ));
        out.push((0, DEFAULT_TEMPO));
    }
    out
}

/// The meters of all tracks in order, from tick 0, repetitions left out.
fn meters(tracks: &[Track], last: u64, warnings: &mut Vec<Warning>) -> Vec<(u64, Meter)> {
    let mut all = Vec::new();
    for track in tracks {
        for (tick, upper, lower) in &track.meters {
            match meter_of(*upper, *lower) {
                Some(meter) => all.push((*tick, meter)),
                None => warnings.push(warning(
                    format!("track {}, tick {tick}", track.number),
                    format!("a meter of {upper} over 2^{lower} can't be; left out"),
                )),
            }
        }
    }
    all.retain(|(tick, _)| *tick == 0 || *tick < last);
    all.sort_by_key(|(tick, _)| *tick);
    let mut out: Vec<(u64, Meter)> = Vec::new();
    for (tick, meter) in all {
        match out.last() {
            Some((at, before)) if *at == tick && *before != meter => warnings.push(warning(
                format!("tick {tick}"),
                format!("the tracks disagree on the meter; {before} kept, {meter} left out"),
            )),
            Some((_, before)) if *before == meter => {}
            _ => out.push((tick, meter)),
        }
    }
    if out.is_empty() {
        warnings.push(warning("the file", "no meter; 4/4, as the standard says"));
    }
    if out.first().is_none_or(|(tick, _)| *tick > 0) {
        out.insert(0, (0, Meter::COMMON));
    }
    out
}

/// The key signatures of all tracks in order, repetitions left out.
fn keys(tracks: &[Track], last: u64, warnings: &mut Vec<Warning>) -> Vec<(u64, i8, bool)> {
    let mut all = Vec::new();
    for track in tracks {
        for (tick, fifths, minor) in &track.keys {
            if fifths.unsigned_abs() <= MAX_FIFTHS.unsigned_abs() {
                all.push((*tick, *fifths, *minor));
            } else {
                warnings.push(warning(
                    format!("track {}, tick {tick}", track.number),
                    format!("a key signature of {fifths} sharps can't be; left out"),
                ));
            }
        }
    }
    all.retain(|(tick, ..)| *tick == 0 || *tick < last);
    all.sort_by_key(|(tick, ..)| *tick);
    let mut out: Vec<(u64, i8, bool)> = Vec::new();
    for (tick, fifths, minor) in all {
        match out.last() {
            Some((at, f, m)) if *at == tick && (*f, *m) != (fifths, minor) => {
                warnings.push(warning(
                    format!("tick {tick}"),
                    "the tracks disagree on the key signature; the first one kept",
                ));
            }
            Some((_, f, m)) if (*f, *m) == (fifths, minor) => {}
            _ => out.push((tick, fifths, minor)),
        }
    }
    out
}

/// Lays out the measures from 0 to the end of the last note, the first one `pickup` long where that is
/// more than nothing. The first may start late: the silence
/// before a pickup is no part of it.
fn measures(
    clock: &Clock,
    pickup: Time,
    first: Time,
    end: Time,
) -> Result<Vec<Measure>, MidiError> {
    let mut measures: Vec<Measure> = Vec::new();
    for (i, (tick, meter)) in clock.meters.iter().enumerate() {
        let next = clock.meters.get(i + 1).map(|(tick, _)| clock.time(*tick));
        let mut at = clock.time(*tick);
        while next.map_or(at < end || measures.is_empty(), |next| at < next) {
            if measures.len() >= MAX_MEASURES {
                return Err(MidiError::TooManyMeasures);
            }
            let mut measure = Measure::full(String::new(), at, *meter);
            if measures.is_empty() && pickup.is_positive() {
                measure.duration = pickup;
            }
            if let Some(next) = next
                && measure.end() > next
            {
                measure.duration = next - at;
            }
            at = measure.end();
            measures.push(measure);
        }
    }
    mark_pickup(&mut measures, first);
    let pickup = measures.first().is_some_and(|m| m.lead.is_positive());
    for (i, measure) in measures.iter_mut().enumerate() {
        measure.number = (i + usize::from(!pickup)).to_string();
        measure.implicit = pickup && i == 0;
    }
    Ok(measures)
}

/// Finds the pickup: a first measure padded with silence, or one shorter than the meter that follows.
fn mark_pickup(measures: &mut [Measure], first: Time) {
    let next = measures.get(1).map(|m| m.meter);
    let Some(measure) = measures.first_mut() else { return };
    let full = match next {
        // A meter of its own for the pickup (1/4 before 4/4) isn't a meter of the song.
        Some(next) if measure.duration < next.measure() && measure.meter != next => {
            measure.meter = next;
            next.measure()
        }
        _ => measure.meter.measure(),
    };
    if measure.duration < full {
        measure.lead = full - measure.duration;
    }
    // Half a measure or more of silence before the first note is padding (common practice).
    let silence = first - measure.start;
    if silence.is_positive() && first < measure.end() && silence + measure.lead >= full / 2 {
        measure.start = first;
        measure.duration -= silence;
        measure.lead += silence;
    }
}
