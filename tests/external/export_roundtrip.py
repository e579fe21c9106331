#!/usr/bin/env python3
"""Round trips: every MusicXML file of music21's corpus is read by barwright, written as MusicXML 4.0 and as
MIDI, and read back by others.

    our MusicXML   by barwright (whole measures, keys, tempos, chords, verses too), by music21, by partitura;
                   validated against the MusicXML 4.0 schema
    our MIDI       by mido and by symusic, exactly; by barwright (its reader looks for a grid: counted)

A note is (onset, duration, MIDI number), ties merged. What MIDI must hold is worked out here from the notes and the order
of the measures: repeats unfolded, a pitch struck again while it sounds ending there, grace notes left out.

    export_roundtrip.py            every file (654 with music21 10.5.1; half an hour)
    export_roundtrip.py --quick    every 20th file (CI)
    --every N --from K             every Nth file from the Kth on
    --no-m21 --no-partitura        leave a slow reader out

Needs the Rust toolchain: the conversion is the ignored test export::convert_a_folder. Exits 1 where a
reading differs that does not stand in EXPLAINED.
"""

import argparse
import json
import os
import pathlib
import shutil
import subprocess
import sys
import warnings
from collections import Counter
from fractions import Fraction

import _figures
import import_corpus as corpus

warnings.filterwarnings("ignore")
ROOT = pathlib.Path(__file__).resolve().parents[2]
WORK = _figures.CACHE / "export_roundtrip"

# (reader, file under music21's corpus folder): why the reading differs.
EXPLAINED = {
    ("music21", "beethoven/opus18no1/movement2.mxl"): "measure 95 of the source holds 59/672 of a quarter too much; "
    "what is written keeps it, music21 starts the next measure by the meter",
}


def schema():
    import musicxml
    import xmlschema

    xsd = pathlib.Path(musicxml.__file__).parent / "generate_classes/musicxml_4_0.xsd"
    own = pathlib.Path(xmlschema.__file__).parent / "schemas"

    def local(uri):  # musicxml_4_0.xsd imports these two by web address
        if uri.endswith("xlink.xsd"):
            return (own / "XLINK/xlink.xsd").as_uri()
        if uri.endswith("xml.xsd"):
            return (own / "XML/xml.xsd").as_uri()
        return uri

    return xmlschema.XMLSchema(str(xsd), uri_mapper=local, allow="local")


def faults(rules, path):
    import xmlschema

    found = rules.iter_errors(xmlschema.XMLResource(str(path), allow="local", defuse="never"))
    return [f"{e.path}: {e.reason}" for e in found]


def expected_midi(parts, played):
    """Strokes of all parts as they sound: Counter of (onset, duration, number)."""
    spans = [(Fraction(a), Fraction(b)) for a, b in played]
    score_end = max((b for _, b in spans), default=Fraction(0))
    reach = [None] * len(spans)
    for i in range(len(spans) - 1, -1, -1):
        if i + 1 < len(spans) and spans[i + 1][0] == spans[i][1]:
            reach[i] = reach[i + 1]
        else:
            last = i + 1 == len(spans) and spans[i][1] == score_end
            reach[i] = Fraction(10**9) if last else spans[i][1]
    out = Counter()
    for notes in parts:
        rows = [(Fraction(o), Fraction(d), m) for o, d, m, grace in notes if not grace and 0 <= m < 128]
        strokes, at = [], Fraction(0)
        for (start, end), to in zip(spans, reach):
            for o, d, m in rows:
                if start <= o < end:
                    strokes.append([m, at + o - start, at + min(o + d, to) - start])
            at += end - start
        strokes.sort(key=lambda s: s[:2])
        apart = []
        for s in strokes:
            if apart and apart[-1][0] == s[0] and apart[-1][2] > s[1]:
                last = apart[-1]
                if last[1] == s[1]:
                    last[2] = max(last[2], s[2])
                    continue
                s[2] = max(s[2], last[2])
                last[2] = s[1]
            apart.append(s)
        out.update((a, b - a, m) for m, a, b in apart)
    return out


def tracks_by_mido(path):
    """A Counter of (onset, duration, MIDI number) for each track."""
    import mido

    file = mido.MidiFile(str(path))
    tracks = []
    for track in file.tracks:
        now, begun, notes = 0, {}, Counter()
        for message in track:
            now += message.time
            if message.type == "note_on" and message.velocity > 0:
                begun.setdefault((message.channel, message.note), []).append(now)
            elif message.type in ("note_on", "note_off"):
                start = begun[message.channel, message.note].pop(0)
                q = file.ticks_per_beat
                notes[Fraction(start, q), Fraction(now - start, q), message.note] += 1
        if any(begun.values()):
            raise ValueError("a note without an end")
        tracks.append(notes)
    return tracks


