//! Arranging: parts, players, hands, setups and the checks that run on them.

mod figures;
mod options;
mod patterns;

use barwright::analysis::{self, Analysis};
use barwright::arrange::{
    ArrangeError, ArrangeRequest, Arrangement, DronePattern, Level, Role, arrange,
};
use barwright::kit::{BarSet, Carrier, FitOption, Kit, Player, State, starter};
use barwright::score::{
    Hand, Interval, Jump, KeySignature, Line, Lyric, Measure, Meter, Note, Part, Pitch, Score,
    Slide, Syllabic, Tempo, Time, playback,
};

/// Builds a score from a tune written as `C4:1 D4:1/2 r:1 ...` (pitch or rest, quarters), measures
/// of one meter, an optional pickup first.
fn tune(text: &str, meter: Meter, pickup: Time, fifths: i8) -> (Score, Line) {
    let mut part = Part::new("P1", "Tune");
    let mut at = Time::ZERO;
    for (i, token) in text.split_whitespace().enumerate() {
        let (pitch, length) = token.split_once(':').unwrap();
        let length: Time = length.parse().unwrap();
        if pitch != "r" {
            let mut note = Note::new(at, length, pitch.parse().unwrap());
            let text = format!("la{i}");
            note.lyrics.push(Lyric { verse: 1, text, ..Lyric::default() });
            part.notes.push(note);
        }
        at += length;
    }
    let mut score = Score { title: "Test".into(), ..Score::default() };
    let mut start = Time::ZERO;
    while start < at {
        let number = score.measures.len() + usize::from(pickup.is_zero());
        let mut measure = Measure::full(number.to_string(), start, meter);
        if start.is_zero() && pickup.is_positive() {
            measure.duration = pickup;
            measure.lead = meter.measure() - pickup;
            measure.implicit = true;
        }
        measure.duration = measure.duration.min(at - start);
        start = measure.end();
        score.measures.push(measure);
    }
    score.keys.push(KeySignature { at: Time::ZERO, fifths, mode: None });
    let line = Line::top(0, None, &part.notes);
    score.parts.push(part);
    (score, line)
}

/// "Twinkle" (traditional, "Ah vous dirai-je, maman", public domain), from memory.
const TWINKLE: &str = "C4:1 C4:1 G4:1 G4:1 A4:1 A4:1 G4:2 F4:1 F4:1 E4:1 E4:1 D4:1 D4:1 C4:2 \
    G4:1 G4:1 F4:1 F4:1 E4:1 E4:1 D4:2 G4:1 G4:1 F4:1 F4:1 E4:1 E4:1 D4:2 \
    C4:1 C4:1 G4:1 G4:1 A4:1 A4:1 G4:2 F4:1 F4:1 E4:1 E4:1 D4:1 D4:1 C4:2";

/// The starter kit with one player, who has one instrument, one mallet and a speed.
fn one_mallet(name: &str, instrument: &str, strikes_per_minute: f64) -> Kit {
    let mut kit = starter();
    let instruments = vec![instrument.to_owned()];
    let player = Player { instruments, mallets: 1, strikes_per_minute, ..Player::new(name) };
    kit.players.push(player);
    kit
}

/// The plainest option there is: in a key and on an instrument whose bars hold the tune.
fn option(line: &Line, analysis: &Analysis, kit: &Kit) -> Option<FitOption> {
    let set: BarSet = line.notes.iter().map(Note::midi).collect();
    for by in [0, -2, 2, -5, 5, -7, 3, -3, 1, -1, 4, -4, 6, 7i16] {
        for octave_shift in [0i8, 1, 2, 3, -1] {
            let moved = set.moved(Interval::new(by) + Interval::octaves(octave_shift));
            for (i, instrument) in kit.instruments.iter().enumerate() {
                if instrument.melody_cost().is_none() || !moved.is_some_and(|m| instrument.holds(m))
                {
                    continue;
                }
                let (low, high) = line.range()?;
                let key = analysis.key.best.key;
                let sung = |p: Pitch| Pitch::spelled(p.midi() + Interval::new(by), 0);
                return Some(FitOption {
                    transpose: Interval::new(by),
                    key: key.transposed(Interval::new(by)),
                    cost: 0.0,
                    carriers: vec![Carrier { instrument: i, octave_shift, from_note: 0 }],
                    setups: Vec::new(),
                    changes: Vec::new(),
                    missing: Vec::new(),
                    changed: Vec::new(),
                    singing: (sung(low), sung(high)),
                    singing_inside: true,
                    why: "its bars are there".into(),
                });
            }
        }
    }
    None
}

