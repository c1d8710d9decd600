"""A speaking voice: phonemes to formants, harmonics and breath.

The throat is a buzz with all its harmonics, the mouth a chain of resonances that moves from sound
to sound, and consonants are noise of their own colour. Vowel formants are the familiar averages
for men's voices (G. E. Peterson and H. L. Barney, "Control methods used in a study of the vowels",
J. Acoust. Soc. Am. 24, 1952, table II), the other figures common practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .signals import RATE_HZ, Response, Samples, between, filtered, smoothed, white

Formants = tuple[float, float, float]

HOP_FRAMES = 147
"""The mouth is worked out every 1/300 s and moves evenly in between."""
_HOPS_PER_S = RATE_HZ / HOP_FRAMES
_HIGHEST_HARMONIC_HZ = 12_000.0


@dataclass(frozen=True)
class Gesture:
    """One posture of the mouth, held for a moment."""

    seconds: float
    formants_hz: Formants
    voice: float = 0.0
    """Level of the buzz; a full vowel is 1."""
    colour: str = ""
    """Which noise sounds, a key of COLOURS."""
    noise: float = 0.0
    """Rms level of that noise; a full vowel's is about 0.25."""


COLOURS: dict[str, Response] = {
    "breath": between(500.0, 4000.0),
    "hiss": between(5000.0, 7500.0, order=4),
    "hush": between(2300.0, 4500.0, order=3),
    "lip": between(700.0, 5000.0),
    "tongue tip": between(3000.0, 6500.0, order=3),
    "tongue back": between(1500.0, 2800.0),
}

VOWELS_HZ: dict[str, Formants] = {
    "IY": (270, 2290, 3010),
    "IH": (390, 1990, 2550),
    "EH": (530, 1840, 2480),
    "AE": (660, 1720, 2410),
    "AA": (730, 1090, 2440),
    "AO": (570, 840, 2410),
    "UH": (440, 1020, 2240),
    "UW": (300, 870, 2240),
    "AH": (640, 1190, 2390),
}

_LIPS, _TIP, _BACK = (250.0, 900.0, 2200.0), (270.0, 1750.0, 2650.0), (260.0, 2000.0, 2400.0)

CONSONANTS: dict[str, tuple[Gesture, ...]] = {
    "W": (Gesture(0.08, (290, 640, 2150), voice=0.5),),
    "Y": (Gesture(0.06, (280, 2150, 2950), voice=0.5),),
    "L": (Gesture(0.075, (330, 1050, 2850), voice=0.5),),
    "R": (Gesture(0.08, (330, 1100, 1450), voice=0.5),),
    "M": (Gesture(0.085, (260, 1000, 2200), voice=0.32),),
    "N": (Gesture(0.075, (260, 1650, 2600), voice=0.32),),
    "NG": (Gesture(0.1, (270, 2000, 2700), voice=0.3),),
    "V": (Gesture(0.06, (260, 1100, 2200), voice=0.35, colour="lip", noise=0.012),),
    "DH": (Gesture(0.05, (270, 1400, 2500), voice=0.35, colour="lip", noise=0.012),),
    "Z": (Gesture(0.085, (270, 1700, 2550), voice=0.25, colour="hiss", noise=0.035),),
    "S": (Gesture(0.11, (300, 1700, 2550), colour="hiss", noise=0.075),),
    "SH": (Gesture(0.12, (300, 1850, 2550), colour="hush", noise=0.08),),
    "HH": (Gesture(0.07, (560, 1200, 2400), voice=0.04, colour="breath", noise=0.045),),
    "B": (
        Gesture(0.055, _LIPS, voice=0.08),
        Gesture(0.008, _LIPS, voice=0.2, colour="lip", noise=0.06),
    ),
    "D": (
        Gesture(0.045, _TIP, voice=0.08),
        Gesture(0.009, _TIP, voice=0.2, colour="tongue tip", noise=0.09),
    ),
    "G": (
        Gesture(0.05, _BACK, voice=0.08),
        Gesture(0.014, _BACK, voice=0.2, colour="tongue back", noise=0.09),
    ),
    "T": (
        Gesture(0.055, _TIP),
        Gesture(0.012, _TIP, colour="tongue tip", noise=0.16),
        Gesture(0.035, _TIP, colour="breath", noise=0.04),
    ),
    "K": (
        Gesture(0.06, _BACK),
        Gesture(0.018, _BACK, colour="tongue back", noise=0.16),
        Gesture(0.035, _BACK, colour="breath", noise=0.04),
    ),
    "CH": (
        Gesture(0.055, _TIP),
        Gesture(0.01, _TIP, colour="tongue tip", noise=0.13),
        Gesture(0.08, (300, 1800, 2500), colour="hush", noise=0.09),
    ),
}

_REST = Gesture(0.12, (500.0, 1500.0, 2500.0))
_VOWEL_S, _STRESSED_VOWEL_S = 0.09, 0.16


