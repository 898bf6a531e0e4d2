"""A string that stands in two racks at opposite walls: its cable is not designed, and it is said.

Sites are invented.
"""

from __future__ import annotations

import runpy
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.design import open_design
from solarcalc.diagrams.battery_terminals import terminal_diagram
from solarcalc.installation.schedules import device_rows
from solarcalc.installation.standing import room_tags
from solarcalc.powerroom.boxes import Box, gap_m, reach_m
from solarcalc.powerroom.checks import place_checks
from solarcalc.powerroom.layout import RoomLayout
from solarcalc.powerroom.plan import layout_of
from solarcalc.powerroom.racks import racks_of, units_of
from solarcalc.sitepack.terminals import BETWEEN_RACKS, banks_at
from solarcalc.views import sitepack

HERE = Path(__file__).parent
DRAWN = runpy.run_path(str(HERE / "diagram_cases.py"))
CASES = runpy.run_path(str(HERE / "document_cases.py"))
ROOMS = runpy.run_path(str(HERE / "room_sites.py"))


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


@pytest.mark.parametrize("name", sorted(CASES["DEMOS"]))
def test_each_pole_has_its_main_fuse_at_its_own_terminal_on_every_paper(name: str) -> None:
    """A fuse in both poles of one string of several units: two boxes, each at its own terminal."""
    design = CASES["demo"](name)
    built, site = design.installation, design.site
    (bank,) = banks_at(built)
    fuse = bank.part("battery-fuse")
    apart = site.battery.units_in_series > 1 and site.battery.units_in_parallel == 1
    assert (fuse.count, fuse.poles) == ((2, 1) if apart else (1, 2))
    tags = [fuse.tag_at("+"), fuse.tag_at("−")]
    assert len(set(tags)) == fuse.count
    boxes = {room_tags(built)[box.name]: box for box in built.layout.of_kind("fuse")}
    assert set(boxes) == set(tags)
    (row,) = [row for row in device_rows(built) if row["tag"] == fuse.tag]
    (label,) = [one for one in fuse.labels if one.label.startswith(fuse.tag)]
    assert row["count"] == f"{label.count}" == f"{fuse.count}"
    mains = [one for one in bank.joints if fuse.tag in {tag.partition(".")[0]
                                                        for tag in one.through}]  # fmt: skip
    assert [tag for one in mains for tag in one.through if tag.startswith(fuse.tag)] == tags
    (svg,) = sitepack.terminal_drawings(design).values()
    words = DRAWN["Drawing"](svg).all_words()
    assert all(f"{tag}, {fuse.rated_a:g} A" in words for tag in tags)
    if apart:
        units = units_of(site, racks_of(site))["shared"]
        for tag, unit in zip(tags, (units[0], units[-1]), strict=True):
            assert reach_m(boxes[tag], unit.box) <= site.battery.unfused_lead_m + 1e-9
        picked = [one for one in sitepack.picks(design) if fuse.tag in str(one)]
        assert picked or any(line.quantity >= 2.0 for line in design.bill
                             if line.key == sitepack.bought_key(fuse.bought))  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(room=ROOMS["ROOMS"], series=some.integers(1, 24), strings=some.integers(1, 4),
       pole=some.sampled_from(["none", "negative", "positive"]))  # fmt: skip
def test_units_stand_apart_inside_and_each_fuse_of_a_string_is_at_its_own_terminal(
    room: dict[str, float], series: int, strings: int, pole: str
) -> None:
    site = ROOMS["site_with"](room=room, battery={
        "units_in_series": series, "units_in_parallel": strings, "pole_earthed": pole,
    })  # fmt: skip
    racks = racks_of(site)
    (units,) = units_of(site, racks).values()
    assert len(units) + racks.left_over == series * strings
    for one, other in pairwise(units):
        assert reach_m(one.box, other.box) > 0.0
        if one.row == other.row:  # a link goes to the next place, never across the rack
            assert abs(one.column - other.column) + abs(one.tier - other.tier) == 1
    for unit in units:
        assert gap_m(unit.box, racks.boxes[unit.row - 1]) == 0.0
        assert unit.box.base_m + unit.box.height_m <= racks.boxes[unit.row - 1].height_m + 1e-9
    if strings > 1 or series == 1 or racks.left_over:
        return
    ends = {"+": units[0].box, "−": units[-1].box}
    poles = site.battery.fused_poles
    boxes = layout_of(site).of_kind("fuse")
    placed = {box.name.removeprefix("main fuse ")[0] if len(poles) > 1 else poles: box
              for box in boxes}  # fmt: skip
    assert set(placed) <= set(poles)
    for sign, box in placed.items():
        assert reach_m(box, ends[sign]) <= site.battery.unfused_lead_m + 1e-9
