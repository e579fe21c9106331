//! `barwright fit`: whether songs fit the bars in the room, and how best.

use std::io::{IsTerminal, stderr};
use std::path::Path;

use anyhow::bail;
use indicatif::{ProgressBar, ProgressStyle};

use super::song::{self, Song};
use super::{Outcome, Usage, args, files, print, print_json, say};
use crate::analysis::Options;
use crate::export::json;
use crate::kit::{self, Fit, FitRequest, FitRow, Kit, Transpose, Verdict};
use crate::score::{Interval, Line};

/// A song with its answer.
struct Asked {
    song: Song,
    fit: Fit,
}

pub(super) fn run(ask: &args::Fit) -> anyhow::Result<Outcome> {
    let request = FitRequest {
        transpose: transpose(&ask.transpose)?,
        top: usize::from(ask.top),
        bars: ask.bars.map(usize::from),
        changed_notes: ask.changed_notes.map(usize::from),
        singing_hard: ask.singable,
        ..FitRequest::default()
    };
    let kit = song::kit(ask.kit.as_deref())?;
    let paths = files::songs_in(&ask.songs)?;
    if ask.parts.as_deref() == Some("all") {
        return all_parts(&paths, &kit, &request, ask.json || ask.csv);
    }
    let progress = progress(paths.len());
    let mut asked = Vec::with_capacity(paths.len());
    let mut failed = Vec::new();
    for path in &paths {
        match one(path, ask.parts.as_deref(), &kit, &request) {
            Ok(song) => asked.push(song),
            // A single song's fault is the command's; among many it is said and the rest go on.
            Err(error) if paths.len() == 1 => return Err(error),
            Err(error) => failed.push(error),
        }
        progress.inc(1);
    }
    progress.finish_and_clear();
    for error in &failed {
        say(&format!("barwright: {error:#}"));
    }
    if ask.json {
        let songs = asked
            .iter()
            .map(|a| {
                let score = &a.song.imported.score;
                json::song_fit(&a.song.source, score, &a.song.melody, &kit, &a.fit)
            })
            .collect();
        print_json(&json::fits(&kit, songs))?;
    } else if ask.csv {
        print(&kit::csv(&rows(&asked, &kit)))?;
    } else if let ([only], true) = (asked.as_slice(), failed.is_empty()) {
        let score = &only.song.imported.score;
        print(&kit::tell(&only.song.title, score, &only.song.melody.line, &kit, &only.fit))?;
    } else {
        print(&kit::table(&rows(&asked, &kit)))?;
    }
    if !failed.is_empty() {
        bail!("{} of {} songs can't be read; they are named above", failed.len(), paths.len());
    }
    let all_fit = asked.iter().all(|a| a.fit.verdict != Verdict::DoesNotFit);
    Ok(if all_fit { Outcome::Done } else { Outcome::DoesNotFit })
}

fn one(path: &Path, part: Option<&str>, kit: &Kit, request: &FitRequest) -> anyhow::Result<Asked> {
    let song = Song::read(path, part, Options::default())?;
    let fit = song.fit(kit, request);
    Ok(Asked { song, fit })
}

fn rows(asked: &[Asked], kit: &Kit) -> Vec<FitRow> {
    asked.iter().filter_map(|a| FitRow::new(a.song.title.clone(), kit, &a.fit)).collect()
}

/// A bar on the terminal for more than a handful of songs; nothing elsewhere.
fn progress(songs: usize) -> ProgressBar {
    if songs < 10 || !stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::new(songs as u64);
    if let Ok(style) = ProgressStyle::with_template("{pos} of {len} songs {wide_bar} {eta} left") {
        bar.set_style(style);
    }
    bar
}

/// Reads `any`, `none` or a number of semitones.
fn transpose(text: &str) -> Result<Transpose, Usage> {
    match text {
        "any" => Ok(Transpose::Any),
        "none" => Ok(Transpose::None),
        number => match number.parse::<i16>() {
            Ok(n) if (-24..=24).contains(&n) => Ok(Transpose::By(Interval::new(n))),
            _ => Err(Usage(format!(
                "`{text}` is no transposition; write any, none or semitones from -24 to 24"
            ))),
        },
    }
}

/// Whether every part of each song finds an instrument of its own.
fn all_parts(
    paths: &[std::path::PathBuf],
    kit: &Kit,
    request: &FitRequest,
    machine: bool,
) -> anyhow::Result<Outcome> {
    if machine {
        return Err(
            Usage("--parts all prints plain text only; leave --json and --csv out".into()).into()
        );
    }
    let mut text = String::new();
    let mut outcome = Outcome::Done;
    for path in paths {
        let song = Song::read(path, None, Options::default())?;
        let score = &song.imported.score;
        let lines: Vec<Line> = score
            .parts
            .iter()
            .enumerate()
            .map(|(i, part)| Line::top(i, None, &part.notes))
            .collect();
        let names: Vec<String> = score.parts.iter().map(|p| p.label().to_owned()).collect();
        let options = kit::fit_parts(&lines, song.analysis.key.best.key, kit, request);
        if !options.first().is_some_and(|o| o.lines.iter().all(|l| l.on.is_some())) {
            outcome = Outcome::DoesNotFit;
        }
        text.push_str(&kit::tell_parts(&song.title, &names, kit, &options));
    }
    print(&text)?;
    Ok(outcome)
}
