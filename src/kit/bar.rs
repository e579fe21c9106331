//! Bars, sets of bars, slots and instruments.

use std::fmt;

use super::catalogue::{Kind, Size};
use super::setup::State;
use crate::score::{Interval, Midi, Pitch, Sound};

/// A bar: a sounding pitch. Enharmonic names are one bar (A♯ is B♭).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Bar(pub Midi);

impl Bar {
    /// The bar's name as it is stamped: naturals, and C♯ E♭ F♯ G♯ B♭ (the names that the spares of
    /// the trade carry), with its octave.
    pub fn pitch(self) -> Pitch {
        Pitch::spelled(self.0, 0)
    }

    /// The name without the octave: `F#`, `Bb`.
    pub fn letter(self) -> String {
        self.pitch().name.to_string()
    }

    /// Whether it is a white-note bar.
    pub fn is_natural(self) -> bool {
        self.0.class().is_natural()
    }

    /// The natural in whose slot this bar stands where nothing else is said: F♯ in F's, B♭ in B's,
    /// C♯ in C's, E♭ in E's, G♯ in G's (handbook for the first two; the others follow the letter of
    /// the bar's name). A natural stands in its own.
    pub fn usual_slot(self) -> Bar {
        Bar(self.0 + Interval::new(-i16::from(self.pitch().name.alter)))
    }
}

impl fmt::Display for Bar {
    /// Scientific pitch with the bar's usual name: `C4`, `F#3`, `Bb4`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.pitch().fmt(f)
    }
}

/// A set of bars or sounding pitches, as a 128-bit mask over the MIDI numbers 0 to 127.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct BarSet(u128);

impl BarSet {
    /// The empty set.
    pub const EMPTY: BarSet = BarSet(0);

    /// Puts a pitch in; `false` where it lies outside 0 to 127 and so can be no bar.
    pub fn insert(&mut self, midi: Midi) -> bool {
        match midi.as_u7() {
            Some(n) => {
                self.0 |= 1 << n;
                true
            }
            None => false,
        }
    }

    /// Whether a pitch is in.
    pub fn contains(self, midi: Midi) -> bool {
        midi.as_u7().is_some_and(|n| self.0 >> n & 1 == 1)
    }

    /// Number of pitches.
    pub fn len(self) -> usize {
        self.0.count_ones() as usize
    }

    /// Whether nothing is in.
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// All pitches of both sets.
    pub fn union(self, other: BarSet) -> BarSet {
        BarSet(self.0 | other.0)
    }

    /// The pitches that both sets hold.
    pub fn intersection(self, other: BarSet) -> BarSet {
        BarSet(self.0 & other.0)
    }

    /// The pitches of this set that the other lacks.
    pub fn difference(self, other: BarSet) -> BarSet {
        BarSet(self.0 & !other.0)
    }

    /// Whether the other set holds all of this one.
    pub fn is_subset(self, other: BarSet) -> bool {
        self.0 & !other.0 == 0
    }

    /// The set moved by an interval; `None` where a pitch would leave 0 to 127.
    pub fn moved(self, by: Interval) -> Option<BarSet> {
        if self.0 == 0 {
            return Some(self);
        }
        let n = i32::from(by.semitones());
        let (low, high) = (self.0.trailing_zeros() as i32, 127 - self.0.leading_zeros() as i32);
        if low + n < 0 || high + n > 127 {
            return None;
        }
        Some(BarSet(if n >= 0 { self.0 << n } else { self.0 >> -n }))
    }

    /// The set moved by semitones; what leaves 0 to 127 is lost.
    pub(crate) fn shifted(self, semitones: i16) -> BarSet {
        let by = u32::from(semitones.unsigned_abs());
        let moved = if semitones >= 0 { self.0.checked_shl(by) } else { self.0.checked_shr(by) };
        BarSet(moved.unwrap_or(0))
    }

    /// The pitches, low to high.
    pub fn iter(self) -> impl Iterator<Item = Midi> {
        let mut rest = self.0;
        std::iter::from_fn(move || {
            if rest == 0 {
                return None;
            }
            let n = rest.trailing_zeros();
            rest &= rest - 1;
            Some(Midi::new(n as i16))
        })
    }

