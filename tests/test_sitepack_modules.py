"""Where modules and rails go: every module once, on the roof, its string in few rows, rails bought.

Over the demo sites, and over random roofs with boxes and walkways. Sites are invented.
"""

from __future__ import annotations

import re
import runpy
from collections import Counter
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.roof.packing import ModulePlaces, kept_free, usable
from solarcalc.roof.rows import Rows
from solarcalc.roof.strings import parts_of, strings_on_roof, strung
from solarcalc.sitepack.modules import (
    cut_list,
    feet_of,
    module_plan,
    module_rows,
    placed_rails,
    rail_rows,
    row_rows,
)
from solarcalc.stages.array import own_hardware

HERE = Path(__file__).parent
CASES = runpy.run_path(str(HERE / "roof_cases.py"))
own_of, roofs = CASES["own_of"], CASES["roofs"]
EXAMPLES = 30
HAIR_M = 1e-6


@pytest.mark.slow
@given(changes=roofs())
@settings(max_examples=EXAMPLES, deadline=None,
          suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow])  # fmt: skip
def test_modules_of_random_roofs(changes):
    try:
        own = own_of("ridge-clinic", **changes)
    except InputError:
        assume(False)  # boxes in one another's place
    plan = module_plan(own)
    assume(plan is not None)
    agrees(own, plan)


@pytest.mark.parametrize("name", sorted(demo_sites()))
def test_modules_of_a_demo_site(name):
    own = own_of(name)
    plan = module_plan(own)
    agrees(own, plan)


def agrees(own, plan):
    """Every property at once."""
    every_module_once(plan)
    on_the_roof_and_apart(plan)
    strings_lie_in_few_rows(plan)
    shade_takes_the_same_strings(plan)
    chains_add_up(plan)
    rails_are_those_bought(own, plan)


def every_module_once(plan):
    array, rows = plan.site.array, module_rows(plan)
    assert len(rows) == array.module_count == len({row["module"] for row in rows})
    assert {spot.place for spots in plan.strings.values() for spot in spots} == set(
        range(array.module_count))
    assert len(plan.strings) == array.string_count
    for spots in plan.strings.values():
        assert len(spots) == array.modules_in_series
    ends = Counter(end for row in rows for end in str(row["end"]).split(" and ") if end)
    assert ends == Counter(f"{name}{sign}" for name in plan.strings for sign in "+−")
    follows = {row["module"]: row["its minus goes to"] for row in rows}
    for name in plan.strings:
        here, met = f"{name}/1", []
        while here in follows:
            met.append(here)
            here = follows[here].removeprefix("plus of ")
        assert len(met) == array.modules_in_series
        assert here == f"{name}− of the combiner"


def on_the_roof_and_apart(plan):
    roof, half = plan.site.roof, np.array([plan.site.roof.length_m, plan.site.roof.depth_m]) / 2.0
    low, high = (usable(roof) + half).min(axis=0), (usable(roof) + half).max(axis=0)
    corners = plan.corners_m
    assert (corners >= low - HAIR_M).all()
    assert (corners <= high + HAIR_M).all()
    shapes = [*corners, *(block + half for block in kept_free(roof))]
    for number, one in enumerate(corners):
        for other in shapes[number + 1 :]:
            assert apart(one, other)


def apart(one, other):
    """Whether some side of either convex shape has the other wholly beyond it."""
    for shape in (one, other):
        for start, end in zip(shape, np.roll(shape, -1, axis=0), strict=True):
            normal = np.array([end[1] - start[1], start[0] - end[0]])
            a, b = one @ normal, other @ normal
            if a.max() <= b.min() + HAIR_M or b.max() <= a.min() + HAIR_M:
                return True
    return False


def shade_takes_the_same_strings(plan):
    """The boxes' shade, which takes modules one after another, pays by the strings of the plan."""
    array = plan.site.array
    order = strung(plan.places, modules_in_series=array.modules_in_series,
                   layout=array.string_layout)  # fmt: skip
    corners = [plan.places.corner_m[spot.place] for spots in plan.strings.values()
               for spot in spots]  # fmt: skip
    assert np.array_equal(order.corner_m, np.array(corners))


