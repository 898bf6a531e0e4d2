"""The one source of each lesson: ``data/lesson_texts/NN_name.toml``, read and checked whole.

A text may have places, ``<module.voc_v:.1f>``: the value of that name among the numbers drawn for
the learner, or among those the task gives; behind the colon how it is printed. LaTeX and JSON need
the braces, so places have angle brackets.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import data_folder
from solarcalc.basis.quantity import figure, grouped
from solarcalc.basis.text import nearest
from solarcalc.lessons.units import one_alone
from solarcalc.sitefile.toml import read_toml

RUNGS = ("read", "one step", "design", "find the fault")
"""Kinds of task, from easy to hard."""
SIGNALS = ("DANGER", "WARNING", "NOTICE")
PLACE = re.compile(r"<([a-z][\w.]*)(?::([^<>]*))?>")


@dataclass(frozen=True, kw_only=True)
class Asked:
    """A prediction that is asked for, or a task.

    Parameters
    ----------
    key : str
        Name of the function that works it out, in the lesson's module under ``lessons/about``.
    ask : str
    rung : str
        One of `RUNGS`; empty for the prediction.
    choices : mapping of str to str
        Letter to words; empty where a number or a name is asked for.
    hints : tuple of str
        One a wrong try, in order.
    solution : str
        Shown when it is asked for after as many wrong tries as there are hints, or after one more.
    right : str
        Said of a right answer; of the prediction, when it is compared with the result.
    mistakes : mapping of str to str
        Name of the slip to the sentence that names it.
    other : str
        Said of a wrong item that is no named slip; its place ``<chosen>`` is that item.
    caption, alt : str
        Of the readings and of the drawing that stand with it.
    after : str
        Key of a task that must be done first, as this one gives it away; empty for none.
    """

    key: str
    ask: str
    rung: str = ""
    choices: Mapping[str, str] = field(default_factory=dict)
    hints: tuple[str, ...] = ()
    solution: str = ""
    right: str = ""
    mistakes: Mapping[str, str] = field(default_factory=dict)
    other: str = ""
    caption: str = ""
    alt: str = ""
    after: str = ""


@dataclass(frozen=True, kw_only=True)
class LessonText:
    """All words of one lesson.

    Parameters
    ----------
    key : str
        ``07_strings_cold_morning``.
    title, question, idea : str
        The question comes from the roof; the idea is one.
    signal, caution : str
        One of `SIGNALS`, and what it warns of.
    sources : tuple of str
    predict : Asked
    latex, figures, symbols : str
        A formula, the same with figures put in, and what its letters stand for.
    picture, picture_alt : str
        What to move, and what is seen.
    tasks : tuple of Asked
    """

    key: str
    title: str
    question: str
    idea: str
    signal: str
    caution: str
    sources: tuple[str, ...]
    predict: Asked
    latex: str
    figures: str
    symbols: str
    picture: str
    picture_alt: str
    tasks: tuple[Asked, ...]

    @property
    def number(self) -> int:
        """Its place among the lessons."""
        return int(self.key[:2])

    @property
    def about(self) -> str:
        """Name of its module under ``lessons/about``."""
        return self.key[3:]

    def task(self, key: str) -> Asked:
        """The task, or the prediction, of that name.

        Raises
        ------
        InputError
            When there is none.
        """
        known = {one.key: one for one in (*self.tasks, self.predict)}
        if key not in known:
            near = nearest(key, known)
            raise InputError(Fault(where=f"lesson {self.key}", given=f"task {key!r}",
                                   allowed=", ".join(known),
                                   remedy=f"did you mean {near}?" if near else ""))
        return known[key]


def lesson_keys() -> tuple[str, ...]:
    """Keys of all lessons, in order."""
    return tuple(sorted(path.stem for path in (data_folder() / "lesson_texts").glob("*.toml")))


@cache
def lesson_text(key: str) -> LessonText:
    """The words of one lesson.

    Parameters
    ----------
    key : str
        Such as ``"07_strings_cold_morning"``.

    Raises
    ------
    InputError
        When there is no such lesson, or its file lacks a text or has one too many: all faults.
    """
    if key not in lesson_keys():
        near = nearest(key, lesson_keys())
        raise InputError(Fault(where="lesson", given=repr(key), allowed=", ".join(lesson_keys()),
                               remedy=f"did you mean {near}?" if near else ""))
    table = read_toml(data_folder() / "lesson_texts" / f"{key}.toml")
    if faults := list(_faults(table, f"{key}.toml")):
        raise InputError(faults)
    formula, picture = table["formula"], table["picture"]
    return LessonText(
        key=key, title=table["title"], question=table["question"], idea=table["idea"],
        signal=table["caution"]["signal"], caution=table["caution"]["words"],
        sources=tuple(table["sources"]), predict=_asked(table["predict"]),
        latex=formula["latex"], figures=formula["figures"], symbols=formula["symbols"],
        picture=picture["words"], picture_alt=picture["alt"],
        tasks=tuple(map(_asked, table["tasks"])),
    )  # fmt: skip


def filled(text: str, *values: Any) -> str:
    """A text with its places filled in, each from the first of the values that has its name.

    Parameters
    ----------
    text : str
    *values : mapping or record

    Raises
    ------
    ValueError
        For a place that none of them has.

    Examples
    --------
    >>> filled("<count> modules of <module.voc_v:.1f> V", {"count": 3, "module": {"voc_v": 41.25}})
    '3 modules of 41.2 V'
    """
    return one_alone(PLACE.sub(lambda place: _printed(value_of(place[1], *values), place[2]), text))


def value_of(name: str, *values: Any) -> Any:
    """The value of a name such as ``module.voc_v``.

    Raises
    ------
    ValueError
        When nothing has that name.
    """
    for one in values:
        found = one
        for part in name.split("."):
            found = (found.get(part) if isinstance(found, Mapping)
                     else getattr(found, part, None))  # fmt: skip
        if found is not None:
            return found
    raise ValueError(f"nothing is called {name!r} among the numbers of this lesson")


def _printed(value: Any, form: str | None) -> str:
    if isinstance(value, str):
        return value
    return grouped(format(value, form)) if form else figure(value)


def _asked(table: Mapping[str, Any]) -> Asked:
    return Asked(**{**table, "hints": tuple(table.get("hints", ()))})


_TOP: dict[str, type | tuple[str, ...]] = {
    "title": str, "question": str, "idea": str, "sources": list, "tasks": list,
    "caution": ("signal", "words"), "formula": ("latex", "figures", "symbols"),
    "picture": ("words", "alt"), "predict": ("key", "ask", "right"),
}  # fmt: skip
_OF_TASK = ("key", "rung", "ask", "hints", "solution", "mistakes")


def _faults(table: Mapping[str, Any], file: str) -> Iterator[Fault]:
    """Everything that is missing, or has no meaning, in the file of a lesson."""
    for name in table.keys() - _TOP.keys():
        yield Fault(where=f"{file}: {name}", given=name, allowed=", ".join(_TOP))
    for name, kind in _TOP.items():
        given: Any = table.get(name)
        holds = dict if isinstance(kind, tuple) else kind
        if not given or not isinstance(given, holds):
            yield Fault(where=f"{file}: {name}", given=repr(given), allowed="it is needed")
        elif isinstance(kind, tuple):
            lacking = (part for part in kind if part not in table[name])
            yield from (Fault(where=f"{file}: {name}.{part}", given="nothing",
                              allowed="it is needed") for part in lacking)  # fmt: skip
    caution: Any = table.get("caution")
    if isinstance(caution, dict):
        yield from _one_of(f"{file}: caution.signal", caution.get("signal"), SIGNALS)
    yield from _faults_of_asked(f"{file}: predict", table.get("predict") or {}, task=False)
    for number, one in enumerate(table.get("tasks", ()), start=1):
        yield from _faults_of_asked(f"{file}: tasks {number}", one, task=True)


def _faults_of_asked(where: str, one: Mapping[str, Any], *, task: bool) -> Iterator[Fault]:
    for name in one.keys() - set(Asked.__dataclass_fields__):
        yield Fault(where=f"{where}.{name}", given=name,
                    allowed=", ".join(Asked.__dataclass_fields__))  # fmt: skip
    if not task:
        return
    for name in _OF_TASK:
        if not one.get(name):
            yield Fault(where=f"{where}.{name}", given="nothing", allowed="it is needed")
    yield from _one_of(f"{where}.rung", one.get("rung"), RUNGS)
    if len(one.get("hints", ())) < 2:
        yield Fault(where=f"{where}.hints", given=f"{len(one.get('hints', ()))}",
                    allowed="two or more, one a wrong try")  # fmt: skip


def _one_of(where: str, given: object, known: tuple[str, ...]) -> Iterator[Fault]:
    if given not in known:
        yield Fault(where=where, given=repr(given), allowed=", ".join(known))
