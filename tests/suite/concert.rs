//! Planning a concert with the library: the trade's own arithmetic, counted by hand.

use barwright::concert::{
    ConcertFile, Pins, Problem, Room, changeovers, plan_best, plan_in_order, spoken,
};
use barwright::kit::{Instrument, Kind, Kit, Setup, State};

fn bass() -> Kit {
    let mut kit = Kit::empty("a bass xylophone");
    kit.instruments.push(Instrument::of_kind("bass", Kind::BassXylophone));
    kit
}

/// Takes the bars with these letters off and swaps those in `swapped` for their spare.
fn setup(kit: &Kit, off: &[&str], swapped: &[&str]) -> Setup {
    let states = kit.instruments[0]
        .slots
        .iter()
        .map(|slot| {
            let name = slot.bar.to_string();
            let letter = &name[..1];
            if off.contains(&letter) {
                State::Remove
            } else if swapped.contains(&letter) {
                State::Swap(slot.spares[0])
            } else {
                State::Keep
            }
        })
        .collect();
    Setup { instrument: 0, states, cautions: Vec::new() }
}

fn concert(kit: &Kit, songs: &[Setup]) -> Problem {
    let mut room = Room::new(kit);
    let songs: Vec<_> =
        songs.iter().map(|s| vec![room.way(std::slice::from_ref(s), &[], 0)]).collect();
    Problem { pins: Pins::none(songs.len()), room, songs }
}

/// Handbook: the bass runs C3 to A4, with two Fs and one B; do on C takes F and B off (3 bars), do on
/// F takes E and B (3 bars), and F major swaps B for B flat (1 bar).
#[test]
fn the_handbooks_bar_sets_cost_what_a_person_counts() {
    let kit = bass();
    let on_c = setup(&kit, &["F", "B"], &[]);
    let f_major = setup(&kit, &[], &["B"]);
    let problem = concert(&kit, &[on_c.clone(), f_major.clone(), on_c.clone()]);
    // Given order: 3 off, then F F on and B to B flat (3), back (3), and 3 on again.
    let given = plan_in_order(&problem, &[0, 1, 2]);
    assert_eq!(problem.moves_total(&given.order), 12);
    // The two pentatonic songs together: 3, 0, 3, and B flat out again: 1.
    let best = plan_best(&problem).unwrap();
    assert!(best.is_optimal());
    assert_eq!(problem.moves_total(&best.order), 7);
    let changes = changeovers(&problem, &best.order);
    assert_eq!(changes.len(), 4);
    assert_eq!(changes.iter().map(|c| c.moves.len()).sum::<usize>(), 7);
    assert_eq!((changes[0].after, changes[3].before), (None, None));
}

#[test]
fn a_song_that_leaves_an_instrument_alone_moves_nothing_on_it() {
    let kit = bass();
    let drone = setup(&kit, &["D", "E", "F", "A", "B"], &[]);
    let mut problem = concert(&kit, &[drone.clone(), drone]);
    let sung = problem.room.way(&[], &[], 0);
    problem.songs.insert(1, vec![sung]);
    problem.pins = Pins::none(3);
    let plan = plan_in_order(&problem, &[0, 1, 2]);
    // Handbook: a C drone keeps four bars of the thirteen and takes nine off; these are all the Cs
    // and Gs. They stay off during the sung song.
    assert_eq!(problem.moves_total(&plan.order), 18);
}

#[test]
fn cards_say_what_to_do_in_plain_words() {
    let kit = bass();
    let problem = concert(&kit, &[setup(&kit, &["F"], &["B"])]);
    let plan = plan_best(&problem).unwrap();
    let changes = changeovers(&problem, &plan.order);
    let said: Vec<String> = changes[0].moves.iter().map(|m| spoken(&kit, m)).collect();
    assert_eq!(
        said,
        [
            "take F3 off (to the bar box)",
            "take B3 off (to the bar box), put Bb3 in the place of B3 (from the bar box)",
            "take F4 off (to the bar box)",
        ]
    );
}

#[test]
fn a_concert_file_is_checked_against_the_kit() {
    let file = ConcertFile::parse(
        "[[song]]\nfile = \"a.mid\"\nwith = [\"drone=bas\"]\n[[song]]\nfile = \"b.mid\"\nfirst = true\n",
    )
    .unwrap();
    let error = file.check(&bass()).unwrap_err().to_string();
    assert!(error.contains("line 1") && error.contains("did you mean `bass`?"), "{error}");
    assert_eq!(file.pins_for(3).an_order().unwrap(), [1, 0, 2]);
}
