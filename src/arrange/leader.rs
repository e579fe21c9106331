//! The note for the leader.

use super::build::Built;
use super::request::ArrangeRequest;
use super::song::Song;
use super::{Check, PartPlan, Role, colour};
use crate::kit::{FitOption, Kit};
use crate::score::Time;

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
    } else if why.contains(&option.key.to_string()) {
        // "Down 2 semitones to D minor, on the ...": it names the key itself.
        format!("Key: {}.", lower_first(why))
    } else {
        format!("Key: {} ({why}).", option.key)
    });
    let (unit, name) = beat(song);
    let beats = |quarters: f64| (quarters / unit).round();
    said.push(match built.slowed_from {
        Some(before) => format!(
            "Tempo: {:.0} {name} a minute instead of the song's {:.0}, so that whoever plays the melody \
             can keep up.",
            beats(song.tempo),
            beats(before)
        ),
        None => format!(
            "Tempo: {:.0} {name} a minute ({}).",
            beats(song.tempo),
            if song.tempo_suggested { "suggested; the song names none" } else { "the song's" }
        ),
    });
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
        let played = plans.iter().any(|p| p.role == Role::Colour);
        said.extend(colour::word_in_words(song, word, played));
    }
    for check in checks.iter().filter(|c| !c.passed) {
        said.push(format!(
            "A check failed, look at it before you use the parts: {} ({}).",
            check.check, check.detail
        ));
    }
    said
}

/// The beat that is counted, in quarters, and its name: of the first meter; the unit where its beats
/// differ in length.
fn beat(song: &Song) -> (f64, &'static str) {
    let Some(meter) = song.score.measures.first().map(|m| m.meter) else {
        return (1.0, "quarters");
    };
    let beat = if meter.is_odd() { meter.unit() } else { meter.beat() };
    let names = [
        (Time::new(1, 2), "eighths"),
        (Time::new(3, 4), "dotted eighths"),
        (Time::new(3, 2), "dotted quarters"),
        (Time::quarters(2), "halves"),
        (Time::quarters(3), "dotted halves"),
    ];
    names
        .into_iter()
        .find(|(length, _)| *length == beat)
        .map_or((1.0, "quarters"), |(length, name)| (length.as_f64(), name))
}

fn lower_first(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}
