#!/usr/bin/env python3
"""Compares barwright's reading of MusicXML with music21's and partitura's, note for note.

The files are all MusicXML files of music21's own corpus (654 with music21 10.5.1; they stay in the
installed package, see its license.txt). A note is (onset, duration, sounding MIDI number), ties merged,
grace notes with duration 0; a file agrees when the multisets of notes of all its parts are equal.

    import_corpus.py            every file; music21 needs about 20 minutes the first time, then
                                its reading is cached in $XDG_CACHE_HOME/barwright/import_corpus
    import_corpus.py --quick    every 15th file (what CI runs)
    import_corpus.py --partitura   also compares with partitura (slower)
    import_corpus.py --melody   also: the soprano of four-part chorales with parts shuffled and names
                                removed is found as the melody in at least 99 %

Where music21's own parts drift apart (see in_step) a file also agrees when it is equal once they are put
in step; such files are counted by themselves. Files on which the two readings differ for a reason that was looked into stand in
EXPLAINED. Exits 1 when any other file differs.
"""

import argparse
import hashlib
import io
import json
import os
import pathlib
import random
import re
import subprocess
import sys
import tempfile
import warnings
import zipfile
from collections import Counter
from fractions import Fraction

from _figures import CACHE

warnings.filterwarnings("ignore")
BARWRIGHT = os.environ.get("BARWRIGHT", "target/release/barwright")
CACHE = CACHE / "import_corpus"

# File (under music21's corpus folder): why the readings differ.
CUE = "two cue notes (measures 5 and 9) sound in music21's reading; cue notes are silent"
EXPLAINED = {
    "schumann_robert/dichterliebe_no2.xml": CUE,
    "schumann_robert/opus48no2.mxl": CUE,
    "schubert/Lindenbaum.xml": "chord notes shorter than their chord's first note (B2 of 512 ticks beside E2 of 768 in "
    "measure 1): music21 gives all notes of a chord the first one's length, and ties follow from that",
    "trecento/PMFC_13_04-Credo Cursor.xml": "second part, measure 147: step B, octave 4, no alter, and an editorial "
    "accidental sharp; music21 sounds the accidental (B#4), we don't: only alter sounds, accidental is print",
}


def corpus_files():
    import music21

    root = pathlib.Path(music21.__file__).parent / "corpus"
    files = [p for p in root.rglob("*") if p.suffix in (".mxl", ".xml", ".musicxml")]
    kept = []
    for p in sorted(files):
        if p.suffix == ".xml" and b"<score-" not in p.read_bytes()[:4000]:
            continue
        kept.append(p)
    return root, kept


def merge_ties(notes):
    """Notes as [onset, duration, midi, voice, tie]; gives merged (onset, duration, midi)."""
    notes = sorted(notes, key=lambda n: n[0])
    loose, merged = {}, []
    i = 0
    while i < len(notes):
        j = i
        while j < len(notes) and notes[j][0] == notes[i][0]:
            j += 1
        group = notes[i:j]
        roots = {}
        for same in (True, False):
            for k, (onset, _, midi, voice, tie) in enumerate(group):
                if k in roots or tie not in ("stop", "continue"):
                    continue
                open_notes = loose.get((onset, midi), [])
                pick = next((o for o in open_notes if not same or o[1] == voice), None)
                if pick:
                    open_notes.remove(pick)
                    roots[k] = pick[0]
        for k, (onset, duration, midi, voice, tie) in enumerate(group):
            if k in roots:
                roots[k][1] += duration
            else:
                roots[k] = [onset, duration, midi]
                merged.append(roots[k])
            if tie in ("start", "continue"):
                loose.setdefault((onset + duration, midi), []).append((roots[k], voice))
        i = j
    return merged


def by_music21(path):
    import music21

    digest = hashlib.sha256(path.read_bytes()).hexdigest()[:24]
    cached = CACHE / f"m21-{music21.__version__}-2-{digest}.json"
    if cached.exists():
        return json.loads(cached.read_text())
    try:
        score = music21.converter.parse(path, format="musicxml", forceSource=True)
        score.toSoundingPitch(inPlace=True)
        out = []
        for part in score.parts:
            notes = []
            for element in part.flatten().notes:
                if isinstance(element, music21.harmony.Harmony):
                    continue
                if isinstance(element, music21.note.Unpitched):
                    continue
                if isinstance(element, music21.percussion.PercussionChord):
                    continue
                if element.style.noteSize == "cue" and not element.duration.isGrace:
                    pass
                voice = element.getContextByClass("Voice")
                voice = str(voice.id) if voice is not None else ""
                onset = Fraction(element.offset).limit_denominator(65535)
                grace = element.duration.isGrace
                length = Fraction(element.quarterLength).limit_denominator(65535)
                singles = element.notes if element.isChord else [element]
                for n in singles:
                    tie = n.tie.type if n.tie and not grace else None
                    ql = length
                    notes.append([onset, Fraction(0) if grace else ql, n.pitch.midi, voice, tie])
            out += [[str(o), str(d), m] for o, d, m in merge_ties(notes)]
        result = {"notes": out}
    except Exception as fault:  # music21 itself fails on some files
        result = {"error": f"{type(fault).__name__}: {fault}"[:200]}
    CACHE.mkdir(parents=True, exist_ok=True)
    cached.write_text(json.dumps(result))
    return result


