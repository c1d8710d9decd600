"""A hundred pairs that nobody tells apart, drawn from twenty kinds, all pieces and many seeds."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import soxr

from tests.battery import at_ear, changes
from tests.battery.case import AT_EAR_DB, INAUDIBLE, Pair
from tests.battery.cases import ROTATION
from tests.battery.found import Found, Matching, compare
from tests.battery.pieces import MUSIC, SAMPLES, Audio, Piece, cut_from, faded, piece
from tests.battery.rows_nulls import WHITE_16_BITS_DBFS
from tests.battery.running import recordings

PAIRS = 100
FEW = range(0, PAIRS, 3)
"""A third of the pairs, in which every kind is, for a short run."""
SHORT_S = 6.0
Random = np.random.Generator
# Blauert & Laws, JASA 63, 1978: just audible group delay of an all-pass, ms by Hz.
JUST_HEARD_MS = {500.0: 3.2, 1000.0: 2.0, 2000.0: 1.0, 4000.0: 1.5, 8000.0: 2.0}


@dataclass(frozen=True)
class Made:
    """A second file, and how it is to be compared."""

    audio: Audio
    rate_hz: int
    level_by: Matching = "nothing"


Change = Callable[[Piece, Random], Made]


def _plain(change: Callable[[Audio, int, Random], Audio], level_by: Matching = "nothing") -> Change:
    return lambda one, random: Made(change(one.audio, one.rate_hz, random), one.rate_hz, level_by)


def _dithered(least_bits: int) -> Change:
    """Of so many bits that the noise is 3 dB under threshold and room, or more."""

    def change(one: Piece, random: Random) -> Made:
        over_db = at_ear.white_over_threshold_db(
            WHITE_16_BITS_DBFS, one.rate_hz, at_ear.full_scale_db(one, AT_EAR_DB)
        )
        bits = max(least_bits, 16 + int(np.ceil((over_db + 3.0) / 6.02)))
        return Made(changes.dithered(one.audio, bits, random), one.rate_hz)

    return change


def _at_other_rate(one: Piece, random: Random) -> Made:
    return Made(soxr.resample(one.audio, one.rate_hz, 48_000, quality="VHQ"), 48_000)


def _small_all_pass(audio: Audio, rate_hz: int, random: Random) -> Audio:
    """A tenth of what is just heard."""
    centre_hz = float(random.choice([*JUST_HEARD_MS]))
    q = np.pi * centre_hz * 1e-4 * JUST_HEARD_MS[centre_hz] / 2.0
    return changes.all_pass(audio, rate_hz, centre_hz, q)


def _first_order_low_cut(audio: Audio, rate_hz: int, random: Random) -> Audio:
    corner_hz = random.uniform(0.5, 2.0)
    return changes.filtered(audio, rate_hz, lambda hz: 1j * hz / (corner_hz + 1j * hz))


def _hiss_under(one: Piece, random: Random) -> Made:
    """12 dB under threshold and room where it is nearest to them."""
    over_db = at_ear.white_over_threshold_db(0.0, one.rate_hz, at_ear.full_scale_db(one, AT_EAR_DB))
    rms = changes.gain(-12.0 - over_db) / np.sqrt(2.0)
    return Made(one.audio + changes.hiss(one.audio, one.frames, rms, random), one.rate_hz)


def _late_channel(audio: Audio, rate_hz: int, random: Random) -> Audio:
    """A tenth of the 10 microseconds that listeners hear (Klumpp & Eady 1956)."""
    late = changes.filtered(audio[:, :1], rate_hz, lambda hz: np.exp(-2e-6j * np.pi * hz))
    return np.hstack([late, audio[:, 1:]])


def _there_and_back(other_hz: int, quality: str = "VHQ") -> Change:
    return _plain(lambda x, rate, _: changes.there_and_back(x, rate, other_hz, quality))


KINDS: dict[str, Change] = {
    "16 bits or as many as it takes": _dithered(16),
    "18 bits or as many as it takes": _dithered(18),
    "24 bits": _dithered(24),
    "to 48 kHz and back": _there_and_back(48_000),
    "to 96 kHz and back": _there_and_back(96_000),
    "to 88.2 kHz and back": _there_and_back(88_200, "HQ"),
    "at 48 kHz": _at_other_rate,
    "delayed": _plain(lambda x, _, random: changes.delayed(x, random.uniform(0.0, 3000.0))),
    "delayed by less than a frame": _plain(
        lambda x, _, random: changes.delayed(x, random.uniform(0.0, 1.0))
    ),
    "inverted": _plain(lambda x, _, __: -x),
    "inverted and delayed": _plain(
        lambda x, _, random: -changes.delayed(x, random.uniform(0.0, 3000.0))
    ),
    "gain, matched": _plain(lambda x, _, random: x * random.uniform(0.4, 1.0), "gain"),
    "gain, matched by loudness": _plain(
        lambda x, _, random: x * random.uniform(0.4, 1.0), "loudness"
    ),
    "one pole": _plain(
        lambda x, rate, random: changes.one_pole(x, rate, random.uniform(60e3, 200e3))
    ),
    "all-pass": _plain(_small_all_pass),
    "0.05 dB": _plain(lambda x, _, random: x * changes.gain(random.choice([-0.05, 0.05]))),
    "low cut": _plain(_first_order_low_cut),
    "hiss": _hiss_under,
    "left 1 us late": _plain(_late_channel),
    "24 bits, pole at 100 kHz, delayed": _plain(
        lambda x, rate, random: changes.dithered(
            changes.delayed(changes.one_pole(x, rate, 100e3), random.uniform(0.0, 500.0)),
            24,
            random,
        )
    ),
}


def _short(number: int, random: Random) -> Piece:
    """A texture, or a passage of a sample from somewhere in it."""
    name = ROTATION[(number + number // len(KINDS)) % len(ROTATION)]
    if name in SAMPLES:
        return cut_from(
            MUSIC / f"{name}.flac", start_s=float(random.integers(1, 20)), seconds=SHORT_S
        )
    return piece(name, SHORT_S)


def _long(number: int, seconds: float) -> Piece:
    """The samples one after another, over and over."""
    whole = [
        cut_from(MUSIC / f"{SAMPLES[(number + step) % 3]}.flac", start_s=1.0, seconds=24.0)
        for step in range(int(np.ceil(seconds / 24.0)))
    ]
    audio = np.concatenate([one.audio for one in whole])[: round(seconds * whole[0].rate_hz)]
    return Piece(f"{seconds:g} s", faded(audio, whole[0].rate_hz), whole[0].rate_hz)


def pairs(numbers: range, *, long: bool) -> Iterator[tuple[str, Found]]:
    """Each compared: what was done to which piece, and what was found."""
    for number in numbers:
        random = np.random.default_rng([7, number])
        name = [*KINDS][number % len(KINDS)]
        one = _long(number, (60.0, 120.0, 240.0)[number % 3]) if long else _short(number, random)
        made = KINDS[name](one, random)
        pair = Pair(one.audio, made.audio, INAUDIBLE, one.rate_hz, made.rate_hz)
        found = compare(*recordings(pair), listening_db=AT_EAR_DB, level_by=made.level_by)
        yield f"{name}, {one.name}, number {number}", found
