//! From a file to an analysed song, and from an arrangement to the files that are handed out.

use std::path::Path;

use anyhow::Context;

use super::files;
use super::run_folder::Made;
use crate::analysis::{self, Analysis};
use crate::arrange::Arrangement;
use crate::export::{json, midi, musicxml, setup_text};
use crate::import::{self, Imported, Melody, Warning};
use crate::kit::{self, Fit, FitRequest, Kit};
use crate::print::{self, PrintOptions, SongPage, Staves};
use crate::score::{Key, Mode, NoteName};

/// A song that was read and analysed.
pub(super) struct Song {
    /// The source's name in messages and documents.
    pub(super) source: String,
    /// Title, or file name where the score has none.
    pub(super) title: String,
    /// What was read.
    pub(super) imported: Imported,
    /// Its melody.
    pub(super) melody: Melody,
    /// What it is.
    pub(super) analysis: Analysis,
}

impl Song {
    /// Makes a song of a file's bytes.
    pub(super) fn from_bytes(
        path: &Path,
        bytes: &[u8],
        part: Option<&str>,
        options: analysis::Options,
    ) -> anyhow::Result<Song> {
        let shown = files::shown(path);
        let mut imported = import::read(bytes).with_context(|| shown.clone())?;
        let melody = import::melody(&imported.score, part).with_context(|| shown.clone())?;
        let (left_out, all) = melody.left_out;
        // A held note or two is no news; a tenth of the tune is.
        if left_out * 10 > all {
            let part = &imported.score.parts[melody.line.part];
            imported.warnings.push(Warning {
                place: format!("part {}", part.id),
                what: format!(
                    "the melody taken from it leaves out {left_out} of the {all} moments at which \
                     a note begins (they lie under held notes or in other voices); listen, and name \
                     another part or voice with --part if it isn't the tune"
                ),
            });
        }
        let analysis = analysis::analyse(&imported.score, &melody.line, options);
        let source = path.file_name().map_or(shown, |n| n.to_string_lossy().into_owned());
        let title = match imported.score.title.trim() {
            "" if path == Path::new("-") => "Song".to_owned(),
            "" => path.file_stem().map_or(source.clone(), |n| n.to_string_lossy().into_owned()),
            title => title.to_owned(),
        };
        Ok(Song { source, title, imported, melody, analysis })
    }

    /// What the reader warns of, in plain sentences.
    pub(super) fn warnings(&self) -> Vec<String> {
        self.imported.warnings.iter().map(|w| format!("{}: {}", w.place, w.what)).collect()
    }

    /// How the song fits a kit.
    pub(super) fn fit(&self, kit: &Kit, ask: &FitRequest) -> Fit {
        kit::fit(&self.imported.score, &self.melody.line, &self.analysis, kit, ask)
    }

    /// Reads a song and says its warnings on standard error.
    pub(super) fn read(
        path: &Path,
        part: Option<&str>,
        options: analysis::Options,
    ) -> anyhow::Result<Song> {
        let song = Song::from_bytes(path, &files::read(path)?, part, options)?;
        for warning in &song.imported.warnings {
            super::say(&format!("{}: {}: {}", song.source, warning.place, warning.what));
        }
        Ok(song)
    }
}

/// What a kit lacks for a song that doesn't fit it, in plain words.
pub(super) fn lacks(fit: &Fit) -> String {
    let missing: Vec<String> =
        fit.options.first().into_iter().flat_map(|o| &o.missing).map(ToString::to_string).collect();
    match missing.as_slice() {
        [] => "no instrument can carry its melody".to_owned(),
        list => format!("no bar for {}", list.join(", ")),
    }
}

/// The files of an arranged song, by their names below its folder, and its staff notation; that only
/// if `staff`.
pub(super) fn files(
    song: &Song,
    kit: &Kit,
    arrangement: &Arrangement,
    staff: bool,
    options: &PrintOptions,
) -> anyhow::Result<(Vec<Made>, Staves)> {
    let (score, parts) = musicxml::score_and_parts(&arrangement.score);
    let staves = match staff {
        true => engraved(kit, arrangement, options, &score, &parts),
        false => left_out(),
    };
    let warnings = song.warnings();
    let pack = print::song_pack(
        &SongPage {
            title: &song.title,
            composer: &song.imported.score.composer,
            source: &song.source,
            analysis: &song.analysis,
            kit,
            arrangement,
            staves: &staves,
            warnings: &warnings,
        },
        options,
    );
    let document = json::arrangement(&song.title, &song.source, kit, arrangement);
    let mut made = vec![
        ("score.musicxml".to_owned(), score.into_bytes()),
        ("score.mid".to_owned(), midi::write(&arrangement.score)),
        ("arrangement.json".to_owned(), json_bytes(&document)?),
        ("setup.json".to_owned(), json_bytes(&json::setups(&song.title, kit, arrangement))?),
        ("setup.txt".to_owned(), setup_text::write(&song.title, kit, arrangement).into_bytes()),
        ("pack.html".to_owned(), pack.into_bytes()),
    ];
    for (part, xml) in arrangement.score.parts.iter().zip(parts) {
        made.push((format!("parts/{}.musicxml", part.id), xml.into_bytes()));
    }
    Ok((made, staves))
}

