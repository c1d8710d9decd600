"""Each effect of a stage on its own, turned up until it can be heard: a lesson, not evidence."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from stagefx.audition.audition import Audition
from stagefx.circuit.description.stage import Stage
from stagefx.io.files import AudioReader, open_audio
from stagefx.io.writing import AudioWriter
from stagefx.render.plan import needed
from stagefx.render.preparation import Played
from stagefx.render.rendering import render_file
from stagefx.report.listening.levels import loudest_moment_dbfs

Array = NDArray[np.float64]

STEPS = tuple(d * 10.0**e for e in range(5) for d in (1.0, 2.0, 5.0) if d * 10.0**e <= 10_000.0)
"""Factors that are tried: 1, 2, 5, 10 and so on."""
WANTED_DB = -20.0
"""An effect is exaggerated until its loudest moment comes this near to the music's."""
FAINTEST_DB = -70.0
"""What stays further under the music at the largest factor is left out."""
_NO_SOUND = {
    "offset": "direct current, which is no sound; see the figures",
    "oscillation": "far above hearing; it shows in what it does to clip and slew",
}
_LEAD_S, _TAIL_S = 2.0, 0.5


@dataclass(frozen=True)
class Exaggeration:
    """One effect alone, exaggerated."""

    effect: str
    stage: str
    times: float
    samples: Array


@dataclass(frozen=True)
class NotHeard:
    """An effect that there is nothing to hear of."""

    effect: str
    why: str


def exaggerate(
    audition: Audition, passage_s: tuple[float, float], *, seed: int = 0
) -> tuple[tuple[Exaggeration, ...], tuple[NotHeard, ...], Array]:
    """Play a passage with each effect alone, exaggerated until it can be heard.

    Of each effect that stage's is taken in which it does more to this passage.  Knobs stand where
    the whole piece puts them.  Gives what was exaggerated, in the order in which effects are
    listed; effects that leave nothing here, or make no sound; and the music of the passage itself.
    """
    assert audition.stages is not None
    fixed = [_with_fixed_knob(one.played) for one in audition.stages]
    names = dict.fromkeys(name for stage in fixed for name in needed(stage))
    found: list[Exaggeration] = []
    silent: list[NotHeard] = []
    with (
        audition.stages[0].music.open() as music,
        _excerpt(music, passage_s) as (place, inside, played),
    ):
        for name in names:
            if name in _NO_SOUND:
                silent.append(NotHeard(name, _NO_SOUND[name]))
                continue
            one = _Alone(name, fixed, place, inside, seed).exaggerated()
            if isinstance(one, Exaggeration):
                found.append(one)
            else:
                silent.append(one)
        return tuple(found), tuple(silent), played


@contextmanager
def _excerpt(
    music: AudioReader, passage_s: tuple[float, float]
) -> Iterator[tuple[Path, slice, Array]]:
    """The passage with some music round it in a file, where in it it lies, and itself."""
    with tempfile.TemporaryDirectory(prefix="stagefx-") as folder:
        made = music.format
        start, stop = (round(edge * made.rate_hz) for edge in passage_s)
        first = max(start - round(_LEAD_S * made.rate_hz), 0)
        last = min(stop + round(_TAIL_S * made.rate_hz), made.frames)
        place = Path(folder, "passage.wav")
        with AudioWriter(
            place, rate_hz=made.rate_hz, channels=made.channels, bits="float"
        ) as writer:
            around = music.read(first, last)
            writer.write(around)
        inside = slice(start - first, stop - first)
        yield place, inside, around[inside].copy()


def _with_fixed_knob(played: Played) -> Stage:
    """The stage with its knob where the whole piece puts it, so that a passage moves nothing."""
    stage, position = played.stage, played.knob.position
    if stage.volume is None or position is None:
        return stage
    volume = stage.volume.model_copy(update={"position": position, "setting": None})
    return stage.model_copy(update={"volume": volume})


class _Alone:
    """One effect of two stages on a passage."""

    def __init__(
        self, name: str, stages: list[Stage], place: Path, inside: slice, seed: int
    ) -> None:
        self._name, self._place, self._inside, self._seed = name, place, inside, seed
        with open_audio(place) as reader:
            made = reader.format
            self._music = reader.read(0, made.frames)[inside]
            self._rate_hz = made.rate_hz
        with_it = [stage for stage in stages if name in needed(stage)]
        once = [self._played(stage, 1.0) for stage in with_it]
        sizes = [self._left_db(samples) for samples in once]
        self._size_db, self._stage, self._as_it_is = max(
            zip(sizes, with_it, once, strict=True), key=lambda found: found[0]
        )

    def exaggerated(self) -> Exaggeration | NotHeard:
        """The effect as strong as can be heard without drowning the music."""
        if self._size_db == -np.inf:
            return NotHeard(
                self._name, "leaves nothing in this passage, however much is made of it"
            )
        fits = [k for k in STEPS if self._size_db + 20.0 * np.log10(k) <= WANTED_DB]
        times = fits[-1] if fits else 1.0
        samples = self._as_it_is if times == 1.0 else self._played(self._stage, times)
        under_db = -self._left_db(samples)
        if under_db > -FAINTEST_DB:
            why = f"{under_db:.0f} dB under the music even when exaggerated {times:,.0f} times"
            return NotHeard(self._name, why)
        return Exaggeration(self._name, self._stage.name, times, samples)

    def _played(self, stage: Stage, times: float) -> Array:
        with tempfile.TemporaryDirectory(prefix="stagefx-") as folder:
            out = Path(folder, "alone.wav")
            factors = {} if times == 1.0 else {self._name: times}
            render_file(
                stage, self._place, out, only=(self._name,), times=factors, bits="float",
                seed=self._seed,
            )  # fmt: skip
            with open_audio(out) as reader:
                return reader.read(0, reader.format.frames)[self._inside]

    def _left_db(self, samples: Array) -> float:
        """What is left of the effect beside the music, loudest moment beside loudest moment."""
        left = loudest_moment_dbfs(samples - self._music, self._rate_hz)
        return left - loudest_moment_dbfs(self._music, self._rate_hz)
