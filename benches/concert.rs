//! Benchmark of the concert stage.
fn main() {}
