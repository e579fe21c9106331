//! Kits, slots and the fit solver, against the handbook and a brute-force twin.

mod corpus;
mod kit_file;
mod smaller;
mod trade;
mod twin;

use barwright::analysis::{Analysis, Options, analyse};
use barwright::kit::{
    Bar, BarSet, Clear, Fit, FitRequest, FitRow, Kind, Kit, Setup, State, Transpose, Verdict, csv,
    fit, starter_toml, table, tell,
};
use barwright::score::{Key, Line, Measure, Meter, Midi, Mode, Note, Part, Pitch, Score, Time};

/// A tune of quarter notes in 4/4, as a score and its line.
pub(crate) fn tune(pitches: &[&str]) -> (Score, Line) {
    let notes: Vec<Note> = pitches
        .iter()
        .enumerate()
        .map(|(i, p)| Note::new(Time::quarters(i as i64), Time::QUARTER, p.parse().unwrap()))
        .collect();
    from_notes(notes)
}

pub(crate) fn from_notes(notes: Vec<Note>) -> (Score, Line) {
    let end = notes.last().map_or(Time::ZERO, Note::end);
    let mut score = Score { title: "tune".into(), ..Score::default() };
    let mut at = Time::ZERO;
    while at < end {
        score.measures.push(Measure::full(
            (score.measures.len() + 1).to_string(),
            at,
            Meter::COMMON,
        ));
        at += Meter::COMMON.measure();
    }
    let mut part = Part::new("P1", "Voice");
    part.notes = notes.clone();
    score.parts.push(part);
    (score, Line { part: 0, voice: None, notes })
}

/// A fit in which the key is given instead of found, so that the test is of the fit alone.
pub(crate) fn fit_in(
    kit: &Kit,
    (score, line): &(Score, Line),
    key: Key,
    ask: &FitRequest,
) -> (Analysis, Fit) {
    let mut analysis = analyse(score, line, Options::default());
    analysis.key.best.key = key;
    let found = fit(score, line, &analysis, kit, ask);
    (analysis, found)
}

fn key(tonic: &str, mode: Mode) -> Key {
    Key::new(tonic.parse().unwrap(), mode)
}

fn bars(names: &[&str]) -> BarSet {
    names.iter().map(|n| n.parse::<Pitch>().unwrap().midi()).collect()
}

fn only(instruments: &str) -> Kit {
    Kit::parse(instruments).unwrap()
}

const OWN_KEY: FitRequest = FitRequest {
    transpose: Transpose::None,
    key: None,
    top: 5,
    bars: None,
    changed_notes: None,
    singing_hard: false,
    dominated: false,
};

#[test]
fn the_starter_kit_reads_and_holds_nine_instruments() {
    let kit = Kit::parse(starter_toml()).unwrap();
    assert_eq!(kit.instruments.len(), 9);
    assert_eq!(kit, Kit::starter());
    assert_eq!(kit.instruments.iter().filter(|i| i.kind == Kind::AltoXylophone).count(), 2);
}

/// Handbook, "Parts": on a C–A bass instrument a C drone needs four bars; nine come off.
#[test]
fn a_c_drone_keeps_four_bars_of_a_bass_and_takes_nine_off() {
    let kit = only("[[instrument]]\nkind = \"bass xylophone\"");
    let drone = bars(&["C3", "G3", "C4", "G4"]);
    let setup = Setup::for_pitches(&kit, 0, drone, Clear::Unneeded, false).unwrap();
    let counts = setup.counts();
    assert_eq!((counts.keep, counts.swap, counts.remove, counts.fill), (4, 0, 9, 0));
    assert_eq!(setup.bars(&kit), drone);
}

/// Handbook, "Bars, slots and spares": F and F♯ of one octave can't both be on, of two octaves can.
#[test]
fn a_spare_takes_the_place_of_its_own_octaves_natural() {
    let kit = only("[[instrument]]\nkind = \"alto xylophone\"");
    let alto = &kit.instruments[0];
    assert!(alto.holds(bars(&["F4", "F#5", "C4"])));
    assert!(!alto.holds(bars(&["F4", "F#4"])));
    let refused = Setup::for_pitches(&kit, 0, bars(&["F4", "F#4"]), Clear::Nothing, false);
    assert_eq!(refused.unwrap_err().0, [Midi::new(66)]);
    let set = Setup::for_pitches(&kit, 0, bars(&["F4", "F#5"]), Clear::Nothing, false).unwrap();
    assert_eq!(set.counts().swap, 1);
    let f5 = alto.slot_of(Midi::new(77)).unwrap();
    assert_eq!(set.states[f5], State::Swap(Bar(Midi::new(78))));
}

/// Handbook: F major needs B♭ put in; without it the scale is lydian.
#[test]
fn f_major_needs_b_flat_put_in() {
    let kit = only("[[instrument]]\nkind = \"alto xylophone\"");
    let song = tune(&["F4", "G4", "A4", "Bb4", "C5", "Bb4", "A4", "F4"]);
    let (_, found) = fit_in(&kit, &song, key("F", Mode::Major), &OWN_KEY);
    assert_eq!(found.verdict, Verdict::FitsWithChanges);
    assert_eq!(found.options[0].setups[0].counts().swap, 1);
    let lydian = tune(&["F4", "G4", "A4", "B4", "C5", "B4", "A4", "F4"]);
    let (_, found) = fit_in(&kit, &lydian, key("F", Mode::Lydian), &OWN_KEY);
    assert_eq!(found.verdict, Verdict::Fits);
}

