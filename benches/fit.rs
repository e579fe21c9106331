//! Benchmark of the fit stage.
fn main() {}
