"""A difference taken apart: level, balance, time, response, and what no linear filter explains."""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace

import numpy as np

from stagefx.align.alignment import SEARCH_S, Alignment, align
from stagefx.align.resample import at_rate_of
from stagefx.difference.edits import Edit, find_edits
from stagefx.difference.hum import HumLine, find_hum
from stagefx.difference.linear.phase import (
    DelayFound,
    group_delays_between,
    interchannel_delay_between,
    interchannel_phase_between,
    largest_delay,
    with_phases,
)
from stagefx.difference.linear.powers import (
    BetweenChannels,
    above_hearing_dbfs,
    balance_change_db,
    both_powers,
    heard_lines,
    level_change_db,
    mean_square_scale,
    third_octave_powers,
)
from stagefx.difference.linear.response import DITHER_MEAN_SQUARE, Response, response_between
from stagefx.difference.linear.short_filter import short_filter
from stagefx.difference.linear.transfer import TransferModel, lead_in
from stagefx.difference.linear.transfer_fit import TransferMeter
from stagefx.difference.linear.unexplained_power import RemainderMeter
from stagefx.difference.nulls import NullDepths, NullMeter, Watch, decibels
from stagefx.difference.pairs import Pair, side_by_side
from stagefx.dsp.envelope import StepMeter
from stagefx.dsp.loudness import LoudnessMeter
from stagefx.dsp.spectra import Array, PairSpectra
from stagefx.io.prefetch import ahead
from stagefx.io.recording import Recording

LOWEST_HZ, HIGHEST_HZ = 20.0, 20000.0
"""What is called heard: the remainder is taken here."""
_TURNED_SHARE = 0.98
_SEGMENT_S = 1.5
_FEWEST_SEGMENTS = 8


@dataclass(frozen=True)
class Loudness:
    """Programme loudness of both versions over what they have in common."""

    first_lufs: float | None
    second_lufs: float | None

    @property
    def difference_db(self) -> float | None:
        """Second less first."""
        if self.first_lufs is None or self.second_lufs is None:
            return None
        return self.second_lufs - self.first_lufs


@dataclass(frozen=True)
class Difference:
    """What changed from a first version of a piece to a second."""

    alignment: Alignment
    null_db: NullDepths
    loudness: Loudness
    balance_db: float | None
    response: Response
    start: int
    stop: int
    first_dbfs: float
    transfer: TransferModel | None = None
    group_delay: DelayFound | None = None
    interchannel_delay: DelayFound | None = None
    edits: tuple[Edit, ...] = ()
    level_db: float | None = None
    band_powers: Array = field(
        default_factory=lambda: np.zeros((2, 0, 0)), repr=False, compare=False
    )
    interchannel_coherence: float | None = None
    interchannel_phase_deg: float | None = None
    step_powers: Array = field(default_factory=lambda: np.zeros(0), repr=False, compare=False)
    group_delays: tuple[DelayFound, ...] = field(default=(), repr=False)
    rate_hz: int = 48000
    residual_hum: tuple[HumLine, ...] = ()
    above_hearing_dbfs: float | None = None
    short_filter: Array | None = field(default=None, repr=False, compare=False)

    @property
    def remainder_db(self) -> float | None:
        """What no linear filter makes of the first, re the first; None where not measured."""
        return self.null_db.after_response

    @property
    def group_delay_ms(self) -> float | None:
        """Largest group delay less pure delay; None where not measured."""
        return self.group_delay.milliseconds if self.group_delay else None

    @property
    def interchannel_delay_us(self) -> float | None:
        """Change of the delay between the channels; None where not measured."""
        return self.interchannel_delay.microseconds if self.interchannel_delay else None

    @property
    def floor_db(self) -> float:
        """The change of level that 24-bit dither alone amounts to."""
        music = 0.5 * 10.0 ** (self.first_dbfs / 10.0)
        return 20.0 * math.log10(1.0 + math.sqrt(2.0 * DITHER_MEAN_SQUARE / music))


def take_apart(
    first: Recording,
    second: Recording,
    *,
    start: int = 0,
    stop: int | None = None,
    search_s: float = SEARCH_S,
    together: bool = False,
) -> Difference:
    """Take the difference of two versions of a piece apart.

    After the alignment both are read once, block by block, on several threads; the numbers do not
    depend on how many there are.
    """
    alignment = align(first, second, start=start, stop=stop, search_s=search_s, together=together)
    found, steady = _taken_apart(first, second, alignment, start, stop)
    if steady or together:
        return found
    thorough = align(first, second, start=start, stop=stop, search_s=search_s, thoroughly=True)
    if thorough.path is None:
        return found
    return _taken_apart(first, second, thorough, start, stop)[0]


