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

from stagefx.effects.clip import clip
from stagefx.effects.curvature import Curvature
from stagefx.effects.effect import Effect
from stagefx.effects.linear import Linear
from stagefx.effects.slew import slew
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
    def curve(self) -> Curvature:
        return Curvature(self.harmonics, self.harmonics_level_v)

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
    """Sizes of the lines from 0 to 20 kHz, in steps of the period's frequency."""
    points = POINTS * tones.rate_hz // tones.period_hz
    step_s = 1.0 / (POINTS * tones.rate_hz)
    found = amplifier.simulated(tones.at(np.arange(points) * step_s), step_s)
    return np.abs(lines(found))[: 20000 // tones.period_hz + 1]


def rendered(amplifier: Amplifier, tones: Tones) -> Array:
    """The same of what is rendered."""
    frames = tones.rate_hz // tones.period_hz * max(1, tones.period_hz // 50)
    n = np.arange(-LEAD_FRAMES, frames + LEAD_FRAMES)
    audio = tones.at(n / tones.rate_hz)[:, None]
    found = played(amplifier.effects(), audio, tones.rate_hz)[LEAD_FRAMES:-LEAD_FRAMES, 0]
    step = frames * tones.period_hz // tones.rate_hz
    return np.abs(lines(found))[::step][: 20000 // tones.period_hz + 1]


if __name__ == "__main__":
    for t, amps in (
        (modulation(), (10, 14, 18)),
        (difference(), (2.0, 3, 4, 6, 14, 18)),
        (dynamic(), (1, 2, 3, 4, 8, 16)),
    ):
        for a in amps:
            for amp in (Amplifier(), Amplifier(slew_v_per_s=20e6, time_constant_s=0.064e-6)):
                b, r = brute_force(amp, t.times(a)), rendered(amp, t.times(a))
                big = b.max()
                n = b.size
                prod = np.arange(n)[(b > 1e-5 * big)]
                d = in_decibels(r[prod] / b[prod])
                k = np.argsort(-b)[:9]
                print(
                    t.hz[:2],
                    a,
                    amp.slew_v_per_s,
                    "worst dB",
                    np.abs(d).max(),
                    "rms err rel",
                    in_decibels(np.sqrt(((r - b)[1:] ** 2).sum() / (b[1:] ** 2).sum())),
                )
                print(
                    "   ",
                    [
                        (
                            int(i * t.period_hz),
                            round(float(in_decibels(b[i] / big)), 1),
                            round(float(in_decibels(r[i] / b[i])), 2),
                        )
                        for i in k
                    ],
                )
