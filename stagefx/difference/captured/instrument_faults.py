"""What goes wrong with an instrument, looked for in a recording before anything is made of it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stagefx.align.alignment import Alignment
from stagefx.difference.decomposition import Difference
from stagefx.difference.edits import Edit
from stagefx.difference.pairs import side_by_side
from stagefx.difference.residual.nonlinear_signal import explained_blocks
from stagefx.dsp.spectra import PairMeter, PairSpectra
from stagefx.io.recording import Recording

Array = NDArray[np.float64]

FLAT_FRAMES, FLAT_TOPS = 4, 3
"""So many equal frames at the peak, and so many times: a converter at its end."""
_FLAT_AGAINST = 1e-3
"""Where the other version is as flat, the music was made so."""
GAIN_DRIFT_DB = 0.1
_GAIN_EXPLAINS = 0.5
"""Of the remainder, in slots: changing gain explains most of it, clipping does not."""
_GAIN_SLOT_S = 1.0
DEAD_DB = -60.0
_CLIFF_DB, _CLIFF_WIDTH, _CLIFF_BELOW = 30.0, 0.05, 0.449
"""So deep within a twentieth of the rate; a converter's own filter lies higher."""
_PULL_DOWN_PPM = 1e6 / 1001.0
CLOCK_PPM = 300.0
"""Clocks of two sound interfaces lie closer together (common practice: 100 ppm each at most)."""
_INVERTED_HZ = (50.0, 2000.0)
"""Where the sign is read: a delay of half a frame turns no phase there by more than 10 deg."""


@dataclass(frozen=True)
class CaptureFault:
    """Something wrong with a recording."""

    code: str
    sentence: str
    which: str
    at_s: float | None = None

    def as_json(self) -> dict[str, Any]:
        """The fault as plain values."""
        return dict(vars(self))


def capture_faults(
    first: Recording, second: Recording, difference: Difference, *, which: str = "second"
) -> tuple[CaptureFault, ...]:
    """Look for an instrument's faults between what was to be recorded and what was."""
    tops, spectra = _heard(first, second, difference)
    names = ("first", which)
    found = [_clipped(top, name) for top, name in zip(tops, names, strict=True)]
    found += [
        _dead_channel(spectra, which),
        _inverted_channel(spectra, which),
        _automatic_gain(first, second, difference, which),
        *_from_alignment(difference.alignment, first.format.rate_hz, which),
        *_from_edits(difference.edits, which),
        _conversion(spectra, which),
    ]
    return tuple(fault for fault in found if fault is not None)


WOW_PERCENT = 0.1
"""Weighted peak after IEC 60386; digital recorders have none (common practice)."""
_LEAST_LOST_S = 0.1


@dataclass
class _FlatTops:
    """Runs of equal frames at a version's own peak, where the other is not flat."""

    peak: float = 0.0
    runs: int = 0
    first_at: int | None = None
    spread: list[float] = field(default_factory=list)

    def add(self, own: Array, other: Array, frame: int) -> None:
        for channel in range(own.shape[1]):
            column = own[:, channel]
            top = float(np.abs(column).max(initial=0.0))
            if top > self.peak:
                self.peak, self.runs, self.first_at = top, 0, None
            if top < self.peak or top == 0.0:
                continue
            self._count(column, other[:, channel], frame)

    def _count(self, column: Array, other: Array, frame: int) -> None:
        for end in (self.peak, -self.peak):
            at_end = np.concatenate([[False], column == end, [False]])
            edges = np.flatnonzero(at_end[1:] != at_end[:-1])
            for start, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
                if stop - start < FLAT_FRAMES:
                    continue
                beside = other[start:stop]
                if np.ptp(beside) <= _FLAT_AGAINST * np.abs(beside).max(initial=0.0):
                    continue
                self.runs += 1
                if self.first_at is None:
                    self.first_at = frame + start


