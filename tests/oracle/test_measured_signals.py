"""What is measured, against sums written out, scipy's filters, and another way of measuring it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import soxr
from numpy.typing import NDArray
from scipy import signal as toolbox

from stagefx.bench.measure.rows import Scales
from stagefx.bench.measure.sines import Stretch, fourier
from stagefx.bench.measure.squares import square_of
from stagefx.bench.measure.sweeping import response_of, swept_harmonics
from stagefx.bench.measure.synchronised import Synchronised, synchronise
from stagefx.bench.measure.tones.clipping import clip_of
from stagefx.bench.measure.tones.distortion import harmonics_of
from stagefx.bench.measure.tones.slewing import common_hz, slew_of, slewed
from stagefx.bench.signals.plan import signal_named
from stagefx.bench.signals.signal import TestSignal
from stagefx.io.recording import HeldAudio

Array = NDArray[np.float64]
RATE = 48000
FINE = 4
"""Nonlinear things are done at four times the rate, and band-limited before they are recorded, as a
converter does: what folds back there lies above the audio band."""
POINTS = 1 << 16
"""Of a period, where a limit of slope is worked out the naive way."""


def recorded(signal: TestSignal, wave: Array) -> Synchronised:
    return synchronise(signal, HeldAudio(np.ascontiguousarray(wave), signal.rate_hz))


def finely(signal: TestSignal) -> Array:
    """The left channel at four times the rate."""
    times = np.arange(signal.frames * FINE) / (FINE * signal.rate_hz)
    return signal.wave(times)[:, 0]


def down(wave: Array, rate_hz: int = RATE) -> Array:
    return soxr.resample(wave[:, None], FINE * rate_hz, rate_hz, quality="VHQ")


def test_the_fourier_sum_is_the_sum_written_out() -> None:
    rng = np.random.default_rng(1)
    for frames in (1, 2, 17, 480):
        samples = rng.standard_normal(frames)
        hz = rng.uniform(0.0, 24e3, 5)
        times = 0.3 + np.arange(frames) / RATE
        naive = [(samples * np.exp(-2j * np.pi * f * times)).sum() for f in hz]
        assert fourier(samples, 0.3, 1.0 / RATE, hz) == pytest.approx(np.array(naive), abs=1e-9)


def test_tones_are_those_of_a_least_squares_fit() -> None:
    rng = np.random.default_rng(2)
    times = np.arange(9600) / RATE
    hz = [997.3, 1994.6, 5000.1]
    wave = sum(
        (a * np.sin(2 * np.pi * f * times + a) for f, a in zip(hz, (1, 0.3, 0.01), strict=True)),
        0.0,
    )
    noisy = np.asarray(wave) + 1e-7 * rng.standard_normal(9600)
    turns = 2.0 * np.pi * np.outer(times, hz)
    fitted, *_ = np.linalg.lstsq(np.hstack([np.sin(turns), np.cos(turns)]), noisy, rcond=None)
    found = Stretch(noisy, times).amplitudes(hz)
    assert found == pytest.approx(fitted[:3] + 1j * fitted[3:], abs=1e-8)


def test_a_tone_off_its_frequency_is_followed() -> None:
    times = np.arange(RATE) / RATE
    wave = np.sin(2.0 * np.pi * 1000.0 * (1.0 + 7.5e-6) * times)
    assert Stretch(wave, times).faster(1000.0) == pytest.approx(1.0 + 7.5e-6, abs=1e-11)


@pytest.fixture(scope="module")
def sweep() -> TestSignal:
    return signal_named("02-sweep", RATE)


def test_the_response_is_that_of_the_filter(sweep: TestSignal) -> None:
    # two coupling capacitors and a treble loss, by scipy's own frequency response
    numerator, denominator = np.array([1.0]), np.array([1.0])
    for b, a in (
        toolbox.butter(1, 0.34, "high", fs=RATE),
        toolbox.butter(1, 1.1, "high", fs=RATE),
        toolbox.butter(1, 15e3, "low", fs=RATE),
    ):
        numerator, denominator = np.convolve(numerator, b), np.convolve(denominator, a)
    heard = toolbox.lfilter(numerator, denominator, sweep.samples()[:, 0])
    recording = recorded(sweep, heard[:, None])
    points = response_of(recording, sweep.sweeps()[0], 0)
    hz = np.array([point.hz for point in points])
    _, expected = toolbox.freqz(numerator, denominator, hz, fs=RATE)
    delay = np.exp(2j * np.pi * hz / RATE * recording.delay_frames)
    reference = 20.0 * np.log10(abs(expected[np.argmin(abs(hz - 1000.0))]))
    off_db = np.array([p.db for p in points]) - 20.0 * np.log10(abs(expected)) + reference
    off_deg = np.array([p.deg for p in points]) - np.degrees(np.angle(expected * delay))
    audio = hz >= 20.0
    assert abs(off_db[audio]).max() < 0.002
    assert abs(off_db).max() < 0.05  # down to 10 Hz
    assert abs((off_deg[audio] + 180.0) % 360.0 - 180.0).max() < 0.02


def test_swept_harmonics_are_those_of_stepped_tones(sweep: TestSignal) -> None:
    stepped = signal_named("03-stepped", RATE)

    def bend(x: Array) -> Array:
        return x + 0.01 * x**2 + 0.02 * x**3 + 0.005 * x**4 - 0.01 * x**5

    recording = recorded(sweep, down(bend(finely(sweep))))
    swept = {row.hz: row for row in swept_harmonics(recording, sweep.sweeps()[1], 0, Scales())}
    tones = recorded(stepped, down(bend(finely(stepped))))
    compared = 0
    for tone in stepped.tones()[::3]:
        if tone.hz[0] not in swept:
            continue
        one = harmonics_of(tones, tone, 0, Scales(), by="stepped").harmonics_db
        other = swept[tone.hz[0]].harmonics_db
        for first, second in zip(one[:4], other[:4], strict=False):
            assert second == pytest.approx(first, abs=0.1)
            compared += 1
    assert compared > 25


def test_clip_levels_are_found_behind_a_coupling_capacitor() -> None:
    signal = signal_named("10-clipping-ramp", RATE)
    b, a = toolbox.butter(1, 1.0, "high", fs=FINE * RATE)
    clipped = (4.0 * finely(signal)).clip(-2.1, 1.7)
    heard = down(toolbox.lfilter(b, a, clipped)) / 4.0
    heard += 10.0 ** (-80 / 20) * np.random.default_rng(3).standard_normal(heard.shape)
    found = clip_of(recorded(signal, heard), signal.ramps()[0], 0, Scales(None, 4.0 / 2.0**0.5))
    assert found.reached_high
    assert found.reached_low
    assert found.high_v == pytest.approx(1.7, rel=0.002)
    assert found.low_v == pytest.approx(-2.1, rel=0.002)
    # it leaves the line where 4 x = 1.7
    assert found.played_dbfs == pytest.approx(20.0 * np.log10(1.7 / 4.0), abs=0.3)


def naive_slewed(target: Array, step_s: float, rise: float, fall: float) -> Array:
    at, out = target[0], []
    for value in target:
        at = min(max(value, at - fall * step_s), at + rise * step_s)
        out.append(at)
    return np.array(out)


def test_a_slewed_period_is_that_of_many_periods_in_a_row() -> None:
    turns = 2.0 * np.pi * np.arange(4096) / 4096
    target = np.sin(19 * turns) + np.sin(20 * turns + 1.0)
    many = naive_slewed(np.tile(target, 30), 1e-3 / 4096, 9e4, 7e4)[-4096:]
    assert slewed(target, 1000.0, 9e4, 7e4) == pytest.approx(many, abs=1e-4)


def with_loud_part(
    name: str, change: Callable[[Array, float], Array]
) -> tuple[Synchronised, float]:
    """A recording whose loud passage was changed period by period, and its steepest slope."""
    signal = signal_named(name, RATE)
    loud = signal.tones()[-1]
    base_hz = common_hz(loud.hz)
    wave = loud.steady(np.arange(POINTS) / (base_hz * POINTS))
    lines = 2j * np.fft.rfft(change(wave, base_hz)) / POINTS
    orders = range(1, int(0.49 * RATE / base_hz))
    hz = tuple(base_hz * order for order in orders)
    changed = replace(loud, hz=hz, amplitudes=tuple(complex(lines[order]) for order in orders))
    played = replace(signal, passages=(*signal.passages[:-1], changed))
    heard = played.samples()[:, :1]
    heard += 10.0 ** (-95 / 20) * np.random.default_rng(4).standard_normal(heard.shape)
    return recorded(signal, heard), float(np.abs(np.diff(wave)).max()) * base_hz * POINTS


@pytest.mark.parametrize("name", ["06-two-tone-19-20khz", "08-dim-30", "09-square"])
@pytest.mark.parametrize(("rise", "fall"), [(0.6, 0.6), (0.6, 0.5), (0.95, 0.95)])
def test_slew_rates_are_found(name: str, rise: float, fall: float) -> None:
    def limited(wave: Array, base_hz: float) -> Array:
        steepest = float(np.abs(np.diff(wave)).max()) * base_hz * POINTS
        rates = rise * steepest, fall * steepest
        return naive_slewed(np.tile(wave, 4), 1.0 / (base_hz * POINTS), *rates)[-POINTS:]

    recording, steepest = with_loud_part(name, limited)
    found = slew_of(recording, *recording.signal.tones()[-2:], 0, Scales())
    if rise < 0.9:
        assert found.visible
    if found.visible:
        assert found.rise_per_s == pytest.approx(rise * steepest, rel=0.02)
        assert found.fall_per_s == pytest.approx(fall * steepest, rel=0.02)
    else:  # a bound that holds
        assert found.rise_per_s <= rise * steepest
        assert found.fall_per_s <= fall * steepest


@pytest.mark.parametrize("name", ["06-two-tone-19-20khz", "08-dim-30", "09-square"])
def test_what_only_clips_is_not_called_slewing(name: str) -> None:
    recording, steepest = with_loud_part(name, lambda wave, _: wave.clip(-0.6, 0.6))
    found = slew_of(recording, *recording.signal.tones()[-2:], 0, Scales())
    assert not found.visible
    assert 0.0 < max(found.rise_per_s, found.fall_per_s) <= 1.001 * steepest


@pytest.mark.parametrize("height", [0.3, 0.6])
def test_where_clipping_hides_slewing_the_bound_still_holds(height: float) -> None:
    rates: list[float] = []

    def both(wave: Array, base_hz: float) -> Array:
        rates.append(0.55 * float(np.abs(np.diff(wave)).max()) * base_hz * POINTS)
        clipped = np.tile(wave.clip(-height, height), 4)
        return naive_slewed(clipped, 1.0 / (base_hz * POINTS), rates[0], rates[0])[-POINTS:]

    recording, _ = with_loud_part("08-dim-30", both)
    found = slew_of(recording, *recording.signal.tones()[-2:], 0, Scales())
    if found.visible:
        assert found.rise_per_s == pytest.approx(rates[0], rel=0.1)
    else:
        assert max(found.rise_per_s, found.fall_per_s) <= rates[0]


def test_what_does_not_slew_shows_its_largest_slope() -> None:
    signal = signal_named("06-two-tone-19-20khz", RATE)
    quiet, loud = signal.tones()
    found = slew_of(recorded(signal, signal.samples()), quiet, loud, 0, Scales(None, 2.0))
    assert not found.visible
    assert found.sentence == "at least the largest slope captured"
    # where both tones pass zero together: 2π (19 + 20) kHz · half the peak
    expected = 2.0 * np.pi * 39e3 * abs(loud.amplitudes[0])
    assert found.rise_per_s == pytest.approx(expected, rel=0.001)
    assert found.rise_v_per_us == pytest.approx(1e-6 * expected * 2.0 * 2.0**0.5, rel=0.001)


def test_the_tilt_of_a_square_behind_a_high_pass() -> None:
    # Steady state of a 50 Hz square behind one pole at 1.591549 Hz: 2 tanh(π fc / (2 f)) over half
    # the peak to peak, 9.991675 % (closed form).
    signal = signal_named("09-square", RATE)
    b, a = toolbox.butter(1, 1.591549, "high", fs=RATE)
    heard = toolbox.lfilter(b, a, signal.samples()[:, 0])[:, None]
    found = square_of(recorded(signal, heard), signal.tones()[0], 0)
    assert found.tilt_percent == pytest.approx(9.991675, abs=0.03)
