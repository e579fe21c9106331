//! Prints a page to PDF with a browser of the Chromium family that is installed on the machine.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use anyhow::{Context, bail};

use super::files;

/// Program names under which browsers of the Chromium family are installed, looked for in this order.
const BROWSERS: [&str; 9] = [
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "microsoft-edge",
    "microsoft-edge-stable",
    "brave-browser",
    "vivaldi",
];

/// Where macOS keeps them.
const MAC_BROWSERS: [&str; 3] = [
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
];

/// How long a browser may take; a pack of forty songs takes a few seconds.
const PATIENCE: Duration = Duration::from_secs(120);

/// Prints an HTML file to a PDF file, which appears whole or not at all.
///
/// # Errors
/// No browser is installed, it fails or hangs, or the PDF can't be written.
pub(super) fn print(html: &Path, pdf: &Path) -> anyhow::Result<()> {
    let Some(browser) = find() else {
        bail!(
            "no browser of the Chromium family found (looked for {}); install one, or open {} in any \
             browser and print it from there",
            BROWSERS.join(", "),
            html.display()
        );
    };
    let html = html.canonicalize().with_context(|| format!("can't find {}", html.display()))?;
    let work = tempfile::tempdir().context("can't make a folder for temporary files")?;
    let made = work.path().join("pack.pdf");
    let mut command = Command::new(&browser);
    command
        .args(["--headless", "--disable-gpu", "--no-first-run", "--disable-background-networking"])
        .args(["--disable-component-update", "--disable-sync", "--no-pdf-header-footer"])
        .arg(format!("--user-data-dir={}", work.path().join("profile").display()))
        .arg(format!("--print-to-pdf={}", made.display()))
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    if is_root() {
        // Chromium refuses its sandbox to the superuser; the page is our own and has no scripts.
        command.arg("--no-sandbox");
    }
    command.arg(file_address(&html));
    let mut child =
        command.spawn().with_context(|| format!("can't start {}", browser.display()))?;
    let started = Instant::now();
    let status = loop {
        if let Some(status) = child.try_wait()? {
            break status;
        }
        if started.elapsed() > PATIENCE {
            let _ = child.kill();
            let _ = child.wait();
            bail!(
                "{} did not finish printing within {} seconds; open {} in a browser and print it from there",
                browser.display(),
                PATIENCE.as_secs(),
                html.display()
            );
        }
        std::thread::sleep(Duration::from_millis(25));
    };
    let bytes = std::fs::read(&made).unwrap_or_default();
    if !status.success() || !bytes.starts_with(b"%PDF") {
        bail!(
            "{} could not print {} ({status}); open it in a browser and print it from there",
            browser.display(),
            html.display()
        );
    }
    files::write_whole(pdf, &bytes)
}

/// The first browser found on the search path.
fn find() -> Option<PathBuf> {
    let path = std::env::var_os("PATH").unwrap_or_default();
    let folders: Vec<PathBuf> = std::env::split_paths(&path).collect();
    let named = |name: &str| {
        let file = format!("{name}{}", std::env::consts::EXE_SUFFIX);
        folders.iter().map(|f| f.join(&file)).find(|p| p.is_file())
    };
    BROWSERS
        .iter()
        .find_map(|name| named(name))
        .or_else(|| MAC_BROWSERS.iter().map(PathBuf::from).find(|p| p.is_file()))
}

/// Whether this process runs as the superuser: on Unix its own temporary files belong to user 0.
fn is_root() -> bool {
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt;
        tempfile::tempfile().and_then(|f| f.metadata()).is_ok_and(|m| m.uid() == 0)
    }
    #[cfg(not(unix))]
    {
        false
    }
}

/// The `file:` address of a path, with what an address can't hold written as %XX.
fn file_address(path: &Path) -> String {
    let mut address = "file://".to_owned();
    let text = path.to_string_lossy().replace('\\', "/");
    if !text.starts_with('/') {
        address.push('/');
    }
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"/-_.~:".contains(&byte) {
            address.push(char::from(byte));
        } else {
            address.push_str(&format!("%{byte:02X}"));
        }
    }
    address
}
