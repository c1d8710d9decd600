"""Slew limiting and hard clipping of one channel, with every event at its exact time.

Between two nodes the target u is a polynomial of degree 5 through six nodes.  When the output
leaves it, meets a limit and comes back is found to rounding error, and what the output has more
than u is integrated against cubic B-splines centred on the nodes.  So the corners of the limited
waveform carry no error of the grid, and little of them folds back.

With a time constant T the output v obeys the two-stage amplifier's law dv/dt = S tanh(x), where
x = (u - v)/V and V = S T.  What is handed on is w = v + T dv/dt, which the closed loop's own pole
turns into v; it is u - V (x - tanh x).  Of that the kernel has closed forms:

- well below S, y = tanh x is the target's slope over S, late by T (1 + y^2/(1 - y^2)), so that w
  is u - V (artanh y - y);
- well beyond, v is a straight line of slope S, and w the same line less V.  Where the line lies
  follows from how it began: by the target's slope passing S, or from a level, or from the other
  line.  The rounding of its end counts by its area.

Both are in the limit of a T that is short against the music.

Loops that vectorise tell the intervals on which a limit may be met from the others.  On those
alone the events are worked out, one after another, and the lag there is given back beforehand;
in the end the lag of all intervals is taken away in another such loop.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from stagefx.kernels._jit import jit

Array = NDArray[np.float64]
Six = tuple[float, float, float, float, float, float]
Four = tuple[float, float, float, float]
Line = tuple[float, float]
Law = tuple[float, float, float, float, float]
"""Steepest rise and fall, the time constant, and one over the first two."""

BEFORE, AFTER = 7, 5
"""Nodes that an interval needs before and after its first node."""

TRACKING, CLIPPED_HIGH, CLIPPED_LOW, RISING, FALLING = 0.0, 1.0, -1.0, 2.0, -2.0
MARK_NONE, MARK_CLIPPED, MARK_SLEWING, MARK_BOTH = 0.0, 1.0, 2.0, 3.0

STEP = 4096
"""Intervals that are worked on at a time."""
ROOM = 19
"""Elements that the room to work in has beside three for every interval."""

_NEVER = 2.0
_NO_LAW = (np.inf, -np.inf, 0.0, 0.0, 0.0)
_ROOT_STEPS = 40
_TIME_ERROR = 1e-5  # of the last Newton step, whose own error is its square
_LEVEL_ERROR = 1e-12
_APART = 1e-5  # least time between events: what leaves a line touches it first
_EVENTS_PER_INTERVAL = 12
_REACH = 0.2  # how far something can exceed its nodes between them, in second differences
_SURELY = 0.995  # a polynomial's slope at its ends differs by this much from that of seven points

_MOST_END = 0.9
"""Slope over S up to which a line's end is told by it; more would make too much of a slow end."""
_BEYOND_LEVELS = 0.5  # of their distance: a line, as continued to its beginning, may lie outside
_LEAST_EXCESS = 1e-9

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
"""The same for the nodes -1 to 2, between which the lag is interpolated."""
_AT_NODES = (1488 / 2520, 543 / 2520, -24 / 2520, -3 / 2520)
"""What the lag of all intervals at a node gives, in sum, to splines 0, 1, 2 and 3 from it."""
_LINE = (
    (4 / 120, 33 / 120, 22 / 120, 1 / 120),
    (1 / 120, 22 / 120, 33 / 120, 4 / 120),
)
"""The same as `_SIX` for a straight line through both ends."""
_GAUSS_AT = tuple((0.5 + 0.5 * np.polynomial.legendre.leggauss(5)[0]).tolist())
_GAUSS_WEIGHT = tuple((0.5 * np.polynomial.legendre.leggauss(5)[1]).tolist())
_THREE_AT = tuple((0.5 + 0.5 * np.polynomial.legendre.leggauss(3)[0]).tolist())
_THREE_WEIGHT = tuple((0.5 * np.polynomial.legendre.leggauss(3)[1]).tolist())
"""Three for the lag, which is smooth and small."""


# --- the target and what follows it ---


