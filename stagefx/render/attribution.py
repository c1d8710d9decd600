"""Which effect does what: the music with each effect alone, and with each left out.

All variants run beside each other in one pass over the decoded music.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stagefx.circuit.description.stage import Stage
from stagefx.io.files import open_audio
from stagefx.io.prefetch import ahead
from stagefx.render.chain import Chain, Passage
from stagefx.render.plan import stage_effects
from stagefx.render.preparation import (
    Played,
    prepare,
    programme_level_db,
    set_by_listening,
)

Array = NDArray[np.float64]
MOMENT_S = 0.4


@dataclass(frozen=True)
class Contribution:
    """What one effect does to a piece of music."""

    effect: str
    alone_db: float
    left_out_db: float
    loudest_s: float | None
    loudest_db: float


@dataclass(frozen=True)
class Attribution:
    """What each effect of a stage does to a piece of music.

    Parameters
    ----------
    contributions : tuple of Contribution
        Largest first.
    together_db : float, dB
        Residual of the whole stage against the music, re the music.
    programme_db : float or None, dB
        The music's own level, where a knob is set by it.
    """

    contributions: tuple[Contribution, ...]
    together_db: float
    programme_db: float | None = None

    def as_json(self) -> dict[str, Any]:
        """The result as plain values, ready for JSON.

        Returns
        -------
        dict
            Keys ``together_db`` and ``contributions``.
        """
        rows = [
            {key: _level(value) for key, value in asdict(row).items()} for row in self.contributions
        ]
        return {"together_db": _level(self.together_db), "contributions": rows}


def _level(value: Any) -> Any:
    if value == math.inf:
        return {"value": None, "reason": "the music is silent"}
    return {"value": None, "reason": "it changes nothing"} if value in {None, -math.inf} else value


class _Line:
    """Blocks in order, given out again in other lengths."""

    def __init__(self) -> None:
        self._ready: list[Array] = []

    def add(self, blocks: list[Array]) -> None:
        self._ready.extend(blocks)

    @property
    def frames(self) -> int:
        return sum(block.shape[0] for block in self._ready)

    def take(self, frames: int) -> Array:
        joined = self._ready[0] if len(self._ready) == 1 else np.concatenate(self._ready)
        self._ready = [joined[frames:]] if joined.shape[0] > frames else []
        return joined[:frames]


class _Variant(_Line):
    """The music through a chain with some of the effects."""

    def __init__(self, chain: Chain) -> None:
        super().__init__()
        self._passage = Passage(chain)

    def put(self, block: Array | None) -> None:
        self.add(self._passage.finish() if block is None else self._passage.put(block))


class _Energy:
    """Energy of samples, in all and by moment."""

    def __init__(self, rate_hz: int) -> None:
        self._moment_frames = round(MOMENT_S * rate_hz)
        self._rate_hz = rate_hz
        self._frame = 0
        self._now = (0, 0.0)
        self._loudest = (0, 0.0)
        self.energy = 0.0

    def add(self, samples: Array) -> None:
        start = 0
        while start < samples.shape[0]:
            moment, into = divmod(self._frame, self._moment_frames)
            piece = samples[start : start + self._moment_frames - into]
            energy = float(np.square(piece).sum())
            self.energy += energy
            self._now = (moment, energy + (self._now[1] if self._now[0] == moment else 0.0))
            self._loudest = max(self._loudest, self._now, key=lambda found: found[1])
            start += piece.shape[0]
            self._frame += piece.shape[0]

    @property
    def mean(self) -> float:
        """Energy a frame."""
        return self.energy / max(self._frame, 1)

    @property
    def loudest_s(self) -> float | None:
        """Where the moment with most energy begins."""
        if self._loudest[1] == 0.0:
            return None
        return self._loudest[0] * self._moment_frames / self._rate_hz

    @property
    def loudest_mean(self) -> float:
        """Energy a frame of that moment."""
        first = self._loudest[0] * self._moment_frames
        return self._loudest[1] / max(min(self._moment_frames, self._frame - first), 1)


def attribute(
    stage: Stage,
    music: str | Path,
    *,
    only: Iterable[str] = (),
    without: Iterable[str] = (),
    times: Mapping[str, float] | None = None,
    seed: int = 0,
    listening_level_db: float = 85.0,
    progress: Callable[[int, int | None], None] | None = None,
) -> Attribution:
    """Tell what each effect of a stage does to a piece of music.

    Parameters
    ----------
    stage : Stage
        Needs a source level.
    music : str or Path
        Any audio file.
    only, without : iterable of str
        Effects to look at alone, or to leave out.
    times : mapping of str to float
        Factors by which effects are exaggerated.
    seed : int
        Of the noise.
    listening_level_db : float, dB SPL
        A-weighted level at the seat, for a knob set by listening.
    progress : callable
        Told the frames done and the frames in all.

    Returns
    -------
    Attribution
        Levels by gain, so a residual is what the effect changes beside the level.

    Raises
    ------
    StagefxError
        The stage or the music cannot be used.

    Examples
    --------
    >>> from stagefx.samples import samples_folder
    >>> from stagefx.circuit.description.files import load_stage
    >>> found = attribute(
    ...     load_stage("line-stage"),
    ...     samples_folder() / "music" / "trio.flac",
    ...     only=["bandwidth", "clip"],
    ... )
    >>> [row.effect for row in found.contributions]
    ['bandwidth', 'clip']
    """
    with open_audio(music) as reader:
        programme_db = None
        if set_by_listening(stage):
            reader.keep()
            programme_db = programme_level_db(reader)
        played = prepare(
            stage,
            reader,
            only=only,
            without=without,
            times=times,
            seed=seed,
            listening_level_db=listening_level_db,
            programme_db=programme_db,
        )
        found = _Found(played, reader.format.rate_hz, reader.format.channels)
        done = 0
        with ThreadPoolExecutor(_THREADS) as pool:
            for block in ahead(reader.blocks()):
                found.add(block, pool)
                done += block.shape[0]
                if progress is not None:
                    progress(done, reader.format.frames)
            found.add(None, pool)
    return replace(found.result(), programme_db=programme_db)


_THREADS = 2
_Key = tuple[str, str]
_MUSIC: _Key = ("music", "")
_WHOLE: _Key = ("whole", "")


class _Found:
    """All variants side by side, and what was found of each so far."""

    def __init__(self, played: Played, rate_hz: int, channels: int) -> None:
        present = {effect.name for effect in stage_effects(played.setup(rate_hz))}
        self._names = sorted(present & played.keep)
        every = frozenset(self._names)
        keeps = {_WHOLE: every}
        keeps |= {("alone", name): frozenset({name}) for name in self._names}
        keeps |= {("without", name): every - {name} for name in self._names}
        self._variants = {
            key: _Variant(played.chain(rate_hz, channels, keep=keep, threads=1))
            for key, keep in keeps.items()
        }
        self._music = _Line()
        self._energies = {key: _Energy(rate_hz) for key in (_MUSIC, *keeps)}

    def add(self, block: Array | None, pool: ThreadPoolExecutor) -> None:
        """Play the next block through every variant; None ends the music."""
        if block is not None:
            self._music.add([block])
        list(pool.map(lambda variant: variant.put(block), self._variants.values()))
        frames = min(variant.frames for variant in self._variants.values())
        if frames == 0:
            return
        taken = {key: variant.take(frames) for key, variant in self._variants.items()}
        music = self._music.take(frames)
        self._energies[_MUSIC].add(music)
        for (kind, name), samples in taken.items():
            against = taken[_WHOLE] if kind == "without" else music
            self._energies[kind, name].add(samples - against)

    def _db(self, energy: float) -> float:
        music = self._energies[_MUSIC].mean
        if energy == 0.0:
            return -math.inf
        return 10.0 * math.log10(energy / music) if music > 0.0 else math.inf

    def result(self) -> Attribution:
        """Everything in decibels."""
        rows = []
        for name in self._names:
            alone = self._energies["alone", name]
            left_out = self._energies["without", name]
            rows.append(
                Contribution(
                    name,
                    self._db(alone.mean),
                    self._db(left_out.mean),
                    alone.loudest_s,
                    self._db(alone.loudest_mean),
                )
            )
        ranked = sorted(rows, key=lambda row: (-row.alone_db, row.effect))
        return Attribution(tuple(ranked), self._db(self._energies[_WHOLE].mean))
