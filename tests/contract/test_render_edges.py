"""What is odd but can be rendered, and what cannot: loops, rates, denormals, squares."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import load_stage, stage_from
from stagefx.circuit.description.stage import Stage
from stagefx.effects import Setup
from stagefx.effects.linear.sections import DELAY_FRAMES, MOST_TAPS, TAPS, Linear, impulse_response
from stagefx.errors import EffectError, StageError
from stagefx.render.attribution import attribute
from stagefx.render.plan import stage_effects
from stagefx.render.rendering import render_file
from tests.played import band_limited, in_decibels, played

Audio = NDArray[np.float64]
RATE_HZ = 48000
HEALTHY: dict[str, Any] = {
    "name": "trial",
    "source": {"level": "1 V rms"},
    "amplifier": {"topology": "follower", "slew_rise": "9 V/us", "slew_fall": "9 V/us"},
    "supply": {"positive": "15 V", "negative": "-15 V"},
}
UNSTABLE = HEALTHY | {
    "amplifier": {
        "topology": "follower",
        "gain_bandwidth": "10 MHz",
        "second_pole": "3 MHz",
        "open_loop_output_resistance": "100 ohm",
    },
    "load": {"capacitance": "10 nF"},
}
"""A follower on a long cable: 14.5 deg past 180 where its loop gain is one."""


def music_in(
    folder: Path, *, rate_hz: int = RATE_HZ, hz: float = 1000.0, peak: float = 0.5
) -> Path:
    tone = peak * np.sin(2.0 * np.pi * hz * np.arange(rate_hz // 2) / rate_hz)
    soundfile.write(folder / "in.wav", np.stack((tone, tone), axis=1), rate_hz, subtype="PCM_24")
    return folder / "in.wav"


def try_to_render(folder: Path, stage: Stage, **options: Any) -> Any:
    return render_file(stage, music_in(folder), folder / "out.wav", force=True, **options)


# --- a loop that is unstable ---


def test_an_unstable_loop_is_not_rendered_as_linear(tmp_path: Path) -> None:
    match = (
        r"^oscillates: the loop of 'trial' is unstable near 1\.21 MHz, 14 deg past 180 where its "
        r"gain is still one, .*give \[oscillation\].*--without bandwidth$"
    )
    with pytest.raises(StageError, match=match):
        try_to_render(tmp_path, stage_from(UNSTABLE))
    with pytest.raises(StageError, match=match):
        attribute(stage_from(UNSTABLE), music_in(tmp_path))
    assert [path.name for path in tmp_path.iterdir()] == ["in.wav"]


def test_each_remedy_that_it_names_is_one(tmp_path: Path) -> None:
    assert try_to_render(tmp_path, stage_from(UNSTABLE), without=["bandwidth"]).frames == 24000
    stated = {"oscillation": {"level": "1 V peak", "frequency": "1.2 MHz"}}
    report = try_to_render(tmp_path, stage_from(UNSTABLE | stated))
    peak_v = 0.5 * np.sqrt(2.0)
    assert report.headroom_db[0] == pytest.approx(in_decibels(14.0 / peak_v), abs=0.01)
    cured = UNSTABLE | {"output": {"resistance": "100 ohm"}}
    assert try_to_render(tmp_path, stage_from(cured)).frames == 24000


def test_a_stated_oscillation_that_is_left_out_does_not_help(tmp_path: Path) -> None:
    stated = {"oscillation": {"level": "1 V peak", "frequency": "1.2 MHz"}}
    with pytest.raises(StageError, match="unstable"):
        try_to_render(tmp_path, stage_from(UNSTABLE | stated), without=["oscillation"])


@pytest.mark.parametrize("name", ["line-stage", "line-stage-quick", "unity-buffer", "slow-early"])
def test_a_stable_loop_is_rendered(tmp_path: Path, name: str) -> None:
    assert try_to_render(tmp_path, load_stage(name)).frames == 24000


# --- what takes of the limits ---


def oscillating(peak: str) -> Stage:
    return stage_from(HEALTHY | {"oscillation": {"level": peak, "frequency": "100 kHz"}})


def test_an_oscillation_that_leaves_nothing_can_be_left_out(tmp_path: Path) -> None:
    with pytest.raises(StageError, match=r"^oscillates: .*--without oscillation$"):
        try_to_render(tmp_path, oscillating("20 V peak"))
    report = try_to_render(tmp_path, oscillating("20 V peak"), without=["oscillation"])
    assert report.headroom_db[0] == pytest.approx(in_decibels(15.0 / np.sqrt(0.5)), abs=0.01)


def test_multiplied_it_takes_so_much_more(tmp_path: Path) -> None:
    stage = oscillating("3 V peak")
    for times in (0.0, 1.0, 4.0):
        report = try_to_render(tmp_path, stage, times={"oscillation": times})
        left = 15.0 - 3.0 * times
        assert report.headroom_db[0] == pytest.approx(in_decibels(left / np.sqrt(0.5)), abs=0.01)
        audio = np.full((4096, 1), 5.0)
        effects = stage_effects(Setup(nominal(stage), RATE_HZ))
        found = played(effects, audio, RATE_HZ, full_scale_v=3.0, times={"oscillation": times})
        assert 3.0 * found[2000:2500] == pytest.approx(min(15.0, left), abs=0.01)


def test_other_effects_multiplied_do_not_hide_it() -> None:
    """Slew turned up stands apart from the clip, and both see what is left."""
    effects = stage_effects(Setup(nominal(oscillating("3 V peak")), RATE_HZ))
    for times in ({"slew": 2.0}, {"slew": 0.0}):
        found = played(effects, np.full((4096, 1), 5.0), RATE_HZ, full_scale_v=3.0, times=times)
        assert 3.0 * found[2000:2500] == pytest.approx(12.0, abs=0.01)


# --- rates ---


def test_a_rate_too_low_for_its_hum_is_refused(tmp_path: Path) -> None:
    stage = stage_from(HEALTHY | {"hum": {"level": "1 mV rms", "frequency": "5 kHz"}})
    music = music_in(tmp_path, rate_hz=8000)
    match = r"rate of 8000 Hz is too low for hum at 5000 Hz; .*higher rate.*--without hum$"
    with pytest.raises(EffectError, match=match):
        render_file(stage, music, tmp_path / "out.wav")
    assert [path.name for path in tmp_path.iterdir()] == ["in.wav"]
    assert render_file(stage, music, tmp_path / "out.wav", without=["hum"]).rate == 8000


@pytest.mark.parametrize("rate_hz", [8000, 11025, 384000])
@pytest.mark.parametrize("name", ["line-stage", "slow-early", "passive-control"])
def test_the_lowest_and_the_highest_rates_are_rendered(
    tmp_path: Path, name: str, rate_hz: int
) -> None:
    music = music_in(tmp_path, rate_hz=rate_hz)
    render_file(load_stage(name), music, tmp_path / "out.wav", bits="float", without=["noise"])
    before, after = (soundfile.read(tmp_path / f)[0] for f in ("in.wav", "out.wav"))
    middle = slice(rate_hz // 8, 3 * rate_hz // 8)
    assert np.std(after[middle]) == pytest.approx(np.std(before[middle]), rel=2e-3)


def pole(corner_hz: float) -> Linear:
    return Linear("loading", lambda hz: 1.0 / (1.0 + 1j * hz / corner_hz), 1.0)


@pytest.mark.parametrize(
    ("corner_hz", "rate_hz"), [(20e3, 44100), (1e3, 96000), (1e3, 192000), (3e3, 384000)]
)
def test_a_corner_far_below_the_rate_gets_the_taps_it_needs(corner_hz: float, rate_hz: int) -> None:
    """Within 0.005 dB and 0.1 degrees from 10 Hz to 0.45 of the rate."""
    effect = pole(corner_hz)
    taps = impulse_response(effect, rate_hz)
    assert (taps.size == TAPS) == (corner_hz > 10e3)
    hz = np.geomspace(10.0, 0.45 * rate_hz, 300)
    turns = np.exp(-2j * np.pi * np.outer(hz / rate_hz, np.arange(taps.size) - DELAY_FRAMES))
    error = turns @ taps / effect.response(hz)
    assert in_decibels(error) == pytest.approx(0.0, abs=0.005)
    assert np.angle(error, deg=True) == pytest.approx(0.0, abs=0.1)


def test_one_that_no_number_of_taps_holds_is_refused() -> None:
    match = r"^a sampling rate of 384000 Hz is too high .*'loading'.*lower rate.*--without loading$"
    with pytest.raises(EffectError, match=match):
        impulse_response(pole(50.0), 384000)
    assert MOST_TAPS >= 16 * TAPS


def test_more_taps_are_late_by_no_more() -> None:
    """They give the exact response to periodic music, and the same bits whatever the blocks."""
    effect, frames = pole(1e3), 8192
    period = band_limited(frames, 2, seed=0)
    music = np.concatenate((period, period, period))
    found = played([effect], music, 96000)
    assert (played([effect], music, 96000, sizes=[1, 1023, 700, 3000]) == found).all()
    spectrum = np.fft.rfft(period, axis=0)
    response = effect.response(np.fft.rfftfreq(frames, 1.0 / 96000))
    exact = np.fft.irfft(spectrum * response[:, None], frames, axis=0)
    assert found[frames : 2 * frames] == pytest.approx(exact, abs=1e-5)


# --- odd samples ---


@pytest.mark.parametrize("name", ["line-stage", "thin-coupling", "slow-early", "too-hot"])
def test_what_dies_away_ends_in_nothing(name: str) -> None:
    """Half a minute after a hit no sample is denormal, which would be slow: each is 0 or more."""
    effects = stage_effects(Setup(nominal(load_stage(name)), RATE_HZ))
    hit = np.zeros((30 * RATE_HZ, 1))
    hit[100] = 1.0
    kept = {"loading", "bandwidth", "slew", "clip"}
    found = played(effects, hit, RATE_HZ, full_scale_v=2.83, keep=kept)
    assert np.abs(found[found != 0.0]).min() > np.finfo(np.float64).tiny


@pytest.mark.parametrize("size", [1e-40, 1e-310])
def test_the_smallest_samples_do_no_harm(size: float) -> None:
    """Denormals of single and of double precision: what is made of them is as small."""
    effects = stage_effects(Setup(nominal(load_stage("slow-early")), RATE_HZ))
    tiny = size * np.random.default_rng(0).standard_normal((20000, 2))
    kept = {"loading", "bandwidth", "slew", "clip", "distortion"}
    found = played(effects, tiny, RATE_HZ, full_scale_v=2.83, keep=kept)
    assert np.isfinite(found).all()
    assert np.abs(found).max() < 10.0 * size


@pytest.mark.parametrize("name", ["line-stage", "slow-early", "too-hot", "bare-rails"])
@pytest.mark.parametrize("half_frames", [1, 2, 7, 480])
def test_full_scale_squares_are_played(name: str, half_frames: int) -> None:
    """From one rail to the other within a frame; nothing winds up, nothing stays behind."""
    effects = stage_effects(Setup(nominal(load_stage(name)), RATE_HZ))
    sign = np.where(np.arange(30000) // half_frames % 2 == 0, 1.0, -1.0)
    square = np.zeros((60000, 1))
    square[:30000, 0] = sign
    kept = {"loading", "bandwidth", "slew", "clip", "oscillation"}
    found = played(effects, square, RATE_HZ, full_scale_v=2.83, keep=kept)
    assert np.isfinite(found).all()
    assert np.abs(found).max() < 2.5
    assert np.abs(found[45000:]).max() < 0.05
    if half_frames == 480:
        tops = found[4800:28800, 0].reshape(-1, 480)[:, 400:]
        assert np.abs(tops.mean(axis=1)).min() > 0.4
        assert (np.sign(tops.mean(axis=1)) == np.tile([1.0, -1.0], 25)).all()


def test_a_square_takes_as_long_as_the_slew_limit_says() -> None:
    """From -5 V to +5 V at 5 V/ms: 2 ms, 192 frames; the corners ripple."""
    amplifier = {"topology": "follower", "slew_rise": "0.005 V/us", "slew_fall": "0.005 V/us"}
    stage = stage_from({"source": {"level": "1 V rms"}, "amplifier": amplifier})
    effects = stage_effects(Setup(nominal(stage), 96000))
    square = np.where(np.arange(20000) // 2000 % 2 == 0, 5.0, -5.0)[:, None]
    found = played(effects, square, 96000, keep={"slew"})
    assert found[4000:4193:48, 0] == pytest.approx(-5.0 + 2.5 * np.arange(5), abs=0.12)
