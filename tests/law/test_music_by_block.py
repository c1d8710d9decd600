"""Music comes out the same bit for bit, however it is cut and on however many threads."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import load_stage, stage_from
from stagefx.dsp.blocks import GRID_FRAMES
from stagefx.effects.effect import Effect
from stagefx.effects.kind import Setup
from stagefx.render.chain import BLOCK_FRAMES, WORK_FRAMES, Chain
from stagefx.render.plan import stage_effects
from tests.played import Audio, blocks_of, played, played_and_counted, song

RATE_HZ = 48000
FULL_SCALE_V = 6.0
MUSIC = song(45000, 2, seed=0)


def all_at_once() -> list[Effect]:
    """A stage that has every effect there is."""
    tables = {
        "source": {"resistance": "1 kohm", "coupling": "1 uF"},
        "input": {"resistance": "47 kohm"},
        "amplifier": {
            "device": "early bipolar",
            "feedback_resistance": "10 kohm",
            "gain_resistance": "3.3 kohm",
            "gain_leg_capacitance": "10 uF",
            "offset_voltage": "10 mV",
            "harmonics": ["-60 dB", "-50 dB"],
            "harmonics_level": "7 V rms",
        },
        "supply": {"positive": "9 V", "negative": "-9 V"},
        "crosstalk": {"coupling_capacitance": "10 pF"},
        "hum": {"level": "1 mV rms", "frequency": "50 Hz"},
        "oscillation": {"level": "0.2 V peak", "frequency": "15 kHz"},
        "load": {"resistance": "10 kohm"},
    }
    return list(stage_effects(Setup(nominal(stage_from(tables)), RATE_HZ)))


def ready_made(name: str) -> list[Effect]:
    return list(stage_effects(Setup(nominal(load_stage(name)), RATE_HZ)))


CASES = {
    "linear and noise": (ready_made("line-stage"), {}),
    "slewing": (ready_made("slow-early"), {}),
    "clipping": (ready_made("too-hot"), {}),
    "everything": (all_at_once(), {}),
    "exaggerated": (all_at_once(), {"slew": 3.0, "loading": 2.0, "noise": 10.0, "clip": 0.5}),
}


def through(case: str, music: Audio, **options: object) -> Audio:
    effects, times = CASES[case]
    return played(effects, music, RATE_HZ, full_scale_v=FULL_SCALE_V, times=times, **options)


@pytest.fixture(scope="module", params=CASES)
def whole(request: pytest.FixtureRequest) -> tuple[str, Audio]:
    return request.param, through(request.param, MUSIC)


@settings(max_examples=4)
@given(sizes=st.lists(st.integers(1, 5000), min_size=5, max_size=40))
def test_any_cut_gives_the_same_bits(whole: tuple[str, Audio], sizes: list[int]) -> None:
    case, expected = whole
    assert np.array_equal(through(case, MUSIC, sizes=sizes), expected)


@pytest.mark.parametrize("size", [1023, 1024, 1025, WORK_FRAMES - 1, WORK_FRAMES + 1])
def test_so_do_blocks_of_one_size(whole: tuple[str, Audio], size: int) -> None:
    case, expected = whole
    assert np.array_equal(through(case, MUSIC, sizes=[size] * (len(MUSIC) // size)), expected)


@pytest.mark.parametrize("size", [WORK_FRAMES + 7, BLOCK_FRAMES - 1, 2 * BLOCK_FRAMES + 1])
def test_so_does_more_than_is_worked_on_at_once(size: int) -> None:
    music = song(3 * BLOCK_FRAMES + 500, 2, seed=3)
    expected = through("everything", music)
    cut = [size] * (len(music) // size)
    assert np.array_equal(through("everything", music, sizes=cut), expected)
    assert np.array_equal(through("everything", music, sizes=cut, threads=1), expected)


def test_single_frames_do_too(whole: tuple[str, Audio]) -> None:
    case, expected = whole
    short = MUSIC[:2500]
    assert np.array_equal(through(case, short, sizes=[1] * 2500), through(case, short))
    assert expected.shape == MUSIC.shape


@pytest.mark.parametrize("threads", [1, 3])
def test_so_does_any_number_of_threads(whole: tuple[str, Audio], threads: int) -> None:
    case, expected = whole
    assert np.array_equal(through(case, MUSIC, threads=threads), expected)


def test_a_second_playing_is_the_first(whole: tuple[str, Audio]) -> None:
    case, expected = whole
    effects, times = CASES[case]
    with Chain(effects, RATE_HZ, 2, full_scale_v=FULL_SCALE_V, times=times) as chain:
        for _ in range(2):
            done = np.concatenate(list(chain.process(blocks_of(MUSIC, [10000]))))
            assert np.array_equal(done, expected)


def test_one_broken_off_leaves_nothing_behind(whole: tuple[str, Audio]) -> None:
    case, expected = whole
    effects, times = CASES[case]
    with Chain(effects, RATE_HZ, 2, full_scale_v=FULL_SCALE_V, times=times) as chain:
        for level in (5.0, -5.0):  # broken off far beyond the limits
            begun = chain.process([np.full((20000, 2), level)])
            next(begun)
            begun.close()
            done = np.concatenate(list(chain.process([MUSIC])))
            assert np.array_equal(done, expected)


@pytest.mark.parametrize("case", ["slewing", "clipping", "everything"])
def test_the_cases_are_what_they_are_called(case: str) -> None:
    effects, _ = CASES[case]
    _, tally = played_and_counted(effects, MUSIC, RATE_HZ, full_scale_v=FULL_SCALE_V)
    assert case == "clipping" or tally.slewing_frames > 10
    assert case == "slewing" or tally.clipped_frames > 10
    assert tally.nonlinear_frames < 0.9 * len(MUSIC)


def test_the_past_does_not_know_the_future(whole: tuple[str, Audio]) -> None:
    """A frame depends on what comes within three blocks of the grid and the taps, no later."""
    case, expected = whole
    kept = 20000
    done = through(case, MUSIC[: kept + 4 * GRID_FRAMES])
    assert np.array_equal(done[:kept], expected[:kept])


@pytest.mark.parametrize("frames", [0, 1, 2, 1023, 1024, 1025, WORK_FRAMES, WORK_FRAMES + 1])
def test_every_length_comes_out_as_long(whole: tuple[str, Audio], frames: int) -> None:
    case, _ = whole
    done = through(case, MUSIC[:frames])
    assert done.shape == (frames, 2)
    assert np.isfinite(done).all()


def test_music_is_not_written_over(whole: tuple[str, Audio]) -> None:
    case, _ = whole
    music = MUSIC[:5000].copy()
    through(case, music)
    assert np.array_equal(music, MUSIC[:5000])


@pytest.mark.parametrize("size", [1000, 5000, WORK_FRAMES])
def test_a_block_may_be_filled_anew_for_the_next(whole: tuple[str, Audio], size: int) -> None:
    case, expected = whole
    effects, times = CASES[case]

    def refilled() -> Iterator[Audio]:
        block = np.empty((size, 2))
        for start in range(0, len(MUSIC), size):
            part = MUSIC[start : start + size]
            block[: len(part)] = part
            yield block[: len(part)]

    with Chain(effects, RATE_HZ, 2, full_scale_v=FULL_SCALE_V, times=times) as chain:
        assert np.array_equal(np.concatenate(list(chain.process(refilled()))), expected)
