"""Music through a stage, from file to file."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np

from stagefx.circuit.description.stage import Stage
from stagefx.dsp.loudness import LoudnessMeter
from stagefx.dsp.true_peak import TruePeakMeter
from stagefx.effects.kind import Place
from stagefx.effects.limits.limit_set import LimitSet
from stagefx.effects.limits.limiter import Limiting
from stagefx.errors import AudioError, OutputError
from stagefx.figures.faults import faults_of
from stagefx.io.atomic_file import refuse_same_file
from stagefx.io.files import AudioFormat, AudioReader, open_audio
from stagefx.io.prefetch import BackgroundWriter, ahead, processors
from stagefx.io.writing import AudioWriter
from stagefx.render.chain import BLOCK_FRAMES, Array, Chain, Passage
from stagefx.render.plan import needed
from stagefx.render.preparation import Played, prepare
from stagefx.render.report import RenderReport, Strain
from stagefx.units import decibels, ratio

LevelBy = Literal["gain", "loudness", "nothing"]
Bits = Literal["16", "24", "float"]
Progress = Callable[[int, int | None], None]
"""Called now and then with the frames done and the frames in all."""

_PLENTY = 4
"""Processors enough for decoding, encoding and two channels at once."""
_WORD_BITS = {"16": 16, "24": 24, "float": 64}


def render_file(
    stage: Stage,
    music: str | Path,
    out: str | Path,
    *,
    only: Iterable[str] = (),
    without: Iterable[str] = (),
    times: Mapping[str, float] | None = None,
    level_by: LevelBy = "gain",
    bits: Bits = "24",
    seed: int = 0,
    force: bool = False,
    listening_level_db: float = 85.0,
    programme_db: float | None = None,
    progress: Progress | None = None,
) -> RenderReport:
    """Play music through a stage into a file.

    Parameters
    ----------
    stage : Stage
        Needs a source level.
    music : str or Path
        Any audio file, or ``"-"`` for WAV on standard input.
    out : str or Path
        Where the result goes; appears whole or not at all.
    only, without : iterable of str
        Effects to render alone, or to leave out; what is left out is replaced by its gain.
    times : mapping of str to float
        Factors by which effects are exaggerated.
    level_by : "gain", "loudness" or "nothing"
        Divide by the signed 1 kHz gain, match the loudness, or keep 1.0 as the source's
        full-scale volts.
    bits : "16", "24" or "float"
        Word length.
    seed : int
        Of noise and dither.
    force : bool
        Whether a file that is there may be replaced.
    listening_level_db : float, dB SPL
        A-weighted level at the seat, for a knob set by listening.
    programme_db : float or None, dB
        The music's own level as `prepare` would find it, where it is known already.
    progress : callable
        Told the frames done and the frames in all.

    Returns
    -------
    RenderReport
        What happened.

    Raises
    ------
    StagefxError
        The stage, the music or the place cannot be used.

    Examples
    --------
    >>> import tempfile
    >>> from stagefx.samples import samples_folder
    >>> from stagefx.circuit.description.files import load_stage
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     report = render_file(
    ...         load_stage("line-stage"),
    ...         samples_folder() / "music" / "trio.flac",
    ...         Path(folder) / "out.flac",
    ...     )
    >>> report.clipped_frames
    (0, 0)
    """
    refuse_same_file(out, music)
    with open_audio(music) as reader:
        played = prepare(
            stage,
            reader,
            only=only,
            without=without,
            times=times,
            seed=seed,
            listening_level_db=listening_level_db,
            programme_db=programme_db,
        )
        job = Job(played, out, level_by=level_by, bits=bits, force=force)
        (report,) = render_all([job], reader, progress=progress)
    absent = sorted(set(only) - set(needed(stage)))
    remarks = [f"'{stage.name}' has no {name}, so there was none to render" for name in absent]
    return replace(report, remarks=(*report.remarks, *remarks))


@dataclass(frozen=True)
class Job:
    """One prepared stage and the file that it is played into."""

    played: Played
    out: str | Path
    level_by: LevelBy = "gain"
    bits: Bits = "24"
    force: bool = False


def render_all(
    jobs: Sequence[Job], reader: AudioReader, *, progress: Progress | None = None
) -> list[RenderReport]:
    """Play music through several prepared stages at once, decoding it once (by loudness: twice)."""
    with ExitStack() as opened:
        running = [_Running(job, reader, opened) for job in jobs]
        done = 0
        with ExitStack() as finishing:
            for one in running:
                one.begin(finishing)
            for block in ahead(reader.blocks(BLOCK_FRAMES)):
                for one in running:
                    one.put(block)
                done += block.shape[0]
                if progress is not None:
                    progress(done, reader.format.frames)
            for one in running:
                one.finish()
    return [one.report() for one in running]


class _Running:
    """A job on its way, block by block."""

    def __init__(self, job: Job, reader: AudioReader, opened: ExitStack) -> None:
        self._job, self._made = job, reader.format
        played, rate, channels = job.played, reader.format.rate_hz, reader.format.channels
        self._chain = opened.enter_context(played.chain(rate, channels))
        self._factor = _factor(played, self._chain, reader, job.level_by)
        fits = (reader.format.bits or 64) <= _WORD_BITS[job.bits]
        exact = fits and self._factor == 1.0 and not self._chain.moves_every_sample
        self._loudness, self._true_peak = (
            LoudnessMeter(rate, channels), TruePeakMeter(rate, channels),
        )  # fmt: skip
        self._guarded = job.level_by == "nothing" and job.bits != "float"
        self._writer = opened.enter_context(
            AudioWriter(
                job.out, rate_hz=rate, channels=channels, bits=job.bits, force=job.force,
                seed=played.seed, dither=not exact,
            )
        )  # fmt: skip
        self._strain: Strain | None = None
        self._remarks: tuple[str, ...] = ()

    def begin(self, finishing: ExitStack) -> None:
        """Start the thread that writes, so that the chain has a block to work on meanwhile."""
        self._finisher = finishing.enter_context(BackgroundWriter(self._write))
        if processors() < _PLENTY:
            self._chain.give_way(lambda: self._finisher.last_s)
        self._passage = Passage(self._chain)

    def put(self, block: Array) -> None:
        """The next block of music."""
        self._hand_on(self._passage.put(block))

    def finish(self) -> None:
        """There is no more music; meanwhile the last blocks are still being written."""
        self._hand_on(self._passage.finish())
        played, made = self._job.played, self._made
        self._strain = strain_of(played, self._chain, made.rate_hz, made.frames)
        self._remarks = remarks_of(played)

    def report(self) -> RenderReport:
        """What happened, once the file is whole."""
        return _report(
            self._job.played, self._chain, self._made, (self._loudness, self._true_peak),
            self._strain, self._writer.overs,
            (*self._remarks, *_on_overs(self._writer.overs)),
        )  # fmt: skip

    def _hand_on(self, blocks: Iterable[Array]) -> None:
        for block in blocks:
            self._finisher.put(block if self._factor == 1.0 else block * self._factor)

    def _write(self, block: Array) -> None:
        if self._guarded:
            _refuse_overs(block)
        self._writer.write(block)
        self._loudness.add(block)
        self._true_peak.add(block)


def _factor(played: Played, chain: Chain, reader: AudioReader, level_by: LevelBy) -> float:
    """What the chain's samples are multiplied by; they are levelled by gain as they come."""
    if level_by == "gain":
        return 1.0
    if level_by == "nothing":
        return chain.unit_v / played.full_scale_v
    reader.keep()
    before = LoudnessMeter(reader.format.rate_hz, reader.format.channels)
    after = LoudnessMeter(reader.format.rate_hz, reader.format.channels)
    passage = Passage(chain)
    for block in ahead(reader.blocks(BLOCK_FRAMES)):
        before.add(block)
        for done in passage.put(block):
            after.add(done)
    for done in passage.finish():
        after.add(done)
    difference = before.integrated_lufs - after.integrated_lufs
    if not np.isfinite(difference):
        raise AudioError(
            f"{reader.place}: too short or too quiet to have a loudness; use --level-by gain"
        )
    return ratio(difference)


