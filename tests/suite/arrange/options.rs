//! What the leader can ask for, with the musical facts that must follow: handbook, "Parts", where it says
//! so; the rest is common practice, no source.

use super::patterns::changing_meters;
use super::*;

#[test]
fn an_introduction_is_the_drones_and_the_ostinato_joins_halfway() {
    let (score, line) = twinkle();
    let kit = starter();
    for (intro, alone) in [(1u8, 1usize), (2, 1), (3, 2), (4, 2)] {
        let ask = ArrangeRequest { intro, ..ArrangeRequest::default() };
        let a = arranged(&score, &line, &kit, &ask);
        all_pass(&a);
        let n = usize::from(intro);
        let m = &a.score.measures;
        assert_eq!(m.len(), score.measures.len() + 2 * n);
        assert_eq!(part_of(&a, Role::Drone).notes[0].onset, Time::ZERO);
        assert_eq!(part_of(&a, Role::Voice).notes[0].onset, m[n].start);
        assert_eq!(part_of(&a, Role::Melody).notes[0].onset, m[n].start);
        assert_eq!(part_of(&a, Role::Ostinato).notes[0].onset, m[alone].start);
        // The ending: nothing sung, and one stroke in its last measure, held.
        let song_end = m[m.len() - n].start;
        assert!(part_of(&a, Role::Voice).notes.iter().all(|note| note.end() <= song_end));
        let last = m.last().unwrap();
        for role in [Role::Drone, Role::Ostinato] {
            let notes = &part_of(&a, role).notes;
            let ending: Vec<_> = notes.iter().filter(|n| n.onset >= last.start).collect();
            assert!(!ending.is_empty());
            assert!(ending.iter().all(|n| n.onset == last.start && n.end() == last.end()));
        }
    }
}

#[test]
fn an_interlude_has_drone_and_ostinato_and_no_melody() {
    let (score, line) = twinkle();
    let kit = starter();
    let a = arranged(&score, &line, &kit, &ArrangeRequest { interlude: 2, ..Default::default() });
    all_pass(&a);
    let inside = |role: Role| {
        let (from, to) = (a.score.measures[12].start, a.score.measures[13].end());
        part_of(&a, role).notes.iter().filter(|n| n.onset >= from && n.onset < to).count()
    };
    assert_eq!((inside(Role::Voice), inside(Role::Melody)), (0, 0));
    assert!(inside(Role::Drone) >= 2 && inside(Role::Ostinato) >= 2);
}

#[test]
fn repeats_and_endings_stay_where_they_are() {
    let (mut score, line) = twinkle();
    score.measures[0].repeat_start = true;
    score.measures[3].ending_start = vec![1];
    score.measures[3].repeat_end = Some(2);
    score.measures[4].ending_start = vec![2];
    score.measures[11].jumps.push(Jump::DaCapo);
    let a = arranged(&score, &line, &starter(), &ArrangeRequest::default());
    all_pass(&a);
    assert_eq!(a.score.measures, score.measures);
    assert_eq!(playback::order(&a.score.measures).0, playback::order(&score.measures).0);
}

#[test]
fn simpler_is_one_stroke_a_measure_and_colour_at_the_end_only() {
    let (score, line) = twinkle();
    let kit = starter();
    let ask = ArrangeRequest { level: Level::Simpler, ..ArrangeRequest::default() };
    let a = arranged(&score, &line, &kit, &ask);
    all_pass(&a);
    let drone = part_of(&a, Role::Drone);
    // (The last stroke falls with the tune's last note, on the third beat.)
    let close = Time::quarters(46);
    assert!(drone.notes.iter().all(|n| n.onset == close || (n.onset / 4).denominator() == 1));
    let slides = |a: &Arrangement| {
        let colour = part_of(a, Role::Colour);
        colour.notes.iter().filter(|n| n.slide == Some(Slide::Start)).count()
    };
    assert_eq!(slides(&a), 1);
    for plan in a.parts.iter().filter(|p| p.role == Role::Ostinato) {
        // Beats and halves of beats only.
        let notes = &a.score.parts[plan.part].notes;
        assert!(notes.iter().all(|n| n.onset.denominator() <= 2));
    }
    let fuller = ArrangeRequest { level: Level::Fuller, ..ArrangeRequest::default() };
    let b = arranged(&score, &line, &kit, &fuller);
    all_pass(&b);
    assert!(slides(&b) > 1);
    let ostinatos = |a: &Arrangement| roles(a).iter().filter(|r| **r == Role::Ostinato).count();
    assert!(ostinatos(&b) > ostinatos(&a));
}

