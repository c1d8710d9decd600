"""What a blind test showed: its counts, and the words they bear, never more than they hold."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from stagefx.blind.keys import SealedKey
from stagefx.blind.listeners import Controls, Listener
from stagefx.blind.replies import SetAside
from stagefx.blind.statistics.binomial import USUAL_FALSE_PASS
from stagefx.blind.statistics.e_value import ACT_AT
from stagefx.blind.statistics.pooling import Share
from stagefx.blind.statistics.preference import Worth
from stagefx.io.tables import html_table, share


@dataclass(frozen=True)
class Pooled:
    """All listeners' answers taken together."""

    correct: int
    trials: int
    p: float
    interval: tuple[float, float]
    share_who_hear: Share | None
    p_over_listeners: float | None
    ruled_out: float

    def as_json(self) -> dict[str, Any]:
        """The pooled score as plain values."""
        share = self.share_who_hear
        few = {"value": None, "reason": "fewer than three listeners, or all alike"}
        none = {"value": None, "reason": "a preference has no right answer"}
        return {
            "correct": self.correct,
            "trials": self.trials,
            "p": self.p,
            "interval": list(self.interval),
            "share_who_hear": none if share is None else share.as_json(),
            "p_over_listeners": few if self.p_over_listeners is None else self.p_over_listeners,
            "ruled_out": self.ruled_out,
        }


@dataclass(frozen=True)
class BlindScore:
    """What a blind test showed.

    Parameters
    ----------
    key : SealedKey
        Opened; it fits its commitment.
    listeners : tuple of Listener
        Whose first replies were there at the first scoring.
    pooled : Pooled or None
        None where nobody replied.
    controls : Controls
        Of all listeners together.
    e_value : float
        Evidence, late replies included; may be looked at at any time.
    e_course : tuple of float
        The same after each answer.
    set_aside : tuple of SetAside
        Replies that are not counted, late ones among them.
    late : tuple of Listener
        Whose replies came after the first scoring.
    worths : tuple of Worth
        Of a preference between versions; else empty.
    p_all_alike : float or None
        Of a preference: how often choices would be so uneven if all were liked alike.
    """

    key: SealedKey
    listeners: tuple[Listener, ...]
    pooled: Pooled | None
    controls: Controls
    e_value: float
    e_course: tuple[float, ...]
    set_aside: tuple[SetAside, ...] = ()
    late: tuple[Listener, ...] = ()
    worths: tuple[Worth, ...] = ()
    p_all_alike: float | None = None

    @property
    def sentence(self) -> str:
        """What may be said of it, with its counts, in one to four sentences.

        Examples
        --------
        >>> from stagefx.blind.keys import SealedKey
        >>> from stagefx.blind.scoring import score
        >>> score(SealedKey("0" * 16, "abx", ("10",), ("main",), "0" * 32), []).sentence
        'Nobody has replied yet, so nothing is known.'
        """
        return _sentence(self)

    def _repr_html_(self) -> str:
        """The score, as a notebook shows it."""
        return _as_html(self)

    def as_json(self) -> dict[str, Any]:
        """The score as plain values.

        Returns
        -------
        dict
            The keys of ``stagefx blind score --json``.
        """
        nobody = {"value": None, "reason": "nobody replied"}
        if self.listeners:
            nobody["reason"] = "more than two versions have no score; see worths"
        passed = self.controls.passed
        no_control = {"value": None, "reason": "no positive control"}
        return {
            "pack": self.key.pack,
            "protocol": self.key.protocol,
            "commitment_holds": True,
            "commitment": self.key.commitment,
            "sealed_text": self.key.sealed_text,
            "controls_passed": no_control if passed is None else passed,
            "controls": self.controls.as_json(),
            "listeners": [listener.as_json() for listener in self.listeners],
            "late": [listener.as_json() for listener in self.late],
            "pooled": nobody if self.pooled is None else self.pooled.as_json(),
            "e_value": self.e_value,
            "set_aside": [reply.as_json() for reply in self.set_aside],
            "worths": [worth.as_json() for worth in self.worths],
            "p_all_alike": self.p_all_alike,
            "sentence": self.sentence,
        }


def out_of_a_thousand(p: float) -> str:
    """A p-value told as people count."""
    if p < 0.0005:
        return "in fewer than 1 of 1000 such tests"
    return f"in {round(1000.0 * p)} of 1000 such tests"


def _sentence(found: BlindScore) -> str:
    """What a blind test showed, in one to four sentences."""
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


def _as_html(found: BlindScore) -> str:
    """The sentence, then each listener, then all together."""
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
