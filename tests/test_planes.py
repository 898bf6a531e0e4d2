"""Several roof planes on one bank: halves make a whole, order is no matter, more is never less."""

from __future__ import annotations

import re
import runpy
from collections import Counter
from collections.abc import Iterator
from functools import cache, reduce
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, reject, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.commissioning.sheet import sheet_of
from solarcalc.design import Design, open_design
from solarcalc.diagrams.earthing import earth_lines, earthing_diagram
from solarcalc.diagrams.single_line import further_planes, single_line
from solarcalc.diagrams.single_line_reduced import single_line_reduced
from solarcalc.documents.catalogue import documents_of
from solarcalc.documents.html import document_html
from solarcalc.documents.making import Making
from solarcalc.installation.schedules import cable_rows, label_rows
from solarcalc.quote.bill import bill_of
from solarcalc.report.letterhead import letterhead_of
from solarcalc.sitefile.planes import plane_change
from solarcalc.sitefile.read import plane_files, read_site, with_changes
from solarcalc.stages.grounds import test_facts as facts_of
from solarcalc.variants import change_of_plane
from solarcalc.views import electrical, sitepack, yields
from solarcalc.wiring.runs import plane_key, plane_number, stem_of

HERE = Path(__file__).parent
CASES = runpy.run_path(str(HERE / "installation_cases.py"))
DRAWN = runpy.run_path(str(HERE / "diagram_cases.py"))
DOCUMENTS = runpy.run_path(str(HERE / "document_cases.py"))
SITES = runpy.run_path(str(HERE / "site_files.py"))
WORKSHOP = HERE / "planes" / "east-west-workshop.toml"
UNBUILT: dict[str, Any] = {
    "commissioning": {"results": ""}, "logger": {"file": ""}, "handover": {"serials": ""}}
FEW = settings(deadline=None, max_examples=8, suppress_health_check=list(HealthCheck))


@cache
def workshop() -> Design:
    """The invented workshop with an east and a west roof."""
    return open_design(WORKSHOP)


@cache
def shop() -> Design:
    """A demo site of one plane, with a string of eight modules flush on its roof."""
    return open_design("orchard-shop")


# --- halves


@pytest.mark.slow
@FEW
@given(strings=some.integers(1, 4), controllers=some.integers(1, 2), series=some.integers(4, 8),
       slope_deg=some.sampled_from([5.0, 25.0, 40.0]))
def test_two_planes_alike_are_one_of_twice_as_much(
    strings: int, controllers: int, series: int, slope_deg: float
) -> None:
    """Flush modules in one row each: nothing shades, so halves differ in nothing but their count.

    What the controllers cut off at their limit and what cables lose is of each half as of the
    whole; energy may differ by the rounding of a sum.
    """
    assume(strings >= controllers)

    def tables(times: int) -> dict[str, dict[str, Any]]:
        return {"array": {"module_count": times * strings * series, "modules_in_series": series,
                          "rows": 1, "modules_high": 1},
                "controller": {"count": times * controllers},
                "roof": {"slope_deg": slope_deg, "length_m": 200.0}}

    whole = shop().changed(tables(2))
    halves = shop().changed({**tables(1), "planes": [{"name": "Other half"}]})
    np.testing.assert_allclose(
        halves.energy.hours["bus_w"], whole.energy.hours["bus_w"], rtol=1e-9, atol=1e-6)
    assert halves.energy.clipped_kwh == pytest.approx(whole.energy.clipped_kwh, abs=1e-6)
    assert halves.energy.in_window_frac == pytest.approx(whole.energy.in_window_frac)
    assert [step.name for step in halves.energy.steps] == [
        step.name for step in whole.energy.steps]
    assert [step.yield_kwh_per_kwp for step in halves.energy.steps] == pytest.approx(
        [step.yield_kwh_per_kwp for step in whole.energy.steps])
    one, two = whole.site, halves.site
    for name in ("module_count", "string_count", "controller_count", "controllers_a", "array_w"):
        assert getattr(two, name) == getattr(one, name)
    try:
        bought = [_bought(CASES["installed"](site)) for site in (one, two)]
    except InputError:
        assume(False)  # no cable carries so many controllers to one bank
    for item in ("module", "string-connector", "controller", "combiner", "isolator-dc",
                 "string-fuse", "battery", "inverter"):
        assert bought[1][item] == bought[0][item], item


