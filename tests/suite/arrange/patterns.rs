//! Drone and ostinato as written by hand: handbook, "Parts", where it says so; the rest is common
//! practice, no source.

use super::*;

/// A pentatonic tune on C that fills `measures` of a meter with its units: a C drone suits it throughout.
pub(super) fn pentatonic(meter: Meter, measures: usize) -> (Score, Line) {
    const NAMES: [&str; 5] = ["C4", "E4", "D4", "G4", "A4"];
    let count = usize::from(meter.beats) * measures;
    let name = |i: usize| if i + 1 == count { "C4" } else { NAMES[(i * i + i / 3) % 5] };
    let text: Vec<String> = (0..count).map(|i| format!("{}:{}", name(i), meter.unit())).collect();
    tune(&text.join(" "), meter, Time::ZERO, 0)
}

/// The same in measures of 4/4, 3/4 and 2/4, four times over: the 36 quarters stay.
pub(super) fn changing_meters() -> (Score, Line) {
    let (mut score, line) = pentatonic(Meter::COMMON, 9);
    let meters = [Meter::COMMON, Meter::new(3, 4).unwrap(), Meter::new(2, 4).unwrap()];
    let mut start = Time::ZERO;
    score.measures = (0..12)
        .map(|i| {
            let measure = Measure::full((i + 1).to_string(), start, meters[i % 3]);
            start = measure.end();
            measure
        })
        .collect();
    (score, line)
}

/// What the drone strikes in the first two measures: `0:C3+G3 2:C3+G3 | 0:...`.
fn drone_of(a: &Arrangement, score: &Score) -> String {
    let drone = part_of(a, Role::Drone);
    let measure = |m: &Measure| {
        let inside: Vec<&Note> =
            drone.notes.iter().filter(|n| n.onset >= m.start && n.onset < m.end()).collect();
        let strokes: Vec<String> = inside
            .chunk_by(|a, b| a.onset == b.onset)
            .map(|stroke| {
                let names: Vec<String> = stroke.iter().map(|n| n.pitch.to_string()).collect();
                format!("{}:{}", stroke[0].onset - m.start, names.join("+"))
            })
            .collect();
        strokes.join(" ")
    };
    score.measures[..2].iter().map(measure).collect::<Vec<_>>().join(" | ")
}

