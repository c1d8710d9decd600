"""Plans and scores of blind tests as a notebook shows them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stagefx.io.tables import html_table, share

if TYPE_CHECKING:
    from stagefx.blind.listeners import Listener
    from stagefx.blind.planning import BlindPlan
    from stagefx.blind.scoring import BlindScore


def plan_as_html(planned: BlindPlan) -> str:
    """A plan: how many trials, how many right, what it could miss.

    Parameters
    ----------
    planned : BlindPlan
        The plan.

    Returns
    -------
    str
        HTML, every text escaped.

    Examples
    --------
    >>> from stagefx.blind.planning import plan
    >>> "<td>24 of 37</td>" in plan_as_html(plan("abx", able=0.7))
    True
    """
    none = "not even a perfect score would pass"
    mark = none if planned.pass_mark is None else f"{planned.pass_mark} of {planned.trials}"
    rows = [
        ("trials", str(planned.trials)),
        ("right by chance", share(planned.chance)),
        ("pass mark", mark),
        ("pass though they hear nothing", share(planned.false_pass_chance)),
        (f"pass when right {share(planned.able)} of the time", share(planned.power)),
        ("hit rate found 4 times in 5", share(planned.missed, without=none)),
    ]
    return html_table(f"A blind test by {planned.protocol}", rows)


def score_as_html(found: BlindScore) -> str:
    """A score: the sentence, then each listener, then all together.

    Parameters
    ----------
    found : BlindScore
        The score.

    Returns
    -------
    str
        HTML, every text escaped.

    Examples
    --------
    >>> from stagefx.blind.keys import draw_key
    >>> from stagefx.blind.listeners import Controls
    >>> from stagefx.blind.scoring import BlindScore
    >>> nobody = BlindScore(draw_key("abx", ("main",)), (), None, Controls(0, 0, 0.5), 1.0, ())
    >>> "<caption>Listener by listener</caption>" in score_as_html(nobody)
    True
    """
    rows = [_row(one) for one in found.listeners]
    pooled = found.pooled
    if pooled is not None:
        low, high = pooled.interval
        right = f"{pooled.correct} of {pooled.trials}"
        rows.append(("together", right, f"{pooled.p:.3g}", "", f"{share(low)} to {share(high)}"))
    return html_table(
        "Listener by listener",
        rows,
        head=("listener", "right", "p", "p, Holm", "95 % interval"),
        before=(found.sentence,),
    )


def _row(one: Listener) -> tuple[str, ...]:
    low, high = one.interval
    return (
        one.name or "(no name)",
        f"{one.correct} of {one.trials}",
        f"{one.p:.3g}",
        f"{one.p_holm:.3g}",
        f"{share(low)} to {share(high)}",
    )
