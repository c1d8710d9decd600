"""What an audition works out of two versions, each step when it is first asked for."""

from __future__ import annotations

from collections.abc import Hashable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stagefx.align.alignment import Alignment, align
from stagefx.audition.evaluation import Hear, frames_of, hear
from stagefx.audition.steps import Steps
from stagefx.audition.versions import (
    HeldVersion,
    StageVersion,
    Version,
    render_versions,
)
from stagefx.difference.captured.gap_noise import GapNoise, gap_noise
from stagefx.difference.decomposition import Difference, take_apart
from stagefx.difference.pairs import side_by_side
from stagefx.errors import ComparisonError
from stagefx.hearing.ear_model import Heard
from stagefx.hearing.level_at_ear import (
    LevelAtEar,
    Room,
    check_listening_level,
    level_at_ear,
    room_of,
)
from stagefx.hearing.passage import USUAL_PASSAGE_S, Passage, choose_passage
from stagefx.hearing.verdict import LevelBy
from stagefx.io.recording import Recording

if TYPE_CHECKING:
    pass

Array = NDArray[np.float64]
Frames = tuple[int, int | None]
"""A stretch of the first version; None for its end."""


class Pair:
    """Two versions of a piece, at a listening level, in a room, and what is known of them."""

    def __init__(
        self,
        first: Version,
        second: Version,
        *,
        listening_level_db: float,
        level_by: LevelBy,
        room_dba: Room,
        steps: Steps,
    ) -> None:
        self.first, self.second = first, second
        self.listening_level_db, self.level_by = listening_level_db, level_by
        self.room_dba = room_dba
        self._steps = steps

    @property
    def stages(self) -> tuple[StageVersion, StageVersion] | None:
        """Both versions, where they are music through stages."""
        if isinstance(self.first, StageVersion) and isinstance(self.second, StageVersion):
            return self.first, self.second
        return None

    @property
    def room(self) -> float | None:
        """The room's noise, dBA; None where it hides nothing."""
        return room_of(self.room_dba, *(one.stage for one in self.stages or ()))

    @contextmanager
    def open(self) -> Iterator[tuple[Recording, Recording]]:
        """Both versions, to be read on one thread."""
        self._render()
        with self.first.open() as one, self.second.open() as other:
            yield one, other

    def _render(self) -> None:
        """Both in one pass over the music, whichever is asked for first."""
        if self.stages:
            render_versions(self.stages, self._steps)

    @property
    def level_at_ear(self) -> LevelAtEar:
        """How loud full scale is at the seat while the first plays."""
        check_listening_level(self.listening_level_db)
        self._render()
        return level_at_ear(self.first.level_db(), listening_level_db=self.listening_level_db)

    @property
    def alignment(self) -> Alignment:
        """How the second lies beside the first, as a whole."""

        def work() -> Alignment:
            with self.open() as pair:
                return align(*pair)

        return self._steps.once(("alignment", *self._keys), work)

    @property
    def _keys(self) -> tuple[Hashable, Hashable]:
        return self.first.key, self.second.key

    def choose_passage(
        self, *, seconds: float = USUAL_PASSAGE_S, level_matched: bool = True
    ) -> Passage:
        """The stretch in which the difference is most likely to be heard."""

        def work() -> Passage:
            with self.open() as pair:
                return choose_passage(
                    *pair, seconds=seconds, level_matched=level_matched, alignment=self.alignment,
                    ear=self.level_at_ear,
                )  # fmt: skip

        key = ("passage", *self._keys, self.listening_level_db, seconds, level_matched)
        return self._steps.once(key, work)

    def excerpt(self, passage: tuple[float, float]) -> tuple[Array, Array]:
        """A passage of both, the second brought to the first's time and polarity."""
        with self.open() as (one, other):
            start, stop = frames_of(one, passage)
            assert stop is not None
            pairs = list(side_by_side(one, other, self.alignment, start=start, stop=stop))
            moved = np.concatenate([pair.second for pair in pairs]) if pairs else np.zeros((0, 1))
            if len(moved) != stop - start:
                raise ComparisonError(
                    f"{other.place} does not hold the whole passage from {passage[0]:g} s to "
                    f"{passage[1]:g} s; give another passage"
                )
            return one.read(start, stop), self.alignment.polarity * moved

    def measured(
        self, pair: tuple[Recording, Recording], frames: Frames
    ) -> tuple[Difference, LevelAtEar]:
        """The difference, and how loud it all is, side by side on two threads."""
        key = ("difference", *self._keys, frames, self.stages is not None)

        def work() -> Difference:
            return take_apart(
                *pair, start=frames[0], stop=frames[1], together=self.stages is not None
            )

        with ThreadPoolExecutor(1, thread_name_prefix="level") as beside:
            level = beside.submit(lambda: self.level_at_ear)
            if isinstance(self.first, HeldVersion):  # its reader is in use
                level.result()
            difference = self._steps.once(key, work)
            return difference, level.result()

    def hearing(self, frames: Frames) -> Hear:
        """As `hear`, but what was heard before is not worked out again."""

        def heard(
            pair: tuple[Recording, Recording],
            difference: Difference,
            spl_db: float,
            matched_db: float,
            room_dba: float | None,
        ) -> Heard:
            key = ("heard", *self._keys, frames, spl_db, matched_db, room_dba)
            return self._steps.once(
                key, lambda: hear(pair, difference, spl_db, matched_db, room_dba)
            )

        return heard

    def gap_noise(
        self,
        pair: tuple[Recording, Recording],
        difference: Difference,
        frames: Frames,
    ) -> GapNoise:
        """Noise of both in the silences."""
        key = ("gap noise", *self._keys, frames)
        return self._steps.once(key, lambda: gap_noise(*pair, difference))
