//! Instruments and songs as bit masks: what the search works on.

use crate::analysis::{Analysis, Phrase, PitchUse};
use crate::kit::bar::{BarSet, Instrument};
use crate::kit::catalogue::Kind;
use crate::kit::people::Kit;
use crate::kit::setup::State;
use crate::score::{Interval, Line, Midi};

/// An instrument that may carry the melody.
pub(super) struct Rack {
    /// Index into the kit's instruments.
    pub(super) instrument: usize,
    /// Its own cost of carrying the melody.
    pub(super) carrier: f64,
    pub(super) octave_shift: i8,
    /// Every bar that can stand somewhere.
    pub(super) bars: BarSet,
    /// The bars that stand on the plain white set-up.
    pub(super) plain: BarSet,
    /// For each slot that offers a choice: its bars.
    pub(super) choices: Vec<BarSet>,
    /// Spares with the plain bar that gives way to each (none where the slot's own is lost).
    pub(super) gives_way: Vec<(Midi, Option<Midi>)>,
    /// The slot of each MIDI number.
    slot_of: [u8; 128],
    /// The first instrument of the kit that is just like this one.
    pub(super) twin_of: usize,
}

/// No slot.
const NOWHERE: u8 = u8::MAX;

impl Rack {
    fn new(kit: &Kit, index: usize, instrument: &Instrument, carrier: f64) -> Rack {
        let mut slot_of = [NOWHERE; 128];
        let mut gives_way = Vec::new();
        let mut choices = Vec::new();
        for (i, slot) in instrument.slots.iter().enumerate() {
            let here = slot.choices();
            for midi in here.iter() {
                if let Some(n) = midi.as_u7() {
                    slot_of[usize::from(n)] = i as u8;
                }
                if midi != slot.bar.0 {
                    let plain = slot.plain() == State::Keep;
                    gives_way.push((midi, plain.then_some(slot.bar.0)));
                }
            }
            if here.len() > 1 {
                choices.push(here);
            }
        }
        let like = |other: &Instrument| {
            other.slots == instrument.slots
                && other.like == instrument.like
                && other.kind == instrument.kind
                && other.octave_shift == instrument.octave_shift
                && other.melody == instrument.melody
        };
        Rack {
            instrument: index,
            carrier,
            octave_shift: instrument.octave_shift,
            bars: instrument.bars(),
            plain: instrument.plain_bars(),
            choices,
            gives_way,
            slot_of,
            twin_of: kit.instruments.iter().position(like).unwrap_or(index),
        }
    }

    /// The instruments that may carry a melody.
    pub(super) fn all(kit: &Kit) -> Vec<Rack> {
        let carries =
            |(i, at): (usize, &Instrument)| Some(Rack::new(kit, i, at, at.melody_cost()?));
        kit.instruments.iter().enumerate().filter_map(carries).collect()
    }

    /// Every instrument, for any part. One that the kit keeps from the melody costs as a carrier what the
    /// dearest kind does.
    pub(super) fn every(kit: &Kit) -> Vec<Rack> {
        let dearest = Kind::ALL.iter().map(|k| k.melody_cost()).fold(0.0, f64::max);
        let cost = |at: &Instrument| at.melody_cost().unwrap_or(dearest);
        kit.instruments.iter().enumerate().map(|(i, at)| Rack::new(kit, i, at, cost(at))).collect()
    }

    /// Whether all these bars can stand at once.
    pub(super) fn holds(&self, needed: BarSet) -> bool {
        needed.is_subset(self.bars)
            && self.choices.iter().all(|c| needed.intersection(*c).len() <= 1)
    }

    /// The slot of a bar.
    pub(super) fn slot_of(&self, midi: i16) -> Option<usize> {
        let slot = *self.slot_of.get(usize::try_from(midi).ok()?)?;
        (slot != NOWHERE).then_some(usize::from(slot))
    }

