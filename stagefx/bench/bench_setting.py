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
    """A stage with its knob set, and the volts it is played and recorded with.

    Parameters
    ----------
    stage : Stage
        As it lies on the bench.
    knob : Knob
        Its circuit at the knob's position.
    played_v : float, V rms
        A full-scale sine of the source.
    """

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
        """Play samples through the stage into the recorder.

        Parameters
        ----------
        samples : array [frames, 2], full scale 1.0
            What is played.
        rate_hz : int, Hz
            Sampling rate.
        seed : int
            Of the stage's noise.

        Returns
        -------
        array [frames, 2], full scale 1.0
            What is recorded, `captured_v` being full scale; polarity as the stage leaves it.
        """
        played = Played(self.stage, self.knob, chosen(self.stage), {}, seed)
        with played.chain(rate_hz, samples.shape[1]) as chain:
            scale = chain.unit_v / (math.sqrt(2.0) * self.captured_v)
            out = np.concatenate(list(chain.process([samples])))
        return np.asarray(out * scale)


def on_bench(stage: Stage, *, knob: float | None = None, load_ohm: float | None = None) -> OnBench:
    """Lay a stage on the bench.

    Parameters
    ----------
    stage : Stage
        Needs a source level.
    knob : float, 0 to 1
        Share of the knob's travel; left out, where the stage says, by listening at the usual
        level included.
    load_ohm : float, ohm, > 0
        What it drives instead of its own load's resistance.

    Returns
    -------
    OnBench
        Ready to be played through.

    Raises
    ------
    StageError
        No source level, no knob to be set, a knob at zero, or a loop that is unstable.

    Examples
    --------
    >>> from stagefx.circuit.description.files import load_stage
    >>> on_bench(load_stage("line-stage"), knob=1.0).captured_v
    20.0
    """
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
    """A stage with its knob at a share of its travel.

    Parameters
    ----------
    stage : Stage
        Any stage.
    knob : float or None, 0 to 1
        None leaves it as it is.

    Returns
    -------
    Stage
        The same stage otherwise.

    Raises
    ------
    StageError
        There is no control.

    Examples
    --------
    >>> from stagefx.circuit.description.files import load_stage
    >>> with_knob(load_stage("line-stage"), 0.5).volume.position
    0.5
    """
    if knob is None:
        return stage
    if stage.volume is None:
        raise StageError(f"'{stage.name}' has no volume control to be set; leave --knob out")
    volume = stage.volume.model_copy(update={"position": knob, "setting": None})
    return stage.model_copy(update={"volume": volume})


def with_load(stage: Stage, load_ohm: float | None) -> Stage:
    """A stage that drives another resistance.

    Parameters
    ----------
    stage : Stage
        Any stage.
    load_ohm : float or None, ohm, > 0
        None leaves it as it is.

    Returns
    -------
    Stage
        The same stage otherwise; the load's capacitance stays.

    Examples
    --------
    >>> from stagefx.circuit.description.files import load_stage
    >>> with_load(load_stage("line-stage"), 600.0).load.resistance.value
    600.0
    """
    if load_ohm is None:
        return stage
    load = stage.load or Load()
    return stage.model_copy(
        update={"load": load.model_copy(update={"resistance": Quantity(load_ohm)})}
    )
