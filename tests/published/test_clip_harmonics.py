"""A clipped sine against its Fourier series, and against the table of its distortion.

The series is textbook analysis, written out here.  The table is the same series worked out to the
digits given: THD re the fundamental, third harmonic, and share of the time that is clipped.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.effects.limits.clip import clip
from tests.played import harmonics, in_decibels, played_and_counted, steady_tone

Array = NDArray[np.float64]


def moment(order: int, start: float, stop: float, peak: float) -> complex:
    """Integral of peak sin(x) exp(-i order x) between two angles."""
    total = 0j
    for side in (1, -1):
        k = side - order
        part = (
            stop - start if k == 0 else (np.exp(1j * k * stop) - np.exp(1j * k * start)) / (1j * k)
        )
        total += side * peak / 2j * part
    return total


def flat(order: int, start: float, stop: float, level: float) -> complex:
    """Integral of a level times exp(-i order x) between two angles."""
    return level * (np.exp(-1j * order * start) - np.exp(-1j * order * stop)) / (1j * order)


def series(peak: float, high: float, low: float, count: int) -> Array:
    """Sizes of harmonics 1 to count of peak sin(x), held between two levels."""
    up = np.arcsin(min(high / peak, 1.0))
    down = np.arcsin(min(-low / peak, 1.0))
    sizes = []
    for order in range(1, count + 1):
        total = moment(order, -down, up, peak) + moment(order, np.pi - up, np.pi + down, peak)
        total += flat(order, up, np.pi - up, high)
        total += flat(order, np.pi + down, 2.0 * np.pi - down, low)
        sizes.append(abs(total) / np.pi)
    return np.array(sizes)


def test_the_series_itself_is_that_of_the_textbook() -> None:
    """Odd harmonics of a symmetrically clipped sine, in closed form, at 6.02 dB over."""
    a = np.arcsin(0.5)
    first = 4.0 / np.pi * (a - np.sin(2.0 * a) / 2.0 + np.cos(a))
    third = 4.0 / np.pi * (np.sin(2.0 * a) / 2.0 - np.sin(4.0 * a) / 4.0 + np.cos(3.0 * a) / 3.0)
    assert series(2.0, 1.0, -1.0, 3) == pytest.approx([first, 0.0, abs(third)], abs=1e-12)


@pytest.mark.parametrize("over_db", [0.1, 0.5, 1.0, 3.0, 6.0, 20.0, 40.0])
@pytest.mark.parametrize("low_share", [1.0, 0.7, None])
@pytest.mark.parametrize(("hz", "rate_hz"), [(5000.0, 44100), (997.0, 48000), (5000.0, 96000)])
def test_harmonics_are_those_of_the_series(
    over_db: float, low_share: float | None, hz: float, rate_hz: int
) -> None:
    """Within 0.05 dB up to 20 kHz, wherever a harmonic stands above -100 dB."""
    high = 10.0 ** (-over_db / 20.0)
    low = -2.0 if low_share is None else -low_share * high
    found = steady_tone([clip(high, low)], hz=hz, rate_hz=rate_hz, frames=rate_hz)
    count = int(20e3 / hz)
    measured = np.abs(harmonics(found, periods=round(hz), count=count))
    expected = series(1.0, high, low, count)
    heard = expected > 1e-5 * expected[0]
    assert in_decibels(measured[heard] / expected[heard]) == pytest.approx(0.0, abs=0.05)
    assert measured[~heard].max(initial=0.0) < 1.1e-5 * expected[0]


@pytest.mark.parametrize(
    ("over_db", "thd_percent", "third_db", "clipped_percent"),
    [
        (0.1, "0.337", "-56.8", "9.6"),
        (0.25, "0.994", "-45.2", "15.2"),
        (0.5, "2.189", "-36.7", "21.4"),
        (1.0, "4.632", "-28.7", "30.0"),
        (2.0, "9.25", "-21.4", "41.6"),
        (3.0, "13.38", "-17.8", "49.9"),
        (6.0, "23.24", "-12.9", "66.6"),
    ],
)
def test_distortion_is_that_of_the_table(
    over_db: float, thd_percent: str, third_db: str, clipped_percent: str
) -> None:
    rate_hz, hz, period = 96000, 50.0, 1920
    level = 10.0 ** (-over_db / 20.0)
    tone = np.sin(2.0 * np.pi * hz * np.arange(15 * period) / rate_hz)[:, None]
    done, tally = played_and_counted([clip(level, -level)], tone, rate_hz)
    sizes = np.abs(harmonics(done[5 * period : 10 * period, 0], periods=5, count=400))
    thd = 100.0 * np.sqrt(np.square(sizes[1:]).sum()) / sizes[0]
    third = in_decibels(sizes[2] / sizes[0])
    clipped = 100.0 * tally.clipped_frames / len(tone)
    for value, printed in ((thd, thd_percent), (third, third_db)):
        digits = len(printed.partition(".")[2])
        assert value == pytest.approx(float(printed), abs=0.51 * 10.0**-digits)
    # a frame counts where any part of it is clipped: one more at each of four ends
    assert -0.05 < clipped - float(clipped_percent) < 0.05 + 100.0 * 4.0 / period
