//! Notes and rests: one chord, rest or grace note at a time.

use std::collections::BTreeMap;

use crate::score::{Lyric, Note, Part, Pitch, Slide, Step, Syllabic, Time, Transposition};

use super::beams::Beams;
use super::lanes::Lane;
use super::part::{signature_alter, written_pitch};
use super::rhythm::Piece;
use super::xml::Xml;

/// A note of a measure at the moment at which it is written.
pub(super) struct Placed {
    pub(super) at: Time,
    pub(super) grace: bool,
    /// Index into the part's notes.
    pub(super) note: usize,
    /// Whether it goes on from an earlier piece by a tie.
    pub(super) tied: bool,
}

/// Writes the notes of one measure.
pub(super) struct NoteWriter<'a> {
    part: &'a Part,
    transposition: Transposition,
    /// (note, moment) with the accidental that it shows there.
    accidentals: BTreeMap<(usize, Time), &'static str>,
}

impl<'a> NoteWriter<'a> {
    /// `keys` are the measure's written signatures; `placed` its notes in order of time.
    pub(super) fn new(
        part: &'a Part,
        transposition: Transposition,
        keys: Vec<(Time, i16)>,
        placed: &[Placed],
    ) -> NoteWriter<'a> {
        let mut writer = NoteWriter { part, transposition, accidentals: BTreeMap::new() };
        writer.find_accidentals(&keys, placed);
        writer
    }

    fn written(&self, note: &Note) -> Pitch {
        written_pitch(note.pitch, self.transposition)
    }

    /// An accidental stands where a note differs from what its line or space last was in this
    /// measure and octave, or from the signature.
    fn find_accidentals(&mut self, keys: &[(Time, i16)], placed: &[Placed]) {
        let mut last_key = usize::MAX;
        let mut signature = [0i8; 7];
        // (staff, letter, octave) to the alteration in force.
        let mut state: Vec<((u8, Step, i8), i8)> = Vec::new();
        for place in placed {
            let key = keys.partition_point(|k| k.0 <= place.at).saturating_sub(1);
            if key != last_key {
                for step in Step::ALL {
                    signature[step as usize] =
                        signature_alter(keys.get(key).map_or(0, |k| k.1), step);
                }
                last_key = key;
                state.clear();
            }
            let note = &self.part.notes[place.note];
            let pitch = self.written(note);
            let (step, alter) = (pitch.name.step, pitch.name.alter);
            let line = (note.staff, step, pitch.octave);
            let known = state.iter().position(|row| row.0 == line);
            let now = known.map_or(signature[step as usize], |i| state[i].1);
            if now == alter || place.tied {
                continue;
            }
            match known {
                Some(i) => state[i].1 = alter,
                None => state.push((line, alter)),
            }
            let sign = match alter {
                0 => "natural",
                1 => "sharp",
                2 => "double-sharp",
                -1 => "flat",
                -2 => "flat-flat",
                3 => "triple-sharp",
                -3 => "triple-flat",
                _ => continue,
            };
            self.accidentals.insert((place.note, place.at), sign);
        }
    }

    /// Starts on a lane.
    pub(super) fn voice<'w>(
        &'w self,
        lane: &'w Lane,
        multi: bool,
        pieces: &'w [Piece],
        beams: &'w [Beams],
    ) -> VoiceWriter<'w> {
        VoiceWriter { notes: self, lane, multi, pieces, beams }
    }
}

/// Writes one lane of one measure.
pub(super) struct VoiceWriter<'w> {
    notes: &'w NoteWriter<'w>,
    lane: &'w Lane,
    /// Whether the part has several staves.
    multi: bool,
    pieces: &'w [Piece],
    beams: &'w [Beams],
}

