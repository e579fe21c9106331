//! Text of MIDI files: its encoding, and syllables out of lyrics and karaoke lines.

use std::borrow::Cow;

use encoding_rs::{SHIFT_JIS, WINDOWS_1252};

use crate::score::Syllabic;

/// Decodes the text of a meta event. The Standard MIDI File asks for ASCII and says nothing of the
/// rest, so: UTF-8 where it is that, else Windows-1252 (which holds Latin-1). The tags `{@LATIN}` and
/// `{@JP}` of the recommended practice RP-017 are obeyed and taken off.
pub(super) fn decode(bytes: &[u8]) -> String {
    let (bytes, japanese) = if let Some(rest) = bytes.strip_prefix(b"{@JP}") {
        (rest, true)
    } else {
        (bytes.strip_prefix(b"{@LATIN}").unwrap_or(bytes), false)
    };
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    let text: Cow<'_, str> = match std::str::from_utf8(bytes) {
        Ok(text) => Cow::Borrowed(text),
        Err(_) if japanese => SHIFT_JIS.decode_without_bom_handling(bytes).0,
        Err(_) => WINDOWS_1252.decode_without_bom_handling(bytes).0,
    };
    text.chars().filter(|c| !c.is_control() || matches!(c, '\n' | '\r' | '\t')).collect()
}

/// A name or title: one line, trimmed.
pub(super) fn line(bytes: &[u8]) -> String {
    decode(bytes).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A syllable at a moment.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Syllable {
    /// When, in ticks.
    pub(super) tick: u64,
    /// The text without its marks.
    pub(super) text: String,
    /// Its place in its word.
    pub(super) syllabic: Syllabic,
}

/// Turns lyric events into syllables. Words are told apart by spaces before or after a syllable, by
/// line marks (`\` and `/` of karaoke files, line ends of RP-017), or go on where a syllable ends in a
/// hyphen. Where a file has no space, mark or hyphen at all, every event is a word of its own.
pub(super) fn syllables(events: &[(u64, String)]) -> Vec<Syllable> {
    let marks_words = events.iter().any(|(_, text)| {
        text.starts_with([' ', '\\', '/', '\r', '\n']) || text.ends_with([' ', '\r', '\n'])
    });
    let mut out: Vec<Syllable> = Vec::with_capacity(events.len());
    // Whether the syllable before goes on in the next one.
    let mut open = false;
    for (tick, raw) in events {
        let is_mark = |c: char| matches!(c, '\\' | '/' | '\r' | '\n') || c.is_whitespace();
        let body = raw.trim_matches(is_mark);
        if raw.starts_with(is_mark) && marks_words {
            open = false;
            close(&mut out);
        }
        if body.is_empty() || body == "-" {
            // A lone hyphen or line end tells of the syllable before.
            open = body == "-" && !out.is_empty();
            if !open {
                close(&mut out);
            }
            continue;
        }
        let (text, hyphen) = match body.strip_suffix('-') {
            Some(text) if !text.is_empty() => (text, true),
            _ => (body, false),
        };
        let goes_on = hyphen || (marks_words && !raw.ends_with(is_mark));
        let syllabic = match (open, goes_on) {
            (false, false) => Syllabic::Single,
            (false, true) => Syllabic::Begin,
            (true, false) => Syllabic::End,
            (true, true) => Syllabic::Middle,
        };
        out.push(Syllable { tick: *tick, text: text.to_owned(), syllabic });
        open = goes_on;
    }
    close(&mut out);
    out
}

/// Ends the word of the last syllable: what was taken for its beginning or middle is its end.
fn close(out: &mut [Syllable]) {
    if let Some(last) = out.last_mut() {
        last.syllabic = match last.syllabic {
            Syllabic::Begin => Syllabic::Single,
            Syllabic::Middle => Syllabic::End,
            done => done,
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(texts: &[&str]) -> Vec<(String, Syllabic)> {
        let events: Vec<_> =
            texts.iter().enumerate().map(|(i, t)| (i as u64, (*t).to_owned())).collect();
        syllables(&events).into_iter().map(|s| (s.text, s.syllabic)).collect()
    }

    #[test]
    fn karaoke_words_and_lines() {
        let got = of(&["\\Row", "ing", " home", "/to", " the", " har", "bour"]);
        let want = [
            ("Row", Syllabic::Begin),
            ("ing", Syllabic::End),
            ("home", Syllabic::Single),
            ("to", Syllabic::Single),
            ("the", Syllabic::Single),
            ("har", Syllabic::Begin),
            ("bour", Syllabic::End),
        ];
        assert_eq!(got, want.map(|(t, s)| (t.to_owned(), s)));
    }

    #[test]
    fn hyphens_and_bare_syllables() {
        let got = of(&["Ro-", "wing", "home"]);
        assert_eq!(got[0].1, Syllabic::Begin);
        assert_eq!(got[1], ("wing".to_owned(), Syllabic::End));
        assert_eq!(got[2].1, Syllabic::Single);
    }

    #[test]
    fn encodings() {
        assert_eq!(decode("Möwe".as_bytes()), "Möwe");
        assert_eq!(decode(b"M\xF6we \x93x\x94"), "Möwe “x”");
        assert_eq!(decode(b"{@JP}\x82\xA0"), "あ");
        assert_eq!(line(b" a\0 \n b "), "a b");
    }
}
