//! The catalogue of kinds: compass, spares, mallets, sounds and the part each can take in a melody.
//!
//! Every row is the handbook's ("The instruments", "Mallets"): common practice, no single source,
//! so a kit file may say otherwise for each instrument. The sound names are MusicXML 4.0's standard
//! sounds, the programs General MIDI Level 1's.

use std::fmt;

use super::bar::Bar;
use crate::score::{Midi, Sound};

/// A kind of instrument of the trade (handbook, "The instruments").
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
#[allow(missing_docs, reason = "the variants are the kinds' names")]
pub enum Kind {
    SopranoGlockenspiel,
    AltoGlockenspiel,
    SopranoXylophone,
    SopranoMetallophone,
    AltoXylophone,
    AltoMetallophone,
    BassXylophone,
    BassMetallophone,
    ContrabassBars,
    ToneBars,
    Custom,
}

/// What the bars are made of.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Material {
    /// Wood, or a plastic that sounds like it: dry, long notes die.
    Wood,
    /// Metal: rings on, loud in a small room.
    Metal,
}

/// How large an instrument is to carry and to place.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Size {
    /// Fits on a lap or a bed table, and tips there: soprano instruments and glockenspiels, single
    /// tone bars.
    Small,
    /// Needs a stand or table: alto instruments.
    Middle,
    /// Heavy: bass instruments and contrabass bars.
    Large,
}

/// One row of the catalogue.
struct Row {
    kind: Kind,
    name: &'static str,
    /// MIDI numbers of the lowest and highest natural; `None` where the kit file lists the bars.
    range: Option<(i16, i16)>,
    /// Spares that come with it, as MIDI numbers.
    spares: &'static [i16],
    octave_shift: i8,
    loose: bool,
    material: Material,
    size: Size,
    mallet: &'static str,
    /// General MIDI Level 1 program, counted from 0.
    program: u8,
    sound: &'static str,
    melody: f64,
}

/// Default cost of carrying the melody, in swapped bars' worth (see [`Kind::melody_cost`]). The
/// order is the handbook's ("alto and soprano xylophones and glockenspiels carry it"); the sizes are
/// ours: a metallophone's ringing blurs a tune (1), a bass puts the tune under its own drone and
/// takes the drone's instrument away (3), contrabass boxes stand too far apart for one player (5).
const CARRIES: f64 = 0.0;
/// See [`CARRIES`]. A step behind the alto, so that of two equal ways the alto is named first.
const CARRIES_HIGH: f64 = 0.25;
/// See [`CARRIES`]. Two octaves above the voice.
const CARRIES_HIGHEST: f64 = 0.5;
/// See [`CARRIES`].
const RINGS_ON: f64 = 1.0;
/// See [`CARRIES`].
const BASS: f64 = 3.0;
/// See [`CARRIES`].
const CONTRABASS: f64 = 5.0;

const TABLE: [Row; 11] = [
    Row {
        kind: Kind::SopranoGlockenspiel,
        name: "soprano glockenspiel",
        range: Some((84, 105)),
        spares: &[90, 94, 102],
        octave_shift: 2,
        loose: false,
        material: Material::Metal,
        size: Size::Small,
        mallet: GLOCKENSPIEL_MALLET,
        program: GLOCKENSPIEL,
        sound: "pitched-percussion.glockenspiel.soprano",
        melody: CARRIES_HIGHEST,
    },
    Row {
        kind: Kind::AltoGlockenspiel,
        name: "alto glockenspiel",
        range: Some((72, 96)),
        spares: &[78, 82, 90, 94],
        octave_shift: 1,
        loose: false,
        material: Material::Metal,
        size: Size::Small,
        mallet: GLOCKENSPIEL_MALLET,
        program: GLOCKENSPIEL,
        sound: "pitched-percussion.glockenspiel.alto",
        melody: CARRIES_HIGH,
    },
    Row {
        kind: Kind::SopranoXylophone,
        name: "soprano xylophone",
        range: Some((72, 93)),
        spares: &[78, 82, 90],
        octave_shift: 1,
        loose: false,
        material: Material::Wood,
        size: Size::Small,
        mallet: "hard yarn or felt",
        program: XYLOPHONE,
        sound: "pitched-percussion.xylophone.soprano",
        melody: CARRIES_HIGH,
    },
    Row {
        kind: Kind::SopranoMetallophone,
        name: "soprano metallophone",
        range: Some((72, 93)),
        spares: &[78, 82, 90],
        octave_shift: 1,
        loose: false,
        material: Material::Metal,
        size: Size::Small,
        mallet: "hard yarn or felt",
        program: VIBRAPHONE,
        sound: "pitched-percussion.metallophone.soprano",
        melody: RINGS_ON,
    },
    Row {
        kind: Kind::AltoXylophone,
        name: "alto xylophone",
        range: Some((60, 84)),
        spares: &[66, 70, 78, 82],
        octave_shift: 0,
        loose: false,
        material: Material::Wood,
        size: Size::Middle,
        mallet: "medium yarn or felt",
        program: XYLOPHONE,
        sound: "pitched-percussion.xylophone.alto",
        melody: CARRIES,
    },
    Row {
        kind: Kind::AltoMetallophone,
        name: "alto metallophone",
        range: Some((60, 84)),
        spares: &[66, 70, 78, 82],
        octave_shift: 0,
        loose: false,
        material: Material::Metal,
        size: Size::Middle,
        mallet: "medium yarn or felt",
        program: VIBRAPHONE,
        sound: "pitched-percussion.metallophone.alto",
        melody: RINGS_ON,
    },
    Row {
        kind: Kind::BassXylophone,
        name: "bass xylophone",
        range: Some((48, 69)),
        spares: &[54, 58, 66],
        octave_shift: -1,
        loose: false,
        material: Material::Wood,
        size: Size::Large,
        mallet: "soft, large head",
        program: MARIMBA,
        sound: "pitched-percussion.xylophone.bass",
        melody: BASS,
    },
    Row {
        kind: Kind::BassMetallophone,
        name: "bass metallophone",
        range: Some((48, 69)),
        spares: &[54, 58, 66],
        octave_shift: -1,
        loose: false,
        material: Material::Metal,
        size: Size::Large,
        mallet: "soft, large head",
        program: VIBRAPHONE,
        sound: "pitched-percussion.metallophone.bass",
        melody: BASS,
    },
    Row {
        kind: Kind::ContrabassBars,
        name: "contrabass bars",
        range: Some((36, 48)),
        spares: &[42, 46],
        octave_shift: -2,
        loose: true,
        material: Material::Wood,
        size: Size::Large,
        mallet: "very soft, very large head",
        program: MARIMBA,
        // MusicXML 4.0 has no contrabass xylophone; the bass is the nearest of its list.
        sound: "pitched-percussion.xylophone.bass",
        melody: CONTRABASS,
    },
    Row {
        kind: Kind::ToneBars,
        name: "tone bars",
        range: None,
        spares: &[],
        octave_shift: 0,
        loose: true,
        material: Material::Metal,
        size: Size::Small,
        // The handbook names no mallet for tone bars; they lie at the alto's height.
        mallet: "medium yarn or felt",
        program: VIBRAPHONE,
        // MusicXML 4.0's sound for single tuned metal bars.
        sound: "pitched-percussion.metallophone",
        melody: RINGS_ON,
    },
    Row {
        kind: Kind::Custom,
        name: "custom",
        range: None,
        spares: &[],
        octave_shift: 0,
        loose: false,
        material: Material::Wood,
        size: Size::Middle,
        mallet: "medium yarn or felt",
        program: XYLOPHONE,
        sound: "pitched-percussion.xylophone",
        melody: CARRIES,
    },
];

