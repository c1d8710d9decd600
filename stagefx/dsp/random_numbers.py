"""Chance that is the same whatever the block size: random draws addressed by their place in time.

A counter-based generator (Philox) turns a key and a counter into random bits.  The key comes
from the seed and the name of the stream, the counter from the place on the absolute grid, so
that nothing depends on the order in which the draws are made.
"""

from __future__ import annotations

from functools import lru_cache
from hashlib import blake2b

import numpy as np
from numpy.typing import NDArray

WORDS_PER_COUNT = 4
"""64-bit words that Philox makes from one value of its counter."""

_GRID_BLOCK_WORD = 1
"""Which word of the counter a grid block sets; draws inside the block count in the word below."""


@lru_cache(maxsize=256)
def _key(seed: int, stream: str) -> int:
    digest = blake2b(f"{seed} {stream}".encode(), digest_size=16).digest()
    return int.from_bytes(digest, "little")


def grid_generator(seed: int, stream: str, grid_block: int) -> np.random.Generator:
    """Random numbers for one step of the grid of 1024 frames.

    The bits are the same on every machine.  What a method of the generator makes of them, such as
    a normal deviate, is the same for the same version of numpy.
    """
    counter = [0, 0, 0, 0]
    counter[_GRID_BLOCK_WORD] = grid_block
    return np.random.Generator(np.random.Philox(key=_key(seed, stream), counter=counter))


def words_at(seed: int, stream: str, *, first_word: int, words: int) -> NDArray[np.uint64]:
    """A stretch of one endless row of random words."""
    count, skipped = divmod(first_word, WORDS_PER_COUNT)
    philox = np.random.Philox(key=_key(seed, stream), counter=[count, 0, 0, 0])
    row: NDArray[np.uint64] = philox.random_raw(skipped + words)
    return row[skipped:]


def bytes_at(seed: int, stream: str, *, first_word: int, words: int) -> NDArray[np.uint8]:
    """The same stretch in pieces of 8 bits."""
    row = words_at(seed, stream, first_word=first_word, words=words)
    return row.astype("<u8", copy=False).view(np.uint8)
