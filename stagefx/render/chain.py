"""Effects in a row, fed with blocks of any size, their delay taken out."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Set as AbstractSet
from dataclasses import replace
from typing import Self

import numpy as np
from numpy.typing import NDArray

from stagefx.effects.added.noise import Noise
from stagefx.effects.channel_pool import Channelwise, Helpers, OneChannel
from stagefx.effects.distortion import Distortion
from stagefx.effects.effect import GRID_FRAMES, Effect, Placed, Running
from stagefx.effects.limits.limit_set import LimitSet
from stagefx.effects.limits.limiter import Limiter, Limiting
from stagefx.effects.limits.statistics import Tally
from stagefx.effects.linear.sections import Linear
from stagefx.render.plan import WATCH

Array = NDArray[np.float64]
WORK_FRAMES = 16 * GRID_FRAMES
"""Frames that are worked on at a time are a multiple of it."""
BLOCK_FRAMES = 4 * WORK_FRAMES
"""Most frames that are worked on at a time; fewer would cost more in handing over than in sums."""
_CHANNELWISE = (Linear, Limiting, Distortion, Noise)


class Exaggerated:
    """An effect turned up or down: y = g x + X (effect(x) - g x), g its gain at 1 kHz."""

    def __init__(self, running: Running, times: float) -> None:
        self._running = running
        self._times = times
        self._waiting: Array | None = None

    @property
    def delay_frames(self) -> int:
        """By how many frames the output is late."""
        return self._running.delay_frames

    def through(self, block: Array) -> Array:
        """Work on the next block."""
        if self._waiting is None:
            self._waiting = np.zeros((self.delay_frames, block.shape[1]))
        line = np.concatenate((self._waiting, block))
        late, self._waiting = line[: block.shape[0]], line[block.shape[0] :]
        return late + self._times * (self._running.through(block) - late)

    def rewind(self) -> None:
        """Forget everything."""
        self._running.rewind()
        self._waiting = None


class Chain:
    """Effects in a row."""

    def __init__(
        self,
        effects: Iterable[Effect],
        rate_hz: int,
        channels: int,
        *,
        full_scale_v: float = 1.0,
        keep: AbstractSet[str] | None = None,
        times: Mapping[str, float] | None = None,
        threads: int = 2,
        skip_idle: bool = True,
    ) -> None:
        self._rate_hz, self.channels, self._skip_idle = rate_hz, channels, skip_idle
        others = min(threads, channels) - 1  # beside the caller's own
        self._helpers = Helpers(others) if others > 0 else None
        self.unit_v = full_scale_v
        self._running: list[Running] = []
        self._makers: list[Callable[[int], OneChannel]] = []
        self.delay_frames = 0
        for effect, factor in _merged(effects, keep, dict(times or {})):
            self._append(effect, factor)
            self.unit_v *= effect.gain
        self._gather()

    def _append(self, effect: Effect | _LeftOut, factor: float) -> None:
        if isinstance(effect, _LeftOut) or (isinstance(effect, Linear) and effect.is_flat):
            return
        if isinstance(effect, _CHANNELWISE) and factor == 1.0:
            self._makers.append(self._maker(effect))
            self.delay_frames += 0 if isinstance(effect, Noise) else effect.delay_frames
            return
        self._gather()
        if isinstance(effect, _CHANNELWISE):
            running: Running = Channelwise([self._maker(effect)], self.channels, self._helpers)
        else:
            running = effect.at(self._rate_hz, self.channels, unit_v=self.unit_v)
        if isinstance(running, Placed):
            running.start_at(-self.delay_frames)
        self._running.append(running if factor == 1.0 else Exaggerated(running, factor))
        self.delay_frames += running.delay_frames

    def _maker(self, effect: Linear | Limiting | Distortion | Noise) -> Callable[[int], OneChannel]:
        if isinstance(effect, Limiting):
            return effect.runners(self._rate_hz, unit_v=self.unit_v, skip_idle=self._skip_idle)
        if isinstance(effect, Noise):
            late = self.delay_frames
            return effect.runners(self._rate_hz, unit_v=self.unit_v, late_frames=late)
        return effect.runners(self._rate_hz, unit_v=self.unit_v)

    def _gather(self) -> None:
        if self._makers:
            self._running.append(Channelwise(self._makers, self.channels, self._helpers))
            self._makers = []

    @property
    def moves_every_sample(self) -> bool:
        """Whether anything but limiters is in the chain, so that no sample stays as it was."""
        plain = (running for running in self._running if isinstance(running, Channelwise))
        limiters = all(isinstance(r, Limiter) for running in plain for r in running.rows[0])
        return not (limiters and all(isinstance(r, Channelwise) for r in self._running))

    @property
    def tallies(self) -> list[list[Tally]]:
        """What the limiters did so far: one list a limiter, one tally a channel."""
        found = []
        for running in self._running:
            inner = running._running if isinstance(running, Exaggerated) else running  # noqa: SLF001
            if not isinstance(inner, Channelwise):
                continue
            for position, runner in enumerate(inner.rows[0]):
                if isinstance(runner, Limiter):
                    limiters = [row[position] for row in inner.rows]
                    found.append([r.tally for r in limiters if isinstance(r, Limiter)])
        return found

    def rewind(self) -> None:
        """Forget everything."""
        for running in self._running:
            running.rewind()

    def give_way(self, others_s: Callable[[], float]) -> None:
        """Keep to one thread while that is as quick as another thread with as much music."""
        if self._helpers is not None:
            self._helpers.others_s = others_s

    def process(self, blocks: Iterable[Array]) -> Iterator[Array]:
        """Play blocks through the chain, from rest."""
        passage = Passage(self)
        for block in blocks:
            yield from passage.put(block)
        yield from passage.finish()

    def through(self, block: Array) -> Array:
        """Work on whole steps of the grid, delay and all."""
        for running in self._running:
            block = running.through(block)
        return block

    def close(self) -> None:
        """Let the threads go."""
        if self._helpers is not None:
            self._helpers.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exception: object) -> None:
        self.close()


class _LeftOut:
    """What stands for an effect that is left out: its gain."""

    def __init__(self, gain: float) -> None:
        self.gain = gain


def _merged(
    effects: Iterable[Effect], keep: AbstractSet[str] | None, times: Mapping[str, float]
) -> list[tuple[Effect | _LeftOut, float]]:
    """The effects with neighbours of one kind made one, and each one's factor."""
    row: list[tuple[Effect | _LeftOut, float]] = []
    taken = LimitSet()
    for effect in effects:
        if keep is not None and effect.name not in keep and effect.name != WATCH:
            if effect.gain != 1.0:
                row.append((_LeftOut(effect.gain), 1.0))
            continue
        factor = times.get(effect.name, 1.0)
        if isinstance(effect, Limiting) and effect.limits.takes:
            taken = taken.both(effect.limits.taking(factor))
            continue
        before, before_factor = row[-1] if row else (None, 0.0)
        if factor == before_factor == 1.0:
            if isinstance(effect, Linear) and isinstance(before, Linear):
                row[-1] = (before.followed_by(effect), 1.0)
                continue
            if isinstance(effect, Limiting) and isinstance(before, Limiting):
                row[-1] = (before.followed_by(effect), 1.0)
                continue
        row.append((effect, factor))
    return [(_less(effect, taken), factor) for effect, factor in row]


