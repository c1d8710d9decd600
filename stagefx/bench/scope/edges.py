"""One edge of a trace: its rise time, and whether its slope is a slew limit or only bandwidth."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from stagefx.bench.scope.edge_laws import second_order_edge, slewing_constant_s, slewing_edge
from stagefx.bench.scope.reading import Edge, Told
from stagefx.bench.scope.spread import slopes_to_spread
from stagefx.bench.scope.tables import Array, Trace

Law = Callable[[Array, float, float], Array]

LEAST_ON_EDGE = 3.0
"""Points between 10 % and 90 % below which an edge is too fast for the trace."""
SLEWS_FROM = 2.0
"""Height over S tau from which the middle of an edge is straight enough to be called slewing."""
_ENOUGH_ON_EDGE = 150.0
_BETTER = 0.75
_STRAIGHT = 0.55


@dataclass(frozen=True)
class _Fitted:
    rise_s: float
    shape: float
    height_v: float
    start_points: float
    misfit_v: float
    doubt_rise: float
    doubt_shape: float
    covariance: float


def read_edge(trace: Trace, place: float, begins: float, ends: float, noise: float) -> Edge:
    """Look at one edge.

    Two laws are fitted, levels free: a slew limit that settles with one pole, and a linear
    second-order low-pass of any damping.  An edge is called slewing only where the first is
    clearly the better; what both explain is bandwidth.
    """
    volts, dt = trace.volts, trace.interval_s
    before = volts[max(math.ceil(begins + 0.5 * (place - begins)), 0) : math.floor(place) + 1]
    after = volts[math.ceil(place) : math.floor(place + 0.5 * (ends - place)) + 1]
    low, high = _settled(before, tail=False), _settled(after, tail=True)
    rough = max(_rough_rise(volts, place, low, high), 0.5)
    first = max(math.ceil(place - 3.0 * rough - 8.0), math.ceil(begins + 0.3 * (place - begins)), 0)
    last = min(math.floor(place + 5.0 * rough + 12.0), math.floor(ends - 0.1 * (ends - place)))
    piece = volts[first : last + 1]
    t = np.arange(first, last + 1, dtype=np.float64) - place
    t, piece = _thinned(t, piece, math.ceil(rough / _ENOUGH_ON_EDGE))
    slewing = _fit(slewing_edge, t, piece, rough, (0.05, 8.0, 200.0), noise)
    linear = _fit(second_order_edge, t, piece, rough, (0.08, 1.0, 12.0), noise)
    best = slewing if slewing.misfit_v < linear.misfit_v else linear
    height = best.height_v
    told = _told(slewing, linear, piece, height, noise)
    rise = best.rise_s
    # an edge that neither law describes is read from its points
    if best.misfit_v > max(2.5 * noise, 0.02 * abs(height)):
        rise, height = rough, high - low
    doubt = math.hypot(best.doubt_rise, 0.15 / max(rise, 1.0))
    if rise < LEAST_ON_EDGE:
        told, rise, doubt = "too fast", rough, 1.0
    steepest = _steepest(best, slewing is best, piece, rise) / dt
    slew = slew_doubt = None
    if told == "slewing":
        slew, slew_doubt = _slew(slewing, best, piece, height)
    return Edge(
        at_s=trace.start_s + place * dt,
        step_v=height,
        rise_time_s=rise * dt,
        rise_time_doubt_s=doubt * dt,
        told=told,
        steepest_v_per_s=steepest,
        slew_v_per_s=None if slew is None else slew / dt,
        slew_doubt_v_per_s=0.0 if slew_doubt is None else slew_doubt / dt,
        misfit_v=best.misfit_v,
    )


def _thinned(t: Array, piece: Array, together: int) -> tuple[Array, Array]:
    """Times and volts with as many points as given made one."""
    if together <= 1:
        return t, piece
    whole = t.size - t.size % together
    times, volts = (one[:whole].reshape(-1, together).mean(axis=1) for one in (t, piece))
    return times, volts


def _settled(region: Array, *, tail: bool) -> float:
    """The level on one side, from the part away from the edge."""
    if region.size == 0:
        return math.nan
    part = region[region.size // 2 :] if tail else region[: max(region.size // 2, 1)]
    return float(np.median(part))


def _rough_rise(volts: Array, place: float, low: float, high: float) -> float:
    """From 10 % to 90 %, by straight lines between points, looking outward from the middle."""
    span = high - low
    reached = []
    for level, step in ((0.1, -1), (0.9, 1)):
        target = low + level * span
        at = math.floor(place) if step < 0 else math.ceil(place)
        while 0 <= at + step < volts.size and (volts[at] - target) * span * step < 0.0:
            at += step
        near = float(volts[at - step]) if 0 <= at - step < volts.size else float(volts[at])
        gap = float(volts[at]) - near
        share = (target - near) / gap if gap else 0.0
        reached.append(at - step + step * min(max(share, 0.0), 1.0))
    return abs(reached[1] - reached[0])


def _fit(
    law: Law, t: Array, piece: Array, rough: float, shapes: tuple[float, float, float], noise: float
) -> _Fitted:
    from scipy.optimize import least_squares

    def parts(p: Array) -> tuple[Array, float, float]:
        shape = law(t - p[0], math.exp(p[1]), math.exp(p[2]))
        middle = shape - shape.mean()
        norm = float(middle @ middle)
        height = float(middle @ piece) / norm if norm > 0.0 else 0.0
        return shape, height, float(piece.mean()) - height * float(shape.mean())

    def off(p: Array) -> Array:
        shape, height, base = parts(p)
        return np.asarray(base + height * shape - piece)

    lowest, usual, highest = (math.log(one) for one in shapes)
    bounds = ([-4.0 * rough - 10.0, math.log(0.05), lowest], [5.0, math.log(20.0 * rough), highest])
    found = None
    for start in (usual, 0.6 * lowest + 0.4 * usual):
        begun = np.clip([-0.6 * rough, math.log(rough), start], bounds[0], bounds[1])
        tried = least_squares(off, begun, bounds=bounds, x_scale=[max(rough, 1.0), 0.3, 0.5])
        if found is None or tried.cost < found.cost:
            found = tried
    assert found is not None
    _, height, _ = parts(found.x)
    misfit = math.sqrt(2.0 * float(found.cost) / max(t.size - 5, 1))
    spread = slopes_to_spread(found.jac) * max(misfit, noise) ** 2
    rise = math.exp(found.x[1])
    return _Fitted(
        rise, math.exp(found.x[2]), height, float(found.x[0]), misfit,
        rise * math.sqrt(max(spread[1, 1], 0.0)), math.sqrt(max(spread[2, 2], 0.0)),
        float(spread[1, 2]),
    )  # fmt: skip


def _told(slewing: _Fitted, linear: _Fitted, piece: Array, height: float, noise: float) -> Told:
    floor = max(noise, 2e-4 * abs(height))
    if slewing.misfit_v < max(2.5 * noise, 0.02 * abs(height)):
        clearly = slewing.misfit_v < _BETTER * linear.misfit_v and linear.misfit_v > 1.15 * floor
        return "slewing" if clearly and slewing.shape > SLEWS_FROM else "bandwidth"
    if linear.misfit_v < max(2.5 * noise, 0.02 * abs(height)):
        return "bandwidth"
    return "slewing" if _straight_share(piece, height) > _STRAIGHT else "bandwidth"


def _straight_share(piece: Array, height: float) -> float:
    """Share of an edge's height covered at more than nine tenths of its steepest slope."""
    slopes = np.diff(piece) * math.copysign(1.0, height)
    smooth = np.convolve(slopes, np.ones(3) / 3.0, mode="same")
    steep = smooth > 0.9 * float(np.sort(smooth)[-3:].mean())
    return float(slopes[steep].sum()) / abs(height)


