//! The song as it is arranged: moved to its key, laid out in its form, with what the generators ask
//! of it ready to hand.
//!
//! Inside this layer times are whole ticks of a resolution that divides every time of the song
//! ([`Song::per_quarter`]), so the searches compare integers; the finished parts are exact fractions
//! again.

use super::form::{self, Form};
use super::request::{ArrangeError, ArrangeRequest};
use super::roots;
use crate::analysis::Analysis;
use crate::kit::FitOption;
use crate::score::{
    Chord, ChordSymbol, Key, KeySignature, Midi, Note, NoteName, Pitch, PitchClass, Score, Slide,
    Tempo, Time,
};
use crate::score::{Hand, Line};

/// A moment or a length in ticks.
pub(super) type Tick = i64;

/// Divisions that the generators need of a quarter beside the song's own: 64ths and their triplets.
const OWN_DIVISIONS: i64 = 48;

/// A note of a part while it is being made.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Strike {
    pub(super) at: Tick,
    pub(super) end: Tick,
    pub(super) midi: Midi,
    /// The note of [`Song::line`] that it plays, where it plays one.
    pub(super) line: Option<usize>,
    pub(super) slide: Option<Slide>,
    pub(super) tuplet: Option<(u16, u16)>,
    pub(super) hand: Option<Hand>,
}

impl Strike {
    pub(super) fn new(at: Tick, end: Tick, midi: Midi) -> Strike {
        Strike { at, end, midi, line: None, slide: None, tuplet: None, hand: None }
    }
}

/// A note of the melody in ticks.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct MelodyNote {
    pub(super) at: Tick,
    pub(super) end: Tick,
    pub(super) midi: Midi,
}

/// A chord in force for a while.
#[derive(Clone, Debug)]
pub(super) struct Span {
    pub(super) at: Tick,
    pub(super) end: Tick,
    pub(super) root: PitchClass,
    pub(super) classes: Vec<PitchClass>,
}

/// The song to arrange.
pub(super) struct Song {
    /// Measures, keys, tempos, chord symbols and marks; no parts yet.
    pub(super) score: Score,
    pub(super) key: Key,
    /// The melody at the pitch of the option's transposition, octave shifts left out.
    pub(super) line: Vec<Note>,
    /// For each note of `line`, its index in the line that was asked for.
    pub(super) source: Vec<usize>,
    pub(super) melody: Vec<MelodyNote>,
    /// Ticks to the quarter.
    pub(super) per_quarter: i64,
    /// Phrases that hold notes, in order: from, to.
    pub(super) phrases: Vec<(Tick, Tick)>,
    /// The letters of `phrases`, primes left out.
    pub(super) labels: Vec<char>,
    pub(super) harmony: Vec<Span>,
    /// Strong beats of the score.
    pub(super) strong: Vec<Tick>,
    /// Start and end of every measure, in ticks.
    pub(super) bars: Vec<(Tick, Tick)>,
    /// Where the last note of all ends.
    pub(super) close: Tick,
    /// Where the accompaniment strikes for the last time: on the first beat of a last measure without
    /// melody, else on the strong beat on which the melody's last note begins, or on the one before it.
    pub(super) last_stroke: Tick,
    /// For each measure the root that it asks for ([`roots`]); the tonic where the drone holds it throughout.
    roots: Vec<Option<PitchClass>>,
    /// The triads on the degrees of the scale, the tonic's first, roots first.
    triads: Vec<[PitchClass; 3]>,
    /// Tempos: from when, seconds a tick.
    pace: Vec<(Tick, f64)>,
    /// The main tempo, in quarter notes a minute.
    pub(super) tempo: f64,
    /// Whether the tempo was suggested, not the song's own.
    pub(super) tempo_suggested: bool,
    pub(super) form: Form,
}

/// The share of strong beats that a tonic drone must suit for it to be held throughout a tune that
/// isn't free of semitones. Set by hand, not fitted.
const TONIC_SHARE: f64 = 0.85;

