"""A converted piece is the same however it is handed over."""

from __future__ import annotations

import numpy as np
import pytest

from stagefx.dsp.resampling import Quality, RateConverter, resample

PIECE = np.random.default_rng(5).uniform(-0.5, 0.5, (20_011, 2))


@pytest.mark.parametrize("block", [1, 997, 4096, 50_000])
@pytest.mark.parametrize(("from_hz", "to_hz"), [(44100, 48000), (96000, 44100)])
@pytest.mark.parametrize("quality", ["HQ", "VHQ"])
def test_blocks_of_any_length_give_what_the_whole_gives(
    quality: Quality, from_hz: int, to_hz: int, block: int
) -> None:
    converter = RateConverter(from_hz, to_hz, 2, quality=quality)
    parts = [
        converter.through(PIECE[start : start + block]) for start in range(0, len(PIECE), block)
    ]
    parts.append(converter.through(np.zeros((0, 2)), last=True))
    assert np.array_equal(np.concatenate(parts), resample(PIECE, from_hz, to_hz, quality=quality))
