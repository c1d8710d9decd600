"""What the ear model is handed, and what it says where there is nothing to say."""

from __future__ import annotations

import json

import numpy as np
import pytest

from stagefx.errors import AudioError, ComparisonError
from stagefx.hearing.ear.detection import EarPair
from stagefx.hearing.ear.masking import MaskMeter

METERS = [EarPair, MaskMeter]


@pytest.mark.parametrize("meter", METERS)
def test_blocks_of_different_length(meter: type[EarPair | MaskMeter]) -> None:
    with pytest.raises(ComparisonError, match="the first block has 5 frames and the second 4"):
        meter(48000, 1, 92.0).add(np.zeros((5, 1)), np.zeros((4, 1)))


@pytest.mark.parametrize("meter", METERS)
def test_blocks_of_the_wrong_shape(meter: type[EarPair | MaskMeter]) -> None:
    with pytest.raises(AudioError, match="1 channels where 2 are needed"):
        meter(48000, 2, 92.0).add(np.zeros((5, 1)), np.zeros((5, 1)))
    with pytest.raises(AudioError, match="shape"):
        meter(48000, 1, 92.0).add(np.zeros(5), np.zeros(5))


@pytest.mark.parametrize("rate_hz", [8000, 44100, 48000])
@pytest.mark.parametrize("seconds", [0.0, 0.01, 0.499])
def test_under_half_a_second_nothing_is_said(rate_hz: int, seconds: float) -> None:
    audio = 0.1 * np.random.default_rng(1).standard_normal((int(seconds * rate_hz), 2))
    pair, meter = EarPair(rate_hz, 2, 92.0), MaskMeter(rate_hz, 2, 92.0)
    pair.add(audio, 2.0 * audio)
    meter.add(audio, audio)
    for found in (pair.account(), meter.account()):
        assert found.reason == "shorter than half a second"
        assert found.noise_to_mask_db is found.disturbed_frames_share is found.worst_s is None
        told = found.as_json()
        assert told["noise_to_mask_db"] == {"value": None, "reason": found.reason}
        json.dumps(told, allow_nan=False)
    assert pair.account().detection_probability is None


@pytest.mark.parametrize("rate_hz", [8000, 44100, 48000])
def test_half_a_second_is_enough(rate_hz: int) -> None:
    audio = 0.1 * np.random.default_rng(1).standard_normal((rate_hz // 2, 1))
    pair = EarPair(rate_hz, 1, 92.0)
    pair.add(audio, 2.0 * audio)
    found = pair.account()
    assert found.reason == ""
    assert found.detection_probability is not None
    assert found.detection_probability > 0.5
    json.dumps(found.as_json(), allow_nan=False)


def test_no_difference_is_told_as_such() -> None:
    audio = 0.1 * np.random.default_rng(1).standard_normal((48000, 1))
    pair, meter = EarPair(48000, 1, 92.0), MaskMeter(48000, 1, 92.0)
    pair.add(audio, audio)
    meter.add(audio, np.zeros_like(audio))
    told = pair.account().as_json()
    assert told["detection_probability"] == 0.0
    assert told["noise_to_mask_db"] == {"value": None, "reason": "no difference"}
    assert meter.account().as_json()["noise_to_mask_db"]["reason"] == "nothing remains"


@pytest.mark.parametrize(("peak", "surely"), [(1e-300, 0.0), (1e6, 1.0)])
def test_out_of_all_reason_is_still_a_number(peak: float, surely: float) -> None:
    """A level far beyond any that is played: slopes stay slopes, and half as much again is heard.

    At the other end nothing is: there is nothing but silence.
    """
    audio = peak * np.random.default_rng(1).standard_normal((48000, 1))
    pair = EarPair(48000, 1, 120.0)
    pair.add(audio, 1.5 * audio)
    found = pair.account()
    assert found.detection_probability is not None
    assert found.detection_probability == pytest.approx(surely, abs=0.01)
    assert np.isfinite(found.landscape.steps_db).all()
