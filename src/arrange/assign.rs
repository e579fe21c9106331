//! Who plays what: roles to instruments and instruments to players, by one exact search.
//!
//! The carriers of the melody are given (the fit chose them). For every choice of a first drone, a
//! first ostinato and a first colour instrument among those that can play them, each other instrument
//! doubles a role: the one in which its player adds most, or, where two take turns on an instrument, the
//! one in which it is worth most (both ways are searched, and the better one is taken); then players are matched to seats by an
//! exact assignment (Kuhn's Hungarian method). The best of all choices wins; two bounds skip those that
//! can't: each seat with its best player, and the dual variables of the best matching so far. A seat is an instrument; a second player may take turns on it phrase by phrase,
//! at a price; a player for whom nothing is left sings.

mod hungarian;

use super::Role;

/// What a first copy of a role is worth beyond a doubling, by [`Role`]: melody, drone, ostinato,
/// colour come in this order when there are few players (issue: "the roles that matter most come
/// first"; the order is common practice, no source).
pub(super) const FIRST: [i64; 5] = [0, 200, 100, 60, 40];
/// What taking turns on an instrument costs against having one's own.
pub(super) const TURNS: i64 = 25;
/// What singing instead of playing costs.
pub(super) const SINGS: i64 = 60;
/// What an ask of the leader is worth: more than everything else together.
pub(super) const ASKED: i64 = 100_000;

/// The roles that an instrument may double.
const DOUBLED: [Role; 4] = [Role::Melody, Role::Drone, Role::Ostinato, Role::Colour];

/// What is to be given out.
#[derive(Clone, Debug, Default)]
pub(super) struct Problem {
    /// For each instrument and role, what it is worth there; `None` where it can't play it. The
    /// voice's column stays empty.
    pub(super) worth: Vec<[Option<i64>; 5]>,
    /// Instruments whose role is settled: the melody's carriers and what the leader asks for.
    pub(super) settled: Vec<Option<Role>>,
    /// For each player and instrument: may play it.
    pub(super) may: Vec<Vec<bool>>,
    /// For each player and role, what it costs to give it to the player.
    pub(super) effort: Vec<[i64; 5]>,
    /// For each player, the instrument that the leader asks the player to take.
    pub(super) asked: Vec<Option<usize>>,
    /// Whether instruments may be shared by turns.
    pub(super) turns: bool,
    /// Whether who doubles takes the role that suits the player best, not the instrument.
    pub(super) by_player: bool,
}

/// A seat that is taken.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) struct Seat {
    pub(super) role: Role,
    /// `None`: sings.
    pub(super) instrument: Option<usize>,
    pub(super) player: Option<usize>,
    /// Whether this is the instrument with the first copy of its role.
    pub(super) first: bool,
    /// Whether this is the second player of the instrument, by turns.
    pub(super) second: bool,
}

/// The roles of all instruments in one choice: role and whether it is the role's first copy.
type Roles = Vec<Option<(Role, bool)>>;

/// The best assignment and its worth. Without players every instrument that has a role gets a seat.
pub(super) fn solve(problem: &Problem) -> (Vec<Seat>, i64) {
    let shared = best(problem);
    if problem.may.is_empty() {
        return shared;
    }
    let own = best(&Problem { turns: false, by_player: true, ..problem.clone() });
    if own.1 > shared.1 { own } else { shared }
}

