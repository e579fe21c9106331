"""Writes fixtures/midi: small MIDI files byte by byte, each with the notes that a reader must find.

  python tests/external/midi_fixtures.py          (from the project's root; needs nothing but Python)

The bytes follow Standard MIDI Files 1.0; the expected notes are written here by hand, from what the
bytes mean, never from what barwright reads. STEM.notes holds one fact a line:
  part ID NAME | note ID ONSET DURATION PITCH [grace] [LYRIC:b|m|e|s] | pickup T | measures N | title TEXT
  meter T B/T | key T FIFTHS | tempo T BPM | unpitched ID | program ID N | warning TEXT | no-warnings | error TEXT
"""
import pathlib, struct

OUT = pathlib.Path("fixtures/midi")
END = b"\x00\xff\x2f\x00"

def vlq(n):
    out = [n & 0x7F]
    while n := n >> 7:
        out.append(n & 0x7F | 0x80)
    return bytes(reversed(out))

def chunk(kind, body, length=None):
    return kind + struct.pack(">I", len(body) if length is None else length) + body

def head(fmt, tracks, division):
    return chunk(b"MThd", struct.pack(">HHH", fmt, tracks, division))

def meta(kind, data):
    return bytes([0xFF, kind]) + vlq(len(data)) + data

def tempo(bpm): return meta(0x51, struct.pack(">I", round(60e6 / bpm))[1:])
def meter(upper, power): return meta(0x58, bytes([upper, power, 24, 8]))
def key(fifths, minor=0): return meta(0x59, struct.pack("bB", fifths, minor))
def name(text): return meta(0x03, text if isinstance(text, bytes) else text.encode())
def lyric(text): return meta(0x05, text if isinstance(text, bytes) else text.encode())
def text(t): return meta(0x01, t if isinstance(t, bytes) else t.encode())
def on(k, ch=0): return bytes([0x90 | ch, k, 80])
def off(k, ch=0): return bytes([0x80 | ch, k, 0])

def events(*pairs):
    """Events at absolute ticks, in the order given where ticks are equal."""
    out, now = b"", 0
    for tick, data in sorted(pairs, key=lambda p: p[0]):
        out += vlq(tick - now) + data
        now = tick
    return out

def track(*pairs, end=END): return chunk(b"MTrk", events(*pairs) + end)
def notes(*rows, ch=0):
    """(on, off, key) rows as events; ends before strokes at the same tick."""
    ev = [(b, 0, off(k, ch)) for a, b, k in rows] + [(a, 1, on(k, ch)) for a, b, k in rows]
    return [(t, d) for t, _, d in sorted(ev, key=lambda e: e[:2])]

HEAD = [(0, tempo(100)), (0, meter(4, 2)), (0, key(0))]
FOUR = [(0, 96, 60), (96, 192, 62), (192, 288, 64), (288, 384, 65)]
FOUR_NOTES = ["note P1 0 1 C4", "note P1 1 1 D4", "note P1 2 1 E4", "note P1 3 1 F4"]
CASES = {}

def case(stem, data, *facts): CASES[stem] = (data, list(facts))

case("format-0", head(0, 1, 96) + track(*HEAD, *notes(*FOUR)),
     "meter 0 4/4", "key 0 0", "tempo 0 100", "measures 1", "pickup 0", *FOUR_NOTES, "no-warnings")
case("format-0-channels", head(0, 1, 96) + track((0, name("Harbour")), *HEAD, *notes(*FOUR), *notes((0, 384, 48), ch=3)),
     "title Harbour", "part P1 Channel 1", "part P2 Channel 4", *FOUR_NOTES, "note P2 0 4 C3", "no-warnings")
case("format-1", head(1, 3, 96) + track((0, name("Harbour")), *HEAD) + track((0, name("Voice")), *notes(*FOUR)) + track((0, name("Bass")), (0, b"\xc1\x20"), *notes((0, 384, 48), ch=1)),
     "title Harbour", "part P1 Voice", "part P2 Bass", "program P2 32", *FOUR_NOTES, "note P2 0 4 C3", "no-warnings")
