"""What a collection does to a stage, printed for people."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from stagefx.report.plots.hearing.survey import Surveyed
from stagefx.report.text.numbers import amount, times

from .words import heading, sentence, table

if TYPE_CHECKING:
    from rich.console import Console

    from stagefx.survey.row import Row, Strain
    from stagefx.survey.summary import Extremes
    from stagefx.survey.survey import Survey

MOST_ROWS = 12
MOST_ERRORS = 8
MAY_BE = ("will be heard", "may be heard")
_NAME = 26


def print_survey(console: Console, survey: Survey, *, out: str | None = None) -> None:
    """Print in how many pieces anything happens, then which come closest."""
    summary = survey.summary
    console.print(happened(survey), style="bold")
    hours = summary.duration_s / 3600.0
    length = f"{hours:.1f} h" if hours >= 1.0 else f"{60.0 * hours:.1f} min"
    console.print(f"{length} of music through {sentence(survey.asked.stage.name)}.")
    for fault in survey.faults:
        console.print(f"First, a fault: {sentence(fault.sentence)} {fault.caution}".rstrip())
    if summary.asked.pieces:
        _print_settings(console, survey)
        _print_worst(console, survey)
    _print_heard(console, survey)
    _print_errors(console, survey.rows)
    console.print()
    if summary.links_passed_by:
        links = _counted(summary.links_passed_by, "symbolic link was", "symbolic links were")
        console.print(f"{links} not followed.")
    if survey.taken_over:
        rows = _counted(survey.taken_over, "row was", "rows were")
        console.print(f"{rows} taken over from an earlier survey.")
    kept = f"All rows are in {sentence(out)}." if out else "All rows: --json, or --out FILE.jsonl."
    console.print(kept)


def happened(survey: Survey) -> str:
    """In how many pieces anything happens, in one sentence."""
    found, summary = survey.summary.asked, survey.summary
    if not found.pieces:
        return f"None of {_counted(summary.files, 'file', 'files')} could be read."
    if survey.asked.stage.amplifier is None:
        return "There is no amplifier, so nothing could clip or slew."
    setting = _setting(survey, listening=survey.asked.by_listening)
    whole = _counted(found.pieces, "piece", "pieces")
    if not found.either:
        return f"Nothing clips and nothing slews in any of {whole}, {setting}."
    parts = [
        f"{count} {_verb(count, one, many)}"
        for count, one, many in (
            (found.clipping, "clips", "clip"),
            (found.slewing, "slews", "slew"),
        )
        if count
    ]
    return f"Something happens in {found.either} of {whole}, {setting}: {', '.join(parts)}."


def picture_of(survey: Survey) -> Surveyed:
    """What is drawn of a survey."""
    read = [row for row in survey.rows if row.asked is not None and row.fixed is not None]
    stage, summary = survey.asked.stage, survey.summary
    return Surveyed(
        stage=stage.name,
        setting=_setting(survey, listening=survey.asked.by_listening),
        slopes_v_per_us=tuple(
            row.asked.slope_peak_v_per_us
            for row in read
            if row.asked and row.asked.slope_peak_v_per_us is not None
        ),
        available_v_per_us=_available(read),
        clips_from=None if stage.volume is None else tuple(map(_clips_from, read)),
        clipping=summary.fixed.clipping,
        listening_knobs=tuple(
            row.listening.knob_position
            for row in read
            if row.listening is not None and row.listening.knob_position is not None
        ),
        unreadable=summary.unreadable,
    )


def _clips_from(row: Row) -> float | None:
    """The knob position from which on a piece clips: any, where the knob stands behind."""
    if row.clips_from_knob is None and row.fixed is not None and row.fixed.clips:
        return 0.0
    return row.clips_from_knob


def _available(read: Sequence[Row]) -> float | None:
    """The slew rate there is, told from any piece that has a slope."""
    for row in read:
        strain = row.asked
        if strain is None or not strain.slope_peak_v_per_us or strain.slew_margin is None:
            continue
        if math.isfinite(strain.slew_margin):
            return strain.slope_peak_v_per_us * strain.slew_margin
    return None


def _setting(survey: Survey, *, listening: bool) -> str:
    if listening:
        return f"each played at {survey.asked.listening_level_db:g} dB"
    position = next((row.fixed.knob_position for row in survey.rows if row.fixed), None)
    return "as it stands" if position is None else f"the knob at {100.0 * position:.0f} %"


def _counted(count: int, one: str, many: str) -> str:
    return f"{count:,} {_verb(count, one, many)}"


def _verb(count: int, one: str, many: str) -> str:
    return one if count == 1 else many


def _columns(survey: Survey) -> list[tuple[str, Extremes]]:
    """The settings there are to tell of, the one that the stage asks for first."""
    summary = survey.summary
    fixed = _setting(survey, listening=False).removeprefix("the ")
    found = [(fixed, summary.fixed)]
    if summary.listening is not None:
        found.append((f"at {survey.asked.listening_level_db:g} dB", summary.listening))
    return found[::-1] if survey.asked.by_listening else found


def _print_settings(console: Console, survey: Survey) -> None:
    """Each setting of the knob a column, what happened a line."""
    if survey.asked.stage.amplifier is None:
        return
    columns = _columns(survey)
    console.print()
    rows = table(24, *(-24 for _ in columns))
    found = [extremes for _, extremes in columns]
    rows.add_row("", *(name for name, _ in columns))
    rows.add_row("pieces that clip", *(f"{e.clipping} of {e.pieces}" for e in found))
    rows.add_row("pieces that slew", *(f"{e.slewing} of {e.pieces}" for e in found))
    if any(e.least_headroom_db is not None for e in found):
        rows.add_row("least headroom", *(_told(e.least_headroom_db, "dB") for e in found))
    rows.add_row("steepest slope", *(_told(e.slope_peak_v_per_us, "V/us") for e in found))
    rows.add_row("as of a full-scale sine", *(_told(e.slope_sine_hz, "Hz") for e in found))
    if any(e.least_slew_margin is not None for e in found):
        rows.add_row("slew rate to spare", *(_margin(e.least_slew_margin) for e in found))
    console.print(rows)


def _told(value: float | None, unit: str) -> str:
    return "-" if value is None else amount(value, unit)


def _margin(value: float | None) -> str:
    if value is None or math.isinf(value):
        return "-"
    return times(value)


def _print_worst(console: Console, survey: Survey) -> None:
    """The pieces that come closest to clipping, else to slewing."""
    read = [row for row in survey.rows if row.asked is not None]
    worst = sorted(read, key=lambda row: (*_closeness(row.asked), row.file))[:MOST_ROWS]
    amplified = survey.asked.stage.amplifier is not None
    all_of = "" if len(worst) == len(read) else f", {len(worst)} of {len(read)}"
    heading(console, f"Closest to a limit{all_of}" if amplified else f"Pieces{all_of}")
    setting = _columns(survey)[0][0] if amplified else ""
    rows = table(_NAME, -5, -5, -6, -7, -8, -8, -7, gap=1)
    rows.add_row("", "", "", *(("slope", "as sine", "slew", "head-") if amplified else ()))
    titles = ("V/us", "of kHz", "to spare", "room, dB", "clipped") if amplified else ()
    rows.add_row(setting and f"({setting})", "LUFS", "dBTP", *titles)
    for row in worst:
        rows.add_row(_shortened(row.file), *_figures(row, amplified=amplified))
    console.print(rows)


def _closeness(strain: Strain | None) -> tuple[float, float]:
    if strain is None:
        return math.inf, math.inf
    headroom = math.inf if strain.headroom_db is None else strain.headroom_db
    margin = math.inf if strain.slew_margin is None else strain.slew_margin
    return min(headroom, 20.0 * math.log10(margin) if margin > 0.0 else headroom), headroom


def _figures(row: Row, *, amplified: bool) -> list[str]:
    found = [_level(row.loudness_lufs), _level(row.true_peak_dbtp)]
    strain = row.asked
    if strain is None or not amplified:
        return found
    slope, sine_hz = strain.slope_peak_v_per_us, strain.slope_sine_hz
    margin, room = strain.slew_margin, strain.headroom_db
    return [
        *found,
        "-" if slope is None else _digits(slope),
        "-" if sine_hz is None else _digits(sine_hz / 1000.0),
        "-" if margin is None or math.isinf(margin) else f"{_digits(margin)} x",
        "-" if room is None or math.isinf(room) else f"{room:.1f}",
        _percent(strain.clipped_share),
    ]


def _digits(value: float) -> str:
    """Two digits that count, written out."""
    if value >= 9.95:
        return f"{value:.0f}"
    return (
        f"{value:.1f}" if value >= 0.995 else f"{value:.2f}" if value >= 0.0995 else f"{value:.3f}"
    )


def _percent(share: float) -> str:
    if not share:
        return "-"
    return "< 0.01%" if share < 1e-4 else f"{100.0 * share:.2g} %"


def _level(value: float) -> str:
    return f"{value:.1f}" if math.isfinite(value) else "-"


def _shortened(name: str) -> str:
    name = sentence(name)
    return name if len(name) <= _NAME else f"...{name[3 - _NAME :]}"


def _print_heard(console: Console, survey: Survey) -> None:
    """The grades, and the pieces in which the stage may be told from a wire."""
    if not survey.summary.grades:
        return
    heading(console, f"Against a wire, at {survey.asked.listening_level_db:g} dB")
    rows = table(-6, 0)
    for grade, count in survey.summary.grades.items():
        rows.add_row(f"{count:,}", grade)
    console.print(rows)
    heard = [(row, row.hearing) for row in survey.rows if row.hearing is not None]
    heard = [(row, found) for row, found in heard if found.grade in MAY_BE]
    for row, found in heard[:MOST_ROWS]:
        why = found.decided_by or f"not judged: {', '.join(found.not_judged)}"
        console.print(f"  {sentence(row.file)}: {found.grade} ({sentence(why)})")
    if len(heard) > MOST_ROWS:
        console.print(f"  and {len(heard) - MOST_ROWS:,} more")


def _print_errors(console: Console, rows: Sequence[Row]) -> None:
    broken = [row for row in rows if row.error is not None]
    if not broken:
        return
    heading(console, _counted(len(broken), "file could not be read", "files could not be read"))
    for row in broken[:MOST_ERRORS]:
        console.print(f"  {sentence(row.error or '')}")
    if len(broken) > MOST_ERRORS:
        console.print(f"  and {len(broken) - MOST_ERRORS:,} more")
