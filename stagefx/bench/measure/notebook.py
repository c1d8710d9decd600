"""A measurement as a notebook shows it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stagefx.io.tables import cell, html_table

if TYPE_CHECKING:
    from stagefx.bench.measure.measurement import Measurement

_MARKS_HZ = (20.0, 1000.0, 10e3, 20e3)


def measurement_as_html(found: Measurement) -> str:
    """A measurement in short: level, response, distortion, noise, clipping, speed, channels.

    Parameters
    ----------
    found : Measurement
        Of a stage.

    Returns
    -------
    str
        HTML, every text escaped; what was not measured has no row.

    Examples
    --------
    >>> from stagefx.bench.measure.measurement import Measurement
    >>> "<td>90.0 dB</td>" in measurement_as_html(
    ...     Measurement("bench measure", 48000, dynamic_range_db=90.0)
    ... )
    True
    """
    rows = [*_levels(found), *_distortion(found)]
    if found.noise is not None:
        rows.append(("noise, A-weighted", cell(found.noise.a_dbfs, "dBFS")))
        if found.noise.a_v_rms is not None:
            rows.append(("the same in volts", cell(found.noise.a_v_rms, "V rms")))
    if found.dynamic_range_db is not None:
        rows.append(("dynamic range", cell(found.dynamic_range_db, "dB")))
    if found.clip is not None and found.clip.high_v is not None:
        rows.append(("clips upward at", cell(found.clip.high_v, "V")))
        rows.append(("clips downward at", cell(found.clip.low_v, "V")))
    if found.slew is not None:
        rows.append(("slew", found.slew.sentence))
    if found.balance_db is not None:
        rows.append(("right re left", cell(found.balance_db, "dB")))
    rows += [
        (f"crosstalk at {cell(one.hz, 'Hz')}, {one.driven} driven", cell(one.db, "dB"))
        for one in found.crosstalk
    ]
    signals = ", ".join(found.signals) or "no signal"
    return html_table(f"{found.made_by}, {found.channel}: {signals}", rows, before=found.remarks)


def _levels(found: Measurement) -> list[tuple[str, str]]:
    rows = [
        (f"gain at {cell(one.hz, 'Hz')}", cell(one.gain_db, "dB"))
        for one in found.levels
        if one.gain_db is not None
    ]
    for mark in _MARKS_HZ if found.response else ():
        near = min(found.response, key=lambda point: abs(point.hz - mark))
        if abs(near.hz - mark) < 0.05 * mark:
            rows.append((f"response at {cell(near.hz, 'Hz')}, re 1 kHz", cell(near.db, "dB")))
    return rows


def _distortion(found: Measurement) -> list[tuple[str, str]]:
    rows = [
        (
            f"harmonics of {cell(one.hz, 'Hz')} at {cell(one.captured_dbfs, 'dBFS')}",
            cell(one.thd_db, "dB"),
        )
        for one in found.harmonics
        if one.thd_db is not None
    ]
    rows += [
        (f"intermodulation, {name}", f"{one.percent:.3g} %")
        for name, one in found.intermodulation.items()
    ]
    return rows
