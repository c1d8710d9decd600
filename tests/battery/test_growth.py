"""The more of a change, the more probably it is heard."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache

import numpy as np
import pytest

from tests.battery import changes
from tests.battery.case import AT_EAR_DB, Pair, Want
from tests.battery.found import compare
from tests.battery.pieces import Audio, Piece, own_pieces
from tests.battery.running import recordings
from tests.knocks.counts import WHOLE

SECONDS = 6.0
PIECES = ("trio", "drums", "wash", "shared", "voice") if WHOLE else ("trio",)
ROUNDING = 0.005
"""Of a probability: two sizes that are both heard for certain, or both not at all, may change
places by less than any reader is shown."""


def hissed(one: Piece, level_dbfs: float) -> Audio:
    random = np.random.default_rng(5)
    return one.audio + changes.hiss(one.audio, one.frames, changes.gain(level_dbfs), random)


def clipped(one: Piece, by_db: float) -> Audio:
    """All of it, at so much under its greatest peak."""
    return changes.clipped(one.audio, [0], one.frames, by_db)


EFFECTS: dict[str, tuple[Callable[[Piece, float], Audio], tuple[float, ...]]] = {
    "level": (lambda one, db: changes.gain(db) * one.audio, (-0.02, -0.1, -0.3, -0.6, -1.0, -2.0)),
    "pole": (
        lambda one, hz: changes.one_pole(one.audio, one.rate_hz, hz),
        (200e3, 60e3, 30e3, 15e3, 6e3),
    ),
    "hiss": (hissed, (-110.0, -90.0, -75.0, -60.0, -45.0, -30.0)),
    "clipping": (clipped, (0.3, 1.0, 3.0, 6.0, 12.0)),
    "resonance": (
        lambda one, db: changes.resonant(one.audio, one.rate_hz, 1e3, 1.0, db),
        (0.05, 0.3, 1.0, 2.0, 4.0, 8.0),
    ),
}


@cache
def pieces() -> dict[str, Piece]:
    return {one.name: one for one in own_pieces(SECONDS)}


def probabilities(effect: str, one: Piece) -> Iterator[float]:
    change, sizes = EFFECTS[effect]
    for size in sizes:
        pair = Pair(one.audio, change(one, size), Want(), one.rate_hz, one.rate_hz)
        found = compare(*recordings(pair), listening_db=AT_EAR_DB)
        assert found.rank is not None, found.said
        yield found.probability


@pytest.mark.parametrize(
    "piece", ["trio", "drums", "wash", "shared", "voice"] if WHOLE else ["trio"]
)
@pytest.mark.parametrize("effect", EFFECTS)
def test_the_probability_grows_with_the_size(effect: str, piece: str) -> None:
    found = list(probabilities(effect, pieces()[piece]))
    assert (np.diff(found) >= -ROUNDING).all(), found
    assert found[-1] - found[0] > 0.3, found
