//! What can be wrong with a kit file.

use std::fmt;

/// A place in the kit file, counted from 1.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Pos {
    /// The line.
    pub line: usize,
    /// The character of that line.
    pub column: usize,
}

impl fmt::Display for Pos {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}, column {}", self.line, self.column)
    }
}

/// One fault of a kit file, with its place and what to do.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum KitError {
    /// No TOML.
    #[error("{at}: this is no TOML here: {what}")]
    Syntax {
        /// Where.
        at: Pos,
        /// The parser's words.
        what: String,
    },
    /// A key that doesn't exist.
    #[error("{at}: unknown key `{key}` in {place}; {}", nearest_words(nearest, allowed))]
    UnknownKey {
        /// Where.
        at: Pos,
        /// The key.
        key: String,
        /// The table it stands in.
        place: &'static str,
        /// The nearest allowed key.
        nearest: String,
        /// All allowed keys, where the nearest is far off.
        allowed: Vec<String>,
    },
    /// A word that isn't one of a list.
    #[error("{at}: unknown {what} `{word}`; {}", nearest_words(nearest, allowed))]
    UnknownWord {
        /// Where.
        at: Pos,
        /// What the word should name.
        what: &'static str,
        /// The word.
        word: String,
        /// The nearest allowed word.
        nearest: String,
        /// All allowed words, where the nearest is far off.
        allowed: Vec<String>,
    },
    /// A key that must be there.
    #[error("{at}: {place} needs `{key}`: {wanted}")]
    MissingKey {
        /// Where.
        at: Pos,
        /// The table.
        place: String,
        /// The key.
        key: &'static str,
        /// What to write.
        wanted: &'static str,
    },
    /// A value of the wrong kind or size.
    #[error("{at}: `{key}` must be {wanted}")]
    BadValue {
        /// Where.
        at: Pos,
        /// The key.
        key: String,
        /// What to write.
        wanted: &'static str,
    },
    /// A bar that can't be.
    #[error("{at}: {why}{}", nearest_bar(nearest.as_deref()))]
    ImpossibleBar {
        /// Where.
        at: Pos,
        /// Why it can't be.
        why: String,
        /// The nearest bar that can.
        nearest: Option<String>,
    },
    /// The same thing named twice.
    #[error("{at}: {what} is named twice; {todo}")]
    Twice {
        /// Where the second one stands.
        at: Pos,
        /// What.
        what: String,
        /// What to do.
        todo: &'static str,
    },
}

impl KitError {
    /// Where the fault stands.
    pub fn at(&self) -> Pos {
        match self {
            KitError::Syntax { at, .. }
            | KitError::UnknownKey { at, .. }
            | KitError::UnknownWord { at, .. }
            | KitError::MissingKey { at, .. }
            | KitError::BadValue { at, .. }
            | KitError::ImpossibleBar { at, .. }
            | KitError::Twice { at, .. } => *at,
        }
    }
}

fn nearest_words(nearest: &str, allowed: &[String]) -> String {
    if allowed.is_empty() {
        format!("did you mean `{nearest}`?")
    } else {
        format!("the nearest allowed word is `{nearest}`; allowed are {}", allowed.join(", "))
    }
}

fn nearest_bar(nearest: Option<&str>) -> String {
    nearest.map(|n| format!("; the nearest bar that can is {n}")).unwrap_or_default()
}

/// Every fault of a kit file, in the order of the file.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct KitErrors(pub Vec<KitError>);

impl fmt::Display for KitErrors {
    /// All on one line, parted by semicolons; list [`KitErrors::0`] for a line each.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, fault) in self.0.iter().enumerate() {
            if i > 0 {
                f.write_str("; ")?;
            }
            fault.fmt(f)?;
        }
        Ok(())
    }
}

impl std::error::Error for KitErrors {}
