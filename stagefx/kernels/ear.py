"""The ear's way from a spectrum to excitation, and from two excitations to just-noticeable steps.

Index meanings
--------------
``spectra`` : a row for each time frame: real and imaginary part of each line in turn.
``lines`` : row 0 the ear's weight of each line that some band takes part of.
``bands`` : a column for each band; the rows are named below.
``memory`` : one number for each band: the smeared excitation of the frame before.
``work`` : three rows of bands to work in.
``ratios`` : [channels, 2, frames, bands]: excitation difference over just-noticeable step, with
    the first version taken as the reference, then the second; positive where the reference is
    the louder.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from stagefx.kernels._jit import jit

Array = NDArray[np.float64]

# Rows of ``bands``.
FIRST_LINE, LAST_LINE, FIRST_SHARE, LAST_SHARE = 0, 1, 2, 3
INTERNAL_NOISE = 4
"""Energy added to every band."""
UPPER_SLOPE = 5
"""Natural logarithm of the upper slope from one band to the next, for energy 1."""
LOWER_SUM = 6
"""Sum of the lower slope over the band itself and all below it."""
BANDS_ABOVE = 7
"""The band itself and all above it."""
SMEARING = 8
"""How much of the frame before is kept."""
NORMAL = 9
"""One over what the spreading adds up to for energy 1 in every band."""
TABLE_ROWS = 10

# Numbers of the standard, for bands a quarter of a Bark wide.
LOWER_STEP = 10.0 ** (-2.7 * 0.25 * 0.4)
"""The lower slope from one band to the next, to the power in which energies add up."""
LEVEL_STEP = 0.2 * 0.25
"""The upper slope's exponent of energy."""
FLATTEST = -0.1 * 0.25 * math.log(10.0)
"""No upper slope is flatter than 1 dB a Bark, which is reached near 115 dB."""
LEAST_ENERGY = 1e-12
NEGLIGIBLE = -40.0
"""Nepers below which something added to 1 is lost."""
LEAST_LEVEL_DB = 1e-6
"""At and below this no difference is noticed; the standard says 0."""
LOG_KNEE = math.log(6.39468)
NEPERS = 10.0 / math.log(10.0)
"""Decibels of energy in one neper of it."""


@jit
def weigh(spectra: Array, lines: Array, first: int, magnitudes: Array) -> int:
    """Magnitudes of spectral lines as the inner ear gets them."""
    weight = lines[0]
    for n in range(len(spectra)):
        row = spectra[n, 2 * first : 2 * (first + weight.size)]
        seen = magnitudes[n]
        for k in range(weight.size):
            re, im = row[2 * k], row[2 * k + 1]
            seen[k] = weight[k] * math.sqrt(re * re + im * im)
    return len(spectra)


@jit
def group(squares: Array, bands: Array, energy: Array) -> int:
    """Add lines up to bands; a line across an edge is shared."""
    count = bands.shape[1]
    for m in range(count):
        first, last = int(bands[FIRST_LINE, m]), int(bands[LAST_LINE, m])
        total = bands[FIRST_SHARE, m] * squares[first]
        for k in range(first + 1, last):
            total += squares[k]
        if last > first:
            total += bands[LAST_SHARE, m] * squares[last]
        energy[m] = total
    return len(energy)


@jit
def excite(
    magnitudes: Array,
    bands: Array,
    memory: Array,
    squares: Array,
    work: Array,
    excitation: Array,
    level_db: Array,
) -> int:
    """Excitation along the ear: grouped, noise added, spread over bands, smeared over time."""
    count = bands.shape[1]
    energy, part, step = work[0], work[1], work[2]
    for n in range(len(magnitudes)):
        for k in range(len(squares)):
            squares[k] = magnitudes[n, k] * magnitudes[n, k]
        group(squares, bands, energy)
        # One function to a loop: calls that wait for each other take twice as long.
        for m in range(count):
            energy[m] = math.log(max(energy[m], LEAST_ENERGY) + bands[INTERNAL_NOISE, m])
        for m in range(count):
            part[m] = min(bands[UPPER_SLOPE, m] + LEVEL_STEP * energy[m], FLATTEST)
        for m in range(count):
            step[m] = math.exp(0.2 * part[m])
        for m in range(count):
            all_above = bands[BANDS_ABOVE, m] * part[m]
            missing = math.exp(all_above) if all_above > NEGLIGIBLE else 0.0
            fifth = step[m]
            step[m] = fifth * fifth
            upper_sum = (1.0 - missing) / (1.0 - step[m] * step[m] * fifth)
            part[m] = bands[LOWER_SUM, m] + upper_sum - 1.0
        for m in range(count):
            part[m] = 0.4 * (energy[m] - math.log(part[m]))
        for m in range(count):
            part[m] = math.exp(part[m])
        # Downwards, from the top band on; then upwards, every band one step further at a time.
        energy[count - 1] = part[count - 1]
        for m in range(count - 2, -1, -1):
            energy[m] = LOWER_STEP * energy[m + 1] + part[m]
        for reach in range(1, count):
            higher = energy[reach:]
            for m in range(higher.size):
                part[m] *= step[m]
                higher[m] += part[m]
        for m in range(count):
            # to the power 1 / 0.4
            now = energy[m] * energy[m] * math.sqrt(energy[m]) * bands[NORMAL, m]
            kept = bands[SMEARING, m]
            memory[m] = kept * memory[m] + (1.0 - kept) * now
            excitation[n, m] = max(memory[m], now)
        for m in range(count):
            level_db[n, m] = NEPERS * math.log(excitation[n, m])
    return len(magnitudes)


