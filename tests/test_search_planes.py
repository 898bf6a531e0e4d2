"""Sites of several roof planes searched: each candidate is its design, none is left out wrongly."""

from __future__ import annotations

import json
import runpy
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.design import open_design
from solarcalc.search import axes as axes_module
from solarcalc.search.axes import OnPlane, as_designed, axes_of
from solarcalc.search.beside import with_planes
from solarcalc.search.bounds import Wish
from solarcalc.search.points import axis_words, changes_of, neighbours, point_words
from solarcalc.search.run import run_all
from solarcalc.search.searched import point_at, search
from solarcalc.search.whole import cheapest_for, neighbours_of
from solarcalc.supply.energy import energy_kwh
from solarcalc.views.whole_search import Asked, printed, variant_text

HERE = Path(__file__).parent
SITES = runpy.run_path(str(HERE / "site_files.py"))
GABLE = str(HERE / "planes" / "east-west-workshop.toml")
FEW = {"units_in_parallel": [4, 6], "battery": ["as designed"], "strings": [1, 2],
       "controllers": [1, 2], "modules_in_series": [6]}  # fmt: skip


@cache
def _design(name="valley-workshop"):
    return open_design(name)


@cache
def _searched(name="valley-workshop"):
    return search(_design(name), wish=Wish(most_hours=20.0), limits=FEW)


def _point(searched, line):
    found = searched.found[line["field"]]
    return point_at(found.systems, int(line["system"]), int(line["plane"]))


def _is_its_design(searched, line, *, sun=2e-4):
    """Sun, hours and energy of a line of the table against the design that its changes make."""
    point = _point(searched, line)
    design = searched.design.changed(changes_of(searched.design, point, searched.kits))
    assert design.site.string_count == point.strings + sum(one.strings for one in point.planes)
    assert design.site.controller_count == point.controllers + sum(
        one.controllers for one in point.planes)
    assert [one.name for one in design.site.planes] == [
        one.name for one in point.planes if one.strings]
    bus_kwh = float(design.energy.hours["bus_w"].sum()) / 1000.0
    assert line["sun_kwh"] == pytest.approx(bus_kwh, rel=sun)
    hours = design.supply.hours_without_supply("essential")
    assert line["hours"] == pytest.approx(hours, rel=0.01, abs=1.0)
    missed = energy_kwh(design.supply, "not_supplied")
    assert line["not_supplied_kwh"] == pytest.approx(missed, rel=2e-3, abs=0.5)
    return design


@pytest.mark.parametrize("name", ["valley-workshop", GABLE])
def test_a_candidate_is_the_year_of_its_design(name):
    """With planes left bare, more strings on them, and controllers of another kind."""
    searched = search(_design(name), limits={
        **FEW, "controller": ["as designed", "tracker-190v-70a"],
        "battery": ["as designed", "agm-12v-183ah", "lithium-26v-142ah"]})  # fmt: skip
    draw, table = np.random.default_rng(4), searched.table
    bare = np.flatnonzero([not on[0].strings for on in table["planes"]])
    other = np.flatnonzero(table["controller"] != "as designed")
    assert len(bare)
    assert len(other)
    for lines in (bare, other, np.arange(len(table))):
        for _, line in table.iloc[draw.choice(lines, 5)].iterrows():
            _is_its_design(searched, line)


@pytest.mark.parametrize("name", ["valley-workshop", GABLE])
@pytest.mark.parametrize("hours", [0.0, 20.0])
def test_the_best_planes_are_those_of_running_every_one(name, hours):
    design = open_design(name, {"array": {"mounting": "open-frame"}})
    limits = FEW | {"tilt_deg": [15.0, 25.0], "azimuth_deg": [95.0, 275.0], "strings": [1, 3],
                    "row_pitch_m": [1.8, 2.4], "controllers": [1], "units_in_parallel": [3, 5],
                    "planes": [{"name": design.site.planes[0].name, "strings": [0, 2, 3]}]}
    for found in search(design, wish=Wish(most_hours=hours), limits=limits).found:
        every = run_all(found.systems, Wish(most_hours=hours))
        assert found.plane.tolist() == every.plane.tolist()
        assert np.array_equal(found.figures, every.figures, equal_nan=True)
        assert (found.held, found.planes) == (every.held, every.planes)


