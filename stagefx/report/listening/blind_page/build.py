"""The listening page put together: template, styles, scripts, what the page knows, the music."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from stagefx.blind.codes import MOST_TRIALS
from stagefx.blind.protocol import find_protocol
from stagefx.errors import BlindError
from stagefx.figures.cautions import CAUTIONS
from stagefx.report.page.shell import render_page

_KNOWN = (
    "pack", "protocol", "title", "commitment", "trials", "control_trials", "rate_hz", "seconds",
)  # fmt: skip
_ITEM_KNOWN = ("kind", "title", "named", "unlabelled")
_SECRETS = ("key", "nonce", "answer", "answers", "seen")
_FILE = re.compile(r"[0-9A-Za-z][0-9A-Za-z_.-]*")
_LABELS = {"abx": {"A", "B"}, "triple": {"reference"}}


def build_page(pack: Mapping[str, Any], audio: Mapping[str, bytes]) -> str:
    """One HTML file that plays a pack, asks, and seals the replies in a code.

    Files stand in the order of their names, and of the pack only what the page needs is put in.
    """
    known = _what_the_page_knows(pack)
    _check_files(known, audio)
    return render_page(
        "listening/blind_page/page",
        script="listening/blind_page/main",
        styles=("listening/listening", "listening/blind_page/page"),
        carried={name: audio[name] for name in sorted(audio)},
        known=known,
        caution=CAUTIONS["listening"],
    )


def _what_the_page_knows(pack: Mapping[str, Any]) -> dict[str, Any]:
    for holder in (pack, *(item for item in pack["items"] if item["kind"] != "training")):
        secret = [name for name in _SECRETS if name in holder]
        if secret:
            raise BlindError(
                f"a pack for the listening page holds '{secret[0]}', which would tell the answers; "
                "keep it in the key file only"
            )
    find_protocol(pack["protocol"])
    known = {name: pack[name] for name in _KNOWN}
    known["items"] = [_item(item, pack["protocol"]) for item in pack["items"]]
    kinds = [item["kind"] for item in known["items"]]
    trials = known["trials"] + (known["control_trials"] if "control" in kinds else 0)
    if "main" not in kinds or known["trials"] < 1:
        raise BlindError("a pack for the listening page has no main item, or no trial of one")
    if trials > MOST_TRIALS:
        raise BlindError(
            f"{trials} trials do not fit into a reply code; take at most {MOST_TRIALS}"
        )
    return known


def _item(item: Mapping[str, Any], protocol: str) -> dict[str, Any]:
    known = {name: item[name] for name in _ITEM_KNOWN if name in item}
    if item["kind"] == "training":
        known["answer"] = item["answer"]
    wanted, named = _LABELS.get(protocol, set()), set(item.get("named") or {})
    if not wanted <= named or len(item["unlabelled"]) < 2:
        raise BlindError(
            f"an item of {protocol} has the versions {sorted(named)} and {len(item['unlabelled'])} "
            f"unlabelled ones; it needs {sorted(wanted)} and at least two"
        )
    return known


def _check_files(known: Mapping[str, Any], audio: Mapping[str, bytes]) -> None:
    named = {
        name
        for item in known["items"]
        for name in (*(item.get("named") or {}).values(), *item["unlabelled"])
    }
    if odd := sorted(named.symmetric_difference(audio)):
        where = "the pack names, but is not there" if odd[0] in named else "no item of the pack has"
        raise BlindError(f"'{odd[0]}' is a file that {where}; give each file that the pack names")
    if strange := [name for name in named if not _FILE.fullmatch(name)]:
        raise BlindError(f"'{strange[0]}' is no file name for a pack; take letters and digits")
    if any(data[:4] != b"RIFF" or data[8:12] != b"WAVE" for data in audio.values()):
        raise BlindError("a file for the listening page is no WAV file; make the pack once more")
    if len({len(data) for data in audio.values()}) > 1:
        raise BlindError("files of different sizes tell versions apart; make all of one size")