case("format-2", head(2, 2, 96) + track(*HEAD, *notes(*FOUR)) + track(*notes((0, 192, 67))),
     *FOUR_NOTES, "note P2 4 2 G4", "warning patterns")
case("one-channel", head(1, 3, 96) + track(*HEAD) + track((0, name("High")), *notes(*FOUR)) + track((0, name("Low")), *notes((0, 384, 48))),
     "part P1 High", "part P2 Low", *FOUR_NOTES, "note P2 0 4 C3", "no-warnings")
case("drums", head(1, 3, 96) + track(*HEAD) + track(*notes(*FOUR)) + track((0, name("Kit")), *notes((0, 10, 36), (96, 106, 38), ch=9)),
     "unpitched P2", "part P2 Kit", *FOUR_NOTES, "no-warnings")
case("smpte-25", head(1, 1, 0xE728) + track((0, tempo(60)), (0, meter(4, 2)), *notes((0, 1000, 60), (1000, 1500, 62), (1500, 2000, 64), (2000, 4000, 65))),
     "note P1 0 1 C4", "note P1 1 1/2 D4", "note P1 3/2 1/2 E4", "note P1 2 2 F4", "warning seconds")
case("smpte-29", head(1, 1, 0xE364) + track((0, meter(4, 2)), *notes((0, 1499, 60), (1499, 2997, 62))),
     "note P1 0 1 C4", "note P1 1 1 D4", "warning seconds")
case("running-status", head(1, 1, 96) + chunk(b"MTrk", events(*HEAD) + b"\x00\x90\x3c\x50\x60\x3c\x00\x00\x3e\x50\x60\x3e\x00" + END),
     "note P1 0 1 C4", "note P1 1 1 D4", "no-warnings")
case("running-status-broken-by-meta", head(1, 1, 96) + track(*HEAD, (0, on(60)), (96, b"\x3c\x00"), (96, lyric("x")), (96, on(62)), (192, b"\x3e\x00")),
     "note P1 0 1 C4", "note P1 1 1 D4 x:s", "no-warnings")
case("overlapping-equal-pitches", head(1, 1, 96) + track(*HEAD, (0, on(60)), (48, on(60)), (96, off(60)), (192, off(60))),
     "note P1 0 1 C4", "note P1 1/2 3/2 C4")
case("struck-again-a-tick-early", head(1, 1, 480) + track(*HEAD, (0, on(60)), (479, on(60)), (480, off(60)), (960, off(60))),
     "note P1 0 1 C4", "note P1 1 1 C4", "no-warnings")
case("struck-again-without-end", head(1, 1, 96) + track(*HEAD, (0, on(60)), (96, on(60)), (192, off(60))),
     "note P1 0 1 C4", "note P1 1 1 C4")
case("note-without-end", head(1, 1, 96) + track(*HEAD, (0, on(60)), (192, text("end"))),
     "note P1 0 2 C4", "warning without an end")
case("note-without-end-gives-way", head(1, 1, 96) + track(*HEAD, (0, on(72)), (96, on(62)), (192, off(62)), (192, on(64)), (288, off(64))),
     "note P1 0 1 C5", "note P1 1 1 D4", "note P1 2 1 E4", "warning without an end")
case("grace-note-ended-before-struck", head(1, 1, 96) + track(*HEAD, (0, on(60)), (96, off(60)), (96, off(67)), (96, on(67)), (96, on(65)), (192, off(65)), (192, on(67)), (288, off(67))),
     "note P1 0 1 C4", "note P1 1 0 G4 grace", "note P1 1 1 F4", "note P1 2 1 G4", "no-warnings")
