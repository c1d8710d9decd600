"""The limiter against the same law by brute force, and against cases with an exact answer."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray
from scipy.interpolate import BSpline

from stagefx.kernels.limiter import (
    AFTER,
    BEFORE,
    CLIPPED_HIGH,
    CLIPPED_LOW,
    FALLING,
    MARK_BOTH,
    MARK_CLIPPED,
    MARK_NONE,
    MARK_SLEWING,
    RISING,
    ROOM,
    STEP,
    TRACKING,
    limit,
)
from stagefx.kernels.marks import count_marks

Array = NDArray[np.float64]
STEPS = 256
"""Steps of brute force in an interval."""
INFINITE = (np.inf, -np.inf)
SPLINE = BSpline.basis_element(np.arange(-2.0, 3.0), extrapolate=False)


@dataclass(frozen=True)
class Limited:
    """What the limiter left of a channel."""

    delta: Array
    state: Array
    marks: Array
    count: int


def limited(
    u: Array,
    *,
    levels: tuple[float, float] = INFINITE,
    slopes: tuple[float, float] = INFINITE,
    constant: float = 0.0,
    state: tuple[float, float] = (0.0, TRACKING),
) -> Limited:
    """The kernel's answer, slopes and time constant in intervals."""
    intervals = u.size - BEFORE - AFTER
    delta, marks, left = np.zeros(intervals + 3), np.full(intervals, np.nan), np.array(state)
    lags = np.full(3 * min(intervals, STEP) + ROOM, np.nan)
    law = np.array([*slopes, constant])
    count = limit(u, np.array(levels), law, left, lags, delta, marks)
    return Limited(delta, left, marks, count)


def weighed(beyond: Callable[[Array], Array], intervals: int, breaks: list[float]) -> Array:
    """Integrals of a piecewise polynomial against the splines of the nodes, exactly."""
    at, weight = np.polynomial.legendre.leggauss(12)
    delta = np.zeros(intervals + 3)
    edges = sorted({*map(float, range(intervals + 1)), *breaks})
    for low, high in pairwise(edges):
        t = 0.5 * (low + high) + 0.5 * (high - low) * at
        amount = 0.5 * (high - low) * weight * beyond(t)
        for k in range(intervals + 3):
            delta[k] += np.nansum(amount * np.nan_to_num(SPLINE(t - (k - 1))))
    return delta


def nodes_of(target: Callable[[Array], Array], intervals: int) -> Array:
    """A target at its nodes; a polynomial up to degree five comes through exactly."""
    return np.ascontiguousarray(target(np.arange(-BEFORE, intervals + AFTER) * 1.0))


# --- brute force ---


@dataclass(frozen=True)
class Brute:
    """Output less target at fine steps, and what went on at each."""

    delta: Array
    last: float
    clipped: NDArray[np.bool_]
    slewing: NDArray[np.bool_]


def target_and_slopes(u: Array) -> tuple[Array, ...]:
    """The target and three derivatives at each fine step, from polynomials through six nodes."""
    s = np.arange(1, STEPS + 1) / STEPS
    powers = np.vander(np.arange(-2.0, 4.0), increasing=True)
    found = []
    for k in range(BEFORE, u.size - AFTER):
        rising = np.polynomial.Polynomial(np.linalg.solve(powers, u[k - 2 : k + 4]))
        found.append([rising.deriv(order)(s) if order else rising(s) for order in range(4)])
    return tuple(np.concatenate(column) for column in zip(*found, strict=True))


