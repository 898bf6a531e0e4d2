"""Marks one answer: right, which slip, or why it cannot be read. Nothing of it is kept here."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from solarcalc.lessons.source import Asked
from solarcalc.lessons.tasks import Worked
from solarcalc.lessons.units import (
    AnswerError,
    TwoWaysError,
    in_words,
    is_counted,
    is_whole,
    read_number,
)

Verdict = Literal["none", "unread", "right", "wrong", "shown"]

_ASKED_FOR = re.compile(r"(?i)\W*(?:(?:please|show|me|the|worked)\s+)*solution(?:\s+please)?\W*")
"""The solution, asked for in place of an answer."""
_PREFIX = "look at the unit and its prefix"
_SLIPS = {
    1000.0: f"is a thousand times too large: {_PREFIX}",
    0.001: f"is a thousand times too small: {_PREFIX}",
    100.0: f"is a hundred times too large: {_PREFIX}",
    0.01: f"is a hundred times too small: {_PREFIX}",
    10.0: "is ten times too large: look at the decimal point",
    0.1: "is ten times too small: look at the decimal point",
    -1.0: "has the wrong sign",
}
"""Slips in any task, by what they multiply the answer with: prefix, percent sign, point, sign."""
_DENIED = re.compile(r"(?i)\b(?:not|no|none|neither|nor|except|but|without|or|and)\b")
"""An answer with such a word may mean another than the one it names, or two."""
_ROUGH_FRAC = 0.06
"""How far from the right answer a number may lie to be called rounded too far."""


@dataclass(frozen=True, kw_only=True)
class Mark:
    """What an answer is worth.

    Parameters
    ----------
    verdict : {"none", "unread", "right", "wrong", "shown"}
        No answer yet; one that cannot be read, which is no try; the solution asked for instead.
    said : str
        The answer as it was understood, or as it stands where it was not.
    words : str
        What to tell the learner of it; without the name of a mistake, which has places to fill.
    mistake : str
        Name of the slip that gives this value; empty where none is known.
    """

    verdict: Verdict
    said: str
    words: str
    mistake: str = ""


def marked(asked: Asked, found: Worked, said: object) -> Mark:
    """Mark an answer.

    Parameters
    ----------
    asked : Asked
    found : Worked
    said : object
        What stands in the answer cell, of whatever type.
    """
    if said is None or (isinstance(said, str) and not said.strip()):
        return Mark(verdict="none", said="", words=f"No answer yet: {how_to(asked, found)}")
    if isinstance(said, str) and _ASKED_FOR.fullmatch(said):
        return Mark(verdict="shown", said="solution", words="")
    try:
        if isinstance(found.right, str):
            return _marked_name(asked, found, _named(asked, found, said))
        return _marked_number(found, _value(found, said))
    except AnswerError as why:
        return Mark(verdict="unread", said=repr(said)[:60], words=f"{why} This was no try.")


def _value(found: Worked, said: object) -> float:
    """The number that was written; of one that can be read two ways, the way that is right."""
    try:
        return read_number(said, found.unit)
    except TwoWaysError as both:
        right = float(found.right)
        for value in both.values:
            if abs(value - right) <= found.off_by(right):
                return value
        raise


def how_to(asked: Asked, found: Worked) -> str:
    """How an answer is written, in a sentence."""
    if isinstance(found.right, str):
        names = ", ".join(found.items or asked.choices)
        return f"put one of {names} in quotes in place of None and run the cell."
    counted = is_counted(found.unit)
    unit = "" if counted else f" in {found.unit} (another unit of the kind will do)"
    example = in_words(12.0, found.unit)
    return f'put your number{unit}, such as "{example}", in place of None and run the cell.'


def right_words(asked: Asked, found: Worked) -> str:
    """The right answer as a learner reads it, in as many figures as make it right."""
    if isinstance(found.right, str):
        return asked.choices.get(found.right, found.right).rstrip(".")
    right = float(found.right)
    enough = next(figures for figures in range(3, 16)
                  if abs(float(f"{right:.{figures}g}") - right) <= found.off_by(right))  # fmt: skip
    return in_words(right, found.unit, enough)


def _named(asked: Asked, found: Worked, said: object) -> str:
    """The choice or item that was meant."""
    known = found.items or tuple(asked.choices)
    written = str(said).strip()
    if (whole := re.match(r"(\w)\)", written)) and whole[1].casefold() in asked.choices:
        return whole[1].casefold()  # the line of a choice, its letter before it
    several = [name for name in found.items if re.search(
        rf"(?<!\w){re.escape(_short(name))}(?!\w)", _short(written))]  # fmt: skip
    if len(several) > 1:
        raise AnswerError(f"One of them alone: {', '.join(several)}.")
    denied = bool(_DENIED.search(written))
    if len(several) == 1 and len(several[0]) > 1 and not denied:
        return several[0]  # "every 30 days", "12:40 h"
    last = written if denied else (written.split() or [""])[-1]  # of "module C", "battery B3"
    for name in known:
        if _tag(name) in (_tag(written), _tag(last)):
            return name
    begun = _bare(written)
    words = {_bare(words): letter for letter, words in asked.choices.items()}
    if begun in words:
        return words[begun]
    begins = {_bare(name): name for name in known} | words
    for meant in (
        [name for name in found.items if " " in name  # "A", "row A" of "gap A"
         and _tag(name.split()[-1]) in (_tag(written), _tag(last))],
        [letter for letter, said in asked.choices.items() if len(begun) > 3 and not denied
         and re.search(rf"(?i)(?<!\w){re.escape(written)}(?!\w)", said)],  # "landscape"
        [name for said_of, name in begins.items() if len(begun) > 2 and said_of.startswith(begun)],
        [name for name in known if re.findall(r"\d+", written) == [last]  # "way 4" of W4
         and _tag(last) == re.sub(r"\D", "", _tag(name))],
    ):  # fmt: skip
        if len(meant) == 1:
            return meant[0]
    raise AnswerError(f"Please answer with one of {', '.join(known)}.")


def _bare(said: object) -> str:
    """Words without their article."""
    return _plain(re.sub(r"(?i)^\s*the\s+", "", str(said)))


def _tag(said: object) -> str:
    return _short(_plain(said))


def _short(said: str) -> str:
    """Names without zeros before their numbers: V1 of V01."""
    return re.sub(r"(?<!\d)0+(?=\d)", "", said.casefold())


def _is_rounded_too_far(value: float, right: float) -> bool:
    """Whether it is the right answer in fewer figures than tell it from a wrong one."""
    figures = len(f"{abs(value):.6e}".partition("e")[0].replace(".", "").rstrip("0"))
    return (figures <= 3 and abs(value - right) <= _ROUGH_FRAC * abs(right)
            and value == float(f"{right:.{max(figures, 1)}g}"))


def _plain(said: object) -> str:
    return re.sub(r"[^\w]", "", str(said)).casefold()


def _marked_name(asked: Asked, found: Worked, name: str) -> Mark:
    shown = f"{name}) {asked.choices[name].rstrip('.')}" if name in asked.choices else name
    if name == found.right:
        return Mark(verdict="right", said=shown, words=f"Correct: {shown}.")
    mistake = next((key for key, value in found.wrong.items() if value == name), "")
    return Mark(verdict="wrong", said=shown, words=f"Not yet: {shown}.", mistake=mistake)


def _marked_number(found: Worked, value: float) -> Mark:
    right = float(found.right)
    said = in_words(value, found.unit)
    if abs(value - right) <= found.off_by(right):
        return Mark(verdict="right", said=said, words=f"Correct: {said}.")
    near = [(abs(value - float(its)), key) for key, its in found.wrong.items()
            if abs(value - float(its)) <= found.off_by(float(its))]  # fmt: skip
    rounded = not is_counted(found.unit) and _is_rounded_too_far(value, right)
    if near and not (rounded and min(near)[0] > 1e-9 * abs(value)):
        return Mark(verdict="wrong", said=said, words=f"Not yet: {said}.", mistake=min(near)[1])
    if is_whole(found.unit) and value != round(value):
        raise AnswerError(f"{said}: they come whole only. How many do you take?")
    if rounded:
        raise AnswerError(f"{said} is rounded too far to tell: give one figure more.")
    for factor, words in _SLIPS.items():
        if abs(value - factor * right) <= abs(factor) * found.off_by(right):
            if is_counted(found.unit) and value != 1.0:
                words = words.replace("is ", "are ", 1).replace("too large", "too many")
                words = words.replace("too small", "too few")
            return Mark(verdict="wrong", said=said, words=f"Not yet: {said} {words}.")
    side = "too small" if value < right else "too large"
    if found.unit and is_counted(found.unit):
        side = "too few" if value < right else "too many"
    verb = "are" if side in ("too few", "too many") and value != 1.0 else "is"
    return Mark(verdict="wrong", said=said, words=f"Not yet: {said} {verb} {side}.")
