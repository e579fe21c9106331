//! MusicXML 1.0 to 4.0, partwise and timewise, to a [`Score`].
//!
//! Each part is read in integer ticks of one common grid, measure by measure; lengths are settled when
//! all parts are known, and exact times are made at the very end. Reading ticks straight into
//! fractions was rejected: adding fractions costs more than reading the XML.
//!
//! Rules that readers differ on, settled here: measure starts add up from what the measures hold
//! ([`assemble`]), `duration` rules over type and dots ([`part`]), ties ([`ties`]), sounding pitch
//! ([`raw::sounding`]).

mod assemble;
mod head;
mod note;
mod part;
mod raw;
mod signs;
mod ties;
mod warn;
mod xml;

use std::collections::HashMap;

use roxmltree::{Document, Node, ParsingOptions};

use super::limits::{
    MAX_ATTRIBUTES, MAX_BYTES, MAX_DEPTH, MAX_MEASURES, MAX_NODES, MAX_NOTES, MAX_PARTS,
};
use super::{Error, Position, Warning};
use crate::score::{Score, Time};
use part::{PartReader, Stop};
use raw::{Bar, RawPart};
use warn::Warnings;
use xml::{Decimal, elements, lcm, position, text};

/// Parses an XML text within the limits. External entities are never fetched.
pub(super) fn parse(text: &str) -> Result<Document<'_>, Error> {
    let bytes = text.as_bytes();
    // The parser makes room for a node at every `<` and an attribute at every `=` beforehand, so
    // these counts bound its memory. An element has at most two `<`.
    let count = |wanted: u8| bytes.iter().filter(|b| **b == wanted).count();
    if count(b'<') > 2 * MAX_NODES as usize {
        return Err(Error::TooMany { what: "XML elements", limit: MAX_NODES as usize });
    }
    if count(b'=') > MAX_ATTRIBUTES {
        return Err(Error::TooMany { what: "XML attributes", limit: MAX_ATTRIBUTES });
    }
    check_entities(text)?;
    let options = ParsingOptions { allow_dtd: true, nodes_limit: MAX_NODES, entity_resolver: None };
    let document = Document::parse_with_options(text, options).map_err(|e| match e {
        roxmltree::Error::NodesLimitReached => {
            Error::TooMany { what: "XML nodes", limit: MAX_NODES as usize }
        }
        e => Error::Xml {
            at: Position { line: e.pos().row, column: e.pos().col },
            what: without_position(e.to_string()),
        },
    })?;
    check_depth(&document)?;
    Ok(document)
}

/// Entities of the file's own may not blow its text up beyond the limit. The parser bounds nesting (10
/// deep, 255 references from one) but not how often the text refers to them.
fn check_entities(text: &str) -> Result<(), Error> {
    let Some(first) = text.find("<!ENTITY") else { return Ok(()) };
    // No entity is longer than the declarations together; they end before the root element.
    let declared = text.rfind("<!ENTITY").map_or(0, |last| {
        let rest = text.get(last..).unwrap_or("");
        last - first + rest.find('>').unwrap_or(rest.len())
    });
    let nested = text.get(first..first + declared).is_some_and(|d| d.contains('&'));
    let references = text.bytes().filter(|b| *b == b'&').count();
    let most = references.saturating_mul(declared).saturating_mul(if nested { 255 } else { 1 });
    if most > MAX_BYTES {
        return Err(Error::TooLarge {
            what: "the text with its entities spelled out".to_owned(),
            limit: MAX_BYTES,
        });
    }
    Ok(())
}

fn check_depth(document: &Document<'_>) -> Result<(), Error> {
    // A node's parent comes before it, so one pass in document order knows every depth.
    let mut depths: Vec<u16> = Vec::with_capacity(document.descendants().len());
    for node in document.descendants() {
        let above = node.parent().and_then(|p| depths.get(p.id().get_usize()));
        let depth = above.map_or(0, |d| d + 1);
        if usize::from(depth) > MAX_DEPTH {
            return Err(Error::TooDeep { limit: MAX_DEPTH, at: position(node) });
        }
        depths.push(depth);
    }
    Ok(())
}

