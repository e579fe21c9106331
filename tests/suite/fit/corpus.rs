//! The table of what share of a folder of tunes fits the starter kit (DEVELOPERS.md, "Bars and fit").

use std::path::PathBuf;
use std::time::{Duration, Instant};

use barwright::analysis::{Options, analyse};
use barwright::import::{melody, read};
use barwright::kit::{Fit, FitRequest, Kit, Transpose, Verdict, fit};

use super::twin::playable;

/// Of the notes, this share may change in the last row but one.
const CHANGED: usize = 20;

/// `BARWRIGHT_TUNES=DIR[:DIR] cargo test --release --no-default-features --test suite -- --ignored
/// --nocapture fit::corpus`
#[test]
#[ignore = "needs folders of tunes, named in BARWRIGHT_TUNES"]
fn how_many_tunes_of_a_folder_fit() {
    let dirs = std::env::var("BARWRIGHT_TUNES").expect("BARWRIGHT_TUNES names folders of tunes");
    let mut files: Vec<PathBuf> = dirs
        .split(':')
        .flat_map(|dir| std::fs::read_dir(dir).unwrap())
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "musicxml"))
        .collect();
    files.sort();
    files.truncate(1000);
    let kit = Kit::starter();
    let names = ["own key", "another key", "shared or bars moved", "5 % changed", "not at all"];
    let mut counts = [0usize; 5];
    let mut white = 0;
    let mut times: Vec<Duration> = Vec::new();
    let mut asked = 0;
    for path in &files {
        let Ok(song) = read(&std::fs::read(path).unwrap()) else { continue };
        let Ok(tune) = melody(&song.score, None) else { continue };
        let line = tune.line;
        let analysis = analyse(&song.score, &line, Options::default());
        let ask = |ask: &FitRequest| {
            let found = fit(&song.score, &line, &analysis, &kit, ask);
            if found.verdict != Verdict::DoesNotFit {
                for option in &found.options {
                    assert_eq!(playable(&kit, &line, option), Ok(()), "{}", path.display());
                    assert!(option.missing.is_empty());
                }
            }
            found
        };
        let alone = |found: &Fit| {
            let best = &found.options[0];
            found.verdict != Verdict::DoesNotFit
                && best.carriers.len() == 1
                && best.changes.is_empty()
                && best.changed.is_empty()
        };
        asked += 1;
        let own = ask(&FitRequest { transpose: Transpose::None, ..FitRequest::default() });
        let began = Instant::now();
        let any = fit(&song.score, &line, &analysis, &kit, &FitRequest::default());
        times.push(began.elapsed());
        ask(&FitRequest::default());
        let few =
            FitRequest { changed_notes: Some(line.notes.len() / CHANGED), ..FitRequest::default() };
        white += usize::from(own.verdict == Verdict::Fits);
        counts[if alone(&own) {
            0
        } else if alone(&any) {
            1
        } else if any.verdict != Verdict::DoesNotFit {
            2
        } else if ask(&few).verdict != Verdict::DoesNotFit {
            3
        } else {
            4
        }] += 1;
    }
    times.sort();
    println!("{asked} tunes; on the white bars in their own key: {white}");
    for (name, count) in names.iter().zip(counts) {
        println!("{name}: {count} ({:.1} %)", 100.0 * count as f64 / asked as f64);
    }
    let at = |share: f64| times[((times.len() - 1) as f64 * share) as usize];
    println!("fit, any key: median {:?}, 95 % {:?}, most {:?}", at(0.5), at(0.95), at(1.0));
    assert_eq!(counts.iter().sum::<usize>(), asked);
}
