//! Pitches: spelled names, MIDI numbers, pitch classes and intervals, kept apart by type.

use std::fmt;
use std::ops::{Add, Neg, Sub};
use std::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A letter name.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
#[allow(missing_docs, reason = "the variants are the seven letters")]
pub enum Step {
    C,
    D,
    E,
    F,
    G,
    A,
    B,
}

impl Step {
    /// The seven letters from C up.
    pub const ALL: [Step; 7] = [Step::C, Step::D, Step::E, Step::F, Step::G, Step::A, Step::B];

    /// The letter as a character, `'C'` to `'B'`.
    pub fn letter(self) -> char {
        match self {
            Step::C => 'C',
            Step::D => 'D',
            Step::E => 'E',
            Step::F => 'F',
            Step::G => 'G',
            Step::A => 'A',
            Step::B => 'B',
        }
    }

    /// The step with this letter, in either case.
    pub fn from_letter(letter: char) -> Option<Step> {
        Step::ALL.into_iter().find(|s| s.letter() == letter.to_ascii_uppercase())
    }

    /// 0 for C up to 6 for B.
    pub fn index(self) -> i16 {
        self as i16
    }

    /// Semitones of the natural above C: 0 2 4 5 7 9 11.
    pub fn semitones(self) -> i16 {
        [0, 2, 4, 5, 7, 9, 11][self as usize]
    }

    /// Place on the line of fifths, C = 0: F −1, C 0, G 1, D 2, A 3, E 4, B 5.
    fn fifths(self) -> i16 {
        [0, 2, 4, -1, 1, 3, 5][self as usize]
    }
}

/// A spelled pitch class: a letter and its alteration in semitones.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct NoteName {
    /// The letter.
    pub step: Step,
    /// Semitones up (sharps) or down (flats).
    pub alter: i8,
}

impl NoteName {
    /// A name from its letter and alteration.
    pub const fn new(step: Step, alter: i8) -> NoteName {
        NoteName { step, alter }
    }

    /// The name at this place on the line of fifths (C = 0, G = 1, F = −1, F♯ = 6, B♭ = −2, ...).
    pub fn from_fifths(fifths: i16) -> NoteName {
        const STEPS: [Step; 7] = [Step::F, Step::C, Step::G, Step::D, Step::A, Step::E, Step::B];
        let place = fifths + 1;
        NoteName {
            step: STEPS[place.rem_euclid(7) as usize],
            alter: place.div_euclid(7).clamp(-100, 100) as i8,
        }
    }

    /// The place on the line of fifths, C = 0.
    pub fn fifths(self) -> i16 {
        self.step.fifths() + 7 * i16::from(self.alter)
    }

    /// The pitch class it sounds in.
    pub fn class(self) -> PitchClass {
        PitchClass::new(self.step.semitones() + i16::from(self.alter))
    }

    /// The name of a pitch class that suits a signature of `fifths` sharps (negative: flats): the
    /// diatonic names, then the chromatic ones from three flats below to eight fifths above
    /// (in C: E♭ B♭ F C G D A E B F♯ C♯ G♯).
    pub fn spelled(class: PitchClass, fifths: i8) -> NoteName {
        let low = i16::from(fifths) - 3;
        // Fifths place p has class 7p mod 12, and 7 is its own inverse modulo 12.
        let wanted = class.number() * 7;
        NoteName::from_fifths(low + (wanted - low).rem_euclid(12))
    }
}

impl fmt::Display for NoteName {
    /// `C`, `F#`, `Bb`, `Fx` is written `F##`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.step.letter())?;
        let sign = if self.alter < 0 { "b" } else { "#" };
        for _ in 0..self.alter.unsigned_abs() {
            f.write_str(sign)?;
        }
        Ok(())
    }
}

impl fmt::Debug for NoteName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

/// A text that is no pitch or note name.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is no note name such as C4, F#3 or Bb4")]
pub struct PitchError(String);

