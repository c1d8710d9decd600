"""Sines, clipped sines and triangles on a scope."""

from __future__ import annotations

import math

from stagefx.bench.readings.report import Found
from stagefx.bench.scope.reading import ScopeReading
from stagefx.bench.scope.tables import Trace
from stagefx.bench.scope.waves import Sine, Straight
from stagefx.bench.uncertainty import stated
from stagefx.units import decibels

_TOLD = 4.0
_LEAST_OVER = 0.005
_DB = 20.0 / math.log(10.0)


def found(key: str, value: float, doubt: float, unit: str, note: str = "") -> Found:
    """A figure of a trace."""
    return Found(key, stated(value, doubt), unit, note=note)


def read_sine(trace: Trace, sine: Sine, noise: float) -> ScopeReading:
    """What a sine tells, clipped or not."""
    dt, half_step = trace.interval_s, 0.5 * trace.step_v
    size, middle, turn, top, bottom = (math.hypot(float(d), 0.5 * half_step) for d in sine.doubts)
    turn = float(sine.doubts[2])
    seen = max(_TOLD * noise / math.sqrt(trace.volts.size / 50.0), _LEAST_OVER * sine.amplitude_v)
    high, low = sine.over_high_v > seen, sine.over_low_v > seen
    figures = [
        found("frequency_hz", sine.turn / (2.0 * math.pi * dt), turn / (2.0 * math.pi * dt), "Hz"),
        found("peak_high_v", sine.high_v, top, "V"),
        found("peak_low_v", sine.low_v, bottom, "V"),
        found("middle_v", sine.middle_v, middle, "V", "direct voltage the sine stands on"),
    ]
    if not (high or low):
        rms, doubt = sine.amplitude_v / math.sqrt(2.0), size / math.sqrt(2.0)
        figures.insert(1, found("level_v_rms", rms, doubt, "V rms"))
        remark = "The sine is not clipped: the clip levels lie beyond its peaks."
        return ScopeReading("sine", tuple(figures), (), (*trace.remarks, remark), trace)
    remarks = list(trace.remarks)
    if high:
        figures.append(found("clip_high_v", sine.high_v, top, "V", "level of the flat tops"))
    if low:
        figures.append(found("clip_low_v", sine.low_v, bottom, "V", "level of the flat bottoms"))
    if high != low:
        end, other = ("upward", "downward") if high else ("downward", "upward")
        remarks.append(f"It clips {end} alone; {other} the level lies beyond the sine's peak.")
    else:
        if sine.high_v > 0.0 > sine.low_v:
            share = math.hypot(top / sine.high_v, bottom / sine.low_v)
            figures.append(
                found("clip_symmetry_db", decibels(sine.high_v / -sine.low_v), _DB * share, "dB",
                      "upward over downward, about 0 V")
            )  # fmt: skip
        figures.append(
            found("clip_centre_v", 0.5 * (sine.high_v + sine.low_v), 0.5 * math.hypot(top, bottom),
                  "V", "halfway between the two")
        )  # fmt: skip
    least = min([sine.high_v - sine.middle_v] * high + [sine.middle_v - sine.low_v] * low)
    if least > 0.0:
        over = size / sine.amplitude_v
        figures.append(
            found("overdrive_db", decibels(sine.amplitude_v / least), _DB * over, "dB",
                  "the sine that was fed, over the nearer clip level")
        )  # fmt: skip
    remarks.append(
        "If the flat parts meet the edge of the screen, the instrument clips and not the stage."
    )
    return ScopeReading("clipped sine", tuple(figures), (), tuple(remarks), trace)


def read_triangle(trace: Trace, wave: Straight) -> ScopeReading:
    """What straight lines up and down tell."""
    per_us = 1e-6 / trace.interval_s
    figures = (
        found("peak_high_v", wave.high_v, math.hypot(wave.doubts[0], 0.5 * trace.step_v), "V"),
        found("peak_low_v", wave.low_v, math.hypot(wave.doubts[1], 0.5 * trace.step_v), "V"),
        found("slew_rise_v_per_us", wave.rise * per_us, wave.doubts[2] * per_us, "V/us",
              "slope of the straight rise"),
        found("slew_fall_v_per_us", wave.fall * per_us, wave.doubts[3] * per_us, "V/us",
              "slope of the straight fall"),
    )  # fmt: skip
    remark = (
        "Straight lines up and down: a sine or square wave far beyond the slew limit, unless a "
        "triangle was fed in."
    )
    return ScopeReading("triangle", figures, (), (*trace.remarks, remark), trace)
