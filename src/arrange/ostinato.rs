//! The ostinato: a short pattern, repeated, that fills in between melody and drone.
//!
//! The grammar. A cycle is one measure, two where the measure has two beats: so two to four beats, five in
//! 5/4; in longer meters the measure's strong beats count. Every beat of it holds one of these figures, as
//! shares of the beat:
//!
//! | figure | undivided or halved beats | beats in three (6/8 and the like) |
//! |---|---|---|
//! | rest | nothing | nothing |
//! | long | one note, the whole beat | one note, the whole beat |
//! | two | two halves | two thirds, then one third |
//! | after | a note on the second half | a note on the last third |
//! | upbeat | a note on the last quarter of the beat, leading to the next | on the last sixth |
//! | heartbeat | a note on the beat, and an upbeat | the same |
//! | middle | | a note on the second third |
//! | short–long | | one third, then two thirds |
//!
//! Each note takes one of at most [`MOST_BARS`] neighbouring bars. The search (`search`) goes through
//! every combination of figures, and for each finds the best bars by an exact dynamic programme (the
//! cost of a bar depends only on the note and on the bar before it), so the result is the cheapest of
//! the whole grammar; a twin that goes through every melody of the grammar checks that.
//!
//! The costs, for each time the cycle is played in the section, in the units of [`grind`](super::grind) (`table`):
//!
//! | cost | for |
//! |---|---|
//! | as they come | clashes with the melody and with the drone |
//! | 36 | a note that begins with a melody note; with a note of another ostinato 12 |
//! | 8 | a note on a beat that is no tone of the chord (of the tonic's, where the drone holds the tonic throughout) |
//! | 0–5 | the move from bar to bar: a step or a third is free, a repeated bar 2 |
//! | 14, 5 | each note fewer, more than wanted |
//! | 50 | no note on the cycle's first beat: it is what a player holds on to (nothing in a second ostinato, which answers the first) |
//! | 2 | a silent beat with a note after it |
//! | 6 | an upbeat that leads to no note; 200 where it is too short to be placed alone |
//! | 4 | more than half a cycle without a new note |
//!
//! One cycle serves the whole song; a section (phrases of one letter) gets its own only where that
//! saves a third of its cost: every change is one more thing to learn. The pattern ends
//! with the song: its last stroke falls together with the drone's last one, on a tone of the chord.
//!
//! The weights were set by hand, reading arrangements of 17 songs and the figures of 400 tunes
//! (`arrange_table.py --tuning`).

mod search;
mod table;

use self::search::{Cycle, Search, price, search};
use self::table::{sum, table};
use super::grind::Sounding;
use super::limits::{self, Limits};
use super::rack::{RING_SECONDS, Rack};
use super::song::{Song, Strike, Tick};
use crate::score::{Meter, Midi};

/// A section's own cycle must be cheaper than the song's by this share: one part in three.
const WORTH_A_CHANGE: u32 = 3;
/// A section shorter than this keeps the song's cycle.
const FEWEST_MEASURES: usize = 4;
/// Most bars that the search considers.
const MOST_BARS: usize = 6;

/// The bars that the pattern may use: neighbouring bars of the scale without its fourth and seventh
/// degrees (they rub against root and third), in the middle of the instrument.
fn choice(song: &Song, rack: &Rack, around: Around<'_>) -> Vec<Midi> {
    let tonic = song.key.tonic.class();
    let scale = song.key.mode.scale();
    let soft: Vec<i16> = if song.key.mode.has_major_third() {
        vec![scale[0], scale[1], scale[2], scale[4], scale[5]]
    } else {
        vec![scale[0], scale[2], scale[3], scale[4], scale[6]]
    };
    let mut bars: Vec<Midi> =
        rack.bars.iter().copied().filter(|m| soft.contains(&tonic.up_to(m.class()))).collect();
    if bars.len() < 2 {
        bars = rack.bars.clone();
    }
    if bars.len() > MOST_BARS {
        let spare = bars.len() - MOST_BARS;
        // Of several the first lies low on its instrument and the others high.
        let from = match (around.several, around.other.is_empty()) {
            (false, _) => spare / 2,
            (true, true) => 0,
            (true, false) => spare,
        };
        bars = bars[from..from + MOST_BARS].to_vec();
    }
    bars
}

/// A finished ostinato.
#[derive(Clone, Debug, Default)]
pub(super) struct Ostinato {
    pub(super) strikes: Vec<Strike>,
    /// The cycle of each section in note names.
    pub(super) words: String,
    /// Notes left out where they would have ground on a strong beat.
    pub(super) left_out: usize,
}

/// What sounds already.
#[derive(Clone, Copy, Debug)]
pub(super) struct Around<'a> {
    pub(super) drone: Sounding<'a>,
    /// The ostinato before this one.
    pub(super) other: &'a [Strike],
    /// Whether there are several ostinatos.
    pub(super) several: bool,
}

