"""What a render did, printed for people."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from stagefx.report.text.numbers import amount, clock, times

from .plain_values import number, told
from .words import heading, sentence, table

if TYPE_CHECKING:
    from rich.console import Console

Plain = Mapping[str, Any]


def print_report(console: Console, report: Plain, *, stage: str, out: str) -> None:
    """Print what happened to a piece of music in a stage."""
    console.print(_summary(report), style="bold")
    seconds = report["frames"] / report["rate"]
    console.print(
        f"{seconds:.1f} s of music through {sentence(stage)}, "
        f"{_channels(report['channels'])} at {report['rate'] / 1000:g} kHz, in {sentence(out)}"
    )
    console.print()
    rows = table(21, -25, 0)
    knob = number(report["knob_position"])
    rows.add_row("gain, source to load", told(report["gain_db"], "dB"), "")
    if knob is not None:
        rows.add_row("knob", f"{100.0 * knob:.0f} %", "of its travel")
    if number(report["output_peak_v"]) is not None:
        _add_amplifier(rows, report)
    rows.add_row("loudness", told(report["loudness_lufs"], "LUFS"), "of the file")
    rows.add_row("true peak", told(report["true_peak_dbtp"], "dBTP"), "")
    console.print(rows)
    if report["worst_moments"]:
        _print_moments(console, report)
    if report["remarks"]:
        console.print()
    for remark in report["remarks"]:
        console.print(sentence(remark))


def _summary(report: Plain) -> str:
    """Whether anything nonlinear happened, in one sentence."""
    clipped, slewing = (_most(report[key]) for key in ("clipped_frames", "slewing_frames"))
    if number(report["output_peak_v"]) is None:
        return "There is no amplifier, so nothing could clip or slew."
    if not clipped and not slewing:
        return "Nothing clipped and nothing slewed."
    happened = [
        f"{word} in {_percent(_most(report[f'{key}_share']))} %"
        for word, key, count in (("clipped", "clipped", clipped), ("slewed", "slewing", slewing))
        if count
    ]
    return f"The amplifier {' and '.join(happened)} of the music."


def _most(value: Any) -> float:
    return number(value) or 0.0


def _add_amplifier(rows: Any, report: Plain) -> None:
    headroom = _least(report["headroom_db"])
    room = "" if headroom is None else _room(headroom)
    rows.add_row("peak at the amplifier", told(report["output_peak_v"], "V peak"), room)
    margin = _least(report["slew_margin"])
    spare = "" if margin is None else _spare(margin)
    rows.add_row("steepest slope", told(report["slope_peak_v_per_us"], "V/us"), spare)
    available = number(report["slew_available_v_per_us"])
    if available is not None:
        rows.add_row("slew rate there is", amount(available, "V/us"), "the slower of rise and fall")
    for word, key in (("clipped", "clipped"), ("slewing", "slewing"), ("either", "nonlinear")):
        if _most(report["nonlinear_share"]):
            _add_share(rows, report, word, key)


def _add_share(rows: Any, report: Plain, word: str, key: str) -> None:
    """In how much of the music something happened, channel by channel."""
    shares = _each(report[f"{key}_share"])
    percent = " | ".join(dict.fromkeys(map(_percent, shares)))
    frames = _each(report[f"{key}_frames"]) if f"{key}_frames" in report else []
    counted = " | ".join(dict.fromkeys(f"{int(count):,}" for count in frames))
    rows.add_row(f"{word}, share", f"{percent} %", f"{counted} frames" if counted else "")


def _percent(share: float) -> str:
    return "< 0.01" if 0.0 < share < 1e-4 else f"{100.0 * share:.2g}"


def _each(value: Any) -> list[float]:
    return [number(one) or 0.0 for one in (value if isinstance(value, list | tuple) else [value])]


def _print_moments(console: Console, report: Plain) -> None:
    """When it was worst, and for how long in each fifth of a second; in two columns."""
    heading(console, "Worst moments, in each fifth of a second")
    lines = [
        (
            clock(moment["time_s"]),
            *(_lasted(moment[key], report["rate"]) for key in ("clipped_frames", "slewing_frames")),
        )
        for moment in report["worst_moments"]
    ]
    half = (len(lines) + 1) // 2
    rows = table(*(-10, -9, -9) * 2, gap=1)
    rows.add_row(*("at", "clipped", "slewing") * min(len(lines), 2))
    for row in range(half):
        rows.add_row(*lines[row], *(lines[row + half] if row + half < len(lines) else ()))
    console.print(rows)


def _lasted(frames: int, rate_hz: float) -> str:
    return f"{1e3 * frames / rate_hz:.1f} ms" if frames else "-"


def _room(headroom_db: float) -> str:
    if headroom_db >= 0.0:
        return f"{amount(headroom_db, 'dB')} below clipping"
    return f"{amount(-headroom_db, 'dB')} over clipping"


def _spare(margin: float) -> str:
    if margin >= 1.0:
        return f"{times(margin)} to spare"
    return f"{times(1.0 / margin)} the slew rate"


def _least(value: Any) -> float | None:
    values = value if isinstance(value, list | tuple) else [value]
    present = [found for one in values if (found := number(one)) is not None]
    return min(present) if present else None


def _channels(count: int) -> str:
    return {1: "one channel", 2: "two channels"}.get(count, f"{count} channels")
