"""Meters read the same bit for bit however the audio is cut, and obey the laws of levels."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, strategies as st
from numpy.typing import NDArray

from stagefx.dsp.levels import AWeightedMeter, match_gain_db, peak_dbfs, rms_dbfs
from stagefx.dsp.loudness import LoudnessMeter, integrated_loudness
from stagefx.dsp.true_peak import TruePeakMeter

Audio = NDArray[np.float64]


def swelling_noise(rate_hz: int, *, seconds: float = 4.0, channels: int = 2) -> Audio:
    rng = np.random.default_rng(channels)
    frames = int(seconds * rate_hz)
    gain = 0.3 * np.sin(np.pi * np.arange(frames) / frames) ** 4
    return gain[:, None] * rng.uniform(-1.0, 1.0, (frames, channels))


def loudness_readings(meter: LoudnessMeter) -> list[Any]:
    return [
        meter.integrated_lufs,
        meter.maximum_momentary_lufs,
        meter.momentary_lufs.tolist(),
        meter.short_term_lufs.tolist(),
        meter.gated_blocks.tolist(),
        meter.frames,
    ]


READINGS: dict[str, tuple[Callable[[int, int], Any], Callable[[Any], Any]]] = {
    "loudness": (LoudnessMeter, loudness_readings),
    "true peak": (TruePeakMeter, lambda meter: meter.peak_dbtp.tolist()),
    "A-weighted": (AWeightedMeter, lambda meter: meter.level_db),
}


@pytest.mark.parametrize("what", READINGS)
@pytest.mark.parametrize("rate_hz", [11027, 48000, 96000])
def test_readings_do_not_depend_on_the_blocks(what: str, rate_hz: int) -> None:
    make, read = READINGS[what]
    audio = swelling_noise(rate_hz)
    whole = make(rate_hz, 2)
    whole.add(audio)
    for frames in (997, 1024, 4410, 16384):
        meter = make(rate_hz, 2)
        for first in range(0, len(audio), frames):
            meter.add(audio[first : first + frames])
        assert read(meter) == read(whole)


@pytest.mark.parametrize("what", READINGS)
@given(cuts=st.lists(st.integers(0, 9000), max_size=12))
def test_readings_do_not_depend_on_awkward_cuts(what: str, cuts: list[int]) -> None:
    make, read = READINGS[what]
    audio = swelling_noise(8000, seconds=1.125)
    whole, meter = make(8000, 2), make(8000, 2)
    whole.add(audio)
    edges = [0, *sorted(cuts), len(audio)]
    for first, last in pairwise(edges):
        meter.add(audio[first:last])
    assert read(meter) == read(whole)


@pytest.mark.parametrize("what", READINGS)
def test_reading_does_not_disturb_a_meter(what: str) -> None:
    make, read = READINGS[what]
    audio = swelling_noise(48000)
    once, often = make(48000, 2), make(48000, 2)
    once.add(audio)
    for first in range(0, len(audio), 5000):
        often.add(audio[first : first + 5000])
        read(often)
    assert read(often) == read(once)


@given(gain_db=st.floats(-30.0, 20.0))
def test_loudness_follows_gain(gain_db: float) -> None:
    audio = swelling_noise(8000, seconds=2.0)
    louder = audio * 10.0 ** (gain_db / 20.0)
    before, after = (integrated_loudness(one, rate_hz=8000) for one in (audio, louder))
    assert after - before == pytest.approx(gain_db, abs=1e-6)
    assert match_gain_db(before, after) == pytest.approx(-gain_db, abs=1e-6)


def test_true_peak_is_never_below_the_largest_sample() -> None:
    audio = swelling_noise(48000, channels=5)
    meter = TruePeakMeter(48000, 5)
    meter.add(audio)
    assert (meter.peak_dbtp >= peak_dbfs(audio)).all()


@pytest.mark.parametrize(("rate_hz", "factor"), [(44100, 4), (88200, 2), (176400, 1)])
def test_a_sine_reads_low_by_no_more_than_its_oversampling_allows(
    rate_hz: int, factor: int
) -> None:
    # BS.1770-5, annex 2, attachment 1: at worst 20 log10 cos(pi f / (n rate)) low.
    for share in (0.05, 0.21, 0.35, 0.45):
        phases = np.linspace(0.0, np.pi / factor, 7)
        frame = np.arange(4000)[:, None]
        envelope = np.sin(np.pi * frame / 4000)  # no clicks at the ends
        meter = TruePeakMeter(rate_hz, 7)
        meter.add(envelope * np.sin(2.0 * np.pi * share * frame + phases))
        lowest_db = 20.0 * np.log10(np.cos(np.pi * share / factor))
        assert meter.peak_dbtp.min() >= lowest_db - 0.01
        assert meter.peak_dbtp.max() <= 0.01


def test_a_click_at_either_end_is_seen() -> None:
    for place in (0, 99):
        audio = np.zeros((100, 1))
        audio[place] = 1.0
        meter = TruePeakMeter(48000, 1)
        meter.add(audio)
        assert meter.peak_dbtp[0] == pytest.approx(0.0, abs=1e-9)
    # A step overshoots beside its first and its last sample.
    for rise in (np.linspace(0.0, 1.0, 500), np.linspace(1.0, 0.0, 500)):
        meter = TruePeakMeter(48000, 1)
        meter.add(rise[:, None])
        assert meter.peak_dbtp[0] > 0.5


@pytest.mark.parametrize("frames", [0, 1])
def test_nothing_and_next_to_nothing_have_levels_but_no_loudness(frames: int) -> None:
    audio = np.full((frames, 2), 0.5)
    loudness, true_peak, weighted = (
        LoudnessMeter(48000, 2), TruePeakMeter(48000, 2), AWeightedMeter(48000, 2)
    )  # fmt: skip
    for meter in (loudness, true_peak, weighted):
        meter.add(audio)
    assert loudness.integrated_lufs == -np.inf
    assert loudness.maximum_momentary_lufs == -np.inf
    assert len(loudness.momentary_lufs) == len(loudness.short_term_lufs) == 0
    assert weighted.level_db == -np.inf
    expected_db = -6.0206 if frames else -np.inf
    assert peak_dbfs(audio) == pytest.approx(expected_db, abs=1e-4)
    assert true_peak.peak_dbtp == pytest.approx(expected_db, abs=1e-4)
    assert rms_dbfs(audio) == pytest.approx(expected_db + 3.0103, abs=1e-4)


def test_silence_has_no_loudness() -> None:
    assert integrated_loudness(np.zeros((96000, 2)), rate_hz=48000) == -np.inf


@pytest.mark.parametrize(("level_db", "passes"), [(-69.9, True), (-70.1, False)])
def test_nothing_below_the_absolute_gate_counts(level_db: float, passes: bool) -> None:
    sine = np.sin(2.0 * np.pi * 997.0 * np.arange(96000) / 48000)[:, None]
    meter = LoudnessMeter(48000, 2)
    meter.add(10.0 ** (level_db / 20.0) * np.hstack([sine, sine]))
    settled = meter.gated_blocks[3:]
    assert settled.all() if passes else not settled.any()
    assert np.isfinite(meter.integrated_lufs) == passes


@pytest.mark.parametrize("channels", range(1, 9))
def test_every_number_of_channels_is_metered(channels: int) -> None:
    audio = swelling_noise(8000, channels=channels)
    alone = [integrated_loudness(audio[:, [k]], rate_hz=8000) for k in range(channels)]
    weights = {5: [1, 1, 1, 1.41, 1.41], 6: [1, 1, 1, 0, 1.41, 1.41]}.get(channels, [1] * channels)
    power = sum(w * 10.0 ** (lufs / 10.0) for w, lufs in zip(weights, alone, strict=True))
    # Alike in every channel, so that the gates pass the same blocks.
    expected_lufs = 10.0 * np.log10(power)
    assert integrated_loudness(audio, rate_hz=8000) == pytest.approx(expected_lufs, abs=0.05)
