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
    """Which harmonics of a tone a recording can hold.

    Parameters
    ----------
    hz : float, Hz
        The tone.
    rate_hz : float, Hz
        Sampling rate; converters pass everything up to 0.45 of it.

    Returns
    -------
    range
        From the second to the tenth at most.

    Examples
    --------
    >>> list(orders_within(5000.0, 48000.0)), list(orders_within(15000.0, 48000.0))
    ([2, 3, 4], [])
    """
    return range(2, min(HIGHEST_ORDER, int(HIGHEST_SHARE * rate_hz / hz)) + 1)


def level_of(recording: Synchronised, tone: Tones, channel: int, scales: Scales) -> Level:
    """How strong a tone came out.

    Parameters
    ----------
    recording : Synchronised
        On the signal's clock.
    tone : Tones
        A passage of one tone.
    channel : int
        Which channel of the recording.
    scales : Scales
        Full scale in volts.

    Returns
    -------
    Level
        In dBFS and, where they are known, in volts.

    Examples
    --------
    >>> from stagefx.io.recording import HeldAudio
    >>> from stagefx.bench.measure.synchronised import synchronise
    >>> from stagefx.bench.signals.plan import signal_named
    >>> signal = signal_named("01-level-1khz")
    >>> found = synchronise(signal, HeldAudio(0.5 * signal.samples(), 48000))
    >>> level = level_of(found, signal.tones()[0], 0, Scales(2.0, 1.0))
    >>> round(level.captured_dbfs, 3), round(level.gain_db, 3)
    (-18.021, -12.041)
    """
    part = steady(recording, tone, channel)
    hz = tone.hz[0] * part.faster(tone.hz[0])
    return level_row(recording, tone, abs(part.amplitude(hz)), scales)


def level_row(recording: Synchronised, tone: Tones, peak: float, scales: Scales) -> Level:
    """A tone's level as a record.

    Parameters
    ----------
    recording : Synchronised
        Where it was found.
    tone : Tones
        What was played.
    peak : float, full scale 1.0
        What was found.
    scales : Scales
        Full scale in volts.

    Returns
    -------
    Level
        In dBFS and, where they are known, in volts.

    Examples
    --------
    >>> from stagefx.io.recording import HeldAudio
    >>> from stagefx.bench.measure.synchronised import synchronise
    >>> from stagefx.bench.signals.plan import signal_named
    >>> signal = signal_named("01-level-1khz")
    >>> found = synchronise(signal, HeldAudio(signal.samples(), 48000))
    >>> level_row(found, signal.tones()[0], 1.0, Scales(None, 2.0)).output_v_rms
    2.0
    """
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
    """What a tone brought along.

    Parameters
    ----------
    recording : Synchronised
        On the signal's clock.
    tone : Tones
        A passage of one tone.
    channel : int
        Which channel of the recording.
    scales : Scales
        Full scale in volts.
    by : str
        What its row says of where it comes from.

    Returns
    -------
    Harmonics
        Up to the tenth, those below 0.45 of the rate.

    Examples
    --------
    >>> from stagefx.io.recording import HeldAudio
    >>> from stagefx.bench.measure.synchronised import synchronise
    >>> from stagefx.bench.signals.plan import signal_named
    >>> signal = signal_named("04-levels-997hz")
    >>> x = signal.samples()
    >>> found = synchronise(signal, HeldAudio(x + 0.01 * x**2, 48000))
    >>> row = harmonics_of(found, signal.tones()[-1], 0, Scales(), by="levels")
    >>> round(row.harmonics_db[0], 2)  # 20 log10(0.01 / 2)
    -46.02
    """
    return stretch_harmonics(
        steady(recording, tone, channel), tone, recording.rate_hz, scales, by=by
    )


def stretch_harmonics(
    part: Stretch, tone: Tones, rate_hz: float, scales: Scales, *, by: str
) -> Harmonics:
    """What a tone brought along, from a stretch of it.

    Parameters
    ----------
    part : Stretch
        The recording.
    tone : Tones
        What was played.
    rate_hz : float, Hz
        Frames in a second.
    scales : Scales
        Full scale in volts.
    by : str
        What its row says of where it comes from.

    Returns
    -------
    Harmonics
        ``THD = √(a2² + a3² + …) / a1``; THD+N re everything, notch and band as in AES17.

    Examples
    --------
    >>> import numpy as np
    >>> times = np.arange(48000) / 48000
    >>> tone = Tones(0.0, 1.0, (1000.0,), (1.0,))
    >>> wave = np.sin(2000 * np.pi * times) + 0.01 * np.sin(6000 * np.pi * times)
    >>> row = stretch_harmonics(Stretch(wave, times), tone, 48000.0, Scales(), by="levels")
    >>> round(row.thd_db, 3), round(row.thd_n_db, 2)
    (-40.0, -40.07)
    """
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
    """How far what is left beside a faint tone lies below full scale.

    Parameters
    ----------
    recording : Synchronised
        On the signal's clock.
    tone : Tones
        The passage of 997 Hz at -60 dBFS.
    channel : int
        Which channel of the recording.

    Returns
    -------
    float, dB
        AES17, 6.4.1: a full-scale tone over the rest, CCIR-RMS; full scale is what is played.

    Examples
    --------
    >>> from stagefx.dsp.dither import quantise
    >>> from stagefx.io.recording import HeldAudio
    >>> from stagefx.bench.measure.synchronised import synchronise
    >>> from stagefx.bench.signals.plan import signal_named
    >>> signal = signal_named("04-levels-997hz")
    >>> steps = quantise(signal.samples(), bits=16, first_frame=0).codes / 32768.0
    >>> found = synchronise(signal, HeldAudio(steps, 48000))
    >>> 92.0 < dynamic_range_of(found, signal.tones()[0], 0) < 93.0
    True
    """
    part = steady(recording, tone, channel)
    hz = tone.hz[0] * part.faster(tone.hz[0])
    full = abs(part.amplitude(hz)) * 10.0 ** (-tone.level_dbfs / 20.0)
    left = band_rms(
        part.without(hz),
        recording.rate_hz,
        lambda lines_hz: notch(lines_hz, hz) * ccir_rms(lines_hz),
    )
    return ratio_db(full, left * math.sqrt(2.0))
