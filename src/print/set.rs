//! A concert's pages: programme, changeover cards, the songs; and a player's own.

use maud::{Markup, html};

use super::bars::count;
use super::names::Letters;
use super::sheets;
use super::{Card, ConcertPages, PrintOptions};
use crate::kit::{Move, State};

/// The body of a concert's pack.
pub(super) fn concert(concert: &ConcertPages<'_>, options: &PrintOptions) -> Markup {
    html! {
        main {
            section class="sheet" {
                p class="over" { (concert.kit.name) }
                h1 { (concert.title) }
                h2 { "Programme" }
                table class="stack" {
                    thead { tr { th scope="col" { "No." } th scope="col" { "Song" } th scope="col" { "Key" } th scope="col" class="n" { "Moves before it" } } }
                    tbody {
                        @for (i, song) in concert.songs.iter().enumerate() {
                            tr {
                                td { (i + 1) }
                                th scope="row" { a href={ "#c" (i + 1) } { (song.title) } }
                                td data-l="Key" { (sheets::key_name(song.arrangement.key, options)) }
                                td class="n" data-l="Moves before it" {
                                    (concert.cards.iter().find(|c| c.before == Some(i)).map_or(0, |c| c.moves.len()))
                                }
                            }
                        }
                    }
                }
                @if !concert.failed.is_empty() {
                    h3 { "Not in the concert" }
                    ul class="notes" { @for (song, why) in concert.failed { li { b { (song) } ": " (why) } } }
                }
                p class="defer" { (sheets::DEFER) }
            }
            section class="sheet" {
                h2 { "Changeover cards" }
                p { "Lift a bar from the end that is on the pegs or has the hole; never lever or pull it." }
                @for card in concert.cards { (changeover(concert, card, options)) }
            }
            @for (i, song) in concert.songs.iter().enumerate() {
                (sheets::pages(song, options, &format!("c{}", i + 1), None))
            }
        }
    }
}

/// The body of a player's pack.
pub(super) fn player(concert: &ConcertPages<'_>, player: usize, options: &PrintOptions) -> Markup {
    let name = concert.kit.players.get(player).map_or("", |p| p.name.as_str());
    let plays = |song: usize| {
        concert.songs[song].arrangement.parts.iter().any(|p| p.player == Some(player))
    };
    html! {
        main {
            section class="sheet" {
                p class="over" { (concert.title) }
                h1 { (name) }
                h2 { "Your songs" }
                ol class="notes" {
                    @for (i, song) in concert.songs.iter().enumerate() {
                        li {
                            @if plays(i) {
                                a href={ "#c" (i + 1) } { (song.title) }
                                @for plan in song.arrangement.parts.iter().filter(|p| p.player == Some(player)) {
                                    ": " (sheets::part_words(plan, song.kit))
                                }
                            } @else {
                                (song.title) ": you listen"
                            }
                        }
                    }
                }
                p class="defer" { (sheets::DEFER) }
            }
            @for (i, song) in concert.songs.iter().enumerate() {
                (sheets::pages(song, options, &format!("c{}", i + 1), Some(player)))
            }
        }
    }
}

fn changeover(concert: &ConcertPages<'_>, card: &Card<'_>, options: &PrintOptions) -> Markup {
    let title = |i: usize| concert.songs.get(i).map_or("", |s| s.title);
    let mut instruments: Vec<usize> = card.moves.iter().map(|m| m.instrument).collect();
    instruments.dedup();
    let key =
        card.before.or(card.after).and_then(|i| concert.songs.get(i)).map(|s| s.arrangement.key);
    html! {
        section class="card" {
            h3 {
                @match (card.after, card.before) {
                    (None, Some(to)) => { "Before “" (title(to)) "”" }
                    (Some(from), Some(to)) => { "From “" (title(from)) "” to “" (title(to)) "”" }
                    (Some(from), None) => { "After “" (title(from)) "”: clear up" }
                    (None, None) => { "Changeover" }
                }
            }
            p { (count(card.moves.len(), "move")) }
            @for instrument in instruments {
                @if let (Some(at), Some(key)) = (concert.kit.instruments.get(instrument), key) {
                    @let letters = Letters::new(options.names, key, at.slots.first().map(|s| s.bar.0));
                    div class="group" {
                        p { b { (at.name) } }
                        ul class="tasks" {
                            @for change in card.moves.iter().filter(|m| m.instrument == instrument) {
                                @if let Some(slot) = at.slots.get(change.slot) {
                                    li { (move_words(change, &letters.letter(slot.bar.0), &letters)) }
                                }
                            }
                        }
                    }
                }
            }
            @for note in card.notes { p { (note) } }
        }
    }
}

fn move_words(change: &Move, own: &str, letters: &Letters) -> String {
    let name = |state: State| match state {
        State::Keep => own.to_owned(),
        State::Swap(bar) => letters.letter(bar.0),
        State::Remove => "the gap".to_owned(),
        State::Fill => "the filler".to_owned(),
    };
    match (change.from, change.to) {
        (State::Remove, State::Fill) => format!("Put a filler in the place of {own}."),
        (State::Fill, State::Remove) => format!("Take the filler of {own} out."),
        (from, State::Remove) => format!("Take off {}.", name(from)),
        (from, State::Fill) => format!("Take off {}, put a filler there.", name(from)),
        (State::Remove, to) => format!("Put on {}.", name(to)),
        (State::Fill, to) => format!("Take the filler out, put on {}.", name(to)),
        (from, to) => format!("Swap {} for {}.", name(from), name(to)),
    }
}
