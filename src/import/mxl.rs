//! Compressed MusicXML: a zip archive whose container names the score.

use std::io::{Cursor, Read};

use zip::ZipArchive;

use super::limits::{MAX_BYTES, MAX_ENTRIES, MAX_RATIO};
use super::{Error, Warning};

/// Where the container stands in the archive (MusicXML 4.0, "Compressed .mxl files").
const CONTAINER: &str = "META-INF/container.xml";

/// The score of a compressed file, still as bytes.
pub(super) struct Unpacked {
    pub(super) score: Vec<u8>,
    pub(super) warnings: Vec<Warning>,
}

/// Unpacks the score that the container names first.
pub(super) fn unpack(bytes: &[u8]) -> Result<Unpacked, Error> {
    let mut archive =
        ZipArchive::new(Cursor::new(bytes)).map_err(|e| Error::Unpack(e.to_string()))?;
    if archive.len() > MAX_ENTRIES {
        return Err(Error::TooMany { what: "entries in the archive", limit: MAX_ENTRIES });
    }
    let mut warnings = Vec::new();
    let path = match entry(&mut archive, CONTAINER)? {
        Some(container) => Some(rootfile(&container)?),
        None => None,
    };
    let path = match path.flatten() {
        Some(path) => path,
        None => {
            // Without a usable container the one score-like entry is taken.
            let found = archive
                .file_names()
                .flatten()
                .filter(|n| !n.starts_with("META-INF/") && !n.starts_with("__MACOSX/"))
                .find(|n| n.ends_with(".musicxml") || n.ends_with(".xml"))
                .map(|n| n.into_owned());
            let Some(found) = found else { return Err(Error::NoScoreInside) };
            warnings.push(Warning {
                place: "compressed file".to_owned(),
                what: format!("its container names no score; `{found}` was read"),
            });
            found
        }
    };
    let bad = |why| Error::Rootfile { path: path.clone(), why };
    if path.starts_with('/') || path.contains(':') || path.split(['/', '\\']).any(|s| s == "..") {
        return Err(bad("which lies outside of it"));
    }
    if path == CONTAINER {
        return Err(bad("which is the list of contents itself"));
    }
    let score = entry(&mut archive, &path)?.ok_or_else(|| bad("which isn't in it"))?;
    if score.starts_with(b"PK\x03\x04") {
        return Err(bad("which is a compressed file again"));
    }
    Ok(Unpacked { score, warnings })
}

/// The bytes of an entry; `None` where there is no such entry.
fn entry(archive: &mut ZipArchive<Cursor<&[u8]>>, name: &str) -> Result<Option<Vec<u8>>, Error> {
    let file = match archive.by_name(name) {
        Ok(file) => file,
        Err(zip::result::ZipError::FileNotFound) => return Ok(None),
        Err(e) => return Err(Error::Unpack(e.to_string())),
    };
    // The size that the archive states is a claim; what really comes out is counted.
    let packed = file.compressed_size().max(1);
    let by_ratio = packed.saturating_mul(MAX_RATIO).max(1 << 20);
    let most = by_ratio.min(MAX_BYTES as u64);
    let mut bytes = Vec::with_capacity(file.size().min(most) as usize);
    file.take(most + 1).read_to_end(&mut bytes).map_err(|e| Error::Unpack(e.to_string()))?;
    if bytes.len() as u64 > most {
        return Err(if most == by_ratio {
            Error::Ratio { entry: name.to_owned(), limit: MAX_RATIO }
        } else {
            Error::TooLarge { what: format!("`{name}`"), limit: MAX_BYTES }
        });
    }
    Ok(Some(bytes))
}

/// The path of the first rootfile of a container.
fn rootfile(container: &[u8]) -> Result<Option<String>, Error> {
    let (text, _) = super::text::decode(container)?;
    let document = super::musicxml::parse(&text)?;
    let path = document
        .descendants()
        .find(|n| n.tag_name().name() == "rootfile")
        .and_then(|n| n.attribute("full-path"))
        .map(str::to_owned);
    Ok(path)
}
