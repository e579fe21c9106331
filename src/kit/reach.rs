//! What an instrument can do: keys and modes, semitone-free sets, drones.

use super::bar::{BarSet, Instrument};
use crate::score::{Interval, Key, Midi, Mode, PitchClass};

/// Semitones above its do of the major pentatonic, which has no two notes a semitone apart.
const PENTATONIC: [i16; 5] = [0, 2, 4, 7, 9];

/// Semitones of a drone above its root: the fifth.
const FIFTH: Interval = Interval::new(7);

impl Instrument {
    /// Every bar between the lowest and the highest one whose class is among these, whether it is
    /// there or not.
    fn compass_of(&self, classes: impl IntoIterator<Item = PitchClass>) -> BarSet {
        let mask = classes.into_iter().fold(0u16, |m, c| m | 1 << c.number());
        let all = self.slots.iter().map(|s| s.bar.0).collect::<BarSet>().union(self.bars());
        let (Some(low), Some(high)) = (all.lowest(), all.highest()) else { return BarSet::EMPTY };
        BarSet::of_classes(mask).iter().filter(|m| (low..=high).contains(m)).collect()
    }

    /// Whether every note with one of these classes, within the compass, can have its bar at the
    /// same time, each class at least once.
    pub fn can_show(&self, classes: &[PitchClass]) -> bool {
        let wanted = self.compass_of(classes.iter().copied());
        self.holds(wanted) && classes.iter().all(|class| wanted.iter().any(|m| m.class() == *class))
    }

    /// The keys and modes whose every note, over the whole compass, can have its bar at once: by
    /// signature from flats to sharps, the modes in the order of [`Mode::ALL`].
    pub fn keys(&self) -> Vec<Key> {
        (-6..=6)
            .flat_map(|fifths| Mode::ALL.map(|mode| Key::from_signature(fifths, mode)))
            .filter(|key| self.can_show(&key.scale().map(|n| n.class())))
            // Six flats and six sharps are one set of bars.
            .filter(|key| key.fifths() > -6)
            .collect()
    }

    /// The classes that can be do of a major pentatonic over the whole compass; `plain`: without
    /// any spare.
    pub fn pentatonics(&self, plain: bool) -> Vec<PitchClass> {
        (0..12)
            .map(PitchClass::new)
            .filter(|tonic| {
                let classes = PENTATONIC.map(|n| *tonic + Interval::new(n));
                self.can_show(&classes)
                    && (!plain || self.compass_of(classes).is_subset(self.plain_bars()))
            })
            .collect()
    }

    /// The roots on which a drone (root and the fifth above it) can stand, low to high.
    pub fn drone_roots(&self) -> Vec<Midi> {
        let bars = self.bars();
        bars.iter()
            .filter(|root| {
                let pair: BarSet = [*root, *root + FIFTH].into_iter().collect();
                pair.len() == 2 && self.holds(pair)
            })
            .collect()
    }
}
