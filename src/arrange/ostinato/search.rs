//! The exact search of the ostinato's grammar: every combination of figures, for each the best bars.

use super::super::song::Tick;

/// A note of a cycle: offset in the measure, end, and its costs by bar.
#[derive(Clone, Debug)]
pub(super) struct Slot {
    pub(super) at: Tick,
    pub(super) end: Tick,
    /// Cost for each bar of the rack's choice, coincidence included.
    pub(super) costs: Vec<u32>,
}

/// The figures of one beat, each as its slots.
pub(super) type Beat = Vec<Vec<Slot>>;

/// A cycle that was found: for each note its offset, end and bar.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub(super) struct Cycle {
    pub(super) notes: Vec<(Tick, Tick, usize)>,
    pub(super) cost: u32,
}

/// Each note fewer than wanted, for every time.
const TOO_FEW: u32 = 14;
/// Each note more than wanted, for every time.
const TOO_MANY: u32 = 5;
/// A silence between two notes' beginnings of more than half the cycle, for every time.
const HOLE: u32 = 4;

/// What a move between two bars costs, by their distance in the list of bars: a step or a third is
/// easy to sing and to play, a repeated bar is dull, a wide leap is hard.
pub(super) fn step(a: usize, b: usize) -> u32 {
    match a.abs_diff(b) {
        0 => 2,
        1 | 2 => 0,
        3 => 1,
        n => n as u32,
    }
}

/// What the search is asked for one section.
#[derive(Clone, Debug)]
pub(super) struct Search {
    pub(super) beats: Vec<Beat>,
    pub(super) bars: usize,
    /// How often the cycle is played in the section.
    pub(super) times: u32,
    /// Fewest and most notes that cost nothing.
    pub(super) wanted: (usize, usize),
    /// Least ticks between two notes, round the cycle too.
    pub(super) gap: Tick,
    /// Length of the cycle.
    pub(super) length: Tick,
    /// Where its beats begin.
    pub(super) starts: Vec<Tick>,
    /// What a cycle costs without a note on its first beat, for every time.
    pub(super) no_start: u32,
    /// What an upbeat costs with no note on the beat that it leads to, for every time.
    pub(super) loose_upbeat: u32,
    /// What a beat costs that is silent itself and has a note after it, for every time.
    pub(super) unsteady: u32,
}

/// What a cycle costs in another section (its tables); `None` where its notes aren't in them.
pub(super) fn price(cycle: &Cycle, ask: &Search) -> Option<u32> {
    let mut figures = Vec::with_capacity(ask.beats.len());
    let mut slots: Vec<&Slot> = Vec::new();
    let ends = ask.starts.iter().copied().skip(1).chain([ask.length]);
    for ((beat, start), end) in ask.beats.iter().zip(&ask.starts).zip(ends) {
        let here: Vec<_> = cycle.notes.iter().filter(|n| (*start..end).contains(&n.0)).collect();
        let figure = beat.iter().position(|f| {
            f.len() == here.len() && f.iter().zip(&here).all(|(s, n)| (s.at, s.end) == (n.0, n.1))
        })?;
        figures.push(figure);
        slots.extend(&beat[figure]);
    }
    let mut cost = rhythm_cost(&slots, &ask.beats, &figures, ask);
    for (slot, note) in slots.iter().zip(&cycle.notes) {
        cost += slot.costs.get(note.2)?;
    }
    for (i, note) in cycle.notes.iter().enumerate() {
        let next = cycle.notes.get(i + 1).or(cycle.notes.first())?;
        cost += step(note.2, next.2) * ask.times;
    }
    Some(cost)
}

