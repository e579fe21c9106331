//! Benchmark of the analysis stage.
fn main() {}
