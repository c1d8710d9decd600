"""Factors that slips of the pen and of the probe make."""

from __future__ import annotations

import math

_SLIPS = (
    (10.0, "a factor of ten (20 dB) apart: is it a probe that the instrument was not told of"),
    (
        2.0 * math.sqrt(2.0),
        "a factor of 2.828 (9.03 dB) apart: is one peak-to-peak and the other rms",
    ),
    (math.sqrt(2.0), "a factor of 1.414 (3.01 dB) apart: is one peak and the other rms"),
    (2.0, "a factor of two (6.02 dB) apart: is one peak-to-peak and the other peak"),
)
CODES = ("factor-of-ten", "peak-to-peak-for-rms", "peak-for-rms", "peak-to-peak-for-peak")


def slip_code(ratio: float, *, within: float = 0.03) -> str:
    """Which slip a ratio looks like."""
    if ratio <= 0.0 or not math.isfinite(ratio):
        return ""
    for (factor, _), code in zip(_SLIPS, CODES, strict=True):
        if abs(abs(math.log(ratio)) - math.log(factor)) < within:
            return code
    return ""


def slip(ratio: float, *, within: float = 0.03) -> str:
    """What slip a ratio looks like, in words."""
    code = slip_code(ratio, within=within)
    return f"they are {_SLIPS[CODES.index(code)][1]}?" if code else ""