/// The kit of most tests with three players.
fn three_players() -> Kit {
    let mut kit = starter();
    kit.players = ["red", "blue chair", "green"].map(Player::new).into();
    kit
}

#[test]
fn every_role_goes_where_the_leader_says() {
    let (score, line) = twinkle();
    for (text, role, instrument, player) in [
        ("melody=soprano-metallophone", Role::Melody, "soprano-metallophone", None),
        ("melody=alto-glockenspiel:green", Role::Melody, "alto-glockenspiel", Some(2)),
        ("drone=alto-metallophone:blue chair", Role::Drone, "alto-metallophone", Some(1)),
        ("drone = bass-metallophone", Role::Drone, "bass-metallophone", None),
        ("ostinato=bass-xylophone:red", Role::Ostinato, "bass-xylophone", Some(0)),
        ("colour=alto-metallophone:green", Role::Colour, "alto-metallophone", Some(2)),
    ] {
        for kit in [starter(), three_players()] {
            let wanted = player.filter(|_| !kit.players.is_empty());
            let text = if kit.players.is_empty() { text.split(':').next().unwrap() } else { text };
            let ask = ArrangeRequest { with: vec![text.parse().unwrap()], ..Default::default() };
            let a = arranged(&score, &line, &kit, &ask);
            all_pass(&a);
            let at = kit.instrument(instrument);
            let plan = a.parts.iter().find(|p| p.instrument == at).expect(text);
            assert_eq!(plan.role, role, "{text}");
            if wanted.is_some() {
                assert_eq!(plan.player, wanted, "{text}");
            }
        }
    }
}

#[test]
fn a_role_left_out_is_out_and_the_others_stay() {
    let (score, line) = twinkle();
    for kit in [starter(), three_players()] {
        for role in Role::ALL {
            let ask = ArrangeRequest { without: vec![role], ..ArrangeRequest::default() };
            let a = arranged(&score, &line, &kit, &ask);
            all_pass(&a);
            let left = roles(&a);
            assert!(!left.contains(&role), "{} in {left:?}", role.name());
            let tune = left.contains(&Role::Voice) || left.contains(&Role::Melody);
            assert!(tune && left.len() > 1, "{} leaves {left:?}", role.name());
        }
    }
    let all_but_drone = vec![Role::Voice, Role::Melody, Role::Ostinato, Role::Colour];
    let ask = ArrangeRequest { without: all_but_drone, ..ArrangeRequest::default() };
    let a = arranged(&score, &line, &starter(), &ask);
    assert!(roles(&a).iter().all(|r| *r == Role::Drone));
}

