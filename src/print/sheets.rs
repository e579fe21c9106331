//! The pages of one song: overview, setups, parts, score.

use maud::{Markup, PreEscaped, html};

use super::bars::{count, picture, sentence, steps};
use super::chart::{Chart, sung};
use super::names::Letters;
use super::route;
use super::{PrintOptions, SongPage};
use crate::arrange::{PartPlan, Role};
use crate::kit::{Counts, Instrument, Kit, Player, Position, Reads, Setup};
use crate::score::{Key, Part, Time};

/// The sentence that every overview carries.
pub(super) const DEFER: &str = "What a client or pupil may safely do is for the licensed \
practitioner and local rules to decide; these sheets propose.";

/// The body of a song's pack.
pub(super) fn song(
    song: &SongPage<'_>,
    options: &PrintOptions,
    id: &str,
    player: Option<usize>,
) -> Markup {
    html! {
        a class="skip" href={ "#" (id) } { "To the overview" }
        main { (pages(song, options, id, player)) }
    }
}

/// A song's pages: all of them, or those of one player alone.
pub(super) fn pages(
    song: &SongPage<'_>,
    options: &PrintOptions,
    id: &str,
    player: Option<usize>,
) -> Markup {
    let mine = |plan: &&PartPlan| player.is_none_or(|p| plan.player == Some(p));
    html! {
        @if player.is_none() { (overview(song, options, id)) }
        @for (n, plan) in song.arrangement.parts.iter().filter(mine).enumerate() {
            // In a player's own pack the first page of a song is what its links lead to.
            @let anchor = (player.is_some() && n == 0).then_some(id);
            @let setup = first_setup(song, plan);
            @if let Some(setup) = setup {
                (setup_page(song, plan, setup, options, &format!("{id}-i{}", plan.part), anchor))
            }
            (part_page(song, plan, options, &format!("{id}-p{}", plan.part), anchor.filter(|_| setup.is_none())))
        }
        @if player.is_none() { (score_page(song, id)) }
    }
}

/// The setup of a part's instrument, at the first part that plays it.
fn first_setup<'a>(song: &SongPage<'a>, plan: &PartPlan) -> Option<&'a Setup> {
    let instrument = plan.instrument?;
    let first = song.arrangement.parts.iter().find(|p| p.instrument == Some(instrument))?;
    if first.part != plan.part && first.player == plan.player {
        return None;
    }
    song.arrangement.setups.iter().find(|s| s.instrument == instrument)
}

/// `G major`, with the note named as asked (a key has no solfa name of its own).
pub(super) fn key_name(key: Key, options: &PrintOptions) -> String {
    let names = match options.names {
        super::Names::German => super::Names::German,
        _ => super::Names::English,
    };
    format!("{} {}", names.of(key.tonic, key), key.mode)
}

/// `drone (chord) on the bass xylophone`.
pub(super) fn part_words(plan: &PartPlan, kit: &Kit) -> String {
    let mut words = plan.role.name().to_owned();
    if !plan.pattern.is_empty() && plan.role == Role::Drone {
        words.push_str(&format!(" ({})", plan.pattern));
    }
    if let Some(instrument) = plan.instrument.and_then(|i| kit.instruments.get(i)) {
        words.push_str(&format!(" on the {}", instrument.name));
    }
    words
}

fn player_of<'a>(song: &SongPage<'a>, plan: &PartPlan) -> Option<&'a Player> {
    song.kit.players.get(plan.player?)
}

fn instrument_of<'a>(song: &SongPage<'a>, plan: &PartPlan) -> Option<&'a Instrument> {
    song.kit.instruments.get(plan.instrument?)
}

fn part_of<'a>(song: &SongPage<'a>, plan: &PartPlan) -> Option<&'a Part> {
    song.arrangement.score.parts.get(plan.part)
}

fn letters(
    instrument: Option<&Instrument>,
    part: Option<&Part>,
    song: &SongPage<'_>,
    options: &PrintOptions,
) -> Letters {
    let lowest = match instrument {
        Some(instrument) => instrument.slots.first().map(|s| s.bar.0),
        None => part.and_then(|p| p.notes.iter().map(|n| n.midi()).min()),
    };
    Letters::new(options.names, song.arrangement.key, lowest)
}

/// The part whose words serve as landmarks: its own, else the voice's, else any that has some.
fn words_for<'a>(song: &SongPage<'a>, plan: &PartPlan) -> Option<&'a Part> {
    let has = |p: &&Part| p.notes.iter().any(|n| !n.lyrics.is_empty());
    part_of(song, plan).filter(has).or_else(|| song.arrangement.score.parts.iter().find(has))
}