    /// The lowest pitch.
    pub fn lowest(self) -> Option<Midi> {
        (self.0 != 0).then(|| Midi::new(self.0.trailing_zeros() as i16))
    }

    /// The highest pitch.
    pub fn highest(self) -> Option<Midi> {
        (self.0 != 0).then(|| Midi::new(127 - self.0.leading_zeros() as i16))
    }

    /// The pitch classes as a 12-bit mask, bit 0 for C.
    pub(crate) fn classes(self) -> u16 {
        let mut folded = 0u128;
        let mut rest = self.0;
        while rest != 0 {
            folded |= rest & 0xFFF;
            rest >>= 12;
        }
        folded as u16
    }

    /// Every pitch whose class is in a 12-bit mask.
    pub(crate) fn of_classes(classes: u16) -> BarSet {
        let mut all = 0u128;
        for octave in 0..11 {
            all |= u128::from(classes) << (12 * octave);
        }
        BarSet(all)
    }
}

impl FromIterator<Midi> for BarSet {
    /// Pitches outside 0 to 127 are left out.
    fn from_iter<I: IntoIterator<Item = Midi>>(pitches: I) -> BarSet {
        let mut set = BarSet::EMPTY;
        for midi in pitches {
            set.insert(midi);
        }
        set
    }
}

impl fmt::Debug for BarSet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_set().entries(self.iter().map(|m| Bar(m).to_string())).finish()
    }
}

/// A mark that a kit file gives a bar: a colour, a symbol, or both, in the kit's own words.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Mark {
    /// A CSS colour: `#rgb`, `#rrggbb` or a colour name in letters.
    pub color: Option<String>,
    /// A short text shown beside the letter.
    pub symbol: Option<String>,
}

/// One place of an instrument: a slot, or a loose bar.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Slot {
    /// The bar that belongs here: the natural, or the loose bar itself.
    pub bar: Bar,
    /// Whether that bar is lost or broken.
    pub lost: bool,
    /// Spare bars that can stand here in its place. No bar stands in two slots of one instrument.
    pub spares: Vec<Bar>,
    /// A loose bar stands on its own box beside the others: it has no gap and no filler.
    pub loose: bool,
}

impl Slot {
    /// The bars that can stand here: the slot's own unless lost, then its spares.
    pub fn choices(&self) -> BarSet {
        self.spares.iter().chain((!self.lost).then_some(&self.bar)).map(|b| b.0).collect()
    }

    /// How the slot stands on the plain white bars: its own bar on, nothing where that is lost, and
    /// loose black-note bars put away.
    pub fn plain(&self) -> State {
        if self.lost || (self.loose && !self.bar.is_natural()) {
            State::Remove
        } else {
            State::Keep
        }
    }
}

/// An instrument of the room.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Instrument {
    /// Its id in the kit file.
    pub id: String,
    /// Its name in plain words: the kit file's, or the kind's with its number among several.
    pub name: String,
    /// Its kind.
    pub kind: Kind,
    /// The kind whose mallets, sound, size and cautions it has: its own, or what a custom one is
    /// `like`.
    pub like: Kind,
    /// Its slots, low to high.
    pub slots: Vec<Slot>,
    /// Whether card fillers are at hand.
    pub fillers: bool,
    /// Octaves by which it sounds above what is written.
    pub octave_shift: i8,
    /// Whether it may carry the melody: `None` for the kind's usual cost, else what the kit says.
    pub melody: Option<bool>,
    /// Mallets in the kit file's words, where it names them.
    pub mallets: Option<String>,
    /// The kit's marks, by bar.
    pub marks: Vec<(Bar, Mark)>,
}