impl FromStr for NoteName {
    type Err = PitchError;
    /// Reads `C`, `F#`, `F♯`, `Bb`, `B♭`, `C##`.
    fn from_str(text: &str) -> Result<NoteName, PitchError> {
        let fault = || PitchError(text.to_owned());
        let mut letters = text.chars();
        let step = letters.next().and_then(Step::from_letter).ok_or_else(fault)?;
        let mut alter = 0i8;
        for sign in letters {
            alter = match sign {
                '#' | '♯' if (0..2).contains(&alter) => alter + 1,
                'b' | '♭' if (-1..=0).contains(&alter) => alter - 1,
                _ => return Err(fault()),
            };
        }
        Ok(NoteName { step, alter })
    }
}

/// A pitch class: C = 0 up to B = 11, whatever its spelling.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub struct PitchClass(u8);

impl PitchClass {
    /// The class of a number of semitones above any C.
    pub fn new(semitones: i16) -> PitchClass {
        PitchClass(semitones.rem_euclid(12) as u8)
    }

    /// 0 for C up to 11 for B.
    pub fn number(self) -> i16 {
        i16::from(self.0)
    }

    /// 0 for C up to 11 for B, for indexing tables of twelve.
    pub fn index(self) -> usize {
        usize::from(self.0)
    }

    /// Semitones from `self` up to `other`, 0 to 11.
    pub fn up_to(self, other: PitchClass) -> i16 {
        (other.number() - self.number()).rem_euclid(12)
    }

    /// Whether it is one of C D E F G A B.
    pub fn is_natural(self) -> bool {
        matches!(self.0, 0 | 2 | 4 | 5 | 7 | 9 | 11)
    }
}

impl Add<Interval> for PitchClass {
    type Output = PitchClass;
    fn add(self, by: Interval) -> PitchClass {
        PitchClass::new(self.number() + by.semitones())
    }
}

/// A sounding pitch as a MIDI note number; C4 (middle C) is 60.
///
/// Wider than the 0–127 of MIDI files, because written scores can name pitches beyond them.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Midi(i16);

impl Midi {
    /// The pitch with this number.
    pub const fn new(number: i16) -> Midi {
        Midi(number)
    }

    /// The number; C4 is 60.
    pub const fn number(self) -> i16 {
        self.0
    }

    /// The number where a MIDI file can hold it.
    pub fn as_u7(self) -> Option<u8> {
        u8::try_from(self.0).ok().filter(|n| *n < 128)
    }

    /// The pitch class.
    pub fn class(self) -> PitchClass {
        PitchClass::new(self.0)
    }

    /// Frequency in hertz in equal temperament with A4 = 440 Hz (ISO 16:1975).
    pub fn hertz(self) -> f64 {
        440.0 * 2f64.powf((f64::from(self.0) - 69.0) / 12.0)
    }
}

impl Add<Interval> for Midi {
    type Output = Midi;
    fn add(self, by: Interval) -> Midi {
        Midi(self.0.saturating_add(by.0))
    }
}

impl Sub for Midi {
    type Output = Interval;
    fn sub(self, other: Midi) -> Interval {
        Interval(self.0.saturating_sub(other.0))
    }
}

/// A distance between pitches in semitones, upwards positive.
#[derive(
    Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Interval(i16);

impl Interval {
    /// No distance.
    pub const UNISON: Interval = Interval(0);
    /// Twelve semitones.
    pub const OCTAVE: Interval = Interval(12);

    /// A distance of so many semitones.
    pub const fn new(semitones: i16) -> Interval {
        Interval(semitones)
    }

    /// A distance of so many octaves.
    pub const fn octaves(n: i8) -> Interval {
        Interval(n as i16 * 12)
    }

    /// The semitones.
    pub const fn semitones(self) -> i16 {
        self.0
    }

    /// The interval class, 0 to 6: the shorter way round the octave.
    pub fn class(self) -> i16 {
        let up = self.0.rem_euclid(12);
        up.min(12 - up)
    }

