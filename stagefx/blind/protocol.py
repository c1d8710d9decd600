"""The protocols of a blind test: what is played, what is asked, what chance alone gets right."""

from __future__ import annotations

from dataclasses import dataclass

from stagefx.errors import BlindError, nearest


@dataclass(frozen=True)
class Protocol:
    """What a trial plays and asks."""

    name: str
    chance: float
    asks: str
    model: str
    two_sided: bool = False


PROTOCOLS = {
    protocol.name: protocol
    for protocol in (
        Protocol("abx", 1 / 2, "Which one was X?", "independent observation"),
        Protocol("same-different", 1 / 2, "Same or different?", "differencing"),
        Protocol("preference", 1 / 2, "Which do you prefer?", "two alternatives", two_sided=True),
        Protocol("triangle", 1 / 3, "Which is the odd one?", "comparison of distances"),
        Protocol("triple", 1 / 2, "Which is lower, and by how much?", "two alternatives"),
    )
}
"""ABX; same or different; preference; triangle (ISO 4120); the hidden-reference triple of
ITU-R BS.1116, in which a trial is right when the hidden reference is given the higher grade."""


def find_protocol(name: str) -> Protocol:
    """A protocol by its name."""
    if name not in PROTOCOLS:
        raise BlindError(f"no protocol '{name}'{nearest(name, PROTOCOLS)}")
    return PROTOCOLS[name]
