"""The whole measurement: what was played, what was recorded, and how far the instrument sees."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from stagefx.bench.errors import MeasuringError
from stagefx.bench.measure.analysis import measure_signal
from stagefx.bench.measure.measurement import Measurement, with_floor
from stagefx.bench.signals.plan import RATES_HZ, test_signals
from stagefx.bench.signals.signal import TestSignal
from stagefx.io.recording import Recording

_MOST_DIFFERENCE = 1e-4
"""Between a signal and a file of it: 16 bits with dither differ by less."""


def _signal_played(played: Recording) -> TestSignal:
    """Which test signal a file is, by its name and its content, whatever it is called now."""
    form = played.format
    if form.rate_hz in RATES_HZ and form.channels == 2:
        name = Path(played.place).stem
        alike = [one for one in test_signals(form.rate_hz) if one.frames == form.frames]
        samples = played.read(0, form.frames) if alike else np.zeros((0, 2))
        for signal in sorted(alike, key=lambda one: one.name != name):
            if float(np.abs(samples - signal.samples()).max()) <= _MOST_DIFFERENCE:
                return signal
    raise MeasuringError(
        f"{played.place} is no test signal, or was changed; give the file as 'stagefx bench "
        "signals' wrote it, and play that very file"
    )


def measure(
    played: Recording,
    captured: Recording,
    *,
    channel: int = 0,
    played_full_scale_v: float | None = None,
    captured_full_scale_v: float | None = None,
    loopback: Recording | None = None,
    repeat: Recording | None = None,
) -> Measurement:
    """What a recording of a test signal says of the stage between."""
    for volts in (played_full_scale_v, captured_full_scale_v):
        if volts is not None and not 0.0 < volts < 1e4:
            raise MeasuringError(
                f"full scale of {volts:g} V cannot be; give the rms volts of a full-scale sine"
            )
    signal = _signal_played(played)

    def tell(recording: Recording) -> Measurement:
        return measure_signal(
            signal,
            recording,
            channel=channel,
            played_full_scale_v=played_full_scale_v,
            captured_full_scale_v=captured_full_scale_v,
        )

    found = tell(captured)
    return with_floor(
        found,
        loopback=None if loopback is None else tell(loopback),
        repeat=None if repeat is None else tell(repeat),
    )
