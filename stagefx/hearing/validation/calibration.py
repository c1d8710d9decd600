"""The ear model's decision, fitted to published thresholds of level, spectrum and added sound.

``python -m stagefx.hearing.validation.calibration`` writes stagefx/hearing/ear/decision.toml and
prints what the ear model makes of every threshold, with it and with that one left out of the fit.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from stagefx.hearing.ear.decision import EVEN_CHANCE_D_PRIME, Decision
from stagefx.hearing.ear.frames import BATCH_FRAMES
from stagefx.hearing.ear.listening import Desk, Listener
from stagefx.hearing.ear.scale import FRAME, HOP
from stagefx.hearing.validation.published_sounds import SoundThreshold, sound_thresholds
from stagefx.hearing.validation.synthetic import FULL_SCALE_SPL_DB

Array = NDArray[np.float64]

INTEGRATION_S = 1.0
"""Chosen, not fitted: shorter, and sounds of half a second (most rows) say the same of long ones;
longer, and a difference of 1.5 s falls more than a tenth behind the same for 30 s."""
LOUDNESS_S = 0.1
"""Attack of long-term loudness (B. R. Glasberg, B. C. J. Moore, JAES 50 (5), 2002)."""
_LN_RATIOS = np.log(2.0) * np.arange(-2.5, 2.6, 0.5)
_LN_WEIGHTS = np.log(np.geomspace(0.25, 4.0, 25))
"""Weights of what is new in every interval that are tried; between them d' is interpolated."""
_START = (0.3, -0.1)
_SOUNDS_ALIKE = 1e-30

BOUNDS = (0.45, 0.6, 0.85, 1.15, 1.6, 2.2)
"""Observed over published: all within the outermost, three quarters within the next, the median
within the innermost.  Studies of the same threshold differ by about as much."""


@dataclass(frozen=True)
class Observed:
    """Where the ear model has an even chance, over where the publication has: fitted, left out."""

    row: SoundThreshold
    ratio: float
    left_out_ratio: float


@dataclass(frozen=True)
class Calibration:
    """The constants, and what they make of every row."""

    decision: Decision
    observed: tuple[Observed, ...]

    @property
    def fitted(self) -> tuple[Observed, ...]:
        """The rows of the fit."""
        return tuple(one for one in self.observed if one.row.fitted)


def calibrate() -> Calibration:
    """Fit d' of a decibel and the weight of what is new; leave out every row in turn."""
    rows = sound_thresholds()
    tables = [_ln_sensitivities(row) for row in rows]
    inside = [table for row, table in zip(rows, tables, strict=True) if row.fitted]
    best = _fit(inside)
    observed = []
    for row, table in zip(rows, tables, strict=True):
        others = _fit([one for one in inside if one is not table], best) if row.fitted else best
        observed.append(
            Observed(
                row, float(np.exp(_ln_ratio(table, best))), float(np.exp(_ln_ratio(table, others)))
            )
        )
    per_db, weight = (float(f"{value:.3g}") for value in np.exp(best))
    return Calibration(Decision(per_db, weight, INTEGRATION_S, LOUDNESS_S), tuple(observed))


def _fit(tables: Sequence[Array], start: Sequence[float] | Array = _START) -> Array:
    """Logarithms of both constants: least squares of the logarithms of observed over published."""

    def cost(constants: Array) -> float:
        return float(np.mean([_ln_ratio(table, constants) ** 2 for table in tables]))

    found = minimize(cost, start, method="Nelder-Mead", options={"xatol": 1e-4, "fatol": 1e-8})
    return np.asarray(found.x)


def _ln_ratio(table: Array, constants: Sequence[float] | Array) -> float:
    """Logarithm of the size with an even chance over the published, mean over what is averaged."""
    ln_per_db, ln_weight = constants
    place = np.interp(ln_weight, _LN_WEIGHTS, np.arange(_LN_WEIGHTS.size))
    low = min(int(place), _LN_WEIGHTS.size - 2)
    between = table[..., low] + (place - low) * (table[..., low + 1] - table[..., low])
    wanted = np.log(EVEN_CHANCE_D_PRIME) - ln_per_db
    return float(np.mean([_crossing(one, wanted) for one in between]))


def _crossing(ln_sensitivity: Array, wanted: float) -> float:
    """Where a rising curve first reaches what is wanted; beyond its ends as steep as there."""
    above = np.flatnonzero(ln_sensitivity >= wanted)
    k = int(np.clip(above[0] if above.size else len(ln_sensitivity) - 1, 1, None))
    slope = max(
        (ln_sensitivity[k] - ln_sensitivity[k - 1]) / (_LN_RATIOS[k] - _LN_RATIOS[k - 1]), 0.1
    )
    return float(_LN_RATIOS[k] + (wanted - ln_sensitivity[k]) / slope)