/// The best assignment of one way to give out doublings.
fn best(problem: &Problem) -> (Vec<Seat>, i64) {
    let mut choices: Vec<(i64, Firsts)> = Vec::new();
    let candidates = |role: Role| -> Vec<Option<usize>> {
        let settled = problem.settled.iter().position(|r| *r == Some(role));
        if settled.is_some() {
            return vec![settled];
        }
        let mut list: Vec<Option<usize>> = (0..problem.worth.len())
            .filter(|i| problem.settled[*i].is_none() && value(problem, *i, role).is_some())
            .filter(|i| {
                // Of instruments alike in every respect the first ones stand for all.
                (0..*i).filter(|j| alike(problem, *i, *j) && problem.settled[*j].is_none()).count()
                    < 3
            })
            .map(Some)
            .collect();
        list.push(None);
        list
    };
    let (drones, ostinatos, colours) =
        (candidates(Role::Drone), candidates(Role::Ostinato), candidates(Role::Colour));
    let bounds = Bounds::new(problem);
    let mut columns = Vec::new();
    for drone in &drones {
        for ostinato in &ostinatos {
            if drone.is_some() && drone == ostinato {
                continue;
            }
            for colour in &colours {
                if colour.is_some() && (colour == drone || colour == ostinato) {
                    continue;
                }
                let firsts =
                    [(Role::Drone, *drone), (Role::Ostinato, *ostinato), (Role::Colour, *colour)];
                choices.push((bounds.of(problem, &firsts, &mut columns), firsts));
            }
        }
    }
    choices.sort_by_key(|(bound, _)| -bound);
    if problem.may.is_empty() {
        let mut best: Option<(Vec<Seat>, i64)> = None;
        for (bound, firsts) in &choices {
            if best.as_ref().is_some_and(|(_, worth)| worth >= bound) {
                break;
            }
            let found = without_players(problem, &roles(problem, firsts));
            if best.as_ref().is_none_or(|(_, worth)| found.1 > *worth) {
                best = Some(found);
            }
        }
        return best.unwrap_or_default();
    }
    let costs = Costs::new(problem, [&drones, &ostinatos, &colours]);
    let mut best: Option<(&Firsts, hungarian::Matching)> = None;
    let mut columns: Vec<&[i64]> = Vec::new();
    for (bound, firsts) in &choices {
        if best.as_ref().is_some_and(|(_, found)| -found.cost >= *bound) {
            break;
        }
        costs.columns(firsts, &mut columns);
        // Choices differ in a few columns, so what each player pays in the best one bounds nearly all
        // others away.
        if best
            .as_ref()
            .is_some_and(|(_, found)| hungarian::at_least(&columns, &found.rows) >= found.cost)
        {
            continue;
        }
        let found = hungarian::solve(&columns, problem.may.len());
        if best.as_ref().is_none_or(|(_, known)| found.cost < known.cost) {
            best = Some((firsts, found));
        }
    }
    best.map_or_else(Default::default, |(firsts, found)| {
        (seats(problem, &roles(problem, firsts), &found.columns), -found.cost)
    })
}

/// A choice of first instruments, by role.
type Firsts = [(Role, Option<usize>); 3];

/// What any choice can be worth at the most: each seat with the player who adds most there, as many
/// seats as there are players. Exact where there are no players.
struct Bounds {
    /// For each instrument, what its seat adds at the most as a doubling (or in its settled role).
    plain: Vec<Option<i64>>,
    /// The same of its second seat.
    second: Vec<Option<i64>>,
    /// For each instrument and role, what its two seats add as the role's first.
    first: Vec<[(Option<i64>, Option<i64>); 5]>,
}

impl Bounds {
    fn new(problem: &Problem) -> Bounds {
        let best = |i: usize, role: Role, first: bool, second: bool| -> Option<i64> {
            if problem.may.is_empty() {
                return (!second).then(|| column(problem, i, role, first));
            }
            (0..problem.may.len())
                .filter_map(|p| Some(taken(problem, p, i, (role, first), second)?.0))
                .max()
        };
        let none = [(Role::Drone, None), (Role::Ostinato, None), (Role::Colour, None)];
        let plain = roles(problem, &none);
        let seats = |second: bool| {
            plain
                .iter()
                .enumerate()
                .map(|(i, r)| r.and_then(|(role, first)| best(i, role, first, second)))
                .collect()
        };
        Bounds {
            plain: seats(false),
            second: seats(true),
            first: (0..problem.worth.len())
                .map(|i| {
                    let mut row = [(None, None); 5];
                    for role in Role::ALL {
                        row[role as usize] =
                            (best(i, role, true, false), best(i, role, true, true));
                    }
                    row
                })
                .collect(),
        }
    }

