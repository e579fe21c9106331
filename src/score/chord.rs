//! Chords: qualities with their tones, by the names that MusicXML's `kind` gives them.

use super::pitch::{Interval, NoteName, PitchClass};

/// A chord quality.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Quality(u8);

/// One row of the quality table: MusicXML `kind`, the short text after the root, semitones.
type Row = (&'static str, &'static str, &'static [i16]);

/// The values of MusicXML 4.0's `kind-value` that name tones, with the tones that its documentation
/// gives them. Two of its pedals and `none` have no tones and aren't here. The short texts are the
/// usual lead-sheet ones (common practice, no source).
const TABLE: &[Row] = &[
    ("major", "", &[0, 4, 7]),
    ("minor", "m", &[0, 3, 7]),
    ("diminished", "dim", &[0, 3, 6]),
    ("augmented", "aug", &[0, 4, 8]),
    ("dominant", "7", &[0, 4, 7, 10]),
    ("major-seventh", "maj7", &[0, 4, 7, 11]),
    ("minor-seventh", "m7", &[0, 3, 7, 10]),
    ("diminished-seventh", "dim7", &[0, 3, 6, 9]),
    ("augmented-seventh", "aug7", &[0, 4, 8, 10]),
    ("half-diminished", "m7b5", &[0, 3, 6, 10]),
    ("major-minor", "m(maj7)", &[0, 3, 7, 11]),
    ("major-sixth", "6", &[0, 4, 7, 9]),
    ("minor-sixth", "m6", &[0, 3, 7, 9]),
    ("dominant-ninth", "9", &[0, 4, 7, 10, 2]),
    ("major-ninth", "maj9", &[0, 4, 7, 11, 2]),
    ("minor-ninth", "m9", &[0, 3, 7, 10, 2]),
    ("dominant-11th", "11", &[0, 4, 7, 10, 2, 5]),
    ("major-11th", "maj11", &[0, 4, 7, 11, 2, 5]),
    ("minor-11th", "m11", &[0, 3, 7, 10, 2, 5]),
    ("dominant-13th", "13", &[0, 4, 7, 10, 2, 5, 9]),
    ("major-13th", "maj13", &[0, 4, 7, 11, 2, 5, 9]),
    ("minor-13th", "m13", &[0, 3, 7, 10, 2, 5, 9]),
    ("suspended-second", "sus2", &[0, 2, 7]),
    ("suspended-fourth", "sus4", &[0, 5, 7]),
    ("power", "5", &[0, 7]),
    ("Neapolitan", "N6", &[0, 4, 7]),
    ("Italian", "It6", &[0, 4, 10]),
    ("French", "Fr6", &[0, 4, 6, 10]),
    ("German", "Ger6", &[0, 4, 7, 10]),
    ("Tristan", "Tristan", &[0, 3, 6, 10]),
    ("other", "", &[0]),
];

impl Quality {
    /// The major triad.
    pub const MAJOR: Quality = Quality(0);
    /// The minor triad.
    pub const MINOR: Quality = Quality(1);
    /// The diminished triad.
    pub const DIMINISHED: Quality = Quality(2);
    /// The augmented triad.
    pub const AUGMENTED: Quality = Quality(3);
    /// The dominant seventh chord.
    pub const DOMINANT: Quality = Quality(4);
    /// The bare root and fifth.
    pub const POWER: Quality = Quality(24);
    /// A chord of which only the root is known.
    pub const OTHER: Quality = Quality(30);

    /// The quality with this MusicXML 4.0 `kind` value, or `None`.
    pub fn from_musicxml(kind: &str) -> Option<Quality> {
        TABLE.iter().position(|row| row.0 == kind).map(|i| Quality(i as u8))
    }

    fn row(self) -> &'static Row {
        // The constructors only make indices of the table.
        TABLE.get(usize::from(self.0)).unwrap_or(&TABLE[0])
    }

    /// The name, as MusicXML's `kind` has it: `major`, `minor`, `dominant`, `half-diminished`, ...
    pub fn name(self) -> &'static str {
        self.row().0
    }

    /// The short text that follows the root in a chord symbol: ``, `m`, `7`, `m7`, ...
    pub fn suffix(self) -> &'static str {
        self.row().1
    }

    /// Semitones of the tones above the root, the root first.
    pub fn semitones(self) -> &'static [i16] {
        self.row().2
    }

    /// Whether the chord has a minor third and no major one.
    pub fn is_minor(self) -> bool {
        self.semitones().contains(&3) && !self.semitones().contains(&4)
    }
}