impl Song {
    pub(super) fn new(
        score: &Score,
        line: &Line,
        analysis: &Analysis,
        option: &FitOption,
        ask: &ArrangeRequest,
    ) -> Result<Song, ArrangeError> {
        if line.notes.is_empty() || score.measures.is_empty() {
            return Err(ArrangeError::NoNotes);
        }
        let fifths = i16::from(option.key.fifths()) - i16::from(analysis.key.best.key.fifths());
        let form = form::lay_out(score, line, ask);
        let mut out = Score {
            title: score.title.clone(),
            composer: score.composer.clone(),
            measures: form.measures.clone(),
            ..Score::default()
        };
        let shift = form.offset;
        let signature = |k: i8| {
            // A signature stays within seven sharps or flats: beyond, its enharmonic twin is taken.
            let mut f = i16::from(k) + fifths;
            while f > 7 {
                f -= 12;
            }
            while f < -7 {
                f += 12;
            }
            f as i8
        };
        out.keys = score
            .keys
            .iter()
            .map(|k| KeySignature { at: k.at + shift, fifths: signature(k.fifths), mode: k.mode })
            .collect();
        match out.keys.first_mut() {
            Some(first) if first.at <= shift => first.at = Time::ZERO,
            _ => out.keys.insert(
                0,
                KeySignature {
                    at: Time::ZERO,
                    fifths: option.key.fifths(),
                    mode: Some(option.key.mode),
                },
            ),
        }
        out.marks = score
            .marks
            .iter()
            .map(|m| crate::score::Mark { at: m.at + shift, text: m.text.clone() })
            .collect();
        out.chords = if score.chords.is_empty() {
            analysis
                .harmony
                .iter()
                .map(|h| ChordSymbol { at: h.at + shift, chord: Some(h.chord.transposed(fifths)) })
                .collect()
        } else {
            score
                .chords
                .iter()
                .map(|c| ChordSymbol {
                    at: c.at + shift,
                    chord: c.chord.as_ref().map(|chord| chord.transposed(fifths)),
                })
                .collect()
        };
        let (source, notes) = moved_line(line, option, fifths, shift);
        if notes.is_empty() {
            return Err(ArrangeError::NoNotes);
        }
        let tempo_suggested = score.tempos.is_empty();
        out.tempos = score
            .tempos
            .iter()
            .map(|t| Tempo { at: t.at + shift, quarter_bpm: t.quarter_bpm })
            .collect();
        if let Some(first) = out.tempos.first_mut() {
            first.at = Time::ZERO;
        } else {
            out.tempos.push(Tempo { at: Time::ZERO, quarter_bpm: suggested_tempo(&out, &notes) });
        }
        let tempo = out.tempos.first().map_or(96.0, |t| t.quarter_bpm);

        let per_quarter = resolution(&out, &notes, analysis, shift);
        let tick = |t: Time| t.ticks(per_quarter);
        let end = tick(out.end());
        let last = notes.last().map_or(end, |n| tick(n.end()));
        let close = if form.closing { end } else { last };
        let strong: Vec<Tick> = out.strong_beats().into_iter().map(tick).collect();
        let last_stroke = if form.closing {
            out.measures.last().map(|m| tick(m.start))
        } else {
            let onset = notes.last().map_or(0, |n| tick(n.onset));
            strong.get(strong.partition_point(|t| *t <= onset).saturating_sub(1)).copied()
        };
        let mut phrases = Vec::new();
        let mut labels = Vec::new();
        for phrase in &analysis.phrases {
            let (from, to) = (phrase.from + shift, phrase.to + shift);
            let i = notes.partition_point(|n| n.onset < from);
            if notes.get(i).is_some_and(|n| n.onset < to) {
                phrases.push((tick(from), tick(to)));
                labels.push(phrase.label.chars().next().unwrap_or('a'));
            }
        }
        if phrases.is_empty() {
            phrases.push((notes.first().map_or(0, |n| tick(n.onset)), last));
            labels.push('a');
        }
        let seconds_a_tick = |bpm: f64| 60.0 / bpm.max(1.0) / per_quarter as f64;
        let harmony = harmony(analysis, &out, fifths, shift, option.key, per_quarter);
        let melody: Vec<MelodyNote> = notes
            .iter()
            .map(|n| MelodyNote { at: tick(n.onset), end: tick(n.end()), midi: n.midi() })
            .collect();
        let bars: Vec<(Tick, Tick)> =
            out.measures.iter().map(|m| (tick(m.start), tick(m.end()))).collect();
        let tonic_suits = analysis.pitch_set.semitone_free || analysis.drone_share >= TONIC_SHARE;
        let roots = match tonic_suits {
            true => Vec::new(),
            false => roots::roots(option.key, &bars, &melody, &harmony),
        };
        Ok(Song {
            harmony,
            melody,
            line: notes,
            source,
            key: option.key,
            strong,
            bars,
            close,
            last_stroke: last_stroke.unwrap_or(0),
            roots,
            triads: (0..7).map(|degree| roots::triad(option.key, degree)).collect(),
            pace: out.tempos.iter().map(|t| (tick(t.at), seconds_a_tick(t.quarter_bpm))).collect(),
            tempo,
            tempo_suggested,
            per_quarter,
            phrases,
            labels,
            form,
            score: out,
        })
    }

    /// Makes the song slower by a factor above 1, to a whole number of quarter notes a minute.
    pub(super) fn slow(&mut self, factor: f64) {
        let tempo = (self.tempo / factor + 1e-9).floor().max(1.0);
        let factor = self.tempo / tempo;
        for tempo in &mut self.score.tempos {
            tempo.quarter_bpm /= factor;
        }
        for pace in &mut self.pace {
            pace.1 *= factor;
        }
        self.tempo = tempo;
    }