@jit
def _polynomial(u: Six) -> Six:
    """Coefficients, rising powers of the time since node 0, of the target at nodes -2 to 3."""
    a, b, d, e, f, g = u
    return (
        d,
        0.05 * a - 0.5 * b - d / 3.0 + e - 0.25 * f + g / 30.0,
        -a / 24.0 + (2.0 / 3.0) * b - 1.25 * d + (2.0 / 3.0) * e - f / 24.0,
        -a / 24.0 - b / 24.0 + (5.0 / 12.0) * d - (7.0 / 12.0) * e + (7.0 / 24.0) * f - g / 24.0,
        a / 24.0 - b / 6.0 + 0.25 * d - e / 6.0 + f / 24.0,
        -a / 120.0 + b / 24.0 - d / 12.0 + e / 12.0 - f / 24.0 + g / 120.0,
    )


@jit
def _value(c: Six, s: float) -> float:
    s2 = s * s
    return (c[0] + s * c[1]) + s2 * ((c[2] + s * c[3]) + s2 * (c[4] + s * c[5]))


@jit
def _derivative(c: Six) -> Six:
    return (c[1], 2.0 * c[2], 3.0 * c[3], 4.0 * c[4], 5.0 * c[5], 0.0)


@jit
def _steady(r: float, change: float, bend: float) -> tuple[float, float]:
    """The output's slope y over S, and artanh y - y, from the target's slope, late by T, over S.

    Late once more by T y^2/(1 - y^2), from the changes of r over T; both series are cut, so that
    they stay smooth up to S.
    """
    r = min(max(r, -1.0), 1.0)
    r2 = r * r
    more = r2 * (1.0 + r2) * (1.0 + r2 * r2)
    y = min(max(r - more * (change - more * bend), -1.0), 1.0)
    y2 = y * y
    y4 = y2 * y2
    low = (1.0 / 3.0 + y2 * (1.0 / 5.0)) + y4 * (1.0 / 7.0 + y2 * (1.0 / 9.0))
    return y, y * y2 * (low + (y4 * y4) * ((1.0 / 11.0 + y2 * (1.0 / 13.0)) + y4 * (1.0 / 15.0)))


@jit
def _lag(before: float, slope: float, after: float, law: Law) -> float:
    """How far the output lags behind its target beyond the linear lag.

    From the target's slope half an interval before, here, and half an interval after.
    """
    steepest, inverse = (law[0], law[3]) if slope > 0.0 else (law[1], law[4])
    share = law[2] * inverse
    bend = 4.0 * law[2] * share * ((after - slope) - (slope - before))
    change = share * (after - before) - bend
    return steepest * law[2] * _steady(slope * inverse - change, change, bend)[1]


@jit
def _late(c: Six, s: float, law: Law) -> tuple[float, float, float]:
    """While tracking: the lag, the linear lag beside it, and the output's slope."""
    slope = _derivative(c)
    bend = _derivative(slope)
    speed = _value(slope, s)
    steepest, inverse = (law[0], law[3]) if speed > 0.0 else (law[1], law[4])
    share = law[2] * inverse
    turn = law[2] * share * _value(_derivative(bend), s)
    change = share * _value(bend, s) - turn
    y, lag = _steady(speed * inverse - change, change, turn)
    return steepest * law[2] * lag, steepest * law[2] * y, steepest * y


@jit
def _output(c: Six, s: float, law: Law) -> tuple[float, float]:
    """The output while tracking, and its slope."""
    value = _value(c, s)
    if law[2] == 0.0:
        return value, _value(_derivative(c), s)
    lag, linear, speed = _late(c, s, law)
    return value - lag - linear, speed


@jit
def _beyond(c: Six, s: float, law: Law, line: Line, sign: float) -> tuple[float, float]:
    """How far the output is beyond a straight line while tracking, and the slope of that."""
    value, climb = _output(c, s, law)
    return sign * (value - line[0] - line[1] * s), sign * (climb - line[1])


# --- when it crosses a line ---


@jit
def _root(
    c: Six,
    law: Law,
    line: Line,
    sign: float,
    low: float,
    high: float,
    guess: float,
) -> float:
    """Where `_beyond` turns positive, in a bracket: Newton, kept inside by bisection."""
    s, moved, steps = guess, 1.0, 0
    while abs(moved) >= _TIME_ERROR and steps < _ROOT_STEPS:
        value, climb = _beyond(c, s, law, line, sign)
        if value > 0.0:
            high = s
        else:
            low = s
        step = s - value / climb if climb > 0.0 else _NEVER
        if not (low <= step <= high):
            step = 0.5 * (low + high)
        moved, s, steps = step - s, step, steps + 1
    return s