    fn of(&self, problem: &Problem, firsts: &Firsts, columns: &mut Vec<i64>) -> i64 {
        columns.clear();
        for (i, (plain, second)) in self.plain.iter().zip(&self.second).enumerate() {
            let (one, two) = match firsts.iter().find(|(_, at)| *at == Some(i)) {
                Some((role, _)) => self.first[i][*role as usize],
                None => (*plain, *second),
            };
            columns.extend(one);
            columns.extend(two);
        }
        let players = problem.may.len();
        if players == 0 {
            return columns.iter().sum();
        }
        columns.extend(std::iter::repeat_n(-SINGS, players));
        columns.sort_unstable_by_key(|c| -c);
        columns.iter().take(players).sum()
    }
}

fn value(problem: &Problem, instrument: usize, role: Role) -> Option<i64> {
    problem.worth.get(instrument)?[role as usize]
}

/// What a further copy of a role is worth: a second drone or colour adds less than a second melody
/// or ostinato does.
fn doubling(problem: &Problem, instrument: usize, role: Role) -> Option<i64> {
    let worth = value(problem, instrument, role)?;
    Some(match role {
        Role::Drone | Role::Colour => worth / 2,
        _ => worth,
    })
}

fn alike(problem: &Problem, a: usize, b: usize) -> bool {
    problem.worth[a] == problem.worth[b]
        && problem.may.iter().all(|m| m[a] == m[b])
        && !problem.asked.iter().any(|i| *i == Some(a) || *i == Some(b))
}

/// Every instrument's role, when the first copies are given.
fn roles(problem: &Problem, firsts: &[(Role, Option<usize>)]) -> Roles {
    let mut melody_given = false;
    (0..problem.worth.len())
        .map(|i| {
            if let Some(role) = problem.settled[i] {
                let first = match role {
                    Role::Melody => !std::mem::replace(&mut melody_given, true),
                    _ => firsts.iter().any(|(r, at)| *r == role && *at == Some(i)),
                };
                // Every carrier of the melody matters as the first does.
                return Some((role, first || role == Role::Melody));
            }
            if let Some((role, _)) = firsts.iter().find(|(_, at)| *at == Some(i)) {
                return Some((*role, true));
            }
            DOUBLED
                .into_iter()
                .filter_map(|role| Some((doubling(problem, i, role)?, role)))
                .max_by_key(|(worth, role)| (*worth, std::cmp::Reverse(*role)))
                .map(|(_, role)| (role, false))
        })
        .collect()
}

/// What a column is worth before any player sits there. A settled role counts even where its worth
/// is unknown.
fn column(problem: &Problem, instrument: usize, role: Role, first: bool) -> i64 {
    match first {
        true => value(problem, instrument, role).unwrap_or(0) + FIRST[role as usize],
        false => doubling(problem, instrument, role).unwrap_or(0),
    }
}

/// What a player adds in a seat; `None` where the player may not sit there.
pub(super) fn gain(
    problem: &Problem,
    player: usize,
    instrument: usize,
    role: Role,
    first: bool,
    second: bool,
) -> Option<i64> {
    if !problem.may[player][instrument] || (second && !problem.turns) {
        return None;
    }
    let own = match second {
        false => column(problem, instrument, role, first),
        true => doubling(problem, instrument, role).unwrap_or(0) - TURNS,
    };
    let asked = if problem.asked[player] == Some(instrument) && !second { ASKED } else { 0 };
    Some(own + asked - problem.effort[player][role as usize])
}

/// What a player adds in a seat, and in which role; `None` where the player may not sit there.
fn taken(
    problem: &Problem,
    player: usize,
    instrument: usize,
    (role, first): (Role, bool),
    second: bool,
) -> Option<(i64, Role)> {
    let settled = first || problem.settled[instrument].is_some();
    if settled || !problem.by_player {
        return Some((gain(problem, player, instrument, role, first, second)?, role));
    }
    DOUBLED
        .into_iter()
        .filter(|role| value(problem, instrument, *role).is_some())
        .filter_map(|role| Some((gain(problem, player, instrument, role, false, second)?, role)))
        .max_by_key(|(gain, role)| (*gain, std::cmp::Reverse(*role)))
}

