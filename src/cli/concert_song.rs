//! One song of a concert: read, its ways to be played, its files.

use std::borrow::Cow;
use std::path::PathBuf;

use anyhow::{Context, bail};
use serde::{Deserialize, Serialize};

use super::run_folder::Made;
use super::song::{self, Song};
use super::{args, files};
use crate::analysis::Options;
use crate::arrange::{self, ArrangeRequest, Arrangement, Role};
use crate::concert::{self, Part, SongWish};
use crate::kit::{Bar, Fit, FitOption, FitRequest, Kit, Setup, State, Verdict};
use crate::print::Staves;
use crate::score::{Interval, Key, Midi, Mode, NoteName};

/// Ways that are tried for each song of a planned concert, best first: as many as the exact search
/// is made to be fast for.
const WAYS: usize = 6;

/// Options that are tried for a song of a large set until one can be arranged.
const TRIES: usize = 3;

/// A song as given.
#[derive(Clone, Debug, Default)]
pub(super) struct Item {
    /// Its place among all songs given.
    pub(super) index: usize,
    /// Its file.
    pub(super) path: PathBuf,
    /// What is wished for it.
    pub(super) wish: SongWish,
}

impl Item {
    /// How it is called in lists and messages.
    pub(super) fn shown(&self) -> String {
        files::shown(&self.path)
    }
}

/// A way to play a song that was arranged once to see what it needs.
pub(super) struct Way {
    pub(super) option: FitOption,
    /// Setups at the start.
    pub(super) setups: Vec<Setup>,
    /// Setups that take over inside the song.
    pub(super) inside: Vec<Setup>,
    /// The arrangement, where the song has this way only; of several it would be kept for nothing.
    arrangement: Option<Arrangement>,
}

/// A song that was read.
pub(super) struct Ready {
    pub(super) index: usize,
    pub(super) song: Song,
    pub(super) ways: Vec<Way>,
    shown: String,
    content: blake3::Hash,
    wish: SongWish,
    /// The room for this song: who plays by the wish, and the players taking turns.
    kit: Kit,
}

/// What the concert's pack shows of a song beside what was read.
pub(super) struct Sheet {
    /// Its players are indices into the room's kit, not into the song's own order of players.
    pub(super) arrangement: Arrangement,
    pub(super) staves: Staves,
}

/// What a song's record notes for the concert's lists.
#[derive(Serialize, Deserialize)]
struct Noted {
    title: String,
    tonic: NoteName,
    mode: String,
    transpose: Interval,
    fit_cost: f64,
    parts: Vec<NotedPart>,
    setups: Vec<NotedSetup>,
    inside: Vec<NotedSetup>,
}

#[derive(Serialize, Deserialize)]
struct NotedPart {
    role: String,
    instrument: Option<String>,
    player: Option<String>,
}

#[derive(Serialize, Deserialize)]
struct NotedSetup {
    instrument: usize,
    /// `k` keep, `r` remove, `f` fill, a number: the MIDI number of the spare.
    states: Vec<String>,
}

impl NotedSetup {
    fn new(setup: &Setup) -> NotedSetup {
        let word = |s: &State| match s {
            State::Keep => "k".to_owned(),
            State::Remove => "r".to_owned(),
            State::Fill => "f".to_owned(),
            State::Swap(bar) => bar.0.number().to_string(),
        };
        let states = setup.states.iter().map(word).collect();
        NotedSetup { instrument: setup.instrument, states }
    }

    fn setup(&self) -> Option<Setup> {
        let state = |w: &String| match w.as_str() {
            "k" => Some(State::Keep),
            "r" => Some(State::Remove),
            "f" => Some(State::Fill),
            number => Some(State::Swap(Bar(Midi::new(number.parse().ok()?)))),
        };
        let states = self.states.iter().map(state).collect::<Option<_>>()?;
        Some(Setup { instrument: self.instrument, states, cautions: Vec::new() })
    }
}

