//! Smaller sets and parts against brute force.

use barwright::analysis::{PitchSet, PitchUse, smaller_sets};
use barwright::kit::{FitRequest, Kit, Transpose, fit_parts};
use barwright::score::{Interval, Key, Line, Midi, Mode, Note, NoteName, Pitch, Time};
use proptest::prelude::*;

use super::{from_notes, tune};

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    /// Every subset of the classes is tried: none of a size keeps more.
    #[test]
    fn each_size_keeps_as_much_as_any_subset_does(
        pitches in proptest::collection::vec(55i16..80, 1..20),
        weights in proptest::collection::vec(1u32..9, 12),
    ) {
        let notes = pitches.iter().enumerate().map(|(i, m)| {
            Note::new(Time::quarters(i as i64), Time::QUARTER, Pitch::spelled(Midi::new(*m), 0))
        });
        let (score, line) = from_notes(notes.collect());
        let mut distinct = pitches.clone();
        distinct.sort_unstable();
        distinct.dedup();
        let weight = |m: i16| {
            f64::from(weights[m.rem_euclid(12) as usize]) * pitches.iter().filter(|p| **p == m).count() as f64
        };
        let total: f64 = distinct.iter().map(|m| weight(*m)).sum();
        let mut classes: Vec<NoteName> = Vec::new();
        for m in &distinct {
            let name = Pitch::spelled(Midi::new(*m), 0).name;
            if !classes.contains(&name) {
                classes.push(name);
            }
        }
        let spelled = |m: &i16| Pitch::spelled(Midi::new(*m), 0);
        let set = PitchSet {
            classes: classes.clone(),
            pitches: distinct.iter().map(|m| PitchUse { pitch: spelled(m), count: 1, weight: weight(*m) / total }).collect(),
            lowest: distinct.first().map(spelled),
            highest: distinct.last().map(spelled),
            span: Interval::UNISON,
            semitone_free: false,
            name: None,
            solfa: Vec::new(),
        };
        let found = smaller_sets(&score, &line, &set, &[]);
        prop_assert_eq!(found.len(), classes.len() - 1);
        for (i, smaller) in found.iter().enumerate() {
            let size = classes.len() - 1 - i;
            prop_assert_eq!(smaller.classes.len(), size);
            let keeps = |subset: &[NoteName]| -> f64 {
                distinct.iter().filter(|m| subset.iter().any(|n| n.class() == Midi::new(**m).class())).map(|m| weight(*m) / total).sum()
            };
            for mask in 0..1usize << classes.len() {
                if mask.count_ones() as usize == size {
                    let subset: Vec<NoteName> = (0..classes.len()).filter(|c| mask >> c & 1 == 1).map(|c| classes[c]).collect();
                    prop_assert!(keeps(&subset) <= smaller.kept_weight + 1e-9);
                }
            }
            prop_assert!((keeps(&smaller.classes) - smaller.kept_weight).abs() < 1e-9);
            // Exactly the notes outside the set change, each to a note of the set or a rest.
            let kept = |p: Pitch| smaller.classes.iter().any(|n| n.class() == p.class());
            let outside: Vec<usize> = (0..line.notes.len()).filter(|n| !kept(line.notes[*n].pitch)).collect();
            prop_assert_eq!(smaller.changed.iter().map(|c| c.note).collect::<Vec<_>>(), outside);
            prop_assert!(smaller.changed.iter().all(|c| c.to.is_none_or(kept)));
        }
    }

    /// Every assignment of lines to instruments is tried: none covers more lines.
    #[test]
    fn no_assignment_of_parts_covers_more_lines(
        lines in proptest::collection::vec(proptest::collection::vec(45i16..80, 1..5), 1..5),
        kinds in proptest::collection::vec(0usize..5, 1..5),
    ) {
        const KINDS: [&str; 5] = ["alto xylophone", "bass xylophone", "soprano xylophone", "contrabass bars", "alto glockenspiel"];
        let text: String = kinds.iter().map(|k| format!("[[instrument]]\nkind = \"{}\"\n", KINDS[*k])).collect();
        let kit = Kit::parse(&text).unwrap();
        let made: Vec<Line> = lines.iter().map(|list| {
            let notes = list.iter().enumerate().map(|(i, m)| Note::new(Time::quarters(i as i64), Time::QUARTER, Pitch::spelled(Midi::new(*m), 0)));
            Line { part: 0, voice: None, notes: notes.collect() }
        }).collect();
        let ask = FitRequest { transpose: Transpose::None, ..FitRequest::default() };
        let key = Key::new("C".parse().unwrap(), Mode::Major);
        let found = fit_parts(&made, key, &kit, &ask);
        let can = |line: &[i16], at: usize| (-3i16..=3).any(|o| kit.instruments[at].holds(line.iter().map(|m| Midi::new(m + 12 * o)).collect()));
        fn most(line: usize, lines: &[Vec<i16>], used: &mut Vec<bool>, can: &dyn Fn(&[i16], usize) -> bool) -> usize {
            if line == lines.len() { return 0; }
            let mut best = most(line + 1, lines, used, can);
            for at in 0..used.len() {
                if !used[at] && can(&lines[line], at) {
                    used[at] = true;
                    best = best.max(1 + most(line + 1, lines, used, can));
                    used[at] = false;
                }
            }
            best
        }
        let truth = most(0, &lines, &mut vec![false; kinds.len()], &can);
        let covered: Vec<_> = found[0].lines.iter().filter_map(|l| l.on.as_ref().map(|on| (l.line, on))).collect();
        prop_assert_eq!(covered.len(), truth);
        for (line, (at, octave, setup)) in covered {
            let bars = setup.bars(&kit);
            prop_assert_eq!(setup.instrument, *at);
            prop_assert!(lines[line].iter().all(|m| bars.contains(Midi::new(m + 12 * i16::from(*octave)))));
        }
    }
}

#[test]
fn two_lines_need_two_instruments() {
    let (_, tune_line) = tune(&["C4", "E4", "G4"]);
    let (_, low) = tune(&["C3", "G3"]);
    let ask = FitRequest { transpose: Transpose::None, ..FitRequest::default() };
    let key = Key::new("C".parse().unwrap(), Mode::Major);
    let one = Kit::parse("[[instrument]]\nkind = \"alto xylophone\"").unwrap();
    assert!(!fit_parts(&[tune_line.clone(), low.clone()], key, &one, &ask)[0].all_covered());
    assert!(fit_parts(&[tune_line, low], key, &Kit::starter(), &ask)[0].all_covered());
}

/// A tune is not sent to the bass because the bass happens to have fewer bars to take off.
#[test]
fn a_line_stays_at_its_height() {
    let ask = FitRequest { transpose: Transpose::None, ..FitRequest::default() };
    let key = Key::new("C".parse().unwrap(), Mode::Major);
    let kit = Kit::starter();
    let (_, high) = tune(&["C4", "D4", "E4", "G4", "A4"]);
    let (_, low) = tune(&["C3", "G3"]);
    let found = fit_parts(&[high, low], key, &kit, &ask);
    let on = |i: usize| {
        let (at, octave, _) = found[0].lines[i].on.as_ref().unwrap();
        (kit.instruments[*at].kind.name(), *octave)
    };
    assert!(on(0).0.starts_with("alto"), "{:?}", on(0));
    assert!(on(1).0.starts_with("bass"), "{:?}", on(1));
    assert_eq!((on(0).1, on(1).1), (0, 0));
}