/// The staff notation of an arranged song, for a pack that is made when its files are there already.
pub(super) fn staves(
    kit: &Kit,
    arrangement: &Arrangement,
    staff: bool,
    options: &PrintOptions,
) -> Staves {
    if !staff {
        return left_out();
    }
    let (score, parts) = musicxml::score_and_parts(&arrangement.score);
    engraved(kit, arrangement, options, &score, &parts)
}

fn left_out() -> Staves {
    Staves::left_out("Staff notation was left out (--no-staff); the letter charts are here.")
}

fn engraved(
    kit: &Kit,
    arrangement: &Arrangement,
    options: &PrintOptions,
    score: &str,
    parts: &[String],
) -> Staves {
    let wanted: Vec<Option<&str>> = print::needs_staff(kit, arrangement)
        .into_iter()
        .zip(parts)
        .map(|(needed, part)| needed.then_some(part.as_str()))
        .collect();
    Staves::engrave(score, &wanted, arrangement.key, options)
}

/// A JSON document as the bytes of a file.
fn json_bytes(document: &impl serde::Serialize) -> anyhow::Result<Vec<u8>> {
    let mut bytes = serde_json::to_vec_pretty(document)?;
    bytes.push(b'\n');
    Ok(bytes)
}

/// The kit that was asked for; the starter kit, and a word on standard error, where none was.
pub(super) fn kit(path: Option<&Path>) -> anyhow::Result<Kit> {
    match path {
        Some(path) => {
            let text = files::read_text(path)?;
            Kit::parse(&text).with_context(|| files::shown(path))
        }
        None => {
            super::say(
                "No --kit was given: the built-in starter kit is used (barwright kit starter prints it).",
            );
            Ok(kit::starter())
        }
    }
}

/// Reads a key such as `F`, `Em`, `D dorian`; a mode that is left out is `None`.
pub(super) fn parse_key(text: &str) -> Result<(NoteName, Option<Mode>), super::Usage> {
    let fault = || {
        super::Usage(format!(
            "`{text}` is no key; write a note name and a mode, such as F, Em, \"G major\" or \"D dorian\""
        ))
    };
    let text_trimmed = text.trim();
    let (name, mode) = match text_trimmed.split_once([' ', '-', '_']) {
        Some((name, mode)) => (name, mode.trim()),
        None => match text_trimmed.strip_suffix('m') {
            Some(name) => (name, "minor"),
            None => (text_trimmed, ""),
        },
    };
    let tonic = name.parse::<NoteName>().map_err(|_| fault())?;
    let mode = match mode.to_lowercase().as_str() {
        "" => None,
        "ionian" | "maj" => Some(Mode::Major),
        "aeolian" | "min" | "m" => Some(Mode::Minor),
        word => Some(Mode::ALL.into_iter().find(|m| m.name() == word).ok_or_else(fault)?),
    };
    Ok((tonic, mode))
}

/// A key that was asked for, in the song's own mode where none was named.
pub(super) fn wanted_key(text: &str, own: Key) -> Result<Key, super::Usage> {
    let (tonic, mode) = parse_key(text)?;
    Ok(Key::new(tonic, mode.unwrap_or(own.mode)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_in_the_usual_writings() {
        let key = |t: &str| parse_key(t).map(|(n, m)| (n.to_string(), m)).ok();
        assert_eq!(key("F"), Some(("F".into(), None)));
        assert_eq!(key("Em"), Some(("E".into(), Some(Mode::Minor))));
        assert_eq!(key("Bb major"), Some(("Bb".into(), Some(Mode::Major))));
        assert_eq!(key("D dorian"), Some(("D".into(), Some(Mode::Dorian))));
        assert_eq!(key("H"), None);
        assert_eq!(key("D dorean"), None);
        assert_eq!(key(""), None);
    }
}
