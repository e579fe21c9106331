#!/usr/bin/env python3
"""Speed of the whole pipeline beside partitura and music21: CPU time a tune, on folk tunes of
music21's corpora as MusicXML (made by music21 itself), same files, same run.

Run: BARWRIGHT=target/release/barwright python concert_bench.py [--quick] [--tunes FOLDER]
Quick form: 45 tunes; full form: 2,000 (issue 8). Tunes: a folder of .musicxml files, or made here.
The bare parse of roxmltree is `cargo bench --bench import` (its figure can be given with
--bare-microseconds, to print the ratio too). Exits non-zero where the whole pipeline without staff
notation is not at least 8 times cheaper than music21's parse and key.
"""
import argparse
import os
import pathlib
import resource
import statistics
import subprocess
import sys
import tempfile
import time

from _figures import folk_tunes

ROOT = pathlib.Path(__file__).resolve().parents[2]
BIN = os.environ.get("BARWRIGHT", str(ROOT / "target/release/barwright"))


def child_cpu(*args):
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    began = time.monotonic()
    got = subprocess.run(args, capture_output=True, text=True)
    wall = time.monotonic() - began
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    assert got.returncode in (0, 3, 4), got.stderr[-500:]
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return cpu, wall, after.ru_maxrss / 1024


def main():
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--quick", action="store_true")
    ask.add_argument("--tunes", type=pathlib.Path)
    ask.add_argument("--count", type=int)
    ask.add_argument("--bare-microseconds", type=float)
    ask = ask.parse_args()
    count = ask.count or (45 if ask.quick else 2000)
    with tempfile.TemporaryDirectory() as work:
        work = pathlib.Path(work)
        folder = ask.tunes
        if folder is None:
            folder = folk_tunes(count)
        files = sorted(folder.glob("*.musicxml"))[:count]
        import warnings

        warnings.simplefilter("ignore")
        import music21
        import partitura

        peers = {
            "partitura parse": lambda f: partitura.load_musicxml(str(f)),
            "music21 parse and key": lambda f: music21.converter.parse(
                f, format="musicxml", forceSource=True
            ).analyze("key"),
        }
        table = {}
        for name, job in peers.items():
            times = []
            for file in files:
                began = time.process_time()
                try:
                    job(file)
                except Exception:
                    continue
                times.append(time.process_time() - began)
            table[name] = statistics.median(times) * 1e3
        # One process over all files; its mean a tune, the median of three runs. A large set streams
        # through: more than 200 files, so small sets are repeated as copies.
        streamed = work / "streamed"
        streamed.mkdir()
        copies = -(-201 // len(files))
        for n in range(copies):
            for file in files:
                os.link(file, streamed / f"{n}-{file.name}") if file.stat().st_dev == work.stat().st_dev \
                    else (streamed / f"{n}-{file.name}").write_bytes(file.read_bytes())
        songs = len(files) * copies
        runs = []
        walls = {}
        for jobs in ("1", "1", "1", "2"):
            with tempfile.TemporaryDirectory(dir=work) as out:
                cpu, wall, peak = child_cpu(
                    BIN, "concert", str(streamed), "--out", out, "--no-staff", "--jobs", jobs
                )
                walls[jobs] = min(wall, walls.get(jobs, wall))
                if jobs == "1":
                    runs.append(cpu / songs * 1e3)
        table["barwright, whole pipeline without staff"] = statistics.median(runs)
        if ask.bare_microseconds:
            table["roxmltree bare parse"] = ask.bare_microseconds / 1e3
        print(f"{len(files)} tunes, {songs} songs in the concert; CPU ms a tune")
        for name, value in table.items():
            print(f"  {name:45} {value:8.3f}")
        print(f"  2 jobs are {walls['1'] / walls['2']:.2f} times as fast as 1; peak memory {peak:.0f} MB")
        ratio = table["music21 parse and key"] / table["barwright, whole pipeline without staff"]
        print(f"  {ratio:.1f} times cheaper than music21's parse and key (wanted: 8)")
        return 0 if ratio >= 8 else 1


if __name__ == "__main__":
    sys.exit(main())
