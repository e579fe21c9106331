//! `barwright concert`: a whole set of songs into one folder.
//!
//! A concert of a sane size is read first and planned as a whole, then its files are written. A
//! larger set (a collection of tunes) streams through in pieces: each song in its own best key, in
//! the order given.

use std::collections::HashSet;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use anyhow::{Context, bail};
use indicatif::{ProgressBar, ProgressStyle};
use rayon::prelude::*;

use super::concert_song::{Bars, Item, Ready, Sheet, Way};
use super::run_folder::{PLAYERS, RunFolder};
use super::{
    Outcome, Usage, args, concert_pack, concert_page, files, print, print_json, say, song,
};
use crate::concert::{self, ConcertFile, Pins, Plan, Problem, Programme, Room, Song};
use crate::kit::Kit;

/// Up to so many songs a given order is compared with the best one, which takes a second or two.
const COMPARED: usize = 14;

/// Songs in memory at a time, for each job, when a large set streams through.
const PIECE: usize = 32;

/// Set by Ctrl-C.
static STOPPED: AtomicBool = AtomicBool::new(false);

/// A set whose songs are done: what its lists show.
struct Finished {
    songs: Vec<Song>,
    /// Places in the order of each item that was given.
    places: Vec<Option<usize>>,
    problem: Problem,
    order: Vec<(usize, usize)>,
    plan: Option<PlanFacts>,
    failed: Vec<(String, String)>,
    /// What the pack shows, in the order of `songs`; empty for a large set, whose pack links to the songs'.
    sheets: Vec<(Ready, Sheet)>,
}

/// What is known of how good the plan is.
struct PlanFacts {
    cost: f64,
    lower_bound: f64,
    is_optimal: bool,
}

pub(super) fn run(ask: &args::Concert) -> anyhow::Result<Outcome> {
    let file = match &ask.plan {
        Some(path) => {
            let text = files::read_text(path)?;
            ConcertFile::parse(&text).with_context(|| files::shown(path))?
        }
        None => ConcertFile::default(),
    };
    let beside = ask.plan.as_deref().and_then(Path::parent).unwrap_or(Path::new(""));
    let kit_path = ask.making.kit.clone().or_else(|| file.kit.as_ref().map(|k| beside.join(k)));
    let kit = song::kit(kit_path.as_deref())?;
    if let Some(path) = &ask.plan {
        file.check(&kit).with_context(|| files::shown(path))?;
    }
    let items = items(&file, beside, &ask.paths)?;
    let run = RunFolder::open(&ask.making.out, ask.making.force)?;
    let jobs = ask.jobs.map_or(0, usize::from);
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(jobs)
        .build()
        .context("the jobs can't be started; try a smaller --jobs")?;
    // A second handler in one process (the library used as such) is no failure.
    let _ = ctrlc::set_handler(|| STOPPED.store(true, Ordering::Relaxed));
    let set =
        Set { ask, file: &file, kit: &kit, kit_hash: hash_of(&kit), items: &items, run: &run };
    let finished = pool.install(|| {
        if items.len() <= concert::MAX_PLANNED { set.planned() } else { set.streamed() }
    })?;
    set.write_lists(finished)
}

/// A hash of the kit, whatever its file looks like.
fn hash_of(kit: &Kit) -> String {
    blake3::hash(format!("{kit:?}").as_bytes()).to_hex().to_string()
}

/// All songs: the file's first, then those of the arguments that it doesn't name.
fn items(file: &ConcertFile, beside: &Path, paths: &[PathBuf]) -> anyhow::Result<Vec<Item>> {
    let mut items: Vec<Item> = Vec::new();
    let same = |p: &Path| p.canonicalize().unwrap_or_else(|_| p.to_owned());
    let mut named = HashSet::new();
    for wish in &file.songs {
        let path = beside.join(&wish.file);
        named.insert(same(&path));
        items.push(Item { index: items.len(), path, wish: wish.clone() });
    }
    for path in files::songs_in(paths)? {
        if named.is_empty() || !named.contains(&same(&path)) {
            items.push(Item { index: items.len(), path, ..Item::default() });
        }
    }
    if items.is_empty() {
        return Err(Usage(
            "there is no song: name song files, a folder of them, or a concert file with --plan"
                .to_owned(),
        )
        .into());
    }
    Ok(items)
}

/// Everything that a run knows.
struct Set<'a> {
    ask: &'a args::Concert,
    file: &'a ConcertFile,
    kit: &'a Kit,
    kit_hash: String,
    items: &'a [Item],
    run: &'a RunFolder,
}

