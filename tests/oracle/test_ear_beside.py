"""An ear that hears the first version once finds what two ears find that hear it twice."""

from __future__ import annotations

import numpy as np
import pytest

from stagefx.hearing.ear.beside import EarBeside
from stagefx.hearing.ear.detection import EarPair
from stagefx.hearing.ear.masking import MaskMeter

RANDOM = np.random.default_rng(1)


@pytest.mark.parametrize("rate_hz", [44100, 48000])
def test_it_finds_what_both_find(rate_hz: int) -> None:
    """With a stretch in which only the remainder sounds: it is no sound of the pair's."""
    first = 0.1 * RANDOM.standard_normal((3 * rate_hz, 2))
    first[rate_hz : 2 * rate_hz] = 0.0
    second, remainder = 1.02 * first, 1e-4 * RANDOM.standard_normal(first.shape)
    both, pair, mask = (kind(rate_hz, 2, 100.0) for kind in (EarBeside, EarPair, MaskMeter))
    for start in range(0, len(first), 50_000):
        part = slice(start, start + 50_000)
        both.add(first[part], second[part], remainder[part])
        pair.add(first[part], second[part])
        mask.add(first[part], remainder[part])
    heard, rest = both.account()
    assert heard.as_json() == pair.account().as_json()
    assert rest == mask.account()
    assert rest.noise_to_mask_db is not None
    assert heard.detection_probability is not None
    assert heard.detection_probability > 0.0
