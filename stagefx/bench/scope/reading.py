"""What a scope's trace told: the kind of wave, its figures with uncertainties, its edges."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

from stagefx.bench.readings.report import Found
from stagefx.bench.scope.tables import Trace

Kind = Literal["square", "step", "sine", "clipped sine", "triangle"]
Told = Literal["slewing", "bandwidth", "too fast"]


@dataclass(frozen=True)
class Edge:
    """One edge of a square wave or step."""

    at_s: float
    step_v: float
    rise_time_s: float
    rise_time_doubt_s: float
    told: Told
    steepest_v_per_s: float
    slew_v_per_s: float | None
    slew_doubt_v_per_s: float
    misfit_v: float

    @property
    def rises(self) -> bool:
        """Whether it goes up."""
        return self.step_v > 0.0


@dataclass(frozen=True)
class ScopeReading:
    """What a trace tells of a stage."""

    kind: Kind
    figures: tuple[Found, ...]
    edges: tuple[Edge, ...]
    remarks: tuple[str, ...]
    trace: Trace

    def figure(self, key: str) -> Found:
        """One of the figures."""
        for found in self.figures:
            if found.key == key:
                return found
        raise KeyError(key)

    def as_json(self) -> dict[str, Any]:
        """The result as plain values, ready for JSON."""
        return {
            "kind": self.kind,
            "figures": {
                one.key: {
                    "value": one.value if math.isfinite(one.value) else None,
                    "uncertainty": one.uncertainty if math.isfinite(one.uncertainty) else None,
                    "unit": one.unit,
                    "note": one.note,
                }
                for one in self.figures
            },
            "remarks": list(self.remarks),
            "trace": {
                "points": int(self.trace.volts.size),
                "interval_s": self.trace.interval_s,
                "step_v": self.trace.step_v,
            },
        }