fn arranged(score: &Score, line: &Line, kit: &Kit, ask: &ArrangeRequest) -> Arrangement {
    let analysis = analysis::analyse(score, line, analysis::Options::default());
    let option = option(line, &analysis, kit).expect("the tune fits");
    arrange(score, line, &analysis, kit, &option, ask).expect("the song can be arranged")
}

fn all_pass(arrangement: &Arrangement) {
    for check in &arrangement.checks {
        assert!(check.passed, "{}: {}", check.check, check.detail);
    }
}

fn roles(arrangement: &Arrangement) -> Vec<Role> {
    arrangement.parts.iter().map(|p| p.role).collect()
}

/// A picture of an arrangement for a reader: one line for each part and measure.
fn picture(a: &Arrangement, kit: &Kit) -> String {
    let mut out = String::new();
    for plan in &a.parts {
        let part = &a.score.parts[plan.part];
        let player = plan.player.map_or("", |p| kit.players[p].name.as_str());
        out += &format!(
            "{} {} [{}] {player} {:?}\n",
            part.id,
            plan.role.name(),
            plan.pattern,
            plan.changes
        );
        for measure in &a.score.measures {
            out += &format!("  {:>3} |", measure.number);
            for note in
                part.notes.iter().filter(|n| n.onset >= measure.start && n.onset < measure.end())
            {
                let hand = note.hand.map_or(' ', Hand::letter);
                out += &format!(
                    " {}{hand}@{}+{}",
                    note.pitch,
                    note.onset - measure.start,
                    note.duration
                );
            }
            out += "\n";
        }
    }
    for line in &a.leader_note {
        out += &format!("* {line}\n");
    }
    for check in &a.checks {
        out += &format!(
            "{} {}: {}\n",
            if check.passed { "ok " } else { "NOT" },
            check.check,
            check.detail
        );
    }
    out
}

/// Prints arrangements to look at: `BARWRIGHT_SONG=FILE [BARWRIGHT_KITFILE=FILE] cargo test --test suite
/// look_at_a_song -- --ignored --nocapture`.
#[test]
#[ignore = "prints a song's arrangement for a person to judge"]
fn look_at_a_song() {
    let file = std::env::var("BARWRIGHT_SONG").expect("BARWRIGHT_SONG names a file");
    let song = barwright::import::read(&std::fs::read(file).unwrap()).unwrap();
    let line = barwright::import::melody(&song.score, None).unwrap().line;
    let kit = match std::env::var("BARWRIGHT_KITFILE") {
        Ok(file) => Kit::parse(&std::fs::read_to_string(file).unwrap()).unwrap(),
        Err(_) => starter(),
    };
    let analysis = analysis::analyse(&song.score, &line, analysis::Options::default());
    let ask = barwright::kit::FitRequest::default();
    let fit = barwright::kit::fit(&song.score, &line, &analysis, &kit, &ask);
    let ask = ArrangeRequest::default();
    let a = arrange(&song.score, &line, &analysis, &kit, &fit.options[0], &ask).unwrap();
    println!("{}", picture(&a, &kit));
}

#[test]
fn a_plain_tune_gets_every_role_and_passes_all_checks() {
    let (score, line) = tune(TWINKLE, Meter::COMMON, Time::ZERO, 0);
    let kit = starter();
    let a = arranged(&score, &line, &kit, &ArrangeRequest::default());
    if std::env::var_os("BARWRIGHT_SHOW").is_some() {
        println!("{}", picture(&a, &kit));
    }
    all_pass(&a);
    for role in Role::ALL {
        assert!(roles(&a).contains(&role), "no {} in {:?}", role.name(), roles(&a));
    }
}

fn twinkle() -> (Score, Line) {
    tune(TWINKLE, Meter::COMMON, Time::ZERO, 0)
}

