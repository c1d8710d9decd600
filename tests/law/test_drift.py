"""A recording by another clock is followed, dropped samples included, and only where it is one."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import lfilter

from stagefx.align.alignment import Alignment, align
from stagefx.align.path_fit import Delays, fit_path
from stagefx.difference.pairs import side_by_side
from stagefx.io.recording import HeldAudio
from tests.band_limited import RATE_HZ, sound
from tests.law.test_alignment_laws import Counted
from tests.warped import played_at, wandering_clock

Array = NDArray[np.float64]


def held(samples: Array, place: str = "second") -> HeldAudio:
    return HeldAudio(np.ascontiguousarray(samples), RATE_HZ, place=place)


@cache
def piece(seconds: float) -> Array:
    return sound(seconds, channels=1)


@cache
def recorded(
    seconds: float, *, late: float, ppm: float, by_ppm: float = 0.0, every_s: float = 1.0
) -> tuple[Array, Array]:
    """A piece, and what a clock of its own makes of it."""
    first = piece(seconds)
    clock = wandering_clock(len(first), RATE_HZ, late=late, ppm=ppm, by_ppm=by_ppm, every_s=every_s)
    return first, played_at(first, clock)


def null_db(first: Array, second: Array, found: Alignment, *, margin: int = 3000) -> float:
    left = power = 0.0
    stretch = {"start": margin, "stop": len(first) - margin}
    for pair in side_by_side(held(first), held(second), found, **stretch):
        left += float(np.square(pair.second / found.gain - pair.first).sum())
        power += float(np.square(pair.first).sum())
    return float(10.0 * np.log10(left / power))


@pytest.mark.parametrize(("late", "ppm"), [(0.5, 20.0), (-312.2, -20.0), (2000.0, 100.0)])
def test_a_steady_drift_is_taken_away(late: float, ppm: float) -> None:
    """The promise: a null of -100 dB and better after a drift of 20 ppm."""
    first, second = recorded(8.0, late=late, ppm=ppm)
    found = align(held(first), held(second))
    # What runs fast comes earlier and earlier.
    assert found.path is not None
    early, later = found.path.delay_at(np.array([0.0, 240_000.0]))
    assert later - early == pytest.approx(-0.24 * ppm, abs=0.01)
    assert found.drift_ppm == pytest.approx(1e6 * (1.0 - 1.0 / (1.0 + 1e-6 * ppm)), abs=1e-4)
    assert found.delay_frames == pytest.approx(late, abs=1e-4)
    assert null_db(first, second, found) < -110.0
    assert any("runs fast" in remark for remark in found.remarks) == (ppm > 0.0)


def test_a_recording_with_everything_wrong_is_taken_apart() -> None:
    """Late, soft, turned over, by a clock that drifts and wanders, noise, hum, a dropped sample."""
    gain, dropped_at = -(10.0 ** (-7.3 / 20.0)), 800_000
    first, played = recorded(24.0, late=1234.567, ppm=23.0, by_ppm=2.0, every_s=12.0)
    clock = wandering_clock(len(first), RATE_HZ, late=1234.567, ppm=23.0, by_ppm=2.0, every_s=12.0)
    noise = np.sqrt(10.0**-9.0 / 2.0) * np.random.default_rng(5).standard_normal(played.shape)
    hum = 1e-4 * np.sin(2.0 * np.pi * 50.0 / RATE_HZ * np.arange(len(first)))[:, None]
    second = gain * played + noise + hum
    second = np.delete(second, dropped_at, axis=0)
    found = align(held(first), held(second))

    at = np.linspace(0.0, len(first) - 3000.0, 500)
    exact = np.interp(at, clock, np.arange(len(clock))) - at
    assert found.path is not None
    assert found.path.smooth_delay_at(at) == pytest.approx(exact, abs=2e-4)
    assert found.delay_frames == pytest.approx(exact[0], abs=2e-4)
    assert found.drift_ppm == pytest.approx(23.0, abs=0.05)
    assert found.gain_db == pytest.approx(-7.3, abs=1e-3)
    assert found.polarity == -1
    (jump,) = found.jumps
    assert jump.frames == -1.0
    assert jump.frame == pytest.approx(clock[dropped_at], abs=jump.unsure_frames + 2)
    assert jump.frame / RATE_HZ == pytest.approx(16.64, abs=0.01)
    # The null goes down to what was added: noise and hum, by their powers.
    added = (10.0**-9.0 / 2.0 + 1e-8 / 2.0) / gain**2 / float(np.mean(first**2))
    assert null_db(first, second, found) == pytest.approx(10.0 * np.log10(added), abs=0.1)


@pytest.mark.parametrize("many", [-1, -700, 3])
def test_dropped_and_doubled_samples_leave_the_rest_alone(many: int) -> None:
    first = piece(8.0)
    cut = 250_000
    second = (
        np.delete(first, np.arange(cut, cut - many), axis=0)
        if many < 0
        else np.insert(first, cut, first[cut : cut + many], axis=0)
    )
    found = align(held(first), held(second))
    (jump,) = found.jumps
    assert jump.frames == many
    assert jump.frame == pytest.approx(cut + max(-many, 0), abs=jump.unsure_frames + 2)
    assert found.drift_ppm == 0.0
    assert null_db(first, second, found) < -120.0


def test_a_part_in_a_million_is_seen_in_ten_seconds() -> None:
    """10 ppm over 60 s at 48 kHz are 28.8 frames; 1 ppm over 10 s nulls 10 kHz to -4.18 dB.

    Worked by hand: 10e-6 60 s 48000 Hz, and 20 log(2 sin(pi 10 kHz 1e-6 10 s)).
    """
    first, second = recorded(10.0, late=0.0, ppm=1.0)
    found = align(held(first), held(second))
    assert found.path is not None
    start, end = found.path.delay_at(np.array([0.0, 10.0 * RATE_HZ]))
    turns = 10e3 * (end - start) / RATE_HZ
    assert 20.0 * np.log10(2.0 * abs(np.sin(np.pi * turns))) == pytest.approx(-4.179753, abs=1e-3)
    assert -60.0 * RATE_HZ * 10.0 * found.path.slope == pytest.approx(28.8, abs=1e-3)


def test_a_filter_a_clipper_and_noise_are_no_drift() -> None:
    first = piece(8.0)
    noise = 1e-3 * np.std(first) * np.random.default_rng(6).standard_normal(first.shape)
    dull = lfilter([0.4], [1.0, -0.6], first, axis=0)
    clipped = np.clip(first, -0.15, 0.15)
    for second in (first + noise, dull, clipped, np.roll(dull, 700, axis=0) + noise):
        found = align(held(first), held(second))
        assert found.path is None
        assert found.drift_ppm == 0.0
        assert found.drift_uncertainty_ppm is not None
        assert found.drift_uncertainty_ppm < 0.01


def test_drift_is_left_alone_where_that_is_wished() -> None:
    first, second = recorded(8.0, late=-312.2, ppm=-20.0)
    found = align(held(first), held(second), drift="never")
    assert found.path is None
    assert found.drift_ppm is None


def test_along_a_drift_each_frame_is_read_once_and_in_order() -> None:
    first, second = recorded(8.0, late=2000.0, ppm=100.0)
    found = align(held(first), held(second))
    counted = Counted(held(first)), Counted(held(second))
    read = sum(len(pair.first) for pair in side_by_side(*counted, found))
    assert read == pytest.approx(len(first) - 2000, abs=200)
    for each in counted:
        ends = [0, *(stop for _, stop in each.asked)]
        assert all(start >= end for (start, _), end in zip(each.asked, ends, strict=False))
        assert max(stop - start for start, stop in each.asked) < 70_000


def test_a_course_follows_a_wander_and_passes_by_what_lies_far_off() -> None:
    at = np.arange(0.5, 60.0) * RATE_HZ
    exact = 5.0 - 23e-6 * at + 0.3 * np.sin(2.0 * np.pi * at / (20.0 * RATE_HZ))
    random = np.random.default_rng(7)
    measured = exact + 1e-3 * random.standard_normal(len(at))
    measured[[20, 41]] += 2.0
    fitted = fit_path(Delays(at, measured, np.full(len(at), 1e-3)), 0, 60 * RATE_HZ)
    assert fitted.path.delay_at(at) == pytest.approx(exact, abs=1e-2)
    straight = fit_path(
        Delays(at, 5.0 - 23e-6 * at + 1e-3 * random.standard_normal(len(at)), np.full(60, 1e-3)),
        0, 60 * RATE_HZ,
    )  # fmt: skip
    assert straight.path.wander == ()
    assert abs(straight.slope + 23e-6) < 4.0 * straight.slope_uncertainty
    assert straight.slope_uncertainty == pytest.approx(1e-3 / np.sqrt(60) / np.std(at), rel=0.3)
