"""A blind test planned: how many trials, how many right, and what it could miss."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from scipy.optimize import brentq

from stagefx.blind.protocol import find_protocol
from stagefx.blind.statistics.binomial import (
    MOST_TRIALS,
    USUAL_FALSE_PASS,
    chance_of_at_least,
    p_value,
    pass_mark as fewest_right,
    power,
)
from stagefx.errors import BlindError
from stagefx.io.tables import html_table, share

USUAL_ABLE = 0.7
WANTED_POWER = 0.8
MOST_PLANNED = 20_000


@dataclass(frozen=True)
class BlindPlan:
    """What a blind test of so many trials can and cannot show.

    Parameters
    ----------
    protocol : str
        What is played and asked.
    chance : float, 0 to 1
        Share that chance alone gets right.
    trials : int
        Fixed before the first answer.
    pass_mark : int or None
        The fewest right answers that count; None where not even all would do.
    false_pass_chance : float, 0 to 1
        How often somebody who hears nothing passes.
    power : float, 0 to 1
        How often somebody who is right as often as `able` says passes.
    able : float, 0 to 1
        Share of trials that the listener is taken to get right.
    missed : float or None, 0 to 1
        Somebody right less often than this is more likely than one in five to be missed; None
        where nobody can pass.
    """

    protocol: str
    chance: float
    trials: int
    pass_mark: int | None
    false_pass_chance: float
    power: float
    able: float
    missed: float | None

    def _repr_html_(self) -> str:
        """The plan, as a notebook shows it."""
        none = "not even a perfect score would pass"
        mark = none if self.pass_mark is None else f"{self.pass_mark} of {self.trials}"
        rows = [
            ("trials", str(self.trials)),
            ("right by chance", share(self.chance)),
            ("pass mark", mark),
            ("pass though they hear nothing", share(self.false_pass_chance)),
            (f"pass when right {share(self.able)} of the time", share(self.power)),
            ("hit rate found 4 times in 5", share(self.missed, without=none)),
        ]
        return html_table(f"A blind test by {self.protocol}", rows)

    def as_json(self) -> dict[str, Any]:
        """The plan as plain values.

        Returns
        -------
        dict
            The keys of ``stagefx blind plan --json``.
        """
        none = {"value": None, "reason": "not even a perfect score would pass"}
        return {
            "protocol": self.protocol,
            "chance": self.chance,
            "trials": self.trials,
            "pass_mark": none if self.pass_mark is None else self.pass_mark,
            "false_pass_chance": self.false_pass_chance,
            "power": self.power,
            "able": self.able,
            "missed": none if self.missed is None else self.missed,
        }


def plan(
    protocol: str = "abx",
    *,
    able: float = USUAL_ABLE,
    trials: int | None = None,
    false_pass: float = USUAL_FALSE_PASS,
) -> BlindPlan:
    """Plan a blind test.

    Parameters
    ----------
    protocol : str
        One of `stagefx.blind.protocol.PROTOCOLS`.
    able : float, above chance to 1
        Share of trials that the listener to be found gets right.
    trials : int or None
        The first number with a power of 0.8 where left out.
    false_pass : float, 0 to 0.5
        How often somebody who hears nothing may pass at most.

    Returns
    -------
    BlindPlan
        Exact, for a number of trials that is fixed beforehand.

    Raises
    ------
    BlindError
        There is no such protocol, or a number is out of reason.

    Notes
    -----
    Power goes up and down as trials are added, since right answers are whole; a few more trials
    than the first that reaches 0.8 may reach less.

    Examples
    --------
    >>> planned = plan("abx", able=0.7)
    >>> planned.trials, planned.pass_mark, round(planned.false_pass_chance, 3)
    (37, 24, 0.049)
    """
    kind = find_protocol(protocol)
    if not kind.chance < able <= 1.0:
        raise BlindError(
            f"a listener who is right in {able:g} of the trials is no better than chance "
            f"({kind.chance:.3g}); give a share above it, up to 1"
        )
    if not 0.0 < false_pass <= 0.5:
        raise BlindError(
            f"{false_pass:g} is no chance of a false pass; give more than 0, up to 0.5"
        )
    if trials is None:
        trials = _first_with_power(kind.chance, able, false_pass, two_sided=kind.two_sided)
    elif not 1 <= trials <= MOST_TRIALS:
        raise BlindError(f"{trials} trials cannot be planned; give 1 to {MOST_TRIALS}")
    mark = fewest_right(trials, kind.chance, false_pass=false_pass, two_sided=kind.two_sided)
    sides = 2.0 if kind.two_sided else 1.0
    passed = 0.0 if mark is None else sides * chance_of_at_least(mark, trials, kind.chance)

    def found(rate: float) -> float:
        return power(trials, kind.chance, rate, false_pass=false_pass, two_sided=kind.two_sided)

    missed = None
    if mark is not None:
        missed = float(brentq(lambda rate: found(rate) - WANTED_POWER, kind.chance, 1.0))
    return BlindPlan(protocol, kind.chance, trials, mark, passed, found(able), able, missed)


def _first_with_power(chance: float, able: float, false_pass: float, *, two_sided: bool) -> int:
    mark = 0  # never falls as trials are added
    for trials in range(1, MOST_PLANNED + 1):
        mark = max(mark, math.ceil(trials * chance))
        while mark <= trials and p_value(mark, trials, chance, two_sided=two_sided) > false_pass:
            mark += 1
        # On the far side of a two-sided test somebody who is able lands once in a blue moon.
        if mark <= trials and chance_of_at_least(mark, trials, able) >= WANTED_POWER:
            return trials
    raise BlindError(
        f"to find a listener who is right in {able:g} of the trials takes more than "
        f"{MOST_PLANNED} of them; give a share farther above chance ({chance:.3g})"
    )
