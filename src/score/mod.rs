//! The score model: what every reader makes and every later stage reads.
//!
//! Times are exact ([`Time`]), pitches are spelled and at sounding height ([`Pitch`]), ties are merged,
//! repeats are kept as signs ([`Measure`]) and unfolded only for playback ([`playback::order`]).
//! Measures, meters, keys and tempos are shared by all parts; notes belong to a part and a voice.

mod chord;
mod key;
mod measure;
mod meter;
mod note;
mod pitch;
pub mod playback;
mod time;
pub mod value;

pub use chord::{Chord, Quality};
pub use key::{Key, Mode};
pub use measure::{EndingStop, Jump, Measure};
pub use meter::{MAX_GROUPS, Meter};
pub use note::{Hand, Lyric, Note, Part, Slide, Sound, Syllabic, Transposition, VoiceId, Words};
pub use pitch::{Interval, Midi, NoteName, Pitch, PitchClass, PitchError, Step};
pub use time::{Time, TimeError};

/// A key signature from a moment on.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct KeySignature {
    /// From when.
    pub at: Time,
    /// Sharps (negative: flats), as sounding.
    pub fifths: i8,
    /// The mode, where the source names it.
    pub mode: Option<Mode>,
}

/// A tempo from a moment on.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Tempo {
    /// From when.
    pub at: Time,
    /// Quarter notes a minute.
    pub quarter_bpm: f64,
}

/// A chord symbol at a moment.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct ChordSymbol {
    /// From when; it holds until the next symbol.
    pub at: Time,
    /// The chord; `None` where the score says that no chord sounds.
    pub chord: Option<Chord>,
}

/// A rehearsal mark.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Mark {
    /// Where.
    pub at: Time,
    /// What is printed.
    pub text: String,
}

/// A score.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Score {
    /// The title; empty where the source has none.
    pub title: String,
    /// Who made the music; empty where the source doesn't say.
    pub composer: String,
    /// The measures, in score order, each beginning where the one before ends.
    pub measures: Vec<Measure>,
    /// Key signatures in order of time.
    pub keys: Vec<KeySignature>,
    /// Tempos in order of time.
    pub tempos: Vec<Tempo>,
    /// Chord symbols in order of time.
    pub chords: Vec<ChordSymbol>,
    /// Rehearsal marks in order of time.
    pub marks: Vec<Mark>,
    /// The parts, in the order of the source.
    pub parts: Vec<Part>,
}

impl Score {
    /// Where the last measure ends.
    pub fn end(&self) -> Time {
        self.measures.last().map_or(Time::ZERO, Measure::end)
    }

    /// The index of the measure in which a moment lies: the last one for moments at or after the
    /// end, `None` for a score without measures.
    pub fn measure_index(&self, at: Time) -> Option<usize> {
        let after = self.measures.partition_point(|m| m.start <= at);
        if self.measures.is_empty() { None } else { Some(after.saturating_sub(1)) }
    }

    /// The measure in which a moment lies; see [`Score::measure_index`].
    pub fn measure_at(&self, at: Time) -> Option<&Measure> {
        self.measure_index(at).and_then(|i| self.measures.get(i))
    }

    /// The metrical level of a moment (see [`Meter::level`]), pickups and meter changes minded.
    pub fn level(&self, at: Time) -> u8 {
        self.measure_at(at).map_or(0, |m| m.meter.level(m.metrical(at)))
    }

    /// The metrical weight of a moment: 2^−level, 1 at the start of a measure.
    pub fn weight(&self, at: Time) -> f64 {
        0.5f64.powi(i32::from(self.level(at)))
    }

    /// The signature in force at a moment, or `None` where the score has none by then.
    pub fn signature_at(&self, at: Time) -> Option<&KeySignature> {
        self.keys.iter().take_while(|k| k.at <= at).last()
    }

    /// The meters in order of time, each from where it takes over.
    pub fn meters(&self) -> Vec<(Time, Meter)> {
        let mut meters: Vec<(Time, Meter)> = Vec::new();
        for measure in &self.measures {
            if meters.last().is_none_or(|(_, m)| *m != measure.meter) {
                meters.push((measure.start, measure.meter));
            }
        }
        meters
    }

    /// The length of the pickup: the first measure's, where it begins late in its meter; else zero.
    pub fn pickup(&self) -> Time {
        self.measures.first().filter(|m| m.lead.is_positive()).map_or(Time::ZERO, |m| m.duration)
    }

    /// The strong beats of the whole score in order (see [`Meter::strong_beats`]).
    pub fn strong_beats(&self) -> Vec<Time> {
        self.beats_where(Meter::strong_beats)
    }

    /// All counted beats of the whole score in order (see [`Meter::beats`]).
    pub fn beats(&self) -> Vec<Time> {
        self.beats_where(Meter::beats)
    }

    fn beats_where(&self, of: fn(&Meter) -> Vec<Time>) -> Vec<Time> {
        let mut beats = Vec::new();
        let mut known: Option<(Meter, Vec<Time>)> = None;
        for measure in &self.measures {
            if known.as_ref().is_none_or(|(m, _)| *m != measure.meter) {
                known = Some((measure.meter, of(&measure.meter)));
            }
            let Some((meter, offsets)) = &known else { continue };
            // A measure longer than its meter goes on counting.
            let mut round = Time::ZERO;
            while round < measure.lead + measure.duration {
                for offset in offsets {
                    let at = measure.start + round + *offset - measure.lead;
                    if at >= measure.start && at < measure.end() {
                        beats.push(at);
                    }
                }
                round += meter.measure();
            }
        }
        beats
    }
}

/// One line of notes, no two at once: a melody taken out of a score.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Line {
    /// The index of the part it was taken from.
    pub part: usize,
    /// The voice it was taken from; `None` for the top line of the whole part.
    pub voice: Option<VoiceId>,
    /// The notes in order of time, grace notes left out, none overlapping the next.
    pub notes: Vec<Note>,
}

impl Line {
    /// The top line of some notes that are sorted as a part's: of notes that begin together the
    /// highest, and each cut short where the next begins. Lower notes that lie wholly under a held
    /// one, and grace notes, are left out.
    pub fn top<'a>(
        part: usize,
        voice: Option<VoiceId>,
        notes: impl IntoIterator<Item = &'a Note>,
    ) -> Line {
        let mut line: Vec<Note> = Vec::new();
        for note in notes {
            if note.grace || voice.is_some_and(|v| v != note.voice) {
                continue;
            }
            if let Some(last) = line.last_mut() {
                if last.onset == note.onset {
                    if note.midi() >= last.midi() {
                        let lyrics = std::mem::take(&mut last.lyrics);
                        *last = note.clone();
                        if last.lyrics.is_empty() {
                            last.lyrics = lyrics;
                        }
                    }
                    continue;
                }
                if last.end() > note.onset {
                    // A lower note that begins and ends while a higher one is held belongs to the
                    // accompaniment; one that outlasts it is the next of a line played legato.
                    let inside = note.end() <= last.end() && note.midi() < last.midi();
                    if inside && voice.is_none() {
                        continue;
                    }
                    last.duration = note.onset - last.onset;
                }
            }
            line.push(note.clone());
        }
        Line { part, voice, notes: line }
    }

    /// The lowest and the highest pitch, by sound; `None` without notes.
    pub fn range(&self) -> Option<(Pitch, Pitch)> {
        let lowest = self.notes.iter().map(|n| n.pitch).min_by_key(|p| p.midi())?;
        let highest = self.notes.iter().map(|n| n.pitch).max_by_key(|p| p.midi())?;
        Some((lowest, highest))
    }
}
