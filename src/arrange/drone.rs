//! The drone: root and fifth on the strong beats, root lowest.
//!
//! A pattern gives the strokes (when, and which tones of the pair); which root and fifth they are is
//! found for the whole song at once by an exact dynamic programme (Viterbi) over the pairs that the
//! instrument has in the song's scale. Its costs, in the units of [`grind`](super::grind):
//!
//! | cost | for |
//! |---|---|
//! | 24 | a struck or ringing tone a semitone, major seventh or tritone from the melody on a strong beat |
//! | 0–6 | the same off the strong beats, by its length |
//! | 7 + 3 | another root than before, off the start of a measure 3 more |
//! | 4 a stroke | another root than the measure asks for ([`roots`](super::roots)), where a tonic drone doesn't suit the tune throughout |
//! | 20 a stroke | a root that is neither the tonic nor the harmony's at that moment: no stroke at all is better |
//! | 2 a stroke | another root than the tonic where the tonic suits the tune throughout |
//! | 100 a stroke | in a second drone, another root than the first drone's |
//! | 4, 6, 16 | the root alone, the fifth alone (where both are meant, or the other one), or no stroke |
//!
//! The weights were set by hand, reading a few arrangements; they were not fitted.

use super::grind::{Grind, against_melody};
use super::limits::{Limits, apart};
use super::rack::{RING_SECONDS, Rack};
use super::request::Level;
use super::song::{Song, Strike, Tick};
use super::{DronePattern, song};
use crate::score::{Interval, Meter, Midi, PitchClass, Time};

const CHANGE: u32 = 7;
const CHANGE_OFF_MEASURE: u32 = 3;
const OTHER_THAN_HARMONY: u32 = 4;
const OTHER_THAN_TONIC: u32 = 2;
const UNCALLED_FOR: u32 = 20;
const OTHER_THAN_FIRST: u32 = 100;
const ROOT_ALONE: u32 = 4;
const FIFTH_ALONE: u32 = 6;
const NO_STROKE: u32 = 16;

const FIFTH: Interval = Interval::new(7);

/// Tones of the pair that a stroke asks for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Tones {
    Both,
    Root,
    Fifth,
    HighRoot,
    HighBoth,
    /// The root and the fifth's neighbour.
    Neighbour,
}

/// A stroke of a pattern.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Stroke {
    pub(super) at: Tick,
    pub(super) end: Tick,
    pub(super) tones: Tones,
}

/// A finished drone.
#[derive(Clone, Debug, Default)]
pub(super) struct Drone {
    pub(super) strikes: Vec<Strike>,
    /// Where the root changes: when, to which class.
    pub(super) roots: Vec<(Tick, PitchClass)>,
    /// Strong beats on which it still grinds against the melody.
    pub(super) grinding: Vec<Tick>,
    /// How it was thinned, in plain words.
    pub(super) thinned: Option<String>,
}

