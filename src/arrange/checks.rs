//! The checks that run on every arrangement.
//!
//! They look at the finished parts only (exact times, sounding pitches, hands, setups) and share no
//! code with the generators but the documented limits ([`rack::reach`], [`sticking::NEIGHBOUR`]).

use std::collections::HashMap;

use super::{Check, PartPlan, Role, rack, sticking};
use crate::kit::{BarSet, Kit, Setup, SetupChange};
use crate::score::{Hand, Midi, Note, Part, Score, Slide, Time};

/// What is checked.
pub(super) struct Subject<'a> {
    pub(super) score: &'a Score,
    pub(super) plans: &'a [PartPlan],
    pub(super) kit: &'a Kit,
    pub(super) setups: &'a [Setup],
    pub(super) changes: &'a [SetupChange],
    /// The melody as it has to be there, octaves left open.
    pub(super) melody: &'a [Note],
}

/// Runs all checks.
pub(super) fn run(s: &Subject<'_>) -> Vec<Check> {
    let check = |name: &str, faults: Vec<String>, looked_at: String| Check {
        check: name.to_owned(),
        passed: faults.is_empty(),
        detail: if faults.is_empty() {
            looked_at
        } else {
            let more = faults.len().saturating_sub(5);
            let mut text = faults.into_iter().take(5).collect::<Vec<_>>().join("; ");
            if more > 0 {
                text.push_str(&format!("; and {more} more"));
            }
            text
        },
    };
    let notes: usize = s.score.parts.iter().map(|p| p.notes.len()).sum();
    let parts = s.score.parts.len();
    vec![
        check("every note has its bar in the setup", bars(s), format!("{notes} notes")),
        check("every note lies in its instrument's range", range(s), format!("{notes} notes")),
        check("hands", hands(s), format!("{parts} parts")),
        check("reach", reach(s), format!("{parts} parts")),
        check("strikes per minute", speed(s), format!("{} players", s.kit.players.len())),
        check("measures add up", measures(s), format!("{} measures", s.score.measures.len())),
        check("the melody is all there in order", melody(s), format!("{} notes", s.melody.len())),
        check("parts end together", ends(s), format!("{parts} parts")),
        check("nobody plays two parts at once", overlaps(s), format!("{parts} parts")),
    ]
}

fn each<'a>(s: &'a Subject<'_>) -> impl Iterator<Item = (&'a PartPlan, &'a Part)> {
    s.plans.iter().filter_map(|plan| Some((plan, s.score.parts.get(plan.part)?)))
}

fn place(s: &Subject<'_>, part: &Part, at: Time) -> String {
    let number = s.score.measure_at(at).map_or("?", |m| &m.number);
    format!("{} in measure {number}", part.id)
}

fn bars(s: &Subject<'_>) -> Vec<String> {
    let mut faults = Vec::new();
    for (plan, part) in each(s) {
        let Some(instrument) = plan.instrument else { continue };
        let mut stages: Vec<(Time, BarSet)> = s
            .setups
            .iter()
            .filter(|x| x.instrument == instrument)
            .map(|x| (Time::ZERO, x.bars(s.kit)))
            .collect();
        if stages.len() != 1 {
            faults.push(format!("{} has {} setups", part.id, stages.len()));
            continue;
        }
        stages.extend(
            s.changes
                .iter()
                .filter(|c| c.setup.instrument == instrument)
                .map(|c| (c.at, c.setup.bars(s.kit))),
        );
        for note in &part.notes {
            let there = stages
                .iter()
                .rfind(|(at, _)| *at <= note.onset)
                .is_some_and(|(_, set)| set.contains(note.midi()));
            if !there {
                faults.push(format!("{}: no bar for {}", place(s, part, note.onset), note.pitch));
            }
        }
    }
    faults
}

fn range(s: &Subject<'_>) -> Vec<String> {
    let mut faults = Vec::new();
    for (plan, part) in each(s) {
        let Some(instrument) = plan.instrument.and_then(|i| s.kit.instruments.get(i)) else {
            continue;
        };
        let all = instrument.bars();
        let (Some(low), Some(high)) = (all.lowest(), all.highest()) else {
            faults.push(format!("{} has no bars", part.id));
            continue;
        };
        for note in &part.notes {
            if !(low..=high).contains(&note.midi()) {
                faults.push(format!("{}: {} is outside", place(s, part, note.onset), note.pitch));
            }
        }
    }
    faults
}

