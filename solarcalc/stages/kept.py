"""What a design has worked out, and which tables of its site file each stage has read."""

from __future__ import annotations

import re
from collections.abc import Callable
from contextvars import ContextVar
from dataclasses import dataclass, replace
from functools import wraps
from typing import Any, Generic, Protocol, TypeVar, overload

from solarcalc.basis.errors import InputError
from solarcalc.basis.no_answer import NoAnswer, or_why
from solarcalc.sitefile.read import SiteFile
from solarcalc.sitefile.site import Site

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
    def answers(self) -> dict[Callable[..., Any], Any]:
        """What functions of it came to."""


D = TypeVar("D", bound=Keeping)

reading: ContextVar[set[str] | None] = ContextVar("tables read by the stage at work", default=None)
TABLES = frozenset(Site.model_fields)


class WatchedSite(Site):
    """A site that notes which of its tables the stage at work has read."""


def _noting(table: str) -> property:
    """A table of a watched site; its value stands where a record has it."""

    def read(site: WatchedSite) -> Any:
        if (seen := reading.get()) is not None:
            seen.add(table)
        return site.__dict__[table]

    return property(read)


for _table in TABLES:
    setattr(WatchedSite, _table, _noting(_table))


@dataclass(frozen=True)
class Kept:
    """What a stage came to, or why it has no answer, and the tables it follows from."""

    value: Any
    tables: frozenset[str]

    def at(self, site: Site) -> Kept:
        """The same for a changed site: a result that carries its site carries the new one."""
        if isinstance(getattr(self.value, "site", None), Site):
            return replace(self, value=replace(self.value, site=site))
        return self


class stage(Generic[T]):  # noqa: N801  used as a decorator, like property
    """A property of a design that is worked out once and knows the tables it read."""

    def __init__(self, make: Callable[[Any], T]) -> None:
        self._make = make
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
            seen: set[str] = set()
            token = reading.set(seen)
            try:
                value = or_why(self._make)(design)
            except InputError as error:
                raise _in_file(error, design.sitefile.called) from error
            finally:
                reading.reset(token)
            kept = design.kept[self._name] = Kept(value, frozenset(seen))
        outer = reading.get()
        if outer is not None:
            outer.update(kept.tables)
        if isinstance(kept.value, NoAnswer):
            raise kept.value.with_traceback(None)
        found: T = kept.value
        return found


_KEY = re.compile(r"([a-z]+)(\[\d+\])?\.[\w.\[\]]+( \(|$)")
"""A key of a site file that a fault names without its file: ``"runs.dc_main.size_mm2"``."""


def _in_file(error: InputError, file: str) -> InputError:
    """The same faults; keys of the site file with the name of it before them."""
    return InputError([
        replace(fault, where=f"{file}: {fault.where}")
        if (key := _KEY.match(fault.where)) and key[1] in TABLES else fault
        for fault in error.faults
    ])  # fmt: skip


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