const GLOCKENSPIEL_MALLET: &str = "wood, or hard rubber for a softer sound";
/// General MIDI Level 1 programs, from 0 (the handbook counts from 1: 10, 12, 13, 14).
const GLOCKENSPIEL: u8 = 9;
const VIBRAPHONE: u8 = 11;
const MARIMBA: u8 = 12;
const XYLOPHONE: u8 = 13;

impl Kind {
    /// Every kind, in the handbook's order; `custom` last.
    pub const ALL: [Kind; 11] = [
        Kind::SopranoGlockenspiel,
        Kind::AltoGlockenspiel,
        Kind::SopranoXylophone,
        Kind::SopranoMetallophone,
        Kind::AltoXylophone,
        Kind::AltoMetallophone,
        Kind::BassXylophone,
        Kind::BassMetallophone,
        Kind::ContrabassBars,
        Kind::ToneBars,
        Kind::Custom,
    ];

    fn row(self) -> &'static Row {
        TABLE.iter().find(|row| row.kind == self).unwrap_or(&TABLE[TABLE.len() - 1])
    }

    /// The name in plain words, as kit files write it: `alto xylophone`.
    pub fn name(self) -> &'static str {
        self.row().name
    }

    /// The kind of this name, or `None`.
    pub fn from_name(name: &str) -> Option<Kind> {
        Kind::ALL.into_iter().find(|k| k.name() == name)
    }

    /// Lowest and highest bar of the usual compass; `None` for kinds whose bars the kit file lists.
    pub fn range(self) -> Option<(Midi, Midi)> {
        self.row().range.map(|(low, high)| (Midi::new(low), Midi::new(high)))
    }

    /// The spare bars that come with it.
    pub fn spares(self) -> impl Iterator<Item = Bar> {
        self.row().spares.iter().map(|n| Bar(Midi::new(*n)))
    }

    /// Octaves by which it sounds above what is written.
    pub fn octave_shift(self) -> i8 {
        self.row().octave_shift
    }

    /// Whether its bars lie each on a box of its own.
    pub fn is_loose(self) -> bool {
        self.row().loose
    }

    /// What its bars are made of.
    pub fn material(self) -> Material {
        self.row().material
    }

    /// Whether it rings on after the stroke (metallophones and glockenspiels).
    pub fn rings(self) -> bool {
        self.material() == Material::Metal
    }

    /// How large it is.
    pub fn size(self) -> Size {
        self.row().size
    }

    /// Its mallets, in plain words.
    pub fn mallet(self) -> &'static str {
        self.row().mallet
    }

    /// The nearest General MIDI Level 1 program, counted from 0.
    pub fn program(self) -> u8 {
        self.row().program
    }

    /// The nearest MusicXML 4.0 standard sound.
    pub fn standard_sound(self) -> &'static str {
        self.row().sound
    }

    /// Program and standard sound together, as the score model has them.
    pub fn sound(self) -> Sound {
        Sound { program: Some(self.program()), standard: Some(self.standard_sound().to_owned()) }
    }

    /// What it costs to give it the melody, in swapped bars' worth: nothing for the alto xylophone,
    /// little for the other kinds that usually carry it, more for those that ring on, most for
    /// basses.
    pub fn melody_cost(self) -> f64 {
        self.row().melody
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_has_its_row() {
        for (kind, row) in Kind::ALL.into_iter().zip(&TABLE) {
            assert_eq!(kind, row.kind);
            assert_eq!(Kind::from_name(kind.name()), Some(kind));
        }
        assert_eq!(Kind::from_name("kazoo"), None);
    }
}
