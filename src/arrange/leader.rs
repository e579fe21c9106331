//! The note for the leader.

use super::build::Built;
use super::request::ArrangeRequest;
use super::song::Song;
use super::{Check, PartPlan, Role};
use crate::kit::{FitOption, Kit};

/// Most measure numbers that a sentence lists.
const MOST_NAMED: usize = 8;

/// Why this key, who has what, where it is delicate, what was thinned or changed, and the tempo.
pub(super) fn note(
    song: &Song,
    kit: &Kit,
    option: &FitOption,
    ask: &ArrangeRequest,
    built: &Built,
    plans: &[PartPlan],
    checks: &[Check],
) -> Vec<String> {
    let mut said = Vec::new();
    let why = option.why.trim().trim_end_matches('.');
    said.push(if why.is_empty() {
        format!("Key: {}.", option.key)
    } else {
        format!("Key: {} ({why}).", option.key)
    });
    let from = if song.tempo_suggested { "suggested; the song names none" } else { "the song's" };
    let slowed = built.remarks.iter().any(|r| r.starts_with("The tempo is"));
    said.push(format!(
        "Tempo: {:.0} quarter notes a minute ({}).",
        song.tempo,
        if slowed { "slowed for the players" } else { from }
    ));
    for role in Role::ALL {
        let who: Vec<String> = plans
            .iter()
            .filter(|p| p.role == role)
            .map(|p| {
                let instrument = p
                    .instrument
                    .and_then(|i| kit.instruments.get(i))
                    .map_or("all who sing", |i| i.name.as_str());
                let player = p.player.and_then(|p| kit.players.get(p));
                let place = match (p.instrument, player) {
                    (None, Some(player)) => player.name.clone(),
                    (_, Some(player)) => format!("{} on {instrument}", player.name),
                    _ => instrument.to_owned(),
                };
                if matches!(role, Role::Drone | Role::Ostinato) && !p.pattern.is_empty() {
                    format!("{place} ({})", p.pattern)
                } else {
                    place
                }
            })
            .collect();
        if !who.is_empty() {
            let mut name = role.name().to_owned();
            name[..1].make_ascii_uppercase();
            said.push(format!("{name}: {}.", who.join(", ")));
        }
    }
    for plan in plans.iter().filter(|p| !p.changes.is_empty()) {
        let id = plan
            .instrument
            .and_then(|i| kit.instruments.get(i))
            .map_or("Voice", |i| i.name.as_str());
        said.push(format!("{id}, {}: {}.", plan.role.name(), plan.changes.join("; ")));
    }
    said.extend(built.remarks.iter().cloned());
    let mut delicate: Vec<&str> =
        built.delicate.iter().map(|at| song.measure_number(*at)).collect();
    delicate.dedup();
    if !delicate.is_empty() {
        let more = delicate.len().saturating_sub(MOST_NAMED);
        let list = delicate.iter().take(MOST_NAMED).copied().collect::<Vec<_>>().join(", ");
        let rest = if more > 0 { format!(" and {more} more") } else { String::new() };
        said.push(format!(
            "Delicate: the drone rubs against the melody in measures {list}{rest}; play it softly \
             there, or leave it out."
        ));
    }
    if let Some(word) = &ask.colour_word {
        let any = plans.iter().any(|p| p.role == Role::Colour);
        if !any {
            said.push(format!("There was no room for colour on the word {word}."));
        }
    }
    for check in checks.iter().filter(|c| !c.passed) {
        said.push(format!(
            "A check failed, look at it before you use the parts: {} ({}).",
            check.check, check.detail
        ));
    }
    said
}
