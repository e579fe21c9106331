//! barwright's tests: one binary, one module per topic.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test fails by panicking"
)]

mod analysis;
mod arrange;
mod cli;
mod concert;
mod export;
mod fit;
mod hostile;
mod import;
mod import_midi;
mod layers;
mod print;
mod regression;
