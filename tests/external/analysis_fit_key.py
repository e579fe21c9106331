"""Fits the weights of the key model and writes src/analysis/key_weights.rs.

  python tests/external/analysis_cache.py        # once: the note tables
  python tests/external/analysis_fit_key.py      # prints the cross-validated figures
  python tests/external/analysis_fit_key.py --write

The features come from Rust (src/analysis/dump.rs, an ignored test). The model is a softmax over the 84
candidates whose score is a weighted sum of the features; loss: -ln(probability of the labelled key + 0.02)
(the 0.02 keeps single wrong K: fields from bending the weights) with an L2 penalty, by L-BFGS from zero. Five folds, seeded, tunes of one title always in one fold. A
chorale's soprano counts three times: those are the only sung melodies, the rest are fiddle tunes; the penalty is
the one with which weights fitted on the fiddle tunes alone did best on the sopranos (tonic .949; .915 at 1e-4).
Once with the features of the signature left out, once with them. Every collection counts; a folk tune counts
twice, as it is and without double bars, repeats and (every other one) pickup, as a MIDI file would have it; a chorale
counts twice, as its soprano alone and with all parts. The temperature is fitted on the held-out scores of all folds.
"""
import argparse, json, os, pathlib, re, subprocess, sys
import numpy as np
import _figures
from scipy.optimize import minimize

ROOT = pathlib.Path(__file__).resolve().parents[2]
CACHE = _figures.CACHE / "analysis"
FOLDS, SEED, PENALTY, WRONG, SUNG = 5, 7, 1.5e-3, 0.02, 3.0
MODES = ["major", "minor", "dorian", "phrygian", "lydian", "mixolydian", "locrian"]
MINOR = np.array([0, 1, 1, 1, 0, 0, 1])  # family by third (phrygian, locrian with minor)


def dump(out, end=""):
    """Runs the ignored test that writes the features."""
    out.mkdir(parents=True, exist_ok=True)
    env = dict(os.environ, BARWRIGHT_TABLES=str(CACHE), BARWRIGHT_OUT=str(out), BARWRIGHT_END=end)
    subprocess.run(["cargo", "test", "-q", "--no-default-features", "--lib", "analysis::dump::dump", "--", "--ignored"],
                   cwd=ROOT, env=env, check=True, stdout=subprocess.DEVNULL)


def load(out, end=""):
    """Feature names, cases with a label, their features and the number of the labelled candidate."""
    lines = (out / "cases.jsonl").read_text(encoding="utf-8").splitlines()
    names = json.loads(lines[0])["features"]
    cases = [json.loads(x) for x in lines[1:]]
    x = np.fromfile(out / "key.f32", dtype="<f4").reshape(len(cases), 84, len(names))
    finals = chorale_labels(end)
    keep = []
    for i, c in enumerate(cases):
        if c["kind"] not in ("folk", "bare"):
            if (found := finals.get(c["name"])) is None:
                continue
            c["tonic"], c["mode"] = (found[0] + c["by"]) % 12, MODES.index(found[1])
        keep.append(i)
    cases = [cases[i] for i in keep]
    return names, cases, x[keep], np.array([c["tonic"] * 7 + c["mode"] for c in cases])


def chorale_labels(end=""):
    """The key of each chorale: the last bass note, with the mode that the signature gives it.

    The `mode` that the chorales' encoders wrote knows only major and minor and takes a dorian chorale on D
    without a flat for A minor: 78 of 326 disagree with the last bass note. Left out: chorales whose last bass
    note would be phrygian or lydian (they end on a half close), and those on the fifth of the encoder's key.
    """
    step = dict(C=0, D=2, E=4, F=5, G=7, A=9, B=11)
    number = lambda n: (step[n[0]] + n.count("#") - n[1:].count("b")) % 12
    labels = {}
    for line in (CACHE / f"chorales{end}.jsonl").open(encoding="utf-8"):
        row = json.loads(line)
        last = number(row["parts"][-1][-1][2].rstrip("-0123456789"))
        place = (last * 7 - row["fifths"]) % 12
        mode = {0: "major", 1: "mixolydian", 2: "dorian", 3: "minor"}.get(place)
        if mode and not (last - number(row["tonic"])) % 12 == 7:
            labels[row["name"]] = (last, mode)
    return labels


