//! Benchmark of the arrange stage.
fn main() {}
