"""Harmonic and intermodulation products of a static curve, in closed form.

The products of y = x + a2 x^2 + a3 x^3 are textbook trigonometry.  Distortion is as IEC 60268-3
defines it: 14.12.7 modulation (sidebands summed arithmetically, over the high tone) and 14.12.8
difference frequency (products over the sum of both tones).

A Chebyshev curve of second and third order is that cubic, up to a scale.  With the level at which
its harmonics are stated as the unit, T2 = 2 x^2 - 1 and T3 = 4 x^3 - 3 x, so

    x + h2 T2 - h3 T3 = (1 + 3 h3) x + 2 h2 x^2 - 4 h3 x^3 + a constant.

The effect compresses (a3 < 0) for a positive h3; a negative one makes the expanding cubic for
which the printed figures hold.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.effects.distortion import Distortion, distortion
from tests.played import LEAD_FRAMES, harmonics, in_decibels, lines, played, steady_tone

Array = NDArray[np.float64]
RATE_HZ = 48000
A2, A3 = 0.01, 0.004


def cubic(a2: float, a3: float) -> tuple[Distortion, float]:
    """The curve that makes s (x + a2 x^2 + a3 x^3), and s; for x up to 1."""
    h3 = -a3 / (4.0 + 3.0 * a3)
    scale = 1.0 + 3.0 * h3
    return Distortion((a2 * scale / 2.0, h3), 1.0), scale


def two_tones(low_hz: int, low: float, high_hz: int, high: float, *effects: Distortion) -> Array:
    """A second of two tones through effects; element n is the size of the line at n Hz."""
    n = np.arange(-LEAD_FRAMES, RATE_HZ + LEAD_FRAMES)
    turns = 2.0 * np.pi * n / RATE_HZ
    tones = low * np.sin(low_hz * turns) + high * np.sin(high_hz * turns)
    found = played(effects, tones[:, None], RATE_HZ)[LEAD_FRAMES:-LEAD_FRAMES, 0]
    return np.abs(lines(found))


@pytest.mark.parametrize("level_v_rms", [0.3, 1.0, 7.0])
@pytest.mark.parametrize(
    "levels_db",
    [
        [-60.0],
        [-100.0, -80.0],
        [-40.0, -50.0, -60.0, -70.0, -80.0],
        [-50.0 - 6.0 * order for order in range(11)],
    ],
)
def test_a_sine_at_the_stated_output_has_exactly_the_stated_harmonics(
    levels_db: list[float], level_v_rms: float
) -> None:
    """Within 0.01 dB, up to 20 kHz; the fundamental too."""
    curve = distortion(levels_db, level_v_rms)
    hz, peak_v = 1000.0, np.sqrt(2.0) * level_v_rms
    found = steady_tone([curve], hz=hz, rate_hz=44100, frames=4410, full_scale_v=peak_v)
    sizes = np.abs(harmonics(found, periods=100, count=20))
    stated = np.array([0.0, *levels_db])
    assert in_decibels(sizes[: stated.size]) == pytest.approx(stated, abs=0.01)
    assert sizes[stated.size :].max() < 1e-9


def test_even_harmonics_lean_up_and_odd_ones_compress() -> None:
    """At a crest cos(0): T2 = +1; T3 = +1, which is taken away; less T2(0) = -1."""
    crest = np.array([1.0, 0.0, -1.0])
    assert Distortion((0.01,), 1.0).added(crest) == pytest.approx([0.02, 0.0, 0.02], abs=1e-15)
    assert Distortion((0.0, 0.01), 1.0).added(crest) == pytest.approx([-0.01, 0, 0.01], abs=1e-15)


@pytest.mark.parametrize("count", [1, 2, 5, 9])
def test_nothing_in_gives_nothing_out(count: int) -> None:
    curve = Distortion(tuple(0.01 / order for order in range(1, count + 1)), 3.0)
    assert curve.added(np.zeros(1))[0] == pytest.approx(0.0, abs=1e-15)
    silence = np.zeros((5000, 2))
    assert np.abs(played([curve], silence, RATE_HZ)).max() < 1e-15


@pytest.mark.parametrize("count", [1, 2, 5, 9])
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_beyond_the_stated_level_the_curve_goes_on_straight(count: int, side: float) -> None:
    """With the slope of its edge: n^2 of T_n at +1, of alternating sign at -1."""
    ratios = np.array([0.01 / order for order in range(1, count + 1)])
    curve = Distortion(tuple(ratios), 1.0)
    order = np.arange(2, count + 2)
    signs = np.where(order % 2 == 0, 1.0, -1.0)
    slope = float((signs * ratios * order**2 * (1.0 if side > 0 else (-1.0) ** (order - 1))).sum())
    at = side * np.array([1.0, 1.1, 2.0, 10.0])
    found = curve.added(at)
    for (x, y), (x_next, y_next) in pairwise(zip(at, found, strict=True)):
        assert (y_next - y) / (x_next - x) == pytest.approx(slope, rel=1e-9)
    just_inside = curve.added(side * np.array([1.0 - 1e-7, 1.0]))
    assert (just_inside[1] - just_inside[0]) / (side * 1e-7) == pytest.approx(slope, rel=1e-4)


@pytest.mark.parametrize("amplitude", [0.1, 0.5, 1.0])
def test_harmonics_of_a_cubic(amplitude: float) -> None:
    """H1 = A + 3/4 a3 A^3, H2 = a2 A^2/2, H3 = a3 A^3/4."""
    curve, scale = cubic(A2, A3)
    found = steady_tone([curve], hz=1000.0, rate_hz=RATE_HZ, frames=4800, peak=amplitude)
    sizes = np.abs(harmonics(found, periods=100, count=3)) / scale
    expected = [
        amplitude + 0.75 * A3 * amplitude**3,
        A2 * amplitude**2 / 2.0,
        A3 * amplitude**3 / 4.0,
    ]
    assert sizes == pytest.approx(expected, rel=1e-6)
    assert found.mean() / scale == pytest.approx(A2 * amplitude**2 / 2.0, rel=1e-6)


def test_modulation_distortion_of_a_cubic() -> None:
    """60 Hz and 7 kHz, 4:1 (IEC 60268-3, 14.12.7): d_m2 1.59369 %, d_m3 0.38249 %."""
    curve, _ = cubic(A2, A3)
    size = two_tones(60, 0.8, 7000, 0.2, curve)
    second = 100.0 * (size[7060] + size[6940]) / size[7000]
    third = 100.0 * (size[7120] + size[6880]) / size[7000]
    four = 100.0 * np.sqrt(np.square(size[[6880, 6940, 7060, 7120]]).sum()) / size[7000]
    assert second == pytest.approx(1.59369, abs=5e-6)
    assert third == pytest.approx(0.38249, abs=5e-6)
    assert four == pytest.approx(1.15891, abs=5e-6)


def test_modulation_distortion_of_a_cubic_that_compresses() -> None:
    """The same closed form with a3 < 0: sidebands a2 A1 A2 and 3/4 a3 A1^2 A2."""
    curve, scale = cubic(A2, -A3)
    assert all(ratio > 0.0 for ratio in curve.harmonics)
    size = two_tones(60, 0.8, 7000, 0.2, curve) / scale
    carrier = 0.2 * (1.0 - 1.5 * A3 * 0.8**2 - 0.75 * A3 * 0.2**2)
    assert size[7000] == pytest.approx(carrier, rel=1e-6)
    assert size[[6940, 7060]] == pytest.approx(A2 * 0.8 * 0.2, rel=1e-6)
    assert size[[6880, 7120]] == pytest.approx(0.75 * A3 * 0.8**2 * 0.2, rel=1e-6)


def test_difference_frequency_distortion_of_a_cubic() -> None:
    """19 and 20 kHz, equal (IEC 60268-3, 14.12.8): d_d2 0.24944 %, d_d3 0.07483 %."""
    curve, scale = cubic(A2, A3)
    size = two_tones(19000, 0.5, 20000, 0.5, curve)
    assert size[1000] / scale == pytest.approx(0.0025, rel=1e-5)
    assert size[[18000, 21000]] / scale == pytest.approx(0.000375, rel=1e-5)
    both = size[19000] + size[20000]
    assert 100.0 * size[1000] / both == pytest.approx(0.24944, abs=5e-6)
    assert 100.0 * (size[18000] + size[21000]) / both == pytest.approx(0.07483, abs=5e-6)


@pytest.mark.parametrize("rate_hz", [44100, 48000, 96000])
@pytest.mark.parametrize("count", [1, 2, 4, 7])
def test_hardly_anything_folds_back(count: int, rate_hz: int) -> None:
    """5 kHz at the stated level: what is no harmonic lies 120 dB down, up to 20 kHz."""
    levels = [-40.0 - 3.0 * order for order in range(count)]
    curve = distortion(levels, 1.0 / np.sqrt(2.0))
    found = steady_tone([curve], hz=5000.0, rate_hz=rate_hz, frames=rate_hz // 10)
    size = np.abs(lines(found))[2:2001]  # 20 Hz to 20 kHz in steps of 10 Hz
    others = np.delete(size, 500 * np.arange(1, 5) - 2)
    print(in_decibels(others.max()))
    assert in_decibels(others.max()) < -120.0


@pytest.mark.parametrize("over_db", [1.0, 6.0])
def test_little_folds_back_beyond_the_stated_level(over_db: float) -> None:
    """Where the curve goes straight on its slope is bent, not broken."""
    curve = distortion([-60.0, -60.0, -70.0], 1.0 / np.sqrt(2.0))
    peak = 10.0 ** (over_db / 20.0)
    found = steady_tone([curve], hz=5000.0, rate_hz=44100, frames=4410, peak=peak)
    size = np.abs(lines(found))[2:2001]
    others = np.delete(size, 500 * np.arange(1, 5) - 2)
    print(in_decibels(others.max() / peak))
    assert in_decibels(others.max() / peak) < -100.0


def test_an_inverting_amplifier_leans_the_other_way() -> None:
    """The curve is in volts at the output: with a negative unit its even terms turn round."""
    curve = Distortion((0.01,), 2.0)
    tone = np.sin(2.0 * np.pi * 1000.0 * np.arange(9600) / RATE_HZ)[:, None]
    upright = played([curve], tone, RATE_HZ, full_scale_v=2.0)
    turned = played([curve], tone, RATE_HZ, full_scale_v=-2.0)
    middle = slice(2000, -2000)
    assert (upright - tone)[middle] == pytest.approx(-(turned - tone)[middle], abs=1e-9)
    assert (upright - tone)[middle].min() > -1e-6
