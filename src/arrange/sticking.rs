//! Which mallet strikes which note: an exact dynamic programme.
//!
//! A state is the hand that struck last and where the other hand lies (where it struck last, or
//! nowhere yet). The cost of a stroke is the way its hand travels, in bar widths, plus
//! [`SAME_HAND`] where the hand that struck last strikes again: alternation is the rule (handbook),
//! but not at the price of a long way. Two bars at once take the left hand for the lower.
//!
//! The hands don't cross: right after the left hand struck, the right one doesn't strike further
//! left than the bar next to it, and the other way round. (In a run the mallets follow one another
//! over neighbouring bars; that is no crossing.) Only a crossover drone is free of it.

use super::song::{Strike, Tick};
use crate::score::Hand;

/// What striking twice in a row with one hand costs, in bar widths. Common practice, no source.
pub(super) const SAME_HAND: u32 = 4;
/// How far beyond the other hand a mallet may strike without crossing it, in bar widths.
pub(super) const NEIGHBOUR: i64 = 1;

/// One moment of a part: one bar, or two at once, as places from the left in bar widths.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Moment {
    One(i64),
    Two(i64, i64),
}

/// Where a hand lies: `None` where it hasn't struck yet and may lie anywhere.
type Place = Option<i64>;

fn travel(from: Place, to: i64) -> u32 {
    from.map_or(0, |f| (to - f).unsigned_abs() as u32)
}

/// The hands for each moment (the lower note's first), and the cost. `crossing` lets them cross.
pub(super) fn solve(moments: &[Moment], crossing: bool) -> (Vec<[Hand; 2]>, u32) {
    // After a moment: who struck last (both count as neither) and where each hand lies. The places
    // are few, so the states are kept in a short list.
    #[derive(Clone, Copy)]
    struct State {
        last: Option<Hand>,
        left: Place,
        right: Place,
        cost: u32,
        from: u32,
        hands: [Hand; 2],
    }
    let start = State {
        last: None,
        left: None,
        right: None,
        cost: 0,
        from: 0,
        hands: [Hand::Left, Hand::Right],
    };
    let mut layers: Vec<Vec<State>> = vec![vec![start]];
    for moment in moments {
        let before = layers.last().map_or(&[][..], Vec::as_slice);
        let mut next: Vec<State> = Vec::with_capacity(before.len() + 1);
        let mut offer = |state: State| match next
            .iter_mut()
            .find(|s| (s.last, s.left, s.right) == (state.last, state.left, state.right))
        {
            Some(known) if known.cost <= state.cost => {}
            Some(known) => *known = state,
            None => next.push(state),
        };
        for (i, state) in before.iter().enumerate() {
            match *moment {
                Moment::One(at) => {
                    for hand in [Hand::Right, Hand::Left] {
                        let (own, other) = match hand {
                            Hand::Left => (state.left, state.right),
                            Hand::Right => (state.right, state.left),
                        };
                        let changed = state.last == Some(hand.other());
                        let crosses = match (hand, other) {
                            (Hand::Left, Some(right)) => at > right + NEIGHBOUR,
                            (Hand::Right, Some(left)) => at < left - NEIGHBOUR,
                            _ => false,
                        };
                        // Both hands struck together just before, or the other one did alone.
                        let near = changed || state.last.is_none();
                        if crosses && near && !crossing {
                            continue;
                        }
                        let same = if state.last == Some(hand) { SAME_HAND } else { 0 };
                        let (left, right) = match hand {
                            Hand::Left => (Some(at), state.right),
                            Hand::Right => (state.left, Some(at)),
                        };
                        offer(State {
                            last: Some(hand),
                            left,
                            right,
                            cost: state.cost + travel(own, at) + same,
                            from: i as u32,
                            hands: [hand, hand],
                        });
                    }
                }
                Moment::Two(low, high) => offer(State {
                    last: None,
                    left: Some(low),
                    right: Some(high),
                    cost: state.cost + travel(state.left, low) + travel(state.right, high),
                    from: i as u32,
                    hands: [Hand::Left, Hand::Right],
                }),
            }
        }
        layers.push(next);
    }
    let last = layers.last().map_or(&[][..], Vec::as_slice);
    let Some((mut at, cost)) =
        last.iter().enumerate().min_by_key(|(_, s)| s.cost).map(|(i, s)| (i, s.cost))
    else {
        return (Vec::new(), 0);
    };
    let mut hands = Vec::with_capacity(moments.len());
    for layer in layers.iter().skip(1).rev() {
        let Some(state) = layer.get(at) else { break };
        hands.push(state.hands);
        at = state.from as usize;
    }
    hands.reverse();
    (hands, cost)
}

