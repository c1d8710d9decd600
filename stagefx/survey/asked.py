"""What a survey asks: which stage, at which two settings of its knob, how loud."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from stagefx.circuit.circuit import Circuit, nominal
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.knob import Knob, set_knob
from stagefx.circuit.response import Response
from stagefx.circuit.search import last
from stagefx.effects.added.oscillation import refuse_unstable
from stagefx.effects.kind import Setup
from stagefx.errors import StageError
from stagefx.render.plan import chosen, stage_effects
from stagefx.render.preparation import Played

_KILOHERTZ = np.array([1000.0])
NO_CONTROL = "there is no volume control"
NO_CHAIN = "no listening chain is described"


@dataclass(frozen=True)
class Asked:
    """A stage and how it is played, the same for every piece."""

    stage: Stage
    knob: float | None = None
    listening_level_db: float = 85.0
    full: bool = False

    @cached_property
    def fixed_stage(self) -> Stage:
        """The stage with its knob where it does not depend on the music."""
        volume = self.stage.volume
        if volume is None:
            return self.stage
        moving = volume.position is None and volume.setting in {None, "listening"}
        if self.knob is None and not moving:
            return self.stage
        position = 1.0 if self.knob is None else self.knob
        return _with_knob(self.stage, position=position, setting=None)

    @cached_property
    def listening_stage(self) -> Stage | None:
        """The stage with its knob where a piece plays at the listening level, if that is known."""
        if self.no_listening:
            return None
        return _with_knob(self.stage, position=None, setting="listening")

    @property
    def no_listening(self) -> str:
        """Why there is no setting by listening; empty where there is one."""
        if self.stage.volume is None:
            return NO_CONTROL
        return "" if self.stage.listening is not None else NO_CHAIN

    @property
    def by_listening(self) -> bool:
        """Whether the stage itself asks to be set by listening, as a render of it would be."""
        volume = self.stage.volume
        if volume is None or volume.position is not None or self.no_listening:
            return False
        return volume.setting in {None, "listening"}

    def checked(self) -> Knob:
        """Refuse what no piece could be played through."""
        if self.stage.source.level is None:
            raise StageError(
                f"'{self.stage.name}' does not say how hot its source is; give [source] level, the "
                'rms voltage of a full-scale sine, for example "2 V rms"'
            )
        if self.knob is not None and self.stage.volume is None:
            raise StageError(
                f"'{self.stage.name}' has no volume control to set; leave --knob out, or give "
                "[volume] resistance"
            )
        usual = set_knob(nominal(self.stage), listening_level_db=self.listening_level_db)
        fixed = ready(self.fixed_stage)
        if any(effect.gain == 0.0 for effect in stage_effects(Setup(fixed.knob.circuit, 48000))):
            raise StageError(
                f"'{self.stage.name}' passes nothing at 1 kHz with its knob at zero; "
                "give another position"
            )
        return usual


def _with_knob(stage: Stage, *, position: float | None, setting: str | None) -> Stage:
    assert stage.volume is not None
    volume = stage.volume.model_copy(update={"position": position, "setting": setting})
    return stage.model_copy(update={"volume": volume})


def ready(stage: Stage, *, programme_db: float = -18.0, listening_level_db: float = 85.0) -> Played:
    """A stage with its knob set for a piece whose level is known."""
    knob = set_knob(
        nominal(stage), listening_level_db=listening_level_db, programme_db=programme_db
    )
    keep = chosen(stage)
    refuse_unstable(knob.circuit, keep)
    return Played(stage, knob, keep, {}, 0)


def clips_from_knob(played: Played, headroom_db: float) -> float | None:
    """The position from which on a piece clips, by the gain at 1 kHz.

    A control changes the response as well, by the source resistance that its wiper makes: within
    a tenth of a decibel for controls that cables and inputs are fit for.
    """
    volume, circuit = played.stage.volume, played.knob.circuit
    if volume is None or volume.place != "before" or not np.isfinite(headroom_db):
        return None
    needed = _gain(circuit) * 10.0 ** (headroom_db / 20.0) * (1.0 - 1e-9)
    steps = volume.law.steps_db
    if steps:
        travels = np.linspace(0.0, 1.0, len(steps))
        found = (float(t) for t in travels if _gain(circuit.at_position(t)) >= needed)
        return next(found, None)
    if _gain(circuit.at_position(1.0)) < needed:
        return None
    travel = last(
        lambda at: np.asarray(_gain(circuit.at_position(float(at))) < needed),
        np.zeros(()),
        np.ones(()),
    )
    return float(travel)


def _gain(circuit: Circuit) -> float:
    """Magnitude at 1 kHz from source to amplifier output."""
    response = Response(circuit, _KILOHERTZ)
    amplifier = response.amplifier
    assert amplifier is not None
    return float(np.abs(response.to_amplifier_output)[0, 0])