/// A chord: root, quality and, where it isn't the root, the bass.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Chord {
    /// The root's name.
    pub root: NoteName,
    /// The quality.
    pub quality: Quality,
    /// The bass, where it differs from the root.
    pub bass: Option<NoteName>,
    /// Tones changed by degrees (MusicXML `degree`): added or altered ones as semitones above the
    /// root, taken-off ones as negative numbers minus one (−8 takes off the seventh semitone).
    pub degrees: Vec<i16>,
}

impl Chord {
    /// A chord in root position.
    pub fn new(root: NoteName, quality: Quality) -> Chord {
        Chord { root, quality, bass: None, degrees: Vec::new() }
    }

    /// The pitch classes of the chord, root first, its bass (if another) last.
    pub fn classes(&self) -> Vec<PitchClass> {
        let root = self.root.class();
        let mut classes: Vec<PitchClass> =
            self.quality.semitones().iter().map(|s| root + Interval::new(*s)).collect();
        for degree in &self.degrees {
            if *degree < 0 {
                let gone = root + Interval::new(-1 - *degree);
                classes.retain(|c| *c != gone);
            } else {
                classes.push(root + Interval::new(*degree));
            }
        }
        classes.extend(self.bass.map(NoteName::class));
        let mut seen = Vec::with_capacity(classes.len());
        classes.retain(|c| {
            !seen.contains(c) && {
                seen.push(*c);
                true
            }
        });
        classes
    }

    /// The chord symbol as a reader expects it: `Am7`, `D/F#`.
    pub fn symbol(&self) -> String {
        match self.bass {
            Some(bass) => format!("{}{}/{bass}", self.root, self.quality.suffix()),
            None => format!("{}{}", self.root, self.quality.suffix()),
        }
    }

    /// This chord moved by places on the line of fifths (one place: up a fifth).
    pub fn transposed(&self, fifths: i16) -> Chord {
        let shift = |name: NoteName| {
            let mut place = name.fifths() + fifths;
            while place > 19 {
                place -= 12;
            }
            while place < -15 {
                place += 12;
            }
            NoteName::from_fifths(place)
        };
        Chord {
            root: shift(self.root),
            quality: self.quality,
            bass: self.bass.map(shift),
            degrees: self.degrees.clone(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn constants_name_their_rows() {
        for (quality, name) in [
            (Quality::MAJOR, "major"),
            (Quality::MINOR, "minor"),
            (Quality::DIMINISHED, "diminished"),
            (Quality::AUGMENTED, "augmented"),
            (Quality::DOMINANT, "dominant"),
            (Quality::POWER, "power"),
            (Quality::OTHER, "other"),
        ] {
            assert_eq!(quality.name(), name);
            assert_eq!(Quality::from_musicxml(name), Some(quality));
        }
    }

    #[test]
    fn tones_and_symbols() {
        let mut chord = Chord::new("A".parse().unwrap(), Quality::MINOR);
        let numbers = |c: &Chord| c.classes().iter().map(|c| c.number()).collect::<Vec<_>>();
        assert_eq!(numbers(&chord), [9, 0, 4]);
        chord.bass = Some("C".parse().unwrap());
        assert_eq!(numbers(&chord), [9, 0, 4]);
        assert_eq!(chord.symbol(), "Am/C");
        assert_eq!(chord.transposed(1).symbol(), "Em/G");
    }
}
