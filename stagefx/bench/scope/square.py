"""What a square wave or a step tells: levels, edges, overshoot, ringing, tilt."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from stagefx.bench.readings.closed_forms.square_waves import (
    DEFINITIONS,
    corner_of_rise_time_hz,
    own_rise_time_s,
    tilt,
)
from stagefx.bench.readings.report import Found
from stagefx.bench.scope.crossings import Crossing, period_points
from stagefx.bench.scope.edges import read_edge
from stagefx.bench.scope.reading import Edge, ScopeReading
from stagefx.bench.scope.swings import found
from stagefx.bench.scope.tables import Trace
from stagefx.bench.scope.tops import Ringing, Tilt, ringing, tilt_of

_MOST_EDGES = 6
_TILT_KEYS = ("tilt_one_top_percent", "tilt_percent", "tilt_rule_percent")
_TILT_NOTES = (
    "droop of one top, over its start above the middle",
    "start less end of a top, over half the peak-to-peak",
    "pi times corner over frequency",
)


def read_square(
    trace: Trace, passed: tuple[Crossing, ...], noise: float, *, generator_s: float | None
) -> ScopeReading:
    """What a square wave or a step tells."""
    places = [0.0, *(one.place for one in passed), float(trace.volts.size - 1)]
    seen = {
        at: read_edge(trace, places[at + 1], places[at], places[at + 2], noise)
        for at in _spread_out(len(passed))
    }
    taken = [at for at in seen if _whole(trace, places[at + 1], seen[at])] or list(seen)
    edges = tuple(seen[at] for at in taken)
    period = period_points(passed)
    figures, remarks = [*_levels(trace, places, edges, noise)], list(trace.remarks)
    if period is not None:
        hz = 1.0 / (period[0] * trace.interval_s)
        figures.append(found("frequency_hz", hz, hz * 0.5 / (period[0] * len(passed)), "Hz"))
    for rises, word in ((True, "rise"), (False, "fall")):
        some = [edge for edge in edges if edge.rises is rises]
        if some:
            figures += _edge_figures(some, word, generator_s, remarks)
    figures += _ringing_figures(trace, places, taken, edges, noise, remarks)
    if period is not None:
        figures += _tilt_figures(trace, places, edges, period[0], noise, remarks)
    return ScopeReading(
        "step" if len(passed) == 1 else "square", tuple(figures), edges, tuple(remarks), trace
    )


def _spread_out(count: int) -> list[int]:
    """Which edges to look at: few, and none of them always at one end of the trace."""
    if count <= _MOST_EDGES:
        return list(range(count))
    inner = range(1, count - 1)
    return list(inner[:_MOST_EDGES])


def _whole(trace: Trace, place: float, edge: Edge) -> bool:
    """Whether an edge has room on both sides within the trace."""
    room = 2.0 * edge.rise_time_s / trace.interval_s + 5.0
    return room < place < trace.volts.size - room


def _levels(
    trace: Trace, places: Sequence[float], edges: Sequence[Edge], noise: float
) -> list[Found]:
    """Highest and lowest settled levels."""
    tops: list[float] = []
    bottoms: list[float] = []
    middle = 0.5 * (float(trace.volts.min()) + float(trace.volts.max()))
    counted = 1
    slowest = max(edge.rise_time_s for edge in edges) / trace.interval_s
    for begins, ends in pairwise(places):
        region = trace.volts[
            math.ceil(begins + 0.4 * (ends - begins)) : math.floor(ends - slowest - 2.0)
        ]
        if region.size < 4:
            continue
        level = float(np.mean(region))
        (tops if level > middle else bottoms).append(level)
        counted = max(counted, region.size)
    doubt = math.hypot(noise / math.sqrt(counted), 0.5 * trace.step_v / math.sqrt(3.0))
    made = []
    for key, levels in (("level_high_v", tops), ("level_low_v", bottoms)):
        if levels:
            made.append(found(key, float(np.mean(levels)), doubt, "V", "mean of the later part"))
    if tops and bottoms:
        height = float(np.mean(tops)) - float(np.mean(bottoms))
        made.append(found("peak_to_peak_v", height, 1.5 * doubt, "V"))
    return made


def _joined(values: Sequence[float], doubts: Sequence[float]) -> tuple[float, float]:
    """Mean of several, with the larger of what they say of themselves and of each other."""
    spread = float(np.std(values)) / math.sqrt(max(len(values) - 1, 1))
    return float(np.mean(values)), max(spread, float(np.mean(doubts)) / math.sqrt(len(values)))


def _edge_figures(
    edges: Sequence[Edge], word: str, generator_s: float | None, remarks: list[str]
) -> list[Found]:
    rise, doubt = _joined(
        [edge.rise_time_s for edge in edges], [edge.rise_time_doubt_s for edge in edges]
    )
    height = float(np.mean([abs(edge.step_v) for edge in edges]))
    too_fast = any(edge.told == "too fast" for edge in edges)
    slewing = [edge for edge in edges if edge.slew_v_per_s is not None]
    which = "rising" if word == "rise" else "falling"
    if too_fast:
        most = rise + doubt
        remarks.append(
            f"The {which} edge has hardly a point between 10 % and 90 %, so that only bounds are "
            "told. Take it again with a faster sweep."
        )
        return [
            found(f"{word}_time_at_most_s", most, 0.0, "s", "10 % to 90 %"),
            found(f"slope_{word}_at_least_v_per_us", 0.8e-6 * height / most, 0.0, "V/us"),
        ]
    slope = 0.8e-6 * height / rise
    made = [
        found(f"{word}_time_s", rise, doubt, "s", "10 % to 90 %"),
        found(f"slope_{word}_v_per_us", slope, slope * doubt / rise, "V/us",
              "between 10 % and 90 %"),
    ]  # fmt: skip
    if 2 * len(slewing) > len(edges):
        slew, unsure = _joined(
            [edge.slew_v_per_s or 0.0 for edge in slewing],
            [edge.slew_doubt_v_per_s for edge in slewing],
        )
        made.append(
            found(f"slew_{word}_v_per_us", slew * 1e-6, unsure * 1e-6, "V/us",
                  "slew limit: the middle of the edge is straight")
        )  # fmt: skip
        return made
    steepest = max(edge.steepest_v_per_s for edge in edges)
    remarks.append(
        f"The {which} edge bends as bandwidth alone makes it: no slew limit is seen, it is more "
        f"than the steepest slope of {steepest * 1e-6:.3g} V/us. A larger step would show it."
    )
    return made + _corner(rise, doubt, word, which, generator_s, remarks)


def _corner(
    rise: float, doubt: float, word: str, which: str, generator_s: float | None, remarks: list[str]
) -> list[Found]:
    own = rise
    made: list[Found] = []
    if generator_s is not None:
        if generator_s >= rise - doubt:
            remarks.append(
                f"The {which} edge is no slower than the generator's own: the stage is faster than "
                "this generator can tell."
            )
            return made
        own = own_rise_time_s(rise, generator_s)
        ahead = own_rise_time_s(rise + doubt, generator_s)
        doubt = ahead - own
        made.append(
            found(f"own_{word}_time_s", own, doubt, "s", "generator taken out, both as one pole")
        )
    corner = corner_of_rise_time_hz(own)
    made.append(
        found(f"corner_{word}_hz", corner, corner * doubt / own, "Hz",
              "of one pole with this rise time")
    )  # fmt: skip
    return made


def _ringing_figures(
    trace: Trace,
    places: Sequence[float],
    taken: Sequence[int],
    edges: Sequence[Edge],
    noise: float,
    remarks: list[str],
) -> list[Found]:
    rung: list[Ringing] = []
    for at, edge in zip(taken, edges, strict=True):
        begins, ends = places[at + 1], places[at + 2]
        first = math.ceil(begins + 0.4 * edge.rise_time_s / trace.interval_s)
        top = trace.volts[first : math.floor(ends - 0.03 * (ends - begins))]
        one = ringing(top, edge.step_v, trace.interval_s, noise)
        if one is not None:
            rung.append(one)
    if 2 * len(rung) <= len(edges):
        return []
    share = _joined([one.overshoot for one in rung], [one.overshoot_doubt for one in rung])
    made = [found("overshoot_percent", 100.0 * share[0], 100.0 * share[1], "%", "over the step")]
    told = [one for one in rung if one.hz is not None and one.damping is not None]
    if told:
        made.append(
            found("ringing_hz", *_joined([one.hz or 0.0 for one in told],
                                         [one.hz_doubt for one in told]), "Hz")
        )  # fmt: skip
        made.append(
            found("damping_ratio", *_joined([one.damping or 0.0 for one in told],
                                            [one.damping_doubt for one in told]),
                  "", "zeta, from the decay of the ringing")
        )  # fmt: skip
    if any(edge.told == "slewing" for edge in edges):
        remarks.append(
            "The edge slews, so its overshoot is not the small-signal one: for phase margin, take "
            "a step small enough not to slew."
        )
    return made


def _tilt_figures(
    trace: Trace,
    places: Sequence[float],
    edges: Sequence[Edge],
    period: float,
    noise: float,
    remarks: list[str],
) -> list[Found]:
    whole = (len(places) - 3) // 2  # whole periods from the first edge on
    if whole < 1:
        return []
    first, last = places[1], places[1] + whole * period
    middle = float(np.mean(trace.volts[round(first) : round(last)]))
    slowest = max(edge.rise_time_s for edge in edges) / trace.interval_s
    tilts: list[Tilt] = []
    for begins, ends in pairwise(places[1:-1]):
        top = trace.volts[math.ceil(begins) : math.floor(ends)]
        one = tilt_of(top, middle, 4.0 * slowest, trace.interval_s, noise, trace.step_v)
        if one is not None:
            tilts.append(one)
    if not tilts:
        remarks.append("The tops do not settle between the edges, so no tilt is told.")
        return []
    decay, doubt = _joined([one.decay_per_s for one in tilts], [one.doubt_per_s for one in tilts])
    hz = 1.0 / (period * trace.interval_s)
    if abs(decay) < 3.0 * doubt:
        most = 100.0 * 0.5 / hz * (abs(decay) + 2.0 * doubt)
        remarks.append(f"No tilt is seen; it is less than {most:.2g} % of half the peak-to-peak.")
        return []
    corner, unsure = decay / (2.0 * math.pi), doubt / (2.0 * math.pi)
    made = []
    for key, definition, note in zip(_TILT_KEYS, DEFINITIONS, _TILT_NOTES, strict=True):
        value = tilt(corner, hz, definition)
        slope = abs(tilt(corner + unsure, hz, definition) - value)
        made.append(found(key, 100.0 * value, 100.0 * slope, "%", note))
    if decay > 0.0:
        made.append(found("low_corner_hz", corner, unsure, "Hz", "one bass corner with this tilt"))
    else:
        remarks.append("The tops rise towards their end: the bass is lifted, or the treble cut.")
    return made
