//! A fit in plain words: one song in full, many as a table or as CSV.

use super::why::{counted, moved_to};
use super::{Fit, FitOption, PartsOption, Verdict};
use crate::kit::describe::{ROW_KEY, capital, listed, setup_lines};
use crate::kit::people::Kit;
use crate::score::{Interval, Line, Note, Score};

impl Verdict {
    /// `fits`, `fits with bar changes` or `does not fit`.
    pub fn name(self) -> &'static str {
        match self {
            Verdict::Fits => "fits",
            Verdict::FitsWithChanges => "fits with bar changes",
            Verdict::DoesNotFit => "does not fit",
        }
    }
}

/// The measure number of a note of the line.
fn measure_of(score: &Score, line: &Line, note: usize) -> String {
    let at = line.notes.get(note).and_then(|n| score.measure_at(n.onset));
    at.map_or_else(|| "?".to_owned(), |m| m.number.clone())
}

/// One song in plain words: the verdict, what to do to the bars, every changed note by its measure,
/// then the other ways.
pub fn tell(song: &str, score: &Score, line: &Line, kit: &Kit, fit: &Fit) -> String {
    let Some(best) = fit.options.first() else {
        let verdict = fit.verdict.name();
        let (low, high) = kit.singing;
        return match line.range() {
            None => format!("{song}: {verdict}. There is nothing to play: it has no notes.\n"),
            Some((from, to)) => format!(
                "{song}: {verdict}. No key that was asked for lies within the singing range, {low} to {high}: \
                 the tune runs from {from} to {to}.\n\n\
                 What to do: leave out --singable, allow other keys, or widen `singing` in the kit file.\n"
            ),
        };
    };
    let mut text = match fit.verdict {
        Verdict::DoesNotFit => format!("{song}: does not fit. Nearest: {}.\n", best.why),
        verdict => format!("{song}: {}. {}.\n", verdict.name(), best.why),
    };
    if !best.setups.is_empty() {
        text.push_str("\nThe bars\n");
        for setup in &best.setups {
            text.push_str(&setup_lines(kit, setup));
        }
        text.push_str(&format!("    ({ROW_KEY})\n"));
    }
    for change in &best.changes {
        let measure = measure_of(score, line, change.from_note);
        text.push_str(&format!("  Before measure {measure}:\n{}", setup_lines(kit, &change.setup)));
    }
    if best.carriers.len() > 1 {
        text.push_str("\nWho has the tune\n");
        for carrier in &best.carriers {
            let name = kit.instruments.get(carrier.instrument).map_or("", |at| at.name.as_str());
            let measure = measure_of(score, line, carrier.from_note);
            text.push_str(&format!(
                "  from measure {measure} (note {}): {name}\n",
                carrier.from_note + 1
            ));
        }
    }
    if !best.changed.is_empty() {
        text.push_str("\nNotes changed\n");
        for change in &best.changed {
            let Some(note) = line.notes.get(change.note) else { continue };
            let measure = measure_of(score, line, change.note);
            let moved = |p: crate::score::Pitch| {
                let fifths = i16::from(best.key.fifths());
                let midi = p.midi() + best.transpose;
                crate::score::Pitch::spelled(midi, fifths.clamp(-7, 7) as i8)
            };
            let to = change.to.map_or("a rest".to_owned(), |p| moved(p).to_string());
            text.push_str(&format!("  measure {measure}: {} becomes {to}\n", moved(note.pitch)));
        }
    }
    if fit.options.len() > 1 {
        text.push_str("\nOther ways\n");
        for option in &fit.options[1..] {
            text.push_str(&format!("  {} (cost {:.2})\n", option.why, option.cost));
        }
    }
    if fit.verdict == Verdict::DoesNotFit {
        let lacks = |n: &&Note| best.missing.iter().any(|p| p.midi() == n.midi() + best.transpose);
        let lacking = line.notes.iter().filter(lacks).count();
        text.push_str(&format!(
            "\nWhat to do: let {} change (--changed-notes {lacking}), add the missing bars to the kit, or, \
             where you named a key, allow others.\n",
            counted(lacking, "note")
        ));
    }
    text
}

/// A song of several parts in plain words: whether every part finds an instrument of its own, in the
/// best key, then the other keys. `names` are the parts' names by the lines' order.
pub fn tell_parts(song: &str, names: &[String], kit: &Kit, options: &[PartsOption]) -> String {
    let Some(best) = options.first() else {
        return format!("{song}: there is nothing to play.\n");
    };
    let covered = |o: &PartsOption| o.lines.iter().filter(|l| l.on.is_some()).count();
    let moved = best.transpose.semitones();
    let mut text = match covered(best) {
        all if all == best.lines.len() => {
            format!("{song}: every part can be played. {}.\n", moved_to(moved, best.key))
        }
        some => format!(
            "{song}: {some} of {} parts can be played at once, at best. {}.\n",
            best.lines.len(),
            moved_to(moved, best.key)
        ),
    };
    for part in &best.lines {
        let name = names.get(part.line).map_or("", String::as_str);
        match &part.on {
            Some((instrument, _, setup)) => {
                let at = kit.instruments.get(*instrument).map_or("", |i| i.name.as_str());
                text.push_str(&format!("\n{name}: {at}\n{}", setup_lines(kit, setup)));
            }
            None => text.push_str(&format!("\n{name}: no instrument is left that can take it\n")),
        }
    }
    if options.len() > 1 {
        text.push_str("\nOther keys\n");
        for option in &options[1..] {
            text.push_str(&format!(
                "  {}: {} of {} parts (cost {:.2})\n",
                moved_to(option.transpose.semitones(), option.key),
                covered(option),
                option.lines.len(),
                option.cost
            ));
        }
    }
    text
}

