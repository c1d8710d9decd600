"""What the user is told when a request or an input cannot be used.

Every error says what is wrong, where, and what would do instead.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable

_LONGEST = 1200


class StagefxError(Exception):
    """Something the user asked for, or handed over, cannot be used."""

    def __str__(self) -> str:
        """The message; of what a user wrote at length, its beginning and its end."""
        said = super().__str__()
        if len(said) <= _LONGEST:
            return said
        return f"{said[: _LONGEST // 2]} ... {said[-_LONGEST // 2 :]}"


class UnitError(StagefxError, ValueError):
    """A text is not a value in the unit that is needed."""


class StageError(StagefxError):
    """A stage file or a stage's values cannot be used."""


class AudioError(StagefxError):
    """An audio file or stream cannot be read, written or used."""


class OutputError(StagefxError):
    """An output place cannot be written, or holds something already."""


class EffectError(StagefxError):
    """An effect is unknown, missing, or asked to do what it cannot."""


class BlindError(StagefxError):
    """A blind test cannot be planned, packed or scored."""


class ComparisonError(StagefxError):
    """Two pieces of audio cannot be compared."""


def nearest(word: str, known: Iterable[str]) -> str:
    """A suggestion for a misspelt name."""
    names = sorted(known)
    by_letters = {name.lower(): name for name in names}
    close = difflib.get_close_matches(word.lower(), by_letters, n=1, cutoff=0.6)
    if close:
        return f"; did you mean '{by_letters[close[0]]}'?"
    return f"; known are: {', '.join(names)}"
