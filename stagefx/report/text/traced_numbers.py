"""Sentences that remember which numbers they hold, and where each stands in the JSON."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from stagefx.dsp.bands import nominal_hz
from stagefx.hearing.audibility import AudibilityRow
from stagefx.hearing.grades import Grade
from stagefx.hearing.thresholds import limits
from stagefx.hearing.wording import HIDDEN_BY, decibels, in_control_steps, quantity, subject
from stagefx.report.text.numbers import amount


@dataclass(frozen=True)
class Number:
    """One number in a sentence."""

    said: str
    value: float | str
    unit: str
    at: str

    def as_json(self) -> dict[str, Any]:
        """The number as plain values."""
        return dict(vars(self))


@dataclass(frozen=True)
class Paragraph:
    """A text and the numbers in it."""

    text: str
    numbers: tuple[Number, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The paragraph as plain values."""
        return {"text": self.text, "numbers": [number.as_json() for number in self.numbers]}


@dataclass
class Telling:
    """Numbers as they are told, one after the other."""

    numbers: list[Number] = field(default_factory=list)

    def tell(self, said: str, value: float | str, unit: str, at: str) -> str:
        """Note a number, and give back what is said of it."""
        self.numbers.append(Number(said, value, unit, at))
        return said

    def paragraph(self, sentences: Iterable[str]) -> Paragraph:
        """The sentences told, as one paragraph with its numbers."""
        text = " ".join(one for one in sentences if one)
        return Paragraph(text, tuple(self.numbers))


def tell_row(telling: Telling, row: AudibilityRow, at: str, *, everyday: bool = True) -> str:
    """What a judged row found, as a clause: everyday terms first, then the number."""
    assert row.value is not None
    name = subject(row.name)
    if row.grade is Grade.BELOW:
        return f"{name} does not change by anything that could be measured"
    if row.sentence:
        said = row.sentence[0].lower() + row.sentence[1:].removesuffix(".")
        return telling.tell(said, row.sentence, "", f"{at}/sentence")
    value_at = f"{at}/value"
    if limits()[row.name].scale == "probability":
        chance = telling.tell(quantity(row.value, ""), row.value, "", value_at)
        return f"{name} would notice the difference with {chance}"
    where = ""
    if row.at_hz is not None:
        where = f" at {telling.tell(_frequency(row.at_hz), row.at_hz, 'Hz', f'{at}/at_hz')}"
    if row.name in HIDDEN_BY:
        side = "above" if row.value >= 0.0 else "below"
        size = telling.tell(decibels(abs(row.value)), row.value, "dB", value_at)
        added = _ADDED.get(row.name, "")
        return f"{name}{added} is {size} {side} {HIDDEN_BY[row.name]}{where}"
    if limits()[row.name].scale == "level":
        size = telling.tell(decibels(row.value), row.value, "dB", value_at)
        return f"{name} that one version has and the other has not lies at {size}{where}"
    goes = {"up": "rises", "down": "falls"}.get(row.direction, "changes")
    size = telling.tell(quantity(row.value, row.unit), row.value, row.unit, value_at)
    if row.unit != "dB":
        return f"{name} changes by {size}{where}"
    if not everyday:
        return f"{name} {goes} by {size}{where}"
    steps = telling.tell(in_control_steps(row.value), row.value / 0.5, "steps of 0.5 dB", value_at)
    return f"{name} {goes} by {steps} ({size}{where})"


_ADDED = {"noise": " that one version adds", "hum": " that one version adds"}


def _frequency(hz: float) -> str:
    """A third octave by its nominal frequency, any other as it is."""
    tenths = 10.0 * math.log10(hz)
    return nominal_hz(hz) if abs(tenths - round(tenths)) < 1e-6 else amount(hz, "Hz")