#[test]
fn what_cant_be_given_is_refused_in_plain_words() {
    let (score, line) = twinkle();
    let mut kit = three_players();
    kit.players[0].instruments = vec!["bass-xylophone".into()];
    let refused = |texts: &[&str]| {
        let analysis = analysis::analyse(&score, &line, analysis::Options::default());
        let option = option(&line, &analysis, &kit).unwrap();
        let with = texts.iter().map(|t| t.parse().unwrap()).collect();
        let ask = ArrangeRequest { with, ..ArrangeRequest::default() };
        arrange(&score, &line, &analysis, &kit, &option, &ask).unwrap_err().to_string()
    };
    let said = refused(&["drone=alto-metallophone:red"]);
    assert!(said.contains("`red` doesn't play `alto-metallophone`"), "{said}");
    let said = refused(&["drone=bass-xylophone", "ostinato=bass-xylophone"]);
    assert!(said.contains("`bass-xylophone` is asked for twice"), "{said}");
    let said = refused(&["drone=bass-xylophone:green", "ostinato=alto-xylophone-1:green"]);
    assert!(said.contains("`green` is asked for twice"), "{said}");
    let said = refused(&["melody=harp"]);
    assert!(said.contains("no instrument `harp`") && said.contains("bass-xylophone"), "{said}");
}

/// A song whose word "ferry" ends on a long note in measure 2, "bells" on a short one in measure 3; "deep"
/// has a half note.
fn with_words() -> (Score, Line) {
    let text =
        "C4:1 D4:1 E4:1 D4:1 E4:1 G4:3 A4:1 G4:1 E4:1 D4:1 E4:1 D4:1 C4:1 D4:1 C4:1 E4:1 D4:2 C4:4";
    let (score, mut line) = tune(text, Meter::COMMON, Time::ZERO, 0);
    let words = "la la la la Fer- -ry, la la la la la bells la la la _ deep la";
    for (note, word) in line.notes.iter_mut().zip(words.split(' ')) {
        let syllabic = match (word.starts_with('-'), word.ends_with('-')) {
            (true, _) => Syllabic::End,
            (_, true) => Syllabic::Begin,
            _ => Syllabic::Single,
        };
        let text = word.trim_matches('-').to_owned();
        note.lyrics = match text.as_str() {
            "_" => Vec::new(),
            _ => vec![Lyric { verse: 1, text, syllabic, ..Lyric::default() }],
        };
    }
    (score, line)
}

#[test]
fn colour_falls_on_the_word_asked_for_after_it_is_sung() {
    let (score, line) = with_words();
    let kit = starter();
    let with = |word: &str| {
        let colour_word = Some(word.to_owned());
        arranged(&score, &line, &kit, &ArrangeRequest { colour_word, ..ArrangeRequest::default() })
    };
    for word in ["ferry", "FERRY", "Ferry!"] {
        let a = with(word);
        all_pass(&a);
        // The word ends on the G of measure 2, which begins on beat 2 and lasts three.
        let (sung, next) = (line.notes[5].onset, line.notes[6].onset);
        let slides: Vec<&Note> = part_of(&a, Role::Colour)
            .notes
            .iter()
            .filter(|n| n.onset >= sung && n.onset < next)
            .collect();
        assert_eq!(slides.first().and_then(|n| n.slide), Some(Slide::Start), "{word}");
        assert_eq!(slides.last().map(|n| n.end()), Some(next));
        assert!(slides[0].onset >= sung + Time::new(1, 2));
        assert!(!a.leader_note.iter().any(|l| l.contains("word ")), "{:?}", a.leader_note);
    }
    let note = |word: &str| with(word).leader_note.join("\n");
    assert!(note("bells").contains("No room for colour on the word bells"), "{}", note("bells"));
    assert!(note("anchor").contains("The word anchor isn't in the words"), "{}", note("anchor"));
    // Half a word is no word.
    assert!(note("fer").contains("The word fer isn't in the words"));
}

#[test]
fn colour_on_a_word_can_be_left_out_and_is_then_said() {
    let (score, line) = with_words();
    let ask = ArrangeRequest {
        colour_word: Some("ferry".into()),
        without: vec![Role::Colour],
        ..ArrangeRequest::default()
    };
    let a = arranged(&score, &line, &starter(), &ask);
    assert!(a.leader_note.join("\n").contains("no colour falls on the word ferry"));
}

