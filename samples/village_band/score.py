"""Written music: notes as text, and the sounding time of each."""

from __future__ import annotations

from dataclasses import dataclass

_SEMITONES_ABOVE_C = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


@dataclass(frozen=True)
class Note:
    """One note of a part."""

    beat: float
    """When it starts, in beats from the start of the part."""
    beats: float
    """How long it is held."""
    hz: float
    """Its pitch."""


def pitch_hz(name: str) -> float:
    """Equal-tempered pitch of a name such as "A4", "F#5" or "Bb2"; A4 is 440 Hz."""
    letter, accidental, octave = name[0], name[1:-1], int(name[-1])
    semitones = _SEMITONES_ABOVE_C[letter] + accidental.count("#") - accidental.count("b")
    return float(440.0 * 2.0 ** ((semitones - 9) / 12.0 + octave - 4))


def part(text: str) -> list[Note]:
    """The notes of a line such as "A4:1 D5:1.5 -:.5 |".

    Each is name:beats; "-" is a rest, and the bar lines are for the eye.
    """
    notes: list[Note] = []
    beat = 0.0
    for word in text.replace("|", " ").split():
        name, beats = word.split(":")
        if name != "-":
            notes.append(Note(beat, float(beats), pitch_hz(name)))
        beat += float(beats)
    return notes


def steps(text: str) -> list[tuple[float, str]]:
    """The strokes of a drum line such as "X..g x...": (beat, letter), four steps to a beat."""
    letters = text.replace(" ", "").replace("|", "")
    return [(place / 4.0, letter) for place, letter in enumerate(letters) if letter != "."]
