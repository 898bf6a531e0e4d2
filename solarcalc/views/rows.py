"""A row of a table, named values, and one fact as a row: what all workbooks share."""

from __future__ import annotations

from typing import Any, TypeAlias

from solarcalc.basis.quantity import grouped

Row: TypeAlias = dict[str, Any]
Values: TypeAlias = dict[str, float | int | str]


def fact_line(what: str, value: object, unit: str = "") -> Row:
    """One fact of a list; a number is written to four digits at most, not to fixed decimals."""
    shown = value
    if isinstance(value, float):
        shown = grouped(f"{value:.0f}") if abs(value) >= 1000.0 else grouped(f"{value:.4g}")
    return {"Quantity": what, "Value": shown, "Unit": unit}