@jit
def _guess(here: float, climb_here: float, there: float, climb_there: float) -> float:
    """Share of the way from a value below zero to one above at which zero is passed, about."""
    if climb_there <= 0.0:
        return 0.5
    if climb_here <= 0.0:  # it comes from below: the tangent at the end leads to it
        return max(1.0 - there / climb_there, 0.5)
    rise = there - here
    share, rest = -here / rise, there / rise
    first, last = rise / climb_here, rise / climb_there  # the inverse as a cubic
    bent = share * (share * (3.0 - 2.0 * share) + rest * (first * rest - last * share))
    return bent if 0.0 < bent < 1.0 else share


@jit
def _crossing(c: Six, law: Law, line: Line, sign: float, start: float) -> float:
    """The first time after `start`, up to 1, at which `_beyond` is positive; else `_NEVER`.

    An excursion between the nodes is found by its extremum.
    """
    start += _APART
    if start >= 1.0:
        return _NEVER
    there, climb_there = _beyond(c, 1.0, law, line, sign)
    here, climb_here = _beyond(c, start, law, line, sign)
    if here > 0.0:
        return start
    width = 1.0 - start
    if there > 0.0:
        guess = start + width * _guess(here, climb_here * width, there, climb_there * width)
        return _root(c, law, line, sign, start, 1.0, guess)
    if climb_there < 0.0 and climb_here > 0.0:
        if here + climb_here * width < 0.0 and there - climb_there * width < 0.0:
            return _NEVER  # under both tangents, as far as they lead
        middle = 0.5 * (start + 1.0)
        top = _root(_derivative(c), _NO_LAW, (line[1], 0.0), -sign, start, 1.0, middle)
        if _beyond(c, top, law, line, sign)[0] > 0.0:
            return _root(c, law, line, sign, start, top, 0.5 * (start + top))
    return _NEVER


# --- integrals against the splines ---


@jit
def _line_moments(c: Six, line: Line, start: float, stop: float) -> Four:
    """Integrals of (line - target) times the powers 0 to 3 of the time, between two times."""
    width = stop - start
    m0, m1, m2, m3 = 0.0, 0.0, 0.0, 0.0
    for j in range(5):
        s = start + width * _GAUSS_AT[j]
        amount = (line[0] + line[1] * s - _value(c, s)) * (_GAUSS_WEIGHT[j] * width)
        s2 = s * s
        m0 += amount
        m1 += amount * s
        m2 += amount * s2
        m3 += amount * (s2 * s)
    return m0, m1, m2, m3


@jit
def _lag_moments(c: Six, law: Law, start: float, stop: float) -> Four:
    """The same of the lag."""
    width = stop - start
    m0, m1, m2, m3 = 0.0, 0.0, 0.0, 0.0
    for j in range(3):
        s = start + width * _THREE_AT[j]
        amount = _late(c, s, law)[0] * (_THREE_WEIGHT[j] * width)
        s2 = s * s
        m0 += amount
        m1 += amount * s
        m2 += amount * s2
        m3 += amount * (s2 * s)
    return m0, m1, m2, m3


@jit
def _spread(m0: float, m1: float, m2: float, m3: float) -> Four:
    """What something with these moments gives to the four splines that reach its interval."""
    return (
        (m0 - 3.0 * (m1 - m2) - m3) * (1.0 / 6.0),
        (4.0 * m0 - 6.0 * m2 + 3.0 * m3) * (1.0 / 6.0),
        (m0 + 3.0 * (m1 + m2) - 3.0 * m3) * (1.0 / 6.0),
        m3 * (1.0 / 6.0),
    )


@jit
def _whole_line(u: Six, level: float, speed: float, j: int) -> float:
    """What (line - target) over a whole interval gives to its spline j."""
    line: float = level * _LINE[0][j] + (level + speed) * _LINE[1][j]
    target = (_SIX[0][j] * u[0] + _SIX[1][j] * u[1] + _SIX[2][j] * u[2]) + (
        _SIX[3][j] * u[3] + _SIX[4][j] * u[4] + _SIX[5][j] * u[5]
    )
    return line - target


@jit
def _whole_lag(lags: Four, j: int) -> float:
    """What the lag over a whole interval, from four nodes of it, gives to its spline j."""
    lag: float = (_FOUR[0][j] * lags[0] + _FOUR[1][j] * lags[1]) + (
        _FOUR[2][j] * lags[2] + _FOUR[3][j] * lags[3]
    )
    return lag


