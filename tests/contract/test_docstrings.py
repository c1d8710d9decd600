"""The public API says what it takes and gives, as its signature does; everything else has a line.

The public API is what ``__all__`` of `stagefx` and of its packages names.  Asked of each of its
functions and methods: a one-line summary that ends in a full stop; the parameters of the signature,
all of them and in its order; a Returns (or Yields) section exactly where something is returned;
and, of functions, an example that runs.  Every other public name has a sentence, and a few lines
more at most where a law has to be said; no sections.

Not asked at all: properties (their summary is enough), what a dataclass generates, private names,
and a method that takes over its base's and leaves the words to it.
"""

from __future__ import annotations

import dataclasses
import importlib
import inspect
import pkgutil
from collections.abc import Callable, Iterator
from types import ModuleType
from typing import Any

import pytest
from numpydoc.docscrape import NumpyDocString

import stagefx
import stagefx_cli

NOTHING = {"None", "NoReturn", "Never"}
SECTIONS = ("Parameters", "Returns", "Yields")


def modules() -> Iterator[ModuleType]:
    for package in (stagefx, stagefx_cli):
        yield package
        for found in pkgutil.walk_packages(package.__path__, package.__name__ + "."):
            if not any(part.startswith("_") for part in found.name.split(".")):
                yield importlib.import_module(found.name)


def public(holder: ModuleType) -> Iterator[tuple[str, Any]]:
    """The public names a module defines itself, decorators taken off."""
    named = None if holder in (stagefx, stagefx_cli) else getattr(holder, "__all__", None)
    for name, value in list(vars(holder).items()):
        bare = inspect.unwrap(getattr(value, "py_func", value))
        own = getattr(bare, "__module__", None) == holder.__name__
        if own and (name in named if named is not None else not name.startswith("_")):
            yield f"{holder.__name__}.{name}", bare


def methods(owner: type) -> Iterator[tuple[str, Callable[..., Any]]]:
    """The public methods a class defines itself, without those its base speaks for."""
    for name, value in vars(owner).items():
        bare = inspect.unwrap(getattr(value, "__func__", value))
        spoken_for = not bare.__doc__ and any(hasattr(base, name) for base in owner.__bases__)
        if inspect.isfunction(bare) and not name.startswith("_") and not spoken_for:
            yield f"{owner.__module__}.{owner.__qualname__}.{name}", bare


def parameter_names(function: Callable[..., Any]) -> list[str]:
    stars = {inspect.Parameter.VAR_POSITIONAL: "*", inspect.Parameter.VAR_KEYWORD: "**"}
    parameters = inspect.signature(function).parameters.values()
    names = [stars.get(one.kind, "") + one.name for one in parameters]
    return names[1:] if names[:1] in (["self"], ["cls"]) else names


def documented_names(doc: NumpyDocString, section: str) -> list[str]:
    return [name.strip() for entry in doc[section] for name in entry.name.split(",")]


def has_sections(text: str) -> bool:
    return any(f"{section}\n---" in inspect.cleandoc(text) for section in SECTIONS)


def in_brief(text: str | None) -> list[str]:
    """What is wrong with the docstring of a name that is no part of the API."""
    if text and has_sections(text):
        return ["has sections, though it is no part of the API"]
    first = (text or "").partition("\n\n")[0].strip()
    return [] if first.endswith(".") else ["does not begin with a sentence"]


def complaints(function: Callable[..., Any], *, text: str | None, example: bool) -> list[str]:
    """All that is wrong between a function's signature and its docstring."""
    if not text:
        return ["has no docstring"]
    doc = NumpyDocString(text)
    found = []
    summary = doc["Summary"]
    if len(summary) != 1 or not summary[0].endswith("."):
        found.append("does not begin with one line that ends in a full stop")
    taken, told = parameter_names(function), documented_names(doc, "Parameters")
    if taken != told:
        found.append(f"takes {taken} but documents {told}")
    gives = str(inspect.signature(function).return_annotation) not in NOTHING
    if gives != bool(doc["Returns"] or doc["Yields"]):
        found.append("returns something untold" if gives else "documents a return of nothing")
    if example and ">>> " not in text:
        found.append("shows no example")
    return found


def class_complaints(owner: type) -> list[str]:
    """What is wrong between a class's docstring and what it is made from."""
    if not owner.__doc__:
        return ["has no docstring"]
    doc = NumpyDocString(inspect.cleandoc(owner.__doc__))
    told = documented_names(doc, "Parameters") + documented_names(doc, "Attributes")
    if dataclasses.is_dataclass(owner):
        fields = [field.name for field in dataclasses.fields(owner) if field.name[0] != "_"]
        return [f"has fields {fields} but documents {told}"] if told and told != fields else []
    maker = vars(owner).get("__init__")
    if inspect.isfunction(maker) and maker.__module__ == owner.__module__:
        taken = parameter_names(maker)
        told = documented_names(doc, "Parameters")
        return [f"is made from {taken} but documents {told}"] if told != taken else []
    return []


