//! Note values: the names of the lengths that notation can write, shared by readers and writers.

use super::time::Time;

/// MusicXML 4.0 `note-type-value` names, longest first, with their lengths in quarter notes as
/// (numerator, denominator).
const NAMES: [(&str, i64, i64); 14] = [
    ("maxima", 32, 1),
    ("long", 16, 1),
    ("breve", 8, 1),
    ("whole", 4, 1),
    ("half", 2, 1),
    ("quarter", 1, 1),
    ("eighth", 1, 2),
    ("16th", 1, 4),
    ("32nd", 1, 8),
    ("64th", 1, 16),
    ("128th", 1, 32),
    ("256th", 1, 64),
    ("512th", 1, 128),
    ("1024th", 1, 256),
];

/// The length that a MusicXML note type names, without dots; `None` for an unknown name.
pub fn length_of(name: &str) -> Option<Time> {
    NAMES.iter().find(|row| row.0 == name).map(|row| Time::new(row.1, row.2))
}

/// A note value: a named length with dots.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Value {
    /// MusicXML's name: `quarter`, `eighth`, `16th`, ...
    pub name: &'static str,
    /// Number of dots.
    pub dots: u8,
    /// The length.
    pub length: Time,
}

/// The value of exactly this length with at most `max_dots` dots, if there is one.
pub fn exact(length: Time, max_dots: u8) -> Option<Value> {
    for (name, n, d) in NAMES {
        let base = Time::new(n, d);
        if base > length {
            continue;
        }
        // With k dots a value lasts (2 − 2^−k) of its base.
        for dots in 0..=max_dots {
            let dotted = base * ((1 << (dots + 1)) - 1) / (1 << dots);
            if dotted == length {
                return Some(Value { name, dots, length });
            }
        }
        return None;
    }
    None
}

/// The value of the single length nearest below or equal, without dots; `None` below a 1024th.
pub fn largest_within(length: Time) -> Option<Value> {
    NAMES
        .iter()
        .map(|(name, n, d)| Value { name, dots: 0, length: Time::new(*n, *d) })
        .find(|v| v.length <= length)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dotted_values() {
        let of = |n, d| exact(Time::new(n, d), 2).map(|v| (v.name, v.dots));
        assert_eq!(of(1, 1), Some(("quarter", 0)));
        assert_eq!(of(3, 2), Some(("quarter", 1)));
        assert_eq!(of(7, 4), Some(("quarter", 2)));
        assert_eq!(of(6, 1), Some(("whole", 1)));
        assert_eq!(of(5, 2), None);
        assert_eq!(of(1, 3), None);
        assert_eq!(length_of("16th"), Some(Time::new(1, 4)));
    }
}
