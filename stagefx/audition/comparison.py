"""What two versions of a piece came to: the difference, the ledger, the verdict."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from stagefx.difference.captured.gap_noise import GapNoise
from stagefx.difference.captured.recordings import Captured
from stagefx.difference.decomposition import Difference
from stagefx.hearing.audibility import LedgerRow
from stagefx.hearing.ear_model import Heard
from stagefx.hearing.level_at_ear import LevelAtEar
from stagefx.hearing.rows.worst_knob import NOT_TURNED, WorstKnob
from stagefx.hearing.verdict import Verdict
from stagefx.render.report import RenderReport


@dataclass(frozen=True)
class Comparison:
    """What changed from a first version to a second, and whether it would be heard.

    Parameters
    ----------
    difference : Difference
        Level, balance, time, response, remainder.
    level_at_ear : LevelAtEar
        How loud full scale is at the seat.
    heard : Heard
        What the ear model makes of the difference.
    ledger : tuple of LedgerRow
        Every kind of difference, set against hearing.
    verdict : Verdict
        Grade, sentence, conditions, what would change it.
    renders : tuple of RenderReport
        Of the two stages; empty where audio files were compared.
    remarks : tuple of str
        What the reader has to know.
    captured : Captured or None
        The instrument's faults and floor, where recordings of a real stage were compared.
    gap : GapNoise or None
        Noise of both in the silences; None where stages were compared.
    worst_knob : WorstKnob
        The verdict at the worst position of a volume control, where it depends on it.
    """

    difference: Difference
    level_at_ear: LevelAtEar
    heard: Heard
    ledger: tuple[LedgerRow, ...]
    verdict: Verdict
    renders: tuple[RenderReport, ...] = ()
    remarks: tuple[str, ...] = ()
    captured: Captured | None = None
    gap: GapNoise | None = None
    worst_knob: WorstKnob = NOT_TURNED

    def _repr_html_(self) -> str:
        """The comparison, as a notebook shows it."""
        from stagefx.audition.notebook import comparison_as_html

        return comparison_as_html(self)

    def as_json(self) -> dict[str, Any]:
        """The comparison as plain values.

        Returns
        -------
        dict
            The keys of ``stagefx compare --json``; ``{"value": None, "reason": …}`` where there
            is no number.
        """
        from stagefx.audition.report import comparison_as_json

        return comparison_as_json(self) | {"verdict_at_worst_knob": self.worst_knob.as_json()}