def api() -> set[int]:
    """Identities of what the packages name as theirs."""
    named = [getattr(stagefx, name) for name in stagefx.__all__]
    for module in modules():
        if hasattr(module, "__path__") and module is not stagefx:
            named += [getattr(module, name) for name in getattr(module, "__all__", ())]
    return {id(inspect.unwrap(getattr(one, "py_func", one))) for one in named}


def everything_wrong() -> Iterator[str]:
    whole = api()
    for module in modules():
        for name, value in public(module):
            full = id(value) in whole
            if inspect.isfunction(value):
                text = inspect.cleandoc(value.__doc__ or "")
                found = complaints(value, text=text, example=True) if full else in_brief(text)
                yield from (f"{name} {complaint}" for complaint in found)
            elif inspect.isclass(value):
                found = class_complaints(value) if full else in_brief(value.__doc__)
                yield from (f"{name} {complaint}" for complaint in found)
                for method_name, method in methods(value):
                    text = inspect.cleandoc(method.__doc__ or "")
                    found = complaints(method, text=text, example=False)
                    found = found if full else in_brief(text)
                    yield from (f"{method_name} {complaint}" for complaint in found)


def test_signatures_and_docstrings_agree() -> None:
    wrong = list(everything_wrong())
    assert not wrong, "\n" + "\n".join(wrong)


def test_the_walk_sees_functions_of_the_library() -> None:
    seen = {name for module in modules() for name, _ in public(module)}
    assert {"stagefx.errors.nearest", "stagefx.samples.samples_folder"} <= seen


GOOD = """Halve a voltage.

    Parameters
    ----------
    volts : float, V
        What comes in.
    times : int
        How often.

    Returns
    -------
    float
        What goes out, in V.

    Examples
    --------
    >>> 1.0 / 2.0
    0.5
    """


def halve(volts: float, *, times: int = 1) -> float:
    return volts / 2.0**times


def forget(volts: float, *, times: int = 1) -> None:
    del volts, times


def test_a_good_docstring_passes() -> None:
    assert complaints(halve, text=inspect.cleandoc(GOOD), example=True) == []


@pytest.mark.parametrize(
    ("function", "old", "new", "complaint"),
    [
        (halve, GOOD, "", "has no docstring"),
        (halve, "voltage.", "voltage", "one line that ends in a full stop"),
        (halve, "voltage.\n", "voltage,\n    and again.\n", "one line that ends in a full stop"),
        (halve, "volts : float, V", "volt : float, V", "takes"),
        (halve, "    times : int\n        How often.\n", "", "takes"),
        (halve, "times : int", "times : int\n        How often.\n    more : int", "takes"),
        (halve, "Returns\n    -------", "Notes\n    -----", "returns something untold"),
        (forget, "", "", "documents a return of nothing"),
        (halve, ">>> 1.0 / 2.0\n    0.5", "Like this.", "shows no example"),
    ],
)
def test_a_wrong_docstring_is_found(
    function: Callable[..., Any], old: str, new: str, complaint: str
) -> None:
    text = inspect.cleandoc(GOOD.replace(old, new) if old else GOOD)
    found = complaints(function, text=text, example=True)
    assert len(found) == 1
    assert complaint in found[0]


def test_parameters_in_the_wrong_order_are_found() -> None:
    def swapped(*, times: int, volts: float) -> float:
        return volts / 2.0**times

    found = complaints(swapped, text=inspect.cleandoc(GOOD), example=True)
    assert found == ["takes ['times', 'volts'] but documents ['volts', 'times']"]


def test_a_name_outside_the_api_needs_a_sentence_alone() -> None:
    assert in_brief("Halve a voltage.") == []
    assert in_brief("Halve a voltage") == ["does not begin with a sentence"]
    assert in_brief("") == ["does not begin with a sentence"]
    assert "has sections" in in_brief(inspect.cleandoc(GOOD))[0]


def test_a_dataclass_that_documents_other_fields_is_found() -> None:
    @dataclasses.dataclass(frozen=True)
    class Level:
        """A level.

        Attributes
        ----------
        level : float, dB
            The level.
        """

        level_db: float

    assert class_complaints(Level) == ["has fields ['level_db'] but documents ['level']"]


def test_a_class_made_from_other_things_than_documented_is_found() -> None:
    class Level:
        """A level.

        Parameters
        ----------
        level : float, dB
            The level.
        """

        def __init__(self, level_db: float) -> None:
            self.level_db = level_db

        def raised(self, by_db: float) -> float:
            """Raise it."""
            return self.level_db + by_db

    class Louder(Level):
        """Another."""

        def raised(self, by_db: float) -> float:
            return self.level_db + 2.0 * by_db

    assert class_complaints(Level) == ["is made from ['level_db'] but documents ['level']"]
    ((name, method),) = methods(Level)
    assert name.endswith("Level.raised")
    assert len(complaints(method, text=method.__doc__, example=False)) == 2
    assert list(methods(Louder)) == []
