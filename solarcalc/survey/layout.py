"""Where things stand in the spreadsheet of a survey: known to its writer and to its reader.

A sheet of one site has a row a field, found again by the key in column A; appliances and obstacles
have a row each with their parts in columns of their own. A sheet of many sites has a row a site,
its columns found again by the keys in row 1.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from solarcalc.sitefile.survey_fields import Field
from solarcalc.sitefile.survey_lines import BOX_PARTS, LOAD_PARTS

SHEET, ROWS, LISTS = "Survey", "Sites", "Lists"
"""Names of the sheets of a blank spreadsheet."""
HEADS = ("key", "What", "Filled in", "Unit", "Help")
"""Columns A to E of a sheet of one site; by the first and third it is known."""
VALUE_COLUMN = 3
FIRST_SITE_ROW = 4
"""Of a sheet of many sites: below keys, labels and help."""
BLANK_SITES, BLANK_LOADS, BLANK_OBSTACLES = 40, 15, 8
MOST_ROWS, MOST_COLUMNS = 5000, 300
_NOT_IN_A_NAME = re.compile(r"[\[\]:*?/\\]")
_LONGEST_NAME = 31


@dataclass(frozen=True, kw_only=True)
class Parts:
    """Columns of a list in a sheet of one site.

    Parameters
    ----------
    names : tuple of str
        As the line has them.
    heads : tuple of str
        As a reader sees them.
    numbers : mapping of place to (low, high)
        Parts that are numbers, with what they may be.
    blank : int
        Rows for it in a blank sheet.
    """

    names: tuple[str, ...]
    heads: tuple[str, ...]
    numbers: Mapping[int, tuple[float, float]]
    blank: int


PARTS: Mapping[str, Parts] = {
    "loads": Parts(
        names=LOAD_PARTS, heads=("Appliance, or name and power", "Count", "Hours", "Board"),
        numbers={1: (1, 10000)}, blank=BLANK_LOADS,
    ),
    "obstacles": Parts(
        names=BOX_PARTS,
        heads=("Name", "Along [m]", "Up [m]", "Length [m]", "Depth [m]", "Height [m]"),
        numbers={1: (0, 500), 2: (0, 500), 3: (0.01, 500), 4: (0.01, 500), 5: (0, 50)},
        blank=BLANK_OBSTACLES,
    ),
}  # fmt: skip


def parts_of(one: Field) -> Parts:
    """Columns of a field that is a list."""
    return PARTS[one.kind]


def sheet_name(name: str, taken: set[str]) -> str:
    """A name for a sheet from that of a site, unlike those taken, whatever their case.

    Examples
    --------
    >>> sheet_name("Shop [old]: back/front", {"lists"})
    'Shop old back front'
    """
    plain = " ".join(_NOT_IN_A_NAME.sub(" ", name).split()).strip("'") or SHEET
    found, number = plain[:_LONGEST_NAME].strip("' "), 2
    while not found or found.casefold() in taken | {"history"}:
        tail = f" {number}"
        found = f"{plain[: _LONGEST_NAME - len(tail)].strip(chr(39) + ' ')}{tail}"
        number += 1
    return found
