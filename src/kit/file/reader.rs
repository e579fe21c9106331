//! Reading a TOML tree with positions, gathering every fault on the way.

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::fault::{KitError, Pos};
use crate::kit::bar::Bar;
use crate::score::Pitch;

/// A value with its place.
pub(super) type Value<'i> = Spanned<DeValue<'i>>;

/// The text and the faults found so far.
pub(super) struct Reader<'i> {
    text: &'i str,
    pub(super) faults: Vec<KitError>,
}

impl<'i> Reader<'i> {
    pub(super) fn new(text: &'i str) -> Reader<'i> {
        Reader { text, faults: Vec::new() }
    }

    /// The place of a byte offset.
    pub(super) fn pos(&self, offset: usize) -> Pos {
        let before = self.text.get(..offset.min(self.text.len())).unwrap_or(self.text);
        let line_start = before.rfind('\n').map_or(0, |n| n + 1);
        Pos {
            line: before.matches('\n').count() + 1,
            column: before[line_start..].chars().count() + 1,
        }
    }

    pub(super) fn at<T>(&self, spanned: &Spanned<T>) -> Pos {
        self.pos(spanned.span().start)
    }

    pub(super) fn bad(&mut self, value: &Value<'i>, key: &str, wanted: &'static str) {
        let at = self.at(value);
        self.faults.push(KitError::BadValue { at, key: key.to_owned(), wanted });
    }

    /// The entries of a table; keys that aren't allowed are faults and left out.
    pub(super) fn entries<'t>(
        &mut self,
        table: &'t DeTable<'i>,
        place: &'static str,
        allowed: &[&str],
    ) -> Vec<(&'t str, &'t Value<'i>)> {
        let mut entries = Vec::new();
        for (key, value) in table {
            let name: &str = key.get_ref();
            if allowed.contains(&name) {
                entries.push((name, value));
                continue;
            }
            let (nearest, list) = nearest(name, allowed);
            let at = self.at(key);
            self.faults.push(KitError::UnknownKey {
                at,
                key: name.to_owned(),
                place,
                nearest,
                allowed: list,
            });
        }
        entries
    }

    pub(super) fn string<'t>(&mut self, value: &'t Value<'i>, key: &str) -> Option<&'t str> {
        match value.get_ref() {
            DeValue::String(text) if !text.trim().is_empty() => Some(text.trim()),
            _ => {
                self.bad(value, key, "a text in quotes, not empty");
                None
            }
        }
    }

    pub(super) fn flag(&mut self, value: &Value<'i>, key: &str) -> Option<bool> {
        match value.get_ref() {
            DeValue::Boolean(flag) => Some(*flag),
            _ => {
                self.bad(value, key, "true or false");
                None
            }
        }
    }

    /// A number from `low` to `high`, written whole or with a decimal point.
    pub(super) fn number(
        &mut self,
        value: &Value<'i>,
        key: &str,
        (low, high): (f64, f64),
        wanted: &'static str,
    ) -> Option<f64> {
        let number = match value.get_ref() {
            DeValue::Integer(n) if n.radix() == 10 => n.as_str().parse::<f64>().ok(),
            DeValue::Float(n) => n.as_str().parse::<f64>().ok(),
            _ => None,
        };
        let number = number.filter(|n| n.is_finite() && (low..=high).contains(n));
        if number.is_none() {
            self.bad(value, key, wanted);
        }
        number
    }

    /// A whole number from `low` to `high`.
    pub(super) fn whole(
        &mut self,
        value: &Value<'i>,
        key: &str,
        (low, high): (i8, i8),
        wanted: &'static str,
    ) -> Option<i8> {
        let number = match value.get_ref() {
            DeValue::Integer(n) if n.radix() == 10 => n.as_str().parse::<i8>().ok(),
            _ => None,
        };
        let number = number.filter(|n| (low..=high).contains(n));
        if number.is_none() {
            self.bad(value, key, wanted);
        }
        number
    }

    pub(super) fn table<'t>(
        &mut self,
        value: &'t Value<'i>,
        key: &str,
        wanted: &'static str,
    ) -> Option<&'t DeTable<'i>> {
        match value.get_ref() {
            DeValue::Table(table) => Some(table),
            _ => {
                self.bad(value, key, wanted);
                None
            }
        }
    }

    /// The items of a list; a fault where there is none.
    pub(super) fn list<'t>(
        &mut self,
        value: &'t Value<'i>,
        key: &str,
        wanted: &'static str,
    ) -> Vec<&'t Value<'i>> {
        match value.get_ref() {
            DeValue::Array(items) => items.iter().collect(),
            _ => {
                self.bad(value, key, wanted);
                Vec::new()
            }
        }
    }

    /// One of a list of words.
    pub(super) fn word<T: Copy>(
        &mut self,
        value: &Value<'i>,
        key: &str,
        what: &'static str,
        words: &[(&str, T)],
    ) -> Option<T> {
        let word = self.string(value, key)?;
        if let Some((_, found)) = words.iter().find(|w| w.0 == word) {
            return Some(*found);
        }
        let names: Vec<&str> = words.iter().map(|w| w.0).collect();
        let (nearest, allowed) = nearest(word, &names);
        let (at, word) = (self.at(value), word.to_owned());
        self.faults.push(KitError::UnknownWord { at, what, word, nearest, allowed });
        None
    }

    pub(super) fn pitch(&mut self, value: &Value<'i>, key: &str) -> Option<Pitch> {
        let pitch = match value.get_ref() {
            DeValue::String(text) => text.trim().parse::<Pitch>().ok(),
            _ => None,
        };
        let pitch = pitch.filter(|p| p.midi().as_u7().is_some());
        if pitch.is_none() {
            self.bad(value, key, "a sounding pitch such as \"C4\", \"F#3\" or \"Bb4\"");
        }
        pitch
    }

    pub(super) fn bar(&mut self, value: &Value<'i>, key: &str) -> Option<Bar> {
        self.pitch(value, key).map(|p| Bar(p.midi()))
    }

    pub(super) fn bars(&mut self, value: &Value<'i>, key: &str) -> Vec<(Pos, Bar)> {
        let mut bars = Vec::new();
        for item in self.list(value, key, "a list of bars such as [\"C4\", \"D4\"]") {
            if let Some(bar) = self.bar(item, key) {
                bars.push((self.at(item), bar));
            }
        }
        bars
    }
}

/// The allowed word nearest to a word, and all allowed ones where it isn't near at all (more than a
/// third of its letters differ).
pub(super) fn nearest(word: &str, allowed: &[&str]) -> (String, Vec<String>) {
    let word = word.to_lowercase();
    let distance = |other: &str| strsim::damerau_levenshtein(&word, &other.to_lowercase());
    let Some(best) = allowed.iter().min_by_key(|other| distance(other)) else {
        return (String::new(), Vec::new());
    };
    let near = distance(best) * 3 <= word.chars().count().max(best.chars().count());
    let list = if near { Vec::new() } else { allowed.iter().map(|w| (*w).to_owned()).collect() };
    ((*best).to_owned(), list)
}
