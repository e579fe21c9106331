//! The usual cautions (handbook, "Care and cautions"; common practice, no single source).

use super::bar::Instrument;
use super::catalogue::{Kind, Material, Size};
use super::people::Position;
use super::setup::State;

/// Cautions for every sheet, whatever the instruments.
pub const GENERAL_CAUTIONS: [&str; 2] = [
    "Clean mallets and bars between users as the facility's infection-control policy says.",
    "What a client or pupil may safely do is for the licensed therapist, teacher or care team and \
     the local rules to decide: this sheet proposes.",
];

/// The cautions that apply to an instrument set up like this, for a player placed like this
/// (`None`: not known yet), in plain sentences, most pressing first.
pub fn cautions(
    instrument: &Instrument,
    states: &[State],
    position: Option<Position>,
) -> Vec<String> {
    let mut said = Vec::new();
    let mut say = |text: &str| said.push(text.to_owned());
    let size = instrument.size();
    let off = instrument
        .slots
        .iter()
        .zip(states)
        .any(|(slot, state)| *state != State::Keep && !slot.loose && !slot.lost);
    let laid = matches!(position, Some(Position::Bed | Position::Wheelchair));
    if size == Size::Small || (size == Size::Middle && laid) {
        say(
            "Tips and drops bars on a lap, a bed or a slope: secure the bars (a band over the pegs, \
             a non-slip mat, a helper) and the instrument.",
        );
    }
    if size == Size::Small || off || instrument.slots.iter().any(|s| s.loose) {
        say(
            "Loose bars and small parts are a choking hazard for small children and for people who \
             mouth objects: keep bars and fillers that are off out of reach.",
        );
    }
    if size == Size::Large {
        say("Heavy: carry it with two people or on a trolley.");
    }
    if off {
        say(
            "Lift a bar from the end that is on the pegs or has the hole; never lever or pull it. \
             Carry the spare-bar box upright.",
        );
    }
    match position {
        Some(Position::Seated | Position::Standing) => {
            say("Playing height: about waist high or a little lower.");
        }
        Some(Position::Wheelchair) => {
            say(
                "Playing height: about waist high or a little lower, with clearance below for the \
                 wheelchair.",
            );
        }
        Some(Position::Bed) if size == Size::Large => {
            say("Stands beside the bed, on its own stand, never on it.");
        }
        _ => {}
    }
    if instrument.like.material() == Material::Metal && instrument.like != Kind::Custom {
        say(
            "Metal bars in a small room are loud and piercing: mind hearing, sound sensitivity and \
             hearing aids.",
        );
    }
    said
}
