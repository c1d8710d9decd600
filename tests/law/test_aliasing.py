"""What folds back from beyond hearing: next to nothing, however hard a tone is driven."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.effects.limits.limit_set import LimitSet
from stagefx.effects.limits.limiter import Limiting
from tests.played import in_decibels, lines, steady_tone

REALISTIC_S = [0.0, 64e-9, 2e-6]
"""Time constants of the closed loop: none, of a quick device, of a slow one at high gain."""


def worst_db(samples: NDArray[np.float64], *, hz: float, rate_hz: int) -> float:
    """Largest product from 20 Hz to 20 kHz that is no harmonic, dBFS; a second of samples."""
    sizes = np.abs(lines(samples))
    at_hz = np.arange(sizes.size) * rate_hz / samples.size
    inside = (at_hz >= 20.0) & (at_hz <= min(20e3, 0.4535 * rate_hz))
    harmonic = np.isclose(np.round(at_hz / hz) * hz, at_hz)
    return float(in_decibels(sizes[inside & ~harmonic].max()))


def limits(kind: str, *, hz: float, constant_s: float) -> LimitSet:
    """Half the peak, half the slope, or both; alike on either side, or not."""
    slope = np.pi * hz
    level, slew = kind in {"clip", "both", "uneven"}, kind in {"slew", "both", "uneven"}
    uneven = kind == "uneven"
    return LimitSet(
        high_v=0.5 if level else np.inf,
        low_v=(-0.8 if uneven else -0.5) if level else -np.inf,
        slew_rise_v_per_s=slope if slew else np.inf,
        slew_fall_v_per_s=slope * (0.7 if uneven else 1.0) if slew else np.inf,
        time_constant_s=constant_s,
    )


@pytest.mark.parametrize("constant_s", REALISTIC_S)
@pytest.mark.parametrize("kind", ["clip", "slew", "both", "uneven"])
@pytest.mark.parametrize("rate_hz", [44100, 48000, 96000])
def test_a_hard_driven_5_khz_leaves_nothing_that_is_no_harmonic(
    rate_hz: int, kind: str, constant_s: float
) -> None:
    """Full scale, 6 dB over the levels and twice the slew limit: at or below -110 dBFS."""
    effect = Limiting(kind, limits(kind, hz=5000.0, constant_s=constant_s))
    found = steady_tone([effect], hz=5000.0, rate_hz=rate_hz, frames=rate_hz, phase=0.1)
    assert worst_db(found, hz=5000.0, rate_hz=rate_hz) <= -110.0
    assert np.abs(lines(found))[15000] > 0.005  # it was driven


@pytest.mark.parametrize("kind", ["clip", "slew", "both", "uneven"])
@pytest.mark.parametrize(
    ("hz", "rate_hz"), [(997.0, 44100), (3001.0, 48000), (7001.0, 44100), (9973.0, 96000)]
)
def test_so_do_other_tones(hz: float, rate_hz: int, kind: str) -> None:
    effect = Limiting(kind, limits(kind, hz=hz, constant_s=64e-9))
    found = steady_tone([effect], hz=hz, rate_hz=rate_hz, frames=rate_hz)
    assert worst_db(found, hz=hz, rate_hz=rate_hz) <= -110.0


def test_far_over_its_levels_a_tone_is_still_clean() -> None:
    """40 dB over: next to a square wave, both levels passed within a quarter of a frame."""
    effect = Limiting("clip", LimitSet(high_v=0.01, low_v=-0.007))
    found = steady_tone([effect], hz=5000.0, rate_hz=44100, frames=44100)
    assert worst_db(found, hz=5000.0, rate_hz=44100) <= -110.0


def test_plain_clipping_would_fail() -> None:
    """The measure itself can tell: the same tone clipped sample by sample folds back at -30 dB."""
    tone = np.sin(2.0 * np.pi * 5000.0 * np.arange(44100) / 44100)
    assert worst_db(np.clip(tone, -0.5, 0.5), hz=5000.0, rate_hz=44100) > -40.0
