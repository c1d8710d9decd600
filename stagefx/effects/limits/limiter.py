"""The amplifier's slew limit and clip levels at work on one channel.

What leaves is u + decimate(limiter(u) - u): exactly u while the limiter is idle, so idle spans
cost next to nothing and joins are seamless by construction.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from stagefx.dsp.oversampling_by_four import (
    DOWN_REACH,
    DOWN_TAPS,
    FACTOR,
    UP_REACH,
    down,
    up,
)
from stagefx.effects.channel_pool import Channelwise
from stagefx.effects.effect import GRID_FRAMES, Setting
from stagefx.effects.limits.idle import calm_between, calm_blocks
from stagefx.effects.limits.limit_set import LimitSet
from stagefx.effects.limits.statistics import Tally
from stagefx.kernels.block_extrema import BEFORE as OUTLINE_BEFORE, COLUMNS, LANES, outline
from stagefx.kernels.limiter import AFTER, BEFORE, ROOM, STEP, TRACKING, limit

Array = NDArray[np.float64]

_EDGE_FRAMES = 2
"""Frames beside a block whose nodes the limiter looks at."""
_REACH = _EDGE_FRAMES + UP_REACH
"""Frames beside a block whose samples it looks at."""
_SPAN = FACTOR * GRID_FRAMES
"""Nodes of a block."""
_AROUND = DOWN_REACH + 1
"""Frames around a block up to which what is lacking of it can be seen."""
_MORE = 3
"""Elements by which what a row of intervals lacks is longer than the row."""


@dataclass(frozen=True)
class Limiting:
    """Slew limit, clip levels, or both, as an effect."""

    name: str
    limits: LimitSet
    settings: tuple[Setting, ...] = ()
    gain: ClassVar[float] = 1.0
    delay_frames: ClassVar[int] = 2 * GRID_FRAMES

    def followed_by(self, other: Limiting) -> Limiting:
        """Join this effect and another at the same place into one."""
        return Limiting(f"{self.name}, {other.name}", self.limits.both(other.limits))

    def runners(
        self, rate_hz: int, *, unit_v: float = 1.0, skip_idle: bool = True
    ) -> Callable[[int], Limiter]:
        """What makes the limiter of one channel."""
        return lambda _channel: Limiter(self.limits, rate_hz, unit_v, skip_idle=skip_idle)

    def at(self, rate_hz: int, channels: int, *, unit_v: float = 1.0) -> Channelwise:
        """A running copy."""
        return Channelwise([self.runners(rate_hz, unit_v=unit_v)], channels)


class Limiter:
    """Slew limit and clip levels on one channel; late by two blocks of the grid."""

    delay_frames = 2 * GRID_FRAMES

    def __init__(
        self, limits: LimitSet, rate_hz: int, unit_v: float, *, skip_idle: bool = True
    ) -> None:
        self._limits, self._law = limits.per(unit_v, float(FACTOR * rate_hz))
        self._skip_idle = skip_idle
        self.tally = Tally()
        self.rewind()

    def rewind(self) -> None:
        """Forget everything."""
        self._past = np.zeros(2 * GRID_FRAMES)
        self._outlines = np.zeros((2, COLUMNS))
        self._work = np.empty((3, LANES))
        self._lacking = np.zeros(2 * _SPAN + _MORE)
        self._busy = [False, False]
        self._state = np.zeros(2)
        self._next = 0
        self.tally = Tally()

    def through(self, samples: Array) -> Array:
        """Work on the next samples."""
        line = np.concatenate((self._past, samples))
        calm = self._watched(line, samples.size // GRID_FRAMES)
        self._past = line[-2 * GRID_FRAMES :].copy()
        result = line[: samples.size]
        if not (all(calm) and self._state[1] == TRACKING and not any(self._busy)):
            self._limit_line(line, calm, result)
        self._next += len(calm)
        return result

    def _watched(self, line: Array, blocks: int) -> list[bool]:
        """Look at a line's last blocks; whether nothing can happen on each of as many before."""
        outlines = np.empty((2 + blocks, COLUMNS))
        outlines[:2] = self._outlines
        fresh = line[2 * GRID_FRAMES - OUTLINE_BEFORE :]
        extremes = self.tally.extremes
        self.tally.frames += outline(fresh, GRID_FRAMES, extremes, self._work, outlines[2:])
        self._outlines = outlines[-2:].copy()
        if not self._skip_idle:
            return [False] * blocks
        return calm_blocks(outlines, self._limits, self._law)

    def _limit_line(self, line: Array, calm: list[bool], result: Array) -> None:
        """Limit a line's blocks from the second to the last but one, each calm or not.

        Each needs a little of the block after it; what is lacking is added from the first on.
        """
        blocks = len(calm)
        lacking, busy = self._room(blocks), self._busy + [False] * blocks
        worked = [slice(0, 2)] if any(self._busy) else []
        for start, stop in _stretches(calm):
            if not calm[start] or self._state[1] != TRACKING:
                nodes = _nodes(line, start, stop)
                for first, last in self._busy_between(nodes, stop - start):
                    part = nodes[first * _SPAN : last * _SPAN + 2 * FACTOR * _EDGE_FRAMES]
                    here = slice(start + first + 2, start + last + 2)
                    wanting = lacking[here.start * _SPAN :]
                    busy[here] = self._limit_blocks(part, start + first, start + last, wanting)
                    worked.append(here)
        if worked:
            _add_lacking(lacking, busy, result)
            carried = lacking[blocks * _SPAN :][: 2 * _SPAN + _MORE].copy()
            for here in worked:
                lacking[here.start * _SPAN : here.stop * _SPAN + _MORE] = 0.0
            lacking[: carried.size] = carried if any(busy[-2:]) else 0.0
        self._busy = busy[-2:]

    def _room(self, blocks: int) -> Array:
        """What is lacking of two blocks before a line's second, and room for so many more.

        Element k belongs to node k - 1 of the block before the line's first.
        """
        size = (blocks + 2) * _SPAN + _MORE
        if self._lacking.size < size:
            grown = np.zeros(size)
            grown[: self._lacking.size] = self._lacking
            self._lacking = grown
        return self._lacking

    def _busy_between(self, nodes: Array, blocks: int) -> Iterator[tuple[int, int]]:
        """Which rows of blocks have to be limited, first and last but one, by a second look.

        Each block is judged by itself, so that nothing depends on how many come at once.  The next
        row is asked for when the last has been limited, for its end may leave the output behind.
        """
        around = 2 * FACTOR * _EDGE_FRAMES
        calm = [
            self._skip_idle
            and calm_between(
                nodes[block * _SPAN : (block + 1) * _SPAN + around], self._limits, self._law
            )
            for block in range(blocks)
        ]
        for first, last in _stretches(calm):
            if not calm[first] or self._state[1] != TRACKING:
                yield first, last

    def _limit_blocks(self, nodes: Array, start: int, stop: int, lacking: Array) -> list[bool]:
        """Limit some blocks at once; whether anything is lacking of each."""
        marks, beside = np.empty((stop - start) * _SPAN), FACTOR * _EDGE_FRAMES
        limited = limit(
            nodes[beside - BEFORE : beside + marks.size + AFTER],
            self._limits,
            self._law,
            self._state,
            np.empty(3 * STEP + ROOM),
            lacking[: marks.size + _MORE],
            marks,
        )
        found = [bool(self._law[2] > 0.0)] * (stop - start)
        if not limited:
            return found
        by_block = marks.reshape(stop - start, GRID_FRAMES, FACTOR)
        counts = self.tally.count(self._next + start - 1, by_block)
        return [lags or count > 0 for lags, count in zip(found, counts, strict=True)]


