"""The ear model of ITU-R BS.1387 written out as its equations stand: slow, plain, no tables.

Then the decision on its excitations, and the room, likewise.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
RATE_HZ, N, HOP, DZ = 48000, 2048, 1024, 0.25


def bark(f: float) -> float:
    return 7.0 * math.asinh(f / 650.0)


def from_bark(z: float) -> float:
    return 650.0 * math.sinh(z / 7.0)


COUNT = math.ceil((bark(18000.0) - bark(80.0)) / DZ)
EDGES = [from_bark(min(bark(80.0) + k * DZ, bark(18000.0))) for k in range(COUNT + 1)]
CENTRES = [from_bark((bark(low) + bark(high)) / 2.0) for low, high in itertools.pairwise(EDGES)]


def spectra(x: Array, full_scale_spl_db: float) -> list[Array]:
    """Magnitudes after the outer and middle ear, one row for each frame."""
    window = [0.5 * (1.0 - math.cos(2.0 * math.pi * n / (N - 1))) for n in range(N)]
    bins_away = abs(1019.5 / RATE_HZ - round(1019.5 / RATE_HZ * N) / N) * (N - 1)
    g = math.sin(math.pi * bins_away) / (math.pi * bins_away * (1.0 - bins_away**2))
    scale = 10.0 ** (full_scale_spl_db / 20.0) / (g * 0.25 * (N - 1))
    f = np.arange(N // 2 + 1) * RATE_HZ / N / 1000.0
    with np.errstate(divide="ignore"):
        weight_db = -0.6 * 3.64 * f**-0.8 + 6.5 * np.exp(-0.6 * (f - 3.3) ** 2) - 1e-3 * f**3.6
    found = []
    for start in range(0, len(x) - N + 1, HOP):
        frame = scale * np.array(window) * x[start : start + N]
        found.append(np.abs(np.fft.rfft(frame)) * 10.0 ** (weight_db / 20.0))
    return found


def grouped(power: Array) -> Array:
    """Lines added to bands, those across an edge by their share."""
    df = RATE_HZ / N
    k = np.arange(N // 2 + 1)
    energy = np.zeros(COUNT)
    for i in range(COUNT):
        top = np.minimum(EDGES[i + 1], (2 * k + 1) / 2 * df)
        bottom = np.maximum(EDGES[i], (2 * k - 1) / 2 * df)
        energy[i] = (np.maximum(0.0, top - bottom) / df * power).sum()
    return energy


def reach_of(masker: int, level_db: float) -> Array:
    """What a masker of energy 1 and some level sends to every band."""
    apart = (np.arange(COUNT) - masker) * DZ
    upper_db = apart * (-24.0 - 230.0 / CENTRES[masker] + 0.2 * level_db)
    return np.asarray(10.0 ** (np.where(apart <= 0, 27.0 * apart, upper_db) / 10.0))


def added(energy: Array) -> Array:
    """The sum over maskers, each normalised, to the power 0.4; no recursion."""
    total = np.zeros(COUNT)
    for masker, level_db in enumerate(10.0 * np.log10(energy)):
        reach = reach_of(masker, level_db)
        total += (energy[masker] * reach / reach.sum()) ** 0.4
    return np.asarray(total ** (1.0 / 0.4))


def spread(energy: Array) -> Array:
    """Excitation of all bands together, 1 where every band has energy 1."""
    return added(energy) / added(np.ones(COUNT))


def excitations(x: Array, full_scale_spl_db: float, room: Array | float = 0.0) -> Array:
    """Excitation, energy re 0 dB SPL, of every frame in every band; a room's energy is added."""
    centres = np.array(CENTRES)
    noise = 10.0 ** (0.4 * 0.364 * (centres / 1000.0) ** -0.8)
    tau = 0.008 + 100.0 / centres * (0.030 - 0.008)
    a = np.exp(-1.0 / (RATE_HZ / HOP * tau))
    before = np.zeros(COUNT)
    rows = []
    for magnitudes in spectra(x, full_scale_spl_db):
        now = spread(np.maximum(grouped(magnitudes**2), 1e-12) + noise + room)
        before = a * before + (1.0 - a) * now
        rows.append(np.maximum(before, now))
    return np.array(rows)


def step_db(level: float) -> float:
    """The just-noticeable step at a level."""
    if level <= 0.0:
        return 1e30
    return (
        5.95072 * (6.39468 / level) ** 1.71332
        + 9.01033e-11 * level**4
        + 5.05622e-6 * level**3
        - 0.00102438 * level**2
        + 0.0550197 * level
        - 0.198719
    )


