"""Finding the linear filter between two versions: least squares over stretches of the music.

Of a long piece 64 stretches are taken, a third of a second each and evenly spread: that is all the
music for up to twenty seconds, and hundreds of equations for each unknown beyond.  The low-passes
hear everything in between.

Both versions are first freed from what lies above 0.465 of the rate, where a sampled response
breaks off; there the filter is held to what a short impulse response would go on with.  The normal
equations are sums over all frames of the stretches.  Those of the impulse response are nearly of
Toeplitz form: one row from fast correlations, the rest by what the two ends of each stretch add and
take.  Those between impulse response and low-passes, and of the low-passes among themselves, follow
in the same way from the low-passes' recursion.  So nothing of a stretch is approximated, memory
does not grow, and all sums are taken in one order.
"""

from __future__ import annotations

from concurrent.futures import Executor
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from stagefx.difference.linear.transfer import (
    AHEAD_FRAMES,
    BEHIND_FRAMES,
    PASSED_FRAMES,
    SPAN_FRAMES,
    LongMemory,
    TransferModel,
    corners_hz,
    shares_of,
)
from stagefx.kernels.filters.low_passes import low_pass_products
from stagefx.kernels.normal_equations import (
    AT_ONCE,
    add_products,
    along_diagonals,
    solve_positive,
)

Array = NDArray[np.float64]

_TRANSFORM = 1 << 14
_SMOOTHING_REACH = 64
_ROWS = _TRANSFORM - SPAN_FRAMES - 2 * _SMOOTHING_REACH
"""Frames of a stretch; with all that is needed around them they fill a transform."""
_BEFORE = BEHIND_FRAMES + _SMOOTHING_REACH
_AFTER = AHEAD_FRAMES + _SMOOTHING_REACH
_MOST_STRETCHES = 64
_HALF_WAY = 0.465
"""Share of the rate at which the fit has faded out by half."""
_HELD_FROM, _HELD_WHOLLY = 0.465, 0.485
_HELD_LINES = 128
"""Enough that no lag of the impulse response is taken for another."""
_HELD = 1e-6
"""How firmly, as a share of the music's power."""
_SHORT_TAPS = 8
"""To either side of the present: so short a response goes on smoothly where there is no music."""
_KAISER_BETA = 8.0
_SHORT_RIDGE = 1e-6
"""The short response, too, is left as it is where the music lies 60 dB down."""
_ROWS_PER_TAP = 32
"""Of a short piece fewer taps are asked for."""
_RIDGE = 1e-14
"""Of each parameter's own power: far below rounding of the music, enough where it has none."""


@lru_cache(maxsize=1)
def _fade_out() -> Array:
    """A low-pass by windowed sinc; it fades over a twenty-fifth of the rate."""
    n = np.arange(-_SMOOTHING_REACH, _SMOOTHING_REACH + 1)
    taps = np.sinc(2.0 * _HALF_WAY * n) * np.kaiser(len(n), _KAISER_BETA)
    return np.asarray(taps / taps.sum())


@lru_cache(maxsize=1)
def _fade_out_spectrum() -> NDArray[np.complex128]:
    return np.asarray(np.fft.rfft(_fade_out(), _TRANSFORM))


@lru_cache(maxsize=4)
def _held_above(rate_hz: int) -> Array:
    """Normal equations of all numbers for steady noise above what is fitted."""
    share = np.linspace(_HELD_FROM, 0.5, _HELD_LINES)
    ramp = np.clip((share - _HELD_FROM) / (_HELD_WHOLLY - _HELD_FROM), 0.0, 1.0)
    turn = np.exp(-2j * np.pi * share)
    let_in = shares_of(rate_hz)[: len(corners_hz(rate_hz)), None]
    slow = np.concatenate([let_in / (1.0 - (1.0 - let_in) * turn), np.zeros((1, len(turn)))])
    quick = turn ** np.arange(SPAN_FRAMES + 1)[:, None]
    even = ramp / ramp.sum()
    lags = np.arange(SPAN_FRAMES + 1)
    row = (quick.real * even).sum(axis=1)
    between = np.einsum("kf,jf->kj", slow * even, quick.conj()).real
    matrix = np.zeros((len(lags) + len(slow), len(lags) + len(slow)))
    matrix[: len(lags), : len(lags)] = row[np.abs(lags[:, None] - lags)]
    matrix[: len(lags), len(lags) :] = between.T
    matrix[len(lags) :, : len(lags)] = between
    matrix[len(lags) :, len(lags) :] = np.einsum("kf,lf->kl", slow * even, slow.conj()).real
    matrix.setflags(write=False)
    return matrix


