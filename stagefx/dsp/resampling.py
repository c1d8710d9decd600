"""Audio at another sampling rate: the one place where a rate is merely converted."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Quality = Literal["HQ", "VHQ"]
"""Of the converter: 20 bits, enough for an ear; 28 bits, where differences are looked for."""


class RateConverter:
    """Converts audio that comes in blocks; streamed or at once, the samples are the same."""

    def __init__(
        self, from_hz: float, to_hz: float, channels: int, *, quality: Quality = "VHQ"
    ) -> None:
        import soxr

        self._channels = channels
        self._stream = soxr.ResampleStream(
            from_hz, to_hz, channels, dtype="float64", quality=quality
        )

    def through(self, block: Array, *, last: bool = False) -> Array:
        """What is ready after one more block [frames, channels]; all that is left at the last."""
        made = self._stream.resample_chunk(block, last=last)
        return np.asarray(made, np.float64).reshape(-1, self._channels)


def resample(samples: Array, from_hz: float, to_hz: float, *, quality: Quality = "VHQ") -> Array:
    """Audio [frames] or [frames, channels] at another sampling rate, of the same duration."""
    import soxr

    return np.asarray(soxr.resample(samples, from_hz, to_hz, quality), np.float64)
