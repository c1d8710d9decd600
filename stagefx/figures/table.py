"""All figures of a stage on paper."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from stagefx.circuit.circuit import Circuit, nominal
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.knob import ASSUMED_PROGRAMME_DB, set_knob
from stagefx.circuit.response import Response
from stagefx.figures.dc import DIRECT
from stagefx.figures.definition import Definition, Missing, Working
from stagefx.figures.faults import Fault, faults_of
from stagefx.figures.headroom import HEADROOM
from stagefx.figures.level import LEVEL
from stagefx.figures.listening import LISTENING
from stagefx.figures.noise import NOISE
from stagefx.figures.ranges import ranges, response_band
from stagefx.figures.response import RESPONSE
from stagefx.figures.spread import Spread, draw
from stagefx.figures.stability import STABILITY
from stagefx.figures.supply import SUPPLY
from stagefx.io.tables import cell, html_table

DEFINITIONS: tuple[Definition, ...] = (
    *LEVEL,
    *LISTENING,
    *RESPONSE,
    *HEADROOM,
    *STABILITY,
    *NOISE,
    *SUPPLY,
    *DIRECT,
)
GROUPS = ("level", "loading", "response", "speed", "stability", "headroom", "noise", "supply", "DC")
_RESPONSE_HZ = np.geomspace(10.0, 100e3, 81)


@dataclass(frozen=True)
class Figure:
    """One figure on paper."""

    value: float | None
    unit: str
    formula: str
    inputs: tuple[str, ...]
    reason: str = ""
    low: float | None = None
    high: float | None = None
    widest: str = ""
    widest_share: float | None = None


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
    faults : tuple of Fault
        What must be put right before sound is talked of.
    draws, seed : int
        Of the spread; no draws where none was worked out.
    response_band : tuple of (float, float, float)
        Hz, and the 5 % and 95 % ends of the response there, dB re 1 kHz; empty without a spread.
    """

    stage: Stage
    figures: dict[str, Figure]
    noise_budget: tuple[tuple[str, float, float], ...]
    response: tuple[tuple[float, float, float], ...]
    knob_position: float | None
    remarks: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()
    draws: int = 0
    seed: int = 0
    response_band: tuple[tuple[float, float, float], ...] = ()

    def _repr_html_(self) -> str:
        """The figures, as a notebook shows them."""
        return _as_html(self)

    def as_json(self) -> dict[str, Any]:
        """The result as plain values, ready for JSON.

        Returns
        -------
        dict
            Keys ``stage``, ``faults``, ``knob_position``, ``figures``, ``noise_budget``,
            ``response``, ``remarks``; with a spread ``spread`` and ``response_band``.
        """
        plain: dict[str, Any] = {
            "stage": self.stage.name,
            "faults": [asdict(fault) for fault in self.faults],
            "knob_position": self.knob_position,
            "figures": {key: _plain(figure) for key, figure in self.figures.items()},
            "noise_budget": [
                {"contributor": name, "v_rms_20k": volts, "share": share}
                for name, volts, share in self.noise_budget
            ],
            "response": [{"hz": hz, "db": db, "deg": deg} for hz, db, deg in self.response],
            "remarks": list(self.remarks),
        }
        if self.draws:
            plain["spread"] = {"draws": self.draws, "seed": self.seed}
            band = [{"hz": hz, "low_db": a, "high_db": b} for hz, a, b in self.response_band]
            plain["response_band"] = band
        return plain


def _as_html(found: Figures) -> str:
    """Faults first, then every figure that has a number."""
    meanings = {one.key: one.meaning for one in DEFINITIONS}
    rows = []
    for key, figure in found.figures.items():
        if figure.value is None:
            continue
        row = [meanings.get(key, key), key, cell(figure.value, figure.unit)]
        if found.draws:
            row.append(_range(figure.low, figure.high, figure.unit))
        rows.append(row)
    spread = ("5 to 95 %",) if found.draws else ()
    return html_table(
        f"{found.stage.name} on paper",
        rows,
        head=("figure", "key", "value", *spread),
        before=[f"{one.remark} {one.caution}" for one in found.faults],
        after=found.remarks,
    )


def _range(low: float | None, high: float | None, unit: str) -> str:
    return "" if low is None or high is None else f"{cell(low, unit)} to {cell(high, unit)}"


def _plain(figure: Figure) -> dict[str, Any]:
    plain: dict[str, Any] = {"value": figure.value, "low": figure.low, "high": figure.high}
    plain |= {"unit": figure.unit, "formula": figure.formula, "inputs": list(figure.inputs)}
    if figure.widest:
        plain |= {"widest": figure.widest, "widest_share": figure.widest_share}
    return plain | ({"reason": figure.reason} if figure.value is None else {})


def compute_figures(
    stage: Stage,
    *,
    listening_level_db: float = 85.0,
    programme_db: float = ASSUMED_PROGRAMME_DB,
    spread: int | None = None,
    seed: int = 0,
) -> Figures:
    """Work out on paper what a stage does.

    Parameters
    ----------
    stage : Stage
        Any stage.
    listening_level_db : float, dB SPL
        Level at the seat, for a stage whose knob is set by listening.
    programme_db : float, dB
        The programme's level re a full-scale sine on all its channels.
    spread : int, >= 20
        How many draws over part tolerances and device figures to take for ranges; none if left
        out.  The knob stays where the stage at its stated values puts it.
    seed : int, >= 0
        Of the draws.

    Returns
    -------
    Figures
        Every figure at the stage's knob position, at stated values and usual device figures.

    Raises
    ------
    StageError
        The stage cannot be worked out as described, or the spread is too small.

    Examples
    --------
    >>> from stagefx.circuit.description.files import stage_from
    >>> stage = stage_from({"source": {"resistance": "600 ohm"}, "load": {"resistance": "10 kohm"}})
    >>> round(compute_figures(stage).figures["gain_db"].value, 6)
    -0.506117
    """
    knob = set_knob(
        nominal(stage), listening_level_db=listening_level_db, programme_db=programme_db
    )
    working = Working(knob.circuit, programme_db=programme_db)
    worked = Figures(
        stage,
        {definition.key: _figure(definition, working) for definition in DEFINITIONS},
        _budget(working),
        response_curve(knob.circuit),
        knob.position,
        (knob.remark,) if knob.remark else (),
        faults_of(knob.circuit),
    )
    return (
        worked if spread is None else _with_ranges(worked, working, draw(stage, spread, seed=seed))
    )


def _with_ranges(worked: Figures, nominal_working: Working, spread: Spread) -> Figures:
    found = ranges(spread, DEFINITIONS, nominal_working)
    figures = {
        key: replace(figure, **vars(found[key])) if key in found else figure
        for key, figure in worked.figures.items()
    }
    band = response_band(spread, nominal_working.circuit, _RESPONSE_HZ)
    return replace(
        worked, figures=figures, draws=spread.draws, seed=spread.seed, response_band=band
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
    """The response from EMF to load, 10 Hz to 100 kHz."""
    reference = Response(circuit, np.array([1000.0])).to_load[0, 0]
    if reference == 0.0:
        return ()
    curve = Response(circuit, _RESPONSE_HZ).to_load[0]
    upright = curve * np.sign(reference.real)
    levels = 20.0 * np.log10(np.abs(curve) / abs(reference))
    angles = np.degrees(np.unwrap(np.angle(upright)))
    rows = zip(_RESPONSE_HZ, levels, angles, strict=True)
    return tuple((float(hz), float(db), float(deg)) for hz, db, deg in rows)
