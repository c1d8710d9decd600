"""What the bench should show, line by line, beside what one would read on it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from stagefx.bench.expectation import Expectation
from stagefx.bench.measure.measurement import Measurement
from stagefx.bench.measure.rows import Harmonics
from stagefx.bench.scope.reading import ScopeReading
from stagefx.bench.scope.simulated import SquarePicture
from stagefx.report.text.numbers import amount
from stagefx.units import decibels

LEAST_COUNT_V = 1e-4
"""What hand-held meters count in on their lowest alternating range (common practice)."""
_PRODUCTS = {
    "modulation_rms": "60 Hz on 7 kHz, sidebands",
    "difference_d2": "19 and 20 kHz, 1 kHz",
    "difference_d3": "19 and 20 kHz, 18 and 21 kHz",
    "total_difference": "8 and 11.95 kHz, total",
    "dim_30": "DIM-30",
}
_FREQUENCIES_HZ = (20.0, 100.0, 10e3, 20e3, 40e3, 80e3)
_THD_HZ = (100.0, 1000.0, 6.31e3)
_FLAT_DB = 0.005
_UNMEASURABLE_DB = -130.0
"""What the converters of a good interface leave of distortion (common practice)."""
_NONE = "no interface shows it"


@dataclass(frozen=True)
class SheetLine:
    """One line of the sheet."""

    group: str
    what: str
    expected: str
    reads: str = ""


def sheet_lines(expected: Expectation) -> tuple[SheetLine, ...]:
    """The sheet of a stage's bench."""
    found = expected.measurement
    return (
        *_levels(found),
        *_response(found),
        *_distortion(found),
        *_noise(found),
        *_limits(found),
        *_squares(expected),
        *_crosstalk(found),
    )


def percent(level_db: float) -> str:
    """A level re the tone in percent, as distortion is read."""
    value = 100.0 * 10.0 ** (level_db / 20.0)
    digits = max(1 - math.floor(math.log10(value)), 0) if value > 0.0 else 0
    text = f"{value:.{digits}f}"
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} %"


def _levels(found: Measurement) -> Iterator[SheetLine]:
    for row in found.levels:
        if row.signal == "01-level-1khz" and row.gain_db is not None:
            assert row.input_v_rms is not None
            assert row.output_v_rms is not None
            reads = f"{amount(row.output_v_rms, 'V rms')} from {amount(row.input_v_rms, 'V rms')}"
            yield SheetLine("Level", "gain at 1 kHz", amount(row.gain_db, "dB"), reads)
    if found.balance_db is not None:
        off = 100.0 * (10.0 ** (abs(found.balance_db) / 20.0) - 1.0)
        reads = f"the meters read {off:.2g} % apart" if off > 0.05 else "both meters read the same"
        level = found.balance_db if off > 0.005 else 0.0
        yield SheetLine("Level", "balance, right re left", amount(level, "dB"), reads)


def _response(found: Measurement) -> Iterator[SheetLine]:
    highest = 0.46 * found.rate_hz
    for hz in _FREQUENCIES_HZ:
        if hz > highest or not found.response:
            continue
        row = min(found.response, key=lambda row: abs(math.log(row.hz / hz)))
        volts = 10.0 ** (row.db / 20.0)
        reads = f"{volts:.3f} V where 1 kHz gives 1 V" if abs(row.db) > _FLAT_DB else "as 1 kHz"
        level = row.db if abs(row.db) >= 0.0005 else 0.0
        yield SheetLine("Response, re 1 kHz", amount(hz, "Hz"), amount(level, "dB"), reads)


def _distortion(found: Measurement) -> Iterator[SheetLine]:
    group = "Distortion"
    stepped = [row for row in found.harmonics if row.by == "stepped"]
    for hz in _THD_HZ:
        near = [row for row in stepped if abs(math.log(row.hz / hz)) < 0.06]
        if near:
            yield _harmonics_line(group, f"{amount(hz, 'Hz')}, all harmonics", near[0])
    for row in found.harmonics:
        if row.by == "levels" and row.played_dbfs in {-60.0, -20.0, 0.0} and row.thd_n_db:
            out = "" if row.output_v_rms is None else f", {amount(row.output_v_rms, 'V')}"
            shown = amount(row.thd_n_db, "dB")
            yield SheetLine(group, f"997 Hz and noise{out}", shown, percent(row.thd_n_db))
    for name, what in _PRODUCTS.items():
        product = found.intermodulation.get(name)
        if product is not None:
            hidden = product.percent < 2.0 * product.floor_percent
            level = decibels(max(product.percent, product.floor_percent) / 100.0)
            if hidden or level < _UNMEASURABLE_DB:
                yield SheetLine(group, what, f"below {max(level, _UNMEASURABLE_DB):.0f} dB", _NONE)
            else:
                yield SheetLine(group, what, amount(level, "dB"), percent(level))


