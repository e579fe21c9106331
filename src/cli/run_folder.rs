//! The folder of a concert: one run at a time, songs whole or not at all, and a record of what is
//! done, so that a second run does only what is missing or changed.
//!
//! A new song's files are written into a scratch folder that is then renamed to its place, so that
//! the song appears in one step. A song that is done anew is written file by file, each of them
//! renamed into place; its record says from the start that it is unfinished, so that a run that dies
//! in the middle is noticed. Files are found to be barwright's own by their hash: what the user
//! changed in them is put aside under another name, never overwritten. Writing in place under a lock
//! file was rejected: a lock says nothing about a file cut off in the middle.
//!
//! The lock is the operating system's, on an open file: it ends with the process, however that ends.

use std::collections::BTreeMap;
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::Write as _;
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use serde::{Deserialize, Serialize};

use super::files;

/// The lock, and the sign that a folder is a concert's.
const LOCK: &str = ".barwright-lock";

/// A song's record, in its folder.
const RECORD: &str = ".barwright";

/// What scratch folders and files are called; leftovers of a killed run are cleared by the next.
const SCRATCH: &str = ".barwright-";

/// Where the players' packs are; no song's folder is called so.
pub(super) const PLAYERS: &str = "players";

/// Files of a concert beside its songs' folders.
const OWN_FILES: [&str; 4] = ["concert.json", "concert.txt", "pack.html", "pack.pdf"];

/// What a song's folder was made from and holds.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
struct Record {
    format: u32,
    /// Hash of all that the files follow from; empty while they are being written.
    key: String,
    /// Each file's hash; two while a song is done anew: the old one and the new one.
    files: BTreeMap<String, Vec<String>>,
    /// What the concert's lists need of the song, so that it needn't be worked out again.
    entry: serde_json::Value,
}

/// A concert's folder, held by this run alone.
#[derive(Debug)]
pub(super) struct RunFolder {
    path: PathBuf,
    force: bool,
    /// Held until the run ends.
    _lock: File,
}

/// A file's name below the song's folder, and its content.
pub(super) type Made = (String, Vec<u8>);

