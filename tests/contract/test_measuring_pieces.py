"""The arithmetic of a measurement: points, transforms, levels in decibels, orders and clocks."""

from __future__ import annotations

import math

import numpy as np
import pytest

from stagefx.bench.bench_setting import on_bench
from stagefx.bench.expectation import measured_on
from stagefx.bench.measure.decibels import ratio_db, root_sum
from stagefx.bench.measure.remarks import unsteady_ppm
from stagefx.bench.measure.sines import Stretch, transform_length
from stagefx.bench.measure.spectrum import power_lines
from stagefx.bench.measure.sweeping import response_points
from stagefx.bench.measure.synchronised import Synchronised, synchronise
from stagefx.bench.measure.tones.channels import balance_of, crosstalk_of
from stagefx.bench.measure.tones.distortion import orders_within
from stagefx.bench.measure.tones.intermodulation import on_its_own_clock, products_of
from stagefx.bench.signals.passages import Tones
from stagefx.bench.signals.plan import signal_named, third_octaves_hz
from stagefx.bench.signals.signal import marker_wave
from stagefx.circuit.description.files import stage_from
from stagefx.io.recording import HeldAudio

RATE = 48000


def recorded(name: str, gain: object = 1.0) -> Synchronised:
    """A signal as a recorder heard it whose channels have these gains or mix."""
    signal = signal_named(name)
    mix = np.asarray(gain)
    heard = signal.samples() @ mix if mix.ndim == 2 else signal.samples() * mix
    return synchronise(signal, HeldAudio(heard, RATE))


@pytest.mark.parametrize("rate_hz", [44100, 96000])
def test_a_response_is_told_from_10_hz_up_and_at_1_khz(rate_hz: int) -> None:
    points = np.array(response_points(rate_hz))
    assert points[0] == pytest.approx(10.0)
    assert 1000.0 in points
    assert points[-1] < 0.5 * rate_hz
    np.testing.assert_allclose(np.diff(np.log(points)), np.log(points[1] / points[0]), rtol=1e-9)


@pytest.mark.parametrize("frames", [1, 5, 1000, 48000, 65536, 65537, 100_003])
def test_a_transform_is_long_enough_of_small_factors_and_never_much_longer(frames: int) -> None:
    length = transform_length(frames)
    assert frames <= length <= max(1.34 * frames, 4)
    rest = length
    for factor in (2, 3, 5):
        while rest % factor == 0:
            rest //= factor
    assert rest == 1


@pytest.mark.parametrize(
    ("value", "reference", "level_db"),
    [
        (0.5, 1.0, 20.0 * math.log10(0.5)), (2.0, 0.02, 40.0), (0.0, 1.0, -math.inf),
        (1.0, 0.0, math.inf), (0.0, 0.0, -math.inf),
    ],
)  # fmt: skip
def test_ratios_in_decibels_and_what_nothing_comes_to(
    value: float, reference: float, level_db: float
) -> None:
    assert ratio_db(value, reference) == pytest.approx(level_db, abs=1e-12)


def test_voltages_add_by_their_powers() -> None:
    assert root_sum([3.0, 4.0]) == 5.0
    assert root_sum([]) == 0.0


def test_the_lines_of_a_spectrum_add_up_to_the_mean_square() -> None:
    """Of noise within what its window leaves to chance, of a sine exactly."""
    noise = np.random.default_rng(1).standard_normal(RATE)
    assert power_lines(noise, RATE)[1].sum() == pytest.approx(1.0, rel=0.03)
    sine = np.sin(2.0 * np.pi * 1000.0 / RATE * np.arange(RATE))
    hz, lines = power_lines(sine, RATE)
    assert lines.sum() == pytest.approx(0.5, rel=1e-6)
    assert hz[np.argmax(lines)] == 1000.0


def test_a_steady_voltage_is_no_line() -> None:
    assert power_lines(np.full(RATE, 0.3), RATE)[1].sum() == pytest.approx(0.0, abs=1e-20)


@pytest.mark.parametrize(
    ("hz", "orders"), [(5000.0, [2, 3, 4]), (15000.0, []), (10000.0, [2]), (7900.0, [2])]
)
def test_harmonics_are_those_that_the_rate_can_hold(hz: float, orders: list[int]) -> None:
    assert list(orders_within(hz, 48000.0)) == orders


def test_a_tone_that_runs_fast_puts_the_times_right() -> None:
    times = np.arange(RATE) / RATE
    heard = np.sin(2.0 * np.pi * 10e3 * 1.000002 * times)
    found = on_its_own_clock(Stretch(heard, times), Tones(0.0, 1.0, (10e3,), (1.0,)))
    np.testing.assert_allclose(found.times_s[1:] / times[1:], 1.000002, rtol=0.0, atol=2e-8)


def test_a_lost_frame_is_seen_by_the_tone_and_a_whole_take_is_steady() -> None:
    signal = signal_named("01-level-1khz")
    lost = np.delete(signal.samples(), 150_000, axis=0)
    assert abs(unsteady_ppm(synchronise(signal, HeldAudio(lost, RATE)), 0)) > 1.5
    assert abs(unsteady_ppm(recorded("01-level-1khz"), 0)) < 0.1


def test_products_are_those_that_a_signal_is_made_for() -> None:
    assert list(products_of(recorded("08-dim-30"), 0)) == ["dim_30"]
    assert not products_of(recorded("01-level-1khz"), 0)


def test_crosstalk_is_a_thousandth_where_a_thousandth_was_mixed_in() -> None:
    found = recorded("12-left-only", [[1.0, 0.001], [0.0, 1.0]])
    assert crosstalk_of(found, found.signal.tones()[4]).db == pytest.approx(-60.0, abs=0.02)


@pytest.mark.parametrize("right", [0.5, 1.0, 2.0])
def test_balance_is_the_right_channel_over_the_left(right: float) -> None:
    found = recorded("01-level-1khz", [0.4, 0.4 * right])
    balance = balance_of(found, found.signal.tones()[0])
    assert balance.db == pytest.approx(20.0 * math.log10(right), abs=1e-3)


def test_third_octaves_are_ten_a_decade_up_to_the_highest_wanted() -> None:
    found = third_octaves_hz(20e3)
    assert 1000.0 in found
    assert found[0] == pytest.approx(20.0, abs=0.1)
    np.testing.assert_allclose(np.divide(found[10:], found[:-10]), 10.0, rtol=1e-12)
    assert [round(hz, 1) for hz in third_octaves_hz(40.0)] == [20.0, 25.1, 31.6, 39.8]


def test_the_marker_stands_12_db_under_full_scale_and_rises() -> None:
    wave = marker_wave(np.arange(12000) / RATE, RATE)
    assert 20.0 * math.log10(abs(wave).max()) == pytest.approx(-12.0, abs=0.05)
    turns = np.flatnonzero(np.diff(np.signbit(wave)))
    early, late = np.diff(turns)[2:6].mean(), np.diff(turns)[-6:-2].mean()
    assert late < 0.5 * early


@pytest.mark.parametrize("gain", [1.0, 4.0])
def test_a_modelled_stage_is_measured_to_have_its_gain(gain: float) -> None:
    stage = {"source": {"level": "2 V rms"}, "amplifier": {"gain": gain}}
    bench = on_bench(stage_from(stage))
    found = measured_on(bench, signal_named("01-level-1khz"))
    assert found.levels[0].gain_db == pytest.approx(20.0 * math.log10(gain), abs=1e-4)
