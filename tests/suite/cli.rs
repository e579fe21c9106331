//! The program as scripts call it: exit statuses, outputs, examples.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use serde_json::Value;

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

/// barwright, run from the project's root.
fn barwright(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_barwright"))
        .args(args)
        .current_dir(ROOT)
        .stdin(Stdio::null())
        .output()
        .unwrap()
}

fn stdout(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn stderr(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

/// Runs a command that must exit with `status`, and returns its standard output.
fn expect(status: i32, args: &[&str]) -> String {
    let output = barwright(args);
    assert_eq!(
        output.status.code(),
        Some(status),
        "{args:?}\n{}{}",
        stdout(&output),
        stderr(&output)
    );
    stdout(&output)
}

/// Runs a command that must fail with `status` and one plain line that holds all `words`.
fn fails(status: i32, args: &[&str], words: &[&str]) {
    let output = barwright(args);
    let said = stderr(&output);
    assert_eq!(output.status.code(), Some(status), "{args:?}\n{said}");
    assert_eq!(stdout(&output), "", "{args:?}");
    let lines: Vec<&str> = said.lines().filter(|l| !l.starts_with("No --kit was given")).collect();
    assert_eq!(lines.len(), 1, "{args:?}\n{said}");
    for word in words {
        assert!(said.contains(word), "{args:?}: no `{word}` in: {said}");
    }
}

fn json(text: &str) -> Value {
    serde_json::from_str(text).unwrap()
}

fn demo_songs() -> Vec<PathBuf> {
    let mut songs: Vec<PathBuf> = fs::read_dir(Path::new(ROOT).join("demo-songs"))
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| {
            p.extension().is_some_and(|e| ["musicxml", "mxl", "mid"].iter().any(|k| e == *k))
        })
        .collect();
    songs.sort();
    assert!(songs.len() >= 6, "the demo has at least six songs");
    songs
}

/// The example lines of a help text.
fn examples(help: &str) -> Vec<String> {
    help.lines().map(str::trim).filter(|l| l.starts_with("barwright ")).map(str::to_owned).collect()
}

#[test]
fn every_command_has_a_purpose_and_two_examples_that_work_as_typed() {
    let folder = tempfile::tempdir().unwrap();
    let demo = folder.path().join("demo-songs");
    fs::create_dir(&demo).unwrap();
    for entry in fs::read_dir(Path::new(ROOT).join("demo-songs")).unwrap() {
        let path = entry.unwrap().path();
        fs::copy(&path, demo.join(path.file_name().unwrap())).unwrap();
    }
    let program = Path::new(env!("CARGO_BIN_EXE_barwright"));
    let path = format!(
        "{}:{}",
        program.parent().unwrap().display(),
        std::env::var("PATH").unwrap_or_default()
    );
    for command in [
        &["inspect"][..],
        &["fit"],
        &["arrange"],
        &["concert"],
        &["kit"],
        &["kit", "starter"],
        &["kit", "show"],
        &["kit", "check"],
        &[],
    ] {
        let help = expect(0, &[command, &["--help"]].concat());
        let lines = examples(&help);
        assert!(lines.len() >= 2, "{command:?}:\n{help}");
        for line in lines {
            let output = Command::new("sh")
                .args(["-c", &line])
                .current_dir(folder.path())
                .env("PATH", &path)
                .output()
                .unwrap();
            assert!(output.status.success(), "{line}\n{}{}", stdout(&output), stderr(&output));
        }
    }
}

#[test]
fn wrong_usage_exits_2() {
    for args in [
        &["sing"][..],
        &["inspect"],
        &["fit", "demo-songs/gull-call.mxl", "--transpose", "sideways"],
        &["arrange", "demo-songs/gull-call.mxl", "--out", "/nonexistent/x", "--key", "H"],
        &["arrange", "demo-songs/gull-call.mxl", "--out", "/nonexistent/x", "--drone", "loud"],
        &["arrange", "demo-songs/gull-call.mxl", "--out", "/nonexistent/x", "--with", "drone"],
    ] {
        let output = barwright(args);
        assert_eq!(output.status.code(), Some(2), "{args:?} {}", stderr(&output));
        assert_eq!(stdout(&output), "");
    }
}

#[test]
fn bad_input_exits_1_with_one_plain_line_and_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str, bytes: &[u8]| {
        let path = folder.path().join(name);
        fs::write(&path, bytes).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let midi = fs::read(Path::new(ROOT).join("demo-songs/tide-table.mid")).unwrap();
    let mxl = fs::read(Path::new(ROOT).join("demo-songs/gull-call.mxl")).unwrap();
    let silent = r#"<?xml version="1.0"?><score-partwise version="4.0"><part-list><score-part id="P1"><part-name>V</part-name></score-part></part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes><note><rest/><duration>4</duration></note></measure></part></score-partwise>"#;
    let out = folder.path().join("out");
    let out_name = out.to_str().unwrap();
    for song in [
        file("empty.musicxml", b""),
        file("text.mid", b"Dear group, see you on Friday.\n"),
        file("cut.mid", &midi[..10]),
        file("cut.mxl", &mxl[..mxl.len() / 2]),
        file("silent.musicxml", silent.as_bytes()),
        "demo-songs/no-such-file.mid".to_owned(),
        "demo-songs".to_owned(),
    ] {
        let name = song.rsplit('/').next().unwrap().to_owned();
        fails(1, &["inspect", &song], &[&name]);
        fails(1, &["arrange", &song, "--out", out_name], &[&name]);
        assert!(!out.exists(), "{song}: something was written");
    }
}

#[test]
fn a_folder_that_is_a_file_or_a_strangers_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("file");
    fs::write(&file, "mine").unwrap();
    let song = "demo-songs/gull-call.mxl";
    fails(1, &["arrange", song, "--out", file.to_str().unwrap()], &["file"]);
    let taken = folder.path().join("out/gull-call");
    fs::create_dir_all(&taken).unwrap();
    fs::write(taken.join("diary.txt"), "mine").unwrap();
    let out = folder.path().join("out");
    fails(1, &["arrange", song, "--out", out.to_str().unwrap()], &["gull-call", "--force"]);
    assert_eq!(fs::read_dir(&taken).unwrap().count(), 1);
    expect(0, &["arrange", song, "--no-staff", "--force", "--out", out.to_str().unwrap()]);
    assert_eq!(fs::read_to_string(taken.join("diary.txt")).unwrap(), "mine");
    assert!(taken.join("pack.html").exists());
    // Its own files are written over without a word.
    expect(0, &["arrange", song, "--no-staff", "--out", out.to_str().unwrap()]);
    assert!(!out.join("gull-call-2").exists());
}

