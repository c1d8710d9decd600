"""Dropped samples: places where the delay between two pieces changes at once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from stagefx.align.path_fit import Delays
from stagefx.align.time_path import Jump, TimePath
from stagefx.align.warp import read_along
from stagefx.io.recording import ForwardWindow, Recording

Array = NDArray[np.float64]

_LEAST_FRAMES = 0.6
_FAR_OFF = 6.0
"""Standard deviations by which a jump stands out."""
_NEIGHBOURS = 8
_MOST_JUMPS = 64
_UNSURE_TIMES = 30.0
"""Places count as possible that cost no more than as many frames' usual error."""
_ROUNDING = 1e-12
"""Of the sums: places that differ by less are as good."""
_GAIN_ROUNDS = 3
"""The gain is only right once the place is."""
_TOUCHING_FRAMES = 64
_LONGEST_S = 30.0
_LEAST_STRETCH = 256


def find_jumps(delays: Delays) -> list[Jump]:
    """Find where measured delays change by a frame or more, too fast for a clock.

    The change from one window to the next but one, less the usual change there: the window
    between may hold the jump.
    """
    found: list[Jump] = []
    frames = delays.frames.copy()
    for _ in range(_MOST_JUMPS):
        steps = np.diff(frames)
        unusual = steps - _usual(delays.at, steps)
        scatter = 1.4826 * float(np.median(np.abs(unusual)))
        pairs = unusual[:-1] + unusual[1:]
        least = max(_LEAST_FRAMES, _FAR_OFF * scatter)
        single, double = _largest(unusual), _largest(pairs)
        if abs(unusual[single]) >= 0.8 * abs(pairs[double]):
            size, before, after = unusual[single], single, single + 1
        else:
            size, before, after = pairs[double], double, double + 2
        if abs(size) < least:
            break
        whole = float(round(size))
        frame = round((delays.at[before] + delays.at[after]) / 2.0)
        found.append(Jump(frame, whole))
        if after - before == 2:
            # The window between holds both sides: it takes the side it is nearer to.
            frames[before + 1] = _between(frames, delays.at, before, whole)
        frames[after:] -= whole
    return sorted(found, key=lambda jump: jump.frame)


def _largest(values: Array) -> int:
    return int(np.argmax(np.abs(values)))


def _between(frames: Array, at: Array, before: int, jump: float) -> float:
    share = (at[before + 1] - at[before]) / (at[before + 2] - at[before])
    after = frames[before + 2] - jump
    return float(frames[before] + share * (after - frames[before]))


def _usual(at: Array, steps: Array) -> Array:
    """The change from window to window as it is round about."""
    per_frame = steps / np.diff(at)
    usual = [
        np.median(per_frame[max(i - _NEIGHBOURS, 0) : i + _NEIGHBOURS + 1])
        for i in range(len(steps))
    ]
    return np.array(usual) * np.diff(at)


def placed(first: Recording, second: Recording, path: TimePath, at: Array) -> TimePath:
    """Each jump put where it really lies.

    ``cost(k) = Σ_{n<k} (y_before[n] - g x[n])² + Σ_{n≥k} (y_after[n] - g x[n])²``, least
    """
    jumps: list[Jump] = []
    carried = 0.0
    for number, known in enumerate(path.jumps):
        jump = replace(known, frames=known.frames + carried)
        carried = 0.0
        earlier = tuple(jumps)
        later = path.jumps[number + 1 :]
        side = int(np.searchsorted(at, jump.frame))
        more = max(jump.frames, 0.0)  # what was played twice fits on either side of the jump
        low, high = at[max(side - 2, 0)] - more, at[min(side + 1, len(at) - 1)] + more
        low = max(low, jumps[-1].frame if jumps else low)
        high = min(high, later[0].frame if later else high)
        before = replace(path, jumps=earlier)
        reach = _LONGEST_S * first.format.rate_hz
        start = round(max(low, jump.frame - reach))
        stop = round(min(high, jump.frame + reach))
        after = replace(path, jumps=(*earlier, Jump(start, jump.frames)))
        dropped = max(round(-jump.frames), 0)
        if stop - start < dropped + _LEAST_STRETCH:
            continue
        found = _place(first, second, (before, after), (start, stop), dropped)
        if found is None:
            carried = jump.frames  # what lies beyond is as late as before: by the next jump then
        else:
            jumps.append(replace(jump, frame=found[0], unsure_frames=found[1]))
    return replace(path, jumps=_touching_joined(jumps))


def _touching_joined(jumps: list[Jump]) -> tuple[Jump, ...]:
    """Cuts with nothing between them are one cut: what repeats itself may hide its middle."""
    joined: list[Jump] = []
    for jump in jumps:
        last = joined[-1] if joined else None
        if (
            last is not None
            and max(last.frames, jump.frames) < 0.0
            and jump.frame + jump.frames <= last.frame + _TOUCHING_FRAMES
        ):
            joined[-1] = replace(jump, frames=last.frames + jump.frames)
        else:
            joined.append(jump)
    return tuple(joined)


def _place(
    first: Recording,
    second: Recording,
    paths: tuple[TimePath, TimePath],
    stretch: tuple[int, int],
    dropped: int,
) -> tuple[int, int] | None:
    """The first frame after a jump, and how far to either side it may lie."""
    start, stop = stretch
    x = np.diff(ForwardWindow(first).stretch(start, stop), axis=0)
    before, after = (
        np.diff(read_along(ForwardWindow(second), path, start, stop), axis=0) for path in paths
    )
    if not x.any():
        return None
    best, after_it, gain = len(x) // 4, len(x) - len(x) // 4, 0.0  # the ends are sure
    for _ in range(_GAIN_ROUNDS):
        sides = (x[:best], before[:best]), (x[after_it:], after[after_it:])
        power = sum(float(np.square(one).sum()) for one, _ in sides)
        if power == 0.0:
            return None
        gain = sum(float((one * other).sum()) for one, other in sides) / power
        early, late = (np.square(y - gain * x).sum(axis=1) for y in (before, after))
        # What was dropped is in neither: frames just before the earlier side ends are passed by.
        early_to, late_to = (np.concatenate([[0.0], np.cumsum(each)]) for each in (early, late))
        cost = early_to[: len(early_to) - dropped] + (late_to[-1] - late_to[dropped:])
        best = int(np.argmin(cost))
        after_it = best + dropped
    least = float(cost[best])
    if least > 0.9 * min(float(early.sum()), float(late.sum())):
        return None
    bound = least + max(_UNSURE_TIMES * least / len(early), _ROUNDING * float(cost.max()))
    possible = np.flatnonzero(cost <= bound)
    # Of samples that were played twice the first time is right: the latest place.
    chosen = int(possible[-1] if not dropped else (possible[0] + possible[-1]) // 2)
    unsure = max(int(possible[-1]) - chosen, chosen - int(possible[0]))
    # The last difference of the earlier side ends on the frame before the jump.
    return start + chosen + dropped + 1, unsure
