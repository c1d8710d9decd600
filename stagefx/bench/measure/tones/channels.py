"""What one channel has of the other, and how alike they are."""

from __future__ import annotations

from stagefx.bench.measure.decibels import ratio_db
from stagefx.bench.measure.rows import Balance, Crosstalk
from stagefx.bench.measure.synchronised import Synchronised
from stagefx.bench.measure.tones.steady import steady
from stagefx.bench.signals.passages import Tones


def crosstalk_of(recording: Synchronised, tone: Tones) -> Crosstalk:
    """How much of a tone in one channel comes out of the other."""
    driven = 0 if tone.gains[0] else 1
    part = steady(recording, tone, driven)
    hz = tone.hz[0] * part.faster(tone.hz[0])
    other = steady(recording, tone, 1 - driven)
    reference = abs(part.amplitude(hz))
    return Crosstalk(
        hz=tone.hz[0],
        driven=("left", "right")[driven],
        db=ratio_db(abs(other.amplitude(hz)), reference),
        floor_db=ratio_db(other.noise_peak(hz), reference),
    )


def balance_of(recording: Synchronised, tone: Tones) -> Balance:
    """How much louder the right channel is."""
    left, right = (steady(recording, tone, channel) for channel in (0, 1))
    hz = tone.hz[0] * left.faster(tone.hz[0])
    return Balance(tone.hz[0], ratio_db(abs(right.amplitude(hz)), abs(left.amplitude(hz))))
