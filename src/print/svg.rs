//! Cuts an engraved SVG down: no ids, no style sheets, shared glyphs.

use std::collections::BTreeMap;
use std::fmt::Write;

use roxmltree::{Document, Node};

use super::bars::escape;

/// Classes that the pack's style sheet sets.
const KEPT: [&str; 8] = ["fing", "reh", "tempo", "ending", "dir", "mNum", "harm", "verse"];

/// Attributes that draw.
const DRAWN: [&str; 26] = [
    "viewBox",
    "x",
    "y",
    "x1",
    "y1",
    "x2",
    "y2",
    "width",
    "height",
    "d",
    "points",
    "transform",
    "cx",
    "cy",
    "r",
    "rx",
    "ry",
    "fill",
    "fill-opacity",
    "stroke",
    "stroke-width",
    "stroke-dasharray",
    "stroke-linecap",
    "stroke-linejoin",
    "font-size",
    "text-anchor",
];

/// The SVG with its glyphs moved into `glyphs` (by code point); `None` where it can't be read.
pub(super) fn slim(raw: &str, glyphs: &mut BTreeMap<String, String>) -> Option<String> {
    let doc = Document::parse(raw).ok()?;
    let root = doc.root_element();
    for glyph in root.children().filter(|n| n.has_tag_name(tag("defs"))).flat_map(|d| d.children())
    {
        let Some(code) = glyph.attribute("id").and_then(|id| id.split('-').next()) else {
            continue;
        };
        if !glyphs.contains_key(code) {
            let mut shape = String::new();
            children(glyph, &mut shape);
            glyphs.insert(code.to_owned(), shape);
        }
    }
    let inner = root.children().find(|n| n.has_tag_name(tag("svg")))?;
    let view = inner.attribute("viewBox")?;
    let mut out = String::with_capacity(raw.len() / 2);
    let _ = write!(out, r#"<svg viewBox="{view}" aria-hidden="true">"#);
    children(inner, &mut out);
    out.push_str("</svg>");
    Some(out)
}

fn tag(name: &str) -> (&'static str, &str) {
    ("http://www.w3.org/2000/svg", name)
}

fn children(node: Node<'_, '_>, out: &mut String) {
    for child in node.children() {
        if child.is_text() {
            out.push_str(&escape(&readable(child.text().unwrap_or(""))));
        } else if child.is_element() {
            element(child, out);
        }
    }
}

fn element(node: Node<'_, '_>, out: &mut String) {
    let name = node.tag_name().name();
    if matches!(name, "desc" | "style" | "title" | "defs") {
        return;
    }
    let mut attributes = String::new();
    if name == "g"
        && let Some(class) = node.attribute("class").and_then(|c| c.split(' ').next())
        && KEPT.contains(&class)
    {
        let _ = write!(attributes, r#" class="{class}""#);
    }
    for attribute in node.attributes() {
        match attribute.name() {
            "href" => {
                let code = attribute.value().split('-').next().unwrap_or("");
                let _ =
                    write!(attributes, r##" href="#g{}""##, escape(code.trim_start_matches('#')));
            }
            "font-size" if attribute.value() == "0px" => {}
            "font-size" if stands_in(node) => {
                let size = beside(node).unwrap_or(attribute.value());
                let _ = write!(attributes, r#" font-size="{}""#, escape(size));
            }
            a if DRAWN.contains(&a) => {
                let _ = write!(attributes, r#" {a}="{}""#, escape(attribute.value()));
            }
            _ => {}
        }
    }
    // Groups that say nothing are opened up; empty ones vanish.
    let bare = matches!(name, "g" | "tspan") && attributes.is_empty();
    let before = out.len();
    if !bare {
        let _ = write!(out, "<{name}{attributes}>");
    }
    let inside = out.len();
    children(node, out);
    if bare {
        return;
    }
    if out.len() == inside {
        if matches!(name, "g" | "text" | "tspan") {
            out.truncate(before);
            return;
        }
        out.truncate(out.len() - 1);
        out.push_str("/>");
    } else {
        let _ = write!(out, "</{name}>");
    }
}

/// Whether an element's text is a sign of the music font alone, for which [`readable`] puts another.
fn stands_in(node: Node<'_, '_>) -> bool {
    let text = node.text().unwrap_or("").trim();
    !text.is_empty() && readable(text) != text && text.chars().count() == 1
}

/// The size of the letters before an element: the music font's own size is too large for a sign of a
/// text font.
fn beside<'a>(node: Node<'a, '_>) -> Option<&'a str> {
    node.prev_siblings().skip(1).find_map(|n| n.attribute("font-size"))
}

/// Text in which the music font's private characters are replaced by ones that any font has.
fn readable(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\u{E1D5}' | '\u{ECA5}' => '♩',
            '\u{E1D7}' | '\u{ECA7}' => '♪',
            '\u{E1E7}' | '\u{ECB7}' => '.',
            // Accidentals of staves, of chord symbols and of figured bass, which Verovio uses in chords.
            '\u{E260}' | '\u{ED60}' | '\u{EA64}' => '♭',
            '\u{E261}' | '\u{ED61}' | '\u{EA65}' => '♮',
            '\u{E262}' | '\u{ED62}' | '\u{EA66}' => '♯',
            '\u{E263}' | '\u{ED63}' | '\u{EA67}' => '𝄪',
            '\u{E264}' | '\u{ED64}' | '\u{EA63}' => '𝄫',
            '\u{E551}' => '\u{203F}',
            c => c,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As Verovio writes a chord symbol with a flat.
    #[test]
    fn a_flat_of_the_music_font_becomes_text() {
        let raw = r#"<svg xmlns="http://www.w3.org/2000/svg"><svg viewBox="0 0 9 9"><g class="harm"><text x="1" y="2" font-size="0px"><tspan font-size="450px">B</tspan><tspan font-size="720px">&#xEA64;</tspan></text></g></svg></svg>"#;
        let slim = slim(raw, &mut BTreeMap::new()).unwrap();
        assert!(slim.contains(r#"B</tspan><tspan font-size="450px">♭</tspan>"#), "{slim}");
    }
}
