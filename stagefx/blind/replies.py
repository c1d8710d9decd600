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
    """A reply that is not counted."""

    where: str
    who: str
    why: str
    detail: str

    def as_json(self) -> dict[str, str]:
        """The reply as plain values."""
        return dict(vars(self))


@dataclass(frozen=True)
class Sorted:
    """Replies told apart."""

    counted: tuple[Reply, ...]
    late: tuple[Reply, ...]
    set_aside: tuple[SetAside, ...]


def read_replies(places: Iterable[str | Path]) -> tuple[list[tuple[str, Reply]], list[SetAside]]:
    """Read codes and saved replies from files."""
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
    """Tell the replies that count from those that do not."""
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