    /// Whether the two sounds grind: a semitone, a major seventh (interval class 1) or a tritone
    /// (class 6), at any octave. Common practice, no source.
    pub fn is_harsh(self) -> bool {
        matches!(self.class(), 1 | 6)
    }
}

impl Neg for Interval {
    type Output = Interval;
    fn neg(self) -> Interval {
        Interval(self.0.saturating_neg())
    }
}

impl Add for Interval {
    type Output = Interval;
    fn add(self, other: Interval) -> Interval {
        Interval(self.0.saturating_add(other.0))
    }
}

/// A spelled pitch: letter, alteration and octave in scientific pitch notation (C4 is middle C).
///
/// Orders by spelling (octave, letter, alteration), not by sound; compare [`Pitch::midi`] for that.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Pitch {
    /// Letter and alteration.
    pub name: NoteName,
    /// Octave number; it changes at the letter C, so B#3 sounds as C4.
    pub octave: i8,
}

impl Pitch {
    /// A pitch from its letter, alteration and octave.
    pub const fn new(step: Step, alter: i8, octave: i8) -> Pitch {
        Pitch { name: NoteName::new(step, alter), octave }
    }

    /// How it sounds.
    pub fn midi(self) -> Midi {
        Midi(
            (i16::from(self.octave) + 1) * 12
                + self.name.step.semitones()
                + i16::from(self.name.alter),
        )
    }

    /// The pitch class it sounds in.
    pub fn class(self) -> PitchClass {
        self.name.class()
    }

    /// This sounding pitch with this name; `None` where the name sounds another pitch class.
    pub fn with_name(midi: Midi, name: NoteName) -> Option<Pitch> {
        let natural = midi.0 - i16::from(name.alter) - name.step.semitones();
        if natural.rem_euclid(12) != 0 {
            return None;
        }
        let octave = i8::try_from(natural / 12 - 1).ok()?;
        Some(Pitch { name, octave })
    }

    /// The usual spelling of a sounding pitch under a signature of `fifths` sharps
    /// (negative: flats); see [`NoteName::spelled`].
    pub fn spelled(midi: Midi, fifths: i8) -> Pitch {
        let name = NoteName::spelled(midi.class(), fifths);
        let natural = midi.0 - i16::from(name.alter) - name.step.semitones();
        Pitch { name, octave: (natural.div_euclid(12) - 1).clamp(-128, 127) as i8 }
    }

    /// Moves the sound by `by` and the spelling by `fifths` places on the line of fifths, as a
    /// transposition between two keys does; spellings beyond a double sharp or flat are replaced by
    /// their enharmonic twin. Where the two disagree, the sound rules.
    pub fn transposed(self, by: Interval, fifths: i16) -> Pitch {
        let midi = self.midi() + by;
        let mut place = self.name.fifths() + fifths;
        while place > 19 {
            place -= 12;
        }
        while place < -15 {
            place += 12;
        }
        Pitch::with_name(midi, NoteName::from_fifths(place))
            .unwrap_or_else(|| Pitch::spelled(midi, 0))
    }

    /// Steps of the staff above C0: C4 is 28, D4 29.
    pub fn staff_step(self) -> i16 {
        i16::from(self.octave) * 7 + self.name.step.index()
    }
}

impl PartialOrd for Pitch {
    fn partial_cmp(&self, other: &Pitch) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Pitch {
    fn cmp(&self, other: &Pitch) -> std::cmp::Ordering {
        (self.octave, self.name).cmp(&(other.octave, other.name))
    }
}

impl fmt::Display for Pitch {
    /// Scientific pitch: `C4`, `F#3`, `Bb4`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.name, self.octave)
    }
}