/// Every pattern in every meter, written out by hand from the handbook's words: chord, both together;
/// broken, one after the other; crossover, root, fifth, root above; level, the pair low, then an octave up;
/// moving, one of its notes steps to a neighbour and back. On the strong beats: 1 and 3 of 4/4, 1 of 3/4
/// and 9/8, both of 2/4, 2/2 and 6/8, 3+2 in fives, 2+2+3 in sevens.
#[test]
fn every_pattern_in_every_meter_as_written_by_hand() {
    use DronePattern::{Broken, Chord, Crossover, Level as LevelPattern, Moving};
    let table: [(u16, u16, DronePattern, &str); 50] = [
        (2, 4, Chord, "0:C3+G3 1:C3+G3 | 0:C3+G3 1:C3+G3"),
        (2, 4, Broken, "0:C3 1:G3 | 0:C3 1:G3"),
        (2, 4, Crossover, "0:C3 1:G3 | 0:C4 1:G3"),
        (2, 4, LevelPattern, "0:C3+G3 1:C4+G4 | 0:C3+G3 1:C4+G4"),
        (2, 4, Moving, "0:C3+G3 1:C3+A3 | 0:C3+G3 1:C3+A3"),
        (3, 4, Chord, "0:C3+G3 | 0:C3+G3"),
        (3, 4, Broken, "0:C3 1:G3 | 0:C3 1:G3"),
        (3, 4, Crossover, "0:C3 1:G3 2:C4 | 0:C3 1:G3 2:C4"),
        (3, 4, LevelPattern, "0:C3+G3 1:C4+G4 | 0:C3+G3 1:C4+G4"),
        (3, 4, Moving, "0:C3+G3 | 0:C3+A3"),
        (4, 4, Chord, "0:C3+G3 2:C3+G3 | 0:C3+G3 2:C3+G3"),
        (4, 4, Broken, "0:C3 2:G3 | 0:C3 2:G3"),
        (4, 4, Crossover, "0:C3 1:G3 2:C4 | 0:C3 1:G3 2:C4"),
        (4, 4, LevelPattern, "0:C3+G3 2:C4+G4 | 0:C3+G3 2:C4+G4"),
        (4, 4, Moving, "0:C3+G3 2:C3+A3 | 0:C3+G3 2:C3+A3"),
        (2, 2, Chord, "0:C3+G3 2:C3+G3 | 0:C3+G3 2:C3+G3"),
        (2, 2, Broken, "0:C3 2:G3 | 0:C3 2:G3"),
        (2, 2, Crossover, "0:C3 2:G3 | 0:C4 2:G3"),
        (2, 2, LevelPattern, "0:C3+G3 2:C4+G4 | 0:C3+G3 2:C4+G4"),
        (2, 2, Moving, "0:C3+G3 2:C3+A3 | 0:C3+G3 2:C3+A3"),
        (6, 8, Chord, "0:C3+G3 3/2:C3+G3 | 0:C3+G3 3/2:C3+G3"),
        (6, 8, Broken, "0:C3 3/2:G3 | 0:C3 3/2:G3"),
        (6, 8, Crossover, "0:C3 3/2:G3 | 0:C4 3/2:G3"),
        (6, 8, LevelPattern, "0:C3+G3 3/2:C4+G4 | 0:C3+G3 3/2:C4+G4"),
        (6, 8, Moving, "0:C3+G3 3/2:C3+A3 | 0:C3+G3 3/2:C3+A3"),
        (9, 8, Chord, "0:C3+G3 | 0:C3+G3"),
        (9, 8, Broken, "0:C3 3/2:G3 | 0:C3 3/2:G3"),
        (9, 8, Crossover, "0:C3 3/2:G3 3:C4 | 0:C3 3/2:G3 3:C4"),
        (9, 8, LevelPattern, "0:C3+G3 3/2:C4+G4 | 0:C3+G3 3/2:C4+G4"),
        (9, 8, Moving, "0:C3+G3 | 0:C3+A3"),
        (12, 8, Chord, "0:C3+G3 3:C3+G3 | 0:C3+G3 3:C3+G3"),
        (12, 8, Broken, "0:C3 3:G3 | 0:C3 3:G3"),
        (12, 8, Crossover, "0:C3 3/2:G3 3:C4 | 0:C3 3/2:G3 3:C4"),
        (12, 8, LevelPattern, "0:C3+G3 3:C4+G4 | 0:C3+G3 3:C4+G4"),
        (12, 8, Moving, "0:C3+G3 3:C3+A3 | 0:C3+G3 3:C3+A3"),
        (5, 4, Chord, "0:C3+G3 3:C3+G3 | 0:C3+G3 3:C3+G3"),
        (5, 4, Broken, "0:C3 3:G3 | 0:C3 3:G3"),
        (5, 4, Crossover, "0:C3 1:G3 2:C4 3:C3 4:G3 | 0:C3 1:G3 2:C4 3:C3 4:G3"),
        (5, 4, LevelPattern, "0:C3+G3 3:C4+G4 | 0:C3+G3 3:C4+G4"),
        (5, 4, Moving, "0:C3+G3 3:C3+A3 | 0:C3+G3 3:C3+A3"),
        (5, 8, Chord, "0:C3+G3 3/2:C3+G3 | 0:C3+G3 3/2:C3+G3"),
        (5, 8, Broken, "0:C3 3/2:G3 | 0:C3 3/2:G3"),
        (5, 8, Crossover, "0:C3 3/2:G3 | 0:C4 3/2:G3"),
        (5, 8, LevelPattern, "0:C3+G3 3/2:C4+G4 | 0:C3+G3 3/2:C4+G4"),
        (5, 8, Moving, "0:C3+G3 3/2:C3+A3 | 0:C3+G3 3/2:C3+A3"),
        (7, 8, Chord, "0:C3+G3 1:C3+G3 2:C3+G3 | 0:C3+G3 1:C3+G3 2:C3+G3"),
        (7, 8, Broken, "0:C3 1:G3 2:G3 | 0:C3 1:G3 2:G3"),
        (7, 8, Crossover, "0:C3 1:G3 2:C4 | 0:C3 1:G3 2:C4"),
        (7, 8, LevelPattern, "0:C3+G3 1:C4+G4 2:C4+G4 | 0:C3+G3 1:C4+G4 2:C4+G4"),
        (7, 8, Moving, "0:C3+G3 1:C3+A3 2:C3+G3 | 0:C3+G3 1:C3+A3 2:C3+G3"),
    ];
    let kit = starter();
    for (beats, unit, pattern, expected) in table {
        let (score, line) = pentatonic(Meter::new(beats, unit).unwrap(), 6);
        let ask = ArrangeRequest { drone: Some(pattern), ..ArrangeRequest::default() };
        let a = arranged(&score, &line, &kit, &ask);
        all_pass(&a);
        assert_eq!(a.key.to_string(), "C major");
        assert_eq!(drone_of(&a, &score), expected, "{} in {beats}/{unit}", pattern.name());
    }
}