fn overview(song: &SongPage<'_>, options: &PrintOptions, id: &str) -> Markup {
    let arrangement = song.arrangement;
    let score = &arrangement.score;
    let mut way = route::in_words(&score.measures);
    if way.is_empty() {
        way.push("straight through, no repeats".to_owned());
    }
    let form: Vec<&str> = song.analysis.phrases.iter().map(|p| p.label.as_str()).collect();
    let mut meters: Vec<String> =
        score.meters().iter().map(|(_, m)| format!("{}/{}", m.beats, m.beat_type)).collect();
    meters.dedup();
    html! {
        section class="sheet" id=(id) aria-labelledby={ (id) "-h" } {
            p class="over" { (song.kit.name) " · leader’s overview" }
            h1 id={ (id) "-h" } { (song.title) }
            @if !song.composer.is_empty() { p class="over" { (song.composer) } }
            dl class="facts" {
                div { dt { "Key" } dd { (key_name(arrangement.key, options)) (moved(song, options)) } }
                div { dt { "Meter" } dd { (meters.join(", ")) @if score.pickup().is_positive() { ", with pickup" } } }
                div { dt { "Tempo" } dd { (tempo(song)) } }
                @if !form.is_empty() { div { dt { "Phrases" } dd { (form.join(" ")) } } }
                div { dt { "Measures" } dd { (score.measures.len()) } }
                div class="wide" { dt { "Way through" } dd { (way.join("; ")) } }
            }
            h2 class="small" { "Who plays what" }
            table class="stack" {
                thead { tr { th scope="col" { "Player" } th scope="col" { "Part" } th scope="col" { "Instrument" } th scope="col" { "Reads" } } }
                tbody {
                    @for plan in &arrangement.parts {
                        tr {
                            th scope="row" { a href={ "#" (id) "-p" (plan.part) } { (who(song, plan)) } }
                            td data-l="Part" { (plan.role.name()) @if !plan.pattern.is_empty() && plan.pattern != plan.role.name() { ", " (plan.pattern) } }
                            td data-l="Instrument" { (instrument_of(song, plan).map_or("singing", |i| i.name.as_str())) }
                            td data-l="Reads" { (player_of(song, plan).map_or("staff or letters", |p| p.reads.name())) }
                        }
                    }
                }
            }
            (room_list(song, options))
            @let cautions = all_cautions(song);
            @if !cautions.is_empty() {
                h2 class="small" { "Cautions" }
                ul class="notes" { @for caution in &cautions { li { (caution) } } }
            }
            @if !arrangement.leader_note.is_empty() {
                h2 class="small" { "For the leader" }
                ul class="notes" { @for line in &arrangement.leader_note { li { (line) } } }
            }
            @let failed: Vec<_> = arrangement.checks.iter().filter(|c| !c.passed).collect();
            @if !failed.is_empty() || !song.warnings.is_empty() || song.staves.reason().is_some() {
                h2 class="small" { "To mind" }
                ul class="notes" {
                    @for check in failed { li { b { (check.check) } ": " (check.detail) } }
                    @for warning in song.warnings { li { (warning) } }
                    @if let Some(why) = song.staves.reason() { li { (why) } }
                }
            }
            @if !song.source.is_empty() { p class="key" { "Made from " (song.source) "." } }
            p class="defer" { (DEFER) }
        }
    }
}

fn moved(song: &SongPage<'_>, options: &PrintOptions) -> String {
    let by = song.arrangement.transpose.semitones();
    if by == 0 {
        return ", as in the source".to_owned();
    }
    let way = if by > 0 { "up" } else { "down" };
    let from = key_name(song.analysis.key.best.key, options);
    format!(", moved {way} from {from}")
}

/// The tempo by the beat that is counted.
fn tempo(song: &SongPage<'_>) -> String {
    let score = &song.arrangement.score;
    let beat = score.measures.first().map_or(Time::QUARTER, |m| m.meter.beat());
    let per_minute = song.arrangement.tempo / beat.as_f64();
    let name = match (beat.numerator(), beat.denominator()) {
        (1, 1) => "quarter notes",
        (3, 2) => "dotted quarters",
        (2, 1) => "half notes",
        (1, 2) => "eighth notes",
        _ => "beats",
    };
    format!("{per_minute:.0} {name} a minute")
}

fn who(song: &SongPage<'_>, plan: &PartPlan) -> String {
    match (player_of(song, plan), plan.role) {
        (Some(player), _) => player.name.clone(),
        (None, Role::Voice) => "all who sing".to_owned(),
        (None, _) => {
            instrument_of(song, plan).map_or_else(|| "player".to_owned(), |i| i.name.clone())
        }
    }
}

