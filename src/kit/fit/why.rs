//! One line of why one would take an option.

use super::FitOption;
use super::search::{Candidate, Plan};
use crate::kit::people::Kit;
use crate::score::Key;

/// `Up 2 semitones to D major on the alto xylophone 1: 1 bar put in, within the singing range`.
pub(super) fn why(kit: &Kit, candidate: &Candidate, option: &FitOption) -> String {
    let terms = &candidate.terms;
    let key = moved_to(candidate.t, option.key);
    let named = |i: usize| kit.instruments.get(i).map_or("", |at| at.name.as_str());
    let who = match &candidate.plan {
        Plan::Single { rack, .. } | Plan::Switched { rack, .. } | Plan::Kept { rack, .. } => {
            format!("on the {}", named(*rack))
        }
        Plan::Shared { racks, turns, .. } => format!(
            "shared by the {} and the {} ({})",
            named(racks.0),
            named(racks.1),
            counted(turns.len().saturating_sub(1), "hand-over")
        ),
        Plan::Nobody => "with nobody to carry it: no instrument of the kit may".to_owned(),
    };
    let mut points = Vec::new();
    if !option.missing.is_empty() {
        let names: Vec<String> = option.missing.iter().map(ToString::to_string).collect();
        points.push(format!("no bar for {}", names.join(", ")));
    }
    match (terms.swapped, terms.off) {
        (0, 0) => points.push("no bar to move".to_owned()),
        (0, off) => points.push(format!("{} taken off, none put in", counted(off, "bar"))),
        (put_in, 0) => points.push(format!("{} put in", counted(put_in, "spare bar"))),
        (put_in, off) => points.push(format!(
            "{} put in, {} taken off",
            counted(put_in, "spare bar"),
            counted(off, "bar")
        )),
    }
    if terms.moved_inside > 0 {
        points.push(format!(
            "{} moved during the song, at {}",
            counted(terms.moved_inside, "bar"),
            counted(option.changes.len(), "phrase end")
        ));
    }
    if !option.changed.is_empty() {
        points.push(format!("{} changed", counted(option.changed.len(), "note")));
    }
    points.push(match terms.singing {
        0 => "within the singing range".to_owned(),
        n => format!("{} beyond the singing range", counted(n, "semitone")),
    });
    format!("{key}, {who}: {}", points.join(", "))
}

/// `Up 2 semitones to D major`.
pub(super) fn moved_to(semitones: i16, key: Key) -> String {
    match semitones {
        0 => format!("In its own key, {key}"),
        12 => format!("An octave up in {key}"),
        -12 => format!("An octave down in {key}"),
        n => format!(
            "{} {} to {key}",
            if n > 0 { "Up" } else { "Down" },
            counted(usize::from(n.unsigned_abs()), "semitone"),
        ),
    }
}

/// `1 bar`, `3 bars`.
pub(crate) fn counted(n: usize, what: &str) -> String {
    format!("{n} {what}{}", if n == 1 { "" } else { "s" })
}
