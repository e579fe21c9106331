"""Makes the note tables that the checks of the analysis read: music21's own folk tunes and Bach chorales.

  python tests/external/analysis_cache.py            # once; about 15 minutes
  python tests/external/analysis_cache.py --quick    # a fixed sample for CI: 100 tunes of each kind, 40 chorales

Reads the ABC collections `ryansMammoth`, `oneills1850` and `airdsAirs` and the chorales of the music21
package and writes `folk.jsonl` and `chorales.jsonl` (`folk-quick.jsonl`, `chorales-quick.jsonl`) to
~/.cache/barwright/analysis/. Nothing of it is committed: the encoders' permission is for music21.

Times are in ticks of 10,080 to the quarter. One JSON document a line:
  measures  [start, duration, beats, beat type, double bar or repeat at its end]
  parts     per part, notes as [onset, duration, "C#4", fermata]
  tonic, mode, fifths   the label: of the tune's K: field, of the chorale's key element
  roots     (chorales) [time of a beat, pitch class of the root of the sounding chord as music21 names it]

`essenFolksong` is not read: it is held out.
"""
import argparse, json, pathlib, random, re, signal, sys, warnings
warnings.simplefilter("ignore")
from _figures import CACHE
from music21 import chord, converter, corpus, expressions, key, note, stream

TICKS = 10080
OUT = CACHE / "analysis"
COLLECTIONS = ["ryansMammoth", "oneills1850", "airdsAirs"]
MODES = {"": "major", "maj": "major", "ion": "major", "m": "minor", "min": "minor", "aeo": "minor", "dor": "dorian",
         "phr": "phrygian", "lyd": "lydian", "mix": "mixolydian", "loc": "locrian"}
PLACE = {"major": 0, "mixolydian": 1, "dorian": 2, "minor": 3, "phrygian": 4, "locrian": 5, "lydian": -1}
FIFTHS = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}


def label(text):
    """Tonic, mode and fifths of a K: field, or None where it is no clear key ("Hp", "Bn", "EM")."""
    m = re.match(r"\s*([A-G])([#b]?)\s*([A-Za-z]*)", text.split("%")[0])
    if not m or m[3] == "M":
        return None
    word = m[3].lower()
    mode = MODES.get(word if word in MODES else word[:3])
    if mode is None:
        return None
    fifths = FIFTHS[m[1]] + 7 * {"": 0, "#": 1, "b": -1}[m[2]] - PLACE[mode]
    return (m[1] + m[2], mode, fifths) if -7 <= fifths <= 7 else None


def ticks(x):
    return round(x * TICKS)


def name(p):
    return p.nameWithOctave.replace("-", "b")


def table(part):
    """Measures and merged notes of a part."""
    measures, meter = [], (4, 4)
    for m in part.getElementsByClass(stream.Measure):
        if (t := m.timeSignature) is not None:
            meter = (t.numerator, t.denominator)
        bar = m.rightBarline
        left = m.leftBarline
        strong = bar is not None and bar.type in ("double", "final", "light-heavy", "heavy-light", "light-light")
        if left is not None and getattr(left, "direction", None) == "start" and measures:
            measures[-1][4] = 1
        measures.append([ticks(m.offset), ticks(m.duration.quarterLength), *meter, int(strong)])
    notes = []
    for n in part.stripTies().flatten().notes:
        if n.duration.isGrace or not isinstance(n, (note.Note, chord.Chord)):
            continue
        p = n.pitch if isinstance(n, note.Note) else max(n.pitches)
        fermata = any(isinstance(e, expressions.Fermata) for e in n.expressions)
        notes.append([ticks(n.offset), ticks(n.duration.quarterLength), name(p), int(fermata)])
    return measures, notes


def tunes(collection):
    out = []
    for f in sorted(corpus.getComposer(collection)):
        if not str(f).endswith(".abc"):
            continue
        text = pathlib.Path(f).read_text(encoding="utf-8", errors="replace").replace("\r", "")
        for block in re.split(r"(?m)^(?=X:)", text):
            m, k = re.match(r"X:\s*(\d+)", block), re.search(r"(?m)^K:(.*)$", block)
            if m and k:
                out.append((collection, pathlib.Path(f).stem, int(m[1]), k[1].strip(), block.strip() + "\n"))
    return out


