"""What the external checks share: how a figure is judged, the cache folder, folk tunes as MusicXML. No check itself."""
import os
import pathlib
import shutil
import sys

CACHE = pathlib.Path(os.environ.get("BARWRIGHT_CACHE") or
                     pathlib.Path(os.environ.get("XDG_CACHE_HOME", pathlib.Path.home() / ".cache")) / "barwright")
_REGRESSIONS = []


def judge(what, value, target, floor=None, highest=False):
    """Compares a figure with its issue's target and with the floor.

    target: what the issue asks for; a figure that misses it is printed as NOT REACHED.
    floor: what was measured when the check was written; only a figure below it (`highest`: above it) fails the
    check. None where the target has been reached: then the target is the floor.
    """
    misses = (lambda bound: value > bound) if highest else (lambda bound: value < bound)
    floor = target if floor is None else floor
    side = "at most" if highest else "at least"
    if target is not None and misses(target):
        print(f"NOT REACHED {what}: {value:.4g}, the issue asks for {side} {target:.4g} (floor: {floor:.4g})")
    if misses(floor) or value != value:
        fail(f"{what}: {value:.4g}, should be {side} {floor:.4g}")


def fail(text):
    """Something that is wrong, or worse than before."""
    _REGRESSIONS.append(text)
    print("BOUND FAILED", text)


def leave():
    """Ends the check: 1 where something failed."""
    sys.stdout.flush()
    sys.exit(bool(_REGRESSIONS))


def folk_tunes(count, seed=7, held_out=False):
    """A folder in the cache with `count` folk tunes of music21 as MusicXML, made once. Its files are named by collection
    and number, so that the same seed always gives the same tunes. held_out: none on which the arranger was tuned."""
    import arrange_table

    folder = CACHE / "folk-tunes" / f"{count}-seed-{seed}{'-held-out' if held_out else ''}"
    if not folder.exists():
        made = folder.with_name(f"{folder.name}.part-{os.getpid()}")
        made.mkdir(parents=True)
        arrange_table.export(made, count, seed, held_out)
        try:
            made.rename(folder)
        except OSError:  # another check made it meanwhile
            shutil.rmtree(made)
    return folder
