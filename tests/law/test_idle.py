"""While nothing happens nothing changes, and passing it by changes next to nothing."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import soundfile

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import load_stage, stage_from
from stagefx.circuit.description.stage import Stage
from stagefx.dsp.oversampling_by_four import FACTOR, UP_TAPS, up
from stagefx.effects.kind import Setup
from stagefx.effects.limits.clip import clip
from stagefx.effects.limits.idle import (
    LEVEL_OVER_NODE,
    LEVEL_OVER_PEAK,
    SLOPE_OVER_NODES,
    SLOPE_OVER_PEAK,
    SLOPE_OVER_STEP,
    calm_between,
)
from stagefx.effects.limits.limit_set import LimitSet
from stagefx.effects.limits.limiter import Limiting
from stagefx.effects.limits.slew import slew
from stagefx.render.plan import stage_effects
from stagefx.render.rendering import render_file
from tests.played import Audio, band_limited, played, song

RATE_HZ = 48000


def ideal_follower() -> Stage:
    """Rails and a slew limit, and nothing else that could change a sample."""
    return stage_from(
        {
            "source": {"level": "2 V rms"},
            "amplifier": {"topology": "follower", "slew_rise": "9 V/us", "slew_fall": "9 V/us"},
            "supply": {"positive": "15 V", "negative": "-15 V"},
        }
    )


def test_music_within_its_limits_is_not_touched() -> None:
    music = song(40000, 2, seed=1)
    assert np.array_equal(played([clip(3.0, -3.0), slew(1e6, 1e6)], music, RATE_HZ), music)
    effects = stage_effects(Setup(nominal(ideal_follower()), RATE_HZ))
    assert np.array_equal(played(effects, music, RATE_HZ, full_scale_v=2.83), music)


@pytest.mark.parametrize("bits", ["16", "24"])
@pytest.mark.parametrize("stage", ["wire", "follower"])
def test_an_idle_stage_of_gain_1_gives_an_identical_file(
    tmp_path: Path, stage: str, bits: str
) -> None:
    music = song(30011, 2, seed=2)
    soundfile.write(tmp_path / "in.flac", music, 44100, subtype=f"PCM_{bits}")
    model = load_stage("wire") if stage == "wire" else ideal_follower()
    report = render_file(model, tmp_path / "in.flac", tmp_path / "out.flac", bits=bits)
    before, _ = soundfile.read(tmp_path / "in.flac", dtype="int32")
    after, _ = soundfile.read(tmp_path / "out.flac", dtype="int32")
    assert np.array_equal(after, before)
    assert report.nonlinear_share == (0.0, 0.0)


def worked_everywhere(effect: Limiting, music: Audio) -> tuple[Audio, Audio]:
    """What comes out with idle stretches passed by, and without passing any by."""
    skipping = played([effect], music, RATE_HZ, skip_idle=True)
    return skipping, played([effect], music, RATE_HZ, skip_idle=False)


def dying_and_rising() -> Audio:
    """Music that fades to -80 dB and comes back."""
    music = song(90000, 1, seed=3)
    fade_db = -80.0 * np.sin(np.pi * np.arange(len(music)) / len(music)) ** 4
    faded = music * 10.0 ** (fade_db[:, None] / 20.0)
    return np.asarray(faded / np.abs(faded).max())


MUSIC = dying_and_rising()
STEEPEST = float(np.abs(np.diff(MUSIC[:, 0])).max()) * RATE_HZ
LIMITS = {
    "clip at half": LimitSet(high_v=0.5, low_v=-0.5),
    "clip at the very top": LimitSet(high_v=0.97, low_v=-0.97),
    "slew": LimitSet(slew_rise_v_per_s=0.4 * STEEPEST, slew_fall_v_per_s=0.5 * STEEPEST),
    "slew just missed": LimitSet(
        slew_rise_v_per_s=1.3 * STEEPEST, slew_fall_v_per_s=1.3 * STEEPEST, time_constant_s=2e-6
    ),
    "slow lag": LimitSet(
        slew_rise_v_per_s=30.0 * STEEPEST, slew_fall_v_per_s=20.0 * STEEPEST, time_constant_s=2e-6
    ),
    "both, with lag": LimitSet(0.3, -0.4, 0.7 * STEEPEST, 0.6 * STEEPEST, 64e-9),
}


@pytest.mark.parametrize("case", LIMITS)
def test_passing_idle_stretches_by_changes_no_frame(case: str) -> None:
    """By more than 1e-7 of full scale, on music that goes in and out of the limits."""
    skipping, working = worked_everywhere(Limiting(case, LIMITS[case]), MUSIC)
    idle = np.mean((skipping == MUSIC).reshape(-1, 1000).all(axis=1))
    assert 0.1 < idle < 0.99  # some of it is passed by, and some is not
    assert np.abs(working - MUSIC).max() > 1e-6
    assert np.abs(skipping - working).max() <= 1e-7


@pytest.mark.parametrize("times", [120.0, 140.0, 160.0, 180.0, 230.0, 260.0, 350.0, 420.0])
def test_what_is_passed_by_does_not_depend_on_how_much_comes_at_once(times: float) -> None:
    """Bit for bit, where blocks whose lag counts and does not count stand beside each other."""
    limit = times * STEEPEST
    effect = Limiting("slew", LimitSet(math.inf, -math.inf, limit, limit, 2e-6))
    whole = played([effect], MUSIC, RATE_HZ)
    for sizes in ([16 * 1024] * 5, [20 * 1024, 48 * 1024], [999] * 90):
        assert np.array_equal(played([effect], MUSIC, RATE_HZ, sizes=sizes), whole)


@pytest.mark.parametrize("over_peak", [1.01, 1.5, 2.5, 2.95])
@pytest.mark.parametrize("lower", [0.0, 0.42])
def test_nor_on_loud_noise_near_the_limits(over_peak: float, lower: float) -> None:
    """Its steepest slopes are as near to theirs; some of it close to half the sampling rate."""
    noise = band_limited(40000, 1, seed=4, lower=lower, upper=0.5)
    step = float(np.abs(np.diff(noise[:, 0])).max()) * RATE_HZ
    limits = LimitSet(over_peak, -over_peak, over_peak * step, over_peak * step, 64e-9)
    skipping, working = worked_everywhere(Limiting("near", limits), noise)
    assert np.abs(skipping - working).max() <= 1e-7


HIT_FRAMES = 16


@pytest.mark.parametrize("first", [0, 1, 500, 1023 - HIT_FRAMES, 1024 - HIT_FRAMES])
@pytest.mark.parametrize("limit", ["level", "slope"])
def test_nor_where_one_hit_stands_alone_in_silence(limit: str, first: int) -> None:
    """It is found in its own block, and rings into the block beside it where it is at an end."""
    audio, block = np.zeros((9 * 1024, 1)), 4 * 1024
    audio[block + first : block + first + HIT_FRAMES, 0] = np.resize([1, 1, -1, -1], HIT_FRAMES)
    limits = {
        "level": LimitSet(high_v=0.1, low_v=-0.1),
        "slope": LimitSet(slew_rise_v_per_s=0.1 * RATE_HZ, slew_fall_v_per_s=0.1 * RATE_HZ),
    }[limit]
    skipping, working = worked_everywhere(Limiting(limit, limits), audio)
    assert np.abs(working - audio).max() > 0.5
    assert np.abs(skipping - working).max() <= 1e-7


def worst_samples(position: int, *, steepest: bool = False) -> Audio:
    """The samples of size 1 that go furthest between two frames, or are steepest there."""
    weights = np.zeros((UP_TAPS, FACTOR))
    for k in range(UP_TAPS):
        samples = np.zeros(UP_TAPS)
        samples[k] = 1.0
        up(samples, weights[k])
    wanted = weights[:, position]
    if steepest:
        wanted = weights[:, position + 1] - weights[:, position - 1]
    audio = np.zeros((6000, 1))
    audio[3000 : 3000 + UP_TAPS, 0] = np.sign(wanted)
    return audio


@pytest.mark.parametrize("position", [1, 2, 3])
@pytest.mark.parametrize("size", [0.3, 0.4, 0.49, 0.9])
def test_nor_where_samples_go_as_far_as_they_can_between_themselves(
    position: int, size: float
) -> None:
    audio = size * worst_samples(position)
    for limits in (
        LimitSet(high_v=1.0, low_v=-1.0),
        LimitSet(slew_rise_v_per_s=2.2 * RATE_HZ, slew_fall_v_per_s=2.2 * RATE_HZ),
    ):
        skipping, working = worked_everywhere(Limiting("worst", limits), audio)
        assert np.abs(skipping - working).max() <= 1e-7


@pytest.mark.parametrize("lag", [1e-8, 3e-8, 5e-8, 3e-6])
def test_nor_where_they_are_as_steep_as_they_can_be(lag: float) -> None:
    """At a third of the slew limit, where the output lags by a given share of full scale."""
    audio = worst_samples(2, steepest=True)
    r = 1.0 / 3.0
    steepest = SLOPE_OVER_PEAK / r
    constant_frames = lag / (steepest * (r**3 / 3.0 + r**5 / 5.0 + r**7 / 7.0))
    limit = steepest * RATE_HZ
    limits = LimitSet(math.inf, -math.inf, limit, limit, constant_frames / RATE_HZ)
    skipping, working = worked_everywhere(Limiting("lag", limits), audio)
    assert np.abs(skipping - working).max() <= 1e-7


def test_samples_cannot_go_further_between_themselves_than_is_said() -> None:
    """Sums of the sizes of the weights of level and slope on a dense grid of times."""
    frames, middle = 24, 40
    weights = np.zeros((frames + UP_TAPS - 1, FACTOR * frames))
    for k in range(len(weights)):
        samples = np.zeros(len(weights))
        samples[k] = 1.0
        up(samples, weights[k])
    powers = np.linalg.inv(np.vander(np.arange(-2.0, 4.0), increasing=True))
    level = slope = stepped = 0.0
    for first in range(middle, middle + FACTOR):
        near = weights[:, first - 2 : first + 4]
        for s in np.linspace(0.0, 1.0, 21):
            value = near @ (s ** np.arange(6) @ powers)
            steep = FACTOR * near @ (np.arange(6) * s ** np.maximum(np.arange(6) - 1, 0) @ powers)
            level = max(level, np.abs(value).sum())
            slope = max(slope, np.abs(steep).sum())
            stepped = max(stepped, np.abs(np.cumsum(steep)[:-1]).sum())
    assert level == pytest.approx(LEVEL_OVER_PEAK, abs=0.011)
    assert slope == pytest.approx(SLOPE_OVER_PEAK, abs=0.011)
    assert stepped == pytest.approx(SLOPE_OVER_STEP, abs=0.011)
    assert (level, slope, stepped) < (LEVEL_OVER_PEAK, SLOPE_OVER_PEAK, SLOPE_OVER_STEP)


def test_nor_between_nodes() -> None:
    """The same sums for the polynomials of degree 5 through six nodes, over the middle interval."""
    powers = np.linalg.inv(np.vander(np.arange(-2.0, 4.0), increasing=True))
    level = slope = 0.0
    for s in np.linspace(0.0, 1.0, 201):
        value = s ** np.arange(6) @ powers
        steep = (np.arange(6) * s ** np.maximum(np.arange(6) - 1, 0)) @ powers
        level = max(level, np.abs(value).sum())
        slope = max(slope, np.abs(np.cumsum(steep)[:-1]).sum())
    assert (level, slope) < (LEVEL_OVER_NODE, SLOPE_OVER_NODES)
    assert (level, slope) == pytest.approx((LEVEL_OVER_NODE, SLOPE_OVER_NODES), abs=0.001)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_second_look_sees_levels_slopes_and_lag(sign: float) -> None:
    nodes = sign * np.array([0.0, 0.0, 0.5, 0.6, 0.6, 0.6])
    free, wide = np.array([math.inf, -math.inf, 0.0]), np.array([math.inf, -math.inf])
    assert calm_between(nodes, np.array([0.84, -0.84]), free)
    assert not calm_between(nodes, np.array([0.83, -math.inf])[:: int(sign)] * sign, free)
    assert calm_between(nodes, wide, np.array([0.768, -0.768, 0.0]))
    assert not calm_between(nodes, wide, np.array([0.766, -math.inf, 0.0]))
    assert not calm_between(nodes, wide, np.array([math.inf, -0.766, 0.0]))
    # A tenth of the limit: the lag is a time constant, times the limit, times r³ / 3 + r⁵ / 5.
    ten_times = np.array([7.67, -7.67])
    assert calm_between(nodes, wide, np.append(ten_times, 0.97e-8 / (7.67 * 0.1**3 * 0.335)))
    assert not calm_between(nodes, wide, np.append(ten_times, 1.03e-8 / (7.67 * 0.1**3 * 0.335)))