def _bought(built: Any) -> Counter[str]:
    found: Counter[str] = Counter()
    for line in bill_of(built, None, 0.0):
        found[line.item] += round(line.quantity)
    return found


# --- order


@FEW
@given(changes=SITES["two_plane_changes"]())
def test_the_order_of_planes_changes_nothing_but_their_numbers(changes: Any) -> None:
    base = SITES["_base"]()
    try:
        one = with_changes(base, changes).site
        built = CASES["installed"](one)
    except InputError:
        assume(False)
    other = one.model_copy(update=_swapped(one))
    again = CASES["installed"](other)
    assert _bill(again) == _bill(built)
    assert _lengths(again) == _lengths(built)
    found, turned = ({(check.rule, check.plane, check.about, check.outcome, check.found)
                      for check in CASES["checks"](site)} for site in (one, other))
    assert turned == found


def _swapped(site: Any) -> dict[str, Any]:
    """The tables of a site whose second plane comes first."""
    first, second = site.sites
    kept = ("horizon", "roof", "array", "rails", "structure", "controller")
    runs = {name: getattr(first.runs, name) for name in type(site.planes[0].runs).model_fields}
    plane = site.planes[0].model_copy(update={
        "name": first.roof.name, **{table: getattr(first, table) for table in kept},
        "runs": site.planes[0].runs.model_copy(update=runs),
    })  # fmt: skip
    return {**{table: getattr(second, table) for table in (*kept, "runs")}, "planes": [plane]}


def _bill(built: Any) -> dict[str, float]:
    return {line.key: pytest.approx(line.quantity) for line in bill_of(built, None, 0.0)}


def _lengths(built: Any) -> Counter[tuple[Any, ...]]:
    return Counter((row["run"], row["count"], row["size"], row["length [m]"], row["device [A]"])
                   for row in cable_rows(built))  # fmt: skip


# --- more is never less


@FEW
@given(azimuth_deg=some.floats(0.0, 359.0), slope_deg=some.floats(0.0, 45.0),
       count=some.integers(1, 3), controllers=some.integers(1, 2))
def test_a_plane_added_never_lowers_the_energy_at_the_bus(
    azimuth_deg: float, slope_deg: float, count: int, controllers: int
) -> None:
    assume(count >= controllers)
    more = shop().changed({"planes": [{
        "name": "Added", "roof": {"azimuth_deg": azimuth_deg, "slope_deg": slope_deg},
        "array": {"module_count": 8 * count, "azimuth_deg": azimuth_deg, "tilt_deg": slope_deg},
        "controller": {"count": controllers},
    }]})  # fmt: skip
    before, after = (one.energy.hours["bus_w"] for one in (shop(), more))
    assert (after >= before - 1e-9).all()
    parts = [one.energy.hours["bus_w"] for one in more.planes]
    np.testing.assert_allclose(after, sum(parts), rtol=1e-12)
    assert more.energy.peak_kwp == pytest.approx(sum(one.energy.peak_kwp for one in more.planes))
    left = [step.yield_kwh_per_kwp for step in more.energy.steps]
    assert left[-1] * more.energy.peak_kwp == pytest.approx(more.energy.ac_kwh)


# --- changes


CHANGES: dict[str, dict[str, Any]] = {
    "first tilt": {"roof": {"slope_deg": 20.0}},
    "dust": {"soiling": {"loss_per_dry_day_frac": 0.003}},
    "bank": {"battery": {"units_in_parallel": 5}},
    "rails": {"rails": {"mass_kg_per_m": 2.0}},
    "margin": {"quote": {"margin_frac": 0.4}},
    "one plane": {"planes": []},
    "other plane": {"planes": [{"name": "West roof", "roof": {"azimuth_deg": 250.0},
                                "array": {"azimuth_deg": 250.0, "module_count": 6},
                                "controller": {"count": 1}}]},
    "three planes": {"planes": [{"name": "West roof"}, {"name": "South roof"}]},
}  # fmt: skip