def _ln_sensitivities(row: SoundThreshold) -> Array:
    """Logarithm of d' [what is averaged, sizes, weights] where a decibel has a d' of 1."""
    sizes = [row.pairs(row.times(float(ratio))) for ratio in np.exp(_LN_RATIOS)]
    return np.array(
        [
            [_ln_sensitivity(*pairs[k]) for pairs in sizes]
            for k in range(len(sizes[0]))
        ]
    )  # fmt: skip


def _ln_sensitivity(first: Array, second: Array) -> Array:
    """The same of one pair, for every weight."""
    from stagefx.kernels.ear import detect, differences

    one, other = _heard(first), _heard(second)
    frames, bands = one[0].shape
    sizes, nearest = np.empty((1, frames, bands)), np.empty((frames, bands))
    evidence, heard = np.empty(frames), np.empty(frames)
    found = []
    for weight in np.exp(_LN_WEIGHTS):
        made = Decision(1.0, float(weight), INTEGRATION_S, LOUDNESS_S)
        differences(one[0], other[0], one[1], other[1], made.new_noise(None), sizes[0])
        detect(sizes, made.kernel_settings(), np.zeros(1 + bands), evidence, heard, nearest)
        found.append(0.5 * np.log(max(float(heard.max()), _SOUNDS_ALIKE)))
    return np.array(found)


def _heard(sound: Array) -> tuple[Array, Array]:
    """Excitation of a sound of one channel [frames, bands], as energy and in decibels."""
    listener = Listener(FULL_SCALE_SPL_DB, Desk())
    energy, level_db = [], []
    frames = (len(sound) - FRAME) // HOP + 1
    for start in range(0, frames, BATCH_FRAMES):
        count = min(BATCH_FRAMES, frames - start)
        listener.hear(sound[start * HOP : (start + count - 1) * HOP + FRAME, 0])
        energy.append(listener.excitation[:count].copy())
        level_db.append(listener.level_db[:count].copy())
    return np.concatenate(energy), np.concatenate(level_db)


def decision_file(found: Calibration) -> str:
    """What stands in decision.toml."""
    made = found.decision
    return f"""\
# The decision of the ear model, written by `python -m stagefx.hearing.validation.calibration`.

# d' of a difference of one decibel in one band, for seconds: fitted.
# Larger, and every difference is heard at a smaller size.
d_prime_per_db = {made.d_prime_per_db:g}

# Weight of the threshold of hearing and the room, which are new in every interval: fitted.
# Larger, and less is heard close to them; loud sounds are judged alike.
new_noise_weight = {made.new_noise_weight:g}

# Memory in seconds: chosen so that 1.5, 6 and 30 s of the same give p within a tenth.
integration_s = {made.integration_s:g}

# Seconds over which a band's difference is averaged before it counts, as loudness is: chosen.
# Larger, and differences that come and go at random, as noise's do, count for less.
loudness_s = {made.loudness_s:g}
"""


def _summary(ratios: Array) -> str:
    least, low, inner, outer, high, most = BOUNDS
    within = np.mean((ratios >= low) & (ratios <= high))
    return (
        f"Left out in turn, {within:.0%} of {ratios.size} rows lie within {low:g} to {high:g} of "
        f"the published size,\nall within {ratios.min():.2f} to {ratios.max():.2f} (allowed: "
        f"{least:g} to {most:g}); their median is {np.median(ratios):.2f} ({inner:g} to {outer:g})."
    )


def _line(one: Observed) -> str:
    row = one.row
    sizes = f"{row.even_chance:8.3f} {row.times(one.ratio):8.3f} {row.unit:18}"
    left_out = f"{one.left_out_ratio:6.2f}" if row.fitted else "     -"
    return f"{row.what:46}{sizes}{one.ratio:6.2f}{left_out}"


def main() -> None:
    """Fit, write the constants, print the table."""
    found = calibrate()
    place = Path(__file__).parents[1] / "ear" / "decision.toml"
    place.write_text(decision_file(found), encoding="utf-8")
    head = f"{'':46}{'at 75 %':>8} {'observed':>8} {'':18}{'ratio':>6}{'left':>6}"
    ratios = np.array([one.left_out_ratio for one in found.fitted])
    lines = [_line(one) for one in found.observed]
    text = [decision_file(found), head, *lines, "", _summary(ratios), ""]
    sys.stdout.write("\n".join(text))


if __name__ == "__main__":
    main()
