"""Signals to play through a real stage, named by what they are for."""

from stagefx.bench.signals.plan import RATES_HZ, USUAL_RATE_HZ, signal_named, test_signals
from stagefx.bench.signals.signal import TestSignal
from stagefx.bench.signals.writing import write_signals

__all__ = [
    "RATES_HZ",
    "USUAL_RATE_HZ",
    "TestSignal",
    "signal_named",
    "test_signals",
    "write_signals",
]
