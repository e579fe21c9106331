//! Joins tied notes.
//!
//! Ties join on `tie`, not on the drawn `tied`; the notes must sound the same pitch and touch. A note
//! that takes up a tie looks in its own voice first and then in any. A start without a stop, or a
//! stop without a start, leaves the note as written.

use std::collections::HashMap;

use super::raw::RawNote;
use crate::score::Midi;

/// A note on the score's own time line, in ticks.
#[derive(Debug)]
pub(super) struct Placed {
    pub(super) start: i64,
    pub(super) end: i64,
    pub(super) raw: RawNote,
    /// Whether it was joined to an earlier one.
    pub(super) gone: bool,
}

/// What a tie can be taken up by: a note that begins here, at this pitch, in this voice.
type Loose = HashMap<(i64, Midi, u16), Vec<usize>>;

/// Joins the tied notes among `notes`, which are sorted by start, and calls `lonely` with each note
/// whose tie has no other end.
pub(super) fn join(notes: &mut [Placed], voices: u16, mut lonely: impl FnMut(&Placed)) {
    let mut loose: Loose = HashMap::new();
    let mut from = 0;
    let mut tied: Vec<(usize, usize)> = Vec::new();
    while from < notes.len() {
        let start = notes[from].start;
        let mut to = from;
        tied.clear();
        while to < notes.len() && notes[to].start == start {
            if notes[to].raw.tie_stop || notes[to].raw.tie_start {
                // A note that is joined to nothing is its own root.
                tied.push((to, to));
            }
            to += 1;
        }
        for any_voice in [false, true] {
            for (here, root) in tied.iter_mut() {
                let note = &notes[*here];
                if !note.raw.tie_stop || *root != *here {
                    continue;
                }
                let (midi, own) = (note.raw.pitch.midi(), note.raw.voice.0);
                let mut take = |voice: u16| loose.get_mut(&(start, midi, voice)).and_then(Vec::pop);
                let found = if any_voice { (0..voices).find_map(&mut take) } else { take(own) };
                if let Some(first) = found {
                    merge(notes, first, *here);
                    *root = first;
                }
            }
        }
        for (here, root) in &tied {
            let note = &notes[*here];
            if note.raw.tie_stop && root == here {
                lonely(note);
            }
            if note.raw.tie_start {
                let key = (note.end, note.raw.pitch.midi(), note.raw.voice.0);
                loose.entry(key).or_default().push(*root);
            }
        }
        from = to;
    }
    let mut left: Vec<usize> = loose.into_values().flatten().collect();
    left.sort_unstable();
    for root in left {
        lonely(&notes[root]);
    }
}

/// Makes `first` last to the end of `next`, which is gone then.
fn merge(notes: &mut [Placed], first: usize, next: usize) {
    let end = notes[next].end;
    let fermata = notes[next].raw.fermata;
    let slide = notes[next].raw.slide;
    let lyrics = std::mem::take(&mut notes[next].raw.lyrics);
    notes[next].gone = true;
    let root = &mut notes[first];
    root.end = end;
    root.raw.fermata |= fermata;
    root.raw.slide = root.raw.slide.or(slide);
    // A syllable under the continuation alone still belongs to the note.
    for lyric in lyrics {
        if root.raw.lyrics.iter().all(|l| l.verse != lyric.verse) {
            root.raw.lyrics.push(lyric);
        }
    }
}
