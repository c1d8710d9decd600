"""Group delay and delay between the channels, against closed forms."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import group_delay, lfilter

from stagefx.difference.decomposition import Difference, take_apart
from stagefx.io.recording import HeldAudio
from tests.band_limited import RATE_HZ, sound

Array = NDArray[np.float64]
MUSIC = sound(3.0)


def compared(second: Array) -> Difference:
    return take_apart(HeldAudio(MUSIC, RATE_HZ), HeldAudio(np.ascontiguousarray(second), RATE_HZ))


def late(seconds: float) -> Callable[[Array], Array]:
    return lambda hz: np.exp(-2j * np.pi * hz * seconds)


def test_a_pure_delay_is_no_group_delay() -> None:
    found = compared(sound(3.0, late(7.3 / RATE_HZ)))
    assert found.group_delay_ms == pytest.approx(0.0, abs=1e-6)
    assert found.interchannel_delay_us == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("change", "delay_s"),
    [
        (
            lambda f: (1.0 - 1j * f / 300.0) / (1.0 + 1j * f / 300.0),
            lambda f: 2.0 / (2.0 * np.pi * 300.0) / (1.0 + (f / 300.0) ** 2),
        ),
        (
            lambda f: 1j * f / 100.0 / (1.0 + 1j * f / 100.0),
            lambda f: 1.0 / (2.0 * np.pi * 100.0) / (1.0 + (f / 100.0) ** 2),
        ),
    ],
    ids=["all-pass at 300 Hz", "coupling capacitor at 100 Hz"],
)
def test_group_delay_is_the_closed_form(
    change: Callable[[Array], Array], delay_s: Callable[[float], float]
) -> None:
    """Textbook: -dφ/dω of one pole, twice that of a first-order all-pass; less the pure delay."""
    found = compared(sound(3.0, change))
    assert found.group_delay is not None
    assert found.group_delay.at_hz == pytest.approx(501.187, abs=0.01)
    pure_s = found.alignment.delay_frames / RATE_HZ
    assert found.group_delay.value_s == pytest.approx(delay_s(501.187) - pure_s, abs=2e-7)
    assert found.group_delay.floor_s is not None
    assert found.group_delay.floor_s < 1e-5


def test_group_delay_of_a_digital_filter_is_scipys() -> None:
    """A second-order all-pass around 2 kHz."""
    radius, angle = 0.9, 2.0 * np.pi * 2e3 / RATE_HZ
    down = np.array([1.0, -2.0 * radius * np.cos(angle), radius**2])
    found = compared(0.5 * MUSIC + 0.5 * lfilter(down[::-1], down, MUSIC, axis=0))
    assert found.group_delay is not None
    at_hz = found.group_delay.at_hz
    assert at_hz is not None
    whole = 0.5 * (down + down[::-1])
    _, frames = group_delay((whole, down), w=[at_hz], fs=RATE_HZ)
    expected_s = (frames[0] - found.alignment.delay_frames) / RATE_HZ
    assert found.group_delay.value_s == pytest.approx(expected_s, abs=1e-6)


@pytest.mark.parametrize("seconds", [20e-6, -5e-6])
def test_a_channel_that_comes_late_is_found(seconds: float) -> None:
    second = np.stack([sound(3.0, late(seconds))[:, 0], MUSIC[:, 1]], axis=1)
    found = compared(second)
    assert found.interchannel_delay_us == pytest.approx(1e6 * seconds, abs=0.02)


def test_phase_and_coherence_stand_beside_the_levels() -> None:
    found = compared(sound(3.0, lambda f: 1j * f / 50.0 / (1.0 + 1j * f / 50.0)))
    pure_s = found.alignment.delay_frames / RATE_HZ
    for band in found.response.bands:
        if band.db is None or not 50.0 < band.hz < 16e3:
            continue
        expected = np.degrees(np.arctan(50.0 / band.hz) + 2.0 * np.pi * band.hz * pure_s)
        assert band.phase_deg == pytest.approx(expected, abs=0.05)
        assert band.coherence is not None
        assert band.coherence > 0.999


def test_what_is_missing_says_so() -> None:
    one_channel = take_apart(HeldAudio(MUSIC[:, :1], RATE_HZ), HeldAudio(MUSIC[:, :1], RATE_HZ))
    assert one_channel.interchannel_delay is not None
    assert one_channel.interchannel_delay.as_json() == {
        "value": None,
        "reason": "there is one channel",
    }
    turned = compared(MUSIC * [1.0, -0.5])
    assert turned.interchannel_delay is not None
    assert "turned over" in turned.interchannel_delay.reason
