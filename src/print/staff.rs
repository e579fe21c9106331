//! Staff notation, engraved by Verovio and cut down to what a page needs.
//!
//! Each system becomes an SVG of its own, so that pages break between systems and never through one.
//! The glyphs of all SVGs of a pack are kept once, as symbols that the SVGs refer to; ids, empty
//! groups and the engraver's style sheets are dropped, so nothing can collide on one page.
//!
//! Only MusicXML that barwright wrote goes in. Verovio keeps global state (its id counter, its log),
//! so one toolkit behind one lock does all the work, whatever the number of threads.

use std::collections::BTreeMap;
use std::path::PathBuf;

#[cfg(feature = "engrave")]
use super::Names;
use super::PrintOptions;
use crate::score::Key;

/// The staff notation of one song, engraved.
#[derive(Clone, Debug, Default)]
pub struct Staves {
    /// The score, system by system.
    pub(super) score: Vec<String>,
    /// The parts, in the arrangement's order; empty for a part that wasn't asked for.
    pub(super) parts: Vec<Vec<String>>,
    /// Glyph shapes by SMuFL code point.
    pub(super) glyphs: BTreeMap<String, String>,
    /// Why there is no staff notation, in plain words; empty where there is.
    pub(super) without: String,
}

impl Staves {
    /// No staff notation, for this reason (a plain sentence that the pack prints).
    pub fn left_out(why: impl Into<String>) -> Staves {
        Staves { without: why.into(), ..Staves::default() }
    }

    /// The reason for which there is no staff notation; `None` where there is.
    pub fn reason(&self) -> Option<&str> {
        (!self.without.is_empty()).then_some(self.without.as_str())
    }

    /// Engraves a song: its score, and each part for which MusicXML is given.
    ///
    /// `parts` follow the arrangement's order, with `None` for a part that needs no staff. Without the
    /// feature `engrave`, or where the engraver fails, the result says so and the pack prints letter
    /// charts alone.
    pub fn engrave(
        score: &str,
        parts: &[Option<&str>],
        key: Key,
        options: &PrintOptions,
    ) -> Staves {
        engraver::engrave(score, parts, key, options)
    }
}

/// Closes the engraver at the end of a program. Returns the folder, in the machine's folder for
/// temporary files, that it leaves behind (its fonts, about 12 MB) for the caller to remove.
pub fn close_engraver() -> Option<PathBuf> {
    engraver::close()
}