fn all_cautions<'a>(song: &SongPage<'a>) -> Vec<&'a str> {
    let mut all: Vec<&str> = Vec::new();
    for caution in song.arrangement.setups.iter().flat_map(|s| &s.cautions) {
        if !all.contains(&caution.as_str()) {
            all.push(caution);
        }
    }
    for caution in crate::kit::GENERAL_CAUTIONS {
        // The deferral stands in a box of its own.
        if !all.contains(&caution) && !caution.starts_with("What a client") {
            all.push(caution);
        }
    }
    all
}

fn room_list(song: &SongPage<'_>, options: &PrintOptions) -> Markup {
    let sum =
        song.arrangement.setups.iter().map(Setup::counts).fold(Counts::default(), |a, b| Counts {
            keep: a.keep + b.keep,
            swap: a.swap + b.swap,
            remove: a.remove + b.remove,
            fill: a.fill + b.fill,
        });
    html! {
        h2 class="small" { "Bars to move" }
        table class="stack" {
            thead { tr {
                th scope="col" { "Instrument" } th scope="col" class="n" { "Keep" } th scope="col" class="n" { "Swap" }
                th scope="col" class="n" { "Take off" } th scope="col" class="n" { "Filler" } th scope="col" { "Spares needed" }
            } }
            tbody {
                @for setup in &song.arrangement.setups {
                    @if let Some(instrument) = song.kit.instruments.get(setup.instrument) {
                        @let n = setup.counts();
                        @let names = letters(Some(instrument), None, song, options);
                        @let spares: Vec<String> = setup.states.iter().filter_map(|s| match s { crate::kit::State::Swap(b) => Some(names.letter(b.0)), _ => None }).collect();
                        tr {
                            th scope="row" { (instrument.name) }
                            td class="n" data-l="Keep" { (n.keep) } td class="n" data-l="Swap" { (n.swap) }
                            td class="n" data-l="Take off" { (n.remove) } td class="n" data-l="Filler" { (n.fill) }
                            td data-l="Spares needed" { @if spares.is_empty() { "none" } @else { (spares.join(" ")) } }
                        }
                    }
                }
            }
            tfoot { tr {
                th scope="row" { "In all" }
                td class="n" data-l="Keep" { (sum.keep) } td class="n" data-l="Swap" { (sum.swap) }
                td class="n" data-l="Take off" { (sum.remove) } td class="n" data-l="Filler" { (sum.fill) } td {}
            } }
        }
    }
}

fn place(position: Position, instrument: &Instrument) -> &'static str {
    match position {
        Position::Floor => "Stands on the floor, the player sitting or kneeling behind it.",
        Position::Seated => "Stands at a chair: the bars about waist high or a little lower.",
        Position::Standing => "Stands on a stand: the bars about waist high or a little lower.",
        Position::Wheelchair => {
            "Stands on a stand or table with clearance below, so that the wheelchair comes close."
        }
        Position::Bed if instrument.size() == crate::kit::Size::Large => {
            "Stands beside the bed on its own stand, within reach, never on the bed."
        }
        Position::Bed => "Stands on a steady bed table, secured, never loose on the bedclothes.",
    }
}

fn setup_page(
    song: &SongPage<'_>,
    plan: &PartPlan,
    setup: &Setup,
    options: &PrintOptions,
    id: &str,
    anchor: Option<&str>,
) -> Markup {
    let Some(instrument) = song.kit.instruments.get(setup.instrument) else { return html! {} };
    let names = letters(Some(instrument), None, song, options);
    let mut todo = steps(instrument, setup, &names);
    if todo.is_empty() {
        todo.push("All bars stay as they are.".to_owned());
    }
    let setup_here = match player_of(song, plan) {
        Some(player) => setup.clone().for_player(song.kit, player),
        None => setup.clone(),
    };
    html! {
        section class="sheet" id=(id) aria-labelledby={ (id) "-h" } {
            @if let Some(anchor) = anchor { span id=(anchor) {} }
            p class="over" { (song.title) " · set up" }
            h2 id={ (id) "-h" } { (instrument.name) }
            p class="who" { b { (who(song, plan)) } span { (plan.role.name()) } }
            (PreEscaped(picture(instrument, setup, &names, &format!("{id}-t"))))
            ul class="tasks" { @for step in &todo { li { (step) } } }
            dl class="facts" {
                div { dt { "Mallets" } dd { (instrument.mallet()) } }
                @if let Some(player) = player_of(song, plan) {
                    div { dt { "Mallets in use" } dd { (if player.mallets == 1 { "one" } else { "two" }) } }
                    div class="wide" { dt { "Place" } dd { (place(player.position, instrument)) } }
                }
                div { dt { "Bars now" } dd { (count(setup.counts().keep + setup.counts().swap, "bar")) } }
            }
            @for change in &song.arrangement.setup_changes {
                @if change.setup.instrument == setup.instrument {
                    h3 { "Changes while the song goes on" }
                    p { (sentence(instrument, &change.setup, &names)) }
                }
            }
            h3 { "Cautions" }
            ul class="notes" { @for caution in &setup_here.cautions { li { (caution) } } }
            p class="key" { "Low bars are on the left. ′ marks the octave above the lowest, ″ the one above that." }
        }
    }
}

