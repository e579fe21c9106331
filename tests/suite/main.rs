//! barwright's tests: one binary, one module per topic.

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