def probabilities(reference: list[Array], tested: list[Array]) -> Array:
    """Probability of detection in every frame, all bands and channels (excitations) together."""
    frames = len(reference[0])
    found = np.zeros(frames)
    for n in range(frames):
        missed = 1.0
        for k in range(COUNT):
            most = 0.0
            for ref, test in zip(reference, tested, strict=True):
                r, t = 10.0 * math.log10(ref[n, k]), 10.0 * math.log10(test[n, k])
                level, power = (0.3 * r + 0.7 * t, 4.0) if r > t else (t, 6.0)
                most = max(most, 1.0 - 0.5 ** (abs((r - t) / step_db(level)) ** power))
            missed *= 1.0 - most
        found[n] = 1.0 - missed
    return found


def detection(first: Array, second: Array, full_scale_spl_db: float) -> float:
    """The highest smoothed probability, mean of both orders."""
    ears = [
        [excitations(channel, full_scale_spl_db) for channel in version.T]
        for version in (first, second)
    ]
    highest = []
    for reference, tested in (ears, ears[::-1]):
        smoothed, peak = 0.0, 0.0
        for p in probabilities(reference, tested):
            smoothed = 0.9 * smoothed + 0.1 * p
            peak = max(peak, smoothed)
        highest.append(peak)
    return sum(highest) / 2.0


def noise_to_mask(music: Array, noises: list[Array], full_scale_spl_db: float) -> Array:
    """Noise over mask in every frame and band of one channel, noise spectra given."""
    offset = np.array([3.0 if k * DZ <= 12.0 else 0.25 * k * DZ for k in range(COUNT)])
    mask = excitations(music, full_scale_spl_db) / 10.0 ** (offset / 10.0)
    return np.array([grouped(noise) for noise in noises]) / mask


def difference_noise(first: Array, second: Array, full_scale_spl_db: float) -> list[Array]:
    """Squared difference of weighted magnitudes, frame by frame."""
    pairs = zip(spectra(first, full_scale_spl_db), spectra(second, full_scale_spl_db), strict=True)
    return [(one - other) ** 2 for one, other in pairs]


def outer_ear_power(f_khz: Array) -> Array:
    """The outer and middle ear's weight of energy."""
    db = -0.6 * 3.64 * f_khz**-0.8 + 6.5 * np.exp(-0.6 * (f_khz - 3.3) ** 2) - 1e-3 * f_khz**3.6
    return np.asarray(10.0 ** (db / 10.0))


def energy_of_noise(third_octave_db: Array) -> Array:
    """Energy in every band of noise given in a third octave about each line of the spectrum.

    White noise of the power of a sine has 1.5 times the energy of that sine's highest line, the
    sine lying on it; the standard's calibration sine does not.
    """
    f = np.arange(N // 2 + 1) * RATE_HZ / N
    f[0] = f[1] / 1e3  # in no band
    bins_away = abs(1019.5 / RATE_HZ - round(1019.5 / RATE_HZ * N) / N) * (N - 1)
    g = math.sin(math.pi * bins_away) / (math.pi * bins_away * (1.0 - bins_away**2))
    lines = f * (10**0.05 - 10**-0.05) / (RATE_HZ / N)
    power = 10.0 ** (third_octave_db / 10.0) / lines * 1.5 / g**2
    return grouped(power * outer_ear_power(f / 1000.0))


def calibrated(
    first: list[Array],
    second: list[Array],
    new_noise: Array,
    d_prime_per_db: float,
    integration_s: float,
    loudness_s: float,
) -> float:
    """The highest probability of two intervals, corrected for guessing, from excitations."""
    highest, mean = 0.0, 0.0
    averaged = np.zeros((len(first), COUNT))
    stays = math.exp(-HOP / RATE_HZ / loudness_s)
    for n in range(len(first[0])):
        total = 0.0
        for k in range(COUNT):
            most = 0.0
            for ear, (one, other) in enumerate(zip(first, second, strict=True)):
                step = 1.0 + new_noise[k] / (one[n, k] * other[n, k]) ** 0.5
                now = 10.0 * math.log10(one[n, k] / other[n, k]) / step
                averaged[ear, k] = stays * averaged[ear, k] + (1.0 - stays) * now
                most = max(most, abs(averaged[ear, k]))
            total += most**8
        kept = math.exp(-HOP / RATE_HZ / integration_s)
        mean = kept * mean + (1.0 - kept) * (d_prime_per_db * total**0.125) ** 2
        phi = 0.5 * (1.0 + math.erf(math.sqrt(mean) / math.sqrt(2.0) / math.sqrt(2.0)))
        highest = max(highest, 2.0 * phi - 1.0)
    return highest
