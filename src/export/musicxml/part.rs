//! One part, measure by measure.

use crate::score::{
    KeySignature, Measure, Meter, Note, NoteName, Part, Pitch, Score, Step, Time, Transposition,
};

use super::beams::beams;
use super::fifths_of;
use super::lanes::{Lane, lanes, staves};
use super::notes::{NoteWriter, Placed};
use super::rhythm::{Known, Piece, Raw, lcm, notate};
use super::signs::{self, Sign, signs};
use super::xml::Xml;

/// Mean written pitch (MIDI number) below which a staff reads better in the bass clef: G3, the space
/// between the two (common practice). What barred instruments and children's voices read stays in
/// the treble clef.
const BASS_CLEF_BELOW: i64 = 55;

/// The length of a whole rest.
const WHOLE: Time = Time::quarters(4);

/// One lane's share of one measure.
struct Strip {
    lane: usize,
    pieces: Vec<Piece>,
}

/// Writes one part.
pub(super) struct PartWriter<'a> {
    score: &'a Score,
    part: &'a Part,
    lanes: Vec<Lane>,
    /// The signs above the first lane.
    signs: Vec<(Time, Sign<'a>)>,
    /// Whether tempos, marks, chords and jumps are written here.
    shared: bool,
    /// By measure.
    strips: Vec<Vec<Strip>>,
    /// Divisions of a quarter note.
    divisions: i64,
    /// The moment at which the last measure's notes end.
    end: Time,
}

