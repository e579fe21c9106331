//! The compact table that all questions are answered from: one row per note, made once.
//!
//! Exact times are turned into whole ticks of a common denominator here, so that the loops behind it
//! run over plain numbers.

use crate::score::{Line, Meter, Note, Score, Time};

/// One note of the melody, or of the parts around it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Event {
    /// Onset in quarter notes.
    pub(super) at: f64,
    /// Duration in quarter notes.
    pub(super) length: f64,
    /// Sounding pitch.
    pub(super) midi: i16,
    /// Pitch class.
    pub(super) class: u8,
    /// Metrical level of the onset; see [`Meter::level`].
    pub(super) level: u8,
    /// Index of its measure.
    pub(super) measure: u32,
    /// Place in its meter, in quarter notes.
    pub(super) place: f32,
    /// Place in the piece counted in full measures (a pickup starts late in measure 0, the two halves
    /// of a split measure count once).
    pub(super) bar: f32,
    /// Duration and metrical weight; see [`weight`].
    pub(super) weight: f32,
}

impl Event {
    /// Where it ends, in quarter notes.
    pub(super) fn end(&self) -> f64 {
        self.at + self.length
    }
}

/// One measure.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bar {
    /// Start in quarter notes.
    pub(super) at: f64,
    /// End in quarter notes.
    pub(super) end: f64,
    /// Length of its meter in quarter notes.
    pub(super) full: f32,
    /// Length of a counted beat in quarter notes.
    pub(super) beat: f32,
    /// Whether a double bar, a repeat or an ending closes it.
    pub(super) closes: bool,
}

/// The melody and its measures as plain numbers.
#[derive(Clone, Debug, Default)]
pub(super) struct Table {
    /// The melody's notes in order.
    pub(super) events: Vec<Event>,
    /// The measures in order; never empty where there are notes.
    pub(super) bars: Vec<Bar>,
    /// All notes of the other parts and voices, in order of onset; none where they sound too little to
    /// be an accompaniment.
    pub(super) others: Vec<Event>,
}

/// How much a note counts: its length in quarter notes, doubled at the start of a measure and less
/// and less so on weaker beats: `length × (1 + 2^−level)`.
///
/// That long and strong notes count more is common practice in the key-finding literature; the
/// formula is the project's own.
pub(super) fn weight(length: f64, level: u8) -> f32 {
    (length * (1.0 + 0.5f64.powi(i32::from(level)))) as f32
}

/// The least share of a melody's sounding time that other notes must sound for to count as its
/// accompaniment: a few double stops of a fiddle tune are none, and their bass isn't the tune's. Set
/// by hand: parts that accompany sound nearly always, double stops in a tenth of the time or less.
const ACCOMPANIED: f64 = 0.4;

/// Whether the other notes, in order of onset, are an accompaniment; see [`ACCOMPANIED`].
fn accompanies(others: &[Event], melody: &[Event]) -> bool {
    let (mut sounding, mut until) = (0.0f64, f64::MIN);
    for e in others {
        sounding += (e.end() - e.at.max(until)).max(0.0);
        until = until.max(e.end());
    }
    sounding >= ACCOMPANIED * melody.iter().map(|e| e.length).sum::<f64>()
}

/// Levels already asked for, by meter and place: tunes use few places over and over, and
/// [`Meter::level`] works with exact fractions.
struct Levels {
    slots: [Option<(Meter, i64, u8)>; 64],
}

impl Levels {
    fn get(&mut self, meter: Meter, ticks: i64, per_quarter: i64) -> u8 {
        let slot = (ticks.unsigned_abs().wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 58) as usize;
        if let Some((m, t, level)) = self.slots[slot]
            && t == ticks
            && m == meter
        {
            return level;
        }
        let level = meter.level(Time::new(ticks, per_quarter));
        self.slots[slot] = Some((meter, ticks, level));
        level
    }
}

fn gcd(mut a: i64, mut b: i64) -> i64 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

/// The common denominator of times, as far as it stays within what readers let in.
struct Clock(i64);

impl Clock {
    fn hold(&mut self, time: Time) {
        let d = time.denominator();
        if self.0 % d != 0 {
            let wide = (self.0 / gcd(self.0, d)).saturating_mul(d);
            if wide <= Time::MAX_DENOMINATOR {
                self.0 = wide;
            }
        }
    }

    fn ticks(&self, time: Time) -> i64 {
        let d = time.denominator();
        if self.0 % d == 0 {
            time.numerator().saturating_mul(self.0 / d)
        } else {
            time.ticks(self.0)
        }
    }
}