case("stray-end", head(1, 1, 96) + track(*HEAD, (0, off(61)), *notes(*FOUR)), *FOUR_NOTES, "no-warnings")
case("sysex-and-escape", head(1, 1, 96) + track(*HEAD, (0, b"\xf0\x05\x7e\x7f\x09\x01\xf7"), (0, b"\xf7\x02\xf3\x01"), *notes(*FOUR)), *FOUR_NOTES, "no-warnings")
case("unknown-chunks", head(1, 1, 96) + chunk(b"XFIH", b"abc") + track(*HEAD, *notes(*FOUR)) + chunk(b"ZZZZ", b""), *FOUR_NOTES, "no-warnings")
case("long-header", chunk(b"MThd", struct.pack(">HHH", 1, 1, 96) + b"more") + track(*HEAD, *notes(*FOUR)), *FOUR_NOTES, "no-warnings")
case("riff", b"RIFF" + struct.pack("<I", 200) + b"RMIDdata" + struct.pack("<I", 150) + head(1, 1, 96) + track(*HEAD, *notes(*FOUR)), *FOUR_NOTES)
full = head(1, 1, 96) + track(*HEAD, *notes(*FOUR))
case("truncated", full[:-12], "note P1 0 1 C4", "note P1 1 1 D4", "note P1 2 1 E4", "warning the file ends after")
body = events(*HEAD, *notes(*FOUR)) + END
second = track((0, name("Second")), *notes((0, 384, 48)))
case("length-too-long", head(1, 2, 96) + chunk(b"MTrk", body, len(body) + 30) + second, *FOUR_NOTES, "note P2 0 4 C3", "warning says it has")
case("length-too-short", head(1, 2, 96) + chunk(b"MTrk", body, len(body) - 12) + second, *FOUR_NOTES, "note P2 0 4 C3", "warning says it has")
case("length-4-gigabytes", head(1, 1, 96) + chunk(b"MTrk", body, 0xFFFFFFFF), *FOUR_NOTES, "warning 4294967295 bytes")
case("no-end-of-track", head(1, 2, 96) + chunk(b"MTrk", body[:-4]) + second, *FOUR_NOTES, "note P2 0 4 C3", "warning no end")
case("bad-meta-skipped", head(1, 1, 96) + track(*HEAD, (0, meta(0x54, b"\xff\xff\xff\xff\xff")), *notes(*FOUR)), *FOUR_NOTES, "warning skipped")
case("realtime-byte-skipped", head(1, 1, 96) + track(*HEAD, (0, b"\xf8"), *notes(*FOUR)), *FOUR_NOTES, "warning skipped")
case("garbage-between-tracks", head(1, 2, 96) + track(*HEAD, *notes(*FOUR)) + b"\x01\x02\x03\x04\x05\x06\x07\x08\x09" + second, *FOUR_NOTES, "note P2 0 4 C3", "warning between tracks")
case("fewer-tracks-than-announced", head(1, 5, 96) + track(*HEAD, *notes(*FOUR)), *FOUR_NOTES, "warning announces 5")
case("no-tempo", head(1, 1, 96) + track((0, meter(4, 2)), *notes(*FOUR)), "tempo 0 120", *FOUR_NOTES, "warning no tempo")
case("no-meter", head(1, 1, 96) + track((0, tempo(90)), *notes(*FOUR)), "meter 0 4/4", *FOUR_NOTES, "warning no meter")
case("tempo-map", head(1, 1, 96) + track(*HEAD, (192, tempo(50)), *notes(*FOUR)), "tempo 0 100", "tempo 2 50", *FOUR_NOTES, "no-warnings")
case("zero-tempo", head(1, 1, 96) + track((0, meta(0x51, b"\0\0\0")), (0, meter(4, 2)), *notes(*FOUR)), "tempo 0 120", *FOUR_NOTES)
case("meter-change", head(1, 1, 96) + track(*HEAD, (384, meter(3, 2)), *notes(*FOUR, (384, 672, 67), (672, 960, 67))),
     "meter 0 4/4", "meter 4 3/4", "measures 3", *FOUR_NOTES, "note P1 4 3 G4", "note P1 7 3 G4", "no-warnings")
case("meter-and-key-in-every-track", head(1, 3, 96) + track(*HEAD) + track(*HEAD, *notes(*FOUR)) + track(*HEAD, *notes((0, 384, 48))),
     "meter 0 4/4", "key 0 0", "tempo 0 100", "measures 1", *FOUR_NOTES, "note P2 0 4 C3", "no-warnings")
