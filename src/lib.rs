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
//! | 4 | `export`, `print` | MusicXML, MIDI, JSON, setup lists; the pack |
//! | 5 | `concert` | keys, order and changeovers of a whole set |
//! | 6 | `cli` | files, arguments, exit codes |
pub mod analysis;
pub mod arrange;
pub mod cli;
pub mod concert;
pub mod export;
pub mod import;
pub mod kit;
pub mod print;
pub mod score;