/// Start, lead and number of each measure, in ticks; a measure that goes on where a short one before
/// it stopped has that one's number.
fn starts(score: &Score, clock: &Clock) -> Vec<(i64, i64, u32)> {
    let mut starts: Vec<(i64, i64, u32)> = Vec::with_capacity(score.measures.len());
    let mut reached = 0;
    for measure in &score.measures {
        let lead = clock.ticks(measure.lead);
        let number = match starts.last() {
            None => 0,
            Some(before) if lead > 0 && reached <= lead => before.2,
            Some(before) => before.2 + 1,
        };
        reached = lead + clock.ticks(measure.duration);
        starts.push((clock.ticks(measure.start), lead, number));
    }
    starts
}

/// Makes the rows of some notes; `measure` walks along because notes come in order.
fn rows<'a>(
    notes: impl Iterator<Item = &'a Note>,
    score: &Score,
    starts: &[(i64, i64, u32)],
    clock: &Clock,
    levels: &mut Levels,
) -> Vec<Event> {
    let mut measure = 0usize;
    let per = clock.0 as f64;
    notes
        .map(|note| {
            let at = clock.ticks(note.onset);
            while starts.get(measure + 1).is_some_and(|s| s.0 <= at) {
                measure += 1;
            }
            while measure > 0 && starts.get(measure).is_some_and(|s| s.0 > at) {
                measure -= 1;
            }
            let (start, lead, number) = starts.get(measure).copied().unwrap_or((0, 0, 0));
            let meter = score.measures.get(measure).map_or(Meter::COMMON, |m| m.meter);
            let full = clock.ticks(meter.measure()).max(1);
            let place = (at - start + lead).rem_euclid(full);
            let level = levels.get(meter, place, clock.0);
            let length = clock.ticks(note.duration) as f64 / per;
            Event {
                at: at as f64 / per,
                length,
                midi: note.midi().number(),
                class: note.pitch.class().index() as u8,
                level,
                measure: measure as u32,
                place: (place as f64 / per) as f32,
                bar: number as f32 + (at - start + lead) as f32 / full as f32,
                weight: weight(length, level),
            }
        })
        .collect()
}

impl Table {
    /// The table of a melody in its score.
    pub(super) fn new(score: &Score, line: &Line) -> Table {
        let mut clock = Clock(1);
        for measure in &score.measures {
            clock.hold(measure.start);
            clock.hold(measure.lead);
            clock.hold(measure.meter.measure());
        }
        let alone = score.parts.iter().map(|p| p.notes.len()).sum::<usize>() <= line.notes.len();
        for note in &line.notes {
            clock.hold(note.onset);
            clock.hold(note.duration);
        }
        if !alone {
            for note in score.parts.iter().flat_map(|p| &p.notes) {
                clock.hold(note.onset);
                clock.hold(note.duration);
            }
        }
        let per = clock.0 as f64;
        let starts = starts(score, &clock);
        let mut levels = Levels { slots: [None; 64] };
        let events = rows(line.notes.iter(), score, &starts, &clock, &mut levels);
        let others = if alone {
            Vec::new()
        } else {
            let mut others = Vec::new();
            for (i, part) in score.parts.iter().enumerate() {
                let mut own = line.notes.iter().peekable();
                let notes = part.notes.iter().filter(|note| {
                    if note.grace {
                        return false;
                    }
                    if i != line.part {
                        return true;
                    }
                    // The melody's own notes stand in the same order in its part.
                    while own.peek().is_some_and(|o| o.onset < note.onset) {
                        own.next();
                    }
                    !own.peek().is_some_and(|o| o.onset == note.onset && o.pitch == note.pitch)
                });
                others.extend(rows(notes, score, &starts, &clock, &mut levels));
            }
            others.sort_by(|a, b| a.at.total_cmp(&b.at).then(a.midi.cmp(&b.midi)));
            if accompanies(&others, &events) { others } else { Vec::new() }
        };
        let mut bars: Vec<Bar> = Vec::with_capacity(score.measures.len().max(1));
        let mut shape: Option<(Meter, f32, f32)> = None;
        for (i, measure) in score.measures.iter().enumerate() {
            let (full, beat) = match shape {
                Some((meter, full, beat)) if meter == measure.meter => (full, beat),
                _ => {
                    let full = measure.meter.measure().as_f64() as f32;
                    let beat = measure.meter.beat().as_f64() as f32;
                    shape = Some((measure.meter, full, beat));
                    (full, beat)
                }
            };
            let at = starts[i].0 as f64 / per;
            let next_opens = score
                .measures
                .get(i + 1)
                .is_none_or(|n| n.repeat_start || !n.ending_start.is_empty());
            bars.push(Bar {
                at,
                end: at + clock.ticks(measure.duration) as f64 / per,
                full,
                beat,
                closes: measure.double_bar
                    || measure.repeat_end.is_some()
                    || measure.ending_stop.is_some()
                    || next_opens,
            });
        }
        let last = events.last().map_or(0.0, Event::end);
        if bars.is_empty() {
            bars.push(Bar { at: 0.0, end: last, full: 4.0, beat: 1.0, closes: true });
        }
        Table { events, bars, others }
    }
}
