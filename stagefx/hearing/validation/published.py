"""Published thresholds of hearing beside what this program says of the same sounds.

``python -m stagefx.hearing.validation.published`` writes the table of thresholds.md.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from stagefx.hearing.validation.calibration import BOUNDS, Calibration, Observed, calibrate
from stagefx.hearing.validation.detection_thresholds import (
    balance_heard_db,
    delay_heard_us,
    group_delay_heard_ms,
    harmonic_heard_db,
    rise_per_doubled_q_db,
    tone_heard_db_spl,
    white_noise_heard_db_spl,
)
from stagefx.hearing.validation.published_sounds import SoundThreshold

GROUP_DELAYS_MS = {500.0: 3.2, 1000.0: 2.0, 2000.0: 1.0, 4000.0: 1.5, 8000.0: 2.0}
"""J. Blauert, P. Laws, JASA 63 (5), 1978: all-pass filters, impulses over headphones."""
HUM_DB_SPL = {50.0: 44.0, 100.0: 26.5, 160.0: 17.9}
"""ISO 389-7:2019."""


@dataclass(frozen=True)
class Published:
    """One published threshold, and from where this program says the same may be heard."""

    quantity: str
    conditions: str
    source: str
    threshold: float
    program: float
    unit: str
    witness: str


def published_thresholds() -> Iterator[Published]:
    """All that calibrate a row each, and the rule of resonances; each tried out."""
    blauert = "J. Blauert, P. Laws, JASA 63 (5), 1978"
    for hz, ms in GROUP_DELAYS_MS.items():
        yield Published(
            f"group delay at {hz:g} Hz", "all-pass, impulses, headphones", blauert,
            ms, group_delay_heard_ms(hz, ms), "ms", "group delay",
        )  # fmt: skip
    yield Published(
        "group delay, smallest mean", "pink impulse, headphones",
        "J. Liski et al., IEEE/ACM TASLP 29, 2021", 0.56, group_delay_heard_ms(4000.0, 0.56), "ms",
        "group delay",
    )  # fmt: skip
    for hz, level in HUM_DB_SPL.items():
        yield Published(
            f"hum at {hz:g} Hz", "tone in quiet, free field", "ISO 389-7:2019",
            level, tone_heard_db_spl(hz), "dB SPL", "hum",
        )  # fmt: skip
    yield Published(
        "white noise in quiet", "20 kHz wide", "L. D. Fielder, JAES 43 (5), 1995 (from memory)",
        4.0, white_noise_heard_db_spl(), "dB SPL", "noise",
    )  # fmt: skip
    yield Published(
        "level between the channels", "at the centre, headphones",
        "J. Breebaart, C. Faller, Spatial Audio Processing, 3.5.1", 0.5, balance_heard_db(), "dB",
        "balance",
    )  # fmt: skip
    yield Published(
        "delay between the channels", "noise 150-1700 Hz, headphones",
        "R. G. Klumpp, H. R. Eady, JASA 28, 1956 (from memory)", 9.0, delay_heard_us(), "us",
        "inter-channel delay",
    )  # fmt: skip
    yield Published(
        "second harmonic", "music, 15 kHz wide, 0.7 % perceptible",
        "H. F. Olson, 1947, in Radiotron Designer's Handbook (from memory)", -43.1,
        harmonic_heard_db(), "dB", "harmonics",
    )  # fmt: skip
    yield Published(
        "resonance, rise of the threshold for twice the Q", "pink noise, 1 kHz, Q 1 to 32",
        "F. E. Toole, S. E. Olive, JAES 36 (3), 1988", 3.0, rise_per_doubled_q_db(), "dB",
        "ear model, p = 0.5",
    )  # fmt: skip


def table() -> str:
    """The published thresholds and this program's, as Markdown."""
    found = calibrate()
    return "\n".join([*_HEAD, *_sounds(found), *_left_out_of_fit(found), *_rows()])