/// Issue 6: "nobody is idle for more than one phrase". Colour comes at phrase ends only, and where two
/// players take turns each waits for a phrase.
#[test]
fn nobody_waits_longer_than_a_phrase() {
    let (score, line) = twinkle();
    let analysis = analysis::analyse(&score, &line, analysis::Options::default());
    let phrases: Vec<(Time, Time)> = analysis.phrases.iter().map(|p| (p.from, p.to)).collect();
    assert!(phrases.len() >= 3);
    for n in 1..=24 {
        let mut kit = starter();
        kit.players = (0..n).map(|i| Player::new(format!("p{i}"))).collect();
        let a = arranged(&score, &line, &kit, &ArrangeRequest::default());
        all_pass(&a);
        for plan in a.parts.iter().filter(|p| p.player.is_some() && p.role != Role::Colour) {
            let notes = &a.score.parts[plan.part].notes;
            let idle =
                |(from, to): &(Time, Time)| !notes.iter().any(|n| n.onset < *to && n.end() > *from);
            for pair in phrases.windows(2) {
                let name = &kit.players[plan.player.unwrap()].name;
                assert!(!(idle(&pair[0]) && idle(&pair[1])), "{n} players: {name} {:?}", plan.role);
            }
        }
    }
}

#[test]
fn few_players_have_melody_then_drone_then_ostinato() {
    let (score, line) = twinkle();
    let order = [Role::Melody, Role::Drone, Role::Ostinato, Role::Colour];
    for n in 1..=4 {
        let mut kit = starter();
        kit.players = (0..n).map(|i| Player::new(format!("p{i}"))).collect();
        let a = arranged(&score, &line, &kit, &ArrangeRequest::default());
        let mut given: Vec<Role> =
            a.parts.iter().filter(|p| p.player.is_some()).map(|p| p.role).collect();
        given.sort_unstable();
        assert_eq!(given, order[..n], "{n} players");
    }
}

#[test]
fn a_melody_too_quick_for_its_player_is_slowed_a_little_or_thinned() {
    // Eighths at a quarter of 120: 240 strikes a minute.
    let text = format!("{}C4:2", "C4:1/2 D4:1/2 E4:1/2 G4:1/2 ".repeat(15));
    let (mut score, line) = tune(&text, Meter::COMMON, Time::ZERO, 0);
    score.tempos.push(Tempo { at: Time::ZERO, quarter_bpm: 120.0 });
    let alone = |rate: f64| {
        let mut kit = starter();
        let mut player = Player::new("red");
        player.strikes_per_minute = rate;
        kit.players.push(player);
        let a = arranged(&score, &line, &kit, &ArrangeRequest::default());
        all_pass(&a);
        a
    };
    // As quick as it is: the usual player.
    let a = alone(Player::usual_strikes_per_minute(2));
    assert_eq!(a.tempo, 120.0);
    assert!(a.leader_note.iter().any(|l| l.contains("120 quarters a minute (the song's)")));
    // 200 a minute: a quarter of 100, and the sentence says so.
    let a = alone(200.0);
    assert_eq!(a.tempo, 100.0);
    let said = "100 quarters a minute instead of the song's 120";
    assert!(a.leader_note.iter().any(|l| l.contains(said)), "{:?}", a.leader_note);
    // 120 a minute would be half the tempo: every second note goes instead, the off-beat ones.
    let a = alone(120.0);
    assert_eq!(a.tempo, 120.0);
    let melody = part_of(&a, Role::Melody);
    assert!(melody.notes.iter().all(|n| n.onset.denominator() == 1));
    assert_eq!(melody.notes.len(), 31);
    let said = a.leader_note.join("\n");
    assert!(said.contains("30 of its 61 notes are left out"), "{said}");
    // The voice has them all.
    assert_eq!(part_of(&a, Role::Voice).notes.len(), 61);
}

