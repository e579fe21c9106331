//! A part's voices cut into lanes in which nothing overlaps, as notation needs them.
//!
//! The model lets notes of one voice overlap (chords with differing lengths, held notes). A MusicXML
//! voice is one chain of chords, so what overlaps moves to a lane of its own with a voice number that
//! the part doesn't use yet. A lane runs through the whole part: the halves of a note that is tied
//! over a bar line always stand in the same voice.

use std::collections::BTreeSet;

use crate::score::{Note, Part, Time};

/// Notes struck and released together: one chord of one lane.
pub(super) struct Group {
    /// Where they begin.
    pub(super) start: Time,
    /// Where they end.
    pub(super) end: Time,
    /// Indices into the part's notes, low to high.
    pub(super) notes: Vec<usize>,
    /// The tuplet that the source showed.
    pub(super) tuplet: Option<(u16, u16)>,
}

/// One chain of chords, written as one MusicXML voice.
pub(super) struct Lane {
    /// The voice's number or name in the file.
    pub(super) name: String,
    /// The staff on which its rests stand.
    pub(super) staff: u8,
    /// Whether it is written in every measure and shows its rests.
    pub(super) leads: bool,
    /// The chords in order of time, none overlapping the next.
    pub(super) groups: Vec<Group>,
    /// Grace notes in order of time: indices into the part's notes.
    pub(super) graces: Vec<usize>,
}

impl Lane {
    fn end(&self) -> Time {
        self.groups.last().map_or(Time::ZERO, |g| g.end)
    }

    fn starts_at(&self, at: Time) -> bool {
        self.groups.binary_search_by(|g| g.start.cmp(&at)).is_ok()
    }

    fn sounds_across(&self, at: Time) -> bool {
        let next = self.groups.partition_point(|g| g.start < at);
        next.checked_sub(1).and_then(|i| self.groups.get(i)).is_some_and(|g| g.end > at)
    }

    fn count_on(&self, staff: u8, notes: &[Note]) -> usize {
        let first = |g: &Group| g.notes.first().and_then(|i| notes.get(*i)).map(|n| n.staff);
        self.groups.iter().filter(|g| first(g) == Some(staff)).count()
    }
}

/// Whether a note is written as a grace note: it takes no time.
pub(super) fn is_grace(note: &Note) -> bool {
    note.grace || !note.duration.is_positive()
}

/// Cuts a part into lanes; at least one for each staff.
pub(super) fn lanes(part: &Part) -> Vec<Lane> {
    let staves = staves(part);
    // One list of lanes for each voice, so that a voice's first lane keeps its name.
    let mut voices: Vec<Vec<Lane>> = Vec::new();
    let mut order: Vec<usize> = (0..part.notes.len()).collect();
    order.sort_by_key(|i| part.notes[*i].onset);
    let mut at = 0;
    while at < order.len() {
        let onset = part.notes[order[at]].onset;
        let mut after = at;
        while after < order.len() && part.notes[order[after]].onset == onset {
            after += 1;
        }
        for (voice, group) in chords(part, &order[at..after]) {
            let lane = free_lane(&mut voices, voice, |lane| lane.end() <= group.start);
            lane.groups.push(group);
        }
        at = after;
    }
    for i in &order {
        let note = &part.notes[*i];
        if is_grace(note) {
            let voice = usize::from(note.voice.0);
            let adorns = voices
                .get(voice)
                .and_then(|lanes| lanes.iter().position(|lane| lane.starts_at(note.onset)));
            match adorns {
                Some(lane) => voices[voice][lane].graces.push(*i),
                None => free_lane(&mut voices, voice, |lane| !lane.sounds_across(note.onset))
                    .graces
                    .push(*i),
            }
        }
    }
    named(part, staves, voices)
}

/// The number of staves that a part is written on.
pub(super) fn staves(part: &Part) -> u8 {
    part.notes.iter().map(|n| n.staff).max().unwrap_or(1).max(part.staves).max(1)
}

/// The chords among notes that begin together, with their voices, in the order of the notes.
fn chords(part: &Part, together: &[usize]) -> Vec<(usize, Group)> {
    let mut found: Vec<(usize, Group)> = Vec::new();
    for i in together {
        let note = &part.notes[*i];
        if is_grace(note) {
            continue;
        }
        let voice = usize::from(note.voice.0);
        let fits = |(v, group): &(usize, Group)| {
            *v == voice
                && group.end == note.end()
                && group.tuplet == note.tuplet
                && group.notes.iter().all(|other| {
                    let other = &part.notes[*other];
                    // A unison in one chord can't be told apart by readers.
                    other.staff == note.staff && other.midi() != note.midi()
                })
        };
        match found.iter_mut().find(|row| fits(row)) {
            Some((_, group)) => group.notes.push(*i),
            None => found.push((
                voice,
                Group { start: note.onset, end: note.end(), notes: vec![*i], tuplet: note.tuplet },
            )),
        }
    }
    for (_, group) in &mut found {
        group.notes.sort_by_key(|i| part.notes[*i].midi());
    }
    found
}

/// The first lane of a voice that is free, or a new one.
fn free_lane(voices: &mut Vec<Vec<Lane>>, voice: usize, free: impl Fn(&Lane) -> bool) -> &mut Lane {
    if voices.len() <= voice {
        voices.resize_with(voice + 1, Vec::new);
    }
    let lanes = &mut voices[voice];
    let index = lanes.iter().position(free).unwrap_or_else(|| {
        lanes.push(Lane {
            name: String::new(),
            staff: 1,
            leads: false,
            groups: Vec::new(),
            graces: Vec::new(),
        });
        lanes.len() - 1
    });
    &mut lanes[index]
}

/// Gives the lanes their names and staves; the first one on each staff leads it.
fn named(part: &Part, staves: u8, voices: Vec<Vec<Lane>>) -> Vec<Lane> {
    let mut taken: BTreeSet<String> = BTreeSet::new();
    for (voice, lanes) in voices.iter().enumerate() {
        if !lanes.is_empty()
            && let Some(name) = part.voices.get(voice)
        {
            taken.insert(name.trim().to_owned());
        }
    }
    let mut used: BTreeSet<String> = BTreeSet::new();
    let mut next = 1u32;
    let mut fresh = |used: &mut BTreeSet<String>| loop {
        let name = next.to_string();
        next += 1;
        if !taken.contains(&name) && used.insert(name.clone()) {
            return name;
        }
    };
    let mut all: Vec<Lane> = Vec::new();
    for (voice, lanes) in voices.into_iter().enumerate() {
        for (nth, mut lane) in lanes.into_iter().enumerate() {
            let own = part.voices.get(voice).map(|name| name.trim().to_owned());
            lane.name = match own {
                Some(name) if nth == 0 && !name.is_empty() && used.insert(name.clone()) => name,
                _ => fresh(&mut used),
            };
            lane.staff = (1..=staves)
                .rev()
                .max_by_key(|staff| lane.count_on(*staff, &part.notes))
                .unwrap_or(1);
            all.push(lane);
        }
    }
    for staff in 1..=staves {
        match all.iter_mut().find(|lane| lane.staff == staff) {
            Some(lane) => lane.leads = true,
            None => all.push(Lane {
                name: fresh(&mut used),
                staff,
                leads: true,
                groups: Vec::new(),
                graces: Vec::new(),
            }),
        }
    }
    // The lane that stands first in every measure carries the signs of the measure.
    all.sort_by_key(|lane| !lane.leads);
    all
}
