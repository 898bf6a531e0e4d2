"""What tables of the site file are made of, and its values that passed on their own."""

from __future__ import annotations

import types
import unicodedata
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, lru_cache
from itertools import pairwise
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationInfo
from pydantic.fields import FieldInfo

from solarcalc.basis.errors import Fault
from solarcalc.basis.worded import worded

_UNSEEN = ("Cc", "Zl", "Zp", "Cs")
_TURNS = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def _visible(text: str, allow: str = "") -> str:
    """`text` unchanged when every character of it can be seen or is in `allow`."""
    if text.isprintable():  # what is not to be there never is
        return text
    bad = [
        mark
        for mark in text
        if mark not in allow and (unicodedata.category(mark) in _UNSEEN or mark in _TURNS)
    ]
    if bad:
        raise ValueError(f"text without control characters; found U+{ord(bad[0]):04X}")
    return text


def _line(text: str) -> str:
    """One line of text that can be seen, or nothing."""
    return _visible(text)


def _name(text: str) -> str:
    """One line of text with something in it that can be seen."""
    if not text.strip():
        raise ValueError("text, 1 to 120 characters, not only spaces")
    return _visible(text)


def _note(text: str) -> str:
    """Text of several lines."""
    return _visible(text, allow="\n\t")


def _months(value: list[int]) -> list[int]:
    """Months of the year, none of them twice."""
    if any(not 1 <= month <= 12 for month in value) or len(set(value)) != len(value):
        raise ValueError("month numbers from 1 to 12, each once")
    return value


def check_one_each(value: Sequence[float], place: str, info: ValidationInfo) -> None:
    """ValueError where a list is not as long as that of another key, such as ``table.key``."""
    other = info.data.get(place.split(".")[-1])
    if other is not None and len(other) != len(value):
        raise ValueError(f"as many numbers as there are in {place}, which has {len(other)}")


def rising(values: Sequence[float]) -> bool:
    """Whether each is above the one before it."""
    return all(low < high for low, high in pairwise(values))


Fraction = Annotated[float, Field(ge=0.0, le=1.0)]
Name = Annotated[str, Field(min_length=1, max_length=120), AfterValidator(_name)]
Line = Annotated[str, Field(max_length=120), AfterValidator(_line)]
FileName = Annotated[str, Field(min_length=1, max_length=1000), AfterValidator(_line)]
Months = Annotated[list[int], AfterValidator(_months)]
Note = Annotated[str, Field(max_length=1000), AfterValidator(_note)]


