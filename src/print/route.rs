//! The way through a song in words: repeats, endings and jumps.

use crate::score::{Jump, Measure};

/// What is said at one measure.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub(super) struct Signs {
    /// Before it is played.
    pub before: Vec<String>,
    /// After it.
    pub after: Vec<String>,
}

/// Whether anything is said in the words of [`signs`] between measure `at − 1` and measure `at`.
pub(super) fn breaks_before(signs: &[Signs], at: usize) -> bool {
    signs.get(at).is_some_and(|s| !s.before.is_empty())
        || at > 0 && signs.get(at - 1).is_some_and(|s| !s.after.is_empty())
}

/// The words at every measure.
pub(super) fn signs(measures: &[Measure]) -> Vec<Signs> {
    let mut all = vec![Signs::default(); measures.len()];
    let mut from = 0;
    for (i, measure) in measures.iter().enumerate() {
        if measure.repeat_start {
            from = i;
        }
        if !measure.ending_start.is_empty() {
            all[i].before.push(format!("{} time:", times_named(&measure.ending_start)));
        }
        if let Some(times) = measure.repeat_end {
            let played = match times.max(2) {
                2 => "twice".to_owned(),
                n => format!("{n} times"),
            };
            all[from].before.insert(0, format!("From here to the sign “back”: play {played}"));
            let start = if from == 0 { "the beginning".to_owned() } else { place(&measures[from]) };
            all[i].after.push(format!("Back to {start}"));
            let more_endings = measures.get(i + 1).is_some_and(|m| !m.ending_start.is_empty());
            if !more_endings {
                from = i + 1;
            }
        } else if measure.ending_stop.is_some() {
            from = i + 1;
        }
        for jump in &measure.jumps {
            match jump {
                Jump::Segno => all[i].before.push("Place to come back to".to_owned()),
                Jump::Coda => all[i].before.push("Ending (coda)".to_owned()),
                Jump::ToCoda => {
                    all[i].after.push("Last time: go on to the ending (coda)".to_owned());
                }
                Jump::DaCapo => all[i].after.push("Back to the beginning".to_owned()),
                Jump::DalSegno => all[i].after.push("Back to the place to come back to".to_owned()),
                Jump::Fine => all[i].after.push("Last time: end here".to_owned()),
            }
        }
    }
    all
}

/// The way as one sentence each for the overview; empty for a song played straight through.
pub(super) fn in_words(measures: &[Measure]) -> Vec<String> {
    let mut said = Vec::new();
    let mut from = 0;
    for (i, measure) in measures.iter().enumerate() {
        if measure.repeat_start {
            from = i;
        }
        if let Some(times) = measure.repeat_end {
            let played = if times <= 2 { "twice".to_owned() } else { format!("{times} times") };
            let (a, b) = (number(&measures[from]), number(measure));
            said.push(format!("measures {a} to {b}: play {played}"));
            if measures.get(i + 1).is_none_or(|m| m.ending_start.is_empty()) {
                from = i + 1;
            }
        }
        if !measure.ending_start.is_empty() {
            let named = times_named(&measure.ending_start);
            said.push(format!("{} time from measure {}", named.to_lowercase(), number(measure)));
        }
        for jump in &measure.jumps {
            let n = number(measure);
            match jump {
                Jump::DaCapo => said.push(format!("after measure {n} back to the beginning")),
                Jump::DalSegno => said.push(format!("after measure {n} back to the sign")),
                Jump::Fine => said.push(format!("the last time end after measure {n}")),
                Jump::ToCoda => said.push(format!("the last time go from measure {n} to the coda")),
                Jump::Segno | Jump::Coda => {}
            }
        }
    }
    said
}

fn number(measure: &Measure) -> &str {
    &measure.number
}

fn place(measure: &Measure) -> String {
    format!("measure {}", measure.number)
}

fn times_named(numbers: &[u8]) -> String {
    let words: Vec<String> = numbers
        .iter()
        .map(|n| match n {
            1 => "1st".to_owned(),
            2 => "2nd".to_owned(),
            3 => "3rd".to_owned(),
            n => format!("{n}th"),
        })
        .collect();
    words.join(" and ")
}
