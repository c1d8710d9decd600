"""The range of every figure over a spread, and which part contributes most to it."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from stagefx.circuit.circuit import Array, Circuit
from stagefx.circuit.response import Response
from stagefx.figures.definition import Definition, Missing, Working, decibels_of
from stagefx.figures.spread import Spread

T = TypeVar("T")
_KILOHERTZ = np.array([1000.0])

LOW_PERCENT, HIGH_PERCENT = 5.0, 95.0
_CHANCE = 10.0
"""A share of the rank variance below this over the number of draws may be chance alone."""


@dataclass(frozen=True)
class Range:
    """A figure's range over a spread."""

    low: float | None
    high: float | None
    widest: str = ""
    widest_share: float | None = None


def ranges(spread: Spread, definitions: Sequence[Definition], nominal: Working) -> dict[str, Range]:
    """Work out every figure's range.

    The share is Spearman's rank correlation squared (C. Spearman, American Journal of Psychology
    15, 1904, 72-101): that of the figure's rank variance which the part alone explains, for
    figures that rise or fall with it.
    """
    shared = replace(nominal, noisiest_position=nominal.worst_position)

    def work(circuit: Circuit) -> list[Array]:
        return _worked(replace(shared, circuit=circuit), definitions)

    chunks = _each_chunk(spread, nominal.circuit, work)
    figures = {
        definition.key: np.concatenate([chunk[index] for chunk in chunks])
        for index, definition in enumerate(definitions)
    }
    return _with_causes(spread, {key: v for key, v in figures.items() if np.any(~np.isnan(v))})


def response_band(
    spread: Spread, nominal: Circuit, hz: Array
) -> tuple[tuple[float, float, float], ...]:
    """The range of the response over a spread."""

    def work(circuit: Circuit) -> Array:
        reference = np.abs(Response(circuit, _KILOHERTZ).to_load)
        gain = np.abs(Response(circuit, hz).to_load)
        silent = reference == 0.0
        return decibels_of(np.where(silent, 0.0, gain / np.where(silent, 1.0, reference)))

    levels = np.concatenate(_each_chunk(spread, nominal, work))
    if not np.all(np.isfinite(levels)):
        return ()
    ends = np.percentile(levels, [LOW_PERCENT, HIGH_PERCENT], axis=0, method="inverted_cdf")
    rows = zip(hz, ends[0], ends[1], strict=True)
    return tuple((float(at), float(low), float(high)) for at, low, high in rows)


def _each_chunk(spread: Spread, nominal: Circuit, work: Callable[[Circuit], T]) -> list[T]:
    """Work every chunk of draws out, the knob where it stands nominally, on all processors."""
    travel = nominal.volume_position
    position = None if travel is None else float(travel[0, 0])

    def placed(circuit: Circuit) -> T:
        return work(circuit if position is None else circuit.at_position(position))

    with ThreadPoolExecutor(max_workers=os.cpu_count()) as pool:
        return list(pool.map(placed, spread.circuits()))


def _worked(working: Working, definitions: Sequence[Definition]) -> list[Array]:
    draws, found = working.circuit.draws, []
    for definition in definitions:
        worked = definition.work(working)
        values = np.full(draws, np.nan) if isinstance(worked, Missing) else worked
        found.append(np.broadcast_to(values, (draws,)))
    return found


def _with_causes(spread: Spread, figures: dict[str, Array]) -> dict[str, Range]:
    varied = spread.varied
    causes = list(varied)
    standard = [_standard_ranks(varied[key]) for key in causes]
    result = {}
    for key, values in figures.items():
        low, high = _ends(values)
        ranks = _standard_ranks(values)
        shares = [float(np.sum(cause * ranks)) ** 2 for cause in standard]
        best = int(np.argmax(shares)) if causes else -1
        if best >= 0 and low != high and shares[best] * values.size > _CHANCE:
            result[key] = Range(low, high, causes[best], min(shares[best], 1.0))
        else:
            result[key] = Range(low, high)
    return result


def _ends(values: Array) -> tuple[float | None, float | None]:
    known = values[~np.isnan(values)]
    if 2 * known.size < values.size:
        return None, None
    ends = np.percentile(known, [LOW_PERCENT, HIGH_PERCENT], method="inverted_cdf")
    low, high = (float(end) if np.isfinite(end) else None for end in ends)
    return low, high


def _standard_ranks(values: Array) -> Array:
    """Ranks, equal values sharing theirs, with mean 0 and sum of squares 1; all 0 if all equal."""
    filled = np.where(np.isnan(values), -np.inf, values)
    _, place, counts = np.unique(filled, return_inverse=True, return_counts=True)
    ranks = (np.cumsum(counts) - 0.5 * (counts - 1))[place]
    centred = ranks - ranks.mean()
    size = np.sqrt(np.sum(centred**2))
    return np.asarray(centred / size if size > 0.0 else centred)