class Record(BaseModel):
    """A table of the site file: frozen, strict about types, unknown keys refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False,
                              defer_build=True)

    def __hash__(self) -> int:
        """By the values, lists among them, so that what follows from a record can be kept."""
        return hash(self.model_dump_json())


Loc = tuple[int | str, ...]
_NAMED_ITEMS: dict[Loc, str] = {
    ("loads",): "appliance",
    ("roof", "obstacles"): "obstacle",
    ("roof", "walkways"): "walkway",
    ("roof", "neighbours"): "neighbour",
}
_SHOWN = 80


@dataclass(frozen=True, kw_only=True)
class Origins:
    """Where the values of a site file were written.

    Parameters
    ----------
    file : str
        Name of the site file.
    equipment : mapping
        For a value taken from an equipment list: path in the site file, such as
        ``("module", "pmax_w")``, to ``"modules.toml: KEY.pmax_w"``.
    entries : mapping
        For each equipment table with a `use`: its path to ``"KEY of modules.toml"``.
    within : tuple
        Place of the roof plane that the tables `of` stand in: ``("planes", 0)``; empty for the
        site's own.
    of : tuple of str
    """

    file: str
    equipment: Mapping[Loc, str] = field(default_factory=dict)
    entries: Mapping[Loc, str] = field(default_factory=dict)
    within: Loc = ()
    of: tuple[str, ...] = ()


def shown(value: object) -> str:
    """A value from a site file as it may be printed: at most 80 characters, one line."""
    if isinstance(value, bool):
        return str(value).lower()
    text = repr(value) if isinstance(value, str | list | dict | float) else str(value)
    return text if len(text) <= _SHOWN else text[: _SHOWN - 3] + "..."


def plain(word: str) -> str:
    """A key or name that is printed as it is when all of it can be seen, else quoted."""
    word = word if word.isprintable() else repr(word)
    return word if len(word) <= _SHOWN else word[: _SHOWN - 3] + "..."


def unwrapped(annotation: Any) -> Any:
    """The type inside ``X | None``."""
    if get_origin(annotation) in (Union, types.UnionType):
        inner = [part for part in get_args(annotation) if part is not type(None)]
        return inner[0]
    return annotation


def is_record(annotation: Any) -> bool:
    """Whether a type is one of the records."""
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)


@lru_cache(maxsize=4096)
def type_at(loc: Loc, root: type[BaseModel]) -> tuple[Any, FieldInfo | None]:
    """Type at a place below the record `root`, and its field where it has one."""
    annotation: Any = root
    info: FieldInfo | None = None
    for part in loc:
        if is_record(annotation) and part in annotation.model_fields:
            info = annotation.model_fields[part]
            annotation = unwrapped(info.annotation)
        elif get_origin(annotation) is list and isinstance(part, int):
            annotation, info = get_args(annotation)[0], None
        else:
            return None, None
    return annotation, info


def where(loc: Loc, origins: Origins, data: Mapping[str, Any] | None = None) -> str:
    """File and field as the user wrote it; items of a list are counted from 1.

    Parameters
    ----------
    loc : tuple
        Path in the site file, list places counted from 0.
    origins : Origins
    data : mapping, optional
        The site file as read, for the names of appliances and obstacles.

    Returns
    -------
    str
        ``'shop.toml: loads.essential[2].power_w (appliance 2, "Radio")'``.
    """
    if origins.within and loc and loc[0] in origins.of:
        loc = (*origins.within, *loc)
    for length in range(len(loc), 0, -1):
        if loc[:length] in origins.equipment:
            return origins.equipment[loc[:length]]
    text = ""
    for part in loc:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{plain(part)}"
    return f"{plain(origins.file)}: {text.lstrip('.')}{_count_words(loc, data)}"


def _count_words(loc: Loc, data: Mapping[str, Any] | None) -> str:
    words: list[str] = []
    for place, part in enumerate(loc):
        if not isinstance(part, int):
            continue
        kind = _kind_of(loc[:place])
        words.append(f"{kind or 'item'} {part + 1}")
        if kind is not None:
            row: Any = data
            try:
                for step in loc[: place + 1]:
                    row = row[step]
                name = row["name"]
            except (KeyError, TypeError, IndexError):
                continue
            if isinstance(name, str):
                words.append(f'"{plain(name)}"')
    return f" ({', '.join(words)})" if words else ""


def _kind_of(rows: Loc) -> str | None:
    """What the rows of a list are called, those of a plane's roof as those of the first."""
    if rows == ("planes",):
        return "plane"
    if len(rows) > 2 and rows[0] == "planes":
        rows = rows[2:]
    return _NAMED_ITEMS.get(rows[:2] if rows[0] == "roof" else rows[:1]) if len(rows) == 2 else None


