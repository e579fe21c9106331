//! The concert file: songs, wishes and fixed places, in TOML.
//!
//! ```toml
//! title = "Summer evening"
//! kit = "harbour-room.toml"       # a path from this file's folder; --kit goes before it
//! order = "best"                  # or "given"; --order goes before it
//! fit_weight = 1.0                # moves that one unit of fit cost is worth
//!
//! [[song]]
//! file = "lantern-round.musicxml" # a path from this file's folder; all else may be left out
//! first = true                    # opens the concert (last = true closes it)
//! before = ["tide-table.mid"]     # comes before these (after: comes after these)
//! key = "F"
//! part = "P1"                     # the part that holds the melody
//! drone = "broken"                # chord, broken, crossover, level, moving, none
//! players = ["blue chair"]        # who plays; the others sit out
//! with = ["drone=bass-xylophone:blue chair"]
//! without = ["colour"]
//!
//! [[break]]
//! after = "tide-table.mid"        # or after_songs = 3; with neither, where most bars move
//! minutes = 15
//! ```

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::problem::{Contradiction, Pins};
use crate::arrange::{DronePattern, Role, RoleAsk};
use crate::kit::{Kit, Pos};

/// What is wrong with a concert file, and where.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum FileError {
    /// No TOML.
    #[error("{at}: this is no TOML here: {what}")]
    Syntax {
        /// Where.
        at: Pos,
        /// The parser's words.
        what: String,
    },
    /// A key or a word that doesn't exist here.
    #[error("{at}: unknown {what} `{word}`; {hint}")]
    Unknown {
        /// Where.
        at: Pos,
        /// What the word should name.
        what: &'static str,
        /// The word.
        word: String,
        /// The nearest allowed word, or all of them.
        hint: String,
    },
    /// A value of the wrong kind or size.
    #[error("{at}: `{key}` must be {wanted}")]
    BadValue {
        /// Where.
        at: Pos,
        /// The key.
        key: String,
        /// What to write.
        wanted: String,
    },
    /// Something that must be there isn't.
    #[error("{at}: {place} needs `{key}`: {wanted}")]
    Missing {
        /// Where.
        at: Pos,
        /// The table.
        place: &'static str,
        /// The key.
        key: &'static str,
        /// What to write.
        wanted: &'static str,
    },
    /// Fixed places that can't all hold.
    #[error(
        "{at}: the fixed places of {songs} contradict each other; take out one `first`, `last`, `before` or `after` there"
    )]
    Contradiction {
        /// Where the first of these songs stands.
        at: Pos,
        /// The songs.
        songs: String,
    },
}

/// A song of the file with what is wished for it.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct SongWish {
    /// The path as written.
    pub file: String,
    /// The key as written.
    pub key: Option<String>,
    /// The part that holds the melody.
    pub part: Option<String>,
    /// The drone's pattern.
    pub drone: Option<DronePattern>,
    /// No drone.
    pub no_drone: bool,
    /// Who plays; empty: everybody.
    pub players: Vec<String>,
    /// Roles given out.
    pub with: Vec<RoleAsk>,
    /// Roles left out.
    pub without: Vec<Role>,
    /// Opens the concert.
    pub first: bool,
    /// Closes the concert.
    pub last: bool,
    /// Where it stands in the file (for messages).
    pub line: usize,
}

/// Where a break is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum BreakPlace {
    /// After this song (index into [`ConcertFile::songs`]).
    AfterSong(usize),
    /// After so many songs.
    AfterSongs(usize),
    /// Where most bars move, in the middle half of the concert.
    WhereMostMoves,
}

/// A break.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Break {
    /// Where.
    pub place: BreakPlace,
    /// How long.
    pub minutes: u32,
}

