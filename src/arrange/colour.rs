//! Colour: slides at phrase ends, over bars that are there and sound well together.
//!
//! A slide fills the last beat or two before the next phrase begins, while the melody holds its note
//! or rests; it never begins with a melody note. Its bars are chosen for the whole song by looking at
//! every subset of the scale (at most 128): no semitone among them, none against what sounds there.

use super::grind::{Grind, Sounding, against_melody, against_part};
use super::rack::{RING_SECONDS, Rack};
use super::request::Level;
use super::song::{Song, Strike, Tick};
use crate::score::{Hand, Interval, Midi, PitchClass, Slide, Time, value};

/// A place with room for colour.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Room {
    pub(super) from: Tick,
    pub(super) to: Tick,
    /// Whether the slide goes up.
    pub(super) up: bool,
}

/// What a semitone between two bars of the slide's set costs; more than any one bar is worth.
const SEMITONE: u32 = 60;
/// What each class of the set is worth: five are taken rather than three, but not one that grinds on
/// a strong beat.
const WORTH: u32 = 14;
/// What a hole wider than a major third costs: a slide over it stumbles.
const HOLE: u32 = 30;
/// Fewest bars of a slide.
const FEWEST: usize = 3;

/// Measures between two slides at the least, where nothing else is asked for: after short phrases
/// every second one has one. More often they are no longer a surprise. Common practice, no source.
const APART: usize = 4;

/// The places with room for colour: at phrase ends, on the word asked for, in a fuller arrangement
/// in every long note or rest; in a simpler one at the end only. Seen from the end, a phrase of less
/// than [`APART`] measures after one with colour has none.
pub(super) fn rooms(song: &Song, level: Level, word: Option<&str>) -> Vec<Room> {
    let measure = |at: Tick| song.bars.partition_point(|b| b.0 <= at);
    let mut ends: Vec<usize> = Vec::new();
    for (_, to) in &song.phrases {
        if let Some(last) = song.melody.partition_point(|n| n.at < *to).checked_sub(1) {
            ends.push(last);
        }
    }
    if level == Level::Fuller {
        ends.extend(0..song.melody.len());
    }
    if level == Level::Simpler {
        ends = ends.split_off(ends.len().saturating_sub(1));
    }
    if level == Level::Normal {
        let mut later: Option<usize> = None;
        let mut skipped = false;
        for i in (0..ends.len()).rev() {
            let Some(room) = room_after(song, ends[i]) else {
                ends.remove(i);
                continue;
            };
            let here = measure(room.to - 1);
            // No more than one phrase is passed over, however short they are.
            if !skipped && later.is_some_and(|l| l - here < APART) {
                skipped = true;
                ends.remove(i);
            } else {
                (later, skipped) = (Some(here), false);
            }
        }
    }
    if let Some(word) = word {
        ends.extend(word_ends(song, word));
    }
    ends.sort_unstable();
    ends.dedup();
    ends.into_iter().filter_map(|i| room_after(song, i)).collect()
}

/// The notes on which a word of the lyrics ends.
fn word_ends(song: &Song, word: &str) -> Vec<usize> {
    let wanted: String = word.to_lowercase().chars().filter(|c| c.is_alphanumeric()).collect();
    let mut found = Vec::new();
    let verses = song.line.iter().flat_map(|n| &n.lyrics).map(|l| l.verse).max().unwrap_or(0);
    for verse in 1..=verses {
        let mut so_far = String::new();
        for (i, note) in song.line.iter().enumerate() {
            for lyric in note.lyrics.iter().filter(|l| l.verse == verse) {
                let begins = matches!(
                    lyric.syllabic,
                    crate::score::Syllabic::Single | crate::score::Syllabic::Begin
                );
                if begins {
                    so_far.clear();
                }
                so_far.extend(lyric.text.to_lowercase().chars().filter(|c| c.is_alphanumeric()));
                let ends = matches!(
                    lyric.syllabic,
                    crate::score::Syllabic::Single | crate::score::Syllabic::End
                );
                if ends && !wanted.is_empty() && so_far == wanted {
                    // A syllable sung over several notes ends on the last of them.
                    let held = song.line[i + 1..]
                        .iter()
                        .take_while(|n| n.lyrics.iter().all(|l| l.verse != verse))
                        .count();
                    found.push(i + held);
                }
            }
        }
    }
    found
}

/// What the leader should know of the word on which colour was asked for; `None`: it falls there wherever
/// the word is sung.
pub(super) fn word_in_words(song: &Song, word: &str, played: bool) -> Option<String> {
    let mut ends = word_ends(song, word);
    ends.sort_unstable();
    ends.dedup();
    let rooms = ends.iter().filter(|i| room_after(song, **i).is_some()).count();
    if ends.is_empty() {
        Some(format!("The word {word} isn't in the words of the song, so no colour falls on it."))
    } else if !played {
        Some(format!("There is no colour part, so no colour falls on the word {word}."))
    } else if rooms == 0 {
        Some(format!("No room for colour on the word {word}: the next note comes too soon."))
    } else if rooms < ends.len() {
        Some(format!(
            "The word {word} has colour in {rooms} of {} places; elsewhere the next note comes too soon.",
            ends.len()
        ))
    } else {
        None
    }
}

