//! Reading and writing files so that nothing is half-written and nothing of the user's is lost.

use std::fs;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};

/// The largest input that is read, in bytes: more than any score or MIDI file in use.
pub(super) const MAX_INPUT: u64 = 256 * 1024 * 1024;

/// How an input is called in messages and documents: its file name, or `standard input`.
pub(super) fn shown(path: &Path) -> String {
    if path == Path::new("-") { "standard input".to_owned() } else { path.display().to_string() }
}

/// Reads a whole file, or standard input for `-`.
pub(super) fn read(path: &Path) -> anyhow::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    let name = shown(path);
    let read = if path == Path::new("-") {
        io::stdin().lock().take(MAX_INPUT + 1).read_to_end(&mut bytes)
    } else {
        let file = fs::File::open(path).with_context(|| format!("{name}: can't be opened"))?;
        if file.metadata().is_ok_and(|m| m.is_dir()) {
            bail!("{name}: is a folder; name a song file in it");
        }
        file.take(MAX_INPUT + 1).read_to_end(&mut bytes)
    };
    read.with_context(|| format!("{name}: can't be read"))?;
    if bytes.len() as u64 > MAX_INPUT {
        bail!("{name}: is larger than 256 MB, more than any song; check that it is the right file");
    }
    Ok(bytes)
}

/// Reads a text file in UTF-8.
pub(super) fn read_text(path: &Path) -> anyhow::Result<String> {
    String::from_utf8(read(path)?)
        .map_err(|_| anyhow::anyhow!("{}: is no UTF-8 text; save it as UTF-8", shown(path)))
}

/// Writes a file whole or not at all: into a new file beside it, then renamed over it.
pub(super) fn write_whole(path: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    let fault = || format!("{}: can't be written", path.display());
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut file = tempfile::Builder::new()
        .prefix(".barwright-")
        .suffix(".part")
        .tempfile_in(folder)
        .with_context(fault)?;
    file.write_all(bytes).with_context(fault)?;
    // The temporary file is private to its owner; what is handed out has the usual rights.
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let rights = fs::Permissions::from_mode(0o644);
        file.as_file().set_permissions(rights).with_context(fault)?;
    }
    file.persist(path).map_err(|e| e.error).with_context(fault)?;
    Ok(())
}

/// Writes files below a folder, each whole or not at all; the folders are made if need be.
pub(super) fn write_all(folder: &Path, made: &[(String, Vec<u8>)]) -> anyhow::Result<()> {
    let mut ready: Option<PathBuf> = None;
    for (name, bytes) in made {
        let path = folder.join(name);
        let parent = path.parent().unwrap_or(folder).to_owned();
        if ready.as_ref() != Some(&parent) {
            make_folder(&parent)?;
            ready = Some(parent);
        }
        write_whole(&path, bytes)?;
    }
    Ok(())
}

/// Makes a folder and those above it.
pub(super) fn make_folder(path: &Path) -> anyhow::Result<()> {
    fs::create_dir_all(path)
        .with_context(|| format!("{}: the folder can't be made", path.display()))
}

/// Whether a folder is missing or empty.
fn is_vacant(folder: &Path) -> bool {
    !folder.exists() || fs::read_dir(folder).is_ok_and(|mut entries| entries.next().is_none())
}

/// The folder for a song's files below `out`: `slug`, or `slug-2`, ... where that name is taken by
/// another song. A folder with something else's files in it is refused unless `force` is set.
pub(super) fn song_folder(
    out: &Path,
    slug: &str,
    source: &str,
    force: bool,
) -> anyhow::Result<PathBuf> {
    for name in numbered(slug).take(9_999) {
        let folder = out.join(name);
        if is_vacant(&folder) {
            return Ok(folder);
        }
        match arranged_source(&folder) {
            Some(song) if song == source => return Ok(folder),
            Some(_) => continue,
            None if force => return Ok(folder),
            None => bail!(
                "{}: holds files that are not barwright's; choose another --out, or add --force to write there all the same",
                folder.display()
            ),
        }
    }
    bail!("{}: too many songs are called {slug}; choose another --out", out.display())
}

/// The source file that an arrangement in this folder was made from, if there is one.
fn arranged_source(folder: &Path) -> Option<String> {
    let text = fs::read_to_string(folder.join("arrangement.json")).ok()?;
    let document: serde_json::Value = serde_json::from_str(&text).ok()?;
    document.get("format")?;
    Some(document.get("source")?.as_str()?.to_owned())
}

/// File name endings of songs, for folders; the content decides what a file really is.
const ENDINGS: [&str; 5] = ["musicxml", "xml", "mxl", "mid", "midi"];

