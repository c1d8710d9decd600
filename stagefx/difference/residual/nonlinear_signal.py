"""The remainder as a signal: what no linear filter makes of the first version, to be listened to.

The second is brought to the first's gain, polarity and time, and the first, passed through the
filter between them, is taken away.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stagefx.difference.linear.transfer import (
    AHEAD_FRAMES,
    TransferModel,
    filtered_blocks,
    lead_in,
)
from stagefx.difference.pairs import side_by_side
from stagefx.errors import ComparisonError
from stagefx.io.recording import Recording

if TYPE_CHECKING:
    from stagefx.difference.decomposition import Difference

Array = NDArray[np.float64]


def remainder_blocks(
    first: Recording, second: Recording, difference: Difference
) -> Iterator[tuple[Array, Array]]:
    """The first version and the remainder of the second, block by block.

    ``remainder = second / gain, its delay taken away, less the first through the filter``

    A steady offset counts as response.  Of two linear versions the remainder lies more than 120 dB
    below the music, 20 Hz to 20 kHz; of a filter that rings for longer than 20 ms, as a narrow
    equaliser below 200 Hz does, some of the ringing is left.
    """
    for played, expected, left in explained_blocks(first, second, difference):
        del expected
        yield played, left


def explained_blocks(
    first: Recording, second: Recording, difference: Difference
) -> Iterator[tuple[Array, Array, Array]]:
    """The first version, what a filter makes of it, and the remainder, block by block."""
    model = difference.transfer
    if model is None:
        raise ComparisonError(
            f"no filter was found between {first.place} and {second.place}; take them apart first"
        )
    held: list[tuple[Array, Array]] = []
    ahead = _read_ahead(first, second, difference, model, held)
    added = filtered_blocks(model, ahead, lead_in(first, difference.start))
    rest = np.zeros((0, first.format.channels))
    for fresh in added:
        rest = np.concatenate([rest, fresh])
        while held and len(rest) >= len(held[0][0]):
            played, more = held.pop(0)
            extra, rest = rest[: len(played)], rest[len(played) :]
            yield played, played + extra, more - extra


def _read_ahead(
    first: Recording,
    second: Recording,
    difference: Difference,
    model: TransferModel,
    held: list[tuple[Array, Array]],
) -> Iterator[Array]:
    """The first, and a reach of it more; what the second has more is held until it is wanted."""
    start, stop = difference.start, difference.stop
    last: Array | None = None
    for pair in side_by_side(first, second, difference.alignment, start=start, stop=stop):
        held.append((pair.first, pair.second / model.gain - pair.first))
        if last is not None:
            yield last
        last = pair.first
    after = first.read(stop, min(stop + AHEAD_FRAMES, first.format.frames))
    after = np.pad(after, ((0, AHEAD_FRAMES - len(after)), (0, 0)))
    if last is not None:
        yield np.concatenate([last, after])
