//! Measures and what stands at their bar lines: repeats, endings and jumps.

use super::meter::Meter;
use super::time::Time;

/// A sign that sends the player elsewhere, or that is a place to go to.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub enum Jump {
    /// The segno sign: where a dal segno goes back to.
    Segno,
    /// The coda: where a "to coda" goes on to.
    Coda,
    /// Go to the coda, on the pass after a da capo or dal segno.
    ToCoda,
    /// Back to the beginning.
    DaCapo,
    /// Back to the segno.
    DalSegno,
    /// The end, on the pass after a da capo or dal segno.
    Fine,
}

/// How the bracket of an ending closes.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum EndingStop {
    /// With a downward hook (the usual close of a first ending).
    Hooked,
    /// Open (the usual close of a last ending).
    Open,
}

/// One measure of the score, shared by all parts.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Measure {
    /// The printed number ("1", "0" for a pickup, "12a", ...).
    pub number: String,
    /// Where it begins: the sum of the durations of the measures before it.
    pub start: Time,
    /// What it really holds; the meter may say otherwise.
    pub duration: Time,
    /// The meter in force.
    pub meter: Meter,
    /// How far into its meter the measure begins: what is missing before a pickup, zero elsewhere.
    pub lead: Time,
    /// Whether its number isn't counted (pickups, second halves of split measures).
    pub implicit: bool,
    /// A forward repeat sign at its start.
    pub repeat_start: bool,
    /// A backward repeat sign at its end, with the number of times the passage is played in all
    /// (usually 2).
    pub repeat_end: Option<u8>,
    /// The numbers of the ending that starts here; empty where none does.
    pub ending_start: Vec<u8>,
    /// The ending that stops at its end.
    pub ending_stop: Option<EndingStop>,
    /// Jumps and their targets.
    pub jumps: Vec<Jump>,
    /// A double bar line at its end.
    pub double_bar: bool,
}

impl Measure {
    /// A measure that fills its meter.
    pub fn full(number: impl Into<String>, start: Time, meter: Meter) -> Measure {
        Measure {
            number: number.into(),
            start,
            duration: meter.measure(),
            meter,
            lead: Time::ZERO,
            implicit: false,
            repeat_start: false,
            repeat_end: None,
            ending_start: Vec::new(),
            ending_stop: None,
            jumps: Vec::new(),
            double_bar: false,
        }
    }

    /// Where it ends.
    pub fn end(&self) -> Time {
        self.start + self.duration
    }

    /// The place of a moment in the measure's meter (a pickup's first note lies late in it).
    pub fn metrical(&self, at: Time) -> Time {
        at - self.start + self.lead
    }
}
