//! The whole analysis of a tune beside roxmltree's bare parse of its MusicXML: it should cost at most
//! twice as much, and grow with the tune's length.
//!
//! The tune is made up (16 measures of 6/8 with a pickup, 91 notes, about 14 kB as MusicXML); longer
//! ones repeat it, each round a step of the pattern on.

use std::fmt::Write;
use std::hint::black_box;

use barwright::analysis::{Options, analyse, smaller_sets};
use barwright::import;
use barwright::score::Line;
use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};

/// A MusicXML file of `rounds` times sixteen measures.
fn musicxml(rounds: usize) -> String {
    const SCALE: [(&str, i8, i8); 8] = [
        ("D", 0, 4),
        ("E", 0, 4),
        ("F", 1, 4),
        ("G", 0, 4),
        ("A", 0, 4),
        ("B", 0, 4),
        ("C", 0, 5),
        ("D", 0, 5),
    ];
    // Degrees of two measures; the last number of each second measure is a dotted quarter.
    const PATTERN: [[usize; 6]; 4] =
        [[3, 4, 5, 5, 4, 3], [4, 5, 6, 7, 6, 4], [5, 3, 5, 6, 5, 4], [3, 2, 4, 3, 3, 3]];
    let mut out = String::from(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<score-partwise version=\"4.0\">\n <part-list>\n  \
         <score-part id=\"P1\"><part-name>Voice</part-name></score-part>\n </part-list>\n <part id=\"P1\">\n",
    );
    let note = |out: &mut String, degree: usize, duration: u8| {
        let (step, alter, octave) = SCALE[degree];
        let (kind, dot) = if duration == 3 { ("quarter", "<dot/>") } else { ("eighth", "") };
        let _ = writeln!(
            out,
            "   <note>\n    <pitch><step>{step}</step><alter>{alter}</alter><octave>{octave}</octave></pitch>\n    \
             <duration>{duration}</duration>\n    <voice>1</voice>\n    <type>{kind}</type>{dot}\n   </note>"
        );
    };
    out.push_str(
        "  <measure number=\"0\" implicit=\"yes\">\n   <attributes><divisions>2</divisions>\
         <key><fifths>1</fifths></key><time><beats>6</beats><beat-type>8</beat-type></time></attributes>\n",
    );
    note(&mut out, 0, 1);
    out.push_str("  </measure>\n");
    for measure in 0..rounds * 16 {
        let _ = writeln!(out, "  <measure number=\"{}\">", measure + 1);
        let row = PATTERN[(measure + measure / 8) % 4];
        if measure % 4 == 3 {
            for degree in &row[..3] {
                note(&mut out, *degree, 1);
            }
            note(&mut out, 3, 3);
        } else {
            for degree in row {
                note(&mut out, degree, 1);
            }
        }
        out.push_str("  </measure>\n");
    }
    out.push_str(" </part>\n</score-partwise>\n");
    out
}

fn bench(c: &mut Criterion) {
    let mut group = c.benchmark_group("analysis");
    for rounds in [1, 4, 16] {
        let text = musicxml(rounds);
        let Ok(song) = import::read(text.as_bytes()) else { continue };
        let score = song.score;
        let line = Line::top(0, None, &score.parts[0].notes);
        group.throughput(Throughput::Elements(line.notes.len() as u64));
        let id = |what: &str| BenchmarkId::new(what, line.notes.len());
        group.bench_function(id("roxmltree bare parse"), |b| {
            b.iter(|| roxmltree::Document::parse(black_box(&text)).is_ok());
        });
        group.bench_function(id("whole analysis"), |b| {
            b.iter(|| analyse(black_box(&score), black_box(&line), Options::default()));
        });
        let found = analyse(&score, &line, Options::default());
        group.bench_function(id("smaller sets in it"), |b| {
            b.iter(|| smaller_sets(&score, &line, &found.pitch_set, &found.harmony));
        });
    }
    group.finish();
}

criterion_group!(benches, bench);
criterion_main!(benches);
