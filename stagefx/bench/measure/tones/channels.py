"""What one channel has of the other, and how alike they are."""

from __future__ import annotations

from stagefx.bench.measure.decibels import ratio_db
from stagefx.bench.measure.rows import Balance, Crosstalk
from stagefx.bench.measure.synchronised import Synchronised
from stagefx.bench.measure.tones.steady import steady
from stagefx.bench.signals.passages import Tones


def crosstalk_of(recording: Synchronised, tone: Tones) -> Crosstalk:
    """How much of a tone in one channel comes out of the other.

    Parameters
    ----------
    recording : Synchronised
        On the signal's clock, of two channels.
    tone : Tones
        A tone that is played in one channel alone.

    Returns
    -------
    Crosstalk
        The silent channel re the driven one.

    Examples
    --------
    >>> from stagefx.io.recording import HeldAudio
    >>> from stagefx.bench.measure.synchronised import synchronise
    >>> from stagefx.bench.signals.plan import signal_named
    >>> signal = signal_named("12-left-only")
    >>> mixed = signal.samples() @ [[1.0, 0.001], [0.0, 1.0]]
    >>> found = synchronise(signal, HeldAudio(mixed, 48000))
    >>> round(crosstalk_of(found, signal.tones()[4]).db, 2)
    -60.0
    """
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
    """How much louder the right channel is.

    Parameters
    ----------
    recording : Synchronised
        On the signal's clock, of two channels.
    tone : Tones
        A tone that is played in both.

    Returns
    -------
    Balance
        Right re left.

    Examples
    --------
    >>> from stagefx.io.recording import HeldAudio
    >>> from stagefx.bench.measure.synchronised import synchronise
    >>> from stagefx.bench.signals.plan import signal_named
    >>> signal = signal_named("01-level-1khz")
    >>> found = synchronise(signal, HeldAudio(signal.samples() * [1.0, 0.5], 48000))
    >>> round(balance_of(found, signal.tones()[0]).db, 3)
    -6.021
    """
    left, right = (steady(recording, tone, channel) for channel in (0, 1))
    hz = tone.hz[0] * left.faster(tone.hz[0])
    return Balance(tone.hz[0], ratio_db(abs(right.amplitude(hz)), abs(left.amplitude(hz))))