/// The notes of a part moment by moment.
fn moments(part: &Part) -> Vec<&[Note]> {
    part.notes.chunk_by(|a, b| a.onset == b.onset).collect()
}

fn slot(s: &Subject<'_>, plan: &PartPlan, midi: Midi) -> Option<i64> {
    let instrument = s.kit.instruments.get(plan.instrument?)?;
    rack::place(instrument, midi)
}

fn hands(s: &Subject<'_>) -> Vec<String> {
    let mut faults = Vec::new();
    for (plan, part) in each(s).filter(|(p, _)| p.instrument.is_some()) {
        let mallets = plan.player.and_then(|p| s.kit.players.get(p)).map_or(2, |p| p.mallets);
        let crossing = plan.pattern.starts_with("crossover");
        let mut before: Option<(&Note, i64)> = None;
        for moment in moments(part) {
            let at = || place(s, part, moment[0].onset);
            if moment.iter().any(|n| n.hand.is_none()) {
                faults.push(format!("{}: a note without a hand", at()));
            }
            if moment.len() > usize::from(mallets) {
                faults.push(format!("{}: {} bars at once", at(), moment.len()));
            }
            if let [low, high] = moment
                && (low.hand != Some(Hand::Left) || high.hand != Some(Hand::Right))
            {
                faults.push(format!("{}: the hands are crossed", at()));
            }
            let [one] = moment else {
                before = None;
                continue;
            };
            let Some(here) = slot(s, plan, one.midi()) else { continue };
            if one.slide.is_some() {
                before = None;
                continue;
            }
            if let Some((last, there)) = before
                && last.hand != one.hand
                && !crossing
            {
                let crossed = match one.hand {
                    Some(Hand::Right) => here < there - sticking::NEIGHBOUR,
                    _ => here > there + sticking::NEIGHBOUR,
                };
                if crossed {
                    faults.push(format!("{}: the hands cross", at()));
                }
            }
            before = Some((one, here));
        }
    }
    faults
}

fn reach(s: &Subject<'_>) -> Vec<String> {
    let mut faults = Vec::new();
    for (plan, part) in each(s) {
        let Some(instrument) = plan.instrument.and_then(|i| s.kit.instruments.get(i)) else {
            continue;
        };
        let most = rack::reach(instrument.like);
        for moment in moments(part).into_iter().filter(|m| m.len() > 1) {
            let places: Vec<i64> = moment.iter().filter_map(|n| slot(s, plan, n.midi())).collect();
            let spread = places.iter().max().zip(places.iter().min()).map_or(0, |(a, b)| a - b);
            if spread > most {
                faults.push(format!(
                    "{}: {spread} bar widths apart",
                    place(s, part, moment[0].onset)
                ));
            }
        }
    }
    faults
}

/// Seconds from the start to a moment, in score order.
fn clock(score: &Score, at: Time) -> f64 {
    let mut seconds = 0.0;
    for (i, tempo) in score.tempos.iter().enumerate() {
        let until = score.tempos.get(i + 1).map_or(at, |t| t.at.min(at));
        if until > tempo.at {
            seconds += (until - tempo.at).as_f64() * 60.0 / tempo.quarter_bpm;
        }
    }
    seconds
}

fn speed(s: &Subject<'_>) -> Vec<String> {
    let mut faults = Vec::new();
    for (plan, part) in each(s).filter(|(p, _)| p.instrument.is_some()) {
        let Some(player) = plan.player.and_then(|p| s.kit.players.get(p)) else { continue };
        let mut last: Option<(Time, f64)> = None;
        for note in &part.notes {
            if matches!(note.slide, Some(Slide::Through | Slide::Stop)) {
                continue;
            }
            if last.is_some_and(|(at, _)| at == note.onset) {
                continue;
            }
            let now = clock(s.score, note.onset);
            if let Some((_, before)) = last
                && (now - before) * player.strikes_per_minute < 60.0 * (1.0 - 1e-6)
            {
                faults.push(format!(
                    "{}: {:.0} strikes a minute",
                    place(s, part, note.onset),
                    60.0 / (now - before)
                ));
            }
            last = Some((note.onset, now));
        }
    }
    faults
}

