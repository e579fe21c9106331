//! barwright turns a song into parts for barred instruments whose bars lift off and swap.
//!
//! Data flows one way through the layers; a module uses lower layers only:
//!
//! | layer | modules | what it holds |
//! |---|---|---|
//! | 0 | [`score`] | pitch, time, notes, measures, keys: the model |
//! | 1 | [`import`], [`analysis`] | bytes to score; key, pitch set, phrases, harmony |
//! | 2 | [`kit`] | instruments, bars, players; whether a song fits |
//! | 3 | [`arrange`] | parts, players, hands, checks |
//! | 4 | [`export`], [`print`](mod@print) | MusicXML, MIDI, JSON, setup lists; the pack |
//! | 5 | [`concert`] | keys, order and changeovers of a whole set |
//! | 6 | [`cli`] | files, arguments, exit codes |
//!
//! The whole way once, from a file's bytes to notation and a set-up sheet:
//!
//! ```
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! use barwright::{analysis, arrange, export, import, kit};
//!
//! let bytes = include_bytes!("../demo-songs/lantern-round.musicxml");
//! let song = import::read(bytes)?.score;
//! let melody = import::melody(&song, None)?;
//! let found = analysis::analyse(&song, &melody.line, analysis::Options::default());
//! assert_eq!(found.key.best.key.to_string(), "D major");
//!
//! let room = kit::starter();
//! let fit = kit::fit(&song, &melody.line, &found, &room, &kit::FitRequest::default());
//! assert_eq!(fit.verdict, kit::Verdict::Fits);
//! let best = &fit.options[0];
//! assert_eq!(best.key.to_string(), "C major");
//!
//! let ask = arrange::ArrangeRequest::default();
//! let made = arrange::arrange(&song, &melody.line, &found, &room, best, &ask)?;
//! assert!(made.checks.iter().all(|check| check.passed));
//! let notation = export::musicxml::score(&made.score);
//! let sheet = export::setup_text::write("Lantern Round", &room, &made);
//! # assert!(notation.contains("score-partwise") && sheet.contains("Mallets"));
//! # Ok(())
//! # }
//! ```
pub mod analysis;
pub mod arrange;
pub mod cli;
pub mod concert;
pub mod export;
pub mod import;
pub mod kit;
pub mod print;
pub mod score;
