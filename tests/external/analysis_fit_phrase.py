"""Fits the weights of the phrase model on the chorales' sopranos and writes src/analysis/phrase_weights.rs.

  python tests/external/analysis_fit_phrase.py [--write]

Reference: a phrase ends at a fermata (hidden from the model). Averaged structured perceptron (Collins 2002) from
the weights set by hand, best division by the same dynamic programming as in Rust; five folds, seeded. Printed
beside it: the hand-set weights, boundaries after rests, and a two-bar grid shifted by the pickup.
The figures of lyrics and fermatas aren't fitted (the chorales' sopranos rarely have words): set by hand.
"""
import argparse, json, pathlib
import numpy as np
from analysis_fit_key import CACHE, FOLDS, ROOT, SEED, dump

MOST = 64
HAND = (np.array([-3.0, 1.0, 0.7, 1.2, 0.6, 0.5, 1.0, 0.2, 2.0, 0.3, 0.3, 0.2, 1.5, 0.8, 0.5, 0.3, 0.2, 0.3, 5.0, 3.0, 1.5, 0.7]),
        np.array([-1.0, -3.0, -0.5, -0.5, 0.7, 0.5, 0.5, -2.0]))
FITTED = 18  # boundary figures before those of fermatas and lyrics
EPOCHS, RATE = 12, 0.02


def lengths(places):
    """The length figures of every stretch i..j as Rust makes them (src/analysis/phrase.rs, length_score)."""
    p = np.array(places, dtype=np.float64)
    beats = p[None, :, 0] - p[:, None, 0]
    bars = p[None, :, 1] - p[:, None, 1]
    n = len(p)
    notes = np.arange(n)[None, :] - np.arange(n)[:, None]
    short = np.maximum(8 - beats, 0) / 8
    long = np.minimum(np.maximum(beats - 8, 0) / 8, 2)
    near = np.round(bars)
    whole = abs(bars - near) < 0.02
    return np.stack([short, short ** 2, long, long ** 2, whole, whole & ((near == 2) | (near == 4)), abs(beats - 8) < 0.02, notes < 4], 2).astype(float)


def divide(b, l, w, extra=None):
    n = len(b)
    own = b @ w[0]
    pair = l @ w[1]
    best, back = np.full(n + 1, -np.inf), np.zeros(n + 1, int)
    best[0] = 0
    for j in range(1, n + 1):
        lo = max(0, j - MOST)
        v = best[lo:j] + pair[lo:j, j]
        k = int(v.argmax())
        best[j], back[j] = v[k], lo + k
        if j < n:
            best[j] += own[j] + (extra[j] if extra is not None else 0)
    out, j = [], n
    while j > 0:
        j = back[j]
        out.append(j)
    return out[::-1]


def totals(starts, b, l):
    starts = [0] + [s for s in starts if s]
    ends = starts[1:] + [len(b)]
    return b[starts[1:]].sum(0), sum(l[i, j] for i, j in zip(starts, ends))


def train(rows, seed=SEED):
    w = [HAND[0].copy(), HAND[1].copy()]
    sums, count, rng = [np.zeros_like(HAND[0]), np.zeros_like(HAND[1])], 0, np.random.default_rng(seed)
    for _ in range(EPOCHS):
        for i in rng.permutation(len(rows)):
            r = rows[i]
            extra = np.full(len(r["b"]), 1.0)
            extra[r["starts"]] = -1.0
            found = divide(r["b"], r["l"], w, extra)
            good, bad = totals(r["starts"], r["b"], r["l"]), totals(found, r["b"], r["l"])
            step = good[0] - bad[0]
            step[FITTED:] = 0
            w[0] += RATE * step
            w[1] += RATE * (good[1] - bad[1])
            sums[0] += w[0]
            sums[1] += w[1]
            count += 1
    return [s / count for s in sums]


def f1(rows, found):
    both = sum(len(set(r["starts"]) & (set(f) - {0})) for r, f in zip(rows, found))
    of = sum(len(r["starts"]) for r in rows) + sum(len(set(f) - {0}) for f in found)
    return 2 * both / of


def grid(r):
    """First note at or after every second measure, counted from the pickup."""
    turn = lambda i: np.floor((r["places"][i][1] - r["places"][0][1]) / 2 + 1e-3)
    return [i for i in range(1, len(r["b"])) if turn(i) > turn(i - 1)]


def load(out):
    rows = [json.loads(x) for x in (out / "phrase.jsonl").open()]
    for r in rows:
        r["b"], r["l"] = np.array(r["rows"]), lengths(r["places"])
    return rows


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
    found = [None] * len(rows)
    for f in range(FOLDS):
        w = train([r for r, k in zip(rows, fold) if k != f])
        for i in np.flatnonzero(fold == f):
            found[i] = divide(rows[i]["b"], rows[i]["l"], w)
    print(f"phrases, {len(rows)} chorale sopranos: fitted (5 folds) F1 {f1(rows, found):.3f}, by hand "
          f"{f1(rows, [divide(r['b'], r['l'], HAND) for r in rows]):.3f}, after rests "
          f"{f1(rows, [np.flatnonzero(r['b'][:, 1]) for r in rows]):.3f}, two-bar grid {f1(rows, [grid(r) for r in rows]):.3f}")
    if a.write:
        w = train(rows)
        names = json.loads((a.out / "cases.jsonl").open().readline())
        text = ["//! The weights of the phrase model. Made by `python tests/external/analysis_fit_phrase.py --write`:",
                "//! fitted on the sopranos of music21's Bach chorales, a fermata being a phrase's end; those of fermatas",
                "//! and lyrics are set by hand (no data behind them). See DEVELOPERS.md for the figures.", "",
                "use super::phrase::{BOUNDARIES, LENGTHS};", ""]
        for const, kind, size, v in (("BOUNDARY", "PHRASE_FEATURES", "BOUNDARIES", w[0]), ("LENGTH", "LENGTH_FEATURES", "LENGTHS", w[1])):
            text += [f"/// For each of [`super::phrase::{kind}`].", "#[rustfmt::skip]", f"pub(super) const {const}: [f32; {size}] = ["]
            text += [f"    {x:.3f}, // {n}" for x, n in zip(v, names["boundary" if size == "BOUNDARIES" else "length"])] + ["];", ""]
        (ROOT / "src/analysis/phrase_weights.rs").write_text("\n".join(text[:-1]) + "\n")


if __name__ == "__main__":
    main()