class Sound:
    """Values of a site file that passed on their own.

    Parameters
    ----------
    data : mapping
        The site file with its equipment filled in.
    bad : sequence of tuple
        Places the validation complained about.
    origins : Origins
    root : type of record
        The record the whole file becomes: it knows the defaults.
    """

    def __init__(
        self, data: Mapping[str, Any], bad: Sequence[Loc], origins: Origins, root: type[BaseModel]
    ) -> None:
        self.data = data
        self.root = root
        self.bad = tuple(bad)
        self.origins = origins

    def get(self, *loc: str) -> Any:
        """Value or default at a place; None where it is unsound, missing or not given."""
        if self.bad and any(
                loc[: len(place)] == place or place[: len(loc)] == loc for place in self.bad):
            return None
        value: Any = self.data
        for part in loc:
            value = value.get(part, _ABSENT) if isinstance(value, dict) else _ABSENT
            if value is _ABSENT:
                _, info = type_at(loc, self.root)
                return _default(info)
        return value

    def given(self, *loc: str) -> bool:
        """Whether the file itself holds a value at a place."""
        table: Any = self.data
        for part in loc:
            if not isinstance(table, dict) or part not in table:
                return False
            table = table[part]
        return True

    def fault(
        self, loc: Sequence[str | int], given: object, allowed: str, why: str, remedy: str = ""
    ) -> Fault:
        """A Fault at a place of this file."""
        return Fault(
            where=where(tuple(loc), self.origins, self.data),
            given=given if isinstance(given, str) and given else shown(given),
            allowed=allowed,
            why=why,
            remedy=remedy,
        )


_ABSENT = object()


def _default(info: FieldInfo | None) -> Any:
    if info is None or info.is_required():
        return None
    make: Any = info.default_factory
    if make is not None:
        return None if _follows(make) else make()
    return info.get_default()


@cache
def _follows(make: Callable[..., object]) -> bool:
    """Whether a default is made of other values of its table: to find out takes 0.1 ms."""
    return bool(FieldInfo(default_factory=make).default_factory_takes_validated_data)


def names_once(sound: Sound, place: tuple[str, ...], kind: str) -> Iterator[Fault]:
    """A fault for each row of a list whose name stands in it before, whatever its case."""
    first: dict[str, int] = {}
    for number, row in enumerate(list_at(sound, place)):
        name = row.get("name") if isinstance(row, dict) else None
        if not isinstance(name, str):
            continue
        key = " ".join(name.casefold().split())
        if key in first:
            words = worded("sitefile", "name-twice", kind=kind, first=first[key] + 1)
            yield sound.fault((*place, number, "name"), name, **words)
        first.setdefault(key, number)


def list_at(sound: Sound, place: tuple[str, ...]) -> list[Any]:
    """Rows of a list of tables, sound or not; none where it is no list."""
    rows: Any = sound.data
    for part in place:
        rows = rows.get(part) if isinstance(rows, dict) else None
    return rows if isinstance(rows, list) else []


def sound_rows(sound: Sound, *place: str) -> Iterator[tuple[int, dict[str, Any]]]:
    """Rows of a list of tables without a fault of their own, with their number."""
    for number, row in enumerate(list_at(sound, place)):
        loc = (*place, number)
        if isinstance(row, dict) and not any(
            bad[: len(loc)] == loc or bad == loc[: len(bad)] for bad in sound.bad
        ):
            yield number, row


def sound_values(sound: Sound, *place: str) -> Iterator[tuple[int, dict[str, Any], set[str]]]:
    """Rows of a list of tables with their number: the values without a fault of their own, and the
    keys told already, which have one or are missing.
    """
    for number, row in enumerate(list_at(sound, place)):
        loc = (*place, number)
        if not isinstance(row, dict) or any(bad == loc[: len(bad)] for bad in sound.bad):
            continue
        told = {str(bad[len(loc)]) for bad in sound.bad if bad[: len(loc)] == loc}
        yield number, {key: value for key, value in row.items() if key not in told}, told


def ordered(
    sound: Sound, low: Loc, high: Loc, why: str, *, equal: bool
) -> Iterator[Fault]:
    """A fault where the lower of two values is not below (or equal to) the higher."""
    first, second = sound.get(*map(str, low)), sound.get(*map(str, high))
    if first is None or second is None or first < second or (equal and first == second):
        return
    yield sound.fault(low, f"{low[-1]} = {first:g} with {high[-1]} = {second:g}",
                      f"{low[-1]} {'at most' if equal else 'below'} {high[-1]}", why)
