"""The noise that is added to music against the noise that was worked out on paper."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import load_stage, ready_made, stage_from
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.knob import set_knob
from stagefx.circuit.noise import noise_density
from stagefx.circuit.noise_budget import AudioNoise
from stagefx.effects.added.noise import _HOP, _SPAN, Noise
from stagefx.effects.kind import Setup
from stagefx.figures.table import compute_figures
from stagefx.render.plan import stage_effects
from tests.played import Audio, in_decibels, played

Array = NDArray[np.float64]
NOISE = frozenset({"noise"})


def setup_of(stage: Stage, rate_hz: int, seed: int = 0) -> Setup:
    return Setup(set_knob(nominal(stage)).circuit, rate_hz, seed)


def noise_v(stage: Stage, frames: int, channels: int, rate_hz: int, *, seed: int = 0) -> Audio:
    """The noise alone, in volts at the load."""
    effects = stage_effects(setup_of(stage, rate_hz, seed))
    gain = np.prod([effect.gain for effect in effects])
    return gain * played(effects, np.zeros((frames, channels)), rate_hz, keep=NOISE)


def power_per_line(samples: Audio) -> Array:
    """Power of each line of the spectrum, all channels' mean; under a raised cosine."""
    window = np.sin(np.pi * (np.arange(len(samples)) + 0.5) / len(samples)) ** 2
    spectrum = np.fft.rfft(samples * window[:, None], axis=0)
    power = 2.0 * np.square(np.abs(spectrum)).mean(axis=1)
    return np.asarray(power / (len(samples) * np.square(window).sum()))


@pytest.mark.parametrize("rate_hz", [44100, 192000])
@pytest.mark.parametrize("name", [*ready_made()])
def test_its_level_in_20_khz_is_that_of_the_figures(name: str, rate_hz: int) -> None:
    """Within 0.1 dB of noise_20k_v_rms."""
    stage = load_stage(name)
    wanted = compute_figures(stage).figures["noise_20k_v_rms"].value
    assert wanted is not None
    if wanted == 0.0:
        return
    noise = noise_v(stage, 6 * rate_hz, 2, rate_hz)
    power = power_per_line(noise)
    audible = np.arange(power.size) * rate_hz / len(noise) <= 20e3
    error_db = in_decibels(np.sqrt(power[audible].sum()) / wanted)
    assert error_db == pytest.approx(0.0, abs=0.1)


def hissing() -> Stage:
    """Much 1/f noise, and a treble that falls early."""
    return stage_from(
        {
            "source": {"resistance": "10 kohm"},
            "input": {"shunt_capacitance": "2 nF", "resistance": "100 kohm"},
            "amplifier": {"device": "early bipolar", "gain": 11},
        }
    )


@pytest.mark.parametrize("rate_hz", [44100, 96000])
@pytest.mark.parametrize(
    ("stage", "from_hz"),
    [
        pytest.param(hissing(), 99.0, id="hissing"),
        pytest.param(load_stage("thin-coupling"), 24.8, id="most of it under 40 Hz"),
    ],
)
def test_its_spectrum_is_that_of_the_budget(stage: Stage, from_hz: float, rate_hz: int) -> None:
    """Each third of an octave, within what chance leaves (four sigma) and 0.1 dB."""
    noise = noise_v(stage, 20 * rate_hz, 2, rate_hz)
    power = power_per_line(noise)
    hz = np.arange(power.size) * rate_hz / len(noise)
    edges = 1000.0 * 2.0 ** (np.arange(-16, 14) / 3.0)
    circuit = nominal(stage)
    for low, high in pairwise(edges[edges > from_hz]):
        inside = (hz >= low) & (hz < high)
        found = noise_density(circuit, hz[inside])
        parts = (*found.white.values(), *found.flicker.values())
        wanted = sum(psd[0] for psd in parts).sum() * hz[1]
        chance_db = 4.34 * 4.0 * np.sqrt(1.0 / inside.sum())
        error_db = in_decibels(np.sqrt(power[inside].sum() / wanted))
        assert abs(error_db) < chance_db + 0.1