fn without_players(problem: &Problem, roles: &Roles) -> (Vec<Seat>, i64) {
    let mut worth = 0;
    let seats = roles
        .iter()
        .enumerate()
        .filter_map(|(i, r)| {
            let (role, first) = (*r)?;
            worth += column(problem, i, role, first);
            Some(Seat { role, instrument: Some(i), player: None, first, second: false })
        })
        .collect();
    (seats, worth)
}

/// A seat that can't be taken: dearer than any that can.
const NEVER: i64 = 1_000_000_000;

/// What the seats of an instrument in one role cost each player: the first seat and the second.
type SeatCosts = [Vec<i64>; 2];

/// The costs of all seats in all roles that a choice can give them, made once.
struct Costs {
    /// By instrument: as a doubling, or in its settled role.
    plain: Vec<SeatCosts>,
    /// By instrument and role: as the role's first.
    first: Vec<[Option<SeatCosts>; 5]>,
    /// Singing, for each player.
    sing: Vec<i64>,
}

impl Costs {
    fn new(problem: &Problem, firsts: [&[Option<usize>]; 3]) -> Costs {
        let players = problem.may.len();
        let seats = |i: usize, role: Option<(Role, bool)>| {
            [false, true].map(|second| {
                (0..players)
                    .map(|p| {
                        role.and_then(|role| taken(problem, p, i, role, second))
                            .map_or(NEVER, |(gain, _)| -gain)
                    })
                    .collect()
            })
        };
        let none = [(Role::Drone, None), (Role::Ostinato, None), (Role::Colour, None)];
        let plain = roles(problem, &none);
        let mut first: Vec<[Option<SeatCosts>; 5]> = vec![Default::default(); plain.len()];
        for (role, list) in [Role::Drone, Role::Ostinato, Role::Colour].into_iter().zip(firsts) {
            for i in list.iter().copied().flatten() {
                first[i][role as usize] = Some(seats(i, Some((role, true))));
            }
        }
        Costs {
            plain: plain.iter().enumerate().map(|(i, role)| seats(i, *role)).collect(),
            first,
            sing: vec![SINGS; players],
        }
    }

    /// The columns of one choice: every instrument, every instrument's second seat, one place to sing for
    /// each player.
    fn columns<'a>(&'a self, firsts: &Firsts, out: &mut Vec<&'a [i64]>) {
        out.clear();
        for second in 0..2 {
            out.extend(self.plain.iter().enumerate().map(|(i, plain)| {
                let role = firsts.iter().find(|(_, at)| *at == Some(i)).map(|(role, _)| *role);
                let own = role.and_then(|role| self.first[i][role as usize].as_ref());
                own.unwrap_or(plain)[second].as_slice()
            }));
        }
        out.extend(self.sing.iter().map(|_| self.sing.as_slice()));
    }
}

