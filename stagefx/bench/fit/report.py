"""What a fit came to: the stage, each figure with its uncertainty, each number before and after."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

import tomlkit
from tomlkit.items import Item

from stagefx.bench.uncertainty import rounded
from stagefx.circuit.description.files import stage_as_toml
from stagefx.circuit.description.stage import Stage
from stagefx.units import UNITS, Quantity, show

State = Literal["determined", "others held", "not told apart", "not seen"]
NOT_OF_THE_STAGE = frozenset({"volume.position"})
"""What says how it was measured, and not what it is."""


@dataclass(frozen=True)
class FittedFigure:
    """One free figure of a stage."""

    key: str
    index: int
    unit: str
    before: float | None
    value: float | None
    doubt: float
    state: State
    others: tuple[str, ...] = ()
    at_least: float | None = None

    @property
    def changes(self) -> bool:
        """Whether it differs from what the stage said by more than its standard error."""
        return self.value is not None and not abs(self.value - (self.before or 0.0)) <= self.doubt

    @property
    def tolerance(self) -> float | None:
        """Twice the standard error over the value, as a tolerance in a stage file."""
        if self.value is None or self.value <= 0.0 or self.unit == "dB":
            return None
        share = 2.0 * self.doubt / self.value
        return float(f"{share:.2g}") if 0.0005 < share <= 1.0 else None


@dataclass(frozen=True)
class Row:
    """One measured number beside what the stage gave and gives."""

    kind: str
    hz: float | None
    load_ohm: float | None
    measured: float
    doubt: float
    before: float
    after: float
    unit: str
    at_least: bool = False

    @property
    def agrees(self) -> bool:
        """Whether the fitted stage gives it within twice its uncertainty."""
        if self.at_least:
            return self.after >= self.measured - 2.0 * self.doubt
        return abs(self.after - self.measured) <= 2.0 * self.doubt


@dataclass(frozen=True)
class FittedStage:
    """A stage adjusted to measurements."""

    before: Stage
    stage: Stage
    figures: tuple[FittedFigure, ...]
    rows: tuple[Row, ...]
    remarks: tuple[str, ...] = ()

    def figure(self, key: str) -> FittedFigure:
        """One of the figures."""
        for one in self.figures:
            if one.key == key:
                return one
        raise KeyError(key)

    @property
    def adjusted(self) -> Stage:
        """The stage as described, with what was determined and differs, rounded."""
        stage = self.before
        fitted = [one for one in self.figures if one.value is not None]
        if any(one.key == "amplifier.harmonics" for one in fitted):
            assert stage.amplifier is not None
            assert self.stage.amplifier is not None
            curve = {key: getattr(self.stage.amplifier, key) for key in _CURVE}
            curve["harmonics"] = tuple(
                Quantity(round(one.value, 1)) for one in curve["harmonics"] or ()
            )
            amplifier = stage.amplifier.model_copy(update=curve)
            stage = stage.model_copy(update={"amplifier": amplifier})
        for one in fitted:
            if one.changes and one.key not in {*NOT_OF_THE_STAGE, "amplifier.harmonics"}:
                stage = _put(stage, one)
        return stage

    def as_toml(self, *, like: str = "") -> str:
        """The fitted stage as the text of a stage file."""
        document = tomlkit.parse(stage_as_toml(self.adjusted, like=like))
        for one in self.figures:
            table, _, key = one.key.partition(".")
            if one.key in NOT_OF_THE_STAGE or one.index > 0 or not _written(one):
                continue
            item: Item = document[table][key]
            said = item.trivia.comment.lstrip("# ")
            item.comment(f"{said}; {_comment(one)}" if said else _comment(one))
        return tomlkit.dumps(document)

    def as_json(self) -> dict[str, Any]:
        """The result as plain values."""
        return {
            "stage": self.stage.name,
            "figures": [
                {
                    "key": one.key,
                    "index": one.index,
                    "unit": one.unit,
                    "before": one.before,
                    "value": one.value,
                    "standard_error": None if math.isnan(one.doubt) else one.doubt,
                    "state": one.state,
                    "not_told_apart_from": list(one.others),
                    "at_least": one.at_least,
                }
                for one in self.figures
            ],
            "numbers": [
                {
                    "kind": row.kind,
                    "hz": row.hz,
                    "load_ohm": row.load_ohm,
                    "measured": row.measured,
                    "uncertainty": row.doubt,
                    "before": _finite(row.before),
                    "fitted": _finite(row.after),
                    "unit": row.unit,
                    "at_least": row.at_least,
                    "agrees": row.agrees,
                }
                for row in self.rows
            ],
            "remarks": list(self.remarks),
        }


_CURVE = ("harmonics", "harmonics_level")


def _written(one: FittedFigure) -> bool:
    return one.changes or (one.key == "amplifier.harmonics" and one.value is not None)


def _put(stage: Stage, one: FittedFigure) -> Stage:
    from stagefx.bench.fit.parts import Part

    assert one.value is not None
    part = Part(one.key, one.value, 1.0, one.unit)
    return part.put(stage, rounded(one.value, one.doubt), one.tolerance)


def _comment(one: FittedFigure) -> str:
    if one.key == "amplifier.harmonics":
        return "fitted"
    was = "stated nowhere" if one.before is None else f"was {_shown(one.before, one.unit)}"
    return f"fitted; {was}"


def _shown(value: float, unit: str) -> str:
    return show(value, unit) if unit in UNITS else f"{value:.4g}"


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
