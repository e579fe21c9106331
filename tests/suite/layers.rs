//! Data flows one way: a module uses lower layers only, and modules of one layer never each other.

use std::fs;
use std::path::{Path, PathBuf};

const LAYERS: [(&str, u8); 9] = [
    ("score", 0),
    ("import", 1),
    ("analysis", 1),
    ("kit", 2),
    ("arrange", 3),
    ("export", 4),
    ("print", 4),
    ("concert", 5),
    ("cli", 6),
];

fn layer(module: &str) -> Option<u8> {
    LAYERS.iter().find(|l| l.0 == module).map(|l| l.1)
}

fn sources(dir: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(dir).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

/// The top modules that a source text names as `crate::MODULE`, doc links included.
fn named(text: &str) -> Vec<String> {
    let mut names = Vec::new();
    for (at, _) in text.match_indices("crate::") {
        let rest = &text[at + "crate::".len()..];
        if let Some(list) = rest.strip_prefix('{') {
            // `use crate::{a::X, b::Y}`: the first word after each top-level brace or comma.
            let mut depth = 1;
            let mut word = String::new();
            let mut open = true;
            for c in list.chars() {
                match c {
                    '{' => depth += 1,
                    '}' => depth -= 1,
                    ',' if depth == 1 => {
                        names.push(std::mem::take(&mut word));
                        open = true;
                        continue;
                    }
                    ':' if depth == 1 => open = false,
                    c if open && depth == 1 && (c.is_alphanumeric() || c == '_') => word.push(c),
                    _ => {}
                }
                if depth == 0 {
                    names.push(word);
                    break;
                }
            }
        } else {
            names.push(
                rest.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect::<String>(),
            );
        }
    }
    names
}

#[test]
fn a_module_uses_lower_layers_only() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    sources(&src, &mut files);
    let mut faults = Vec::new();
    for file in files {
        let below = file.strip_prefix(&src).unwrap();
        let top = below.components().next().unwrap().as_os_str().to_str().unwrap();
        let top = top.trim_end_matches(".rs");
        if top == "lib" || top == "main" {
            continue;
        }
        let Some(own) = layer(top) else {
            faults.push(format!("{}: module `{top}` has no layer", below.display()));
            continue;
        };
        for name in named(&fs::read_to_string(&file).unwrap()) {
            let Some(used) = layer(&name) else { continue };
            if name != top && used >= own {
                faults.push(format!("{}: layer {own} uses `{name}`", below.display()));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// A file that its module only has under `#[cfg(test)]`.
fn is_for_tests(below: &Path) -> bool {
    let stem = below.file_stem().unwrap().to_str().unwrap();
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let parent = src.join(below).parent().unwrap().join("mod.rs");
    fs::read_to_string(parent)
        .is_ok_and(|text| text.contains(&format!("#[cfg(test)]\nmod {stem};")))
}

#[test]
fn only_cli_opens_files_and_knows_the_argument_parser() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    sources(&src, &mut files);
    let mut faults = Vec::new();
    for file in files {
        let below = file.strip_prefix(&src).unwrap();
        if below.starts_with("cli") || below == Path::new("main.rs") || is_for_tests(below) {
            continue;
        }
        let text = fs::read_to_string(&file).unwrap();
        for word in ["std::fs", "File::", "clap::", "std::process", "anyhow"] {
            let whole = |(at, _): (usize, &str)| {
                !text[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_')
            };
            if text.match_indices(word).any(whole) {
                faults.push(format!("{}: `{word}`", below.display()));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn the_scan_sees_paths_and_lists() {
    assert_eq!(named("use crate::score::Time;"), ["score"]);
    assert_eq!(named("use crate::{score::{Time, Key}, kit::Kit};"), ["score", "kit"]);
}