impl VoiceWriter<'_> {
    /// Writes a grace note, given by its index in the part.
    pub(super) fn grace(&mut self, xml: &mut Xml, index: usize) {
        let note = &self.notes.part.notes[index];
        xml.open("note", &[]);
        xml.empty("grace", &[("slash", "yes")]);
        self.pitch(xml, note);
        xml.text("voice", &self.lane.name);
        xml.text("type", "eighth");
        self.accidental(xml, index, note.onset);
        self.staff(xml, note.staff);
        for lyric in &note.lyrics {
            write_lyric(xml, lyric);
        }
        xml.close("note");
    }

    /// Writes a piece, given by its index in the measure, from and to these divisions.
    pub(super) fn piece(&mut self, xml: &mut Xml, index: usize, from: i64, to: i64) {
        let piece = &self.pieces[index];
        let duration = to - from;
        if duration <= 0 {
            return;
        }
        let Some(group) = piece.group.and_then(|g| self.lane.groups.get(g)) else {
            self.rest(xml, index, duration);
            return;
        };
        let first = piece.start == group.start;
        let last = piece.end == group.end;
        for (nth, i) in group.notes.iter().enumerate() {
            let note = &self.notes.part.notes[*i];
            let hidden = note.slide == Some(Slide::Through);
            xml.open("note", if hidden { &[("print-object", "no")] } else { &[] });
            if nth > 0 {
                xml.empty("chord", &[]);
            }
            self.pitch(xml, note);
            xml.number("duration", duration);
            if !first {
                xml.empty("tie", &[("type", "stop")]);
            }
            if !last {
                xml.empty("tie", &[("type", "start")]);
            }
            xml.text("voice", &self.lane.name);
            self.value(xml, piece);
            self.accidental(xml, *i, piece.start);
            self.modification(xml, piece);
            self.staff(xml, note.staff);
            if nth == 0 {
                for (level, beam) in self.beams[index].iter().enumerate() {
                    let number = (level + 1).to_string();
                    xml.text_with("beam", &[("number", &number)], beam);
                }
            }
            self.notations(xml, index, note, nth == 0, first, last);
            if first {
                for lyric in &note.lyrics {
                    write_lyric(xml, lyric);
                }
            }
            xml.close("note");
        }
    }

    fn rest(&self, xml: &mut Xml, index: usize, duration: i64) {
        let piece = &self.pieces[index];
        xml.open("note", if self.lane.leads { &[] } else { &[("print-object", "no")] });
        if piece.value.is_some() {
            xml.empty("rest", &[]);
        } else {
            xml.empty("rest", &[("measure", "yes")]);
        }
        xml.number("duration", duration);
        xml.text("voice", &self.lane.name);
        self.value(xml, piece);
        self.modification(xml, piece);
        self.staff(xml, self.lane.staff);
        let (starts, stops) = self.tuplet_ends(index);
        if starts || stops {
            xml.open("notations", &[]);
            tuplet(xml, piece, starts, stops);
            xml.close("notations");
        }
        xml.close("note");
    }

    fn pitch(&self, xml: &mut Xml, note: &Note) {
        let pitch = self.notes.written(note);
        xml.open("pitch", &[]);
        xml.text("step", pitch.name.step.letter().encode_utf8(&mut [0; 4]));
        if pitch.name.alter != 0 {
            xml.number("alter", i64::from(pitch.name.alter));
        }
        xml.number("octave", i64::from(pitch.octave));
        xml.close("pitch");
    }

    fn value(&self, xml: &mut Xml, piece: &Piece) {
        if let Some(value) = piece.value {
            xml.text("type", value.name);
            for _ in 0..value.dots {
                xml.empty("dot", &[]);
            }
        }
    }

    fn accidental(&self, xml: &mut Xml, index: usize, at: Time) {
        if let Some(sign) = self.notes.accidentals.get(&(index, at)) {
            xml.text("accidental", sign);
        }
    }

    fn modification(&self, xml: &mut Xml, piece: &Piece) {
        if let Some((actual, normal)) = piece.ratio {
            xml.open("time-modification", &[]);
            xml.number("actual-notes", i64::from(actual));
            xml.number("normal-notes", i64::from(normal));
            xml.close("time-modification");
        }
    }

    fn staff(&self, xml: &mut Xml, staff: u8) {
        if self.multi {
            xml.number("staff", i64::from(staff.max(1)));
        }
    }

    /// Whether a piece is the first and whether it is the last of its tuplet.
    fn tuplet_ends(&self, index: usize) -> (bool, bool) {
        let tuplet = self.pieces[index].tuplet;
        if tuplet == 0 {
            return (false, false);
        }
        let same = |i: Option<usize>| {
            i.and_then(|i| self.pieces.get(i)).is_some_and(|p| p.tuplet == tuplet)
        };
        let (before, after) = (same(index.checked_sub(1)), same(Some(index + 1)));
        // A bracket over a single note says nothing.
        (!before && after, before && !after)
    }

    fn notations(
        &self,
        xml: &mut Xml,
        index: usize,
        note: &Note,
        top: bool,
        first: bool,
        last: bool,
    ) {
        let (starts, stops) = if top { self.tuplet_ends(index) } else { (false, false) };
        let hand = note.hand.filter(|_| first && note.slide != Some(Slide::Through));
        let slide = match note.slide {
            Some(Slide::Start) if first => Some("start"),
            Some(Slide::Stop) if first => Some("stop"),
            _ => None,
        };
        let fermata = note.fermata && last;
        if first && last && !(starts || stops || fermata) && hand.is_none() && slide.is_none() {
            return;
        }
        xml.open("notations", &[]);
        if !first {
            xml.empty("tied", &[("type", "stop")]);
        }
        if !last {
            xml.empty("tied", &[("type", "start")]);
        }
        tuplet(xml, &self.pieces[index], starts, stops);
        if let Some(kind) = slide {
            xml.empty("glissando", &[("line-type", "wavy"), ("number", "1"), ("type", kind)]);
        }
        if let Some(hand) = hand {
            xml.open("technical", &[]);
            xml.text("fingering", hand.letter().encode_utf8(&mut [0; 4]));
            xml.close("technical");
        }
        if fermata {
            xml.empty("fermata", &[]);
        }
        xml.close("notations");
    }
}

fn tuplet(xml: &mut Xml, piece: &Piece, starts: bool, stops: bool) {
    let number = if piece.tuplet % 2 == 1 { "1" } else { "2" };
    if starts {
        xml.empty("tuplet", &[("number", number), ("type", "start")]);
    }
    if stops {
        xml.empty("tuplet", &[("number", number), ("type", "stop")]);
    }
}

/// The undertie that joins syllables sung on one note (see [`Lyric::text`]).
const ELISION: char = '\u{203F}';

fn write_lyric(xml: &mut Xml, lyric: &Lyric) {
    let number = lyric.verse.max(1).to_string();
    xml.open("lyric", &[("number", &number)]);
    if !lyric.text.is_empty() {
        let syllabic = match lyric.syllabic {
            Syllabic::Single => "single",
            Syllabic::Begin => "begin",
            Syllabic::Middle => "middle",
            Syllabic::End => "end",
        };
        for (nth, text) in lyric.text.split(ELISION).enumerate() {
            if nth > 0 {
                xml.text("elision", "\u{203F}");
            } else {
                xml.text("syllabic", syllabic);
            }
            xml.text("text", text);
        }
    }
    if lyric.extend || lyric.text.is_empty() {
        xml.empty("extend", &[]);
    }
    xml.close("lyric");
}