impl fmt::Debug for Pitch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl FromStr for Pitch {
    type Err = PitchError;
    /// Reads `C4`, `F#3`, `B♭4`, `C-1`.
    fn from_str(text: &str) -> Result<Pitch, PitchError> {
        let fault = || PitchError(text.to_owned());
        let digits = text.find(|c: char| c == '-' || c.is_ascii_digit()).ok_or_else(fault)?;
        let name = text[..digits].parse::<NoteName>().map_err(|_| fault())?;
        let octave = text[digits..].parse::<i8>().map_err(|_| fault())?;
        if !(-2..=12).contains(&octave) {
            return Err(fault());
        }
        Ok(Pitch { name, octave })
    }
}

/// Writes a type as its displayed text in JSON, and reads it back.
macro_rules! serde_as_text {
    ($($type:ty),*) => {$(
        impl Serialize for $type {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.collect_str(self)
            }
        }
        impl<'de> Deserialize<'de> for $type {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<$type, D::Error> {
                let text = String::deserialize(deserializer)?;
                text.parse().map_err(serde::de::Error::custom)
            }
        }
    )*};
}
serde_as_text!(NoteName, Pitch);

#[cfg(test)]
mod tests {
    use super::*;

    /// ISO 16:1975 and the handbook's table: A4 = 440 Hz, C4 = 261.626 Hz, C6 = 1046.50 Hz.
    #[test]
    fn frequencies_agree_with_iso_16() {
        let hz = |p: &str| p.parse::<Pitch>().map(|p| p.midi().hertz()).unwrap_or(0.0);
        assert!((hz("A4") - 440.0).abs() < 1e-9);
        assert!((hz("C4") - 261.626).abs() < 5e-4);
        assert!((hz("C6") - 1046.50).abs() < 5e-3);
    }

    #[test]
    fn names_and_numbers_agree() {
        for (text, number) in [
            ("C4", 60),
            ("B#3", 60),
            ("Cb4", 59),
            ("F#3", 54),
            ("Bb4", 70),
            ("C-1", 0),
            ("G9", 127),
        ] {
            let pitch: Pitch = text.parse().unwrap();
            assert_eq!(pitch.midi(), Midi::new(number), "{text}");
            assert_eq!(pitch.to_string(), text);
        }
        assert!("H4".parse::<Pitch>().is_err());
        assert!("C".parse::<Pitch>().is_err());
        assert!("C#b4".parse::<Pitch>().is_err());
    }

    #[test]
    fn line_of_fifths_there_and_back() {
        for place in -15..=19 {
            let name = NoteName::from_fifths(place);
            assert_eq!(name.fifths(), place);
            assert_eq!(name.class(), PitchClass::new(place * 7));
        }
    }

    #[test]
    fn spelling_follows_the_signature() {
        let names = |fifths| {
            (0..12)
                .map(|n| Pitch::spelled(Midi::new(60 + n), fifths).name.to_string())
                .collect::<Vec<_>>()
                .join(" ")
        };
        assert_eq!(names(0), "C C# D Eb E F F# G G# A Bb B");
        assert_eq!(names(4), "B# C# D D# E E# F# G G# A A# B");
        assert_eq!(names(-3), "C Db D Eb E F Gb G Ab A Bb B");
        assert_eq!(Pitch::spelled(Midi::new(60), 4).to_string(), "B#3");
        assert_eq!(Pitch::spelled(Midi::new(59), -7).to_string(), "Cb4");
    }

    #[test]
    fn transposing_keeps_sound_and_letter_together() {
        let b: Pitch = "B4".parse().unwrap();
        // G major to F major: down a tone, two fifths flatwards.
        assert_eq!(b.transposed(Interval::new(-2), -2).to_string(), "A4");
        let f_sharp: Pitch = "F#5".parse().unwrap();
        assert_eq!(f_sharp.transposed(Interval::new(-2), -2).to_string(), "E5");
        // A disagreement between sound and spelling is settled by the sound.
        assert_eq!(b.transposed(Interval::new(1), -2).midi(), Midi::new(72));
    }
}