def _refuse_overs(block: Array) -> None:
    peak = float(np.abs(block).max(initial=0.0))
    if peak > 1.0:
        raise OutputError(
            f"at --level-by nothing the peak is {decibels(peak):+.1f} dB over full scale, which "
            "an integer format cannot hold; use --bits float, or --level-by gain"
        )


def remarks_of(played: Played, overs: int = 0) -> tuple[str, ...]:
    """What has to be said of a stage that was played, faults first."""
    faults = (fault.remark for fault in faults_of(played.knob.circuit))
    knob = (played.knob.remark,) if played.knob.remark else ()
    return (*faults, *knob, *_on_overs(overs))


def _on_overs(overs: int) -> tuple[str, ...]:
    if not overs:
        return ()
    return (f"{overs} samples went over full scale and were clipped; use --bits float",)


def _report(
    played: Played,
    chain: Chain,
    made: AudioFormat,
    meters: tuple[LoudnessMeter, TruePeakMeter],
    strain: Strain | None,
    overs: int,
    remarks: tuple[str, ...],
) -> RenderReport:
    rate, channels = made.rate_hz, made.channels
    loudness, true_peak = meters
    frames = loudness.frames
    none = (0,) * channels
    return RenderReport(
        frames=frames,
        rate=rate,
        channels=channels,
        gain_db=decibels(abs(chain.unit_v / played.full_scale_v)),
        knob_position=played.knob.position,
        output_peak_v=strain.peak_v if strain else None,
        headroom_db=strain.headroom_db if strain else None,
        clipped_frames=strain.counted("clipped_frames") if strain else none,
        clipped_share=strain.shares("clipped_frames") if strain else (0.0,) * channels,
        slewing_frames=strain.counted("slewing_frames") if strain else none,
        slewing_share=strain.shares("slewing_frames") if strain else (0.0,) * channels,
        nonlinear_share=strain.shares("nonlinear_frames") if strain else (0.0,) * channels,
        slope_peak_v_per_us=strain.slope_v_per_us if strain else None,
        slew_available_v_per_us=strain.slew_available_v_per_us if strain else None,
        slew_margin=strain.slew_margin if strain else None,
        loudness_lufs=loudness.integrated_lufs,
        true_peak_dbtp=tuple(float(peak) for peak in true_peak.peak_dbtp),
        seed=played.seed,
        overs=overs,
        worst_moments=strain.moments() if strain else (),
        remarks=remarks,
    )


def strain_of(played: Played, chain: Chain, rate_hz: int, frames: int) -> Strain | None:
    """How hard a chain drove the amplifier's output so far."""
    if played.stage.amplifier is None:
        return None
    limits, unit_v = LimitSet(), played.full_scale_v
    for place, effect in played.pieces(rate_hz):
        if place < Place.LIMITS:
            unit_v *= effect.gain
        if not isinstance(effect, Limiting):
            continue
        if effect.name in played.keep or not effect.limits.takes:
            taken = effect.limits.taking(played.times.get(effect.name, 1.0))
            limits = limits.both(taken)
    return Strain(chain.tallies, limits, unit_v, rate_hz, frames)