/// Finds and writes the ostinato, one cycle for each section (phrases of one letter) that asks for
/// its own.
pub(super) fn make(song: &Song, rack: &Rack, limits: Limits, around: Around<'_>) -> Ostinato {
    let bars = choice(song, rack, around);
    if bars.is_empty() {
        return Ostinato::default();
    }
    // Measures by section letter and meter.
    let mut sections: Vec<(char, Meter, Vec<usize>)> = Vec::new();
    for (i, measure) in song.score.measures.iter().enumerate() {
        let (start, end) = song.bars[i];
        let is_full = measure.lead.is_zero() && end - start == song.tick(measure.meter.measure());
        let label = label_at(song, start);
        // The drone begins an introduction alone.
        let waits = i < song.form.alone && !around.drone.strikes.is_empty();
        let in_play = !waits && start < song.close && (is_full || measure.lead.is_zero());
        if !in_play {
            continue;
        }
        match sections.iter_mut().find(|s| s.0 == label && s.1 == measure.meter) {
            Some(section) => section.2.push(i),
            None => sections.push((label, measure.meter, vec![i])),
        }
    }
    let ring = if rack.rings { song.ticks_of(RING_SECONDS, 0) } else { 0 };
    let mut out = Ostinato::default();
    let mut words: Vec<(Tick, String)> = Vec::new();
    let places: Vec<Vec<Place>> =
        sections.iter().map(|(_, meter, measures)| places(song, meter, measures)).collect();
    let tables: Vec<Search> = sections
        .iter()
        .zip(&places)
        .map(|((_, meter, _), places)| table(song, &bars, meter, places, limits, around, ring))
        .collect();
    let mut common: Vec<(Meter, Option<Cycle>)> = Vec::new();
    for (((_, meter, measures), places), own_table) in sections.iter().zip(&places).zip(&tables) {
        let whole = match common.iter().find(|c| c.0 == *meter) {
            Some(known) => known.1.clone(),
            None => {
                let same = sections.iter().zip(&tables).filter(|(s, _)| s.1 == *meter);
                let cycle = sum(same.map(|(_, t)| t)).and_then(|all| search(&all, u32::MAX));
                common.push((*meter, cycle.clone()));
                cycle
            }
        };
        let Some(whole) = whole else { continue };
        let mut cycle = whole;
        let alone = sections.iter().filter(|s| s.1 == *meter).count() < 2;
        if !alone
            && measures.len() >= FEWEST_MEASURES
            && let Some(shared) = price(&cycle, own_table)
            && let Some(own) = search(own_table, shared - shared / WORTH_A_CHANGE)
        {
            cycle = own;
        }
        let names: Vec<String> = cycle
            .notes
            .iter()
            .filter_map(|n| bars.get(n.2))
            .map(|m| super::song::name_in(song.key, m.class()).to_string())
            .collect();
        let names = names.join(" ");
        for (start, end) in places {
            words.push((*start, names.clone()));
            for (at, to, bar) in &cycle.notes {
                let Some(midi) = bars.get(*bar) else { continue };
                let (at, to) = (start + at, (start + to).min(*end).min(song.close));
                if at >= *end || at >= song.last_stroke {
                    continue;
                }
                if grinds(song, at, to.max(at + ring), *midi) {
                    out.left_out += 1;
                    continue;
                }
                out.strikes.push(Strike::new(at, to, *midi));
            }
        }
    }
    out.strikes.sort_by_key(|s| (s.at, s.midi));
    out.words = in_words(song, words);
    out
}

/// Where a cycle is played once: from, to.
type Place = (Tick, Tick);

/// How many measures make a cycle.
fn measures_of(meter: &Meter) -> usize {
    if meter.beats().len() <= 2 && !meter.is_odd() { 2 } else { 1 }
}

/// The places at which a section's cycle begins: every measure, or every two that follow each other (a
/// measure that is left over has the cycle's first half).
fn places(song: &Song, meter: &Meter, measures: &[usize]) -> Vec<Place> {
    let most = measures_of(meter);
    let mut places: Vec<Place> = Vec::with_capacity(measures.len());
    let mut held = 0;
    let mut last = usize::MAX;
    for m in measures {
        let Some((start, end)) = song.bars.get(*m).copied() else { continue };
        match places.last_mut() {
            Some(place) if held < most && *m == last + 1 => {
                place.1 = end;
                held += 1;
            }
            _ => {
                places.push((start, end));
                held = 1;
            }
        }
        last = *m;
    }
    places
}

/// Most changes of cycle that the description names.
const MOST_NAMED: usize = 4;