impl<'a> PartWriter<'a> {
    /// `known`: what was written of this score's rhythms before.
    pub(super) fn new(
        score: &'a Score,
        part: &'a Part,
        shared: bool,
        known: &mut Known,
    ) -> PartWriter<'a> {
        // Notes that hang over the last measure lengthen it.
        let end = part.notes.iter().map(Note::end).fold(score.end(), Time::max);
        let mut writer = PartWriter {
            score,
            part,
            lanes: lanes(part),
            signs: signs(score, part, shared),
            shared,
            strips: Vec::with_capacity(score.measures.len()),
            divisions: 1,
            end,
        };
        writer.lay_out(known);
        writer.count_divisions();
        writer
    }

    /// The same part with tempos, marks, chords and jumps, or without.
    pub(super) fn share(&mut self, shared: bool) {
        self.signs = signs(self.score, self.part, shared);
        self.shared = shared;
        self.count_divisions();
    }

    fn measure_end(&self, index: usize) -> Time {
        let last = index + 1 == self.score.measures.len();
        self.score.measures.get(index).map_or(self.end, |m| if last { self.end } else { m.end() })
    }

    /// Cuts every lane into the pieces of every measure.
    fn lay_out(&mut self, rhythms: &mut Known) {
        let mut next_group = vec![0usize; self.lanes.len()];
        let mut next_grace = vec![0usize; self.lanes.len()];
        let mut known: Option<(Meter, Vec<Time>)> = None;
        let last = self.score.measures.len().saturating_sub(1);
        for (index, measure) in self.score.measures.iter().enumerate() {
            if known.as_ref().is_none_or(|(meter, _)| *meter != measure.meter) {
                known = Some((measure.meter, measure.meter.beats()));
            }
            let beats = known.as_ref().map_or(&[][..], |(_, beats)| beats);
            let end = self.measure_end(index);
            let mut strips = Vec::new();
            for (nth, lane) in self.lanes.iter().enumerate() {
                // Moments at which rests (and, in the first lane, notes) are to be split.
                let mut cuts: Vec<Time> = Vec::new();
                while let Some(grace) = lane.graces.get(next_grace[nth]) {
                    let onset = self.part.notes[*grace].onset;
                    if onset >= end && index != last {
                        break;
                    }
                    cuts.push(onset);
                    next_grace[nth] += 1;
                }
                let keys = if nth == 0 { self.keys_inside(measure.start, end) } else { &[] };
                let groups = &lane.groups[next_group[nth]..];
                if !lane.leads && cuts.is_empty() && groups.first().is_none_or(|g| g.start >= end) {
                    continue;
                }
                let raws = raws(lane, &mut next_group[nth], measure.start, end, &cuts, keys);
                let pieces = match raws.as_slice() {
                    // A pickup's rest is written out: music21 gives a measure's rest the length
                    // of the meter, whatever its duration.
                    [only]
                        if only.group.is_none()
                            && only.end - only.start == measure.meter.measure() =>
                    {
                        vec![Piece {
                            start: only.start,
                            end: only.end,
                            group: None,
                            value: None,
                            ratio: None,
                            tuplet: 0,
                        }]
                    }
                    // It does the same with any whole rest that stands alone.
                    [only] if only.group.is_none() && only.end - only.start == WHOLE => {
                        let middle = only.start + WHOLE / 2;
                        let halves = [Raw { end: middle, ..*only }, Raw { start: middle, ..*only }];
                        notate(measure, beats, &halves, rhythms)
                    }
                    raws => notate(measure, beats, raws, rhythms),
                };
                strips.push(Strip { lane: nth, pieces });
            }
            self.strips.push(strips);
        }
    }

    /// The signatures that begin strictly inside a stretch of time.
    fn keys_inside(&self, from: Time, to: Time) -> &[KeySignature] {
        let keys = &self.score.keys;
        let first = keys.partition_point(|k| k.at <= from);
        let after = keys.partition_point(|k| k.at < to).max(first);
        &keys[first..after]
    }

    fn count_divisions(&mut self) {
        let mut divisions = 1i64;
        let mut need = |time: Time| {
            // Where no number of divisions is exact, lengths are rounded so that they still add up.
            if let Some(all) = lcm(divisions, time.denominator()) {
                divisions = all;
            }
        };
        for (index, measure) in self.score.measures.iter().enumerate() {
            need(self.measure_end(index) - measure.start);
            for piece in self.strips[index].iter().flat_map(|s| &s.pieces) {
                need(piece.start - measure.start);
            }
        }
        for (at, _) in &self.signs {
            if let Some(measure) = self.score.measure_at(*at) {
                need(*at - measure.start);
            }
        }
        self.divisions = divisions;
    }

    pub(super) fn write(&self, xml: &mut Xml) {
        let mut ending: &[u8] = &[];
        let mut transposition = Transposition::default();
        let mut fifths = 0i8;
        let mut next_sign = 0;
        let last = self.score.measures.len().saturating_sub(1);
        for (index, measure) in self.score.measures.iter().enumerate() {
            let number = measure.number.as_str();
            let attributes = [("number", number), ("implicit", "yes")];
            xml.open("measure", if measure.implicit { &attributes } else { &attributes[..1] });
            signs::left_bar_line(xml, measure);
            let was = transposition;
            transposition = self.part.transposition_at(measure.start);
            self.attributes(xml, index, measure, was, transposition);
            if let Some(key) = self.score.signature_at(measure.start) {
                fifths = key.fifths;
            }
            if self.shared {
                for jump in measure.jumps.iter().filter(|j| signs::at_start(j)) {
                    signs::sign(xml, &Sign::Jump(jump), self.score, 0);
                }
            }
            self.strips(xml, index, measure, transposition, fifths, &mut next_sign, index == last);
            if !measure.ending_start.is_empty() {
                ending = &measure.ending_start;
            }
            signs::right_bar_line(xml, measure, ending, index == last);
            xml.close("measure");
        }
    }

    /// All lanes of a measure.
    #[allow(clippy::too_many_arguments, reason = "the state that runs on from measure to measure")]
    fn strips(
        &self,
        xml: &mut Xml,
        index: usize,
        measure: &Measure,
        transposition: Transposition,
        fifths: i8,
        next_sign: &mut usize,
        last: bool,
    ) {
        let end = self.measure_end(index);
        let ticks = |at: Time| (at - measure.start).ticks(self.divisions);
        let placed = self.placed(index, end, last);
        let writer = NoteWriter::new(
            self.part,
            transposition,
            self.keys_of(measure, end, transposition, fifths),
            &placed,
        );
        for (nth, strip) in self.strips[index].iter().enumerate() {
            if nth > 0 && ticks(end) > 0 {
                xml.open("backup", &[]);
                xml.number("duration", ticks(end));
                xml.close("backup");
            }
            let lane = &self.lanes[strip.lane];
            // The notes between the ends of a slide are hidden, and so would be their beams' stems.
            let beams = beams(measure, &strip.pieces, |group| {
                let notes = lane.groups.get(group).map_or(&[][..], |g| &g.notes);
                notes.iter().all(|i| self.part.notes[*i].slide.is_none())
            });
            let mut graces = self.graces(lane, measure.start, end, last);
            let multi = staves(self.part) > 1;
            let mut voice = writer.voice(lane, multi, &strip.pieces, &beams);
            for (i, piece) in strip.pieces.iter().enumerate() {
                if nth == 0 {
                    self.signs_before(xml, next_sign, piece.start, piece.end, &ticks);
                    if i > 0 {
                        self.key_at(xml, piece.start, transposition);
                    }
                }
                while let Some((grace, after)) = graces.split_first() {
                    if self.part.notes[*grace].onset > piece.start {
                        break;
                    }
                    voice.grace(xml, *grace);
                    graces = after;
                }
                voice.piece(xml, i, ticks(piece.start), ticks(piece.end));
            }
            for grace in graces {
                voice.grace(xml, *grace);
            }
            if nth == 0 {
                if last {
                    while let Some((_, sign)) = self.signs.get(*next_sign) {
                        signs::sign(xml, sign, self.score, 0);
                        *next_sign += 1;
                    }
                }
                if self.shared {
                    for jump in measure.jumps.iter().filter(|j| !signs::at_start(j)) {
                        signs::sign(xml, &Sign::Jump(jump), self.score, 0);
                    }
                }
            }
        }
    }

    /// Writes the signs that stand before a piece or within it.
    fn signs_before(
        &self,
        xml: &mut Xml,
        next: &mut usize,
        from: Time,
        to: Time,
        ticks: &impl Fn(Time) -> i64,
    ) {
        while let Some((at, sign)) = self.signs.get(*next).filter(|s| s.0 < to) {
            signs::sign(xml, sign, self.score, (ticks(*at) - ticks(from)).max(0));
            *next += 1;
        }
    }

    /// The grace notes of a lane in a measure.
    fn graces<'l>(&self, lane: &'l Lane, from: Time, to: Time, last: bool) -> &'l [usize] {
        let onset = |i: &usize| self.part.notes[*i].onset;
        let first = lane.graces.partition_point(|i| onset(i) < from);
        let after =
            if last { lane.graces.len() } else { lane.graces.partition_point(|i| onset(i) < to) };
        &lane.graces[first..after.max(first)]
    }

    /// Every note and grace note of a measure in order of time, for the accidentals.
    fn placed(&self, index: usize, end: Time, last: bool) -> Vec<Placed> {
        let mut all: Vec<Placed> = Vec::new();
        let Some(measure) = self.score.measures.get(index) else { return all };
        for strip in &self.strips[index] {
            let lane = &self.lanes[strip.lane];
            for grace in self.graces(lane, measure.start, end, last) {
                all.push(Placed {
                    at: self.part.notes[*grace].onset,
                    grace: true,
                    note: *grace,
                    tied: false,
                });
            }
            for piece in &strip.pieces {
                let Some(group) = piece.group.and_then(|g| lane.groups.get(g)) else { continue };
                all.extend(group.notes.iter().map(|note| Placed {
                    at: piece.start,
                    grace: false,
                    note: *note,
                    tied: piece.start > group.start,
                }));
            }
        }
        // Grace notes stand before what they adorn.
        all.sort_by_key(|p| (p.at, !p.grace));
        all
    }

    /// The written signatures of a measure, the first one from its start.
    fn keys_of(
        &self,
        measure: &Measure,
        end: Time,
        transposition: Transposition,
        fifths: i8,
    ) -> Vec<(Time, i16)> {
        let written = |fifths: i8| i16::from(fifths) - fifths_of(transposition);
        let mut keys = vec![(measure.start, written(fifths))];
        keys.extend(self.keys_inside(measure.start, end).iter().map(|k| (k.at, written(k.fifths))));
        keys
    }

    /// Writes the signature that begins at a moment inside a measure.
    fn key_at(&self, xml: &mut Xml, at: Time, transposition: Transposition) {
        let after = self.score.keys.partition_point(|k| k.at <= at);
        let Some(key) = after.checked_sub(1).and_then(|i| self.score.keys.get(i)) else { return };
        if key.at == at {
            xml.open("attributes", &[]);
            write_key(xml, key, transposition);
            xml.close("attributes");
        }
    }

    fn attributes(
        &self,
        xml: &mut Xml,
        index: usize,
        measure: &Measure,
        was: Transposition,
        now: Transposition,
    ) {
        let first = index == 0;
        let before = index.checked_sub(1).and_then(|i| self.score.measures.get(i));
        let meter = before.is_none_or(|b| b.meter != measure.meter);
        let signature = self.score.signature_at(measure.start);
        let new_key = signature
            .filter(|k| k.at == measure.start || first || fifths_of(was) != fifths_of(now));
        let transposes = was != now;
        if !(first || meter || new_key.is_some() || transposes) {
            return;
        }
        xml.open("attributes", &[]);
        if first {
            xml.number("divisions", self.divisions);
        }
        if let Some(key) = new_key {
            write_key(xml, key, now);
        }
        if meter {
            write_time(xml, measure.meter);
        }
        if first {
            let staves = staves(self.part);
            if staves > 1 {
                xml.number("staves", i64::from(staves));
            }
            for staff in 1..=staves {
                self.clef(xml, staff, staves, now);
            }
        }
        if transposes {
            xml.open("transpose", &[]);
            // Optional in the schema, but music21 fails on an octave change without it.
            xml.number("diatonic", i64::from(now.diatonic));
            xml.number("chromatic", i64::from(now.chromatic));
            if now.octaves != 0 {
                xml.number("octave-change", i64::from(now.octaves));
            }
            xml.close("transpose");
        }
        xml.close("attributes");
    }

    fn clef(&self, xml: &mut Xml, staff: u8, staves: u8, transposition: Transposition) {
        let (mut sum, mut count) = (0i64, 0i64);
        for note in self.part.notes.iter().filter(|n| n.staff.max(1) == staff) {
            sum += i64::from((note.midi() + -transposition.interval()).number());
            count += 1;
        }
        let bass = count > 0 && sum < BASS_CLEF_BELOW * count;
        let number = staff.to_string();
        let attributes = [("number", number.as_str())];
        xml.open("clef", if staves > 1 { &attributes[..] } else { &[] });
        xml.text("sign", if bass { "F" } else { "G" });
        xml.number("line", if bass { 4 } else { 2 });
        xml.close("clef");
    }
}

