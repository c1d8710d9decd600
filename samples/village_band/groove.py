"""Drums with bright cymbals and a bass in E minor, with a stop in the middle."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from .percussion import crash, hat, kick, ride, snare, tom
from .room import hall, in_hall, lay
from .score import part, steps
from .signals import Samples, faded, filtered, frames_in, resonant
from .strings import plucked

BEAT_S = 60.0 / 108.0

# Sixteen steps a bar. X loud, x plain, g ghostly; o is the open hat.
FIRST_HALF = {
    "crash": (
        "................ X............... ................ "
        "................ ................ X..............."
    ),
    "hat": (
        "x.x.x.x.x.x.x.xo x.x.x.x.x.x.x.o. x.x.x.xxx.x.x.o. "
        "x.x.x.x.x.x.x.o. x.x.x.xxx.x..... ................"
    ),
    "snare": (
        "............gggX ....X..g.g..X... ....X..g.g..X.g. "
        "....X..g.g..X... ....X..g....X.xx X..............."
    ),
    "kick": (
        "X.......X....... X.....x.x.x..... X.....x.x.x...x. "
        "X.....x.x.x..... X.....x.x....... X..............."
    ),
    "low tom": (
        "................ ................ ................ "
        "................ ..........x.x... ................"
    ),
    "high tom": (
        "................ ................ ................ "
        "................ ........x.x..... ................"
    ),
}
SECOND_HALF = {
    "crash": (
        "X............... ................ ................ "
        "................ X............... X..............."
    ),
    "ride": (
        "..x.x.xxx.x.x.x. x.x.x.xxx.x.x.x. x.x.x.xxx.x.x.x. "
        "x.x.x.xxx.x.x... ..x.x.xxx....... ................"
    ),
    "hat": (
        "....g.......g... ....g.......g... ....g.......g... "
        "....g.......g.o. ....g........... ................"
    ),
    "snare": (
        "....X..g.g..X... ....X..g.g..X..g ....X..g.g..X... "
        "....X..g.g..X.gg ....X...x.xxX.XX ................"
    ),
    "kick": (
        "X.....x.x.x..... X..x..x.x.x..... X.....x.x.x..... "
        "X..x..x.x.x...x. X.....x.......x. X..............."
    ),
    "low tom": (
        "................ ................ ................ "
        "................ ..........g..x.. ................"
    ),
}
BASS_LINES = (
    (
        "-:4 | E1:1.5 E1:.5 G1:.5 -:.5 A1:.5 B1:.5 | E1:1.5 D2:.5 B1:.5 -:.5 A1:.5 G1:.5 |"
        "C2:1.5 C2:.5 G1:1 A1:.5 B1:.5 | D2:1.5 D2:.5 A1:.5 -:1.5 | E1:.4"
    ),
    (
        "A1:1.5 A1:.5 C2:.5 -:.5 D2:.5 C2:.5 | E1:1.5 E1:.5 G1:.5 -:.5 A1:.5 G1:.5 |"
        "C2:1.5 C2:.5 B1:.5 -:.5 A1:.5 G1:.5 | D2:1.5 D2:.5 F#1:.5 -:.5 A1:.5 B1:.5 |"
        "E1:1.5 D2:.5 B1:1 A1:.5 G1:.5 | E1:3.5"
    ),
)
STROKE_DB = {"X": 0.0, "x": -5.0, "o": -4.0, "g": -16.0}

# Level and place of every drum.
SEATS = {
    "kick": (0.0, 0.0),
    "snare": (-2.0, -0.15),
    "high tom": (-3.0, -0.45),
    "low tom": (-2.0, 0.5),
    "hat": (-13.0, 0.35),
    "ride": (-12.0, -0.45),
    "crash": (-12.0, -0.2),
}
STRUCK: dict[str, Callable[[int], Samples]] = {
    "kick": kick,
    "snare": snare,
    "high tom": partial(tom, 165.0),
    "low tom": partial(tom, 98.0),
    "ride": ride,
    "crash": crash,
}
BASS_CABINET = resonant([(75.0, 2.0, 0.7), (800.0, 1.5, 0.3)], direct=0.7)


def _struck(drum: str, letter: str, seed: int) -> Samples:
    """One stroke, before its loudness and place."""
    if drum == "hat":
        return hat(seed, is_open=letter == "o")
    return STRUCK[drum](seed)


def _drums(lines: dict[str, str], seconds: float, seed: int) -> Samples:
    """Every stroke of the written lines, no two strokes running quite alike."""
    mix = np.zeros((frames_in(seconds), 2))
    for number, (drum, line) in enumerate(lines.items()):
        level_db, pan = SEATS[drum]
        # Four takes of each kind of stroke are enough for the ear and quick to make.
        takes: dict[tuple[bool, int], Samples] = {}
        for stroke, (beat, letter) in enumerate(steps(line)):
            take = (letter == "o", stroke % 4)
            if take not in takes:
                takes[take] = _struck(drum, letter, seed + 100 * number + take[1])
            gain_db = level_db + STROKE_DB[letter]
            lay(mix, takes[take], at_s=beat * BEAT_S, gain_db=gain_db, pan=pan)
    return mix


def _bass(line: str, seconds: float, seed: int) -> Samples:
    """The bass: finger-plucked, each note let go a little before the next."""
    mix = np.zeros((frames_in(seconds), 2))
    for number, note in enumerate(part(line)):
        string = plucked(
            note.hz,
            0.92 * note.beats * BEAT_S,
            ring_s=4.0,
            damping_hz=600.0,
            finger_hz=1100.0,
            nail=0.02,
            seed=seed + number,
            pluck_at=0.2,
        )
        lay(mix, string, at_s=note.beat * BEAT_S, pan=0.08)
    return filtered(mix, BASS_CABINET)[: len(mix)]


def groove() -> list[Samples]:
    """Both halves: one that stops short on a choked cymbal, one that rings out."""
    impulse = hall(200, decay_s=0.7, size_s=0.02)
    halves = []
    for half, (lines, bass_line) in enumerate(
        zip((FIRST_HALF, SECOND_HALF), BASS_LINES, strict=True)
    ):
        stops_short = half == 0
        seconds = (20.0 + (1.0 if stops_short else 5.5)) * BEAT_S
        seed = 20_000 * (half + 1)
        mix = _drums(lines, seconds, seed)
        lay(mix, _bass(bass_line, seconds, seed + 5000), at_s=0.0, gain_db=-4.0)
        heard = in_hall(faded(mix, out_s=0.12 if stops_short else 1.0), impulse, wet_db=-16.0)
        halves.append(faded(heard, in_s=0.0005, out_s=0.3))
    return halves
