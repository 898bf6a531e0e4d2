"""Switching off, on and in an emergency: numbered steps with tag, place, proof and lock."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import Literal

from solarcalc.basis.files import data_rows
from solarcalc.installation.records import POLES, Installation, Part
from solarcalc.installation.schedules import counted_tag, device_name

Row = dict[str, object]
Way = Literal["off", "on", "emergency"]
SWITCHED = ("breaker", "isolator", "fuse", "changeover", "residual", "inverter")
"""Kinds of parts that a sequence of switching names."""
SWITCHING_COLUMNS = ("sequence", "step", "tag", "device", "where", "do", "then prove", "lock")
TAKEN_OFF = "removed by the person who fitted it"
BATTERY_ROOM = "power room"
IN_THE_ROOM = "only if the room is safe and without passing the racks, otherwise leave: "
NOT_IN_AN_EMERGENCY = (
    "In an emergency nobody enters a room with smoke, gas or water in it and no fuse is drawn:"
    " leave, close the door, call the fire service, tell them of the battery and of modules that"
    " stay live by day."
)


@dataclass(frozen=True, kw_only=True)
class Step:
    """One thing done to one kind of part in a place.

    Parameters
    ----------
    sequence : {"off", "on", "emergency"}
    number : int
        In its sequence, from 1.
    part : Part
    words : str
        What is switched.
    action, check, lock : str
        What is done; what is proved after it, and where; where lock and tag go.
    """

    sequence: Way
    number: int
    part: Part
    words: str
    action: str
    check: str
    lock: str


def switching_steps(built: Installation) -> tuple[Step, ...]:
    """The three sequences one after another; on is off backwards.

    What may start by itself goes before what it feeds; fuses are drawn last, with no current.
    """
    ordered = _ordered(built)
    emergency = sorted(_in_an_emergency(ordered), key=lambda one: (
        one[0].place == BATTERY_ROOM, int(one[1]["emergency"])))  # fmt: skip
    return (
        *_sequence("off", ordered), *_sequence("on", ordered[::-1]),
        *_sequence("emergency", emergency),
    )  # fmt: skip


def _in_an_emergency(ordered: Sequence[tuple[Part, Mapping[str, str]]]) -> Iterator[
    tuple[Part, Mapping[str, str]]
]:
    """What is switched then; the isolator beside the racks only where it is outside their room."""
    for part, rule in ordered:
        inside = part.place == BATTERY_ROOM
        if rule["emergency"] and not (inside and part.key.startswith("battery-isolator")):
            yield part, {**rule, "off": IN_THE_ROOM + rule["off"]} if inside else rule


def switching_rows(built: Installation) -> list[Row]:
    """The steps as rows; readings and initials are boxes to fill in."""
    return [
        {
            "sequence": one.sequence, "step": one.number, "what": one.words,
            "tag": one.part.tag, "device": one.part.name, "count": one.part.count,
            "where": one.part.where or one.part.place, "do": one.action,
            "then prove": one.check, "lock": one.lock, "reading": "", "initials": "",
        }
        for one in switching_steps(built)
    ]  # fmt: skip


WALL_COLUMNS: tuple[Way, ...] = ("off", "on", "emergency")
"""Of the sheet for the wall: three columns of numbered steps."""


def wall_steps(built: Installation) -> dict[Way, tuple[str, ...]]:
    """The three sequences for the wall: number, tags, name and what is done, in short.

    Devices that follow one another and are switched alike are one step.
    """
    found: dict[Way, list[tuple[list[str], str, str]]] = {"off": [], "on": [], "emergency": []}
    for step in switching_steps(built):
        name = "inverter" if step.part.kind == "inverter" else device_name(step.part)
        own, action = found[step.sequence], _with_isolator(built, step)
        if own and own[-1][1:] == (name, action):
            own[-1][0].append(counted_tag(step.part))
        else:
            own.append(([counted_tag(step.part)], name, action))
    return {
        way: tuple(f"{number} {', '.join(sorted(tags))} {name}: {action}"
                   for number, (tags, name, action) in enumerate(steps, start=1))
        for way, steps in found.items()
    }  # fmt: skip


def _with_isolator(built: Installation, step: Step) -> str:
    """What is done, with the tag of the isolator that has to be open."""
    pv = step.part.key.startswith("string-fuse")
    stem = "array-isolator" if pv else "battery-isolator"
    found = [part.tag for part in built.of_kind("isolator") if part.key.startswith(stem)
             and step.part.board in ("", part.board)]  # fmt: skip
    words = f"{' and '.join(found)} open" if found else "isolator open"
    return step.action.replace("battery isolator open", words).replace("isolator open", words)


def wall_rows(built: Installation) -> list[Row]:
    """The three sequences side by side, a row a step; the shorter ones end in empty cells."""
    steps = wall_steps(built)
    return [dict(zip(WALL_COLUMNS, row, strict=True))
            for row in zip_longest(*(steps[way] for way in WALL_COLUMNS), fillvalue="")]


def lock_points(built: Installation) -> tuple[Part, ...]:
    """Parts that take a lock and a tag while somebody works."""
    return tuple(part for part, rule in _ordered(built) if rule["lock"].startswith("lock"))


def _ordered(built: Installation) -> list[tuple[Part, Mapping[str, str]]]:
    """Parts with their rows, in the order of switching off; a fuse in a switch has two.

    A changeover inside an inverter goes off with it: nobody switches or locks it by itself.
    """
    rules = data_rows("switching")
    found = [
        (part, {head: _placed(text, part, built) for head, text in rule.items()})
        for part in built.of_kind(*SWITCHED) if not part.inside for rule in _rules(part, rules)
    ]
    return sorted(found, key=lambda one: int(one[1]["step"]))


def _placed(text: str, part: Part, built: Installation) -> str:
    """A text with the points of this installation in it: poles on earth, outlets, busbars."""
    both = part.poles * part.sides > 1
    across = "its outlet + to its outlet −" if both else "its outlet to the other pole"
    bars = built.by_key.get(part.key.replace("battery-string-fuse", "string-bar"))
    strings = f"{bars.tag}+ to {bars.tag}−" if bars and bars.kind == "busbar" else across
    return (text.replace("POLES", POLES[built.site.battery.pole_earthed])
            .replace("ACROSS", across).replace("STRINGS", strings))  # fmt: skip


def _rules(part: Part, rules: Sequence[Mapping[str, str]]) -> list[Mapping[str, str]]:
    """The rows of the longest stem that the part's key begins with.

    Raises
    ------
    LookupError
        For a part that no row is for.
    """
    mine = [rule for rule in rules if part.key.startswith(rule["stem"])]
    if not mine:
        raise LookupError(f"data/switching.csv has no row for {part.key}")
    longest = max(len(rule["stem"]) for rule in mine)
    return [rule for rule in mine if len(rule["stem"]) == longest]


def _sequence(name: Way, ordered: Sequence[tuple[Part, Mapping[str, str]]]) -> list[Step]:
    way = "on" if name == "on" else "off"
    return [
        Step(sequence=name, number=number, part=part, words=rule["words"], action=rule[way],
             check="nothing: leave" if name == "emergency" else rule[f"check_{way}"],
             lock=_lock(name, rule["lock"]))
        for number, (part, rule) in enumerate(ordered, start=1)
    ]  # fmt: skip


def _lock(name: Way, lock: str) -> str:
    if name == "off":
        return lock
    return TAKEN_OFF if name == "on" and lock.startswith("lock") else ""
