//! Arranging after fit: two demo songs and the starter kit, with and without players.

use std::hint::black_box;

use barwright::analysis::{self, Options};
use barwright::arrange::{ArrangeRequest, arrange};
use barwright::import;
use barwright::kit::{FitRequest, Kit, Player, fit, starter};
use criterion::{Criterion, criterion_group, criterion_main};

fn kits() -> Vec<(&'static str, Kit)> {
    let mut players = starter();
    for i in 0..7u8 {
        let mut player = Player::new(format!("player {i}"));
        player.strikes_per_minute = 60.0 + 30.0 * f64::from(i);
        players.players.push(player);
    }
    vec![("starter", starter()), ("starter, seven players", players)]
}

fn bench(c: &mut Criterion) {
    for file in ["demo-songs/scarborough-fair.musicxml", "demo-songs/rowing-home.musicxml"] {
        let Ok(bytes) = std::fs::read(file) else { continue };
        let Ok(song) = import::read(&bytes) else { continue };
        let Ok(melody) = import::melody(&song.score, None) else { continue };
        let found = analysis::analyse(&song.score, &melody.line, Options::default());
        for (name, kit) in kits() {
            let ask = FitRequest { top: 1, ..FitRequest::default() };
            let fits = fit(&song.score, &melody.line, &found, &kit, &ask);
            let Some(option) = fits.options.first() else { continue };
            c.bench_function(&format!("arrange {file} for {name}"), |b| {
                b.iter(|| {
                    black_box(arrange(
                        &song.score,
                        &melody.line,
                        &found,
                        &kit,
                        option,
                        &ArrangeRequest::default(),
                    ))
                });
            });
        }
    }
}

criterion_group!(benches, bench);
criterion_main!(benches);