/// An additive meter says how it is counted: 2+3 over 4 puts the second stroke on the third beat.
#[test]
fn an_additive_meter_moves_the_drone() {
    let kit = starter();
    let (score, line) = pentatonic(Meter::additive(&[2, 3], 4).unwrap(), 6);
    let ask = ArrangeRequest { drone: Some(DronePattern::Chord), ..ArrangeRequest::default() };
    let a = arranged(&score, &line, &kit, &ask);
    assert_eq!(drone_of(&a, &score), "0:C3+G3 2:C3+G3 | 0:C3+G3 2:C3+G3");
}

#[test]
fn changing_meters_have_a_stroke_on_every_first_beat() {
    let kit = starter();
    let (score, line) = changing_meters();
    for pattern in DronePattern::ALL {
        let ask = ArrangeRequest { drone: Some(pattern), ..ArrangeRequest::default() };
        let a = arranged(&score, &line, &kit, &ask);
        all_pass(&a);
        let drone = part_of(&a, Role::Drone);
        for measure in &score.measures {
            let lowest =
                drone.notes.iter().filter(|n| n.onset == measure.start).map(Note::midi).min();
            let class = lowest.map(|m| m.class());
            // Crossover in two comes back on the upper root, so the class is what stays.
            assert_eq!(class, Some(a.key.tonic.class()), "{} {}", pattern.name(), measure.number);
        }
    }
}

#[test]
fn all_end_together_on_one_held_stroke_of_the_tonic_chord() {
    let kit = starter();
    for (beats, unit) in [(2, 4), (3, 4), (4, 4), (6, 8), (5, 4), (7, 8)] {
        let meter = Meter::new(beats, unit).unwrap();
        // The last measure is one long C.
        let (score, line) = tune(
            &format!(
                "{} C4:{}",
                vec![format!("G4:{0} E4:{0}", meter.measure() / 2); 7].join(" "),
                meter.measure()
            ),
            meter,
            Time::ZERO,
            0,
        );
        let a = arranged(&score, &line, &kit, &ArrangeRequest::default());
        all_pass(&a);
        let last = score.measures.last().unwrap();
        let tonic_chord: Vec<_> = [0, 4, 7].map(|s| a.key.tonic.class() + Interval::new(s)).into();
        for plan in a.parts.iter().filter(|p| matches!(p.role, Role::Drone | Role::Ostinato)) {
            let notes = &a.score.parts[plan.part].notes;
            let ending: Vec<&Note> = notes.iter().filter(|n| n.onset >= last.start).collect();
            assert!(!ending.is_empty(), "{meter} {}", plan.role.name());
            for note in &ending {
                assert_eq!((note.onset, note.end()), (last.start, last.end()), "{meter}");
                assert!(tonic_chord.contains(&note.pitch.class()), "{meter} {}", note.pitch);
            }
            if plan.role == Role::Drone {
                let lowest = ending.iter().map(|n| n.midi()).min().unwrap();
                assert_eq!(lowest.class(), a.key.tonic.class());
            }
        }
    }
}

