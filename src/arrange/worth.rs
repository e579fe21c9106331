//! What each instrument is worth in each role, and what each role costs a player.

use super::Role;
use super::assign::Problem;
use super::colour::Room;
use super::drone;
use super::limits::{self, Limits};
use super::melody;
use super::rack::Rack;
use super::request::{ArrangeError, ArrangeRequest};
use super::song::Song;
use crate::kit::{Kind, Kit, Player, Reads};

/// What a kind is worth as melody doubling, drone, ostinato and colour. The order within a column is
/// the trade's (handbook, "Parts": drones on bass or alto instruments, low; melodies on alto and
/// soprano xylophones and glockenspiels; colour on glockenspiels and metallophones); the numbers are
/// ours. 0: only where nothing else is there.
fn table(kind: Kind) -> [i64; 4] {
    match kind {
        Kind::BassXylophone => [2, 30, 14, 0],
        Kind::BassMetallophone => [2, 28, 8, 0],
        Kind::ContrabassBars => [0, 27, 1, 0],
        Kind::ToneBars => [0, 22, 6, 0],
        Kind::AltoXylophone => [14, 12, 24, 4],
        Kind::AltoMetallophone => [10, 14, 16, 13],
        Kind::SopranoXylophone => [20, 3, 18, 8],
        Kind::SopranoMetallophone => [14, 4, 12, 20],
        Kind::AltoGlockenspiel => [18, 6, 6, 24],
        Kind::SopranoGlockenspiel => [14, 0, 4, 26],
        Kind::Custom => [6, 6, 6, 2],
    }
}

/// What a role costs a player: little for one it suits.
fn effort(player: &Player, keeps_up: bool) -> [i64; 5] {
    let slow = i64::from(player.strikes_per_minute < 80.0);
    let one = i64::from(player.mallets < 2);
    let by_ear = i64::from(player.reads == Reads::Ear);
    let too_fast = i64::from(!keeps_up);
    [0, 60 * too_fast + 8 * one + 4 * by_ear, 3 * one, 10 * slow + 5 * one + 2 * by_ear, 2 * slow]
}

/// The assignment problem of a song.
///
/// # Errors
/// What the leader asks for can't be: an unknown instrument or player, one that may not play it, a
/// role that the instrument can't play, or the same asked for twice.
pub(super) fn problem(
    song: &Song,
    kit: &Kit,
    racks: &[Rack],
    carriers: &[usize],
    rooms: &[Room],
    ask: &ArrangeRequest,
) -> Result<Problem, ArrangeError> {
    let out = |role: Role| ask.without.contains(&role) || (role == Role::Drone && ask.no_drone);
    let share = if song.phrases.is_empty() { 0 } else { rooms.len() * 10 / song.phrases.len() };
    let worth: Vec<[Option<i64>; 5]> = kit
        .instruments
        .iter()
        .zip(racks)
        .map(|(instrument, rack)| {
            let [melody, drone, ostinato, colour] = table(instrument.like);
            let can_double =
                melody::shift_for(song, instrument).is_some() && instrument.melody_cost().is_some();
            [
                None,
                (!out(Role::Melody) && can_double).then_some(melody),
                (!out(Role::Drone) && drone::can_hold(rack, song)).then_some(drone),
                (!out(Role::Ostinato) && rack.bars.len() >= 2).then_some(ostinato),
                (!out(Role::Colour) && !rooms.is_empty() && rack.bars.len() >= 4)
                    .then_some(colour * share.min(10) as i64 / 10),
            ]
        })
        .collect();
    let tune = melody::whole(song, 0);
    let mut problem = Problem {
        settled: vec![None; kit.instruments.len()],
        may: kit
            .players
            .iter()
            .map(|p| kit.instruments.iter().map(|i| p.may_play(i)).collect())
            .collect(),
        effort: kit
            .players
            .iter()
            .map(|p| {
                let limits = Limits::of(Some(p), ask.level);
                effort(p, limits::in_time(song, &tune, limits.gap))
            })
            .collect(),
        asked: vec![None; kit.players.len()],
        turns: true,
        by_player: false,
        worth,
    };
    if !out(Role::Melody) {
        for carrier in carriers {
            if let Some(settled) = problem.settled.get_mut(*carrier) {
                *settled = Some(Role::Melody);
            }
        }
    }
    leaders_asks(&mut problem, song, kit, racks, rooms, ask)?;
    Ok(problem)
}

/// Settles what `--with` asks for.
fn leaders_asks(
    problem: &mut Problem,
    song: &Song,
    kit: &Kit,
    racks: &[Rack],
    rooms: &[Room],
    ask: &ArrangeRequest,
) -> Result<(), ArrangeError> {
    let mut given: Vec<usize> = Vec::new();
    let melody_asked = ask.with.iter().any(|w| w.role == Role::Melody);
    if melody_asked {
        // The leader's melody instrument takes over from the fit's.
        problem.settled.iter_mut().for_each(|s| *s = None);
    }
    for with in &ask.with {
        let i =
            kit.instrument(&with.instrument).ok_or_else(|| ArrangeError::UnknownInstrument {
                asked: with.instrument.clone(),
                known: kit.instruments.iter().map(|i| i.id.as_str()).collect::<Vec<_>>().join(", "),
            })?;
        if given.contains(&i) {
            return Err(ArrangeError::AskedTwice(with.instrument.clone()));
        }
        given.push(i);
        let cant = |why: &str| ArrangeError::CantPlay {
            instrument: with.instrument.clone(),
            role: with.role.name(),
            why: why.to_owned(),
        };
        let (Some(instrument), Some(rack)) = (kit.instruments.get(i), racks.get(i)) else {
            continue;
        };
        match with.role {
            Role::Voice => return Err(cant("the voice is sung")),
            Role::Melody if melody::shift_for(song, instrument).is_none() => {
                return Err(cant("not all of its notes have a bar in this key; try another key"));
            }
            Role::Drone if !drone::can_hold(rack, song) => {
                return Err(cant("the root and fifth of the key have no bars"));
            }
            Role::Ostinato if rack.bars.is_empty() => {
                return Err(cant("none of its bars belongs to the key"));
            }
            Role::Colour if rooms.is_empty() || rack.bars.len() < 4 => {
                return Err(cant(
                    "there is no rest or long note with room for it, or too few bars",
                ));
            }
            _ => {}
        }
        if let Some(settled) = problem.settled.get_mut(i) {
            *settled = Some(with.role);
        }
        if let Some(name) = &with.player {
            let p = kit.players.iter().position(|p| p.name == *name).ok_or_else(|| {
                ArrangeError::UnknownPlayer {
                    asked: name.clone(),
                    known: if kit.players.is_empty() {
                        "it names no players".to_owned()
                    } else {
                        let names: Vec<&str> =
                            kit.players.iter().map(|p| p.name.as_str()).collect();
                        format!("its players are {}", names.join(", "))
                    },
                }
            })?;
            if kit.players.get(p).is_some_and(|p| !p.may_play(instrument)) {
                return Err(ArrangeError::NotAllowed {
                    player: name.clone(),
                    instrument: with.instrument.clone(),
                });
            }
            match problem.asked.get_mut(p) {
                Some(Some(_)) => return Err(ArrangeError::AskedTwice(name.clone())),
                Some(slot) => *slot = Some(i),
                None => {}
            }
        }
    }
    Ok(())
}
