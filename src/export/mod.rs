//! Scores and results to bytes: one format per file. Nothing here touches the disk.

pub mod json;
pub mod midi;
pub mod musicxml;
pub mod setup_text;
