"""Crosstalk and balance: textbook circuit theory, on tones played through the effect."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.effects import Setup
from stagefx.effects.crosstalk import Crosstalk, crosstalk
from stagefx.errors import EffectError
from stagefx.render.plan import stage_effects
from tests.played import LEAD_FRAMES, in_decibels, lines, played, song

Audio = NDArray[np.float64]
RATE_HZ = 48000


def driven_alone(tables: dict[str, Any], hz: int, channel: int, *, rate_hz: int = RATE_HZ) -> Audio:
    """Sizes of a tone in both channels when one is driven with 1.0."""
    effects = stage_effects(Setup(nominal(stage_from(tables)), rate_hz))
    n = np.arange(-LEAD_FRAMES, rate_hz + LEAD_FRAMES)
    audio = np.zeros((n.size, 2))
    audio[:, channel] = np.sin(2.0 * np.pi * hz * n / rate_hz)
    found = played(effects, audio, rate_hz, keep={"crosstalk"})[LEAD_FRAMES:-LEAD_FRAMES]
    return np.abs([lines(found[:, c])[hz] for c in (0, 1)])


@pytest.mark.parametrize(
    ("source", "level_db"),
    [("12.5 kohm", -48.11887), ("2.5 kohm", -62.09821), ("100 ohm", -90.05700)],
)
@pytest.mark.parametrize("channel", [0, 1])
def test_5_picofarads_at_10_khz(source: str, level_db: float, channel: int) -> None:
    """s C R/(1 + s C R)."""
    tables = {
        "source": {"resistance": source},
        "crosstalk": {"coupling_capacitance": "5 pF"},
    }
    found = crosstalk(nominal(stage_from(tables)), np.array([10e3]))
    assert in_decibels(found[0]) == pytest.approx(level_db, abs=6e-6)
    sizes = driven_alone(tables, 10000, channel)
    assert in_decibels(sizes[1 - channel] / sizes[channel]) == pytest.approx(level_db, abs=1e-3)
    assert in_decibels(sizes[channel]) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("load", "level_db"), [("1 kohm", -86.02060), ("10 kohm", -106.0206)])
def test_50_milliohms_of_shared_ground(load: str, level_db: float) -> None:
    """R_ground over the load, at any frequency."""
    tables = {
        "load": {"resistance": load},
        "crosstalk": {"shared_ground_resistance": "50 mohm"},
    }
    for hz in (100, 1000, 15000):
        sizes = driven_alone(tables, hz, 0)
        assert in_decibels(sizes[1] / sizes[0]) == pytest.approx(level_db, abs=1e-3)


def test_capacitive_crosstalk_rises_6_db_an_octave() -> None:
    tables = {
        "source": {"resistance": "1 kohm"},
        "crosstalk": {"coupling_capacitance": "5 pF"},
    }
    levels = [in_decibels(driven_alone(tables, hz, 0)[1]) for hz in (1000, 2000, 4000, 8000, 16000)]
    assert np.diff(levels) == pytest.approx(20.0 * np.log10(2.0), abs=1e-3)


def test_crosstalk_is_worst_at_half_the_control() -> None:
    """The impedance at the wiper decides: (R + Rs)/4 at half volts, next to none at either end."""
    levels = []
    for position in (0.05, 0.5, 1.0):
        tables = {
            "source": {"resistance": "100 ohm"},
            "volume": {"resistance": "50 kohm", "taper": "linear", "position": position},
            "crosstalk": {"coupling_capacitance": "5 pF"},
        }
        circuit = nominal(stage_from(tables))
        levels.append(float(np.abs(crosstalk(circuit, np.array([10e3]))[0])))
    assert levels[1] == max(levels)
    through = 2e4 * np.pi * 5e-12 * (100.0 + 50e3) / 4.0
    assert levels[1] == pytest.approx(through / np.hypot(1.0, through), rel=1e-4)


@pytest.mark.parametrize("mismatch_db", [1.0, -0.5])
def test_mismatch_is_the_second_channel_over_the_first(mismatch_db: float) -> None:
    volume = {"resistance": "10 kohm", "position": 1.0, "mismatch": f"{mismatch_db} dB"}
    for tables in (
        {"volume": volume},
        {"volume": volume, "crosstalk": {"coupling_capacitance": "1 pF"}},
    ):
        effects = stage_effects(Setup(nominal(stage_from(tables)), RATE_HZ))
        music = song(20000, 2, seed=0)
        found = played(effects, music, RATE_HZ, keep={"crosstalk"})
        assert found[:, 0] == pytest.approx(music[:, 0], abs=1e-4)
        change = np.linalg.norm(found, axis=0) / np.linalg.norm(music, axis=0)
        assert in_decibels(change[1] / change[0]) == pytest.approx(mismatch_db, abs=1e-3)


@pytest.mark.parametrize("channels", [1, 3])
def test_it_needs_two_channels(channels: int) -> None:
    effect = Crosstalk(lambda hz: 0.01 + 0j * hz)
    match = rf"needs two channels, and the music has {channels}; .*--without crosstalk"
    with pytest.raises(EffectError, match=match):
        effect.at(RATE_HZ, channels)
    with pytest.raises(EffectError, match=match):
        played([effect], np.zeros((100, channels)), RATE_HZ)


def test_left_out_any_number_of_channels_will_do() -> None:
    effect = Crosstalk(lambda hz: 0.01 + 0j * hz)
    assert not played([effect], np.zeros((100, 3)), RATE_HZ, keep=set()).any()