impl RunFolder {
    /// Opens, or makes, the folder and locks it. A folder with something else's files in it is
    /// refused unless `force` is set.
    pub(super) fn open(path: &Path, force: bool) -> anyhow::Result<RunFolder> {
        files::make_folder(path)?;
        let lock_path = path.join(LOCK);
        if !force && !lock_path.exists() {
            refuse_strangers(path)?;
        }
        let lock = OpenOptions::new()
            .create(true)
            .truncate(false)
            .write(true)
            .open(&lock_path)
            .with_context(|| format!("{}: the folder can't be written to", path.display()))?;
        match lock.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => bail!(
                "{}: another run is writing into this folder; wait until it is done, or choose another --out",
                path.display()
            ),
            Err(TryLockError::Error(error)) => {
                return Err(error)
                    .with_context(|| format!("{}: can't be locked", lock_path.display()));
            }
        }
        let folder = RunFolder { path: path.to_owned(), force, _lock: lock };
        folder.clear_scratch()?;
        Ok(folder)
    }

    /// Where a song's folder is.
    pub(super) fn song(&self, slug: &str) -> PathBuf {
        self.path.join(slug)
    }

    /// Whether a song's folder is free or barwright's own.
    pub(super) fn may_use(&self, slug: &str) -> bool {
        let folder = self.song(slug);
        !folder.exists() || is_own(&folder)
    }

    /// Clears what a killed run left half-made.
    fn clear_scratch(&self) -> anyhow::Result<()> {
        let fault = || format!("{}: the folder can't be read", self.path.display());
        for entry in fs::read_dir(&self.path).with_context(fault)? {
            let entry = entry.with_context(fault)?;
            let name = entry.file_name();
            let name = name.to_string_lossy();
            if name.starts_with(SCRATCH) && name != LOCK {
                let path = entry.path();
                let gone =
                    if path.is_dir() { fs::remove_dir_all(&path) } else { fs::remove_file(&path) };
                gone.with_context(|| format!("{}: can't be cleared away", path.display()))?;
            }
        }
        Ok(())
    }

    /// What was noted of a song that is done with this key and whose files are all there.
    pub(super) fn done(&self, slug: &str, key: &str) -> Option<serde_json::Value> {
        let folder = self.song(slug);
        let record = read_record(&folder)?;
        // A power cut can leave files empty whose names are there; no file of ours is empty.
        let holds =
            |f: &String| folder.join(f).metadata().is_ok_and(|m| m.is_file() && m.len() > 0);
        let whole = record.key == key && record.files.keys().all(holds);
        whole.then_some(record.entry)
    }

    /// Writes a song's files and its record.
    pub(super) fn put_song(
        &self,
        slug: &str,
        key: &str,
        entry: serde_json::Value,
        made: &[Made],
    ) -> anyhow::Result<()> {
        let folder = self.song(slug);
        let hashes = made.iter().map(|(name, b)| (name.clone(), vec![hash(b)])).collect();
        let record = Record { format: 1, key: key.to_owned(), files: hashes, entry };
        if folder.exists() {
            self.renew(&folder, record, made)
        } else {
            self.add(&folder, &record, made)
        }
    }

    /// A song that is new: all files at once.
    fn add(&self, folder: &Path, record: &Record, made: &[Made]) -> anyhow::Result<()> {
        let scratch = tempfile::Builder::new()
            .prefix(SCRATCH)
            .tempdir_in(&self.path)
            .with_context(|| format!("{}: can't be written to", self.path.display()))?;
        let text = record_bytes(record)?;
        let own = (RECORD.to_owned(), text);
        let mut ready: Option<PathBuf> = None;
        for (name, bytes) in made.iter().chain([&own]) {
            let path = scratch.path().join(name);
            let parent = path.parent().unwrap_or(scratch.path()).to_owned();
            if parent != scratch.path() && ready.as_ref() != Some(&parent) {
                files::make_folder(&parent)?;
                ready = Some(parent);
            }
            let fault = || format!("{}: can't be written", folder.join(name).display());
            let mut file = File::create_new(&path).with_context(fault)?;
            file.write_all(bytes).with_context(fault)?;
        }
        open_to_all(scratch.path());
        let fault = || format!("{}: can't be written", folder.display());
        fs::rename(scratch.path(), folder).with_context(fault)?;
        // It is in its place; there is nothing left to clear.
        let _ = scratch.keep();
        Ok(())
    }

    /// A song that is there already: file by file.
    fn renew(&self, folder: &Path, record: Record, made: &[Made]) -> anyhow::Result<()> {
        let old = read_record(folder);
        if old.is_none() && !self.force && !is_own(folder) {
            bail!(
                "{}: holds files that are not barwright's; choose another --out, or add --force to write there all the same",
                folder.display()
            );
        }
        let old = old.unwrap_or_default();
        let mut marked = Record { key: String::new(), ..record.clone() };
        for (name, hashes) in &old.files {
            marked.files.entry(name.clone()).or_default().extend(hashes.iter().cloned());
        }
        for hashes in marked.files.values_mut() {
            hashes.sort();
            hashes.dedup();
        }
        files::write_whole(&folder.join(RECORD), &record_bytes(&marked)?)?;
        clear_parts(folder);
        for (name, bytes) in made {
            let path = folder.join(name);
            if let Some(parent) = path.parent() {
                files::make_folder(parent)?;
                clear_parts(parent);
            }
            put_aside(&path, old.files.get(name), &marked.files[name])?;
            files::write_whole(&path, bytes)?;
        }
        for (name, hashes) in old.files.iter().filter(|(n, _)| !record.files.contains_key(*n)) {
            // No longer part of the song; what the user changed in it stays.
            let path = folder.join(name);
            if fs::read(&path).is_ok_and(|b| hashes.contains(&hash(&b))) {
                fs::remove_file(&path)
                    .with_context(|| format!("{}: can't be cleared away", path.display()))?;
            }
        }
        files::write_whole(&folder.join(RECORD), &record_bytes(&record)?)
    }

    /// Writes a player's pack.
    pub(super) fn put_player(&self, name: &str, bytes: &[u8]) -> anyhow::Result<()> {
        let folder = self.path.join(PLAYERS);
        files::make_folder(&folder)?;
        clear_parts(&folder);
        files::write_whole(&folder.join(format!("{name}.html")), bytes)
    }

    /// Writes one of the concert's own files.
    pub(super) fn put(&self, name: &str, bytes: &[u8]) -> anyhow::Result<()> {
        files::write_whole(&self.path.join(name), bytes)
    }
}

