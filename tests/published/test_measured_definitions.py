"""Distortion, noise and dynamic range as the standards define them, on closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.bench.measure.rows import Scales
from stagefx.bench.measure.sines import Stretch
from stagefx.bench.measure.spectrum import a_weighted, band_rms, ccir_rms, in_band, notch
from stagefx.bench.measure.synchronised import synchronise
from stagefx.bench.measure.tones.distortion import dynamic_range_of, stretch_harmonics
from stagefx.bench.measure.tones.intermodulation import (
    DIM_PRODUCTS_HZ,
    difference_of,
    dim_of,
    modulation_of,
    total_difference_of,
)
from stagefx.bench.signals.passages import Tones
from stagefx.bench.signals.plan import DIM_SLOPE_PER_S, dim_partials, signal_named
from stagefx.dsp.dither import quantise
from stagefx.io.recording import HeldAudio

Array = NDArray[np.float64]
RATE = 48000
TIMES = np.arange(RATE) / RATE
A2, A3 = 0.01, 0.004


def bent(*tones: tuple[float, float]) -> Stretch:
    """Sines through ``y = x + 0.01 x² + 0.004 x³``."""
    x = sum((a * np.sin(2.0 * np.pi * hz * TIMES) for hz, a in tones), np.zeros(RATE))
    return Stretch(x + A2 * x**2 + A3 * x**3, TIMES)


def one_tone(wave: Array, hz: float, *, rate: float = RATE) -> Stretch:
    return Stretch(wave, np.arange(len(wave)) / rate)


def test_modulation_distortion_of_a_curved_transfer() -> None:
    # IEC 60268-3, 14.12.7: y = x + a2 x² + a3 x³ with A1 = 0.8, A2 = 0.2 (closed form):
    # side lines a2 A1 A2 and 3/4 a3 A1² A2, carrier A2 (1 + 3/2 a3 A1² + 3/4 a3 A2²).
    found = modulation_of(bent((60.0, 0.8), (7000.0, 0.2)), (60.0, 7000.0))
    assert found["modulation_d2"].percent == pytest.approx(1.59369, abs=5e-6)
    assert found["modulation_d3"].percent == pytest.approx(0.38249, abs=5e-6)
    assert found["modulation_rms"].percent == pytest.approx(1.15891, abs=5e-6)


def test_difference_frequency_distortion_of_a_curved_transfer() -> None:
    # IEC 60268-3, 14.12.8, A = 0.5 each (closed form): a2 A² and twice 3/4 a3 A³.
    found = difference_of(bent((19e3, 0.5), (20e3, 0.5)), (19e3, 20e3))
    assert found["difference_d2"].percent == pytest.approx(0.24944, abs=5e-6)
    assert found["difference_d3"].percent == pytest.approx(0.07483, abs=5e-6)


def test_total_difference_frequency_distortion_of_a_curved_transfer() -> None:
    # IEC 60268-3, 14.12.10: products at 3.95 and 4.05 kHz, by the same closed forms.
    amplitude = 0.5
    second, third = A2 * amplitude**2, 0.75 * A3 * amplitude**3
    tone = amplitude * (1.0 + 2.25 * A3 * amplitude**2)
    found = total_difference_of(bent((8e3, amplitude), (11.95e3, amplitude)), (8e3, 11.95e3))
    expected = 100.0 * math.hypot(second, third) / (2.0 * tone)
    assert found["total_difference"].percent == pytest.approx(expected, rel=1e-6)


def test_dynamic_intermodulation_counts_nine_products_re_the_sine() -> None:
    # IEC 60268-3, 14.12.9: |n · 3.15 - 15| kHz below 15 kHz.
    products = sorted(abs(n * 3150.0 - 15000.0) for n in range(1, 10))
    assert products == sorted(DIM_PRODUCTS_HZ)
    hz = [15e3, *DIM_PRODUCTS_HZ, 3150.0, 9450.0]
    amplitudes = [0.2, *(0.001 * n for n in range(1, 10)), 0.8, 0.2]
    wave = sum(
        (a * np.sin(2.0 * np.pi * f * TIMES) for f, a in zip(hz, amplitudes, strict=True)),
        np.zeros(RATE),
    )
    expected = 100.0 * math.sqrt(sum((0.001 * n) ** 2 for n in range(1, 10))) / 0.2
    assert dim_of(Stretch(wave, TIMES))["dim_30"].percent == pytest.approx(expected, rel=1e-6)


def test_the_dim_signal_is_four_to_one_and_as_steep_as_stated() -> None:
    # Peak slope per volt peak of the whole DIM-30 signal: 0.320 V/µs (closed form).
    assert pytest.approx(0.320e6, rel=0.002) == DIM_SLOPE_PER_S
    hz, amplitudes = dim_partials(192000)
    # a square of 8 p-p has a fundamental of 16/π; the pole at 30 kHz takes little of it
    pole = abs(1.0 / (1.0 + 1j * 3150.0 / 30e3))
    assert abs(amplitudes[0]) == pytest.approx(16.0 / math.pi * pole)
    assert (hz[-1], amplitudes[-1]) == (15e3, 1.0)


@pytest.mark.parametrize(
    ("over_db", "third_db"),
    [
        (0.1, -56.8),
        (0.25, -45.2),
        (0.5, -36.7),
        (1.0, -28.7),
        (2.0, -21.4),
        (3.0, -17.8),
        (6.0, -12.9),
    ],
)
def test_the_third_harmonic_of_a_clipped_sine(over_db: float, third_db: float) -> None:
    # Fourier series of the symmetrically clipped sine, to the digits of a handbook table; sampled
    # a thousand times a period, so that what folds back is far below.
    rate = 200e3
    wave = np.sin(2.0 * np.pi * 200.0 * np.arange(int(rate / 2)) / rate)
    limit = 10.0 ** (-over_db / 20.0)
    tone = Tones(0.0, 0.5, (200.0,), (1.0,))
    row = stretch_harmonics(
        one_tone(wave.clip(-limit, limit), 200.0, rate=rate), tone, rate, Scales(), by="levels"
    )
    assert row.harmonics_db[1] == pytest.approx(third_db, abs=0.051)
    assert row.harmonics_db[0] < -120.0


def test_the_harmonics_of_a_triangle() -> None:
    # What a fully slewed sine becomes: odd harmonics 1/n², the third at -19.08 dB.
    rate = 192e3
    turns = 1000.0 * np.arange(int(rate)) / rate
    harmonics = range(1, 10, 2)
    wave = sum((np.sin(2.0 * np.pi * n * turns) / n**2 for n in harmonics), np.zeros(int(rate)))
    tone = Tones(0.0, 1.0, (1000.0,), (1.0,))
    row = stretch_harmonics(one_tone(wave, 1000.0, rate=rate), tone, rate, Scales(), by="levels")
    assert row.harmonics_db[1] == pytest.approx(-19.08, abs=0.005)
    expected = 20.0 * math.log10(math.sqrt(sum(n**-4 for n in range(3, 10, 2))))
    assert row.thd_db == pytest.approx(expected, abs=1e-6)


def test_thd_and_noise_of_a_known_mixture() -> None:
    # AES17, 6.3: residual over everything; a harmonic at -60 dB, white noise at -70 dB in 20 kHz.
    rng = np.random.default_rng(1)
    frames = 6 * RATE
    times = np.arange(frames) / RATE
    fundamental = np.sin(2.0 * np.pi * 997.0 * times)
    harmonic = 1e-3 * np.sin(2.0 * np.pi * 2991.0 * times)
    noise = rng.standard_normal(frames) * math.sqrt(0.5) * 10.0 ** (-70 / 20) * math.sqrt(1.2)
    tone = Tones(0.0, 6.0, (997.0,), (1.0,))
    row = stretch_harmonics(
        Stretch(fundamental + harmonic + noise, times), tone, RATE, Scales(), by="levels"
    )
    # the notch takes π/2 · 997 / 3 Hz of noise, and 20 Hz are below the band (closed form)
    kept = 1.0 - (0.5 * math.pi * 997.0 / 3.0 + 20.0) / 20e3
    at_third = 1.0 / (1.0 + (3.0 / (3.0 * (9.0 - 1.0))) ** 2)
    expected = 10.0 * math.log10(1e-6 * at_third + 1e-7 * kept)
    assert row.thd_n_db == pytest.approx(expected, abs=0.03)
    assert row.thd_db == pytest.approx(-60.0, abs=0.02)


@pytest.mark.parametrize(("rate", "expected_db"), [(48000, 92.5), (44100, 92.1)])
def test_the_dynamic_range_of_an_ideal_converter_of_16_bits(rate: int, expected_db: float) -> None:
    # AES17, 6.4.1, of triangular dither (arithmetic): 92.5 dB at 48 kHz, 92.1 at 44.1.
    signal = signal_named("04-levels-997hz", rate)
    steps = quantise(signal.samples(), bits=16, first_frame=0).codes / 32768.0
    recording = synchronise(signal, HeldAudio(steps, rate))
    found = dynamic_range_of(recording, signal.tones()[0], 0)
    assert found == pytest.approx(expected_db, abs=0.1)


def test_how_weightings_read_white_noise() -> None:
    # White noise from 20 Hz to 20 kHz: A -2.05 dB, CCIR-RMS +1.65 dB (integrals of the curves).
    noise = np.random.default_rng(2).standard_normal(20 * RATE)
    plain = band_rms(noise, RATE, in_band)
    a_db = 20.0 * math.log10(band_rms(noise, RATE, a_weighted) / plain)
    ccir_db = 20.0 * math.log10(band_rms(noise, RATE, ccir_rms) / plain)
    assert a_db == pytest.approx(-2.05, abs=0.03)
    assert ccir_db == pytest.approx(1.65, abs=0.03)


def test_the_notch_is_as_wide_as_the_standard_lets_it_be() -> None:
    # AES17, 5.2.8 (from memory): quality between 1.2 and 3; -3 dB points at f0 / Q apart.
    hz = np.linspace(500.0, 2000.0, 150001)
    gain = notch(hz, 997.0)
    below = hz[gain < 0.5]
    assert 1.2 <= 997.0 / (below[-1] - below[0]) <= 3.001
