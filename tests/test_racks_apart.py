"""A string that stands in two racks at opposite walls: its cable is not designed, and it is said.

Sites are invented.
"""

from __future__ import annotations

import runpy
from dataclasses import replace
from pathlib import Path

import pytest

from solarcalc.design import open_design
from solarcalc.diagrams.battery_terminals import terminal_diagram
from solarcalc.powerroom.boxes import Box, gap_m
from solarcalc.powerroom.checks import place_checks
from solarcalc.powerroom.layout import RoomLayout
from solarcalc.sitepack.terminals import BETWEEN_RACKS, banks_at
from solarcalc.views import sitepack

HERE = Path(__file__).parent
DRAWN = runpy.run_path(str(HERE / "diagram_cases.py"))
CASES = runpy.run_path(str(HERE / "document_cases.py"))


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


@pytest.mark.parametrize("strings", [1, 2, 3, 4, 5, 6])
@pytest.mark.parametrize("room_m", [2.4, 3.0, 4.0])
def test_the_place_where_a_string_changes_racks_hides_no_words(strings: int, room_m: float) -> None:
    design = open_design("plateau-school", {"battery": {"units_in_parallel": strings},
                                            "room": {"length_m": room_m}})  # fmt: skip
    for bank in banks_at(design.installation):
        drawing = DRAWN["Drawing"](terminal_diagram(bank, site_name="x"))
        assert DRAWN["clashes"](drawing) == []


@pytest.mark.parametrize("name", sorted(CASES["DEMOS"]))
def test_nothing_stands_before_the_earth_bar_and_the_cable_entries(name: str) -> None:
    layout = CASES["demo"](name).room.layout
    racks = layout.of_kind("rack")
    for box in (*layout.of_kind("earth-bar"), *layout.of_kind("entry")):
        for rack in racks:
            over = rack.base_m + rack.height_m <= box.base_m
            beside = gap_m(with_hands(layout, box, 0.29), rack) > 0.0
            assert over or beside, (box.name, rack.name)


def with_hands(layout: RoomLayout, box: Box, deep_m: float) -> Box:
    """A thing on a wall with the room before it."""
    if box.length_m < box.depth_m:
        back_m = 0.0 if box.along_m < layout.length_m / 2.0 else deep_m
        return replace(box, along_m=box.along_m - back_m, length_m=box.length_m + deep_m)
    back_m = 0.0 if box.out_m < layout.depth_m / 2.0 else deep_m
    return replace(box, out_m=box.out_m - back_m, depth_m=box.depth_m + deep_m)
