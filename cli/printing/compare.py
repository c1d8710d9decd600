"""A comparison, printed for people: the verdict, what changed by cause, the audibility table."""

from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import groupby
from typing import TYPE_CHECKING

from stagefx.audition.comparison import Comparison
from stagefx.difference.captured.instrument_faults import CaptureFault
from stagefx.difference.decomposition import Difference
from stagefx.difference.linear.response import Band
from stagefx.figures.cautions import CAUTIONS
from stagefx.figures.faults import FaultRemark
from stagefx.hearing.audibility import AudibilityRow
from stagefx.hearing.grades import Grade
from stagefx.hearing.rows.edits import DIRECT, findings
from stagefx.hearing.rows.worst_knob import NO_CONTROL
from stagefx.hearing.wording import probability
from stagefx.report.text.margins import margin_words, nearest_first
from stagefx.report.text.numbers import amount

from .words import heading, sentence, table

if TYPE_CHECKING:
    from rich.console import Console

_MOST_TIMES = 8
OCTAVES_HZ = (31.5, 63.0, 125.0, 250.0, 500.0, 1e3, 2e3, 4e3, 8e3, 16e3)


def print_comparison(console: Console, found: Comparison, *, residual: str | None = None) -> None:
    """Print what changed, and whether it would be heard."""
    faults = [one.sentence for one in found.remarks if isinstance(one, FaultRemark)]
    if found.captured is not None:
        faults += [_fault_of(fault) for fault in found.captured.faults]
    print_faults(console, faults)
    answer, _, rest = sentence(found.verdict.sentence).partition(". ")
    console.print(f"{answer.removesuffix('.')}.", style="bold")
    if rest:
        console.print(rest)
    _print_worst_knob(console, found)
    _print_causes(console, found)
    _print_audibility(console, found.audibility)
    if found.captured is not None and found.captured.floor is not None:
        console.print(f"Floors: what the recorder does by itself, {found.captured.floor.basis}.")
    for remark in found.remarks:
        if not isinstance(remark, FaultRemark):
            console.print(sentence(remark))
    if residual is not None:
        console.print(f"\nWhat is left after level and time: {sentence(residual)}")
        console.print(CAUTIONS["hearing"])


def print_faults(console: Console, faults: Iterable[str]) -> None:
    """Print what is wrong, before any talk of sound."""
    told = [sentence(fault).rstrip(".") for fault in faults]
    for fault in told:
        console.print(f"First, a fault: {fault}.", style="bold")
    if told:
        console.print()


def _print_worst_knob(console: Console, found: Comparison) -> None:
    """The verdict where the control does worst; of files, and without a control, nothing."""
    turned = found.worst_knob
    if turned.sentence:
        console.print(sentence(turned.sentence), style="bold")
    elif turned.reason != NO_CONTROL:
        console.print(f"The knob: {sentence(turned.reason)}.")


def _fault_of(fault: CaptureFault) -> str:
    where = "" if fault.at_s is None else f" (first at {fault.at_s:.1f} s)"
    return f"{fault.sentence}{where}"


def _print_causes(console: Console, found: Comparison) -> None:
    heading(console, "What changed, by cause")
    difference = found.difference
    gain, louder = difference.alignment.gain_db, difference.loudness.difference_db
    worst = difference.response.worst()
    rows = table(11, 0)
    # of stages direct voltage is known from the circuit, and said beside the verdict
    edited = [edit for edit in difference.edits if not (found.renders and edit.kind == DIRECT)]
    edits = findings(edited, rate_hz=difference.rate_hz)
    rows.add_row("edits", " ".join(edits) or "none")
    rows.add_row("level", f"{_level(gain)} in volts, {_level(louder)} in loudness")
    rows.add_row("balance", _level(difference.balance_db, without="only one channel sounds"))
    rows.add_row("time", _time(difference))
    rows.add_row(
        "response",
        "not measured"
        if worst is None
        else f"at most {_level(worst.db)}, at {amount(worst.hz, 'Hz')}, re 1 kHz",
    )
    rows.add_row("events", _events(found))
    rest = difference.remainder_db
    rows.add_row("residual", _level(rest) if rest == -math.inf else f"{_level(rest)} re the music")
    console.print(rows)
    _print_bands(console, difference.response.bands)


def _events(found: Comparison) -> str:
    """Clicks, gaps and bursts: how many, and when."""
    events = found.heard.events
    if events.worst_db is None:
        return events.reason or "not measured"
    if not events.at_s:
        return "none"
    times = ", ".join(f"{at:.2f}" for at in events.at_s[:_MOST_TIMES])
    more = " ..." if events.count > _MOST_TIMES else ""
    return f"{events.count}, at {times}{more} s; the loudest {events.worst_db:.1f} dB above masking"


def _level(level_db: float | None, *, without: str = "not measured") -> str:
    if level_db is None:
        return without
    return "nothing" if level_db == -math.inf else amount(level_db, "dB")


def _time(difference: Difference) -> str:
    alignment = difference.alignment
    late = alignment.delay_frames
    parts = [f"{abs(late):.3f} frames {'late' if late >= 0.0 else 'early'}"]
    if alignment.drift_ppm:
        parts.append(f"clock {alignment.drift_ppm:+.2f} ppm")
    if alignment.polarity < 0:
        parts.append("polarity inverted")
    return ", ".join(parts)


def _print_bands(console: Console, bands: tuple[Band, ...]) -> None:
    """The response at one third-octave band an octave."""
    near = [(hz, b) for hz in OCTAVES_HZ for b in bands if abs(math.log2(b.hz / hz)) < 0.1]
    if not near:
        return
    rows = table(4, *([-6] * len(near)), gap=1)
    rows.add_row("Hz", *(f"{hz / 1e3:g}k" if hz >= 1e3 else f"{hz:g}" for hz, _ in near))
    rows.add_row("dB", *("-" if band.db is None else _hundredths(band.db) for _, band in near))
    console.print(rows)


def _hundredths(level_db: float) -> str:
    text = f"{level_db:.2f}"
    return "0.00" if text == "-0.00" else text


def _print_audibility(console: Console, audibility: tuple[AudibilityRow, ...]) -> None:
    """Grade by grade, the worst first, and in each the row nearest to its limit."""
    heading(console, "Against what is known of hearing")
    for grade, rows in groupby(nearest_first(audibility), key=lambda row: row.grade):
        console.print(f"{grade}:")
        printed = table(1, 20, -10, 23, 0, gap=1)
        for row in rows:
            limits = f"may {row.may:g}, will {row.will:g} {row.unit}"
            printed.add_row("", row.name, _value(row), limits, _distance(row))
        console.print(printed)
    untold: dict[str, list[str]] = {}
    for row in audibility:
        if row.grade is None:
            untold.setdefault(row.remark or "not measured", []).append(row.name)
    if untold:
        said = "; ".join(f"{', '.join(names)} ({why})" for why, names in untold.items())
        console.print(f"not judged: {said}")


def _value(row: AudibilityRow) -> str:
    if row.value is None:
        return "-"
    if not row.unit:
        return probability(row.value)
    if row.value == -math.inf:
        return "nothing"
    if 0.0 < abs(row.value) < 0.001:
        return f"< 0.001 {row.unit}"
    return amount(row.value, row.unit)


def _distance(row: AudibilityRow) -> str:
    if row.grade is Grade.BELOW and row.floor is not None:
        if not row.unit:
            return "below the noise floor"
        decimals = max(0, -math.floor(math.log10(row.floor))) if row.floor > 0.0 else 0
        return f"the floor: {row.floor:.{decimals}f} {row.unit}"
    return margin_words(row)