# --- loops over all intervals ---


@jit
def _find_slopes(u: Array, slopes: Array, midway: Array) -> None:
    """Slopes of the target per interval, at the nodes from -4 on and midway before each."""
    count = slopes.size
    a, b, c, d = u[:count], u[1 : 1 + count], u[2 : 2 + count], u[3 : 3 + count]
    e, f, g = u[4 : 4 + count], u[5 : 5 + count], u[6 : 6 + count]
    for m in range(count):
        slopes[m] = 0.75 * (e[m] - c[m]) - 0.15 * (f[m] - b[m]) + (1.0 / 60.0) * (g[m] - a[m])
    count = midway.size
    a, b, c = u[:count], u[1 : 1 + count], u[2 : 2 + count]
    d, e, f = u[3 : 3 + count], u[4 : 4 + count], u[5 : 5 + count]
    for m in range(count):
        midway[m] = (
            (75.0 / 64.0) * (d[m] - c[m])
            - (25.0 / 384.0) * (e[m] - b[m])
            + (3.0 / 640.0) * (f[m] - a[m])
        )


@jit
def _watch_levels(u: Array, high: float, low: float, over: Array) -> None:
    """By how much the target may be beyond a level on each interval; negative where it is not.

    The output, which comes later, meets a level where the target is beyond.
    """
    count = over.size
    before, here = u[BEFORE - 1 : BEFORE - 1 + count], u[BEFORE : BEFORE + count]
    there, after = u[BEFORE + 1 : BEFORE + 1 + count], u[BEFORE + 2 : BEFORE + 2 + count]
    for i in range(count):
        d, e = here[i], there[i]
        step = e - d
        bend = max(abs(step - (d - before[i])), abs((after[i] - e) - step))
        reach = _REACH * bend
        over[i] = max(max(d, e) + reach - high, low - (min(d, e) - reach))


@jit
def _watch_slopes(slopes: Array, midway: Array, rise: float, fall: float, over: Array) -> None:
    """The same for the target's slope; raises what is there."""
    count = over.size
    here, there = slopes[4 : 4 + count], slopes[5 : 5 + count]
    middle = midway[5 : 5 + count]
    for i in range(count):
        d, m, e = here[i], middle[i], there[i]
        reach = _REACH * abs(d - 2.0 * m + e)
        steep = max(max(d, e, m) + reach - rise, fall - (min(d, e, m) - reach))
        over[i] = max(over[i], steep)


@jit
def _find_lags(slopes: Array, midway: Array, law: Law, lags: Array) -> None:
    """Lags at the nodes of the slopes."""
    count = lags.size
    a, b, c = midway[:count], slopes[:count], midway[1 : 1 + count]
    for m in range(count):
        lags[m] = _lag(a[m], b[m], c[m], law)


@jit
def _take_lags(lags: Array, delta: Array) -> None:
    """Take the lag of all intervals from what the splines have."""
    count = delta.size
    n0, n1, n2, n3 = _AT_NODES
    a, b, c, d = lags[:count], lags[1 : 1 + count], lags[2 : 2 + count], lags[3 : 3 + count]
    e, f, g = lags[4 : 4 + count], lags[5 : 5 + count], lags[6 : 6 + count]
    for n in range(count):
        delta[n] -= (n0 * d[n] + n1 * (c[n] + e[n])) + (n2 * (b[n] + f[n]) + n3 * (a[n] + g[n]))


# --- event after event ---


@jit
def _near_limits(c: Six, law: Law, high: float, low: float) -> int:
    """Which limits may be met on an interval: 1 high, 2 low, 4 rise, 8 fall."""
    slope = _derivative(c)
    bend = _derivative(slope)
    turn = _derivative(bend)
    last, steep = _value(c, 1.0), _value(slope, 1.0)
    reach = _REACH * max(abs(bend[0]), abs(_value(bend, 1.0)))
    steeper = _REACH * max(abs(turn[0]), abs(_value(turn, 1.0)))
    may = 1 if max(c[0], last) + reach > high else 0
    may |= 2 if min(c[0], last) - reach < low else 0
    may |= 4 if max(slope[0], steep) + steeper > law[0] else 0
    may |= 8 if min(slope[0], steep) - steeper < law[1] else 0
    return may