@pytest.mark.parametrize("name", CHANGES)
def test_a_changed_design_is_that_of_the_file_so_written(name: str) -> None:
    own = workshop()
    assert own.offer is not None
    changed, anew = own.changed(CHANGES[name]), open_design(WORKSHOP, CHANGES[name])
    assert [one.plane for one in changed.planes] == [one.plane for one in anew.planes]
    assert changed.energy.ac_kwh == anew.energy.ac_kwh
    assert changed.checks == anew.checks
    assert changed.bill == anew.bill
    assert changed.offer.total == anew.offer.total


def test_a_change_of_one_plane_keeps_what_the_other_has_worked_out() -> None:
    own = workshop()
    assert own.energy.ac_kwh > 0.0
    rows = [dict(own.sitefile.written["planes"][0], array={
        **own.sitefile.written["planes"][0]["array"], "module_count": 5})]
    other = own.changed({"planes": rows})
    first, second = other.planes
    assert {"light", "energy"} <= first.kept.keys()
    assert not {"light", "energy"} & second.kept.keys()
    assert not {"energy", "supply", "installation"} & other.kept.keys()
    assert first.energy is own.planes[0].energy
    assert other.weather is own.weather is second.weather


def test_a_change_of_the_first_plane_may_leave_the_others_as_they_are() -> None:
    own = workshop()
    change = plane_change(own.sitefile.written, 0, {"array": {"tilt_deg": 3.0, "rows": 1}},
                          own.site.sites)  # fmt: skip
    first, second = own.changed(change).planes
    assert (first.site.array.tilt_deg, first.site.array.rows) == (3.0, 1)
    assert second.site.array == own.planes[1].site.array


def test_what_would_change_the_yield_turns_and_moves_the_first_plane_alone() -> None:
    """Rows lifted off the first roof go closer together than those flat on the second may."""
    own, (row,) = workshop(), workshop().sitefile.written["planes"]
    flat = {**row, "array": {**row["array"], "mounting": "small-gap", "tilt_deg": 15.0, "rows": 2}}
    lifted = own.changed({"array": {"mounting": "open-frame", "tilt_deg": 40.0}, "planes": [flat]})
    seen = set()
    for words, tables in yields._changes(lifted):
        after = lifted.changed(change_of_plane(lifted, 0, tables))
        before, now = lifted.planes[1], after.planes[1]
        assert now.array.pitch_m == pytest.approx(before.array.pitch_m)
        kept = {"row_pitch_m": None}
        assert (now.site.array.model_copy(update=kept)
                == before.site.array.model_copy(update=kept)), words
        seen |= set(tables.get("array", ()))
    assert seen == {"tilt_deg", "azimuth_deg", "row_pitch_m"}
    assert len(yields.what_would_change_the_yield(lifted)) > len(seen)


LEFT_OUT: list[tuple[tuple[str, ...], Any]] = [
    (("array", "row_pitch_m"), 4.0), (("array", "module_gap_m"), 0.05),
    (("rails", "overhang_m"), 0.1), (("array", "clear_from_solar_h"), 8.0),
    (("array", "modules_high"), 2), (("roof", "edge_setback_m"), 0.25),
    (("structure", "terrain"), "III"), (("runs", "string", "length_m"), 31.0),
    (("runs", "dc_main", "method"), "C"), (("controller", "count"), 2),
    (("controller", "efficiency_frac"), 0.9),
]  # fmt: skip


