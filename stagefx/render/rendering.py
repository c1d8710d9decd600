"""Music through a stage, from file to file."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
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
from stagefx.io.files import AudioReader, open_audio
from stagefx.io.writing import AudioWriter
from stagefx.render.chain import BLOCK_FRAMES, Array, Chain
from stagefx.render.plan import needed
from stagefx.render.preparation import Played, prepare
from stagefx.render.report import RenderReport, Strain
from stagefx.render.threads import Behind, ahead, processors
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
        rate, channels = reader.format.rate_hz, reader.format.channels
        with played.chain(rate, channels) as chain:
            factor = _factor(played, chain, reader, level_by)
            fits = (reader.format.bits or 64) <= _WORD_BITS[bits]
            exact = fits and factor == 1.0 and not chain.moves_every_sample
            meters = LoudnessMeter(rate, channels), TruePeakMeter(rate, channels)
            with AudioWriter(
                out,
                rate_hz=rate,
                channels=channels,
                bits=bits,
                force=force,
                seed=seed,
                dither=not exact,
            ) as writer:
                guarded = level_by == "nothing" and bits != "float"

                def finish(block: Array) -> None:
                    if guarded:
                        _refuse_overs(block)
                    writer.write(block)
                    for meter in meters:
                        meter.add(block)

                with Behind(finish) as finisher:  # so that the chain has a block to work on
                    if processors() < _PLENTY:
                        chain.give_way(lambda: finisher.last_s)
                    for block in _levelled(chain, reader, factor, progress):
                        finisher.put(block)
                    # Meanwhile, for the last blocks are still being written.
                    strain = strain_of(played, chain, rate, reader.format.frames)
                    faults = [
                        f"Fault: {fault.sentence}" for fault in faults_of(played.knob.circuit)
                    ]
            report = _report(played, chain, reader, meters, strain, writer.overs)
    absent = sorted(set(only) - set(needed(stage)))
    remarks = [f"'{stage.name}' has no {name}, so there was none to render" for name in absent]
    return replace(report, remarks=(*faults, *report.remarks, *remarks))


def _levelled(
    chain: Chain, reader: AudioReader, factor: float, progress: Progress | None
) -> Iterator[Array]:
    done = 0
    for block in chain.process(ahead(reader.blocks(BLOCK_FRAMES))):
        yield block if factor == 1.0 else block * factor
        done += block.shape[0]
        if progress is not None:
            progress(done, reader.format.frames)


def _factor(played: Played, chain: Chain, reader: AudioReader, level_by: LevelBy) -> float:
    """What the chain's samples are multiplied by; they are levelled by gain as they come."""
    if level_by == "gain":
        return 1.0
    if level_by == "nothing":
        return chain.unit_v / played.full_scale_v
    reader.keep()
    before = LoudnessMeter(reader.format.rate_hz, reader.format.channels)
    after = LoudnessMeter(reader.format.rate_hz, reader.format.channels)
    for block in reader.blocks():
        before.add(block)
    for block in chain.process(reader.blocks()):
        after.add(block)
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


def _report(
    played: Played,
    chain: Chain,
    reader: AudioReader,
    meters: tuple[LoudnessMeter, TruePeakMeter],
    strain: Strain | None,
    overs: int,
) -> RenderReport:
    rate, channels = reader.format.rate_hz, reader.format.channels
    loudness, true_peak = meters
    frames = loudness.frames
    none = (0,) * channels
    remarks = [played.knob.remark] if played.knob.remark else []
    if overs:
        remarks.append(f"{overs} samples went over full scale and were clipped; use --bits float")
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
        remarks=tuple(remarks),
    )


def strain_of(played: Played, chain: Chain, rate_hz: int, frames: int) -> Strain | None:
    """How hard a chain drove the amplifier's output so far.

    Parameters
    ----------
    played : Played
        The stage that the chain was made of.
    chain : Chain
        Its effects, at least up to the amplifier's limits.
    rate_hz : int
        Sampling rate.
    frames : int
        Frames of music played.

    Returns
    -------
    Strain or None
        None where there is no amplifier.

    Examples
    --------
    >>> from stagefx.io.files import open_audio
    >>> from stagefx.samples import samples_folder
    >>> from stagefx.circuit.description.files import load_stage
    >>> with open_audio(samples_folder() / "music" / "trio.flac") as music:
    ...     played = prepare(load_stage("line-stage"), music)
    >>> with played.chain(44100, 2) as chain:
    ...     f"{strain_of(played, chain, 44100, 0).slew_available_v_per_us:g} V/us"
    '9 V/us'
    """
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