fn write_key(xml: &mut Xml, key: &KeySignature, transposition: Transposition) {
    xml.open("key", &[]);
    xml.number("fifths", i64::from(i16::from(key.fifths) - fifths_of(transposition)));
    if let Some(mode) = key.mode {
        xml.text("mode", mode.name());
    }
    xml.close("key");
}

fn write_time(xml: &mut Xml, meter: Meter) {
    xml.open("time", &[]);
    if meter.groups().is_empty() {
        xml.number("beats", i64::from(meter.beats));
    } else {
        let groups: Vec<String> = meter.groups().iter().map(u8::to_string).collect();
        xml.text("beats", &groups.join("+"));
    }
    xml.number("beat-type", i64::from(meter.beat_type));
    xml.close("time");
}

/// The stretches of a lane from `from` to `to`, rests between the chords. `next` is the first chord
/// that isn't over yet; it moves on.
fn raws(
    lane: &Lane,
    next: &mut usize,
    from: Time,
    to: Time,
    rest_cuts: &[Time],
    keys: &[KeySignature],
) -> Vec<Raw> {
    let mut raws: Vec<Raw> = Vec::new();
    let mut push = |start: Time, end: Time, group: Option<usize>, hint: Option<(u16, u16)>| {
        let mut start = start;
        let mut cuts: Vec<Time> = keys.iter().map(|k| k.at).collect();
        if group.is_none() {
            cuts.extend_from_slice(rest_cuts);
            cuts.sort_unstable();
        }
        for cut in cuts {
            if cut > start && cut < end {
                raws.push(Raw { start, end: cut, group, hint });
                start = cut;
            }
        }
        if start < end {
            raws.push(Raw { start, end, group, hint });
        }
    };
    let mut at = from;
    while let Some(group) = lane.groups.get(*next) {
        if group.start >= to {
            break;
        }
        push(at, group.start, None, None);
        let start = group.start.max(at);
        push(start, group.end.min(to), Some(*next), group.tuplet);
        at = group.end.min(to).max(at);
        if group.end > to {
            break;
        }
        *next += 1;
    }
    push(at, to, None, None);
    raws
}

/// The pitch that a part reads for a sounding pitch.
pub(super) fn written_pitch(pitch: Pitch, transposition: Transposition) -> Pitch {
    if transposition.chromatic == 0 && transposition.diatonic == 0 {
        return Pitch {
            name: pitch.name,
            octave: pitch.octave.saturating_sub(transposition.octaves),
        };
    }
    pitch.transposed(-transposition.interval(), -fifths_of(transposition))
}

/// The alteration that a signature gives a letter: the scale holds the names from one place below its
/// number on the line of fifths to five above.
pub(super) fn signature_alter(fifths: i16, step: Step) -> i8 {
    let natural = NoteName::new(step, 0).fifths();
    (fifths.clamp(-21, 21) + 5 - natural).div_euclid(7) as i8
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::score::{Key, Mode};

    #[test]
    fn a_signature_alters_the_letters_of_its_scale() {
        for fifths in -21..=21i8 {
            for name in Key::from_signature(fifths, Mode::Major).scale() {
                assert_eq!(
                    signature_alter(fifths.into(), name.step),
                    name.alter,
                    "{fifths} {name}"
                );
            }
        }
    }
}