def _taken_apart(
    first: Recording, given: Recording, alignment: Alignment, start: int, stop: int | None
) -> tuple[Difference, bool]:
    """The difference by one alignment, and whether that held from end to end."""
    second = at_rate_of(first, given)
    made = first.format
    begin, end = alignment.common_stretch(made.frames, second.format.frames)
    begin, end = max(begin, start), end if stop is None else min(end, stop)
    meters = [LoudnessMeter(made.rate_hz, made.channels) for _ in range(2)]
    nulls = NullMeter(made.channels, alignment.gain)
    segment = segment_frames(end - begin, rate_hz=made.rate_hz)
    remainder = RemainderMeter(made.rate_hz, made.channels, segment)
    transfer = TransferMeter(made.rate_hz, made.channels, end - begin)
    steps = [StepMeter(made.rate_hz, made.channels) for _ in range(2)]
    watch = Watch()
    between = BetweenChannels(made.rate_hz) if made.channels == 2 else None

    def smaller_meters(pair: Pair, more: Array) -> None:
        remainder.add(pair.first, more)
        for meter, block in zip(steps, (pair.first, pair.first + more), strict=True):
            meter.add(block)
        watch.add(pair.first, more)
        if between:
            between.add(pair.first)

    transfer.lead_in(lead_in(first, begin))
    pairs = side_by_side(first, second, alignment, start=begin, stop=end)
    with ThreadPoolExecutor(1, thread_name_prefix="spectra") as beside:
        for pair, more in ahead((pair, nulls.add(pair)) for pair in pairs):
            done = beside.submit(smaller_meters, pair, more)
            transfer.add(pair.first, more)
            for meter, block in zip(meters, (pair.first, pair.second), strict=True):
                meter.add(block)
            done.result()
        model = transfer.model(alignment.gain, beside)
    spectra, left_over = remainder.spectra(), remainder.left_over()
    response = response_between(spectra)
    power = float(nulls.aligned.first.sum()) / ((end - begin) * made.channels)
    gain = _gain(nulls, spectra, alignment)
    powers = both_powers(spectra, abs(alignment.gain))
    delay = interchannel_delay_between(response, spectra, model)
    delays = group_delays_between(response, spectra, model)
    difference = Difference(
        alignment=replace(alignment, gain_db=20.0 * math.log10(gain)),
        null_db=NullDepths(
            plain=nulls.plain_db,
            after_gain=nulls.after_gain_db,
            after_delay=nulls.after_delay_db,
            after_response=_remainder_db(spectra, left_over, nulls.relative_gain),
        ),
        loudness=Loudness(*(_finite(meter.integrated_lufs) for meter in meters)),
        balance_db=balance_change_db(spectra, powers),
        response=with_phases(response, spectra, model),
        start=begin,
        stop=end,
        first_dbfs=decibels(power, 0.5),
        transfer=model,
        group_delay=largest_delay(delays),
        group_delays=delays,
        interchannel_delay=delay,
        edits=find_edits(
            first,
            second,
            alignment,
            start=start,
            stop=stop,
            powers=powers[:, :, heard_lines(spectra)].sum(axis=2),
            direct=abs(alignment.gain) * watch.means(),
        ),
        level_db=level_change_db(spectra, powers),
        band_powers=third_octave_powers(spectra, powers),
        interchannel_coherence=between.coherence() if between else None,
        interchannel_phase_deg=interchannel_phase_between(spectra, delay),
        step_powers=np.minimum(*(meter.powers() for meter in steps)),
        rate_hz=made.rate_hz,
        residual_hum=_hum(spectra, left_over * alignment.gain**2),
        above_hearing_dbfs=above_hearing_dbfs(spectra, powers),
        short_filter=short_filter(spectra),
    )
    return difference, alignment.path is not None or watch.steady()


def segment_frames(frames: int, *, rate_hz: int) -> int:
    """How long the segments of the averaged spectra are."""
    longest = min(_SEGMENT_S * rate_hz, 2.0 * frames / (_FEWEST_SEGMENTS + 1))
    return int(2 ** math.floor(math.log2(max(longest, 2.0))))


def _remainder_db(spectra: PairSpectra, left_over: Array, gain: float) -> float | None:
    if spectra.segments < _FEWEST_SEGMENTS:
        return None
    heard = (spectra.hz >= LOWEST_HZ) & (spectra.hz <= HIGHEST_HZ)
    left = float(left_over[:, heard].sum())
    return decibels(left / gain**2, float(spectra.first[:, heard].sum()))


def _hum(spectra: PairSpectra, left_over: Array) -> tuple[HumLine, ...]:
    if spectra.segments < _FEWEST_SEGMENTS:
        return ()
    return find_hum(spectra.hz, mean_square_scale(spectra) * left_over.mean(axis=0))[0]


def _gain(nulls: NullMeter, spectra: PairSpectra, alignment: Alignment) -> float:
    """Least squares; where phases were turned that says too little: line by line then."""
    heard = heard_lines(spectra)
    first, across = spectra.first[:, heard], spectra.cross[:, heard]
    power = float(first.sum())
    whatever = abs(alignment.gain) * (float(np.abs(first + across).sum()) / power if power else 0.0)
    return abs(nulls.gain) if abs(nulls.gain) > _TURNED_SHARE * whatever else whatever


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