/// A bar on standard error, hidden where that is no terminal.
fn progress(songs: usize, doing: &'static str) -> ProgressBar {
    let bar = ProgressBar::new(songs as u64);
    let style = "{msg} {wide_bar} {pos}/{len} songs, {per_sec}, {eta} left";
    if let Ok(style) = ProgressStyle::with_template(style) {
        bar.set_style(style);
    }
    bar.set_message(doing);
    bar
}

impl Set<'_> {
    /// Reads and plans all songs, then writes them.
    fn planned(&self) -> anyhow::Result<Finished> {
        let bar = progress(self.items.len(), "Reading");
        let read: Vec<Result<Ready, String>> = self
            .items
            .par_iter()
            .map(|item| {
                self.go_on()?;
                let ready = Ready::read(item, self.kit).and_then(Ready::with_all_ways);
                bar.inc(1);
                Ok(ready.map_err(|e| plain(&e)))
            })
            .collect::<anyhow::Result<_>>()?;
        bar.finish_and_clear();
        let mut failed = Vec::new();
        let mut ready: Vec<Ready> = Vec::new();
        for (item, read) in self.items.iter().zip(read) {
            match read {
                Ok(song) => ready.push(song),
                Err(reason) => failed.push((item.shown(), reason)),
            }
        }
        let (problem, kept) = self.problem(&ready);
        let (plan, facts) = self.plan(&problem)?;
        // The ways that the plan takes, and the folders, by the order given.
        let mut slugs = Slugs::new(self.run, self.ask.making.force);
        let folders: Vec<String> = ready.iter().map(|r| slugs.next(&r.song.title)).collect();
        let bar = progress(ready.len(), "Writing");
        let entries: Vec<(Song, Sheet)> = plan
            .order
            .par_iter()
            .map(|(song, way)| {
                self.go_on()?;
                let ready = &ready[*song];
                let way = &ready.ways[kept[*song][*way]];
                let (entry, sheet) = self.write(ready, way, &folders[*song], true)?;
                let sheet = match sheet {
                    Some(sheet) => sheet,
                    None => ready.sheet(way, self.ask, self.kit)?,
                };
                bar.inc(1);
                Ok((entry, sheet))
            })
            .collect::<anyhow::Result<_>>()?;
        bar.finish_and_clear();
        let mut places = vec![None; self.items.len()];
        for (place, (song, _)) in plan.order.iter().enumerate() {
            places[ready[*song].index] = Some(place);
        }
        let mut ready: Vec<Option<Ready>> = ready.into_iter().map(Some).collect();
        let (songs, sheets): (Vec<Song>, Vec<Sheet>) = entries.into_iter().unzip();
        let in_order = plan.order.iter().filter_map(|(song, _)| ready[*song].take());
        let sheets = in_order.zip(sheets).collect();
        Ok(Finished {
            songs,
            places,
            problem,
            order: plan.order,
            plan: Some(facts),
            failed,
            sheets,
        })
    }

    /// The planning problem, and for every song which of its ways are in it.
    fn problem(&self, ready: &[Ready]) -> (Problem, Vec<Vec<usize>>) {
        let mut room = Room::new(self.kit);
        let weight = self.file.fit_weight.unwrap_or(1.0);
        let mut songs = Vec::with_capacity(ready.len());
        let mut kept = Vec::with_capacity(ready.len());
        for song in ready {
            // What counts is how much worse than its best way a song is played.
            let least = song.ways.iter().map(|w| w.option.cost).fold(f64::INFINITY, f64::min);
            let ways: Vec<concert::Way> = song
                .ways
                .iter()
                .map(|w| {
                    let cost = concert::cost_units(w.option.cost - least, weight);
                    room.way(&w.setups, &w.inside, cost)
                })
                .collect();
            let indices = concert::undominated(&room, &ways);
            songs.push(indices.iter().map(|i| ways[*i].clone()).collect());
            kept.push(indices);
        }
        let given: Vec<usize> = ready.iter().map(|r| r.index).collect();
        let pins = self.file.pins_for(self.items.len()).among(&given);
        (Problem { room, songs, pins }, kept)
    }

    fn plan(&self, problem: &Problem) -> anyhow::Result<(Plan, PlanFacts)> {
        let moves = |cost: concert::Cost| cost as f64 / concert::MOVE as f64;
        let facts = |cost: concert::Cost, bound: concert::Cost| PlanFacts {
            cost: moves(cost),
            lower_bound: moves(bound),
            is_optimal: cost <= bound,
        };
        if self.best_order() {
            let plan = concert::plan_best(problem)?;
            let facts = facts(plan.cost, plan.lower_bound);
            return Ok((plan, facts));
        }
        let plan = concert::plan_in_order(problem, &problem.pins.an_order()?);
        let free = Problem { pins: Pins::none(problem.songs.len()), ..problem.clone() };
        let bound = if problem.songs.len() <= COMPARED {
            concert::plan_best(&free)?.lower_bound
        } else {
            concert::lower_bound(&free)?
        };
        let facts = facts(plan.cost, bound);
        Ok((plan, facts))
    }

    fn best_order(&self) -> bool {
        self.ask.order.map_or(self.file.best_order.unwrap_or(true), |o| o == args::Order::Best)
    }

    /// Every song in its own best way, a piece of the set at a time.
    fn streamed(&self) -> anyhow::Result<Finished> {
        say(&format!(
            "{} songs are too many to plan together (the most are {}): each is done in its own best key, in the order given.",
            self.items.len(),
            concert::MAX_PLANNED
        ));
        let bar = progress(self.items.len(), "Songs");
        let mut finished = Finished {
            songs: Vec::new(),
            places: vec![None; self.items.len()],
            problem: Problem {
                room: Room::new(self.kit),
                songs: Vec::new(),
                pins: Pins::none(self.items.len()),
            },
            order: Vec::new(),
            plan: None,
            failed: Vec::new(),
            sheets: Vec::new(),
        };
        let mut slugs = Slugs::new(self.run, self.ask.making.force);
        for piece in self.items.chunks(PIECE * rayon::current_num_threads()) {
            let read: Vec<Result<Ready, String>> = piece
                .par_iter()
                .map(|item| {
                    self.go_on()?;
                    Ok(Ready::read(item, self.kit).map_err(|e| plain(&e)))
                })
                .collect::<anyhow::Result<_>>()?;
            let with_folders: Vec<(Result<Ready, String>, String)> = read
                .into_iter()
                .map(|read| {
                    let folder = read.as_ref().map_or(String::new(), |r| slugs.next(&r.song.title));
                    (read, folder)
                })
                .collect();
            let written: Vec<Result<(Song, Bars), String>> = with_folders
                .into_par_iter()
                .map(|(read, folder)| {
                    self.go_on()?;
                    let written = match read {
                        Ok(ready) => self.one(ready, &folder)?,
                        Err(reason) => Err(reason),
                    };
                    bar.inc(1);
                    Ok(written)
                })
                .collect::<anyhow::Result<_>>()?;
            for (item, written) in piece.iter().zip(written) {
                match written {
                    Ok((song, (setups, inside))) => {
                        finished.places[item.index] = Some(finished.songs.len());
                        finished.order.push((finished.songs.len(), 0));
                        let way = finished.problem.room.way(&setups, &inside, 0);
                        finished.problem.songs.push(vec![way]);
                        finished.songs.push(song);
                    }
                    Err(reason) => finished.failed.push((item.shown(), reason)),
                }
            }
        }
        bar.finish_and_clear();
        Ok(finished)
    }

    /// One song of a large set. The outer error is the machine's and ends the run, the inner one the
    /// song's.
    fn one(&self, ready: Ready, folder: &str) -> anyhow::Result<Result<(Song, Bars), String>> {
        let key = ready.key(&self.kit_hash, self.ask, None);
        if let Some(noted) = self.run.done(folder, &key)
            && let Some(song) = ready.noted(noted, folder)
        {
            return Ok(Ok(song));
        }
        let ready = match ready.with_best_way() {
            Ok(ready) => ready,
            Err(error) => return Ok(Err(plain(&error))),
        };
        let Some(way) = ready.ways.first() else {
            return Ok(Err("does not fit this kit".to_owned()));
        };
        let (song, _) = self.write(&ready, way, folder, false)?;
        Ok(Ok((song, (way.setups.clone(), way.inside.clone()))))
    }

    /// Writes a song's files where they aren't there yet, and says what the lists need.
    /// The sheet is there where the files of a planned set were made now.
    fn write(
        &self,
        ready: &Ready,
        way: &Way,
        folder: &str,
        planned: bool,
    ) -> anyhow::Result<(Song, Option<Sheet>)> {
        let key = ready.key(&self.kit_hash, self.ask, planned.then_some(way));
        if let Some(noted) = self.run.done(folder, &key)
            && let Some((song, _)) = ready.noted(noted, folder)
        {
            self.pdf(folder)?;
            return Ok((song, None));
        }
        let room = planned.then_some(self.kit);
        let (song, noted, made, sheet) = ready.files(way, folder, self.ask, room)?;
        self.run.put_song(folder, &key, noted, &made)?;
        self.pdf(folder)?;
        Ok((song, sheet))
    }

    /// Prints a song's pack where that was asked for and isn't done.
    fn pdf(&self, folder: &str) -> anyhow::Result<()> {
        let folder = self.run.song(folder);
        let (html, pdf) = (folder.join("pack.html"), folder.join("pack.pdf"));
        let newer = || {
            Some(pdf.metadata().ok()?.modified().ok()? >= html.metadata().ok()?.modified().ok()?)
        };
        if !self.ask.making.pdf || newer() == Some(true) {
            return Ok(());
        }
        super::pdf::print(&html, &pdf)
    }

    /// Stops here after Ctrl-C.
    fn go_on(&self) -> anyhow::Result<()> {
        if STOPPED.load(Ordering::Relaxed) {
            bail!(
                "stopped; the songs that are in {} are whole: give the same command again to go on from there",
                self.ask.making.out.display()
            );
        }
        Ok(())
    }

    /// Writes the concert's own files and says what was made.
    fn write_lists(&self, finished: Finished) -> anyhow::Result<Outcome> {
        let Finished { songs, places, problem, order, plan, failed, sheets } = finished;
        let mut changeovers = concert::changeovers(&problem, &order);
        concert::put_breaks(&mut changeovers, &self.file.breaks, &places);
        for fault in concert::inventory(self.kit, &problem, &order) {
            let song = songs.get(fault.song).map_or("", |s| s.title.as_str());
            say(&format!("Mind: {song}: {}", fault.what));
        }
        let programme = Programme {
            title: &self.file.title,
            kit: self.kit,
            songs: &songs,
            changeovers: &changeovers,
            order_is_optimal: plan.as_ref().is_some_and(|p| p.is_optimal),
            keys_are_planned: plan.is_some(),
            cost: plan.as_ref().map_or(0.0, |p| p.cost),
            lower_bound: plan.as_ref().map(|p| p.lower_bound),
            failed: &failed,
        };
        let document = concert::document(&programme);
        let mut json = serde_json::to_vec_pretty(&document)?;
        json.push(b'\n');
        self.run.put("concert.txt", concert::text(&programme).as_bytes())?;
        if sheets.is_empty() {
            self.run.put("pack.html", concert_page::page(&programme).as_bytes())?;
        } else {
            let options = self.ask.making.print_options();
            let packs = concert_pack::packs(&programme, &sheets, &options);
            for (name, pack) in packs.players {
                self.run.put_player(&name, pack.as_bytes())?;
            }
            self.run.put("pack.html", packs.whole.as_bytes())?;
        }
        self.run.put("concert.json", &json)?;
        if self.ask.making.pdf {
            let out = &self.ask.making.out;
            super::pdf::print(&out.join("pack.html"), &out.join("pack.pdf"))?;
        }
        for (song, reason) in &failed {
            say(&format!("Left out: {song}: {reason}"));
        }
        if self.ask.making.json {
            print_json(&document)?;
        } else {
            print(&self.summary(&programme))?;
        }
        Ok(if failed.is_empty() { Outcome::Done } else { Outcome::SomeFailed })
    }

    /// Three lines: what was made, what to look at first, what to mind.
    fn summary(&self, programme: &Programme<'_>) -> String {
        let out = &self.ask.making.out;
        let songs = programme.songs.len();
        let moves = programme.moves_total();
        let order = if programme.order_is_optimal {
            "no order needs fewer (proven)".to_owned()
        } else if !programme.keys_are_planned {
            "order and keys were not planned together, the set is too large".to_owned()
        } else {
            format!(
                "at most {:.0} % of moves and fit cost could be saved in any order",
                100.0 * programme.gap().unwrap_or(0.0)
            )
        };
        let mind = match programme.failed.len() {
            0 => "lift bars from the end on the pegs; what a player may safely do is for the licensed practitioner and local rules to decide".to_owned(),
            1 => "1 song is not in it, see above or in concert.txt".to_owned(),
            n => format!("{n} songs are not in it, see above or in concert.txt"),
        };
        format!(
            "Made: {songs} songs in {}, {moves} bar moves in all; {order}\nLook first at: {} (the order and a card for every changeover), then each song's pack.html\nMind: {mind}\n",
            out.display(),
            out.join("concert.txt").display(),
        )
    }
}

/// An error in one line, for the list of songs left out.
fn plain(error: &anyhow::Error) -> String {
    format!("{error:#}").replace('\n', " ")
}

/// Folder names, unique in the concert's folder.
struct Slugs<'a> {
    run: &'a RunFolder,
    force: bool,
    taken: HashSet<String>,
}

impl<'a> Slugs<'a> {
    fn new(run: &'a RunFolder, force: bool) -> Slugs<'a> {
        Slugs { run, force, taken: HashSet::from([PLAYERS.to_owned()]) }
    }

    /// The slug of a title, or with the next free number behind it; names of folders that aren't
    /// barwright's are passed over.
    fn next(&mut self, title: &str) -> String {
        let slug = files::slug(title);
        let free =
            |name: &String| !self.taken.contains(name) && (self.force || self.run.may_use(name));
        let name = files::numbered(&slug).find(free).unwrap_or_else(|| slug.clone());
        self.taken.insert(name.clone());
        name
    }
}