fn part_of(a: &Arrangement, role: Role) -> &Part {
    let plan = a.parts.iter().find(|p| p.role == role).expect("the role is there");
    &a.score.parts[plan.part]
}

/// Handbook: "On a C–A bass instrument a C drone needs four bars (C G C G): nine come off."
#[test]
fn a_c_drone_keeps_four_bars_of_a_bass_and_takes_nine_off() {
    let (score, line) = twinkle();
    let kit = starter();
    for pattern in DronePattern::ALL.into_iter().filter(|p| *p != DronePattern::Moving) {
        let ask = ArrangeRequest { drone: Some(pattern), ..ArrangeRequest::default() };
        let a = arranged(&score, &line, &kit, &ask);
        all_pass(&a);
        assert_eq!(a.key.to_string(), "C major");
        let bass = kit.instrument("bass-xylophone").unwrap();
        let setup = a.setups.iter().find(|s| s.instrument == bass).unwrap();
        assert_eq!((setup.counts().keep, setup.counts().remove), (4, 9), "{}", pattern.name());
        let kept: Vec<String> =
            setup.bars(&kit).iter().map(|m| Pitch::spelled(m, 0).to_string()).collect();
        assert_eq!(kept, ["C3", "G3", "C4", "G4"]);
    }
}

/// Handbook, "Parts": the four patterns, with the root the lowest note.
#[test]
fn the_patterns_are_the_handbooks() {
    let (score, line) = twinkle();
    let kit = starter();
    for (pattern, first) in [
        (DronePattern::Chord, vec!["0 C3", "0 G3", "2 C3", "2 G3"]),
        (DronePattern::Broken, vec!["0 C3", "2 G3"]),
        (DronePattern::Crossover, vec!["0 C3", "1 G3", "2 C4"]),
        (DronePattern::Level, vec!["0 C3", "0 G3", "2 C4", "2 G4"]),
        (DronePattern::Moving, vec!["0 C3", "0 G3", "2 C3", "2 A3"]),
    ] {
        let ask = ArrangeRequest { drone: Some(pattern), ..ArrangeRequest::default() };
        let a = arranged(&score, &line, &kit, &ask);
        let notes: Vec<String> = part_of(&a, Role::Drone)
            .notes
            .iter()
            .filter(|n| n.onset < Time::quarters(4))
            .map(|n| format!("{} {}", n.onset, n.pitch))
            .collect();
        assert_eq!(notes, first, "{}", pattern.name());
        let name = a.parts.iter().find(|p| p.role == Role::Drone).map(|p| p.pattern.clone());
        assert_eq!(name.as_deref(), Some(pattern.name()));
    }
    let ask = ArrangeRequest { no_drone: true, ..ArrangeRequest::default() };
    assert!(!roles(&arranged(&score, &line, &kit, &ask)).contains(&Role::Drone));
}

#[test]
fn drones_stand_in_every_meter() {
    let kit = starter();
    for (beats, unit) in
        [(2, 4), (3, 4), (4, 4), (2, 2), (6, 8), (9, 8), (12, 8), (5, 4), (5, 8), (7, 8)]
    {
        let meter = Meter::new(beats, unit).unwrap();
        let length = meter.unit();
        let names = ["C4", "E4", "D4", "G4", "A4"];
        let text: Vec<String> = (0..usize::from(beats) * 6)
            .map(|i| format!("{}:{length}", names[(i * i + i / 3) % 5]))
            .collect();
        let (score, line) = tune(&text.join(" "), meter, Time::ZERO, 0);
        for pattern in DronePattern::ALL {
            let ask = ArrangeRequest { drone: Some(pattern), ..ArrangeRequest::default() };
            let a = arranged(&score, &line, &kit, &ask);
            all_pass(&a);
            let drone = part_of(&a, Role::Drone);
            let first_beats = score
                .measures
                .iter()
                .filter(|m| drone.notes.iter().any(|n| n.onset == m.start))
                .count();
            assert_eq!(first_beats, score.measures.len(), "{meter} {}", pattern.name());
        }
    }
}

