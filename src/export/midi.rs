//! Standard MIDI Files, format 1: a conductor track with tempo, meter and key, then one track a part.
//!
//! Repeats, endings and jumps are unfolded; verse *n* is sung on the *n*th time through. Grace notes
//! have no length of their own and are left out. A pitch that is struck again while it sounds ends
//! there, and goes on from the new stroke as long as either lasts: a file that let two notes of one
//! pitch overlap would leave readers to guess which of them an end belongs to. A note tied over a bar
//! line from which the player goes elsewhere ends at that bar line.

use midly::num::{u4, u7, u15, u24, u28};
use midly::{
    Format, Header, MetaMessage, MidiMessage, Smf, Timing, Track, TrackEvent, TrackEventKind,
};

use super::musicxml::midi_channel;
use crate::score::{
    KeySignature, Measure, Meter, Mode, Note, Part, Score, Syllabic, Time, playback,
};

/// Ticks to the quarter where no whole number holds every time of the score exactly.
const FALLBACK_TICKS: i64 = 10_080;

/// Fewest ticks to the quarter, a usual resolution of sequencers.
const FEWEST_TICKS: i64 = 480;

/// How hard every note is struck; General MIDI's middle ground, a little above mezzo-forte.
const VELOCITY: u8 = 80;

/// A stretch of the score as it is played: from `start` to `end` in score order, sounding from `at`.
struct Stretch {
    start: Time,
    end: Time,
    at: Time,
    /// How often its measure has been played before.
    pass: usize,
    /// The score time up to which measures follow each other as printed; `None`: to the end.
    goes_on_to: Option<Time>,
}

/// One stroke, in ticks.
struct Strike {
    key: u8,
    on: i64,
    off: i64,
    lyric: Option<String>,
}

/// The score as a MIDI file's bytes.
pub fn write(score: &Score) -> Vec<u8> {
    let per_quarter = resolution(score);
    let stretches = stretches(score);
    let strikes: Vec<Vec<Strike>> =
        score.parts.iter().map(|part| strikes(part, &stretches, per_quarter)).collect();
    let end = end_tick(&stretches, per_quarter);
    let mut tracks = vec![conductor(score, &stretches, per_quarter)];
    for (i, (part, strikes)) in score.parts.iter().zip(&strikes).enumerate() {
        tracks.push(part_track(part, part.label(), i, strikes, end));
    }
    let header = Header::new(
        Format::Parallel,
        Timing::Metrical(u15::from(u16::try_from(per_quarter).unwrap_or(480).min(0x7FFF))),
    );
    let mut bytes = Vec::new();
    // Writing to memory can't fail.
    let _ = Smf { header, tracks }.write_std(&mut bytes);
    bytes
}

/// Ticks to the quarter in which every onset and end is whole, where fifteen bits can hold it.
fn resolution(score: &Score) -> i64 {
    let mut common = 1i64;
    let times = score
        .parts
        .iter()
        .flat_map(|p| &p.notes)
        .flat_map(|n| [n.onset, n.duration])
        .chain(score.measures.iter().flat_map(|m| [m.start, m.duration]))
        .chain(score.tempos.iter().map(|t| t.at))
        .chain(score.keys.iter().map(|k| k.at));
    for time in times {
        common = least_common_multiple(common, time.denominator());
        if common > 0x7FFF {
            return FALLBACK_TICKS;
        }
    }
    let times = (FEWEST_TICKS + common - 1) / common;
    if common * times <= 0x7FFF { common * times } else { common }
}

fn least_common_multiple(a: i64, b: i64) -> i64 {
    let (mut x, mut y) = (a, b);
    while y != 0 {
        (x, y) = (y, x % y);
    }
    (a / x.max(1)).saturating_mul(b)
}

fn stretches(score: &Score) -> Vec<Stretch> {
    let mut at = Time::ZERO;
    let mut passes = vec![0usize; score.measures.len()];
    let mut stretches = Vec::new();
    for index in playback::order(&score.measures).0 {
        let (Some(measure), Some(pass)) = (score.measures.get(index), passes.get_mut(index)) else {
            continue;
        };
        stretches.push(Stretch {
            start: measure.start,
            end: measure.end(),
            at,
            pass: *pass,
            goes_on_to: None,
        });
        *pass += 1;
        at += measure.duration;
    }
    let mut after: Option<(Time, Option<Time>)> = None;
    for stretch in stretches.iter_mut().rev() {
        stretch.goes_on_to = match after {
            Some((start, to)) if start == stretch.end => to,
            // The end of the score itself cuts nothing.
            None if stretch.end == score.end() => None,
            _ => Some(stretch.end),
        };
        after = Some((stretch.start, stretch.goes_on_to));
    }
    stretches
}

