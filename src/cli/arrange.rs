//! `barwright arrange`: one song into parts, charts and bar lists.

use std::fmt::Write as _;
use std::path::Path;

use anyhow::Context;

use super::args::{self, Drone};
use super::song::{self, Song};
use super::{Outcome, Usage, files, print, print_json, say};
use crate::analysis::Options;
use crate::arrange::{ArrangeError, ArrangeRequest, Arrangement, DronePattern, Level, RoleAsk};
use crate::export::json;
use crate::kit::{self, FitRequest, Kit, Verdict};

pub(super) fn run(ask: &args::Arrange) -> anyhow::Result<Outcome> {
    let request = request(ask)?;
    let song = Song::read(&ask.song, ask.part.as_deref(), Options::default())?;
    let kit = song::kit(ask.making.kit.as_deref())?;
    let key = match &ask.key {
        Some(text) => Some(song::wanted_key(text, song.analysis.key.best.key)?),
        None => None,
    };
    let fit_ask = FitRequest {
        key,
        bars: ask.bars.map(usize::from),
        changed_notes: ask.changed_notes.map(usize::from),
        ..FitRequest::default()
    };
    let fit = song.fit(&kit, &fit_ask);
    let option = match fit.options.first() {
        Some(option) if fit.verdict != Verdict::DoesNotFit => option,
        _ => {
            say(&format!("barwright: {}: {}", song.source, why_not(&fit, key.is_some())));
            return Ok(Outcome::DoesNotFit);
        }
    };
    let arrangement = song.arrange(&kit, option, &request)?;
    let slug = files::slug(&song.title);
    let folder = files::song_folder(&ask.making.out, &slug, &song.source, ask.making.force)?;
    let (made, _) =
        song::files(&song, &kit, &arrangement, !ask.making.no_staff, &ask.making.print_options())?;
    files::write_all(&folder, &made)?;
    if ask.making.pdf {
        super::pdf::print(&folder.join("pack.html"), &folder.join("pack.pdf"))?;
    }
    if ask.making.json {
        print_json(&json::arrangement(&song.title, &song.source, &kit, &arrangement))?;
    } else {
        print(&summary(&song, &kit, &arrangement, &folder))?;
    }
    Ok(Outcome::Done)
}

/// The arranger's request from the arguments.
fn request(ask: &args::Arrange) -> anyhow::Result<ArrangeRequest> {
    let usage = |error: ArrangeError| Usage(error.to_string());
    let drone = match ask.drone {
        None | Some(Drone::None) => None,
        Some(Drone::Chord) => Some(DronePattern::Chord),
        Some(Drone::Broken) => Some(DronePattern::Broken),
        Some(Drone::Crossover) => Some(DronePattern::Crossover),
        Some(Drone::Level) => Some(DronePattern::Level),
        Some(Drone::Moving) => Some(DronePattern::Moving),
    };
    Ok(ArrangeRequest {
        drone,
        no_drone: matches!(ask.drone, Some(Drone::None)),
        with: ask
            .with
            .iter()
            .map(|t| t.parse::<RoleAsk>())
            .collect::<Result<_, _>>()
            .map_err(usage)?,
        without: ask.without.iter().map(|t| t.parse()).collect::<Result<_, _>>().map_err(usage)?,
        intro: ask.intro,
        interlude: ask.interlude,
        level: ask.level.as_deref().map_or(Ok(Level::default()), str::parse).map_err(usage)?,
        colour_word: ask.colour_word.clone(),
    })
}

/// Why a song can't be arranged, in one line that says what to do next.
fn why_not(fit: &kit::Fit, key_was_asked: bool) -> String {
    let lacks = song::lacks(fit);
    let next = if key_was_asked {
        "leave --key out to try every key"
    } else {
        "see `barwright fit` for what is nearest, or let notes change with --changed-notes N"
    };
    format!("does not fit this kit: {lacks}; {next}")
}

/// Three lines: what was made, what to look at first, what to mind.
fn summary(song: &Song, kit: &Kit, arrangement: &Arrangement, folder: &Path) -> String {
    let mut text = String::new();
    let players = arrangement.parts.iter().filter(|p| p.instrument.is_some()).count();
    let moved: usize = arrangement.setups.iter().map(|s| s.moves(kit).len()).sum();
    let _ = writeln!(
        text,
        "Made: {} in {} for {players} instrument parts, in {}",
        song.title,
        arrangement.key,
        folder.display()
    );
    let _ = writeln!(
        text,
        "Look first at: {} (overview, then a page for each player); set up from setup.txt, {moved} bars to move",
        folder.join("pack.html").display()
    );
    let failed: Vec<&str> =
        arrangement.checks.iter().filter(|c| !c.passed).map(|c| c.detail.as_str()).collect();
    let thinned: Vec<String> = arrangement
        .parts
        .iter()
        .filter(|p| !p.changes.is_empty())
        .map(|plan| {
            let who = plan.player.and_then(|p| kit.players.get(p)).map(|p| p.name.as_str());
            format!(
                "{} ({}): {}",
                who.unwrap_or("voice"),
                plan.role.name(),
                plan.changes.join("; ")
            )
        })
        .collect();
    let mind = match (failed.as_slice(), thinned.as_slice()) {
        ([], []) => "the cautions on the setup pages; what a client or pupil may safely do is for the licensed practitioner and local rules to decide".to_owned(),
        ([], thinned) => thinned.join(". "),
        (failed, _) => failed.join("; "),
    };
    let _ = writeln!(text, "Mind: {mind}");
    text
}

impl Song {
    /// Arranges the song as a fit option says; an ask that the kit can't meet is wrong usage.
    pub(super) fn arrange(
        &self,
        kit: &Kit,
        option: &kit::FitOption,
        request: &ArrangeRequest,
    ) -> anyhow::Result<Arrangement> {
        let made = crate::arrange::arrange(
            &self.imported.score,
            &self.melody.line,
            &self.analysis,
            kit,
            option,
            request,
        );
        match made {
            Ok(arrangement) => Ok(arrangement),
            Err(
                error @ (ArrangeError::UnknownInstrument { .. }
                | ArrangeError::UnknownPlayer { .. }
                | ArrangeError::NotAllowed { .. }
                | ArrangeError::AskedTwice(_)),
            ) => Err(Usage(error.to_string()).into()),
            Err(error) => Err(error).with_context(|| self.source.clone()),
        }
    }
}
