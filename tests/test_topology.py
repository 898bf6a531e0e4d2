"""What a site is made of before sizes: ways and their company, cores, poles, switches, bonds."""

from __future__ import annotations

import runpy
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from solarcalc.design import open_design
from solarcalc.sitefile.read import read_site
from solarcalc.views.sitepack import module_plan
from solarcalc.wiring import runs, switching
from solarcalc.wiring.capacity import capacity
from solarcalc.wiring.flows import Flows
from solarcalc.wiring.system import regrouped, runs_of

FROZEN = Path(__file__).with_name("frozen")
PRICED = runpy.run_path(str(Path(__file__).with_name("priced_site.py")))


def site_of(stem="coral-pharmacy", /, **tables):
    site = PRICED["priced"](read_site(FROZEN / f"{stem}.toml").site)
    for table, keys in tables.items():
        site = site.model_copy(update={table: getattr(site, table).model_copy(update=keys)})
    return site


def with_run(site, key, **keys):
    run = getattr(site.runs, key).model_copy(update=keys)
    return site.model_copy(update={"runs": site.runs.model_copy(update={key: run})})


def flows():
    few = np.full(3, 100.0)
    return Flows(**{
        name: () if name == "planes"
        else few if "Floats" in str(kind) or "ndarray" in str(kind) else 25.0
        for name, kind in Flows.__annotations__.items()
    })  # fmt: skip


def circuits(site):
    ways = runs.ways_of(site)
    return {way.key: runs.circuits_of(site, way, {}) for way in ways}


def test_a_controllers_cable_stands_in_its_real_company():
    """Two controllers and two inverters in one trunking: 0.65 of IEC 60364-5-52 table B.52.17."""
    site = site_of()
    assert circuits(site)["battery"] == 4
    run = next(each for each in runs_of(site, flows()) if each.key == "controller_battery")
    alone = {name: factor for name, factor in capacity(run, 16.0).factors.items()
             if "circuit" not in name}  # fmt: skip
    assert capacity(run, 16.0).factors["4 circuits together"] == 0.65
    assert capacity(run, 16.0).capacity_a == pytest.approx(
        capacity(run, 16.0).table_a * np.prod(list(alone.values())) * 0.65
    )


def test_circuits_by_hand():
    site = site_of()  # 2 controllers, 4 strings, 2 inverters, a grid
    # four strings in two rows: two lie along the front of each
    assert circuits(site) == {"string": 2, "dc_main": 2, "battery": 4, "inverter_board": 2,
                              "board_house": 2, "grid_in": 1}  # fmt: skip
    # strings clipped in a layer warm one another; strangers count with them
    laid = with_run(with_run(site, "string", method="solar-touching"), "dc_main",
                    grouped_circuits=3)
    assert (circuits(laid)["string"], circuits(laid)["dc_main"]) == (2, 4)
    free = with_run(site, "string", method="solar-free")  # given: fixed apart from one another
    assert circuits(free)["string"] == 1
    # another method is another way
    apart = with_run(site, "controller_battery", method="C")
    assert circuits(apart)["battery"] == 2
    assert circuits(apart)["battery_inverter"] == 2
    one = site_of(supply={"layout": "one-inverter"})
    assert circuits(one)["battery"] == 3


def test_strings_side_by_side_are_reckoned_as_what_touches() -> None:
    """EN 50618 table A.3, two touching; IEC 60364-5-52 table B.52.17 item 2, one layer: 0.85."""
    site = site_of()
    (string,) = (each for each in runs_of(site, flows()) if each.key == "string")
    found = capacity(string, 6.0)
    assert (string.method, string.grouped_circuits, found.table_a) == ("solar-touching", 2, 57.0)
    assert found.factors["2 circuits together"] == 0.85
    alone = site_of(array={"rows": 4})  # a row each: none lies beside another
    (string,) = (each for each in runs_of(alone, flows()) if each.key == "string")
    assert (string.method, capacity(string, 6.0).table_a) == ("solar-free", 70.0)
    # strings in a conduit warm one another all together, however many rows there are
    (string,) = (each for each in runs_of(with_run(site, "string", method="B1"), flows())
                 if each.key == "string")  # fmt: skip
    assert string.grouped_circuits == 4


