"""Intermodulation of a stage driven hard, against a brute-force simulation at 256 points a frame.

The simulation knows nothing of the renderer: the textbook two-stage amplifier's law
dv/dt = S tanh((u - v)/(S tau)), its output clamped, point after point, and then a static curve.
The tones and products are those of IEC 60268-3: modulation (14.12.7), difference frequency
(14.12.8) and dynamic intermodulation (14.12.9).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.effects.distortion import Distortion
from stagefx.effects.effect import Effect
from stagefx.effects.limits.clip import clip
from stagefx.effects.limits.slew import slew
from stagefx.effects.linear.sections import Linear
from tests.played import LEAD_FRAMES, in_decibels, lines, played

Array = NDArray[np.float64]
POINTS = 256
"""Points of the simulation to a frame."""


@dataclass(frozen=True)
class Amplifier:
    """A gain of one whose output is limited every way at once; volts and seconds."""

    slew_v_per_s: float = 0.5e6
    time_constant_s: float = 0.64e-6
    high_v: float = 13.0
    low_v: float = -13.9
    harmonics: tuple[float, ...] = (1e-3, 5e-4)
    harmonics_level_v: float = 10.0

    @property
    def curve(self) -> Distortion:
        return Distortion(self.harmonics, self.harmonics_level_v)

    def effects(self) -> list[Effect]:
        tau = self.time_constant_s
        pole = Linear("bandwidth", lambda hz: 1.0 / (1.0 + 2j * np.pi * hz * tau), 1.0)
        limits = [slew(self.slew_v_per_s, self.slew_v_per_s, tau), clip(self.high_v, self.low_v)]
        return [*limits, pole, self.curve]

    def simulated(self, target: Array, step_s: float) -> Array:
        """The second of two rounds of a periodic target's points."""
        steering = self.slew_v_per_s * self.time_constant_s
        kept = math.exp(-step_s / self.time_constant_s)
        straight = step_s / self.time_constant_s
        midway = (0.5 * (target + np.roll(target, -1))).tolist()
        v, found = target[0], np.empty(target.size)
        for _ in range(2):
            for k, u in enumerate(midway):
                found[k] = v
                error = (u - v) / steering
                if abs(error) < 30.0:  # the target held for a step: an identity of the law
                    error = math.asinh(math.sinh(error) * kept)
                else:
                    error -= math.copysign(straight, error)
                v = min(max(u - steering * error, self.low_v), self.high_v)
        return found + self.harmonics_level_v * self.curve.added(found / self.harmonics_level_v)


@dataclass(frozen=True)
class Tones:
    """Lines of a periodic test signal: Hz and volts."""

    hz: tuple[int, ...]
    volts: tuple[float, ...]
    phases: tuple[float, ...]
    rate_hz: int
    period_hz: int

    def at(self, times_s: Array) -> Array:
        total = np.zeros(times_s.shape)
        for hz, volts, phase in zip(self.hz, self.volts, self.phases, strict=True):
            total += volts * np.sin(2.0 * np.pi * hz * times_s + phase)
        return total

    def times(self, factor: float) -> Tones:
        return replace(self, volts=tuple(factor * volts for volts in self.volts))


def modulation() -> Tones:
    """60 Hz and 7 kHz, 4:1, of 1 V peak together."""
    return Tones((60, 7000), (0.8, 0.2), (0.0, 0.0), 48000, 20)


def difference() -> Tones:
    """19 kHz and 20 kHz, equal, of 1 V peak together."""
    return Tones((19000, 20000), (0.5, 0.5), (0.0, 0.0), 48000, 1000)


def dynamic() -> Tones:
    """A 3.15 kHz square behind one pole at 30 kHz, and 15 kHz, 4:1 peak to peak, of 1 V peak."""
    rate_hz, order = 192000, np.arange(1, 28, 2)
    pole = 1.0 / (1.0 + 1j * 3150.0 * order / 30e3)
    square = 0.8 * 4.0 / np.pi / order * pole
    return Tones(
        (*(3150 * order).tolist(), 15000),
        (*np.abs(square).tolist(), 0.2),
        (*np.angle(square).tolist(), 0.0),
        rate_hz,
        150,
    )