/// Songs among paths: files as given, folders replaced by the song files in them, by name.
pub(super) fn songs_in(paths: &[PathBuf]) -> anyhow::Result<Vec<PathBuf>> {
    let mut songs = Vec::new();
    for path in paths {
        if !path.is_dir() {
            songs.push(path.clone());
            continue;
        }
        let fault = || format!("{}: the folder can't be read", path.display());
        let mut found = Vec::new();
        for entry in fs::read_dir(path).with_context(fault)? {
            let file = entry.with_context(fault)?.path();
            let ending = file.extension().and_then(|e| e.to_str()).unwrap_or_default();
            if file.is_file() && ENDINGS.contains(&ending.to_ascii_lowercase().as_str()) {
                found.push(file);
            }
        }
        if found.is_empty() {
            bail!(
                "{}: there is no song in this folder (files ending in .musicxml, .xml, .mxl, .mid or .midi)",
                path.display()
            );
        }
        found.sort();
        songs.append(&mut found);
    }
    Ok(songs)
}

/// A name and, where it is taken, those that come next: `slug`, `slug-2`, `slug-3`, ...
pub(super) fn numbered(slug: &str) -> impl Iterator<Item = String> + '_ {
    (1usize..).map(move |n| if n == 1 { slug.to_owned() } else { format!("{slug}-{n}") })
}

/// A title or file name as lower-case ASCII words joined by `-`; `song` where nothing is left.
pub(super) fn slug(title: &str) -> String {
    slug_or(title, "song")
}

/// The same, with a word of its own for where nothing is left.
pub(super) fn slug_or(title: &str, nothing: &str) -> String {
    let mut slug = String::new();
    for c in title.chars().flat_map(char::to_lowercase) {
        match c {
            'a'..='z' | '0'..='9' => slug.push(c),
            // An apostrophe joins: "sailor's" becomes "sailors".
            '\'' | '’' => {}
            _ => match folded(c) {
                Some(ascii) => slug.push_str(ascii),
                None if !slug.ends_with('-') && !slug.is_empty() => slug.push('-'),
                None => {}
            },
        }
        // Long enough for a title, short enough for every file system.
        if slug.len() >= 80 {
            break;
        }
    }
    let slug = slug.trim_end_matches('-');
    if slug.is_empty() { nothing.to_owned() } else { slug.to_owned() }
}

/// Letters of the Latin scripts without their accents.
fn folded(c: char) -> Option<&'static str> {
    Some(match c {
        'à' | 'á' | 'â' | 'ã' | 'å' | 'ā' | 'ă' | 'ą' => "a",
        'ä' | 'æ' => "ae",
        'ç' | 'ć' | 'č' => "c",
        'ď' | 'đ' | 'ð' => "d",
        'è' | 'é' | 'ê' | 'ë' | 'ē' | 'ę' | 'ě' => "e",
        'ğ' => "g",
        'ì' | 'í' | 'î' | 'ï' | 'ī' | 'ı' => "i",
        'ł' => "l",
        'ñ' | 'ń' | 'ň' => "n",
        'ò' | 'ó' | 'ô' | 'õ' | 'ō' | 'ő' => "o",
        'ö' | 'ø' | 'œ' => "oe",
        'ř' => "r",
        'ś' | 'š' | 'ş' | 'ș' => "s",
        'ß' => "ss",
        'ť' | 'ț' | 'ţ' => "t",
        'þ' => "th",
        'ù' | 'ú' | 'û' | 'ū' | 'ů' | 'ű' => "u",
        'ü' => "ue",
        'ý' | 'ÿ' => "y",
        'ź' | 'ż' | 'ž' => "z",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slugs_are_ascii_words() {
        assert_eq!(slug("The Sailor's Round"), "the-sailors-round");
        assert_eq!(slug("Über die Brücke!"), "ueber-die-bruecke");
        assert_eq!(slug("  --  "), "song");
        assert_eq!(slug("海"), "song");
        assert_eq!(slug("../../etc/passwd"), "etc-passwd");
        assert!(slug(&"ab ".repeat(500)).len() <= 80);
    }

    #[test]
    fn a_file_appears_whole_and_leaves_nothing_beside_it() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.txt");
        write_whole(&path, b"one").unwrap();
        write_whole(&path, b"two").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"two");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
        assert!(write_whole(&folder.path().join("none/a.txt"), b"x").is_err());
    }

    #[test]
    fn a_strangers_folder_is_refused_and_another_song_gets_another_name() {
        let out = tempfile::tempdir().unwrap();
        let first = song_folder(out.path(), "tune", "a.mid", false).unwrap();
        assert!(first.ends_with("tune"));
        fs::create_dir(&first).unwrap();
        fs::write(first.join("notes.txt"), "mine").unwrap();
        assert!(song_folder(out.path(), "tune", "a.mid", false).is_err());
        assert_eq!(song_folder(out.path(), "tune", "a.mid", true).unwrap(), first);
        fs::write(first.join("arrangement.json"), r#"{"format":1,"source":"a.mid"}"#).unwrap();
        assert_eq!(song_folder(out.path(), "tune", "a.mid", false).unwrap(), first);
        assert!(song_folder(out.path(), "tune", "b.mid", false).unwrap().ends_with("tune-2"));
    }
}