/// The strokes of a pattern in measure `n` (counted from 0) of a meter: offset and tones.
fn cell(meter: &Meter, pattern: DronePattern, n: usize, level: Level) -> Vec<(Time, Tones)> {
    let beats = meter.beats();
    let pulses = meter.strong_beats();
    let beat = |i: usize| beats.get(i).copied();
    let odd_measure = n % 2 == 1;
    let list = |tones: &[Tones]| -> Vec<(Time, Tones)> {
        beats.iter().copied().zip(tones.iter().copied()).collect()
    };
    if level == Level::Simpler {
        // One stroke a measure.
        let tones = match pattern {
            DronePattern::Chord => Tones::Both,
            DronePattern::Broken | DronePattern::Crossover if odd_measure => Tones::Fifth,
            DronePattern::Broken | DronePattern::Crossover => Tones::Root,
            DronePattern::Level if odd_measure => Tones::HighBoth,
            DronePattern::Moving if odd_measure => Tones::Neighbour,
            DronePattern::Level | DronePattern::Moving => Tones::Both,
        };
        return vec![(Time::ZERO, tones)];
    }
    match pattern {
        DronePattern::Chord => pulses.into_iter().map(|p| (p, Tones::Both)).collect(),
        DronePattern::Broken => match pulses.len() {
            // Triple time: root on the first beat, fifth on the second, held.
            1 => list(&[Tones::Root, Tones::Fifth]),
            _ => pulses
                .into_iter()
                .enumerate()
                .map(|(i, p)| (p, if i == 0 { Tones::Root } else { Tones::Fifth }))
                .collect(),
        },
        DronePattern::Crossover => match beats.len() {
            0..=1 => list(&[if odd_measure { Tones::Fifth } else { Tones::Root }]),
            2 if odd_measure => list(&[Tones::HighRoot, Tones::Fifth]),
            2 => list(&[Tones::Root, Tones::Fifth]),
            3 | 4 => list(&[Tones::Root, Tones::Fifth, Tones::HighRoot]),
            5 => list(&[Tones::Root, Tones::Fifth, Tones::HighRoot, Tones::Root, Tones::Fifth]),
            // 2+2+3.
            7 => list(&[
                Tones::Root,
                Tones::Fifth,
                Tones::Root,
                Tones::Fifth,
                Tones::Root,
                Tones::Fifth,
                Tones::HighRoot,
            ]),
            _ => {
                let mut cells = list(&[Tones::Root, Tones::Fifth, Tones::HighRoot]);
                if let (Some(a), Some(b), Some(c)) = (beat(3), beat(4), beat(5)) {
                    cells.extend([(a, Tones::Root), (b, Tones::Fifth), (c, Tones::HighRoot)]);
                }
                cells
            }
        },
        DronePattern::Level => match pulses.len() {
            1 if beats.len() > 1 => list(&[Tones::Both, Tones::HighBoth]),
            1 => list(&[if odd_measure { Tones::HighBoth } else { Tones::Both }]),
            _ => pulses
                .into_iter()
                .enumerate()
                .map(|(i, p)| (p, if i == 0 { Tones::Both } else { Tones::HighBoth }))
                .collect(),
        },
        DronePattern::Moving => match pulses.len() {
            1 => vec![(Time::ZERO, if odd_measure { Tones::Neighbour } else { Tones::Both })],
            _ => pulses
                .into_iter()
                .enumerate()
                .map(|(i, p)| (p, if i % 2 == 0 { Tones::Both } else { Tones::Neighbour }))
                .collect(),
        },
    }
}

/// The cell last made: of which meter, for which of a pair of measures, and its strokes.
type KnownCell = (Meter, usize, Vec<(Tick, Tones)>);

/// The strokes of a pattern over the song from `from` to the close, each until the next. With
/// `every` above 1 only every so many-th measure has any.
pub(super) fn strokes(
    song: &Song,
    pattern: DronePattern,
    level: Level,
    every: usize,
) -> Vec<Stroke> {
    let mut out: Vec<Stroke> = Vec::with_capacity(song.bars.len() * 2);
    let mut full = 0;
    let mut known: Option<KnownCell> = None;
    for (measure, (start, end)) in song.score.measures.iter().zip(&song.bars) {
        let lead = song.tick(measure.lead);
        // A pickup before anything else has no stroke: the drone comes in on the first strong beat.
        let n = full;
        full += usize::from(lead == 0);
        if !n.is_multiple_of(every.max(1)) {
            continue;
        }
        let parity = (n / every.max(1)) % 2;
        if known.as_ref().is_none_or(|(m, p, _)| *m != measure.meter || *p != parity) {
            let cells = cell(&measure.meter, pattern, parity, level)
                .into_iter()
                .map(|(t, tones)| (song.tick(t), tones))
                .collect();
            known = Some((measure.meter, parity, cells));
        }
        let Some((_, _, cells)) = &known else { continue };
        if lead > 0 && out.is_empty() {
            continue;
        }
        for (offset, tones) in cells {
            let at = start + offset - lead;
            if at >= *start && at < *end && at <= song.last_stroke {
                out.push(Stroke { at, end: song.close, tones: *tones });
            }
        }
    }
    let next: Vec<Tick> = out.iter().skip(1).map(|s| s.at).collect();
    for (stroke, next) in out.iter_mut().zip(next) {
        stroke.end = next;
    }
    out
}

/// Lets the drone end with the song: on its root, at the song's last stroke, whatever the pattern, and
/// held. A stroke too soon before it for the player gives way.
fn end(song: &Song, strokes: &mut Vec<Stroke>, gap: f64) {
    let at = song.last_stroke;
    let Some(last) = strokes.last().copied() else { return };
    if last.at < at {
        let before = strokes.len().checked_sub(2).and_then(|i| strokes.get(i)).map(|s| s.at);
        let in_time = |from: Tick| apart(song, from, at, gap);
        if !in_time(last.at) && before.is_some_and(in_time) {
            strokes.pop();
        }
        if strokes.last().is_some_and(|s| in_time(s.at)) {
            if let Some(last) = strokes.last_mut() {
                last.end = at;
            }
            strokes.push(Stroke { at, end: song.close, ..last });
        }
    }
    if let Some(last) = strokes.last_mut() {
        last.end = song.close;
        last.tones = match last.tones {
            Tones::Both | Tones::HighBoth | Tones::Neighbour => Tones::Both,
            Tones::Root | Tones::Fifth | Tones::HighRoot => Tones::Root,
        };
    }
}

