"""Corners: parts fitted so that the whole stage gives the levels that were read."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from stagefx.bench.conditions import on_bench
from stagefx.bench.draft import Draft
from stagefx.bench.errors import ReadingsError
from stagefx.bench.findings.corner_parts import CornerPart, bass_part, output_ohm, treble_part
from stagefx.bench.findings.points import (
    REFERENCE_HZ,
    Point,
    response_points,
    rise_time_points,
    slewing_edges,
    tilt_points,
)
from stagefx.bench.fitting import Fit, fit, solve_for
from stagefx.bench.inversions.corners import (
    bass_corner_hz,
    fitted_bass_corner_hz,
    fitted_treble_corner_hz,
    treble_corner_hz,
)
from stagefx.bench.measured import Measured, carry
from stagefx.stage.circuit import Circuit
from stagefx.stage.response import Response
from stagefx.units import show

Array = NDArray[np.float64]


def find_response(draft: Draft) -> Draft:
    """What the response, rise-time and tilt readings tell.

    Parameters
    ----------
    draft : Draft
        Before.

    Returns
    -------
    Draft
        With the corners among what was found, and parts that make them.

    Raises
    ------
    ReadingsError
        Readings that contradict each other or the stage described, or a level that no corner
        makes.

    Examples
    --------
    >>> from stagefx.bench.derive import stage_from_readings
    >>> from stagefx.bench.readings import readings_from
    >>> readings = [
    ...     {"of": "gain", "input": "1 V", "output": "4 V"},
    ...     {"of": "response", "frequency": "20 kHz", "level": "-0.5 dB"},
    ... ]
    >>> found = stage_from_readings(readings_from({"reading": readings}))
    >>> round(found.figure("high_corner_hz").value * 1e-3, 1)
    57.2
    """
    points: list[Point] = []
    for tell in (response_points, rise_time_points, tilt_points):
        draft, told = tell(draft)
        points += told
    draft = slewing_edges(draft)
    treble = [point for point in points if point.hz > REFERENCE_HZ]
    bass = [point for point in points if point.hz < REFERENCE_HZ]
    draft = _corners(draft, treble, bass)
    parts: list[CornerPart] = []
    place = next((point.place for point in treble if point.place is not None), None)
    if _asks_for_a_part(draft, treble):
        draft, part = treble_part(draft, _corner(treble), place, _numbers(treble))
        parts.append(part)
    if _asks_for_a_part(draft, bass):
        draft, part = bass_part(draft, _corner(bass), _numbers(bass))
        parts.append(part)
    if not parts:
        return draft
    return _fitted(draft, parts, points, treble)


def levels_db(circuit: Circuit, hz: Sequence[float]) -> Array:
    """Levels of a circuit re 1 kHz.

    Parameters
    ----------
    circuit : Circuit
        On the bench.
    hz : sequence of float, Hz
        Frequencies.

    Returns
    -------
    array [frequencies], dB
        EMF to load.

    Examples
    --------
    >>> from stagefx.stage import stage_from
    >>> levels_db(on_bench(stage_from({})), [20.0])
    array([0.])
    """
    curve = np.abs(Response(circuit, np.array([*hz, REFERENCE_HZ])).to_load[0])
    return np.asarray(20.0 * np.log10(curve[:-1] / curve[-1]))


def _numbers(points: Sequence[Point]) -> tuple[int, ...]:
    return tuple(sorted({number for point in points for number in point.level.readings}))


def _corner(points: Sequence[Point]) -> float:
    """The one corner that levels tell by least squares, all on one side of 1 kHz."""
    pairs = [(point.hz, point.level.value) for point in points]
    return _law(points)(*(level for _, level in pairs))


def _law(points: Sequence[Point]):  # type: ignore[no-untyped-def]
    hz = [point.hz for point in points]
    weights = [max(point.level.uncertainty, 1e-9) ** -2 for point in points]
    fitted = fitted_treble_corner_hz if hz[0] > REFERENCE_HZ else fitted_bass_corner_hz

    def law(*levels: float) -> float:
        pairs = list(zip(hz, levels, strict=True))
        return fitted(pairs, weights, reference_hz=REFERENCE_HZ)

    return law


def _corners(draft: Draft, treble: Sequence[Point], bass: Sequence[Point]) -> Draft:
    for key, points in (("high_corner_hz", treble), ("low_corner_hz", bass)):
        if not points:
            continue
        corner = _corner(points)
        seen = [point for point in points if point.level.high < 0.0]
        if seen and 0.0 < corner < math.inf:
            measured = carry(_law(points), *(point.level for point in points))
            draft = draft.reporting(key, measured, "Hz", note="3 dB down re passband, as one pole")
        else:
            draft = _unseen(draft, points)
    return draft


def _unseen(draft: Draft, points: Sequence[Point]) -> Draft:
    """Nothing is lost within the uncertainty: the corner is only known to lie beyond."""
    treble = points[0].hz > REFERENCE_HZ
    own = treble_corner_hz if treble else bass_corner_hz
    ends = [own(p.hz, p.level.low, reference_hz=REFERENCE_HZ) for p in points if p.level.low < 0.0]
    if not ends:
        return draft
    bound = f"above {show(max(ends), 'Hz', digits=2)}" if treble else f"below {min(ends):.2g} Hz"
    return draft.remarking(
        "corner-not-seen",
        f"nothing is lost within the uncertainty: the corner lies {bound}",
        *_numbers(points),
    )


def _asks_for_a_part(draft: Draft, points: Sequence[Point]) -> bool:
    if not points:
        return False
    given = levels_db(on_bench(draft.stage, knob=draft.knob), [point.hz for point in points])
    agrees = [p.level.low <= g <= p.level.high for p, g in zip(points, given, strict=True)]
    if all(agrees) and (draft.described or all(p.level.high >= 0.0 for p in points)):
        return False
    for point in points:
        if point.level.low > 0.0:
            raise ReadingsError(
                f"{_named(draft, point)}: {point.level.value:+.3g} dB at {show(point.hz, 'Hz')} is "
                "above the level at 1 kHz, which no corner makes; is the reference right? Peaking "
                "belongs into an overshoot reading"
            )
    return any(point.level.high < 0.0 for point in points) or draft.described


def _named(draft: Draft, *points: Point) -> str:
    return " and ".join(draft.sheet.named(number) for number in _numbers(points))


def _fitted(
    draft: Draft, parts: list[CornerPart], points: Sequence[Point], treble: Sequence[Point]
) -> Draft:
    found = _fit(draft, parts, points)
    if not found.good and len(treble) > 1 and len(points) > len(parts):
        second, more = _second_pole(draft, parts, treble)
        tried = _fit(second, more, points)
        if tried.good:
            draft, parts, found = second, more, tried
            draft = draft.remarking(
                "two-corners",
                "no single corner gives all the treble levels; two do, "
                f"{parts[0].part} and {parts[-1].part}",
                *_numbers(treble),
            )
    if not found.good:
        raise ReadingsError(_contradiction(draft, points, found))
    for part, number in zip(parts, found.values, strict=True):
        draft = part.placed(draft, number)
    return draft


def _fit(draft: Draft, parts: Sequence[CornerPart], points: Sequence[Point]) -> Fit:
    bench, hz = on_bench(draft.stage, knob=draft.knob), [point.hz for point in points]

    def model(numbers: Array) -> Array:
        circuit = bench
        for part, number in zip(parts, numbers, strict=True):
            circuit = part.applied(circuit, float(number))
        return levels_db(circuit, hz)

    start = [_start(bench, part, points) for part in parts]
    return fit(model, [point.level for point in points], start)


def _start(bench: Circuit, part: CornerPart, points: Sequence[Point]) -> float:
    """The number that gives the most telling of the levels that the part can make."""
    bass = part.part.endswith("coupling") or part.part.endswith("leg_capacitance")
    own = [point for point in points if (point.hz < REFERENCE_HZ) == bass]
    telling = max(own, key=lambda point: -point.level.value / max(point.level.uncertainty, 1e-9))

    def level(number: float) -> float:
        return float(levels_db(part.applied(bench, number), [telling.hz])[0])

    found = solve_for(level, telling.level.value, part.start)
    return part.start if math.isnan(found) else found


def _second_pole(
    draft: Draft, parts: Sequence[CornerPart], treble: Sequence[Point]
) -> tuple[Draft, list[CornerPart]]:
    first = parts[0].part
    place = "input"
    if first == "input.shunt_capacitance":
        place = "output" if output_ohm(draft) > 1.0 else "amplifier"
    corner, numbers = 1.5 * _corner(treble), _numbers(treble)
    draft, second = treble_part(draft, corner, place, numbers)
    halved = replace(parts[0], start=0.5 * parts[0].start)
    return draft, [halved, *parts[1:], second]


def _contradiction(draft: Draft, points: Sequence[Point], found: Fit) -> str:
    worst = max(range(len(points)), key=lambda index: abs(found.misfits[index]))
    side = points[worst].hz > REFERENCE_HZ
    own = [(p, _alone(p)) for p in points if (p.hz > REFERENCE_HZ) == side]
    apart = [(a, b) for a, b in combinations(own, 2) if not a[1].meets(b[1])]
    if apart:
        (_, first), (_, second) = max(
            apart, key=lambda pair: abs(math.log(pair[0][1].value / pair[1][1].value))
        )
        what = "a treble corner" if side else "a bass corner"
        return draft.sheet.contradiction(first, second, what, "Hz")
    point = points[worst]
    if len(own) > 1:
        others = [p for p, _ in own if p is not point]
        return (
            f"{_named(draft, point)} and {_named(draft, *others)} contradict each other: no corner "
            "gives all their levels within the uncertainty; read them again, or leave one out"
        )
    given = levels_db(on_bench(draft.stage, knob=draft.knob), [point.hz])[0]
    return (
        f"{_named(draft, point)}: {point.level.value:.3g} dB at {show(point.hz, 'Hz')}, but the "
        f"stage described already has {given:.3g} dB there; check its capacitances"
    )


def _alone(point: Point) -> Measured:
    """The corner that one level alone tells."""
    own = treble_corner_hz if point.hz > REFERENCE_HZ else bass_corner_hz
    return carry(
        lambda level: own(point.hz, min(level, -1e-6), reference_hz=REFERENCE_HZ), point.level
    )
