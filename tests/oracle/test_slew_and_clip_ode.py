"""Slewing and clipping at once against the law they stand for, marched as a differential equation.

dv/dt = S tanh((u - v)/(S T)), v clamped where it stands, so that nothing winds up.  Two tones of 7
and 8 kHz are driven through both.  The limiter's closed forms are in the limit of a T that is short
against the music; so what is left goes with S T, the voltage that steers the input pair fully.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.effects.effect import Effect
from stagefx.effects.limits.clip import clip
from stagefx.effects.limits.slew import slew
from stagefx.effects.linear.sections import Linear
from tests.played import LEAD_FRAMES, in_decibels, played

Lines = NDArray[np.complex128]
RATE_HZ = 44100
SLEW_V_PER_S, HIGH_V, LOW_V = 0.5e6, 13.5, -13.0
AUDIBLE = 20
"""Lines of 1 kHz that are compared."""
FAST_S, SLOW_S = 64e-9, 0.64e-6
"""Time constants of 10 MHz and 1 MHz at a gain of 4: S T is 32 mV and 0.32 V."""


def tones(t: NDArray[np.float64], peak_v: float) -> NDArray[np.float64]:
    """Both of one peak; a millisecond is their period."""
    turns = 2.0 * np.pi * t
    return peak_v * (np.sin(7000.0 * turns) + np.sin(8000.0 * turns + 0.4))


def marched(peak_v: float, constant_s: float, *, slews: bool = True, clips: bool = True) -> Lines:
    """The second millisecond from rest, by Runge and Kutta's rule at a third of the constant."""
    steps = math.ceil(3e-3 / constant_s)
    h = 1e-3 / steps
    u = tones(np.arange(2 * steps) * 0.5 * h, peak_v).tolist()
    slew_v, high, low = (SLEW_V_PER_S if slews else 1e12), HIGH_V, LOW_V
    steering, v, found = slew_v * constant_s, 0.0, np.empty(steps)

    def slope(target: float, at: float) -> float:
        return slew_v * math.tanh((target - at) / steering)

    for k in range(2 * steps):
        i = 2 * (k % steps)
        found[k % steps] = v
        here, middle, there = u[i], u[i + 1], u[(i + 2) % len(u)]
        k1 = slope(here, v)
        k2 = slope(middle, v + 0.5 * h * k1)
        k3 = slope(middle, v + 0.5 * h * k2)
        k4 = slope(there, v + h * k3)
        v += h * (k1 + 2.0 * (k2 + k3) + k4) / 6.0
        v = min(max(v, low), high) if clips else v
    return np.asarray(2j * np.fft.rfft(found) / steps)[1 : AUDIBLE + 1]


def rendered(peak_v: float, constant_s: float, *, slews: bool = True, clips: bool = True) -> Lines:
    """The same through the effects and the loop's one pole."""
    effects: list[Effect] = []
    if slews:
        effects.append(slew(SLEW_V_PER_S, SLEW_V_PER_S, constant_s))
    else:
        effects.append(slew(1e12, 1e12, constant_s))
    if clips:
        effects.append(clip(HIGH_V, LOW_V))
    effects.append(Linear("pole", lambda hz: 1.0 / (1.0 + 2j * np.pi * hz * constant_s), 1.0))
    n = np.arange(-LEAD_FRAMES, RATE_HZ // 10 + LEAD_FRAMES)
    found = played(effects, tones(n / RATE_HZ, peak_v)[:, None], RATE_HZ)
    inside = found[LEAD_FRAMES:-LEAD_FRAMES, 0]
    return np.asarray(2j * np.fft.rfft(inside) / inside.size)[100 * np.arange(1, AUDIBLE + 1)]


def apart_db(found: Lines, wanted: Lines) -> float:
    """Rms of the difference over rms of the whole."""
    return float(in_decibels(np.linalg.norm(found - wanted) / np.linalg.norm(wanted)))


@pytest.mark.parametrize("constant_s", [FAST_S, SLOW_S])
@pytest.mark.parametrize("peak_v", [9.0, 16.0])
def test_clipping_is_that_of_the_output_not_of_what_it_follows(
    peak_v: float, constant_s: float
) -> None:
    """Within -100 dB: the clamp stands behind the pole, and lets go when the target is back."""
    options = {"slews": False}
    found, wanted = rendered(peak_v, constant_s, **options), marched(peak_v, constant_s, **options)
    assert apart_db(found, wanted) < -100.0


@pytest.mark.parametrize("peak_v", [6.0, 9.0, 12.0, 16.0, 24.0])
@pytest.mark.parametrize(
    ("constant_s", "clips", "most_db"),
    [(FAST_S, True, -85.0), (SLOW_S, True, -57.0), (FAST_S, False, -72.0), (SLOW_S, False, -46.0)],
)
def test_two_tones_into_both_limits(
    constant_s: float, clips: bool, most_db: float, peak_v: float
) -> None:
    """Within -85 dB of the law where S T is 32 mV; within -57 dB where it is 0.32 V.

    Of slewing alone, within -72 and -46 dB: the worst where the target, hardly met, turns steeper
    than S the other way, so that a line begins from no steady lag.
    """
    found = rendered(peak_v, constant_s, clips=clips)
    wanted = marched(peak_v, constant_s, clips=clips)
    assert apart_db(found, wanted) < most_db


def test_without_the_lines_places_it_would_fail() -> None:
    """A line that began at the target itself would lie 1 to 2 S T away: the measure can tell."""
    ideal = rendered(16.0, 1e-12)
    pole = 1.0 / (1.0 + 2j * np.pi * 1000.0 * np.arange(1, AUDIBLE + 1) * SLOW_S)
    assert apart_db(ideal * pole, marched(16.0, SLOW_S)) > -40.0