/// A one-mallet drone whose root would grind on a strong beat takes the fifth rather than falling silent.
#[test]
fn a_lone_tone_that_grinds_gives_way_to_the_other() {
    let text = format!("{}C5:4", "C5:1 E5:1 B4:1 G4:1 ".repeat(7));
    let (score, line) = tune(&text, Meter::COMMON, Time::ZERO, 0);
    let kit = one_mallet("blue chair", "bass-xylophone", 60.0);
    let a = arranged(&score, &line, &kit, &ArrangeRequest::default());
    all_pass(&a);
    let drone = part_of(&a, Role::Drone);
    for measure in &score.measures {
        let struck =
            drone.notes.iter().any(|n| n.onset >= measure.start && n.onset < measure.end());
        assert!(struck, "measure {}", measure.number);
    }
}

/// Where the meter changes two cycles may meet too closely for a slow player: only those notes go.
#[test]
fn an_ostinato_keeps_moving_through_changes_of_meter() {
    let (mut score, line) = changing_meters();
    score.tempos.push(Tempo { at: Time::ZERO, quarter_bpm: 100.0 });
    let kit = one_mallet("green", "alto-metallophone", 100.0);
    let with = vec!["ostinato=alto-metallophone:green".parse().unwrap()];
    let a = arranged(&score, &line, &kit, &ArrangeRequest { with, ..ArrangeRequest::default() });
    all_pass(&a);
    let notes = &part_of(&a, Role::Ostinato).notes;
    assert!(notes.len() > score.measures.len(), "{} notes", notes.len());
    let moves = notes.windows(2).filter(|w| w[0].midi() != w[1].midi()).count();
    assert!(moves * 2 > notes.len(), "{moves} moves in {} notes", notes.len());
}

/// A jig in eighths with one quick upbeat: slowed for the eighths, and the upbeat's notes go.
#[test]
fn slowing_mends_the_most_and_thinning_the_rest() {
    let text = format!("G4:1/4 F4:1/4 {}C4:3/2", "C4:1/2 E4:1/2 G4:1/2 ".repeat(15));
    let meter = Meter::new(6, 8).unwrap();
    let (mut score, line) = tune(&text, meter, Time::new(1, 2), 0);
    score.tempos.push(Tempo { at: Time::ZERO, quarter_bpm: 150.0 });
    let mut kit = starter();
    kit.players.push(Player::new("red"));
    let ask = ArrangeRequest { intro: 2, ..ArrangeRequest::default() };
    let a = arranged(&score, &line, &kit, &ask);
    all_pass(&a);
    // 300 eighths a minute become 240.
    assert_eq!(a.tempo, 120.0);
    let said = a.leader_note.join("\n");
    assert!(said.contains("80 dotted quarters a minute instead of the song's 100"), "{said}");
    assert!(said.contains("1 of its 48 notes is left out"), "{said}");
    // The tune ends where it ends, not with the accompaniment's ending.
    let tune = part_of(&a, Role::Voice).notes.last().unwrap().end();
    assert_eq!(part_of(&a, Role::Melody).notes.last().unwrap().end(), tune);
    assert!(tune < a.score.end());
}

#[test]
fn thinning_takes_notes_only_where_they_come_too_quickly() {
    // Quarters, and one run of eighths in measure 3.
    let text = "C4:1 E4:1 G4:1 E4:1 C4:1 E4:1 G4:1 E4:1 C4:1/2 D4:1/2 E4:1/2 D4:1/2 G4:1 E4:1 C4:4";
    let (mut score, line) = tune(text, Meter::COMMON, Time::ZERO, 0);
    score.tempos.push(Tempo { at: Time::ZERO, quarter_bpm: 120.0 });
    let mut kit = starter();
    let mut player = Player::new("red");
    player.strikes_per_minute = 120.0;
    kit.players.push(player);
    let a = arranged(&score, &line, &kit, &ArrangeRequest::default());
    all_pass(&a);
    let melody = part_of(&a, Role::Melody);
    assert_eq!(melody.notes.len(), line.notes.len() - 2);
}

