"""Sizes in everyday terms, then the number."""

from __future__ import annotations

from stagefx.dsp.bands import nominal_hz
from stagefx.hearing.audibility import AudibilityRow
from stagefx.hearing.thresholds import limits

CONTROL_STEP_DB = 0.5
"""The smallest step of a typical volume control (common practice)."""

_SUBJECTS = {
    "level": "the level",
    "balance": "the balance between the channels",
    "low end": "the low end",
    "middle": "the middle",
    "high end": "the high end",
    "edits": "the longest edit",
    "exchange": "the exchange of the channels",
    "wow": "wow and flutter",
    "events": "the loudest event",
    "remainder": "the distortion and noise residual",
    "ear model": "the ear model",
    "harmonics": "the strongest harmonic",
}
HIDDEN_BY = {
    "events": "masking",
    "remainder": "masking",
    "noise": "the threshold of hearing and the room",
    "hum": "the threshold of hearing and the room",
}
"""What a level is told over, or under."""
_FINEST_DB = 0.001
_SURE = 0.99


def subject(name: str) -> str:
    """A row's name as the subject of a sentence."""
    return _SUBJECTS.get(name, f"the {name}")


def decibels(value: float) -> str:
    """A size in decibels, in as many digits as a reader can use."""
    if 0.0 < abs(value) < _FINEST_DB:
        return f"less than {_FINEST_DB} dB"
    digits = 3 if abs(value) < 0.1 else 2 if abs(value) < 1.0 else 1
    return f"{value:.{digits}f} dB" if value else "0 dB"


def quantity(value: float, unit: str) -> str:
    """A value of a row or of its limit, with its unit."""
    if unit == "dB":
        return decibels(value)
    if unit:
        return f"{value:.2g} {unit}"
    if value > _SURE:
        return f"a probability of more than {_SURE}"
    return f"a probability of {value:.2g}"


def probability(value: float) -> str:
    """A probability for a table: never sure, never nothing."""
    if value > _SURE:
        return f"> {_SURE}"
    return f"{value:.2f}" if value >= 1.0 - _SURE else f"< {1.0 - _SURE:.2f}"


def in_control_steps(size_db: float) -> str:
    """A change of level beside the smallest step of a typical volume control."""
    steps = size_db / CONTROL_STEP_DB
    if steps >= 2.5:
        many = f"about {steps:.0f} times"
    elif steps >= 1.5:
        many = "about twice"
    elif steps >= 0.75:
        many = "about"
    elif steps >= 0.4:
        many = "about half"
    elif steps >= 0.0105:
        many = f"about 1/{1.0 / steps:.0f} of"
    else:
        many = "less than a hundredth of"
    return f"{many} the smallest step of a typical volume control"


def factor(ratio: float) -> str:
    """How many times something fits."""
    if ratio > 1e4:
        return "more than 10,000 times"
    if ratio >= 100.0:
        return f"{float(f'{ratio:.2g}'):,.0f} times"
    return f"{ratio:.0f} times" if ratio >= 10.0 else f"{ratio:.1f} times"


def size_of(row: AudibilityRow) -> str:
    """What a judged row found, as a size."""
    assert row.value is not None
    where = "" if row.at_hz is None else f" at {nominal_hz(row.at_hz)}"
    scale = limits()[row.name].scale
    if row.name in HIDDEN_BY:
        side = "above" if row.value >= 0.0 else "below"
        return f"{decibels(abs(row.value))} {side} {HIDDEN_BY[row.name]}{where}"
    if scale == "probability":
        return f"it would notice the difference with {quantity(row.value, '')}"
    if scale == "level" or row.unit != "dB":
        return f"{quantity(row.value, row.unit)}{where}"
    way = f" {row.direction}" if row.direction else ""
    return f"{in_control_steps(row.value)} ({decibels(row.value)}{way}{where})"


def distance_of(row: AudibilityRow) -> str:
    """How far a judged row is from where it may be heard."""
    assert row.value is not None
    scale = limits()[row.name].scale
    if scale == "level":
        return decibels(row.may - row.value)
    if scale == "probability":
        return f"by {row.may - row.value:.2f}"
    return factor(row.may / row.value) if row.value else "any number of times"