def late(*_):
    raise TimeoutError("took longer than 20 s")


def folk(quick, out):
    left_out = {"no clear K:": 0, "key changes": 0, "not read": 0}
    for collection in COLLECTIONS:
        all_ = tunes(collection)
        if quick:
            random.Random(4).shuffle(all_)
            all_ = all_[:100]
        for col, stem, x, k, block in all_:
            if (found := label(k)) is None:
                left_out["no clear K:"] += 1
                continue
            if len(re.findall(r"(?m)^K:", block)) + block.count("[K:") > 1:
                left_out["key changes"] += 1
                continue
            signal.alarm(20)
            try:
                s = converter.parse(block, format="abc")
                s = s.scores[0] if isinstance(s, stream.Opus) else s
                measures, notes = table(s.parts[0])
                if len(notes) < 8:
                    raise ValueError("too short")
            except Exception:
                left_out["not read"] += 1
                continue
            finally:
                signal.alarm(0)
            title = re.search(r"(?m)^T:(.*)$", block)
            row = {"name": f"{col}-{stem}-{x}", "collection": col, "title": title[1].strip() if title else "",
                   "tonic": found[0], "mode": found[1], "fifths": found[2], "measures": measures, "parts": [notes]}
            out.write(json.dumps(row, ensure_ascii=False) + "\n")
        print(collection, len(all_), left_out, file=sys.stderr, flush=True)


def chorales(quick, out):
    # The iterator's list holds some chorales twice under two numbers.
    files = sorted(set(str(f) for f in corpus.chorales.Iterator(returnType="filename")))
    if quick:
        random.Random(4).shuffle(files)
        files = files[:40]
    seen, left_out = set(), {}
    for f in files:
        s = corpus.parse(f)
        parts = list(s.parts)
        k = next(iter(s.recurse().getElementsByClass(key.KeySignature)), None)
        why = None
        if len(parts) != 4:
            why = "not four parts"
        elif not isinstance(k, key.Key):
            why = "no mode"
        if why:
            left_out[why] = left_out.get(why, 0) + 1
            continue
        tables = [table(p) for p in parts]
        same = json.dumps([t[1] for t in tables])
        if same in seen:
            left_out["twice"] = left_out.get("twice", 0) + 1
            continue
        seen.add(same)
        roots, whole = [], s.chordify().flatten().getElementsByClass(chord.Chord)
        for c in whole:
            start, end = ticks(c.offset), ticks(c.offset + c.quarterLength)
            # Every quarter is a beat in nearly all chorales; the beat that a chord sounds on.
            for beat in range(-(-start // TICKS) * TICKS, end, TICKS):
                if len(set(p.pitchClass for p in c.pitches)) >= 2:
                    roots.append([beat, c.root().pitchClass])
        row = {"name": f, "collection": "chorales", "title": s.metadata.title or "", "tonic": k.tonic.name.replace("-", "b"),
               "mode": k.mode, "fifths": k.sharps, "measures": tables[0][0], "parts": [t[1] for t in tables], "roots": roots}
        out.write(json.dumps(row, ensure_ascii=False) + "\n")
    print("chorales", len(seen), left_out, file=sys.stderr, flush=True)


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--quick", action="store_true")
    a.add_argument("--only", choices=["folk", "chorales"])
    a = a.parse_args()
    signal.signal(signal.SIGALRM, late)
    OUT.mkdir(parents=True, exist_ok=True)
    end = "-quick" if a.quick else ""
    for kind, make in (("chorales", chorales), ("folk", folk)):
        if a.only in (None, kind):
            part = OUT / f"{kind}{end}.part"
            with part.open("w", encoding="utf-8") as out:
                make(a.quick, out)
            part.rename(OUT / f"{kind}{end}.jsonl")


if __name__ == "__main__":
    main()
