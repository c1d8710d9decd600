"""Published thresholds of level, spectrum and added sound, and the sounds they were found with."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache
from importlib import resources
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from stagefx.hearing.ear.decision import EVEN_CHANCE_D_PRIME
from stagefx.hearing.validation.synthetic import noise, through, tone

Array = NDArray[np.float64]
Pair = tuple[Array, Array]
Mark = Literal["read", "derived", "memory"]

NEAR = (0.97, 0.985, 1.0, 1.015, 1.03)
"""A pitch is tried at so many times its frequency, since the ear's bands and lines are a grid."""
PROFILE_LOW_HZ, PROFILE_HIGH_HZ, PROFILE_TONES = 200.0, 5000.0, 21
"""D. M. Green, Profile Analysis, 1988: tones evenly spaced along the logarithm."""


@dataclass(frozen=True)
class SoundThreshold:
    """One published threshold: what changes, for whom, and where it stands in the data file."""

    what: str
    change: str
    at: dict[str, Any]
    published: float
    unit: str
    correct_percent: float
    listener: str
    room: str
    seconds: float
    source: str
    mark: Mark
    fitted: bool = True
    reason: str = field(default="", kw_only=True)

    @property
    def d_prime(self) -> float:
        """Sensitivity at the published size, by the percentage of two intervals that is right."""
        return float(np.sqrt(2.0) * ndtri(self.correct_percent / 100.0))

    @property
    def even_chance(self) -> float:
        """The published size where 75 % are right; sensitivity is proportional to size."""
        factor = EVEN_CHANCE_D_PRIME / self.d_prime
        if self.is_level:
            return self.published + 20.0 * float(np.log10(factor))
        return self.published * factor

    @property
    def is_level(self) -> bool:
        """Whether the size is a level, not a quantity that sensitivity is proportional to."""
        return self.unit.startswith("dB ")

    def times(self, ratio: float) -> float:
        """So many times the size of an even chance, in the row's unit."""
        if self.is_level:
            return self.even_chance + 20.0 * float(np.log10(ratio))
        return self.even_chance * ratio

    def pairs(self, size: float) -> list[Pair]:
        """What is compared at a size in the row's unit; several where they are to be averaged."""
        return _CHANGES[self.change](self, size)


@lru_cache(maxsize=1)
def sound_thresholds() -> tuple[SoundThreshold, ...]:
    """All rows of the data file."""
    text = (
        resources.files("stagefx.hearing.validation")
        .joinpath("published_sounds.toml")
        .read_text("utf-8")
    )
    return tuple(SoundThreshold(**row) for row in tomllib.loads(text)["row"])


def _flat(low_hz: float, high_hz: float) -> Callable[[Array], Array]:
    return lambda hz: np.where((hz >= low_hz) & (hz <= high_hz), 1.0, 0.0)


def _uniformly_masking(hz: Array) -> Array:
    """The same in every critical band (Zwicker & Terhardt 1980) from 20 Hz to 16 kHz."""
    band_hz = 25.0 + 75.0 * (1.0 + 1.4 * (hz / 1000.0) ** 2) ** 0.69
    return np.where((hz >= 20.0) & (hz <= 16e3), 1.0 / band_hz, 0.0)


def _sound(row: SoundThreshold, made: dict[str, Any]) -> Array:
    """Silence, tones or noise as the data file describes them."""
    level = made.get("level_db_spl", 0.0)
    if "tones_hz" in made:
        phases = np.random.default_rng(3).uniform(0.0, 2.0 * np.pi, len(made["tones_hz"]))
        tones = [
            tone(hz, level, seconds=row.seconds, phase=phase)
            for hz, phase in zip(made["tones_hz"], phases, strict=True)
        ]
        return np.asarray(np.sum(tones, axis=0))
    if "noise_hz" in made:
        return noise(_flat(*made["noise_hz"]), level, seconds=row.seconds)
    if made.get("uniformly_masking"):
        return noise(_uniformly_masking, level, seconds=row.seconds)
    return np.zeros_like(tone(seconds=row.seconds))


def _louder(row: SoundThreshold, size_db: float) -> list[Pair]:
    sound = _sound(row, row.at)
    return [(sound, sound * 10.0 ** (size_db / 20.0))]


def _added(row: SoundThreshold, size_db: float) -> list[Pair]:
    """To one sound another, whose level (of each tone) or level re the first is the size."""
    under = row.at.get("under", {})
    before = _sound(row, under)
    re_db = under.get("density_db_spl", 0.0) if row.unit == "dB re density" else 0.0
    re_db = under.get("level_db_spl", 0.0) if row.unit == "dB re fundamental" else re_db
    return [(before, before + _sound(row, {**row.at, "level_db_spl": re_db + size_db}))]


def _profile(row: SoundThreshold) -> tuple[Array, list[Array]]:
    hz = np.geomspace(PROFILE_LOW_HZ, PROFILE_HIGH_HZ, PROFILE_TONES)
    phases = np.random.default_rng(3).uniform(0.0, 2.0 * np.pi, hz.size)
    level = row.at["level_db_spl"]
    parts = [
        tone(one, level, seconds=row.seconds, phase=phase)
        for one, phase in zip(hz, phases, strict=True)
    ]
    return np.sum(parts, axis=0), parts


def _one_raised(row: SoundThreshold, size_db: float) -> list[Pair]:
    """The middle one, at 1 kHz."""
    before, parts = _profile(row)
    return [(before, before + parts[PROFILE_TONES // 2] * (10.0 ** (size_db / 20.0) - 1.0))]


def _rippled(row: SoundThreshold, size_percent: float) -> list[Pair]:
    """Amplitudes up and down as a sine along the logarithm of frequency."""
    before, parts = _profile(row)
    turn = 2.0 * np.pi * row.at["ripples"] / PROFILE_TONES
    change = np.sum([np.sin(turn * k + 0.4) * part for k, part in enumerate(parts)], axis=0)
    return [(before, before + 0.01 * size_percent * change)]


def _higher(row: SoundThreshold, size_percent: float) -> list[Pair]:
    level, by = row.at["level_db_spl"], 1.0 + 0.01 * size_percent
    near = [hz * factor for hz in row.at["tones_hz"] for factor in NEAR]
    return [
        (tone(hz, level, seconds=row.seconds), tone(hz * by, level, seconds=row.seconds))
        for hz in near
    ]


def _resonance_moved(row: SoundThreshold, size_percent: float) -> list[Pair]:
    """A second-order low-pass resonance on noise, its frequency raised."""
    sound, quality = _sound(row, row.at), row.at["quality"]

    def heard_at(resonance_hz: float) -> Array:
        def response(hz: Array) -> NDArray[np.complex128]:
            ratio = hz / resonance_hz
            return np.asarray(1.0 / (1.0 - ratio**2 + 1j * ratio / quality))

        return through(sound, response)

    hz = row.at["resonance_hz"]
    return [(heard_at(hz), heard_at(hz * (1.0 + 0.01 * size_percent)))]


_CHANGES: dict[str, Callable[[SoundThreshold, float], list[Pair]]] = {
    "louder": _louder,
    "added": _added,
    "one raised": _one_raised,
    "rippled": _rippled,
    "higher": _higher,
    "resonance moved": _resonance_moved,
}
