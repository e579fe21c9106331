//! One track's events: notes paired, meta events decoded, damage survived.

use std::collections::{HashMap, VecDeque};

use midly::{EventIter, MetaMessage, MidiMessage, TrackEventKind};

use super::chunks::{CHUNK_HEAD, chunk_head, find_track};
use super::{MAX_NOTES, MidiError, Warning, text};
use crate::import::quantise::Played;
use crate::score::Midi;

/// Channels of a MIDI cable.
pub(super) const CHANNELS: usize = 16;
/// The drum channel of General MIDI, 10 as people count, 9 in the bytes.
pub(super) const DRUMS: u8 = 9;
const KEYS: usize = 128;

/// What a track holds.
#[derive(Debug, Default)]
pub(super) struct Track {
    /// Its number in the file, from 1.
    pub(super) number: usize,
    /// Its name; empty where it has none.
    pub(super) name: String,
    /// The instrument's name; empty likewise.
    pub(super) instrument: String,
    /// Pitched notes in order of being struck.
    pub(super) notes: Vec<Played>,
    /// Strokes on the drum channel.
    pub(super) drums: usize,
    /// Channels with pitched notes, a bit each.
    pub(super) channels: u16,
    /// Microseconds a quarter.
    pub(super) tempos: Vec<(u64, u32)>,
    /// Upper number and power of two of the lower.
    pub(super) meters: Vec<(u64, u8, u8)>,
    /// Sharps, and whether minor.
    pub(super) keys: Vec<(u64, i8, bool)>,
    /// Lyric events.
    pub(super) lyrics: Vec<(u64, String)>,
    /// Text events.
    pub(super) texts: Vec<(u64, String)>,
    /// The first program of each channel.
    pub(super) programs: [Option<u8>; CHANNELS],
    /// When its last event is.
    pub(super) end: u64,
}

/// Which notes are sounding, per channel and key.
struct Open {
    /// One more than the index of the note that was struck first, 0 for none.
    first: Box<[u32]>,
    /// Further notes of the same channel and key, where there are any.
    more: HashMap<usize, VecDeque<u32>>,
    /// When a key was last let go that wasn't sounding.
    loose: HashMap<usize, u64>,
}

impl Open {
    fn new() -> Open {
        Open {
            first: vec![0; CHANNELS * KEYS].into_boxed_slice(),
            more: HashMap::new(),
            loose: HashMap::new(),
        }
    }

    fn strike(&mut self, slot: usize, note: usize) {
        let note = note as u32 + 1;
        match self.first.get_mut(slot) {
            Some(first) if *first == 0 => *first = note,
            Some(_) => self.more.entry(slot).or_default().push_back(note),
            None => {}
        }
    }

    /// Whether a note struck now has had its end already: programs that sort the ends of one moment
    /// before its strokes write a note of no length (a grace note) back to front.
    fn ended_before(&mut self, slot: usize, now: u64) -> bool {
        !self.loose.is_empty() && self.loose.remove(&slot) == Some(now)
    }

    /// The note that an end belongs to: of several, the one struck first.
    fn release(&mut self, slot: usize, now: u64) -> Option<usize> {
        let first = self.first.get_mut(slot)?;
        let note = *first;
        *first = 0;
        if note == 0 {
            self.loose.insert(slot, now);
        }
        if !self.more.is_empty()
            && let Some(queue) = self.more.get_mut(&slot)
        {
            *first = queue.pop_front().unwrap_or(0);
        }
        note.checked_sub(1).map(|n| n as usize)
    }
}

