"""Numbers as people read them: engineering prefixes, sensible digits, sizes in everyday terms."""

from __future__ import annotations

import math

from stagefx.units import UNITS, show

SINE_VOLTS = {"V rms": "rms", "V peak": "peak", "V pp": "p-p", "V p-p": "p-p"}
LEVELS = frozenset({"dB", "dBA", "dB SPL", "LUFS", "dBTP"})


def amount(value: float, unit: str) -> str:
    """A value with its unit, in as many digits as a reader can use."""
    if not math.isfinite(value):
        return "infinite" if value > 0 else "none"
    if unit in LEVELS:
        return f"{_level(value)} {unit}"
    if unit == "Hz" and 0.0 < abs(value) < 1.0:
        return f"{value:.2g} Hz"
    if unit in SINE_VOLTS:
        return f"{show(value, 'V', digits=3)} {SINE_VOLTS[unit]}"
    if unit in {"%", "percent"}:
        return f"{value:.2g} %"
    if unit == "deg":
        return f"{value if abs(value) >= 0.05 else 0.0:.1f} deg"
    if unit in UNITS:
        return show(value, unit, digits=3)
    return f"{value:.3g} {unit}".rstrip()


def _level(value: float) -> str:
    decimals = 1 if abs(value) >= 9.995 else 2 if abs(value) >= 0.005 else 3
    text = f"{value:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0.0 else text


def clock(seconds: float) -> str:
    """A moment of a piece of music as players show it, to a tenth of a second."""
    tenths = round(10.0 * seconds)
    minutes, rest = divmod(tenths, 600)
    hours, minutes = divmod(minutes, 60)
    front = f"{hours}:{minutes:02d}" if hours else f"{minutes}"
    return f"{front}:{rest / 10.0:04.1f}"


def times(factor: float) -> str:
    """How many times something fits, in words and digits."""
    if factor >= 1e4:
        return "more than 10,000 times"
    if factor >= 10.0:
        return f"{float(f'{factor:.2g}'):,.0f} times"
    return f"{factor:.2g} times"
