"""Direct voltage: it brings one clip level nearer, and stands where nothing blocks it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.effects import Effect, Setup
from stagefx.effects.added.offset import direct_at_load_v
from stagefx.render.plan import stage_effects
from tests.played import harmonics, played, steady_tone

Audio = NDArray[np.float64]
RATE_HZ = 48000
LOPSIDED = {
    "source": {"level": "1 V rms", "offset": "0.2 V"},
    "amplifier": {"topology": "follower", "swing_loss_high": "2 V", "swing_loss_low": "1.1 V"},
    "supply": {"positive": "15 V", "negative": "-15 V"},
}
"""Limits of +13.0 V and -13.9 V."""


def effects_of(tables: dict[str, Any]) -> tuple[Effect, ...]:
    return stage_effects(Setup(nominal(stage_from(tables)), RATE_HZ))


def at_the_load(tables: dict[str, Any], peak_v: float, **options: Any) -> Audio:
    """Volts of a 1 kHz sine at the load, which passes a gain of one."""
    keep = {"clip", "offset"}
    return steady_tone(
        effects_of(tables), hz=1000.0, rate_hz=RATE_HZ, frames=4800, peak=peak_v, keep=keep,
        **options,
    )  # fmt: skip


def test_a_positive_offset_brings_the_upper_limit_nearer() -> None:
    """+13.0/-13.9 V with +0.2 V: the music clips from 12.8 V peak (textbook arithmetic)."""
    tables = LOPSIDED | {"output": {"coupling": "100 uF"}, "load": {"resistance": "10 kohm"}}
    sine = np.sin(2.0 * np.pi * 1000.0 * np.arange(4800) / RATE_HZ)
    assert at_the_load(tables, 12.79) == pytest.approx(12.79 * sine, abs=1e-9)
    high, low = (f(at_the_load(tables, 13.5)) for f in (np.max, np.min))
    assert high == pytest.approx(12.8, abs=0.03)  # and the ripple of a band-limited corner
    assert low == pytest.approx(-13.5, abs=0.03)
    high, low = (f(at_the_load(tables, 20.0)) for f in (np.max, np.min))
    assert high == pytest.approx(12.8, rel=0.02)
    assert low == pytest.approx(-14.1, rel=0.02)


def test_a_negative_offset_brings_the_lower_limit_nearer() -> None:
    source = LOPSIDED["source"] | {"offset": "-1 V"}
    tables = LOPSIDED | {"source": source, "output": {"coupling": "100 uF"}}
    tables |= {"load": {"resistance": "10 kohm"}}
    found = at_the_load(tables, 13.5)
    assert found.min() == pytest.approx(-12.9, abs=0.03)
    assert found.max() == pytest.approx(13.5, abs=0.03)


def test_clipped_on_one_side_the_music_has_even_harmonics() -> None:
    tables = LOPSIDED | {"output": {"coupling": "100 uF"}, "load": {"resistance": "10 kohm"}}
    sizes = np.abs(harmonics(at_the_load(tables, 13.2), periods=100, count=2))
    assert sizes[1] > 1e-3 * sizes[0]
    centred = LOPSIDED | {"source": {"level": "1 V rms", "offset": "-0.45 V"}}
    sizes = np.abs(harmonics(at_the_load(centred, 14.0), periods=100, count=3))
    assert sizes[1] < 1e-6 * sizes[0]
    assert sizes[2] > 1e-3 * sizes[0]


def test_left_out_it_moves_no_limit() -> None:
    tables = LOPSIDED | {"load": {"resistance": "10 kohm"}}
    found = steady_tone(
        effects_of(tables), hz=1000.0, rate_hz=RATE_HZ, frames=4800, peak=20.0, keep={"clip"}
    )
    assert found.max() == pytest.approx(13.0, rel=0.02)
    assert found.min() == pytest.approx(-13.9, rel=0.02)


@pytest.mark.parametrize(
    ("tables", "at_load_v"),
    [
        ({"source": {"offset": "50 mV"}, "amplifier": {"gain": 4.0}}, 0.2),
        (
            {"source": {"offset": "50 mV"}, "amplifier": {"topology": "inverting", "gain": 4.0}},
            -0.2,
        ),
        ({"source": {"offset": "50 mV"}, "output": {"resistance": "10 kohm"}}, 0.025),
        (
            {
                "source": {"offset": "50 mV"},
                "amplifier": {"gain": 4.0},
                "output": {"resistance": "10 kohm"},
            },
            0.1,
        ),
        (
            {
                "amplifier": {
                    "feedback_resistance": "9 kohm",
                    "gain_resistance": "1 kohm",
                    "offset_voltage": "3 mV",
                }
            },
            0.03,
        ),
        ({"source": {"offset": "50 mV"}, "output": {"coupling": "22 uF"}}, 0.0),
        (
            {
                "source": {"offset": "50 mV"},
                "amplifier": {"gain": 4.0},
                "output": {"coupling": "22 uF"},
            },
            0.0,
        ),
        ({"source": {"offset": "50 mV", "coupling": "1 uF"}, "amplifier": {"gain": 4.0}}, 0.0),
    ],
)
def test_it_stands_at_the_load_where_nothing_blocks_it(
    tables: dict[str, Any], at_load_v: float
) -> None:
    """Alone in silence; volts at the load over the unit there."""
    tables = {"load": {"resistance": "10 kohm"}, **tables}
    circuit = nominal(stage_from(tables))
    assert direct_at_load_v(circuit) == pytest.approx(at_load_v, abs=1e-9)
    effects = stage_effects(Setup(circuit, RATE_HZ))
    unit_v = float(np.prod([effect.gain for effect in effects]))
    silence = np.zeros((4096, 2))
    found = played(effects, silence, RATE_HZ, keep={"offset"}) * unit_v
    assert found == pytest.approx(at_load_v, abs=1e-9)
    whole = played(effects, silence, RATE_HZ, keep={"offset", "loading", "bandwidth"}) * unit_v
    assert whole == pytest.approx(at_load_v, abs=1e-9)
