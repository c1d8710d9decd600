"""Which stretches of a piece say most about time."""

from __future__ import annotations

import itertools

import numpy as np

from stagefx.io.recording import Recording

MOST_PASSAGES = 8
PASSAGE_S = 3.0
MOST_SAMPLES = 1 << 22
"""All passages together hold no more, so that memory stays bounded at any rate."""
_PROBES = 64
_PROBE_FRAMES = 8192


def informative_passages(
    recording: Recording, start: int, stop: int, *, most: int = MOST_PASSAGES
) -> list[tuple[int, int]]:
    """The stretches of a piece with most movement in them.

    Ranked by the power of the difference between neighbouring frames, which steady pressure does
    not add to and high frequencies add most to.  A short piece is taken whole; of a long one 64
    probes are read, or all of it where those were silent.
    """
    rate_hz, channels = recording.format.rate_hz, recording.format.channels
    length = min(round(PASSAGE_S * rate_hz), MOST_SAMPLES // (most * channels))
    count = max(-(-(stop - start) // length), 1)
    if count <= most:
        edges = np.linspace(start, stop, count + 1).round().astype(int).tolist()
        slots = list(itertools.pairwise(edges))
        ranked = _ranked(recording, slots, length)
    else:
        slots = [(first, first + length) for first in range(start, stop - length + 1, length)]
        step = -(-len(slots) // _PROBES)
        ranked = _ranked(recording, slots[::step], _PROBE_FRAMES)
        ranked = ranked or _ranked(recording, slots, length)
    return sorted(slot for _, slot in ranked[:most])


def _ranked(
    recording: Recording, slots: list[tuple[int, int]], probe_frames: int
) -> list[tuple[float, tuple[int, int]]]:
    """Slots that are not silent, the liveliest first."""
    found = []
    for first, stop in slots:
        probe = recording.read(first, min(first + probe_frames, stop))
        movement = float(np.square(np.diff(probe, axis=0)).sum())
        if movement > 0.0:
            found.append((movement, (first, stop)))
    return sorted(found, reverse=True)
