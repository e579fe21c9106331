"""The figures of the analysis, beside music21's own key finders measured in the same run.

  python tests/external/analysis_figures.py --quick    # what CI runs: 300 folk tunes, 40 chorales, 1 to 2 minutes
  python tests/external/analysis_figures.py            # everything; about 6 minutes once the note tables are made

Needs the note tables of analysis_cache.py (made if they aren't there) and a Rust toolchain: the figures come from
the ignored tests of src/analysis/dump.rs, which run the library itself. Every tune is transposed at random.

  key        five-fold cross-validated (weights fitted afresh on the other folds; --quick: the weights built in,
             which were fitted on all of them, so --quick's key figures only guard against mistakes)
  music21    Krumhansl-Schmuckler, Aarden-Essen, Temperley-Kostka-Payne, Bellman-Budge on the same notes
  labels     (full run only) how often the K: fields of two transcriptions of one tune name the same key: what no
             model can be held to better than
  others     modulation, phrases and harmony as analysis_fit_phrase.py and analysis_fit_harmony.py measure them
A figure that misses issue 4's target is printed as NOT REACHED. Exits 1 only where one falls below its floor: what was
measured on 25 November 2026, with a margin (`least` in main).
"""
import argparse, json, os, pathlib, re, subprocess, sys
import numpy as np
from _figures import judge, leave
import analysis_fit_harmony as H
import analysis_fit_key as K
import analysis_fit_phrase as P

# Issue 4's targets for tonic, key and mode of the fiddle tunes, notes only and with the signature, and of the chorales.
TARGETS = {False: {"ryansMammoth + oneills1850": (0.97, 0.96, 0.93), "chorale sopranos": (None, None, 0.85),
                   "chorales, four parts": (0.97, None, None)},
           True: {"ryansMammoth + oneills1850": (0.99, 0.985, 0.97)}}


def profiles(cases, y, kinds, end):
    """music21's key finders: their tables by its own getWeights, correlated (Pearson) as its _getDifference does."""
    from music21.analysis import discrete
    step = dict(C=0, D=2, E=4, F=5, G=7, A=9, B=11)
    hist = {}
    for f in ("folk", "chorales"):
        for line in (K.CACHE / f"{f}{end}.jsonl").open(encoding="utf-8"):
            row = json.loads(line)
            for kind, parts in (("folk", 1), ("bare", 1), ("soprano", 1), ("parts", 4)):
                h = np.zeros(12)
                for part in row["parts"][:parts]:
                    for _, length, p, _ in part:
                        n = p.rstrip("-0123456789")
                        h[(step[n[0]] + n.count("#") - n[1:].count("b")) % 12] += length
                hist[row["name"], kind] = h
    for finder in (discrete.KrumhanslSchmuckler, discrete.AardenEssen, discrete.TemperleyKostkaPayne, discrete.BellmanBudge):
        f = finder()
        best = []
        for c in cases:
            h = list(np.roll(hist[c["name"], c["kind"]], c["by"]))
            both = [(correlate(h, f.getWeights(m)), i) for i, m in enumerate(("major", "minor"))]
            r, i = max((max(v), i) for v, i in both)
            best.append(int(np.argmax(both[i][0])) * 7 + i)
        best = np.array(best)
        for g, at in kinds.items():
            tonic = best[at] // 7 == y[at] // 7
            key = tonic & (K.MINOR[best[at] % 7] == K.MINOR[y[at] % 7])
            print(f"  {finder.__name__:22s} {g:28s} tonic {tonic.mean():.3f}  key {key.mean():.3f}")
    last = np.array([c["last"] for c in cases])
    for g, at in kinds.items():
        print(f"  {'last note':22s} {g:28s} tonic {(last[at] == y[at] // 7).mean():.3f}")


def correlate(h, weights):
    h, w = np.array(h) - np.mean(h), np.array(weights) - np.mean(weights)
    return [float(h @ np.roll(w, t) / (np.linalg.norm(h) * np.linalg.norm(w) + 1e-12)) for t in range(12)]