#[test]
fn slides_are_written_strike_by_strike_over_bars_that_are_there() {
    let (score, line) = twinkle();
    let kit = starter();
    let a = arranged(&score, &line, &kit, &ArrangeRequest::default());
    let colour = part_of(&a, Role::Colour);
    assert!(!colour.notes.is_empty());
    for slide in colour.notes.chunk_by(|a, _| a.slide != Some(Slide::Stop)) {
        assert_eq!(slide.first().and_then(|n| n.slide), Some(Slide::Start));
        assert_eq!(slide.last().and_then(|n| n.slide), Some(Slide::Stop));
        for pair in slide.windows(2) {
            assert_eq!(pair[0].end(), pair[1].onset);
            // No semitone and no more than a third from bar to bar: nothing is jumped over.
            assert!((2..=4).contains(&(pair[1].midi() - pair[0].midi()).semitones().abs()));
        }
        // Never on a melody entry.
        assert!(line.notes.iter().all(|n| n.onset != slide[0].onset));
    }
}

#[test]
fn fillers_stand_under_slides_only() {
    let (score, line) = twinkle();
    let mut kit = starter();
    kit.instruments.iter_mut().for_each(|i| i.fillers = true);
    let a = arranged(&score, &line, &kit, &ArrangeRequest::default());
    for plan in &a.parts {
        let Some(i) = plan.instrument else { continue };
        let setup = a.setups.iter().find(|s| s.instrument == i).unwrap();
        let filled = setup.states.contains(&State::Fill);
        assert_eq!(filled, plan.role == Role::Colour, "{}", kit.instruments[i].id);
    }
}

#[test]
fn every_player_gets_a_part_from_one_to_twenty_four() {
    let (score, line) = twinkle();
    for n in 1..=24 {
        let mut kit = starter();
        for i in 0..n {
            let mut player = Player::new(format!("p{i}"));
            player.mallets = if i % 3 == 0 { 1 } else { 2 };
            player.strikes_per_minute = 70.0 + 20.0 * i as f64;
            kit.players.push(player);
        }
        let a = arranged(&score, &line, &kit, &ArrangeRequest::default());
        all_pass(&a);
        let mut playing: Vec<usize> = a.parts.iter().filter_map(|p| p.player).collect();
        playing.sort_unstable();
        assert_eq!(playing, (0..n).collect::<Vec<_>>(), "{n} players");
        // With few players the melody comes first, then the drone.
        let with_player = |role| a.parts.iter().any(|p| p.role == role && p.player.is_some());
        assert!(with_player(Role::Melody));
        assert!(n < 2 || with_player(Role::Drone));
    }
}

#[test]
fn a_slow_player_with_one_mallet_gets_a_part_that_fits() {
    let (score, line) = twinkle();
    let kit = one_mallet("blue chair", "bass-xylophone", 20.0);
    let ask = ArrangeRequest { drone: Some(DronePattern::Chord), ..ArrangeRequest::default() };
    let a = arranged(&score, &line, &kit, &ask);
    all_pass(&a);
    let plan = a.parts.iter().find(|p| p.player == Some(0)).unwrap();
    assert_eq!(plan.role, Role::Drone);
    assert!(plan.changes.iter().any(|c| c.contains("every second measure")), "{:?}", plan.changes);
    assert!(a.score.parts[plan.part].notes.iter().all(|n| n.hand == Some(Hand::Right)));
}

#[test]
fn the_leader_gives_roles_out() {
    let (score, line) = twinkle();
    let mut kit = starter();
    kit.players = vec![Player::new("red"), Player::new("blue chair"), Player::new("green")];
    let ask = ArrangeRequest {
        with: vec!["drone=alto-metallophone:blue chair".parse().unwrap()],
        without: vec![Role::Colour],
        ..ArrangeRequest::default()
    };
    let a = arranged(&score, &line, &kit, &ask);
    all_pass(&a);
    let plan = a.parts.iter().find(|p| p.player == Some(1)).unwrap();
    assert_eq!(plan.role, Role::Drone);
    assert_eq!(plan.instrument, kit.instrument("alto-metallophone"));
    assert!(!roles(&a).contains(&Role::Colour));

    let refused = |text: &str| {
        let analysis = analysis::analyse(&score, &line, analysis::Options::default());
        let option = option(&line, &analysis, &kit).unwrap();
        let ask = ArrangeRequest { with: vec![text.parse().unwrap()], ..ArrangeRequest::default() };
        arrange(&score, &line, &analysis, &kit, &option, &ask).unwrap_err()
    };
    assert!(matches!(refused("drone=harp"), ArrangeError::UnknownInstrument { .. }));
    assert!(matches!(refused("drone=bass-xylophone:nobody"), ArrangeError::UnknownPlayer { .. }));
    assert!(matches!(refused("voice=bass-xylophone"), ArrangeError::CantPlay { .. }));
    assert!("drone".parse::<barwright::arrange::RoleAsk>().is_err());
}