@FEW
@given(changes=SITES["two_plane_changes"](), key=some.sampled_from(LEFT_OUT))
def test_a_change_of_the_first_plane_changes_no_other_whatever_the_file_leaves_out(
    changes: Any, key: tuple[tuple[str, ...], Any]
) -> None:
    """A key that the file leaves out went over to each plane that took the first one's."""
    (table, *names), value = key
    change: Any = value
    for name in reversed(names):
        change = {name: change}
    try:
        design = open_design("ridge-clinic", {**changes, **UNBUILT})
        changed = design.changed(change_of_plane(design, 0, {table: change}))
    except InputError:
        reject()
    before, after = (one.planes[1] for one in (design, changed))
    assert reduce(getattr, key[0], changed.site) == value
    assert after.array.pitch_m == before.array.pitch_m
    same = {"row_pitch_m": None}
    assert after.site.array.model_copy(update=same) == before.site.array.model_copy(update=same)
    for other in ("roof", "rails", "structure", "controller", "runs", "horizon"):
        assert getattr(after.site, other) == getattr(before.site, other)


def test_a_plane_is_a_site_of_its_own() -> None:
    own = workshop()
    for file, one in zip(plane_files(own.sitefile), own.planes, strict=True):
        assert file.site.planes == []
        again = with_changes(file, {"array": {"clear_from_solar_h": 8.0}}).site
        assert again.array == one.site.array.model_copy(update={"clear_from_solar_h": 8.0})
        assert again.controller == one.site.controller
        assert again.runs == one.site.runs


# --- what the papers say


def test_each_check_of_a_roof_says_its_plane() -> None:
    own = workshop()
    names = [one.plane for one in own.planes]
    assert names == ["East roof", "West roof"]
    keys = [check.key for check in own.all_checks]
    assert len(set(keys)) == len(keys)
    for rule in ("stages/modules-on-roof", "structure/fixing-uplift", "wiring/open-circuit-string",
                 "stages/energy-outside-window", "protection/isolator-array"):  # fmt: skip
        found = [check for check in own.all_checks if check.rule == rule]
        assert sorted(check.plane for check in found) == names, rule
        assert all(check.plane in check.item for check in found)


def test_strings_controllers_and_modules_are_numbered_on() -> None:
    own = workshop()
    east, west = sitepack.module_plans(own)
    assert [*east.strings, *west.strings] == ["S1", "S2", "S3", "S4"]
    lines = sheet_of(facts_of(own.installation))
    assert sum(line.key == "polarity" for line in lines) == own.site.string_count == 4
    assert {line.where for line in lines if line.key == "voltage"} == {
        f"string {number} ({plane}), to controller {controller}"
        for number, plane, controller in ((1, "East roof", 1), (2, "East roof", 1),
                                          (3, "West roof", 2), (4, "West roof", 2))}
    for name in ("S1+, S1−", "S4+, S4−"):
        assert name in {row["label"] for row in label_rows(own.installation)}
    modules = sitepack.plan_rows(own, lambda plan: [{"module": name}
                                                    for name in plan.names.values()])
    assert len({row["module"] for row in modules}) == len(modules) == own.site.module_count


def test_every_sheet_of_a_plane_bears_its_name_and_a_number_of_its_own() -> None:
    own = workshop()
    sheets = sitepack.sheets_by_plane(own)
    assert len(sheets) == 2
    drawn = [svg for one in sheets for kind in (one.roof, one.fixing, one.strings)
             for svg, _ in kind]  # fmt: skip
    for number, name in ((1, "East roof"), (2, "West roof")):
        mine = [svg for svg in drawn if name in svg]
        assert len(mine) == len(drawn) / 2
        assert all(f"-{number}<" in svg for svg in mine)


def test_views_have_a_row_a_plane() -> None:
    own = workshop()
    rows = yields.plane_rows(own)
    assert [row["roof plane"] for row in rows] == ["East roof", "West roof"]
    assert sum(row["potential AC energy [kWh]"] for row in rows) == pytest.approx(
        own.energy.ac_kwh)
    assert yields.plane_rows(shop()) == []
    assert "West roof" in electrical.window_words(own)
    assert own.on_plane("west ROOF") is own.planes[1]
    assert own.on_plane(None) is own.planes[0]
    with pytest.raises(InputError, match="West roof"):
        own.on_plane("Wst roof")