impl Instrument {
    /// An instrument of a kind with its usual compass and spares, nothing lost; no slots for kinds
    /// whose bars the kit file lists.
    pub fn of_kind(id: impl Into<String>, kind: Kind) -> Instrument {
        let naturals: Vec<Bar> = match kind.range() {
            Some((low, high)) => {
                (low.number()..=high.number()).map(|n| Bar(Midi::new(n))).filter(|b| b.is_natural())
            }
            .collect(),
            None => Vec::new(),
        };
        let spares: Vec<Bar> = kind.spares().collect();
        let mut instrument = Instrument::with_bars(id, kind, &naturals, kind.is_loose());
        for spare in spares {
            instrument.add_spare(spare, spare.usual_slot());
        }
        instrument
    }

    /// An instrument with exactly these bars, each in a slot of its own or loose, no spares.
    pub fn with_bars(id: impl Into<String>, kind: Kind, bars: &[Bar], loose: bool) -> Instrument {
        let mut bars = bars.to_vec();
        bars.sort();
        bars.dedup();
        Instrument {
            id: id.into(),
            name: kind.name().to_owned(),
            kind,
            like: kind,
            slots: bars
                .into_iter()
                .map(|bar| Slot { bar, lost: false, spares: Vec::new(), loose })
                .collect(),
            fillers: false,
            octave_shift: kind.octave_shift(),
            melody: None,
            mallets: None,
            marks: Vec::new(),
        }
    }

    /// Adds a spare that stands in this slot; on loose bars it gets a box of its own. `false` where
    /// the instrument has no such slot or has the bar already.
    pub fn add_spare(&mut self, spare: Bar, slot: Bar) -> bool {
        if self.slots.iter().any(|s| s.bar == spare || s.spares.contains(&spare)) {
            return false;
        }
        if self.slots.iter().any(|s| s.loose) {
            let at = self.slots.partition_point(|s| s.bar < spare);
            self.slots
                .insert(at, Slot { bar: spare, lost: false, spares: Vec::new(), loose: true });
            return true;
        }
        match self.slots.iter_mut().find(|s| s.bar == slot) {
            Some(place) => {
                place.spares.push(spare);
                true
            }
            None => false,
        }
    }

    /// Every bar that can stand somewhere on it: naturals that aren't lost, and spares.
    pub fn bars(&self) -> BarSet {
        self.slots.iter().fold(BarSet::EMPTY, |all, s| all.union(s.choices()))
    }

    /// The bars of the plain white set-up (see [`Slot::plain`]).
    pub fn plain_bars(&self) -> BarSet {
        self.slots.iter().filter(|s| s.plain() == State::Keep).map(|s| s.bar.0).collect()
    }

    /// The states of the plain white set-up, low to high.
    pub fn plain(&self) -> Vec<State> {
        self.slots.iter().map(Slot::plain).collect()
    }

    /// The slot in which a bar can stand, as an index into `slots`; `None` where the bar isn't there.
    pub fn slot_of(&self, midi: Midi) -> Option<usize> {
        self.slots.iter().position(|s| s.choices().contains(midi))
    }

    /// Whether all these pitches can be on the instrument at once.
    pub fn holds(&self, needed: BarSet) -> bool {
        needed.is_subset(self.bars())
            && self.slots.iter().all(|s| needed.intersection(s.choices()).len() <= 1)
    }

    /// The mallets, in plain words.
    pub fn mallet(&self) -> &str {
        self.mallets.as_deref().unwrap_or_else(|| self.like.mallet())
    }

    /// Program and standard sound.
    pub fn sound(&self) -> Sound {
        self.like.sound()
    }

    /// How large it is.
    pub fn size(&self) -> Size {
        self.like.size()
    }

    /// Whether it rings on after the stroke.
    pub fn rings(&self) -> bool {
        self.like.rings()
    }

    /// What it costs to give it the melody (see [`Kind::melody_cost`]); `None` where the kit says
    /// that it doesn't carry it.
    pub fn melody_cost(&self) -> Option<f64> {
        match self.melody {
            Some(true) => Some(0.0),
            Some(false) => None,
            None => Some(self.like.melody_cost()),
        }
    }

    /// The kit's mark for a bar, where it gives one.
    pub fn mark(&self, bar: Bar) -> Option<&Mark> {
        self.marks.iter().find(|m| m.0 == bar).map(|m| &m.1)
    }
}