/// Keeps what the user changed in a file of ours: under the name with `.edited` behind it.
fn put_aside(path: &Path, old: Option<&Vec<String>>, known: &[String]) -> anyhow::Result<()> {
    // Without a record nobody can tell; such a folder is written to only as barwright's own or by
    // --force.
    if old.is_none() {
        return Ok(());
    }
    let Ok(bytes) = fs::read(path) else { return Ok(()) };
    if known.contains(&hash(&bytes)) {
        return Ok(());
    }
    let name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    for n in 1..1000 {
        let aside = if n == 1 { format!("{name}.edited") } else { format!("{name}.edited-{n}") };
        let aside = path.with_file_name(aside);
        if !aside.exists() {
            super::say(&format!(
                "{}: was changed since it was made; your version is now {}",
                path.display(),
                aside.display()
            ));
            return fs::rename(path, &aside)
                .with_context(|| format!("{}: can't be written", aside.display()));
        }
    }
    bail!("{}: too many edited versions lie beside it; move them elsewhere", path.display())
}

/// Makes a scratch folder (private to its owner) as readable as folders usually are.
fn open_to_all(folder: &Path) {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // A folder with narrower rights is no reason to fail.
        let _ = fs::set_permissions(folder, fs::Permissions::from_mode(0o755));
    }
    #[cfg(not(unix))]
    let _ = folder;
}

/// Clears half-written files of a killed run.
fn clear_parts(folder: &Path) {
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let name = entry.file_name();
        let name = name.to_string_lossy();
        if name.starts_with(SCRATCH) && name.ends_with(".part") {
            let _ = fs::remove_file(entry.path());
        }
    }
}

fn hash(bytes: &[u8]) -> String {
    blake3::hash(bytes).to_hex().to_string()
}

fn record_bytes(record: &Record) -> anyhow::Result<Vec<u8>> {
    let mut bytes = serde_json::to_vec(record)?;
    bytes.push(b'\n');
    Ok(bytes)
}

fn read_record(folder: &Path) -> Option<Record> {
    serde_json::from_slice(&fs::read(folder.join(RECORD)).ok()?).ok()
}

/// Whether `barwright arrange` or `concert` made this folder, or it is empty.
fn is_own(folder: &Path) -> bool {
    folder.join(RECORD).is_file()
        || folder.join("arrangement.json").is_file()
        || fs::read_dir(folder).is_ok_and(|mut e| e.next().is_none())
}