impl Ready {
    /// Reads and analyses a song. The players of the room take turns: the list begins with the next
    /// one for each song, so that of two who suit a role alike it isn't always the same who has it.
    pub(super) fn read(item: &Item, room: &Kit) -> anyhow::Result<Ready> {
        let bytes = files::read(&item.path)?;
        let content = blake3::hash(&bytes);
        let part = item.wish.part.as_deref();
        let song = Song::from_bytes(&item.path, &bytes, part, Options::default())?;
        let mut kit = room.clone();
        if !item.wish.players.is_empty() {
            kit.players.retain(|p| item.wish.players.contains(&p.name));
        }
        let turn = item.index % kit.players.len().max(1);
        kit.players.rotate_left(turn);
        Ok(Ready {
            index: item.index,
            song,
            ways: Vec::new(),
            shown: item.shown(),
            content,
            wish: item.wish.clone(),
            kit,
        })
    }

    /// Arranges the song in its best ways, to know what bars each needs.
    pub(super) fn with_all_ways(self) -> anyhow::Result<Ready> {
        self.with_ways(WAYS, WAYS)
    }

    /// The same with the best way only.
    pub(super) fn with_best_way(self) -> anyhow::Result<Ready> {
        self.with_ways(TRIES, 1)
    }

    fn with_ways(mut self, tries: usize, wanted: usize) -> anyhow::Result<Ready> {
        let key = match &self.wish.key {
            Some(text) => Some(song::wanted_key(text, self.song.analysis.key.best.key)?),
            None => None,
        };
        let ask = FitRequest { key, top: tries, ..FitRequest::default() };
        let fit = self.song.fit(&self.kit, &ask);
        if fit.verdict == Verdict::DoesNotFit {
            bail!(why_not(&fit, self.wish.key.as_deref()));
        }
        let mut last = None;
        let mut ways = Vec::new();
        for option in fit.options.into_iter().filter(|o| o.missing.is_empty()) {
            match self.arrange(&option) {
                Ok(made) => {
                    let setups = made.setups.clone();
                    let inside = made.setup_changes.iter().map(|c| c.setup.clone()).collect();
                    let arrangement = (wanted == 1).then_some(made);
                    ways.push(Way { option, setups, inside, arrangement });
                }
                Err(error) => last = Some(error),
            }
            if ways.len() >= wanted {
                break;
            }
        }
        self.ways = ways;
        match last {
            Some(error) if self.ways.is_empty() => Err(error),
            _ if self.ways.is_empty() => bail!("does not fit this kit"),
            _ => Ok(self),
        }
    }

    fn arrange(&self, option: &FitOption) -> anyhow::Result<Arrangement> {
        let ask = ArrangeRequest {
            drone: self.wish.drone,
            no_drone: self.wish.no_drone,
            with: self.wish.with.clone(),
            without: self.wish.without.clone(),
            ..ArrangeRequest::default()
        };
        let Song { imported, melody, analysis, .. } = &self.song;
        Ok(arrange::arrange(&imported.score, &melody.line, analysis, &self.kit, option, &ask)?)
    }

    /// A hash of all that the song's files follow from. `way` is given where it was planned; else it
    /// follows from the rest.
    pub(super) fn key(&self, kit: &str, ask: &args::Concert, way: Option<&Way>) -> String {
        let mut hasher = blake3::Hasher::new();
        let mut add = |text: &str| {
            hasher.update(&(text.len() as u64).to_le_bytes());
            hasher.update(text.as_bytes());
        };
        add(env!("CARGO_PKG_VERSION"));
        add(if cfg!(feature = "engrave") { "staff" } else { "" });
        add(kit);
        add(&self.shown);
        add(self.content.to_hex().as_str());
        add(&format!(
            "{} {:?} {:?}",
            ask.making.no_staff,
            ask.making.print_options(),
            SongWish { line: 0, ..self.wish.clone() }
        ));
        for player in &self.kit.players {
            add(&player.name);
        }
        if let Some(way) = way {
            add(&format!("{:?}", way.option));
        }
        hasher.finalize().to_hex().to_string()
    }