@dataclass
class Law:
    """The limiter's law in closed forms, step by step; `w` is what it hands on."""

    levels: tuple[float, float]
    slopes: tuple[float, float]
    constant: float
    v: float
    line: int = 0
    """1 on the rising line, -1 on the falling one."""
    level: int = 0
    area: float = 0.0
    """What a line's rounded end adds to a step of `w`."""

    def steady(self, speed: float, bend: float, turn: float) -> tuple[float, float]:
        """The lag beyond the linear one, and the linear one."""
        steepest = self.slopes[0] if speed > 0.0 else self.slopes[1]
        if self.constant == 0.0:
            return 0.0, 0.0
        share = self.constant / steepest
        twice = self.constant * share * turn
        change = share * bend - twice
        r = np.clip(speed / steepest - change, -1.0, 1.0)
        more = sum(r ** (2 * k) for k in range(1, 5))
        y = np.clip(r - more * (change - more * twice), -1.0, 1.0)
        lag = sum(y**k / k for k in range(3, 16, 2))
        return steepest * self.constant * lag, steepest * self.constant * y

    def begin(self, u: float, sign: int, r: float, rate: float, bent: float) -> None:
        """Take up a line; r is the target's slope over its own."""
        was, self.line, level, self.level = self.line, sign, self.level, 0
        if self.constant == 0.0:
            self.v = self.v + (u - self.v) / r if level else u
            return
        steering = self.constant * (self.slopes[0] if sign > 0 else self.slopes[1])
        excess = 0.5 * (r - 1.0 + np.hypot(r - 1.0, np.sqrt(4.0 * rate / np.pi)))
        if was:
            x0 = (u - self.v) / (self.constant * (self.slopes[0] if was > 0 else self.slopes[1]))
            x = (np.log((r + 1.0) / excess) - x0 * (r - 1.0)) / (r + 1.0)
        elif level:
            x = np.log(2.0 * r / excess) / (r + 1.0)
        else:
            rate = max(rate, bent ** (2.0 / 3.0))
            x = max(0.5 * np.log(4.0) + 0.25 * np.log(np.pi / rate), 1.0)
        self.v = u - x * steering

    def step(self, u: float, speed: float, bend: float, turn: float) -> float:
        """What is handed on one step later."""
        (high, low), (rise, fall) = self.levels, self.slopes
        sign = 1 if speed > 0.0 else -1
        own = rise if sign > 0 else fall
        r, rate = speed / own, abs(self.constant * bend / own)
        bent = abs(self.constant**2 * turn / own)
        if self.level and (u - self.v) * self.level < 0.0:
            if r > 1.0 and sign != self.level:
                self.begin(u, sign, r, rate, bent)
            self.level = 0
        elif self.line:
            slope = rise if self.line > 0 else fall
            self.v += slope / STEPS
            ahead = self.v + slope * self.constant
            if (u - ahead) * self.line < 0.0 and (speed - slope) * self.line <= 0.0:
                if r > 1.0:
                    self.begin(u, sign, r, rate, bent)
                else:
                    self.end(slope, speed / slope)
        if not self.line and not self.level:
            lag, linear = self.steady(speed, bend, turn)
            self.v = u - lag - linear
            climbs = np.sign(linear)
            if self.v > high and climbs != -1:
                self.level, self.v = 1, high
            elif self.v < low and climbs != 1:
                self.level, self.v = -1, low
            elif r > 1.0:
                self.begin(u, sign, r, rate, bent)
            else:
                more, self.area = self.area, 0.0
                return u - lag + more
        if (self.v - high) * self.line > 0.0 and self.line > 0:
            self.line, self.level, self.v = 0, 1, high
        if (self.v - low) * self.line > 0.0 and self.line < 0:
            self.line, self.level, self.v = 0, -1, low
        slope = {1: rise, -1: fall, 0: 0.0}[self.line]
        return self.v + (slope * self.constant if self.line else 0.0)

    def end(self, slope: float, r: float) -> None:
        """Leave a line for the target; its rounded end has an area of its own."""
        self.line = 0
        if self.constant > 0.0:
            r = float(np.clip(r, -0.9, 0.9))
            lag = sum(r**k / k for k in range(3, 16, 2))
            area = np.pi**2 / 12.0 - 0.5 + 0.5 * (r + r**2 - r**3 + lag**2 * (1.0 + r))
            self.area -= slope * self.constant**2 * area / (1.0 - r * r) * STEPS


