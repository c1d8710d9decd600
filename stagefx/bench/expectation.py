"""What the bench should show of a modelled stage: signals, recorder and scope, all computed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from stagefx.bench.bench_setting import OnBench, on_bench
from stagefx.bench.measure.analysis import measure_signal
from stagefx.bench.measure.measurement import Measurement, merged
from stagefx.bench.scope.simulated import SquarePicture, square_pictures
from stagefx.bench.signals.plan import test_signals
from stagefx.bench.signals.signal import TestSignal
from stagefx.circuit.description.stage import Stage
from stagefx.figures.faults import faults_of
from stagefx.io.recording import HeldAudio
from stagefx.units import ROOT_TWO, decibels

Progress = Callable[[int, int | None], None]
MADE_BY = "bench expect"
_QUIET = 0.1
"""Gain from source to load below which a bench shows little but noise."""


@dataclass(frozen=True)
class Expectation:
    """What the bench should show."""

    bench: OnBench
    measurement: Measurement
    pictures: tuple[SquarePicture, ...]
    remarks: tuple[str, ...]

    def picture(self, name: str) -> SquarePicture:
        """One of the square waves."""
        for one in self.pictures:
            if one.name == name:
                return one
        raise KeyError(name)

    def as_json(self) -> dict[str, Any]:
        """The expectation as plain values."""
        load = self.bench.stage.load
        resistance = None if load is None or load.resistance is None else load.resistance.value
        found = self.measurement.as_json()
        return found | {
            "stage": self.bench.stage.name,
            "knob_position": self.bench.knob.position,
            "played_full_scale_v": self.bench.played_v,
            "captured_full_scale_v": self.bench.captured_v,
            "load_resistance_ohm": resistance,
            "squares_on_scope": [one.as_json() for one in self.pictures],
            "remarks": [*self.remarks, *found["remarks"]],
        }


def expect(
    stage: Stage,
    *,
    rate_hz: int = 48000,
    knob: float | None = None,
    load_ohm: float | None = None,
    seed: int = 0,
    progress: Progress | None = None,
) -> Expectation:
    """Tell what the bench should show of a stage.

    Parameters
    ----------
    stage : Stage
        Needs a source level.
    rate_hz : int, Hz
        Of the test signals; 96 or 192 kHz show more of a quick amplifier.
    knob : float, 0 to 1
        Share of the knob's travel; left out, where the stage says.
    load_ohm : float, ohm
        What it drives instead of its own load's resistance.
    seed : int
        Of the stage's noise.
    progress : callable
        Told the signals done, and how many there are.

    Returns
    -------
    Expectation
        By the same analysis that measures recordings.

    Raises
    ------
    StagefxError
        The stage cannot be played through, or no signals are made for the rate.

    Examples
    --------
    >>> from stagefx.circuit.description.files import load_stage
    >>> from stagefx.bench.signals.plan import signal_named
    >>> bench = on_bench(load_stage("unity-buffer"), knob=1.0)
    >>> found = measured_on(bench, signal_named("01-level-1khz"))
    >>> round(found.levels[0].gain_db, 2)
    -0.13
    """
    bench = on_bench(stage, knob=knob, load_ohm=load_ohm)
    signals = test_signals(rate_hz)
    parts = []
    for done, signal in enumerate(signals):
        parts.append(measured_on(bench, signal, seed=seed))
        if progress is not None:
            progress(done + 1, len(signals))
    whole = replace(merged(parts), made_by=MADE_BY)
    pictures = square_pictures(bench.circuit, ROOT_TWO * bench.played_v)
    return Expectation(bench, whole, pictures, tuple(_remarks(bench)))


def measured_on(bench: OnBench, signal: TestSignal, *, seed: int = 0) -> Measurement:
    """One test signal played through a modelled stage and measured."""
    recorded = bench.through(signal.samples(), signal.rate_hz, seed=seed)
    return measure_signal(
        signal,
        HeldAudio(recorded, signal.rate_hz),
        played_full_scale_v=bench.played_v,
        captured_full_scale_v=bench.captured_v,
    )


def _remarks(bench: OnBench) -> Iterator[str]:
    for fault in faults_of(bench.circuit):
        yield fault.remark
    volume = bench.stage.volume
    if volume is not None and volume.position is None and bench.knob.position is not None:
        by_ear = volume.setting in {None, "listening"} and bench.stage.listening is not None
        why = ", where a usual programme plays at the listening level" if by_ear else ""
        yield (
            f"The knob stands at {100.0 * bench.knob.position:.0f} % of its travel{why}; on the "
            "bench set it there, or give --knob"
        )
    if abs(bench.gain) < _QUIET:
        yield (
            f"Full scale comes out at {decibels(abs(bench.gain)):.1f} dB of the source: turn the "
            "knob up to see clipping, slewing and distortion"
        )


def loads_of(plain: Mapping[str, Any]) -> float | None:
    """The load that a measurement file was made with."""
    value = plain.get("load_resistance_ohm")
    return float(value) if isinstance(value, int | float) and value > 0.0 else None
