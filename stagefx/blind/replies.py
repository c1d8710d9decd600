"""Replies as they come in: hundreds of pasted codes, told apart before anything is counted."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from stagefx.blind.codes import Reply, decode_reply, like_a_code, reply_from_json
from stagefx.blind.keys import SealedKey
from stagefx.blind.trials import open_trial
from stagefx.errors import BlindError
from stagefx.io.texts import from_json


@dataclass(frozen=True)
class SetAside:
    """A reply that is not counted.

    Parameters
    ----------
    where : str
        File and line.
    who : str
        The listener's name, where it could be read.
    why : str
        ``"not a code"``, ``"altered"``, ``"another pack's"``, ``"not whole"``, ``"a duplicate"``,
        ``"not this listener's first"`` or ``"not there at the first scoring"``.
    detail : str
        A sentence.
    """

    where: str
    who: str
    why: str
    detail: str

    def as_json(self) -> dict[str, str]:
        """The reply as plain values.

        Returns
        -------
        dict
            ``where``, ``who``, ``why``, ``detail``.
        """
        return dict(vars(self))


@dataclass(frozen=True)
class Sorted:
    """Replies told apart.

    Parameters
    ----------
    counted : tuple of Reply
        In the order in which they stand.
    late : tuple of Reply
        Whole, but not there at the first scoring.
    set_aside : tuple of SetAside
        With the reason.
    """

    counted: tuple[Reply, ...]
    late: tuple[Reply, ...]
    set_aside: tuple[SetAside, ...]


def read_replies(places: Iterable[str | Path]) -> tuple[list[tuple[str, Reply]], list[SetAside]]:
    """Read codes and saved replies from files.

    Parameters
    ----------
    places : iterable of str or Path
        Saved replies (JSON), or text files with one code a line.

    Returns
    -------
    replies : list of tuple of str and Reply
        Where each stands, and the reply.
    not_codes : list of SetAside
        Lines that are no codes, or were altered.

    Raises
    ------
    BlindError
        A file cannot be read as text, or is JSON but no saved reply.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     codes = Path(folder, "comments.txt")
    ...     _ = codes.write_text("What a nice film!", encoding="utf-8")
    ...     read_replies([codes])[1][0].why
    'not a code'
    """
    replies: list[tuple[str, Reply]] = []
    not_codes: list[SetAside] = []
    for place in places:
        text = _text_of(place)
        if text.lstrip().startswith("{"):
            replies.append((str(place), reply_from_json(_json_of(text, place), str(place))))
            continue
        for number, line in enumerate(text.splitlines(), 1):
            if not line.strip():
                continue
            where = f"{place}, line {number}"
            try:
                replies.append((where, decode_reply(line)))
            except BlindError as error:
                why = "altered" if like_a_code(line) else "not a code"
                not_codes.append(SetAside(where, "", why, str(error)))
    return replies, not_codes


def sort_replies(
    replies: Sequence[tuple[str, Reply]], key: SealedKey, *, seen: frozenset[str] | None = None
) -> Sorted:
    """Tell the replies that count from those that do not.

    Parameters
    ----------
    replies : sequence of tuple of str and Reply
        Where each stands, and the reply.
    key : SealedKey
        The pack's.
    seen : frozenset of str or None
        Fingerprints of what was there at the first scoring; None at the first.

    Returns
    -------
    Sorted
        The first whole reply of each listener; those without a name are told apart by sitting.

    Examples
    --------
    >>> key = SealedKey("0" * 16, "abx", ("10",), ("main",), "0" * 32)
    >>> told = sort_replies([("a.txt, line 1", Reply("1" * 16, "Ada", "0" * 16, ()))], key)
    >>> told.set_aside[0].why
    "another pack's"
    """
    counted: list[Reply] = []
    late: list[Reply] = []
    aside: list[SetAside] = []
    fingerprints: set[str] = set()
    listeners: set[str] = set()
    # What was there at the first scoring comes first, so that nobody can push in before it.
    ordered = sorted(
        replies, key=lambda found: seen is not None and found[1].fingerprint not in seen
    )
    for where, reply in ordered:
        who = _who(reply)
        why, detail = "", _fault(reply, key)
        if reply.pack != key.pack:
            why, detail = "another pack's", f"it replies to pack {reply.pack}, not to {key.pack}"
        elif reply.fingerprint in fingerprints:
            why, detail = "a duplicate", "the same code was there before"
        elif detail:
            why = "not whole"
        elif who in listeners:
            why = "not this listener's first"
            detail = "only the first reply of a listener to a pack counts"
        if why:
            aside.append(SetAside(where, reply.listener, why, detail))
            continue
        fingerprints.add(reply.fingerprint)
        listeners.add(who)
        if seen is not None and reply.fingerprint not in seen:
            late.append(reply)
            why, detail = "not there at the first scoring", "it is counted apart, and never pooled"
            aside.append(SetAside(where, reply.listener, why, detail))
        else:
            counted.append(reply)
    return Sorted(tuple(counted), tuple(late), tuple(aside))


def _who(reply: Reply) -> str:
    name = " ".join(reply.listener.split()).casefold()
    return name or f"sitting {reply.sitting}"


def _fault(reply: Reply, key: SealedKey) -> str:
    """Why a reply is none that the pack's page could have given."""
    if reply.pack != key.pack:
        return ""
    try:
        trials = [open_trial(answer, key) for answer in reply.answers]
    except BlindError as error:
        return f"it holds {error}"
    controls = sum(trial.control for trial in trials)
    wanted = (key.trials, key.control_trials)
    for found, there in zip((len(trials) - controls, controls), wanted, strict=True):
        if there is not None and found != there:
            return f"it holds {found} trials of a kind of which the pack has {there}"
    return "" if trials else "it holds no trial"


def _text_of(place: str | Path) -> str:
    try:
        return Path(place).read_text(encoding="utf-8-sig")
    except OSError as error:
        raise BlindError(
            f"{place} cannot be read: {error.strerror}; give a file of replies"
        ) from None
    except UnicodeDecodeError:
        raise BlindError(
            f"{place} is no text; give the file that the page saved, or a text file with one code "
            "a line"
        ) from None


def _json_of(text: str, place: str | Path) -> object:
    try:
        return from_json(text)
    except ValueError:
        raise BlindError(
            f"{place} begins like a saved reply but is cut or altered; ask for it once more"
        ) from None
