//! From the assignment to the finished parts.

use super::assign::{self, Seat};
use super::colour::{self, Room};
use super::grind::Sounding;
use super::limits::{self, Limits};
use super::rack::{RING_SECONDS, Rack};
use super::request::{ArrangeError, ArrangeRequest, Level};
use super::song::{Song, Strike, Tick};
use super::{DronePattern, Role, drone, melody, ostinato, sticking, worth};
use crate::kit::{FitOption, Kit, Size};
use crate::score::{Midi, PitchClass, Slide};

/// A part while it is being made.
#[derive(Clone, Debug)]
pub(super) struct Draft {
    pub(super) role: Role,
    pub(super) instrument: Option<usize>,
    pub(super) player: Option<usize>,
    pub(super) pattern: String,
    pub(super) strikes: Vec<Strike>,
    pub(super) changes: Vec<String>,
    pub(super) words: Vec<(Tick, String)>,
    pub(super) crossing: bool,
}

impl Draft {
    fn new(role: Role, instrument: Option<usize>, player: Option<usize>) -> Draft {
        Draft {
            role,
            instrument,
            player,
            pattern: String::new(),
            strikes: Vec::new(),
            changes: Vec::new(),
            words: Vec::new(),
            crossing: false,
        }
    }
}

/// All parts, and what the leader should know.
#[derive(Clone, Debug, Default)]
pub(super) struct Built {
    pub(super) drafts: Vec<Draft>,
    pub(super) remarks: Vec<String>,
    /// The song's own tempo in quarter notes a minute, where it was slowed.
    pub(super) slowed_from: Option<f64>,
    /// Strong beats on which a drone still grinds.
    pub(super) delicate: Vec<Tick>,
}

/// A song is slowed to no less than this share of its own tempo before the melody is thinned instead:
/// everybody sings and plays at the tempo of the slowest melody player (common practice, no source).
const SLOWEST: f64 = 0.75;

/// Where some notes would be too quick even so, slowing is worth it if it mends one in so many.
const FEW: usize = 10;

/// An instrument with its players: one, or two who take turns.
#[derive(Clone, Copy, Debug)]
struct Chair {
    role: Role,
    instrument: usize,
    first: bool,
    players: [Option<usize>; 2],
}

struct Builder<'a> {
    song: &'a Song,
    kit: &'a Kit,
    racks: &'a [Rack],
    rooms: &'a [Room],
    ask: &'a ArrangeRequest,
}

/// Makes all parts. The song is slowed where its melody's player needs it.
pub(super) fn build(
    song: &mut Song,
    kit: &Kit,
    option: &FitOption,
    ask: &ArrangeRequest,
) -> Result<Built, ArrangeError> {
    let racks: Vec<Rack> = kit.instruments.iter().map(|i| Rack::new(i, song.key)).collect();
    let rooms = colour::rooms(song, ask.level, ask.colour_word.as_deref());
    let carried = carried(song, kit, option, ask)?;
    let carriers: Vec<usize> = carried.iter().map(|c| c.instrument).collect();
    let problem = worth::problem(song, kit, &racks, &carriers, &rooms, ask)?;
    let (seats, _) = assign::solve(&problem);
    let seats = if kit.players.is_empty() { sensible(seats, ask.level) } else { seats };
    let chairs = chairs(&seats);

    let mut built = Built::default();
    slow_down(song, kit, &chairs, &carried, &mut built);
    let builder = Builder { song, kit, racks: &racks, rooms: &rooms, ask };
    let mut drafts = Vec::new();
    builder.melodies(&chairs, &carried, &mut drafts);
    let melody_whole = covers(song, &drafts);
    builder.voice(option, melody_whole, &seats, &mut drafts, &mut built);
    builder.accompany(&chairs, &mut drafts, &mut built);
    // Whoever is left without a stroke (a single slide between two players) sings.
    for draft in drafts.iter_mut().filter(|d| d.strikes.is_empty() && d.player.is_some()) {
        let player = draft.player;
        *draft = Draft::new(Role::Voice, None, player);
        draft.pattern = "sung".to_owned();
        draft.strikes = melody::whole(song, melody::sung_shift(song, option));
        draft.changes.push("sings, for the instrument has too little to share".to_owned());
    }
    drafts.retain(|d| !d.strikes.is_empty());
    drafts.sort_by_key(|d| d.role);
    for draft in &mut drafts {
        builder.finish(draft);
    }
    built.drafts = drafts;
    built.remarks.extend(song.form.remarks.iter().cloned());
    Ok(built)
}