/// A root with the tones that go with it.
#[derive(Clone, Copy, Debug)]
struct Pair {
    class: PitchClass,
    root: Midi,
    fifth: Option<Midi>,
    high_root: Option<Midi>,
    high_fifth: Option<Midi>,
    /// The bar next above the fifth, or next below where there is none above.
    neighbour: Option<Midi>,
}

/// The pairs that a rack has, tonic first.
fn pairs(rack: &Rack, song: &Song) -> Vec<Pair> {
    let tonic = song.key.tonic.class();
    let mut roots: Vec<PitchClass> = vec![tonic];
    for step in song.key.mode.scale() {
        let class = tonic + Interval::new(step);
        if class != tonic {
            roots.push(class);
        }
    }
    roots.into_iter().filter_map(|class| pair(rack, class)).collect()
}

/// The lowest pair on a root: with its fifth if it has one anywhere, else the root alone.
fn pair(rack: &Rack, class: PitchClass) -> Option<Pair> {
    let roots = || rack.bars.iter().copied().filter(move |m| m.class() == class);
    let root = roots().find(|r| rack.has(*r + FIFTH)).or_else(|| rack.lowest(class))?;
    let has = |m: Midi| rack.has(m).then_some(m);
    let fifth = has(root + FIFTH);
    let neighbour = fifth.and_then(|f| {
        let i = rack.bars.binary_search(&f).ok()?;
        let near = |m: &&Midi| (**m - f).semitones().abs() <= 2;
        let above = rack.bars.get(i + 1).filter(near);
        above.or_else(|| rack.bars.get(i.checked_sub(1)?).filter(near)).copied()
    });
    Some(Pair {
        class,
        root,
        fifth,
        high_root: has(root + Interval::OCTAVE),
        high_fifth: has(root + Interval::OCTAVE + FIFTH),
        neighbour,
    })
}

/// Whether a rack can hold a drone in this song at all: the tonic and its fifth are there.
pub(super) fn can_hold(rack: &Rack, song: &Song) -> bool {
    pair(rack, song.key.tonic.class()).is_some_and(|p| p.fifth.is_some())
}

/// Whether a rack has what a pattern needs on the tonic.
pub(super) fn suits(rack: &Rack, song: &Song, pattern: DronePattern) -> bool {
    let Some(p) = pair(rack, song.key.tonic.class()) else { return false };
    match pattern {
        DronePattern::Chord | DronePattern::Broken => p.fifth.is_some(),
        DronePattern::Crossover => p.fifth.is_some() && p.high_root.is_some(),
        DronePattern::Level => p.fifth.is_some() && p.high_root.is_some() && p.high_fifth.is_some(),
        DronePattern::Moving => p.fifth.is_some() && p.neighbour.is_some(),
    }
}

/// The pattern that suits meter, tempo, player and register.
///
/// One mallet: broken. Else, of those whose bars are there and whose strokes the player has time
/// for: in triple time crossover at a quiet beat (up to 112 a minute), else chord; in compound time
/// broken; in even time level where the instrument is no bass (lighter), broken at a quiet beat (up
/// to 100 a minute), else chord; in odd meters broken, and where a high instrument rings on. A fuller arrangement takes crossover or
/// moving where it can; a simpler one chord. The tempos are common practice, no source.
pub(super) fn pick(rack: &Rack, song: &Song, low: bool, limits: Limits) -> DronePattern {
    use DronePattern::{Broken, Chord, Crossover, Level as LevelPattern, Moving};
    let Some(measure) = song.score.measures.iter().find(|m| m.lead.is_zero()) else {
        return Chord;
    };
    let beats = measure.meter.beats().len();
    let beat_minute = song.tempo / measure.meter.beat().as_f64().max(0.125);
    let order: &[DronePattern] = if limits.mallets < 2 {
        &[Broken]
    } else if limits.level == Level::Simpler {
        &[Chord, Broken]
    } else if limits.level == Level::Fuller {
        match beats {
            3 => &[Crossover, Moving, Broken, Chord],
            _ => &[Moving, Crossover, Broken, Chord],
        }
    } else if measure.meter.is_odd() || beats >= 5 {
        &[Broken, Chord]
    } else if beats == 3 && beat_minute <= 112.0 && (low || !rack.rings) {
        &[Crossover, Broken, Chord]
    } else if beats == 3 {
        &[Chord, Broken]
    } else if measure.meter.is_compound() {
        &[Broken, Chord]
    } else if !low && rack.rings {
        // What rings on needs the fewest strokes.
        &[Broken, Chord]
    } else if !low {
        &[LevelPattern, Broken, Chord]
    } else if beat_minute <= 100.0 {
        &[Broken, Chord]
    } else {
        &[Chord, Broken]
    };
    let fits = |p: &&DronePattern| {
        suits(rack, song, **p) && in_time(song, &strokes(song, **p, limits.level, 1), limits.gap)
    };
    order.iter().find(fits).or(order.last()).copied().unwrap_or(Chord)
}

