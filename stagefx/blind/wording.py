"""What may be said of a blind test: composed from its counts, never more than they hold."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stagefx.blind.statistics.binomial import USUAL_FALSE_PASS
from stagefx.blind.statistics.e_value import ACT_AT

if TYPE_CHECKING:
    from stagefx.blind.scoring import BlindScore, Pooled


def out_of_a_thousand(p: float) -> str:
    """A p-value told as people count.

    Parameters
    ----------
    p : float, 0 to 1
        How often somebody who hears no difference scores this well or better.

    Returns
    -------
    str
        ``"in 38 of 1000 such tests"``.

    Examples
    --------
    >>> out_of_a_thousand(0.0384), out_of_a_thousand(0.00002)
    ('in 38 of 1000 such tests', 'in fewer than 1 of 1000 such tests')
    """
    if p < 0.0005:
        return "in fewer than 1 of 1000 such tests"
    return f"in {round(1000.0 * p)} of 1000 such tests"


def score_sentence(found: BlindScore) -> str:
    """What a blind test showed, in words.

    Parameters
    ----------
    found : BlindScore
        The score.

    Returns
    -------
    str
        One to four sentences.

    Examples
    --------
    >>> from stagefx.blind.keys import SealedKey
    >>> from stagefx.blind.scoring import score
    >>> score_sentence(score(SealedKey("0" * 16, "abx", ("10",), ("main",), "0" * 32), []))
    'Nobody has replied yet, so nothing is known.'
    """
    if not found.listeners:
        return "Nobody has replied yet, so nothing is known."
    if found.pooled is None:
        return _ranked(found)
    if found.key.protocol == "preference":
        return _preferred(found, found.pooled)
    counts = (
        f"{_people(len(found.listeners))} gave {found.pooled.correct} right answers of "
        f"{found.pooled.trials}"
    )
    guess = (
        "Somebody who hears no difference would score this well or better "
        f"{out_of_a_thousand(found.pooled.p)}."
    )
    if found.pooled.p <= USUAL_FALSE_PASS:
        return f"Heard blind: {counts}. {guess}{_carried(found)}{_late(found)}"
    return f"{_null(found, counts)} {guess}{_single(found)}{_late(found)}"


def _null(found: BlindScore, counts: str) -> str:
    controls = found.controls
    if controls.passed is False:
        return (
            f"This test says nothing of the difference: the positive control, which is known to "
            f"be heard, was missed too ({controls.correct} of {controls.trials} right). {counts}."
        )
    assert found.pooled is not None
    ruled_out = f"Hit rates above {100.0 * found.pooled.ruled_out:.0f} % are ruled out"
    if controls.passed is None:
        return (
            f"We could not show a difference: {counts}. {ruled_out}, but there was no positive "
            "control, so it is not known that this set-up can show anything."
        )
    return (
        f"We could not show a difference: {counts}, while the positive control was heard "
        f"({controls.correct} of {controls.trials}). {ruled_out}; a smaller share is not."
    )


def _carried(found: BlindScore) -> str:
    """Whether a finding is one listener's or everybody's."""
    pooled, sure = found.pooled, [one for one in found.listeners if one.p_holm <= USUAL_FALSE_PASS]
    assert pooled is not None
    if len(found.listeners) < 2:
        return ""
    over = pooled.p_over_listeners
    if sure and over is not None and over > USUAL_FALSE_PASS:
        return f" It rests on {len(sure)} of {len(found.listeners)} listeners."
    share = pooled.share_who_hear
    if share is None:
        return ""
    low, high = 100.0 * share.low, 100.0 * share.high
    return f" Hearing it accounts for {low:.0f} to {high:.0f} % of the answers."


def _single(found: BlindScore) -> str:
    sure = [one for one in found.listeners if one.p_holm <= USUAL_FALSE_PASS]
    if not sure or len(found.listeners) < 2:
        return ""
    best = min(sure, key=lambda one: one.p_holm)
    name = best.name or "one without a name"
    return (
        f" Yet one of them ({name}) had {best.correct} of {best.trials} right, which stands even "
        f"after correcting for {len(found.listeners)} listeners; test that listener again."
    )


def _late(found: BlindScore) -> str:
    if not found.late:
        return ""
    right, all_of = (sum(one.correct for one in found.late), sum(one.trials for one in found.late))
    acted = "which is evidence enough to act on" if found.e_value >= ACT_AT else "not yet 20"
    return (
        f" Replies that came after the first scoring are counted apart: {right} of {all_of}; with "
        f"them the running evidence is {found.e_value:.2g}, {acted}."
    )


def _ranked(found: BlindScore) -> str:
    choices = sum(len(one.choices) for one in found.listeners)
    made = f"{_people(len(found.listeners))} made {choices} choices"
    if found.p_all_alike is None:
        return f"{made}, too few to put the versions on one scale. Collect more replies."
    ordered = sorted(found.worths, key=lambda worth: -worth.log_worth)
    names = ", ".join(f"'{worth.version}'" for worth in ordered)
    alike = f"Choices this uneven come {out_of_a_thousand(found.p_all_alike)} among equals."
    if found.p_all_alike > USUAL_FALSE_PASS:
        return f"No preference was shown: {made}. {alike}{_late(found)}"
    return f"Preferred blind, from most to least: {names}. {made}. {alike}{_late(found)}"


def _preferred(found: BlindScore, pooled: Pooled) -> str:
    names = [*found.key.versions, "the first", "the second"][:2]
    guess = (
        f"Somebody without a preference would choose so one-sidedly {out_of_a_thousand(pooled.p)}."
    )
    finding = "Preferred blind" if pooled.p <= USUAL_FALSE_PASS else "No preference was shown"
    return (
        f"{finding}: {_people(len(found.listeners))} chose '{names[0]}' {pooled.correct} times of "
        f"{pooled.trials} over '{names[1]}'. {guess}{_late(found)}"
    )


def _people(count: int) -> str:
    return "One listener" if count == 1 else f"{count} listeners"
