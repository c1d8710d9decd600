"""Comparisons and deliveries as a notebook shows them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stagefx.hearing.wording import decibels
from stagefx.io.tables import cell, html_table

if TYPE_CHECKING:
    from stagefx.audition.comparison import Comparison
    from stagefx.audition.delivery import Apart, Delivery


def comparison_as_html(found: Comparison) -> str:
    """A comparison: the sentence, then hearing's ledger.

    Parameters
    ----------
    found : Comparison
        Of two files or two stages.

    Returns
    -------
    str
        HTML, every text escaped.

    Examples
    --------
    >>> from stagefx.samples import samples_folder
    >>> from stagefx.audition.shortcuts import compare_files
    >>> trio = samples_folder() / "music" / "trio.flac"
    >>> "below what can be measured" in comparison_as_html(
    ...     compare_files(trio, trio, passage=(2.0, 4.0))
    ... )
    True
    """
    rows = [
        (
            row.name,
            cell(row.value, row.unit, without=row.remark or "not judged"),
            cell(row.may, row.unit),
            cell(row.margin_db, "dB"),
            "" if row.grade is None else row.grade.value,
        )
        for row in found.ledger
    ]
    return html_table(
        f"Grade: {found.verdict.grade.value}",
        rows,
        head=("difference", "size", "may be heard from", "to spare", "grade"),
        before=(found.verdict.sentence,),
        after=found.remarks,
    )


def delivery_as_html(found: Delivery) -> str:
    """A delivery: the sentence, then each coding beside the difference.

    Parameters
    ----------
    found : Delivery
        A pair, and the pair through each coding.

    Returns
    -------
    str
        HTML, every text escaped.

    Examples
    --------
    >>> from stagefx.audition.delivery import Apart, Delivery
    >>> "nothing that could get lost" in delivery_as_html(
    ...     Delivery(Apart(-float("inf"), 0.0), (), (0.0, 10.0))
    ... )
    True
    """
    rows = [("the pair itself", "", *_apart(found.pair), "", "")]
    rows += [
        (
            one.coding.name,
            f"{one.kbit_per_s:.0f} kbit/s",
            *_apart(one.by_coding),
            _apart(one.baseline)[1],
            _apart(one.after_coding)[1],
        )
        for one in found.delivered
    ]
    start, stop = found.passage_s
    return html_table(
        f"From {start:.1f} to {stop:.1f} s, re the music",
        rows,
        head=("", "measured", "what it changes", "noticed", "by coding alone", "pair after"),
        before=(found.sentence,),
    )


def _apart(found: Apart) -> tuple[str, str]:
    left = "nothing" if found.residue_db == -float("inf") else decibels(found.residue_db)
    p = found.detection_probability
    return left, "too short" if p is None else f"{p:.2f}"