/// Whether no two strokes come faster than the player comfortably strikes.
fn in_time(song: &Song, strokes: &[Stroke], gap: f64) -> bool {
    gap <= 0.0 || strokes.windows(2).all(|w| apart(song, w[0].at, w[1].at, gap))
}

/// Makes the drone. Where its strokes come too fast for the player they are thinned: to one a
/// measure, then to one every second and every fourth measure. `lead` are the roots of a first drone,
/// which a second one follows.
pub(super) fn make(
    song: &Song,
    rack: &Rack,
    pattern: DronePattern,
    limits: Limits,
    lead: &[(Tick, PitchClass)],
) -> Drone {
    let mut chosen = strokes(song, pattern, limits.level, 1);
    let mut thinned = None;
    let steps = [
        (Level::Simpler, 1, "one stroke in each measure"),
        (Level::Simpler, 2, "one stroke in every second measure"),
        (Level::Simpler, 4, "one stroke in every fourth measure"),
    ];
    for (level, every, words) in steps {
        if in_time(song, &chosen, limits.gap) {
            break;
        }
        chosen = strokes(song, pattern, level, every);
        thinned = Some(words.to_owned());
    }
    end(song, &mut chosen, limits.gap);
    let one_mallet = limits.mallets < 2;
    let ring = if rack.rings { song.ticks_of(RING_SECONDS, 0) } else { 0 };
    let mut drone = sound(song, &pairs(rack, song), &chosen, one_mallet, ring, lead);
    drone.thinned = thinned;
    drone
}

/// The tones that a stroke asks for and a pair has: at most two, the lower first.
fn tones(pair: &Pair, wanted: Tones, one_mallet: bool) -> [Option<Midi>; 2] {
    let both = match wanted {
        Tones::Both => [Some(pair.root), pair.fifth],
        Tones::Root => [Some(pair.root), None],
        Tones::Fifth => [pair.fifth.or(Some(pair.root)), None],
        Tones::HighRoot => [pair.high_root.or(pair.fifth).or(Some(pair.root)), None],
        Tones::HighBoth => match (pair.high_root, pair.high_fifth) {
            (Some(r), Some(f)) => [Some(r), Some(f)],
            (Some(r), None) => [pair.fifth, Some(r)],
            _ => [Some(pair.root), pair.fifth],
        },
        Tones::Neighbour => [Some(pair.root), pair.neighbour.or(pair.fifth)],
    };
    if one_mallet && both[0].is_some() {
        // A lone mallet plays the tone that moves.
        let one = if wanted == Tones::Neighbour { both[1].or(both[0]) } else { both[0] };
        return [one, None];
    }
    both
}

/// What is struck at one stroke for one pair, with its cost: both tones, one of them, or none.
/// The song's last stroke (`must`) is never left out.
fn best(
    asked: [Option<Midi>; 2],
    pair: &Pair,
    grind: &Grind,
    must: bool,
) -> (u32, [Option<Midi>; 2]) {
    let cost = |m: Option<Midi>| m.map_or(0, |m| grind.of(m));
    let mut best = (cost(asked[0]) + cost(asked[1]), asked);
    let mut offer = |c: u32, tones: [Option<Midi>; 2]| {
        if c < best.0 {
            best = (c, tones);
        }
    };
    if asked[1].is_some() {
        offer(cost(asked[0]) + ROOT_ALONE, [asked[0], None]);
        offer(cost(asked[1]) + FIFTH_ALONE, [asked[1], None]);
    } else if asked[0] == Some(pair.root) && pair.fifth.is_some() {
        // A lone tone that grinds gives way to the other one.
        offer(cost(pair.fifth) + FIFTH_ALONE, [pair.fifth, None]);
    } else {
        offer(cost(Some(pair.root)) + ROOT_ALONE, [Some(pair.root), None]);
    }
    if !must {
        offer(NO_STROKE, [None, None]);
    }
    best
}

