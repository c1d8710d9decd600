"""What readings came to: the stage, the figures with their uncertainties, and the remarks."""

from __future__ import annotations

import math
import textwrap
from dataclasses import dataclass
from typing import Any

import tomlkit
from tomlkit.items import Comment, Item, Trivia

from stagefx.bench.uncertainty import Measured
from stagefx.circuit.description.files import stage_as_toml
from stagefx.circuit.description.stage import Stage
from stagefx.units import show


@dataclass(frozen=True)
class Found:
    """One figure that readings tell."""

    key: str
    measured: Measured
    unit: str
    part: str = ""
    note: str = ""

    @property
    def value(self) -> float:
        """The value alone."""
        return self.measured.value

    @property
    def uncertainty(self) -> float:
        """What unrelated errors of the readings come to."""
        return self.measured.uncertainty

    def __str__(self) -> str:
        """Value, uncertainty and unit, to the digits that mean something."""
        value, doubt = self.value, self.uncertainty
        if not math.isfinite(value) or not 0.0 < doubt < math.inf:
            return show(value, self.unit)
        largest = max(abs(value), doubt)
        thousands = math.floor(math.log10(largest) / 3.0 + 1e-12)
        thousands = min(max(thousands, -5), 3) if self.unit in _PREFIXED else 0
        scale = 1000.0**thousands
        decimals = max(0, 1 - math.floor(math.log10(doubt / scale)))
        unit = f"{_PREFIXES[thousands]}{self.unit}"
        shown = round(value / scale, decimals) + 0.0  # no minus before a nought
        return f"{shown:.{decimals}f} ± {doubt / scale:.{decimals}f} {unit}".rstrip()


_PREFIXED = frozenset({"ohm", "F", "Hz", "s", "A", "V/rtHz", "A/rtHz", "V", "V rms"})
_PREFIXES = {-5: "f", -4: "p", -3: "n", -2: "u", -1: "m", 0: "", 1: "k", 2: "M", 3: "G"}
_LINE = 96


@dataclass(frozen=True)
class Remark:
    """Something about the readings that the reader should know."""

    code: str
    sentence: str
    readings: tuple[int, ...] = ()


@dataclass(frozen=True)
class Checked:
    """One reading beside what the stage that was found gives."""

    reading: int
    of: str
    measured: Measured
    predicted: float
    unit: str

    @property
    def agrees(self) -> bool:
        """Whether the stage gives it within the reading's uncertainty."""
        slack = 1e-9 * max(abs(self.predicted), abs(self.measured.value))
        return self.measured.low - slack <= self.predicted <= self.measured.high + slack


@dataclass(frozen=True)
class BenchStage:
    """A stage found from readings."""

    stage: Stage
    figures: tuple[Found, ...]
    checks: tuple[Checked, ...]
    remarks: tuple[Remark, ...]

    def figure(self, key: str) -> Found:
        """One of the figures found."""
        for found in self.figures:
            if found.key == key:
                return found
        raise KeyError(key)

    def as_toml(self) -> str:
        """The stage as the text of a stage file, with comments."""
        document = tomlkit.parse(stage_as_toml(self.stage))
        for found in self.figures:
            table, _, key = found.part.partition(".")
            if key and table in document and key in document[table]:
                item: Item = document[table][key]
                item.comment(_comment(found))
        head = [f"From the readings of {_one_line(self.stage.name)}."]
        head += ["± is the uncertainty of the readings; it stands as the part's tolerance."]
        head += [f"{_numbers(r.readings)}{_one_line(r.sentence)}" for r in self.remarks]
        lines = [
            line for said in head for line in textwrap.wrap(said, _LINE, subsequent_indent="  ")
        ]
        for line in reversed(lines):
            document.body.insert(0, (None, Comment(Trivia(comment=f"# {line}"))))
        return tomlkit.dumps(document)

    def as_json(self) -> dict[str, Any]:
        """The result as plain values, ready for JSON."""
        return {
            "stage": self.stage.name,
            "figures": {found.key: _plain_figure(found) for found in self.figures},
            "readings": [
                {
                    "reading": check.reading,
                    "of": check.of,
                    "measured": check.measured.value,
                    "uncertainty": check.measured.half_range,
                    "predicted": check.predicted,
                    "unit": check.unit,
                    "agrees": check.agrees,
                }
                for check in self.checks
            ],
            "remarks": [
                {"code": r.code, "sentence": r.sentence, "readings": list(r.readings)}
                for r in self.remarks
            ],
        }


def _plain_figure(found: Found) -> dict[str, Any]:
    measured = found.measured
    return {
        "value": _finite(measured.value),
        "uncertainty": _finite(measured.uncertainty),
        "low": _finite(measured.low),
        "high": _finite(measured.high),
        "unit": found.unit,
        "assumed": measured.assumed,
        "readings": list(measured.readings),
        "part": found.part,
        "note": found.note,
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _comment(found: Found) -> str:
    said = f"{found}, {_numbers(found.measured.readings)}".rstrip(": ,")
    usual = "; usual uncertainty, none stated" if found.measured.assumed else ""
    return f"{said}{usual}{'; ' if found.note else ''}{found.note}"


def _numbers(readings: tuple[int, ...]) -> str:
    if not readings:
        return ""
    several = "s" if len(readings) > 1 else ""
    return f"reading{several} {', '.join(str(number) for number in readings)}: "


def _one_line(text: str) -> str:
    return " ".join(text.split())