/// The cycles in note names, and from which measure each is played.
fn in_words(song: &Song, mut words: Vec<(Tick, String)>) -> String {
    words.sort_unstable();
    words.dedup_by(|later, earlier| later.1 == earlier.1);
    let mut text = String::new();
    for (i, (at, names)) in words.iter().take(MOST_NAMED).enumerate() {
        let number = song.measure_number(*at);
        match i {
            0 => text.push_str(names),
            _ => text.push_str(&format!(", from measure {number} {names}")),
        }
    }
    if words.len() > MOST_NAMED {
        text.push_str(" and so on");
    }
    text
}

/// Up to one note in so many may go where cycles meet.
const SEAMS: usize = 4;

/// Thins a pattern that is too quick for its player, and keeps it moving: where only one pitch would
/// be left, every second note takes the next other pitch of the full pattern.
pub(super) fn thin(song: &Song, rack: &Rack, made: &mut Ostinato, gap: f64) -> Option<String> {
    let full = made.strikes.clone();
    // Where two cycles meet (a change of meter, a measure left over) a note or two come too soon: they
    // alone go. A pattern that is too quick in itself is thinned as a whole, so that it stays regular.
    let mut seams = full.clone();
    let told = limits::thin_melody(song, &mut seams, gap);
    let done = if seams.len() * SEAMS >= full.len() * (SEAMS - 1) {
        made.strikes = seams;
        told
    } else {
        limits::thin(song, &mut made.strikes, gap)
    };
    keep_moving(song, rack, &mut made.strikes, &full);
    done
}

/// Where only one pitch is left of a pattern, its strokes take another one in pairs, from the full
/// pattern first.
pub(super) fn keep_moving(song: &Song, rack: &Rack, strikes: &mut [Strike], full: &[Strike]) {
    let ring = if rack.rings { song.ticks_of(RING_SECONDS, 0) } else { 0 };
    let Some(one) = strikes.first().map(|s| s.midi) else { return };
    if strikes.len() < 2 || strikes.iter().any(|s| s.midi != one) {
        return;
    }
    let mut others: Vec<Midi> = full.iter().map(|s| s.midi).collect();
    others.extend(rack.bars.iter().copied().filter(|m| (*m - one).semitones().abs() <= 5));
    others.retain(|m| *m != one);
    // In pairs (A B B A), so that two players who take turns don't get one pitch each.
    for (i, strike) in strikes.iter_mut().enumerate() {
        if i.div_ceil(2) % 2 == 0 {
            continue;
        }
        let end = strike.end.max(strike.at + ring);
        if let Some(other) = others.iter().find(|m| !grinds(song, strike.at, end, **m)) {
            strike.midi = *other;
        }
    }
}

/// Whether a note would be a semitone, major seventh or tritone from the melody on a strong beat.
fn grinds(song: &Song, from: Tick, to: Tick, midi: Midi) -> bool {
    let s = song.strong.partition_point(|t| *t < from);
    song.strong
        .iter()
        .skip(s)
        .take_while(|t| **t < to)
        .any(|t| song.melody_at(*t).is_some_and(|n| (n.midi - midi).is_harsh()))
}

fn label_at(song: &Song, at: Tick) -> char {
    let i = song.phrases.partition_point(|p| p.0 <= at).saturating_sub(1);
    song.labels.get(i).copied().unwrap_or('a')
}

/// Ends the part with the others: nothing after the song's last stroke, on it a tone of the chord, held
/// to the end; of the tones that don't grind the one nearest to the note before.
pub(super) fn close(song: &Song, rack: &Rack, made: &mut Ostinato, gap: f64) {
    let at = song.last_stroke;
    let early = |s: &Strike| s.at < at && limits::apart(song, s.at, at, gap);
    if !made.strikes.iter().any(early) {
        return;
    }
    made.strikes.retain(early);
    let Some(before) = made.strikes.last_mut() else { return };
    before.end = before.end.min(at);
    let from = before.midi;
    let classes = song.ground(at);
    let ring = if rack.rings { song.ticks_of(RING_SECONDS, 0) } else { 0 };
    let end = song.close;
    let root = classes.first();
    let moves = made.strikes.iter().any(|s| s.midi != from);
    let midi = rack
        .bars
        .iter()
        .filter(|m| classes.contains(&m.class()))
        .filter(|m| !grinds(song, at, end.max(at + ring), **m))
        // A part of one pitch so far moves at least now.
        .filter(|m| moves || **m != from)
        // The root from a little further away, for it closes.
        .min_by_key(|m| {
            (**m - from).semitones().abs() + if Some(&m.class()) == root { 0 } else { ROOT_CLOSES }
        });
    match midi {
        Some(midi) => made.strikes.push(Strike::new(at, end, *midi)),
        None => {
            if let Some(before) = made.strikes.last_mut() {
                before.end = end;
            }
        }
    }
}

/// How many semitones further away the root is taken than another tone of the last chord.
const ROOT_CLOSES: i16 = 3;