def _steepest(best: _Fitted, slews: bool, piece: Array, rise: float) -> float:  # noqa: FBT001
    """The steepest slope, V a point; of a fitted law at its own steepest."""
    if rise < LEAST_ON_EDGE:
        return float(np.abs(np.diff(piece)).max())
    fine = np.linspace(0.0, 3.0 * best.rise_s, 3001)
    law = slewing_edge if slews else second_order_edge
    slope = np.diff(law(fine, best.rise_s, best.shape)) / (fine[1] - fine[0])
    return abs(best.height_v) * float(slope.max())


def _slew(slewing: _Fitted, best: _Fitted, piece: Array, height: float) -> tuple[float, float]:
    """The slew limit and its uncertainty, V a point."""
    if best is not slewing:
        slopes = np.diff(piece) * math.copysign(1.0, height)
        steep = slopes[slopes > 0.8 * float(slopes.max())]
        return float(np.median(steep)), float(steep.std()) / math.sqrt(steep.size)

    def limit(rise: float, drive: float) -> float:
        return abs(slewing.height_v) / (drive * slewing_constant_s(rise, drive))

    value = limit(slewing.rise_s, slewing.shape)
    by_shape = limit(slewing.rise_s, slewing.shape * 1.01) / value - 1.0
    share = math.hypot(slewing.doubt_rise / slewing.rise_s, 100.0 * by_shape * slewing.doubt_shape)
    return value, value * share
