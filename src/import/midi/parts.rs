//! Which notes make a part, what it is called, and its syllables.

use crate::import::quantise::Played;
use crate::score::{Lyric, Note, Part, Sound, Syllabic, Time, VoiceId};

use super::text::{self, Syllable};
use super::track::{CHANNELS, DRUMS, Track};

/// A part before its notes have notated times.
#[derive(Debug, Default)]
pub(super) struct Draft {
    /// Index of the track it was taken from.
    pub(super) track: usize,
    /// Its name; may be empty.
    pub(super) name: String,
    /// General MIDI program.
    pub(super) program: Option<u8>,
    /// Its notes, by onset and then pitch.
    pub(super) notes: Vec<Played>,
    /// Whether it is the drum channel.
    pub(super) drums: bool,
}

/// Tells the parts apart: one for each track and channel that has notes, or strokes of drums.
/// `single` says that the file is one track that holds everything (format 0).
pub(super) fn split(tracks: &mut [Track], single: bool) -> Vec<Draft> {
    // A program may be set in another track (the first, often) than the one that plays.
    let program_of: [Option<u8>; CHANNELS] = std::array::from_fn(|channel| {
        tracks.iter().find_map(|t| t.programs.get(channel).copied().flatten())
    });
    let mut drafts = Vec::new();
    for (index, track) in tracks.iter_mut().enumerate() {
        let several = track.channels.count_ones() > 1;
        let own_name = if track.name.is_empty() || single && !track.instrument.is_empty() {
            track.instrument.clone()
        } else {
            track.name.clone()
        };
        let channels = track.channels;
        for channel in (0..CHANNELS).filter(|c| channels & (1 << c) != 0) {
            let mut notes = if several {
                let of_channel = |n: &&Played| usize::from(n.channel) == channel;
                track.notes.iter().filter(of_channel).copied().collect()
            } else {
                std::mem::take(&mut track.notes)
            };
            if !notes.is_sorted_by_key(|n| (n.on, n.key)) {
                notes.sort_by_key(|n| (n.on, n.key));
            }
            let name = match (several, own_name.is_empty() || single) {
                (false, _) => own_name.clone(),
                (true, true) => format!("Channel {}", channel + 1),
                (true, false) => format!("{own_name} (channel {})", channel + 1),
            };
            let program = track.programs.get(channel).copied().flatten();
            let program = program.or(program_of.get(channel).copied().flatten());
            drafts.push(Draft { track: index, name, program, notes, drums: false });
        }
        if track.drums > 0 {
            let name = if track.channels == 0 && !own_name.is_empty() {
                own_name.clone()
            } else {
                "Drums".to_owned()
            };
            let program = track.programs.get(usize::from(DRUMS)).copied().flatten();
            drafts.push(Draft { track: index, name, program, notes: Vec::new(), drums: true });
        }
    }
    drafts
}

/// The title that a karaoke file names in its `@T` line, or the name of the track that stands for the
/// whole file: the first one, where it has no notes of its own or is the only one.
pub(super) fn title(tracks: &[Track], single: bool) -> String {
    let karaoke = tracks
        .iter()
        .flat_map(|t| &t.texts)
        .find_map(|(_, text)| text.strip_prefix("@T"))
        .map(|t| t.trim().to_owned());
    karaoke
        .or_else(|| {
            let first = tracks.first()?;
            (single || first.channels == 0 && first.drums == 0).then(|| first.name.clone())
        })
        .unwrap_or_default()
}

/// The syllables of the file and the track that they stand in: lyric events, or where there are none
/// the text events of a karaoke file (it has `@` header lines, or lines that begin with `\` or `/`).
pub(super) fn syllables(tracks: &[Track]) -> Vec<(usize, Vec<Syllable>)> {
    let lyrics: Vec<_> = tracks
        .iter()
        .enumerate()
        .filter(|(_, t)| !t.lyrics.is_empty())
        .map(|(i, t)| (i, text::syllables(&t.lyrics)))
        .collect();
    if !lyrics.is_empty() {
        return lyrics;
    }
    let karaoke_head = tracks.iter().flat_map(|t| &t.texts).any(|(_, t)| t.starts_with('@'));
    let mut found = Vec::new();
    for (i, track) in tracks.iter().enumerate() {
        let lines = track.texts.iter().filter(|(_, t)| t.starts_with(['\\', '/'])).count();
        let words: Vec<_> =
            track.texts.iter().filter(|(_, t)| !t.starts_with('@')).cloned().collect();
        // A track name or remark at the start of another track is no song text.
        let sung = words.iter().filter(|(tick, _)| *tick > 0).count();
        if lines > 1 || karaoke_head && sung > 1 {
            found.push((i, text::syllables(&words)));
        }
    }
    found
}

