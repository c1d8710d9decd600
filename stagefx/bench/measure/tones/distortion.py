"""Harmonics of steady tones, THD with noise, and dynamic range.

Definitions: IEC 60268-3, 14.12 (harmonics), AES17 (THD+N, dynamic range).
"""

from __future__ import annotations

import math

from stagefx.bench.measure.decibels import ratio_db, root_sum
from stagefx.bench.measure.rows import Harmonics, Level, Scales
from stagefx.bench.measure.sines import Stretch
from stagefx.bench.measure.spectrum import band_rms, ccir_rms, in_band, notch
from stagefx.bench.measure.synchronised import Synchronised
from stagefx.bench.measure.tones.steady import steady
from stagefx.bench.signals.passages import Tones
from stagefx.bench.signals.plan import HIGHEST_SHARE

HIGHEST_ORDER = 10


def orders_within(hz: float, rate_hz: float) -> range:
    """Which harmonics of a tone a recording can hold."""
    return range(2, min(HIGHEST_ORDER, int(HIGHEST_SHARE * rate_hz / hz)) + 1)


def level_of(recording: Synchronised, tone: Tones, channel: int, scales: Scales) -> Level:
    """How strong a tone came out."""
    part = steady(recording, tone, channel)
    hz = tone.hz[0] * part.faster(tone.hz[0])
    return level_row(recording, tone, abs(part.amplitude(hz)), scales)


def level_row(recording: Synchronised, tone: Tones, peak: float, scales: Scales) -> Level:
    """A tone's level as a record."""
    captured = ratio_db(peak)
    output_v = scales.output_v(captured)
    input_v = scales.input_v(tone.level_dbfs)
    both = output_v is not None and input_v is not None
    return Level(
        signal=recording.signal.name,
        hz=tone.hz[0],
        played_dbfs=tone.level_dbfs,
        captured_dbfs=captured,
        input_v_rms=input_v,
        output_v_rms=output_v,
        gain_db=ratio_db(output_v, input_v) if both else None,  # type: ignore[arg-type]
    )


def harmonics_of(
    recording: Synchronised, tone: Tones, channel: int, scales: Scales, *, by: str
) -> Harmonics:
    """What a tone brought along."""
    return stretch_harmonics(
        steady(recording, tone, channel), tone, recording.rate_hz, scales, by=by
    )


def stretch_harmonics(
    part: Stretch, tone: Tones, rate_hz: float, scales: Scales, *, by: str
) -> Harmonics:
    """What a tone brought along, from a stretch of it."""
    hz = tone.hz[0] * part.faster(tone.hz[0])
    orders = orders_within(tone.hz[0], rate_hz)
    first, *rest = (abs(one) for one in part.amplitudes([hz, *(k * hz for k in orders)]))
    noise = [part.noise_peak(k * hz, apart_hz=hz) for k in orders]
    left = band_rms(
        part.without(hz), rate_hz, lambda lines_hz: notch(lines_hz, hz) * in_band(lines_hz)
    )
    captured = ratio_db(first)
    return Harmonics(
        hz=tone.hz[0],
        by=by,
        played_dbfs=tone.level_dbfs,
        captured_dbfs=captured,
        output_v_rms=scales.output_v(captured),
        thd_db=ratio_db(root_sum(rest), first) if rest else None,
        harmonics_db=tuple(ratio_db(one, first) for one in rest),
        floor_db=ratio_db(root_sum(noise), first) if rest else None,
        thd_n_db=ratio_db(left, math.hypot(left, first / math.sqrt(2.0))),
    )


def dynamic_range_of(recording: Synchronised, tone: Tones, channel: int) -> float:
    """How far what is left beside a faint tone lies below full scale."""
    part = steady(recording, tone, channel)
    hz = tone.hz[0] * part.faster(tone.hz[0])
    full = abs(part.amplitude(hz)) * 10.0 ** (-tone.level_dbfs / 20.0)
    left = band_rms(
        part.without(hz),
        recording.rate_hz,
        lambda lines_hz: notch(lines_hz, hz) * ccir_rms(lines_hz),
    )
    return ratio_db(full, left * math.sqrt(2.0))
