"""From short frames of two versions and of what is left between them to an excess over masking.

Index meanings
--------------
``curves`` : window, and three rows under it: level, slope, bend, orthonormal under the window.
``lines`` : row 0 the ear's weight of each line's power, sound pressure included.
``bands`` : a column for each band, evenly spaced along the ear; the rows are named below.
``levels`` : natural logarithm of the energy that a frame's sound spreads to in each band.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from stagefx.kernels._jit import jit

Array = NDArray[np.float64]

# Rows of ``bands``.
FIRST_LINE, LAST_LINE, FIRST_SHARE, LAST_SHARE = 0, 1, 2, 3
UPPER_SLOPE = 4
"""Natural logarithm of the upper slope from one band to the next, for energy 1."""
OFFSET = 5
"""How far under the sound a noise is masked, as a natural logarithm of energy."""
HIDDEN = 6
"""Energy below which nothing is heard in a frame: threshold in quiet, and the room."""
TABLE_ROWS = 7

LEAST_ENERGY = 1e-9
LEVEL_STEP = 0.2 * 0.5
"""The upper slope's exponent of energy, from one band to the next: bands are half a Bark wide."""
FLATTEST = -0.1 * 0.5 * math.log(10.0)
"""No upper slope is flatter than 1 dB a Bark."""


@jit
def cut_frames(samples: Array, hop: int, curves: Array, frames: Array) -> int:
    """Frames under their window, each with its level, its slope and its bend taken away."""
    window, level, slope, bend = curves[0], curves[1], curves[2], curves[3]
    for n in range(len(frames)):
        seen = samples[n * hop : n * hop + window.size]
        a0, a1, b0, b1, c0, c1 = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
        for k in range(0, window.size - 1, 2):
            a0 += seen[k] * level[k]
            a1 += seen[k + 1] * level[k + 1]
            b0 += seen[k] * slope[k]
            b1 += seen[k + 1] * slope[k + 1]
            c0 += seen[k] * bend[k]
            c1 += seen[k + 1] * bend[k + 1]
        lift, lean, bow = a0 + a1, b0 + b1, c0 + c1
        row = frames[n]
        for k in range(window.size):
            row[k] = seen[k] * window[k] - (lift * level[k] + lean * slope[k] + bow * bend[k])
    return len(frames)


@jit
def _group(powers: Array, bands: Array, energy: Array) -> int:
    """Add lines up to bands; a line across an edge is shared."""
    for m in range(energy.size):
        first, last = int(bands[FIRST_LINE, m]), int(bands[LAST_LINE, m])
        total = bands[FIRST_SHARE, m] * powers[first]
        for k in range(first + 1, last):
            total += powers[k]
        if last > first:
            total += bands[LAST_SHARE, m] * powers[last]
        energy[m] = total
    return energy.size


@jit
def _weigh(spectrum: Array, weight: Array, powers: Array) -> int:
    for k in range(weight.size):
        re, im = spectrum[2 * k], spectrum[2 * k + 1]
        powers[k] = weight[k] * (re * re + im * im)
    return weight.size


@jit
def band_energies(
    spectra: Array, lines: Array, bands: Array, powers: Array, energies: Array, least: int
) -> int:
    """Weighted energy in each band; where the least is wanted, no more than was there before."""
    for n in range(len(spectra)):
        _weigh(spectra[n], lines[0], powers[0])
        row = powers[1, : bands.shape[1]]
        _group(powers[0], bands, row)
        for m in range(row.size):
            energies[n, m] = min(energies[n, m], row[m]) if least else row[m]
    return len(spectra)


@jit
def difference_of(first: Array, second: Array, gain: float, apart: Array) -> int:
    """Set ``apart`` to the second less gain times the first, spectrum by spectrum."""
    for n in range(len(first)):
        for k in range(first.shape[1]):
            apart[n, k] = second[n, k] - gain * first[n, k]
    return len(first)


@jit
def spread_levels(
    energies: Array, wanted: Array, bands: Array, lower: float, work: Array, levels: Array
) -> int:
    """How the sound of each frame that is wanted spreads along the ear."""
    count, done = bands.shape[1], 0
    part, step, reached = work[0], work[1], work[2]
    for n in range(len(energies)):
        if wanted[n] != 1.0:
            continue
        wanted[n] = 2.0
        done += 1
        for m in range(count):
            part[m] = max(energies[n, m], LEAST_ENERGY)
        for m in range(count):
            step[m] = math.log(part[m])
        for m in range(count):
            step[m] = min(bands[UPPER_SLOPE, m] + LEVEL_STEP * step[m], FLATTEST)
        for m in range(count):
            step[m] = math.exp(step[m])
        reached[count - 1] = part[count - 1]
        for m in range(count - 2, -1, -1):
            reached[m] = lower * reached[m + 1] + part[m]
        for reach in range(1, count):
            higher = reached[reach:]
            for m in range(higher.size):
                part[m] *= step[m]
                higher[m] += part[m]
        for m in range(count):
            levels[n, m] = math.log(reached[m])
    return done


