"""The page's modules as one script: each after those that it imports, their joints taken off."""

from __future__ import annotations

import re
from importlib import resources

_IMPORT = re.compile(r'^import \{[^}]*\} from "\./(\w+)\.js";\n', re.MULTILINE)
_EXPORT = re.compile(r"^export (?=(?:async )?function |class |const )", re.MULTILINE)


def page_part(name: str) -> str:
    """One of the page's own files.

    Parameters
    ----------
    name : str
        Its file name.

    Returns
    -------
    str
        What it holds.

    Examples
    --------
    >>> page_part("page.html").splitlines()[0]
    '<!doctype html>'
    """
    return resources.files("stagefx.report.listening.blind_page").joinpath(name).read_text("utf-8")


def bundle(*modules: str) -> str:
    """Modules and all that they import, as one script.

    Parameters
    ----------
    *modules : str
        Names of modules, without their ending.

    Returns
    -------
    str
        For one ``<script type="module">``: all top-level names share one scope, in which a name
        given twice is an error that no browser overlooks.

    Examples
    --------
    >>> script = bundle("code")
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
        _add(needed, done)
    done[name] = _EXPORT.sub("", _IMPORT.sub("", text))
