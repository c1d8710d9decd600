"""Hum and parasitic tones: level and phase belong to the frame's number, and headroom is eaten."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, strategies as st
from numpy.typing import NDArray

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.effects import Effect, Setup
from stagefx.effects.added.hum import hum
from stagefx.effects.added.oscillation import oscillation
from stagefx.effects.limits.clip import clip
from stagefx.effects.limits.slew import slew
from stagefx.effects.linear.sections import Linear
from stagefx.errors import StageError
from stagefx.render.plan import stage_effects
from tests.played import harmonics, lines, played, played_and_counted, steady_tone

Audio = NDArray[np.float64]
RATE_HZ = 48000
LATE = Linear("late", lambda hz: 1.0 / (1.0 + 1j * hz / 30e3), 1.0)
"""A pole, whose impulse response delays the chain."""


def silence(frames: int, channels: int = 2) -> Audio:
    return np.zeros((frames, channels))


def effects_of(**tables: Any) -> tuple[Effect, ...]:
    tables = {"source": {"level": "1 V rms"}, **tables}
    return stage_effects(Setup(nominal(stage_from(tables)), RATE_HZ))


# --- hum ---


def test_hum_has_its_level_and_starts_at_phase_zero() -> None:
    """1 mV rms where 1.0 means 2 V."""
    n = np.arange(RATE_HZ)
    expected = np.sqrt(2.0) * 1e-3 / 2.0 * np.sin(2.0 * np.pi * 50.0 * n / RATE_HZ)
    found = played([hum(1e-3, 50.0)], silence(RATE_HZ), RATE_HZ, full_scale_v=2.0)
    assert found == pytest.approx(np.stack((expected, expected), axis=1), abs=1e-15)


@given(st.lists(st.integers(0, 30000), max_size=6), st.integers(0, 3), st.floats(1.0, 2000.0))
def test_hum_depends_on_neither_blocks_nor_what_stands_before(
    sizes: list[int], before: int, hz: float
) -> None:
    """Bit for bit, though effects before it are late; silence stays silence in them."""
    plain = played([hum(0.01, hz)], silence(50000), RATE_HZ)
    effects = [*[LATE] * before, hum(0.01, hz)]
    assert (played(effects, silence(50000), RATE_HZ, sizes=sizes) == plain).all()


def test_hum_passes_the_amplifier_and_the_output_network() -> None:
    """1 mV rms at the input, gain 5, and a divider of 2 at the output: 2.5 mV rms at the load."""
    effects = effects_of(
        amplifier={"gain": 5.0},
        output={"resistance": "1 kohm"},
        load={"resistance": "1 kohm"},
        hum={"level": "1 mV rms", "frequency": "100 Hz"},
    )
    found = steady_tone(effects, hz=1000.0, rate_hz=RATE_HZ, frames=RATE_HZ, peak=0.0)
    volts = np.abs(lines(found))[100] * 2.5 / np.sqrt(2.0)  # 1.0 is 2.5 times the source's peak
    assert volts == pytest.approx(2.5e-3, rel=1e-3)


def test_an_inverting_amplifier_turns_hum_with_the_music() -> None:
    """Levelled by the signed gain, hum at the input keeps its sign against the music."""
    tables = {"hum": {"level": "1 mV rms", "frequency": "100 Hz"}}
    for topology in ("inverting", "non-inverting"):
        amplifier = {"topology": topology, "gain": 5.0}
        effects = effects_of(amplifier=amplifier, **tables)
        kept = {"hum"}
        found = played(effects, silence(4800), RATE_HZ, full_scale_v=1.0, keep=kept)
        assert found[120, 0] == pytest.approx(np.sqrt(2.0) * 1e-3, rel=1e-3)  # its first crest


# --- oscillation above hearing ---


def test_a_tone_above_the_band_adds_no_samples() -> None:
    effects = [oscillation(0.3, 1.8e6, RATE_HZ), clip(10.0, -10.0)]
    tone = 0.5 * np.sin(2.0 * np.pi * 1000.0 * np.arange(9600) / RATE_HZ)[:, None]
    assert (played(effects, tone, RATE_HZ) == tone).all()


def test_it_eats_headroom_by_its_peak() -> None:
    """10 V less 3 V: the output is clipped where a clip at 7 V would clip it."""
    eaten = [oscillation(3.0, 1.8e6, RATE_HZ), clip(10.0, -10.0)]
    for effects in (eaten, eaten[::-1]):
        found = steady_tone(effects, hz=1000.0, rate_hz=RATE_HZ, frames=4800, peak=9.0)
        nearer = steady_tone([clip(7.0, -7.0)], hz=1000.0, rate_hz=RATE_HZ, frames=4800, peak=9.0)
        assert (found == nearer).all()


def test_it_eats_slew_by_its_own_slope() -> None:
    """6e5 V/s less 2 pi 1 MHz 50 mV."""
    left = 6e5 - 2.0 * np.pi * 1e6 * 0.05
    parts = [oscillation(0.05, 1e6, RATE_HZ), slew(6e5, 6e5)]
    found = steady_tone(parts, hz=5000.0, rate_hz=RATE_HZ, frames=4800, peak=12.0)
    slower = steady_tone([slew(left, left)], hz=5000.0, rate_hz=RATE_HZ, frames=4800, peak=12.0)
    free = steady_tone([slew(6e5, 6e5)], hz=5000.0, rate_hz=RATE_HZ, frames=4800, peak=12.0)
    assert found == pytest.approx(slower, abs=1e-12)
    assert np.abs(harmonics(found, periods=500, count=3)[2]) > 0.5
    assert np.abs(harmonics(free, periods=500, count=3)[2]) < 1e-6


@pytest.mark.parametrize(
    ("peak_v", "hz", "limit"),
    [
        (13.0, 1e5, clip(12.9, -20.0)),
        (13.0, 1e5, clip(20.0, -12.9)),
        (1.0, 2e6, slew(1.2e7, 1e9)),
        (1.0, 2e6, slew(1e9, 1.2e7)),
    ],
)
def test_nothing_left_is_refused(peak_v: float, hz: float, limit: Effect) -> None:
    effects = [oscillation(peak_v, hz, RATE_HZ), limit]
    with pytest.raises(StageError, match=r"^oscillates: .*--without oscillation$"):
        played(effects, silence(2048), RATE_HZ)


# --- oscillation within the band ---


def test_a_tone_within_the_band_is_added() -> None:
    effects = effects_of(
        amplifier={"gain": 5.0}, oscillation={"level": "0.2 V peak", "frequency": "15 kHz"}
    )
    found = steady_tone(effects, hz=1000.0, rate_hz=RATE_HZ, frames=RATE_HZ, full_scale_v=1.0)
    size = 5.0 * np.abs(lines(found))
    assert size[15000] == pytest.approx(0.2, rel=1e-6)
    assert size[1000] == pytest.approx(5.0, rel=1e-3)


def test_and_takes_its_headroom_as_any_signal_does() -> None:
    """4.9 V of music and 0.2 V of tone clip at 5 V; either alone does not."""
    tone = 0.98 * np.sin(2.0 * np.pi * 1000.0 * np.arange(48000) / RATE_HZ)[:, None]
    parasitic = oscillation(0.2, 15e3, RATE_HZ)
    _, alone = played_and_counted([clip(5.0, -5.0)], tone, RATE_HZ, full_scale_v=5.0)
    _, both = played_and_counted([parasitic, clip(5.0, -5.0)], tone, RATE_HZ, full_scale_v=5.0)
    assert alone.clipped_frames == 0
    assert both.clipped_frames > 100


def test_the_border_is_the_band_s_edge() -> None:
    """At 0.45 of the sampling rate a tone is still added, above it no more."""
    assert oscillation(0.1, 0.45 * RATE_HZ, RATE_HZ).name == "oscillation"
    tone = played([oscillation(0.1, 0.45 * RATE_HZ, RATE_HZ)], silence(2048), RATE_HZ)
    assert np.abs(tone).max() > 0.09
    above = played([oscillation(0.1, 0.451 * RATE_HZ, RATE_HZ)], silence(2048), RATE_HZ)
    assert not above.any()