_HEAD = (
    "# Published thresholds, and what stagefx says",
    "",
    "Made by `python -m stagefx.hearing.validation.published`.",
    "",
)


def _sounds(found: Calibration) -> list[str]:
    least, low, inner, outer, high, most = BOUNDS
    ratios = np.array([one.left_out_ratio for one in found.fitted])
    within = np.mean((ratios >= low) & (ratios <= high))
    made = found.decision
    text = f"""\
## Level, spectrum and added sound: what the ear model is fitted to

Two numbers are fitted to all of these together: d' of a decibel, {made.d_prime_per_db:g}, and the
weight of what is new in every interval, {made.new_noise_weight:g}. *Published* is the threshold as
its source counts it, at the percentage of two intervals that is right; *75 %* is the same where
75 % are right, d' in proportion to size; *ear model* is where it gives an even chance. *Ratio* is
that over the published size (of levels: of the sound's amplitude); *left out* is the ratio when the
row is kept out of the fit. Where a source has another method than two intervals, or its percentage
was not seen, half of the time heard is taken as 75 %. The shape of the threshold in quiet is taken
from ISO 389-7 itself; only its weight is fitted.

Left out in turn, {within:.0%} of {ratios.size} rows lie within {low:g} to {high:g} of the published
size, all within {ratios.min():.2f} to {ratios.max():.2f}; their median is {np.median(ratios):.2f}.
Asked for: three quarters, {least:g} to {most:g}, and {inner:g} to {outer:g}: studies of the same
threshold differ by as much.
"""
    return [
        *text.splitlines(),
        "",
        "| what | listener | length | published | 75 % | ear model | ratio | left out | source |",
        "|---|---|---|---|---|---|---|---|---|",
        *(_sound_line(one, f"{one.left_out_ratio:.2f}") for one in found.fitted),
        "",
    ]


def _sound_line(one: Observed, last: str) -> str:
    row = one.row
    sizes = f"{_size(row, row.even_chance)} | {_size(row, row.times(one.ratio))}"
    published = f"{row.published:.3g} {row.unit} at {row.correct_percent:g} %"
    return (
        f"| {row.what} | {row.listener}, {row.room} | {row.seconds:g} s | {published} | {sizes} | "
        f"{one.ratio:.2f} | {last} | {_source(row)} |"
    )


def _size(row: SoundThreshold, size: float) -> str:
    return f"{size:.1f}" if row.is_level else f"{size:.2f}"


def _source(row: SoundThreshold) -> str:
    said = {"read": "", "derived": " (derived)", "memory": " (from memory)"}
    return row.source + said[row.mark]


def _left_out_of_fit(found: Calibration) -> list[str]:
    return [
        "## Not in the fit",
        "",
        "| what | listener | length | published | 75 % | ear model | ratio | why not | source |",
        "|---|---|---|---|---|---|---|---|---|",
        *(_sound_line(one, one.row.reason) for one in found.observed if not one.row.fitted),
        "",
    ]


def _rows() -> list[str]:
    lines = [
        "## Rows of other kinds",
        "",
        "*stagefx* is the size of the same change from which the row says that it may be heard. A",
        "row of the audibility table is meant to speak up no later than the source.",
        "",
        "| what | heard with | published | stagefx | row | source |",
        "|---|---|---|---|---|---|",
    ]
    for one in published_thresholds():
        figures = f"{one.threshold:g} {one.unit} | {one.program:.2f} {one.unit}"
        lines.append(
            f"| {one.quantity} | {one.conditions} | {figures} | {one.witness} | {one.source} |"
        )
    return [
        *lines,
        "",
        "White noise in quiet is spoken of 4 dB later than from memory of its source: the ear adds",
        "up over bands, and the table looks at the worst third octave alone, since ISO 389-7 can",
        "be checked and a figure from memory cannot. A quieter room than the threshold is rare.",
        "",
    ]


if __name__ == "__main__":
    sys.stdout.write(table())