def _heard(
    first: Recording, second: Recording, difference: Difference
) -> tuple[tuple[_FlatTops, _FlatTops], PairSpectra]:
    """Both read as they lie, side by side."""
    made = first.format
    meter = PairMeter(made.rate_hz, made.channels, 4096)
    tops = (_FlatTops(), _FlatTops())
    frame = difference.start
    whole = _untouched(difference.alignment)
    pairs = side_by_side(first, second, whole, start=difference.start, stop=difference.stop)
    for pair in pairs:
        tops[0].add(pair.first, pair.second, frame)
        tops[1].add(pair.second, pair.first, frame)
        meter.add(pair.first, pair.second)
        frame += len(pair.first)
    return tops, meter.spectra()


def _untouched(alignment: Alignment) -> Alignment:
    """To the nearest frame, so that the second's samples are its own."""
    if alignment.path is not None:
        return alignment
    return Alignment(
        float(round(alignment.delay_frames)),
        alignment.gain_db,
        alignment.polarity,
        swapped=alignment.swapped,
    )


def _clipped(tops: _FlatTops, which: str) -> CaptureFault | None:
    if tops.runs < FLAT_TOPS:
        return None
    level = 20.0 * math.log10(tops.peak)
    return CaptureFault(
        "clipped-capture",
        f"the {which} recording clips: it stands still at {level:.1f} dBFS {tops.runs} times; "
        "turn the input down and record again",
        which,
    )


def _dead_channel(spectra: PairSpectra, which: str) -> CaptureFault | None:
    """A channel that hardly follows the first although the first sounds in it."""
    played, came = spectra.first.sum(axis=1), spectra.explained.sum(axis=1)
    if len(played) < 2 or not (played > 0.0).all():
        return None
    gains = came / played
    loudest = float(gains.max())
    for channel, gain in enumerate(gains.tolist()):
        if gain <= loudest * 10.0 ** (DEAD_DB / 10.0):
            name = ("left", "right")[channel] if len(gains) == 2 else f"number {channel + 1}"
            return CaptureFault(
                "dead-channel",
                f"the {name} channel of the {which} recording is dead: the music is not in it; "
                "look at its cable and its input",
                which,
            )
    return None


def _inverted_channel(spectra: PairSpectra, which: str) -> CaptureFault | None:
    """One channel of two whose polarity is inverted; of both, a stage may do that rightly."""
    inside = (spectra.hz >= _INVERTED_HZ[0]) & (spectra.hz <= _INVERTED_HZ[1])
    upright = spectra.cross.real[:, inside].sum(axis=1)
    size = np.abs(spectra.cross[:, inside]).sum(axis=1)
    inverted = upright < -0.5 * size
    if len(upright) != 2 or inverted.sum() != 1:
        return None
    name = ("left", "right")[int(np.argmax(inverted))]
    return CaptureFault(
        "channel-inverted",
        f"the {name} channel of the {which} recording is inverted and the other is not: look for "
        "a cable with its wires exchanged",
        which,
    )


def _from_alignment(alignment: Alignment, rate_hz: int, which: str) -> list[CaptureFault]:
    found = []
    jumps = alignment.jumps
    if jumps:
        at_s = jumps[0].frame / rate_hz
        times = "once" if len(jumps) == 1 else f"{len(jumps)} times"
        found.append(
            CaptureFault(
                "dropped-samples",
                f"the {which} recording lost or doubled samples {times}, first at {at_s:.2f} s; "
                "use longer buffers and record again",
                which,
                at_s,
            )
        )
    if alignment.swapped:
        found.append(
            CaptureFault(
                "channels-exchanged",
                f"left and right are exchanged in the {which} recording; they were put back for "
                "the comparison; exchange the cables",
                which,
            )
        )
    drift = alignment.drift_ppm
    if drift is not None and abs(abs(drift) - _PULL_DOWN_PPM) < 2.0:
        found.append(
            CaptureFault(
                "rate-conversion",
                f"the {which} recording runs off by 1000 to 1001, as video equipment makes it: "
                "its sampling rate was converted, or named wrongly",
                which,
            )
        )
    elif drift is not None and abs(drift) > CLOCK_PPM:
        found.append(
            CaptureFault(
                "clock-off",
                f"the {which} recording runs {abs(drift) * 1e-4:.2g} % "
                f"{'fast' if drift > 0.0 else 'slow'}, more than two clocks differ: its sampling "
                "rate was named wrongly, or a tape or a player ran off; corrected for the "
                "comparison",
                which,
            )
        )
    return found


