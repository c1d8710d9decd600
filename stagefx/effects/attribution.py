"""Which effect does what: the music with each effect alone, and with each left out.

All variants run beside each other in one pass over the decoded music.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stagefx.audio import open_audio
from stagefx.effects.chain import Chain, Passage
from stagefx.effects.plan import stage_effects
from stagefx.effects.ready import Played, prepare
from stagefx.stage.description import Stage

Array = NDArray[np.float64]
MOMENT_S = 0.4


@dataclass(frozen=True)
class Contribution:
    """What one effect does to a piece of music.

    Parameters
    ----------
    effect : str
        Its name.
    alone_db : float, dB
        Residue of the effect alone against the music, re the music; minus infinity for none.
    left_out_db : float, dB
        Residue of the whole stage against the stage without it, re the music.
    loudest_s : float or None, s
        Where in the music the effect alone leaves most, to 0.4 s; None where it leaves nothing.
    """

    effect: str
    alone_db: float
    left_out_db: float
    loudest_s: float | None


@dataclass(frozen=True)
class Attribution:
    """What each effect of a stage does to a piece of music.

    Parameters
    ----------
    contributions : tuple of Contribution
        Largest first.
    together_db : float, dB
        Residue of the whole stage against the music, re the music.
    """

    contributions: tuple[Contribution, ...]
    together_db: float

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
    if isinstance(value, float) and not math.isfinite(value):
        return {"value": None, "reason": "nothing is left"}
    return {"value": None, "reason": "nothing is left"} if value is None else value


class _Variant:
    """A chain with some effects, and what it differs by from another."""

    def __init__(self, chain: Chain) -> None:
        self._passage = Passage(chain)
        self._ready: list[Array] = []

    def put(self, block: Array | None) -> None:
        done = self._passage.finish() if block is None else self._passage.put(block)
        self._ready.extend(done)

    @property
    def frames(self) -> int:
        return sum(block.shape[0] for block in self._ready)

    def take(self, frames: int) -> Array:
        joined = np.concatenate(self._ready)
        self._ready = [joined[frames:]]
        return joined[:frames]


class _Residue:
    """Energy of a difference, in all and by moment."""

    def __init__(self, moment_frames: int) -> None:
        self._moment_frames = moment_frames
        self.energy = 0.0
        self._frame = 0
        self._moment = (0, 0.0)
        self._loudest = (0, 0.0)

    def add(self, difference: Array) -> None:
        for start in range(0, difference.shape[0], self._moment_frames):
            piece = difference[start : start + self._moment_frames]
            energy = float((piece * piece).sum())
            self.energy += energy
            moment = (self._frame + start) // self._moment_frames
            known = self._moment[1] if self._moment[0] == moment else 0.0
            self._moment = (moment, known + energy)
            if self._moment[1] > self._loudest[1]:
                self._loudest = self._moment
        self._frame += difference.shape[0]

    @property
    def loudest_s(self) -> float | None:
        return None if self._loudest[1] == 0.0 else self._loudest[0] * MOMENT_S


def attribute(
    stage: Stage,
    music: str | Path,
    *,
    only: Iterable[str] = (),
    without: Iterable[str] = (),
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
    seed : int
        Of the noise.
    listening_level_db : float, dB SPL
        A-weighted level at the seat, for a knob set by listening.
    progress : callable
        Told the frames done and the frames in all.

    Returns
    -------
    Attribution
        Levels by gain, so a residue is what the effect changes beside the level.

    Raises
    ------
    StagefxError
        The stage or the music cannot be used.

    Examples
    --------
    >>> from stagefx.evidence.scenario import samples_folder
    >>> from stagefx.stage import load_stage
    >>> found = attribute(
    ...     load_stage("line-stage"),
    ...     samples_folder() / "music" / "trio.flac",
    ...     only=["bandwidth", "clip"],
    ... )
    >>> [row.effect for row in found.contributions]
    ['bandwidth', 'clip']
    """
    with open_audio(music) as reader:
        played = prepare(
            stage,
            reader,
            only=only,
            without=without,
            seed=seed,
            listening_level_db=listening_level_db,
        )
        rate, channels = reader.format.rate_hz, reader.format.channels
        names = _present(played, rate)
        variants = _variants(played, names, rate, channels)
        moment = round(MOMENT_S * rate)
        residues = {key: _Residue(moment) for key in variants if key != _MUSIC}
        music_energy = 0.0
        for block in (*reader.blocks(), None):
            for variant in variants.values():
                variant.put(block)
            frames = min(variant.frames for variant in variants.values())
            taken = {key: variant.take(frames) for key, variant in variants.items()}
            original, whole = taken[_MUSIC], taken[_WHOLE]
            music_energy += float((original * original).sum())
            for (kind, name), residue in residues.items():
                against = whole if kind == "without" else original
                residue.add(taken[kind, name] - against)
            if progress is not None and block is not None:
                progress(frames, reader.format.frames)
    return _result(names, residues, music_energy)


_Key = tuple[str, str]
_MUSIC: _Key = ("none", "")
_WHOLE: _Key = ("all", "")


def _present(played: Played, rate_hz: int) -> list[str]:
    found = {effect.name for effect in stage_effects(played.setup(rate_hz))}
    return sorted(found & played.keep)


def _variants(
    played: Played, names: list[str], rate_hz: int, channels: int
) -> dict[_Key, _Variant]:
    keeps: dict[_Key, frozenset[str]] = {_MUSIC: frozenset(), _WHOLE: frozenset(names)}
    keeps |= {("alone", name): frozenset({name}) for name in names}
    keeps |= {("without", name): frozenset(names) - {name} for name in names}
    return {
        key: _Variant(played.chain(rate_hz, channels, keep=keep)) for key, keep in keeps.items()
    }


def _result(names: list[str], residues: dict[_Key, _Residue], music_energy: float) -> Attribution:
    def level(key: _Key) -> float:
        energy = residues[key].energy
        if energy == 0.0 or music_energy == 0.0:
            return -math.inf
        return 10.0 * math.log10(energy / music_energy)

    rows = [
        Contribution(
            name,
            level(("alone", name)),
            level(("without", name)),
            residues["alone", name].loudest_s,
        )
        for name in names
    ]
    ranked = sorted(rows, key=lambda row: (-row.alone_db, row.effect))
    return Attribution(tuple(ranked), level(_WHOLE))
