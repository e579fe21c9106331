//! The arranger's figures over a folder of tunes; `tests/external/arrange_table.py` makes the folder
//! and runs this:
//!
//! `BARWRIGHT_TUNES=FOLDER [BARWRIGHT_LIMIT=N] cargo test --release --test suite figures_over_a_folder -- --ignored --nocapture`

use std::collections::BTreeMap;
use std::time::{Duration, Instant};

use barwright::analysis;
use barwright::arrange::{ArrangeRequest, Arrangement, DronePattern, Level, Role, arrange};
use barwright::import;
use barwright::kit::{FitRequest, Instrument, Kind, Kit, Player, fit, starter};
use barwright::score::{Line, Midi, PitchClass, Score, Time};

/// How long metal bars count as sounding, in seconds: what DEVELOPERS.md documents.
const RING: f64 = 2.5;

/// The five kits of the table.
pub(super) fn kits() -> Vec<(&'static str, Kit)> {
    let of = |name: &str, kinds: &[Kind]| {
        let mut kit = Kit::empty(name);
        for (i, kind) in kinds.iter().enumerate() {
            kit.instruments.push(Instrument::of_kind(format!("i{i}"), *kind));
        }
        kit
    };
    let three = of("three", &[Kind::AltoXylophone, Kind::BassXylophone, Kind::AltoGlockenspiel]);
    let glocks = of(
        "glockenspiels",
        &[Kind::SopranoGlockenspiel, Kind::AltoGlockenspiel, Kind::AltoGlockenspiel],
    );
    let mut slow = starter();
    for (i, rate) in [40.0, 50.0, 60.0, 60.0, 70.0, 80.0].into_iter().enumerate() {
        let mut player = Player::new(format!("slow {i}"));
        player.mallets = 1;
        player.strikes_per_minute = rate;
        slow.players.push(player);
    }
    let mut many = of(
        "24 players",
        &[
            Kind::SopranoGlockenspiel,
            Kind::AltoGlockenspiel,
            Kind::AltoGlockenspiel,
            Kind::SopranoXylophone,
            Kind::SopranoXylophone,
            Kind::SopranoMetallophone,
            Kind::AltoXylophone,
            Kind::AltoXylophone,
            Kind::AltoXylophone,
            Kind::AltoMetallophone,
            Kind::AltoMetallophone,
            Kind::BassXylophone,
            Kind::BassXylophone,
            Kind::BassMetallophone,
            Kind::ContrabassBars,
        ],
    );
    for i in 0..24u8 {
        let mut player = Player::new(format!("player {i}"));
        player.mallets = if i % 5 == 0 { 1 } else { 2 };
        player.strikes_per_minute = 60.0 + f64::from(i) * 12.0;
        many.players.push(player);
    }
    vec![
        ("starter", starter()),
        ("three instruments", three),
        ("glockenspiels only", glocks),
        ("one mallet, slow", slow),
        ("24 players", many),
    ]
}

/// Processor time of this thread: what a busy machine doesn't spoil. Linux keeps it in
/// `/proc/thread-self/schedstat` (first field, nanoseconds); elsewhere the clock on the wall.
fn cpu_time() -> Duration {
    thread_local!(static START: Instant = Instant::now());
    std::fs::read_to_string("/proc/thread-self/schedstat")
        .ok()
        .and_then(|text| text.split_whitespace().next()?.parse().ok())
        .map_or_else(|| START.with(Instant::elapsed), Duration::from_nanos)
}

#[derive(Default)]
struct Figures {
    tunes: usize,
    unfit: usize,
    refused: usize,
    faults: BTreeMap<String, (usize, String)>,
    strong: usize,
    harsh: usize,
    harsh_tonic: usize,
    shares: Vec<f64>,
    single_pitch: usize,
    ostinatos: usize,
    time: Duration,
}

fn sounding_at(a: &Arrangement, kit: &Kit, at: Time) -> Vec<Midi> {
    let bpm = a.score.tempos[0].quarter_bpm;
    let ring = Time::new((RING * bpm / 60.0 * 960.0) as i64, 960);
    let mut sounding = Vec::new();
    for plan in &a.parts {
        let Some(i) = plan.instrument.filter(|_| !matches!(plan.role, Role::Voice | Role::Melody))
        else {
            continue;
        };
        let tail = if kit.instruments[i].rings() { ring } else { Time::ZERO };
        for note in &a.score.parts[plan.part].notes {
            if note.onset <= at && at < note.end().max(note.onset + tail) {
                sounding.push(note.midi());
            }
        }
    }
    sounding
}

/// What the leader may ask for, another mixture for each tune: only the checks are counted of it.
fn wishes(n: usize) -> ArrangeRequest {
    let levels = [Level::Normal, Level::Simpler, Level::Fuller];
    let patterns = DronePattern::ALL.map(Some).into_iter().chain([None]);
    let left_out = Role::ALL.map(|r| vec![r]).into_iter().chain([Vec::new(), Vec::new()]);
    ArrangeRequest {
        drone: patterns.cycle().nth(n).flatten(),
        without: left_out.cycle().nth(n).unwrap_or_default(),
        intro: (n % 4) as u8,
        interlude: (n / 2 % 3) as u8,
        level: levels[n / 3 % 3],
        ..ArrangeRequest::default()
    }
}