#[test]
fn an_introduction_keeps_the_beat_and_the_repeats() {
    // A pickup of one quarter in 3/4, repeated from the beginning.
    let text = "G4:1 C4:1 E4:1 G4:1 A4:2 G4:1 E4:1 D4:1 C4:1 C4:2";
    let meter = Meter::new(3, 4).unwrap();
    let (mut score, line) = tune(text, meter, Time::QUARTER, 0);
    let last = score.measures.len() - 1;
    score.measures[last].repeat_end = Some(2);
    let kit = starter();
    let ask = ArrangeRequest { intro: 2, ..ArrangeRequest::default() };
    let a = arranged(&score, &line, &kit, &ask);
    all_pass(&a);
    let m = &a.score.measures;
    assert_eq!(m[1].duration + m[2].duration, meter.measure());
    assert!(m[2].repeat_start);
    // The introduction sounds once, the song twice, the ending once.
    let (order, _) = playback::order(m);
    assert_eq!(order.iter().filter(|i| **i == 0).count(), 1);
    assert_eq!(order.iter().filter(|i| **i == 2).count(), 2);
    let voice = part_of(&a, Role::Voice);
    assert_eq!(voice.notes[0].onset, m[2].start);
    assert!(part_of(&a, Role::Drone).notes[0].onset.is_zero());
}

#[test]
fn an_interlude_stands_between_the_verses() {
    let (score, line) = twinkle();
    let kit = starter();
    let ask = ArrangeRequest { interlude: 2, ..ArrangeRequest::default() };
    let a = arranged(&score, &line, &kit, &ask);
    all_pass(&a);
    let (order, _) = playback::order(&a.score.measures);
    // Twelve measures of song, two of interlude, the song again, and one measure to close.
    let expected: Vec<usize> = (0..14).chain(0..12).chain([14]).collect();
    assert_eq!(order, expected);
    // With repeats of its own the song comes back by a dal segno, to the fine.
    let mut repeated = score.clone();
    repeated.measures[3].repeat_end = Some(2);
    let a = arranged(&repeated, &line, &kit, &ask);
    all_pass(&a);
    assert!(a.score.measures[11].jumps.contains(&Jump::Fine));
    let (order, _) = playback::order(&a.score.measures);
    let expected: Vec<usize> = (0..4).chain(0..14).chain(0..12).collect();
    assert_eq!(order, expected);
}

#[test]
fn levels_differ_in_what_is_going_on() {
    let (score, line) = twinkle();
    let kit = starter();
    let strokes = |level| {
        let a =
            arranged(&score, &line, &kit, &ArrangeRequest { level, ..ArrangeRequest::default() });
        all_pass(&a);
        a.parts
            .iter()
            .filter(|p| !matches!(p.role, Role::Voice | Role::Melody))
            .map(|p| a.score.parts[p.part].notes.len())
            .sum::<usize>()
    };
    let (simpler, normal, fuller) =
        (strokes(Level::Simpler), strokes(Level::Normal), strokes(Level::Fuller));
    assert!(simpler < normal && normal < fuller, "{simpler} {normal} {fuller}");
}

#[test]
fn the_words_of_every_verse_stand_under_the_voice() {
    let (score, mut line) = twinkle();
    for note in &mut line.notes {
        note.lyrics.push(Lyric { verse: 2, text: "lo".into(), ..Lyric::default() });
    }
    let kit = starter();
    let a = arranged(&score, &line, &kit, &ArrangeRequest::default());
    assert!(part_of(&a, Role::Voice).notes.iter().all(|n| n.lyrics.len() == 2));
    assert!(part_of(&a, Role::Melody).notes.iter().all(|n| n.lyrics.is_empty()));
}
