//! Keys: a tonic and one of the seven modes.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::pitch::{Interval, NoteName, PitchClass};

/// The seven modes of the white-note scale. `Minor` is the natural minor (aeolian).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[allow(missing_docs, reason = "the variants are the modes' names")]
pub enum Mode {
    Major,
    Minor,
    Dorian,
    Phrygian,
    Lydian,
    Mixolydian,
    Locrian,
}

impl Mode {
    /// All modes, major and minor first.
    pub const ALL: [Mode; 7] = [
        Mode::Major,
        Mode::Minor,
        Mode::Dorian,
        Mode::Phrygian,
        Mode::Lydian,
        Mode::Mixolydian,
        Mode::Locrian,
    ];

    /// The name in lower case: `major`, `dorian`, ...
    pub fn name(self) -> &'static str {
        match self {
            Mode::Major => "major",
            Mode::Minor => "minor",
            Mode::Dorian => "dorian",
            Mode::Phrygian => "phrygian",
            Mode::Lydian => "lydian",
            Mode::Mixolydian => "mixolydian",
            Mode::Locrian => "locrian",
        }
    }

    /// Where the mode's tonic lies on the line of fifths, seen from the tonic of the major key with
    /// the same signature: major 0, mixolydian 1, dorian 2, minor 3, phrygian 4, locrian 5, lydian −1.
    pub fn tonic_fifths(self) -> i16 {
        match self {
            Mode::Lydian => -1,
            Mode::Major => 0,
            Mode::Mixolydian => 1,
            Mode::Dorian => 2,
            Mode::Minor => 3,
            Mode::Phrygian => 4,
            Mode::Locrian => 5,
        }
    }

    /// The scale in semitones above the tonic, seven numbers from 0.
    pub fn scale(self) -> [i16; 7] {
        match self {
            Mode::Major => [0, 2, 4, 5, 7, 9, 11],
            Mode::Minor => [0, 2, 3, 5, 7, 8, 10],
            Mode::Dorian => [0, 2, 3, 5, 7, 9, 10],
            Mode::Phrygian => [0, 1, 3, 5, 7, 8, 10],
            Mode::Lydian => [0, 2, 4, 6, 7, 9, 11],
            Mode::Mixolydian => [0, 2, 4, 5, 7, 9, 10],
            Mode::Locrian => [0, 1, 3, 5, 6, 8, 10],
        }
    }

    /// Whether the third above the tonic is major.
    pub fn has_major_third(self) -> bool {
        self.scale()[2] == 4
    }
}

impl fmt::Display for Mode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A key: tonic and mode.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Serialize, Deserialize)]
pub struct Key {
    /// The tonic's name.
    pub tonic: NoteName,
    /// The mode.
    pub mode: Mode,
}

impl Key {
    /// The key on this tonic in this mode.
    pub const fn new(tonic: NoteName, mode: Mode) -> Key {
        Key { tonic, mode }
    }

    /// The key of this mode with a signature of `fifths` sharps (negative: flats).
    pub fn from_signature(fifths: i8, mode: Mode) -> Key {
        Key::new(NoteName::from_fifths(i16::from(fifths) + mode.tonic_fifths()), mode)
    }

    /// The key of this mode on this tonic with the fewest sharps or flats (six sharps before six
    /// flats).
    pub fn on(tonic: PitchClass, mode: Mode) -> Key {
        // Fifths place p has class 7p mod 12; the signature is p minus the mode's own place.
        let place = tonic.number() * 7 - mode.tonic_fifths();
        let mut fifths = place.rem_euclid(12);
        if fifths > 6 {
            fifths -= 12;
        }
        Key::from_signature(fifths as i8, mode)
    }

    /// Sharps of the signature (negative: flats).
    pub fn fifths(self) -> i8 {
        (self.tonic.fifths() - self.mode.tonic_fifths()).clamp(-100, 100) as i8
    }

    /// The seven names of the scale from the tonic up.
    pub fn scale(self) -> [NoteName; 7] {
        let first = i16::from(self.fifths()) - 1;
        let mut names = [NoteName::from_fifths(first); 7];
        for (i, name) in names.iter_mut().enumerate() {
            *name = NoteName::from_fifths(first + i as i16);
        }
        names.sort_by_key(|n| self.tonic.class().up_to(n.class()));
        names
    }

    /// Whether the pitch class belongs to the scale.
    pub fn contains(self, class: PitchClass) -> bool {
        self.mode.scale().contains(&self.tonic.class().up_to(class))
    }

    /// This key moved by an interval, with the fewest sharps or flats.
    pub fn transposed(self, by: Interval) -> Key {
        if by.semitones() == 0 {
            return self;
        }
        Key::on(self.tonic.class() + by, self.mode)
    }
}

impl fmt::Display for Key {
    /// `G major`, `D dorian`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.tonic, self.mode)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn signatures_of_the_modes() {
        // Handbook, "Keys within reach": the modes that share the signatures of C, F and G major.
        for (fifths, major, mixolydian, dorian, minor) in
            [(0, "C", "G", "D", "A"), (-1, "F", "C", "G", "D"), (1, "G", "D", "A", "E")]
        {
            let tonic = |mode| Key::from_signature(fifths, mode).tonic.to_string();
            assert_eq!(tonic(Mode::Major), major);
            assert_eq!(tonic(Mode::Mixolydian), mixolydian);
            assert_eq!(tonic(Mode::Dorian), dorian);
            assert_eq!(tonic(Mode::Minor), minor);
        }
    }

    #[test]
    fn every_tonic_and_mode_keeps_its_class_and_scale() {
        for n in 0..12 {
            for mode in Mode::ALL {
                let key = Key::on(PitchClass::new(n), mode);
                assert_eq!(key.tonic.class().number(), n);
                assert!((-5..=6).contains(&key.fifths()), "{key}");
                let scale = key.scale().map(|s| key.tonic.class().up_to(s.class()));
                assert_eq!(scale, mode.scale(), "{key}");
            }
        }
    }
}