def test_it_is_normal_and_centred() -> None:
    noise = noise_v(load_stage("line-stage"), 400_000, 1, 48000)[:, 0]
    scaled = noise / noise.std()
    assert abs(scaled.mean()) < 0.02
    assert np.mean(scaled**4) == pytest.approx(3.0, abs=0.05)


def test_channels_and_seeds_have_their_own() -> None:
    stage = load_stage("line-stage")
    first, other = (noise_v(stage, 200_000, 3, 48000, seed=seed) for seed in (0, 1))
    columns = np.concatenate((first, other), axis=1)
    related = np.corrcoef(columns.T)[np.triu_indices(6, 1)]
    assert np.abs(related).max() < 0.015
    assert np.array_equal(noise_v(stage, 200_000, 3, 48000), first)


def test_neither_does_it_repeat_itself() -> None:
    """White noise has no echo at any distance; nor has what joins one grid step to the next."""
    white = played([Noise(np.ones_like)], np.zeros((1 << 18, 1)), 48000)[:, 0]
    spectrum = np.square(np.abs(np.fft.rfft(white)))
    echo = np.fft.irfft(spectrum)[1 : 1 << 17] / white.size / white.var()
    assert np.abs(echo).max() < 6.0 / np.sqrt(white.size)


def test_where_one_span_goes_over_into_the_next_it_is_as_loud_and_as_white() -> None:
    """Power and neighbours' correlation, frame by frame of a span, within five sigma of chance."""
    frames = (_HOP, _SPAN - _HOP)
    white = played([Noise(np.ones_like)], np.zeros((40 * _HOP, 8)), 48000).T.reshape(-1, _HOP)
    power = np.square(white).reshape(len(white), -1, 128).mean(axis=(0, 2))
    assert frames[0] % 128 == frames[1] % 128 == 0
    assert power == pytest.approx(
        np.full(power.size, 24000.0), rel=5.0 * np.sqrt(2.0 / (320 * 128))
    )
    beside = (white[:, :-1] * white[:, 1:]).mean(axis=0).reshape(-1)[: 128 * (_HOP // 128 - 1)]
    related = beside.reshape(-1, 128).mean(axis=1) / 24000.0
    assert np.abs(related).max() < 5.0 / np.sqrt(320 * 128)


def test_a_frame_has_the_same_noise_whatever_music_it_is_added_to() -> None:
    stage, rate_hz = load_stage("line-stage"), 48000
    effects = stage_effects(setup_of(stage, rate_hz))
    music = np.random.default_rng(0).uniform(-0.5, 0.5, (50000, 2))
    silent = played(effects, np.zeros_like(music), rate_hz, keep=NOISE)
    added = played(effects, music, rate_hz, keep=NOISE) - music
    assert added == pytest.approx(silent, rel=0.0, abs=1e-15)


def test_it_stands_beside_the_music_at_the_load_in_volts() -> None:
    """Half the source's volts to a full scale, twice the noise in the samples."""
    effects = stage_effects(setup_of(load_stage("slow-early"), 48000))
    silence = np.zeros((20000, 1))
    loud = played(effects, silence, 48000, keep=NOISE, full_scale_v=2.0)
    soft = played(effects, silence, 48000, keep=NOISE, full_scale_v=1.0)
    assert soft == pytest.approx(2.0 * loud, rel=1e-12)


def test_wire_is_silent() -> None:
    assert [e.name for e in stage_effects(setup_of(load_stage("wire"), 48000))] == ["loading"]


def test_the_budget_itself_is_in_the_figures() -> None:
    circuit = nominal(load_stage("slow-early"))
    total = float(AudioNoise(circuit).budget().total[0])
    assert compute_figures(load_stage("slow-early")).figures["noise_20k_v_rms"].value == (
        pytest.approx(total, rel=1e-9)
    )


def test_single_precision_is_140_db_finer_than_the_noise() -> None:
    """Against the same lines through a transform in double precision."""
    draws, lines = np.random.default_rng(9), _SPAN // 2 + 1
    spectrum = draws.standard_normal(lines) + 1j * draws.standard_normal(lines)
    single = spectrum.astype(np.complex64)
    exact = np.fft.irfft(single.astype(np.complex128), _SPAN)
    error = np.fft.irfft(single, _SPAN) - exact
    assert in_decibels(np.sqrt(np.square(error).mean() / np.square(exact).mean())) < -130.0
