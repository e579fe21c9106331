//! Bytes to text: byte order marks, declared encodings, and what to do without either.

use std::borrow::Cow;

use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};

use super::{Error, Warning};

/// The text of an XML file, and a warning where its encoding had to be guessed.
///
/// A byte order mark rules; then zero bytes that betray UTF-16; then the XML declaration; then
/// UTF-8. Bytes that are no UTF-8 though they should be are read as Windows-1252, which holds
/// Latin-1.
pub(super) fn decode(bytes: &[u8]) -> Result<(Cow<'_, str>, Option<Warning>), Error> {
    if let Some((encoding, mark)) = Encoding::for_bom(bytes) {
        return Ok(decode_as(encoding, bytes.get(mark..).unwrap_or_default()));
    }
    if bytes.starts_with(&[0, 0]) || bytes.get(1..4) == Some(&[0, 0, 0]) {
        return Err(Error::Encoding("UTF-32".to_owned()));
    }
    if bytes.first() == Some(&0) {
        return Ok(decode_as(UTF_16BE, bytes));
    }
    if bytes.get(1) == Some(&0) {
        return Ok(decode_as(UTF_16LE, bytes));
    }
    let encoding = match declared(bytes) {
        None => UTF_8,
        Some(label) => match Encoding::for_label(label.as_bytes()) {
            // Eight-bit text that says it is UTF-16 was recoded by something that left the
            // declaration alone.
            Some(e) if e == UTF_16LE || e == UTF_16BE => UTF_8,
            Some(e) => e,
            None => return Err(Error::Encoding(label)),
        },
    };
    Ok(decode_as(encoding, bytes))
}

fn decode_as<'a>(encoding: &'static Encoding, bytes: &'a [u8]) -> (Cow<'a, str>, Option<Warning>) {
    if encoding == UTF_8 {
        if let Ok(text) = std::str::from_utf8(bytes) {
            return (Cow::Borrowed(text), None);
        }
        let (text, _) = WINDOWS_1252.decode_without_bom_handling(bytes);
        return (text, Some(guessed("the text is not UTF-8; read as Windows-1252 (Latin-1)")));
    }
    let (text, faulty) = encoding.decode_without_bom_handling(bytes);
    let warning = faulty.then(|| guessed("some letters can't be read in the file's own encoding"));
    (text, warning)
}

fn guessed(what: &str) -> Warning {
    Warning { place: "text encoding".to_owned(), what: what.to_owned() }
}

/// The encoding that the XML declaration names.
fn declared(bytes: &[u8]) -> Option<String> {
    // A declaration stands at the very start and is short; white space before it is tolerated.
    let head = bytes.get(..bytes.len().min(1024))?.trim_ascii_start();
    let head = head.strip_prefix(b"<?xml")?;
    let end = head.windows(2).position(|w| w == b"?>")?;
    let head = std::str::from_utf8(head.get(..end)?).ok()?;
    let value = head.split_once("encoding")?.1.trim_start().strip_prefix('=')?.trim_start();
    let quote = value.chars().next().filter(|c| matches!(c, '"' | '\''))?;
    value.get(1..)?.split_once(quote).map(|(label, _)| label.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    const LATIN: &[u8] = b"<?xml version=\"1.0\" encoding='ISO-8859-1'?><a>\xE9</a>";

    fn text(bytes: &[u8]) -> String {
        decode(bytes).unwrap().0.into_owned()
    }

    #[test]
    fn marks_zeros_and_declarations() {
        assert!(text(LATIN).ends_with("<a>é</a>"));
        let utf16: Vec<u8> = "<a>é</a>".encode_utf16().flat_map(u16::to_le_bytes).collect();
        assert_eq!(text(&utf16), "<a>é</a>");
        let marked: Vec<u8> =
            "\u{FEFF}<a>é</a>".encode_utf16().flat_map(u16::to_be_bytes).collect();
        assert_eq!(text(&marked), "<a>é</a>");
        assert_eq!(text("\u{FEFF}<a>é</a>".as_bytes()), "<a>é</a>");
        assert!(text(b"<?xml version=\"1.0\" encoding=\"UTF-16\"?><a/>").ends_with("<a/>"));
    }

    #[test]
    fn bytes_that_are_no_utf_8_are_read_with_a_warning() {
        let (text, warning) = decode(b"<a>\xE9</a>").unwrap();
        assert_eq!(text, "<a>é</a>");
        assert!(warning.is_some());
    }

    #[test]
    fn unknown_encodings_are_named() {
        let fault = decode(b"<?xml version='1.0' encoding='klingon'?><a/>").unwrap_err();
        assert!(fault.to_string().contains("klingon"), "{fault}");
    }
}
