"""A page's modules as one script: each after those that it imports, their joints taken off."""

from __future__ import annotations

import posixpath
import re
from importlib import resources

_IMPORT = re.compile(r'^import \{[^}]*\} from "(\.[\w./]+)\.js";\n', re.MULTILINE)
_EXPORT = re.compile(r"^export (?=(?:async )?function |class |const )", re.MULTILINE)


def page_part(name: str) -> str:
    """One of the pages' own files, by its path below ``report/``."""
    return resources.files("stagefx.report").joinpath(name).read_text("utf-8")


def bundle(*modules: str) -> str:
    """Modules, by their paths without an ending, and all that they import, as one script.

    For one ``<script type="module">``: all top-level names share one scope, in which a name given
    twice is an error that no browser overlooks.

    >>> script = bundle("listening/blind_page/code")
    >>> script.index("function sha256") < script.index("function replyCode"), "import" in script
    (True, False)
    """
    done: dict[str, str] = {}
    for name in modules:
        _add(name, done)
    return "\n".join(done.values())


def _add(name: str, done: dict[str, str]) -> None:
    if name in done:
        return
    text = page_part(f"{name}.js")
    for needed in _IMPORT.findall(text):
        _add(posixpath.normpath(posixpath.join(posixpath.dirname(name), needed)), done)
    done[name] = _EXPORT.sub("", _IMPORT.sub("", text))