case("meters-disagree", head(1, 2, 96) + track(*HEAD) + track((0, meter(3, 2)), *notes(*FOUR)), "meter 0 4/4", *FOUR_NOTES, "warning disagree")
case("impossible-meter-and-key", head(1, 1, 96) + track(*HEAD, (0, meter(0, 2)), (0, key(9)), *notes(*FOUR)), "meter 0 4/4", "key 0 0", *FOUR_NOTES, "warning a meter of 0", "warning 9 sharps")
case("key-change", head(1, 1, 96) + track((0, tempo(100)), (0, meter(4, 2)), (0, key(-4)), (192, key(3)), *notes((0, 96, 61), (96, 192, 63), (192, 288, 61), (288, 384, 68))),
     "key 0 -4", "key 2 3", "note P1 0 1 Db4", "note P1 1 1 Eb4", "note P1 2 1 C#4", "note P1 3 1 G#4", "no-warnings")
case("pickup-padded-with-silence", head(1, 1, 96) + track(*HEAD, *notes((288, 384, 67), (384, 576, 72), (576, 768, 64))),
     "pickup 1", "measures 2", "note P1 0 1 G4", "note P1 1 2 C5", "note P1 3 2 E4", "no-warnings")
case("pickup-by-meter", head(1, 1, 96) + track((0, tempo(100)), (0, meter(1, 2)), (96, meter(3, 2)), *notes((0, 96, 67), (96, 288, 72), (288, 384, 64))),
     "pickup 1", "meter 0 3/4", "measures 2", "note P1 0 1 G4", "note P1 1 2 C5", "note P1 3 1 E4", "no-warnings")
case("pickup-by-long-notes", head(1, 1, 96) + track((0, tempo(100)), (0, meter(3, 2)), (0, key(0)), *notes(*[(288 * i + (0 if s else 96), 288 * i + (96 if s else 288), 60 + [0, 2, 4, 5, 7][i]) for i in range(5) for s in (1, 0)])),
     "pickup 1", "meter 0 3/4", *[f"note P1 {3 * i + (0 if s else 1)} {1 if s else 2} {p}" for i, p in enumerate(["C4", "D4", "E4", "F4", "G4"]) for s in (1, 0)], "no-warnings")
case("empty-measures-first", head(1, 1, 96) + track(*HEAD, *notes((384, 768, 60))), "pickup 0", "measures 2", "note P1 4 4 C4", "no-warnings")
case("triplets-rounded", head(1, 1, 100) + track(*HEAD, *notes((0, 33, 60), (33, 66, 62), (66, 100, 64), (100, 133, 65), (133, 167, 67), (167, 200, 69), (200, 300, 71), (300, 400, 72))),
     "note P1 0 1/3 C4", "note P1 1/3 1/3 D4", "note P1 2/3 1/3 E4", "note P1 1 1/3 F4", "note P1 4/3 1/3 G4", "note P1 5/3 1/3 A4", "note P1 2 1 B4", "note P1 3 1 C5", "no-warnings")
case("shortened-durations", head(1, 1, 480) + track(*HEAD, *notes((0, 455, 60), (480, 935, 62), (960, 1187, 64), (1200, 1427, 65), (1440, 1895, 67))),
     "note P1 0 1 C4", "note P1 1 1 D4", "note P1 2 1/2 E4", "note P1 5/2 1/2 F4", "note P1 3 1 G4", "no-warnings")
case("grace-note", head(1, 1, 96) + track(*HEAD, (0, on(62)), (0, off(62)), (0, on(60)), (96, off(60))), "note P1 0 0 D4 grace", "note P1 0 1 C4", "no-warnings")
case("chord", head(1, 1, 96) + track(*HEAD, *notes((0, 192, 60), (0, 192, 64), (0, 192, 67), (192, 384, 72))),
     "note P1 0 2 C4", "note P1 0 2 E4", "note P1 0 2 G4", "note P1 2 2 C5", "no-warnings")