fn measures(s: &Subject<'_>) -> Vec<String> {
    let mut faults = Vec::new();
    let mut at = Time::ZERO;
    for measure in &s.score.measures {
        if measure.start != at || !measure.duration.is_positive() {
            faults
                .push(format!("measure {} begins at {}, not {at}", measure.number, measure.start));
        }
        at = measure.end();
    }
    for part in &s.score.parts {
        for note in &part.notes {
            if note.end() > at || note.onset < Time::ZERO || !note.duration.is_positive() {
                faults.push(format!("{}: a note leaves the measures", place(s, part, note.onset)));
            }
        }
        // In one part a moment's notes are a chord or a single note; the next may not come before
        // they end, so that rests and notes fill each measure exactly.
        for pair in moments(part).windows(2) {
            let ends = pair[0].iter().map(Note::end).max().unwrap_or_default();
            let chord = pair[0].iter().all(|n| n.duration == pair[0][0].duration);
            if ends > pair[1][0].onset || !chord {
                faults.push(format!("{}: notes overlap", place(s, part, pair[0][0].onset)));
            }
        }
    }
    faults
}

fn melody(s: &Subject<'_>) -> Vec<String> {
    let sounding: Vec<(&PartPlan, &Part)> =
        each(s).filter(|(p, _)| matches!(p.role, Role::Voice | Role::Melody)).collect();
    if sounding.is_empty() {
        return Vec::new();
    }
    let mut at: HashMap<Time, Vec<&Note>> = HashMap::new();
    for (_, part) in &sounding {
        for note in &part.notes {
            at.entry(note.onset).or_default().push(note);
        }
    }
    let mut faults = Vec::new();
    for note in s.melody {
        let there = at.get(&note.onset).is_some_and(|list| {
            list.iter()
                .any(|n| n.pitch.class() == note.pitch.class() && n.duration == note.duration)
        });
        if !there {
            let number = s.score.measure_at(note.onset).map_or("?", |m| &m.number);
            faults.push(format!("{} in measure {number} is missing", note.pitch));
        }
    }
    // And nothing that isn't the melody's.
    for (_, part) in &sounding {
        for note in &part.notes {
            let own = s
                .melody
                .binary_search_by_key(&note.onset, |n| n.onset)
                .ok()
                .and_then(|i| s.melody.get(i));
            if own.is_none_or(|n| n.pitch.class() != note.pitch.class()) {
                faults.push(format!(
                    "{}: {} isn't the melody's",
                    place(s, part, note.onset),
                    note.pitch
                ));
            }
        }
    }
    faults
}

fn ends(s: &Subject<'_>) -> Vec<String> {
    let mut faults = Vec::new();
    // Parts that share an instrument by turns end as one.
    let mut groups: HashMap<(Role, Option<usize>), Time> = HashMap::new();
    let mut all = Time::ZERO;
    for (plan, part) in each(s) {
        let end = part.notes.iter().map(Note::end).max().unwrap_or_default();
        let slot = groups.entry((plan.role, plan.instrument)).or_default();
        *slot = (*slot).max(end);
        all = all.max(end);
    }
    let tune = s.melody.iter().map(Note::end).max().unwrap_or_default();
    for ((role, instrument), end) in groups {
        let wanted = match role {
            Role::Voice | Role::Melody => tune,
            Role::Drone | Role::Ostinato => all,
            // Colour comes and goes; it only may not go on after the others.
            Role::Colour => continue,
        };
        if end != wanted && !(role == Role::Melody && instrument.is_some() && several(s)) {
            faults.push(format!("a {} part ends at {end}, the others at {wanted}", role.name()));
        }
    }
    faults.sort();
    faults
}

/// Whether several instruments carry the melody by turns.
fn several(s: &Subject<'_>) -> bool {
    let mut carriers: Vec<usize> =
        s.plans.iter().filter(|p| p.role == Role::Melody).filter_map(|p| p.instrument).collect();
    carriers.sort_unstable();
    carriers.dedup();
    carriers.len() > 1
}

fn overlaps(s: &Subject<'_>) -> Vec<String> {
    let mut faults = Vec::new();
    for (i, (plan, part)) in each(s).enumerate() {
        for (other, second) in each(s).skip(i + 1) {
            let same_player = plan.player.is_some() && plan.player == other.player;
            let same_instrument = plan.instrument.is_some() && plan.instrument == other.instrument;
            if !same_player && !same_instrument {
                continue;
            }
            let clash = part
                .notes
                .iter()
                .find(|a| second.notes.iter().any(|b| a.onset < b.end() && b.onset < a.end()));
            if let Some(note) = clash {
                faults.push(format!("{} and {}", place(s, part, note.onset), second.id));
            }
        }
    }
    faults
}