#[test]
fn a_wrong_kit_names_the_line_and_the_nearest_word() {
    let folder = tempfile::tempdir().unwrap();
    let kit = folder.path().join("room.toml");
    fs::write(&kit, "name = \"x\"\n\n[[instrument]]\nid = \"a\"\nkindd = \"alto xylophone\"\n")
        .unwrap();
    let kit = kit.to_str().unwrap();
    for args in [&["kit", "check", kit][..], &["fit", "demo-songs/gull-call.mxl", "--kit", kit]] {
        let output = barwright(args);
        assert_eq!(output.status.code(), Some(1));
        let said = stderr(&output);
        for word in ["room.toml", "line 5", "kindd", "kind"] {
            assert!(said.contains(word), "no `{word}` in: {said}");
        }
    }
}

#[test]
fn standard_input_is_a_song_too() {
    let bytes = fs::read(Path::new(ROOT).join("demo-songs/gull-call.mxl")).unwrap();
    let mut child = Command::new(env!("CARGO_BIN_EXE_barwright"))
        .args(["inspect", "-", "--json"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(&bytes).unwrap();
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "{}", stderr(&output));
    assert_eq!(json(&stdout(&output))["source"]["kind"], "mxl");
}

#[test]
fn a_reader_that_goes_away_is_no_failure() {
    let mut child = Command::new(env!("CARGO_BIN_EXE_barwright"))
        .args(["kit", "starter"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert_eq!(stderr(&output), "");
}

#[test]
fn inspect_speaks_the_contract() {
    for song in demo_songs() {
        let document = json(&expect(0, &["inspect", song.to_str().unwrap(), "--json"]));
        assert_eq!(document["format"], 1);
        for key in [
            "source",
            "warnings",
            "meters",
            "tempos",
            "pickup",
            "parts",
            "melody",
            "key",
            "pitch_set",
            "smaller_sets",
            "phrases",
            "harmony",
        ] {
            assert!(!document[key].is_null(), "{}: no `{key}`", song.display());
        }
        let notes = document["parts"][0]["notes"].as_array().unwrap();
        for key in ["onset", "duration", "midi", "pitch", "voice"] {
            assert!(!notes[0][key].is_null(), "{}: note without `{key}`", song.display());
        }
    }
    // Facts of the demo tunes: their encoder's own knowledge of them.
    let key = |song: &str| {
        let document = json(&expect(0, &["inspect", song, "--json"]));
        format!(
            "{} {}",
            document["key"]["tonic"].as_str().unwrap(),
            document["key"]["mode"].as_str().unwrap()
        )
    };
    assert_eq!(key("demo-songs/scarborough-fair.musicxml"), "D dorian");
    assert_eq!(key("demo-songs/ferry-bell.musicxml"), "F major");
    assert_eq!(key("demo-songs/rowing-home.musicxml"), "G major");
    assert_eq!(key("demo-songs/tide-table.mid"), "A minor");
    assert_eq!(key("demo-songs/frere-jacques.mid"), "F major");
    let lantern = json(&expect(0, &["inspect", "demo-songs/lantern-round.musicxml", "--json"]));
    assert_eq!(lantern["pitch_set"]["semitone_free"], true);
    assert_eq!(lantern["pitch_set"]["name"], "major pentatonic");
}

/// In words that a teacher uses: note values, the pickup by its name, no certainty of 100 %.
#[test]
fn inspect_speaks_plainly() {
    let text = expect(0, &["inspect", "demo-songs/rowing-home.musicxml"]);
    for words in ["pickup of an eighth note", "a from the pickup", "G major (sure, over 99 %)"] {
        assert!(text.contains(words), "{words}: {text}");
    }
    let text = expect(0, &["inspect", "demo-songs/gull-call.mxl"]);
    assert!(text.contains("C itself isn't among its notes"), "{text}");
}

#[test]
fn fit_says_yes_with_0_and_no_with_3() {
    let document = json(&expect(
        0,
        &["fit", "demo-songs/ferry-bell.musicxml", "--transpose", "none", "--json"],
    ));
    let song = &document["songs"][0];
    assert_eq!(song["verdict"], "fits with bar changes");
    assert_eq!(song["options"][0]["missing"], Value::Array(Vec::new()));
    let folder = tempfile::tempdir().unwrap();
    let kit = folder.path().join("one.toml");
    fs::write(
        &kit,
        "name = \"two bars\"\n[[instrument]]\nid = \"bars\"\nkind = \"tone bars\"\nbars = [\"C4\", \"D4\"]\n",
    )
    .unwrap();
    let no = json(&expect(
        3,
        &["fit", "demo-songs/ferry-bell.musicxml", "--kit", kit.to_str().unwrap(), "--json"],
    ));
    assert_eq!(no["songs"][0]["verdict"], "does not fit");
    assert!(!no["songs"][0]["options"][0]["missing"].as_array().unwrap().is_empty());
    let out = folder.path().join("out");
    let output = barwright(&[
        "arrange",
        "demo-songs/ferry-bell.musicxml",
        "--kit",
        kit.to_str().unwrap(),
        "--out",
        out.to_str().unwrap(),
    ]);
    assert_eq!(output.status.code(), Some(3));
    assert!(!out.exists());
}

#[test]
fn arrange_makes_the_folder_that_the_contract_names() {
    for song in demo_songs() {
        let out = tempfile::tempdir().unwrap();
        let text = expect(
            0,
            &[
                "arrange",
                song.to_str().unwrap(),
                "--kit",
                "demo-songs/harbour-room.toml",
                "--no-staff",
                "--out",
                out.path().to_str().unwrap(),
            ],
        );
        assert_eq!(text.lines().count(), 3, "{text}");
        let folder = fs::read_dir(out.path()).unwrap().next().unwrap().unwrap().path();
        for name in [
            "score.musicxml",
            "score.mid",
            "arrangement.json",
            "setup.json",
            "setup.txt",
            "pack.html",
        ] {
            assert!(folder.join(name).exists(), "{}: no {name}", song.display());
        }
        let document = json(&fs::read_to_string(folder.join("arrangement.json")).unwrap());
        for part in document["parts"].as_array().unwrap() {
            assert!(!part["notes"].as_array().unwrap().is_empty(), "{part}");
        }
        for check in document["checks"].as_array().unwrap() {
            assert_eq!(check["passed"], true, "{}: {check}", song.display());
        }
        assert!(fs::read_dir(folder.join("parts")).unwrap().count() >= 4);
        let setups = json(&fs::read_to_string(folder.join("setup.json")).unwrap());
        the_sheet_says_what_the_setups_hold(
            &fs::read_to_string(folder.join("setup.txt")).unwrap(),
            setups["setups"].as_array().unwrap(),
        );
    }
}

/// Every bar stands under its state in the block of its instrument, every caution once on the sheet.
fn the_sheet_says_what_the_setups_hold(sheet: &str, setups: &[Value]) {
    let blocks: Vec<&str> = sheet.split("\n\n").filter(|b| b.contains("  Bars: ")).collect();
    assert_eq!(blocks.len(), setups.len(), "{sheet}");
    for (block, setup) in blocks.iter().zip(setups) {
        let listed = |label: &str| -> Vec<&str> {
            let line = block.lines().find_map(|l| l.trim().strip_prefix(label));
            line.map(|l| l.trim().split(", ").collect()).unwrap_or_default()
        };
        for bar in setup["bars"].as_array().unwrap() {
            let slot = bar["slot"].as_str().unwrap();
            let on = bar["bar"].as_str().unwrap_or_default();
            let (label, words) = match bar["state"].as_str().unwrap() {
                "keep" => ("Keep:", slot.to_owned()),
                "swap" => ("Swap in:", format!("{on} in place of {slot}")),
                "remove" => ("Take off:", slot.to_owned()),
                _ => ("Fill:", slot.to_owned()),
            };
            // The harbour room's lost bar is off already.
            let lost = setup["instrument"] == "alto-metallophone" && slot == "B5";
            assert!(lost || listed(label).contains(&words.as_str()), "{words}: {block}");
        }
        for caution in setup["cautions"].as_array().unwrap() {
            assert_eq!(sheet.matches(caution.as_str().unwrap()).count(), 1, "{caution}: {sheet}");
        }
    }
}

#[test]
fn the_same_song_gives_the_same_bytes() {
    let make = || {
        let out = tempfile::tempdir().unwrap();
        expect(
            0,
            &[
                "arrange",
                "demo-songs/rowing-home.musicxml",
                "--no-staff",
                "--out",
                out.path().to_str().unwrap(),
            ],
        );
        let folder = out.path().join("rowing-home");
        ["score.musicxml", "score.mid", "arrangement.json", "setup.txt", "pack.html"]
            .map(|n| fs::read(folder.join(n)).unwrap())
    };
    assert_eq!(make(), make());
}

#[test]
fn a_bad_file_stops_nothing_in_a_concert() {
    let folder = tempfile::tempdir().unwrap();
    let bad = folder.path().join("letter.mid");
    fs::write(&bad, "Dear group").unwrap();
    let out = folder.path().join("concert");
    let songs =
        ["demo-songs/two-tides.musicxml", "demo-songs/gull-call.mxl", bad.to_str().unwrap()];
    let mut args = vec!["concert"];
    args.extend(songs);
    args.extend(["--order", "given", "--no-staff", "--json", "--out", out.to_str().unwrap()]);
    let document = json(&expect(4, &args));
    assert_eq!(document, json(&fs::read_to_string(out.join("concert.json")).unwrap()));
    let order: Vec<&str> =
        document["order"].as_array().unwrap().iter().map(|s| s["song"].as_str().unwrap()).collect();
    assert_eq!(order.len(), 2);
    assert!(order[0].contains("Two Tides") || order[0].contains("two-tides"), "{order:?}");
    let failed = document["failed"].as_array().unwrap();
    assert_eq!(failed.len(), 1);
    assert!(failed[0]["error"].as_str().unwrap().len() > 10);
    // First set-up, one change between neighbours, clearing: the contract's moves.
    let changeovers = document["changeovers"].as_array().unwrap();
    let moves: usize = changeovers.iter().map(|c| c["moves"].as_array().unwrap().len()).sum();
    assert_eq!(document["moves_total"].as_u64().unwrap() as usize, moves);
    assert_eq!(changeovers.len(), 3);
    for song in ["two-tides", "gull-call"] {
        assert!(out.join(song).join("score.musicxml").exists(), "{song}");
    }
    for file in ["concert.txt", "pack.html"] {
        assert!(out.join(file).exists(), "{file}");
    }
}

#[test]
fn a_concerts_packs_hold_every_song_and_stay_the_same_when_it_is_resumed() {
    let out = tempfile::tempdir().unwrap();
    let out = out.path().join("set");
    let songs = demo_songs();
    let mut args: Vec<&str> = vec!["concert"];
    args.extend(songs.iter().map(|s| s.to_str().unwrap()));
    let kit = concat!(env!("CARGO_MANIFEST_DIR"), "/demo-songs/harbour-room.toml");
    args.extend(["--kit", kit, "--no-staff", "--json", "--out", out.to_str().unwrap()]);
    let document = json(&expect(0, &args));
    let order = document["order"].as_array().unwrap();
    let packs = |out: &std::path::Path| -> Vec<(PathBuf, String)> {
        let mut packs = vec![out.join("pack.html"), out.join("concert.json")];
        packs.extend(fs::read_dir(out.join("players")).unwrap().map(|e| e.unwrap().path()));
        packs.sort();
        packs.into_iter().map(|p| (p.clone(), fs::read_to_string(p).unwrap())).collect()
    };
    let made = packs(&out);
    let pack = fs::read_to_string(out.join("pack.html")).unwrap();
    for n in 1..=order.len() {
        assert!(pack.contains(&format!("id=\"c{n}")), "song {n} has no pages");
    }
    // What each player's own parts say of them is what their pack holds.
    let kit = barwright::kit::Kit::parse(&fs::read_to_string(kit).unwrap()).unwrap();
    assert_eq!(made.len(), 2 + kit.players.len());
    for player in &kit.players {
        let file = out.join("players").join(format!("{}.html", player.name.replace(' ', "-")));
        let page = fs::read_to_string(&file).unwrap();
        for (i, song) in order.iter().enumerate() {
            let folder = out.join(song["folder"].as_str().unwrap());
            let arrangement = json(&fs::read_to_string(folder.join("arrangement.json")).unwrap());
            let parts = arrangement["parts"].as_array().unwrap();
            let plays = parts.iter().any(|p| p["player"] == player.name.as_str());
            let n = i + 1;
            assert_eq!(page.contains(&format!("href=\"#c{n}\"")), plays, "{file:?}, song {n}");
        }
    }
    expect(0, &args);
    assert_eq!(packs(&out), made);
    fs::remove_dir_all(out.join("rowing-home")).unwrap();
    expect(0, &args);
    assert_eq!(packs(&out), made);
}
