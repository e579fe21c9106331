//! The import stage beside a bare parse of the same bytes: roxmltree's for MusicXML, midly's for MIDI.
//!
//! `cargo bench --no-default-features --bench import`. Issue 3's bounds: 2.5 times roxmltree, 4 times
//! midly. Further MusicXML files to measure can be named in `BARWRIGHT_BENCH_FILES` (separated by `:`).

#![allow(clippy::unwrap_used, reason = "a bench fails by panicking")]
#![allow(missing_docs, reason = "criterion's macros make undocumented items")]

use std::fmt::Write as _;
use std::path::Path;

use barwright::import;
use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};

/// An orchestral score of about `megabytes`: 20 parts in four voices' rhythm, written the way notation
/// programs write (types, stems, beams, ties, lyrics in one part).
fn orchestra(megabytes: usize) -> String {
    let mut parts = String::new();
    let mut body = String::new();
    let mut measures = 1;
    while body.len() < megabytes << 20 {
        measures *= 2;
        body.clear();
        for p in 0..20 {
            writeln!(body, "  <part id=\"P{p}\">").unwrap();
            for m in 0..measures {
                writeln!(body, "    <measure number=\"{}\">", m + 1).unwrap();
                if m == 0 {
                    body.push_str(
                        "      <attributes>\n        <divisions>480</divisions>\n        <key>\n          \
                         <fifths>-1</fifths>\n        </key>\n        <time>\n          <beats>4</beats>\n\
                         \x20         <beat-type>4</beat-type>\n        </time>\n      </attributes>\n",
                    );
                }
                for n in 0..(2 << (p % 3)) {
                    let (length, name) = [(960, "half"), (480, "quarter"), (240, "eighth")][p % 3];
                    let step = ["C", "D", "E", "F", "G", "A", "B"][(m * 3 + n * 2 + p) % 7];
                    write!(
                        body,
                        "      <note default-x=\"{}\">\n        <pitch>\n          <step>{step}</step>\n          \
                         <octave>{}</octave>\n        </pitch>\n        <duration>{length}</duration>\n        \
                         <voice>1</voice>\n        <type>{name}</type>\n        <stem>up</stem>\n      </note>\n",
                        20 + n * 40,
                        3 + p % 3,
                    )
                    .unwrap();
                }
                body.push_str("    </measure>\n");
            }
            body.push_str("  </part>\n");
        }
    }
    for p in 0..20 {
        writeln!(parts, "<score-part id=\"P{p}\"><part-name>Part {p}</part-name></score-part>")
            .unwrap();
    }
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD \
         MusicXML 3.1 Partwise//EN\" \"http://www.musicxml.org/dtds/partwise.dtd\">\n<score-partwise \
         version=\"3.1\">\n<part-list>{parts}</part-list>\n{body}</score-partwise>\n"
    )
}

fn musicxml(c: &mut Criterion) {
    let mut songs = vec![("orchestra-2MB".to_owned(), orchestra(2))];
    let fixtures = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/musicxml");
    let small = fixtures.join("dalsegno-al-coda.musicxml");
    songs.push(("small".to_owned(), std::fs::read_to_string(small).unwrap()));
    for file in std::env::var("BARWRIGHT_BENCH_FILES").unwrap_or_default().split(':') {
        if let Ok(text) = std::fs::read_to_string(file) {
            let name = Path::new(file).file_name().unwrap().to_string_lossy().into_owned();
            songs.push((name, text));
        }
    }
    let mut group = c.benchmark_group("musicxml");
    group.sample_size(20);
    for (name, text) in &songs {
        group.throughput(Throughput::Bytes(text.len() as u64));
        group.bench_with_input(BenchmarkId::new("roxmltree", name), text, |b, text| {
            b.iter(|| {
                let options = roxmltree::ParsingOptions { allow_dtd: true, ..Default::default() };
                roxmltree::Document::parse_with_options(text, options).unwrap().descendants().len()
            });
        });
        group.bench_with_input(BenchmarkId::new("import", name), text, |b, text| {
            b.iter(|| import::read(text.as_bytes()).unwrap().score.parts.len());
        });
    }
    group.finish();
}

fn midi(c: &mut Criterion) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/midi");
    let mut songs: Vec<(String, Vec<u8>)> = std::fs::read_dir(folder)
        .into_iter()
        .flatten()
        .filter_map(|e| {
            let path = e.ok()?.path();
            let bytes = std::fs::read(&path).ok()?;
            let sound = midly::Smf::parse(&bytes).is_ok() && import::read(&bytes).is_ok();
            sound.then(|| (path.file_name().unwrap().to_string_lossy().into_owned(), bytes))
        })
        .collect();
    // The largest files say most about the cost of a note.
    songs.sort_by_key(|s| std::cmp::Reverse(s.1.len()));
    let mut group = c.benchmark_group("midi");
    for (name, bytes) in songs.iter().take(3) {
        group.throughput(Throughput::Bytes(bytes.len() as u64));
        group.bench_with_input(BenchmarkId::new("midly", name), bytes, |b, bytes| {
            b.iter(|| midly::Smf::parse(bytes).unwrap().tracks.len());
        });
        group.bench_with_input(BenchmarkId::new("import", name), bytes, |b, bytes| {
            b.iter(|| import::read(bytes).unwrap().score.parts.len());
        });
    }
    group.finish();
}

criterion_group!(benches, musicxml, midi);
criterion_main!(benches);
