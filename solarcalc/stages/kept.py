"""What a design has worked out, and which tables of its site file each stage has read.

A changed design keeps every stage that follows from none of the tables that differ. Of the others
it has what they came to before: a stage stands where it has read none of those tables itself and
every stage that it asked comes to the same again, and one that is worked out again and comes to
what it was counts as the same for those after it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace
from functools import cached_property, wraps
from typing import Any, Generic, Protocol, TypeVar, overload

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.no_answer import NoAnswer, or_why
from solarcalc.basis.worded import worded
from solarcalc.quote.costs import priced_costs
from solarcalc.quote.prices import read_price_list
from solarcalc.sitefile.base import Record
from solarcalc.sitefile.planes import Plane
from solarcalc.sitefile.read import SiteFile
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.wiring import TO_BATTERY

T = TypeVar("T")


class Keeping(Protocol):
    """What keeps its stages, and the answers that others asked of it."""

    @property
    def sitefile(self) -> SiteFile:
        """What it is the design of."""

    @property
    def kept(self) -> dict[str, Kept]:
        """Stages worked out so far."""

    @property
    def earlier(self) -> dict[str, Kept]:
        """Stages of the design that it was changed from, which the change may touch."""

    @property
    def differ(self) -> frozenset[str]:
        """Tables in which it differs from that design."""

    @property
    def number(self) -> int:
        """Of the roof plane that it has alone, counted from 1; 0 of the whole site."""

    def numbered(self, number: int) -> Keeping:
        """The design of that number of the same site."""

    @property
    def answers(self) -> dict[Callable[..., Any], Any]:
        """What functions of it came to."""


D = TypeVar("D", bound=Keeping)


class Reading(set[str]):
    """Tables that the stage at work reads itself; beside them the stages that it asks."""

    def __init__(self, number: int) -> None:
        super().__init__()
        self.number = number  # of the design that the stage belongs to
        self.asked: dict[tuple[int, str], Kept] = {}
        """By number of the design and name, in the order they were first asked."""

    def all_of(self, own: frozenset[str]) -> frozenset[str]:
        """What a stage follows from that reads these itself and asks those."""
        of_planes = {IN_PLANES for number, _ in self.asked if number > self.number}
        return own.union(of_planes, *(one.tables for one in self.asked.values()))


reading: ContextVar[Reading | None] = ContextVar("what the stage at work reads", default=None)
TABLES = frozenset(Site.model_fields)


@contextmanager
def unnoted() -> Iterator[None]:
    """What is read meanwhile does not count for the stage at work."""
    token = reading.set(None)
    try:
        yield
    finally:
        reading.reset(token)



PLANES = "planes"
"""How many roof planes there are beside the first: the list, not what stands in it."""
IN_PLANES = "planes.*"
"""Anything that stands in it; `planes.runs` is one table of it."""


def _of_planes(table: str) -> str:
    return f"{PLANES}.{table}"


class WatchedRow(Plane):
    """A row of [[planes]] that notes which of its tables the stage at work has read."""


class WatchedPlane(Site):
    """The site of one roof plane: a stage of the whole site reads its tables in `planes` too."""


class WatchedSite(Site):
    """A site that notes which of its tables the stage at work has read."""

    @cached_property
    def of_planes(self) -> tuple[Site, ...]:
        """Its roof planes; what each of them is made of is read when that is read."""
        with unnoted():
            return tuple(_as(WatchedPlane, one) for one in super().of_planes)


R = TypeVar("R", bound=Record)


def _as(kind: type[R], record: Record, **differs: Any) -> R:
    """The same record, watched, but for these tables."""
    tables = {name: getattr(record, name) for name in kind.model_fields} | differs
    return kind.model_construct(_fields_set=set(record.model_fields_set), **tables)


def _noting(table: str, noted: str, *more: str) -> property:
    """A table of a watched record and what reading it notes; its value stands where it did."""

    def read(record: Record) -> Any:
        if (seen := reading.get()) is not None:
            seen.add(noted)
            if more:
                seen.update(more)
        return record.__dict__[table]

    return property(read)


for _table in TABLES:
    setattr(WatchedSite, _table, _noting(_table, _table))
    setattr(WatchedPlane, _table, _noting(
        _table, _table, _of_planes(_table), *([_of_planes("name")] if _table == "roof" else [])))
for _table in Plane.model_fields:
    setattr(WatchedRow, _table, _noting(_table, _of_planes(_table)))


def watched(sitefile: SiteFile) -> SiteFile:
    """Its site notes what is read of it, and has every cost: its own, or of the price list."""
    with unnoted():
        site = sitefile.site
        prices = read_price_list(site.quote.price_list, sitefile.folder)
        kind = WatchedPlane if isinstance(site, WatchedPlane) else WatchedSite
        return replace(sitefile, site=_as(
            kind, site, costs=priced_costs(site, prices, sitefile.path.name),
            planes=[_as(WatchedRow, one) for one in site.planes],
        ))  # fmt: skip


def differing(site: Site, other: Site) -> frozenset[str]:
    """Tables in which two sites differ, those of their roof planes too."""
    with unnoted():
        found = {name for name in TABLES - {PLANES}
                 if unlike(getattr(site, name), getattr(other, name))}  # fmt: skip
        if len(site.planes) != len(other.planes):
            return frozenset({*found, PLANES, IN_PLANES, *map(_of_planes, Plane.model_fields)})
        in_planes = {
            _of_planes(name) for name in Plane.model_fields
            if any(unlike(getattr(one, name), getattr(two, name))
                   for one, two in zip(site.planes, other.planes, strict=True))
        }  # fmt: skip
        return frozenset({*found, *in_planes, *({IN_PLANES} if in_planes else ())})


@dataclass(frozen=True, kw_only=True)
class Kept:
    """What a stage came to, or why it has no answer, and what it follows from.

    Parameters
    ----------
    value : object
    tables : frozenset of str
        All that it follows from, those of the stages that it asked too.
    own : frozenset of str
        Those it read itself.
    asked : tuple of tuple
        Stages that it asked, in that order: number of the design, name and `mark`.
    mark : object
        One for all that a stage came to alike, in a design and those changed from it.
    """

    value: Any
    tables: frozenset[str]
    own: frozenset[str]
    asked: tuple[tuple[int, str, object], ...]
    mark: object

    def at(self, site: Site) -> Kept:
        """The same for a changed site: a result that carries its site carries the new one."""
        if isinstance(getattr(self.value, "site", None), Site):
            return replace(self, value=replace(self.value, site=site))
        return self

    def stands(self, design: Keeping) -> bool:
        """Whether all that it follows from is the same in a changed design, which is asked."""
        return self.own.isdisjoint(design.differ) and all(
            _mark(design.numbered(number), name) is mark for number, name, mark in self.asked)


_ask = or_why(getattr)


def _mark(design: Keeping, name: str) -> object:
    """That of a stage of a design, which is worked out for it; None for one that fails."""
    try:
        _ask(design, name)
    except InputError:
        return None
    return design.kept[name].mark


def _alike(one: object, other: object) -> bool:
    """Whether two results are equal; those of arrays, which would say so hour by hour, are not."""
    try:
        return bool(one == other)
    except ValueError:
        return False


class stage(Generic[T]):  # noqa: N801  used as a decorator, like property
    """A property of a design that is worked out once and knows the tables it read."""

    def __init__(self, make: Callable[[Any], T]) -> None:
        self._make = or_why(make)
        self.__doc__ = make.__doc__

    def __set_name__(self, owner: type, name: str) -> None:
        self._name = name

    @overload
    def __get__(self, design: None, owner: type) -> stage[T]: ...
    @overload
    def __get__(self, design: Keeping, owner: type) -> T: ...
    def __get__(self, design: Keeping | None, owner: type) -> T | stage[T]:
        if design is None:
            return self
        kept = design.kept.get(self._name)
        if kept is None:
            kept = design.kept[self._name] = self._found(design)
        if (outer := reading.get()) is not None:
            outer.asked[design.number, self._name] = kept
        if isinstance(kept.value, NoAnswer):
            raise kept.value.with_traceback(None)
        found: T = kept.value
        return found

    def _found(self, design: Keeping) -> Kept:
        """What the stage comes to: as it was, where that stands, else worked out."""
        before, seen = design.earlier.pop(self._name, None), Reading(design.number)
        token = reading.set(seen)
        try:
            if before is not None and before.stands(design):
                return replace(before, tables=seen.all_of(before.own)).at(design.sitefile.site)
            seen.clear()
            seen.asked.clear()
            value = self._make(design)
        except InputError as error:
            raise _in_file(error, design.sitefile) from error
        finally:
            reading.reset(token)
        return Kept(
            value=value, own=frozenset(seen),
            tables=seen.all_of(frozenset(seen)),
            asked=tuple((*key, one.mark) for key, one in seen.asked.items()),
            mark=before.mark if before is not None and _alike(value, before.value) else object(),
        )  # fmt: skip


_KEY = re.compile(r"([a-z]+)(\[\d+\])?\.[\w.\[\]]+( \(|$)")
"""A key of a site file that a fault names without its file: ``"runs.dc_main.size_mm2"``."""


_OF_THE_BANK = ("battery.", *(f"runs.{name}." for name in TO_BATTERY))


def _in_file(error: InputError, sitefile: SiteFile) -> InputError:
    """The same faults; keys of the site file with the name of it before them."""
    return InputError([
        replace(_of_first_size(fault, sitefile) if fault.where.startswith(_OF_THE_BANK) else fault,
                where=f"{sitefile.called}: {fault.where}")
        if (key := _KEY.match(fault.where)) and key[1] in TABLES else fault
        for fault in error.faults
    ])  # fmt: skip


def _of_first_size(fault: Fault, sitefile: SiteFile) -> Fault:
    """A fault of battery or cables; of a battery that nobody entered, with what it follows from."""
    site = sitefile.site
    if sitefile.survey is None or "battery" not in sitefile.survey.sized:
        return fault
    return replace(fault, **worded(
        "stages", "first-size", given=fault.given, remedy=fault.remedy, modules=site.module_count,
        controllers=site.controller_count,
        units=site.battery.units_in_series * site.battery.units_in_parallel,
    ))  # fmt: skip


def unlike(one: object, other: object) -> bool:
    """Whether two tables differ, if only in what was written: a default may count as a guess."""
    if one is other:
        return False
    written = (getattr(each, "model_fields_set", None) for each in (one, other))
    return one != other or len({frozenset(each or ()) for each in written}) > 1


def of_design(ask: Callable[[D], T]) -> Callable[[D], T]:
    """A function of a design that is worked out once and kept with it; changed designs ask anew."""

    @wraps(ask)
    def answer(design: D) -> T:
        if ask not in design.answers:
            design.answers[ask] = ask(design)
        found: T = design.answers[ask]
        return found

    return answer


_inherited: dict[str, tuple[Keeping, Callable[[], bool]]] = {}
"""Designs that this process was forked with, and whether what they follow from is the same yet."""


def inherit(word: str, design: Keeping, stands: Callable[[], bool]) -> None:
    """Have `solarcalc.design.open_design` give a design that is worked out, as long as it stands.

    Parameters
    ----------
    word : str
        What asks for it.
    design : Design
    stands : callable
        Whether every file that it follows from is as it was.
    """
    _inherited[word] = design, stands


def inherited(word: str, kind: type[T]) -> T | None:
    """The design that stands for a word since before this process began; None without one."""
    design, stands = _inherited.get(word, (None, bool))
    return design if isinstance(design, kind) and stands() else None
