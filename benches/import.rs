//! Benchmark of the import stage.
fn main() {}