@pytest.mark.parametrize("key", ["string", "dc_main", "battery-main", "array-isolator"])
def test_a_key_of_a_plane_says_which(key: str) -> None:
    assert plane_key(key, 1) == key
    assert (stem_of(plane_key(key, 3)), plane_number(plane_key(key, 3))) == (key, 3)


# --- faults


@pytest.mark.parametrize(("planes", "said"), [
    ([{"roof": {"azimuth_deg": 9.0}}], ["planes[1].name", "nothing"]),
    ([{"name": "East roof"}], ["planes[1].name", "a different name", "the first plane"]),
    ([{"name": "W"}, {"name": "w "}], ["planes[2].name", "plane 1"]),
    ([{"name": "W", "array": {"tilt_deg": 95.0}}],
     ['planes[1].array.tilt_deg (plane 1, "W")', "95.0", "from 0 to 90"]),
    ([{"name": "W", "array": {"module_count": 7, "modules_in_series": 2}}],
     ["planes[1].array.module_count", "6 or 8"]),
    ([{"name": "W", "array": {"tilt": 9.0}}], ["planes[1].array.tilt", "did you mean tilt_deg"]),
    ([{"name": "W", "module": {"pmax_w": 9.0}}], ["planes[1].module", "[[planes]]: name, horizon"]),
    ([{"name": "W", "runs": {"board_house": {}}}], ["planes[1].runs.board_house", "dc_main"]),
    ([{"name": "W", "roof": {"name": "V"}}], ["planes[1].roof.name", "beside its tables"]),
    ([{"name": "W", "controller": {"use": "none"}}],
     ["planes[1].controller.use", "a key of the controllers"]),
    ([{"name": "W", "controller": {"min_tracking_voltage_v": 400.0}}],
     ["planes[1].controller.min_tracking_voltage_v", "MPP voltage range"]),
    ([{"name": "W", "roof": {"obstacles": [{
        "name": "Tank", "along_m": 99.0, "up_m": 1.0, "length_m": 1.0, "depth_m": 1.0,
        "height_m": 1.0, "clearance_m": 0.0}]}}],
     ["planes[1].roof.obstacles[1].along_m", 'obstacle 1, "Tank"']),
    ("W", ["planes", "a list of tables"]),
])  # fmt: skip
def test_a_fault_names_plane_key_value_and_what_is_allowed(planes: Any, said: list[str]) -> None:
    changes: dict[str, Any] = {"roof": {"name": "East roof"}, "planes": planes}
    if isinstance(planes, str):
        changes = {"site": {"planes": planes}}
        said = ["site.planes"]
    with pytest.raises(InputError) as caught:
        with_changes(read_site(WORKSHOP), changes)
    (fault,) = caught.value.faults
    for words in said:
        assert words in str(fault)


def test_a_fault_of_the_first_plane_is_told_once() -> None:
    with pytest.raises(InputError) as caught:
        with_changes(read_site(WORKSHOP), {
            "array": {"clear_from_solar_h": 99.0}, "controller": {"use": "none"}})
    assert sorted(fault.where.partition(": ")[2] for fault in caught.value.faults) == [
        "array.clear_from_solar_h", "controller.use"]


def test_planes_charge_one_bank() -> None:
    with pytest.raises(InputError, match=r"supply.layout[\s\S]*one battery bank"):
        with_changes(read_site(WORKSHOP), {"supply": {"layout": "separate-banks"},
                                           "controller": {"count": 2}})


def test_things_on_a_roof_are_not_taken_over() -> None:
    box = {"name": "Tank", "along_m": 1.0, "up_m": 1.0, "length_m": 1.0, "depth_m": 1.0,
           "height_m": 1.0, "clearance_m": 0.0}  # fmt: skip
    site = with_changes(read_site(WORKSHOP), {"roof": {"obstacles": [box]}}).site
    first, second = site.sites
    assert [one.name for one in first.roof.obstacles] == ["Tank"]
    assert [one.name for one in second.roof.obstacles] == ["Vent stack"]
    assert second.roof.length_m == first.roof.length_m


