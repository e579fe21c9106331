#!/usr/bin/env python3
"""How many folk tunes fit the starter kit, through `barwright fit --json`.

Reads a folder of MusicXML tunes (the first argument or BARWRIGHT_TUNES; else music21's folk tunes, written by music21
into the cache; tunes are never kept in the repository), asks `fit` four times about all of them in one call each, checks every
"fits" note by note against the handbook's bars (written out again here, from the handbook and not from barwright),
and prints the table of DEVELOPERS.md.

    BARWRIGHT=target/release/barwright fit_table.py [DIR] [--quick]

--quick: 45 tunes. Exit 1 where a tune is said to fit and a note has no bar.
"""
import json
import os
import pathlib
import re
import subprocess
import sys
import time

from _figures import folk_tunes

BINARY = os.environ.get("BARWRIGHT", "target/release/barwright")
# Handbook, "The instruments": lowest and highest bar (MIDI), for the kinds of the starter kit.
COMPASS = {"soprano glockenspiel": (84, 105), "alto glockenspiel": (72, 96), "soprano xylophone": (72, 93),
           "soprano metallophone": (72, 93), "alto xylophone": (60, 84), "alto metallophone": (60, 84),
           "bass xylophone": (48, 69), "bass metallophone": (48, 69)}
NATURAL = {0, 2, 4, 5, 7, 9, 11}
STEP = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def midi(name):
    letter, signs, octave = re.fullmatch(r"([A-G])([#b]*)(-?\d+)", name).groups()
    return 12 * (int(octave) + 1) + STEP[letter] + signs.count("#") - signs.count("b")


def call(files, *options):
    began = time.monotonic()
    run = subprocess.run([BINARY, "fit", *files, "--json", *options], capture_output=True, text=True)
    if run.returncode not in (0, 3):
        sys.exit(f"fit {' '.join(options)}: exit {run.returncode}: {run.stderr.strip()}")
    return {song["song"]: song for song in json.loads(run.stdout)["songs"]}, time.monotonic() - began


def standing(setup):
    """The bars that a setup has up, each checked against the handbook: its own slot's natural, or F sharp for F, B flat
    for B of the same octave."""
    low, high = COMPASS[setup["kind"]]
    bars = set()
    for row in setup["bars"]:
        slot = midi(row["slot"])
        if slot % 12 not in NATURAL or not low <= slot <= high:
            return None
        if row["state"] == "keep":
            bars.add(slot)
        elif row["state"] == "swap":
            bar = midi(row["bar"])
            if (slot % 12, bar - slot) not in ((5, 1), (11, -1)):
                return None
            bars.add(bar)
    return bars


def melody_of(path):
    run = subprocess.run([BINARY, "inspect", path, "--json"], capture_output=True, text=True, check=True)
    report = json.loads(run.stdout)
    part = next(p for p in report["parts"] if p["id"] == report["melody"]["part"])
    top = {}
    for note in part["notes"]:
        if not note.get("grace") and note["voice"] == report["melody"]["voice"]:
            # Of a chord the melody is the highest note.
            top[note["onset"]] = max(note["midi"], top.get(note["onset"], 0))
    return list(top.values())


def main():
    arguments = [a for a in sys.argv[1:] if a != "--quick"]
    quick = "--quick" in sys.argv
    folder = arguments[0] if arguments else os.environ.get("BARWRIGHT_TUNES") or folk_tunes(45 if quick else 1000)
    files = sorted(str(p) for p in pathlib.Path(folder).glob("*.musicxml"))[: 45 if quick else 1000]
    if not files:
        sys.exit("no .musicxml files: name a folder of tunes")
    own, _ = call(files, "--transpose", "none")
    other, seconds = call(files)
    changed, _ = call(files, "--changed-notes", "1000")
    rows = dict.fromkeys(["own key", "another key", "shared or bars moved", "up to 5 % changed", "not at all"], 0)
    faults = 0
    alone = lambda song: song["verdict"] != "does not fit" and len(song["options"][0]["setups"]) == 1
    for name, song in own.items():
        any_key = other[name]
        if alone(song):
            rows["own key"] += 1
        elif alone(any_key):
            rows["another key"] += 1
        elif any_key["verdict"] != "does not fit":
            rows["shared or bars moved"] += 1
        else:
            path = next(f for f in files if f.endswith(name) or pathlib.Path(f).stem == name)
            notes = len(melody_of(path))
            few = [o for o in changed[name]["options"] if o["changed_notes"] <= notes / 20]
            rows["up to 5 % changed" if few and changed[name]["verdict"] != "does not fit" else "not at all"] += 1
        if alone(any_key):
            best = any_key["options"][0]
            bars = standing(best["setups"][0])
            shift = best["transpose"] + 12 * best["melody"]["octave_shift"]
            path = next((f for f in files if f.endswith(name) or pathlib.Path(f).stem == name), None)
            if bars is None or (path and not {m + shift for m in melody_of(path)} <= bars):
                print("said to fit and does not:", name)
                faults += 1
    total = sum(rows.values())
    for what, count in rows.items():
        print(f"{what:22} {count:5} {100 * count / total:5.1f} %")
    print(f"{total} tunes, {faults} faults, {seconds:.2f} s for the call in any key")
    sys.exit(1 if faults or not total else 0)


if __name__ == "__main__":
    main()
