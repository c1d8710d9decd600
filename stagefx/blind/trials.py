"""What a trial's draw and reply mean, once the key is open."""

from __future__ import annotations

from dataclasses import dataclass

from stagefx.blind.codes import HIGHEST_GRADE, LOWEST_GRADE, Answer
from stagefx.blind.keys import SealedKey
from stagefx.errors import BlindError

CHOICES = {"abx": (2, 2), "same-different": (4, 2), "triangle": (6, 3), "triple": (2, 0)}
"""Of each protocol how many draws and how many replies there are; a preference depends on how many
versions there are, the triple's replies are grades."""


@dataclass(frozen=True)
class Trial:
    """One trial, opened."""

    item: int
    control: bool
    right: bool
    differed: bool = True
    chosen: int = -1
    passed_over: int = -1
    grade_difference: float | None = None


def open_trial(answer: Answer, key: SealedKey) -> Trial:
    """A trial's outcome."""
    if answer.item >= len(key.key):
        raise BlindError(f"a trial of item {answer.item}, where the pack has {len(key.key)}")
    order = [int(digit) for digit in key.key[answer.item]]
    control = key.items[answer.item] == "control"
    if key.protocol == "preference":
        return _preferred(answer, order, control=control)
    draws, replies = CHOICES[key.protocol]
    if answer.draw >= draws:
        raise BlindError(f"a draw of {answer.draw}, where there are {draws}")
    if key.protocol == "triple":
        return _graded(answer, order, control=control)
    if len(answer.reply) != 1 or answer.reply[0] >= replies:
        raise BlindError(f"a reply of {answer.reply}, where there are {replies}")
    (reply,) = answer.reply
    if key.protocol == "abx":
        return Trial(answer.item, control, order[answer.draw] == reply)
    if key.protocol == "triangle":
        return Trial(answer.item, control, reply == answer.draw // 2)
    differed = answer.draw >> 1 != answer.draw & 1
    return Trial(answer.item, control, differed == (reply == 1), differed)


def _preferred(answer: Answer, order: list[int], *, control: bool) -> Trial:
    pairs = [(i, j) for i in order for j in order if i != j]
    if answer.draw >= len(pairs) or len(answer.reply) != 1 or answer.reply[0] > 1:
        raise BlindError(f"draw {answer.draw} and reply {answer.reply} of no pair of versions")
    first, second = pairs[answer.draw]
    chosen, passed_over = (first, second) if answer.reply[0] == 0 else (second, first)
    return Trial(
        answer.item, control, chosen < passed_over, chosen=chosen, passed_over=passed_over
    )  # fmt: skip


def _graded(answer: Answer, order: list[int], *, control: bool) -> Trial:
    grades = answer.reply
    if len(grades) != 2 or not all(LOWEST_GRADE <= g <= HIGHEST_GRADE for g in grades):
        raise BlindError(f"grades of {grades}, where they go from 1.0 to 5.0")
    first, second = grades if order[answer.draw] == 0 else grades[::-1]
    apart = (second - first) / 10.0
    return Trial(answer.item, control, apart < 0.0, grade_difference=apart)
