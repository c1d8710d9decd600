"""Recordings of real stages compared: with faults of the instrument first, and a floor for all."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from stagefx.align.alignment import SEARCH_S
from stagefx.difference.captured.gap_noise import GapNoise, gap_noise
from stagefx.difference.captured.instrument_faults import CaptureFault, capture_faults
from stagefx.difference.decomposition import Difference, take_apart
from stagefx.difference.linear.phase import DelayFound
from stagefx.difference.residual.classification import _plain
from stagefx.io.recording import Recording

AGAINST_REPEAT, LOOPBACK = "A against a repeat of A", "the loopback"


@dataclass(frozen=True)
class CaptureFloor:
    """What the instrument alone makes of nothing: a floor for each kind of difference."""

    basis: str
    level_db: float | None
    balance_db: float | None
    hz: tuple[float, ...]
    bands_db: tuple[float | None, ...]
    group_delay_s: float | None
    interchannel_delay_s: float | None
    remainder_db: float | None
    noise_dbfs: tuple[float | None, ...]

    def as_json(self) -> dict[str, Any]:
        """The floor as plain values."""
        remainder = self.remainder_db
        return {
            "basis": self.basis,
            "level_db": self.level_db,
            "balance_db": self.balance_db,
            "bands": [{"hz": hz, "db": db} for hz, db in zip(self.hz, self.bands_db, strict=True)],
            "group_delay_s": self.group_delay_s,
            "interchannel_delay_s": self.interchannel_delay_s,
            "remainder_db": None if remainder is None else _plain(remainder),
            "noise": [
                {"hz": hz, "dbfs": None if level is None else _plain(level)}
                for hz, level in zip(self.hz, self.noise_dbfs, strict=True)
            ],
        }


@dataclass(frozen=True)
class Captured:
    """Two recordings taken apart, with what their instrument does."""

    faults: tuple[CaptureFault, ...]
    difference: Difference
    floor: CaptureFloor | None
    gap: GapNoise
    between: Difference | None = None

    def as_json(self) -> dict[str, Any]:
        """Faults, floor and noise as plain values."""
        return {
            "faults": [fault.as_json() for fault in self.faults],
            "floor": self.floor.as_json() if self.floor else None,
            "gap_noise": self.gap.as_json(),
        }


def take_apart_captured(
    first: Recording,
    second: Recording,
    *,
    repeat: Recording | None = None,
    loopback: Recording | None = None,
    start: int = 0,
    stop: int | None = None,
    search_s: float = SEARCH_S,
) -> Captured:
    """Take the difference of two recordings apart, and look at the instrument first.

    The floor is what the repeat differs by from the first, else what the loopback does; never less
    than what chance and dither leave unsure.
    """
    where = {"start": start, "stop": stop}
    difference = take_apart(first, second, **where, search_s=search_s)  # type: ignore[arg-type]
    faults = list(capture_faults(first, second, difference))
    gap = gap_noise(first, second, difference)
    floor: CaptureFloor | None = None
    calm: Difference | None = None
    for other, which, basis in (
        (repeat, "repeat", AGAINST_REPEAT),
        (loopback, "loopback", LOOPBACK),
    ):
        if other is None:
            continue
        between = take_apart(first, other, **where, search_s=search_s)  # type: ignore[arg-type]
        silence = gap_noise(first, other, between)
        faults += [
            fault
            for fault in capture_faults(first, other, between, which=which)
            if fault.which == which
        ]
        if which == "loopback" or loopback is None:
            faults += _hum(silence, which)
        if floor is None:
            floor, calm = _floor(between, silence, basis), between
    if loopback is None and repeat is None:
        faults += _hum(gap, "second")
    return Captured(tuple(faults), difference, floor, gap, calm)


def _hum(gap: GapNoise, which: str) -> list[CaptureFault]:
    """Lines of the mains that a recording has and what was played has not."""
    if gap.first is None or gap.second is None or gap.second.mains_hz is None:
        return []
    played = {line.hz: line.dbfs for line in gap.first.hum}
    added = [
        line
        for line in gap.second.hum
        if which != "second" or line.dbfs > played.get(line.hz, -400.0) + 6.0
    ]
    if not added:
        return []
    loudest = max(added, key=lambda line: line.dbfs)
    whose = "the instrument's own" if which == "loopback" else "the instrument's or the stage's"
    return [
        CaptureFault(
            "mains-hum",
            f"the {which} recording hums: {loudest.hz:g} Hz at {loudest.dbfs:.0f} dBFS, {whose}; "
            "part the earth loop with a transformer or a battery, and never lift the mains earth",
            which,
        )
    ]


def _floor(between: Difference, silence: GapNoise, basis: str) -> CaptureFloor:
    change = between.loudness.difference_db
    level = abs(between.alignment.gain_db if change is None else change)
    balance = between.balance_db
    bands = between.response.bands
    noise = silence.second
    return CaptureFloor(
        basis=basis,
        level_db=max(level, between.floor_db),
        balance_db=None if balance is None else max(abs(balance), 2.0 * between.floor_db),
        hz=tuple(band.hz for band in bands),
        bands_db=tuple(
            None if band.db is None else max(abs(band.db), band.floor_db or 0.0) for band in bands
        ),
        group_delay_s=_larger(between.group_delay),
        interchannel_delay_s=_larger(between.interchannel_delay),
        remainder_db=between.remainder_db,
        noise_dbfs=noise.bands_dbfs if noise else (None,) * len(bands),
    )


def _larger(found: DelayFound | None) -> float | None:
    if found is None or found.value_s is None:
        return None
    return max(abs(found.value_s), found.floor_s or 0.0)