fn part_page(
    song: &SongPage<'_>,
    plan: &PartPlan,
    options: &PrintOptions,
    id: &str,
    anchor: Option<&str>,
) -> Markup {
    let Some(part) = part_of(song, plan) else { return html! {} };
    let player = player_of(song, plan);
    let instrument = instrument_of(song, plan);
    let staff = song.staves.parts.get(plan.part).filter(|s| !s.is_empty());
    let reads = player.map(|p| p.reads);
    let shows_chart = reads != Some(Reads::Staff) || staff.is_none();
    let chart = Chart {
        score: &song.arrangement.score,
        part,
        words: words_for(song, plan),
        instrument,
        letters: letters(instrument, Some(part), song, options),
        hands: player.is_none_or(|p| p.mallets == 2),
        all_verses: matches!(plan.role, Role::Voice | Role::Melody),
    };
    html! {
        section class="sheet" id=(id) aria-labelledby={ (id) "-h" } {
            @if let Some(anchor) = anchor { span id=(anchor) {} }
            p class="over" { (song.title) " · part" }
            h2 id={ (id) "-h" } { (who(song, plan)) }
            p class="who" {
                b { (part_words(plan, song.kit)) }
                span { (key_name(song.arrangement.key, options)) }
                span { (tempo(song)) }
            }
            @for change in &plan.changes { p class="key" { (change) } }
            @if reads == Some(Reads::Ear) { p { b { "Plays by ear." } " The chart is for whoever shows the part." } }
            @if let Some(systems) = staff.filter(|_| reads != Some(Reads::Letters) && reads != Some(Reads::Ear)) {
                (staves(systems, &format!("Staff notation of the part of {}", who(song, plan))))
            }
            @if !shows_chart { (chart.spoken()) }
            @if shows_chart {
                @if staff.is_some() && reads.is_none() { h3 { "Letter chart" } }
                (chart.html())
                p class="key" {
                    "One box is one beat; – means the note is held."
                    @if chart.hands && part.notes.iter().any(|n| n.hand.is_some()) { " L left hand, R right hand." }
                    @if instrument.is_some() { " ′ and ″ are the bars one and two octaves above the lowest." }
                }
            }
        }
    }
}

/// Engraved systems as one picture; what it says stands in the chart or the words beside it.
fn staves(systems: &[String], label: &str) -> Markup {
    html! {
        div class="staff" role="img" aria-label=(label) {
            @for system in systems { (PreEscaped(system)) }
        }
    }
}

fn score_page(song: &SongPage<'_>, id: &str) -> Markup {
    let verses = verses(song);
    html! {
        section class="sheet" id={ (id) "-score" } aria-labelledby={ (id) "-score-h" } {
            p class="over" { (song.title) " · for the leader" }
            h2 id={ (id) "-score-h" } { "Score" }
            @if song.staves.score.is_empty() {
                p { (song.staves.reason().unwrap_or("Staff notation was left out.")) " The letter charts hold every part." }
            } @else {
                (staves(&song.staves.score, &format!("Score of {} with all parts; each part page says the same in letters", song.title)))
            }
            @if !verses.is_empty() {
                h3 { "Words" }
                div class="lyrics" { @for (n, verse) in &verses { p { b { (n) ". " } (verse) } } }
            }
        }
    }
}

/// The verses as running text.
fn verses(song: &SongPage<'_>) -> Vec<(u8, String)> {
    let parts = &song.arrangement.score.parts;
    let Some(part) = parts.iter().find(|p| p.notes.iter().any(|n| !n.lyrics.is_empty())) else {
        return Vec::new();
    };
    let lyrics = || part.notes.iter().flat_map(|n| &n.lyrics);
    let mut numbers: Vec<u8> = lyrics().map(|l| l.verse).collect();
    numbers.sort_unstable();
    numbers.dedup();
    numbers
        .iter()
        .map(|n| (*n, sung(lyrics().filter(|l| l.verse == *n)).replace("- ", "")))
        .collect()
}