def _less(effect: Effect | _LeftOut, taken: LimitSet) -> Effect | _LeftOut:
    """An effect with its limits, if it has any, less what direct voltage and tones take."""
    if isinstance(effect, Limiting) and taken.takes:
        return replace(effect, limits=effect.limits.both(taken))
    return effect


class Passage:
    """One piece of music on its way through a chain, in blocks of any size."""

    def __init__(self, chain: Chain) -> None:
        chain.rewind()
        self._chain = chain
        self._late = chain.delay_frames
        self._owed = 0
        self._waiting: list[Array] = []
        self._held = 0

    def put(self, block: Array) -> list[Array]:
        """Hand over the next block."""
        self._held += block.shape[0]
        self._owed += block.shape[0]
        if self._held < WORK_FRAMES:
            self._waiting.append(block.copy())  # its owner may fill it anew
            return []
        joined = np.concatenate([*self._waiting, block]) if self._waiting else block
        whole = self._held - self._held % WORK_FRAMES
        rest = joined[whole:].copy()
        self._waiting, self._held = [rest] if rest.size else [], self._held - whole
        return self._worked(joined[:whole])

    def finish(self) -> list[Array]:
        """Say that there is no more."""
        late = self._chain.delay_frames
        silence = (-(self._held + late)) % GRID_FRAMES + late
        end = np.zeros((silence, self._chain.channels))
        return self._worked(np.concatenate([*self._waiting, end]))

    def _worked(self, frames: Array) -> list[Array]:
        done = []
        for start in range(0, frames.shape[0], BLOCK_FRAMES):
            piece = np.ascontiguousarray(frames[start : start + BLOCK_FRAMES])
            piece = self._chain.through(piece)
            skipped = min(self._late, piece.shape[0])
            self._late -= skipped
            piece = piece[skipped:][: self._owed]
            self._owed -= piece.shape[0]
            if piece.shape[0]:
                done.append(piece)
        return done
