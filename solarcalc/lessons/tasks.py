"""What a task comes to for one learner, and the numbers that are drawn for that learner.

Each lesson has a module under ``lessons/about`` of the name of its file: ``draw(rng, design)``
gives its numbers as a record, ``picture(given)`` what moves, ``example()`` the figures of its
formula, and one function a task, named like its key, takes the record and gives a `Worked`.
"""

from __future__ import annotations

import hashlib
import importlib
import math
import random
import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from solarcalc.design import Design
from solarcalc.lessons.source import Asked, LessonText, filled
from solarcalc.lessons.units import is_known_unit

MOST_DRAWS = 500
"""Numbers are drawn anew where a mistake would give the right answer; this often at most."""
APART = 1.5
"""Tolerances that a mistake lies from the right answer, at least."""
PRINTED_NUMBER = re.compile(r"(?<![\w.])[-\u2212]?\d+(?:\u202f\d{3})*(?:\.\d+)?")
"""A number as a question prints it."""


@dataclass(frozen=True, kw_only=True)
class Worked:
    """A task worked out for one learner.

    Parameters
    ----------
    right : float or str
        A number in `unit`; the letter of a choice; the name of one of `items`.
    unit : str
        As in `lessons.units`; empty where no number is asked for, or a plain one.
    within_frac : float
        Share of the right answer that a learner may be off, [0 to 1]; 0 for what is counted.
    within : float
        The same in the unit itself, where that is more.
    by_printed : float, optional
        The right answer as it comes from the figures of the question as they are printed there,
        where those are rounded; numbers with which it is another answer are drawn anew.
    wrong : mapping of str to float or str
        Name of each mistake to what it gives.
    items : tuple of str
        Names one of which is the answer.
    steps : mapping
        Values for the places of its solution and sentences.
    rows : sequence of mapping
        Readings that stand with the question.
    drawing : str or callable
        An SVG that stands with the question, or what draws it when the question is shown, since
        numbers are drawn and marked far more often; empty for none.
    """

    right: float | str
    unit: str = ""
    within_frac: float = 0.01
    within: float = 0.0
    by_printed: float | None = None
    wrong: Mapping[str, float | str] = field(default_factory=dict)
    items: tuple[str, ...] = ()
    steps: Mapping[str, Any] = field(default_factory=dict)
    rows: Sequence[Mapping[str, object]] = ()
    drawing: str | Callable[[], str] = ""

    def off_by(self, value: float) -> float:
        """How far an answer near `value` may lie from it, in the unit.

        The tolerance of the task: a share of the value, or its last digit.
        """
        return max(self.within, self.within_frac * abs(value)) + 1e-9


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A picture that moves: what draws it, and the range of each control."""

    draw: Callable[..., str]
    ranges: Mapping[str, Any]


def about(lesson: LessonText) -> Any:
    """The module that works a lesson out."""
    return importlib.import_module(f"solarcalc.lessons.about.{lesson.about}")


def worked(lesson: LessonText, key: str, given: Any) -> Worked:
    """One task, or the prediction, worked out for the numbers of a learner."""
    result: Worked = getattr(about(lesson), key)(given)
    return result


def plain_name(learner: str) -> str:
    """The name of a learner, however its letters and spaces were typed.

    Examples
    --------
    >>> plain_name("  Ama   Mensah ")
    'ama mensah'
    """
    return " ".join(unicodedata.normalize("NFKC", learner).split()).casefold()


def drawn_for(lesson: LessonText, learner: str, design: Design) -> Any:
    """The numbers of one learner at one site: the same at each run, others for each learner.

    Raises
    ------
    ValueError
        Where no numbers are found with which each task has one answer and each mistake another.
    """
    seed = f"{lesson.key}|{plain_name(learner)}"
    rng = random.Random(hashlib.sha256(seed.encode()).hexdigest())
    reason = ""
    for _ in range(MOST_DRAWS):
        given = about(lesson).draw(rng, design)
        reason = next((why for one in (lesson.predict, *lesson.tasks)
                       if (why := unsound(one, worked(lesson, one.key, given), given))), "")
        if not reason:
            return given
    raise ValueError(f"lesson {lesson.key}: no sound numbers in {MOST_DRAWS} draws: {reason}")


def unsound(asked: Asked, found: Worked, given: Any) -> str:
    """Why a task cannot be marked with these numbers; empty where it can.

    Parameters
    ----------
    asked : Asked
    found : Worked
    given : record
        The numbers that the question prints.
    """
    if nameless := found.wrong.keys() - asked.mistakes.keys():
        return f"{asked.key}: {sorted(nameless)} have no sentence"
    values = {"the right answer": found.right, **found.wrong}
    if isinstance(found.right, str):
        known = found.items or tuple(asked.choices)
        if strange := [name for name, value in values.items() if value not in known]:
            return f"{asked.key}: {strange[0]} is none of {known}"
        return "" if len(set(values.values())) == len(values) else f"{asked.key}: two are the same"
    if not is_known_unit(found.unit):
        return f"{asked.key}: answers in {found.unit!r} cannot be read"
    return (_numbers_unsound(asked.key, values, found)
            or _told_by_the_question(asked.key, filled(asked.ask, found.steps, given), found))


def _numbers_unsound(key: str, values: Mapping[str, Any], found: Worked) -> str:
    if odd := [name for name, value in values.items() if not math.isfinite(value)]:
        return f"{key}: {odd[0]} is no number"
    right = float(values["the right answer"])
    if found.by_printed is not None and abs(found.by_printed - right) > found.off_by(right):
        return f"{key}: {right}, but {found.by_printed} by the figures as they are printed"
    for name, value in found.wrong.items():
        room = max(found.off_by(right), found.off_by(float(value)))
        if abs(float(value) - right) <= APART * room:
            return f"{key}: {name} gives {value}, the right answer is {right}"
        for other, its in found.wrong.items():
            if other != name and abs(float(its) - float(value)) <= 0.25 * room:
                return f"{key}: {name} and {other} both give {value}"
    return ""


def _told_by_the_question(key: str, words: str, found: Worked) -> str:
    """Why a number that is copied out of the question would pass; empty where none would."""
    right = float(found.right)
    for printed in PRINTED_NUMBER.findall(words):
        value = float(printed.replace("\u202f", "").replace("\u2212", "-"))
        if abs(value - right) <= found.off_by(right):
            return f"{key}: {printed} stands in the question, the right answer is {right}"
    return ""