/// Reads the track whose chunk begins at `at`. Returns it and where the next chunk begins.
pub(super) fn read(
    bytes: &[u8],
    at: usize,
    number: usize,
    notes_before: usize,
    warnings: &mut Vec<Warning>,
) -> Result<(Track, usize), MidiError> {
    let mut track = Track { number, ..Track::default() };
    let start = at + CHUNK_HEAD;
    let announced = chunk_head(bytes, at).map_or(0, |(_, length)| length);
    let body = bytes.get(start..).unwrap_or_default();
    let mut warn = |offset: usize, what: String| {
        warnings.push(Warning { place: format!("track {number}, byte {offset}"), what });
    };
    if announced > body.len() {
        warn(
            at + 4,
            format!(
                "the track says it has {announced} bytes, but the file ends after {}; \
                 read as far as it goes",
                body.len()
            ),
        );
    }
    let mut events = EventIter::new(body);
    let mut open = Open::new();
    let mut now = 0u64;
    let mut ended = false;
    let mut damaged = announced > body.len();
    // Where reading on beyond a length that is too short must stop; `None` while the length holds.
    let mut limit = None;
    let mut used;
    loop {
        let left = events.unread().len();
        used = body.len() - left;
        if limit.is_some_and(|limit| start + used >= limit) {
            break;
        }
        if used >= announced && limit.is_none() {
            if left == 0 || looks_like_chunk(bytes, start + used) || used > announced {
                break;
            }
            // No end of track where its length says: events go on.
            limit = Some(find_track(bytes, start + used).unwrap_or(bytes.len()));
        }
        let Some(Ok(event)) = events.next() else {
            if left == 0 {
                break;
            }
            if limit.is_some() {
                // What follows was no event after all.
                break;
            }
            match skip_damaged(body, used) {
                Some((delta, after)) if after <= announced.min(body.len()) => {
                    warn(start + used, "an event that can't be read; skipped".to_owned());
                    now += delta;
                    events = EventIter::new(body.get(after..).unwrap_or_default());
                }
                _ => {
                    damaged = true;
                    warn(
                        start + used,
                        "bytes that are no MIDI event; the rest of the track is left out"
                            .to_owned(),
                    );
                    break;
                }
            }
            continue;
        };
        now += u64::from(event.delta.as_int());
        match event.kind {
            TrackEventKind::Midi { channel, message } => {
                let channel = channel.as_int();
                match message {
                    MidiMessage::NoteOn { key, vel } => {
                        let slot = usize::from(channel) * KEYS + usize::from(key.as_int());
                        if vel.as_int() == 0 {
                            if let Some(i) = open.release(slot, now)
                                && let Some(note) = track.notes.get_mut(i)
                            {
                                note.off = now;
                            }
                        } else if channel == DRUMS {
                            track.drums += 1;
                        } else {
                            let off = if open.ended_before(slot, now) {
                                now
                            } else {
                                open.strike(slot, track.notes.len());
                                u64::MAX
                            };
                            track.channels |= 1 << channel;
                            let key = Midi::new(i16::from(key.as_int()));
                            track.notes.push(Played { on: now, off, key, channel });
                            if notes_before + track.notes.len() > MAX_NOTES {
                                return Err(MidiError::TooManyNotes {
                                    track: number,
                                    offset: start + used,
                                });
                            }
                        }
                    }
                    MidiMessage::NoteOff { key, .. } => {
                        let slot = usize::from(channel) * KEYS + usize::from(key.as_int());
                        if let Some(i) = open.release(slot, now)
                            && let Some(note) = track.notes.get_mut(i)
                        {
                            note.off = now;
                        }
                    }
                    MidiMessage::ProgramChange { program } => {
                        if let Some(slot) = track.programs.get_mut(usize::from(channel)) {
                            slot.get_or_insert(program.as_int());
                        }
                    }
                    _ => {}
                }
            }
            TrackEventKind::Meta(meta) => {
                if meta == MetaMessage::EndOfTrack {
                    ended = true;
                    break;
                }
                track.meta(now, meta);
            }
            TrackEventKind::SysEx(_) | TrackEventKind::Escape(_) => {}
        }
    }
    if ended {
        used = body.len() - events.unread().len();
    }
    let after = start + used;
    let next = if ended {
        let says = start.saturating_add(announced);
        if after != says && announced <= body.len() || after < says && announced > body.len() {
            let follows = chunk_head(bytes, after).is_some_and(|(kind, _)| &kind == b"MTrk");
            if after > says || follows {
                warn(at + 4, format!("the track says it has {announced} bytes, but has {used}"));
                after
            } else {
                says
            }
        } else {
            says
        }
    } else {
        if !damaged {
            warn(after, "the track has no end; read as far as it goes".to_owned());
        }
        let says = start.saturating_add(announced);
        if says <= bytes.len() && limit.is_none() {
            says
        } else {
            // Somewhere behind the damage another track may begin.
            find_track(bytes, start).unwrap_or(bytes.len())
        }
    };
    track.end = now;
    track.close_open(&mut warn, after);
    Ok((track, next))
}

/// Whether a chunk of a printable kind begins here, or the file ends.
fn looks_like_chunk(bytes: &[u8], at: usize) -> bool {
    bytes.get(at..at + 4).is_none_or(|kind| kind.iter().all(u8::is_ascii_alphanumeric))
}

/// Steps over an event that midly can't read but whose length is known: a meta event with impossible
/// content, or a system message that has no place in a file. Returns its delta time and its end.
fn skip_damaged(body: &[u8], at: usize) -> Option<(u64, usize)> {
    let (delta, at) = quantity(body, at)?;
    match *body.get(at)? {
        0xFF => {
            let (length, data) = quantity(body, at + 2)?;
            Some((delta, data.checked_add(usize::try_from(length).ok()?)?))
        }
        0xF1 | 0xF3 => Some((delta, at + 2)),
        0xF2 => Some((delta, at + 3)),
        0xF4..=0xF6 | 0xF8..=0xFE => Some((delta, at + 1)),
        _ => None,
    }
}

/// A variable-length quantity (Standard MIDI Files 1.0: seven bits a byte, at most four bytes) and
/// where it ends.
pub(super) fn quantity(bytes: &[u8], at: usize) -> Option<(u64, usize)> {
    let mut value = 0u64;
    for i in 0..4 {
        let byte = *bytes.get(at.checked_add(i)?)?;
        value = value << 7 | u64::from(byte & 0x7F);
        if byte < 0x80 {
            return Some((value, at + i + 1));
        }
    }
    None
}

