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

    What each field says stands at the head of thresholds.toml.
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
    alone: bool = False


@lru_cache(maxsize=1)
def limits() -> MappingProxyType[str, Limit]:
    """All limits by the row's name, in the order of the audibility table."""
    text = resources.files("stagefx.hearing").joinpath("thresholds.toml").read_text("utf-8")
    rows = [Limit(**row) for row in tomllib.loads(text)["row"]]
    return MappingProxyType({row.name: row for row in rows})
