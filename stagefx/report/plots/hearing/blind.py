"""A blind test's evidence as it grew, answer by answer."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stagefx.blind.result import BlindScore
from stagefx.blind.statistics.e_value import ACT_AT
from stagefx.report.plots import style

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def evidence_claim(found: BlindScore) -> str:
    """What the picture shows, as a sentence."""
    if not found.e_course:
        return "Nobody has replied yet"
    course = np.array(found.e_course)
    if course.max() >= ACT_AT:
        first = int(np.argmax(course >= ACT_AT)) + 1
        return f"The evidence for hearing reached {ACT_AT:g} after {first} answers"
    return f"The evidence for hearing stands at {course[-1]:.2g} after {len(course)} answers"


def draw_score(found: BlindScore) -> Figure:
    """Draw the evidence against the number of answers, with the level to act at."""
    with style.drawing():
        page = style.sheet("Heard blind?", f"pack {found.key.pack}, {found.key.protocol}")
        axes = page.add_subplot()
        style.claim(axes, evidence_claim(found))
        course = np.array([1.0, *found.e_course])
        answers = np.arange(len(course))
        shown = np.clip(course, 1e-3, 1e6)
        axes.plot(answers, shown, drawstyle="steps-post", color=style.INK)
        axes.axhline(ACT_AT, linestyle=":", color=style.INK)
        axes.annotate("enough to act on", (0.0, ACT_AT), xytext=(4, 4), textcoords="offset points")
        axes.set_yscale("log")
        low, high = min(0.05, float(shown.min())) / 1.5, max(100.0, 3.0 * float(shown.max()))
        tens = [ten for ten in range(-3, 8) if low <= 10.0**ten <= high]
        axes.set_yticks([10.0**ten for ten in tens], [f"{10.0**ten:g}" for ten in tens])
        axes.set_yticks([], minor=True)
        axes.set_ylim(low, high)
        axes.set_xlim(0.0, max(16, len(course) - 1))
        axes.set_xlabel("answers")
        axes.set_ylabel("times more likely by hearing than by chance")
    return page
