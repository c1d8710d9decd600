"""A stage on the bench: its knob set, its load chosen, ready to be played through."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagefx.circuit.circuit import Circuit, nominal
from stagefx.circuit.description.stage import Load, Stage
from stagefx.circuit.knob import Knob, set_knob
from stagefx.circuit.limits import limits
from stagefx.circuit.response import Response
from stagefx.effects.added.oscillation import refuse_unstable
from stagefx.errors import StageError
from stagefx.render.plan import chosen
from stagefx.render.preparation import Played
from stagefx.units import Quantity

Array = NDArray[np.float64]

_KILOHERTZ = np.array([1000.0])
_NICE = (1.0, 2.0, 5.0, 10.0)


@dataclass(frozen=True)
class OnBench:
    """A stage with its knob set, and the volts it is played and recorded with."""

    stage: Stage
    knob: Knob
    played_v: float

    @property
    def circuit(self) -> Circuit:
        """The circuit at the knob's position."""
        return self.knob.circuit

    @property
    def gain(self) -> complex:
        """EMF to load at 1 kHz."""
        return complex(Response(self.circuit, _KILOHERTZ).to_load[0, 0])

    @property
    def captured_v(self) -> float:
        """A recorder's full scale that holds all the stage can put out, a round figure, V rms."""
        largest = self.played_v * abs(self.gain) * 1.5
        bounds = limits(self.circuit)
        if bounds is not None and bounds.high_v is not None and bounds.low_v is not None:
            swing = max(float(bounds.high_v[0]), -float(bounds.low_v[0]))
            passed = abs(complex(Response(self.circuit, _KILOHERTZ).output[0, 0]))
            largest = min(largest, 1.5 * swing * passed / math.sqrt(2.0))
        decade = 10.0 ** math.floor(math.log10(largest))
        return next(nice for nice in _NICE if nice * decade >= largest) * decade

    def through(self, samples: Array, rate_hz: int, *, seed: int = 0) -> Array:
        """Play samples through the stage into the recorder."""
        played = Played(self.stage, self.knob, chosen(self.stage), {}, seed)
        with played.chain(rate_hz, samples.shape[1]) as chain:
            scale = chain.unit_v / (math.sqrt(2.0) * self.captured_v)
            out = np.concatenate(list(chain.process([samples])))
        return np.asarray(out * scale)


def on_bench(stage: Stage, *, knob: float | None = None, load_ohm: float | None = None) -> OnBench:
    """Lay a stage on the bench."""
    if stage.source.level is None:
        raise StageError(
            f"'{stage.name}' does not say how hot its source is; give [source] level, the rms "
            'voltage of a full-scale sine, for example "2 V rms"'
        )
    laid = with_load(with_knob(stage, knob), load_ohm)
    set_up = set_knob(nominal(laid))
    refuse_unstable(set_up.circuit, chosen(laid))
    found = OnBench(laid, set_up, stage.source.level.value)
    if found.gain == 0.0:
        raise StageError(
            f"'{stage.name}' passes nothing at 1 kHz: its knob stands at zero; turn it up with "
            "--knob"
        )
    return found


def with_knob(stage: Stage, knob: float | None) -> Stage:
    """A stage with its knob at a share of its travel."""
    if knob is None:
        return stage
    if stage.volume is None:
        raise StageError(f"'{stage.name}' has no volume control to be set; leave --knob out")
    volume = stage.volume.model_copy(update={"position": knob, "setting": None})
    return stage.model_copy(update={"volume": volume})


def with_load(stage: Stage, load_ohm: float | None) -> Stage:
    """A stage that drives another resistance."""
    if load_ohm is None:
        return stage
    load = stage.load or Load()
    return stage.model_copy(
        update={"load": load.model_copy(update={"resistance": Quantity(load_ohm)})}
    )