/// Finds the cheapest way through the pairs, and sounds it.
fn sound(
    song: &Song,
    pairs: &[Pair],
    strokes: &[Stroke],
    one_mallet: bool,
    ring: Tick,
    lead: &[(Tick, PitchClass)],
) -> Drone {
    if pairs.is_empty() || strokes.is_empty() {
        return Drone::default();
    }
    let n = pairs.len();
    let measure_starts: Vec<bool> =
        strokes.iter().map(|s| song.bars.binary_search_by_key(&s.at, |b| b.0).is_ok()).collect();
    let grinds: Vec<Grind> =
        strokes.iter().map(|s| against_melody(song, s.at, s.end.max(s.at + ring))).collect();
    let mut back: Vec<u8> = vec![0; n * strokes.len()];
    let mut costs: Vec<u32> = vec![0; n];
    for (i, stroke) in strokes.iter().enumerate() {
        let cheapest = costs.iter().enumerate().min_by_key(|(_, c)| **c).map_or(0, |(j, _)| j);
        let change = CHANGE + if measure_starts[i] { 0 } else { CHANGE_OFF_MEASURE };
        let wish = song.root_at(stroke.at);
        // A chord that holds for the whole stroke may be followed, but nothing asks for it.
        let chord = song.chord_at(stroke.at).filter(|c| c.end >= stroke.end).map(|c| c.root);
        let leading = lead.iter().rfind(|(at, _)| *at <= stroke.at).map(|(_, class)| *class);
        let mut next = vec![0u32; n];
        for (j, pair) in pairs.iter().enumerate() {
            let stay = costs[j];
            let go = costs[cheapest] + change;
            let (before, from) = if i == 0 || stay <= go { (stay, j) } else { (go, cheapest) };
            back[i * n + j] = from as u8;
            let mut here = best(
                tones(pair, stroke.tones, one_mallet),
                pair,
                &grinds[i],
                i + 1 == strokes.len(),
            )
            .0;
            if wish.is_some_and(|root| root != pair.class) {
                here += OTHER_THAN_HARMONY;
            }
            if j != 0 && wish.is_none() {
                here += OTHER_THAN_TONIC;
            }
            if j != 0 && wish != Some(pair.class) && chord != Some(pair.class) {
                here += UNCALLED_FOR;
            }
            if leading.is_some_and(|class| class != pair.class) {
                here += OTHER_THAN_FIRST;
            }
            if pair.fifth.is_none() {
                here += ROOT_ALONE;
            }
            next[j] = before + here;
        }
        costs = next;
    }
    let mut j = costs.iter().enumerate().min_by_key(|(_, c)| **c).map_or(0, |(j, _)| j);
    let mut path = vec![0usize; strokes.len()];
    for i in (0..strokes.len()).rev() {
        path[i] = j;
        j = usize::from(back[i * n + j]);
    }
    let mut drone = Drone::default();
    for (i, (stroke, j)) in strokes.iter().zip(path).enumerate() {
        let Some(pair) = pairs.get(j) else { continue };
        if drone.roots.last().is_none_or(|(_, class)| *class != pair.class) {
            drone.roots.push((stroke.at, pair.class));
        }
        let (_, struck) =
            best(tones(pair, stroke.tones, one_mallet), pair, &grinds[i], i + 1 == strokes.len());
        for midi in struck.into_iter().flatten() {
            drone.strikes.push(Strike::new(stroke.at, stroke.end, midi));
        }
        let s = song.strong.partition_point(|t| *t < stroke.at);
        for beat in song.strong.iter().skip(s).take_while(|t| **t < stroke.end) {
            let melody = song.melody_at(*beat).map(|m| m.midi);
            let harsh = struck
                .into_iter()
                .flatten()
                .any(|m| melody.is_some_and(|tune| (tune - m).is_harsh()));
            if harsh {
                drone.grinding.push(*beat);
            }
        }
    }
    drone
}

/// Most changes of root that a sentence lists.
const MOST_NAMED: usize = 6;

/// The drone's changes of root in plain words.
pub(super) fn changes_in_words(song: &Song, drone: &Drone) -> String {
    let list: Vec<String> = drone
        .roots
        .iter()
        .take(MOST_NAMED)
        .map(|(at, class)| {
            format!("{} from measure {}", song::name_in(song.key, *class), song.measure_number(*at))
        })
        .collect();
    let more = match drone.roots.len().saturating_sub(MOST_NAMED) {
        0 => String::new(),
        n => format!(", and {n} more changes"),
    };
    format!("root and fifth change with the harmony: {}{more}", list.join(", "))
}