#[test]
fn f_and_f_sharp_of_one_octave_are_shared_by_two_instruments() {
    let song = tune(&["C4", "F4", "G4", "C5", "D4", "F#4", "G4", "C4"]);
    let two = "[[instrument]]\nkind = \"alto xylophone\"\n";
    let one = only(&format!("{two}range = \"C4-A4\""));
    let (_, alone) = fit_in(&one, &song, key("C", Mode::Major), &OWN_KEY);
    assert_eq!(alone.verdict, Verdict::DoesNotFit);
    assert!(!alone.options[0].missing.is_empty());
    let (_, found) = fit_in(&only(&two.repeat(2)), &song, key("C", Mode::Major), &OWN_KEY);
    assert_eq!(found.verdict, Verdict::FitsWithChanges);
    let best = &found.options[0];
    assert_eq!(best.setups.len(), 2);
    assert!(best.missing.is_empty());
    // Every note has its bar with whoever carries it.
    let kit = only(&two.repeat(2));
    for (i, note) in song.1.notes.iter().enumerate() {
        let carrier = best.carriers.iter().rev().find(|c| c.from_note <= i).unwrap();
        let setup = best.setups.iter().find(|s| s.instrument == carrier.instrument).unwrap();
        let sounding = note.midi()
            + best.transpose
            + barwright::score::Interval::octaves(carrier.octave_shift);
        assert!(setup.bars(&kit).contains(sounding), "note {i}");
    }
}

/// The alto xylophone is the usual instrument for a tune (common practice, no source). Its two bars
/// more than the soprano's, which may have to come off, are no reason to name the soprano first.
#[test]
fn the_alto_xylophone_is_named_first_where_the_soprano_needs_no_spare_less() {
    let kit = Kit::starter();
    for (tonic, notes) in [
        ("C", &["C4", "D4", "E4", "G4", "A4", "C5"][..]),
        ("F", &["F4", "G4", "A4", "C5", "D5", "C4"]),
        ("F", &["F4", "A4", "Bb4", "C5", "G4", "E4"]),
        ("G", &["G4", "A4", "B4", "D5", "E5", "D4"]),
        ("D", &["D4", "F4", "A4", "D5"]),
    ] {
        let (_, found) = fit_in(&kit, &tune(notes), key(tonic, Mode::Major), &OWN_KEY);
        let best = &kit.instruments[found.options[0].carriers[0].instrument];
        assert_eq!(best.id, "alto-xylophone-1", "{notes:?}");
    }
}

#[test]
fn a_fit_is_told_verdict_first_and_tabled() {
    let kit = Kit::starter();
    let song = tune(&["G4", "A4", "B4", "D5", "F#4", "G4"]);
    let (_, found) = fit_in(&kit, &song, key("G", Mode::Major), &OWN_KEY);
    let text = tell("lantern", &song.0, &song.1, &kit, &found);
    let first = text.lines().next().unwrap();
    assert!(
        first.starts_with("lantern: fits with bar changes. In its own key, G major"),
        "{first}"
    );
    assert!(text.contains("Put F#4 in place of F4"), "{text}");
    assert!(text.contains("Other ways"), "{text}");
    let line = FitRow::new("a, \"b\"", &kit, &found).unwrap();
    assert_eq!(line.bars.0, 1);
    assert!(
        csv(std::slice::from_ref(&line))
            .contains("\r\n\"a, \"\"b\"\"\",fits with bar changes,G major,+0,")
    );
    assert!(table(&[line]).lines().next().unwrap().starts_with("Song"));
    let nothing = Fit { options: Vec::new(), ..found };
    let none = tell("empty", &song.0, &Line::default(), &kit, &nothing);
    assert!(none.contains("nothing to play"));
    let high = tell("high", &song.0, &song.1, &kit, &nothing);
    assert!(
        high.contains("within the singing range, C4 to D5: the tune runs from F#4 to D5"),
        "{high}"
    );
}

/// The advice where nothing fits is one that works: with so many notes changed it does fit.
#[test]
fn a_tune_that_does_not_fit_is_told_how_many_notes_would_have_to_change() {
    let kit = Kit::starter();
    let song =
        tune(&["C4", "C#4", "D4", "D#4", "E4", "F4", "F#4", "G4", "G#4", "A4", "A#4", "B4", "C5"]);
    let own = key("C", Mode::Major);
    let (_, found) = fit_in(&kit, &song, own, &OWN_KEY);
    let text = tell("chrom", &song.0, &song.1, &kit, &found);
    let advice = text.lines().last().unwrap();
    let n: usize = advice
        .split("--changed-notes ")
        .nth(1)
        .unwrap()
        .split(')')
        .next()
        .unwrap()
        .parse()
        .unwrap();
    let with = |n| {
        let ask = FitRequest { changed_notes: Some(n), ..OWN_KEY };
        fit_in(&kit, &song, own, &ask).1.verdict
    };
    assert_ne!(with(n), Verdict::DoesNotFit, "{advice}");
    assert_eq!(with(n - 1), Verdict::DoesNotFit, "{advice}");
}
