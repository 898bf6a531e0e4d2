"""A row of a table, named values, and one fact as a row: what all workbooks share."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any, TypeAlias

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.quantity import Figures, grouped
from solarcalc.basis.text import small

Row: TypeAlias = dict[str, Any]
Values: TypeAlias = dict[str, float | int | str]


PLANE = "roof plane"
"""Column with the name of a roof plane, where a site has several."""


def with_plane(plane: str, rows: Iterable[Row]) -> list[Row]:
    """Rows of a roof plane, its name in front; as they are where the site has one."""
    if not plane:
        return list(rows)
    return [{"Quantity": f"{plane}: {small(row['Quantity'])}",
             **{name: value for name, value in row.items() if name != "Quantity"}}
            if "Quantity" in row else {PLANE: plane, **row} for row in rows]  # fmt: skip


def fact_line(what: str, value: object, unit: str = "") -> Row:
    """One fact of a list; a number is written to four digits at most, not to fixed decimals."""
    shown = value
    if isinstance(value, float):
        said = f"{value:.0f}" if abs(value) >= 1000.0 else f"{value:.4g}"
        shown = Figures(grouped(said), value)
    return {"Quantity": what, "Value": shown, "Unit": unit}


def check_parameter(
    name: str, given: object, unit: str, *, low: float = 0.0, high: float = math.inf
) -> None:
    """Refuse what a parameters cell gives for a number and is none, or lies outside its limits.

    Parameters
    ----------
    name : str
    given : object
    unit : str
        Of the limits; one of a thing that is counted (``"modules"``) takes whole numbers alone.
    low, high : float
        In that unit.

    Raises
    ------
    InputError
        For a text, true or false, not a number, or a number outside the limits.
    """
    given = given.item() if hasattr(given, "item") else given  # numpy's as Python's own
    kinds = (int,) if unit == "modules" else (int, float)
    if isinstance(given, bool) or not isinstance(given, kinds) or not low <= given <= high:
        to = "or more" if high == math.inf else f"to {high:g}"
        remedy = "enter the number without quotes" if isinstance(given, str) else ""
        raise InputError(Fault(where=name, given=repr(given),
                               allowed=f"a number, {low:g} {to} {unit}", remedy=remedy))