/// Refuses a folder that holds anything but songs that barwright made.
fn refuse_strangers(path: &Path) -> anyhow::Result<()> {
    let fault = || format!("{}: the folder can't be read", path.display());
    for entry in fs::read_dir(path).with_context(fault)? {
        let entry = entry.with_context(fault)?;
        let at = entry.path();
        if !(at.is_dir() && is_own(&at)) {
            let name = entry.file_name();
            let name = name.to_string_lossy();
            let own = OWN_FILES.contains(&name.as_ref());
            bail!(
                "{}: holds {}{}; choose another --out, or add --force to write there all the same",
                path.display(),
                name,
                if own {
                    ", which this program would overwrite"
                } else {
                    ", which is not barwright's"
                }
            );
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn made(text: &str) -> Vec<Made> {
        vec![
            ("score.mid".to_owned(), text.as_bytes().to_vec()),
            ("parts/a.musicxml".to_owned(), text.as_bytes().to_vec()),
        ]
    }

    fn entry() -> serde_json::Value {
        serde_json::json!({"title": "x"})
    }

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(folder)
            .unwrap()
            .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn a_song_is_noted_as_done_until_something_changes() {
        let out = tempfile::tempdir().unwrap();
        let run = RunFolder::open(out.path(), false).unwrap();
        run.put_song("tune", "k1", entry(), &made("one")).unwrap();
        assert_eq!(names(out.path()), [LOCK, "tune"]);
        assert_eq!(run.done("tune", "k1"), Some(entry()));
        assert_eq!(run.done("tune", "k2"), None);
        fs::remove_file(out.path().join("tune/score.mid")).unwrap();
        assert_eq!(run.done("tune", "k1"), None);
        run.put_song("tune", "k1", entry(), &made("one")).unwrap();
        assert_eq!(run.done("tune", "k1"), Some(entry()));
        // As a power cut leaves it.
        fs::write(out.path().join("tune/score.mid"), "").unwrap();
        assert_eq!(run.done("tune", "k1"), None);
    }

    #[test]
    fn two_runs_in_one_folder_at_once_are_refused() {
        let out = tempfile::tempdir().unwrap();
        let first = RunFolder::open(out.path(), false).unwrap();
        let error = RunFolder::open(out.path(), false).unwrap_err().to_string();
        assert!(error.contains("another run is writing"), "{error}");
        drop(first);
        RunFolder::open(out.path(), false).unwrap();
    }

    #[test]
    fn what_a_killed_run_left_is_cleared_and_redone() {
        let out = tempfile::tempdir().unwrap();
        let run = RunFolder::open(out.path(), false).unwrap();
        run.put_song("tune", "k1", entry(), &made("one")).unwrap();
        let undisturbed = fs::read(out.path().join("tune").join(RECORD)).unwrap();
        drop(run);
        // As a run leaves it that dies while the song is done anew.
        fs::create_dir(out.path().join(".barwright-abc")).unwrap();
        fs::write(out.path().join("tune/.barwright-x.part"), "half").unwrap();
        let mut record = read_record(&out.path().join("tune")).unwrap();
        record.key.clear();
        fs::write(out.path().join("tune").join(RECORD), record_bytes(&record).unwrap()).unwrap();
        let run = RunFolder::open(out.path(), false).unwrap();
        assert_eq!(run.done("tune", "k1"), None);
        run.put_song("tune", "k1", entry(), &made("one")).unwrap();
        assert_eq!(fs::read(out.path().join("tune").join(RECORD)).unwrap(), undisturbed);
        assert_eq!(names(out.path()), [LOCK, "tune"]);
        assert_eq!(names(&out.path().join("tune")), [RECORD, "parts", "score.mid"]);
    }

    #[test]
    fn what_the_user_changed_is_put_aside() {
        let out = tempfile::tempdir().unwrap();
        let run = RunFolder::open(out.path(), false).unwrap();
        run.put_song("tune", "k1", entry(), &made("one")).unwrap();
        fs::write(out.path().join("tune/score.mid"), "mine").unwrap();
        fs::write(out.path().join("tune/notes.txt"), "mine too").unwrap();
        run.put_song("tune", "k2", entry(), &made("two")[..1]).unwrap();
        assert_eq!(fs::read(out.path().join("tune/score.mid")).unwrap(), b"two");
        assert_eq!(fs::read(out.path().join("tune/score.mid.edited")).unwrap(), b"mine");
        assert_eq!(fs::read(out.path().join("tune/notes.txt")).unwrap(), b"mine too");
        // The part that the song no longer has is gone.
        assert!(!out.path().join("tune/parts/a.musicxml").exists());
    }

    #[test]
    fn a_strangers_folder_is_refused() {
        let out = tempfile::tempdir().unwrap();
        fs::write(out.path().join("thesis.txt"), "mine").unwrap();
        let error = RunFolder::open(out.path(), false).unwrap_err().to_string();
        assert!(error.contains("thesis.txt, which is not barwright's"), "{error}");
        assert_eq!(names(out.path()), ["thesis.txt"]);
        let run = RunFolder::open(out.path(), true).unwrap();
        drop(run);
        // Once it is a concert's, what the user lays beside it is no matter.
        let run = RunFolder::open(out.path(), false).unwrap();
        fs::create_dir(out.path().join("tune")).unwrap();
        fs::write(out.path().join("tune/mine.txt"), "mine").unwrap();
        assert!(run.put_song("tune", "k", entry(), &made("one")).is_err());
        assert_eq!(names(&out.path().join("tune")), ["mine.txt"]);
    }
}
