//! The `pack.html` of a set too large to hold at once: the order with a link to each song's own pack,
//! a card for every changeover to cut out, who plays how much. One self-contained page.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::concert::{self, Changeover, Programme};

/// Large type, no colour needed, cards that stay whole on paper.
const STYLE: &str = "
:root { font: 1.05rem/1.45 system-ui, sans-serif; color: #000; background: #fff; }
body { max-width: 48rem; margin: 1rem auto; padding: 0 1rem; }
h1 { font-size: 1.7rem; margin: 0 0 .3rem; } h2 { font-size: 1.3rem; margin: 1.6rem 0 .5rem; }
table { border-collapse: collapse; width: 100%; }
th, td { text-align: left; padding: .25rem .6rem .25rem 0; border-bottom: 1px solid #777; vertical-align: top; }
.card { border: 2px solid #000; border-radius: .4rem; padding: .6rem .9rem; margin: .8rem 0; break-inside: avoid; }
.card h3 { margin: 0 0 .3rem; font-size: 1.1rem; } .card h4 { margin: .5rem 0 .1rem; font-size: 1rem; }
.card ol { margin: .1rem 0 .3rem; } .break { font-weight: bold; }
a { color: #000; }
@media print { body { max-width: none; margin: 0; padding: 0; } a { text-decoration: none; } }
@page { margin: 15mm; }
";

/// The page.
pub(super) fn page(programme: &Programme<'_>) -> String {
    let title = programme.heading();
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                h1 { (title) }
                p { "Room: " (programme.kit.name) ". " (programme.moves_total()) " bar moves in all, setting up and clearing included." }
                h2 { "Order" }
                (order(programme))
                h2 { "Changeover cards" }
                p { "Lift bars from the end that is on the pegs, never lever them. Small loose bars can be swallowed: bring the box, not single bars. Times are rough, with one person at each instrument." }
                @for changeover in programme.changeovers { (card(programme, changeover)) }
                (players(programme))
                @if !programme.failed.is_empty() {
                    h2 { "Not in the concert" }
                    ul { @for (song, error) in programme.failed { li { (song) ": " (error) } } }
                }
                p { "What a player may safely do is for the licensed therapist, teacher or care team and the local rules to decide." }
            }
        }
    }
    .into_string()
}

fn order(programme: &Programme<'_>) -> Markup {
    html! {
        table {
            thead { tr { th { "No." } th { "Song" } th { "Key" } th { "Moves before it" } } }
            tbody {
                @for (at, (song, changeover)) in programme.songs.iter().zip(programme.changeovers).enumerate() {
                    tr {
                        td { (at + 1) }
                        td { a href=(format!("{}/pack.html", song.folder)) { (song.title) } }
                        td { (song.key) }
                        td { (changeover.moves.len()) }
                    }
                }
            }
        }
    }
}

fn card(programme: &Programme<'_>, changeover: &Changeover) -> Markup {
    let head = concert::heading(programme, changeover);
    html! {
        section.card {
            h3 { (head) }
            @if let Some(minutes) = changeover.break_minutes {
                p.break { "Break of " (minutes) " minutes" }
            }
            @if changeover.moves.is_empty() {
                p { "Nothing to move." }
            } @else {
                p { (changeover.moves.len()) " moves, about " (changeover.seconds()) " seconds" }
            }
            @for moves in changeover.moves.chunk_by(|a, b| a.instrument == b.instrument) {
                h4 { (concert::mover(programme, changeover, moves)) }
                ol { @for one in moves { li { (concert::spoken(programme.kit, one)) } } }
            }
        }
    }
}

fn players(programme: &Programme<'_>) -> Markup {
    let shares = concert::shares(programme.kit, programme.songs);
    html! {
        @if !shares.is_empty() {
            h2 { "Who plays how much" }
            table {
                thead { tr { th { "Player" } th { "Songs with an instrument" } th { "Roles" } th { "Sings or rests" } } }
                tbody {
                    @for share in shares {
                        tr {
                            td { (share.player) }
                            td { (share.songs) }
                            td { (share.roles.iter().map(|(r, n)| format!("{r} {n}")).collect::<Vec<_>>().join(", ")) }
                            td { (share.without_instrument) }
                        }
                    }
                }
            }
        }
    }
}
