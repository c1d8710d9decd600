"""Blind tests printed for people: a plan, a score."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from stagefx.blind.result import out_of_a_thousand
from stagefx.blind.statistics.e_value import ACT_AT

from .words import heading, sentence, table

if TYPE_CHECKING:
    from rich.console import Console

    from stagefx.blind.listeners import Listener
    from stagefx.blind.pack.preparation import Prepared
    from stagefx.blind.planning import BlindPlan
    from stagefx.blind.result import BlindScore
    from stagefx.blind.simulation import Simulation

MOST_LISTED = 12
WHYS = {
    "not a code": "no codes",
    "altered": "altered or cut on their way",
    "another pack's": "replies to another pack",
    "not whole": "not whole",
    "a duplicate": "duplicates",
    "not this listener's first": "not their listener's first",
    "not there at the first scoring": "not there at the first scoring",
}


def print_plan(console: Console, planned: BlindPlan, simulation: Simulation | None = None) -> None:
    """Print what a blind test needs and could miss."""
    if planned.pass_mark is None:
        console.print(
            f"{planned.trials} trials are too few: not even a perfect score would pass.",
            style="bold",
        )
        return
    console.print(
        f"{planned.trials} trials, {planned.pass_mark} right answers to pass.", style="bold"
    )
    heading(console, "What that means")
    rows = table(-8, 0)
    percent = "{:.1f} %"
    able, missed = 100.0 * planned.able, 100.0 * (planned.missed or 0.0)
    rows.add_row(
        percent.format(100.0 * planned.false_pass_chance),
        "of listeners who hear nothing pass all the same",
    )
    rows.add_row(
        percent.format(100.0 * planned.power),
        f"of listeners who are right {able:g} % of the time pass",
    )
    rows.add_row(
        percent.format(missed),
        "is the hit rate found 4 times in 5; whoever hears less often is easily missed",
    )
    if simulation is not None:
        rows.add_row(
            percent.format(100.0 * simulation.passed_by_able),
            f"of {simulation.tests} simulated listeners of that hit rate passed, and "
            f"{percent.format(100.0 * simulation.passed_by_guessers)} of as many guessers",
        )
    console.print(rows)
    console.print()
    console.print(
        "Fix the number before the first answer and keep to it; looking after every answer and "
        "stopping at the first success lets far more guessers pass. Put a change known to be "
        "heard among the trials: if it is missed, a failure shows nothing."
    )


def print_prepared(console: Console, made: Prepared) -> None:
    """Print where a pack is, and what to do with it."""
    console.print(f"A pack in {sentence(str(made.folder))}", style="bold")
    console.print()
    rows = table(10, 0)
    rows.add_row("send", "the folder, or listen.html alone: it holds all it needs")
    rows.add_row("keep", f"{sentence(str(made.key_place))}, until the last reply is in")
    rows.add_row(
        "holds",
        f"{made.files} files of {made.seconds:.1f} s; {made.trials} trials, and "
        f"{made.control_trials} of a change that is known to be heard",
    )
    rows.add_row("seal", "show this now, and the sealed line when the test is over:")
    console.print(rows)
    console.print(made.commitment, soft_wrap=True)
    console.print()
    console.print(
        "It tests honest listeners: somebody who subtracts the files can find out which is which."
    )


def print_score(console: Console, found: BlindScore) -> None:
    """Print what a blind test showed."""
    console.print(sentence(found.sentence), style="bold")
    if found.listeners and found.pooled is not None:
        heading(console, "Listener by listener, as first scored")
        _print_listeners(console, found.listeners)
    if found.pooled is not None:
        heading(console, "Together")
        _print_pooled(console, found)
    if found.worths:
        heading(console, "Worth re the first, as log odds of being chosen")
        rows = table(30, -8, 0)
        for worth in found.worths:
            interval = f"{worth.low:+.2f} to {worth.high:+.2f}"
            rows.add_row(sentence(worth.version), f"{worth.log_worth:+.2f}", interval)
        console.print(rows)
    if found.set_aside:
        heading(console, "Not counted")
        _print_set_aside(console, found)
    heading(console, "The key fits its commitment; so can anybody check")
    console.print(
        f"printf '%s' '{found.key.sealed_text}' | sha256sum", soft_wrap=True
    )  # fmt: skip
    console.print(found.key.commitment, soft_wrap=True)


def _print_listeners(console: Console, listeners: tuple[Listener, ...]) -> None:
    rows = table(20, -9, -8, -8, -13, -4, -8)
    preference = all(one.d_prime is None and one.choices for one in listeners)
    right = "for first" if preference else "right"
    rows.add_row("", right, "p", "p, Holm", "interval", "d'", "control")
    ordered = sorted(listeners, key=lambda one: one.p)
    for one in ordered[:MOST_LISTED]:
        control = one.controls
        rows.add_row(
            sentence(one.name) or "(no name)",
            f"{one.correct} of {one.trials}",
            f"{one.p:.2g}",
            f"{one.p_holm:.2g}",
            f"{100.0 * one.interval[0]:.0f} to {100.0 * one.interval[1]:.0f} %",
            "" if one.d_prime is None else f"{one.d_prime:.1f}",
            "" if not control.trials else f"{control.correct} of {control.trials}",
        )
    console.print(rows)
    if len(ordered) > MOST_LISTED:
        console.print(f"and {len(ordered) - MOST_LISTED} more, with higher p")
    if any(one.d_prime is not None for one in listeners):
        console.print(
            "Holm: corrected for how many listeners there are; interval: of the hit rate, 95 %; "
            f"d' by the model of {listeners[0].d_prime_model}."
        )


def _print_pooled(console: Console, found: BlindScore) -> None:
    pooled = found.pooled
    assert pooled is not None
    rows = table(30, 20, 0)
    what = "for the first" if pooled.share_who_hear is None else "right answers"
    rows.add_row(what, f"{pooled.correct} of {pooled.trials}", "")
    rows.add_row("p, exact", f"{pooled.p:.3g}", out_of_a_thousand(pooled.p))
    if pooled.p_over_listeners is not None:
        rows.add_row("p, each listener as one", f"{pooled.p_over_listeners:.3g}", "random effects")
    low, high = (100.0 * limit for limit in pooled.interval)
    rows.add_row("hit rate, 95 % interval", f"{low:.0f} to {high:.0f} %", "")
    if pooled.share_who_hear is not None:
        share = pooled.share_who_hear
        shown = f"{100.0 * share.low:.0f} to {100.0 * share.high:.0f} %"
        rows.add_row("heard, not guessed", shown, "of the answers")
    rows.add_row("ruled out", f"above {100.0 * pooled.ruled_out:.0f} %", "hit rates, at 95 %")
    word = "act on it" if found.e_value >= ACT_AT else f"act at {ACT_AT:g}"
    rows.add_row("running evidence", f"{found.e_value:.3g}", f"may be looked at any time; {word}")
    console.print(rows)


def _print_set_aside(console: Console, found: BlindScore) -> None:
    for why, count in Counter(reply.why for reply in found.set_aside).items():
        console.print(f"{count} {WHYS[why]}")
    for reply in found.set_aside[:MOST_LISTED]:
        who = f" ({sentence(reply.who)})" if reply.who else ""
        console.print(f"  {sentence(reply.where)}{who}: {sentence(reply.detail)}")
    if len(found.set_aside) > MOST_LISTED:
        console.print(f"  and {len(found.set_aside) - MOST_LISTED} more; --json lists all")
