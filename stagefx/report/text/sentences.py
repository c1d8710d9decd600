"""How texts and names are set: a capital first, and no longer than there is room."""

from __future__ import annotations


def as_sentence(text: str) -> str:
    """A text that begins with a capital, as a sentence does.

    >>> as_sentence("line stage: full scale fits")
    'Line stage: full scale fits'
    """
    return f"{text[:1].upper()}{text[1:]}"


def shortened(text: str, *, most: int = 26) -> str:
    """A name that fits beside a line.

    It stands on one line, cut with an ellipsis where it is longer; what cannot be printed is
    replaced.

    >>> shortened("a very long name of a stage, with a reason", most=16)
    'a very long nam…'
    """
    line = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text.strip())
    return line if len(line) <= most else f"{line[: most - 1].rstrip()}…"