def by_mido(path):
    return sum(tracks_by_mido(path), Counter())


def by_symusic(path):
    import symusic

    score = symusic.Score(str(path))
    q = score.ticks_per_quarter
    return Counter(
        (Fraction(n.time, q), Fraction(n.duration, q), n.pitch) for t in score.tracks for n in t.notes
    )


def difference(ours, theirs):
    if ours == theirs:
        return None
    a, b = ours - theirs, theirs - ours
    first = lambda c: [(str(o), str(d), m) for o, d, m in sorted(c)[:4]]
    return f"{sum(a.values())} only in ours {first(a)}, {sum(b.values())} only in theirs {first(b)}"


def main():
    parse = argparse.ArgumentParser()
    parse.add_argument("--quick", action="store_true")
    parse.add_argument("--every", type=int, default=1)
    parse.add_argument("--from", type=int, default=0, dest="first")
    parse.add_argument("--no-m21", action="store_true")
    parse.add_argument("--no-partitura", action="store_true")
    args = parse.parse_args()
    root, files = corpus.corpus_files()
    files = files[args.first :: 20 if args.quick else args.every]
    shutil.rmtree(WORK, ignore_errors=True)
    (WORK / "in").mkdir(parents=True)
    (WORK / "out").mkdir()
    names = {}
    for i, path in enumerate(files):
        safe = f"{i:04d}{path.suffix}"
        names[safe] = str(path.relative_to(root))
        (WORK / "in" / safe).symlink_to(path)
    env = dict(os.environ, BARWRIGHT_IN=str(WORK / "in"), BARWRIGHT_OUT=str(WORK / "out"))
    test = ["cargo", "test", "-q", "--no-default-features", "--test", "suite", "--", "--ignored", "export::convert_a_folder"]
    subprocess.run(test, cwd=ROOT, env=env, check=True, stdout=subprocess.DEVNULL)
    rules = schema()
    tally, bad = Counter(), []

    def note(reader, name, text):
        tally[reader, "files"] += 1
        if text is None:
            tally[reader, "equal"] += 1
        elif (reader, name) in EXPLAINED:
            tally[reader, "explained"] += 1
        else:
            bad.append((reader, name))
            print(f"{reader}, {name}: {text}", flush=True)

    heard = notes_in_all = 0
    for safe, name in names.items():
        out = lambda suffix: WORK / "out" / (safe + suffix)
        if out(".failed").exists():
            note("barwright", name, out(".failed").read_text())
            continue
        note("barwright", name, out(".differs").read_text() if out(".differs").exists() else None)
        xml = out(".musicxml")
        wrong = faults(rules, xml)
        note("schema", name, "; ".join(wrong[:3]) or None)
        parts, played = json.loads(out(".json").read_text())
        notes = [n for p in parts for n in p]
        ours = Counter((Fraction(o), Fraction(d) if not g else Fraction(0), m) for o, d, m, g in notes)
        timed = Counter((Fraction(o), Fraction(d), m) for o, d, m, g in notes if not g)
        if not args.no_m21:
            theirs = corpus.by_music21(xml)
            note("music21", name, theirs.get("error") or difference(ours, corpus.bag(theirs)))
        if not args.no_partitura:
            theirs = corpus.by_partitura(xml)
            if "error" in theirs:
                note("partitura", name, theirs["error"])
            else:
                plain = {"notes": [n for n in theirs["notes"] if n[1] != "0"]}
                mine = {"notes": [(str(o), str(d), m) for (o, d, m), k in timed.items() for _ in range(k)]}
                a, b = corpus.bag(mine, True), corpus.bag(plain, True)
                if "<octave-change>" in xml.read_text():  # partitura leaves it out: compare without octaves
                    a, b = (Counter((o, d, m % 12) for (o, d, m), k in c.items() for _ in range(k)) for c in (a, b))
                note("partitura", name, difference(a, b))
        sounding = expected_midi(parts, played)
        note("mido", name, difference(sounding, by_mido(out(".mid"))))
        note("symusic", name, difference(sounding, by_symusic(out(".mid"))))
        back = json.loads(out(".heard").read_text())
        back = Counter((Fraction(o), Fraction(d), m) for o, d, m in back)
        same = sum((back & sounding).values())
        heard += same
        notes_in_all += sum(sounding.values())
        tally["barwright, MIDI", "files"] += 1
        tally["barwright, MIDI", "equal"] += back == sounding
    for reader in dict.fromkeys(r for r, _ in tally):
        print(
            f"{reader}: {tally[reader, 'files']} files, {tally[reader, 'equal']} equal, "
            f"{tally[reader, 'explained']} explained"
        )
    print(f"barwright, MIDI: {heard} of {notes_in_all} notes back at the same onset, length and pitch")
    print(f"{len(bad)} unexplained differences")
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