/// The seats of a matching: the column of each player in [`Costs::columns`].
fn seats(problem: &Problem, roles: &Roles, columns: &[usize]) -> Vec<Seat> {
    let instruments = roles.len();
    let sings = |p| Seat {
        role: Role::Voice,
        instrument: None,
        player: Some(p),
        first: false,
        second: false,
    };
    columns
        .iter()
        .enumerate()
        .filter_map(|(p, column)| {
            if *column >= 2 * instruments {
                return Some(sings(p));
            }
            let i = column % instruments;
            let second = *column >= instruments;
            let first = roles[i]?.1;
            let (_, role) = taken(problem, p, i, roles[i]?, second)?;
            Some(Seat { role, instrument: Some(i), player: Some(p), first, second })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// All ways at once: every choice of first instruments, every seat for every player.
    fn brute(problem: &Problem) -> i64 {
        let own = Problem { turns: false, by_player: true, ..problem.clone() };
        brute_one(problem).max(brute_one(&own))
    }

    fn brute_one(problem: &Problem) -> i64 {
        let n = problem.worth.len();
        let options = |role: Role| -> Vec<Option<usize>> {
            match problem.settled.iter().position(|r| *r == Some(role)) {
                Some(i) => vec![Some(i)],
                None => (0..n)
                    .filter(|i| {
                        problem.settled[*i].is_none() && problem.worth[*i][role as usize].is_some()
                    })
                    .map(Some)
                    .chain([None])
                    .collect(),
            }
        };
        let mut best = i64::MIN;
        for d in options(Role::Drone) {
            for o in options(Role::Ostinato) {
                for c in options(Role::Colour) {
                    let mut used: Vec<usize> = [d, o, c].into_iter().flatten().collect();
                    used.sort_unstable();
                    let before = used.len();
                    used.dedup();
                    if used.len() < before {
                        continue;
                    }
                    let firsts = [(Role::Drone, d), (Role::Ostinato, o), (Role::Colour, c)];
                    let roles = roles(problem, &firsts);
                    let mut taken = vec![false; 2 * n];
                    best = best.max(seat_all(problem, &roles, 0, &mut taken));
                }
            }
        }
        best
    }

    fn seat_all(problem: &Problem, roles: &Roles, player: usize, taken: &mut [bool]) -> i64 {
        if player == problem.may.len() {
            return 0;
        }
        let mut best = seat_all(problem, roles, player + 1, taken) - SINGS;
        let n = roles.len();
        for seat in 0..2 * n {
            let Some((role, first)) = roles[seat % n] else { continue };
            if taken[seat] {
                continue;
            }
            let i = seat % n;
            // Who doubles may do so in any role that the instrument has, or in the one that suits it best.
            let free = problem.by_player && !first && problem.settled[i].is_none();
            let choices = if free { DOUBLED.to_vec() } else { vec![role] };
            for role in choices {
                if free && problem.worth[i][role as usize].is_none() {
                    continue;
                }
                if let Some(g) = gain(problem, player, i, role, first, seat >= n) {
                    taken[seat] = true;
                    best = best.max(g + seat_all(problem, roles, player + 1, taken));
                    taken[seat] = false;
                }
            }
        }
        best
    }

    fn problem() -> impl Strategy<Value = Problem> {
        (1usize..5, 1usize..5).prop_flat_map(|(instruments, players)| {
            let worth = prop::collection::vec(prop::option::of(0i64..40), 4);
            (
                prop::collection::vec(worth, instruments),
                prop::collection::vec(prop::collection::vec(any::<bool>(), instruments), players),
                prop::collection::vec(prop::collection::vec(0i64..70, 5), players),
                any::<bool>(),
                prop::option::of(0..instruments),
            )
                .prop_map(move |(worth, may, effort, turns, carrier)| {
                    let mut settled = vec![None; worth.len()];
                    if let Some(i) = carrier {
                        settled[i] = Some(Role::Melody);
                    }
                    Problem {
                        worth: worth.iter().map(|w| [None, w[0], w[1], w[2], w[3]]).collect(),
                        settled,
                        asked: vec![None; may.len()],
                        may,
                        effort: effort.iter().map(|e| [e[0], e[1], e[2], e[3], e[4]]).collect(),
                        turns,
                        by_player: false,
                    }
                })
        })
    }

    proptest! {
        #[test]
        fn the_assignment_is_the_best_of_all(problem in problem()) {
            let (seats, worth) = solve(&problem);
            prop_assert_eq!(worth, brute(&problem));
            prop_assert_eq!(seats.len(), problem.may.len());
            // The worth is what the seats say.
            let mut sum = 0;
            for seat in &seats {
                let player = seat.player.unwrap();
                sum += match seat.instrument {
                    None => -SINGS,
                    Some(i) => gain(&problem, player, i, seat.role, seat.first, seat.second).unwrap(),
                };
            }
            prop_assert_eq!(sum, worth);
        }
    }
}
