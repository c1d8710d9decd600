"""Rounding to an integer format so that what is lost is plain noise, never distortion.

Triangular dither of ±1 step makes mean and power of the error independent of the music: the
error's power is a third of it rounding, LSB²/12, and the rest dither, LSB²/6, together LSB²/4.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagefx.dsp.blocks import as_block
from stagefx.dsp.random_numbers import words_at

_HALVES_PER_WORD = 4
_HALVES_PER_SAMPLE = 2


@dataclass(frozen=True)
class Quantised:
    """Audio in whole steps of an integer format."""

    codes: NDArray[np.int32]
    overs: int


def quantise(
    block: NDArray[np.float64],
    *,
    bits: int,
    first_frame: int,
    seed: int = 0,
    stream: int = 0,
    dither: bool = True,
) -> Quantised:
    """Round audio to an integer format, with triangular dither of ±1 step.

    ``code = floor(x · 2^(bits - 1) + d + 1/2)``, d the difference of two even draws from [0, 1)

    The residual is `dither_floor_dbfs`.  A frame gets the same dither whatever the block it
    comes in.  The draws have 16 bits, so that the dither's own steps lie 96 dB below one step.

    S. P. Lipshitz, R. A. Wannamaker, J. Vanderkooy, "Quantization and Dither: A Theoretical
    Survey", J. Audio Eng. Soc. 40 (5), 1992: why triangular, and why ±1 step.
    """
    from stagefx.kernels.dither import round_to_steps

    block = as_block(block)
    codes = np.empty(block.shape, dtype=np.int32)
    if dither:
        halves = _draws(seed, stream, block.shape[1] * first_frame, block.size)
    else:
        halves = np.empty(0, dtype=np.uint16)
    overs = round_to_steps(block.reshape(-1), halves, 2.0 ** (bits - 1), codes.reshape(-1))
    return Quantised(codes, int(overs))


def _draws(seed: int, stream: int, first_sample: int, samples: int) -> NDArray[np.uint16]:
    samples_per_word = _HALVES_PER_WORD // _HALVES_PER_SAMPLE
    first_word, skipped = divmod(first_sample, samples_per_word)
    words = words_at(
        seed,
        f"dither {stream}",
        first_word=first_word,
        words=-(-(skipped + samples) // samples_per_word),
    )
    # Little-endian on every machine, so that the same half goes to the same sample.
    halves = words.astype("<u8", copy=False).view("<u2").astype(np.uint16, copy=False)
    return halves[_HALVES_PER_SAMPLE * skipped : _HALVES_PER_SAMPLE * (skipped + samples)]


def dither_floor_dbfs(bits: int) -> float:
    """The level of rounding and dither together, from 0 Hz to half the rate.

    ``20 log10( (LSB / 2) / (1 / √2) )``, LSB = 2^(1 - bits)
    """
    return 20.0 * math.log10(2.0**-bits * math.sqrt(2.0))