def _from_edits(edits: tuple[Edit, ...], which: str) -> list[CaptureFault]:
    """Sound missing at either end, and a speed that wavers."""
    found = []
    for edit in edits:
        if edit.kind.startswith("missing") and not edit.silent and edit.length_s > _LEAST_LOST_S:
            found.append(
                CaptureFault(
                    "incomplete-recording",
                    f"the {which} recording lacks {edit.length_s:.2g} s of music at the "
                    f"{edit.kind.rpartition(' ')[2]}; start it earlier and stop it later",
                    which,
                    edit.at_s,
                )
            )
        elif edit.kind == "wow" and (edit.amount or 0.0) > WOW_PERCENT:
            found.append(
                CaptureFault(
                    "unsteady-speed",
                    f"the {which} recording's speed wavers by {edit.amount:.2g} %, weighted peak: "
                    "a tape or a player, not a stage; corrected for the comparison",
                    which,
                )
            )
    return found


def _conversion(spectra: PairSpectra, which: str) -> CaptureFault | None:
    """A cliff in what comes through, far below half the rate."""
    share = spectra.hz / spectra.rate_hz
    first, second = spectra.first.sum(axis=0), spectra.second.sum(axis=0)
    lines = max(round(0.005 * spectra.segment_frames), 4)
    kernel = np.ones(lines) / lines
    first, second = np.convolve(first, kernel, "same"), np.convolve(second, kernel, "same")
    floor = first.max() * 1e-13
    if floor <= 0.0:
        return None
    ratio = 10.0 * np.log10(np.maximum(second, floor * 1e-3) / np.maximum(first, floor * 1e-3))
    width = round(_CLIFF_WIDTH * spectra.segment_frames)
    last = int(np.searchsorted(share, 0.495))
    for at in range(int(np.searchsorted(share, 0.05)), last - width):
        below, above = ratio[at], ratio[at + width]
        middle = share[at] + _CLIFF_WIDTH / 2.0
        sounding = first[at:last] > floor
        if middle < _CLIFF_BELOW and below - above > _CLIFF_DB and sounding.all():
            if float(np.max(ratio[at + width : last])) > below - _CLIFF_DB:
                continue
            edge = at + int(np.argmax(ratio[at : at + width + 1] < below - 6.0))
            return CaptureFault(
                "rate-conversion",
                f"the {which} recording ends abruptly at {spectra.hz[edge] / 1e3:.1f} kHz where "
                "the music goes on: its sampling rate was converted on the way; set all rates "
                "alike",
                which,
            )
    return None


def _automatic_gain(
    first: Recording, second: Recording, difference: Difference, which: str
) -> CaptureFault | None:
    """Slots of time whose gain differs although the music does not explain it."""
    slot = round(_GAIN_SLOT_S * first.format.rate_hz)
    rows: list[tuple[float, float, float]] = []
    waiting = np.zeros((2, 0, first.format.channels))
    for _, expected, left in explained_blocks(first, second, difference):
        waiting = np.concatenate([waiting, np.stack([expected, left])], axis=1)
        while waiting.shape[1] >= slot:
            music, rest = waiting[:, :slot]
            rows.append(
                (
                    float(np.square(music).sum()),
                    float((music * rest).sum()),
                    float(np.square(rest).sum()),
                )
            )
            waiting = waiting[:, slot:]
    if len(rows) < 4:
        return None
    power, across, left = np.array(rows).T
    sounding = power > 1e-4 * power.max()
    power, across, left = power[sounding], across[sounding], left[sounding]
    gains = across / power
    explained = float((across**2 / power).sum())
    spread = 20.0 * math.log10((1.0 + gains.max()) / max(1.0 + gains.min(), 1e-9))
    if spread < GAIN_DRIFT_DB or explained < _GAIN_EXPLAINS * float(left.sum()):
        return None
    return CaptureFault(
        "automatic-gain",
        f"the gain of the {which} recording moves by {spread:.1f} dB while the music plays: "
        "switch off automatic gain, limiters and 'enhancements'",
        which,
    )