@jit
def hide_at_least(energies: Array, bands: Array, lower: float, masked: Array) -> int:
    """What stays hidden in each frame at the very least, without any logarithm.

    A frame's own sound and the one before it, in the band itself and from both sides.
    """
    count = masked.shape[1]
    for m in range(count):
        below, above = max(m - 1, 0), min(m + 1, count - 1)
        rising = math.exp(bands[UPPER_SLOPE, below]) if m else 0.0
        falling = lower if m < count - 1 else 0.0
        share = math.exp(-bands[OFFSET, m])
        before = 0.0
        for n in range(len(masked)):
            now = energies[n, m] + rising * energies[n, below] + falling * energies[n, above]
            masked[n, m] = share * max(now, before) + bands[HIDDEN, m]
            before = now
    return len(masked)


@jit
def hide(
    levels: Array, wanted: Array, after: Array, before: Array, bands: Array, masked: Array
) -> int:
    """Energy that stays hidden in each wanted frame, by what sounds in it, before and after it.

    A level fades in proportion to itself: ``fade[j] × level`` remains j frames on.
    """
    earlier, done = after.size - 1, 0
    for n in range(len(masked)):
        if wanted[n] == 0.0:
            continue
        done += 1
        row = masked[n]
        now = levels[n + earlier]
        for m in range(row.size):
            row[m] = now[m]
        for j in range(1, after.size):
            kept, then = after[j], levels[n + earlier - j]
            for m in range(row.size):
                left = kept * then[m]
                row[m] = left if left > row[m] else row[m]  # noqa: FURB136 - so it vectorises
        for j in range(1, before.size):
            kept, then = before[j], levels[n + earlier + j]
            for m in range(row.size):
                left = kept * then[m]
                row[m] = left if left > row[m] else row[m]  # noqa: FURB136 - so it vectorises
        for m in range(row.size):
            row[m] = math.exp(row[m] - bands[OFFSET, m]) + bands[HIDDEN, m]
    return done


@jit
def _smooth(ratio: Array, m: int) -> float:
    """Mean over a critical band: the band itself and its neighbours."""
    below, above = max(m - 1, 0), min(m + 1, ratio.size - 1)
    return float(ratio[below] + ratio[m] + ratio[above]) / 3.0


@jit
def exceed(
    energies: Array, masked: Array, steady: Array, width: float, work: Array, excess: Array
) -> int:
    """By how much each frame's energy exceeds what is hidden, all bands together.

    ``excess = sqrt(width Σ r²)``, r the ratio of energies over a critical band
    """
    for n in range(len(energies)):
        for m in range(work.size):
            hidden = masked[n, m]
            hidden += max(steady[0, m], steady[1, m] * hidden)
            work[m] = energies[n, m] / hidden
        total, most, band = 0.0, -1.0, 0
        for m in range(work.size):
            ratio = _smooth(work, m)
            total += ratio * ratio
            if ratio > most:
                most, band = ratio, m
        excess[0, n] = math.sqrt(width * total)
        excess[1, n] = band
    return len(energies)


@jit
def _sort(values: Array) -> int:
    """In place; for a few."""
    for i in range(1, values.size):
        value = values[i]
        j = i
        while j > 0 and values[j - 1] > value:
            values[j] = values[j - 1]
            j -= 1
        values[j] = value
    return values.size


@jit
def usual(energies: Array, masked: Array, means: Array, usually: Array) -> int:
    """What is there most of the time, of the energies and of their ratio to what is masked."""
    length = len(energies) // means.size
    for m in range(usually.shape[1]):
        for kind in range(2):
            for part in range(means.size):
                total = 0.0
                for n in range(part * length, (part + 1) * length):
                    total += energies[n, m] / masked[n, m] if kind else energies[n, m]
                means[part] = total / length
            _sort(means)
            usually[kind, m] = means[means.size // 2]
    return length


@jit
def medians(rows: Array, work: Array, middle: Array) -> int:
    """The median of each column; the upper of two for an even number of rows."""
    for m in range(middle.size):
        for i in range(work.size):
            work[i] = rows[i, m]
        _sort(work)
        middle[m] = work[work.size // 2]
    return work.size


@jit
def filter_short(samples: Array, taps: Array, filtered: Array) -> int:
    """filtered[n] = Σ taps[k] samples[n + taps - 1 - k], samples reaching over both ends."""
    count = taps.size
    for n in range(filtered.size):
        filtered[n] = 0.0
    for k in range(count):
        tap = taps[k]
        if tap != 0.0:
            seen = samples[count - 1 - k : count - 1 - k + filtered.size]
            for n in range(filtered.size):
                filtered[n] += tap * seen[n]
    return filtered.size