    /// Makes the song's files; also what the lists need, the same as a note for its record, and the sheet
    /// where the concert's pack has one, for its `room`.
    pub(super) fn files(
        &self,
        way: &Way,
        folder: &str,
        ask: &args::Concert,
        room: Option<&Kit>,
    ) -> anyhow::Result<(concert::Song, serde_json::Value, Vec<Made>, Option<Sheet>)> {
        let arrangement = match &way.arrangement {
            Some(made) => Cow::Borrowed(made),
            None => Cow::Owned(self.arrange(&way.option).with_context(|| self.shown.clone())?),
        };
        let (made, staves) = song::files(
            &self.song,
            &self.kit,
            &arrangement,
            !ask.making.no_staff,
            &ask.making.print_options(),
        )
        .with_context(|| self.shown.clone())?;
        let id = |i: usize| self.kit.instruments.get(i).map(|i| i.id.clone());
        let name = |p: usize| self.kit.players.get(p).map(|p| p.name.clone());
        let noted = Noted {
            title: self.song.title.clone(),
            tonic: arrangement.key.tonic,
            mode: arrangement.key.mode.name().to_owned(),
            transpose: arrangement.transpose,
            fit_cost: way.option.cost,
            parts: arrangement
                .parts
                .iter()
                .map(|p| NotedPart {
                    role: p.role.name().to_owned(),
                    instrument: p.instrument.and_then(id),
                    player: p.player.and_then(name),
                })
                .collect(),
            setups: way.setups.iter().map(NotedSetup::new).collect(),
            inside: way.inside.iter().map(NotedSetup::new).collect(),
        };
        let entry = self.entry(&noted, folder).context("the song's parts can't be listed")?;
        let sheet = room.map(|room| {
            let arrangement = self.in_room(arrangement.into_owned(), room);
            Sheet { arrangement, staves }
        });
        Ok((entry, serde_json::to_value(&noted)?, made, sheet))
    }

    /// The same sheet for a song whose files are there from an earlier run.
    pub(super) fn sheet(
        &self,
        way: &Way,
        ask: &args::Concert,
        room: &Kit,
    ) -> anyhow::Result<Sheet> {
        let arrangement = self.arrange(&way.option).with_context(|| self.shown.clone())?;
        let options = ask.making.print_options();
        let staves = song::staves(&self.kit, &arrangement, !ask.making.no_staff, &options);
        Ok(Sheet { arrangement: self.in_room(arrangement, room), staves })
    }

    /// Names players by their place in the room: the song's own list begins with another one.
    fn in_room(&self, mut arrangement: Arrangement, room: &Kit) -> Arrangement {
        for plan in &mut arrangement.parts {
            plan.player = plan.player.and_then(|p| {
                let name = &self.kit.players.get(p)?.name;
                room.players.iter().position(|other| other.name == *name)
            });
        }
        arrangement
    }

    /// What was noted of the song when it was made.
    pub(super) fn noted(
        &self,
        noted: serde_json::Value,
        folder: &str,
    ) -> Option<(concert::Song, Bars)> {
        let noted: Noted = serde_json::from_value(noted).ok()?;
        let setups =
            |list: &[NotedSetup]| list.iter().map(NotedSetup::setup).collect::<Option<_>>();
        let bars = (setups(&noted.setups)?, setups(&noted.inside)?);
        Some((self.entry(&noted, folder)?, bars))
    }

    fn entry(&self, noted: &Noted, folder: &str) -> Option<concert::Song> {
        let mode = Mode::ALL.into_iter().find(|m| m.name() == noted.mode)?;
        Some(concert::Song {
            source: self.shown.clone(),
            title: noted.title.clone(),
            folder: folder.to_owned(),
            key: Key::new(noted.tonic, mode),
            transpose: noted.transpose,
            fit_cost: noted.fit_cost,
            parts: noted
                .parts
                .iter()
                .map(|p| {
                    Some(Part {
                        role: p.role.parse::<Role>().ok()?,
                        instrument: p.instrument.clone(),
                        player: p.player.clone(),
                    })
                })
                .collect::<Option<_>>()?,
        })
    }
}

/// Bars of a song: setups at the start, and those that take over inside it.
pub(super) type Bars = (Vec<Setup>, Vec<Setup>);

/// Why a song can't be played, in one line.
fn why_not(fit: &Fit, key: Option<&str>) -> String {
    let lacks = song::lacks(fit);
    match key {
        Some(key) => format!("does not fit this kit in {key}: {lacks}; leave the key open"),
        None => format!("does not fit this kit: {lacks}; `barwright fit` shows what is nearest"),
    }
}
