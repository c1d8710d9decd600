"""Laws that hold for every piece of music: polarity, symmetry, exaggeration, silence, more gain."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import load_stage, stage_from
from stagefx.circuit.description.stage import Stage
from stagefx.effects.effect import Effect
from stagefx.effects.kind import Setup
from stagefx.effects.limits.clip import clip
from stagefx.effects.limits.limit_set import LimitSet
from stagefx.effects.limits.limiter import Limiting
from stagefx.effects.limits.slew import slew
from stagefx.effects.linear.sections import Linear
from stagefx.render.chain import Chain
from stagefx.render.plan import needed, stage_effects
from tests.played import Audio, played, played_and_counted, song

RATE_HZ = 44100
MUSIC = song(20000, 2, seed=5, rate_hz=RATE_HZ)


def effects_of(stage: Stage, *, seed: int = 0) -> tuple[Effect, ...]:
    return stage_effects(Setup(nominal(stage), RATE_HZ, seed))


def gain(ratio: float) -> Linear:
    return Linear("gain", lambda hz: ratio + 0j * hz, ratio)


def driven(topology: str = "non-inverting", **amplifier: Any) -> Stage:
    """A stage that full-scale music both clips and slews."""
    return stage_from(
        {
            "name": "driven",
            "source": {"level": "2 V rms", "resistance": "1 kohm"},
            "input": {"resistance": "47 kohm", "coupling": "1 uF"},
            "amplifier": {
                "topology": topology,
                "feedback_resistance": "10 kohm",
                "gain_resistance": "2 kohm",
                "gain_bandwidth": "1 MHz",
                "slew_rise": "0.4 V/us",
                "slew_fall": "0.3 V/us",
                **amplifier,
            },
            "supply": {"positive": "8 V", "negative": "-9 V"},
            "output": {"resistance": "100 ohm", "coupling": "10 uF"},
            "load": {"resistance": "10 kohm"},
        }
    )


def test_the_driven_stage_clips_and_slews() -> None:
    _, tally = played_and_counted(effects_of(driven()), MUSIC, RATE_HZ, full_scale_v=2.83)
    assert tally.clipped_frames > 10
    assert tally.slewing_frames > 10


# --- polarity and symmetry ---


def test_polarity_is_undone_and_swaps_the_limits() -> None:
    """Turned over by a gain of -4, the higher level is met by what is low in the music."""
    limits, mirrored = LimitSet(5.0, -3.0, 6e4, 5e4, 1e-6), LimitSet(3.0, -5.0, 5e4, 6e4, 1e-6)
    turned = played([gain(-4.0), Limiting("both", limits)], MUSIC, RATE_HZ, full_scale_v=2.0)
    straight = played([gain(4.0), Limiting("both", mirrored)], MUSIC, RATE_HZ, full_scale_v=2.0)
    assert np.array_equal(turned, straight)
    assert np.abs(turned - MUSIC).max() > 0.1


def test_an_inverting_stage_comes_out_upright() -> None:
    stage = driven("inverting")
    with Chain(effects_of(stage), RATE_HZ, 2, full_scale_v=2.83) as chain:
        assert chain.unit_v < 0.0
        done = np.concatenate(list(chain.process([MUSIC])))
    assert np.corrcoef(done[:, 0], MUSIC[:, 0])[0, 1] > 0.9


def test_even_limits_are_odd_symmetric() -> None:
    limits = Limiting("both", LimitSet(0.4, -0.4, 5e3, 5e3, 1e-6))
    done = played([limits], MUSIC, RATE_HZ)
    assert np.array_equal(played([limits], -MUSIC, RATE_HZ), -done)
    assert np.abs(done - MUSIC).max() > 0.1


def test_uneven_limits_are_not() -> None:
    limits = Limiting("both", LimitSet(0.4, -0.3, 5e3, 4e3, 1e-6))
    done = played([limits], MUSIC, RATE_HZ)
    assert np.abs(played([limits], -MUSIC, RATE_HZ) + done).max() > 0.01


def test_channels_do_not_know_each_other() -> None:
    quiet = frozenset(needed(driven())) - {"noise"}
    done = played(effects_of(driven()), MUSIC, RATE_HZ, full_scale_v=2.83, keep=quiet)
    swapped = np.ascontiguousarray(MUSIC[:, ::-1])
    done_swapped = played(effects_of(driven()), swapped, RATE_HZ, full_scale_v=2.83, keep=quiet)
    assert np.array_equal(done_swapped[:, ::-1], done)
    alone = played(effects_of(driven()), MUSIC[:, :1], RATE_HZ, full_scale_v=2.83, keep=quiet)
    assert np.array_equal(alone[:, 0], done[:, 0])


def test_slew_and_clip_act_at_once_whichever_is_named_first() -> None:
    pair = [slew(5e3, 4e3, 1e-6), clip(0.4, -0.3)]
    assert np.array_equal(played(pair, MUSIC, RATE_HZ), played(pair[::-1], MUSIC, RATE_HZ))


# --- exaggeration and leaving out ---

NAMES = ["loading", "bandwidth", "slew", "clip", "noise"]


def through_driven(
    *, keep: frozenset[str] | None = None, times: dict[str, float] | None = None
) -> Audio:
    effects = effects_of(driven())
    return played(effects, MUSIC, RATE_HZ, full_scale_v=2.83, keep=keep, times=times)


@pytest.mark.parametrize("name", NAMES)
def test_no_times_an_effect_is_without_it(name: str) -> None:
    without = through_driven(keep=frozenset(NAMES) - {name})
    assert np.array_equal(through_driven(times={name: 0.0}), without)


@pytest.mark.parametrize("name", NAMES)
def test_once_an_effect_is_the_effect(name: str) -> None:
    assert np.array_equal(through_driven(times={name: 1.0}), through_driven())


@pytest.mark.parametrize("name", ["slew", "clip", "noise"])
@pytest.mark.parametrize("times", [2.0, -1.0, 10.0])
def test_an_effect_so_many_times_differs_as_many_times(name: str, times: float) -> None:
    alone = frozenset({name})
    once = through_driven(keep=alone) - MUSIC
    often = through_driven(keep=alone, times={name: times}) - MUSIC
    assert np.abs(once).max() > 1e-7
    assert often == pytest.approx(times * once, rel=1e-12, abs=1e-12)


def test_a_linear_effect_so_many_times_differs_as_many_times() -> None:
    """Bandwidth has two places, feedback parts and loop, so it is a single one that is tried."""
    pole = Linear("pole", lambda hz: 1.0 / (1.0 + 1j * hz / 30e3), 1.0)
    once = played([pole], MUSIC, RATE_HZ) - MUSIC
    often = played([pole], MUSIC, RATE_HZ, times={"pole": 3.0}) - MUSIC
    assert often == pytest.approx(3.0 * once, rel=0.0, abs=1e-12)


@pytest.mark.parametrize("name", NAMES)
def test_what_is_left_out_leaves_its_gain(name: str) -> None:
    effects = effects_of(driven())
    with (
        Chain(effects, RATE_HZ, 1) as whole,
        Chain(effects, RATE_HZ, 1, keep=frozenset(NAMES) - {name}) as less,
    ):
        assert less.unit_v == whole.unit_v


def test_everything_left_out_is_the_music_itself() -> None:
    assert np.array_equal(through_driven(keep=frozenset()), MUSIC)


# --- silence, and more of it ---


@pytest.mark.parametrize("name", ["line-stage", "slow-early", "too-hot", "passive-control"])
def test_silence_stays_silence(name: str) -> None:
    stage = load_stage(name)
    quiet = frozenset(needed(stage)) - {"noise"}
    done = played(effects_of(stage), np.zeros((5000, 2)), RATE_HZ, keep=quiet)
    assert not done.any()


def test_after_a_blow_silence_comes_back() -> None:
    """A click wakes coupling capacitors, whose tails die out to exactly nothing."""
    music = np.zeros((60000, 1))
    music[100] = 1.0
    corner = Linear("corner", lambda hz: 1j * hz / (1j * hz + 2e3), 1.0)
    done = played([clip(0.5, -0.5), corner], music, RATE_HZ)
    assert np.abs(done[:300]).max() > 0.1
    assert np.abs(done[20000:]).max() < 1e-12


@settings(max_examples=15)
@given(first_db=st.floats(-20.0, 20.0), more_db=st.floats(0.01, 20.0))
def test_more_gain_never_clips_fewer_frames(first_db: float, more_db: float) -> None:
    music = MUSIC[:8000, :1]
    counts = []
    for level_db in (first_db, first_db + more_db):
        louder = music * 10.0 ** (level_db / 20.0)
        counts.append(played_and_counted([clip(0.5, -0.4)], louder, RATE_HZ)[1].clipped_frames)
    assert counts[0] <= counts[1] <= len(music) + 2 * 1024


def test_a_full_scale_square_wave_is_limited_and_finite() -> None:
    square = np.sign(np.sin(2.0 * np.pi * 441.0 * np.arange(20000) / RATE_HZ + 0.01))[:, None]
    done = played([Limiting("both", LimitSet(0.5, -0.5, 8e3, 8e3, 1e-6))], square, RATE_HZ)
    assert np.isfinite(done).all()
    assert np.abs(done[2000:-2000]).max() < 0.52  # overshoots as what is cut off at half the rate


@pytest.mark.parametrize("tiny", [1e-310, 5e-324, 1e-30])
def test_the_tiniest_samples_do_no_harm(tiny: float) -> None:
    done = played(effects_of(driven()), np.full((3000, 1), tiny), RATE_HZ, keep={"slew", "clip"})
    assert np.array_equal(done, np.full((3000, 1), tiny))
