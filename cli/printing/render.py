"""What a render did, printed for people."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from stagefx.evidence.wording import amount, times

from .plain_values import number, told
from .words import sentence, table

if TYPE_CHECKING:
    from rich.console import Console

Plain = Mapping[str, Any]


def print_report(console: Console, report: Plain, *, stage: str, out: str) -> None:
    """Print what happened to a piece of music in a stage.

    Parameters
    ----------
    console : Console
        Where to.
    report : mapping
        A render report's plain values.
    stage : str
        The stage's name.
    out : str
        Where the music was written.
    """
    console.print(_summary(report), style="bold")
    seconds = report["frames"] / report["rate"]
    console.print(
        f"{seconds:.1f} s of music through {sentence(stage)}, "
        f"{_channels(report['channels'])} at {report['rate'] / 1000:g} kHz, in {sentence(out)}"
    )
    console.print()
    rows = table(21, -22, 0)
    knob = number(report["knob_position"])
    rows.add_row("gain, source to load", told(report["gain_db"], "dB"), "")
    if knob is not None:
        rows.add_row("knob", f"{100.0 * knob:.0f} %", "of its travel")
    if number(report["output_peak_v"]) is not None:
        _add_amplifier(rows, report)
    rows.add_row("loudness", told(report["loudness_lufs"], "LUFS"), "of the file")
    rows.add_row("true peak", told(report["true_peak_dbtp"], "dBTP"), "")
    console.print(rows)
    for remark in report.get("remarks", ()):
        console.print(sentence(remark))


def _summary(report: Plain) -> str:
    """Whether anything nonlinear happened, in one sentence."""
    clipped, slewing = (_most(report[key]) for key in ("clipped_frames", "slewing_frames"))
    if number(report["output_peak_v"]) is None:
        return "There is no amplifier, so nothing could clip or slew."
    if not clipped and not slewing:
        return "Nothing clipped and nothing slewed."
    happened = [
        f"{word} in {int(count):,} frames ({100.0 * _most(report[f'{key}_share']):.2g} %)"
        for word, key, count in (("clipped", "clipped", clipped), ("slewed", "slewing", slewing))
        if count
    ]
    return f"The amplifier {' and '.join(happened)}."


def _most(value: Any) -> float:
    return number(value) or 0.0


def _add_amplifier(rows: Any, report: Plain) -> None:
    headroom = _least(report["headroom_db"])
    room = "" if headroom is None else _room(headroom)
    rows.add_row("peak at the amplifier", told(report["output_peak_v"], "V peak"), room)
    margin = _least(report["slew_margin"])
    spare = "" if margin is None else _spare(margin)
    rows.add_row("steepest slope", told(report["slope_peak_v_per_us"], "V/us"), spare)


def _room(headroom_db: float) -> str:
    if headroom_db >= 0.0:
        return f"{amount(headroom_db, 'dB')} below clipping"
    return f"{amount(-headroom_db, 'dB')} over clipping"


def _spare(margin: float) -> str:
    if margin >= 1.0:
        return f"{times(margin)} to spare"
    return f"asks for {times(1.0 / margin)} the slew rate there is"


def _least(value: Any) -> float | None:
    values = value if isinstance(value, list | tuple) else [value]
    present = [found for one in values if (found := number(one)) is not None]
    return min(present) if present else None


def _channels(count: int) -> str:
    return {1: "one channel", 2: "two channels"}.get(count, f"{count} channels")