def folds(cases):
    """Fold of each case: by title without its number, so that a tune and its doubles stay together."""
    titles = json.loads((CACHE / "titles.json").read_text()) if (CACHE / "titles.json").exists() else {}
    if not titles:
        for f in ("folk", "chorales"):
            for line in (CACHE / f"{f}.jsonl").open(encoding="utf-8"):
                row = json.loads(line)
                t = re.sub(r"\W+", "", re.sub(r"\d+|\bthe\b|\b(jig|reel|hornpipe|clog|strathspey)\b", "", row["title"].lower()))
                titles[row["name"]] = t or row["name"]
        (CACHE / "titles.json").write_text(json.dumps(titles))
    groups = sorted(set(titles.get(c["name"], c["name"]) for c in cases))
    of = dict(zip(groups, np.random.default_rng(SEED).permutation(len(groups)) % FOLDS))
    return np.array([of[titles.get(c["name"], c["name"])] for c in cases])


def softmax(s):
    e = np.exp(s - s.max(1, keepdims=True))
    return e / e.sum(1, keepdims=True)


def fit(x, y, weight=None):
    n = len(x)
    weight = np.ones(n) if weight is None else weight / weight.mean()
    scale = x.reshape(-1, x.shape[2]).std(0) + 1e-6
    z = (x / scale).astype(np.float32)
    flat, rows = z.reshape(n * 84, -1), np.arange(n)

    def loss(w):
        p = softmax((flat @ w.astype(np.float32)).reshape(n, 84).astype(np.float64))
        right = p[rows, y]
        g = p.copy()
        g[rows, y] -= 1
        # A label that the model finds next to impossible is likelier a wrong label than a teacher.
        g *= (weight * right / (right + WRONG))[:, None]
        grad = (flat.T @ g.reshape(-1).astype(np.float32)) / n + 2 * PENALTY * w
        return -(weight * np.log(right + WRONG)).mean() + PENALTY * (w * w).sum(), grad.astype(np.float64)

    w = minimize(loss, np.zeros(z.shape[2]), jac=True, method="L-BFGS-B", options={"maxiter": 150}).x
    return w / scale


def temperature(scores, y):
    best = min(np.linspace(0.6, 1.8, 61), key=lambda t: -np.log(softmax(scores / t)[np.arange(len(y)), y] + 1e-12).mean())
    return float(best)


def calibration(p, y):
    conf, right = p.max(1), p.argmax(1) == y
    edges = np.clip((conf * 10).astype(int), 0, 9)
    ece = sum(abs(conf[edges == b].mean() - right[edges == b].mean()) * (edges == b).mean() for b in range(10) if (edges == b).any())
    sure = conf >= 0.9
    return ece, right[sure].mean() if sure.any() else 0, sure.mean()


def report(what, p, y):
    k = p.argmax(1)
    tonic = k // 7 == y // 7
    key = tonic & (MINOR[k % 7] == MINOR[y % 7])
    ece, sure, share = calibration(p, y)
    print(f"  {what:34s} n {len(y):4d}  tonic {tonic.mean():.3f}  key {key.mean():.3f}  mode {(k == y).mean():.3f}"
          f"  ECE {ece:.3f}  >=.9: {sure:.3f} right of {share:.2f}")
    return tonic.mean(), key.mean(), (k == y).mean(), ece, sure


def groups(cases):
    kind = np.array([c["kind"] for c in cases])
    col = np.array([c["collection"] for c in cases])
    dance = (col == "ryansMammoth") | (col == "oneills1850")
    return {"ryansMammoth + oneills1850": dance & (kind == "folk"), "airdsAirs": (col == "airdsAirs") & (kind == "folk"),
            "ryans + oneills, bare of signs": dance & (kind == "bare"), "chorale sopranos": kind == "soprano", "chorales, four parts": kind == "parts"}


def importance(cases):
    return np.array([SUNG if c["kind"] == "soprano" else 1.0 for c in cases])


