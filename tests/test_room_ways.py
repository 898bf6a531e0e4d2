"""Places in the power room: every part has one, and cables are as long as the way between two.

Sites are invented.
"""

from __future__ import annotations

import math
import re
import runpy
from pathlib import Path

import pytest
from hypothesis import given, reject, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.checking.nearest import nearest_working
from solarcalc.design import open_design
from solarcalc.diagrams.room import room_drawing
from solarcalc.installation.standing import held_by, held_words, room_tags, without_place
from solarcalc.powerroom.boxes import Box, gap_m
from solarcalc.powerroom.checks import CABLES
from solarcalc.powerroom.plan import layout_of
from solarcalc.powerroom.ways import along_walls_m, longest_ways_m, rounded_up_m

HERE = Path(__file__).parent
DRAWN = runpy.run_path(str(HERE / "diagram_cases.py"))
CASES = runpy.run_path(str(HERE / "document_cases.py"))
ROOMS = runpy.run_path(str(HERE / "room_sites.py"))
INSTALLED = runpy.run_path(str(HERE / "installation_cases.py"))["installed"]
SITES = runpy.run_path(str(HERE / "site_files.py"))
DEMOS = sorted(CASES["DEMOS"])


def room_of(length_m: float, depth_m: float, height_m: float) -> Box:
    return Box(name="room", kind="door", along_m=0.0, out_m=0.0, length_m=length_m,
               depth_m=depth_m, height_m=height_m)  # fmt: skip


def hung(along_m: float, out_m: float, base_m: float) -> Box:
    return Box(name="x", kind="fuse", along_m=along_m, out_m=out_m, length_m=0.2, depth_m=0.2,
               height_m=0.2, base_m=base_m)  # fmt: skip


def test_a_way_by_hand() -> None:
    room = room_of(4.0, 3.0, 2.6)
    low, right = hung(1.0, 0.0, 0.4), hung(3.0, 0.0, 1.4)
    # hand: one wall, middles 2.0 m along and 1.0 m up
    assert along_walls_m(room, low, right) == pytest.approx(3.0)
    # hand: rack wall 1.1 m from the left, opposite wall as far: 1.1 + 3.0 + 1.1 along the left end
    assert along_walls_m(room, low, hung(1.0, 2.8, 0.4)) == pytest.approx(5.2)
    # hand: 0.9 m from the right end on both: 0.9 + 3.0 + 0.9 past the door, over which it goes,
    # from 0.5 up to 2.6 - 0.35 = 2.25 m and down: 2 x 1.75; the left end 3.1 + 3.0 + 3.1 is longer
    near = hung(3.0, 0.0, 0.4), hung(3.0, 2.8, 0.4)
    assert along_walls_m(room, *near) == pytest.approx(4.8 + 3.5)
    # hand: 1.4 m from the right end past the door 5.8 + 3.5, by the left end 2.6 + 3.0 + 2.6
    near = hung(2.5, 0.0, 0.4), hung(2.5, 2.8, 0.4)
    assert along_walls_m(room, *near) == pytest.approx(8.2)
    assert (rounded_up_m(2.01), rounded_up_m(2.0), rounded_up_m(0.3)) == (2.1, 2.0, 0.3)


PLACES = some.tuples(some.floats(0.0, 0.9), some.floats(0.0, 0.9), some.floats(0.0, 0.9))


@settings(max_examples=200, deadline=None)
@given(size=some.tuples(some.floats(1.5, 9.0), some.floats(1.5, 6.0), some.floats(2.0, 4.0)),
       places=some.lists(PLACES, min_size=3, max_size=3))  # fmt: skip
def test_a_way_is_as_long_back_and_never_shorter_than_by_a_third_thing(size, places) -> None:
    room = room_of(*size)
    one, other, third = (hung(x * size[0], y * size[1], z * size[2]) for x, y, z in places)
    way_m = along_walls_m(room, one, other)
    assert way_m == pytest.approx(along_walls_m(room, other, one))
    assert along_walls_m(room, one, one) == 0.0
    by_third_m = along_walls_m(room, one, third) + along_walls_m(room, third, other)
    assert way_m <= by_third_m + 1e-9
    walls = [one.along_m, one.out_m, other.along_m, other.out_m]
    if max(walls) < 1e-9 or one.out_m == other.out_m == 0.0:
        assert way_m >= math.dist((one.along_m, one.base_m), (other.along_m, other.base_m)) - 1e-9


