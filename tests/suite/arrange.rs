//! Arranging: parts, players, hands, setups and the checks that run on them.

mod figures;

use barwright::analysis::{self, Analysis};
use barwright::arrange::{ArrangeRequest, Arrangement, Role, arrange};
use barwright::kit::{BarSet, Carrier, FitOption, Kit, starter};
use barwright::score::{
    Hand, Interval, KeySignature, Line, Lyric, Measure, Meter, Note, Part, Pitch, Score, Time,
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