@jit
def _leaving(c: Six, law: Law, s: float, high: float, low: float) -> tuple[float, float]:
    """The next event on an interval while tracking: its time and the mode after it."""
    rise, fall = law[0], law[1]
    slope = _derivative(c)
    steep = _value(slope, s)
    may = _near_limits(c, law, high, low)
    here, error = 0.0, 0.0
    if may & 3:
        here, climb = _output(c, s, law)
        error = _LEVEL_ERROR * (abs(here) + abs(steep))  # or it would bounce off what it just left
        # with a time constant it leaves a level more slowly than it would pass it
        if here > high + error and (law[2] == 0.0 or climb > 0.0):
            return s, CLIPPED_HIGH
        if here < low - error and (law[2] == 0.0 or climb < 0.0):
            return s, CLIPPED_LOW
    if steep > rise * (1.0 + 1e-9):
        return s, RISING
    if steep < fall * (1.0 + 1e-9):
        return s, FALLING
    when, after = _NEVER, TRACKING
    if may & 1 and here <= high + error:
        found = _crossing(c, law, (high, 0.0), 1.0, s)
        if found < when:
            when, after = found, CLIPPED_HIGH
    if may & 2 and here >= low - error:
        found = _crossing(c, law, (low, 0.0), -1.0, s)
        if found < when:
            when, after = found, CLIPPED_LOW
    if may & 4:
        found = _crossing(slope, _NO_LAW, (rise, 0.0), 1.0, s)
        if found < when:
            when, after = found, RISING
    if may & 8:
        found = _crossing(slope, _NO_LAW, (fall, 0.0), -1.0, s)
        if found < when:
            when, after = found, FALLING
    return when, after


@jit
def _next_event(
    c: Six, law: Law, mode: float, s: float, v: float, high: float, low: float
) -> tuple[float, float]:
    """The next event on an interval while in a mode: its time and the mode after it."""
    if mode == TRACKING:
        return _leaving(c, law, s, high, low)
    rise, fall = law[0], law[1]
    if mode == CLIPPED_HIGH or mode == CLIPPED_LOW:
        sign = 1.0 if mode == CLIPPED_HIGH else -1.0
        when = _crossing(c, _NO_LAW, (v, 0.0), -sign, s)
        if when == _NEVER:
            return when, mode
        steep = _value(_derivative(c), when)
        if mode == CLIPPED_HIGH and steep < fall:
            return when, FALLING
        if mode == CLIPPED_LOW and steep > rise:
            return when, RISING
        return when, TRACKING
    sign = 1.0 if mode == RISING else -1.0
    speed = rise if mode == RISING else fall
    wall = high if mode == RISING else low
    ahead = v + speed * law[2] if law[2] > 0.0 else v
    start, slope = s, _derivative(c)
    if law[2] > 0.0 and sign * (_value(slope, s) - speed) > 0.0:  # it cannot end while this grows
        start = _crossing(slope, _NO_LAW, (speed, 0.0), -sign, s)
    when = _NEVER
    if start < 1.0:
        when = _crossing(c, _NO_LAW, (ahead - speed * s, speed), -sign, start)
    at_wall = s + (wall - v) / speed
    if at_wall <= 1.0 and at_wall < when:
        return at_wall, CLIPPED_HIGH if mode == RISING else CLIPPED_LOW
    if law[2] > 0.0 and when != _NEVER:
        steep = _value(_derivative(c), when)
        if mode == RISING and steep < fall:
            return when, FALLING
        if mode == FALLING and steep > rise:
            return when, RISING
    return when, TRACKING


# --- where the law's lines lie ---


