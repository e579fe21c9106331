//! Note names for people: English, German, movable do, with octave strokes.

use crate::kit::Bar;
use crate::score::{Key, Midi, NoteName};

/// How the notes are named on charts, bars and under the staff.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Names {
    /// C D E F G A B, F♯, B♭.
    #[default]
    English,
    /// C D E F G A H; B for B♭; Fis, Es, As.
    German,
    /// Movable do: do is the major tonic of the signature, so a minor tune ends on la.
    Solfa,
    /// No names under the staff; charts and bars keep the English letters, without which they would
    /// say nothing.
    None,
}

impl std::str::FromStr for Names {
    type Err = String;
    /// Reads `english`, `german`, `solfa` or `none`.
    fn from_str(text: &str) -> Result<Names, String> {
        match text {
            "english" => Ok(Names::English),
            "german" => Ok(Names::German),
            "solfa" => Ok(Names::Solfa),
            "none" => Ok(Names::None),
            other => Err(format!("`{other}` names no notes; take english, german, solfa or none")),
        }
    }
}

impl Names {
    /// The name of a note in a key, without its octave.
    pub fn of(self, name: NoteName, key: Key) -> String {
        match self {
            Names::English | Names::None => english(name),
            Names::German => german(name),
            Names::Solfa => solfa(name, key).to_owned(),
        }
    }

    /// The name of the bar that sounds this pitch, as it is stamped on the bar.
    pub fn bar(self, midi: Midi, key: Key) -> String {
        self.of(Bar(midi).pitch().name, key)
    }
}

fn english(name: NoteName) -> String {
    let sign = if name.alter < 0 { "♭" } else { "♯" };
    format!("{}{}", name.step.letter(), sign.repeat(usize::from(name.alter.unsigned_abs())))
}

fn german(name: NoteName) -> String {
    match (name.step.letter(), name.alter) {
        ('B', 0) => "H".to_owned(),
        ('B', -1) => "B".to_owned(),
        ('B', n) if n < -1 => format!("Hes{}", "es".repeat(usize::from(n.unsigned_abs()) - 1)),
        ('B', n) => format!("H{}", "is".repeat(usize::from(n.unsigned_abs()))),
        (letter, n) if n > 0 => format!("{letter}{}", "is".repeat(usize::from(n.unsigned_abs()))),
        (letter @ ('A' | 'E'), n) if n < 0 => {
            format!("{letter}s{}", "es".repeat(usize::from(n.unsigned_abs()) - 1))
        }
        (letter, n) => format!("{letter}{}", "es".repeat(usize::from(n.unsigned_abs()))),
    }
}

fn solfa(name: NoteName, key: Key) -> &'static str {
    // By places on the line of fifths above do, from ra (−5) up to ri (9) and their neighbours.
    const SYLLABLES: [&str; 17] = [
        "se", "ra", "le", "me", "te", "fa", "do", "so", "re", "la", "mi", "ti", "fi", "di", "si",
        "ri", "li",
    ];
    let mut place = name.fifths() - i16::from(key.fifths());
    while place < -6 {
        place += 12;
    }
    while place > 10 {
        place -= 12;
    }
    SYLLABLES[(place + 6) as usize]
}

/// Names the bars of one instrument: a letter and a stroke for each octave above the lowest bar's.
#[derive(Clone, Copy, Debug)]
pub(super) struct Letters {
    names: Names,
    key: Key,
    /// The octave (C to B) of the lowest bar.
    low: i16,
}

impl Letters {
    pub(super) fn new(names: Names, key: Key, lowest: Option<Midi>) -> Letters {
        Letters { names, key, low: lowest.map_or(5, octave) }
    }

    /// The letter with its octave strokes: `C`, `F♯`, `C′`, `C″`.
    pub(super) fn letter(&self, midi: Midi) -> String {
        let strokes = match octave(midi) - self.low {
            n if n <= 0 => "",
            1 => "′",
            2 => "″",
            _ => "‴",
        };
        format!("{}{strokes}", self.names.bar(midi, self.key))
    }
}

fn octave(midi: Midi) -> i16 {
    midi.number().div_euclid(12)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::score::{Mode, Pitch};

    fn all(names: Names, fifths: i8, mode: Mode) -> String {
        let key = Key::from_signature(fifths, mode);
        (60..72).map(|n| names.bar(Midi::new(n), key)).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn twelve_bars_in_three_languages() {
        assert_eq!(all(Names::English, 1, Mode::Major), "C C♯ D E♭ E F F♯ G G♯ A B♭ B");
        assert_eq!(all(Names::German, -1, Mode::Major), "C Cis D Es E F Fis G Gis A B H");
        // Movable do: F is do in F major, and D is la in D minor.
        assert!(all(Names::Solfa, -1, Mode::Major).starts_with("so"));
        let d: Pitch = "D4".parse().unwrap();
        assert_eq!(Names::Solfa.bar(d.midi(), Key::from_signature(-1, Mode::Minor)), "la");
    }

    #[test]
    fn octave_strokes_count_from_the_lowest_bar() {
        let key = Key::from_signature(0, Mode::Major);
        let bass = Letters::new(Names::English, key, Some(Midi::new(48)));
        assert_eq!(bass.letter(Midi::new(48)), "C");
        assert_eq!(bass.letter(Midi::new(59)), "B");
        assert_eq!(bass.letter(Midi::new(60)), "C′");
        assert_eq!(bass.letter(Midi::new(72)), "C″");
    }
}