/// One song's line in the table of many.
#[derive(Clone, PartialEq, Debug)]
pub struct FitRow {
    /// The song.
    pub song: String,
    /// The verdict.
    pub verdict: Verdict,
    /// The key, as the best option has it.
    pub key: String,
    /// How far the best option moves the song.
    pub transpose: Interval,
    /// The ids of the instruments that carry the melody, joined by ` + `.
    pub melody: String,
    /// Spare bars put in, and bars taken off.
    pub bars: (usize, usize),
    /// Pitches without a bar.
    pub missing: String,
    /// Number of notes changed.
    pub changed: usize,
    /// The cost.
    pub cost: f64,
}

impl FitRow {
    /// The line of a fit's best option; `None` where it has none.
    pub fn new(song: impl Into<String>, kit: &Kit, fit: &Fit) -> Option<FitRow> {
        let best: &FitOption = fit.options.first()?;
        let mut ids: Vec<String> = Vec::new();
        for setup in &best.setups {
            ids.extend(kit.instruments.get(setup.instrument).map(|at| at.id.clone()));
        }
        let moves = best.setups.iter().flat_map(|s| s.moves(kit));
        let (put_in, off): (Vec<_>, Vec<_>) =
            moves.partition(|m| matches!(m.to, super::State::Swap(_) | super::State::Keep));
        let missing: Vec<String> = best.missing.iter().map(ToString::to_string).collect();
        Some(FitRow {
            song: song.into(),
            verdict: fit.verdict,
            key: best.key.to_string(),
            transpose: best.transpose,
            melody: ids.join(" + "),
            bars: (put_in.len(), off.len()),
            missing: missing.join(" "),
            changed: best.changed.len(),
            cost: best.cost,
        })
    }

    fn cells(&self) -> [String; 9] {
        [
            self.song.clone(),
            self.verdict.name().to_owned(),
            self.key.clone(),
            format!("{:+}", self.transpose.semitones()),
            self.melody.clone(),
            self.bars.0.to_string(),
            self.bars.1.to_string(),
            if self.changed > 0 { self.changed.to_string() } else { String::new() },
            self.missing.clone(),
        ]
    }
}

const HEADS: [&str; 9] = [
    "song",
    "verdict",
    "key",
    "moved by",
    "melody on",
    "bars in",
    "bars off",
    "changed",
    "missing",
];

/// Many songs as a table, sorted by verdict and then as given.
pub fn table(rows: &[FitRow]) -> String {
    let mut rows: Vec<&FitRow> = rows.iter().collect();
    rows.sort_by_key(|r| r.verdict);
    let cells: Vec<[String; 9]> =
        std::iter::once(HEADS.map(capital)).chain(rows.iter().map(|r| r.cells())).collect();
    let width: Vec<usize> = (0..HEADS.len())
        .map(|c| cells.iter().map(|row| row[c].chars().count()).max().unwrap_or(0))
        .collect();
    let mut text = String::new();
    for row in cells {
        let line: Vec<String> = row
            .iter()
            .zip(&width)
            .map(|(cell, width)| format!("{cell:<width$}", width = *width))
            .collect();
        text.push_str(line.join("  ").trim_end());
        text.push('\n');
    }
    let count = |v: Verdict| rows.iter().filter(|r| r.verdict == v).count();
    let sums: Vec<String> = [Verdict::Fits, Verdict::FitsWithChanges, Verdict::DoesNotFit]
        .into_iter()
        .map(|v| format!("{}: {}", v.name(), count(v)))
        .collect();
    text.push_str(&format!("{}\n", listed(&sums)));
    text
}

/// Many songs as CSV (RFC 4180), in the order given, with a line of heads.
pub fn csv(rows: &[FitRow]) -> String {
    let field = |text: &str| match text.contains([',', '"', '\n', '\r']) {
        true => format!("\"{}\"", text.replace('"', "\"\"")),
        false => text.to_owned(),
    };
    let mut text = format!("{},cost\r\n", HEADS.map(field).join(","));
    for row in rows {
        let cells: Vec<String> = row.cells().iter().map(|c| field(c)).collect();
        text.push_str(&format!("{},{:.3}\r\n", cells.join(","), row.cost));
    }
    text
}