def _nodes(line: Array, start: int, stop: int) -> Array:
    """Four nodes a frame of a line's blocks after the first, and a few beside."""
    first, last = (start + 1) * GRID_FRAMES, (stop + 1) * GRID_FRAMES
    nodes = np.empty(FACTOR * (last - first + 2 * _EDGE_FRAMES))
    up(line[first - _REACH + 1 : last + _REACH], nodes)
    return nodes


def _add_lacking(lacking: Array, busy: list[bool], result: Array) -> None:
    """Take what is lacking down to the file's rate, where there is any, and add it."""
    for first, last in _runs(busy):
        begin = max((first - 1) * GRID_FRAMES - _AROUND, 0)
        frames = min((last - 1) * GRID_FRAMES + _AROUND, result.size) - begin
        if frames <= 0:
            continue
        node = _SPAN + 1 + FACTOR * (begin - DOWN_REACH)
        added = np.empty(frames)
        down(lacking[node : node + FACTOR * (frames + DOWN_TAPS - 1)], added)
        result[begin : begin + frames] += added


def _stretches(calm: list[bool]) -> Iterator[tuple[int, int]]:
    """First and last but one: each calm block by itself, blocks that are not in rows."""
    for quiet, members in groupby(range(len(calm)), key=calm.__getitem__):
        row = list(members)
        if quiet:
            yield from ((block, block + 1) for block in row)
        else:
            yield row[0], row[-1] + 1


def _runs(wanted: list[bool]) -> list[tuple[int, int]]:
    """First and last but one of each row of wanted ones."""
    edges = np.flatnonzero(np.diff(np.array([False, *wanted, False]).astype(np.int8)))
    return [(int(first), int(last)) for first, last in edges.reshape(-1, 2)]
