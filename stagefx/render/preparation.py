"""A stage made ready for a piece of music: its effects chosen, its knob set."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Set as AbstractSet
from dataclasses import dataclass, field

import numpy as np

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.knob import ASSUMED_PROGRAMME_DB, Knob, set_knob
from stagefx.dsp.levels import AWeightedMeter
from stagefx.effects.added.oscillation import refuse_unstable
from stagefx.effects.kind import Piece, Setup
from stagefx.errors import EffectError, StageError
from stagefx.io.files import AudioReader
from stagefx.io.prefetch import ahead
from stagefx.render.chain import BLOCK_FRAMES, Chain
from stagefx.render.plan import check_known, chosen, stage_pieces
from stagefx.units import decibels

MOST_TIMES = 1e6
"""Largest factor by which an effect may be exaggerated."""


@dataclass(frozen=True)
class Played:
    """A stage ready to be played through."""

    stage: Stage
    knob: Knob
    keep: frozenset[str]
    times: Mapping[str, float]
    seed: int
    _pieces: dict[int, tuple[Piece, ...]] = field(default_factory=dict, compare=False, repr=False)

    @property
    def full_scale_v(self) -> float:
        """Peak of a full-scale sine of the source, V."""
        level = self.stage.source.level
        assert level is not None
        return float(np.sqrt(2.0) * level.value)

    def setup(self, rate_hz: int) -> Setup:
        """For what the effects are made."""
        return Setup(self.knob.circuit, rate_hz, self.seed)

    def pieces(self, rate_hz: int) -> tuple[Piece, ...]:
        """All effects of the stage, each with its place."""
        if rate_hz not in self._pieces:
            self._pieces[rate_hz] = stage_pieces(self.setup(rate_hz))
        return self._pieces[rate_hz]

    def chain(
        self,
        rate_hz: int,
        channels: int,
        *,
        keep: AbstractSet[str] | None = None,
        threads: int = 2,
    ) -> Chain:
        """The running effects."""
        effects = [effect for _, effect in self.pieces(rate_hz)]
        if any(effect.gain == 0.0 for effect in effects):
            raise StageError(
                f"'{self.stage.name}' passes nothing at 1 kHz: its knob stands at zero; "
                "give [volume] position or setting"
            )
        return Chain(
            effects,
            rate_hz,
            channels,
            full_scale_v=self.full_scale_v,
            keep=self.keep if keep is None else keep,
            times=self.times,
            threads=threads,
        )


def prepare(
    stage: Stage,
    music: AudioReader | None = None,
    *,
    only: Iterable[str] = (),
    without: Iterable[str] = (),
    times: Mapping[str, float] | None = None,
    seed: int = 0,
    listening_level_db: float = 85.0,
    programme_db: float | None = None,
) -> Played:
    """Choose the effects and set the knob for a piece of music."""
    times = dict(times or {})
    keep = chosen(stage, only=only, without=without)
    check_known(times)
    for name in times:
        if name not in keep:
            raise EffectError(f"{name} is not rendered here, so it cannot be exaggerated")
        if not 0.0 <= times[name] <= MOST_TIMES:
            raise EffectError(
                f"{times[name]:g} times {name} is out of range; give a factor from 0 to "
                f"{MOST_TIMES:,.0f}"
            )
    if stage.source.level is None:
        raise StageError(
            f"'{stage.name}' does not say how hot its source is; give [source] level, the rms "
            'voltage of a full-scale sine, for example "2 V rms"'
        )
    circuit = nominal(stage)
    if programme_db is None and music is not None and set_by_listening(stage):
        music.keep()
        programme_db = programme_level_db(music)
    knob = set_knob(
        circuit,
        listening_level_db=listening_level_db,
        programme_db=ASSUMED_PROGRAMME_DB if programme_db is None else programme_db,
    )
    refuse_unstable(knob.circuit, keep)
    return Played(stage, knob, frozenset(keep), times, seed)


def set_by_listening(stage: Stage) -> bool:
    """Whether the knob stands where the music plays at the listening level."""
    volume = stage.volume
    if volume is None or stage.listening is None or volume.position is not None:
        return False
    return volume.setting in {None, "listening"}


def programme_level_db(music: AudioReader) -> float:
    """A piece's A-weighted level re a full-scale sine on all its channels."""
    channels = music.format.channels
    meter = AWeightedMeter(music.format.rate_hz, channels)
    for block in ahead(music.blocks(BLOCK_FRAMES)):
        meter.add(block)
    level = meter.level_db - decibels(channels) / 2.0
    return level if np.isfinite(level) else ASSUMED_PROGRAMME_DB
