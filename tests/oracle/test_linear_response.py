"""Linear effects against the exact response of the circuit they stand for."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray
from scipy.signal import fftconvolve

from stagefx.circuit.circuit import Circuit, nominal
from stagefx.circuit.description.files import load_stage, ready_made, stage_from
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.knob import set_knob
from stagefx.circuit.response import Response
from stagefx.effects.crosstalk import crosstalk
from stagefx.effects.effect import Effect
from stagefx.effects.kind import Setup
from stagefx.effects.linear.sections import DELAY_FRAMES, Linear, impulse_response, large_taps
from stagefx.render.plan import stage_effects
from stagefx.render.rendering import render_file
from tests.oracle.random_stages import random_stage
from tests.played import Audio, band_limited, in_decibels, played

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
LINEAR = frozenset({"loading", "bandwidth"})
RATES_HZ = [8000, 44100, 48000, 96000, 192000, 384000]
READY_MADE = [*ready_made()]


def circuit_of(stage: Stage) -> Circuit:
    return set_knob(nominal(stage)).circuit


def exact(circuit: Circuit, hz: Array) -> Complex:
    """Volts at the load for a volt of the source's EMF."""
    return np.asarray(Response(circuit, hz).to_load[0])


def assert_alike(found: Complex, wanted: Complex) -> None:
    """Within 0.005 dB and 0.1 degrees."""
    error = found / wanted
    assert in_decibels(error) == pytest.approx(0.0, abs=0.005)
    assert np.angle(error, deg=True) == pytest.approx(0.0, abs=0.1)


def linear_effects(circuit: Circuit, rate_hz: int) -> list[Effect]:
    return [e for e in stage_effects(Setup(circuit, rate_hz)) if e.name in LINEAR]


def by_its_parts(effects: Sequence[Effect], hz: Array, rate_hz: int) -> Complex:
    """What sections and taps make of a steady tone, effect by effect, their delay taken out."""
    z = np.exp(2j * np.pi * hz / rate_hz)
    total = np.ones_like(z)
    for effect in effects:
        assert isinstance(effect, Linear)
        taps = impulse_response(effect, rate_hz)
        late = np.arange(taps.size) - DELAY_FRAMES
        total = total * effect.gain * (z[:, None] ** -late @ taps)
        for corner in effect.corners:
            b0, zero, pole = corner.coefficients(rate_hz)
            total = total * b0 * (1.0 - zero / z) / (1.0 - pole / z)
    return total


def test_every_ready_made_stage_is_looked_at() -> None:
    assert len(READY_MADE) >= 8


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("name", READY_MADE)
def test_sections_and_taps_have_the_exact_response(name: str, rate_hz: int) -> None:
    circuit = circuit_of(load_stage(name))
    hz = np.geomspace(10.0, 0.45 * rate_hz, 400)
    found = by_its_parts(linear_effects(circuit, rate_hz), hz, rate_hz)
    assert_alike(found, exact(circuit, hz))


def pole(corner_hz: float) -> Linear:
    return Linear("pole", lambda hz: 1.0 / (1.0 + 1j * hz / corner_hz), 1.0)


@pytest.mark.parametrize(("corner_hz", "taps"), [(1e6, 96), (20e3, 128)])
def test_fewer_taps_are_used_only_where_they_are_as_good(corner_hz: float, taps: int) -> None:
    """A far pole is within 2e-8 with 96 taps; a near one, which would not be, has all 128."""
    found = impulse_response(pole(corner_hz), 44100)
    assert np.flatnonzero(found).size == taps
    hz = np.linspace(10.0, 0.45 * 44100, 4000)
    late = np.arange(found.size) - DELAY_FRAMES
    made = np.exp(-2j * np.pi * hz[:, None] / 44100 * late) @ found
    assert np.abs(made * (1.0 + 1j * hz / corner_hz) - 1.0).max() < 1e-7
    assert len(impulse_response(pole(corner_hz), 44100)) == 2 * (DELAY_FRAMES + 1)


@pytest.mark.parametrize("corner_hz", [1e6, 20e3, 3e3])
def test_what_single_precision_does_to_small_taps_lies_160_db_down(corner_hz: float) -> None:
    """Against scipy's convolution in double precision; the nearer a pole, the fewer are small."""
    noise = np.random.default_rng(6).uniform(-1.0, 1.0, (20 * 1024, 1))
    effect = pole(corner_hz)
    found = effect.at(44100, 1).through(noise)[:, 0]
    exact = fftconvolve(noise[:, 0], impulse_response(effect, 44100))[: len(noise)]
    assert np.abs(found - exact).max() < 1e-8
    near = large_taps(impulse_response(effect, 44100))
    assert (near.stop - near.start <= 16) == (corner_hz == 1e6)


@pytest.mark.parametrize("rate_hz", [44100, 192000])
@pytest.mark.parametrize("seed", range(12))
def test_so_have_those_of_random_stages(seed: int, rate_hz: int) -> None:
    circuit = nominal(stage_from(random_stage(seed)))
    hz = np.geomspace(10.0, 0.45 * rate_hz, 200)
    found = by_its_parts(linear_effects(circuit, rate_hz), hz, rate_hz)
    assert_alike(found, exact(circuit, hz))