def brute_force(amplifier: Amplifier, tones: Tones) -> Array:
    """Sizes of the lines up to 21 kHz, in steps of the period's frequency."""
    points = POINTS * tones.rate_hz // tones.period_hz
    step_s = 1.0 / (POINTS * tones.rate_hz)
    found = amplifier.simulated(tones.at(np.arange(points) * step_s), step_s)
    return np.abs(lines(found))[: 21000 // tones.period_hz + 1]


def rendered(amplifier: Amplifier, tones: Tones) -> Array:
    """The same of what is rendered."""
    periods = max(1, tones.period_hz // 50)
    frames = periods * tones.rate_hz // tones.period_hz
    n = np.arange(-LEAD_FRAMES, frames + LEAD_FRAMES)
    audio = tones.at(n / tones.rate_hz)[:, None]
    found = played(amplifier.effects(), audio, tones.rate_hz)[LEAD_FRAMES:-LEAD_FRAMES, 0]
    return np.abs(lines(found))[::periods][: 21000 // tones.period_hz + 1]


# --- distortion, as ratios ---


def modulation_distortion(size: Array) -> Array:
    """d_m2 and d_m3: sidebands of the high tone, summed, over it."""
    at, low = 350, 3  # 7 kHz and 60 Hz in steps of 20 Hz
    second = size[at + low] + size[at - low]
    third = size[at + 2 * low] + size[at - 2 * low]
    return np.array([second, third]) / size[at]


def difference_distortion(size: Array) -> Array:
    """d_d2 and d_d3: 1 kHz, and 18 with 21 kHz, over the sum of both tones."""
    return np.array([size[1], size[18] + size[21]]) / (size[19] + size[20])


def dynamic_distortion(size: Array) -> float:
    """The nine products below 15 kHz, by their squares, over the sine."""
    products = [abs(n * 21 - 100) for n in range(1, 10)]  # 3.15 and 15 kHz in steps of 150 Hz
    return float(np.sqrt(np.square(size[products]).sum()) / size[100])


SLOW = Amplifier()
QUICK = Amplifier(slew_v_per_s=20e6, time_constant_s=64e-9)


def both(amplifier: Amplifier, tones: Tones, peak_v: float) -> tuple[Array, Array]:
    driven = tones.times(peak_v)
    return rendered(amplifier, driven), brute_force(amplifier, driven)


@pytest.mark.parametrize("peak_v", [10.0, 14.0, 18.0])
@pytest.mark.parametrize("amplifier", [SLOW, QUICK], ids=["slow", "quick"])
def test_modulation(amplifier: Amplifier, peak_v: float) -> None:
    """Curved, and up to 2.8 dB into the limits: within 0.02 dB; any line to -80 dB, 0.25 dB."""
    found, wanted = both(amplifier, modulation(), peak_v)
    change = modulation_distortion(found) / modulation_distortion(wanted)
    strong = wanted > 1e-4 * wanted.max()
    assert in_decibels(change) == pytest.approx(0.0, abs=0.02)
    assert in_decibels(found[strong] / wanted[strong]) == pytest.approx(0.0, abs=0.25)


@pytest.mark.parametrize("peak_v", [4.0, 14.0, 18.0])
def test_difference_frequency_of_what_only_clips(peak_v: float) -> None:
    """Curved, and up to 2.8 dB into the limits: within 0.1 dB."""
    found, wanted = both(QUICK, difference(), peak_v)
    change = difference_distortion(found) / difference_distortion(wanted)
    assert in_decibels(change) == pytest.approx(0.0, abs=0.1)


@pytest.mark.parametrize("peak_v", [1.0, 2.0, 3.0, 5.0, 6.0])
def test_difference_frequency_of_what_slews(peak_v: float) -> None:
    """Asked for 0.25 to 0.74, and 1.2 to 1.5, times the slew limit: within 1.5 dB."""
    found, wanted = both(SLOW, difference(), peak_v)
    change = difference_distortion(found) / difference_distortion(wanted)
    assert in_decibels(change) == pytest.approx(0.0, abs=1.5)


@pytest.mark.parametrize("peak_v", [10.0, 14.0, 18.0])
def test_difference_frequency_of_what_slews_by_far(peak_v: float) -> None:
    """Asked for 2.5 to 4.4 times the slew limit, and clipped: d_d3 within 1.5 dB.

    d_d2, some 60 dB below it, within a thousandth of the tones.
    """
    found, wanted = both(SLOW, difference(), peak_v)
    second, third = zip(difference_distortion(found), difference_distortion(wanted), strict=True)
    assert in_decibels(third[0] / third[1]) == pytest.approx(0.0, abs=1.5)
    assert second[0] == pytest.approx(second[1], abs=1e-3)


@pytest.mark.parametrize("peak_v", [0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 8.0, 16.0])
def test_dynamic_intermodulation_of_what_slews(peak_v: float) -> None:
    """Edges up to ten times too steep: within 1.5 dB."""
    found, wanted = both(SLOW, dynamic(), peak_v)
    change = dynamic_distortion(found) / dynamic_distortion(wanted)
    assert in_decibels(change) == pytest.approx(0.0, abs=1.5)


@pytest.mark.parametrize("peak_v", [4.0, 16.0])
def test_dynamic_intermodulation_of_what_does_not(peak_v: float) -> None:
    """Curved, and clipped at the top: within 0.02 dB."""
    found, wanted = both(QUICK, dynamic(), peak_v)
    change = dynamic_distortion(found) / dynamic_distortion(wanted)
    assert in_decibels(change) == pytest.approx(0.0, abs=0.02)


@pytest.mark.parametrize(("square_v", "peak_v"), [(4.0, 5.0)])
def test_the_square_is_the_one_of_the_standard(square_v: float, peak_v: float) -> None:
    """Square to sine 4:1 peak to peak, behind 30 kHz; 27 harmonics of it are kept."""
    tones = dynamic().times(peak_v)
    times = np.arange(4096) / (4096 * 150.0)
    pole_s = 1.0 / (2.0 * np.pi * 30e3)
    half_s = 0.5 / 3150.0
    into = times % half_s
    sign = np.where(times % (2.0 * half_s) < half_s, 1.0, -1.0)
    settle = 2.0 / (1.0 + np.exp(-half_s / pole_s))
    square = square_v * sign * (1.0 - settle * np.exp(-into / pole_s))
    square += np.sin(2.0 * np.pi * 15e3 * times)
    assert np.sqrt(np.mean((tones.at(times) - square) ** 2)) < 0.06 * square_v
