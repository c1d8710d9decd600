"""The steady part of a passage, as it was recorded."""

from __future__ import annotations

import math

from stagefx.bench.measure.sines import Stretch
from stagefx.bench.measure.synchronised import Synchronised
from stagefx.bench.signals.passages import Passage

SETTLE_S = 0.1
"""After the beginning of a tone, what coupling capacitors and filters make of it dies away."""
EARLY_S = 0.03
"""Before its end, for the fade."""
_WHOLE_FRAMES = 240
"""A length of whole multiples has no large factors, and is quick to transform."""


def steady(
    recording: Synchronised, passage: Passage, channel: int, *, most_s: float = math.inf
) -> Stretch:
    """The steady part of a passage."""
    begin = passage.start_s + SETTLE_S
    end = min(passage.start_s + passage.duration_s - EARLY_S, begin + most_s)
    times, samples = recording.stretch(begin, end, channel)
    kept = max(len(samples) - len(samples) % _WHOLE_FRAMES, 1)
    return Stretch(samples[:kept], times[:kept] - passage.start_s)
