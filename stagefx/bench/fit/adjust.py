"""Least squares: the free figures of a stage, moved until it gives on paper what was measured."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stagefx.bench.errors import MeasuringError
from stagefx.bench.fit.determined import Determined, determined, freed
from stagefx.bench.fit.paper import predicted
from stagefx.bench.fit.parts import Part, free_parts
from stagefx.bench.fit.report import FittedFigure, FittedStage, Row, State
from stagefx.bench.fit.rounds import MOST_SHARE, Round, Seen, seen_in, slewless_hz
from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.response import Response

Array = NDArray[np.float64]

_STEP = 1e-4
_WELL = 0.05
_MISSED_SHARE = 0.1
_FURTHEST = 6.0
"""How many reaches a figure may move."""
_TRAVELS = np.linspace(0.02, 1.0, 99)


def fit_stage(stage: Stage, rounds: Sequence[Round]) -> FittedStage:
    """Adjust a stage's free figures to measurements.

    Parameters
    ----------
    stage : Stage
        Where to begin; what the measurements do not determine stays as it says.
    rounds : sequence of Round
        At least one; two loads are needed to tell an output resistance.

    Returns
    -------
    FittedStage
        The stage, each free figure with its uncertainty or why it is not known, and every
        measured number beside what the stage gave and gives.

    Raises
    ------
    MeasuringError
        Nothing was measured, or nothing of it can be adjusted.

    Notes
    -----
    Every figure has a reach, within which it lies before anything is measured: a factor of three
    for a device's, less for parts.  A figure is determined where the measurement narrows that to
    less than a third.  Of figures that cannot be told apart, the one that matters most is adjusted
    and the others are held.

    Examples
    --------
    >>> from stagefx.bench.measure.measurement import Measurement
    >>> from stagefx.bench.measure.rows import Level
    >>> from stagefx.circuit.description.files import load_stage
    >>> level = Level("01-level-1khz", 1000.0, -12.0, -12.0, 0.5, 2.1, 12.4)
    >>> one = Round(Measurement("bench measure", 48000, levels=(level,)), knob=1.0)
    >>> fitted = fit_stage(load_stage("line-stage"), [one])
    >>> [(f.key, f.state) for f in fitted.figures if f.state == "determined"]
    [('amplifier.gain_resistance', 'determined')]
    """
    if not rounds:
        raise MeasuringError("there is no measurement to fit to")
    sign = _gain_sign(stage)
    seen = [seen_in(one, gain_sign=sign) for one in rounds]
    widened, parts = free_parts(stage, rounds, seen)
    if not parts:
        raise MeasuringError(
            f"'{stage.name}' has no figure that a measurement could adjust; describe its amplifier "
            "or its parts first"
        )
    problem = _Problem(widened, parts, tuple(rounds), tuple(seen)).begun_at_knob()
    every = tuple(range(len(problem.parts)))
    first = problem.solved(every)
    found = determined(problem.jacobian(first, every))
    free = freed(problem.jacobian(first, every), found)
    last = problem.solved(free, begun=first)
    jacobian = problem.jacobian(last, every)
    found = determined(jacobian)
    return _reported(stage, problem, last, free, found, jacobian)


def _gain_sign(stage: Stage) -> float:
    gain = Response(nominal(stage), np.array([1000.0])).to_load[0, 0]
    return math.copysign(1.0, float(gain.real))


@dataclass(frozen=True)
class _Problem:
    """Which figures, which numbers, and how the one gives the other."""

    stage: Stage
    parts: tuple[Part, ...]
    rounds: tuple[Round, ...]
    seen: tuple[tuple[Seen, ...], ...]

    def begun_at_knob(self) -> _Problem:
        """The same, a knob whose place nobody read put where it gives the gain."""
        at = next((k for k, part in enumerate(self.parts) if part.key == "volume.position"), None)
        gains = [item for item in self.seen[0] if item.kind == "gain"]
        if at is None or not gains:
            return self
        offs = [
            abs(float(predicted(self.parts[at].put(self.stage, float(travel)), self.rounds[0],
                                gains)[0]) - gains[0].value)
            for travel in _TRAVELS
        ]  # fmt: skip
        start = float(_TRAVELS[int(np.argmin(offs))])
        moved = replace(self.parts[at], start=start, reach=0.5 * start)
        return replace(self, parts=(*self.parts[:at], moved, *self.parts[at + 1 :]))

    def stage_at(self, z: Array) -> Stage:
        """The stage with its figures moved."""
        stage = self.stage
        for part, one in zip(self.parts, z, strict=True):
            if one != 0.0 or not part.stated or part.key == "volume.position":
                stage = part.put(stage, part.value(float(one)))
        return stage

    def given(self, stage: Stage) -> list[Array]:
        """What a stage gives, round by round."""
        return [
            predicted(stage, one, some) for one, some in zip(self.rounds, self.seen, strict=True)
        ]

    def off(self, z: Array) -> Array:
        """How far each number is missed, over its uncertainty."""
        missed = []
        for some, given in zip(self.seen, self.given(self.stage_at(z)), strict=True):
            value = np.array([item.value for item in some])
            doubt = np.array([item.doubt for item in some])
            at_least = np.array([item.at_least for item in some])
            with np.errstate(invalid="ignore"):
                off = (given - value) / doubt
            off = np.where(np.isfinite(off), off, 0.0)  # nothing in the description sets it
            missed.append(np.where(at_least, np.minimum(off, 0.0), off))
        return np.concatenate(missed)

    def jacobian(self, z: Array, free: Sequence[int]) -> Array:
        """Change of each with each free figure."""
        here = self.off(z)
        columns = []
        for k in free:
            step = np.zeros_like(z)
            # away from an end of the range, where nothing would move
            step[k] = (
                -_STEP
                if self.parts[k].value(float(z[k]) + _STEP) >= self.parts[k].most
                else (_STEP)
            )
            columns.append((self.off(z + step) - here) / step[k])
        return np.column_stack(columns)

    def solved(self, free: Sequence[int], *, begun: Array | None = None) -> Array:
        """Where the free figures come to lie; the others stay."""
        from scipy.optimize import least_squares

        z = np.zeros(len(self.parts))
        if not free:
            return z
        index = list(free)

        def whole(x: Array) -> Array:
            full = z.copy()
            full[index] = x
            return full

        def off(x: Array) -> Array:
            return np.concatenate((self.off(whole(x)), x))

        def slopes(x: Array) -> Array:
            return np.vstack((self.jacobian(whole(x), index), np.eye(len(index))))

        start = np.zeros(len(index)) if begun is None else begun[index]
        found = least_squares(
            off, start, jac=slopes, bounds=(-_FURTHEST, _FURTHEST), max_nfev=60, xtol=1e-7,
            ftol=1e-9,
        )  # fmt: skip
        return whole(np.asarray(found.x))


def _reported(
    before: Stage,
    problem: _Problem,
    z: Array,
    free: Sequence[int],
    found: Determined,
    jacobian: Array,
) -> FittedStage:
    held = jacobian[:, list(free)]
    among = np.sqrt(np.diag(np.linalg.inv(held.T @ held + np.eye(len(free)))))
    doubts = dict(zip(free, among, strict=True))
    figures = []
    for k, part in enumerate(problem.parts):
        value = part.value(float(z[k]))
        doubt = part.size_of(float(doubts[k]), value) if k in doubts else math.nan
        state: State = (
            ("determined" if found.known(k) else "others held")
            if k in doubts
            else ("not told apart" if found.seen(k) else "not seen")
        )
        others = tuple(problem.parts[one].key for one in found.alike[k])
        figures.append(
            FittedFigure(
                part.key, part.index, part.unit, part.start if part.stated else None,
                value if k in doubts else None, doubt, state, others,
                _bound(part.key, problem.seen),
            )
        )  # fmt: skip
    after = problem.stage_at(z)
    rows = _rows(problem, before, after)
    remarks = (*_misfits(problem, z, rows), *_remarks(problem, figures))
    return FittedStage(before, after, tuple(figures), rows, remarks)


def _misfits(problem: _Problem, z: Array, rows: Sequence[Row]) -> Iterator[str]:
    """First of all, whether the description can give what was measured at all."""
    missed = sum(not row.agrees for row in rows)
    if missed > _MISSED_SHARE * len(rows):
        yield (
            f"{missed} of {len(rows)} numbers are not met: the description lacks a part, or one "
            "that is held is wrong; do not trust the figures before that is found"
        )
    for part, one in zip(problem.parts, z, strict=True):
        if abs(one) > 0.99 * _FURTHEST:
            yield f"{part.key} was moved as far as it may be, so it makes up for something else"


def _bound(key: str, seen: Sequence[Sequence[Seen]]) -> float | None:
    """The largest that was captured of something of which no limit was seen, SI."""
    kind = {"amplifier.slew_rise": "slew rise", "amplifier.slew_fall": "slew fall"}.get(key)
    found = [item.value for some in seen for item in some if item.kind == kind and item.at_least]
    return max(found) * 1e6 if found else None


def _rows(problem: _Problem, before: Stage, after: Stage) -> tuple[Row, ...]:
    rows = []
    for one, some, old, new in zip(
        problem.rounds, problem.seen, problem.given(_beside(problem, before)), problem.given(after),
        strict=True,
    ):  # fmt: skip
        rows += [
            Row(item.kind, item.hz, one.load_ohm, item.value, item.doubt, float(a), float(b),
                item.unit, item.at_least)
            for item, a, b in zip(some, old, new, strict=True)
        ]  # fmt: skip
    return tuple(rows)


def _beside(problem: _Problem, before: Stage) -> Stage:
    """The stage as described, but with its knob where it stood while it was measured."""
    for part in problem.parts:
        if part.key == "volume.position":
            return part.put(before, part.start)
    return before


def _remarks(problem: _Problem, figures: Sequence[FittedFigure]) -> tuple[str, ...]:
    kinds = {item.kind for some in problem.seen for item in some}
    unseen = {one.key for one in figures if one.state in {"not seen", "not told apart"}}
    remarks = []
    loads = {one.load_ohm for one in problem.rounds}
    if len(loads) < 2 and problem.stage.amplifier is not None:
        remarks.append(
            "One load alone does not tell an output resistance: measure once more with a heavier "
            "load, and give that file with --also FILE LOAD"
        )
    if not kinds & {"gain", "clip high", "slew rise", "noise"}:
        remarks.append(
            "Nothing was measured in volts: give --played-full-scale and --captured-full-scale "
            "when measuring, to fit gain, clip levels, slew and noise"
        )
    if "noise" in kinds and all(
        "loopback" not in one.measurement.floor and one.measurement.made_by == "bench measure"
        for one in problem.rounds
    ):
        remarks.append(
            "The noise holds the recorder's own: measure with --loopback to have it taken out"
        )
    if "amplifier.gain_bandwidth" in unseen:
        remarks.append(
            "The amplifier's own bandwidth lies too far above what was recorded to be told: play "
            "and record at 96 or 192 kHz, or with more gain"
        )
    remarks += _sweep_remark(problem, figures)
    clipped = any(
        item.kind.startswith("clip") and not item.at_least for some in problem.seen for item in some
    )
    if problem.stage.supply is None and clipped:
        remarks.append(
            "Clip levels were measured, but no [supply] is described to be fitted to them"
        )
    return tuple(remarks)


def _sweep_remark(problem: _Problem, figures: Sequence[FittedFigure]) -> list[str]:
    """What would tell a slow loop's pole better, where the sweep itself came to slew."""
    found = problem.rounds[0].measurement
    highest = slewless_hz(found)
    loop = [one for one in figures if one.key == "amplifier.gain_bandwidth"]
    known = [one for one in loop if one.value is not None and one.doubt < _WELL * one.value]
    if not loop or known or highest >= MOST_SHARE * found.rate_hz:
        return []
    lower = math.ceil(20.0 * math.log10(MOST_SHARE * found.rate_hz / highest))
    said = (
        f"The sweep slews above {highest / 1e3:.0f} kHz, so only what lies below tells of the "
        f"amplifier's bandwidth: play 02-sweep {lower} dB lower and measure it anew"
    )
    return [said]