/// A concert file that was read.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct ConcertFile {
    /// The title; may be empty.
    pub title: String,
    /// The kit's path as written.
    pub kit: Option<String>,
    /// Whether the order is to be found (`best`) or kept (`given`).
    pub best_order: Option<bool>,
    /// Moves that one unit of fit cost is worth.
    pub fit_weight: Option<f64>,
    /// The songs.
    pub songs: Vec<SongWish>,
    /// What must hold for their order.
    pub pins: Pins,
    /// The breaks.
    pub breaks: Vec<Break>,
}

type Value<'i> = Spanned<DeValue<'i>>;

struct Reader<'i> {
    text: &'i str,
}

/// A reference to another song, resolved once all songs are known.
struct Reference {
    at: Pos,
    name: String,
}

/// Fixed places of a song as written.
struct Places {
    at: Pos,
    before: Vec<Reference>,
    after: Vec<Reference>,
}

impl ConcertFile {
    /// Reads a concert file. Names of players and instruments are checked against the kit by
    /// [`ConcertFile::check`].
    ///
    /// # Errors
    /// The first fault, with its place.
    pub fn parse(text: &str) -> Result<ConcertFile, FileError> {
        let reader = Reader { text };
        let root = DeTable::parse(text).map_err(|e| FileError::Syntax {
            at: reader.pos(e.span().map_or(0, |s| s.start)),
            what: e.message().to_owned(),
        })?;
        let mut file = ConcertFile::default();
        let mut breaks: Vec<(Option<Reference>, Option<usize>, u32)> = Vec::new();
        let mut places: Vec<Places> = Vec::new();
        const KEYS: [&str; 6] = ["title", "kit", "order", "fit_weight", "song", "break"];
        for (key, value) in root.get_ref() {
            match reader.key(key, &KEYS)? {
                "title" => file.title = reader.string("title", value)?,
                "kit" => file.kit = Some(reader.string("kit", value)?),
                "order" => {
                    file.best_order =
                        Some(reader.word("order", value, &["best", "given"])? == "best");
                }
                "fit_weight" => file.fit_weight = Some(reader.weight(value)?),
                "song" => {
                    for (at, table) in reader.tables("song", value)? {
                        let (wish, place) = reader.song(at, table)?;
                        file.songs.push(wish);
                        places.push(place);
                    }
                }
                _ => {
                    for (at, table) in reader.tables("break", value)? {
                        breaks.push(reader.pause(at, table)?);
                    }
                }
            }
        }
        file.pins = Pins::none(file.songs.len());
        for (song, place) in places.iter().enumerate() {
            for other in &place.before {
                let other = file.song_named(other)?;
                file.pins.put_before(song, other);
            }
            for other in &place.after {
                let other = file.song_named(other)?;
                file.pins.put_before(other, song);
            }
        }
        file.pins = file.pins_for(file.songs.len());
        file.pins.an_order().map_err(|Contradiction { songs }| FileError::Contradiction {
            at: songs.first().and_then(|s| places.get(*s)).map_or(reader.pos(0), |p| p.at),
            songs: songs
                .iter()
                .filter_map(|s| file.songs.get(*s))
                .map(|s| s.file.as_str())
                .collect::<Vec<_>>()
                .join(", "),
        })?;
        for (after, after_songs, minutes) in breaks {
            let place = match (after, after_songs) {
                (Some(song), _) => BreakPlace::AfterSong(file.song_named(&song)?),
                (None, Some(songs)) => BreakPlace::AfterSongs(songs),
                (None, None) => BreakPlace::WhereMostMoves,
            };
            file.breaks.push(Break { place, minutes });
        }
        Ok(file)
    }

    /// The pins for a concert of `songs` songs, of which the file's come first.
    pub fn pins_for(&self, songs: usize) -> Pins {
        let mut pins = Pins::none(songs);
        for (later, list) in self.pins.before.iter().enumerate() {
            for earlier in list {
                pins.put_before(*earlier, later);
            }
        }
        for (song, wish) in self.songs.iter().enumerate() {
            if wish.first {
                pins.put_first(song);
            }
            if wish.last {
                pins.put_last(song);
            }
        }
        pins
    }