def cross_validated(x, y, fold, ok, weight):
    scores = np.zeros((len(y), 84))
    for f in range(FOLDS):
        train = fold != f
        w = fit(x[train][:, :, ok], y[train], weight[train])
        scores[~train] = x[~train][:, :, ok] @ w
    return scores


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--write", action="store_true")
    a.add_argument("--out", type=pathlib.Path, default=CACHE / "features")
    a.add_argument("--keep", action="store_true", help="use the features dumped last time")
    a = a.parse_args()
    if not a.keep:
        dump(a.out)
    names, cases, x, y = load(a.out)
    fold, parts = folds(cases), groups(cases)
    weights, temps = [], []
    for signature in (False, True):
        ok = np.array([signature or "signature" not in n for n in names])
        scores = cross_validated(x, y, fold, ok, importance(cases))
        t = temperature(scores, y)
        p = softmax(scores / t)
        print("with the signature" if signature else "notes only", f"(temperature {t:.2f})")
        for g, at in parts.items():
            report(g, p[at], y[at])
        w = np.zeros(len(names))
        w[ok] = fit(x[:, :, ok], y, importance(cases))
        weights.append(w)
        temps.append(t)
        np.save(a.out / f"cv{int(signature)}.npy", p)
    if a.write:
        write(names, weights, temps, len(cases))


def degree_scores():
    """Logarithm of the share of a tune's time that each degree has, by mode; modes with few tunes change the
    degrees of major or minor that differ."""
    step = dict(C=0, D=2, E=4, F=5, G=7, A=9, B=11)
    number = lambda n: (step[n[0]] + n.count("#") - n[1:].count("b")) % 12
    sums = {m: np.full(12, 0.5) for m in MODES}
    for line in (CACHE / "folk.jsonl").open(encoding="utf-8"):
        row = json.loads(line)
        hist, tonic = np.zeros(12), number(row["tonic"])
        for _, length, pitch, _ in row["parts"][0]:
            hist[(number(pitch.rstrip("-0123456789")) - tonic) % 12] += length
        sums[row["mode"]] += hist / hist.sum()
    for mode, usual, changes in (("phrygian", "minor", [(2, 1)]), ("lydian", "major", [(5, 6)]), ("locrian", "minor", [(2, 1), (7, 6)])):
        sums[mode] = sums[usual].copy()
        for a, b in changes:
            sums[mode][[a, b]] = sums[mode][[b, a]]
    return [np.log(sums[m] / sums[m].sum()) for m in MODES]


def write(names, weights, temps, n):
    out = ['//! The weights of the key model, one for each of [`super::key_features::FEATURE_NAMES`]. Made by',
           '//! `python tests/external/analysis_fit_key.py --write`; not to be changed by hand.', '//!',
           f'//! Fitted on {n} cases: the tunes of music21\'s ABC collections `ryansMammoth`, `oneills1850` and',
           '//! `airdsAirs` with their K: fields (each as it is and bare of double bars and pickup), and its Bach chorales, each as soprano alone and with all four',
           '//! parts, every one transposed at random. See DEVELOPERS.md for the figures.', '',
           'use super::key_features::Row;', '']
    for const, doc, w in (("NOTES", "Without the signature.", weights[0]), ("WITH_SIGNATURE", "With the signature.", weights[1])):
        out += [f"/// {doc}", "#[rustfmt::skip]", f"pub(super) const {const}: Row = ["]
        out += [f"    {v:.3f}, // {name}" for v, name in zip(w, names)] + ["];", ""]
    out += ["/// Logarithm of the share of a tune's time that each degree (semitones above the tonic) has, by mode in the",
            "/// order of `Mode::ALL`: counted in the folk tunes; phrygian, lydian and locrian (few tunes) from minor and",
            "/// major with the degrees changed that differ.", "#[rustfmt::skip]",
            "pub(super) const DEGREE_SCORES: [[f32; 12]; 7] = ["]
    out += ["    [" + ", ".join(f"{v:.3f}" for v in row) + "]," for row in degree_scores()] + ["];", ""]
    out += ["/// What the scores are divided by before they become probabilities, without and with the signature:",
            "/// fitted on the held-out scores of the five folds.",
            f"pub(super) const TEMPERATURE: [f32; 2] = [{temps[0]:.2f}, {temps[1]:.2f}];", ""]
    (ROOT / "src/analysis/key_weights.rs").write_text("\n".join(out))
    print("written", file=sys.stderr)


if __name__ == "__main__":
    main()