def in_step(path):
    """music21's reading with its parts put in step: measure by measure, the part that holds most decides
    where all parts go on, as in a performance. music21 adds up every part by itself, so where the
    parts of a file disagree about a measure's length its parts drift apart."""
    import music21

    digest = hashlib.sha256(path.read_bytes()).hexdigest()[:24]
    cached = CACHE / f"step-{music21.__version__}-1-{digest}.json"
    if cached.exists():
        return json.loads(cached.read_text())
    exact = lambda x: Fraction(x).limit_denominator(65535)
    score = music21.converter.parse(path, format="musicxml", forceSource=True)
    score.toSoundingPitch(inPlace=True)
    held, rested, nominal, apart, parts = Counter(), Counter(), {}, False, []
    starts = []
    for part in score.parts:
        notes = []
        rows = list(part.getElementsByClass(music21.stream.Measure))
        starts.append([exact(m.offset) for m in rows])
        bar = Fraction(4)
        for i, m in enumerate(rows):
            if m.timeSignature is not None:
                bar = exact(m.timeSignature.barDuration.quarterLength)
            nominal.setdefault(i, bar)
            flat = m.flatten()
            ends = [exact(e.offset + e.quarterLength) for e in flat.notes
                    if not isinstance(e, music21.harmony.Harmony)]
            # Hidden rests are how music21 keeps `forward`.
            rests = [exact(r.offset + r.quarterLength) for r in flat.getElementsByClass("Rest")
                     if not r.style.hideObjectOnPrint]
            if ends:
                held[i] = max([held[i]] + ends + rests)
            else:
                rested[i] = max([rested[i]] + rests)
            for e in flat.notes:
                kinds = (music21.harmony.Harmony, music21.note.Unpitched, music21.percussion.PercussionChord)
                if isinstance(e, kinds):
                    continue
                voice = e.getContextByClass("Voice")
                grace = e.duration.isGrace
                for n in e.notes if e.isChord else [e]:
                    tie = n.tie.type if n.tie and not grace else None
                    length = Fraction(0) if grace else exact(e.quarterLength)
                    notes.append((i, exact(e.offset), length, n.pitch.midi, str(voice.id) if voice else "", tie))
        parts.append(notes)
    apart = any(a[: len(b)] != b[: len(a)] for a in starts for b in starts)
    begin, at = [], Fraction(0)
    for i in range(max(map(len, starts), default=0)):
        begin.append(at)
        rest = min(rested[i], nominal[i])
        length = max(held[i], rest) or nominal[i]
        # Rounded tuplets: less than a 128th note off is no length that anyone writes.
        if abs(length - nominal[i]) < Fraction(1, 32):
            length = nominal[i]
        at += length
    out = []
    for notes in parts:
        placed = [[begin[i] + o, d, m, v, t] for i, o, d, m, v, t in notes]
        out += [[str(o), str(d), m] for o, d, m in merge_ties(placed)]
    result = {"notes": out, "apart": apart}
    cached.write_text(json.dumps(result))
    return result


def by_partitura(path):
    import partitura

    digest = hashlib.sha256(path.read_bytes()).hexdigest()[:24]
    cached = CACHE / f"pt-{partitura.__version__}-{digest}.json"
    if cached.exists():
        return json.loads(cached.read_text())
    try:
        score = partitura.load_musicxml(str(path), force_note_ids=True)
        out = []
        for part in score.parts:
            for n in part.notes_tied:
                start = Fraction(float(part.quarter_map(n.start.t))).limit_denominator(20160)
                end = n.start.t + n.duration_tied
                stop = Fraction(float(part.quarter_map(end))).limit_denominator(20160)
                out.append([str(start), str(stop - start), n.midi_pitch])
        result = {"notes": out}
    except Exception as fault:
        result = {"error": f"{type(fault).__name__}: {fault}"[:200]}
    CACHE.mkdir(parents=True, exist_ok=True)
    cached.write_text(json.dumps(result))
    return result


def by_us(path):
    run = subprocess.run([BARWRIGHT, "inspect", str(path), "--json"], capture_output=True, text=True)
    if run.returncode != 0:
        return {"error": run.stderr.strip()[:200]}
    document = json.loads(run.stdout)
    notes = [
        [n["onset"], n["duration"], n["midi"]] for p in document["parts"] for n in p["notes"]
    ]
    return {"notes": notes, "melody": document.get("melody")}


def bag(reading, shift=False):
    notes = [(Fraction(o), Fraction(d), m) for o, d, m in reading["notes"]]
    if shift and notes:  # partitura counts from the first downbeat
        first = min(n[0] for n in notes)
        notes = [(o - first, d, m) for o, d, m in notes]
    return Counter(notes)