/// The cheapest cycle of the grammar that costs less than `below`; `None` where nothing fits the gap, or
/// nothing is as cheap.
///
/// The combinations are gone through beat by beat, and a branch is left as soon as what it costs at
/// the least (each note on its own cheapest bar, each further beat with its own cheapest figure, notes
/// too many or, even with two on every further beat, too few) is no better than the best cycle found.
pub(super) fn search(ask: &Search, below: u32) -> Option<Cycle> {
    // What each beat costs at the least, whatever the others hold, and from each beat on.
    let floors: Vec<Vec<u32>> = ask
        .beats
        .iter()
        .zip(&ask.starts)
        .map(|(beat, start)| {
            beat.iter()
                .map(|figure| {
                    let notes: u32 =
                        figure.iter().map(|s| s.costs.iter().min().copied().unwrap_or(0)).sum();
                    // Whatever begins later doesn't begin on the first beat.
                    let late = *start == 0 && figure.first().is_none_or(|s| s.at != 0);
                    let late = if late { ask.no_start } else { 0 };
                    notes + (beat_cost(figure, *start, ask) + late) * ask.times
                })
                .collect()
        })
        .collect();
    let mut rest = vec![0u32; floors.len() + 1];
    for i in (0..floors.len()).rev() {
        rest[i] = rest[i + 1] + floors[i].iter().min().copied().unwrap_or(0);
    }
    let order: Vec<Vec<usize>> = floors
        .iter()
        .map(|costs| {
            let mut figures: Vec<usize> = (0..costs.len()).collect();
            figures.sort_by_key(|f| costs[*f]);
            figures
        })
        .collect();
    let mut best = Best { cycle: None, cost: below };
    let mut figures = Vec::with_capacity(floors.len());
    let table = Floors { floors, rest, order };
    descend(ask, &table, &mut figures, (0, 0), &mut best);
    best.cycle
}

/// Lower bounds: of each beat's figures, of all beats from one on, and the figures cheapest first.
struct Floors {
    floors: Vec<Vec<u32>>,
    rest: Vec<u32>,
    order: Vec<Vec<usize>>,
}

/// The best cycle so far, and what a better one has to undercut.
struct Best {
    cycle: Option<Cycle>,
    cost: u32,
}

/// `so_far`: what the figures chosen cost at the least, and how many notes they have.
fn descend(
    ask: &Search,
    table: &Floors,
    figures: &mut Vec<usize>,
    so_far: (u32, usize),
    best: &mut Best,
) {
    let depth = figures.len();
    let (cost, notes) = so_far;
    let (fewest, most) = ask.wanted;
    let at_most = notes + 2 * (table.order.len() - depth);
    let crowd = fewest.saturating_sub(at_most) as u32 * TOO_FEW
        + notes.saturating_sub(most) as u32 * TOO_MANY;
    if cost + table.rest[depth] + crowd * ask.times >= best.cost {
        return;
    }
    let Some(choices) = table.order.get(depth) else {
        let slots: Vec<&Slot> =
            ask.beats.iter().zip(figures.iter()).flat_map(|(beat, f)| &beat[*f]).collect();
        if !fits(&slots, ask) {
            return;
        }
        let rhythm = rhythm_cost(&slots, &ask.beats, figures, ask);
        let notes: u32 = slots.iter().filter_map(|s| s.costs.iter().min()).sum();
        if rhythm + notes >= best.cost {
            return;
        }
        let Some((cost, bars)) = tune(&slots, ask) else { return };
        if rhythm + cost < best.cost {
            let notes = slots.iter().zip(bars).map(|(s, b)| (s.at, s.end, b)).collect();
            best.cost = rhythm + cost;
            best.cycle = Some(Cycle { notes, cost: rhythm + cost });
        }
        return;
    };
    for figure in choices {
        figures.push(*figure);
        let next = (cost + table.floors[depth][*figure], notes + ask.beats[depth][*figure].len());
        descend(ask, table, figures, next, best);
        figures.pop();
    }
}

/// What a figure costs in itself: more where its first note comes after the beat.
fn beat_cost(figure: &[Slot], start: Tick, ask: &Search) -> u32 {
    if figure.first().is_some_and(|s| s.at != start) { ask.unsteady } else { 0 }
}

