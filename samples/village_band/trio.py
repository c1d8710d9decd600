"""A slow waltz in D for fiddle, guitar and plucked bass, in a hall."""

from __future__ import annotations

import numpy as np

from .room import hall, in_hall, lay
from .score import part, pitch_hz
from .signals import Samples, faded, filtered, frames_in, resonant, uniform
from .strings import bowed, plucked

BEAT_S = 60.0 / 108.0
BEATS_PER_BAR = 3

# The first half stops on the dominant, so that the silence after it is one that waits.
TUNES = (
    (
        "A4:1 D5:1 E5:1 | F#5:2 E5:.5 D5:.5 | B4:1.5 C#5:.5 D5:1 | C#5:2 A4:1 |"
        "A4:1 D5:1 F#5:1 | G5:1.5 F#5:.5 E5:.5 D5:.5 | E5:1 B4:1 D5:1 | C#5:2.6"
    ),
    (
        "A5:1.5 G5:.5 F#5:1 | F#5:1 E5:.5 D5:.5 B4:1 | D5:1 G5:1 B5:1 | A5:2 F#5:1 |"
        "G5:1 F#5:.5 E5:.5 G5:1 | D5:1 B4:1 D5:1 | E5:1.5 C#5:.5 A4:1 | D5:2.8"
    ),
)
CHORDS = (
    ("D", "Bm", "G", "A", "D", "G", "Em", "A"),
    ("F#m", "Bm", "G", "D", "Em", "G", "A", "D"),
)
# Bass note, its fifth, and the guitar's four strings from the lowest.
VOICINGS = {
    "D": ("D2", "A2", "D3 A3 D4 F#4"),
    "Bm": ("B1", "F#2", "B2 F#3 B3 D4"),
    "G": ("G1", "D2", "G2 D3 B3 D4"),
    "A": ("A1", "E2", "A2 E3 A3 C#4"),
    "Em": ("E2", "B1", "E3 B3 E4 G4"),
    "F#m": ("F#2", "C#2", "F#3 A3 C#4 F#4"),
}
BROKEN_CHORD = (0, 1, 2, 3, 2, 1)

FIDDLE_BODY = resonant(
    [(285.0, 12.0, 1.6), (460.0, 14.0, 1.8), (560.0, 14.0, 1.5), (1150.0, 5.0, 0.9),
     (2600.0, 2.2, 1.5)],
    direct=0.5,
)  # fmt: skip
GUITAR_BODY = resonant([(102.0, 9.0, 1.3), (205.0, 11.0, 1.2), (410.0, 9.0, 0.7)], direct=0.8)
BASS_BODY = resonant([(62.0, 5.0, 0.8), (110.0, 6.0, 0.8), (240.0, 5.0, 0.4)], direct=0.8)


def _guitar(chords: tuple[str, ...], seconds: float, seed: int) -> Samples:
    """Broken chords in quavers, the thumb a little stronger; the last bar is one slow strum."""
    line = np.zeros((frames_in(seconds), 2))
    unevenness = uniform(seed, BEATS_PER_BAR * 2 * len(chords))
    for bar, chord in enumerate(chords):
        strings = [pitch_hz(name) for name in VOICINGS[chord][2].split()]
        last = bar == len(chords) - 1
        for step, string in enumerate(range(4) if last else BROKEN_CHORD):
            chance = unevenness[bar * 6 + step]
            beat = bar * BEATS_PER_BAR + (0.07 * step if last else step / 2)
            note = plucked(
                strings[string],
                2.4 if last else 1.3,
                ring_s=3.2,
                damping_hz=1500.0,
                finger_hz=4200.0 + 1500.0 * chance,
                nail=0.12,
                seed=seed + 10 * bar + step,
            )
            gain_db = (0.0 if step == 0 or last else -4.0) + 2.0 * chance
            lay(line, note, at_s=0.012 * chance + beat * BEAT_S, gain_db=gain_db, pan=0.5)
    return filtered(line, GUITAR_BODY)[: len(line)]


def _bass(chords: tuple[str, ...], seconds: float, seed: int) -> Samples:
    """The root on the first beat, the fifth on the third."""
    line = np.zeros((frames_in(seconds), 2))
    for bar, chord in enumerate(chords):
        root, fifth, _ = VOICINGS[chord]
        last = bar == len(chords) - 1
        strokes = [(0.0, root, 2.6)] if last else [(0.0, root, 1.25), (2.0, fifth, 0.6)]
        for beat, name, ring_s in strokes:
            note = plucked(
                pitch_hz(name),
                ring_s,
                ring_s=3.5,
                damping_hz=500.0,
                finger_hz=700.0,
                nail=0.02,
                seed=seed + 4 * bar + int(beat),
                pluck_at=0.22,
            )
            lay(line, note, at_s=(bar * BEATS_PER_BAR + beat) * BEAT_S, pan=-0.15)
    return filtered(line, BASS_BODY)[: len(line)]


def trio() -> list[Samples]:
    """Both halves of the waltz, each with its ending in the hall."""
    impulse = hall(100, decay_s=1.5, size_s=0.045)
    halves = []
    for half, (tune, chords) in enumerate(zip(TUNES, CHORDS, strict=True)):
        seconds = (len(chords) * BEATS_PER_BAR + 1.5) * BEAT_S
        seed = 1000 * (half + 1)
        mix = np.zeros((frames_in(seconds), 2))
        fiddle = bowed(part(tune), beat_s=BEAT_S, seconds=seconds, seed=seed)
        lay(mix, filtered(fiddle, FIDDLE_BODY), at_s=0.02, gain_db=-11.0, pan=-0.4)
        lay(mix, _guitar(chords, seconds, seed + 100), at_s=0.02)
        lay(mix, _bass(chords, seconds, seed + 500), at_s=0.02, gain_db=1.0)
        heard = in_hall(faded(mix, out_s=0.4), impulse, wet_db=-9.0)
        halves.append(faded(heard, in_s=0.005, out_s=0.8))
    return halves
