"""What a measurement must not depend on: delay, gain, polarity, clock, noise of the instrument."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.bench.measure.analysis import measure_signal
from stagefx.bench.measure.measurement import Measurement, merged
from stagefx.bench.measure.rows import Slew
from stagefx.bench.measure.saved import measurement_from_json
from stagefx.bench.measure.synchronised import synchronise
from stagefx.bench.measure.whole import measure
from stagefx.bench.signals.plan import signal_named
from stagefx.bench.signals.signal import TestSignal
from stagefx.io.recording import HeldAudio

Array = NDArray[np.float64]
RATE = 48000
DELAY, PPM = 1234.567, 23.0


def taken(
    signal: TestSignal,
    *,
    delay: float = DELAY,
    ppm: float = PPM,
    gain: float = -0.43,
    seed: int = 1,
) -> HeldAudio:
    """A take by an imperfect recorder: late, drifting, upside down, noisy, with hum, off zero."""
    frames = np.arange(signal.frames + 9000)
    wave = gain * signal.wave((frames - delay) / (signal.rate_hz * (1.0 + 1e-6 * ppm)))
    noise = 10.0 ** (-100 / 20) * np.random.default_rng(seed).standard_normal(wave.shape)
    hum = 1e-5 * np.sin(2.0 * np.pi * 50.0 * frames / signal.rate_hz)[:, None]
    return HeldAudio(wave + noise + hum + 1e-3, signal.rate_hz)


@pytest.mark.parametrize(
    "name", ["01-level-1khz", "05-two-tone-60hz-7khz", "08-dim-30", "11-silence", "12-left-only"]
)
@pytest.mark.parametrize(("delay", "ppm", "gain"), [(DELAY, PPM, -0.43), (-20000.25, -60.0, 0.05)])
def test_a_take_is_found_and_its_clock_measured(
    name: str, delay: float, ppm: float, gain: float
) -> None:
    signal = signal_named(name, RATE)
    found = synchronise(signal, taken(signal, delay=delay, ppm=ppm, gain=gain))
    assert found.delay_frames == pytest.approx(delay, abs=2e-3)
    assert found.drift_ppm == pytest.approx(ppm, abs=0.02)
    assert found.polarity == math.copysign(1.0, gain)


def test_an_imperfect_recorder_changes_no_level_and_no_response() -> None:
    level = signal_named("01-level-1khz", RATE)
    found = measure_signal(level, taken(level))
    assert found.levels[0].captured_dbfs == pytest.approx(-12.0 + 20.0 * math.log10(0.43), abs=1e-4)
    assert found.balance_db == pytest.approx(0.0, abs=1e-4)
    sweep = signal_named("02-sweep", RATE)
    points = measure_signal(sweep, taken(sweep)).response
    assert max(abs(point.db) for point in points) < 0.02
    assert max(abs(point.deg) for point in points) < 0.2
    assert all(point.floor_db is not None and point.floor_db < 0.01 for point in points)


def test_strong_hum_bends_the_response_by_no_more_than_is_told() -> None:
    sweep = signal_named("02-sweep", RATE)
    times = np.arange(sweep.frames) / RATE
    noise = 1e-4 * np.random.default_rng(6).standard_normal((sweep.frames, 2))
    hum = sum(a * np.sin(2.0 * np.pi * hz * times) for hz, a in {50.0: 4e-4, 100.0: 1e-3}.items())
    found = measure_signal(sweep, HeldAudio(sweep.samples() + hum[:, None] + noise, RATE))
    told = {round(point.hz): point for point in found.response}
    assert abs(told[100].db) > 0.1
    for point in found.response:
        assert point.floor_db is not None
        assert abs(point.db) < 2.0 * point.floor_db + 0.001
    assert told[10000].floor_db < 0.2


def test_an_imperfect_recorder_adds_no_intermodulation_beyond_its_noise() -> None:
    for name in ("05-two-tone-60hz-7khz", "06-two-tone-19-20khz", "07-two-tone-8-11950hz"):
        signal = signal_named(name, RATE)
        for product in measure_signal(signal, taken(signal)).intermodulation.values():
            assert product.percent < 6.0 * product.floor_percent
            assert product.floor_percent < 0.002


def test_noise_is_read_whatever_the_clock() -> None:
    signal = signal_named("11-silence", RATE)
    noise = measure_signal(signal, taken(signal, gain=0.5)).noise
    assert noise is not None
    # of white noise at -97 dBFS over 24 kHz, 20 kHz are heard
    expected = -100.0 + 10.0 * math.log10(2.0) + 10.0 * math.log10(20.0 / 24.0)
    assert noise.without_hum_dbfs == pytest.approx(expected, abs=0.1)
    assert noise.mains_hz == pytest.approx(50.0, abs=0.01)
    assert [line.kind for line in noise.hum] == ["pickup"]
    assert noise.pickup_dbfs == pytest.approx(-100.0, abs=0.3)
    assert noise.rectifier_dbfs is None


def test_hum_is_told_apart_by_its_multiples() -> None:
    signal = signal_named("11-silence", RATE)
    times = np.arange(signal.frames) / RATE
    lines = {60.3: 3e-5, 120.6: 1e-4, 241.2: 5e-5}
    hum = sum(a * np.sin(2.0 * np.pi * hz * times) for hz, a in lines.items())
    noise = 1e-6 * np.random.default_rng(3).standard_normal((signal.frames, 2))
    found = measure_signal(signal, HeldAudio(signal.samples() + hum[:, None] + noise, RATE)).noise
    assert found is not None
    assert found.mains_hz == pytest.approx(60.3, abs=0.01)
    assert [(line.order, line.kind) for line in found.hum] == [
        (1, "pickup"), (2, "rectifier"), (4, "rectifier"),
    ]  # fmt: skip
    assert found.pickup_dbfs == pytest.approx(20.0 * math.log10(3e-5), abs=0.05)
    assert found.rectifier_dbfs == pytest.approx(10.0 * math.log10(1e-8 + 25e-10), abs=0.05)


def test_the_quieter_the_noise_the_lower_the_floor() -> None:
    signal = signal_named("05-two-tone-60hz-7khz", RATE)
    floors = []
    for level_db in (-60.0, -80.0, -100.0):
        rng = np.random.default_rng(4)
        noise = 10.0 ** (level_db / 20.0) * rng.standard_normal((signal.frames, 2))
        found = measure_signal(signal, HeldAudio(signal.samples() + noise, RATE))
        floors.append(found.intermodulation["modulation_d3"].floor_percent)
        # what noise shows as is what its own figure says, within chance
        assert found.intermodulation["modulation_d3"].percent < 6.0 * floors[-1]
    assert floors[0] == pytest.approx(10.0 * floors[1], rel=0.01)
    assert floors[1] == pytest.approx(10.0 * floors[2], rel=0.01)


def test_crosstalk_is_the_share_of_the_other_channel_whatever_the_gains() -> None:
    for name, mix in (
        ("12-left-only", [[1.0, 0.002], [0.0, 1.0]]),
        ("13-right-only", [[1.0, 0.0], [0.004, 2.0]]),
    ):
        signal = signal_named(name, RATE)
        noise = 1e-6 * np.random.default_rng(5).standard_normal((signal.frames, 2))
        heard = 0.3 * signal.samples() @ np.array(mix) + noise
        rows = measure_signal(signal, HeldAudio(heard, RATE)).crosstalk
        assert {row.driven for row in rows} == {name.split("-")[1]}
        for row in rows:
            assert row.db == pytest.approx(20.0 * math.log10(0.002), abs=0.05)
            assert row.floor_db < -110.0


def test_the_other_channel_is_measured_when_asked_for() -> None:
    signal = signal_named("01-level-1khz", RATE)
    heard = HeldAudio(signal.samples() * [1.0, 0.25], RATE)
    left, right = (measure_signal(signal, heard, channel=channel) for channel in (0, 1))
    assert left.levels[0].captured_dbfs - right.levels[0].captured_dbfs == pytest.approx(12.0412)
    assert (left.channel, right.channel) == ("left", "right")


def test_volts_are_told_only_where_they_are_known() -> None:
    signal = signal_named("01-level-1khz", RATE)
    heard = HeldAudio(0.5 * signal.samples(), RATE)
    bare = measure_signal(signal, heard).levels[0]
    assert (bare.input_v_rms, bare.output_v_rms, bare.gain_db) == (None, None, None)
    one = measure_signal(signal, heard, captured_full_scale_v=8.0).levels[0]
    assert one.output_v_rms == pytest.approx(4.0 * 10.0 ** (-12.0 / 20.0))
    assert one.gain_db is None
    both = measure_signal(signal, heard, captured_full_scale_v=8.0, played_full_scale_v=2.0)
    assert both.levels[0].gain_db == pytest.approx(20.0 * math.log10(2.0))


def test_a_loopback_stands_beside_what_it_belongs_to() -> None:
    signal = signal_named("05-two-tone-60hz-7khz", RATE)
    samples = signal.samples()
    bent = HeldAudio(0.5 * (samples + 0.01 * samples**2), RATE)
    found = measure(
        HeldAudio(samples, RATE), bent, loopback=HeldAudio(0.5 * samples, RATE), repeat=bent
    )
    alone = found.floor["loopback"].intermodulation["modulation_d2"].percent
    assert found.intermodulation["modulation_d2"].percent > 1000.0 * alone
    assert found.floor["repeat"].intermodulation == found.intermodulation


def test_a_measurement_reads_back_as_it_was_written() -> None:
    names = ("01-level-1khz", "06-two-tone-19-20khz", "11-silence", "12-left-only")
    parts = [measure_signal(signal_named(name, RATE), taken(signal_named(name))) for name in names]
    whole = replace(merged(parts), floor={"loopback": parts[0]})
    assert whole.signals == names
    assert measurement_from_json(json.loads(json.dumps(whole.as_json()))) == whole


def test_signals_of_one_round_merge_whatever_their_order() -> None:
    one = Measurement("bench measure", RATE, signals=("a",), balance_db=0.5)
    two = Measurement("bench measure", RATE, signals=("b",), dynamic_range_db=100.0)
    for parts in ([one, two], [two, one]):
        whole = merged(parts)
        assert (whole.balance_db, whole.dynamic_range_db) == (0.5, 100.0)
        assert set(whole.signals) == {"a", "b"}


def test_a_visible_slew_rate_outranks_a_bound() -> None:
    bound, seen = (
        Slew(rate, rate, None, None, visible) for rate, visible in ((9e4, False), (4e4, True))
    )
    lower = Slew(1e4, 1e4, None, None, False)
    parts = [Measurement("bench measure", RATE, slew=slew) for slew in (lower, bound, seen)]
    assert merged(parts).slew == seen
    assert merged(parts[:2]).slew == bound