/// The parser's own message says the position at its end; ours says it in front.
fn without_position(message: String) -> String {
    match message.rsplit_once(" at ") {
        Some((what, tail)) if tail.chars().all(|c| c.is_ascii_digit() || c == ':') => {
            what.to_owned()
        }
        _ => message,
    }
}

/// The measures of one part: the measure's index and the element that holds the part's music in it.
struct Rows<'a, 'i> {
    id: String,
    measures: Vec<(u32, Node<'a, 'i>)>,
}

/// Reads a MusicXML text.
pub(super) fn read(bytes: &[u8]) -> Result<(Score, Vec<Warning>), Error> {
    let (text, guessed) = super::text::decode(bytes)?;
    let document = parse(&text)?;
    let root = document.root_element();
    let (rows, bars) = match root.tag_name().name() {
        "score-partwise" => partwise(root)?,
        "score-timewise" => timewise(root)?,
        other => {
            let root_name = other.chars().take(40).collect();
            return Err(Error::NotMusicXml { root: root_name, at: position(root) });
        }
    };
    if bars.is_empty() {
        return Err(Error::NoMeasures { at: position(root) });
    }
    let mut grid = grid(&rows)?;
    loop {
        let mut warnings = Warnings::default();
        if let Some(warning) = &guessed {
            warnings.add(warning.clone());
        }
        match read_on(root, &rows, &bars, grid, &mut warnings) {
            Ok(score) => return Ok((score, warnings.into_vec())),
            Err(Stop::Fault(fault)) => return Err(fault),
            // Each round at least doubles a bounded number.
            Err(Stop::Finer(factor)) => grid = grid.saturating_mul(factor.max(2)),
        }
    }
}

fn partwise<'a, 'i>(root: Node<'a, 'i>) -> Result<(Vec<Rows<'a, 'i>>, Vec<Node<'a, 'i>>), Error> {
    let mut rows: Vec<Rows<'a, 'i>> = Vec::new();
    let mut bars: Vec<Node<'a, 'i>> = Vec::new();
    for part in elements(root).filter(|n| n.tag_name().name() == "part") {
        if rows.len() >= MAX_PARTS {
            return Err(Error::TooMany { what: "parts", limit: MAX_PARTS });
        }
        let mut measures = Vec::new();
        for measure in elements(part).filter(|n| n.tag_name().name() == "measure") {
            let index = measures.len();
            if index >= MAX_MEASURES {
                return Err(Error::TooMany { what: "measures", limit: MAX_MEASURES });
            }
            if index == bars.len() {
                bars.push(measure);
            }
            measures.push((index as u32, measure));
        }
        rows.push(Rows { id: part.attribute("id").unwrap_or("").to_owned(), measures });
    }
    Ok((rows, bars))
}

fn timewise<'a, 'i>(root: Node<'a, 'i>) -> Result<(Vec<Rows<'a, 'i>>, Vec<Node<'a, 'i>>), Error> {
    let mut rows: Vec<Rows<'a, 'i>> = Vec::new();
    let mut places: HashMap<&'a str, usize> = HashMap::new();
    let mut bars: Vec<Node<'a, 'i>> = Vec::new();
    for measure in elements(root).filter(|n| n.tag_name().name() == "measure") {
        let index = bars.len();
        if index >= MAX_MEASURES {
            return Err(Error::TooMany { what: "measures", limit: MAX_MEASURES });
        }
        bars.push(measure);
        for part in elements(measure).filter(|n| n.tag_name().name() == "part") {
            let id = part.attribute("id").unwrap_or("");
            let place = *places.entry(id).or_insert(rows.len());
            if place == rows.len() {
                if rows.len() >= MAX_PARTS {
                    return Err(Error::TooMany { what: "parts", limit: MAX_PARTS });
                }
                rows.push(Rows { id: id.to_owned(), measures: Vec::new() });
            }
            if let Some(row) = rows.get_mut(place) {
                row.measures.push((index as u32, part));
            }
        }
    }
    Ok((rows, bars))
}