/// A word's last syllable may be sung over several notes: colour waits for the last of them.
#[test]
fn colour_waits_for_the_end_of_a_slur() {
    let text = "C4:1 E4:1 G4:2 A4:1 G4:1 E4:2 D4:1 E4:3 C4:4";
    let (score, mut line) = tune(text, Meter::COMMON, Time::ZERO, 0);
    // "Sea" is sung over D and E, measure 3.
    for (i, note) in line.notes.iter_mut().enumerate() {
        let text = if i == 6 { "sea".to_owned() } else { format!("la{i}") };
        note.lyrics = vec![Lyric { verse: 1, text, ..Lyric::default() }];
    }
    line.notes[7].lyrics.clear();
    let ask = ArrangeRequest {
        level: Level::Simpler,
        colour_word: Some("sea".into()),
        ..ArrangeRequest::default()
    };
    let a = arranged(&score, &line, &starter(), &ask);
    let (sung, next) = (line.notes[7].onset, line.notes[8].onset);
    let there = |n: &&Note| n.onset > sung && n.onset < next;
    assert!(part_of(&a, Role::Colour).notes.iter().filter(there).count() >= 3);
}

#[test]
fn the_command_takes_every_wish() {
    let folder = std::env::temp_dir().join(format!("barwright-wishes-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let kit = folder.join("kit.toml");
    let mut text = String::from("name = \"Test room\"\n");
    for kind in ["alto xylophone", "bass metallophone", "soprano xylophone", "alto glockenspiel"] {
        text +=
            &format!("[[instrument]]\nid = \"{}\"\nkind = \"{kind}\"\n", kind.replace(' ', "-"));
    }
    for player in ["red", "blue chair", "green"] {
        text += &format!("[[player]]\nname = \"{player}\"\n");
    }
    std::fs::write(&kit, text).unwrap();
    let out = folder.join("out");
    let run = |args: &[&str]| {
        let done = std::process::Command::new(env!("CARGO_BIN_EXE_barwright"))
            .args([
                "arrange",
                "demo-songs/lantern-round.musicxml",
                "--no-staff",
                "--json",
                "--force",
            ])
            .arg("--kit")
            .arg(&kit)
            .arg("--out")
            .arg(&out)
            .args(args)
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .output()
            .unwrap();
        (done.status.code(), done.stdout, String::from_utf8(done.stderr).unwrap())
    };
    let (status, printed, said) = run(&[
        "--with",
        "drone=bass-metallophone:blue chair",
        "--without",
        "colour",
        "--drone",
        "level",
        "--intro",
        "2",
        "--interlude",
        "1",
        "--level",
        "simpler",
        "--colour-word",
        "light",
    ]);
    assert_eq!(status, Some(0), "{said}");
    let made: serde_json::Value = serde_json::from_slice(&printed).unwrap();
    let parts = made["parts"].as_array().unwrap();
    let drone = parts.iter().find(|p| p["instrument"] == "bass-metallophone").unwrap();
    assert_eq!((&drone["role"], &drone["player"]), (&"drone".into(), &"blue chair".into()));
    assert_eq!(drone["pattern"], "level");
    assert!(parts.iter().all(|p| p["role"] != "colour"));
    let voice = parts.iter().find(|p| p["role"] == "voice").unwrap();
    assert_eq!(voice["notes"][0]["onset"], "8");
    let note = made["leader_note"].to_string();
    assert!(
        note.contains("two measures of drone") || note.contains("2 measures of drone"),
        "{note}"
    );
    assert!(note.contains("word light"), "{note}");
    // A wish that can't be is wrong usage or a plain refusal, never a half-made folder.
    for wrong in [["--with", "drum=bass-xylophone"], ["--drone", "loud"], ["--level", "best"]] {
        assert_eq!(run(&wrong).0, Some(2), "{wrong:?}");
    }
    assert_eq!(run(&["--with", "drone=harp"]).0, Some(2));
    std::fs::remove_dir_all(&folder).unwrap();
}