/// The strokes of a part as played, by pitch and then in order of time.
fn strikes(part: &Part, stretches: &[Stretch], per_quarter: i64) -> Vec<Strike> {
    let mut all: Vec<Strike> = Vec::new();
    for stretch in stretches {
        let first = part.notes.partition_point(|n| n.onset < stretch.start);
        for note in part.notes.iter().skip(first).take_while(|n| n.onset < stretch.end) {
            let Some(key) = note.midi().as_u7().filter(|_| !note.grace) else { continue };
            let end = stretch.goes_on_to.map_or(note.end(), |to| note.end().min(to));
            let at = stretch.at - stretch.start;
            let on = (at + note.onset).ticks(per_quarter);
            let off = (at + end).ticks(per_quarter).max(on + 1);
            all.push(Strike { key, on, off, lyric: sung(note, stretch.pass) });
        }
    }
    all.sort_by_key(|s| (s.key, s.on));
    let mut apart: Vec<Strike> = Vec::with_capacity(all.len());
    for mut strike in all {
        if let Some(last) = apart.last_mut().filter(|l| l.key == strike.key && l.off > strike.on) {
            if last.on == strike.on {
                last.off = last.off.max(strike.off);
                last.lyric = last.lyric.take().or(strike.lyric);
                continue;
            }
            strike.off = strike.off.max(last.off);
            last.off = strike.on;
        }
        apart.push(strike);
    }
    apart
}

/// The syllable sung when a note is played for the `pass`th time, from 0; a note with one verse is
/// sung alike each time. A hyphen says that the word goes on (RP-017, "SMF Lyric Meta Event
/// Definition", from memory).
fn sung(note: &Note, pass: usize) -> Option<String> {
    let verse = u8::try_from(pass + 1).unwrap_or(u8::MAX);
    let lyric = note
        .lyrics
        .iter()
        .find(|l| l.verse == verse)
        .or_else(|| note.lyrics.first().filter(|_| note.lyrics.len() == 1))
        .filter(|l| !l.text.is_empty())?;
    let goes_on = matches!(lyric.syllabic, Syllabic::Begin | Syllabic::Middle);
    Some(if goes_on { format!("{}-", lyric.text) } else { lyric.text.clone() })
}

/// An event at a tick; at one tick, lower ranks come first.
struct Event<'a> {
    tick: i64,
    rank: u8,
    kind: TrackEventKind<'a>,
}

fn track(mut events: Vec<Event<'_>>, end: i64) -> Track<'_> {
    events.sort_by_key(|e| (e.tick, e.rank));
    let mut track = Track::with_capacity(events.len() + 1);
    let mut now = 0;
    let delta = |tick: i64, now: &mut i64| {
        let step = (tick - *now).clamp(0, 0x0FFF_FFFF);
        *now = tick.max(*now);
        u28::from(u32::try_from(step).unwrap_or(0))
    };
    for event in events {
        track.push(TrackEvent { delta: delta(event.tick, &mut now), kind: event.kind });
    }
    let end = end.max(now);
    track.push(TrackEvent {
        delta: delta(end, &mut now),
        kind: TrackEventKind::Meta(MetaMessage::EndOfTrack),
    });
    track
}

fn end_tick(stretches: &[Stretch], per_quarter: i64) -> i64 {
    stretches.last().map_or(0, |s| (s.at + (s.end - s.start)).ticks(per_quarter))
}

fn conductor<'a>(score: &'a Score, stretches: &[Stretch], per_quarter: i64) -> Track<'a> {
    let mut events = Vec::new();
    let mut push = |tick: i64, rank: u8, message: MetaMessage<'a>| {
        events.push(Event { tick, rank, kind: TrackEventKind::Meta(message) });
    };
    if !score.title.is_empty() {
        push(0, 0, MetaMessage::TrackName(score.title.as_bytes()));
    }
    let mut bars = BarLines::default();
    let (mut signature, mut tempo) = (None, None);
    for stretch in stretches {
        let here = stretch.at.ticks(per_quarter);
        if let Some(now) = score.measure_at(stretch.start).and_then(|m| bars.next(m, stretch.at)) {
            // The file holds the lower number as a power of two, and MIDI clocks (24 to the
            // quarter) to a click of the metronome.
            if now.beat_type.is_power_of_two() && now.beats < 256 {
                let clocks = now.beat().ticks(24).clamp(1, 255) as u8;
                let power = now.beat_type.trailing_zeros() as u8;
                push(here, 1, MetaMessage::TimeSignature(now.beats as u8, power, clocks, 8));
            }
        }
        let before = score.signature_at(stretch.start);
        let inside = score.keys.iter().filter(|k| k.at > stretch.start && k.at < stretch.end);
        for change in before.into_iter().chain(inside) {
            let now = in_midi(change);
            if signature != Some(now) {
                signature = Some(now);
                let at = stretch.at + (change.at.max(stretch.start) - stretch.start);
                push(at.ticks(per_quarter), 2, MetaMessage::KeySignature(now.0, now.1));
            }
        }
        // The tempo in force where the measure begins, then the changes inside it.
        let before = score.tempos.iter().take_while(|t| t.at <= stretch.start).last();
        let inside = score.tempos.iter().filter(|t| t.at > stretch.start && t.at < stretch.end);
        for change in before.into_iter().chain(inside) {
            let micros = (60_000_000.0 / change.quarter_bpm.max(4.0)).round().max(1.0) as u32;
            if tempo == Some(micros) {
                continue;
            }
            tempo = Some(micros);
            let at = stretch.at + (change.at.max(stretch.start) - stretch.start);
            push(at.ticks(per_quarter), 3, MetaMessage::Tempo(u24::from(micros.min(0xFF_FFFF))));
        }
    }
    track(events, end_tick(stretches, per_quarter))
}