    /// Bars put in, and bars taken off, to have `needed` in a song whose classes are `own`; with
    /// `unneeded` every bar that isn't needed comes off.
    pub(super) fn moved(&self, needed: BarSet, own: BarSet, unneeded: bool) -> (usize, usize) {
        let put_in = needed.difference(self.plain);
        let mut off = match unneeded {
            true => self.plain.difference(needed),
            false => self.plain.difference(own),
        };
        if !put_in.is_empty() {
            let replaced: BarSet = self
                .gives_way
                .iter()
                .filter(|(spare, _)| put_in.contains(*spare))
                .filter_map(|(_, plain)| *plain)
                .collect();
            off = off.difference(replaced);
        }
        (put_in.len(), off.len())
    }
}

/// One pitch of a song.
#[derive(Clone, Copy)]
pub(super) struct Sung {
    pub(super) midi: i16,
    pub(super) count: usize,
    /// Share of the tune's weight, in billionths, at least 1: whole numbers, so that sums agree
    /// whatever their order.
    pub(super) weight: u64,
}

/// A song as the search sees it.
pub(super) struct Song {
    /// The pitch of each note.
    pub(super) notes: Vec<i16>,
    /// Its pitches, low to high.
    pub(super) pitches: Vec<Sung>,
    /// The same as a set; empty where a pitch lies outside 0 to 127.
    pub(super) set: BarSet,
    /// Indices of the notes that begin a phrase, the first note among them.
    pub(super) phrases: Vec<usize>,
    pub(super) total: u64,
}

impl Song {
    /// A line without weights or phrases: enough to ask which instruments can play it.
    pub(super) fn bare(line: &Line) -> Song {
        Song::of(line, &[], &[])
    }

    pub(super) fn new(line: &Line, analysis: &Analysis) -> Song {
        Song::of(line, &analysis.pitch_set.pitches, &analysis.phrases)
    }

    fn of(line: &Line, uses: &[PitchUse], phrases: &[Phrase]) -> Song {
        let mut pitches: Vec<Sung> = Vec::new();
        let notes: Vec<i16> = line.notes.iter().map(|n| n.midi().number()).collect();
        for midi in &notes {
            match pitches.binary_search_by_key(midi, |p| p.midi) {
                Ok(i) => pitches[i].count += 1,
                Err(i) => pitches.insert(i, Sung { midi: *midi, count: 1, weight: 0 }),
            }
        }
        for used in uses {
            let midi = used.pitch.midi().number();
            if let Ok(i) = pitches.binary_search_by_key(&midi, |p| p.midi) {
                pitches[i].weight += (used.weight.clamp(0.0, 1.0) * 1e9).round() as u64;
            }
        }
        for pitch in &mut pitches {
            pitch.weight = pitch.weight.max(1);
        }
        let mut set = BarSet::EMPTY;
        if pitches.iter().any(|p| !set.insert(Midi::new(p.midi))) {
            set = BarSet::EMPTY;
        }
        let mut starts = Vec::with_capacity(phrases.len());
        let mut next = phrases.iter().map(|p| p.from).skip(1).peekable();
        for (i, note) in line.notes.iter().enumerate() {
            let mut begins = i == 0;
            while next.next_if(|from| *from <= note.onset).is_some() {
                begins = true;
            }
            if begins {
                starts.push(i);
            }
        }
        let total = pitches.iter().map(|p| p.weight).sum();
        Song { notes, pitches, set, phrases: starts, total }
    }

    /// The set moved by semitones; `None` where it leaves the range of bars.
    pub(super) fn moved(&self, semitones: i16) -> Option<BarSet> {
        self.set.moved(Interval::new(semitones)).filter(|s| !s.is_empty())
    }

    /// All bars, at any octave, of the song's notes moved by semitones.
    pub(super) fn classes(&self, semitones: i16) -> BarSet {
        let mut classes = 0u16;
        for pitch in &self.pitches {
            classes |= 1 << (pitch.midi + semitones).rem_euclid(12);
        }
        BarSet::of_classes(classes)
    }
}