    /// A time in ticks.
    pub(super) fn tick(&self, time: Time) -> Tick {
        time.ticks(self.per_quarter)
    }

    /// Ticks as an exact time.
    pub(super) fn time(&self, tick: Tick) -> Time {
        Time::new(tick, self.per_quarter)
    }

    /// Seconds from one moment to a later one.
    pub(super) fn seconds(&self, from: Tick, to: Tick) -> f64 {
        let mut sum = 0.0;
        for (i, (at, pace)) in self.pace.iter().enumerate() {
            let until = self.pace.get(i + 1).map_or(Tick::MAX, |p| p.0);
            let (a, b) = (from.max(*at), to.min(until));
            if b > a {
                sum += (b - a) as f64 * pace;
            }
        }
        sum
    }

    /// The length in ticks of so many seconds at the tempo in force.
    pub(super) fn ticks_of(&self, seconds: f64, at: Tick) -> Tick {
        let pace = self.pace.iter().take_while(|p| p.0 <= at).last().map_or(1.0, |p| p.1);
        (seconds / pace).min(1e15) as Tick
    }

    /// The number of the measure in which a moment lies, as printed.
    pub(super) fn measure_number(&self, at: Tick) -> &str {
        let after = self.bars.partition_point(|b| b.0 <= at);
        self.score.measures.get(after.saturating_sub(1)).map_or("", |m| &m.number)
    }

    /// The melody note that sounds at a moment.
    pub(super) fn melody_at(&self, at: Tick) -> Option<&MelodyNote> {
        let after = self.melody.partition_point(|n| n.at <= at);
        self.melody.get(after.checked_sub(1)?).filter(|n| n.end > at)
    }

    /// The chord in force at a moment.
    pub(super) fn chord_at(&self, at: Tick) -> Option<&Span> {
        let after = self.harmony.partition_point(|h| h.at <= at);
        self.harmony.get(after.checked_sub(1)?)
    }

    /// The root that the measure of a moment asks for; `None`: none, or the drone holds the tonic throughout.
    pub(super) fn root_at(&self, at: Tick) -> Option<PitchClass> {
        let bar = self.bars.partition_point(|b| b.0 <= at).checked_sub(1)?;
        self.roots.get(bar).copied().flatten()
    }

    /// The chord that the accompaniment stands on at a moment, root first: the triad that its measure asks
    /// for, else the tonic's.
    pub(super) fn ground(&self, at: Tick) -> &[PitchClass] {
        let root = self.root_at(at);
        let triad = self.triads.iter().find(|t| Some(t[0]) == root).or(self.triads.first());
        triad.map_or(&[], |t| t)
    }

    /// How deep in the meter's tree a moment lies (see `Meter::level`).
    pub(super) fn level(&self, at: Tick) -> u8 {
        self.score.level(self.time(at))
    }

    /// How a sounding pitch is spelled in the song's key.
    pub(super) fn spelled(&self, midi: Midi) -> Pitch {
        Pitch::spelled(midi, self.key.fifths())
    }

    /// The finished note of a strike, without lyrics.
    pub(super) fn note(&self, strike: &Strike) -> Note {
        let pitch = match strike.line.and_then(|i| self.line.get(i)) {
            Some(source) => Pitch::with_name(strike.midi, source.pitch.name)
                .unwrap_or_else(|| self.spelled(strike.midi)),
            None => self.spelled(strike.midi),
        };
        let (onset, end) = (self.time(strike.at), self.time(strike.end));
        let mut note = Note::new(onset, end - onset, pitch);
        note.hand = strike.hand;
        note.slide = strike.slide;
        note.tuplet = strike.tuplet;
        if let Some(source) = strike.line.and_then(|i| self.line.get(i)) {
            note.tuplet = source.tuplet.filter(|_| source.duration == note.duration);
            note.fermata = source.fermata;
        }
        note
    }
}

/// The melody at its new pitch and place, notes changed as the option says.
fn moved_line(
    line: &Line,
    option: &FitOption,
    fifths: i16,
    shift: Time,
) -> (Vec<usize>, Vec<Note>) {
    let mut notes: Vec<Option<Note>> = line.notes.iter().cloned().map(Some).collect();
    for change in &option.changed {
        if let Some(slot) = notes.get_mut(change.note) {
            match change.to {
                Some(pitch) => {
                    if let Some(note) = slot {
                        note.pitch = pitch;
                    }
                }
                None => *slot = None,
            }
        }
    }
    notes
        .into_iter()
        .enumerate()
        .filter_map(|(i, note)| Some((i, note?)))
        .filter(|(_, n)| !n.grace && n.duration.is_positive())
        .map(|(i, mut note)| {
            let wanted = note.midi() + option.transpose;
            note.pitch = note.pitch.transposed(option.transpose, fifths);
            if note.pitch.midi() != wanted {
                note.pitch = Pitch::spelled(wanted, option.key.fifths());
            }
            note.onset += shift;
            note.voice = Default::default();
            note.staff = 1;
            note.hand = None;
            note.slide = None;
            (i, note)
        })
        .unzip()
}

