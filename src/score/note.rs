//! Notes, lyrics and parts.

use super::pitch::{Interval, Midi, Pitch};
use super::time::Time;

/// A voice of a part: an index into [`Part::voices`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub struct VoiceId(pub u16);

/// Which hand strikes.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Hand {
    /// The left hand.
    Left,
    /// The right hand.
    Right,
}

impl Hand {
    /// `L` or `R`.
    pub fn letter(self) -> char {
        match self {
            Hand::Left => 'L',
            Hand::Right => 'R',
        }
    }

    /// The other hand.
    pub fn other(self) -> Hand {
        match self {
            Hand::Left => Hand::Right,
            Hand::Right => Hand::Left,
        }
    }
}

/// The place of a note in a slide (a glissando written out strike by strike).
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Slide {
    /// The first bar struck; the glissando line starts here.
    Start,
    /// A bar that the mallet glides over.
    Through,
    /// The last bar; the line ends here.
    Stop,
}

/// The place of a syllable in its word.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub enum Syllabic {
    /// A whole word.
    #[default]
    Single,
    /// The first syllable of several.
    Begin,
    /// A syllable between the first and the last.
    Middle,
    /// The last syllable.
    End,
}

/// A syllable under a note.
#[derive(Clone, PartialEq, Eq, Hash, Debug, Default)]
pub struct Lyric {
    /// The verse, from 1.
    pub verse: u8,
    /// The text; several syllables sung on one note are joined by an undertie, U+203F.
    pub text: String,
    /// Its place in its word.
    pub syllabic: Syllabic,
    /// Whether the syllable is held over the following notes (a melisma's line).
    pub extend: bool,
}

/// A note at sounding pitch. Tied notes are one note; its writer splits it again at the bar lines.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub struct Note {
    /// Where it begins, in score order.
    pub onset: Time,
    /// How long it lasts, ties included; zero for a grace note.
    pub duration: Time,
    /// The sounding pitch, spelled.
    pub pitch: Pitch,
    /// The voice it belongs to.
    pub voice: VoiceId,
    /// The staff of the part, from 1.
    pub staff: u8,
    /// Whether it is a grace note.
    pub grace: bool,
    /// Whether a fermata stands on it.
    pub fermata: bool,
    /// Notes in the time of: (3, 2) for a triplet, where the score shows a tuplet.
    pub tuplet: Option<(u16, u16)>,
    /// Syllables, by verse.
    pub lyrics: Vec<Lyric>,
    /// Which hand strikes it, where that is known.
    pub hand: Option<Hand>,
    /// Its place in a slide.
    pub slide: Option<Slide>,
}

impl Note {
    /// A plain note of the part's first voice.
    pub fn new(onset: Time, duration: Time, pitch: Pitch) -> Note {
        Note {
            onset,
            duration,
            pitch,
            voice: VoiceId::default(),
            staff: 1,
            grace: false,
            fermata: false,
            tuplet: None,
            lyrics: Vec::new(),
            hand: None,
            slide: None,
        }
    }

    /// Where it ends.
    pub fn end(&self) -> Time {
        self.onset + self.duration
    }

    /// Its sounding pitch as a number.
    pub fn midi(&self) -> Midi {
        self.pitch.midi()
    }
}

/// How far a part sounds from what is written: sounding = written + chromatic + 12 × octaves.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub struct Transposition {
    /// Steps of the staff, octaves left out.
    pub diatonic: i8,
    /// Semitones, octaves left out.
    pub chromatic: i8,
    /// Octaves.
    pub octaves: i8,
}

impl Transposition {
    /// Sounding minus written.
    pub fn interval(self) -> Interval {
        Interval::new(i16::from(self.chromatic)) + Interval::octaves(self.octaves)
    }
}

/// What a part sounds like.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Sound {
    /// General MIDI program, from 0; `None` where the score doesn't say.
    pub program: Option<u8>,
    /// MusicXML standard sound, such as `pitched-percussion.xylophone.alto`.
    pub standard: Option<String>,
}

/// Words printed over a part at a moment ("slide", "both together").
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Words {
    /// When.
    pub at: Time,
    /// What is printed.
    pub text: String,
}

/// A part: one singer, player or staff group.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Part {
    /// The identifier, unique in the score.
    pub id: String,
    /// The name as printed; may be empty.
    pub name: String,
    /// What it sounds like.
    pub sound: Sound,
    /// Transpositions from a moment on, first one at the start where the part transposes at all.
    pub transpositions: Vec<(Time, Transposition)>,
    /// The names of its voices, as the source gave them; [`VoiceId`] counts in here.
    pub voices: Vec<String>,
    /// Number of staves, at least 1 for a part that was read or is to be written.
    pub staves: u8,
    /// Sorted by onset, then by sounding pitch, then by voice.
    pub notes: Vec<Note>,
    /// Words, in order of time.
    pub words: Vec<Words>,
    /// Whether the part is unpitched percussion (its strokes are left out of `notes`).
    pub unpitched: bool,
}

impl Part {
    /// A part with one voice and one staff and no notes yet.
    pub fn new(id: impl Into<String>, name: impl Into<String>) -> Part {
        Part {
            id: id.into(),
            name: name.into(),
            voices: vec!["1".to_owned()],
            staves: 1,
            ..Part::default()
        }
    }

    /// What the part is called: its name, or its id where it has none.
    pub fn label(&self) -> &str {
        if self.name.is_empty() { &self.id } else { &self.name }
    }

    /// The transposition in force at a moment.
    pub fn transposition_at(&self, at: Time) -> Transposition {
        self.transpositions
            .iter()
            .take_while(|(from, _)| *from <= at)
            .last()
            .map(|(_, t)| *t)
            .unwrap_or_default()
    }

    /// The source's name of a voice.
    pub fn voice_name(&self, voice: VoiceId) -> &str {
        self.voices.get(usize::from(voice.0)).map_or("1", String::as_str)
    }

    /// Puts the notes in order: by onset, then by sounding pitch, then by voice. Grace notes stand
    /// before the note that they adorn, in the order they came.
    pub fn sort_notes(&mut self) {
        let grace_first = |n: &Note| u8::from(!n.grace);
        self.notes.sort_by(|a, b| {
            (a.onset, grace_first(a)).cmp(&(b.onset, grace_first(b))).then_with(|| {
                if a.grace && b.grace {
                    std::cmp::Ordering::Equal
                } else {
                    (a.midi(), a.voice).cmp(&(b.midi(), b.voice))
                }
            })
        });
    }
}
