"""The plain words that lie in a pack beside its page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

_TEXT = """\
A listening test: {title}

Open listen.html in a browser.  It works from this folder or sent by itself, and asks nothing of
any other place.  It takes {trials} trials, {controls} of them a check of the set-up.

Set your volume first, at an ordinary level, then leave it.  85 dBA is the usual limit for eight
hours a day.

At the end the page shows a code.  Send it to whoever made the test, or save it as a file.

The WAV files are what the page plays.  All have one length, one header and one time stamp; their
names are random, and each was dithered for itself.

This pack tests honest listeners.  Somebody who subtracts the files from each other can find out
which is which, and so could anybody with a meter; what is asked is whether you hear it.

Which version is which was sealed before the first answer.  The seal is this SHA-256:

    {commitment}

When the test is over, whoever made it shows the sealed line.  Check it with

    printf '%s' 'the sealed line' | sha256sum

It has to give the same.
"""


def read_me(listing: Mapping[str, Any]) -> str:
    """What a listener should know of a pack."""
    return _TEXT.format(
        title=listing["title"] or "which is which?",
        trials=listing["trials"] + listing["control_trials"],
        controls=listing["control_trials"],
        commitment=listing["commitment"],
    )