/// The coarsest grid on which every tick of every part and every measure of every meter is whole.
fn grid(rows: &[Rows<'_, '_>]) -> Result<i64, Error> {
    let mut grid = 1i64;
    let mut refine = |by: i64, node: Node<'_, '_>| {
        if by > 0 && grid % by != 0 {
            grid = lcm(grid, by)
                .filter(|g| *g <= Time::MAX_DENOMINATOR)
                .ok_or_else(|| part::too_fine(node))?;
        }
        Ok::<(), Error>(())
    };
    for measure in rows.iter().flat_map(|r| &r.measures) {
        for attributes in elements(measure.1).filter(|n| n.tag_name().name() == "attributes") {
            for node in elements(attributes) {
                match node.tag_name().name() {
                    "divisions" => {
                        if let Some(d) = Decimal::parse(text(node)) {
                            refine(d.n, node)?;
                        }
                    }
                    "time" => {
                        for unit in elements(node).filter(|n| n.tag_name().name() == "beat-type") {
                            let over = text(unit).parse::<i64>().ok().filter(|n| *n <= 1024);
                            // A measure in n-th notes is 4/n of a quarter times a whole number.
                            refine(over.map_or(1, |n| n / xml::gcd(n, 4).max(1)), unit)?;
                        }
                    }
                    _ => {}
                }
            }
        }
    }
    Ok(grid)
}

/// Reads the whole score on a grid.
fn read_on(
    root: Node<'_, '_>,
    rows: &[Rows<'_, '_>],
    measures: &[Node<'_, '_>],
    grid: i64,
    warnings: &mut Warnings,
) -> Result<Score, Stop> {
    let mut bars: Vec<Bar> = measures
        .iter()
        .map(|m| Bar {
            number: m.attribute("number").unwrap_or("").trim().to_owned(),
            implicit: m.attribute("implicit") == Some("yes"),
            offset: m.range().start,
            ..Bar::default()
        })
        .collect();
    let listed = head::parts(root);
    let mut taken: HashMap<String, usize> = HashMap::new();
    let mut notes_left = MAX_NOTES;
    let mut parts = Vec::with_capacity(rows.len());
    for (i, row) in rows.iter().enumerate() {
        let known = listed.iter().find(|l| l.id == row.id);
        if known.is_none() {
            warnings.add(Warning {
                place: format!("part {}", row.id),
                what: "it isn't in the list of parts; read all the same".to_owned(),
            });
        }
        let mut id = if row.id.is_empty() { format!("P{}", i + 1) } else { row.id.clone() };
        let again = taken.entry(id.clone()).or_default();
        *again += 1;
        if *again > 1 {
            let unique = format!("{id}-{again}");
            warnings.add(Warning {
                place: format!("part {id}"),
                what: format!("another part has the same id; this one is called {unique}"),
            });
            id = unique;
        }
        if row.measures.len() != measures.len() {
            warnings.add(Warning {
                place: format!("part {id}"),
                what: format!(
                    "it has {} measures, the score {}; the others are empty",
                    row.measures.len(),
                    measures.len()
                ),
            });
        }
        let out = RawPart {
            id,
            name: known.map(|l| l.name.clone()).unwrap_or_default(),
            sound: known.map(|l| l.sound.clone()).unwrap_or_default(),
            staves: 1,
            ..RawPart::default()
        };
        let mut reader = PartReader::new(out, grid, warnings, &mut notes_left);
        for (index, content) in &row.measures {
            reader.measure(*index, *content, &mut bars)?;
        }
        parts.push(reader.out);
    }
    let too_long = |offset: usize| {
        let at = root.document().text_pos_at(offset);
        Error::TooLong { limit: Time::MAX_QUARTERS, at: Position { line: at.row, column: at.col } }
    };
    let mut score = assemble::score(bars, parts, grid, warnings, too_long)?;
    score.title = head::title(root);
    score.composer = head::composer(root);
    Ok(score)
}
