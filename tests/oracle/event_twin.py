"""The event meter written out in plain numpy: every frame, every band, nothing left out."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from stagefx.hearing.ear.threshold_of_hearing import threshold_db_spl

Array = NDArray[np.float64]

LOW_HZ, HIGH_HZ, BARK = 80.0, 16000.0, 0.5
HELD = 80
"""Frames of a batch."""


def bark(hz: Array | float) -> Array:
    return np.asarray(7.0 * np.arcsinh(np.asarray(hz) / 650.0))


def weight_db(hz: Array) -> Array:
    f = hz / 1000.0
    return np.asarray(-0.6 * 3.64 * f**-0.8 + 6.5 * np.exp(-0.6 * (f - 3.3) ** 2) - 0.001 * f**3.6)


class EventTwin:
    """Tables for one rate and level, and what follows from them; no room."""

    def __init__(self, rate_hz: int, full_scale_spl_db: float) -> None:
        self.hop = round(0.0025 * rate_hz)
        self.width = 2 * self.hop
        self.transform = 2 ** math.ceil(math.log2(self.width))
        inner = np.sin(np.pi * (np.arange(self.width) + 0.5) / self.width)
        self.window = np.sin(0.5 * np.pi * inner**2)
        hz = np.arange(self.transform // 2 + 1) * rate_hz / self.transform
        count = int((bark(min(HIGH_HZ, rate_hz / 2.0)) - bark(LOW_HZ)) / BARK)
        self.edges = 650.0 * np.sinh((bark(LOW_HZ) + BARK * np.arange(count + 1)) / 7.0)
        places = bark(self.edges)
        self.centres = 650.0 * np.sinh((places[:-1] + places[1:]) / 14.0)
        half = rate_hz / self.transform / 2.0
        low, high = self.edges[:-1, None], self.edges[1:, None]
        overlap = np.minimum(high, hz + half) - np.maximum(low, hz - half)
        self.shares = np.maximum(overlap, 0.0) / (2.0 * half)
        heard = np.concatenate([[0.0], 10.0 ** (weight_db(hz[1:]) / 10.0)])
        sine = self.transform * (self.window**2).sum() / 4.0
        self.shares = self.shares * heard * 10.0 ** (full_scale_spl_db / 10.0) / sine
        place = BARK * np.arange(count)
        self.offset_db = np.where(place <= 12.0, 3.0, 0.25 * place)
        heard_db = threshold_db_spl(self.centres) + weight_db(self.centres)
        self.quiet = 10.0 ** (heard_db / 10.0) * 0.2 / (0.5 * self.width / rate_hz) / 3.0
        self.hop_s = self.hop / rate_hz

    def spectra(self, samples: Array) -> NDArray[np.complex128]:
        """Of every frame that holds a sample, its parabola taken away."""
        frames = math.ceil(len(samples) / self.hop) + 1
        padded = np.concatenate([np.zeros(self.hop), samples, np.zeros(2 * self.width)])
        late = np.linspace(-1.0, 1.0, self.width)
        shapes = np.stack([np.ones(self.width), late, late**2], axis=1)
        found = np.empty((frames, self.transform // 2 + 1), np.complex128)
        for n in range(frames):
            seen = padded[n * self.hop : n * self.hop + self.width]
            root = np.sqrt(self.window)
            fitted = np.linalg.lstsq(shapes * root[:, None], seen * root, rcond=None)[0]
            found[n] = np.fft.rfft((seen - shapes @ fitted) * self.window, self.transform)
        return found

    def energies(self, spectra: NDArray[np.complex128]) -> Array:
        return np.asarray(np.abs(spectra) ** 2 @ self.shares.T)

    def levels_db(self, energies: Array) -> Array:
        """Every band's energy spread to every other, by slopes of BS.1387."""
        energies = np.maximum(energies, 1e-9)
        upper_db = np.minimum(-24.0 - 230.0 / self.centres + 2.0 * np.log10(energies), -1.0)
        found = np.zeros_like(energies)
        for j in range(energies.shape[1]):
            for m in range(energies.shape[1]):
                slope = (
                    upper_db[:, j] * (m - j) if m >= j else np.full(len(energies), -27.0 * (j - m))
                )
                found[:, m] += energies[:, j] * 10.0 ** (0.1 * BARK * slope)
        return np.asarray(10.0 * np.log10(found))

    def masked(self, levels_db: Array) -> Array:
        """In, after and before what sounds; and what silence hides."""
        most = levels_db.copy()
        for begin_s, end_s, sign in ((0.0025, 0.2, 1), (0.001, 0.02, -1)):
            for j in range(1, math.ceil(end_s / self.hop_s) + 1):
                apart_s = max((j - 0.5) * self.hop_s, begin_s)
                left = 1.0 - math.log(apart_s / begin_s) / math.log(end_s / begin_s)
                if left <= 0.0:
                    continue
                if sign > 0:
                    most[j:] = np.maximum(most[j:], left * levels_db[:-j])
                else:
                    most[:-j] = np.maximum(most[:-j], left * levels_db[j:])
        return np.asarray(10.0 ** ((most - self.offset_db) / 10.0) + self.quiet)

    def excess(self, energies: Array, masked: Array, steady: Array) -> Array:
        """Of every frame, all bands together."""
        ratio = energies / (masked + np.maximum(steady[:, 0], steady[:, 1] * masked))
        edged = np.pad(ratio, ((0, 0), (1, 1)), mode="edge")
        mean = (edged[:, :-2] + edged[:, 1:-1] + edged[:, 2:]) / 3.0
        return np.asarray(np.sqrt(BARK * (mean**2).sum(axis=1)))

    def steady(self, energies: Array, masked: Array) -> Array:
        """What lasts for most of three seconds around a batch, times 15 or 20 dB."""
        count = math.ceil(len(energies) / HELD)
        short = count * HELD - len(energies)
        parts = []
        for one in (energies, energies / masked):
            padded = np.pad(one, ((0, short), (0, 0))).reshape(count, 8, HELD // 8, -1)
            parts.append(np.sort(padded.mean(axis=2), axis=1)[:, 4])
        usual = np.stack(parts, axis=1)
        found = np.zeros_like(usual)
        for k in range(count if count >= 5 else 0):
            begin = max(min(k - 7, count - 15), 0)
            near = np.sort(usual[begin : begin + 15], axis=0)
            found[k] = np.array([[10.0**1.5], [10.0**2.0]]) * near[len(near) // 2]
        return np.repeat(found, HELD, axis=0)[: len(energies)]

    def channel(self, first: Array, second: Array, left: Array, gain: float = 1.0) -> Array:
        """Excess of every frame of one channel."""
        one, other, rest = (self.spectra(samples) for samples in (first, second, left))
        masking = np.minimum(self.energies(one), self.energies(other))
        masked = self.masked(self.levels_db(masking))
        remains = np.minimum(self.energies(rest), self.energies(other - gain * one))
        return self.excess(remains, masked, self.steady(remains, masked))


def worst_db(excess: Array) -> float:
    """The greatest sum over 0.2 s."""
    padded = np.concatenate([np.zeros(HELD - 1), excess])
    sums = [float((padded[n : n + HELD] ** 2).sum()) for n in range(len(excess))]
    return 5.0 * math.log10(max(sums))
