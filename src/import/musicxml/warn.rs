//! Warnings gathered while reading, bounded in number.

use super::super::Warning;
use super::super::limits::MAX_WARNINGS;

/// The first warnings, and how many more there were.
#[derive(Debug, Default)]
pub(super) struct Warnings {
    kept: Vec<Warning>,
    more: usize,
}

impl Warnings {
    /// Keeps a warning, unless it is the same as the one before.
    pub(super) fn add(&mut self, warning: Warning) {
        if self.kept.last() == Some(&warning) {
            return;
        }
        if self.kept.len() < MAX_WARNINGS {
            self.kept.push(warning);
        } else {
            self.more += 1;
        }
    }

    pub(super) fn into_vec(mut self) -> Vec<Warning> {
        if self.more > 0 {
            self.kept.push(Warning {
                place: "whole file".to_owned(),
                what: format!("{} more doubts of these kinds", self.more),
            });
        }
        self.kept
    }
}
