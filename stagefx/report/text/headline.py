"""The answer's one large sentence."""

from __future__ import annotations

from stagefx.hearing.audibility import AudibilityRow
from stagefx.hearing.grades import EAR_MODEL, Grade
from stagefx.hearing.wording import factor
from stagefx.report.text.context import Known, strain_verb
from stagefx.report.text.traced_numbers import Paragraph, Telling, tell_row


def headline(known: Known) -> Paragraph:
    """The answer in one sentence: in this set-up, from what to what, the grade, and why."""
    telling = Telling()
    first, second = known.names
    front = f"In this set-up,{' faults and all,' if known.faults else ''} going"
    verdict = known.found.verdict.grade
    is_ = (
        "makes a difference that is below what can be measured"
        if (verdict is Grade.BELOW)
        else str(verdict)
    )
    rows = known.deciding
    if not rows:
        why = "nothing could be judged"
    elif rows[0].grade is Grade.BELOW:
        why = "every change that was looked for is smaller than 24-bit dither makes"
    elif verdict.rank >= Grade.MAY.rank:
        why = f"{_cause(known, rows[0])}{tell_row(telling, rows[0], known.row_at(rows[0]))}"
    else:
        why = f"nearest to it, {tell_row(telling, rows[0], known.row_at(rows[0]))}"
    film = _film(known, telling)
    return telling.paragraph([f"{front} from {first} to {second} {is_}: {why}{film}."])


def _cause(known: Known, first: AudibilityRow) -> str:
    """What lies behind the ear model's word, where no single row is over its limit."""
    if first.name != EAR_MODEL:
        return ""
    strained = [
        f"{name} {strain_verb(report.worst_moments[0])}"
        for name, report in zip(known.names, known.found.renders, strict=False)
        if report.worst_moments
    ]
    if strained:
        return f"{' and '.join(strained)}, and "
    return "no single cause is over its limit, but "


def _film(known: Known, telling: Telling) -> str:
    """How large the difference is beside what lossy coding does, where that was asked."""
    ratio = None if known.delivery is None else known.delivery.least_ratio
    if ratio is None:
        return ""
    at = f"{known.piece}/delivery/times_larger"
    if ratio >= 1.0:
        said = telling.tell(factor(ratio), ratio, "times", at)
        return f"; what a film carries changes the sound {said} as much"
    said = telling.tell(factor(1.0 / ratio), ratio, "times less", at)
    return f"; it is {said} what a film's coding changes"