@pytest.mark.parametrize("name", DEMOS)
def test_cables_of_a_demo_are_as_long_as_their_way_and_shorter_ones_are_told(name: str) -> None:
    design = CASES["demo"](name)
    ways = longest_ways_m(design.site, design.room.layout)
    assert {"controller_battery", "battery_inverter", "inverter_board", "board_house"} <= set(ways)
    found = {one.about: one for one in design.ground_checks
             if one.rule == "powerroom/cable-in-room"}  # fmt: skip
    assert set(found) == {CABLES[key] for key in ways if key in CABLES}
    assert {one.outcome for one in found.values()} == {"passed"}
    for conductor in design.installation.cables:
        way_m = ways.get(conductor.key, ways.get(conductor.key.rpartition("_")[0], 0.0))
        assert conductor.length_m >= way_m - 1e-9, conductor.tag
    short = design.changed({"runs": {"battery_inverter": {"length_m": 0.2}}})
    (check,) = [one for one in short.ground_checks if one.rule == "powerroom/cable-in-room"
                and one.outcome == "review"]  # fmt: skip
    working = nearest_working(short, check)
    least_m = working.changes["runs"]["battery_inverter"]["length_m"]
    assert f"at least {least_m:g}," in check.limit
    assert -1e-9 <= least_m - ways["battery_inverter"] < 0.1


@settings(max_examples=60, deadline=None)
@given(room=ROOMS["ROOMS"], series=some.integers(1, 24), strings=some.integers(1, 4),
       spark_free=some.booleans(), layout=some.sampled_from(["shared-bank", "separate-banks"]))
def test_no_two_things_share_a_place_and_what_may_spark_keeps_away(
    room, series, strings, spark_free, layout
) -> None:  # fmt: skip
    site = ROOMS["site_with"](room=room, battery={
        "units_in_series": series, "units_in_parallel": strings})  # fmt: skip
    site = site.model_copy(update={"supply": site.supply.model_copy(update={"layout": layout})})
    found = layout_of(site)
    small = [box for box in found.boxes if box.kind in (
        "fuse", "isolator", "busbar", "string-bar", "pv-switch", "changeover")]  # fmt: skip
    for box in small:
        for other in found.boxes:
            if other is not box:
                up = box.base_m >= other.base_m + other.height_m - 1e-9 or (
                    other.base_m >= box.base_m + box.height_m - 1e-9)  # fmt: skip
                assert up or gap_m(box, other) > 0.0, (box.name, other.name)
        if box.kind not in ("fuse", "string-bar"):
            assert min((gap_m(box, rack) for rack in found.of_kind("rack")), default=9.0) >= (
                found.spark_m - 1e-9)  # fmt: skip
    names = [box.name for box in found.boxes]
    assert len(set(names)) == len(names)
    listed = [*names, *found.unplaced]
    for word in ("battery busbars", "main fuse", "isolator"):
        assert sum(word in name for name in listed) >= len(site.banks)


@settings(max_examples=12, deadline=None)
@given(site=SITES["sites"]())
def test_every_part_of_the_room_has_a_place_on_the_sheet(site) -> None:
    try:
        built = INSTALLED(site)
    except InputError:  # no cable is made for it
        reject()
    if built.layout.unplaced:
        return
    openings = {"fan": "vent-high", "guard-filter": "vent-low"}
    without = [part for part in built.parts if part.tag in without_place(built)]
    assert [part.key for part in without
            if built.layout.of_kind(openings.get(part.key, "door"))] == []  # fmt: skip


@pytest.mark.parametrize("name", DEMOS)
def test_the_sheet_of_the_room_says_where_each_thing_and_each_tag_is(name: str) -> None:
    built = CASES["demo"](name).installation
    svg = room_drawing(built.layout, site_name="x", tags=room_tags(built), held=held_words(built))
    words = re.sub(r"\s+", " ", DRAWN["Drawing"](svg).all_words())
    assert "…" not in words
    for box in built.layout.boxes:
        assert f"x {box.along_m:.2f} y {box.out_m:.2f} z {box.base_m:.2f}; " in words, box.name
    assert without_place(built) == []
    units = {part.tag for part in built.of_kind("battery")}
    for tags in held_by(built).values():
        for tag in tags:
            assert re.search(rf"\b{tag}\b", words), tag
    assert all(f"{tag}.1" in words for tag in units)


def test_a_cable_that_nobody_gave_is_a_guess_where_its_way_is_longer() -> None:
    design = open_design("orchard-shop", {"runs": {"battery_inverter": {"length_m": 0.5}},
                                          "room": {"length_m": 6.0}})  # fmt: skip
    (check,) = [one for one in design.ground_checks if one.rule == "powerroom/cable-in-room"
                and one.about == CABLES["battery_inverter"]]  # fmt: skip
    assert (check.outcome, check.kind, check.unit) == ("review", "data", "m")
