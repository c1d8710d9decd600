"""One sheet for a measurement: response, distortion against frequency, noise, and their floors."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stagefx.bench.measure.measurement import Measurement
from stagefx.bench.measure.rows import Harmonics
from stagefx.report.plots import style
from stagefx.report.text.numbers import amount
from stagefx.report.text.sentences import shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LOWEST_DB = -160.0
"""What lies lower is drawn there."""
FLAT_DB = 0.05
_NOTHING = "Not measured: record {signal} as well"
_SEEN_DB = 3.0
"""Above its floor by this much a figure is the stage's own."""


def draw_measurement(found: Measurement) -> Figure:
    """Draw what recordings say of a stage."""
    many = len(found.signals)
    what = f"{many} test signals" if many != 1 else found.signals[0]
    alone = "loopback" in found.floor
    floor = "what the instrument shows without the stage" if alone else "what noise alone shows"
    with style.drawing():
        made = style.sheet(
            f"Measured with {what}, {found.channel} channel",
            f"Measured at {found.rate_hz / 1e3:g} kHz. Hatched: {floor}.",
        )
        style.fault(made, _first(found))
        draw_measured_response(made.add_axes((style.MARGIN, 0.55, 0.34, 0.27)), found)
        draw_distortion(made.add_axes((0.59, 0.55, 0.31, 0.27)), found)
        draw_against_level(made.add_axes((style.MARGIN, 0.13, 0.34, 0.27)), found)
        draw_noise_and_hum(made.add_axes((0.59, 0.13, 0.31, 0.27)), found)
    return made


def _first(found: Measurement) -> str:
    if not found.remarks:
        return ""
    more = f" ({len(found.remarks) - 1} more)" if len(found.remarks) > 1 else ""
    return f"First: {shortened(found.remarks[0], most=120)}{more}"


def _empty(axes: Axes, signal: str) -> None:
    style.claim(axes, _NOTHING.format(signal=signal))
    axes.set_axis_off()


def draw_measured_response(axes: Axes, found: Measurement) -> None:
    """Draw the response re 1 kHz, and the loopback's."""
    points = [point for point in found.response if point.hz <= 20.5e3]
    if not points:
        _empty(axes, "02-sweep")
        return
    worst = max((p for p in points if p.hz >= 19.0), key=lambda p: abs(p.db) - (p.floor_db or 0.0))
    if abs(worst.db) <= FLAT_DB:
        within = max(math.ceil(100.0 * abs(worst.db)) / 100.0, 0.01)
        style.claim(axes, f"Flat within {within:.2f} dB from 20 Hz to 20 kHz")
    else:
        where = amount(float(f"{worst.hz:.2g}"), "Hz")
        style.claim(axes, f"{amount(worst.db, 'dB')} at {where}, the most from 20 Hz on")
    style.frequency_axis(axes, 10.0, 20.5e3)
    levels = [point.db for point in points]
    low, high = min(-1.0, *levels) * 1.15, max(0.5, *levels) * 1.15
    style.level_axis(axes, low, high, label="level, dB re 1 kHz")
    axes.plot([p.hz for p in points], levels, **style.BASELINE)
    ends = [(levels[-1], "stage")]
    beside = found.floor.get("loopback")
    alone = [p for p in beside.response if p.hz <= 20.5e3] if beside is not None else []
    if alone:
        axes.plot([p.hz for p in alone], [p.db for p in alone], **style.PART)
        ends.append((alone[-1].db, "loopback"))
    style.name_ends(axes, ends)


def draw_distortion(axes: Axes, found: Measurement) -> None:
    """Draw harmonics against frequency, re the tone, over their floor."""
    by = "stepped" if any(row.by == "stepped" for row in found.harmonics) else "swept"
    # Where not even the third fits below half the rate, nothing is told of a stage that slews.
    rows = [row for row in found.harmonics if row.by == by and len(row.harmonics_db) > 1]
    if not rows:
        _empty(axes, "03-stepped")
        return
    floors = [_floor_db(row, found) for row in rows]
    style.claim(axes, _distortion_claim(rows, floors))
    style.frequency_axis(axes, 20.0, 20.5e3)
    hz = [row.hz for row in rows]
    total = [_drawn(row.thd_db) for row in rows]
    _draw_levels(axes, hz, total, floors)
    ends = [(total[-1], "all")]
    for order, name, kind in ((2, "2nd", style.PART), (3, "3rd", style.ROOM)):
        with_it = [row for row in rows if len(row.harmonics_db) >= order - 1]
        if not with_it:
            continue
        levels = [_drawn(row.harmonics_db[order - 2]) for row in with_it]
        axes.plot([row.hz for row in with_it], levels, **kind)
        ends.append((levels[-1], name))
    style.name_ends(axes, ends)