def strings_lie_in_few_rows(plan):
    """No other sharing out has more strings whole in one row; modules of a part lie side by side.

    A row of n holds floor(n / s) whole strings at the most, whoever shares out.
    """
    array = plan.site.array
    if array.string_layout == "across-rows":
        return
    lanes = Counter(
        (spot.row, spot.tier if array.string_layout == "tier-by-tier" else 0)
        for spot in plan.spots
    )  # fmt: skip
    most = sum(count // array.modules_in_series for count in lanes.values())
    whole = [
        spots for spots in plan.strings.values()
        if len({(one.row, one.tier if array.string_layout == "tier-by-tier" else 0)
                for one in spots}) == 1
    ]  # fmt: skip
    assert len(whole) == most
    # along a row of one tier, the modules of a string in one part have no other between them
    if plan.places.rows.modules_high == 1:
        for spots in plan.strings.values():
            for one, other in pairwise(spots):
                if (one.row, one.part) == (other.row, other.part):
                    assert abs(one.column - other.column) == 1


def chains_add_up(plan):
    roof = plan.site.roof
    for row in row_rows(plan):
        if plan.along_eaves:
            parts = (row["from the left edge [m]"], row["length [m]"], row["to the right edge [m]"])
            assert sum(map(float, parts)) == pytest.approx(roof.length_m, abs=0.002)
    if plan.along_eaves:
        fronts = [float(row["front edge up the roof [m]"]) for row in row_rows(plan)
                  if row["tier"] == row["part"] == 1]  # fmt: skip
        pitches = [float(row["pitch to the row before [m]"]) for row in row_rows(plan)
                   if row["pitch to the row before [m]"]]  # fmt: skip
        assert np.diff(fronts) == pytest.approx(pitches, abs=0.002)


def rails_are_those_bought(own, plan):
    bought, rows = own_hardware(own), rail_rows(plan)
    assert sum(float(row["length [m]"]) for row in rows) == pytest.approx(bought.rail_m, abs=0.05)
    assert sum(row["feet"] for row in rows) == bought.foot_count
    assert sum(row["splices"] for row in rows) == bought.splice_count
    assert sum(row["expansion joints"] for row in rows) == bought.expansion_joint_count
    for row in rows:
        pieces = [float(one) for one in re.findall(r"[\d.]+", row["cut to [m]"])]
        assert sum(pieces) == pytest.approx(float(row["length [m]"]), abs=0.001 * len(pieces))
        assert max(pieces) <= own.site.rails.stock_length_m + HAIR_M
    assert len(parts_of(plan.spots)) * 2 == len(rows)
    for rail in placed_rails(plan):
        no_module_spans_a_gap(plan, rail)
    clamps = [clamped(plan, rail) for rail in placed_rails(plan)]
    assert sum(mid for mid, _ in clamps) == bought.mid_clamp_count
    assert sum(end for _, end in clamps) == bought.end_clamp_count
    assert sum(row["pieces"] for row in cut_list(plan)) == len(rows) + bought.splice_count + (
        bought.expansion_joint_count)  # fmt: skip


def sides_m(plan, rail):
    """Beginning and end of each module on a rail, from the beginning of the rail."""
    turned = rail.ahead / (rail.ahead @ rail.ahead)
    return [((plan.corners_m[spot.place, :2] - rail.start_m) @ turned).tolist()
            for spot in rail.part]  # fmt: skip


def no_module_spans_a_gap(plan, rail):
    """A module clamped to both sides of a gap would be pulled apart as the rail grows."""
    for begin_m, end_m in sides_m(plan, rail):
        for joint_m in rail.joints_m:
            assert joint_m <= begin_m + HAIR_M or joint_m >= end_m - HAIR_M


def clamped(plan, rail):
    """Mid and end clamps on a rail: no clamp holds the modules at both sides of a gap."""
    between = [(one[1] + other[0]) / 2.0 for one, other in pairwise(sides_m(plan, rail))]
    gaps = sum(any(abs(middle - joint) < 1e-3 for joint in rail.joints_m) for middle in between)
    assert gaps == len(rail.joints_m)
    return len(between) - gaps, 2 + 2 * gaps


# --- by hand


def places(row_sizes, gap_before=None):
    """Rows of modules 1 m wide and 1 m up with no gap, 2 m apart, from 0; maybe a break of 1 m."""
    rows = Rows(orientation="portrait", slant_m=1.0, along_m=1.0, gap_m=0.0, modules_high=1,
                tilt_deg=0.0, azimuth_deg=180.0, roof_slope_deg=0.0, roof_azimuth_deg=180.0)
    corners = [
        (column + (gap_before is not None and column >= gap_before), 2.0 * row, 0.0)
        for row, count in enumerate(row_sizes) for column in range(count)
    ]  # fmt: skip
    return ModulePlaces(
        rows=rows, corner_m=np.array(corners), right=np.array([1.0, 0.0, 0.0]),
        up=np.array([0.0, 1.0, 0.0]),
        row=np.array([row for row, count in enumerate(row_sizes) for _ in range(count)]),
    )  # fmt: skip


def test_strings_of_six_in_rows_of_five_six_and_seven():
    # hand: the rows of 6 and 7 hold one whole string each; 5 of the first and 1 of the last
    # make the third. One after another they would be 5 + 1, 5 + 1, 6: one whole alone.
    found = strings_on_roof(places([5, 6, 7]), modules_in_series=6, layout="along-row")
    assert sorted(sorted(Counter(one.row for one in string).items()) for string in found) == [
        [(1, 5), (3, 1)], [(2, 6)], [(3, 6)]
    ]  # fmt: skip


def test_a_string_lies_on_one_side_of_a_break():
    # hand: a row of 10 broken after 4, strings of 3: one left of the break, two right of it
    found = strings_on_roof(places([10], gap_before=4), modules_in_series=3, layout="along-row")
    assert [{one.part for one in string} for string in found[:3]] == [{1}, {2}, {2}]
    assert [[one.column for one in string] for string in found] == [
        [1, 2, 3], [5, 6, 7], [8, 9, 10], [4]
    ]  # fmt: skip


def test_what_is_left_of_two_parts_meets_at_the_break():
    # hand: two parts of 4 and strings of 3: one whole at each outer end, then 4 and 5 with no third
    found = strings_on_roof(places([8], gap_before=4), modules_in_series=3, layout="along-row")
    assert [[one.column for one in string] for string in found] == [[1, 2, 3], [6, 7, 8], [4, 5]]


def test_across_rows_a_string_takes_columns():
    found = strings_on_roof(places([3, 3]), modules_in_series=2, layout="across-rows")
    assert [[(one.row, one.column) for one in string] for string in found] == [
        [(1, 1), (2, 1)], [(2, 2), (1, 2)], [(1, 3), (2, 3)]
    ]  # fmt: skip


def test_the_first_module_of_the_pharmacy():
    # hand: roof 14 m, 0.5 m kept free; 7 columns of 1.793 m and 6 gaps of 0.02 m take 12.671 m,
    # so (14 - 1 - 12.671) / 2 + 0.5 = 0.6645 m from the left edge; the parapet and its clearance
    # end 0.7 m up, where the first row begins
    plan = module_plan(own_of("coral-pharmacy"))
    first = module_rows(plan)[0]
    assert (first["module"], first["along the eaves [m]"], first["up the roof [m]"]) == (
        "S1/1", "0.66", "0.70")  # fmt: skip
    assert first["end"] == "S1+"
    assert row_rows(plan)[0]["from the left edge [m]"] in ("0.664", "0.665")


def test_feet_stand_evenly_and_not_at_the_ends():
    # hand: 4 m, 0.3 m from each end, at most 1.2 m apart: 3.4 m in 3 spans of 1.1333 m
    assert list(feet_of([4.0], 1.2)) == pytest.approx([0.3, 1.4333, 2.5667, 3.7], abs=1e-3)


def test_a_roof_that_is_too_small_has_no_plan():
    assert module_plan(own_of("ridge-clinic", roof={"length_m": 5.0})) is None
