"""A speaker greets the hall over a quiet pad, falls silent, and asks a question."""

from __future__ import annotations

import numpy as np

from .room import hall, in_hall, lay
from .score import pitch_hz
from .signals import Samples, faded, frames_in
from .speech import spoken
from .strings import pad

# "Good evening, and welcome to Quillmere Hall." "The desk is set, and all is still."
GREETING = "G UH1 D IY1 V N IH NG , AE N D W EH1 L K AH M T UH K W IH1 L M IH R HH AO1 L ."
STILLNESS = "DH AH D EH1 S K IH Z S EH1 T , AE N D AO1 L IH Z S T IH1 L ."
# "Two boards are on the desk: one is stock, one is quick." "They look alike."
BOARDS = (
    "T UW1 UW B AO1 R D Z AA R AO N DH AH D EH1 S K , "
    "W AH1 N IH Z S T AA1 K , W AH1 N IH Z K W IH1 K ."
)
LIKENESS = "DH EH1 IH L UH1 K AH L AA1 IH K ."
# "Listen closely." "Which is which?" "Mark your sheet, and see."
REQUEST = "L IH1 S AH N K L AO1 UH S L IY ."
QUESTION = "W IH1 CH IH Z W IH1 CH ."
SHEET = "M AA1 R K Y AO R SH IY1 T , AE N D S IY1 IY ."

CHORDS = (
    ("F2 C3 A3 E4", "D2 A2 F3 C4"),
    ("Bb2 F3 D4 A4", "C2 G2 E3 D4"),
    ("D2 A2 F3 C4", "F2 C3 A3 G4"),
)
CHORD_S, SWELL_S = 4.2, 1.2


def _underlaid(
    lines: list[tuple[float, Samples]], chords: tuple[str, ...], impulse: Samples, seed: int
) -> Samples:
    """Spoken lines, each from its second on, over one chord after another."""
    seconds = len(chords) * CHORD_S + SWELL_S
    mix = np.zeros((frames_in(seconds), 2))
    for number, chord in enumerate(chords):
        voices = [pitch_hz(name) for name in chord.split()]
        sound = pad(voices, CHORD_S + SWELL_S, swell_s=SWELL_S, seed=seed + 100 * number)
        lay(mix, sound, at_s=number * CHORD_S, gain_db=-36.0)
    for at_s, line in lines:
        lay(mix, line, at_s=at_s, pan=0.12)
    return faded(in_hall(mix, impulse, wet_db=-15.0), in_s=0.02, out_s=0.4)


def announcement() -> list[Samples]:
    """Greeting, the two boards, the question: three sections with silence between."""
    impulse = hall(300, decay_s=0.9, size_s=0.03)
    greeting = spoken(GREETING, from_hz=128.0, to_hz=92.0, seed=31_000)
    stillness = spoken(STILLNESS, from_hz=120.0, to_hz=88.0, seed=31_100)
    boards = spoken(BOARDS, from_hz=124.0, to_hz=90.0, seed=32_000)
    likeness = spoken(LIKENESS, from_hz=116.0, to_hz=86.0, seed=32_100)
    request = spoken(REQUEST, from_hz=126.0, to_hz=94.0, seed=33_000)
    question = spoken(QUESTION, from_hz=112.0, to_hz=150.0, seed=33_100)
    sheet = spoken(SHEET, from_hz=122.0, to_hz=86.0, seed=33_200)
    return [
        _underlaid([(1.4, greeting), (5.5, stillness)], CHORDS[0], impulse, 35_000),
        _underlaid([(0.8, boards), (6.2, likeness)], CHORDS[1], impulse, 36_000),
        _underlaid([(0.7, request), (3.0, question), (5.3, sheet)], CHORDS[2], impulse, 37_000),
    ]
