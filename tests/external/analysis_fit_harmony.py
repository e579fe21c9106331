"""Fits the tables of the harmony model on the chorales and writes src/analysis/harmony_weights.rs.

  python tests/external/analysis_fit_harmony.py [--write]

The soprano alone is given; the reference is the root (as music21 names it) of the four-part chord that sounds on
each beat. Counted on the training chorales, with one added to each cell: how often the soprano has each degree
above the root (by the chord's kind), how often the chord changes at each kind of beat, which chord follows which.
One figure is chosen on the training folds: how much the notes count against the chords' order (SCALES).
Five folds, seeded. Printed beside it: always the tonic, and the diatonic triad that fits each measure best.
"""
import argparse, json, pathlib
import numpy as np
from analysis_fit_key import CACHE, FOLDS, ROOT, SEED, dump

# Root above the tonic, kind (0 major, 1 minor, 2 diminished).
CHORDS = {"major": [(0, 0), (2, 1), (4, 1), (5, 0), (7, 0), (9, 1), (11, 2), (10, 0)],
          "minor": [(0, 1), (2, 2), (3, 0), (5, 1), (7, 0), (7, 1), (8, 0), (10, 0)],
          "dorian": [(0, 1), (2, 1), (3, 0), (5, 0), (7, 1), (7, 0), (10, 0)],
          "mixolydian": [(0, 0), (2, 1), (5, 0), (7, 1), (7, 0), (9, 1), (10, 0)],
          "phrygian": [(0, 1), (1, 0), (3, 0), (5, 1), (8, 0), (10, 1)],
          "lydian": [(0, 0), (2, 0), (4, 1), (7, 0), (9, 1)],
          "locrian": [(0, 2), (1, 0), (3, 1), (5, 1), (6, 0), (8, 0)]}
FAMILY = {"major": "major", "mixolydian": "major", "lydian": "major"}
SCALES = [0.25, 0.35, 0.5, 0.7, 1.0, 1.4]
# Stands for a chord of which few or no examples were met (the old modes): about one in seventy.
RARE = -4.2
# The shares of the dominant's place in mixolydian; see chain().
MIXOLYDIAN = {"flat VII": 0.3, "v": 0.3, "V": 0.4}


def tables(rows):
    tones, change = np.ones((3, 12)), np.ones((4, 2))
    follow = {f: np.ones((12, 12)) * 0.5 for f in ("major", "minor")}
    share = {f: np.ones(12) * 0.5 for f in ("major", "minor")}
    for r in rows:
        chords = {root: kind for root, kind in reversed(CHORDS[r["mode"]])}
        fam = FAMILY.get(r["mode"], "minor")
        before = None
        for at, level, w, root, _ in r["slots"]:
            if root is None:
                continue
            share[fam][root] += 1
            if root in chords:
                tones[chords[root]] += np.roll(np.array(w), -root)
            if before is not None:
                change[level, int(before != root)] += 1
                if before != root:
                    follow[fam][before, root] += 1
            before = root
    return {"tones": np.log(tones / tones.sum(1, keepdims=True)), "change": change[:, 1] / change.sum(1),
            "follow": {f: np.log(v / v.sum(1, keepdims=True)) for f, v in follow.items()},
            "share": {f: np.log(v / v.sum()) for f, v in share.items()}}


def chain(t, mode):
    """First, next and last logarithms over the chords of a mode; two chords on one root share its cell.

    Six chorales are mixolydian, too few to count. It has no leading note, so its flat VII and minor v take over a share
    of what V does in major (MIXOLYDIAN; common practice, no source, set by hand)."""
    chords, fam = CHORDS[mode], FAMILY.get(mode, "minor")
    roots = [c[0] for c in chords]
    share, follow = t["share"][fam].copy(), t["follow"][fam].copy()
    part = {"minor": {(7, 1): 0.3}, "dorian": {(7, 0): 0.3}, "mixolydian": {(7, 1): MIXOLYDIAN["v"], (7, 0): MIXOLYDIAN["V"]}}
    less = np.log([part.get(mode, {}).get(c, 1.0) for c in chords])
    if mode == "mixolydian":
        own = np.log(MIXOLYDIAN["flat VII"])
        share[10] = np.logaddexp(share[10], share[7] + own)
        follow[:, 10] = np.logaddexp(follow[:, 10], follow[:, 7] + own)
        follow[10] = np.logaddexp(follow[10], follow[7]) - np.log(2)
    return np.maximum(share[roots], RARE) + less, np.maximum(follow[np.ix_(roots, roots)], RARE) + less[None, :]


