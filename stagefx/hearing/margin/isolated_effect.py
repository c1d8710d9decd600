"""Music through one effect of a stage and nothing else, beside the music itself, for the ear."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from stagefx.effects.effect import Effect
from stagefx.hearing.ear.detection import EarPair
from stagefx.hearing.ear.masking import MaskMeter
from stagefx.hearing.level_at_ear import USUAL_ROOM_DBA
from stagefx.io.recording import HeldAudio, Recording
from stagefx.render.chain import BLOCK_FRAMES, Chain

Array = NDArray[np.float64]

LEAD_IN_S = 1.0
"""So much music before a passage settles what is slow."""
_HELD_S = 60.0


@dataclass(frozen=True)
class Change:
    """Effects of which some are kept."""

    effects: Sequence[Effect]
    keep: frozenset[str]
    times: Mapping[str, float] = field(default_factory=dict)


class Passage:
    """A stretch of music, start to stop, that is played through one change after another.

    `full_scale_v` is the peak of a full-scale sine of the source, `full_scale_spl_db` its level at
    the ear, in a room of `room_dba`.
    """

    def __init__(
        self,
        music: Recording,
        start: int,
        stop: int,
        *,
        full_scale_v: float,
        full_scale_spl_db: float,
        room_dba: float | None = USUAL_ROOM_DBA,
    ) -> None:
        made = music.format
        self.rate_hz, self.channels = made.rate_hz, made.channels
        self.start, self.stop = start, stop
        self._lead = min(start, round(LEAD_IN_S * made.rate_hz))
        self._first = start - self._lead
        self._music = music
        if stop - start <= _HELD_S * made.rate_hz:
            samples = np.ascontiguousarray(music.read(self._first, stop))
            self._music, self._first = HeldAudio(samples, made.rate_hz), 0
        self._end = self._first + self._lead + stop - start
        self._full_scale_v = full_scale_v
        self.room_dba = room_dba
        self._ear = (made.rate_hz, made.channels, full_scale_spl_db)

    def blocks(self, *, lead_in: bool = False) -> Iterator[Array]:
        """The music itself."""
        begin = self._first if lead_in else self._first + self._lead
        for start in range(begin, self._end, BLOCK_FRAMES):
            yield self._music.read(start, min(start + BLOCK_FRAMES, self._end))

    def beside(self, change: Change) -> Iterator[tuple[Array, Array]]:
        """The music, and the music through a change."""
        waiting: deque[Array] = deque()

        def fed() -> Iterator[Array]:
            for block in self.blocks(lead_in=True):
                waiting.append(block)
                yield block

        settling = self._lead
        with Chain(
            change.effects,
            self.rate_hz,
            self.channels,
            full_scale_v=self._full_scale_v,
            keep=change.keep,
            times=change.times,
        ) as chain:
            for changed in chain.process(fed()):
                music = _taken(waiting, len(changed))
                skipped = min(settling, len(changed))
                settling -= skipped
                if skipped < len(changed):
                    yield music[skipped:], changed[skipped:]

    def detection(self, change: Change) -> float | None:
        """Probability that the ear model detects a change."""
        pair, same = EarPair(*self._ear, room_dba=self.room_dba), True
        for music, changed in self.beside(change):
            same = same and np.array_equal(music, changed)
            pair.add(music, changed)
        return 0.0 if same else pair.account().detection_probability

    def noise_to_mask_db(self, change: Change) -> float | None:
        """Noise-to-mask ratio of what a change adds beside a gain."""
        cross = own = 0.0
        for music, changed in self.beside(change):
            cross += float((music * changed).sum())
            own += float(np.square(music).sum())
        gain = cross / own if own > 0.0 else 1.0
        meter = MaskMeter(*self._ear, room_dba=self.room_dba)
        for music, changed in self.beside(change):
            meter.add(music, changed / gain - music)
        return meter.account().noise_to_mask_db

    def largest(self, change: Change) -> float:
        """Largest rms of what a change adds, over the blocks."""
        return max(
            (float(np.sqrt(np.square(y - x).mean())) for x, y in self.beside(change)), default=0.0
        )


def _taken(waiting: deque[Array], frames: int) -> Array:
    """The first frames of what waits."""
    taken = []
    while frames:
        block = waiting.popleft()
        if len(block) > frames:
            waiting.appendleft(block[frames:])
            block = block[:frames]
        taken.append(block)
        frames -= len(block)
    return taken[0] if len(taken) == 1 else np.concatenate(taken)