/// The room between a melody note's onset and the next: its last two beats, or its last one, never
/// the onset itself.
fn room_after(song: &Song, note: usize) -> Option<Room> {
    let here = song.melody.get(note)?;
    let next = song.melody.get(note + 1);
    let to = next.map_or(song.close.max(here.end), |n| n.at);
    let measure = song.score.measure_at(song.time(here.at))?;
    let beat = song.tick(measure.meter.beat());
    let up = next.is_none_or(|n| n.midi >= here.midi);
    // Half a beat of the note is heard before the slide begins.
    let free = to - here.at - beat / 2;
    let length = if free >= 2 * beat {
        2 * beat
    } else if free >= beat {
        beat
    } else {
        return None;
    };
    Some(Room { from: to - length, to, up })
}

/// The bars for all slides, low to high; `None` where too few sound well.
fn bars(song: &Song, rack: &Rack, rooms: &[Room], others: &[Sounding<'_>]) -> Option<Vec<Midi>> {
    let mut grind = Grind::default();
    let ring = if rack.rings { song.ticks_of(RING_SECONDS, 0) } else { 0 };
    for room in rooms {
        // What rings on sounds into the next phrase.
        grind.add(&against_melody(song, room.from, room.to + ring));
        for part in others {
            grind.add(&against_part(song, part, room.from, room.to));
        }
    }
    let scale: Vec<PitchClass> =
        song.key.mode.scale().iter().map(|s| song.key.tonic.class() + Interval::new(*s)).collect();
    let mut best: Option<(u32, u8)> = None;
    for set in 1u8..128 {
        let classes: Vec<PitchClass> = members(&scale, set).collect();
        if classes.len() < FEWEST {
            continue;
        }
        let mut cost = WORTH * (7 - classes.len() as u32);
        for (i, a) in classes.iter().enumerate() {
            cost += grind.0[a.index()].min(1_000) / rooms.len().max(1) as u32 * 2;
            cost += classes[i + 1..].iter().filter(|b| matches!(a.up_to(**b), 1 | 11)).count()
                as u32
                * SEMITONE;
        }
        for (i, a) in classes.iter().enumerate() {
            let next = classes[(i + 1) % classes.len()];
            if a.up_to(next) > 4 {
                cost += HOLE;
            }
        }
        if best.is_none_or(|(c, _)| cost < c) {
            best = Some((cost, set));
        }
    }
    let (_, set) = best?;
    let kept: Vec<Midi> = rack
        .bars
        .iter()
        .copied()
        .filter(|m| members(&scale, set).any(|c| c == m.class()))
        .collect();
    (kept.len() >= FEWEST).then_some(kept)
}

fn members(scale: &[PitchClass], set: u8) -> impl Iterator<Item = PitchClass> {
    scale.iter().copied().enumerate().filter(move |(i, _)| set >> i & 1 == 1).map(|(_, c)| c)
}

/// The slides of a colour part. `others` are the parts that sound already.
pub(super) fn make(
    song: &Song,
    rack: &Rack,
    rooms: &[Room],
    others: &[Sounding<'_>],
) -> Vec<Strike> {
    let Some(kept) = bars(song, rack, rooms, others) else { return Vec::new() };
    let mut strikes = Vec::new();
    for room in rooms {
        slide(song, room, &kept, &mut strikes);
    }
    strikes
}

/// Number of strikes tried in a slide, longest first: each must leave a note value that can be
/// written plainly.
const LENGTHS: [usize; 5] = [8, 6, 4, 3, 2];

/// Writes one slide strike by strike: equal short notes over neighbouring bars of the set, ending
/// where it suits best of all places and both directions.
fn slide(song: &Song, room: &Room, kept: &[Midi], out: &mut Vec<Strike>) {
    let length: Time = song.time(room.to) - song.time(room.from);
    let plain = |n: &usize| {
        *n <= kept.len()
            && (room.to - room.from) % *n as i64 == 0
            && value::exact(length / *n as i64, 0).is_some_and(|v| v.length <= Time::new(1, 2))
    };
    let Some(count) = LENGTHS.into_iter().find(plain).filter(|n| *n >= FEWEST) else { return };
    let chord = song.chord_at(room.to - 1);
    let rank = |m: Midi| match chord {
        Some(c) if m.class() == c.root => 0i64,
        Some(c) if c.classes.contains(&m.class()) => 1,
        None if m.class() == song.key.tonic.class() => 0,
        _ => 4,
    };
    let middle = kept.len() as i64 / 2;
    let best = (0..=kept.len() - count)
        .flat_map(|start| [true, false].map(|up| (start, up)))
        .min_by_key(|(start, up)| {
            let stop = if *up { start + count - 1 } else { *start };
            let centre = *start as i64 + count as i64 / 2;
            let closing = if room.to == song.close { 8 } else { 2 };
            rank(kept[stop]) * closing + i64::from(*up != room.up) * 5 + (centre - middle).abs()
        });
    let Some((start, up)) = best else { return };
    let step = (room.to - room.from) / count as i64;
    for i in 0..count {
        let bar = if up { kept[start + i] } else { kept[start + count - 1 - i] };
        let at = room.from + step * i as i64;
        let mark = match i {
            0 => Slide::Start,
            _ if i + 1 == count => Slide::Stop,
            _ => Slide::Through,
        };
        out.push(Strike {
            slide: Some(mark),
            hand: Some(if up { Hand::Right } else { Hand::Left }),
            ..Strike::new(at, at + step, bar)
        });
    }
}

/// Leaves out slides that follow the one before too soon for the player: a slide is one stroke.
pub(super) fn space_out(song: &Song, strikes: &mut Vec<Strike>, gap: f64) {
    let mut last: Option<Tick> = None;
    let mut keeping = true;
    strikes.retain(|s| {
        if s.slide == Some(Slide::Start) {
            keeping = last.is_none_or(|l| song.seconds(l, s.at) >= gap);
            if keeping {
                last = Some(s.at);
            }
        }
        keeping
    });
}