def compare(ours, theirs, label, show, shift=False):
    """None where equal, else a short text."""
    if "error" in theirs:
        return None if "error" in ours else f"{label} can't read it ({theirs['error']})"
    if "error" in ours:
        # "No pitched notes" is an answer where the other found none either.
        return None if not theirs["notes"] else f"barwright: {ours['error']}"
    a, b = bag(ours, shift), bag(theirs, shift)
    if a == b:
        return None
    only_a, only_b = a - b, b - a
    text = f"{sum(only_a.values())} only in ours, {sum(only_b.values())} only in {label}"
    if show:
        first = lambda c: [(str(o), str(d), m) for o, d, m in sorted(c)[:show]]
        text += f"\n      ours {first(only_a)}\n      {label} {first(only_b)}"
    return text


def shuffled_chorale(path, seed):
    """A four-part file with its parts in another order and nameless; None for other files.
    The soprano's place comes with it."""
    data = path.read_bytes()
    if path.suffix == ".mxl":
        archive = zipfile.ZipFile(io.BytesIO(data))
        names = [n for n in archive.namelist() if not n.startswith("META-INF")]
        data = archive.read(names[0])
    text = data.decode("utf-8")
    parts = re.findall(r"<part\s.*?</part>", text, re.S)
    if len(parts) != 4:
        return None
    order = list(range(4))
    random.Random(seed).shuffle(order)
    head = text[: text.index(parts[0])]
    head = re.sub(r"<part-(name|abbreviation)[^>]*>.*?</part-\1>", r"<part-\1></part-\1>", head, flags=re.S)
    head = re.sub(r"<(part-name|part-abbreviation)-display.*?</\1-display>", "", head, flags=re.S)
    head = re.sub(r"<instrument-name>.*?</instrument-name>", "<instrument-name></instrument-name>", head, flags=re.S)
    body = "".join(re.sub(r'<part\s+id="[^"]*"', f'<part id="X{i}"', parts[p], count=1) for i, p in enumerate(order))
    listed = "".join(f'<score-part id="X{i}"><part-name></part-name></score-part>' for i in range(4))
    head = re.sub(r"<part-list>.*</part-list>", f"<part-list>{listed}</part-list>", head, flags=re.S)
    return head + body + "</score-partwise>", f"X{order.index(0)}"


def melody_check(root, quick):
    import music21

    paths = sorted((root / "bach").glob("bwv*.mxl"))
    if quick:
        paths = paths[::8]
    found = total = 0
    missed = []
    with tempfile.TemporaryDirectory() as folder:
        for i, path in enumerate(paths):
            made = shuffled_chorale(path, i)
            if made is None:
                continue
            xml, soprano = made
            file = pathlib.Path(folder) / "c.musicxml"
            file.write_text(xml)
            ours = by_us(file)
            total += 1
            if ours.get("melody", {}).get("part") == soprano:
                found += 1
            else:
                missed.append(path.name)
    print(f"melody: soprano found in {found} of {total} chorales ({100 * found / max(total, 1):.1f} %)")
    if missed:
        print("   missed:", ", ".join(missed))
    return total > 0 and found >= 0.99 * total


def main():
    parse = argparse.ArgumentParser()
    parse.add_argument("--quick", action="store_true")
    parse.add_argument("--partitura", action="store_true")
    parse.add_argument("--melody", action="store_true")
    parse.add_argument("--show", type=int, default=0, help="first N differing notes of a file")
    parse.add_argument("--only", default="", help="only files whose path has this in it")
    parse.add_argument("--cached", action="store_true", help="only files that music21 has read")
    args = parse.parse_args()
    root, files = corpus_files()
    if args.quick:
        files = files[::15]
    files = [f for f in files if args.only in str(f)]
    tally = Counter()
    bad = []
    for path in files:
        name = str(path.relative_to(root))
        if args.cached:
            import music21

            digest = hashlib.sha256(path.read_bytes()).hexdigest()[:24]
            if not (CACHE / f"m21-{music21.__version__}-2-{digest}.json").exists():
                continue
        ours = by_us(path)
        difference = compare(ours, by_music21(path), "music21", args.show)
        tally["files"] += 1
        if difference is None:
            tally["equal"] += 1
        elif "error" not in ours and in_step(path)["apart"] and compare(ours, in_step(path), "music21", 0) is None:
            tally["in step"] += 1
        elif name in EXPLAINED:
            tally["explained"] += 1
        else:
            bad.append(name)
            print(f"DIFFERS {name}: {difference}")
        if args.partitura:
            theirs = by_partitura(path)
            no_grace = lambda r: r if "error" in r else {"notes": [n for n in r["notes"] if n[1] != "0"]}
            difference = compare(no_grace(ours), no_grace(theirs), "partitura", args.show, shift=True)
            tally["partitura equal"] += difference is None
            if difference:
                print(f"  partitura, {name}: {difference}")
    print(f"{tally['files']} files: {tally['equal']} equal to music21, {tally['in step']} equal once music21's parts are put in step, {tally['explained']} explained, {len(bad)} unexplained")
    if args.partitura:
        print(f"partitura: {tally['partitura equal']} equal (grace notes left out, counted from the first note)")
    good = not bad
    if args.melody:
        good &= melody_check(root, args.quick)
    sys.exit(0 if good else 1)


if __name__ == "__main__":
    main()