fn add(f: &mut Figures, name: &str, score: &Score, line: &Line, kit: &Kit) {
    let analysis = analysis::analyse(score, line, analysis::Options::default());
    let found = fit(score, line, &analysis, kit, &FitRequest { top: 1, ..FitRequest::default() });
    let Some(option) = found.options.into_iter().find(|o| o.missing.is_empty()) else {
        f.unfit += 1;
        return;
    };
    let before = cpu_time();
    let result = arrange(score, line, &analysis, kit, &option, &ArrangeRequest::default());
    f.time += cpu_time() - before;
    let a = match result {
        Ok(a) => a,
        Err(error) => {
            f.refused += 1;
            println!("{name}: {error}");
            return;
        }
    };
    f.tunes += 1;
    let wishes = wishes(f.tunes);
    let wished = arrange(score, line, &analysis, kit, &option, &wishes);
    if let Err(error) = &wished {
        f.refused += 1;
        println!("{name}, {wishes:?}: {error}");
    }
    for check in [Some(&a), wished.as_ref().ok()].into_iter().flatten().flat_map(|a| &a.checks) {
        if check.passed {
            continue;
        }
        let entry = f.faults.entry(check.check.clone()).or_default();
        entry.0 += 1;
        if entry.1.is_empty() {
            entry.1 = format!("{name}: {}", check.detail);
        }
    }
    let tonic = a.key.tonic.class();
    let fifth = PitchClass::new(tonic.number() + 7);
    let melody: Vec<_> =
        line.notes.iter().map(|n| (n.onset, n.end(), n.midi() + a.transpose)).collect();
    for beat in score.strong_beats() {
        f.strong += 1;
        let i = melody.partition_point(|n| n.0 <= beat);
        let Some(&(_, end, midi)) = i.checked_sub(1).and_then(|i| melody.get(i)) else { continue };
        if end <= beat {
            continue;
        }
        let harsh = |class: PitchClass| matches!(class.up_to(midi.class()), 1 | 6 | 11);
        f.harsh_tonic += usize::from(harsh(tonic) || harsh(fifth));
        f.harsh += usize::from(sounding_at(&a, kit, beat).iter().any(|m| harsh(m.class())));
    }
    for plan in a.parts.iter().filter(|p| p.role == Role::Ostinato) {
        let notes = &a.score.parts[plan.part].notes;
        let both =
            notes.iter().filter(|n| melody.binary_search_by_key(&n.onset, |m| m.0).is_ok()).count();
        f.shares.push(both as f64 / notes.len().max(1) as f64);
        f.ostinatos += 1;
        let several = notes.windows(2).any(|w| w[0].midi() != w[1].midi());
        f.single_pitch += usize::from(!several && notes.len() > 1);
        if !several && notes.len() > 1 {
            // Named, so that a missed bound can be looked into.
            let id = &a.score.parts[plan.part].id;
            println!("    one pitch: {name}, {id}, {} notes of {}", notes.len(), plan.pattern);
        }
    }
}

#[test]
#[ignore = "needs a folder of tunes; run by tests/external/arrange_table.py"]
fn figures_over_a_folder() {
    let folder = std::env::var("BARWRIGHT_TUNES").expect("BARWRIGHT_TUNES names the folder");
    let limit: usize =
        std::env::var("BARWRIGHT_LIMIT").ok().and_then(|n| n.parse().ok()).unwrap_or(usize::MAX);
    let kind = std::env::var("BARWRIGHT_KIND").unwrap_or_else(|_| "musicxml".into());
    let mut files: Vec<_> = std::fs::read_dir(folder)
        .expect("the folder can be read")
        .filter_map(|e| e.ok().map(|e| e.path()))
        .filter(|p| p.extension().is_some_and(|e| e.to_str() == Some(&kind)))
        .collect();
    files.sort();
    files.truncate(limit);
    let mut songs = Vec::new();
    for path in &files {
        let bytes = std::fs::read(path).expect("the file can be read");
        let Ok(read) = import::read(&bytes) else { continue };
        let score = read.score;
        let Ok(melody) = import::melody(&score, None) else { continue };
        let line = melody.line;
        songs.push((path.file_name().unwrap().to_string_lossy().into_owned(), score, line));
    }
    println!("{} tunes read of {}", songs.len(), files.len());
    println!(
        "kit | arranged | unfit | refused | faults | harsh % | tonic drone % | together % | single pitch | ms"
    );
    let mut bad = 0;
    for (name, kit) in kits() {
        let mut f = Figures::default();
        for (file, score, line) in &songs {
            add(&mut f, file, score, line, &kit);
        }
        let percent = |n: usize| 100.0 * n as f64 / f.strong.max(1) as f64;
        let together = 100.0 * f.shares.iter().sum::<f64>() / f.shares.len().max(1) as f64;
        let faults: usize = f.faults.values().map(|v| v.0).sum();
        bad += faults + f.refused;
        println!(
            "{name} | {} | {} | {} | {faults} | {:.2} | {:.2} | {together:.1} | {} of {} | {:.3}",
            f.tunes,
            f.unfit,
            f.refused,
            percent(f.harsh),
            percent(f.harsh_tonic),
            f.single_pitch,
            f.ostinatos,
            f.time.as_secs_f64() * 1e3 / f.tunes.max(1) as f64
        );
        for (check, (count, first)) in &f.faults {
            println!("    {check}: {count}, first {first}");
        }
    }
    assert_eq!(bad, 0, "checks failed or songs were refused");
}
