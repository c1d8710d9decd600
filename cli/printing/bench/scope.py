"""A scope's trace, printed for people: what wave it is, its figures, and remarks."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stagefx.bench.scope.interpretation import CALIBRATION
from stagefx.units import show

from ..words import heading, sentence, table

if TYPE_CHECKING:
    from rich.console import Console

    from stagefx.bench.scope.reading import ScopeReading

NAMES = {
    "frequency_hz": "frequency",
    "level_v_rms": "level",
    "peak_high_v": "highest",
    "peak_low_v": "lowest",
    "middle_v": "middle of the sine",
    "clip_high_v": "clips at, upward",
    "clip_low_v": "clips at, downward",
    "clip_symmetry_db": "symmetry of clipping",
    "clip_centre_v": "centre of clipping",
    "overdrive_db": "overdriven by",
    "level_high_v": "upper level",
    "level_low_v": "lower level",
    "peak_to_peak_v": "peak to peak",
    "rise_time_s": "rise time",
    "fall_time_s": "fall time",
    "rise_time_at_most_s": "rise time, at most",
    "fall_time_at_most_s": "fall time, at most",
    "own_rise_time_s": "the stage's own rise time",
    "own_fall_time_s": "the stage's own fall time",
    "slope_rise_v_per_us": "slope of the rise",
    "slope_fall_v_per_us": "slope of the fall",
    "slope_rise_at_least_v_per_us": "slope of the rise, at least",
    "slope_fall_at_least_v_per_us": "slope of the fall, at least",
    "slew_rise_v_per_us": "slew rate, rise",
    "slew_fall_v_per_us": "slew rate, fall",
    "corner_rise_hz": "treble corner, from the rise",
    "corner_fall_hz": "treble corner, from the fall",
    "overshoot_percent": "overshoot",
    "ringing_hz": "rings at",
    "damping_ratio": "damping ratio",
    "tilt_one_top_percent": "tilt of one top",
    "tilt_percent": "tilt, half peak to peak",
    "tilt_rule_percent": "tilt, by the rule",
    "low_corner_hz": "bass corner, from the tilt",
}
WAVES = {
    "square": "a square wave",
    "step": "a single step",
    "sine": "a sine",
    "clipped sine": "a clipped sine",
    "triangle": "a triangle",
}


def print_scope(console: Console, told: ScopeReading, *, name: str) -> None:
    """Print what a trace tells."""
    console.print(f"{sentence(name)}: {WAVES[told.kind]}", style="bold")
    trace = told.trace
    steps = f", vertical steps of {show(trace.step_v, 'V', digits=3)}" if trace.step_v else ""
    console.print(
        f"{trace.volts.size:,} points, {show(trace.interval_s, 's', digits=4)} apart{steps}"
    )
    for remark in told.remarks:
        console.print(sentence(f"{remark[:1].upper()}{remark[1:]}"))
    heading(console, "What it tells")
    rows = table(28, 24, 0)
    for figure in told.figures:
        rows.add_row(NAMES[figure.key], str(figure), sentence(figure.note))
    console.print(rows)
    console.print()
    console.print(CALIBRATION)
