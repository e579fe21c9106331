//! A thin face over quick-xml's writer: elements by name, numbers and texts, into memory.

use std::borrow::Cow;
use std::fmt::Write as _;

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

/// Room for a short part; a document grows from here.
const USUAL: usize = 32 * 1024;

/// XML being written.
pub(super) struct Xml {
    writer: Writer<Vec<u8>>,
    digits: String,
}

impl Xml {
    /// Starts a document with its declaration.
    pub(super) fn new() -> Xml {
        let memory = Vec::with_capacity(USUAL);
        let mut xml =
            Xml { writer: Writer::new_with_indent(memory, b' ', 1), digits: String::new() };
        xml.event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)));
        xml
    }

    fn event(&mut self, event: Event<'_>) {
        // Writing into memory can't fail; quick-xml's signature is that of any writer.
        let _ = self.writer.write_event(event);
    }

    fn start<'a>(name: &'a str, attributes: &[(&str, &str)]) -> BytesStart<'a> {
        let mut start = BytesStart::new(name);
        for (key, value) in attributes {
            start.push_attribute((*key, legal(value).as_ref()));
        }
        start
    }

    /// Opens an element.
    pub(super) fn open(&mut self, name: &str, attributes: &[(&str, &str)]) {
        self.event(Event::Start(Xml::start(name, attributes)));
    }

    /// Closes an element.
    pub(super) fn close(&mut self, name: &str) {
        self.event(Event::End(BytesEnd::new(name)));
    }

    /// An element without content.
    pub(super) fn empty(&mut self, name: &str, attributes: &[(&str, &str)]) {
        self.event(Event::Empty(Xml::start(name, attributes)));
    }

    /// An element with a text.
    pub(super) fn text(&mut self, name: &str, text: &str) {
        self.text_with(name, &[], text);
    }

    /// An element with attributes and a text.
    pub(super) fn text_with(&mut self, name: &str, attributes: &[(&str, &str)], text: &str) {
        self.event(Event::Start(Xml::start(name, attributes)));
        self.event(Event::Text(BytesText::new(legal(text).as_ref())));
        self.event(Event::End(BytesEnd::new(name)));
    }

    /// An element with a whole number.
    pub(super) fn number(&mut self, name: &str, number: i64) {
        let mut digits = std::mem::take(&mut self.digits);
        digits.clear();
        // Writing into a string can't fail.
        let _ = write!(digits, "{number}");
        self.event(Event::Start(BytesStart::new(name)));
        self.event(Event::Text(BytesText::from_escaped(digits.as_str())));
        self.event(Event::End(BytesEnd::new(name)));
        self.digits = digits;
    }

    /// What `write` writes, once more as text.
    pub(super) fn noted(&mut self, write: impl FnOnce(&mut Xml)) -> String {
        let from = self.writer.get_ref().len();
        write(self);
        // Only texts went in.
        String::from_utf8(self.writer.get_ref()[from..].to_vec()).unwrap_or_default()
    }

    /// Elements that were [`noted`](Xml::noted) at the same depth, right behind the start of an element.
    pub(super) fn insert(&mut self, noted: &str) {
        self.writer.get_mut().extend_from_slice(noted.as_bytes());
    }

    /// The document as text, with a line end at its end.
    pub(super) fn finish(self) -> String {
        let mut bytes = self.writer.into_inner();
        bytes.push(b'\n');
        // Only texts went in.
        String::from_utf8(bytes).unwrap_or_default()
    }
}

/// The text without the characters that XML 1.0 has no way to write (section 2.2, `Char`).
fn legal(text: &str) -> Cow<'_, str> {
    let bad = |c: char| {
        (c < ' ' && !matches!(c, '\t' | '\n' | '\r')) || matches!(c, '\u{FFFE}' | '\u{FFFF}')
    };
    if text.contains(bad) { Cow::Owned(text.replace(bad, "")) } else { Cow::Borrowed(text) }
}
