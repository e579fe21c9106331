#!/usr/bin/env python3
"""The demo songs and 300 folk tunes through `barwright arrange`, and everything that comes out read by others.

The demo songs are arranged with the built-in starter kit and with demo-songs/harbour-room.toml.

The tunes come from music21's ABC collections (Ryan's Mammoth Collection, O'Neill's, Aird's Airs; seeded choice, turned
to MusicXML and to MIDI by music21, kept in the cache folder; a quarter of an hour once). For
each tune, as MusicXML and as MIDI:

- `arrange` with the built-in starter kit exits 0 and every check of arrangement.json passed, or exits 3 with the missing bars named;
  anything else is a failure of the program;
- every MusicXML file of the folder validates against the MusicXML 4.0 schema (first part file and score);
- score.musicxml read by music21 and score.mid read by mido hold exactly the notes of arrangement.json, part by part and
  track by track in the same order: (onset, duration, sounding MIDI number), ties merged. In MIDI as played: repeats are
  unfolded by this script's own reading of the bar lines of score.musicxml; songs with more than plain repeats and two endings
  are counted apart, and of those score.mid isn't compared;
- the melody of a MIDI tune of one part has a note at nine tenths, or more, of the moments at which mido hears a stroke.

    export_validate.py            300 tunes
    export_validate.py --quick    20 tunes (CI)
    --tunes DIR                   a folder with NAME.musicxml and NAME.mid made before

Exits 1 where a bound fails.
"""

import argparse
import json
import os
import pathlib
import random
import re
import shutil
import subprocess
import sys
import tempfile
import warnings
from collections import Counter
from fractions import Fraction

import _figures
import import_corpus as corpus
from export_roundtrip import difference, expected_midi, faults, schema, tracks_by_mido

warnings.filterwarnings("ignore")
BARWRIGHT = os.environ.get("BARWRIGHT", "target/release/barwright")
CACHE = _figures.CACHE / "export_validate"
COLLECTIONS = ["ryansMammoth", "oneills1850", "airdsAirs"]
SEED = 7
DEMO = pathlib.Path(__file__).resolve().parents[2] / "demo-songs"
SONGS = (".musicxml", ".mxl", ".mid")


def make_tunes(count):
    """Writes NAME.musicxml and NAME.mid of a seeded choice; gives the names."""
    from music21 import converter
    from music21 import corpus as m21

    CACHE.mkdir(parents=True, exist_ok=True)
    names, rng = [], random.Random(SEED)
    for collection in COLLECTIONS:
        tunes = []
        for file in sorted(m21.getComposer(collection)):
            if str(file).endswith(".abc"):
                text = pathlib.Path(file).read_text(encoding="utf-8", errors="replace").replace("\r", "")
                for block in re.split(r"(?m)^(?=X:)", text):
                    number = re.match(r"X:\s*(\d+)", block)
                    if number and re.search(r"(?m)^K:", block):
                        tunes.append((f"{collection}-{pathlib.Path(file).stem}-{number[1]}", block.strip() + "\n"))
        rng.shuffle(tunes)
        done = 0
        for name, block in tunes:
            if done == count // len(COLLECTIONS) + (COLLECTIONS.index(collection) < count % len(COLLECTIONS)):
                break
            safe = re.sub(r"[^A-Za-z0-9_-]", "_", name)
            xml, mid, bad = (CACHE / f"{safe}.{x}" for x in ("musicxml", "mid", "failed"))
            if bad.exists():
                continue
            if not (xml.exists() and mid.exists()):
                try:
                    score = converter.parse(block, format="abc")
                    score.write("musicxml", fp=xml)
                    score.write("midi", fp=mid)
                except Exception as fault:  # music21 can't write some of its own tunes
                    bad.write_text(str(fault))
                    continue
            names.append(safe)
            done += 1
    return [(CACHE / f"{n}.musicxml", CACHE / f"{n}.mid") for n in names]