/// Handbook: "Ostinato: a short pattern of two to four beats, repeated, ... its rhythm complements the
/// melody's rather than doubling it."
#[test]
fn an_ostinato_repeats_from_the_first_beat_and_fills_the_gaps() {
    let kit = starter();
    // Quarters throughout: the gaps are the second halves of the beats.
    let (score, line) = pentatonic(Meter::COMMON, 8);
    let a = arranged(&score, &line, &kit, &ArrangeRequest::default());
    let ostinato = part_of(&a, Role::Ostinato);
    let figure = |m: &Measure| -> Vec<(Time, Pitch)> {
        let inside = ostinato.notes.iter().filter(|n| n.onset >= m.start && n.onset < m.end());
        inside.map(|n| (n.onset - m.start, n.pitch)).collect()
    };
    let first = figure(&score.measures[0]);
    assert_eq!(first[0].0, Time::ZERO);
    assert!((2..=4).contains(&first.len()), "{first:?}");
    assert!(first.iter().any(|n| n.1 != first[0].1));
    assert!(first[1..].iter().all(|n| n.0.denominator() > 1), "{first:?}");
    for measure in &score.measures[1..7] {
        assert_eq!(figure(measure), first, "{}", measure.number);
    }
}

/// Issue 6: "a second one for a second player differs in register and rhythm".
#[test]
fn a_second_ostinato_differs_in_register_and_rhythm() {
    let kit = starter();
    for (beats, unit) in
        [(2, 4), (3, 4), (4, 4), (2, 2), (6, 8), (9, 8), (12, 8), (5, 4), (5, 8), (7, 8)]
    {
        let (score, line) = pentatonic(Meter::new(beats, unit).unwrap(), 8);
        let a = arranged(&score, &line, &kit, &ArrangeRequest::default());
        all_pass(&a);
        let ostinatos: Vec<&Part> = a
            .parts
            .iter()
            .filter(|p| p.role == Role::Ostinato)
            .map(|p| &a.score.parts[p.part])
            .collect();
        let [one, two] = ostinatos[..] else { panic!("{} ostinatos", ostinatos.len()) };
        // But for the last stroke, which is everybody's.
        let own = &two.notes[..two.notes.len() - 1];
        let together = own.iter().filter(|n| one.notes.iter().any(|m| m.onset == n.onset)).count();
        // They may meet at times, on the last stroke at least.
        assert!(
            together * 2 <= two.notes.len(),
            "{beats}/{unit}: {together} of {}",
            two.notes.len()
        );
        let middle = |part: &Part| {
            let sum: i32 = part.notes.iter().map(|n| i32::from(n.midi().number())).sum();
            sum / part.notes.len() as i32
        };
        assert!((middle(two) - middle(one)).abs() >= 3, "{beats}/{unit}");
    }
}

#[test]
fn a_second_drone_changes_root_with_the_first() {
    // I, V, I, V, four measures each, leaving no doubt of the harmony.
    let on_c = "C5:1 E5:1 G5:1 E5:1 ".repeat(4);
    let on_g = "B4:1 D5:1 G5:1 D5:1 ".repeat(4);
    let text = format!("{on_c}{on_g}{on_c}{on_g}C5:4");
    let (score, line) = tune(&text, Meter::COMMON, Time::ZERO, 0);
    let kit = starter();
    let a = arranged(&score, &line, &kit, &ArrangeRequest::default());
    let drones: Vec<&Part> =
        a.parts.iter().filter(|p| p.role == Role::Drone).map(|p| &a.score.parts[p.part]).collect();
    assert!(drones.len() >= 2, "{}", picture(&a, &kit));
    let mut seen = Vec::new();
    for measure in &a.score.measures {
        let root = |part: &Part| {
            part.notes.iter().filter(|n| n.onset == measure.start).map(|n| n.midi()).min()
        };
        if let (Some(one), Some(two)) = (root(drones[0]), root(drones[1])) {
            assert_eq!(one.class(), two.class(), "measure {}", measure.number);
            seen.push(one.class().number());
        }
    }
    seen.dedup();
    // C, G, C, G, C: the harmony holds for four measures each.
    assert_eq!(seen, [0, 7, 0, 7, 0]);
}
