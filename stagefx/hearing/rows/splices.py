"""How a cut or a repeat sounds where it was made, beside the same edit made cleanly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from stagefx.align.resample import at_rate_of
from stagefx.align.time_path import Jump, TimePath
from stagefx.align.warp import read_between, span
from stagefx.difference.decomposition import Difference
from stagefx.hearing.events.account import EventAccount
from stagefx.hearing.events.meter import excess_of
from stagefx.io.recording import ForwardWindow, Recording

Array = NDArray[np.float64]

CROSSFADE_S = 5e-3
"""As an editor makes it who wants it not to be heard (common practice)."""
_AROUND_S = 0.5
"""To either side: what masks the splice, and what is steady about it."""
_MOST_SPLICES = 16
"""Of many the first: one that is heard is enough."""


def with_splices(
    events: EventAccount,
    first: Recording,
    second: Recording,
    difference: Difference,
    *,
    full_scale_spl_db: float,
    room_dba: float | None,
) -> EventAccount:
    """The events of a comparison, and the splices that are heard among them."""
    path = difference.alignment.path
    if path is None or events.worst_db is None:
        return events
    rate_hz = first.format.rate_hz
    for jump in path.jumps[:_MOST_SPLICES]:
        if jump.unsure_frames > CROSSFADE_S * rate_hz:  # in silence, where nothing is spliced
            continue
        clean, heard = _both_ways(first, at_rate_of(first, second), difference, path, jump)
        found = excess_of(clean, heard, rate_hz, full_scale_spl_db, room_dba=room_dba)
        if found.count and found.worst_db is not None:
            # where the cut or the repeat is told to be
            at_s = (jump.frame + min(jump.frames, 0.0) - difference.start) / rate_hz
            events = _added(events, found.worst_db, at_s)
    return events


def _added(events: EventAccount, worst_db: float, at_s: float) -> EventAccount:
    assert events.worst_db is not None
    places = tuple(sorted((*events.at_s, at_s)))
    if worst_db <= events.worst_db:
        return replace(events, count=events.count + 1, at_s=places)
    return replace(
        events, count=events.count + 1, at_s=places, worst_db=worst_db, worst_s=at_s, worst_hz=None
    )


def _both_ways(
    first: Recording, second: Recording, difference: Difference, path: TimePath, jump: Jump
) -> tuple[Array, Array]:
    """The stretch about a jump on the second's scale: cleanly faded over, and as it is."""
    rate_hz, alignment = first.format.rate_hz, difference.alignment
    around = round(_AROUND_S * rate_hz)
    before, after = _delays(path, jump)
    splice = jump.frame + min(before, after)
    frames = round(splice) + np.arange(-around, around, dtype=np.float64)
    heard = ForwardWindow(second).stretch(int(frames[0]), int(frames[-1]) + 1)
    if alignment.swapped:
        heard = heard[:, ::-1]
    sides = [_played(first, path, jump, frames, delay) for delay in (before, after)]
    along = np.clip((frames - splice) / (CROSSFADE_S * rate_hz) + 0.5, 0.0, 1.0)
    share = (0.5 - 0.5 * np.cos(np.pi * along))[:, None]
    clean = (1.0 - share) * sides[0] + share * sides[1]
    return np.ascontiguousarray(alignment.gain * clean), np.ascontiguousarray(heard)


def _delays(path: TimePath, jump: Jump) -> tuple[float, float]:
    """How late the second is on either side of a jump."""
    at = np.array([float(jump.frame)])
    after = float(path.delay_at(at)[0])
    return after - jump.frames, after


def _played(first: Recording, path: TimePath, jump: Jump, frames: Array, delay: float) -> Array:
    """The first at the second's frames, by the delay of one side carried on over the jump."""
    smooth = path.smooth_delay_at(frames - delay) - path.smooth_delay_at(
        np.array([float(jump.frame)])
    )
    positions = frames - delay - smooth
    low, high = span(positions)
    return np.asarray(read_between(ForwardWindow(first).stretch(low, high), positions - low))