/// Gives every strike its hand. Slides keep the hand they have; with one mallet all is struck with
/// the right hand.
pub(super) fn give_hands(
    strikes: &mut [Strike],
    mallets: u8,
    crossing: bool,
    place: impl Fn(&Strike) -> i64,
) {
    if mallets < 2 {
        for strike in strikes.iter_mut() {
            strike.hand = Some(Hand::Right);
        }
        return;
    }
    let mut moments: Vec<Moment> = Vec::with_capacity(strikes.len());
    let mut last_at: Option<Tick> = None;
    for strike in strikes.iter().filter(|s| s.slide.is_none()) {
        let here = place(strike);
        match moments.last_mut() {
            Some(moment) if last_at == Some(strike.at) => {
                if let Moment::One(low) = *moment {
                    *moment = Moment::Two(low.min(here), low.max(here));
                }
            }
            _ => moments.push(Moment::One(here)),
        }
        last_at = Some(strike.at);
    }
    let (hands, _) = solve(&moments, crossing);
    let mut index = 0usize;
    let mut last_at: Option<Tick> = None;
    for strike in strikes.iter_mut().filter(|s| s.slide.is_none()) {
        if last_at.is_some_and(|t| t != strike.at) {
            index += 1;
        }
        let second = last_at == Some(strike.at);
        last_at = Some(strike.at);
        strike.hand = hands.get(index).map(|h| h[usize::from(second)]);
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// The cost of given hands by the rules of the header; `None` where the hands cross.
    fn price(moments: &[Moment], hands: &[Hand], crossing: bool) -> Option<u32> {
        let (mut left, mut right): (Place, Place) = (None, None);
        let mut last: Option<Hand> = None;
        let mut cost = 0;
        for (moment, hand) in moments.iter().zip(hands) {
            match *moment {
                Moment::Two(low, high) => {
                    cost += travel(left, low) + travel(right, high);
                    (left, right, last) = (Some(low), Some(high), None);
                }
                Moment::One(at) => {
                    let (own, other) =
                        if *hand == Hand::Left { (left, right) } else { (right, left) };
                    let beyond = match (*hand, other) {
                        (Hand::Left, Some(o)) => at - o,
                        (Hand::Right, Some(o)) => o - at,
                        (_, None) => 0,
                    };
                    if beyond > NEIGHBOUR && last != Some(*hand) && !crossing {
                        return None;
                    }
                    cost += travel(own, at) + if last == Some(*hand) { SAME_HAND } else { 0 };
                    if *hand == Hand::Left {
                        left = Some(at);
                    } else {
                        right = Some(at);
                    }
                    last = Some(*hand);
                }
            }
        }
        Some(cost)
    }

    fn moment() -> impl Strategy<Value = Moment> {
        prop_oneof![
            4 => (0i64..15).prop_map(Moment::One),
            1 => (0i64..10, 1i64..5).prop_map(|(a, b)| Moment::Two(a, a + b)),
        ]
    }

    proptest! {
        #[test]
        fn hands_are_the_cheapest_of_all(
            moments in prop::collection::vec(moment(), 1..9),
            crossing in any::<bool>(),
        ) {
            let (hands, cost) = solve(&moments, crossing);
            let ours: Vec<Hand> = hands.iter().map(|h| h[0]).collect();
            prop_assert_eq!(price(&moments, &ours, crossing), Some(cost));
            let least = (0..1u32 << moments.len())
                .filter_map(|mask| {
                    let all: Vec<Hand> = (0..moments.len())
                        .map(|i| if mask >> i & 1 == 1 { Hand::Left } else { Hand::Right })
                        .collect();
                    price(&moments, &all, crossing)
                })
                .min();
            prop_assert_eq!(least, Some(cost));
        }
    }

    #[test]
    fn a_scale_alternates() {
        let up: Vec<Moment> = (0..8).map(Moment::One).collect();
        let (hands, _) = solve(&up, false);
        assert!(hands.windows(2).all(|w| w[0][0] != w[1][0]), "{hands:?}");
    }
}