/// What a rhythm costs apart from its notes.
pub(super) fn rhythm_cost(slots: &[&Slot], beats: &[Beat], figures: &[usize], ask: &Search) -> u32 {
    let (fewest, most) = ask.wanted;
    let n = slots.len();
    let mut cost =
        fewest.saturating_sub(n) as u32 * TOO_FEW + n.saturating_sub(most) as u32 * TOO_MANY;
    for ((beat, figure), start) in beats.iter().zip(figures).zip(&ask.starts) {
        cost += beat.get(*figure).map_or(0, |f| beat_cost(f, *start, ask));
    }
    if slots.first().is_some_and(|s| s.at != 0) {
        cost += ask.no_start;
    }
    for (slot, next) in slots.iter().zip(slots.iter().skip(1).chain(slots.first())) {
        // A note in the last quarter of its beat is an upbeat: it leads to a note on the next beat.
        let beat = ask.starts.partition_point(|s| *s <= slot.at);
        let start = ask.starts[beat - 1];
        let end = ask.starts.get(beat).copied().unwrap_or(ask.length);
        if (slot.at - start) * 4 >= (end - start) * 3 && next.at != end % ask.length {
            cost += ask.loose_upbeat;
        }
        if (next.at - slot.at).rem_euclid(ask.length) * 2 > ask.length {
            cost += HOLE;
        }
    }
    cost * ask.times
}

/// Whether a rhythm has a note, two where there are bars to move between, and time between them.
pub(super) fn fits(slots: &[&Slot], ask: &Search) -> bool {
    let Some((first, last)) = slots.first().zip(slots.last()) else { return false };
    // A lone note can't move: two at the least, where there are two bars.
    if slots.len() < 2 && ask.bars > 1 {
        return false;
    }
    slots.windows(2).all(|w| w[1].at - w[0].at >= ask.gap)
        && first.at + ask.length - last.at >= ask.gap
}

/// The best bars for a rhythm: exact, over the bar before, the cycle closed, and not all the same.
fn tune(slots: &[&Slot], ask: &Search) -> Option<(u32, Vec<usize>)> {
    const NEVER: u32 = u32::MAX / 2;
    let n = ask.bars;
    let mut best: Option<(u32, Vec<usize>)> = None;
    for first in 0..n {
        // State: bar of the last note, and whether any bar differed yet.
        let mut costs = vec![[NEVER; 2]; n];
        let mut back: Vec<Vec<[(u8, u8); 2]>> = Vec::with_capacity(slots.len());
        costs[first][0] = *slots.first()?.costs.get(first)?;
        for slot in slots.iter().skip(1) {
            let mut next = vec![[NEVER; 2]; n];
            let mut from = vec![[(0u8, 0u8); 2]; n];
            for (bar, own) in slot.costs.iter().enumerate().take(n) {
                for (before, reached) in costs.iter().enumerate() {
                    for (moved, c) in reached.iter().copied().enumerate() {
                        if c >= NEVER {
                            continue;
                        }
                        let now = usize::from(moved == 1 || bar != before);
                        let cost = c + own + step(before, bar) * ask.times;
                        if cost < next[bar][now] {
                            next[bar][now] = cost;
                            from[bar][now] = (before as u8, moved as u8);
                        }
                    }
                }
            }
            costs = next;
            back.push(from);
        }
        for (last, reached) in costs.iter().enumerate() {
            for (moved, c) in reached.iter().copied().enumerate() {
                if moved == 0 && n > 1 {
                    continue;
                }
                if c >= NEVER {
                    continue;
                }
                let cost = c + step(last, first) * ask.times;
                if best.as_ref().is_none_or(|(b, _)| cost < *b) {
                    let mut bars = vec![last];
                    let (mut bar, mut m) = (last, moved);
                    for from in back.iter().rev() {
                        let (b, before) = from[bar][m];
                        (bar, m) = (usize::from(b), usize::from(before));
                        bars.push(bar);
                    }
                    bars.reverse();
                    best = Some((cost, bars));
                }
            }
        }
    }
    best
}

#[cfg(test)]
mod tests;