played = [(0, 420, 60), (487, 860, 62), (951, 1150, 64), (1214, 1390, 65), (1432, 1800, 67), (1931, 2100, 60), (2068, 2200, 62), (2247, 2400, 64), (2404, 2800, 65), (2876, 3300, 64), (3365, 3800, 60)]
case("played-with-a-triplet", head(1, 1, 480) + track((0, tempo(80)), (0, meter(4, 2)), (0, key(0)), *notes(*played)),
     "note P1 0 1 C4", "note P1 1 1 D4", "note P1 2 1/2 E4", "note P1 5/2 1/2 F4", "note P1 3 1 G4", "note P1 4 1/3 C4", "note P1 13/3 1/3 D4", "note P1 14/3 1/3 E4", "note P1 5 1 F4", "note P1 6 1 E4", "note P1 7 1 C4")
case("played-chord", head(1, 1, 480) + track(*HEAD, *notes((7, 440, 60), (0, 450, 64), (15, 430, 67), (475, 900, 72), (968, 1300, 71), (1431, 1850, 72))),
     "note P1 0 1 C4", "note P1 0 1 E4", "note P1 0 1 G4", "note P1 1 1 C5", "note P1 2 1 B4", "note P1 3 1 C5")
case("lyrics", head(1, 2, 96) + track(*HEAD) + track(*[p for t, w, n in [(0, "Har-", 60), (96, "bour", 62), (192, "lights", 64), (288, "", 65)] for p in ([(t, lyric(w))] if w else []) + [(t, on(n)), (t + 96, off(n))]]),
     "note P1 0 1 C4 Har:b", "note P1 1 1 D4 bour:e", "note P1 2 1 E4 lights:s", "note P1 3 1 F4", "no-warnings")
case("karaoke", head(1, 3, 96) + track((0, text("@KMIDI KARAOKE FILE")), *HEAD) + track((0, name("Words")), (0, text("@TThe Ferry")), (0, text("\\Row")), (96, text("ing ")), (192, text("/home")), (288, text(" now"))) + track((0, name("Melody")), *notes(*FOUR)),
     "title The Ferry", "part P1 Melody", "note P1 0 1 C4 Row:b", "note P1 1 1 D4 ing:e", "note P1 2 1 E4 home:s", "note P1 3 1 F4 now:s", "no-warnings")
case("text-latin-1", head(1, 1, 96) + track((0, name(b"M\xf6we")), *HEAD, (0, lyric(b"gr\xfc\xdf")), *notes(*FOUR)), "part P1 Möwe", "note P1 0 1 C4 grüß:s", *FOUR_NOTES[1:], "no-warnings")
case("text-utf-8", head(1, 1, 96) + track((0, name("Möwe")), *HEAD, *notes(*FOUR)), "part P1 Möwe", *FOUR_NOTES, "no-warnings")
case("only-drums", head(1, 1, 96) + track(*HEAD, *notes((0, 10, 36), ch=9)), "unpitched P1", "warning drum channel")
case("leading-note-without-signature", head(1, 1, 96) + track((0, tempo(100)), (0, meter(4, 2)), *notes((0, 96, 69), (96, 192, 68), (192, 288, 69), (288, 384, 71), (384, 480, 72), (480, 576, 71), (576, 768, 69))),
     "note P1 0 1 A4", "note P1 1 1 G#4", "note P1 2 1 A4", "note P1 3 1 B4", "note P1 4 1 C5", "note P1 5 1 B4", "note P1 6 2 A4")
case("error-header-cut", head(1, 1, 96)[:11], "error ends within its header")
case("error-format-7", head(7, 1, 96) + second, "error format 7")
case("error-division-0", head(1, 1, 0) + second, "error ticks to the quarter")
case("error-smpte-128", head(1, 1, 0x8000) + second, "error ticks to the quarter")
case("error-no-tracks", head(1, 1, 96), "error no tracks")
case("error-too-long", head(1, 1, 1) + track((0x0FFFFFF, on(60)), (0x0FFFFFF + 9, off(60))), "error 1000000 quarter notes")

def main():
    OUT.mkdir(parents=True, exist_ok=True)
    for stem, (data, facts) in CASES.items():
        (OUT / f"{stem}.mid").write_bytes(data)
        (OUT / f"{stem}.notes").write_text("\n".join(facts) + "\n", encoding="utf-8")
    print(len(CASES), "cases")

main()