def _harmonics_line(group: str, what: str, row: Harmonics) -> SheetLine:
    if row.thd_db is None:
        return SheetLine(group, what, "not to be told", "all harmonics lie above the band")
    floor = -math.inf if row.floor_db is None else row.floor_db
    if row.thd_db < max(floor + 6.0, _UNMEASURABLE_DB):
        least = max(floor, _UNMEASURABLE_DB)
        return SheetLine(group, what, f"below {least:.0f} dB", _NONE)
    orders = enumerate(row.harmonics_db, start=2)
    order, level = max(orders, key=lambda pair: pair[1])
    note = f"{percent(row.thd_db)}, mostly harmonic {order} at {level:.0f} dB"
    return SheetLine(group, what, amount(row.thd_db, "dB"), note)


def _noise(found: Measurement) -> Iterator[SheetLine]:
    noise, group = found.noise, "Noise"
    if noise is None or noise.unweighted_v_rms is None or noise.a_v_rms is None:
        return
    for what, volts in (("20 Hz to 20 kHz", noise.unweighted_v_rms), ("A-weighted", noise.a_v_rms)):
        below = decibels(volts / 2.0)
        hand = "; a hand-held meter: 0" if volts < LEAST_COUNT_V else ""
        yield SheetLine(group, what, amount(volts, "V rms"), f"{below:.0f} dB re 2 V{hand}")
    if found.dynamic_range_db is not None:
        reads = "AES17, re recorder's full scale"
        yield SheetLine(group, "dynamic range", amount(found.dynamic_range_db, "dB"), reads)
    for line in noise.hum[:3]:
        if line.v_rms is not None:
            yield SheetLine(group, f"hum, {line.hz:.0f} Hz", amount(line.v_rms, "V rms"), line.kind)


def _limits(found: Measurement) -> Iterator[SheetLine]:
    clip, slew, group = found.clip, found.slew, "Limits at the load"
    if clip is not None and clip.high_v is not None and clip.low_v is not None:
        for word, volts, reached in (
            ("upward", clip.high_v, clip.reached_high), ("downward", clip.low_v, clip.reached_low),
        ):  # fmt: skip
            if reached:
                largest = amount(abs(volts) / math.sqrt(2.0), "V rms")
                reads = f"the largest sine is {largest}"
                yield SheetLine(group, f"clips {word}", amount(volts, "V"), reads)
            else:
                shown = f"over {amount(abs(volts), 'V')}"
                yield SheetLine(group, f"clips {word}", shown, "full scale does not clip")
    if slew is not None and slew.rise_v_per_us is not None and slew.fall_v_per_us is not None:
        for word, rate in (("rise", slew.rise_v_per_us), ("fall", slew.fall_v_per_us)):
            shown = amount(rate, "V/us")
            reads = "treble tones turn to triangles"
            if not slew.visible:
                shown, reads = f"over {shown}", "tones do not slew; see squares"
            yield SheetLine(group, f"slew rate, {word}", shown, reads)


def _squares(expected: Expectation) -> Iterator[SheetLine]:
    small, full, slow = (expected.picture(name) for name in ("small", "full", "slow"))
    group = "Square waves on a scope"
    if small.reading is not None:
        yield from _edge_lines(group, "small step", small, small.reading)
    if full.reading is not None:
        yield from _edge_lines(group, "full scale", full, full.reading)
    if slow.reading is not None:
        values = {one.key: one.value for one in slow.reading.figures}
        tilt = values.get("tilt_percent")
        reads = "tops look level"
        if tilt is not None and tilt > 1.0:
            reads = f"tops sag, as from {amount(values['low_corner_hz'], 'Hz')}"
        shown = "none" if tilt is None else amount(tilt, "%")
        yield SheetLine(group, "tilt at 50 Hz", shown, reads)


def _edge_lines(
    group: str, what: str, picture: SquarePicture, told: ScopeReading
) -> Iterator[SheetLine]:
    values = {one.key: one.value for one in told.figures}
    scene = f"{amount(picture.hz, 'Hz')}, {amount(picture.input_v_pp, 'V pp')} in"
    for word in ("rise", "fall"):
        if f"{word}_time_s" in values:
            yield SheetLine(
                group, f"{what}, {word} time", amount(values[f"{word}_time_s"], "s"), scene
            )
        slew = values.get(f"slew_{word}_v_per_us")
        if slew is not None:
            edge = f"straight {word}: it slews"
            yield SheetLine(group, f"{what}, slope of {word}", amount(slew, "V/us"), edge)
        if picture.name == "small":
            break
    if "overshoot_percent" in values:
        rings = values.get("ringing_hz")
        reads = "" if rings is None else f"rings at {amount(rings, 'Hz')}"
        yield SheetLine(
            group, f"{what}, overshoot", amount(values["overshoot_percent"], "%"), reads
        )


def _crosstalk(found: Measurement) -> Iterator[SheetLine]:
    for row in found.crosstalk:
        if row.driven == "left" and row.hz in {1000.0, 8000.0, 16000.0}:
            seen = row.db > row.floor_db + 6.0
            shown = amount(row.db, "dB") if seen else f"below {row.floor_db:.0f} dB"
            silent = 10.0 ** (max(row.db, row.floor_db) / 20.0)
            reads = f"2 V left leaves {amount(2.0 * silent, 'V rms')} right"
            yield SheetLine(
                "Crosstalk", f"{amount(row.hz, 'Hz')}, left to right", shown, reads if seen else ""
            )