def played_order(xml):
    """Start and end in quarters of the measures in the order of playing, for a score with plain repeats and two endings,
    worked out from the file's own bar lines; None where it has more than that."""
    import xml.etree.ElementTree as tree

    root = tree.parse(xml).getroot()
    if any(s.get(a) for s in root.iter("sound") for a in ("dacapo", "dalsegno", "coda", "tocoda", "fine", "segno")):
        return None
    part = root.find("part")
    divisions, rows = 1, []
    at = Fraction(0)
    for measure in part.findall("measure"):
        for d in measure.iter("divisions"):
            divisions = int(d.text)
        now = longest = Fraction(0)
        for e in measure:
            if e.tag in ("note", "backup", "forward") and e.find("chord") is None and e.find("duration") is not None:
                length = Fraction(e.find("duration").text) / divisions
                now += -length if e.tag == "backup" else length
                longest = max(longest, now)
        forward = any(r.get("direction") == "forward" for r in measure.iter("repeat"))
        backward = [int(r.get("times", 2)) for r in measure.iter("repeat") if r.get("direction") == "backward"]
        ending = next((e.get("number") for e in measure.iter("ending") if e.get("type") == "start"), None)
        stops = any(e.get("type") in ("stop", "discontinue") for e in measure.iter("ending"))
        rows.append(((at, at + longest), forward, backward[0] if backward else None, ending, stops))
        at += longest
    order, i, start, turn, inside = [], 0, 0, 1, None
    while i < len(rows):
        span, forward, times, ending, stops = rows[i]
        if forward and i != start:
            start, turn = i, 1
        if ending is not None:
            if ending not in ("1", "2"):
                return None
            inside = int(ending)
        if inside == 1 and turn == 2:  # over the first ending
            if stops:
                inside = None
            i += 1
            continue
        order.append(span)
        if stops:
            inside = None
        if times:
            if times != 2:
                return None
            if turn == 1:
                turn, i = 2, start
                continue
        if times or (stops and turn == 2):
            start, turn = i + 1, 1
        i += 1
    return order


def parts_by_music21(path):
    """A Counter of (onset, duration, sounding MIDI number) for each part."""
    from music21 import converter, harmony, note

    score = converter.parse(path, format="musicxml", forceSource=True)
    score.toSoundingPitch(inPlace=True)
    parts = []
    for part in score.parts:
        notes = []
        for element in part.flatten().notes:
            if isinstance(element, (harmony.Harmony, note.Unpitched)):
                continue
            voice = element.getContextByClass("Voice")
            onset, length = (Fraction(x).limit_denominator(65535) for x in (element.offset, element.quarterLength))
            grace = element.duration.isGrace
            for n in element.notes if element.isChord else [element]:
                tie = n.tie.type if n.tie and not grace else None
                notes.append([onset, Fraction(0) if grace else length, n.pitch.midi, str(voice and voice.id), tie])
        parts.append(Counter(map(tuple, corpus.merge_ties(notes))))
    return parts


def compare(label, names, want, read):
    """Faults where what a reader found differs from what is wanted, part by part."""
    try:
        got = read()
    except Exception as fault:
        return [f"{label}: {type(fault).__name__}: {fault}"[:300]]
    if len(got) != len(want):
        return [f"{label}: {len(got)} parts, arrangement.json has {len(want)}"]
    return [f"{label}, {n}: {d}" for n, a, b in zip(names, want, got) if (d := difference(a, b))]


def whole(source):
    """A fault where the melody of a one-part MIDI tune has notes at fewer than nine tenths of the moments at which
    mido hears a stroke (the checks of an arrangement start from the melody, so they can't see a tune cut short)."""
    import mido

    strokes = []
    for track in mido.MidiFile(str(source)).tracks:
        now, moments = 0, set()
        for message in track:
            now += message.time
            if message.type == "note_on" and message.velocity > 0:
                moments.add(now)
        strokes += [moments] if moments else []
    if len(strokes) != 1:
        return []
    run = subprocess.run([BARWRIGHT, "inspect", str(source), "--json"], capture_output=True, text=True, timeout=120)
    if run.returncode != 0:
        return [f"inspect: exit {run.returncode}: {run.stderr.strip()[:200]}"]
    notes = json.loads(run.stdout)["melody"]["notes"]
    return [f"melody of {notes} notes, strokes at {len(strokes[0])} moments"] if notes < 0.9 * len(strokes[0]) else []


