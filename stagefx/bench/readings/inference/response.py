"""Corners: parts fitted so that the whole stage gives the levels that were read."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from stagefx.bench.errors import ReadingsError
from stagefx.bench.readings.builder import Draft
from stagefx.bench.readings.closed_forms.corners import (
    bass_corner_hz,
    fitted_bass_corner_hz,
    fitted_treble_corner_hz,
    treble_corner_hz,
)
from stagefx.bench.readings.conditions import on_bench
from stagefx.bench.readings.inference.corner_parts import CornerPart, bass_part, treble_part
from stagefx.bench.readings.inference.corner_places import output_ohm, places
from stagefx.bench.readings.inference.points import (
    REFERENCE_HZ,
    Point,
    response_points,
    rise_time_points,
    slewing_edges,
    tilt_points,
)
from stagefx.bench.readings.solving import Fit, fit, solve_for
from stagefx.bench.uncertainty import Measured, carry
from stagefx.circuit.circuit import Circuit
from stagefx.circuit.response import Response
from stagefx.units import show

Array = NDArray[np.float64]
_FAR_BASS_HZ, _FAR_TREBLE_HZ = 0.1, 10e6
"""Where to begin with a corner that the levels alone do not show."""


def find_response(draft: Draft) -> Draft:
    """What the response, rise-time and tilt readings tell."""
    points: list[Point] = []
    for tell in (response_points, rise_time_points, tilt_points):
        draft, told = tell(draft)
        points += told
    draft = slewing_edges(draft)
    treble = [point for point in points if point.hz > REFERENCE_HZ]
    bass = [point for point in points if point.hz < REFERENCE_HZ]
    draft = _corners(draft, treble, bass)
    if not points:
        return draft
    asking = [side for side in (treble, bass) if _asks_for_a_part(draft, side)]
    return _fitted(draft, points, asking)


def levels_db(circuit: Circuit, hz: Sequence[float]) -> Array:
    """Levels of a circuit re 1 kHz."""
    curve = np.abs(Response(circuit, np.array([*hz, REFERENCE_HZ])).to_load[0])
    return np.asarray(20.0 * np.log10(curve[:-1] / curve[-1]))


def _numbers(points: Sequence[Point]) -> tuple[int, ...]:
    return tuple(sorted({number for point in points for number in point.level.readings}))


def _corner(points: Sequence[Point]) -> float:
    """The one corner that levels tell by least squares, all on one side of 1 kHz."""
    pairs = [(point.hz, point.level.value) for point in points]
    return _law(points)(*(level for _, level in pairs))


def _law(points: Sequence[Point]) -> Callable[..., float]:
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
    return any(point.level.high < 0.0 for point in points) or draft.described


def _named(draft: Draft, *points: Point) -> str:
    return " and ".join(draft.sheet.named(number) for number in _numbers(points))


def _fitted(draft: Draft, points: Sequence[Point], asking: Sequence[Sequence[Point]]) -> Draft:
    """Fit a part for each side that asks for one; another, or more, where that does not do."""
    treble = [point for point in points if point.hz > REFERENCE_HZ]
    bass = [point for point in points if point.hz < REFERENCE_HZ]
    tried = _tried(draft, points, asking)
    for side in (treble, bass):
        # levels are re 1 kHz, so that one side's loss there may hide the other's
        if side in asking or not any(point.level.low < 0.0 for point in side):
            continue
        if any(abs(tried.fit.misfits[points.index(point)]) > 1.0 for point in side):
            tried = _tried(draft, points, [*asking, side])
    if not tried.fit.good and len(treble) > 1 and tried.treble:
        tried = _with_second_pole(tried, points, treble)
    if not tried.fit.good:
        raise ReadingsError(_contradiction(draft, points, tried.fit))
    draft = tried.draft
    for part, number in zip(tried.parts, tried.fit.values, strict=True):
        draft = part.placed(draft, number)
    return draft


@dataclass(frozen=True)
class _Try:
    """Parts in a draft, and how well they can be made to fit."""

    draft: Draft
    parts: tuple[CornerPart, ...]
    fit: Fit

    @property
    def treble(self) -> tuple[CornerPart, ...]:
        return tuple(part for part in self.parts if not _is_bass(part))


def _is_bass(part: CornerPart) -> bool:
    return part.part.endswith(("coupling", "leg_capacitance"))


def _tried(draft: Draft, points: Sequence[Point], asking: Sequence[Sequence[Point]]) -> _Try:
    """The first place for the treble's part that fits; where none does, the likeliest."""
    parts: tuple[CornerPart, ...] = ()
    for side in asking:
        if side[0].hz < REFERENCE_HZ:
            draft, part = bass_part(draft, _corner(side) or _FAR_BASS_HZ, _numbers(side))
            parts = (*parts, part)
    treble = [point for side in asking for point in side if point.hz > REFERENCE_HZ]
    if not treble:
        return _Try(draft, parts, _fit(draft, parts, points))
    corner = _corner(treble)
    corner = corner if math.isfinite(corner) else _FAR_TREBLE_HZ
    place = next((point.place for point in treble if point.place is not None), None)
    tries = []
    for where in places(draft, corner, place):
        there, part = treble_part(draft, corner, where, _numbers(treble), guessed=place is None)
        tries.append(_Try(there, (*parts, part), _fit(there, (*parts, part), points)))
        if tries[-1].fit.good:
            return tries[-1]
    return tries[0]


