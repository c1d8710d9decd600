"""Which test signal a played file is: by its name and its content."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from stagefx.bench.errors import MeasuringError
from stagefx.bench.signals.plan import RATES_HZ, test_signals
from stagefx.bench.signals.signal import TestSignal
from stagefx.io.recording import Recording

MOST_DIFFERENCE = 1e-4
"""Between a signal and a file of it: 16 bits with dither differ by less."""


def signal_played(played: Recording) -> TestSignal:
    """Which test signal a file is.

    Parameters
    ----------
    played : Recording
        A file that ``stagefx bench signals`` wrote, whatever it is called now.

    Returns
    -------
    TestSignal
        The signal.

    Raises
    ------
    MeasuringError
        It is none of them, or was changed.

    Examples
    --------
    >>> from stagefx.io.recording import HeldAudio
    >>> from stagefx.bench.signals.plan import signal_named
    >>> samples = signal_named("11-silence").samples()
    >>> signal_played(HeldAudio(samples, 48000)).name
    '11-silence'
    """
    form = played.format
    if form.rate_hz in RATES_HZ and form.channels == 2:
        name = Path(played.place).stem
        alike = [one for one in test_signals(form.rate_hz) if one.frames == form.frames]
        samples = played.read(0, form.frames) if alike else np.zeros((0, 2))
        for signal in sorted(alike, key=lambda one: one.name != name):
            if float(np.abs(samples - signal.samples()).max()) <= MOST_DIFFERENCE:
                return signal
    raise MeasuringError(
        f"{played.place} is no test signal, or was changed; give the file as 'stagefx bench "
        "signals' wrote it, and play that very file"
    )