@jit
def _line_begins(c: Six, s: float, v: float, before: float, after: float, law: Law) -> float:
    """How far behind its target the output is on a line that begins, as continued to its beginning.

    With r the target's slope over S, x' = (r - tanh x)/T.  Where r passes 1 at the rate k/T, x
    comes to k t^2/(2 T^2) + ln(4)/2 + ln(pi/k)/4, since exp(2 x) obeys a linear equation; from
    x = 0 and at a steady r, to (r - 1) t/T + ln(2 r/(r - 1))/(r + 1); from the other line, whose x
    is -x0, to (r - 1) t/T + ln((r + 1)/(r - 1))/(r + 1) - x0 (r - 1)/(r + 1).  Where r is near 1
    its rate counts with r - 1, as it does where r is 1.
    """
    slope = _derivative(c)
    bend = _derivative(slope)
    steepest, inverse = (law[0], law[3]) if after == RISING else (law[1], law[4])
    r = _value(slope, s) * inverse
    rate = abs(law[2] * inverse * _value(bend, s))
    if before == TRACKING:
        # where the slope only just passes S, its own bend takes the place of its rate
        turn = abs(law[2] * law[2] * inverse * _value(_derivative(bend), s))
        if turn * turn > rate * rate * rate:
            rate = max(turn ** (2.0 / 3.0), _LEAST_EXCESS)
        x = max(0.25 * math.log(16.0 * np.pi / rate), 1.0)
        return x * steepest * law[2]
    excess = 0.5 * (r - 1.0 + math.sqrt((r - 1.0) * (r - 1.0) + 4.0 * rate / np.pi))
    excess = max(excess, _LEAST_EXCESS)
    if abs(before) == RISING:
        other = law[1] if after == RISING else law[0]
        x0 = (_value(c, s) - v) / (other * law[2])
        x = math.log((r + 1.0) / excess) / (r + 1.0) - x0 * (r - 1.0) / (r + 1.0)
        return x * steepest * law[2]
    return math.log(2.0 * r / excess) / (r + 1.0) * steepest * law[2]


@jit
def _rounded_end(c: Six, s: float, mode: float, law: Law) -> float:
    """Area by which the output lags more, where a line ends, than line and steady lag would.

    At a steady r, the integral of x - tanh x along x' = (r - tanh x)/T, less that of its ends.
    """
    steepest, inverse = (law[0], law[3]) if mode == RISING else (law[1], law[4])
    r = min(max(_value(_derivative(c), s) * inverse, -_MOST_END), _MOST_END)
    lag = _steady(r, 0.0, 0.0)[1]
    area = np.pi * np.pi / 12.0 - 0.5 + 0.5 * (r * (1.0 + r * (1.0 - r)) + lag * lag * (1.0 + r))
    return -steepest * law[2] * law[2] * area / (1.0 - r * r)


@jit
def _speed(mode: float, law: Law) -> float:
    """How fast the output moves while it does not track."""
    if mode == RISING:
        return law[0]
    return law[1] if mode == FALLING else 0.0


@jit
def _stays(u: Six, law: Law, high: float, low: float, v: float, mode: float) -> bool:
    """Whether the output surely keeps to its level, or its slope, over a whole interval."""
    _, a, d, e, f, _ = u
    step, speed = e - d, _speed(mode, law)
    reach = _REACH * max(abs(step - (d - a)), abs((f - e) - step))
    if speed != 0.0 and law[2] > 0.0:  # what it follows may lag as far again as the line is ahead
        reach += law[2] * abs(speed)
    if mode > 0.0:
        return min(d - v, e - v - speed) > reach and (speed == 0.0 or v + speed < high)
    return max(d - v, e - v - speed) < -reach and (speed == 0.0 or v + speed > low)


@jit
def _compute_figures(
    u: Six, law: Law, high: float, low: float, v: float, mode: float
) -> tuple[float, float, int, Four]:
    """One interval with all its events.

    Returns output, mode and mark at its end, and what the four splines gain; mark is -1, and
    nothing else matters, where all the interval is tracked.
    """
    c = _polynomial(u)
    s, mark, events = 0.0, 0, 1
    when, after = _next_event(c, law, mode, s, v, high, low)
    if mode == TRACKING and when > 1.0:
        return v, mode, -1, (0.0, 0.0, 0.0, 0.0)
    m0, m1, m2, m3 = 0.0, 0.0, 0.0, 0.0
    while True:
        stop = min(when, 1.0)
        if mode == TRACKING:
            if law[2] > 0.0 and stop > s:
                p0, p1, p2, p3 = _lag_moments(c, law, s, stop)
                m0, m1, m2, m3 = m0 - p0, m1 - p1, m2 - p2, m3 - p3
            v = _value(c, stop)
        else:
            speed = _speed(mode, law)
            level = v - speed * s
            if stop > s:
                ahead = (level + speed * law[2] if law[2] > 0.0 else level, speed)
                p0, p1, p2, p3 = _line_moments(c, ahead, s, stop)
                m0, m1, m2, m3 = m0 + p0, m1 + p1, m2 + p2, m3 + p3
                mark |= 1 if speed == 0.0 else 2
            v = level + speed * stop
        s = stop
        if when <= 1.0:
            if after == CLIPPED_HIGH:
                v = high
            elif after == CLIPPED_LOW:
                v = low
            elif law[2] > 0.0 and abs(after) == RISING:
                v = _value(c, s) - _line_begins(c, s, v, mode, after, law)
                reach = _BEYOND_LEVELS * (high - low)
                v = min(max(v, low - reach), high + reach)
            elif law[2] > 0.0 and abs(mode) == RISING:
                amount = _rounded_end(c, s, mode, law)
                m0, m1, m2 = m0 + amount, m1 + amount * s, m2 + amount * (s * s)
                m3 += amount * (s * s * s)
            mode = after
        if s >= 1.0 or events == _EVENTS_PER_INTERVAL:
            break
        events += 1
        when, after = _next_event(c, law, mode, s, v, high, low)
    # more events than an interval can hold: rejoin the target
    mode, v = (mode, v) if s >= 1.0 else (TRACKING, u[3])
    return v, mode, mark, _spread(m0, m1, m2, m3)