    fn song_named(&self, reference: &Reference) -> Result<usize, FileError> {
        let names: Vec<&str> = self.songs.iter().map(|s| s.file.as_str()).collect();
        names.iter().position(|n| *n == reference.name).ok_or_else(|| FileError::Unknown {
            at: reference.at,
            what: "song",
            word: reference.name.clone(),
            hint: hint(&reference.name, &names),
        })
    }

    /// Checks names of players and instruments against the kit.
    ///
    /// # Errors
    /// The first name that the kit doesn't have, with the line of its song.
    pub fn check(&self, kit: &Kit) -> Result<(), FileError> {
        let players: Vec<&str> = kit.players.iter().map(|p| p.name.as_str()).collect();
        let instruments: Vec<&str> = kit.instruments.iter().map(|i| i.id.as_str()).collect();
        for song in &self.songs {
            let at = Pos { line: song.line, column: 1 };
            let known = |what, word: &str, list: &[&str]| {
                if list.contains(&word) {
                    return Ok(());
                }
                let hint = hint(word, list);
                Err(FileError::Unknown { at, what, word: word.to_owned(), hint })
            };
            for player in &song.players {
                known("player", player, &players)?;
            }
            for ask in &song.with {
                known("instrument", &ask.instrument, &instruments)?;
                if let Some(player) = &ask.player {
                    known("player", player, &players)?;
                }
            }
        }
        Ok(())
    }
}

/// The nearest allowed word where one is near, else all of them.
fn hint(word: &str, allowed: &[&str]) -> String {
    let lower = word.to_lowercase();
    let distance = |w: &str| strsim::damerau_levenshtein(&lower, &w.to_lowercase());
    match allowed.iter().min_by_key(|w| distance(w)) {
        None => "there are none to choose from".to_owned(),
        // A third of the letters: a slip of the finger rather than another word.
        Some(best) if distance(best) * 3 <= lower.chars().count().max(best.chars().count()) => {
            format!("did you mean `{best}`?")
        }
        Some(best) => {
            format!("the nearest allowed word is `{best}`; allowed are {}", allowed.join(", "))
        }
    }
}

impl<'i> Reader<'i> {
    fn pos(&self, offset: usize) -> Pos {
        let before = self.text.get(..offset.min(self.text.len())).unwrap_or(self.text);
        let line_start = before.rfind('\n').map_or(0, |n| n + 1);
        Pos {
            line: before.matches('\n').count() + 1,
            column: before[line_start..].chars().count() + 1,
        }
    }

    fn at<T>(&self, value: &Spanned<T>) -> Pos {
        self.pos(value.span().start)
    }

    fn bad<T>(&self, key: &str, value: &Value<'i>, wanted: &str) -> Result<T, FileError> {
        let (at, key, wanted) = (self.at(value), key.to_owned(), wanted.to_owned());
        Err(FileError::BadValue { at, key, wanted })
    }