@jit
def noise_of_difference(
    first: Array, second: Array, bands: Array, squares: Array, noise: Array
) -> int:
    """Energy in each band of the difference of two weighted magnitudes."""
    for n in range(len(first)):
        for k in range(len(squares)):
            apart = first[n, k] - second[n, k]
            squares[k] = apart * apart
        group(squares, bands, noise[n])
    return len(first)


@jit
def _step_db(level_db: float, quiet: float) -> float:
    """The just-noticeable step of excitation at a level, its part for low levels given."""
    powers = 5.05622e-6 + 9.01033e-11 * level_db
    powers = powers * level_db - 0.00102438
    powers = powers * level_db + 0.0550197
    return 5.95072 * quiet + powers * level_db - 0.198719


@jit
def steps(first_db: Array, second_db: Array, ratios: Array) -> int:
    """Excitation differences in just-noticeable steps, either version taken as the reference."""
    frames, count = first_db.shape
    for n in range(frames):
        for order in range(2):
            reference = first_db[n] if order == 0 else second_db[n]
            tested = second_db[n] if order == 0 else first_db[n]
            row = ratios[order, n]
            for m in range(count):
                level = tested[m] + 0.3 * max(reference[m] - tested[m], 0.0)
                row[m] = max(level, LEAST_LEVEL_DB)
            for m in range(count):
                row[m] = math.log(row[m])
            for m in range(count):
                row[m] = math.exp(1.71332 * (LOG_KNEE - row[m]))
            for m in range(count):
                level = tested[m] + 0.3 * max(reference[m] - tested[m], 0.0)
                apart = reference[m] - tested[m]
                row[m] = apart / _step_db(level, row[m]) if level > LEAST_LEVEL_DB else 0.0
    return len(first_db)


@jit
def differences(
    first: Array, second: Array, first_db: Array, second_db: Array, new_noise: Array, sizes: Array
) -> int:
    """Differences of level [frames, bands], second less first in decibels, less where noise is new.

    The excitations as energy and in decibels; ``new_noise`` [bands] is energy.
    """
    for n in range(len(sizes)):
        one, other, row = first[n], second[n], sizes[n]
        for m in range(row.size):
            row[m] = 1.0 + new_noise[m] / math.sqrt(one[m] * other[m])
        for m in range(row.size):
            row[m] = (second_db[n, m] - first_db[n, m]) / row[m]
    return len(sizes)


@jit
def detect(
    sizes: Array, settings: Array, state: Array, evidence: Array, heard: Array, nearest: Array
) -> int:
    """Squared sensitivity to a difference in each frame: both ears, all bands, a moment's past.

    ``sizes`` [channels, frames, bands] from `differences`; ``settings``: d'^2 of a decibel in one
    band, the newest frame's share in its leaky mean, and in that of the differences; ``state``
    [1 + channels x bands]: the mean of d'^2 so far, those of the differences.
    Overwritten: ``evidence`` [frames], d'^2 summed over bands; ``heard`` [frames], the mean;
    ``nearest`` [frames, bands], the larger of both ears.
    """
    channels, frames, count = sizes.shape
    for n in range(frames):
        row = nearest[n]
        row[:] = 0.0
        for channel in range(channels):
            first = 1 + channel * count
            for m in range(count):
                state[first + m] += settings[2] * (sizes[channel, n, m] - state[first + m])
                row[m] = max(row[m], abs(state[first + m]))
        squares = 0.0
        eighths = 0.0
        for m in range(count):
            # The eighth power: 6 to 12 fit the published thresholds alike, less adds up too much.
            square = row[m] * row[m]
            fourth = square * square
            squares += square
            eighths += fourth * fourth
        evidence[n] = settings[0] * squares
        now = settings[0] * math.sqrt(math.sqrt(eighths))
        state[0] += settings[1] * (now - state[0])
        heard[n] = state[0]
    return len(heard)


@jit
def detect_by_standard(ratios: Array, smoothed: Array, chance: Array) -> int:
    """Probability of detection as ITU-R BS.1387 has it: ears and bands as independent looks.

    ``ratios`` [channels, 2, frames, bands] from `steps`; ``smoothed`` [2], of both orders in the
    frame before, is carried on; ``chance`` [2, frames] is overwritten.
    """
    channels, _, frames, count = ratios.shape
    for order in range(2):
        for n in range(frames):
            halvings = 0.0
            for m in range(count):
                most = 0.0
                for channel in range(channels):
                    ratio = ratios[channel, order, n, m]
                    square = ratio * ratio
                    most = max(most, square * square * (1.0 if ratio > 0.0 else square))
                halvings += most
            now = -math.expm1(-math.log(2.0) * halvings)
            smoothed[order] = 0.9 * smoothed[order] + 0.1 * now
            chance[order, n] = smoothed[order]
    return len(smoothed)


@jit
def find_sound(samples: Array, hop: int, sounding: Array) -> int:
    """Mark the frames, each two hops long, in which some sample is not zero."""
    frames = len(sounding)
    found = 0
    for place in range(frames + 1):
        k = place * hop
        while k < (place + 1) * hop and samples[k] == 0.0:
            k += 1
        if k < (place + 1) * hop:
            found += 1
            sounding[max(place - 1, 0)] = 1.0
            sounding[min(place, frames - 1)] = 1.0
    return found