@jit
def _limit_step(
    u: Array, limits: Array, law: Array, state: Array, lags: Array, delta: Array, marks: Array
) -> int:
    """`limit` on as many intervals as stay in the nearest cache."""
    high, low = limits[0], limits[1]
    count = marks.size
    slopes, midway = lags[: count + 6], lags[count + 6 : 2 * count + 13]
    at_nodes = lags[2 * count + 13 : 3 * count + 19]
    whole_law = (law[0], law[1], law[2], 1.0 / law[0], 1.0 / law[1])
    lagging = law[2] > 0.0
    _watch_levels(u, high, low, marks)
    if law[0] < np.inf or law[1] > -np.inf:
        _find_slopes(u, slopes, midway)
        _watch_slopes(slopes, midway, _SURELY * law[0], _SURELY * law[1], marks)
    if lagging:
        _find_lags(slopes, midway, whole_law, at_nodes)
    v, mode = state[0], state[1]
    limited = 0
    for i in range(count):
        if mode == TRACKING and not marks[i] > 0.0:
            marks[i] = MARK_NONE
            continue
        k = i + BEFORE
        near = (u[k - 2], u[k - 1], u[k], u[k + 1], u[k + 2], u[k + 3])
        if mode != TRACKING and _stays(near, whole_law, high, low, v, mode):
            speed = _speed(mode, whole_law)
            ahead = v + speed * law[2] if lagging else v
            for j in range(4):
                delta[i + j] += _whole_line(near, ahead, speed, j)
            v += speed
            mark = 1 if speed == 0.0 else 2
        else:
            v, mode, mark, gained = _compute_figures(near, whole_law, high, low, v, mode)
            if mark < 0:
                marks[i] = MARK_NONE
                continue
            for j in range(4):
                delta[i + j] += gained[j]
        if lagging:
            near_lags = (at_nodes[i + 3], at_nodes[i + 4], at_nodes[i + 5], at_nodes[i + 6])
            for j in range(4):
                delta[i + j] += _whole_lag(near_lags, j)
        limited += 1 if mark > 0 else 0
        marks[i] = float(mark)
    if lagging:
        _take_lags(at_nodes, delta[:count])
    if mode == TRACKING:
        v = u[count + BEFORE]
    state[0], state[1] = v, mode
    return limited


@jit
def limit(
    u: Array, limits: Array, law: Array, state: Array, lags: Array, delta: Array, marks: Array
) -> int:
    """Limit a channel in level and slope; write what the output has more than its target.

    Tracking, the output follows the target less its lag; otherwise it stays at a level, or moves
    at the limiting slope until it meets what it follows, or a level.  The output itself is
    clamped, so nothing winds up.

    Worked on in steps of STEP intervals.  Where the delta of each call begins with the last three
    elements of the one before, the bits do not depend on where the calls and steps begin.
    """
    limited = 0
    for first in range(0, marks.size, STEP):
        count = min(STEP, marks.size - first)
        limited += _limit_step(
            u[first : first + count + BEFORE + AFTER],
            limits,
            law,
            state,
            lags[: 3 * count + ROOM],
            delta[first : first + count + 3],
            marks[first : first + count],
        )
    return limited