@pytest.mark.parametrize("rows", [1, 2, 3])
@pytest.mark.parametrize("layout", ["along-row", "across-rows"])
@pytest.mark.parametrize(("series", "strings"), [(2, 3), (3, 2), (3, 5), (4, 4), (5, 2)])
def test_no_more_strings_end_in_a_row_than_are_reckoned_side_by_side(
    rows, layout, series, strings
) -> None:  # fmt: skip
    design = open_design("coral-pharmacy", {"array": {
        "rows": rows, "modules_in_series": series, "module_count": series * strings,
        "string_layout": layout}})  # fmt: skip
    plan = module_plan(design)
    if plan is None:
        return
    ends = Counter(row for spots in plan.strings.values()
                   for row in {spots[0].row, spots[-1].row})  # fmt: skip
    reckoned = design.site.array.strings_side_by_side
    assert max(ends.values()) <= reckoned <= strings
    assert rows > 1 or reckoned == strings


def test_conductors_a_pole_count_as_circuits():
    site = site_of()
    asked = runs_of(site, flows())
    sizes = {each.key: (16.0, 16.0) for each in asked}
    run = {each.key: each for each in regrouped(
        site, runs.way_by_run(site), asked, {"battery_inverter_nonessential": 2}, sizes,
    )}  # fmt: skip
    assert run["controller_battery"].circuits_with(1) == 5
    assert run["controller_battery"].circuits_with(2) == 7
    assert run["battery_inverter_nonessential"].circuits_with(2) == 5
    assert run["string"].circuits_with(2) == 4  # two strings side by side, each twice a pole


@pytest.mark.parametrize(("phases", "poles"), [(1, 2), (2, 3), (3, 4)])
def test_poles_follow_from_the_conductors(phases, poles):
    site = site_of(loads={"phases": phases})
    for key in ("grid_in", "inverter_board_essential", "board_house_nonessential"):
        assert len(runs.line_conductors(site, key)) == poles


def test_a_switch_behind_each_inverter_and_one_between_two_sources():
    both = {"generator": {"power_w": 3000.0}, "protection": {"changeover": "manual"}}
    keys = [each.key for each in switching.changeovers_of(site_of(**both))]
    assert keys == ["changeover-essential", "changeover-nonessential", "changeover-sources"]
    words = [each.words for each in switching.changeovers_of(site_of(**both))]
    assert words == ["inverter / sources, essential board",
                     "inverter / sources, nonessential board", "grid / generator"]
    one = site_of(supply={"layout": "one-inverter"}, protection={"changeover": "manual"})
    assert [each.key for each in switching.changeovers_of(one)] == ["changeover"]
    assert switching.changeovers_of(site_of(grid={"kind": "none"})) == ()


def test_each_inverter_has_its_bond():
    bonds = switching.bonds_of(site_of())
    assert [(each.key, each.ours) for each in bonds] == [
        ("bond-grid", False), ("bond-essential", True), ("bond-nonessential", True)
    ]  # fmt: skip


RELAYS = [
    # nothing else comes into the inverter: it keeps its join
    ({"grid": {"kind": "none"}}, {"essential": False, "nonessential": False}),
    ({"protection": {"changeover": "built-in"}}, {"essential": True, "nonessential": True}),
    # a changeover in all poles outside, and a charger in the first inverter alone, or in none
    ({"protection": {"changeover": "manual"}, "grid": {"charge_below_frac": 0.5}},
     {"essential": True, "nonessential": False}),
    ({"protection": {"changeover": "manual"}, "grid": {"charge_below_frac": 0.0}},
     {"essential": False, "nonessential": False}),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "wanted"), RELAYS)
def test_an_inverter_that_takes_a_source_in_joins_by_its_relay(changes, wanted):
    """IEC 60364-5-55 cl. 551.4, from memory: a second join would stay while the grid feeds."""
    site = site_of(**changes)
    relay = {bond.board: bond.relay for bond in switching.bonds_of(site)
             if bond.ours and bond.board}  # fmt: skip
    assert relay == wanted
