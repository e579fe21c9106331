//! What a reader of one part hands to the assembly: times still in ticks within their measure.

use crate::score::{
    ChordSymbol, EndingStop, Interval, Jump, Lyric, Meter, Mode, Pitch, Slide, Sound,
    Transposition, VoiceId,
};

/// A moment: a measure and ticks from its start.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) struct At {
    pub(super) measure: u32,
    pub(super) tick: i64,
}

/// A sounding note as written in the file, tied notes still apart.
#[derive(Debug)]
pub(super) struct RawNote {
    pub(super) at: At,
    pub(super) ticks: i64,
    /// At sounding height.
    pub(super) pitch: Pitch,
    pub(super) voice: VoiceId,
    pub(super) staff: u8,
    pub(super) grace: bool,
    pub(super) fermata: bool,
    pub(super) tie_start: bool,
    pub(super) tie_stop: bool,
    pub(super) tuplet: Option<(u16, u16)>,
    pub(super) slide: Option<Slide>,
    pub(super) lyrics: Vec<Lyric>,
}

/// A time signature as written.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum RawMeter {
    Meter(Meter),
    /// No meter at all.
    Senza,
}

/// What the parts say about one measure.
#[derive(Debug, Default)]
pub(super) struct Bar {
    pub(super) number: String,
    pub(super) implicit: bool,
    /// Where its element begins in the text, for errors.
    pub(super) offset: usize,
    /// The end of the last note or rest of any part that has a note.
    pub(super) held: i64,
    /// The end of the last rest of any part that has nothing but rests. Whole-measure rests with a
    /// length beyond their meter are common, so these may not make a measure too long.
    pub(super) rested: i64,
    /// By how many ticks `held` may miss the meter's length through rounding alone.
    pub(super) slack: i64,
    /// A time signature at its start.
    pub(super) meter: Option<RawMeter>,
    pub(super) repeat_start: bool,
    pub(super) repeat_end: Option<u8>,
    pub(super) ending_start: Vec<u8>,
    pub(super) ending_stop: Option<EndingStop>,
    pub(super) jumps: Vec<Jump>,
    /// A coda sign that doesn't say whether one leaves there or arrives there.
    pub(super) coda_sign: bool,
    pub(super) double_bar: bool,
}

/// A key signature at sounding height.
#[derive(Clone, Copy, Debug)]
pub(super) struct RawKey {
    pub(super) at: At,
    pub(super) fifths: i8,
    pub(super) mode: Option<Mode>,
}

/// Everything read from one part.
#[derive(Debug, Default)]
pub(super) struct RawPart {
    pub(super) id: String,
    pub(super) name: String,
    pub(super) sound: Sound,
    pub(super) staves: u8,
    pub(super) voices: Vec<String>,
    pub(super) notes: Vec<RawNote>,
    pub(super) words: Vec<(At, String)>,
    pub(super) keys: Vec<RawKey>,
    pub(super) transpositions: Vec<(At, Transposition)>,
    pub(super) tempos: Vec<(At, f64)>,
    pub(super) chords: Vec<(At, ChordSymbol)>,
    pub(super) marks: Vec<(At, String)>,
    /// Whether an unpitched note was left out.
    pub(super) strokes: bool,
}

/// How far a transposition moves a spelling on the line of fifths. An octave moves nothing.
pub(super) fn fifths_of(t: Transposition) -> i16 {
    // A fifth up is 4 steps and 7 semitones: 7 × 7 − 12 × 4 = 1.
    i16::from(t.chromatic) * 7 - i16::from(t.diatonic) * 12
}

/// The sounding pitch of a written one.
pub(super) fn sounding(written: Pitch, t: Transposition) -> Pitch {
    if t == Transposition::default() {
        return written;
    }
    if t.chromatic == 0 && t.diatonic == 0 {
        return Pitch { octave: written.octave.saturating_add(t.octaves), ..written };
    }
    written.transposed(t.interval(), fifths_of(t))
}

/// The steps of the staff that go with a number of semitones, where a file leaves them out: the
/// diatonic interval of that size (a tritone counts as a fourth). Common practice.
pub(super) fn diatonic_of(chromatic: Interval) -> i8 {
    let semitones = chromatic.semitones();
    let size = usize::from(semitones.unsigned_abs());
    let steps = [0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6][size % 12] + 7 * (size / 12) as i16;
    (if semitones < 0 { -steps } else { steps }).clamp(-127, 127) as i8
}