def _fit(draft: Draft, parts: Sequence[CornerPart], points: Sequence[Point]) -> Fit:
    bench, hz = on_bench(draft.stage, knob=draft.knob), [point.hz for point in points]

    def model(numbers: Array) -> Array:
        circuit = bench
        for part, number in zip(parts, numbers, strict=True):
            circuit = part.applied(circuit, float(number))
        return levels_db(circuit, hz)

    levels = [point.level for point in points]
    if not parts:
        given = levels_db(bench, hz)
        misses = [
            (float(g) - level.value) / max(level.uncertainty, 1e-9)
            for g, level in zip(given, levels, strict=True)
        ]
        return Fit((), tuple(misses))
    start = [_start(bench, part, points) for part in parts]
    return fit(model, levels, start)


def _start(bench: Circuit, part: CornerPart, points: Sequence[Point]) -> float:
    """The number that gives the most telling of the levels that the part can make."""
    own = [point for point in points if (point.hz < REFERENCE_HZ) == _is_bass(part)]
    telling = max(own, key=lambda point: -point.level.value / max(point.level.uncertainty, 1e-9))

    def level(number: float) -> float:
        return float(levels_db(part.applied(bench, number), [telling.hz])[0])

    found = solve_for(level, telling.level.value, part.start)
    return part.start if math.isnan(found) else found


def _with_second_pole(tried: _Try, points: Sequence[Point], treble: Sequence[Point]) -> _Try:
    draft, place = tried.draft, "input"
    if "input.shunt_capacitance" in {part.part for part in tried.parts}:
        place = "output" if output_ohm(draft) > 1.0 else "amplifier"
    numbers = _numbers(treble)
    draft, second = treble_part(draft, 1.5 * _corner(treble), place, numbers, guessed=False)
    halved = [
        part if _is_bass(part) else replace(part, start=0.5 * part.start) for part in tried.parts
    ]
    parts = (*halved, second)
    found = _Try(draft, parts, _fit(draft, parts, points))
    if not found.fit.good:
        return tried
    told = " and ".join(part.part for part in found.treble)
    sentence = f"no single corner gives all the treble levels; two do, {told}"
    return replace(found, draft=draft.remarking("two-corners", sentence, *numbers))


def _contradiction(draft: Draft, points: Sequence[Point], found: Fit) -> str:
    worst = max(range(len(points)), key=lambda index: abs(found.misfits[index]))
    if points[worst].level.low > 0.0:
        level, hz = points[worst].level.value, points[worst].hz
        return (
            f"{_named(draft, points[worst])}: {level:+.3g} dB at {show(hz, 'Hz')} is above the "
            "level at 1 kHz, which no corner makes; is the reference right? Peaking belongs into "
            "an overshoot reading"
        )
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
        f"stage {'described' if draft.described else 'so far'} already has {given:.3g} dB there; "
        "check its capacitances"
    )


def _alone(point: Point) -> Measured:
    """The corner that one level alone tells."""
    own = treble_corner_hz if point.hz > REFERENCE_HZ else bass_corner_hz
    return carry(
        lambda level: own(point.hz, min(level, -1e-6), reference_hz=REFERENCE_HZ), point.level
    )