def built_in(cases):
    """What the library itself found, as probabilities of its one answer: with and without the signature."""
    for name in ("bare", "found"):
        p = np.zeros((len(cases), 84))
        for i, c in enumerate(cases):
            tonic, mode, confidence, _ = c[name]
            p[i, tonic * 7 + K.MODES.index(mode)] = confidence
        yield name == "found", p


def worst(cases, y, p, end):
    """The folk tunes whose label the model finds least likely."""
    names = ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B"]
    say = lambda k, by: f"{names[(k // 7 - by) % 12]} {K.MODES[k % 7]}"
    folk = [i for i, c in enumerate(cases) if c["kind"] == "folk"]
    folk.sort(key=lambda i: p[i, y[i]])
    print("the 40 worst disagreements, with the signature (tune; K: field; found; last note):")
    for i in folk[:40]:
        c = cases[i]
        print(f"  {c['name']:44s} {say(y[i], c['by']):14s} {say(int(p[i].argmax()), c['by']):14s} {p[i].max():.2f}  "
              f"{names[(c['last'] - c['by']) % 12]}")


def labels_agree():
    """Two transcriptions of one tune: O'Neill's numbers that two transcribers took down (same number, same title but for
    spelling, so that the printed signature was the same before both), and tunes of any collection with the same first
    16 intervals. Prints how many pairs name the same tonic, seen from the tune's first note, and the same mode."""
    step = dict(C=0, D=2, E=4, F=5, G=7, A=9, B=11)
    number = lambda n: (step[n[0]] + n.count("#") - n[1:].count("b")) % 12
    numbers, openings = {}, {}
    for line in (K.CACHE / "folk.jsonl").open(encoding="utf-8"):
        row = json.loads(line)
        notes = [number(n[2].rstrip("-0123456789")) for n in row["parts"][0]]
        key = ((number(row["tonic"]) - notes[0]) % 12, row["mode"])
        steps = tuple((b - a) % 12 for a, b in zip(notes, notes[1:]))[:16]
        openings.setdefault(steps, []).append((row, key))
        if row["collection"] == "oneills1850":
            numbers.setdefault(row["name"].rsplit("-", 1)[1], []).append((row, (number(row["tonic"]), row["mode"])))
    words = lambda row: set(re.findall(r"[a-z]+", row["title"].lower())) - {"the", "a", "of"}
    for what, groups_ in (("two transcribers of one number", numbers), ("same first 16 intervals", openings)):
        pairs = [(a, b) for g in groups_.values() for i, b in enumerate(g) for a in g[:i]]
        if groups_ is numbers:
            pairs = [(a, b) for a, b in pairs if words(a[0]) & words(b[0])]
        tonic = sum(a[1][0] == b[1][0] for a, b in pairs)
        both = sum(a[1] == b[1] for a, b in pairs)
        print(f"labels, {what}: of {len(pairs)} pairs {tonic / len(pairs):.3f} agree on the tonic, {both / len(pairs):.3f} on the mode too")


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--quick", action="store_true")
    a.add_argument("--worst", action="store_true", help="list the 40 worst disagreements")
    a = a.parse_args()
    end = "-quick" if a.quick else ""
    if not (K.CACHE / f"folk{end}.jsonl").exists():
        here = pathlib.Path(__file__).parent
        subprocess.run([sys.executable, here / "analysis_cache.py", *(["--quick"] if a.quick else [])], check=True)
    out = K.CACHE / f"features{end}"
    K.dump(out, end)
    names, cases, x, y = K.load(out, end)
    kinds = K.groups(cases)
    least = {False: {"ryansMammoth + oneills1850": (0.935, 0.93, 0.92), "chorale sopranos": (0.94, 0.93, 0.82)},
             True: {"ryansMammoth + oneills1850": (0.94, 0.94, 0.94), "chorales, four parts": (0.97, 0.97, 0.97)}}
    if a.quick:
        # What the 198 tunes of the sample gave on 25 November 2026.
        least[False]["ryansMammoth + oneills1850"] = (0.934, 0.929, 0.919)
        least[True]["ryansMammoth + oneills1850"] = (0.939, 0.939, 0.939)
        found = built_in(cases)
    else:
        found = []
        for signature in (False, True):
            ok = np.array([signature or "signature" not in n for n in names])
            scores = K.cross_validated(x, y, K.folds(cases), ok, K.importance(cases))
            found.append((signature, K.softmax(scores / K.temperature(scores, y))))
    for signature, p in found:
        print("key, with the signature" if signature else "key, notes only")
        for g, at in kinds.items():
            figures = K.report(g, p[at], y[at])
            targets = TARGETS[signature].get(g, (None,) * 3)
            for what, v, b, t in zip(("tonic", "key", "mode"), figures, least[signature].get(g, ()), targets):
                # The chorales of --quick are few: two standard errors more room.
                room = 0.03 if a.quick and "chorale" in g else 0
                judge(f"{g}, {what}, signature {signature}", v, t, b - room)
        ece, sure, _ = K.calibration(p, y)
        print(f"  all together: ECE {ece:.3f}, of those given .9 or more {sure:.3f} right")
        judge(f"calibration error, signature {signature}", ece, 0.03, 0.06 if a.quick else None, highest=True)
        judge(f"sure ones right, signature {signature}", sure, 0.97)
    if not a.quick:
        labels_agree()
    if a.worst:
        worst(cases, y, p, end)
    print("music21's key finders and the last note, notes only")
    profiles(cases, y, kinds, end)
    env = dict(os.environ, BARWRIGHT_TABLES=str(K.CACHE), BARWRIGHT_END=end, BARWRIGHT_PIECES="test")
    run = subprocess.run(["cargo", "test", "-q", "--no-default-features", "--lib", "analysis::dump::modulation", "--", "--ignored", "--nocapture"],
                         cwd=K.ROOT, env=env, check=True, capture_output=True, text=True)
    glued = json.loads(next(line for line in run.stdout.splitlines() if line.startswith("{")))
    print("two keys, glued:", json.dumps(glued))
    judge("change of key within a measure", glued["change within a measure"], 0.9)
    # Measured .850, and .737 with the few tunes that --quick draws from.
    judge("both keys of glued pieces right", glued["both keys"], 0.9, 0.71 if a.quick else 0.83)
    rows = P.load(out)
    built = P.f1(rows, [r["found"] for r in rows])
    fold = np.random.default_rng(K.SEED).permutation(len(rows)) % K.FOLDS
    cv = [None] * len(rows)
    for f in range(K.FOLDS):
        w = P.train([r for r, k in zip(rows, fold) if k != f])
        for i in np.flatnonzero(fold == f):
            cv[i] = P.divide(rows[i]["b"], rows[i]["l"], w)
    print(f"phrases: five folds F1 {P.f1(rows, cv):.3f}, as built {built:.3f}, set by hand before the fit "
          f"{P.f1(rows, [P.divide(r['b'], r['l'], P.HAND) for r in rows]):.3f}; after rests "
          f"{P.f1(rows, [np.flatnonzero(r['b'][:, 1]) for r in rows]):.3f}, two-bar grid {P.f1(rows, [P.grid(r) for r in rows]):.3f}")
    judge("phrases F1", P.f1(rows, cv), 0.75)
    rows = H.load(out)
    fold = np.random.default_rng(K.SEED).permutation(len(rows)) % K.FOLDS
    cv = [None] * len(rows)
    for f in range(K.FOLDS):
        t = H.tables([r for r, k in zip(rows, fold) if k != f])
        for i in np.flatnonzero(fold == f):
            cv[i] = H.path(rows[i], t, 0.7)
    model, n = H.right(rows, cv)
    built = H.right(rows, [r["found"] for r in rows])[0]
    tonic = H.right(rows, [[0] * len(r["slots"]) for r in rows])[0]
    triad = H.right(rows, [H.best_triads(r) for r in rows])[0]
    print(f"harmony, roots on {n} beats from the soprano alone: five folds {model:.3f}, as built {built:.3f}; "
          f"always the tonic {tonic:.3f}, best triad per measure {triad:.3f}")
    judge("harmony over the simple rules", model - max(tonic, triad), 0.12)
    leave()


if __name__ == "__main__":
    main()
