"""All figures of a stage on paper."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from stagefx.stage.circuit import Circuit, nominal
from stagefx.stage.description import Stage
from stagefx.stage.figures.definition import Definition, Missing, Working
from stagefx.stage.figures.headroom import HEADROOM
from stagefx.stage.figures.level import LEVEL
from stagefx.stage.figures.noise import NOISE
from stagefx.stage.figures.response import RESPONSE
from stagefx.stage.knob import set_knob
from stagefx.stage.response import Response

DEFINITIONS: tuple[Definition, ...] = (*LEVEL, *RESPONSE, *HEADROOM, *NOISE)
GROUPS = ("level", "loading", "response", "speed", "headroom", "noise", "supply", "DC")
_RESPONSE_HZ = np.geomspace(10.0, 100e3, 81)


@dataclass(frozen=True)
class Figure:
    """One figure on paper.

    Parameters
    ----------
    value : float or None
        In `unit`; None where there is no number.
    unit : str
        Unit of the value.
    formula : str
        How it was worked out.
    inputs : tuple of str
        Tables and keys of the stage file that enter most.
    reason : str
        Why there is no number; empty where there is one.
    low, high : float or None
        The 5 % and 95 % ends of its spread, where one was worked out.
    """

    value: float | None
    unit: str
    formula: str
    inputs: tuple[str, ...]
    reason: str = ""
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Figures:
    """What a stage does, on paper.

    Parameters
    ----------
    stage : Stage
        The stage.
    figures : dict of str to Figure
        By key, in the order in which they are printed.
    noise_budget : tuple of (str, float, float)
        Contributor, V rms over 20 kHz, share of the noise power; largest first.
    response : tuple of (float, float, float)
        Hz, dB re 1 kHz, degrees; EMF to load, polarity removed.
    knob_position : float or None, 0 to 1
        Where the knob stands.
    remarks : tuple of str
        What the reader should know.
    """

    stage: Stage
    figures: dict[str, Figure]
    noise_budget: tuple[tuple[str, float, float], ...]
    response: tuple[tuple[float, float, float], ...]
    knob_position: float | None
    remarks: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The result as plain values, ready for JSON.

        Returns
        -------
        dict
            Keys ``stage``, ``figures``, ``noise_budget``, ``response``, ``knob_position``.
        """
        return {
            "stage": self.stage.name,
            "knob_position": self.knob_position,
            "figures": {key: _plain(figure) for key, figure in self.figures.items()},
            "noise_budget": [
                {"contributor": name, "v_rms_20k": volts, "share": share}
                for name, volts, share in self.noise_budget
            ],
            "response": [{"hz": hz, "db": db, "deg": deg} for hz, db, deg in self.response],
            "remarks": list(self.remarks),
        }


def _plain(figure: Figure) -> dict[str, Any]:
    plain: dict[str, Any] = {"value": figure.value, "low": figure.low, "high": figure.high}
    plain |= {"unit": figure.unit, "formula": figure.formula, "inputs": list(figure.inputs)}
    return plain | ({"reason": figure.reason} if figure.value is None else {})


def work_out(stage: Stage, *, listening_level_db: float = 85.0) -> Figures:
    """Work out on paper what a stage does.

    Parameters
    ----------
    stage : Stage
        Any stage.
    listening_level_db : float, dB SPL
        Level at the seat, for a stage whose knob is set by listening.

    Returns
    -------
    Figures
        Every figure at the stage's knob position, at stated values and usual device figures.

    Raises
    ------
    StageError
        The stage cannot be worked out as described.

    Examples
    --------
    >>> from stagefx.stage import stage_from
    >>> stage = stage_from({"source": {"resistance": "600 ohm"}, "load": {"resistance": "10 kohm"}})
    >>> round(work_out(stage).figures["gain_db"].value, 6)
    -0.506117
    """
    knob = set_knob(nominal(stage), listening_level_db=listening_level_db)
    working = Working(knob.circuit)
    figures = {definition.key: _figure(definition, working) for definition in DEFINITIONS}
    return Figures(
        stage,
        figures,
        _budget(working),
        response_curve(knob.circuit),
        knob.position,
        (knob.remark,) if knob.remark else (),
    )


def _figure(definition: Definition, working: Working) -> Figure:
    worked = definition.work(working)
    if isinstance(worked, Missing):
        value, reason = None, worked.reason
    else:
        number = float(worked[0])
        finite = bool(np.isfinite(number))
        value = number if finite else None
        reason = "" if finite else "minus infinity" if number < 0 else "infinite"
    return Figure(value, definition.unit, definition.formula, definition.inputs, reason)


def _budget(working: Working) -> tuple[tuple[str, float, float], ...]:
    total = float(working.noise.total[0]) ** 2
    rows = [(name, float(volts[0])) for name, volts in working.noise.contributors.items()]
    shares = [(name, v, v * v / total if total > 0.0 else 0.0) for name, v in rows]
    return tuple(sorted(shares, key=lambda row: -row[1]))


def response_curve(circuit: Circuit) -> tuple[tuple[float, float, float], ...]:
    """The response from EMF to load, 10 Hz to 100 kHz.

    Parameters
    ----------
    circuit : Circuit
        Any circuit; its first draw is used.

    Returns
    -------
    tuple of (float, float, float)
        Hz, dB re 1 kHz, degrees with polarity removed.

    Examples
    --------
    >>> from stagefx.stage import load_stage, nominal
    >>> response_curve(nominal(load_stage("wire")))[0][1]
    0.0
    """
    reference = Response(circuit, np.array([1000.0])).to_load[0, 0]
    if reference == 0.0:
        return ()
    curve = Response(circuit, _RESPONSE_HZ).to_load[0]
    upright = curve * np.sign(reference.real)
    levels = 20.0 * np.log10(np.abs(curve) / abs(reference))
    angles = np.degrees(np.unwrap(np.angle(upright)))
    rows = zip(_RESPONSE_HZ, levels, angles, strict=True)
    return tuple((float(hz), float(db), float(deg)) for hz, db, deg in rows)