def check(source, folder, rules, kit=None, seen=None):
    """(what became of it, list of faults)."""
    run = subprocess.run(
        [BARWRIGHT, "arrange", str(source), "--out", str(folder), "--no-staff", "--force"] + (["--kit", str(kit)] if kit else []),
        capture_output=True, text=True, timeout=120,
    )
    if run.returncode == 3:
        named = re.search(r"\b[A-G][#b]?-?\d\b", run.stderr)
        return "does not fit", [] if named else [f"exit 3 without a missing bar: {run.stderr.strip()[:200]}"]
    if run.returncode != 0:
        return "failed", [f"exit {run.returncode}: {run.stderr.strip()[:300]}"]
    inner = next(p.parent for p in folder.rglob("arrangement.json"))
    document = json.loads((inner / "arrangement.json").read_text())
    bad = [f"check {c['check']}: {c['detail']}" for c in document["checks"] if not c["passed"]]
    for file in [inner / "score.musicxml", *sorted((inner / "parts").glob("*.musicxml"))]:
        bad += [f"{file.name}: {f}" for f in faults(rules, file)[:2]]
    names = [p["id"] for p in document["parts"]]
    rows = [[(Fraction(n["onset"]), Fraction(n["duration"]), n["midi"]) for n in p["notes"]] for p in document["parts"]]
    bad += compare("music21", names, [Counter(r) for r in rows], lambda: parts_by_music21(inner / "score.musicxml"))
    try:
        order = played_order(inner / "score.musicxml")
    except (ValueError, SyntaxError) as fault:  # a number or the XML itself is broken
        return "failed", [*bad, f"score.musicxml: {fault}"]
    if order is not None:
        sound = [expected_midi([[(o, d, m, d == 0) for o, d, m in r]], order) for r in rows]
        bad += compare("mido", names, sound, lambda: tracks_by_mido(inner / "score.mid")[1:])  # the first is the conductor's
    if seen is not None:
        seen["MusicXML files"] += 1 + len(list((inner / "parts").glob("*.musicxml")))
        seen["parts"] += len(rows)
        seen["notes"] += sum(map(len, rows))
        seen["scores with repeats unfolded"] += order is not None and any(a[0] >= b[0] for a, b in zip(order, order[1:]))
    return ("fits" if order is not None else "fits, order of playing not worked out"), bad


def main():
    parse = argparse.ArgumentParser()
    parse.add_argument("--quick", action="store_true")
    parse.add_argument("--count", type=int, default=300)
    parse.add_argument("--tunes", type=pathlib.Path)
    args = parse.parse_args()
    count = 20 if args.quick else args.count
    if args.tunes:
        tunes = [(p, p.with_suffix(".mid")) for p in sorted(args.tunes.glob("*.musicxml"))]
        tunes = tunes[:: max(1, len(tunes) // count)][:count]
    else:
        tunes = make_tunes(count)
    runs = [("demo", song, kit) for song in sorted(DEMO.iterdir()) if song.suffix in SONGS
            for kit in (None, DEMO / "harbour-room.toml")]
    runs += [("folk", source, None) for pair in tunes for source in pair]
    rules, tally, seen, wrong = schema(), Counter(), Counter(), 0
    with tempfile.TemporaryDirectory() as scratch:
        for group, source, kit in runs:
            folder = pathlib.Path(scratch) / "out"
            shutil.rmtree(folder, ignore_errors=True)
            try:
                what, bad = check(source, folder, rules, kit, seen)
                bad += whole(source) if source.suffix == ".mid" else []
            except subprocess.TimeoutExpired:
                what, bad = "failed", ["longer than two minutes"]
            tally[group, source.suffix, what] += 1
            wrong += bool(bad)
            for line in bad[:4]:
                print(f"{source.name}{' with ' + kit.name if kit else ''}: {line}", flush=True)
    for (group, suffix, what), k in sorted(tally.items()):
        print(f"{group} {suffix[1:]}: {k} {what}")
    print("compared: " + ", ".join(f"{k} {what}" for what, k in seen.items()))
    print(f"{sum(tally.values())} runs, {wrong} with a fault")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
