"""Values of a site file that passed on their own, for the checks between them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from pydantic.fields import FieldInfo

from solarcalc.basis.errors import Fault
from solarcalc.sitefile.wording import Loc, Origins, shown, type_at, where


class Sound:
    """Values of a site file that passed on their own.

    Parameters
    ----------
    data : mapping
        The site file with its equipment filled in.
    bad : sequence of tuple
        Places the validation complained about.
    origins : Origins
    """

    def __init__(self, data: Mapping[str, Any], bad: Sequence[Loc], origins: Origins) -> None:
        self.data = data
        self.bad = tuple(bad)
        self.origins = origins

    def get(self, *loc: str) -> Any:
        """Value or default at a place; None where it is unsound, missing or not given."""
        if any(loc[: len(place)] == place or place[: len(loc)] == loc for place in self.bad):
            return None
        value: Any = self.data
        for part in loc:
            value = value.get(part, _ABSENT) if isinstance(value, dict) else _ABSENT
            if value is _ABSENT:
                _, info = type_at(loc)
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
            given=given if isinstance(given, str) else shown(given),
            allowed=allowed,
            why=why,
            remedy=remedy,
        )


_ABSENT = object()


def _default(info: FieldInfo | None) -> Any:
    if info is None or info.is_required():
        return None
    return info.get_default(call_default_factory=True, validated_data={})


_SAME_NAME = {
    "obstacle": ("each obstacle under its own name", "name what sets them apart"),
    "walkway": ("each walkway under its own name", "name what sets them apart"),
}  # fmt: skip


def names_once(sound: Sound, place: tuple[str, str], kind: str) -> Iterator[Fault]:
    """A fault for each row of a list whose name stands in it before, whatever its case."""
    allowed, remedy = _SAME_NAME[kind]
    first: dict[str, int] = {}
    for number, row in enumerate(list_at(sound, place)):
        name = row.get("name") if isinstance(row, dict) else None
        if not isinstance(name, str):
            continue
        key = " ".join(name.casefold().split())
        if key in first:
            why = f"{kind} {first[key] + 1} has the same name"
            yield sound.fault((*place, number, "name"), name, allowed, why, remedy)
        first.setdefault(key, number)


def list_at(sound: Sound, place: tuple[str, str]) -> list[Any]:
    """Rows of a list of tables, sound or not; none where it is no list."""
    table = sound.data.get(place[0])
    rows = table.get(place[1]) if isinstance(table, dict) else None
    return rows if isinstance(rows, list) else []