@pytest.mark.slow
@settings(deadline=None, max_examples=6, suppress_health_check=list(HealthCheck))
@given(changes=SITES["two_plane_changes"](), third=some.booleans(),
       facing=some.integers(0, 359), hours=some.sampled_from([0.0, 40.0]))  # fmt: skip
def test_random_sites_are_searched_as_if_every_system_ran(changes, third, facing, hours):
    """Of two planes and three; and what is found for a candidate is what its design has."""
    planes = [*changes["planes"]]
    if third:
        planes.append({"name": "Third roof", "roof": {"azimuth_deg": float(facing)},
                       "array": {"azimuth_deg": float(facing), "module_count": 2, "rows": 1,
                                 "modules_in_series": 2}, "controller": {"count": 1}})
    roof = {"roof": {"length_m": 14.0, "depth_m": 8.0}}
    try:
        design = open_design(SITES["_base"](), {**changes, **roof, "planes": planes})
    except InputError:
        assume(False)
    limits = {
        "tilt_deg": [8.0, 25.0], "azimuth_deg": [150.0, 180.0], "row_pitch_m": [2.2, 3.0],
        "modules_in_series": [2], "strings": [1, 3], "units_in_parallel": [1, 3],
        "controllers": [1], "battery": ["as designed"],
        "controller": ["as designed", "tracker-190v-70a"],
        "generator_w": sorted({0.0, design.site.generator.power_w}),
        "planes": [{"name": one["name"], "strings": [0, 1, 3]} for one in planes]}
    try:
        searched = search(design, wish=Wish(most_hours=hours), limits=limits)
    except InputError:  # as designed it has no offer: no cable bears its battery
        with pytest.raises(InputError):
            _ = design.offer
        return
    for found in searched.found:
        every = run_all(found.systems, Wish(most_hours=hours))
        assert found.plane.tolist() == every.plane.tolist()
    lines = np.flatnonzero(searched.table["generator_w"] == 0.0)
    for _, line in searched.table.iloc[lines[:: max(len(lines) // 3, 1)][:4]].iterrows():
        _is_its_design(searched, line, sun=5e-4)


def test_a_plane_left_bare_is_a_site_without_it():
    """The same systems of a file with one plane have the same figures, to the last digit."""
    searched = _searched()
    alone = search(_design().changed({"planes": []}), wish=Wish(most_hours=20.0), limits=FEW)
    bare = searched.table[[not on[0].strings for on in searched.table["planes"]]]
    columns = ["strings", "controllers", "units_in_parallel", "orientation", "hours",
               "not_supplied_kwh", "sun_kwh"]  # fmt: skip
    assert len(bare) == len(alone.table)
    assert bare[columns].to_numpy().tolist() == alone.table[columns].to_numpy().tolist()


def test_faces_alike_may_change_places():
    """Strings on one of two faces that lie alike serve as they do on the other."""
    design = _design().changed({"planes": [{"name": "Other half"}]})
    table = search(design, limits=FEW | {
        "controllers": [1], "orientation": ["portrait"], "strings": [1, 2, 3],
        "planes": [{"name": "Other half", "strings": [1, 2, 3], "controllers": [1]}]}).table
    found = {(line["strings"], line["planes"][0].strings, line["units_in_parallel"]): line
             for _, line in table.iterrows()}  # fmt: skip
    assert len(found) == 18
    for (here, there, units), line in found.items():
        other = found[there, here, units]
        assert line["sun_kwh"] == pytest.approx(other["sun_kwh"], rel=1e-4)
        assert line["price"] == pytest.approx(other["price"], rel=1e-9)
        assert line["hours"] == pytest.approx(other["hours"], abs=1.0)


def test_more_on_a_plane_never_serves_worse_and_is_never_cheaper():
    table = _searched().table
    table = table.assign(name=[on[0].strings for on in table["planes"]],
                         count=[on[0].controllers for on in table["planes"]])
    for _, group in table.groupby(["strings", "controllers", "units_in_parallel", "count"]):
        several = group.sort_values("name")
        for column, sign in (("hours", -1.0), ("price", 1.0), ("sun_kwh", 1.0)):
            assert (sign * np.diff(several.groupby("name")[column].min()) >= -1e-9).all()


def test_the_site_itself_costs_what_its_offer_says():
    """And without a plane what the offer of the site without it says, for what is left there."""
    design = _design()
    searched = search(design, limits={
        "strings": [2], "units_in_parallel": [6], "modules_in_series": [6], "controllers": [1],
        "battery": ["as designed"], "orientation": ["portrait"],
        "planes": [{"name": "East", "strings": [0, 2]}]})
    found = {line["planes"][0]: line for _, line in searched.table.iterrows()}
    own, = as_designed(design)
    assert found[own]["price"] == pytest.approx(design.offer.total, abs=0.01)
    assert found[own]["hours"] == design.supply.hours_without_supply("essential")
    alone = design.changed({"planes": []})
    bare = found[OnPlane(name="East", strings=0, controllers=0)]
    assert bare["price"] == pytest.approx(alone.offer.total, rel=0.01)
    assert bare["price"] < found[own]["price"]


@pytest.mark.parametrize("changes", [
    {"array": {"row_pitch_m": 2.0, "orientation": "landscape", "rows": 1, "module_count": 4,
               "modules_in_series": 4, "tilt_deg": 20.0, "azimuth_deg": 260.0}},
    {"controller": {"use": "tracker-190v-70a", "count": 3}},
])  # fmt: skip
@pytest.mark.parametrize("name", ["valley-workshop", GABLE])
def test_what_changes_on_the_first_plane_stays_on_the_others(name, changes):
    design = _design(name)
    before, after = design.planes[1], design.changed(with_planes(design, changes)).planes[1]
    own_pitch = {"row_pitch_m": before.array.pitch_m}
    assert after.array.pitch_m == before.array.pitch_m
    assert after.site.array.model_copy(update=own_pitch) == before.site.array.model_copy(
        update=own_pitch)
    assert after.site.controller == before.site.controller
    assert after.energy.ac_kwh == before.energy.ac_kwh


def test_controllers_written_out_are_never_those_of_another_kind(tmp_path):
    """A key that the other kind has and [controller] has not would reach a plane without `use`."""
    own = _design().site.controller.model_dump(exclude_none=True)
    kind = own | {"label": "Another kind", "start_voltage_v": 150.0}
    del kind["count"]
    (tmp_path / "own.toml").write_text("[controllers.another]\n" + "\n".join(
        f"{key} = {json.dumps(value)}" for key, value in kind.items()), encoding="utf-8")
    text = demo_sites()["valley-workshop"].read_text(encoding="utf-8")
    written = "\n".join(f"{key} = {json.dumps(value)}" for key, value in own.items())
    site = tmp_path / "workshop.toml"
    for table in ('use = "tracker-270v-90a"', written):
        site.write_text('equipment_files = ["own.toml"]\n'
                        + text.replace('use = "tracker-270v-90a"', table), encoding="utf-8")
        searched = search(open_design(site), limits=FEW | {
            "controller": ["as designed", "another"]})
        kinds = {kit.kinds.controller for kit in searched.kits}
        if table == written:
            assert kinds == {"as designed"}
            assert "East takes over keys of [controller]" in searched.left_out[0].why
        else:
            assert kinds == {"as designed", "another"}


def test_what_is_tried_on_a_plane():
    """Left bare to what it holds; where that is too many fewer; as asked where it is asked."""
    design = _design()
    usual = axes_of(design, FEW).planes
    own, = as_designed(design)
    assert OnPlane(name="East", strings=0, controllers=0) in {on[0] for on in usual}
    held = design.planes[1].array.roof_fit.module_count // 6
    assert {on[0].strings for on in usual} == set(range(min(held, 8) + 1))
    assert all(1 <= on[0].controllers <= on[0].strings for on in usual if on[0].strings)
    asked = axes_of(design, FEW | {"planes": [{"name": "east", "strings": [2, 1]}]}).planes
    assert {on[0].strings for on in asked} == {1, 2}
    alone = axes_of(design, FEW | {"planes": [{"name": "East", "controllers": [1]}]}).planes
    assert {(on[0].strings, on[0].controllers) for on in alone if on[0].strings} == {
        (count, 1) for count in range(1, min(held, 8) + 1)}
    assert own in alone[0] or own in {on[0] for on in alone}


@pytest.mark.parametrize(("most", "strings"), [(10**9, {0, 1, 2, 3, 4}), (48, {0, 1, 2}),
                                               (32, {0, 2}), (1, {2})])  # fmt: skip
def test_too_many_are_tried_with_fewer_on_the_planes_beside(monkeypatch, most, strings):
    monkeypatch.setattr(axes_module, "MOST_UNASKED", most)
    found = {on[0].strings for on in axes_of(_design(), FEW | {"row_pitch_m": [1.8]}).planes}
    assert found == strings


@pytest.mark.parametrize("name", ["West", "Nowhere"])
def test_a_plane_that_is_not_beside_the_first_is_refused(name):
    with pytest.raises(InputError, match="by its name in") as caught:
        axes_of(_design(), {"planes": [{"name": name, "strings": [1]}]})
    assert "East" in str(caught.value)


@pytest.mark.parametrize(("row", "said"), [
    ({"name": "East", "strings": [-1]}, "values from 0 to 500"),
    ({"name": "East", "strings": [1, 1]}, "each value once"),
    ({"name": "East", "controllers": [0]}, "values from 1 to 50"),
    ({"name": "East", "tilt_deg": [5.0]}, "no such key"),
    ({"strings": [1]}, "nothing"),
    ({"name": "East", "strings": [1], "controllers": [2, 5]}, "a count of at most 1"),
    ({"name": "East", "controllers": [50]}, r"search.planes\[1\].controllers"),
])  # fmt: skip
def test_a_row_that_cannot_be_searched_is_refused(row, said):
    with pytest.raises(InputError, match=said):
        axes_of(_design(), {"planes": [row]})


def test_more_than_a_plane_holds_is_told():
    searched = search(_design(), limits=FEW | {
        "planes": [{"name": "East", "strings": [0, 2, 40]}]})
    assert {on[0].strings for on in searched.axes.planes} == {0, 2}
    assert [one.value for one in searched.left_out] == ["East 40 PV strings on 1 controller"]


@pytest.mark.slow
def test_the_winner_its_neighbours_and_the_variant_to_copy(tmp_path):
    searched = _searched()
    winner, refused = cheapest_for(searched, most_hours=20.0)
    assert winner.hours <= 20
    assert not [one for one in winner.design.failed if one.kind == "safety"]
    several = neighbours_of(searched, winner)
    assert any(one.axis == "planes" for one in several)
    for one in several:
        if one.axis == "planes" and not one.fault and not one.checks:
            assert one.price > winner.price or one.hours > 20.0
    text = demo_sites()["valley-workshop"].read_text(encoding="utf-8")
    copy = tmp_path / "workshop.toml"
    copy.write_text(f"{text}\n{variant_text(winner, 'Found')}\n", encoding="utf-8")
    built = open_design(copy).variant("found")
    assert built.supply.hours_without_supply("essential") == winner.hours
    assert built.offer.total == winner.offer.total
    asked = Asked(searched=searched, answers={"any": (winner, refused)},
                  neighbours={"any": several}, front=None)
    lines = list(printed(asked))
    assert "  the axes above are those of West" in lines
    assert any("tried: East left bare to East" in line for line in lines)


@pytest.mark.slow
def test_no_cheaper_system_passes_when_every_design_is_built():
    """What is passed over for a check of a plane beside the first would fail too."""
    limits = {"strings": [1, 2], "controllers": [1], "battery": ["as designed"],
              "units_in_parallel": [4, 6], "modules_in_series": [6], "orientation": ["portrait"],
              "row_pitch_m": [1.77], "planes": [{"name": "East", "strings": [0, 1, 2]}]}
    for changes in ({}, {"planes": [{"name": "East", "array": {"azimuth_deg": 95.0},
                                     "roof": {"azimuth_deg": 95.0},
                                     "structure": {"fixing_uplift_kn": 0.05}}]}):
        searched = search(_design().changed(changes), limits=limits)
        winner, _ = cheapest_for(searched, most_hours=60.0)
        passing = []
        for _, line in searched.table.iterrows():
            point = _point(searched, line)
            design = searched.design.changed(changes_of(searched.design, point, searched.kits))
            if line["hours"] <= 60.0 and not any(one.kind == "safety" for one in design.failed):
                passing.append(line["price"])
        assert (winner is None) == (not passing)
        assert winner is None or winner.price == pytest.approx(min(passing))
        if changes:
            assert winner is None or not winner.point.planes[0].strings


def test_words_of_planes():
    on = (OnPlane(name="East", strings=2, controllers=1),
          OnPlane(name="Barn", strings=0, controllers=0))  # fmt: skip
    assert axis_words("planes", on) == "East 2 PV strings on 1 controller, Barn left bare"
    point = _point(_searched(), _searched().table.iloc[0])
    assert point_words(point).endswith(point.planes[0].words)


def test_a_step_on_a_plane_is_one_string_or_one_controller():
    searched = _searched()
    axes = searched.axes
    for on in axes.planes:
        point = _point(searched, searched.table.iloc[0])
        point = point.__class__(**{**vars(point), "planes": on})
        for axis, other in neighbours(point, axes):
            if axis == "planes":
                (one,), (two,) = on, other.planes
                assert one != two
                assert abs(one.strings - two.strings) <= 1
                assert one.strings != two.strings or abs(one.controllers - two.controllers) == 1


UNKNOWN = {
    "controller": '["trackr-270v-90a"]', "battery": '["no-such"]',
    "inverter": '["2 x inverter-9w"]', "inverter_nonessential": '["inverter 2700w"]',
}  # fmt: skip


@pytest.mark.parametrize(("key", "value"), UNKNOWN.items())
def test_a_name_that_search_refuses_is_refused_by_check_too(tmp_path, key, value):
    """Every axis of names; the file is read once, so both say the same words."""
    path = tmp_path / "shop.toml"
    text = demo_sites()["valley-workshop"].read_text(encoding="utf-8")
    path.write_text(f"{text}\n[search]\n{key} = {value}\n", encoding="utf-8")
    with pytest.raises(InputError, match=rf"shop\.toml: search\.{key}") as told:
        open_design(path)
    assert "as designed" in str(told.value)


def test_a_plane_that_the_file_has_not_is_refused_but_a_variant_may_leave_one_bare(tmp_path):
    path = tmp_path / "shop.toml"
    text = demo_sites()["valley-workshop"].read_text(encoding="utf-8")
    bare = '\n[[variants]]\nname = "Bare"\nplanes = []\n'
    for name, fits in (("East", True), ("east", True), ("West", False), ("Est", False)):
        path.write_text(f'{text}\n[[search.planes]]\nname = "{name}"\nstrings = [0, 1]\n{bare}')
        if fits:
            assert open_design(path).variant("Bare").site.planes == []
            continue
        with pytest.raises(InputError, match="by its name in") as told:
            open_design(path)
        assert "search.planes[1].name" in str(told.value)