def draw_against_level(axes: Axes, found: Measurement) -> None:
    """Draw THD, and THD with noise, against the level that is played."""
    rows = [row for row in found.harmonics if row.by == "levels" and row.thd_db is not None]
    if not rows:
        _empty(axes, "04-levels-997hz")
        return
    range_db = found.dynamic_range_db
    style.claim(
        axes,
        "Distortion against level"
        if range_db is None or not math.isfinite(range_db)
        else f"A dynamic range of {range_db:.1f} dB (AES17)",
    )
    played = [row.played_dbfs for row in rows]
    floors = [_floor_db(row, found) for row in rows]
    total = [_drawn(row.thd_db) for row in rows]
    _draw_levels(axes, played, total, floors, others=[_drawn(row.thd_n_db) for row in rows])
    axes.set_xlim(min(played), max(played))
    axes.set_xlabel("997 Hz played, dBFS")
    axes.spines["bottom"].set_visible(True)
    noisy = [_drawn(row.thd_n_db) for row in rows]
    axes.plot(played, noisy, **style.PART)
    style.name_ends(axes, [(total[-1], "harmonics"), (noisy[-1], "with noise")])


def draw_noise_and_hum(axes: Axes, found: Measurement) -> None:
    """Draw the spectrum of noise, and in it the lines of hum, told apart by their kind."""
    noise = found.noise
    if noise is None:
        _empty(axes, "11-silence")
        return
    style.claim(axes, _noise_claim(found))
    style.frequency_axis(axes, 20.0, 20.5e3)
    beside = found.floor.get("loopback")
    alone = None if beside is None or beside.noise is None else beside.noise.bands
    hz = [band.hz for band in noise.bands]
    levels = [_drawn(band.dbfs) for band in noise.bands]
    floors = None if alone is None else [_drawn(band.dbfs) for band in alone[: len(hz)]]
    lines = [_drawn(line.dbfs) for line in noise.hum]
    low = max(min([*levels, *(floors or [])]) - 6.0, LOWEST_DB)
    high = max([*levels, *lines, low + 20.0]) + 6.0
    style.level_axis(axes, low, high, label="third octaves, dBFS")
    if floors is not None:
        style.hatch(axes, hz[: len(floors)], [low] * len(floors), floors)
    axes.plot(hz, levels, **style.BASELINE)
    for line in noise.hum:
        kind = style.PART if line.kind == "pickup" else style.ROOM
        axes.plot([line.hz] * 2, [low, _drawn(line.dbfs)], **kind)
    style.name_ends(axes, [(levels[-1], "stage")])


def _noise_claim(found: Measurement) -> str:
    noise = found.noise
    assert noise is not None
    size = f"{noise.unweighted_dbfs:.1f} dBFS"
    if noise.unweighted_v_rms is not None:
        size = amount(noise.unweighted_v_rms, "V rms")
    if not noise.hum or noise.mains_hz is None:
        return f"Noise of {size}, no hum in it"
    stronger = noise.pickup_dbfs is not None and (
        noise.rectifier_dbfs is None or noise.pickup_dbfs >= noise.rectifier_dbfs
    )
    return f"Noise of {size}, its hum mostly {'picked up' if stronger else 'from a rectifier'}"


def _distortion_claim(rows: list[Harmonics], floors: list[float]) -> str:
    clear = [
        row
        for row, floor in zip(rows, floors, strict=True)
        if _drawn(row.thd_db) > floor + _SEEN_DB
    ]
    if not clear:
        return "Distortion at or below the floor"
    worst = max(clear, key=lambda row: _drawn(row.thd_db))
    where = amount(float(f"{worst.hz:.2g}"), "Hz")
    return f"Distortion of {amount(_drawn(worst.thd_db), 'dB')} at {where}, the most"


def _floor_db(row: Harmonics, found: Measurement) -> float:
    """What the instrument shows alone, and what noise shows: the higher of them."""
    known = [_drawn(row.floor_db)]
    beside = found.floor.get("loopback")
    if beside is not None:
        same = (row.by, row.hz, row.played_dbfs)
        known += [
            _drawn(one.thd_db)
            for one in beside.harmonics
            if (one.by, one.hz, one.played_dbfs) == same
        ]
    return max(known)


def _drawn(level_db: float | None) -> float:
    """A level that a plot can hold."""
    return LOWEST_DB if level_db is None else max(level_db, LOWEST_DB)


def _draw_levels(
    axes: Axes,
    places: list[float],
    total: list[float],
    floors: list[float],
    others: list[float] | None = None,
) -> None:
    low = max(min([*total, *floors]) - 10.0, LOWEST_DB)
    high = max([*total, *floors, *(others or []), low + 40.0]) + 6.0
    style.level_axis(axes, low, high, label="re the tone, dB")
    style.hatch(axes, places, [low] * len(places), floors)
    axes.plot(places, total, **style.BASELINE)
