"""Null depths against textbook worked examples (gain error, delay, one pole, one coupling corner).

Each example is a closed form of a complex response H at one frequency: the residual is |1 - H|.
"""

from __future__ import annotations

import numpy as np
import pytest

from stagefx.difference.decomposition import take_apart
from stagefx.io.recording import HeldAudio
from tests.band_limited import RATE_HZ, sound, tone

POLE_HZ = 57_255.5
COUPLING_HZ = 1.591549


@pytest.mark.parametrize(
    ("error_db", "null_db"),
    [
        (0.001, -78.77579),
        (0.01, -58.77129),
        (0.05, -44.77187),
        (0.1, -38.72624),
        (0.5, -24.54569),
        (1.0, -18.27149),
    ],
)
def test_a_gain_error_alone_limits_the_null(error_db: float, null_db: float) -> None:
    music = sound(3.0)
    found = take_apart(HeldAudio(music, RATE_HZ), HeldAudio(music * 10 ** (error_db / 20), RATE_HZ))
    assert found.null_db.plain == pytest.approx(null_db, abs=1e-4)
    assert found.alignment.gain_db == pytest.approx(error_db, abs=1e-9)
    assert found.null_db.after_gain < -250.0


def _plain_null(hz: float, gain: complex) -> float:
    """Null of a tone and what a response makes of it, whatever the tone's length."""
    first, second = tone(hz, 2.0), tone(hz, 2.0, gain)
    return float(20.0 * np.log10(np.linalg.norm(first - second) / np.linalg.norm(first)))


@pytest.mark.parametrize(
    ("frames", "hz", "null_db"),
    [
        (1.0, 1e3, -17.66743),
        (1.0, 10e3, 1.709542),
        (0.01, 1e3, -57.66123),
        (0.01, 10e3, -37.66129),
    ],
)
def test_a_delay_alone_limits_the_null(frames: float, hz: float, null_db: float) -> None:
    late = np.exp(-2j * np.pi * hz * frames / RATE_HZ)
    assert _plain_null(hz, late) == pytest.approx(null_db, abs=1e-4)


def test_a_delay_of_music_is_found_and_taken_away() -> None:
    frames = 37.3217
    music = sound(10.0)
    late = sound(10.0, lambda hz: np.exp(-2j * np.pi * hz * frames / RATE_HZ))
    found = take_apart(HeldAudio(music, RATE_HZ), HeldAudio(late, RATE_HZ))
    assert found.alignment.delay_frames == pytest.approx(frames, abs=2e-5)
    assert found.null_db.plain > -10.0
    # the ends are not alike: the sound goes round, a recording does not
    assert found.null_db.after_delay < -80.0


def test_a_harmless_pole_nulls_badly_by_its_delay_and_well_without_it() -> None:
    """One pole at 57,255.5 Hz, half a decibel at 20 kHz: -35.2 dB at 1 kHz, -76.3 without delay."""
    pole = 1.0 / (1.0 + 1j * 1e3 / POLE_HZ)
    assert _plain_null(1e3, pole) == pytest.approx(-35.15767, abs=1e-4)
    late = np.exp(-2j * np.pi * 1e3 * 2.779732e-6)
    assert _plain_null(1e3, pole / late) == pytest.approx(-76.33469, abs=1e-3)
    music = sound(10.0)
    through = sound(10.0, lambda hz: 1.0 / (1.0 + 1j * hz / POLE_HZ))
    found = take_apart(HeldAudio(music, RATE_HZ), HeldAudio(through, RATE_HZ))
    assert found.alignment.delay_frames == pytest.approx(0.133427, abs=0.004)
    assert found.null_db.after_delay < found.null_db.after_gain - 15.0
    assert found.null_db.after_response is not None
    assert found.null_db.after_response < -85.0


@pytest.mark.parametrize(
    ("hz", "null_db"), [(20.0, -22.01161), (100.0, -35.96470), (1000.0, -55.96361)]
)
def test_a_coupling_corner_nulls_by_its_phase(hz: float, null_db: float) -> None:
    corner = 1j * hz / (COUPLING_HZ + 1j * hz)
    assert _plain_null(hz, corner) == pytest.approx(null_db, abs=1e-4)