@pytest.mark.parametrize("rate_hz", [8000, 44100])
@pytest.mark.parametrize("name", READY_MADE)
def test_an_impulse_through_the_chain_has_the_exact_response(name: str, rate_hz: int) -> None:
    """Sixteen seconds of it, for the coupling capacitors; the delay is taken out."""
    circuit = circuit_of(load_stage(name))
    before, frames = 1000, 16 * rate_hz
    impulse = np.zeros((frames + before, 1))
    impulse[before] = 1.0
    effects = stage_effects(Setup(circuit, rate_hz))
    found = played(effects, impulse, rate_hz, keep=LINEAR)[:, 0]
    hz = np.fft.rfftfreq(found.size, 1.0 / rate_hz)
    chosen = np.unique(np.searchsorted(hz, np.geomspace(10.0, 0.45 * rate_hz, 400)))[:-1]
    spectrum = np.fft.rfft(found) * np.exp(2j * np.pi * hz * before / rate_hz)
    gain = np.prod([effect.gain for effect in effects])
    assert_alike(gain * spectrum[chosen], exact(circuit, hz[chosen]))


@pytest.mark.parametrize("rate_hz", [8000, 44100])
@pytest.mark.parametrize("coupling", [{}, {"coupling": "100 nF"}])
def test_crosstalk_has_the_exact_response(coupling: dict[str, str], rate_hz: int) -> None:
    """An impulse in one channel, looked for in the other; behind coupling capacitors too."""
    circuit = nominal(
        stage_from(
            {
                "source": {"resistance": "1 kohm", "coupling": "1 uF"},
                "input": {"resistance": "47 kohm", **coupling},
                "volume": {"resistance": "50 kohm", "position": 0.5},
                "crosstalk": {"coupling_capacitance": "10 pF"},
            }
        )
    )
    before, frames = 1000, 4 * rate_hz
    impulse = np.zeros((frames + before, 2))
    impulse[before, 0] = 1.0
    effects = stage_effects(Setup(circuit, rate_hz))
    found = played(effects, impulse, rate_hz, keep={"crosstalk"})
    hz = np.fft.rfftfreq(len(found), 1.0 / rate_hz)
    chosen = np.unique(np.searchsorted(hz, np.geomspace(10.0, 0.45 * rate_hz, 200)))[:-1]
    spectrum = np.fft.rfft(found[:, 1]) * np.exp(2j * np.pi * hz * before / rate_hz)
    assert found[:, 0] == pytest.approx(impulse[:, 0], abs=1e-12)
    assert_alike(spectrum[chosen], crosstalk(circuit, hz[chosen]))


# --- music ---


def faded_in(frames: int, lead: int, *, seed: int, lower: float = 0.0) -> tuple[Audio, Audio]:
    """Periodic music, and the same after a slow beginning that wakes no coupling capacitor."""
    period = band_limited(frames, 2, seed=seed, lower=lower)
    t = np.linspace(0.0, 1.0, lead)
    window = 0.35875 * t  # the integral of a four-term Blackman-Harris window
    for k, a in enumerate((0.48829, -0.14128, 0.01168), start=1):
        window -= a * np.sin(2.0 * np.pi * k * t) / (2.0 * np.pi * k)
    before = np.tile(period, (lead // frames + 1, 1))[-lead:] * (window / window[-1])[:, None]
    return period, np.concatenate((before, period, period))


def after_the_circuit(period: Audio, circuit: Circuit, rate_hz: int) -> Audio:
    """The exact output, each line of the music by itself, levelled to the signed 1 kHz gain."""
    hz = np.fft.rfftfreq(len(period), 1.0 / rate_hz)
    response = np.zeros(hz.size, dtype=np.complex128)
    response[1:] = exact(circuit, hz[1:])
    kilohertz = exact(circuit, np.array([1000.0]))[0]
    response /= np.copysign(abs(kilohertz), kilohertz.real)
    return np.asarray(np.fft.irfft(np.fft.rfft(period, axis=0) * response[:, None], axis=0))


HEALTHY = ["line-stage", "line-stage-quick", "unity-buffer", "thin-coupling", "passive-control"]


@pytest.mark.parametrize("rate_hz", [44100, 96000])
@pytest.mark.parametrize("name", HEALTHY)
def test_music_comes_out_as_the_circuit_would_play_it(name: str, rate_hz: int) -> None:
    """Full scale, up to 0.45 of the rate: peak error at most 1e-7 of full scale."""
    circuit = circuit_of(load_stage(name))
    frames, lead = 16384, 2 * rate_hz
    period, music = faded_in(frames, lead, seed=1, lower=30.0 / rate_hz)
    effects = stage_effects(Setup(circuit, rate_hz))
    found = played(effects, music, rate_hz, keep=LINEAR)[lead : lead + frames]
    wanted = after_the_circuit(period, circuit, rate_hz)
    assert np.abs(found - wanted).max() <= 1e-7


@pytest.mark.parametrize("name", ["line-stage", "thin-coupling"])
def test_in_a_24_bit_file_the_residual_is_the_dither(tmp_path: Path, name: str) -> None:
    """-141.5 +- 0.5 dBFS, the rms of rectangular dither twice and rounding once at 24 bits."""
    stage, rate_hz = load_stage(name), 48000
    frames, lead = 32768, 2 * rate_hz
    period, music = faded_in(frames, lead, seed=2, lower=30.0 / rate_hz)
    soundfile.write(tmp_path / "music.wav", 0.5 * music, rate_hz, subtype="DOUBLE")
    report = render_file(
        stage, tmp_path / "music.wav", tmp_path / "out.wav", only=LINEAR, bits="24"
    )
    assert report.nonlinear_share == (0.0, 0.0)
    circuit = nominal(stage)
    if report.knob_position is not None:
        circuit = circuit.at_position(report.knob_position)
    found, _ = soundfile.read(tmp_path / "out.wav")
    residual = found[lead : lead + frames] - after_the_circuit(0.5 * period, circuit, rate_hz)
    level_db = in_decibels(np.sqrt(2.0 * np.square(residual).mean()))
    assert level_db == pytest.approx(-141.5, abs=0.5)