/// Writes the names of the notes into a part as a line of lyrics right under the staff, before any
/// verses; `None` where the MusicXML can't be read.
#[cfg(feature = "engrave")]
pub(super) fn with_names(xml: &str, names: Names, key: Key) -> Option<String> {
    use crate::score::{NoteName, Step};
    let options = roxmltree::ParsingOptions { allow_dtd: true, ..Default::default() };
    let doc = roxmltree::Document::parse_with_options(xml, options).ok()?;
    // (position, what is put there, length of what it replaces)
    let mut edits: Vec<(usize, String, usize)> = Vec::new();
    let notes: Vec<_> = doc.descendants().filter(|n| n.has_tag_name("note")).collect();
    for (i, note) in notes.iter().enumerate() {
        let child = |name: &str| note.children().find(|c| c.has_tag_name(name));
        for lyric in note.children().filter(|c| c.has_tag_name("lyric")) {
            if let Some(attribute) = lyric.attribute_node("number") {
                let verse = attribute.value().parse::<u16>().unwrap_or(1);
                let at = attribute.range_value();
                edits.push((at.start, (verse + 1).to_string(), at.len()));
            }
        }
        let stopped =
            note.children().any(|c| c.has_tag_name("tie") && c.attribute("type") == Some("stop"));
        if child("chord").is_some() || child("grace").is_some() || stopped {
            continue;
        }
        let name_of = |n: &roxmltree::Node<'_, '_>| -> Option<String> {
            let pitch = n.children().find(|c| c.has_tag_name("pitch"))?;
            let text = |tag: &str| pitch.children().find(|c| c.has_tag_name(tag))?.text();
            let step = Step::from_letter(text("step")?.trim().chars().next()?)?;
            let alter = text("alter").and_then(|a| a.trim().parse::<i8>().ok()).unwrap_or(0);
            Some(names.of(NoteName::new(step, alter), key))
        };
        let Some(mut text) = name_of(note) else { continue };
        for other in notes.iter().skip(i + 1) {
            if !other.children().any(|c| c.has_tag_name("chord")) {
                break;
            }
            if let Some(name) = name_of(other) {
                text = format!("{text}·{name}");
            }
        }
        let at = note.range().end - "</note>".len();
        let lyric =
            format!(r#"<lyric number="1"><syllabic>single</syllabic><text>{text}</text></lyric>"#);
        // Before any verses of the note's own: MusicXML wants lyrics together.
        let at = child("lyric").map_or(at, |l| l.range().start);
        edits.push((at, lyric, 0));
    }
    edits.sort_by_key(|e| e.0);
    let mut out = String::with_capacity(xml.len() * 2);
    let mut done = 0;
    for (at, text, replaced) in edits {
        out.push_str(xml.get(done..at)?);
        out.push_str(&text);
        done = at + replaced;
    }
    out.push_str(xml.get(done..)?);
    Some(out)
}

/// Without the engraving library: the pack says so.
#[cfg(not(feature = "engrave"))]
mod engraver {
    use super::{Key, PathBuf, PrintOptions, Staves};

    pub(super) fn engrave(_: &str, _: &[Option<&str>], _: Key, _: &PrintOptions) -> Staves {
        Staves::left_out(
            "Staff notation was left out: this barwright was built without it (feature “engrave”).",
        )
    }

    pub(super) fn close() -> Option<PathBuf> {
        None
    }
}

#[cfg(feature = "engrave")]
mod engraver {
    use std::panic::{AssertUnwindSafe, catch_unwind};
    use std::sync::{Mutex, PoisonError};

    use verovio::{LogLevel, Toolkit};

    use super::super::svg;
    use super::{Key, Names, PathBuf, PrintOptions, Staves, with_names};

    static ENGRAVER: Mutex<Option<Toolkit>> = Mutex::new(None);

    /// Widths of the page in Verovio's units at which a staff (72 units) comes out about 10 mm high on
    /// a page 186 mm wide, for reading at one metre, and about 7 mm, the usual size, in the score.
    const PART_WIDTH: u32 = 1340;
    const SCORE_WIDTH: u32 = 1900;
    /// The same for large print: 13 mm and 9 mm.
    const LARGE_PART_WIDTH: u32 = 1030;
    const LARGE_SCORE_WIDTH: u32 = 1480;

    pub(super) fn engrave(
        score: &str,
        parts: &[Option<&str>],
        key: Key,
        options: &PrintOptions,
    ) -> Staves {
        let mut engraver = ENGRAVER.lock().unwrap_or_else(PoisonError::into_inner);
        // The crate panics where it can't lay its fonts out on the disk.
        let result = catch_unwind(AssertUnwindSafe(|| {
            let toolkit = engraver.get_or_insert_with(|| {
                verovio::set_log_level(LogLevel::Off);
                Toolkit::new()
            });
            song(toolkit, score, parts, key, options)
        }));
        match result {
            Ok(Some(staves)) => staves,
            Ok(None) => {
                Staves::left_out("Staff notation was left out: the engraver could not set it.")
            }
            Err(_) => {
                *engraver = None;
                Staves::left_out("Staff notation was left out: the engraver could not start.")
            }
        }
    }

    fn song(
        toolkit: &mut Toolkit,
        score: &str,
        parts: &[Option<&str>],
        key: Key,
        options: &PrintOptions,
    ) -> Option<Staves> {
        let mut staves = Staves::default();
        let (score_width, part_width) = if options.large {
            (LARGE_SCORE_WIDTH, LARGE_PART_WIDTH)
        } else {
            (SCORE_WIDTH, PART_WIDTH)
        };
        staves.score = systems(toolkit, score, score_width, 1, &mut staves)?;
        for part in parts {
            let Some(xml) = part else {
                staves.parts.push(Vec::new());
                continue;
            };
            let named = match options.names {
                Names::None => None,
                names => with_names(xml, names, key),
            };
            let systems =
                systems(toolkit, named.as_deref().unwrap_or(xml), part_width, 0, &mut staves)?;
            staves.parts.push(systems);
        }
        Some(staves)
    }

    fn systems(
        toolkit: &mut Toolkit,
        xml: &str,
        width: u32,
        // Measure numbers: 1 at every measure, 0 at the start of a system alone, because in a part they
        // would lie on the hands.
        numbers: u8,
        staves: &mut Staves,
    ) -> Option<Vec<String>> {
        // A page too low for two systems makes each system a page of its own.
        let options = format!(
            r#"{{"inputFrom":"musicxml","breaks":"auto","pageWidth":{width},"pageHeight":100,
            "pageMarginLeft":10,"pageMarginRight":10,"pageMarginTop":10,"pageMarginBottom":10,
            "scale":100,"adjustPageHeight":true,"justifyVertically":false,"header":"none",
            "footer":"none","font":"Leland","smuflTextFont":"none","svgViewBox":true,
            "svgRemoveXlink":true,"svgFormatRaw":true,"lyricSize":5.0,"mnumInterval":{numbers}}}"#
        );
        toolkit.set_options(&options).ok()?;
        toolkit.load_data(xml).ok()?;
        let pages = toolkit.page_count();
        let mut made = Vec::with_capacity(pages as usize);
        for page in 1..=pages {
            let raw = toolkit.render_to_svg(page).ok()?;
            made.push(svg::slim(&raw, &mut staves.glyphs)?);
        }
        Some(made)
    }

    pub(super) fn close() -> Option<PathBuf> {
        let mut engraver = ENGRAVER.lock().unwrap_or_else(PoisonError::into_inner);
        let folder = engraver.take()?.resource_path();
        // The folder is the one that the crate made for itself, known by its name.
        folder.contains("verovio-data-").then(|| PathBuf::from(folder))
    }
}
