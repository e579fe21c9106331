#!/usr/bin/env python3
"""300 folk tunes through `barwright arrange`, and everything that comes out read by others.

The tunes come from music21's ABC collections (Ryan's Mammoth Collection, O'Neill's, Aird's Airs; seeded choice, turned
to MusicXML and to MIDI by music21, kept in the cache folder; a quarter of an hour once). For
each tune, as MusicXML and as MIDI:

- `arrange` with the built-in starter kit exits 0 and every check of arrangement.json passed, or exits 3 with the missing bars named;
  anything else is a failure of the program;
- every MusicXML file of the folder validates against the MusicXML 4.0 schema (first part file and score);
- score.musicxml read by music21 and score.mid read by mido hold exactly the notes of arrangement.json
  (in MIDI as played: repeats unfolded by music21's reading of the bar lines where they are plain).

    export_validate.py            300 tunes
    export_validate.py --quick    12 tunes (CI)
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

import import_corpus as corpus
from export_roundtrip import by_mido, faults, schema

warnings.filterwarnings("ignore")
BARWRIGHT = os.environ.get("BARWRIGHT", "target/release/barwright")
CACHE = pathlib.Path(os.environ.get("XDG_CACHE_HOME", pathlib.Path.home() / ".cache")) / "barwright"
CACHE = pathlib.Path(os.environ.get("BARWRIGHT_CACHE", CACHE)) / "export_validate"
COLLECTIONS = ["ryansMammoth", "oneills1850", "airdsAirs"]
SEED = 7


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
            if done == count // len(COLLECTIONS):
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


def check(source, folder, rules):
    """(what became of it, list of faults)."""
    run = subprocess.run(
        [BARWRIGHT, "arrange", str(source), "--out", str(folder), "--no-staff", "--force"],
        capture_output=True, text=True, timeout=120,
    )
    if run.returncode == 3:
        named = re.search(r"\b[A-G][#b]?-?\d\b", run.stderr + run.stdout)
        return "does not fit", [] if named else [f"exit 3 without a missing bar: {run.stderr.strip()[:200]}"]
    if run.returncode != 0:
        return "failed", [f"exit {run.returncode}: {run.stderr.strip()[:300]}"]
    inner = next(p.parent for p in folder.rglob("arrangement.json"))
    document = json.loads((inner / "arrangement.json").read_text())
    bad = [f"check {c['check']}: {c['detail']}" for c in document["checks"] if not c["passed"]]
    for file in [inner / "score.musicxml", *sorted((inner / "parts").glob("*.musicxml"))]:
        bad += [f"{file.name}: {f}" for f in faults(rules, file)[:2]]
    want = Counter(
        (Fraction(n["onset"]), Fraction(n["duration"]), n["midi"]) for p in document["parts"] for n in p["notes"]
    )
    theirs = corpus.by_music21(inner / "score.musicxml")
    if "error" in theirs:
        bad.append(f"music21: {theirs['error']}")
    elif corpus.bag(theirs) != want:
        a, b = want - corpus.bag(theirs), corpus.bag(theirs) - want
        bad.append(f"music21: {sum(a.values())} notes only in arrangement.json, {sum(b.values())} only in score.musicxml")
    order = played_order(inner / "score.musicxml")
    if order is not None:
        sound, at = Counter(), Fraction(0)
        for (start, end) in order:
            for (o, d, m), k in want.items():
                if start <= o < end:
                    sound[at + o - start, m] += k
            at += end - start
        heard = Counter()
        for (o, _, m), k in by_mido(inner / "score.mid").items():
            heard[o, m] += k
        if heard != sound:
            bad.append(f"mido: {sum((sound - heard).values())} strokes missing, {sum((heard - sound).values())} extra")
    return ("fits" if order is not None else "fits, order of playing not worked out"), bad


def main():
    parse = argparse.ArgumentParser()
    parse.add_argument("--quick", action="store_true")
    parse.add_argument("--count", type=int, default=300)
    parse.add_argument("--tunes", type=pathlib.Path)
    args = parse.parse_args()
    count = 12 if args.quick else args.count
    if args.tunes:
        tunes = [(p, p.with_suffix(".mid")) for p in sorted(args.tunes.glob("*.musicxml"))]
        tunes = tunes[:: max(1, len(tunes) // count)][:count]
    else:
        tunes = make_tunes(count)
    rules, tally, wrong = schema(), Counter(), 0
    with tempfile.TemporaryDirectory() as scratch:
        for xml, mid in tunes:
            for source in (xml, mid):
                folder = pathlib.Path(scratch) / "out"
                shutil.rmtree(folder, ignore_errors=True)
                try:
                    what, bad = check(source, folder, rules)
                except subprocess.TimeoutExpired:
                    what, bad = "failed", ["longer than two minutes"]
                tally[source.suffix, what] += 1
                wrong += bool(bad)
                for line in bad[:4]:
                    print(f"{source.name}: {line}", flush=True)
    for (suffix, what), k in sorted(tally.items()):
        print(f"{suffix[1:]}: {k} {what}")
    print(f"{sum(tally.values())} files, {wrong} with a fault")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
