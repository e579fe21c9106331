//! How much a file may ask of the machine.
//!
//! The numbers are the project's own: several times what the largest scores in use hold, and small
//! enough that a hostile file is refused in under two seconds and 300 MB.

/// Largest file, or unpacked MusicXML text, in bytes.
pub const MAX_BYTES: usize = 32 << 20;
/// Most XML nodes (elements, texts, comments) in a MusicXML text.
pub const MAX_NODES: u32 = 2_000_000;
/// Most attributes in a MusicXML text.
pub const MAX_ATTRIBUTES: usize = 1_000_000;
/// Deepest nesting of XML elements. MusicXML itself needs about a dozen.
pub const MAX_DEPTH: usize = 256;
/// Most notes and rests in a score.
pub const MAX_NOTES: usize = 400_000;
/// Most parts in a score.
pub const MAX_PARTS: usize = 1_000;
/// Most measures in a score.
pub const MAX_MEASURES: usize = 100_000;
/// Most voices in a part.
pub const MAX_VOICES: usize = 128;
/// Most entries in a compressed file.
pub const MAX_ENTRIES: usize = 1_000;
/// How many times larger than its packed form an entry may unpack, once it is over a megabyte.
/// MusicXML packs 10 to 60 times smaller; deflate's own limit is about 1,030.
pub const MAX_RATIO: u64 = 250;
/// Most warnings kept for one file; further ones are only counted.
pub const MAX_WARNINGS: usize = 100;
