//! From drafts to the arranged score, its setups and its checks.

use super::build::{Built, Draft};
use super::request::{ArrangeError, ArrangeRequest};
use super::song::Song;
use super::{Arrangement, PartPlan, Role, checks, leader};
use crate::kit::{self, BarSet, Clear, FitOption, Instrument, Kit, Setup, SetupChange, State};
use crate::score::{Midi, Note, Part, Sound, Transposition, Words};

/// General MIDI Level 1 program for a sung part, counted from 0: Choir Aahs (53 counted from 1).
const CHOIR: u8 = 52;
/// MusicXML 4.0's standard sound for singers.
const SINGERS: &str = "voice.vocals";

/// Puts everything together.
pub(super) fn finish(
    song: Song,
    kit: &Kit,
    option: &FitOption,
    ask: &ArrangeRequest,
    built: Built,
) -> Result<Arrangement, ArrangeError> {
    let mut parts = Vec::with_capacity(built.drafts.len());
    let mut plans = Vec::with_capacity(built.drafts.len());
    let sung = built.drafts.iter().any(|d| d.role == Role::Voice);
    for draft in &built.drafts {
        let instrument = draft.instrument.and_then(|i| kit.instruments.get(i));
        let base = instrument.map_or("voice", |i| i.id.as_str());
        let count =
            built.drafts[..parts.len()].iter().filter(|d| d.instrument == draft.instrument).count();
        let id = if count == 0 { base.to_owned() } else { format!("{base}-{}", count + 1) };
        let plan = PartPlan {
            part: parts.len(),
            role: draft.role,
            instrument: draft.instrument,
            player: draft.player,
            pattern: draft.pattern.clone(),
            octave_shift: instrument.map_or(0, |i| i.octave_shift),
            changes: draft.changes.clone(),
        };
        parts.push(part(&song, draft, instrument, id, sung));
        plans.push(plan);
    }
    let (setups, setup_changes) = setups(&song, kit, option, &built.drafts)?;
    let mut score = song.score.clone();
    score.parts = parts;
    let found = checks::run(&checks::Subject {
        score: &score,
        plans: &plans,
        kit,
        setups: &setups,
        changes: &setup_changes,
        melody: &song.line,
    });
    let leader_note = leader::note(&song, kit, option, ask, &built, &plans, &found);
    Ok(Arrangement {
        score,
        parts: plans,
        key: option.key,
        transpose: option.transpose,
        setups,
        setup_changes,
        checks: found,
        leader_note,
        tempo: song.tempo,
    })
}

fn part(
    song: &Song,
    draft: &Draft,
    instrument: Option<&Instrument>,
    id: String,
    sung: bool,
) -> Part {
    let name = instrument.map_or_else(|| "Voice".to_owned(), |i| kit::capital(&i.name));
    let mut part = Part::new(id, name);
    part.sound = instrument.map_or_else(
        || Sound { program: Some(CHOIR), standard: Some(SINGERS.to_owned()) },
        Instrument::sound,
    );
    if let Some(octaves) = instrument.map(|i| i.octave_shift).filter(|o| *o != 0) {
        part.transpositions.push((
            crate::score::Time::ZERO,
            Transposition { octaves, ..Transposition::default() },
        ));
    }
    // The words stand under the sung line; under the melody where nobody sings.
    let with_lyrics = draft.role == Role::Voice || (draft.role == Role::Melody && !sung);
    part.notes = draft
        .strikes
        .iter()
        .map(|strike| {
            let mut note: Note = song.note(strike);
            if with_lyrics && let Some(source) = strike.line.and_then(|i| song.line.get(i)) {
                note.lyrics = source.lyrics.clone();
            }
            note
        })
        .collect();
    part.words = draft
        .words
        .iter()
        .map(|(at, text)| Words { at: song.time(*at), text: text.clone() })
        .collect();
    part.sort_notes();
    part
}

/// A setup for every instrument used, from all that it plays.
fn setups(
    song: &Song,
    kit: &Kit,
    option: &FitOption,
    drafts: &[Draft],
) -> Result<(Vec<Setup>, Vec<SetupChange>), ArrangeError> {
    let mut setups: Vec<Setup> = Vec::new();
    let mut changes: Vec<SetupChange> = Vec::new();
    let tune: BarSet = song.melody.iter().map(|n| n.midi).collect();
    for draft in drafts {
        let Some(instrument) = draft.instrument else { continue };
        if setups.iter().any(|s| s.instrument == instrument) {
            continue;
        }
        let sharing: Vec<&Draft> =
            drafts.iter().filter(|d| d.instrument == Some(instrument)).collect();
        let needed: BarSet = sharing.iter().flat_map(|d| &d.strikes).map(|s| s.midi).collect();
        let changing: Vec<SetupChange> = option
            .changes
            .iter()
            .filter(|c| c.setup.instrument == instrument && draft.role == Role::Melody)
            .map(|c| SetupChange { at: c.at + song.form.offset, ..c.clone() })
            .collect();
        let whole = kit.instruments.get(instrument).is_some_and(|i| i.holds(needed));
        let fits = option.setups.iter().find(|s| s.instrument == instrument);
        let mut setup = match fits {
            // The bars change while the song goes on: the fit's own setups say how.
            Some(setup) if !whole && !changing.is_empty() => {
                changes.extend(changing);
                setup.clone()
            }
            _ => {
                // Bars of other notes come off; root and fifth stay at every octave, so that a
                // drone is right wherever the mallet lands (handbook: C G C G on a bass).
                let fill = draft.role == Role::Colour;
                let wider = if draft.role == Role::Melody { tune } else { needed };
                Setup::within(kit, instrument, needed, wider, Clear::Foreign, fill).map_err(
                    |no| {
                        let id = kit.instruments.get(instrument).map_or("", |i| &i.id);
                        ArrangeError::MissingBars(format!(
                            "{} on {id}",
                            no.0.iter()
                                .map(|m| song.spelled(*m).to_string())
                                .collect::<Vec<_>>()
                                .join(", ")
                        ))
                    },
                )?
            }
        };
        if draft.role == Role::Colour {
            only_under_slides(kit, &mut setup, needed);
        }
        if let Some(player) = draft.player.and_then(|p| kit.players.get(p)) {
            setup = setup.for_player(kit, player);
        }
        setups.push(setup);
    }
    setups.sort_by_key(|s| s.instrument);
    Ok((setups, changes))
}

/// Fillers only where a slide passes over the gap.
fn only_under_slides(kit: &Kit, setup: &mut Setup, struck: BarSet) {
    let (Some(low), Some(high)) = (struck.lowest(), struck.highest()) else { return };
    let Some(instrument) = kit.instruments.get(setup.instrument) else { return };
    for (slot, state) in instrument.slots.iter().zip(&mut setup.states) {
        let inside: bool = (low..=high).contains(&Midi::new(slot.bar.0.number()));
        if *state == State::Fill && !inside {
            *state = State::Remove;
        }
    }
}
