//! The program: arguments, files, exit status. The only layer that touches the machine.

mod args;
mod arrange;
mod concert;
mod concert_pack;
mod concert_page;
mod concert_song;
mod files;
mod fit;
mod inspect;
mod kit;
mod pdf;
mod run_folder;
mod song;

use std::ffi::OsString;
use std::io::{self, Write};
use std::process::ExitCode;

use clap::Parser;

/// How a command ends when nothing failed.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Outcome {
    /// Exit status 0.
    Done,
    /// Exit status 3: a song does not fit the kit.
    DoesNotFit,
    /// Exit status 4: some songs of a concert failed, the others are done.
    SomeFailed,
}

/// Wrong usage that the argument parser can't see: exit status 2.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
struct Usage(String);

/// Runs the program on its arguments (the program's name first) and returns its exit status.
///
/// 0 done; 1 the input or the machine failed; 2 wrong usage; 3 a song does not fit the kit; 4 a
/// concert finished but some songs failed.
pub fn run(args: impl IntoIterator<Item = OsString>) -> ExitCode {
    let cli = match args::Cli::try_parse_from(args) {
        Ok(cli) => cli,
        Err(error) => {
            // Help and version are printed to standard output and are no failure.
            let status = if error.use_stderr() { 2 } else { 0 };
            let _ = error.print();
            return ExitCode::from(status);
        }
    };
    let result = match cli.command {
        args::Command::Inspect(ask) => inspect::run(&ask),
        args::Command::Fit(ask) => fit::run(&ask),
        args::Command::Arrange(ask) => arrange::run(&ask),
        args::Command::Concert(ask) => concert::run(&ask),
        args::Command::Kit(ask) => kit::run(&ask),
    };
    if let Some(folder) = crate::print::close_engraver() {
        // What can't be removed is the system's to clear.
        let _ = std::fs::remove_dir_all(folder);
    }
    match result {
        Ok(Outcome::Done) => ExitCode::SUCCESS,
        Ok(Outcome::DoesNotFit) => ExitCode::from(3),
        Ok(Outcome::SomeFailed) => ExitCode::from(4),
        Err(error) if is_broken_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => {
            say(&format!("barwright: {error:#}"));
            ExitCode::from(if error.is::<Usage>() { 2 } else { 1 })
        }
    }
}

/// Whether the reader of our output went away (`barwright ... | head`): no failure of ours.
fn is_broken_pipe(error: &anyhow::Error) -> bool {
    error.chain().any(|cause| {
        cause.downcast_ref::<io::Error>().is_some_and(|e| e.kind() == io::ErrorKind::BrokenPipe)
    })
}

/// Writes a line to standard error; one that can't be written is let go.
fn say(line: &str) {
    let _ = writeln!(io::stderr().lock(), "{line}");
}

/// Writes text to standard output.
fn print(text: &str) -> anyhow::Result<()> {
    let mut out = io::stdout().lock();
    out.write_all(text.as_bytes())?;
    if !text.ends_with('\n') {
        out.write_all(b"\n")?;
    }
    out.flush()?;
    Ok(())
}

/// Writes a JSON document to standard output.
fn print_json(document: &impl serde::Serialize) -> anyhow::Result<()> {
    print(&serde_json::to_string_pretty(document)?)
}