/// The melody's stretches by instrument: the fit's, or the instrument that the leader asks for.
fn carried(
    song: &Song,
    kit: &Kit,
    option: &FitOption,
    ask: &ArrangeRequest,
) -> Result<Vec<melody::Carried>, ArrangeError> {
    let asked: Vec<usize> = ask
        .with
        .iter()
        .filter(|w| w.role == Role::Melody)
        .filter_map(|w| kit.instrument(&w.instrument))
        .collect();
    if !asked.is_empty() {
        return Ok(asked
            .into_iter()
            .filter_map(|i| {
                let shift = melody::shift_for(song, kit.instruments.get(i)?)?;
                Some(melody::Carried { instrument: i, strikes: melody::whole(song, shift) })
            })
            .collect());
    }
    if ask.without.contains(&Role::Melody) {
        return Ok(Vec::new());
    }
    if let Some(stray) = option.carriers.iter().find(|c| c.instrument >= kit.instruments.len()) {
        return Err(ArrangeError::Mismatch(format!("instrument number {}", stray.instrument + 1)));
    }
    let carried = melody::carried(song, option);
    for part in &carried {
        let Some(instrument) = kit.instruments.get(part.instrument) else { continue };
        if let Some(strike) = part.strikes.iter().find(|s| !instrument.bars().contains(s.midi)) {
            return Err(ArrangeError::MissingBars(format!(
                "{} on {}",
                song.spelled(strike.midi),
                instrument.id
            )));
        }
    }
    Ok(carried)
}

/// Without players: the roles' first instruments, and (normal) one doubling of each role, or (fuller)
/// all.
fn sensible(seats: Vec<Seat>, level: Level) -> Vec<Seat> {
    let most = match level {
        Level::Simpler => 0,
        Level::Normal => 1,
        Level::Fuller => usize::MAX,
    };
    let mut doubled = [0usize; 5];
    seats
        .into_iter()
        .filter(|s| {
            s.first || {
                let count = &mut doubled[s.role as usize];
                *count += 1;
                *count <= most
            }
        })
        .collect()
}

fn chairs(seats: &[Seat]) -> Vec<Chair> {
    let mut chairs: Vec<Chair> = Vec::new();
    for seat in seats {
        let Some(instrument) = seat.instrument else { continue };
        match chairs.iter_mut().find(|c| c.instrument == instrument) {
            Some(chair) => chair.players[1] = seat.player,
            None => chairs.push(Chair {
                role: seat.role,
                instrument,
                first: seat.first,
                players: [seat.player, None],
            }),
        }
    }
    chairs.sort_by_key(|c| (c.role, !c.first, c.instrument));
    chairs
}

fn slow_down(
    song: &mut Song,
    kit: &Kit,
    chairs: &[Chair],
    carried: &[melody::Carried],
    built: &mut Built,
) {
    let mut factors: Vec<f64> = Vec::new();
    for part in carried {
        let Some(chair) = chairs.iter().find(|c| c.instrument == part.instrument) else { continue };
        for player in chair.players.into_iter().flatten() {
            let limits = Limits::of(kit.players.get(player), Level::Normal);
            factors.extend(limits::slower(song, &part.strikes, limits.gap));
        }
    }
    let all = factors.len();
    factors.retain(|f| *f > 1.0);
    let too_quick = factors.len();
    // What slowing can mend; the rest is thinned.
    factors.retain(|f| *f <= (1.0 + limits::SLACK) / SLOWEST);
    let factor = factors.iter().copied().fold(1.0, f64::max);
    let worth = factors.len() == too_quick || factors.len() * FEW >= all;
    if factor > 1.0 && worth {
        let before = song.tempo;
        song.slow(factor);
        built.slowed_from = Some(before);
    }
}