    fn key<'k, T: AsRef<str>>(
        &self,
        key: &'k Spanned<T>,
        allowed: &[&str],
    ) -> Result<&'k str, FileError> {
        let name = key.get_ref().as_ref();
        if allowed.contains(&name) {
            return Ok(name);
        }
        Err(FileError::Unknown {
            at: self.at(key),
            what: "key",
            word: name.to_owned(),
            hint: hint(name, allowed),
        })
    }

    fn string(&self, key: &str, value: &Value<'i>) -> Result<String, FileError> {
        match value.get_ref().as_str() {
            Some(text) => Ok(text.to_owned()),
            None => self.bad(key, value, "a text in quotes"),
        }
    }

    fn word(
        &self,
        key: &'static str,
        value: &Value<'i>,
        allowed: &[&str],
    ) -> Result<String, FileError> {
        let word = self.string(key, value)?;
        if allowed.contains(&word.as_str()) {
            return Ok(word);
        }
        let hint = hint(&word, allowed);
        Err(FileError::Unknown { at: self.at(value), what: key, word, hint })
    }

    fn flag(&self, key: &str, value: &Value<'i>) -> Result<bool, FileError> {
        match value.get_ref().as_bool() {
            Some(flag) => Ok(flag),
            None => self.bad(key, value, "true or false"),
        }
    }

    fn whole(&self, key: &str, value: &Value<'i>, most: u32) -> Result<u32, FileError> {
        let number = match value.get_ref() {
            DeValue::Integer(n) => u32::from_str_radix(n.as_str(), n.radix()).ok(),
            _ => None,
        };
        match number.filter(|n| (1..=most).contains(n)) {
            Some(n) => Ok(n),
            None => self.bad(key, value, &format!("a whole number from 1 to {most}")),
        }
    }

    fn weight(&self, value: &Value<'i>) -> Result<f64, FileError> {
        let number = match value.get_ref() {
            DeValue::Integer(n) => n.as_str().parse::<f64>().ok(),
            DeValue::Float(n) => n.as_str().parse::<f64>().ok(),
            _ => None,
        };
        match number.filter(|n| (0.0..=1000.0).contains(n)) {
            Some(n) => Ok(n),
            None => self.bad("fit_weight", value, "a number from 0 to 1000"),
        }
    }

    fn list<'t>(&self, key: &str, value: &'t Value<'i>) -> Result<Vec<&'t Value<'i>>, FileError> {
        match value.get_ref() {
            DeValue::Array(list) => Ok(list.iter().collect()),
            DeValue::String(_) => Ok(vec![value]),
            _ => self.bad(key, value, "a list of texts, such as [\"one\", \"two\"]"),
        }
    }

    fn strings(&self, key: &str, value: &Value<'i>) -> Result<Vec<String>, FileError> {
        self.list(key, value)?.into_iter().map(|v| self.string(key, v)).collect()
    }

    fn references(&self, key: &str, value: &Value<'i>) -> Result<Vec<Reference>, FileError> {
        self.list(key, value)?
            .into_iter()
            .map(|v| Ok(Reference { at: self.at(v), name: self.string(key, v)? }))
            .collect()
    }

    fn parsed<T, E: std::fmt::Display>(
        &self,
        key: &str,
        value: &Value<'i>,
        read: impl Fn(&str) -> Result<T, E>,
    ) -> Result<Vec<T>, FileError> {
        let mut all = Vec::new();
        for item in self.list(key, value)? {
            match read(&self.string(key, item)?) {
                Ok(one) => all.push(one),
                Err(error) => return self.bad(key, item, &format!("right: {error}")),
            }
        }
        Ok(all)
    }

    fn tables<'t>(
        &self,
        key: &str,
        value: &'t Value<'i>,
    ) -> Result<Vec<(Pos, &'t DeTable<'i>)>, FileError> {
        let wanted = format!("a table of its own, headed [[{key}]]");
        let DeValue::Array(list) = value.get_ref() else { return self.bad(key, value, &wanted) };
        list.iter()
            .map(|v| match v.get_ref() {
                DeValue::Table(table) => Ok((self.at(v), table)),
                _ => self.bad(key, v, &wanted),
            })
            .collect()
    }

    fn song(&self, at: Pos, table: &DeTable<'i>) -> Result<(SongWish, Places), FileError> {
        const KEYS: [&str; 11] = [
            "file", "first", "last", "before", "after", "key", "part", "drone", "players", "with",
            "without",
        ];
        let mut wish = SongWish { line: at.line, ..SongWish::default() };
        let mut place = Places { at, before: Vec::new(), after: Vec::new() };
        for (key, value) in table {
            match self.key(key, &KEYS)? {
                "file" => wish.file = self.string("file", value)?,
                "first" => wish.first = self.flag("first", value)?,
                "last" => wish.last = self.flag("last", value)?,
                "before" => place.before = self.references("before", value)?,
                "after" => place.after = self.references("after", value)?,
                "key" => wish.key = Some(self.string("key", value)?),
                "part" => wish.part = Some(self.string("part", value)?),
                "drone" => {
                    let names: Vec<&str> =
                        DronePattern::ALL.iter().map(|p| p.name()).chain(["none"]).collect();
                    let word = self.word("drone", value, &names)?;
                    wish.no_drone = word == "none";
                    wish.drone = word.parse().ok();
                }
                "players" => wish.players = self.strings("players", value)?,
                "with" => wish.with = self.parsed("with", value, str::parse::<RoleAsk>)?,
                _ => wish.without = self.parsed("without", value, str::parse::<Role>)?,
            }
        }
        if wish.file.is_empty() {
            let wanted = "the song's file, such as file = \"tune.musicxml\"";
            return Err(FileError::Missing { at, place: "a [[song]]", key: "file", wanted });
        }
        Ok((wish, place))
    }

    fn pause(
        &self,
        _at: Pos,
        table: &DeTable<'i>,
    ) -> Result<(Option<Reference>, Option<usize>, u32), FileError> {
        // A usual interval; the file sets another.
        let (mut after, mut after_songs, mut minutes) = (None, None, 15);
        for (key, value) in table {
            match self.key(key, &["after", "after_songs", "minutes"])? {
                "after" => after = self.references("after", value)?.into_iter().next(),
                "after_songs" => {
                    after_songs = Some(self.whole("after_songs", value, 10_000)? as usize);
                }
                _ => minutes = self.whole("minutes", value, 24 * 60)?,
            }
        }
        Ok((after, after_songs, minutes))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_whole_file() {
        let file = ConcertFile::parse(
            r#"
title = "Summer evening"
order = "given"
fit_weight = 0.5
[[song]]
file = "a.mid"
last = true
[[song]]
file = "b.mid"
before = "c.mid"
key = "F"
drone = "none"
with = ["drone=bass-xylophone:blue chair"]
without = ["colour"]
[[song]]
file = "c.mid"
[[break]]
after = "b.mid"
minutes = 20
[[break]]
"#,
        )
        .unwrap();
        assert_eq!(file.best_order, Some(false));
        assert_eq!(file.fit_weight, Some(0.5));
        assert_eq!(file.pins.an_order().unwrap(), [1, 2, 0]);
        assert!(file.songs[1].no_drone);
        assert_eq!(file.songs[1].with[0].instrument, "bass-xylophone");
        assert_eq!(file.breaks[0], Break { place: BreakPlace::AfterSong(1), minutes: 20 });
        assert_eq!(file.breaks[1].place, BreakPlace::WhereMostMoves);
    }

    #[test]
    fn faults_name_their_place_and_the_nearest_word() {
        let fault = |text: &str| ConcertFile::parse(text).unwrap_err().to_string();
        assert_eq!(
            fault("titel = \"x\""),
            "line 1, column 1: unknown key `titel`; did you mean `title`?"
        );
        assert_eq!(
            fault("[[song]]\nfile = \"a.mid\"\nbefore = [\"b.mdi\"]\n[[song]]\nfile = \"b.mid\""),
            "line 3, column 11: unknown song `b.mdi`; did you mean `b.mid`?"
        );
        assert_eq!(
            fault("[[song]]\nfile = \"a.mid\"\ndrone = \"brokn\""),
            "line 3, column 9: unknown drone `brokn`; did you mean `broken`?"
        );
        assert!(
            fault("[[song]]\nkey = \"F\"").starts_with("line 1, column 1: a [[song]] needs `file`")
        );
        assert!(fault("order = [").starts_with("line 1, column"));
        assert!(
            fault("[[song]]\nfile=\"a\"\nfirst=true\n[[song]]\nfile=\"b\"\nbefore=\"a\"")
                .starts_with("line 1, column 1: the fixed places of a, b contradict")
        );
        assert!(fault("fit_weight = -1").contains("0 to 1000"));
        assert!(fault("song = 3").contains("[[song]]"));
    }
}
