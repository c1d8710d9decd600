"""What a sighted listening set holds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from stagefx.hearing.passage import Passage
from stagefx.report.listening.exaggeration import NotHeard

LESSON_BITS, VERSION_BITS = 16, 24
"""Lessons are loud; the two versions and their difference are kept as fine as a file can be."""
PAGE_NAME, LIST_NAME, CARDS_NAME = "listen.html", "listening-set.json", "cards"


@dataclass(frozen=True)
class Track:
    """One thing to listen to."""

    file: str
    kind: str
    title: str
    gain_db: float = 0.0
    effect: str = ""
    times: float = 1.0

    @property
    def bits(self) -> int:
        """Word length of its file."""
        fine = self.kind in {"baseline", "change", "difference"}
        return VERSION_BITS if fine else LESSON_BITS


@dataclass(frozen=True)
class ListeningSet:
    """A listening set that was made.

    Parameters
    ----------
    first, second : str
        What is switched between.
    music : str
        What is played.
    passage : Passage
        Which stretch of it, and why.
    rate_hz : int, Hz
        Sampling rate of the files.
    tracks : tuple of Track
        In the order of the page.
    not_heard : tuple of NotHeard
        Effects that nothing is to be heard of, and why.
    turned_up_db : float or None, dB
        How much the difference was turned up; None where there is no difference.
    capped_by : str
        What kept it from being turned up further.
    cards : tuple of str
        Names of the picture cards.
    remarks : tuple of str
        What to know before listening.
    """

    first: str
    second: str
    music: str
    passage: Passage
    rate_hz: int
    tracks: tuple[Track, ...]
    not_heard: tuple[NotHeard, ...] = ()
    turned_up_db: float | None = None
    capped_by: str = ""
    cards: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The set as plain values.

        Returns
        -------
        dict
            The keys of ``stagefx listen --json``.
        """
        none = {"value": None, "reason": "the two versions are the same"}
        return {
            "first": self.first,
            "second": self.second,
            "music": self.music,
            "passage": self.passage.as_json(),
            "rate_hz": self.rate_hz,
            "page": PAGE_NAME,
            "tracks": [vars(track) for track in self.tracks],
            "not_heard": [vars(one) for one in self.not_heard],
            "turned_up_db": none if self.turned_up_db is None else self.turned_up_db,
            "capped_by": self.capped_by,
            "cards": [f"{CARDS_NAME}/{name}" for name in self.cards],
            "remarks": list(self.remarks),
        }