def test_a_name_of_the_only_plane_is_of_no_matter() -> None:
    file = shop().sitefile
    assert with_changes(file, {"roof": {"name": "South"}}).site == with_changes(file, {}).site


@pytest.mark.parametrize("count", [2, 3, 4])
def test_every_drawing_of_several_planes_is_made(count: int) -> None:
    """Planes after the second have a sheet of the single-line diagram to themselves."""
    more = [dict(workshop().sitefile.written["planes"][0], name=f"Roof {number}")
            for number in range(2, count + 1)]  # fmt: skip
    built = CASES["installed"](with_changes(read_site(WORKSHOP), {"planes": more}).site)
    drawn = [DRAWN["Drawing"](svg) for svg in (single_line(built), *further_planes(built))]
    assert len(drawn) == 1 + (count > 2)
    assert [clash for one in drawn for clash in DRAWN["clashes"](one)] == []
    assert all("…" not in one.all_words() for one in drawn)
    words = " ".join(one.all_words() for one in drawn)
    for part in (*built.parts, *built.cables, *built.leads):
        if getattr(part, "drawn_on", ("single-line",)).count("single-line"):
            assert re.search(rf"\b{part.tag}\b", words), part.key
    assert DRAWN["Drawing"](single_line_reduced(built)).all_words()
    lines = earth_lines(CASES["earth"](built.site))
    assert sum(line.count for line in lines) == sum(
        one.count for one in built.earths if one.key != "earth-electrode")
    words = DRAWN["Drawing"](earthing_diagram(lines, "x", site_name="x")).all_words()
    for one in built.earths:
        assert one.key == "earth-electrode" or one.tag in words


@pytest.mark.slow
@pytest.mark.parametrize(("code", "pages"), [("DS", 1), ("QU", 2), ("BK", 4), ("DR", 12)])
def test_documents_of_two_planes_keep_to_their_rules_and_name_both(code: str, pages: int) -> None:
    own = workshop()
    making = Making(design=own, firm=letterhead_of(own.sitefile))
    for document in documents_of(code, making):  # type: ignore[arg-type]
        html, _ = DOCUMENTS["hold_to_rules"](document, pages=pages)
        if code in ("DS", "DR"):
            assert all(one.plane in html for one in own.planes)
        assert "22" in html  # modules of both planes


def test_the_site_pack_has_a_roof_a_fixing_and_a_string_plan_a_plane() -> None:
    own = workshop()
    (pack,) = documents_of("SP", Making(design=own, firm=letterhead_of(own.sitefile)))
    html = document_html(pack)
    for plane in own.planes:
        for title in ("Roof plan", "Fixing plan", "String plan"):
            assert f"{title}, {plane.plane}" in html
    listed = pack.files["serial-numbers.csv"].decode("utf-8-sig")
    assert len(re.findall(r"^S\d+/\d+", listed, re.MULTILINE)) == own.site.module_count


@pytest.mark.parametrize("language", ["en", "fr"])
def test_no_words_of_drawings_are_cut_for_the_name_of_a_plane(language: str) -> None:
    """Titles, cautions of the legend and notes at the foot have room beside a usual name."""
    own = workshop().changed({"firm": {"language": language}, "roof": {"name": "Tôle de la salle"}})
    (pack,) = documents_of("SP", Making(design=own, firm=letterhead_of(own.sitefile)))
    drawn = [DRAWN["Drawing"](svg) for svg in _pictures(pack.blocks)]
    assert len(drawn) > 8
    assert [line for one in drawn for line in one.texts() if "…" in line] == []


def _pictures(blocks: Any) -> Iterator[str]:
    """The drawings among blocks, at any depth."""
    for block in blocks if isinstance(blocks, list | tuple) else ():
        if isinstance(block, dict):
            if block.get("kind") == "picture" and b"<svg" in block["content"]:
                yield block["content"].decode()
            yield from _pictures(block.get("blocks"))
