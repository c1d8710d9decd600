"""Slew limiting and hard clipping of one channel, with every event at its exact time.

Between two nodes the target u is a polynomial of degree 5 through six nodes.  When the output
leaves it, meets a limit and comes back is found to rounding error, and what the output has more
than u is integrated against cubic B-splines centred on the nodes.  So the corners of the limited
waveform carry no error of the grid, and little of them folds back.

Below its limit the output lags: it follows u - V L(r), with r = u'/S, V = S N/w_t and
L(r) = r^3/3 + r^5/5 + r^7/7, the odd part beyond the linear lag of V artanh r, which is the
steady lag of the two-stage amplifier's law dv/dt = S tanh((u - v)/V).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.kernels._jit import jit

Array = NDArray[np.float64]
Polynomial = tuple[float, float, float, float, float, float]
Line = tuple[float, float]
Law = Array | tuple[float, float, float]

BEFORE, AFTER = 3, 4
"""Nodes that an interval needs before and after its first node."""

TRACKING, CLIPPED_HIGH, CLIPPED_LOW, RISING, FALLING = 0.0, 1.0, -1.0, 2.0, -2.0
MARK_NONE, MARK_CLIPPED, MARK_SLEWING, MARK_BOTH = 0.0, 1.0, 2.0, 3.0

_NEVER = 2.0
_NO_LAW = (np.inf, -np.inf, 0.0)
_ROOT_STEPS = 40
_TIME_ERROR = 1e-9  # of the last Newton step, whose own error is its square
_LEVEL_ERROR = 1e-12
_EVENTS_PER_INTERVAL = 12
_NEAR = 0.25  # share of a neighbouring step by which a target can exceed its nodes
_STEEPER = 1.3  # factor by which a slope can exceed the neighbouring steps
_LARGEST_LAG = 1.0 / 3.0 + 1.0 / 5.0 + 1.0 / 7.0
_STEEP_LAG = 0.9  # share of the slew limit above which the lag is integrated point by point


_SIX = (
    (496 / 1814400, 6627 / 1814400, 6318 / 1814400, 419 / 1814400),
    (-4445 / 1814400, -56910 / 1814400, -52485 / 1814400, -3340 / 1814400),
    (65380 / 1814400, 553050 / 1814400, 375000 / 1814400, 17090 / 1814400),
    (17090 / 1814400, 375000 / 1814400, 553050 / 1814400, 65380 / 1814400),
    (-3340 / 1814400, -52485 / 1814400, -56910 / 1814400, -4445 / 1814400),
    (419 / 1814400, 6318 / 1814400, 6627 / 1814400, 496 / 1814400),
)
"""Integrals over an interval of the Lagrange polynomials of the nodes -2 to 3 (rows) times the
cubic B-splines centred on the nodes -1 to 2 (columns)."""
_FOUR = (
    (-4 / 2520, -51 / 2520, -47 / 2520, -3 / 2520),
    (89 / 2520, 748 / 2520, 505 / 2520, 23 / 2520),
    (23 / 2520, 505 / 2520, 748 / 2520, 89 / 2520),
    (-3 / 2520, -47 / 2520, -51 / 2520, -4 / 2520),
)
"""The same for a cubic through the nodes -1 to 2, which is enough for the lag."""
_LINE = (
    (4 / 120, 33 / 120, 22 / 120, 1 / 120),
    (1 / 120, 22 / 120, 33 / 120, 4 / 120),
)
"""The same for a straight line through both ends."""
_GAUSS_AT = 0.5 + 0.5 * np.polynomial.legendre.leggauss(5)[0]
_GAUSS_WEIGHT = 0.5 * np.polynomial.legendre.leggauss(5)[1]


@jit
def _polynomial(u: Array, i: int) -> Polynomial:
    """Coefficients, rising powers of the time since node i, of the target on interval i."""
    a, b, d, e, f, g = u[i - 2], u[i - 1], u[i], u[i + 1], u[i + 2], u[i + 3]
    return (
        d,
        0.05 * a - 0.5 * b - d / 3.0 + e - 0.25 * f + g / 30.0,
        -a / 24.0 + (2.0 / 3.0) * b - 1.25 * d + (2.0 / 3.0) * e - f / 24.0,
        -a / 24.0 - b / 24.0 + (5.0 / 12.0) * d - (7.0 / 12.0) * e + (7.0 / 24.0) * f - g / 24.0,
        a / 24.0 - b / 6.0 + 0.25 * d - e / 6.0 + f / 24.0,
        -a / 120.0 + b / 24.0 - d / 12.0 + e / 12.0 - f / 24.0 + g / 120.0,
    )


@jit
def _value(c: Polynomial, s: float) -> float:
    return c[0] + s * (c[1] + s * (c[2] + s * (c[3] + s * (c[4] + s * c[5]))))


@jit
def _derivative(c: Polynomial) -> Polynomial:
    return (c[1], 2.0 * c[2], 3.0 * c[3], 4.0 * c[4], 5.0 * c[5], 0.0)


@jit
def _lag(slope: float, law: Law) -> float:
    """How far the output lags behind its target beyond the linear lag: V L(r)."""
    constant = law[2]
    if constant == 0.0:
        return 0.0
    steepest = law[0] if slope > 0.0 else -law[1]
    r = min(max(slope / steepest, -1.0), 1.0)
    r2 = r * r
    lag: float = steepest * constant * r * r2 * (1.0 / 3.0 + r2 * (0.2 + r2 / 7.0))
    return lag


@jit
def _followed(c: Polynomial, slope: Polynomial, s: float, law: Law) -> float:
    """What the output follows: the target less its lag."""
    return _value(c, s) - _lag(_value(slope, s), law)


@jit
def _beyond(
    c: Polynomial, slope: Polynomial, s: float, law: Law, line: Line, sign: float
) -> tuple[float, float]:
    """How far what the output follows is beyond a straight line, and the slope of that."""
    speed = _value(slope, s)
    beyond = _value(c, s) - line[0] - line[1] * s
    climb = speed - line[1]
    if law[2] > 0.0:
        beyond -= _lag(speed, law)
        r = speed / (law[0] if speed > 0.0 else law[1])
        if r < 1.0:
            r2 = r * r
            climb -= law[2] * r2 * (1.0 + r2 * (1.0 + r2)) * _value(_derivative(slope), s)
    return sign * beyond, sign * climb


@jit
def _root(
    c: Polynomial,
    slope: Polynomial,
    law: Law,
    line: Line,
    sign: float,
    low: float,
    high: float,
    guess: float,
) -> float:
    """Where `_beyond` turns positive, in a bracket: Newton, kept inside by bisection."""
    s = guess
    for _ in range(_ROOT_STEPS):
        value, climb = _beyond(c, slope, s, law, line, sign)
        if value > 0.0:
            high = s
        else:
            low = s
        step = s - value / climb if climb > 0.0 else low
        if abs(step - s) < _TIME_ERROR:
            return min(max(step, low), high)
        if not (low < step < high):
            step = 0.5 * (low + high)
        s = step
    return s


@jit
def _crossing(
    c: Polynomial, slope: Polynomial, law: Law, line: Line, sign: float, start: float
) -> float:
    """The first time after `start`, up to 1, at which `_beyond` turns positive; else `_NEVER`.

    An excursion between the nodes is found by its extremum.
    """
    there, climb_there = _beyond(c, slope, 1.0, law, line, sign)
    here, climb_here = _beyond(c, slope, start, law, line, sign)
    if there > 0.0:
        share = here / (here - there) if here < 0.0 else 0.5
        guess = start + (1.0 - start) * max(share, 1e-3)
        return _root(c, slope, law, line, sign, start, 1.0, guess)
    if climb_there < 0.0 and climb_here > 0.0:
        if here + climb_here * (1.0 - start) < 0.0 and there - climb_there * (1.0 - start) < 0.0:
            return _NEVER  # under both tangents, as far as they lead
        middle = 0.5 * (start + 1.0)
        bend = _derivative(slope)
        top = _root(slope, bend, _NO_LAW, (line[1], 0.0), -sign, start, 1.0, middle)
        if _beyond(c, slope, top, law, line, sign)[0] > 0.0:
            return _root(c, slope, law, line, sign, start, top, 0.5 * (start + top))
    return _NEVER


@jit
def _spread(delta: Array, i: int, s: float, amount: float) -> None:
    """Give an amount at time s of interval i to the four splines that reach it."""
    r, s2 = 1.0 - s, s * s
    s3 = s2 * s
    delta[i] += amount * r * r * r / 6.0
    delta[i + 1] += amount * (3.0 * s3 - 6.0 * s2 + 4.0) / 6.0
    delta[i + 2] += amount * (-3.0 * s3 + 3.0 * s2 + 3.0 * s + 1.0) / 6.0
    delta[i + 3] += amount * s3 / 6.0


@jit
def _add_line(
    delta: Array, i: int, c: Polynomial, level: float, speed: float, start: float, stop: float
) -> None:
    """Add (line - target) between two times of interval i."""
    width = stop - start
    for j in range(5):
        s = start + width * _GAUSS_AT[j]
        _spread(delta, i, s, (level + speed * s - _value(c, s)) * _GAUSS_WEIGHT[j] * width)


@jit
def _add_lag(delta: Array, i: int, slope: Polynomial, law: Law, start: float, stop: float) -> None:
    """Take away the lag between two times of interval i."""
    width = stop - start
    for j in range(5):
        s = start + width * _GAUSS_AT[j]
        _spread(delta, i, s, -_lag(_value(slope, s), law) * _GAUSS_WEIGHT[j] * width)


@jit
def _add_whole_line(delta: Array, u: Array, i: int, level: float, speed: float) -> None:
    """Add (line - target) over the whole of interval i."""
    k = i + BEFORE
    a, b, d, e, f, g = u[k - 2], u[k - 1], u[k], u[k + 1], u[k + 2], u[k + 3]
    end = level + speed
    for j in range(4):
        line = level * _LINE[0][j] + end * _LINE[1][j]
        target = (_SIX[0][j] * a + _SIX[1][j] * b + _SIX[2][j] * d) + (
            _SIX[3][j] * e + _SIX[4][j] * f + _SIX[5][j] * g
        )
        delta[i + j] += line - target


@jit
def _node_slope(u: Array, k: int) -> float:
    """Slope of the target at a node, per interval; five-point formula."""
    slope: float = (u[k + 1] - u[k - 1]) * (2.0 / 3.0) - (u[k + 2] - u[k - 2]) / 12.0
    return slope


@jit
def _add_whole_lag(delta: Array, lags: Array, i: int) -> None:
    """Take away the lag over the whole of interval i, from its four nearest nodes."""
    for j in range(4):
        delta[i + j] -= (
            _FOUR[0][j] * lags[0]
            + _FOUR[1][j] * lags[1]
            + _FOUR[2][j] * lags[2]
            + _FOUR[3][j] * lags[3]
        )


@jit
def _leaving(
    c: Polynomial,
    slope: Polynomial,
    law: Law,
    s: float,
    high: float,
    low: float,
    may: int,
) -> tuple[float, float]:
    """The next event on an interval while tracking: its time and the mode after it.

    `may` says which limits are near: 1 high, 2 low, 4 rise, 8 fall.
    """
    rise, fall = law[0], law[1]
    here, steep = _followed(c, slope, s, law), _value(slope, s)
    error = _LEVEL_ERROR * (abs(here) + abs(steep))  # or it would bounce off what it just left
    if here > high + error:
        return s, CLIPPED_HIGH
    if here < low - error:
        return s, CLIPPED_LOW
    if steep > rise * (1.0 + 1e-9):
        return s, RISING
    if steep < fall * (1.0 + 1e-9):
        return s, FALLING
    when, after = _NEVER, TRACKING
    if may & 1:
        found = _crossing(c, slope, law, (high, 0.0), 1.0, s)
        if found < when:
            when, after = found, CLIPPED_HIGH
    if may & 2:
        found = _crossing(c, slope, law, (low, 0.0), -1.0, s)
        if found < when:
            when, after = found, CLIPPED_LOW
    if may & 4:
        found = _crossing(slope, _derivative(slope), _NO_LAW, (rise, 0.0), 1.0, s)
        if found < when:
            when, after = found, RISING
    if may & 8:
        found = _crossing(slope, _derivative(slope), _NO_LAW, (fall, 0.0), -1.0, s)
        if found < when:
            when, after = found, FALLING
    return when, after


@jit
def _next_event(
    c: Polynomial,
    slope: Polynomial,
    law: Law,
    mode: float,
    s: float,
    v: float,
    high: float,
    low: float,
    may: int,
) -> tuple[float, float]:
    """The next event on an interval while in a mode: its time and the mode after it."""
    if mode == TRACKING:
        return _leaving(c, slope, law, s, high, low, may)
    rise, fall = law[0], law[1]
    if mode == CLIPPED_HIGH or mode == CLIPPED_LOW:
        sign = 1.0 if mode == CLIPPED_HIGH else -1.0
        when = _crossing(c, slope, law, (v, 0.0), -sign, s)
        if when == _NEVER:
            return when, mode
        steep = _value(slope, when)
        if mode == CLIPPED_HIGH and steep < fall:
            return when, FALLING
        if mode == CLIPPED_LOW and steep > rise:
            return when, RISING
        return when, TRACKING
    sign = 1.0 if mode == RISING else -1.0
    speed = rise if mode == RISING else fall
    wall = high if mode == RISING else low
    when = _crossing(c, slope, law, (v - speed * s, speed), -sign, s)
    at_wall = s + (wall - v) / speed
    if at_wall <= 1.0 and at_wall < when:
        return at_wall, CLIPPED_HIGH if mode == RISING else CLIPPED_LOW
    return when, TRACKING


@jit
def _work_out(
    u: Array, i: int, law: Law, high: float, low: float, v: float, mode: float, delta: Array
) -> tuple[float, float, int]:
    """One interval with all its events; returns output, mode and mark at its end."""
    k = i + BEFORE
    c = _polynomial(u, k)
    slope = _derivative(c)
    step = max(abs(u[k] - u[k - 1]), abs(u[k + 1] - u[k]), abs(u[k + 2] - u[k + 1]))
    reach, steep = _NEAR * step, _STEEPER * step
    may = 1 if max(u[k], u[k + 1]) + reach > high else 0
    may |= 2 if min(u[k], u[k + 1]) - reach < low else 0
    may |= 4 if steep > law[0] else 0
    may |= 8 if -steep < law[1] else 0
    s, mark, events = 0.0, 0, 0
    while s < 1.0 and events < _EVENTS_PER_INTERVAL:
        events += 1
        when, after = _next_event(c, slope, law, mode, s, v, high, low, may)
        stop = min(when, 1.0)
        if mode == TRACKING:
            if law[2] > 0.0 and stop > s:
                _add_lag(delta, i, slope, law, s, stop)
            v = _followed(c, slope, stop, law)
        else:
            speed = 0.0
            if mode == RISING:
                speed = law[0]
            elif mode == FALLING:
                speed = law[1]
            level = v - speed * s
            if stop > s:
                if s == 0.0 and stop == 1.0:
                    _add_whole_line(delta, u, i, level, speed)
                else:
                    _add_line(delta, i, c, level, speed, s, stop)
                mark |= 1 if speed == 0.0 else 2
            v = level + speed * stop
        s = stop
        if when <= 1.0:
            mode = after
            if mode == CLIPPED_HIGH:
                v = high
            elif mode == CLIPPED_LOW:
                v = low
    if s < 1.0:  # more events than an interval can hold: rejoin the target
        mode, v = TRACKING, u[k + 1]
    return v, mode, mark


@jit
def limit(
    u: Array, limits: Array, law: Array, state: Array, lags: Array, delta: Array, marks: Array
) -> int:
    """Limit a channel in level and slope; write what the output has more than its target.

    Tracking, the output follows the target less its lag; otherwise it stays at a limit, or moves
    at the limiting slope until it meets what it follows, or a limit.  The output itself is
    clamped, so nothing winds up.

    Parameters
    ----------
    u : float64 array [intervals + 7]
        Target at the nodes; interval i runs from u[i + 3] to u[i + 4].
    limits : float64 array [2]
        Highest and lowest output; infinite where there is no limit.
    law : float64 array [3]
        Steepest rise and fall per interval (fall is negative; infinite where there is no limit),
        and the time constant N/w_t in intervals, 0 for no lag.
    state : float64 array [2]
        Output and mode at the first node; left as at the last.
    lags : float64 array [4]
        Room to work in.
    delta : float64 array [intervals + 3]
        Raised by the spline-weighted output less target; element k belongs to node k - 1.
    marks : float64 array [intervals]
        Overwritten: 0, or 1 where the output was clipped, 2 where it slewed, 3 for both.

    Returns
    -------
    int
        Intervals on which the output was clipped or slewed.
    """
    high, low, rise, fall = limits[0], limits[1], law[0], law[1]
    lagging = law[2] > 0.0
    slack = _LARGEST_LAG * law[2] * max(rise, -fall) if lagging else 0.0
    v, mode = state[0], state[1]
    limited = 0
    if lagging:
        for j in range(3):
            lags[j + 1] = _lag(_node_slope(u, BEFORE - 1 + j), law)
    for i in range(marks.size):
        k = i + BEFORE
        here, there = u[k], u[k + 1]
        step = max(abs(here - u[k - 1]), abs(there - here), abs(u[k + 2] - there))
        steep, reach = _STEEPER * step, _NEAR * step
        if lagging:
            lags[0], lags[1], lags[2] = lags[1], lags[2], lags[3]
            lags[3] = _lag(_node_slope(u, k + 2), law)
        mark = -1
        if mode == TRACKING:
            slow = steep < rise and -steep > fall
            if slow and max(here, there) + reach < high and min(here, there) - reach > low:
                mark, v = 0, there
                if lagging and steep < _STEEP_LAG * rise and -steep > _STEEP_LAG * fall:
                    _add_whole_lag(delta, lags, i)
                elif lagging:
                    _add_lag(delta, i, _derivative(_polynomial(u, k)), law, 0.0, 1.0)
        elif mode == CLIPPED_HIGH:
            if min(here, there) - reach - slack > high:
                mark = 1
                _add_whole_line(delta, u, i, high, 0.0)
        elif mode == CLIPPED_LOW:
            if max(here, there) + reach + slack < low:
                mark = 1
                _add_whole_line(delta, u, i, low, 0.0)
        elif mode == RISING:
            ahead = min(here - v, there - v - rise)
            if ahead - reach - slack > 0.0 and v + rise < high:
                mark = 2
                _add_whole_line(delta, u, i, v, rise)
                v += rise
        else:
            ahead = max(here - v, there - v - fall)
            if ahead + reach + slack < 0.0 and v + fall > low:
                mark = 2
                _add_whole_line(delta, u, i, v, fall)
                v += fall
        if mark < 0:
            v, mode, mark = _work_out(u, i, law, high, low, v, mode, delta)
        if mark > 0:
            limited += 1
        marks[i] = float(mark)
    state[0], state[1] = v, mode
    return limited
