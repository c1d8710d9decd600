"""What a limiter did is told in its own moment: eight blocks of 1024 frames, counted from 0."""

from __future__ import annotations

import numpy as np
import pytest

from stagefx.effects.limits.clip import clip
from stagefx.effects.limits.limiter import Limiting
from stagefx.effects.limits.slew import slew
from stagefx.render.chain import Chain
from tests.played import blocks_of

RATE_HZ = 48000
MOMENT = 8 * 1024
BURST = 20
"""Frames that stand at 1, where a level of 0.5 and a slope of 0.2 a frame are allowed."""
LIMITS = {"clip": clip(0.5, -0.5), "slew": slew(0.2 * RATE_HZ, 0.2 * RATE_HZ)}


def moments(effect: Limiting, frames: list[int], sizes: list[int]) -> dict[int, tuple[int, int]]:
    """Clipped and slewing frames by the frame at which their moment begins."""
    audio = np.zeros((6 * MOMENT, 1))
    for frame in frames:
        audio[frame : frame + BURST] = 1.0
    with Chain([effect], RATE_HZ, 1) as chain:
        for _ in chain.process(blocks_of(audio, sizes)):
            pass
        return {frame: (clips, slews) for frame, clips, slews in chain.tallies[0][0].moments()}


@pytest.mark.parametrize("limit", LIMITS)
@pytest.mark.parametrize("sizes", [[], [1024] * 48, [5000] * 9], ids=["whole", "blocks", "odd"])
@pytest.mark.parametrize("at", [8, MOMENT // 2, MOMENT - BURST - 8], ids=["head", "middle", "tail"])
def test_a_burst_lies_in_its_own_moment(limit: str, sizes: list[int], at: int) -> None:
    for moment in (0, 3, 5):
        found = moments(LIMITS[limit], [moment * MOMENT + at], sizes)
        assert list(found) == [moment * MOMENT]
        clips, slews = found[moment * MOMENT]
        if limit == "clip":
            assert BURST <= clips <= BURST + 2
            assert slews == 0
        else:
            assert clips == 0
            assert slews >= 10  # up by 1 and down by 1, at a fifth a frame, and some ringing


def test_the_moment_with_most_comes_first_and_one_burst_over_two_counts_in_both() -> None:
    over_an_edge = 2 * MOMENT - BURST // 2
    found = moments(LIMITS["clip"], [500, 900, over_an_edge], [])
    assert set(found) == {0, MOMENT, 2 * MOMENT}
    assert next(iter(found)) == 0
    assert 2 * BURST <= found[0][0] <= 2 * BURST + 4
    for moment in (MOMENT, 2 * MOMENT):
        assert BURST // 2 <= found[moment][0] <= BURST // 2 + 1