/// Where readers of the file see bar lines: they count from the last time signature on.
#[derive(Default)]
struct BarLines {
    meter: Option<Meter>,
    from: Time,
}

impl BarLines {
    /// The time signature to be written where a measure begins, if the one in force would put the
    /// bar lines elsewhere. A pickup gets a meter of its own length.
    fn next(&mut self, measure: &Measure, at: Time) -> Option<Meter> {
        let in_step = self.meter == Some(measure.meter)
            && (at - measure.lead - self.from).rem_floor(measure.meter.measure()).is_zero();
        if in_step {
            return None;
        }
        let short = Some(measure).filter(|m| m.lead.is_positive()).and_then(own_meter);
        self.meter = Some(short.unwrap_or(measure.meter));
        self.from = if short.is_some() { at } else { at - measure.lead };
        self.meter
    }
}

/// The meter that a short measure fills: in its meter's unit, or in halves of it down to 64ths.
fn own_meter(measure: &Measure) -> Option<Meter> {
    let mut beat_type = measure.meter.beat_type;
    while beat_type <= 64 {
        let unit = Time::new(4, i64::from(beat_type));
        if measure.duration.rem_floor(unit).is_zero() {
            return Meter::new(u16::try_from(measure.duration.div_floor(unit)).ok()?, beat_type);
        }
        beat_type *= 2;
    }
    None
}

/// A signature as MIDI files hold it: at most seven sharps or flats, and whether the key is minor.
fn in_midi(key: &KeySignature) -> (i8, bool) {
    let mut fifths = i16::from(key.fifths);
    while fifths > 7 {
        fifths -= 12;
    }
    while fifths < -7 {
        fifths += 12;
    }
    (fifths as i8, key.mode == Some(Mode::Minor))
}

fn part_track<'a>(
    part: &Part,
    name: &'a str,
    index: usize,
    strikes: &'a [Strike],
    end: i64,
) -> Track<'a> {
    let channel = u4::from(midi_channel(index));
    let meta =
        |message: MetaMessage<'a>| Event { tick: 0, rank: 0, kind: TrackEventKind::Meta(message) };
    let mut events = vec![meta(MetaMessage::TrackName(name.as_bytes()))];
    // Fifteen channels are one port's worth of parts; the next fifteen play on the next port.
    if let Some(port) = u8::try_from(index / 15).ok().filter(|p| (1..128).contains(p)) {
        events.push(meta(MetaMessage::MidiPort(u7::from(port))));
    }
    let midi = |message: MidiMessage| TrackEventKind::Midi { channel, message };
    if let Some(program) = part.sound.program {
        let message = MidiMessage::ProgramChange { program: u7::from(program.min(127)) };
        events.push(Event { tick: 0, rank: 1, kind: midi(message) });
    }
    for strike in strikes {
        let key = u7::from(strike.key);
        if let Some(text) = &strike.lyric {
            let text = MetaMessage::Lyric(text.as_bytes());
            events.push(Event { tick: strike.on, rank: 3, kind: TrackEventKind::Meta(text) });
        }
        let on = MidiMessage::NoteOn { key, vel: u7::from(VELOCITY) };
        events.push(Event { tick: strike.on, rank: 4, kind: midi(on) });
        let off = MidiMessage::NoteOff { key, vel: u7::from(0) };
        events.push(Event { tick: strike.off, rank: 2, kind: midi(off) });
    }
    track(events, end)
}
