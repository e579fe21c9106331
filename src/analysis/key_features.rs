//! What a musician listens for to tell the key, as named figures for each of the 84 candidates
//! (twelve tonics in seven modes).
//!
//! All figures are seen from the candidate's tonic, so that nothing depends on absolute pitch. Shares
//! lie between 0 and 1.

use super::key_context::{Parts, Symbols};
use super::profile::{AARDEN, KRUMHANSL_KESSLER, TEMPERLEY_KOSTKA_PAYNE};
use super::table::{Event, Table};
use crate::score::{Mode, Score};

/// Declares the features with their indices and names.
macro_rules! features {
    ($($(#[doc = $doc:literal])+ $id:ident = $name:literal,)+) => {
        /// A feature of a candidate key.
        #[derive(Clone, Copy, PartialEq, Eq, Debug)]
        #[repr(usize)]
        pub(super) enum Feature { $($(#[doc = $doc])+ $id,)+ }

        /// The names of the features, in the order of the weights.
        pub(super) const FEATURE_NAMES: &[&str] = &[$($name),+];
    };
}

features! {
    /// 1 where the last note is the tonic.
    LastTonic = "last note is the tonic",
    /// 1 where the last note is the mode's third.
    LastThird = "last note is the third",
    /// 1 where the last note is the fifth.
    LastFifth = "last note is the fifth",
    /// 1 where the last note is the second.
    LastSecond = "last note is the second",
    /// 1 where the last note is no note of the scale.
    LastOutside = "last note is outside the scale",
    /// Share of phrase ends on the tonic.
    EndsTonic = "phrase ends on the tonic",
    /// Share of phrase ends on the third.
    EndsThird = "phrase ends on the third",
    /// Share of phrase ends on the fifth.
    EndsFifth = "phrase ends on the fifth",
    /// Share of phrase ends on the second or the seventh, the notes of the half close.
    EndsSecondSeventh = "phrase ends on second or seventh",
    /// Share of section ends (double bars, repeats) on the tonic.
    SectionsTonic = "section ends on the tonic",
    /// Share of section ends on the fifth.
    SectionsFifth = "section ends on the fifth",
    /// 1 where the first downbeat is the tonic.
    DownbeatTonic = "first downbeat is the tonic",
    /// 1 where the first downbeat is the third.
    DownbeatThird = "first downbeat is the third",
    /// 1 where the first downbeat is the fifth.
    DownbeatFifth = "first downbeat is the fifth",
    /// 1 where a pickup on the fifth leads to the tonic on the first downbeat.
    PickupRise = "pickup rises from fifth to tonic",
    /// Share of downbeat weight on the tonic.
    StrongTonic = "downbeats on the tonic",
    /// Share of downbeat weight on the third.
    StrongThird = "downbeats on the third",
    /// Share of downbeat weight on the fifth.
    StrongFifth = "downbeats on the fifth",
    /// Share of the weight of notes of twice the median length or more that is on the tonic.
    LongTonic = "long notes on the tonic",
    /// The same on third and fifth.
    LongThirdFifth = "long notes on third or fifth",
    /// Share of all weight on the tonic.
    WeightTonic = "weight of the tonic",
    /// Share of all weight on the second.
    WeightSecond = "weight of the second",
    /// Share of all weight on the third.
    WeightThird = "weight of the third",
    /// Share of all weight on the fourth.
    WeightFourth = "weight of the fourth",
    /// Share of all weight on the fifth.
    WeightFifth = "weight of the fifth",
    /// Share of all weight on the sixth.
    WeightSixth = "weight of the sixth",
    /// Share of all weight on the seventh.
    WeightSeventh = "weight of the seventh",
    /// Share of all weight on notes outside the scale.
    Outside = "weight outside the scale",
    /// ln(0.004 + weight outside the scale): the first foreign note tells the most.
    OutsideLog = "weight outside the scale, logarithm",
    /// Notes of the scale that the tune doesn't have, as a share of seven.
    Missing = "scale notes that are missing",
    /// 1 where the sixth is missing (dorian and minor, for example, then look alike).
    MissingSixth = "sixth is missing",
    /// 1 where the seventh is missing.
    MissingSeventh = "seventh is missing",
    /// 1 where the third is missing.
    MissingThird = "third is missing",
    /// In minor modes without it: share of weight on the raised seventh that rises to the tonic.
    RaisedSeventh = "raised seventh in a minor mode",
    /// Share of steps that rise a semitone to the tonic.
    LeadingNote = "leading note rises to the tonic",
    /// Share of steps that rise a whole tone to the tonic.
    Subtonic = "whole tone rises to the tonic",
    /// Share of steps that fall to the tonic.
    FallToTonic = "step falls to the tonic",
    /// Share of moves between tonic and fifth.
    TonicFifth = "leaps between tonic and fifth",
    /// 1 where the last interval is a step down or up to the tonic or a leap from the fifth below.
    FinalApproach = "last note is the tonic, reached by step or from the fifth",
    /// 1 where the lowest note is the tonic.
    LowestTonic = "lowest note is the tonic",
    /// 1 where the lowest note is the fifth (a plagal tune).
    LowestFifth = "lowest note is the fifth",
    /// 1 where the highest note is the tonic.
    HighestTonic = "highest note is the tonic",
    /// 1 where the highest note is the fifth.
    HighestFifth = "highest note is the fifth",
    /// 1 where the last downbeat is the tonic: in a tune that is played round and round the last
    /// note may be the pickup to its beginning.
    LastDownbeatTonic = "last downbeat is the tonic",
    /// 1 where the last downbeat is the third.
    LastDownbeatThird = "last downbeat is the third",
    /// 1 where the last downbeat is the fifth.
    LastDownbeatFifth = "last downbeat is the fifth",
    /// Share of the sections whose first downbeat is the tonic.
    SectionOpensTonic = "sections open on the tonic",
    /// Share of the sections whose first downbeat is the fifth.
    SectionOpensFifth = "sections open on the fifth",
    /// Share of the sections whose last downbeat is the tonic.
    SectionClosesTonic = "sections close with the tonic on the downbeat",
    /// Share of the first full measure's weight on the tonic chord.
    FirstMeasureTriad = "first measure is of the tonic chord",
    /// Share of the last measure's weight (from the last downbeat on) on the tonic chord.
    LastMeasureTriad = "last measure is of the tonic chord",
    /// Share of the weight of the measure before the last one on the dominant chord with its seventh.
    DominantBefore = "measure before the last is of the dominant",
    /// The same on the chord a whole tone below the tonic (the cadence of the old modes).
    FlatSeventhBefore = "measure before the last is of the chord under the tonic",
    /// Share of the weight of all phrases' last measures on the tonic chord.
    PhraseEndsTriad = "phrases end in the tonic chord",
    /// Share of measures that hold tonic, third and fifth.
    TriadMeasures = "measures with the whole tonic chord",
    /// Share of measures whose weight outside the tonic chord is less than that inside.
    TriadShare = "measures mostly of the tonic chord",
    /// Correlation with Krumhansl and Kessler's profile.
    Krumhansl = "correlation with Krumhansl-Kessler",
    /// Correlation with Temperley's profile.
    Temperley = "correlation with Temperley",
    /// Correlation with Aarden's profile.
    Aarden = "correlation with Aarden",
    /// 1 for minor.
    IsMinor = "mode is minor",
    /// 1 for dorian.
    IsDorian = "mode is dorian",
    /// 1 for phrygian.
    IsPhrygian = "mode is phrygian",
    /// 1 for lydian.
    IsLydian = "mode is lydian",
    /// 1 for mixolydian.
    IsMixolydian = "mode is mixolydian",
    /// 1 for locrian.
    IsLocrian = "mode is locrian",
    /// 1 where the last bass note of all parts is the tonic.
    BassLast = "last bass note is the tonic",
    /// 1 where the last chord of all parts is the tonic chord of the mode.
    ChordLast = "last chord is the tonic chord",
    /// 1 where the first chord of all parts has the tonic in the bass.
    BassFirst = "first bass note is the tonic",
    /// Share of the weight of all parts outside the scale.
    PartsOutside = "all parts: weight outside the scale",
    /// Correlation of all parts' weights with Temperley's profile.
    PartsTemperley = "all parts: correlation with Temperley",
    /// 1 where the last chord symbol is on the tonic.
    SymbolLast = "last chord symbol is on the tonic",
    /// 1 where the first chord symbol is on the tonic.
    SymbolFirst = "first chord symbol is on the tonic",
    /// Share of chord symbols on the tonic.
    SymbolShare = "chord symbols on the tonic",
    /// Share of chord symbols on the tonic whose third is the mode's.
    SymbolThird = "tonic chord symbols of the mode's kind",
    /// 1 where the signature is the candidate's.
    Signature = "signature agrees",
    /// 1 where the signature has one sharp more (or flat less) than the candidate's.
    SignatureSharper = "signature is one fifth sharper",
    /// 1 where the signature has one sharp less than the candidate's.
    SignatureFlatter = "signature is one fifth flatter",
    /// 1 where the signature agrees and the last note is the tonic.
    SignatureAndLast = "signature agrees and last note is the tonic",
}

/// Number of features.
pub(super) const FEATURES: usize = FEATURE_NAMES.len();

/// Number of candidate keys.
pub(super) const CANDIDATES: usize = 84;

/// The features of one candidate, by [`Feature`].
pub(super) type Row = [f32; FEATURES];

/// What is summed up of a stretch of melody before any candidate is looked at.
pub(super) struct Summary {
    hist: [f32; 12],
    strong: [f32; 12],
    long: [f32; 12],
    ends: [f32; 12],
    sections: [f32; 12],
    up_semitone: [f32; 12],
    up_tone: [f32; 12],
    down_step: [f32; 12],
    fifths: [f32; 12],
    triad_measures: [[f32; 12]; 2],
    triad_share: [[f32; 12]; 2],
    last: usize,
    before_last: i16,
    last_downbeat: usize,
    opens: [f32; 12],
    closes: [f32; 12],
    first_measure: [f32; 12],
    last_measure: [f32; 12],
    measure_before: [f32; 12],
    end_measures: [f32; 12],
    downbeat: usize,
    pickup: Option<usize>,
    lowest: usize,
    highest: usize,
    profiles: [[[f32; 12]; 2]; 3],
    parts: Option<Parts>,
    symbols: Option<Symbols>,
    signature: Option<i16>,
}

pub(super) fn normalised(mut hist: [f32; 12]) -> [f32; 12] {
    let sum: f32 = hist.iter().sum();
    if sum > 0.0 {
        hist.iter_mut().for_each(|v| *v /= sum);
    }
    hist
}

impl Summary {
    /// Sums up the events `range` of a table. `phrase_ends` are indices of the notes that end
    /// phrases; the signature is the one to be minded, if any.
    pub(super) fn new(
        table: &Table,
        score: &Score,
        range: std::ops::Range<usize>,
        phrase_ends: &[usize],
        signature: Option<i16>,
    ) -> Option<Summary> {
        let events = table.events.get(range.clone())?;
        let (first, final_note) = (events.first()?, events.last()?);
        let mut hist = [0.0f32; 12];
        let mut strong = [0.0f32; 12];
        let mut long = [0.0f32; 12];
        let mut steps = [[0.0f32; 12]; 3];
        let mut fifths = [0.0f32; 12];
        let (mut lowest, mut highest) = (first.midi, first.midi);
        let median = median_length(events);
        for (i, e) in events.iter().enumerate() {
            let class = usize::from(e.class);
            hist[class] += e.weight;
            if e.level == 0 {
                strong[class] += e.length as f32;
            }
            if e.length >= 2.0 * median {
                long[class] += e.length as f32;
            }
            lowest = lowest.min(e.midi);
            highest = highest.max(e.midi);
            if i > 0 {
                match e.midi - events[i - 1].midi {
                    1 => steps[0][class] += 1.0,
                    2 => steps[1][class] += 1.0,
                    -1 | -2 => steps[2][class] += 1.0,
                    5 | -7 => fifths[class] += 1.0,
                    7 | -5 => fifths[usize::from(events[i - 1].class)] += 1.0,
                    _ => {}
                }
            }
        }
        let per_step = 1.0 / events.len() as f32;
        for row in steps.iter_mut().chain([&mut fifths]) {
            row.iter_mut().for_each(|v| *v *= per_step);
        }
        let hist = normalised(hist);
        let mut ends = [0.0f32; 12];
        let mut sections = [0.0f32; 12];
        let (mut opens, mut closes) = ([0.0f32; 12], [0.0f32; 12]);
        let mut end_measures = [0.0f32; 12];
        for &i in phrase_ends.iter().filter(|i| range.contains(i)) {
            ends[usize::from(table.events[i].class)] += 1.0;
            let measure = table.events[i].measure;
            for e in table.events[range.start..=i].iter().rev() {
                if e.measure != measure {
                    break;
                }
                end_measures[usize::from(e.class)] += e.weight;
            }
        }
        let (mut open, mut close) = (None, None);
        for (i, pair) in events.windows(2).enumerate() {
            if pair[0].level == 0 {
                open = open.or(Some(pair[0].class));
                close = Some(pair[0].class);
            }
            // The last note before a bar line with a double bar or a repeat.
            if pair[1].measure > pair[0].measure {
                let from = pair[0].measure as usize;
                let to = pair[1].measure as usize;
                if table.bars.get(from..to).is_some_and(|b| b.iter().any(|b| b.closes)) {
                    sections[usize::from(pair[0].class)] += 1.0;
                    for (hist, class) in [(&mut opens, &mut open), (&mut closes, &mut close)] {
                        if let Some(class) = class.take() {
                            hist[usize::from(class)] += 1.0;
                        }
                    }
                }
            }
            if i + 2 == events.len() && pair[1].level == 0 {
                open = open.or(Some(pair[1].class));
                close = Some(pair[1].class);
            }
        }
        for (hist, class) in [(&mut opens, open), (&mut closes, close)] {
            if let Some(class) = class {
                hist[usize::from(class)] += 1.0;
            }
        }
        sections[usize::from(final_note.class)] += 1.0;
        let downbeat_at = events.iter().position(|e| e.level == 0).unwrap_or(0);
        let last_downbeat = events.iter().rposition(|e| e.level == 0).unwrap_or(events.len() - 1);
        let closing = events[last_downbeat].measure;
        let of = |measure: Option<u32>| {
            let mut hist = [0.0f32; 12];
            for e in events.iter().filter(|e| Some(e.measure) == measure) {
                hist[usize::from(e.class)] += e.weight;
            }
            normalised(hist)
        };
        let (triad_measures, triad_share) = triads(events);
        let krumhansl = KRUMHANSL_KESSLER.correlations(&hist);
        let temperley = TEMPERLEY_KOSTKA_PAYNE.correlations(&hist);
        let aarden = AARDEN.correlations(&hist);
        let (from, to) = (first.at, final_note.end());
        Some(Summary {
            strong: normalised(strong),
            long: normalised(long),
            ends: normalised(ends),
            sections: normalised(sections),
            up_semitone: steps[0],
            up_tone: steps[1],
            down_step: steps[2],
            fifths,
            triad_measures,
            triad_share,
            last: usize::from(final_note.class),
            before_last: match events {
                [.., a, b] => b.midi - a.midi,
                _ => 0,
            },
            last_downbeat: usize::from(events[last_downbeat].class),
            opens: normalised(opens),
            closes: normalised(closes),
            first_measure: of(Some(events[downbeat_at].measure)),
            last_measure: of(Some(closing)),
            measure_before: of(closing.checked_sub(1)),
            end_measures: normalised(end_measures),
            downbeat: usize::from(events[downbeat_at].class),
            pickup: (downbeat_at > 0).then(|| usize::from(events[downbeat_at - 1].class)),
            lowest: lowest.rem_euclid(12) as usize,
            highest: highest.rem_euclid(12) as usize,
            profiles: [krumhansl, temperley, aarden],
            parts: Parts::new(table, events, &hist, from, to),
            symbols: Symbols::new(score, from, to),
            signature,
            hist,
        })
    }

    /// How many pitch classes sound, in all parts and in the chord symbols' roots.
    pub(super) fn classes(&self) -> usize {
        let symbols = self.symbols.as_ref().map_or([0.0; 12], |s| s.share);
        let heard = self.parts.as_ref().map_or(&self.hist, |p| &p.hist);
        heard.iter().zip(symbols).filter(|(h, s)| **h > 0.0 || *s > 0.0).count()
    }

    /// The features of the candidate on `tonic` (C = 0) in the mode `Mode::ALL[mode]`.
    pub(super) fn row(&self, tonic: usize, mode: usize) -> Row {
        use Feature as F;
        let m = Mode::ALL[mode];
        let scale = m.scale();
        let minor = usize::from(!m.has_major_third());
        let on = |degree: usize| (tonic + scale[degree] as usize) % 12;
        let is = |a: usize, b: usize| f32::from(u8::from(a == b));
        let mut row = [0.0f32; FEATURES];
        let mut set = |f: F, v: f32| row[f as usize] = v;

        let inside = |class: usize| scale.contains(&(((class + 12 - tonic) % 12) as i16));
        set(F::LastTonic, is(self.last, tonic));
        set(F::LastThird, is(self.last, on(2)));
        set(F::LastFifth, is(self.last, on(4)));
        set(F::LastSecond, is(self.last, on(1)));
        set(F::LastOutside, f32::from(u8::from(!inside(self.last))));
        set(F::EndsTonic, self.ends[tonic]);
        set(F::EndsThird, self.ends[on(2)]);
        set(F::EndsFifth, self.ends[on(4)]);
        set(F::EndsSecondSeventh, self.ends[on(1)] + self.ends[on(6)]);
        set(F::SectionsTonic, self.sections[tonic]);
        set(F::SectionsFifth, self.sections[on(4)]);
        set(F::DownbeatTonic, is(self.downbeat, tonic));
        set(F::DownbeatThird, is(self.downbeat, on(2)));
        set(F::DownbeatFifth, is(self.downbeat, on(4)));
        set(
            F::PickupRise,
            f32::from(u8::from(self.pickup == Some(on(4)) && self.downbeat == tonic)),
        );
        set(F::StrongTonic, self.strong[tonic]);
        set(F::StrongThird, self.strong[on(2)]);
        set(F::StrongFifth, self.strong[on(4)]);
        set(F::LongTonic, self.long[tonic]);
        set(F::LongThirdFifth, self.long[on(2)] + self.long[on(4)]);
        let mut outside = 1.0;
        let mut missing = 0.0;
        for (degree, feature) in [
            F::WeightTonic,
            F::WeightSecond,
            F::WeightThird,
            F::WeightFourth,
            F::WeightFifth,
            F::WeightSixth,
            F::WeightSeventh,
        ]
        .into_iter()
        .enumerate()
        {
            let weight = self.hist[on(degree)];
            set(feature, weight);
            outside -= weight;
            missing += f32::from(u8::from(weight <= 0.0));
        }
        let outside = outside.max(0.0);
        set(F::Outside, outside);
        // 0.004: about one short weak note in a tune of a hundred notes.
        set(F::OutsideLog, (0.004 + outside).ln());
        set(F::Missing, missing / 7.0);
        let gone = |degree: usize| f32::from(u8::from(self.hist[on(degree)] <= 0.0));
        set(F::MissingSixth, gone(5));
        set(F::MissingSeventh, gone(6));
        set(F::MissingThird, gone(2));
        let below = (tonic + 11) % 12;
        if minor == 1 {
            set(F::RaisedSeventh, self.hist[below]);
        }
        set(F::LeadingNote, self.up_semitone[tonic]);
        set(F::Subtonic, self.up_tone[tonic]);
        set(F::FallToTonic, self.down_step[tonic]);
        set(F::TonicFifth, self.fifths[tonic]);
        let close = matches!(self.before_last, 1 | 2 | -1 | -2 | 5 | -7);
        set(F::FinalApproach, is(self.last, tonic) * f32::from(u8::from(close)));
        set(F::LowestTonic, is(self.lowest, tonic));
        set(F::LowestFifth, is(self.lowest, on(4)));
        set(F::HighestTonic, is(self.highest, tonic));
        set(F::HighestFifth, is(self.highest, on(4)));
        set(F::LastDownbeatTonic, is(self.last_downbeat, tonic));
        set(F::LastDownbeatThird, is(self.last_downbeat, on(2)));
        set(F::LastDownbeatFifth, is(self.last_downbeat, on(4)));
        set(F::SectionOpensTonic, self.opens[tonic]);
        set(F::SectionOpensFifth, self.opens[on(4)]);
        set(F::SectionClosesTonic, self.closes[tonic]);
        let triad = |hist: &[f32; 12]| hist[tonic] + hist[on(2)] + hist[on(4)];
        set(F::FirstMeasureTriad, triad(&self.first_measure));
        set(F::LastMeasureTriad, triad(&self.last_measure));
        set(F::PhraseEndsTriad, triad(&self.end_measures));
        let above = |semitones: usize| self.measure_before[(tonic + semitones) % 12];
        set(F::DominantBefore, above(7) + above(11) + above(2) + above(5));
        set(F::FlatSeventhBefore, above(10) + above(2) + above(5));
        set(F::TriadMeasures, self.triad_measures[minor][tonic]);
        set(F::TriadShare, self.triad_share[minor][tonic]);
        set(F::Krumhansl, self.profiles[0][minor][tonic]);
        set(F::Temperley, self.profiles[1][minor][tonic]);
        set(F::Aarden, self.profiles[2][minor][tonic]);
        match m {
            Mode::Major => {}
            Mode::Minor => set(F::IsMinor, 1.0),
            Mode::Dorian => set(F::IsDorian, 1.0),
            Mode::Phrygian => set(F::IsPhrygian, 1.0),
            Mode::Lydian => set(F::IsLydian, 1.0),
            Mode::Mixolydian => set(F::IsMixolydian, 1.0),
            Mode::Locrian => set(F::IsLocrian, 1.0),
        }
        if let Some(parts) = &self.parts {
            let triad = 1u16 << tonic | 1 << on(2) | 1 << on(4);
            set(F::BassLast, is(parts.bass_last, tonic));
            let held = parts.last_chord & triad == parts.last_chord;
            // A minor tune may end on the major chord.
            let picardy = 1u16 << tonic | 1 << ((tonic + 4) % 12) | 1 << on(4);
            let held = held || minor == 1 && parts.last_chord == picardy;
            set(F::ChordLast, is(parts.bass_last, tonic) * f32::from(u8::from(held)));
            set(F::BassFirst, is(parts.bass_first, tonic));
            let held: f32 = (0..7).map(|d| parts.hist[on(d)]).sum();
            set(F::PartsOutside, (1.0 - held).max(0.0));
            set(F::PartsTemperley, parts.temperley[minor][tonic]);
        }
        if let Some(symbols) = &self.symbols {
            set(F::SymbolLast, is(symbols.last, tonic));
            set(F::SymbolFirst, is(symbols.first, tonic));
            set(F::SymbolShare, symbols.share[tonic]);
            set(F::SymbolThird, symbols.with_third[minor][tonic]);
        }
        if let Some(signature) = self.signature {
            // The candidate's sharps modulo twelve, and how far the signature lies from them.
            let own = (tonic as i16) * 7 - m.tonic_fifths();
            let off = (signature - own).rem_euclid(12);
            let agrees = f32::from(u8::from(off == 0));
            set(F::Signature, agrees);
            set(F::SignatureSharper, f32::from(u8::from(off == 1)));
            set(F::SignatureFlatter, f32::from(u8::from(off == 11)));
            set(F::SignatureAndLast, agrees * is(self.last, tonic));
        }
        row
    }
}

/// The length that half of the notes don't exceed, in quarter notes.
pub(super) fn median_length(events: &[Event]) -> f64 {
    let mut lengths: Vec<f32> = events.iter().map(|e| e.length as f32).collect();
    if lengths.is_empty() {
        return 0.0;
    }
    let middle = lengths.len() / 2;
    let (_, median, _) = lengths.select_nth_unstable_by(middle, f32::total_cmp);
    f64::from(*median)
}

/// For major and minor chords on each root: the share of measures that hold all of it, and the share
/// of measures that are mostly of it.
fn triads(events: &[Event]) -> ([[f32; 12]; 2], [[f32; 12]; 2]) {
    let (mut whole, mut mostly) = ([[0.0; 12]; 2], [[0.0; 12]; 2]);
    let mut measures = 0.0f32;
    for group in events.chunk_by(|a, b| a.measure == b.measure) {
        measures += 1.0;
        let mut hist = [0.0f32; 12];
        let mut sum = 0.0;
        for e in group {
            hist[usize::from(e.class)] += e.weight;
            sum += e.weight;
        }
        for (minor, third) in [4usize, 3].into_iter().enumerate() {
            for root in 0..12 {
                let tones = [hist[root], hist[(root + third) % 12], hist[(root + 7) % 12]];
                if tones.iter().all(|t| *t > 0.0) {
                    whole[minor][root] += 1.0;
                }
                if tones.iter().sum::<f32>() > 0.5 * sum {
                    mostly[minor][root] += 1.0;
                }
            }
        }
    }
    for row in whole.iter_mut().chain(mostly.iter_mut()).flatten() {
        *row /= measures.max(1.0);
    }
    (whole, mostly)
}
