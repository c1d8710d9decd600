"""The noise of a stage at the seat, against the threshold of hearing and the room."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stagefx.circuit.circuit import nominal
from stagefx.circuit.knob import seat_spl_db
from stagefx.circuit.noise import noise_bands, noise_density
from stagefx.figures.table import Figures
from stagefx.report.plots import style
from stagefx.report.text.numbers import amount
from stagefx.report.text.sentences import shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Array = NDArray[np.float64]

THIRD_OCTAVE = 10.0**0.05 - 10.0**-0.05
"""Width of a third-octave band, re its mid-band frequency (IEC 61260-1, base ten)."""
MOST_CONTRIBUTORS = 3


@dataclass(frozen=True)
class NoiseBands:
    """Noise in third-octave bands."""

    hz: Array
    total: Array
    contributors: dict[str, Array]
    threshold: Array | None
    room: Array | None

    @property
    def at_seat(self) -> bool:
        """Whether levels are sound pressure at the seat."""
        return self.threshold is not None

    @property
    def loudest(self) -> float:
        """Level of the loudest band; minus infinity where there is no noise."""
        return float(self.total.max())

    def comparable(self, other: NoiseBands) -> bool:
        """Whether there is noise, told in the unit of another stage's."""
        return self.at_seat == other.at_seat and self.loudest > -math.inf


def bands_of_noise(figures: Figures) -> NoiseBands:
    """Noise of a stage in third-octave bands, as loud as it is at the seat."""
    from stagefx.hearing.ear.threshold_of_hearing import room_band_db_spl, threshold_db_spl

    stage = figures.stage
    circuit = nominal(stage)
    if figures.knob_position is not None:
        circuit = circuit.at_position(figures.knob_position)
    hz, total_v = noise_bands(circuit)
    density = noise_density(circuit, hz)
    parts_v = {
        name: np.sqrt((psd[0] + _row(density.flicker.get(name), hz)) * hz * THIRD_OCTAVE)
        for name, psd in density.white.items()
    }
    largest = [name for name, _, _ in figures.noise_budget[:MOST_CONTRIBUTORS]]
    at_seat = stage.listening is not None

    def level(volts: Array) -> Array:
        if at_seat:
            return seat_spl_db(circuit, volts)
        with np.errstate(divide="ignore"):
            return np.asarray(20.0 * np.log10(volts))

    room = None
    if stage.listening is not None and stage.listening.room_noise is not None:
        room = room_band_db_spl(stage.listening.room_noise.value, hz)
    shown = {name: level(parts_v[name]) for name in largest if name in parts_v}
    threshold = threshold_db_spl(hz) if at_seat else None
    return NoiseBands(hz, level(total_v), shown, threshold, room)


def _row(psd: Array | None, hz: Array) -> Array:
    return np.zeros_like(hz) if psd is None else np.asarray(psd[0])


def noise_claim(bands: NoiseBands) -> str:
    """What a noise plot shows, as a sentence."""
    if bands.loudest == -math.inf:
        return "Nothing in this stage makes noise"
    if bands.threshold is None:
        total = amount(float(np.sqrt(np.sum(10.0 ** (bands.total / 10.0)))), "V")
        return f"The noise is {total}; no listening chain says how loud that is"
    over = float(np.max(bands.total - bands.threshold))
    if over < 0.0:
        return f"The hiss at the seat stays {-over:.0f} dB under the threshold of hearing"
    if bands.room is None:
        return f"The hiss at the seat rises {over:.0f} dB over the threshold of hearing"
    over = float(np.max(bands.total - np.maximum(bands.threshold, bands.room)))
    if over < 0.0:
        return f"Heard in silence, the hiss at the seat stays {-over:.0f} dB under the room"
    return f"The hiss at the seat rises {over:.0f} dB over the room"


def draw_noise(axes: Axes, figures: Figures, second: Figures | None = None) -> None:
    """Draw the noise at the seat, its largest contributors, the threshold and the room."""
    first = bands_of_noise(figures)
    lines = [(first, "all noise" if second is None else figures.stage.name, style.BASELINE)]
    if second is not None:
        lines.append((bands_of_noise(second), second.stage.name, style.CHANGE))
    lines = [line for line in lines if line[0].comparable(first)]
    style.claim(axes, noise_claim(max((line[0] for line in lines), key=_loudest, default=first)))
    if not lines:
        axes.set_axis_off()
        return
    style.frequency_axis(axes, 20.0, 16e3)
    parts = first.contributors if second is None else {}
    ends: list[tuple[float, str]] = []
    for name, level in parts.items():
        axes.plot(first.hz, level, **style.PART)
        ends.append((float(level[-1]), name))
    for bands, name, line in lines:
        axes.plot(bands.hz, bands.total, **line)
        ends.append((float(bands.total[-1]), shortened(name, most=22)))
    ends += _draw_yardsticks(axes, figures, first)
    _limit_axes(axes, [*parts.values(), *(bands.total for bands, _, _ in lines)], first)
    style.name_ends(axes, ends, gap=0.085)


def _loudest(bands: NoiseBands) -> float:
    return bands.loudest


def _draw_yardsticks(axes: Axes, figures: Figures, bands: NoiseBands) -> list[tuple[float, str]]:
    if bands.threshold is None:
        return []
    axes.plot(bands.hz, bands.threshold, **style.THRESHOLD)
    ends = [(float(bands.threshold[-1]), "threshold of hearing")]
    chain = figures.stage.listening
    if bands.room is not None and chain is not None and chain.room_noise is not None:
        axes.plot(bands.hz, bands.room, **style.ROOM)
        ends.append((float(bands.room[-1]), f"the room, {chain.room_noise.value:g} dBA"))
    return ends


def _limit_axes(axes: Axes, levels: Sequence[Array], bands: NoiseBands) -> None:
    every = np.concatenate(levels)
    every = every[np.isfinite(every)]
    low = max(float(every.min()), float(every.max()) - 40.0)
    high = max(float(every.max()) + 6.0, 45.0 if bands.at_seat else -math.inf)
    unit = "dB SPL at the seat" if bands.at_seat else "dBV at the load"
    bottom, top = 10.0 * math.floor(low / 10.0), 10.0 * math.ceil(high / 10.0)
    style.level_axis(axes, bottom, top, label=f"third-octave level,\n{unit}")
