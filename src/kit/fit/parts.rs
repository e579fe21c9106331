//! A song of several parts asked as a whole: can every line be covered, each on an instrument of its
//! own?

use super::rack::{Rack, Song};
use super::search::Room;
use super::terms::Terms;
use super::{FitRequest, Transpose};
use crate::kit::bar::BarSet;
use crate::kit::cost::Weights;
use crate::kit::people::Kit;
use crate::kit::setup::{Clear, Setup};
use crate::score::{Interval, Key, Line};

/// Most lines that are given out at once; a score with more gets its first ones (the search is over
/// every subset of them).
pub const MAX_LINES: usize = 12;

/// One line of a song on its instrument.
#[derive(Clone, PartialEq, Debug)]
pub struct PartFit {
    /// Index into the lines given.
    pub line: usize,
    /// Index into [`Kit::instruments`], with the octaves by which the line sounds above the
    /// transposed song, and the setup; `None` where no instrument is left that can take it.
    pub on: Option<(usize, i8, Setup)>,
}

/// One way to cover the lines.
#[derive(Clone, PartialEq, Debug)]
pub struct PartsOption {
    /// The transposition.
    pub transpose: Interval,
    /// The key after it.
    pub key: Key,
    /// The cost: bars put in and taken off, octaves between where a line stands and where it sounds,
    /// what the instrument costs as the top line's carrier, accidentals and distance; see [`Weights`].
    pub cost: f64,
    /// Every line, in the order given.
    pub lines: Vec<PartFit>,
}

impl PartsOption {
    /// Whether every line has an instrument.
    pub fn all_covered(&self) -> bool {
        self.lines.iter().all(|l| l.on.is_some())
    }
}

/// What it takes to have a line on an instrument.
#[derive(Clone, Copy)]
struct Seat {
    cost: f64,
    octave: i8,
    needed: BarSet,
}

/// The ways to give every line an instrument of its own, most lines covered first, then cheapest; at
/// most `ask.top` of them, one for each transposition that `ask` allows. A line without notes needs
/// no instrument and is left out. Exact: every assignment is weighed, by dynamic programming over the
/// sets of lines.
pub fn fit_parts(lines: &[Line], key: Key, kit: &Kit, ask: &FitRequest) -> Vec<PartsOption> {
    let racks = Rack::every(kit);
    let songs: Vec<(usize, Song)> = lines
        .iter()
        .enumerate()
        .filter(|(_, line)| !line.notes.is_empty())
        .take(MAX_LINES)
        .map(|(i, line)| (i, Song::bare(line)))
        .collect();
    // The line that lies highest on the whole is taken for the tune.
    let height = |song: &Song| {
        song.notes.iter().map(|n| f64::from(*n)).sum::<f64>() / song.notes.len().max(1) as f64
    };
    let top = (0..songs.len()).max_by(|a, b| {
        // Of equals the first.
        height(&songs[*a].1).total_cmp(&height(&songs[*b].1)).then(b.cmp(a))
    });
    let transpositions: Vec<i16> = match ask.transpose {
        Transpose::Any => (-12..=12).collect(),
        Transpose::None => vec![0],
        Transpose::By(by) => vec![by.semitones()],
    };
    let mut options = Vec::new();
    for t in transpositions {
        let new = key.transposed(Interval::new(t));
        if ask.key.is_some_and(|k| k.tonic.class() != new.tonic.class()) {
            continue;
        }
        let base = Terms {
            accidentals: usize::from(new.fifths().unsigned_abs()),
            semitones: usize::from(t.unsigned_abs()),
            ..Terms::default()
        };
        let seats: Vec<Vec<Option<Seat>>> = racks
            .iter()
            .map(|rack| {
                let seat = |(i, (_, song)): (usize, &(usize, Song))| {
                    seat(rack, song, t, top == Some(i), &kit.weights)
                };
                songs.iter().enumerate().map(seat).collect()
            })
            .collect();
        let (cost, taken) = assign(&seats, songs.len());
        let lines = songs
            .iter()
            .zip(taken)
            .map(|((line, song), rack)| {
                let on = rack.and_then(|r| {
                    let (rack, seat) = (&racks[r], seats[r].get(line_of(&songs, *line))?.as_ref()?);
                    let own = song.classes(t);
                    let clear = Clear::Foreign;
                    Setup::within(kit, rack.instrument, seat.needed, own, clear, false)
                        .ok()
                        .map(|setup| (rack.instrument, seat.octave, setup))
                });
                PartFit { line: *line, on }
            })
            .collect();
        let cost = cost + base.cost(&kit.weights);
        options.push(PartsOption { transpose: Interval::new(t), key: new, cost, lines });
    }
    let covered = |o: &PartsOption| o.lines.iter().filter(|l| l.on.is_some()).count();
    options.sort_by(|a, b| {
        covered(b)
            .cmp(&covered(a))
            .then(a.cost.total_cmp(&b.cost))
            .then(a.transpose.semitones().abs().cmp(&b.transpose.semitones().abs()))
    });
    options.truncate(ask.top.max(1));
    options
}

fn line_of(songs: &[(usize, Song)], line: usize) -> usize {
    songs.iter().position(|s| s.0 == line).unwrap_or(songs.len())
}

/// The cheapest octave at which an instrument has every note of a line.
fn seat(rack: &Rack, song: &Song, t: i16, is_tune: bool, weights: &Weights) -> Option<Seat> {
    let own = song.classes(t);
    let mut best: Option<Seat> = None;
    for octave in Room::OCTAVES {
        let Some(needed) = song.moved(t + 12 * i16::from(octave)) else { continue };
        if !rack.holds(needed) {
            continue;
        }
        // A line stays at its own height where it can: a bass line on a bass, a tune off it.
        let mut terms = Terms {
            octaves: usize::from(octave.unsigned_abs()),
            carrier: if is_tune { rack.carrier } else { 0.0 },
            ..Terms::default()
        };
        (terms.swapped, terms.off) = rack.moved(needed, own, false);
        let cost = terms.cost(weights);
        if best.is_none_or(|b| cost < b.cost) {
            best = Some(Seat { cost, octave, needed });
        }
    }
    best
}

/// The most lines, then the least cost: which instrument each line has.
fn assign(seats: &[Vec<Option<Seat>>], lines: usize) -> (f64, Vec<Option<usize>>) {
    // After each instrument, for every set of lines given out: the least cost, and who has them.
    let mut best: Vec<Option<(f64, Vec<Option<usize>>)>> = vec![None; 1 << lines];
    best[0] = Some((0.0, vec![None; lines]));
    for (rack, seats) in seats.iter().enumerate() {
        for set in (0..1usize << lines).rev() {
            let Some((cost, taken)) = best[set].clone() else { continue };
            for (line, seat) in seats.iter().enumerate().filter(|(l, _)| set >> l & 1 == 0) {
                let Some(seat) = seat else { continue };
                let (with, cost) = (set | 1 << line, cost + seat.cost);
                if best[with].as_ref().is_none_or(|b| cost < b.0) {
                    let mut taken = taken.clone();
                    taken[line] = Some(rack);
                    best[with] = Some((cost, taken));
                }
            }
        }
    }
    best.into_iter()
        .enumerate()
        .filter_map(|(set, found)| Some((set.count_ones(), found?)))
        .max_by(|a, b| a.0.cmp(&b.0).then(b.1.0.total_cmp(&a.1.0)))
        .map_or((0.0, vec![None; lines]), |b| b.1)
}
