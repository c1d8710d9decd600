"""What is missing, added, cut, exchanged or run at another speed: its rows, and each in words."""

from __future__ import annotations

from collections.abc import Sequence

from stagefx.difference.edits import Edit
from stagefx.hearing.audibility import AudibilityRow, judged_row
from stagefx.hearing.thresholds import limits
from stagefx.hearing.wording import decibels

ENDS = frozenset(
    {"missing at the beginning", "missing at the end", "added at the beginning", "added at the end"}
)
DIRECT = "direct voltage"
INSIDE = frozenset({"cut", "repeated", "inserted"})
QUIETEST_DB_SPL = 20.0
"""Without a room, sound of less is taken for nothing: music's own threshold in quiet, roughly."""
DEAD_DB = 60.0
"""A dead channel counts as so far out of balance: beyond every limit, and still a number."""

_CHANNELS = ("left", "right")
_SAMPLES_BELOW_S = 1e-3
_MOST_TOLD = 5


def edit_rows(
    edits: Sequence[Edit], *, full_scale_spl_db: float, room_dba: float | None, rate_hz: int
) -> tuple[AudibilityRow, ...]:
    """The rows of what was edited: the longest edit, an exchange, speed, wow, a dead channel."""
    hidden_db = max(QUIETEST_DB_SPL, QUIETEST_DB_SPL if room_dba is None else room_dba)

    def size_ms(edit: Edit) -> float:
        """How much of an edit counts, in ms."""
        if edit.kind in INSIDE:
            return 1e3 * edit.length_s
        if edit.silent or edit.level_db is None:
            return 0.0
        # a piece that begins or ends a little later has no rhythm to disturb
        long = 1e3 * edit.length_s >= limits()["edits"].will
        return (
            1e3 * edit.length_s if long and full_scale_spl_db + edit.level_db > hidden_db else 0.0
        )

    moved = [edit for edit in edits if edit.kind in ENDS | INSIDE]
    counted = [edit for edit in moved if size_ms(edit) > 0.0]
    value = max(map(size_ms, moved), default=0.0)
    told = sorted(counted, key=lambda edit: edit.at_s)
    said = [in_words(edit, rate_hz=rate_hz) for edit in told[:_MOST_TOLD]]
    said += [f"{len(told) - _MOST_TOLD} more edits."] if len(told) > _MOST_TOLD else []
    rows = [judged_row("edits", value, floor=1e3 / rate_hz, sentence=" ".join(said))]
    rows[0] = _never_below(rows[0], value)
    for name, kind, floor in (
        ("exchange", "exchanged channels", 0.01),
        ("speed", "speed", 1e-4),
        ("wow", "wow", 1e-3),
    ):
        found = next((edit for edit in edits if edit.kind == kind), None)
        size = abs(found.amount or 0.0) if found else 0.0
        sentence = in_words(found, rate_hz=rate_hz) if found else ""
        rows.append(judged_row(name, size, floor=floor, sentence=sentence))
    dead = next((edit for edit in edits if edit.kind == "dead channel"), None)
    if dead is not None:
        rows.append(judged_row("balance", DEAD_DB, sentence=in_words(dead, rate_hz=rate_hz)))
    return tuple(rows)


def _never_below(row: AudibilityRow, value_ms: float) -> AudibilityRow:
    """An edit of one sample was measured, however short it is."""
    return judged_row("edits", value_ms, sentence=row.sentence) if value_ms > 0.0 else row


def findings(edits: Sequence[Edit], *, rate_hz: int) -> tuple[str, ...]:
    """Every edit in words, in order of time, graded or not."""
    return tuple(in_words(edit, rate_hz=rate_hz) for edit in sorted(edits, key=lambda e: e.at_s))


def in_words(edit: Edit, *, rate_hz: int) -> str:
    """One edit as a plain sentence, with its time and length."""
    what, at = "silence" if edit.silent else "sound", f"at {edit.at_s:.2f} s"
    long = _length(edit.length_s, rate_hz)
    amount = abs(edit.amount or 0.0)
    are = "is" if long == "1 sample" else "are"
    channel = _channel(edit.channel)
    where = "" if edit.channel is None else f" in the {channel} channel"
    match edit.kind:
        case "missing at the beginning":
            return f"The first {long} of {what} {are} missing from the second."
        case "missing at the end":
            since = f"from {edit.at_s:.2f} s on"
            return f"The last {long} of {what} {are} missing from the second, {since}."
        case "added at the beginning":
            return f"The second begins with {long} of {what} that the first does not have."
        case "added at the end":
            return f"The second ends with {long} of {what} that the first does not have."
        case "cut" if edit.silent:
            return f"A silence is {long} shorter in the second, {at}."
        case "repeated" | "inserted" if edit.silent:
            return f"A silence is {long} longer in the second, {at}."
        case "cut":
            return f"{long} of sound {are} cut out {at}."
        case "repeated":
            return f"{long} of sound {are} repeated {at}."
        case "inserted":
            return f"{long} of other sound {are} inserted {at}."
        case "exchanged channels":
            return f"Left and right are exchanged; they differ by {decibels(amount)}."
        case "inverted channel":
            return f"The {channel} channel of the second has its polarity inverted."
        case "dead channel":
            return f"The {channel} channel of the second is dead."
        case "inverted polarity":
            return "The second has its polarity inverted, both channels alike."
        case "speed":
            way = "fast" if (edit.amount or 0.0) > 0.0 else "slow"
            return f"The second runs {amount:.3g} % {way}."
        case "wow":
            return f"The second has wow and flutter of {amount:.2g} %, weighted peak."
        case "direct voltage":
            return (
                f"One version has direct voltage that the other has not{where}, "
                f"{100.0 * amount:.2g} % of full scale: not heard, but it costs headroom."
            )
    raise AssertionError(edit.kind)


def _length(seconds: float, rate_hz: int) -> str:
    if seconds < _SAMPLES_BELOW_S:
        count = max(round(seconds * rate_hz), 1)
        return "1 sample" if count == 1 else f"{count} samples"
    return f"{1e3 * seconds:.3g} ms" if seconds < 1.0 else f"{seconds:.2f} s"


def _channel(number: int | None) -> str:
    if number is None:
        return "one"
    return _CHANNELS[number] if number < len(_CHANNELS) else f"{number + 1}th"
