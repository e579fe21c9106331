//! The `barwright` program: hands its arguments to the library's `cli` and returns the exit status.

use std::process::ExitCode;

fn main() -> ExitCode {
    barwright::cli::run(std::env::args_os())
}