def path(r, t, scale):
    chords = CHORDS[r["mode"]]
    first, follow = r["chain"] if "chain" in r else chain(t, r["mode"])
    w = np.array([s[2] for s in r["slots"]])
    e = np.stack([w @ np.roll(t["tones"][k], root) for root, k in chords], 1) * scale
    value, back = first + e[0], np.zeros(e.shape, int)
    for s in range(1, len(e)):
        p = t["change"][r["slots"][s][1]]
        move = value[:, None] + np.log(p) + follow
        np.fill_diagonal(move, value + np.log(1 - p))
        back[s] = move.argmax(0)
        value = move.max(0) + e[s]
    c = int((value + np.array([0.0 if x[0] == 0 else -3.0 for x in chords])).argmax())
    out = [0] * len(e)
    for s in range(len(e) - 1, -1, -1):
        out[s] = chords[c][0]
        c = back[s][c]
    return out


def right(rows, found):
    pairs = [(s[3], f) for r, p in zip(rows, found) for s, f in zip(r["slots"], p) if s[3] is not None]
    return np.mean([a == b for a, b in pairs]), len(pairs)


def best_triads(r):
    """For each measure the diatonic triad that holds most of the weight, the tonic's winning ties."""
    sums = {}
    for _, _, w, _, m in r["slots"]:
        sums[m] = sums.get(m, 0) + np.array(w)
    size = {0: (0, 4, 7), 1: (0, 3, 7), 2: (0, 3, 6)}
    best = {m: max(CHORDS[r["mode"]], key=lambda c: sum(w[(c[0] + d) % 12] for d in size[c[1]]))[0] for m, w in sums.items()}
    return [best[s[4]] for s in r["slots"]]


def load(out):
    return [json.loads(x) for x in (out / "harmony.jsonl").open()]


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--write", action="store_true")
    a.add_argument("--out", type=pathlib.Path, default=CACHE / "features")
    a.add_argument("--keep", action="store_true")
    a = a.parse_args()
    if not a.keep:
        dump(a.out)
    rows = load(a.out)
    fold = np.random.default_rng(SEED).permutation(len(rows)) % FOLDS
    found, chosen = [None] * len(rows), []
    for f in range(FOLDS):
        train = [r for r, k in zip(rows, fold) if k != f]
        t = tables(train)
        scale = max(SCALES, key=lambda s: right(train, [path(r, t, s) for r in train])[0])
        chosen.append(scale)
        for i in np.flatnonzero(fold == f):
            found[i] = path(rows[i], t, scale)
    model, n = right(rows, found)
    print(f"harmony, {len(rows)} chorale sopranos, {n} beats: Viterbi (5 folds) {model:.3f}, as built "
          f"{right(rows, [r['found'] for r in rows])[0]:.3f}, always the tonic {right(rows, [[0] * len(r['slots']) for r in rows])[0]:.3f}, "
          f"best triad per measure {right(rows, [best_triads(r) for r in rows])[0]:.3f}; scales {chosen}")
    if a.write:
        t = tables(rows)
        write(t, max(SCALES, key=lambda s: right(rows, [path(r, t, s) for r in rows])[0]))


def write(t, scale):
    row = lambda v: "[" + ", ".join(f"{x:.3f}" for x in v) + "]"
    src = (ROOT / "src/analysis/harmony_weights.rs").read_text()
    begin, end = "// FITTED, by analysis_fit_harmony.py --write\n", "// END FITTED\n"
    text = [f"/// What the melody's notes are multiplied with against the chords' order.\npub(super) const SCALE: f32 = {scale};\n",
            "/// Logarithm of how likely a soprano note is each degree above the root of a major, minor and\n/// diminished chord.",
            "#[rustfmt::skip]\npub(super) const DEGREES: [[f32; 12]; 3] = ["] + [f"    {row(r)}," for r in t["tones"]] + ["];\n",
            "/// Probability that the chord changes at a beat, by its kind (0 to 3), where the tune has about a\n/// note a beat.",
            f"pub(super) const CHANGE_SLOW: [f32; 4] = {row(t['change'])};\n"]
    for mode, chords in CHORDS.items():
        first, follow = chain(t, mode)
        text += [f"#[rustfmt::skip]\nconst {mode.upper()}: Grammar = Grammar {{", "    chords: &[" + ", ".join(f"({r}, {k})" for r, k in chords) + "],",
                 f"    first: &{row(first)},", "    next: &["] + [f"        &{row(r)}," for r in follow] + ["    ],", "};"]
    a, b = src.index(begin) + len(begin), src.index(end)
    (ROOT / "src/analysis/harmony_weights.rs").write_text(src[:a] + "\n".join(text) + "\n" + src[b:])


if __name__ == "__main__":
    main()