/// Which part the syllables of a track belong to: its own, or, where it has none, the part in which
/// most syllables meet an onset (the first of equals).
pub(super) fn sung_by(track: usize, syllables: &[Syllable], drafts: &[Draft]) -> Option<usize> {
    let own: Vec<usize> = (0..drafts.len())
        .filter(|i| drafts.get(*i).is_some_and(|d| d.track == track && !d.drums))
        .collect();
    let hits = |i: &usize| {
        let Some(draft) = drafts.get(*i) else { return 0 };
        let met = |s: &&Syllable| draft.notes.binary_search_by_key(&s.tick, |n| n.on).is_ok();
        syllables.iter().filter(met).count()
    };
    let among = if own.is_empty() {
        (0..drafts.len()).filter(|i| drafts.get(*i).is_some_and(|d| !d.notes.is_empty())).collect()
    } else {
        own
    };
    among.into_iter().rev().max_by_key(hits)
}

/// Hangs syllables on the notes whose strokes are nearest, within `reach` ticks. Returns how many
/// found no note.
pub(super) fn attach(
    syllables: &[Syllable],
    played: &[Played],
    notes: &mut [Note],
    reach: u64,
) -> usize {
    let mut lost = 0;
    for syllable in syllables {
        let after = played.partition_point(|n| n.on < syllable.tick);
        let nearest = [after.checked_sub(1), Some(after)]
            .into_iter()
            .flatten()
            .filter_map(|i| Some((played.get(i)?.on.abs_diff(syllable.tick), i)))
            .filter(|(distance, _)| *distance <= reach)
            .min();
        let Some((_, mut i)) = nearest else {
            lost += 1;
            continue;
        };
        // The top note of a chord is the one that is sung.
        let on = played.get(i).map(|n| n.on);
        while played.get(i + 1).map(|n| n.on) == on {
            i += 1;
        }
        let Some(note) = notes.get_mut(i) else { continue };
        match note.lyrics.first_mut() {
            None => note.lyrics.push(Lyric {
                verse: 1,
                text: syllable.text.clone(),
                syllabic: syllable.syllabic,
                extend: false,
            }),
            Some(lyric) => {
                lyric.text.push('\u{203F}');
                lyric.text.push_str(&syllable.text);
                lyric.syllabic = joined(lyric.syllabic, syllable.syllabic);
            }
        }
    }
    lost
}

/// The place in a word of two syllables sung on one note.
fn joined(first: Syllabic, second: Syllabic) -> Syllabic {
    let opens = matches!(first, Syllabic::Single | Syllabic::Begin);
    let closes = matches!(second, Syllabic::Single | Syllabic::End);
    match (opens, closes) {
        (true, true) => Syllabic::Single,
        (true, false) => Syllabic::Begin,
        (false, true) => Syllabic::End,
        (false, false) => Syllabic::Middle,
    }
}

/// Most voices that a part is split into; a thicker texture overlaps in the last one.
const MAX_VOICES: usize = 8;

/// Gives overlapping notes voices of their own: notes that begin and end together share one, and
/// otherwise each goes to the first voice that is free, higher notes first. With notes sorted by onset
/// this needs no more voices than sound at once.
pub(super) fn assign_voices(part: &mut Part) {
    let mut end = Time::ZERO;
    let mut last: Option<(Time, Time)> = None;
    let plain = part.notes.iter().all(|n| {
        let here = (n.onset, n.duration);
        let fits = n.onset >= end || last == Some(here);
        if !n.grace {
            last = Some(here);
            end = n.end();
        }
        fits
    });
    if plain {
        return;
    }
    let mut order: Vec<usize> = (0..part.notes.len()).collect();
    order.sort_by(|a, b| {
        let (a, b) = (&part.notes[*a], &part.notes[*b]);
        a.onset.cmp(&b.onset).then(b.midi().cmp(&a.midi()))
    });
    // Of each voice: the onset and end of its last chord.
    let mut voices: Vec<(Time, Time)> = Vec::new();
    for i in order {
        let note = &mut part.notes[i];
        let (onset, end) = (note.onset, note.end());
        let free = voices.iter().position(|v| *v == (onset, end) || v.1 <= onset);
        let voice = free.unwrap_or_else(|| {
            if voices.len() < MAX_VOICES {
                voices.push((onset, end));
            }
            voices.len() - 1
        });
        voices[voice] = (onset, end);
        note.voice = VoiceId(voice as u16);
    }
    part.voices = (1..=voices.len()).map(|v| v.to_string()).collect();
    part.sort_notes();
}

/// An empty part for a draft.
pub(super) fn part(draft: &Draft, number: usize) -> Part {
    let mut part = Part::new(format!("P{number}"), draft.name.clone());
    part.sound = Sound { program: draft.program, standard: None };
    part.unpitched = draft.drums;
    part
}
