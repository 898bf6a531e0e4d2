"""A string that stands in two racks at opposite walls: its cable is not designed, and it is said.

Sites are invented.
"""

from __future__ import annotations

import runpy
from pathlib import Path

import pytest

from solarcalc.powerroom.checks import place_checks
from solarcalc.sitepack.terminals import BETWEEN_RACKS, banks_at
from solarcalc.views import sitepack

CASES = runpy.run_path(str(Path(__file__).parent / "document_cases.py"))


@pytest.mark.parametrize(("name", "unit"), [("plateau-school", 20), ("orchard-shop", 0)])
def test_a_string_over_two_racks_is_for_review_and_on_the_sheet(name: str, unit: int) -> None:
    # plateau-school by hand: 20 units fill the first rack, 4 of the string's 24 stand opposite.
    design = CASES["demo"](name)
    found = [one.found for one in place_checks(design.site, design.room.layout)
             if one.outcome == "review" and "link between racks not designed" in one.found]
    (bank,) = banks_at(design.installation)
    across = [one for one in bank.joints if one.size == BETWEEN_RACKS]
    (svg,) = sitepack.terminal_drawings(design).values()
    assert bank.split_after == unit
    assert len(found) == len(across) == bool(unit)
    assert ("LINK BETWEEN RACKS" in svg) == ("rack 2" in svg) == bool(unit)
    if unit:
        assert (across[0].start, across[0].end) == (bank.unit(1, unit) + "−",
                                                    bank.unit(1, unit + 1) + "+")
