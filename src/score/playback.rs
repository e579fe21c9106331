//! The order in which measures sound: repeats, endings and jumps unfolded.

use super::measure::{Jump, Measure};

/// Most measures that unfolding may give; a score that asks for more plays as far as this.
pub const MAX_MEASURES_PLAYED: usize = 100_000;

/// The indices of the measures in the order in which they sound.
///
/// Repeats are taken before the first jump; after a da capo or dal segno each passage is played once
/// with its last ending, up to the fine or on from the "to coda" sign to the coda (common practice).
/// The flag is true where [`MAX_MEASURES_PLAYED`] cut the result.
pub fn order(measures: &[Measure]) -> (Vec<usize>, bool) {
    let mut played = Vec::with_capacity(measures.len());
    let mut here = 0;
    let mut repeat_from = 0;
    // How often the passage from `repeat_from` has been begun.
    let mut pass = 1u8;
    let mut jumped = false;
    let mut ending: &[u8] = &[];
    while here < measures.len() {
        if played.len() >= MAX_MEASURES_PLAYED {
            return (played, true);
        }
        let measure = &measures[here];
        if measure.repeat_start && here != repeat_from {
            repeat_from = here;
            pass = 1;
        }
        if !measure.ending_start.is_empty() {
            ending = &measure.ending_start;
            let last = is_last_ending(measures, here);
            let wanted =
                if jumped { last } else { ending.contains(&pass) || (last && pass > max(ending)) };
            if !wanted {
                let after = ending_end(measures, here) + 1;
                if after <= here || after > measures.len() {
                    break;
                }
                ending = &[];
                // An ending that closes with a repeat and is skipped leaves the repeat behind when
                // no other ending follows.
                if measures.get(after).is_none_or(|m| m.ending_start.is_empty()) {
                    repeat_from = after;
                    pass = 1;
                }
                here = after;
                continue;
            }
        }
        played.push(here);
        if jumped && measure.jumps.contains(&Jump::Fine) {
            break;
        }
        if jumped
            && measure.jumps.contains(&Jump::ToCoda)
            && let Some(coda) =
                (0..measures.len()).find(|i| *i > here && measures[*i].jumps.contains(&Jump::Coda))
        {
            here = coda;
            continue;
        }
        if let Some(times) = measure.repeat_end
            && !jumped
        {
            // A first ending numbered "1, 2" is played twice even where the sign says only once.
            let times = times
                .max(max(ending).saturating_add(u8::from(
                    !ending.is_empty() && !is_last_ending_of(measures, here),
                )))
                .max(2);
            if pass < times {
                pass += 1;
                here = repeat_from;
                ending = &[];
                continue;
            }
            repeat_from = here + 1;
            pass = 1;
        }
        if measure.ending_stop.is_some() {
            let leaves = measures.get(here + 1).is_none_or(|m| m.ending_start.is_empty());
            if leaves && measure.repeat_end.is_none() {
                repeat_from = here + 1;
                pass = 1;
            }
            ending = &[];
        }
        if !jumped {
            if measure.jumps.contains(&Jump::DaCapo) {
                jumped = true;
                here = 0;
                repeat_from = 0;
                continue;
            }
            if measure.jumps.contains(&Jump::DalSegno)
                && let Some(segno) = measures.iter().position(|m| m.jumps.contains(&Jump::Segno))
            {
                jumped = true;
                here = segno;
                continue;
            }
        }
        here += 1;
    }
    (played, false)
}

fn max(numbers: &[u8]) -> u8 {
    numbers.iter().copied().max().unwrap_or(0)
}

/// The measure in which the ending that starts at `from` stops.
fn ending_end(measures: &[Measure], from: usize) -> usize {
    let mut at = from;
    while at + 1 < measures.len() {
        if measures[at].ending_stop.is_some() || !measures[at + 1].ending_start.is_empty() {
            break;
        }
        at += 1;
    }
    at
}

/// Whether no further ending follows directly on the one that starts at `from`.
fn is_last_ending(measures: &[Measure], from: usize) -> bool {
    let after = ending_end(measures, from) + 1;
    measures.get(after).is_none_or(|m| m.ending_start.is_empty())
}

/// Whether the ending that stops in measure `at` is the last of its group.
fn is_last_ending_of(measures: &[Measure], at: usize) -> bool {
    measures.get(at + 1).is_none_or(|m| m.ending_start.is_empty())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::score::{EndingStop, Meter, Time};

    fn measures(n: usize) -> Vec<Measure> {
        (0..n)
            .map(|i| {
                Measure::full((i + 1).to_string(), Time::quarters(4 * i as i64), Meter::COMMON)
            })
            .collect()
    }

    #[test]
    fn a_plain_repeat_plays_twice() {
        let mut m = measures(3);
        m[1].repeat_end = Some(2);
        assert_eq!(order(&m), (vec![0, 1, 0, 1, 2], false));
        m[1].repeat_start = true;
        assert_eq!(order(&m).0, [0, 1, 1, 2]);
        m[1].repeat_end = Some(3);
        assert_eq!(order(&m).0, [0, 1, 1, 1, 2]);
    }

    #[test]
    fn first_and_second_ending() {
        let mut m = measures(5);
        m[1].ending_start = vec![1];
        m[1].ending_stop = Some(EndingStop::Hooked);
        m[1].repeat_end = Some(2);
        m[2].ending_start = vec![2];
        m[2].ending_stop = Some(EndingStop::Open);
        assert_eq!(order(&m).0, [0, 1, 0, 2, 3, 4]);
        // Two passes share the first ending, the third takes the second.
        m[1].ending_start = vec![1, 2];
        m[2].ending_start = vec![3];
        m[1].repeat_end = Some(3);
        assert_eq!(order(&m).0, [0, 1, 0, 1, 0, 2, 3, 4]);
    }

    #[test]
    fn two_repeated_halves() {
        let mut m = measures(4);
        m[1].repeat_end = Some(2);
        m[2].repeat_start = true;
        m[3].repeat_end = Some(2);
        assert_eq!(order(&m).0, [0, 1, 0, 1, 2, 3, 2, 3]);
    }

    #[test]
    fn da_capo_al_fine_and_dal_segno_al_coda() {
        let mut m = measures(3);
        m[0].jumps = vec![Jump::Fine];
        m[2].jumps = vec![Jump::DaCapo];
        assert_eq!(order(&m).0, [0, 1, 2, 0]);
        let mut m = measures(5);
        m[1].jumps = vec![Jump::Segno];
        m[2].jumps = vec![Jump::ToCoda];
        m[3].jumps = vec![Jump::DalSegno];
        m[4].jumps = vec![Jump::Coda];
        assert_eq!(order(&m).0, [0, 1, 2, 3, 1, 2, 4]);
    }

    #[test]
    fn unfolding_is_bounded() {
        let mut m = measures(1_000);
        m[999].repeat_end = Some(255);
        let (played, cut) = order(&m);
        assert_eq!(played.len(), MAX_MEASURES_PLAYED);
        assert!(cut);
    }
}
