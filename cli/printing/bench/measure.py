"""A measurement, printed for people: remarks, then each figure with its instrument's floor."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from stagefx.report.text.numbers import amount

from ..words import heading, sentence, table
from .floors import Sheet, floor_remark

if TYPE_CHECKING:
    from rich.console import Console

    from stagefx.bench.measure.measurement import Measurement
    from stagefx.bench.measure.rows import Clip, Harmonics, Level, Slew

RESPONSE_HZ = (10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1e3, 2e3, 5e3, 10e3, 20e3)
TONES_HZ = (20.0, 50.0, 100.0, 200.0, 500.0, 1e3, 2e3, 5e3, 10e3, 20e3)
LEAST_UNSURE_DB = 0.01
"""What noise and hum may bend the response by is told from here on."""
PRODUCTS = {
    "modulation_d2": "60 Hz on 7 kHz, 2nd order",
    "modulation_d3": "60 Hz on 7 kHz, 3rd order",
    "modulation_rms": "60 Hz on 7 kHz, all lines",
    "difference_d2": "19 and 20 kHz, 2nd order",
    "difference_d3": "19 and 20 kHz, 3rd order",
    "total_difference": "8 and 11.95 kHz, total",
    "dim_30": "DIM-30",
}
"""In the order in which they are printed."""


def print_measurement(console: Console, found: Measurement, *, saved: str | None = None) -> None:
    """Print what recordings say of a stage."""
    many = len(found.signals)
    what = found.signals[0] if many == 1 else f"{many} signals"
    console.print(f"Measured with {what}, {found.channel} channel", style="bold")
    if found.remarks:
        heading(console, "First, look at the recordings again")
        for remark in found.remarks:
            console.print(sentence(f"{remark[:1].upper()}{remark[1:]}."))
    loopback, repeat = found.floor.get("loopback"), found.floor.get("repeat")
    sheet = Sheet(console, loopback, repeat)
    _print_levels(sheet, found)
    _print_response(console, found, loopback)
    _print_distortion(sheet, found)
    _print_intermodulation(sheet, found)
    _print_noise(sheet, found)
    _print_limits(console, found)
    _print_channels(sheet, found)
    _print_clock(console, found)
    if loopback is None:
        console.print(
            "\nNo loopback was given: these are the figures of stage and instrument together, and "
            "floors are what noise alone would show as."
        )
    if saved is not None:
        console.print(f"\nKept in {sentence(saved)}")


def _print_levels(sheet: Sheet, found: Measurement) -> None:
    row = _level(found)
    if row is None:
        return
    heading(sheet.console, "Level at 1 kHz")
    rows = table(26, 0)
    rows.add_row("played, recorded", f"{row.played_dbfs:.2f} dBFS, {row.captured_dbfs:.2f} dBFS")
    if row.input_v_rms is not None:
        rows.add_row("in", amount(row.input_v_rms, "V rms"))
    if row.output_v_rms is not None:
        rows.add_row("out", amount(row.output_v_rms, "V rms"))
    if row.gain_db is not None:
        rows.add_row("gain", amount(row.gain_db, "dB"))
    else:
        rows.add_row("gain", "needs --played-full-scale and --captured-full-scale")
    sheet.console.print(rows)


def _level(found: Measurement) -> Level | None:
    by_name = [row for row in found.levels if row.signal.startswith("01")]
    return next(iter(by_name), None)


def _print_response(console: Console, found: Measurement, loopback: Measurement | None) -> None:
    if not found.response:
        return
    heading(console, "Response, dB re 1 kHz")
    near = [hz for hz in RESPONSE_HZ if hz <= 1.01 * found.response[-1].hz]
    rows = table(8, *([-6] * len(near)), gap=0)
    rows.add_row("Hz", *(_short(hz) for hz in near))
    rows.add_row("", *(_hundredths(_at(found.response, hz).db) for hz in near))
    unsure = [_at(found.response, hz).floor_db or 0.0 for hz in near]
    if max(unsure) >= LEAST_UNSURE_DB:
        rows.add_row("noise ±", *(_hundredths(one) for one in unsure))
    if loopback is not None and loopback.response:
        rows.add_row("loopback", *(_hundredths(_at(loopback.response, hz).db) for hz in near))
    console.print(rows)


def _at(rows: Sequence[Any], hz: float) -> Any:
    return min(rows, key=lambda row: abs(math.log(row.hz / hz)))


def _short(hz: float) -> str:
    return f"{hz / 1e3:g}k" if hz >= 1e3 else f"{hz:g}"


def _hertz(hz: float) -> str:
    return f"{hz / 1e3:g} kHz" if hz >= 1e3 else f"{hz:g} Hz"


def _hundredths(level_db: float) -> str:
    text = f"{level_db:.2f}"
    return "0.00" if text == "-0.00" else text


def _print_distortion(sheet: Sheet, found: Measurement) -> None:
    for by, title in (
        ("stepped", "Distortion against frequency"),
        ("swept", "Distortion against frequency, by the sweep"),
        ("levels", "Distortion against level, at 997 Hz"),
    ):
        rows = [row for row in found.harmonics if row.by == by]
        if not rows or (by == "swept" and any(row.by == "stepped" for row in found.harmonics)):
            continue
        chosen = rows if by == "levels" else _nearest(rows)
        heading(sheet.console, title)
        printed = table(7, -11, -9, -8, -8, -8, -8, 0, gap=1)
        floor = "floor" if sheet.loopback is None else "loopback"
        first = "played" if by == "levels" else "Hz"
        printed.add_row(first, "out", "THD dB", floor, "THD+N", "2nd", "3rd", "")
        for row in chosen:
            printed.add_row(*_distortion_row(row, sheet.loopback))
        sheet.console.print(printed)
    if found.dynamic_range_db is not None:
        alone = None if sheet.loopback is None else sheet.loopback.dynamic_range_db
        near = alone is not None and found.dynamic_range_db > alone - 3.0
        sheet.add(
            "AES17, at -60 dBFS",
            found,
            lambda m: m.dynamic_range_db,
            "dB",
            note="the instrument's" if near else " ",
        )
        sheet.flush("Dynamic range")


def _nearest(rows: list[Harmonics]) -> list[Harmonics]:
    chosen = [_at(rows, hz) for hz in TONES_HZ if hz <= 1.01 * rows[-1].hz]
    return list(dict.fromkeys(chosen))


def _distortion_row(row: Harmonics, loopback: Measurement | None) -> tuple[str, ...]:
    floor_db, alone_db = row.floor_db, None
    if loopback is not None:
        same = [other for other in loopback.harmonics if _same(row, other)]
        alone_db = same[0].thd_db if same else None
    note = "no 3rd in band" if len(row.harmonics_db) < 2 else ""
    if row.thd_db is not None and not note:
        note = floor_remark(row.thd_db, [floor_db, alone_db], "dB")
    floor_db = floor_db if loopback is None else alone_db
    out = f"{row.captured_dbfs:.1f} dBFS"
    if row.output_v_rms is not None:
        out = amount(row.output_v_rms, "V rms").removesuffix(" rms")
    first = f"{round(row.played_dbfs)} dB" if row.by == "levels" else _short(float(f"{row.hz:.2g}"))
    second, third, *_ = (*row.harmonics_db, None, None)
    return (
        first,
        out,
        _tenths(row.thd_db),
        _tenths(floor_db),
        _tenths(row.thd_n_db),
        _tenths(second),
        _tenths(third),
        note,
    )


def _same(row: Harmonics, other: Harmonics) -> bool:
    return (other.by, other.hz, other.played_dbfs) == (row.by, row.hz, row.played_dbfs)


def _tenths(level_db: float | None) -> str:
    return "-" if level_db is None or not math.isfinite(level_db) else f"{level_db:.1f}"


def _print_intermodulation(sheet: Sheet, found: Measurement) -> None:
    for name, words in PRODUCTS.items():
        if name not in found.intermodulation:
            continue
        sheet.add(
            words,
            found,
            lambda m, name=name: m.intermodulation[name].percent,  # type: ignore[misc]
            "%",
            noise=found.intermodulation[name].floor_percent,
        )
    sheet.flush("Intermodulation")


def _print_noise(sheet: Sheet, found: Measurement) -> None:
    noise = found.noise
    if noise is None:
        return
    volts = noise.unweighted_v_rms is not None
    unit = "V rms" if volts else "dBFS"
    for name, words in (
        ("unweighted", "20 Hz to 20 kHz"),
        ("a", "A-weighted"),
        ("ccir_rms", "CCIR-RMS (AES17)"),
    ):
        key = f"{name}_{'v_rms' if volts else 'dbfs'}"
        sheet.add(words, found, lambda m, key=key: getattr(m.noise, key), unit)  # type: ignore[misc]
    sheet.flush("Noise")
    if not noise.hum:
        sheet.console.print("No line of mains hum stands out of it.")
        return
    sheet.console.print(
        f"Mains hum of {noise.mains_hz:g} Hz stands out: {noise.unweighted_dbfs:.1f} dBFS with it, "
        f"{noise.without_hum_dbfs:.1f} without."
    )
    for kind, level_db, cause in (
        ("pickup", noise.pickup_dbfs, "odd multiples: picked up, from a field or a ground loop"),
        ("rectifier", noise.rectifier_dbfs, "even multiples: ripple behind a rectifier"),
    ):
        if level_db is None:
            continue
        orders = ", ".join(f"{line.hz:.0f}" for line in noise.hum if line.kind == kind)
        sheet.console.print(f"  {level_db:.1f} dBFS in {cause} ({orders} Hz)")


def _print_limits(console: Console, found: Measurement) -> None:
    tilts = [
        (f"tilt at {square.hz:g} Hz", f"{square.tilt_percent:.2g} % of half the p-p")
        for square in found.squares
        if square.tilt_percent is not None
    ]
    lines = [*_clip_lines(found.clip), *_slew_lines(found.slew), *tilts]
    if lines:
        heading(console, "Limits and edges")
        rows = table(25, 0, gap=1)
        for line in lines:
            rows.add_row(*line)
        console.print(rows)


def _clip_lines(clip: Clip | None) -> Iterator[tuple[str, str]]:
    if clip is None:
        return
    for side, reached in (("high", clip.reached_high), ("low", clip.reached_low)):
        volts, share = getattr(clip, f"{side}_v"), getattr(clip, side)
        text = f"{share:.3f} of full scale" if volts is None else amount(volts, "V")
        yield (
            (f"clips, {side} side", text) if reached else (f"no clipping, {side}", f"up to {text}")
        )
    if clip.reached_high and clip.reached_low:
        yield "symmetry", f"{amount(clip.symmetry_db, 'dB')}, high re low"
    if clip.played_dbfs is not None:
        yield "from a played level of", f"{clip.played_dbfs:.1f} dBFS"


def _slew_lines(slew: Slew | None) -> Iterator[tuple[str, str]]:
    if slew is None:
        return
    for side in ("rise", "fall"):
        volts, share = getattr(slew, f"{side}_v_per_us"), getattr(slew, f"{side}_per_s")
        text = f"{share:.3g} full scales a second" if volts is None else f"{volts:.3g} V/us"
        if slew.visible:
            yield f"slews, {side}", text
        else:
            yield f"slew rate, {side}", f"at least the largest slope captured, {text}"


def _print_channels(sheet: Sheet, found: Measurement) -> None:
    if found.balance_db is not None:
        sheet.add("balance at 1 kHz", found, lambda m: m.balance_db, "dB", note="right re left")
    for row in found.balance:
        if row.hz in {63.0, 16000.0}:
            sheet.add(
                f"balance at {_hertz(row.hz)}",
                found,
                lambda m, hz=row.hz: next(b.db for b in m.balance if b.hz == hz),  # type: ignore[misc]
                "dB",
                note="right re left",
            )
    for one in found.crosstalk:
        if one.hz in {125.0, 1000.0, 8000.0, 16000.0}:
            sheet.add(
                f"from {one.driven} at {_hertz(one.hz)}",
                found,
                lambda m, one=one: next(  # type: ignore[misc]
                    c.db for c in m.crosstalk if (c.hz, c.driven) == (one.hz, one.driven)
                ),
                "dB",
                noise=one.floor_db,
            )
    sheet.flush("Channels")


def _print_clock(console: Console, found: Measurement) -> None:
    rows = found.synchronisation
    if not rows:
        return
    drifts = [row.drift_ppm for row in rows]
    low, high = min(drifts), max(drifts)
    clock = f"{low:+.2f} ppm" if high - low < 0.005 else f"{low:+.2f} to {high:+.2f} ppm"
    turned = {row.polarity for row in rows}
    way = (
        "upside down" if turned == {-1} else "the right way up" if turned == {1} else "both ways up"
    )
    console.print(f"\nRecorder's clock {clock} off the player's; recorded {way}.")