/// The least number of ticks to the quarter that makes every time of the song whole, and the
/// generators' own divisions too.
fn resolution(score: &Score, notes: &[Note], analysis: &Analysis, shift: Time) -> i64 {
    let mut all = OWN_DIVISIONS;
    let mut take = |t: Time| {
        let d = t.denominator();
        if all % d != 0 {
            let lcm = all / gcd(all, d) * d;
            if lcm <= Time::MAX_DENOMINATOR * OWN_DIVISIONS {
                all = lcm;
            }
        }
    };
    for note in notes {
        take(note.onset);
        take(note.duration);
    }
    for measure in &score.measures {
        take(measure.start);
        take(measure.duration);
        take(measure.meter.unit() / 4);
    }
    for harmony in &analysis.harmony {
        take(harmony.at + shift);
    }
    all
}

fn gcd(mut a: i64, mut b: i64) -> i64 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a.max(1)
}

/// The chords in ticks: the score's own symbols where it has them, else what the analysis found.
fn harmony(
    analysis: &Analysis,
    score: &Score,
    fifths: i16,
    shift: Time,
    key: Key,
    per_quarter: i64,
) -> Vec<Span> {
    let span = |at: Time, chord: &Chord| Span {
        at: at.ticks(per_quarter),
        end: Tick::MAX,
        root: chord.root.class(),
        classes: chord.classes(),
    };
    let mut spans: Vec<Span> =
        analysis.harmony.iter().map(|h| span(h.at + shift, &h.chord.transposed(fifths))).collect();
    if spans.is_empty() {
        spans = score
            .chords
            .iter()
            .filter_map(|c| c.chord.as_ref().map(|chord| span(c.at, chord)))
            .collect();
    }
    // What comes before the first chord (the introduction) is the tonic's, and so is all of a song
    // without chords.
    let tonic = Chord::new(key.tonic, crate::score::Quality::POWER);
    if spans.first().is_none_or(|s| s.at > 0) {
        spans.insert(0, span(Time::ZERO, &tonic));
    }
    let ends: Vec<Tick> = spans.iter().skip(1).map(|s| s.at).collect();
    for (span, end) in spans.iter_mut().zip(ends) {
        span.end = end;
    }
    let after = (shift + analysis_end(analysis, score, shift)).ticks(per_quarter);
    let end = score.end().ticks(per_quarter);
    if after < end {
        if let Some(last) = spans.last_mut() {
            last.end = after;
        }
        spans.push(Span { at: after, ..span(Time::ZERO, &tonic) });
    }
    if let Some(last) = spans.last_mut() {
        last.end = end;
    }
    spans
}

/// Where the song itself ends, seen from its start.
fn analysis_end(analysis: &Analysis, score: &Score, shift: Time) -> Time {
    analysis.phrases.last().map_or(score.end() - shift, |p| p.to)
}

/// A tempo for a song that names none: the beat at a quiet walking pace, slower where the melody's
/// short notes would come faster than a group plays together.
fn suggested_tempo(score: &Score, notes: &[Note]) -> f64 {
    /// Beats a minute: a walking pace (common practice, no source).
    const WALK: f64 = 96.0;
    /// Dotted and half-note beats are felt slower.
    const LONG_BEAT: f64 = 66.0;
    /// Shortest note that a group still plays together, in seconds (common practice, no source).
    const SHORTEST: f64 = 0.2;
    /// Slowest suggestion, in beats a minute: below, a tune falls apart.
    const SLOWEST: f64 = 40.0;
    let Some(first) = score.measures.first() else { return WALK };
    let beat = first.meter.beat().as_f64();
    let mut lengths: Vec<f64> = notes.iter().map(|n| n.duration.as_f64()).collect();
    lengths.sort_by(f64::total_cmp);
    // One note in ten may be shorter: an ornament, a run.
    let short = lengths.get(lengths.len() / 10).copied().unwrap_or(1.0);
    let walk = if beat > 1.0 { LONG_BEAT * beat } else { WALK * beat };
    let fitting = 60.0 * short / SHORTEST;
    walk.min(fitting).max(SLOWEST * beat).round()
}

/// Names that differ from the key's own scale (chromatic roots) stay as they are; this is the name
/// of a class in the song's key.
pub(super) fn name_in(key: Key, class: PitchClass) -> NoteName {
    NoteName::spelled(class, key.fifths())
}
