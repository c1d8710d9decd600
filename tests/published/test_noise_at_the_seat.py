"""A stage's noise as sound pressure, against worked examples and the threshold of hearing.

Textbook acoustics: 10 uV through a power amplifier with a gain of 27 into a loudspeaker of 87 dB
for 2.83 V comes to 6.596375 dB SPL at 1 m, -2.946050 dB at 3 m, 26.59638 dB at 10 cm.
"""

from __future__ import annotations

import numpy as np
import pytest

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.circuit.knob import seat_spl_db
from stagefx.circuit.noise import noise_bands
from stagefx.hearing.level_at_ear import room_of
from stagefx.hearing.rows.noise import dither_over_db, hiding_db, noise_change
from stagefx.hearing.rows.stage_noise import noise_at_seat

NOWHERE = -np.inf


def passive(resistance: str, *, distance: str = "1 m", speakers: int = 1, **listening: object):
    return nominal(
        stage_from(
            {
                "source": {"level": "2 V rms", "resistance": resistance},
                "listening": {
                    "amplifier_gain": 27.0,
                    "speaker_sensitivity": "87 dB",
                    "distance": distance,
                    "speakers": speakers,
                    **listening,
                },
            }
        )
    )


@pytest.mark.parametrize(
    ("distance", "spl_db"), [("1 m", 6.596375), ("3 m", -2.946050), ("10 cm", 26.59638)]
)
def test_ten_microvolts_over_the_threshold_at_1_khz(distance: str, spl_db: float) -> None:
    """ISO 389-7: 2.4 dB SPL at 1 kHz."""
    level = seat_spl_db(passive("1 kohm", distance=distance), np.array([10e-6]))
    found = noise_change([1000.0], [NOWHERE], level)
    assert found.spl_db == pytest.approx(spl_db, abs=1e-5)
    assert found.over_db == pytest.approx(spl_db - 2.4, abs=1e-5)


def test_two_stages_noise_comes_through_their_listening_chains() -> None:
    """10 kohm has 1.814697 uV in 20 kHz (25 C): 12.85 nV per root hertz, in every band."""
    circuit = passive("10 kohm")
    hz, noise, other = noise_at_seat(circuit, circuit, full_scale_spl_db=0.0)
    assert np.array_equal(noise, other)
    band = 1000.0 * (10.0**0.05 - 10.0**-0.05)
    volts = 1.814697e-6 * np.sqrt(band / 20e3)
    expected = 6.596375 + 20.0 * np.log10(volts / 10e-6)
    assert noise[np.argmin(np.abs(hz - 1000.0))] == pytest.approx(expected, abs=1e-3)


def test_without_a_listening_chain_full_scale_sets_the_level() -> None:
    circuit = nominal(stage_from({"source": {"level": "2 V rms", "resistance": "10 kohm"}}))
    hz, noise, _ = noise_at_seat(circuit, circuit, full_scale_spl_db=105.0)
    _, volts = noise_bands(circuit)
    np.testing.assert_allclose(noise, 105.0 + 20.0 * np.log10(volts / 2.0), atol=1e-9)
    assert noise_change(hz, noise, noise).over_db == NOWHERE


def test_the_quieter_of_two_rooms_hides_less_and_a_room_hides_what_lies_under_it() -> None:
    quiet, loud = passive("1 kohm", room_noise="25 dB"), passive("1 kohm", room_noise="40 dB")
    assert room_of("as described", quiet.stage, loud.stage) == 25.0
    assert room_of("as described", passive("1 kohm").stage) == 30.0
    assert room_of(None, quiet.stage) is None
    assert np.all(hiding_db([50.0, 1000.0], room_noise_dba=40.0) >= hiding_db([50.0, 1000.0]))
    assert noise_change([1000.0], [NOWHERE], [5.0], room_noise_dba=40.0).over_db < -20.0


def test_more_noise_in_either_version_counts_alike() -> None:
    hz, one, other = [500.0, 4000.0], [10.0, 0.0], [12.0, 3.0]
    assert noise_change(hz, one, other) == noise_change(hz, other, one)


def test_24_bit_dither_lies_far_under_the_threshold() -> None:
    """-141.48 dBFS, white: at 105 dB SPL full scale -36.5 dB in all, less in a third octave."""
    assert dither_over_db(105.0, rate_hz=48000) < -36.5
    assert dither_over_db(120.0, rate_hz=48000) == pytest.approx(
        dither_over_db(105.0, rate_hz=48000) + 15.0
    )
