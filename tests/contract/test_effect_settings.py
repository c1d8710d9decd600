"""Effects made by hand: parameters out of range are refused, each by its name, with its range."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.effects import Setup, effect_kinds
from stagefx.effects.added.hum import hum
from stagefx.effects.added.oscillation import oscillation
from stagefx.effects.distortion import distortion
from stagefx.effects.kind import Place
from stagefx.effects.limits.clip import clip
from stagefx.effects.limits.slew import slew
from stagefx.errors import EffectError
from stagefx.render.plan import stage_effects, stage_pieces
from tests.contract.full_stage import EVERYTHING
from tests.played import played


@pytest.mark.parametrize(
    ("make", "arguments", "said"),
    [
        (slew, (0.0, 1e6), "slew: slew_rise_v_per_s is 0 V/s, out of range; give 1 to 1e+12 V/s"),
        (slew, (1e6, -1e6), "slew: slew_fall_v_per_s is -1e+06 V/s, out of range"),
        (slew, (math.nan, 1e6), "slew: slew_rise_v_per_s is not a number"),
        (slew, (-math.inf, 1e6), "slew: slew_rise_v_per_s is -inf V/s"),
        (slew, (1e6, 1e6, -1e-9), "slew: time_constant_s is -1e-09 s, out of range; give 0 to 1 s"),
        (slew, (1e6, 1e6, math.inf), "slew: time_constant_s is inf s"),
        (clip, (0.0, -1.0), "clip: high_v is 0 V, out of range; give 1e-09 to 1000 V"),
        (clip, (-1.0, -2.0), "clip: high_v is -1 V"),
        (clip, (1.0, 0.5), "clip: low_v is 0.5 V"),
        (clip, (1.0, math.nan), "clip: low_v is not a number"),
        (clip, (-math.inf, -1.0), "clip: high_v is -inf V"),
        (clip, (1.0, math.inf), "clip: low_v is inf V"),
        (hum, (-1e-3, 50.0), "hum: peak_v is -0.00141421 V, out of range; give 0 to 10 V"),
        (hum, (1e-3, 0.0), "hum: frequency_hz is 0 Hz, out of range"),
        (hum, (1e-3, math.nan), "hum: frequency_hz is not a number"),
        (oscillation, (-1.0, 1e6, 44100), "oscillation: peak_v is -1 V, out of range"),
        (oscillation, (1.0, math.inf, 44100), "oscillation: frequency_hz is inf Hz"),
        (
            distortion,
            ([-60.0, 6.0], 1.0),
            "distortion: harmonics is 1.99526, out of range",
        ),
        (distortion, ([-60.0], 0.0), "distortion: level_v is 0 V, out of range"),
        (distortion, ([math.nan], 1.0), "distortion: harmonics is not a number"),
    ],
)
def test_a_parameter_out_of_range_is_refused(
    make: Callable[..., object], arguments: tuple[Any, ...], said: str
) -> None:
    with pytest.raises(EffectError) as refused:
        make(*arguments)
    assert str(refused.value).startswith(said)


def test_infinite_is_no_limit() -> None:
    music = np.random.default_rng(0).uniform(-1.0, 1.0, (4096, 1))
    free = [clip(math.inf, -math.inf), slew(math.inf, math.inf)]
    assert np.array_equal(played(free, music, 48000), music)


def ranges(kind: str) -> dict[str, tuple[float, float]]:
    settings = effect_kinds()[kind].settings
    return {setting.name: (setting.minimum, setting.maximum) for setting in settings}


@pytest.mark.parametrize("end", [0, 1])
def test_ranges_as_they_are_told_are_the_ranges_that_are_kept(end: int) -> None:
    clip(ranges("clip")["high_v"][end], ranges("clip")["low_v"][end])
    slew(*(ranges("slew")[name][end] for name in ranges("slew")))
    hum(ranges("hum")["peak_v"][end] / math.sqrt(2.0), ranges("hum")["frequency_hz"][end])
    oscillation(*(ranges("oscillation")[name][end] for name in ranges("oscillation")), 44100)
    level = ranges("distortion")["level_v"][end] / math.sqrt(2.0)
    distortion([20.0 * math.log10(max(ranges("distortion")["harmonics"][end], 1e-15))], level)


def test_a_stage_whose_harmonics_are_louder_than_the_tone_is_refused() -> None:
    amplifier = {"topology": "follower", "harmonics": ["20 dB"], "harmonics_level": "1 V rms"}
    stage = stage_from({"source": {"level": "1 V rms"}, "amplifier": amplifier})
    with pytest.raises(EffectError, match=r"^distortion: harmonics is 10, out of range"):
        stage_effects(Setup(nominal(stage), 48000))


def test_effects_stand_in_the_order_in_which_the_signal_meets_them() -> None:
    """Input network; hum, offset, oscillation; amplifier; distortion; output network; between the
    channels; noise."""
    setup = Setup(nominal(stage_from(EVERYTHING)), 44100)
    pieces = stage_pieces(setup)
    order = [effect.name for _, effect in pieces]
    assert set(order) - {"watch"} == set(effect_kinds())
    assert order[0] == "loading"
    assert order.index("hum") < min(order.index("slew"), order.index("clip"))
    loop = max(at for at, (place, _) in enumerate(pieces) if place == Place.LOOP)
    assert max(order.index(name) for name in ("slew", "clip", "oscillation")) < loop
    assert loop < order.index("distortion")
    tail = order[order.index("distortion") :]
    assert [name for name in tail if name != "offset"] == [
        "distortion",
        "loading",
        "crosstalk",
        "noise",
    ]