class TransferMeter:
    """A meter of the filter between two versions, passed through side by side.

    Which stretches are taken depends on the number of frames alone.
    """

    def __init__(self, rate_hz: int, channels: int, frames: int) -> None:
        self._rate_hz = rate_hz
        self._waiting = np.zeros((2, channels, 0))
        self._at = 0
        """Frame at which what is waiting begins."""
        self._heard = 0
        """Frame before which the low-passes have heard all."""
        self._memories = [LongMemory(rate_hz) for _ in range(channels)]
        self._sums = [_Sums(rate_hz) for _ in range(channels)]
        rows = max(frames - _SMOOTHING_REACH - _AFTER, 0)
        self._stretches = [
            (_SMOOTHING_REACH + number * _ROWS, min((number + 1) * _ROWS, rows) - number * _ROWS)
            for number in _spread(-(-rows // _ROWS), _MOST_STRETCHES)
        ]
        self._share = sum(count for _, count in self._stretches) / max(rows, 1)

    def lead_in(self, first: Array) -> None:
        """Pass what was played before through the meter; once, and before all else."""
        self._at = self._heard = -len(first)
        self.add(first, np.zeros_like(first))

    def add(self, first: Array, more: Array) -> None:
        """Pass the next stretch of both through the meter."""
        if not self._stretches:
            return
        self._waiting = np.concatenate([self._waiting, np.stack([first.T, more.T])], axis=2)
        while self._stretches:
            start, rows = self._stretches[0]
            end = self._at + self._waiting.shape[2]
            self._hear_until(start - _SMOOTHING_REACH + AHEAD_FRAMES - 1, end)
            if end < start + rows + _AFTER:
                break
            del self._stretches[0]
            around = self._waiting[:, :, max(start - _BEFORE - self._at, 0) :]
            missing = max(self._at - start + _BEFORE, 0)
            if missing:
                around = np.pad(around, ((0, 0), (0, 0), (missing, 0)))
            self._take(around[:, :, : _BEFORE + rows + _AFTER])
        wanted = self._stretches[0][0] - _BEFORE if self._stretches else end
        gone = max(min(wanted, self._heard) - self._at, 0)
        self._waiting, self._at = self._waiting[:, :, gone:].copy(), self._at + gone

    def _hear_until(self, frame: int, end: int) -> None:
        """Let the low-passes hear what leads up to a stretch, as far as it has come.

        Whatever the blocks, the same frames are heard at a time.
        """
        if frame > end:
            frame = self._heard + (end - self._heard) // PASSED_FRAMES * PASSED_FRAMES
        if frame <= self._heard:
            return
        unheard = self._waiting[0, :, self._heard - self._at : frame - self._at]
        for memory, samples in zip(self._memories, unheard, strict=True):
            memory.pass_by(samples)
        self._heard = frame

    def _take(self, around: Array) -> None:
        """Take the highest frequencies off a stretch of both, and add it to the sums."""
        reach = 2 * _SMOOTHING_REACH
        for channel, (memory, sums) in enumerate(zip(self._memories, self._sums, strict=True)):
            heard = around[0, channel, _BEFORE + AHEAD_FRAMES - _SMOOTHING_REACH - 1 :]
            later = LongMemory(self._rate_hz)
            later.state[:] = memory.state
            # what low-passes make of a smoothed channel is smoothed what they make of the channel
            state = (_fade_out()[:, None] * later.through(heard[: reach + 1])).sum(axis=0)
            spectra = np.fft.rfft(around[:, channel], _TRANSFORM, axis=1)
            spectra *= _fade_out_spectrum()
            smooth = np.fft.irfft(spectra, _TRANSFORM, axis=1)[:, reach : around.shape[2]]
            sums.add(smooth[0], smooth[1, BEHIND_FRAMES : smooth.shape[1] - AHEAD_FRAMES], state)

    def model(self, gain: float, beside: Executor | None = None) -> TransferModel:
        """The filter that fits best."""
        coming = [beside.submit(sums.solution) for sums in self._sums[1::2]] if beside else []
        found = np.zeros((len(self._sums), SPAN_FRAMES + 1 + len(corners_hz(self._rate_hz)) + 1))
        for channel, sums in enumerate(self._sums):
            elsewhere = beside is not None and channel % 2
            found[channel] = coming.pop(0).result() if elsewhere else sums.solution()
        taps, low_passes = found[:, : SPAN_FRAMES + 1], found[:, SPAN_FRAMES + 1 : -1]
        return TransferModel(self._rate_hz, gain, taps, low_passes, found[:, -1], self._share)


def _spread(count: int, most: int) -> list[int]:
    """Some of so many numbers, evenly spread; all where there are no more than wanted."""
    return [number * count // most for number in range(most)] if count > most else [*range(count)]


class _Sums:
    """Sums over stretches of one channel, each from frame a to b.

    u[n] is the first version read one reach ahead, so that tap j multiplies u[n - j].
    """

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._shares = shares_of(rate_hz)
        corners = len(self._shares)
        self._starts: list[Array] = []
        self._ends: list[Array] = []
        self._own = np.zeros(_TRANSFORM // 2 + 1, np.complex128)
        self._across = np.zeros_like(self._own)
        self._products = np.zeros((3, corners))
        self._come = np.zeros((corners, corners))
        """Products of the low-passes' states at the starts, less those at the ends."""
        self._moved = np.zeros((corners, SPAN_FRAMES))
        """The same of states and of the frames before."""
        self._sum, self._more_sum, self._rows = 0.0, 0.0, 0

    def add(self, ahead: Array, more: Array, state: Array) -> None:
        """Add a stretch."""
        now = np.ascontiguousarray(ahead[SPAN_FRAMES:])
        rows = np.zeros((3, len(ahead)))
        rows[0], rows[1, SPAN_FRAMES:], rows[2, SPAN_FRAMES:] = ahead, now, more
        around, first, second = np.fft.rfft(rows, _TRANSFORM, axis=1)
        around = around.conj()
        self._own += first * around
        self._across += second * around
        state, more = state.copy(), np.ascontiguousarray(more)
        for sign, edges, edge in (
            (1.0, self._starts, ahead[:SPAN_FRAMES]),
            (-1.0, self._ends, ahead[-SPAN_FRAMES:]),
        ):
            edges.append(edge[::-1].copy())
            if sign < 0.0:
                low_pass_products(now, more, self._shares, state, self._products)
            self._come += np.outer(sign * state, state)
            self._moved += np.outer(sign * state, edges[-1])
        self._sum += float(now.sum())
        self._more_sum += float(more.sum())
        self._rows += len(now)

    def solution(self) -> Array:
        """Taps, low-passes and offset that leave least."""
        corners = len(corners_hz(self._rate_hz))
        own = np.fft.irfft(self._own, _TRANSFORM)[: SPAN_FRAMES + 1]
        across = np.fft.irfft(self._across, _TRANSFORM)[: SPAN_FRAMES + 1]
        target = np.concatenate([across, self._products[1, :corners], [self._more_sum]])
        if own[0] <= 0.0 or not target.any():
            return np.zeros(len(target))
        matrix = self.matrix()
        present = np.arange(len(target)) - AHEAD_FRAMES
        short = (np.abs(present) <= _SHORT_TAPS) | (present > BEHIND_FRAMES)
        smooth = _solved(matrix, target, short, _SHORT_RIDGE)
        held = _HELD * own[0] * _held_above(self._rate_hz)
        most = max(self._rows // _ROWS_PER_TAP, AHEAD_FRAMES)
        asked = (present <= most) | (present > BEHIND_FRAMES)
        matrix += held
        held_to = (held[:, short] * smooth[short]).sum(axis=1)
        return _solved(matrix, target + held_to, asked, _RIDGE)

    def matrix(self) -> Array:
        """The normal equations, on and above the diagonal."""
        corners, lags = len(corners_hz(self._rate_hz)), SPAN_FRAMES + 1
        own = np.fft.irfft(self._own, _TRANSFORM)[:lags]
        come = sum(self._starts, np.zeros(SPAN_FRAMES)) - sum(self._ends, np.zeros(SPAN_FRAMES))
        matrix = np.zeros((lags + corners + 1, lags + corners + 1))
        self._fill_quick(matrix, own)
        matrix[:lags, lags:-1] = self._between(own)[:corners].T
        matrix[lags:-1, lags:-1] = self._slow(own[0])[:corners, :corners]
        matrix[:lags, -1] = self._sum + np.concatenate([[0.0], np.cumsum(come)])
        matrix[lags:-1, -1] = self._products[2, :corners]
        matrix[-1, -1] = float(self._rows)
        return matrix

    def _fill_quick(self, matrix: Array, own: Array) -> None:
        """Σ u[n - i] u[n - j]: along a diagonal only the ends come and go."""
        rows = np.zeros((-(-len(self._starts) // AT_ONCE) * AT_ONCE, len(matrix)))
        for sign, edges in ((1.0, self._starts), (-1.0, self._ends)):
            rows[: len(edges), 1 : SPAN_FRAMES + 1] = edges
            add_products(rows, 1, sign, matrix)
        matrix[0, : len(own)] = own
        along_diagonals(matrix, len(own))

    def _between(self, own: Array) -> Array:
        """Σ z[n] u[n - j], by z[n] = (1 - q) z[n - 1] + q u[n]."""
        share = self._shares
        found = np.empty((len(share), SPAN_FRAMES + 1))
        found[:, 0] = self._products[0]
        for j in range(1, SPAN_FRAMES + 1):
            before = found[:, j - 1] + self._moved[:, j - 1]
            found[:, j] = before + share * (own[j] - before)
        return found

    def _slow(self, power: float) -> Array:
        """Σ z z' of every two low-passes, by the same recursion."""
        share, now = self._shares, self._products[0]
        both = share[:, None] * share
        gone = share[:, None] + share - both
        across = share[:, None] * now + now[:, None] * share - both * power
        slow = (1.0 - gone) * self._come + across
        return np.asarray(np.divide(slow, gone, out=np.zeros_like(slow), where=gone > 0.0))


def _solved(matrix: Array, target: Array, asked: NDArray[np.bool_], ridge: float) -> Array:
    """Some of the numbers, the others left at nothing."""
    even = matrix[np.ix_(asked, asked)]
    scale = np.sqrt(np.maximum(np.diag(even), 0.0))
    scale[scale == 0.0] = 1.0
    even /= scale
    even /= scale[:, None]
    even[np.diag_indices(len(even))] += ridge * len(even)
    right = target[asked] / scale
    solve_positive(even, right)
    found = np.zeros(len(target))
    found[asked] = right / scale
    return found
