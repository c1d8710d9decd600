"""A blind test scored: exact, per listener and pooled, and what it ruled out."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np

from stagefx.blind.codes import Reply
from stagefx.blind.keys import SealedKey, load_key
from stagefx.blind.listeners import Listener, controls_of, listener_of
from stagefx.blind.protocol import find_protocol
from stagefx.blind.replies import SetAside, read_replies, sort_replies
from stagefx.blind.result import BlindScore, Pooled
from stagefx.blind.statistics.binomial import USUAL_FALSE_PASS, p_value, rate_interval, upper_limit
from stagefx.blind.statistics.e_value import e_value
from stagefx.blind.statistics.pooling import holm, p_over_listeners, share_who_hear
from stagefx.blind.statistics.preference import Worth, log_worths, p_all_alike
from stagefx.errors import BlindError
from stagefx.io.atomic_file import WholeFile
from stagefx.io.texts import from_json


def score_files(key_place: str | Path, places: Iterable[str | Path]) -> BlindScore:
    """Score reply files with a key file.

    Parameters
    ----------
    key_place : str or Path
        The sealed key.
    places : iterable of str or Path
        Saved replies, or text files with one code a line.

    Returns
    -------
    BlindScore
        What the test showed.

    Raises
    ------
    BlindError
        The key does not fit its commitment, or a file cannot be read.
    OutputError
        The list of what was there at the first scoring cannot be written.

    Notes
    -----
    The first scoring writes the fingerprints of the replies it saw beside the key, in a file that
    ends in ``.seen.json``; replies that come later are counted apart.

    Examples
    --------
    >>> import tempfile
    >>> from stagefx.blind.codes import Answer, Reply, encode_reply
    >>> from stagefx.blind.keys import draw_key, save_key
    >>> key = draw_key("abx", ("main",))
    >>> x_is_a = Answer(0, key.key[0].index("0"), (0,))
    >>> code = encode_reply(Reply(key.pack, "Ada", "0" * 16, 9 * (x_is_a,)))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     place, codes = Path(folder, "key.json"), Path(folder, "codes.txt")
    ...     save_key(key, place)
    ...     _ = codes.write_text(code, encoding="utf-8")
    ...     score_files(place, [codes]).pooled.correct
    9
    """
    key = load_key(key_place)
    replies, not_codes = read_replies(places)
    beside = Path(f"{key_place}.seen.json")
    seen = _seen(beside, key)
    found = score(key, replies, seen=seen, not_codes=not_codes)
    if seen is None and found.listeners:
        prints = sorted({reply.fingerprint for _, reply in replies if reply.pack == key.pack})
        with WholeFile(beside) as whole:
            text = json.dumps({"pack": key.pack, "seen": prints}, indent=2)
            whole.file.write(text.encode() + b"\n")
    return found


def score(
    key: SealedKey,
    replies: Sequence[tuple[str, Reply]],
    *,
    seen: frozenset[str] | None = None,
    not_codes: Sequence[SetAside] = (),
) -> BlindScore:
    """Score replies with an open key."""
    told = sort_replies(replies, key, seen=seen)
    listeners = [listener_of(reply, key) for reply in told.counted]
    late = tuple(listener_of(reply, key) for reply in told.late)
    corrected = holm([listener.p for listener in listeners])
    listeners = [one.with_holm(p) for one, p in zip(listeners, corrected, strict=True)]
    outcomes = [right for one in (*listeners, *late) for right in one.outcomes]
    course = [] if _several(key) else _evidence(outcomes, key.protocol)
    worths, alike = _worths(key, listeners)
    return BlindScore(
        key=key,
        listeners=tuple(listeners),
        pooled=None if _several(key) else _pooled(listeners, key.protocol),
        controls=controls_of([listener.controls for listener in listeners]),
        e_value=course[-1] if course else 1.0,
        e_course=tuple(course),
        set_aside=(*not_codes, *told.set_aside),
        late=late,
        worths=worths,
        p_all_alike=alike,
    )


def _pooled(listeners: Sequence[Listener], protocol: str) -> Pooled | None:
    kind = find_protocol(protocol)
    scores = [(one.correct, one.trials) for one in listeners if one.trials]
    correct, trials = (sum(column) for column in zip(*scores, strict=True)) if scores else (0, 0)
    if not trials:
        return None
    return Pooled(
        correct=correct,
        trials=trials,
        p=p_value(correct, trials, kind.chance, two_sided=kind.two_sided),
        interval=rate_interval(correct, trials),
        share_who_hear=None if kind.two_sided else share_who_hear(correct, trials, kind.chance),
        p_over_listeners=p_over_listeners(scores, kind.chance),
        ruled_out=upper_limit(correct, trials, sure=1.0 - USUAL_FALSE_PASS),
    )


def _evidence(outcomes: Sequence[bool], protocol: str) -> list[float]:
    kind = find_protocol(protocol)
    found = []
    for n, k in enumerate(np.cumsum(np.array(outcomes, dtype=np.int64)), 1):
        value = e_value(int(k), n, kind.chance)
        if kind.two_sided:
            value = 0.5 * (value + e_value(n - int(k), n, kind.chance))
        found.append(value)
    return found


def _several(key: SealedKey) -> bool:
    """Whether a preference is between more than two versions."""
    return max(len(digits) for digits in key.key) > 2


def _worths(
    key: SealedKey, listeners: Sequence[Listener]
) -> tuple[tuple[Worth, ...], float | None]:
    if key.protocol != "preference":
        return (), None
    count = max(len(digits) for digits in key.key)
    names = [*key.versions, *(f"version {n + 1}" for n in range(len(key.versions), count))]
    wins = np.zeros((count, count), dtype=np.int64)
    for listener in listeners:
        for chosen, passed_over in listener.choices:
            wins[chosen, passed_over] += 1
    try:
        return log_worths(names[:count], wins), p_all_alike(wins)
    except BlindError:  # too few choices to put them on one scale: the counts stand by themselves
        return (), None


def _seen(beside: Path, key: SealedKey) -> frozenset[str] | None:
    try:
        found = from_json(beside.read_text(encoding="utf-8"))
        if found["pack"] == key.pack:
            return frozenset(found["seen"])
    except FileNotFoundError:
        return None
    except (OSError, ValueError, KeyError, TypeError):
        pass
    raise BlindError(
        f"{beside} does not tell what was there at the first scoring of this pack; put the file "
        "back as the first scoring wrote it, or take it away to begin again, and say that you did"
    )
