"""The roof as it is, through a job: its plan, its tables, its checks and its sentence."""

from __future__ import annotations

import io

import numpy as np
import pytest
from matplotlib.patches import Polygon
from matplotlib.text import Text

from solarcalc import figures
from solarcalc.basis.errors import InputError
from solarcalc.design import open_design
from solarcalc.stages.array import roof_checks, standing
from solarcalc.views import orientation
from solarcalc.views.assumptions import hardware_assumptions
from solarcalc.views.orientation import (
    array_inputs,
    compare_orientations,
    hardware_table,
    orientation_table,
)

NASTY = r"$\frac{x_1}{0}$ _y_ <b> \alpha"


@pytest.fixture(scope="module")
def pharmacy():
    return open_design("coral-pharmacy")


def _box(name="Tank", along=5.0, up=3.0, length=1.0, depth=2.0, clearance=0.3):
    return {"name": name, "along_m": along, "up_m": up, "length_m": length, "depth_m": depth,
            "height_m": 1.0, "clearance_m": clearance}  # fmt: skip


def _plan(this):
    variants = compare_orientations(this)
    figure = figures.draw_roof_fits({n: v.fit for n, v in variants.items()}, this.site.roof)
    figure.savefig(io.StringIO(), format="svg")
    return figure


def _corners(patch):
    return np.array([patch.get_xy().min(axis=0), patch.get_xy().max(axis=0)])


def test_plan_shows_boxes_their_clearance_and_walkways_where_they_are(pharmacy):
    roof = pharmacy.site.roof
    middle = np.array([roof.length_m, roof.depth_m]) / 2.0
    for axis in _plan(pharmacy).axes:
        patches = [p for p in axis.patches if isinstance(p, Polygon)]
        boxes = [p for p in patches if p.get_hatch() == "xxxx"]
        ways = [p for p in patches if p.get_hatch() == "...."]
        assert len(boxes) == len(roof.obstacles) == 3
        assert len(ways) == len(roof.walkways) == 1
        for patch, box in zip(boxes, roof.obstacles, strict=True):
            low, high = _corners(patch) + middle
            assert low == pytest.approx([box.along_m, box.up_m])
            assert high == pytest.approx([box.along_m + box.length_m, box.up_m + box.depth_m])
        assert (_corners(ways[0]) + middle).ravel() == pytest.approx([0.0, 5.4, 14.0, 6.0])
        numbers = [t.get_text() for t in axis.texts if t.get_text().isdigit()]
        assert numbers == ["1", "2", "3", "4"]
        free = next(p for p in patches if p.get_hatch() is None)
        assert (_corners(free) + middle).ravel() == pytest.approx([10.8, 6.2, 12.8, 8.2])


def test_scales_count_from_the_left_end_of_the_eaves(pharmacy):
    axis = _plan(pharmacy).axes[0]
    left = -pharmacy.site.roof.length_m / 2.0
    for place, label in zip(axis.get_xticks(), axis.get_xticklabels(), strict=True):
        assert float(label.get_text()) == pytest.approx(place - left)
    assert "left end" in axis.get_xlabel()


def test_names_are_listed_under_the_plan_as_plain_text(pharmacy):
    long = "x" * 100
    this = pharmacy.changed({"roof": {
        "obstacles": [_box(NASTY), _box(long, along=8.0)], "walkways": []}})  # fmt: skip
    figure = _plan(this)
    listed = next(t for t in figure.findobj(Text) if NASTY in t.get_text())
    assert not listed.get_parse_math()
    assert "1 × 2 m, 1 m high" in " ".join(listed.get_text().split())
    assert long not in listed.get_text()
    assert "xxx…" in listed.get_text()
    table = array_inputs(this)
    assert any(row["Quantity"] == f"1  {NASTY}" for row in table)
    assert any(row["Quantity"] == f"2  {long}" for row in table)


def test_a_bare_roof_has_no_list_under_it(pharmacy):
    bare = pharmacy.changed({"roof": {"obstacles": [], "walkways": []}})
    figure = _plan(bare)
    assert figure.get_supxlabel() == ""
    assert not any(isinstance(p, Polygon) for p in figure.axes[0].patches)
    counts = [
        [v.fit.module_count for v in compare_orientations(this).values()]
        for this in (bare, pharmacy)
    ]
    assert all(all_of_it > around for all_of_it, around in zip(*counts, strict=True))


def test_rows_are_counted_whole_however_many_parts_they_have(pharmacy):
    across = {"name": "Way", "runs": "across", "from_m": 7.0, "width_m": 0.6}
    this = pharmacy.changed({"roof": {"obstacles": [], "walkways": [across]}})
    for row, variant in zip(
        orientation_table(compare_orientations(this)),
        compare_orientations(this).values(), strict=True,
    ):  # fmt: skip
        assert row["rows"] == variant.fit.row_count
        assert len(variant.fit.places) == 2 * variant.fit.row_count
    room = roof_checks(this)[0]
    fit = standing(this).roof_fit
    assert room.outcome == "passed"
    assert f"in {fit.row_count} rows" in room.limit


def test_array_that_no_longer_fits_fails_its_check(pharmacy):
    blocked = pharmacy.changed({"roof": {
        "obstacles": [_box("Machine room", along=2.0, up=1.0, length=10.0, depth=7.0)],
        "walkways": []}})  # fmt: skip
    assert roof_checks(blocked)[0].outcome == "failed"


def test_no_module_fits_is_a_clear_sentence(pharmacy):
    full = pharmacy.changed({"roof": {"obstacles": [
        _box("Water tanks", along=0.5, up=0.5, length=13.0, depth=8.0)]}})  # fmt: skip
    variants = compare_orientations(full)
    answer = orientation.answer(full, variants)
    assert answer.startswith("No module of this size fits")
    assert "clear of its obstacles and walkways" in answer
    assert roof_checks(full)[0].limit == "none fits"
    values = orientation.values(variants, standing(full))
    assert values["portrait_rail_m"] == values["portrait_dead_load_kg_per_m2"] == 0.0
    assert "0 modules" in _plan(full).axes[0].get_title(loc="left")


def test_hardware_of_the_tables_is_that_of_the_layout(pharmacy):
    variants = compare_orientations(pharmacy)
    table = {row["Quantity"]: row for row in hardware_table(variants)}
    values = orientation.values(variants, standing(pharmacy))
    for name, variant in variants.items():
        parts = variant.stands.hardware
        assert table["Rail installed"][name] == f"{parts.rail_m:.1f}"
        assert table["End clamps"][name] == values[f"{name}_end_clamp_count"]
        # Each part of a row has four ends of rail.
        # two rails a run with two ends each; a gap in a run is two ends more on each of its rails
        gaps = 2 * parts.expansion_joint_count
        assert parts.end_clamp_count == 4 * len(variant.fit.places) + gaps
        module = pharmacy.site.module
        modules_kg = variant.fit.module_count * module.mass_kg
        assert modules_kg < parts.mass_kg < 1.4 * modules_kg
        assert parts.module_area_m2 == pytest.approx(
            variant.fit.module_count * module.length_m * module.width_m
        )
    labels = [entry.label for entry in hardware_assumptions(pharmacy)]
    assert "rails.stock_length_m (default value used)" in labels
    assert all(entry.source for entry in hardware_assumptions(pharmacy))


def test_a_change_that_leaves_an_obstacle_outside_the_roof_is_told():
    with pytest.raises(InputError, match="outside the roof") as caught:
        open_design("coral-pharmacy", {"roof": {"length_m": 5.0}})
    assert "coral-pharmacy.toml, as changed" in caught.value.faults[0].where