def brute_force(
    u: Array, levels: tuple[float, float], slopes: tuple[float, float], constant: float
) -> Brute:
    """The law word for word, step by step."""
    columns = target_and_slopes(u)
    law = Law(levels, slopes, constant, float(np.clip(u[BEFORE], *levels[::-1])))
    out, clipped, slews = (np.zeros(columns[0].size) for _ in range(3))
    for n, row in enumerate(zip(*columns, strict=True)):
        out[n] = law.step(*row)
        clipped[n], slews[n] = law.level != 0, law.line != 0
    t = np.arange(1, out.size + 1) / STEPS
    beyond = (out - columns[0]) / STEPS
    beyond[-1] *= 0.5  # the trapezoidal rule; at rest before the first step
    delta = np.zeros(out.size // STEPS + 3)
    for k in range(delta.size):
        near = np.abs(t - (k - 1)) < 2.0
        delta[k] = np.sum(beyond[near] * SPLINE(t[near] - (k - 1)))
    return Brute(delta, law.v, clipped.astype(bool), slews.astype(bool))


def music(seed: int, intervals: int) -> Array:
    """Noise without anything above a sixteenth of the nodes' rate, peak about 1."""
    rng = np.random.default_rng(seed)
    size = intervals + BEFORE + AFTER
    spectrum = np.fft.rfft(rng.standard_normal(4 * size))
    spectrum[len(spectrum) // 8 :] = 0.0
    noise = np.fft.irfft(spectrum)[:size]
    fade = np.clip((np.arange(size) - BEFORE - 3) / 16.0, 0.0, 1.0)  # at rest before it begins
    return np.ascontiguousarray(noise / np.abs(noise).max() * np.sin(0.5 * np.pi * fade) ** 4)


CASES = {
    "level": ((0.4, -0.3), INFINITE, 0.0),
    "slope": (INFINITE, (0.2, -0.15), 0.0),
    "level and slope": ((0.4, -0.5), (0.15, -0.2), 0.0),
    "lag": (INFINITE, (0.3, -0.32), 0.3),
    "slope with lag": (INFINITE, (0.2, -0.15), 0.3),
    "all": ((0.4, -0.5), (0.15, -0.2), 0.2),
}


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("seed", [0, 1])
def test_the_limiter_is_its_law_by_brute_force(case: str, seed: int) -> None:
    levels, slopes, constant = CASES[case]
    u = music(seed, 160)
    found = limited(u, levels=levels, slopes=slopes, constant=constant)
    twin = brute_force(u, levels, slopes, constant)
    assert np.abs(twin.delta).max() > 5e-3
    ready = slice(0, -3 if constant else None)  # the lag of the last three is yet to come
    # the lag is interpolated between nodes, which peaks of the slope near the limit show
    close = 3e-4 + 0.01 * constant * slopes[0] if constant else 1e-5
    assert found.delta[ready] == pytest.approx(twin.delta[ready], rel=0.0, abs=close)
    if found.state[1] != TRACKING:
        assert found.state[0] == pytest.approx(twin.last, abs=1e-3)


@pytest.mark.parametrize("case", ["level", "slope", "level and slope"])
def test_intervals_are_marked_where_brute_force_is_limited(case: str) -> None:
    levels, slopes, constant = CASES[case]
    u = music(2, 160)
    found = limited(u, levels=levels, slopes=slopes, constant=constant)
    twin = brute_force(u, levels, slopes, constant)
    for marks, busy in (
        ((MARK_CLIPPED, MARK_BOTH), twin.clipped),
        ((MARK_SLEWING, MARK_BOTH), twin.slewing),
    ):
        steps = busy.reshape(-1, STEPS).sum(axis=1)
        marked = np.isin(found.marks, marks)
        assert marked[steps > 2].all()  # an event may lie between two steps
        assert steps[~marked].max(initial=0) <= 2
    assert found.count == np.count_nonzero(found.marks)


# --- cases with an exact answer ---


def test_a_ramp_is_clipped_at_its_exact_time() -> None:
    u = nodes_of(lambda t: 0.3 * t, 12)
    found = limited(u, levels=(1.0, -np.inf))
    expected = weighed(lambda t: np.minimum(0.3 * t, 1.0) - 0.3 * t, 12, [1.0 / 0.3])
    assert found.delta == pytest.approx(expected, rel=0.0, abs=1e-12)
    assert found.marks.tolist() == [MARK_NONE] * 3 + [MARK_CLIPPED] * 9
    assert found.state.tolist() == [1.0, CLIPPED_HIGH]
    assert found.count == 9


def test_an_arch_is_clipped_between_its_nodes_alone() -> None:
    """Its top lies between two nodes that are both under the level."""
    u = nodes_of(lambda t: 1.0 - (t - 5.5) ** 2, 11)
    level = 0.8
    half = np.sqrt(1.0 - level)
    found = limited(u, levels=(level, -np.inf))
    expected = weighed(
        lambda t: np.minimum(1.0 - (t - 5.5) ** 2, level) - (1.0 - (t - 5.5) ** 2),
        11,
        [5.5 - half, 5.5 + half],
    )
    assert max(u[BEFORE + 5], u[BEFORE + 6]) < level
    assert found.delta == pytest.approx(expected, rel=0.0, abs=1e-12)
    assert found.delta.sum() == pytest.approx(-4.0 / 3.0 * half**3, abs=1e-12)
    assert np.flatnonzero(found.marks).tolist() == [5]


@pytest.mark.parametrize("seed", range(20))
def test_both_levels_are_met_within_one_interval(seed: int) -> None:
    """What has just left one level does not bounce off it by a rounding error."""
    rng = np.random.default_rng(seed)
    speed, when = rng.uniform(0.1, 0.9), rng.uniform(5.1, 5.4)
    high, low = 0.2 * speed, -0.1 * speed

    def ramp(t: Array) -> Array:
        return speed * (t - when) + 0.3 * speed * (t - when) ** 3

    def crossing(level: float) -> float:
        real = np.roots([0.3 * speed, 0.0, speed, -level])
        return float(real[np.abs(real.imag) < 1e-12].real[0]) + when

    found = limited(nodes_of(ramp, 11), levels=(high, low), state=(low, CLIPPED_LOW))
    expected = weighed(
        lambda t: np.clip(ramp(t), low, high) - ramp(t), 11, [crossing(low), crossing(high)]
    )
    assert found.delta == pytest.approx(expected, rel=0.0, abs=1e-10)
    assert found.state.tolist() == [high, CLIPPED_HIGH]
    turned = limited(-nodes_of(ramp, 11), levels=(-low, -high), state=(-low, CLIPPED_HIGH))
    assert np.array_equal(turned.delta, -found.delta)


def test_the_lower_level_is_the_upper_one_upside_down() -> None:
    u = nodes_of(lambda t: 1.0 - (t - 5.5) ** 2, 11)
    up, down = limited(u, levels=(0.3, -9.0)), limited(-u, levels=(9.0, -0.3))
    assert np.array_equal(up.delta, -down.delta)
    assert (up.state[1], down.state[1]) == (CLIPPED_LOW, CLIPPED_HIGH)
    assert limited(-u, levels=(9.0, -0.3)).state[0] == 9.0


def test_an_arch_too_steep_is_left_and_met_at_its_exact_times() -> None:
    """t (12 - t)/10 rises at 1.2 and falls as fast, the output at 0.5."""

    def arch(t: Array) -> Array:
        return t * (12.0 - t) / 10.0

    def output(t: Array) -> Array:
        met = 7.0  # 0.5 t = t (12 - t)/10
        left = 8.5  # where the arch falls at 0.5
        falling = arch(np.array(left)) - 0.5 * (t - left)
        return np.where(t < met, 0.5 * t, np.where(t < left, arch(t), falling))

    found = limited(nodes_of(arch, 11), slopes=(0.5, -0.5))
    expected = weighed(lambda t: output(t) - arch(t), 11, [7.0, 8.5])
    assert found.delta == pytest.approx(expected, rel=0.0, abs=1e-12)
    assert found.marks.tolist() == [MARK_SLEWING] * 7 + [MARK_NONE] + [MARK_SLEWING] * 3
    assert found.state == pytest.approx([float(output(np.array(11.0))), FALLING], abs=1e-12)


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("when", [5.02, 5.4, 5.98])
def test_a_slope_passes_its_limit_at_its_exact_time(when: float, sign: float) -> None:
    """t^2 passes a slope of 2 t between two nodes, and goes on more and more steeply."""

    def arch(t: Array) -> Array:
        return sign * np.square(t)

    steepest = 2.0 * when
    found = limited(nodes_of(arch, 11), slopes=(steepest, -steepest))
    expected = weighed(
        lambda t: np.where(t < when, 0.0, -sign * np.square(t - when)),  # below the tangent
        11,
        [when],
    )
    assert found.delta == pytest.approx(expected, rel=0.0, abs=1e-10)
    assert found.marks.tolist() == [MARK_NONE] * 5 + [MARK_SLEWING] * 6
    assert found.state.tolist() == [
        pytest.approx(sign * (when**2 + steepest * (11.0 - when)), abs=1e-10),
        RISING if sign > 0.0 else FALLING,
    ]


def test_a_step_is_slewed_to_its_end() -> None:
    u = nodes_of(np.ones_like, 9)
    found = limited(u, slopes=(0.15, -0.15), state=(0.0, RISING))
    end = 1.0 / 0.15
    expected = weighed(lambda t: np.minimum(0.15 * t, 1.0) - 1.0, 9, [end])
    assert found.delta == pytest.approx(expected, rel=0.0, abs=1e-12)
    assert found.state.tolist() == [1.0, TRACKING]
    assert found.count == 7


def test_a_step_is_slewed_into_a_level() -> None:
    u = nodes_of(np.ones_like, 9)
    found = limited(u, levels=(0.6, -0.6), slopes=(0.15, -0.15), state=(-0.3, RISING))
    expected = weighed(lambda t: np.minimum(0.15 * t - 0.3, 0.6) - 1.0, 9, [6.0])
    assert found.delta == pytest.approx(expected, rel=0.0, abs=1e-12)
    assert found.state.tolist() == [0.6, CLIPPED_HIGH]
    assert found.marks.tolist() == [MARK_SLEWING] * 6 + [MARK_CLIPPED] * 3


@pytest.mark.parametrize("share", [0.1, 0.5, 0.8])
def test_a_ramp_lags_as_its_law_says(share: float) -> None:
    """By V (artanh r - r) beyond the linear lag, V the limit times the time constant."""
    u = nodes_of(lambda t: 0.5 * share * t, 10)
    found = limited(u, slopes=(0.5, -0.5), constant=0.8)
    lag = 0.5 * 0.8 * (np.arctanh(share) - share)
    cut = 0.5 * 0.8 * share**17 / 17.0 / (1.0 - share**2)  # the rest of the series is less
    # each spline's integral is 1; the ramp was there before, and the last three are yet to come
    assert found.delta[:10] == pytest.approx([-lag] * 10, rel=1e-9, abs=cut)
    assert not found.delta[10:].any()
    assert found.count == 0


def test_nothing_winds_up_at_a_level() -> None:
    """However long the target stays beyond, the output leaves the level the moment it is back."""
    for intervals in (20, 200):
        u = nodes_of(lambda t, end=intervals: 0.1 * (end - 3.0 - t), intervals)
        found = limited(u, levels=(0.5, -0.5))
        back = intervals - 8
        assert found.marks[:back].tolist() == [MARK_CLIPPED] * back
        assert found.marks[back:].tolist() == [MARK_NONE] * 8


def test_without_limits_nothing_is_added() -> None:
    found = limited(music(3, 100))
    assert not found.delta.any()
    assert found.count == 0


@pytest.mark.parametrize("first", [1, 2, 150, 161])
def test_in_two_calls_it_is_the_same_bits_as_in_one(first: int) -> None:
    (high, low), (rise, fall), constant = CASES["all"]
    u, size = music(4, 320), 320
    limits, law = np.array([high, low]), np.array([rise, fall, constant])
    room = np.empty(3 * size + ROOM)
    whole, marks, state = np.zeros(size + 3), np.empty(size), np.zeros(2)
    limit(u, limits, law, state, room, whole, marks)
    split, split_marks, split_state = np.zeros(size + 3), np.empty(size), np.zeros(2)
    for begin, end in ((0, first), (first, size)):
        near, part = u[begin : end + BEFORE + AFTER], split[begin : end + 3]
        part_marks = split_marks[begin:end]
        limit(near, limits, law, split_state, room, part, part_marks)
    assert np.array_equal(split, whole)
    assert np.array_equal(split_marks, marks)
    assert np.array_equal(split_state, state)
    assert np.abs(whole).max() > 0.01


@pytest.mark.parametrize("when", [17.5, STEP - 0.5, STEP + 0.5, 2 * STEP - 0.3, 2 * STEP + 900.25])
def test_a_level_is_met_at_its_time_however_many_intervals_come_before(when: float) -> None:
    """More than are worked on at a time; of a ramp beyond a level each spline sees its node's."""
    intervals, climb = 2 * STEP + 1000, 1e-3
    found = limited(nodes_of(lambda t: climb * (t - when), intervals), levels=(0.0, -np.inf))
    first = int(when)
    assert np.flatnonzero(found.marks).tolist() == list(range(first, intervals))
    assert (found.marks[first:] == MARK_CLIPPED).all()
    assert not found.delta[:first].any()
    beyond = np.arange(first + 4, intervals)  # whole splines; the last three are yet to come
    assert found.delta[beyond] == pytest.approx(-climb * (beyond - 1 - when), rel=0.0, abs=1e-12)
    # all of it, without the splines that are not whole: half of (end - when)^2, from when on
    near = weighed(lambda t: -climb * np.maximum(t - (when - first), 0.0), 8, [when - first])
    assert found.delta[first : first + 8] == pytest.approx(near[:8], rel=0.0, abs=1e-12)


@given(
    u=arrays(np.float64, 12 + BEFORE + AFTER, elements=st.floats(-1e3, 1e3)),
    rise=st.sampled_from([1e-3, 1.0, 50.0, 1e9]),
    constant=st.sampled_from([0.0, 0.5, 20.0]),
)
def test_whatever_comes_the_output_stays_within_its_levels(
    u: Array, rise: float, constant: float
) -> None:
    found = limited(u, levels=(2.0, -1.0), slopes=(rise, -rise), constant=constant)
    assert np.isfinite(found.delta).all()
    assert np.isin(found.marks, [MARK_NONE, MARK_CLIPPED, MARK_SLEWING, MARK_BOTH]).all()
    assert found.count == np.count_nonzero(found.marks)
    last, mode = found.state.tolist()
    level = {CLIPPED_HIGH: 2.0, CLIPPED_LOW: -1.0}.get(mode)
    if level is not None:
        assert last == level
    elif mode == TRACKING:
        assert last == u[-AFTER]
    else:
        assert mode in {RISING, FALLING}
        # a line, as continued to its beginning, may lie outside where there is a time constant
        beyond = 1.5 if constant > 0.0 else 0.0
        assert -1.0 - beyond <= last <= 2.0 + beyond


# --- counting marks ---


def test_frames_are_counted_as_by_their_twin() -> None:
    rng = np.random.default_rng(5)
    some = rng.uniform(size=(3, 50, 4)) < 0.2
    marks = np.where(some, rng.integers(0, 4, some.shape), 0).astype(np.float64)
    marks[1] = 0.0
    counts = np.full((3, 3), np.nan)
    total = count_marks(marks, counts)
    for block in range(3):
        clipped = [bool(set(frame) & {MARK_CLIPPED, MARK_BOTH}) for frame in marks[block]]
        slewing = [bool(set(frame) & {MARK_SLEWING, MARK_BOTH}) for frame in marks[block]]
        either = [clips or slews for clips, slews in zip(clipped, slewing, strict=True)]
        assert counts[block].tolist() == [sum(clipped), sum(slewing), sum(either)]
    assert total == counts[:, 2].sum()
    assert 0 < counts[0, 0] < counts[0, 2] < 50