@dataclass(frozen=True)
class _Utterance:
    gestures: tuple[Gesture, ...]
    accents_s: tuple[float, ...]
    """Middle of every stressed vowel."""


def _pronounced(phonemes: str) -> _Utterance:
    """Gestures of a line such as "W EH1 L K AH M": "1" marks stress, "," and "." are rests."""
    gestures = [_REST]
    accents_s = []
    for word in phonemes.split():
        vowel = VOWELS_HZ.get(word.rstrip("1"))
        if word in {",", "."}:
            gestures += [_REST] * (2 if word == "," else 3)
        elif vowel is None:
            gestures += CONSONANTS[word]
        else:
            stressed = word.endswith("1")
            seconds = _STRESSED_VOWEL_S if stressed else _VOWEL_S
            if stressed:
                accents_s.append(sum(g.seconds for g in gestures) + seconds / 2)
            gestures.append(
                Gesture(
                    seconds, vowel, voice=1.0 if stressed else 0.7, colour="breath", noise=0.006
                )
            )
    return _Utterance((*gestures, _REST), tuple(accents_s))


def _mouth(hz: Samples, formants_hz: Sequence[Samples]) -> NDArray[np.complex128]:
    """Complex gain of the mouth: three moving resonances and the fixed ones above them.

    A tube has no last resonance; those to 20 kHz keep the treble from falling off a cliff.
    """
    gain = np.ones(hz.shape, dtype=np.complex128)
    fixed_hz = (3400.0, *np.arange(4500.0, 20_000.0, 1000.0))
    for number, formant_hz in enumerate((*formants_hz, *fixed_hz)):
        bandwidth_hz = (70.0, 90.0, 130.0)[number] if number < 3 else 0.06 * formant_hz
        gain *= formant_hz**2 / (formant_hz**2 - hz**2 + 1j * bandwidth_hz * hz)
    return gain


def _melody_hz(utterance: _Utterance, time_s: Samples, *, from_hz: float, to_hz: float) -> Samples:
    """Pitch of the voice: it sinks or rises to its end and lifts on every stressed vowel."""
    hz: Samples = from_hz * (to_hz / from_hz) ** (time_s / time_s[-1])
    for accent_s in utterance.accents_s:
        hz *= 1.0 + 0.16 * np.exp(-(((time_s - accent_s) / 0.09) ** 2))
    return hz


def _between_hops(values: Samples) -> Samples:
    """Values given every hop, joined by straight lines to one a frame."""
    along = np.arange(HOP_FRAMES) / HOP_FRAMES
    steps = np.diff(values, append=values[-1:])
    return (values[:, np.newaxis] + steps[:, np.newaxis] * along).ravel()


def spoken(phonemes: str, *, from_hz: float, to_hz: float, seed: int) -> Samples:
    """A spoken line, mono; a stressed vowel peaks near 1.

    Parameters
    ----------
    phonemes : str
        ARPAbet symbols between spaces; see VOWELS_HZ and CONSONANTS.
    from_hz, to_hz : float
        Pitch at the start and at the end; a question ends higher.
    seed : int
        Of breath and consonants.
    """
    utterance = _pronounced(phonemes)
    gestures = utterance.gestures
    ends = np.cumsum([gesture.seconds for gesture in gestures])
    time_s = np.arange(int(ends[-1] * _HOPS_PER_S)) / _HOPS_PER_S
    now = np.minimum(np.searchsorted(ends, time_s, side="right"), len(gestures) - 1)

    def track(values: Sequence[float], smoothing_s: float) -> Samples:
        steps = np.array(values, dtype=np.float64)[now]
        return smoothed(steps, max(1, round(smoothing_s * _HOPS_PER_S)))

    formants_hz = [track([g.formants_hz[i] for g in gestures], 0.07) for i in range(3)]
    voice = track([g.voice for g in gestures], 0.03)
    tremor = 1.0 + 0.012 * smoothed(white(seed, len(time_s)), 9)
    hz = _melody_hz(utterance, time_s, from_hz=from_hz, to_hz=to_hz) * tremor
    phase = 2.0 * np.pi * np.cumsum(_between_hops(hz)) / RATE_HZ

    sound = np.zeros(len(phase))
    for harmonic in range(1, int(_HIGHEST_HARMONIC_HZ / hz.min()) + 1):
        room = np.clip((_HIGHEST_HARMONIC_HZ - harmonic * hz) / 1000.0, 0.0, 1.0)
        gain = _mouth(harmonic * hz, formants_hz) * voice * room / harmonic
        sound += _between_hops(gain.real) * np.sin(harmonic * phase)
        sound += _between_hops(gain.imag) * np.cos(harmonic * phase)
    sound *= 0.12
    for number, (colour, response) in enumerate(COLOURS.items()):
        level = track([g.noise if g.colour == colour else 0.0 for g in gestures], 0.012)
        noise = filtered(white(seed + 1 + number, len(phase)), response)[: len(phase)]
        sound += _between_hops(level) * noise / np.sqrt(np.mean(noise**2))
    return sound