impl Track {
    /// Changes the time of every event that isn't a note.
    pub(super) fn each_tick(&mut self, mut change: impl FnMut(&mut u64)) {
        self.tempos.iter_mut().for_each(|e| change(&mut e.0));
        self.meters.iter_mut().for_each(|e| change(&mut e.0));
        self.keys.iter_mut().for_each(|e| change(&mut e.0));
        self.lyrics.iter_mut().for_each(|e| change(&mut e.0));
        self.texts.iter_mut().for_each(|e| change(&mut e.0));
        change(&mut self.end);
    }

    fn meta(&mut self, now: u64, meta: MetaMessage<'_>) {
        match meta {
            MetaMessage::TrackName(name) if self.name.is_empty() => self.name = text::line(name),
            MetaMessage::InstrumentName(name) if self.instrument.is_empty() => {
                self.instrument = text::line(name);
            }
            MetaMessage::Tempo(micros) => self.tempos.push((now, micros.as_int())),
            MetaMessage::TimeSignature(upper, lower, _, _) => {
                self.meters.push((now, upper, lower));
            }
            MetaMessage::KeySignature(fifths, minor) => self.keys.push((now, fifths, minor)),
            MetaMessage::Lyric(bytes) => self.lyrics.push((now, text::decode(bytes))),
            MetaMessage::Text(bytes) => self.texts.push((now, text::decode(bytes))),
            _ => {}
        }
    }

    /// Ends the notes that were never let go: where the same key was struck again, the end that was
    /// taken for the earlier stroke was the later one's; else they last to the channel's next stroke, or
    /// the track's end.
    fn close_open(&mut self, warn: &mut impl FnMut(usize, String), offset: usize) {
        if self.notes.iter().all(|n| n.off != u64::MAX) {
            return;
        }
        let mut last: Vec<Option<usize>> = vec![None; CHANNELS * KEYS];
        let mut unended = 0;
        for i in 0..self.notes.len() {
            let note = self.notes[i];
            let slot =
                usize::from(note.channel) * KEYS + usize::from(note.key.as_u7().unwrap_or(0));
            let Some(last) = last.get_mut(slot) else { continue };
            if let Some(before) = *last {
                let end = self.notes[before].off;
                if end == u64::MAX {
                    self.notes[before].off = note.on;
                    unended += 1;
                } else if note.off == u64::MAX && end > note.on {
                    self.notes[before].off = note.on;
                    self.notes[i].off = end;
                }
            }
            *last = Some(i);
        }
        // Held to the track's end, it would lie over the whole tune: it gives way to the next stroke.
        // Of each channel, going back: the moment of its last stroke seen, and the one after that.
        let mut strokes = [(self.end, self.end); CHANNELS];
        for note in self.notes.iter_mut().rev() {
            let Some((here, next)) = strokes.get_mut(usize::from(note.channel)) else { continue };
            if note.on != *here {
                *next = std::mem::replace(here, note.on);
            }
            if note.off == u64::MAX {
                note.off = (*next).max(note.on);
                unended += 1;
            }
        }
        if unended > 0 {
            warn(
                offset,
                format!(
                    "{unended} note(s) without an end; held to the next note of the channel or \
                     the end of the track"
                ),
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The table of variable-length quantities in Standard MIDI Files 1.0, as the handbook has it.
    #[test]
    fn variable_length_quantities() {
        let table: [(u64, &[u8]); 9] = [
            (0x40, &[0x40]),
            (0x7F, &[0x7F]),
            (0x80, &[0x81, 0x00]),
            (0x2000, &[0xC0, 0x00]),
            (0x3FFF, &[0xFF, 0x7F]),
            (0x4000, &[0x81, 0x80, 0x00]),
            (0x1F_FFFF, &[0xFF, 0xFF, 0x7F]),
            (0x20_0000, &[0x81, 0x80, 0x80, 0x00]),
            (0x0FFF_FFFF, &[0xFF, 0xFF, 0xFF, 0x7F]),
        ];
        for (value, bytes) in table {
            assert_eq!(quantity(bytes, 0), Some((value, bytes.len())));
            // The same through midly, as the delta time of a note.
            let mut track = bytes.to_vec();
            track.extend([0x90, 60, 64, 0x00, 0x80, 60, 0, 0x00, 0xFF, 0x2F, 0x00]);
            let mut chunk = b"MTrk".to_vec();
            chunk.extend((track.len() as u32).to_be_bytes());
            chunk.extend(track);
            let mut warnings = Vec::new();
            let (read, _) = read(&chunk, 0, 1, 0, &mut warnings).unwrap();
            assert_eq!(read.notes[0].on, value);
            assert!(warnings.is_empty(), "{warnings:?}");
        }
    }
}