/// Whether melody parts hold every note of the melody.
fn covers(song: &Song, drafts: &[Draft]) -> bool {
    let mut there = vec![false; song.melody.len()];
    for draft in drafts.iter().filter(|d| d.role == Role::Melody) {
        for i in draft.strikes.iter().filter_map(|s| s.line) {
            if let Some(slot) = there.get_mut(i) {
                *slot = true;
            }
        }
    }
    there.into_iter().all(|t| t)
}

impl Builder<'_> {
    fn limits(&self, chair: &Chair) -> Limits {
        let mut limits = Limits::of(None, self.ask.level);
        for player in chair.players.into_iter().flatten() {
            let own = Limits::of(self.kit.players.get(player), self.ask.level);
            limits.mallets = limits.mallets.min(own.mallets);
            limits.gap = limits.gap.max(own.gap);
        }
        limits
    }

    fn ring(&self, instrument: usize) -> Tick {
        match self.racks.get(instrument) {
            Some(rack) if rack.rings => self.song.ticks_of(RING_SECONDS, 0),
            _ => 0,
        }
    }

    /// Gives a chair's strikes to its player, or by turns of phrases to its two.
    fn hand_out(&self, chair: &Chair, draft: Draft, out: &mut Vec<Draft>) {
        let [one, two] = chair.players;
        let (Some(_), Some(_)) = (one, two) else {
            out.push(Draft { player: one, ..draft });
            return;
        };
        // Turns of phrases; where that would leave one of the two without any, turns of strokes.
        let phrase = |s: &Strike| self.song.phrases.partition_point(|p| p.0 <= s.at);
        let mut turns: Vec<usize> = draft.strikes.iter().map(phrase).collect();
        let uneven = |turns: &[usize]| turns.iter().all(|t| t % 2 == turns[0] % 2);
        // Nor is either left with one pitch of a pattern that has several.
        let pitches = |turns: &[usize], which: usize| {
            let mine = draft.strikes.iter().zip(turns).filter(|(_, t)| *t % 2 == which);
            mine.map(|(s, _)| s.midi).collect::<crate::kit::BarSet>().len()
        };
        let dull = |turns: &[usize]| {
            draft.role == Role::Ostinato && (pitches(turns, 0) == 1 || pitches(turns, 1) == 1)
        };
        if turns.is_empty() || uneven(&turns) || dull(&turns) {
            // Ostinatos in pairs of strokes, so that each has the move between them.
            let pair = if draft.role == Role::Ostinato { 2 } else { 1 };
            let mut stroke = 0;
            let mut last: Option<Tick> = None;
            turns = draft
                .strikes
                .iter()
                .map(|s| {
                    let inside = matches!(s.slide, Some(Slide::Through | Slide::Stop));
                    if !inside && last.is_some_and(|t| t != s.at) {
                        stroke += 1;
                    }
                    last = Some(s.at);
                    stroke / pair
                })
                .collect();
        }
        for (i, player) in [one, two].into_iter().enumerate() {
            let strikes: Vec<Strike> = draft
                .strikes
                .iter()
                .zip(&turns)
                .filter(|(_, t)| *t % 2 != i)
                .map(|(s, _)| *s)
                .collect();
            let mut own = Draft { player, ..draft.clone() };
            own.words.retain(|(at, _)| strikes.iter().any(|s| s.at == *at));
            own.strikes = strikes;
            if let (Role::Ostinato, Some(rack)) = (own.role, self.racks.get(chair.instrument)) {
                ostinato::keep_moving(self.song, rack, &mut own.strikes, &draft.strikes);
            }
            own.changes.push(
                "takes turns, phrase by phrase, with the other player of the instrument".to_owned(),
            );
            out.push(own);
        }
    }

    fn melodies(&self, chairs: &[Chair], carried: &[melody::Carried], out: &mut Vec<Draft>) {
        for chair in chairs.iter().filter(|c| c.role == Role::Melody) {
            let mut draft = Draft::new(Role::Melody, Some(chair.instrument), None);
            match carried.iter().find(|c| c.instrument == chair.instrument) {
                Some(part) => {
                    draft.strikes = part.strikes.clone();
                    draft.pattern =
                        if carried.len() > 1 { "melody by turns" } else { "melody" }.to_owned();
                }
                None => {
                    let shift = self
                        .kit
                        .instruments
                        .get(chair.instrument)
                        .and_then(|i| melody::shift_for(self.song, i));
                    let Some(shift) = shift else { continue };
                    draft.strikes = melody::whole(self.song, shift);
                    draft.pattern = "melody doubled".to_owned();
                }
            }
            let gap = self.limits(chair).gap;
            if let Some(words) = limits::thin_melody(self.song, &mut draft.strikes, gap) {
                draft.changes.push(format!("too quick for the player as it stands: {words}"));
            }
            self.hand_out(chair, draft, out);
        }
    }

    /// The voice: with lyrics, where the tune lies well for singing, and wherever the instruments
    /// don't hold the whole melody.
    fn voice(
        &self,
        option: &FitOption,
        melody_whole: bool,
        seats: &[Seat],
        out: &mut Vec<Draft>,
        built: &mut Built,
    ) {
        let singers: Vec<usize> = seats
            .iter()
            .filter(|s| s.role == Role::Voice && s.instrument.is_none())
            .filter_map(|s| s.player)
            .collect();
        let lyrics = self.song.line.iter().any(|n| !n.lyrics.is_empty());
        let left_out = self.ask.without.contains(&Role::Voice);
        let without_melody = self.ask.without.contains(&Role::Melody);
        let needed = !(melody_whole || without_melody && left_out);
        if (left_out || !(lyrics || option.singing_inside)) && !needed && singers.is_empty() {
            if !left_out {
                built.remarks.push(
                    "No voice part: there are no words, and the tune goes beyond the singing range."
                        .to_owned(),
                );
            }
            return;
        }
        if needed && !lyrics {
            built.remarks.push(
                "The voice (or the leader) carries the whole melody, for the instruments don't."
                    .to_owned(),
            );
        }
        let strikes = melody::whole(self.song, melody::sung_shift(self.song, option));
        let mut voice = Draft::new(Role::Voice, None, None);
        voice.pattern = "sung".to_owned();
        voice.strikes = strikes;
        out.push(voice.clone());
        for player in singers {
            let mut own = Draft { player: Some(player), ..voice.clone() };
            own.changes.push("sings, for no instrument is left for this player".to_owned());
            out.push(own);
        }
    }

    fn accompany(&self, chairs: &[Chair], out: &mut Vec<Draft>, built: &mut Built) {
        let mut drones: Vec<(Vec<Strike>, usize)> = Vec::new();
        let mut lead: Vec<(Tick, PitchClass)> = Vec::new();
        for chair in chairs.iter().filter(|c| c.role == Role::Drone) {
            let Some(rack) = self.racks.get(chair.instrument) else { continue };
            let limits = self.drone_limits(chair, drones.is_empty());
            let low =
                self.kit.instruments.get(chair.instrument).is_some_and(|i| i.size() == Size::Large);
            let pattern = match self.ask.drone {
                Some(asked) => self.playable(rack, asked, limits),
                None if drones.is_empty() => drone::pick(rack, self.song, low, limits),
                // A second drone is quieter: one stroke a measure under the first.
                None if limits.mallets < 2 => DronePattern::Broken,
                None => DronePattern::Chord,
            };
            let made = drone::make(self.song, rack, pattern, limits, &lead);
            if lead.is_empty() {
                lead.clone_from(&made.roots);
            }
            let mut draft = Draft::new(Role::Drone, Some(chair.instrument), None);
            draft.pattern = pattern.name().to_owned();
            draft.crossing = pattern == DronePattern::Crossover;
            if made.roots.len() > 1 {
                draft.changes.push(drone::changes_in_words(self.song, &made));
            }
            if let Some(words) = &made.thinned {
                draft.changes.push(format!("thinned for the player: {words}"));
            }
            if let Some(asked) = self.ask.drone
                && asked != pattern
            {
                draft.changes.push(format!(
                    "{} instead of {}: one mallet, or bars that the instrument lacks",
                    pattern.name(),
                    asked.name()
                ));
            }
            built.delicate.extend(&made.grinding);
            drones.push((made.strikes.clone(), chair.instrument));
            draft.strikes = made.strikes;
            self.hand_out(chair, draft, out);
        }
        let first_drone = drones.first().cloned().unwrap_or_default();
        let drone_ring = if drones.is_empty() { 0 } else { self.ring(first_drone.1) };
        let mut ostinatos: Vec<(Vec<Strike>, usize)> = Vec::new();
        for chair in chairs.iter().filter(|c| c.role == Role::Ostinato) {
            let Some(rack) = self.racks.get(chair.instrument) else { continue };
            let limits = self.limits(chair);
            let around = ostinato::Around {
                drone: Sounding::new(&first_drone.0, drone_ring),
                other: ostinatos.last().map_or(&[], |o| &o.0),
                several: chairs.iter().filter(|c| c.role == Role::Ostinato).count() > 1,
            };
            let mut made = ostinato::make(self.song, rack, limits, around);
            let mut draft = Draft::new(Role::Ostinato, Some(chair.instrument), None);
            if let Some(words) = ostinato::thin(self.song, rack, &mut made, limits.gap) {
                draft.changes.push(format!("thinned for the player: {words}"));
            }
            ostinato::close(self.song, rack, &mut made, limits.gap);
            if made.left_out > 0 {
                draft.changes.push(format!(
                    "{} notes of the pattern are left out where they would grind against the melody",
                    made.left_out
                ));
            }
            draft.pattern = made.words;
            ostinatos.push((made.strikes.clone(), chair.instrument));
            draft.strikes = made.strikes;
            self.hand_out(chair, draft, out);
        }
        let others: Vec<Sounding<'_>> = drones
            .iter()
            .chain(&ostinatos)
            .map(|(strikes, i)| Sounding::new(strikes, self.ring(*i)))
            .collect();
        let colours: Vec<&Chair> = chairs.iter().filter(|c| c.role == Role::Colour).collect();
        for (i, chair) in colours.iter().enumerate() {
            let Some(rack) = self.racks.get(chair.instrument) else { continue };
            let limits = self.limits(chair);
            // Two colour parts answer each other: every second place is the other's.
            let mine: Vec<Room> = self
                .rooms
                .iter()
                .enumerate()
                .filter(|(n, _)| {
                    let alone = colours.len() < 2 || chair.players[1].is_some();
                    alone || (n + self.rooms.len() + i) % 2 == 1
                })
                .map(|(_, room)| *room)
                .collect();
            let mine = if mine.is_empty() { self.rooms } else { &mine };
            let mut strikes = colour::make(self.song, rack, mine, &others);
            let mut draft = Draft::new(Role::Colour, Some(chair.instrument), None);
            draft.pattern = "slides at phrase ends".to_owned();
            colour::space_out(self.song, &mut strikes, limits.gap);
            draft.words = strikes
                .iter()
                .filter(|s| s.slide == Some(Slide::Start))
                .map(|s| (s.at, "slide".to_owned()))
                .collect();
            draft.strikes = strikes;
            self.hand_out(chair, draft, out);
        }
    }

    fn drone_limits(&self, chair: &Chair, first: bool) -> Limits {
        let limits = self.limits(chair);
        if first || self.ask.level == Level::Fuller {
            return limits;
        }
        Limits { level: Level::Simpler, ..limits }
    }

    /// The pattern asked for, or the nearest that one mallet and the bars allow.
    fn playable(&self, rack: &Rack, asked: DronePattern, limits: Limits) -> DronePattern {
        let two = matches!(asked, DronePattern::Chord | DronePattern::Level | DronePattern::Moving);
        if (limits.mallets < 2 && two) || !drone::suits(rack, self.song, asked) {
            return if limits.mallets < 2 { DronePattern::Broken } else { DronePattern::Chord };
        }
        asked
    }

    /// Hands, and everything else that needs the whole part.
    fn finish(&self, draft: &mut Draft) {
        let Some(instrument) = draft.instrument.and_then(|i| self.kit.instruments.get(i)) else {
            return;
        };
        let mallets = draft.player.and_then(|p| self.kit.players.get(p)).map_or(2, |p| p.mallets);
        let place = |midi: Midi| super::rack::place(instrument, midi).unwrap_or(0);
        sticking::give_hands(&mut draft.strikes, mallets, draft.crossing, |s| place(s.midi));
    }
}
