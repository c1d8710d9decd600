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

    Parameters
    ----------
    seed : int
        What the user chose.
    stream : str
        Whose chance it is, for example ``"noise, channel 1"``; two streams never meet.
    grid_block : int, 0 or more
        Which step of the grid: the absolute frame divided by 1024.

    Returns
    -------
    numpy.random.Generator
        A generator at the first of 2**66 words that belong to this step alone.

    Notes
    -----
    The bits are the same on every machine.  What a method of the generator makes of them, such as
    a normal deviate, is the same for the same version of numpy.

    Examples
    --------
    >>> first = grid_generator(0, "noise", 7).standard_normal(1024)
    >>> again = grid_generator(0, "noise", 7).standard_normal(1024)
    >>> other = grid_generator(0, "noise", 8).standard_normal(1024)
    >>> bool((first == again).all()), bool((first == other).any())
    (True, False)
    """
    counter = [0, 0, 0, 0]
    counter[_GRID_BLOCK_WORD] = grid_block
    return np.random.Generator(np.random.Philox(key=_key(seed, stream), counter=counter))


def words_at(seed: int, stream: str, *, first_word: int, words: int) -> NDArray[np.uint64]:
    """A stretch of one endless row of random words.

    Parameters
    ----------
    seed : int
        What the user chose.
    stream : str
        Whose chance it is.
    first_word : int, 0 or more
        Where in the row the stretch begins.
    words : int, 0 or more
        How long it is.

    Returns
    -------
    ndarray of uint64 [words]
        Random bits; the same place in the row always holds the same word.

    Examples
    --------
    >>> row = words_at(0, "dither", first_word=0, words=10)
    >>> bool((words_at(0, "dither", first_word=7, words=3) == row[7:]).all())
    True
    """
    count, skipped = divmod(first_word, WORDS_PER_COUNT)
    philox = np.random.Philox(key=_key(seed, stream), counter=[count, 0, 0, 0])
    row: NDArray[np.uint64] = philox.random_raw(skipped + words)
    return row[skipped:]


def bytes_at(seed: int, stream: str, *, first_word: int, words: int) -> NDArray[np.uint8]:
    """The same stretch in pieces of 8 bits.

    Parameters
    ----------
    seed : int
        What the user chose.
    stream : str
        Whose chance it is.
    first_word : int, 0 or more
        Where in the row the stretch begins.
    words : int, 0 or more
        How long it is.

    Returns
    -------
    ndarray of uint8 [8 * words]
        Random bits; eight pieces to a word, the lowest first on every machine.

    Examples
    --------
    >>> word = words_at(0, "noise", first_word=7, words=1)
    >>> int(bytes_at(0, "noise", first_word=7, words=1)[0]) == int(word[0]) % 256
    True
    """
    row = words_at(seed, stream, first_word=first_word, words=words)
    return row.astype("<u8", copy=False).view(np.uint8)
