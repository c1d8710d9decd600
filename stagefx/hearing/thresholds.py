"""The limits of hearing that a difference is set against, each with what it rests on."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from types import MappingProxyType
from typing import Literal

Scale = Literal["deviation", "level", "probability"]
Kind = Literal["published", "common practice", "working assumption"]
Sureness = Literal["high", "medium", "low"]


@dataclass(frozen=True)
class Limit:
    """From where one kind of difference may be heard, and from where it will be.

    Parameters
    ----------
    name : str
        The ledger's row.
    what : str
        What its value is.
    unit : str
        Of value and limits.
    scale : ``"deviation"``, ``"level"`` or ``"probability"``
        Whether the margin is a ratio to the limit, a distance from it, or none.
    may, will : float
        May be heard from, will be heard from.
    kind : ``"published"``, ``"common practice"`` or ``"working assumption"``
        What the limits rest on.
    source : str
        The publication, or who works so.
    sure : ``"high"``, ``"medium"`` or ``"low"``
        How sure.
    reason : str
        Why the limits stand where they stand.
    """

    name: str
    what: str
    unit: str
    scale: Scale
    may: float
    will: float
    kind: Kind
    source: str
    sure: Sureness
    reason: str


@lru_cache(maxsize=1)
def limits() -> MappingProxyType[str, Limit]:
    """All limits, in the order of the ledger.

    Returns
    -------
    mapping of str to Limit
        By the row's name; not to be changed.

    Examples
    --------
    >>> limits()["level"].may, limits()["noise"].source
    (0.2, 'ISO 389-7:2019, threshold of hearing in a free field')
    """
    text = resources.files("stagefx.hearing").joinpath("thresholds.toml").read_text("utf-8")
    rows = [Limit(**row) for row in tomllib.loads(text)["row"]]
    return MappingProxyType({row.name: row for row in rows})
