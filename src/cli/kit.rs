//! `barwright kit`: write, check and show kit files.

use std::fs::OpenOptions;
use std::io::{ErrorKind, Write};
use std::path::Path;

use anyhow::{Context, bail};

use super::args::{self, KitAction};
use super::files;
use super::{Outcome, print, say};
use crate::kit::{self, Kit};

pub(super) fn run(ask: &args::Kit) -> anyhow::Result<Outcome> {
    match &ask.action {
        KitAction::Starter { file: None } => print(kit::starter_toml())?,
        KitAction::Starter { file: Some(path) } => {
            write_new(path, kit::starter_toml())?;
            say(&format!(
                "Wrote {}. Edit it to match your room, then run: barwright kit check {}",
                path.display(),
                path.display()
            ));
        }
        KitAction::Check { file } => {
            let kit = load(file)?;
            print(&kit::report(&kit))?;
        }
        KitAction::Show { file } => {
            let kit = match file {
                Some(path) => load(path)?,
                None => kit::starter(),
            };
            print(&kit::show(&kit))?;
        }
    }
    Ok(Outcome::Done)
}

fn load(path: &Path) -> anyhow::Result<Kit> {
    let text = files::read_text(path)?;
    Kit::parse(&text).with_context(|| files::shown(path))
}

/// Writes a file that must not be there yet.
fn write_new(path: &Path, text: &str) -> anyhow::Result<()> {
    let fault = || format!("{}: can't be written", path.display());
    match OpenOptions::new().write(true).create_new(true).open(path) {
        Ok(mut file) => file.write_all(text.as_bytes()).with_context(fault),
        Err(error) if error.kind() == ErrorKind::AlreadyExists => {
            bail!("{}: is there already; choose another name, nothing was written", path.display())
        }
        Err(error) => Err(error).with_context(fault),
    }
}
