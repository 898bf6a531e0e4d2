"""One lazy record of a site: a change keeps what it cannot touch, and nothing else."""

from __future__ import annotations

import os
import runpy
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.design import Design, open_design
from solarcalc.sitefile.equipment import bundled_equipment
from solarcalc.sitefile.read import alone
from solarcalc.stages.kept import stage
from solarcalc.variants import compare
from solarcalc.views import quote

values_of = runpy.run_path(str(Path(__file__).with_name("frozen_values.py")))["values_of"]
STAGES = [name for name, each in vars(Design).items() if isinstance(each, stage)]
SITE = "orchard-shop"
EXAMPLES = int(os.environ.get("SOLARCALC_RANDOM_SITES", "15"))
CHANGES: dict[str, dict[str, Any]] = {
    "tilt": {"roof": {"slope_deg": 18.0}},
    "module": {"module": {"isc_a": 13.9}},
    "obstacle": {"roof": {"albedo_frac": 0.3}},
    "dust": {"soiling": {"loss_per_dry_day_frac": 0.003}},
    "losses": {"losses": {"mismatch_frac": 0.02}},
    "bank": {"battery": {"units_in_parallel": 5}},
    "room": {"battery": {"room_c": 31.0}},
    "grid": {"grid": {"kind": "random", "outage_h_per_day": 9.0, "mean_outage_h": 3.0}},
    "generator": {"generator": {"power_w": 2000.0}},
    "load": {"loads": {"nonessential": []}},
    "cable": {"runs": {"dc_main": {"length_m": 33.0}}},
    "drop": {"cables": {"dc_drop_frac": 0.01}},
    "system": {"protection": {"system": "TN-S"}},
    "rods": {"earthing": {"rod_count": 6}},
    "soil": {"soil": {"kind": "sand"}},
    "walls": {"room": {"height_m": 3.2}},
    "margin": {"quote": {"margin_frac": 0.4}},
    "crew": {"programme": {"crew": 5}},
    "waste": {"quote": {"cable_waste_frac": 0.35}},
    "new room": {"programme": {"power_room": "new"}},
    "rails": {"rails": {"foot_spacing_m": 0.9}},
    "duct": {"duct": {"bends": 4, "depth_m": 0.9}},
    "surge": {"protection": {"thunderstorm_days": 90.0}},
    "tracker": {"controller": {"efficiency_frac": 0.95}},
    "inverter": {"inverter": {"essential": {"no_load_power_w": 25.0}}},
    "horizon": {"horizon": {"azimuth_deg": [90.0, 180.0, 270.0], "height_deg": [8.0, 3.0, 6.0]}},
    "place": {"site": {"elevation_m": 900.0}},
    "layout": {"supply": {"layout": "one-inverter"}},
    "money": {"costs": {"per_kwh_lost": 0.01}},
}


@pytest.fixture(scope="module")
def whole() -> Design:
    return worked_out()


@cache
def worked_out() -> Design:
    """The shop with every stage worked out."""
    design = open_design(SITE)
    for name in STAGES:
        assert getattr(design, name) is not None
    return design


@settings(max_examples=max(10, EXAMPLES // 4), deadline=None)
@given(names=st.lists(st.sampled_from(sorted(CHANGES)), min_size=1, max_size=3, unique=True))
def test_a_changed_design_is_the_site_file_so_written(names: list[str]) -> None:
    """Whatever is kept, every value of every workbook is that of a design opened anew."""
    changes: dict[str, dict[str, Any]] = {}
    for name in names:
        for table, keys in CHANGES[name].items():
            changes.setdefault(table, {}).update(keys)
    assert values_of(worked_out().changed(changes)) == values_of(open_design(SITE, changes))


@pytest.mark.parametrize("name", sorted(CHANGES))
def test_each_change_alone_gives_the_site_file_so_written(name: str) -> None:
    changes = CHANGES[name]
    changed, anew = worked_out().changed(changes), open_design(SITE, changes)
    assert changed.bill == anew.bill
    assert changed.checks == anew.checks
    assert quote.values(changed) == quote.values(anew)


@pytest.mark.parametrize(("change", "kept", "gone"), [
    ("cable", {"weather", "energy", "supply", "flows", "room_year"}, {"electrical", "offer"}),
    ("margin", {"energy", "supply", "electrical", "room", "installation"}, {"offer", "economics"}),
    ("crew", {"energy", "supply", "electrical", "earth"}, {"programme", "offer"}),
    ("bank", {"weather", "sun", "loads", "array"}, {"supply", "electrical", "offer"}),
    ("tilt", {"weather", "sun", "loads"}, {"array", "energy", "supply"}),
])  # fmt: skip
def test_a_change_keeps_the_stages_it_cannot_touch(
    whole: Design, change: str, kept: set[str], gone: set[str]
) -> None:
    other = whole.changed(CHANGES[change])
    assert kept <= other.kept.keys()
    assert not gone & other.kept.keys()


def test_no_change_keeps_everything(whole: Design) -> None:
    again = whole.changed({"array": {"tilt_deg": None}})
    assert again.kept.keys() == whole.kept.keys()
    assert again.offer is whole.offer


def test_nothing_is_worked_out_before_it_is_asked_for() -> None:
    design = open_design(SITE)
    assert design.kept == {}
    assert design.loads is design.loads
    assert set(design.kept) == {"loads", "weather"}


def test_compare_lists_what_differs_and_leaves_out_what_does_not(whole: Design) -> None:
    table = compare({"own": whole, "long": whole.changed(CHANGES["cable"]),
                     "bank": whole.changed(CHANGES["bank"])})  # fmt: skip
    assert list(table.columns) == ["own", "long", "bank"]
    assert "energy supplied [kWh/year]" in table.index
    cable = [name for name in table.index if name.startswith("cable: ")]
    assert any("33 m" in str(table.loc[name, "long"]) for name in cable)
    assert table.loc["battery life [years]", "own"] == table.loc["battery life [years]", "long"]
    assert (table.nunique(axis=1)[[name for name in table.index if ": " in name]] > 1).all()
    same = compare([whole, whole])
    assert list(same.columns) == ["A", "B"]
    assert not [name for name in same.index if ": " in name]


@pytest.mark.parametrize(("changes", "complaint"), [
    ({"arry": {"tilt_deg": 3.0}}, "arry"),
    ({"array": {"tilt": 3.0}}, "array.tilt"),
    ({"array": 5.0}, "changes: array"),
    ({"array": {"tilt_deg": 95.0}}, "array.tilt_deg"),
    ([("array", 5.0)], "changes"),
    ({"array": {1: 3.0}}, "changes: array\n.*the key 1"),
    ({None: {}}, "changes\n.*the key None"),
    ({"array": {"tilt_deg": np.array([3.0])}}, "changes: array.tilt_deg\n.*ndarray"),
    ({"module": {"voc_v": Decimal("40.5")}}, "changes: module.voc_v\n.*Decimal"),
    ({"array": {"modules_in_series": 10**5000}}, "changes: array.modules_in_series\n.*bits"),
    ({"array": {"tilt_deg": float("nan")}}, "as changed: array.tilt_deg"),
    ({"site": {"time_zone": "Mars/Base"}}, "as changed: site.time_zone"),
    ({"site": {"time_zone": "UTC+05:45"}}, "as changed: site.time_zone"),
    ({"weather": {"source": "nowhere.csv"}}, "as changed: weather.source"),
    ({"module": {"use": "no-such-module"}}, "as changed: module.use"),
])  # fmt: skip
def test_a_change_that_cannot_be_is_named(whole: Design, changes: Any, complaint: str) -> None:
    with pytest.raises(InputError, match=complaint):
        whole.changed(changes)


def test_a_table_that_holds_itself_is_refused(whole: Design) -> None:
    table: dict[str, Any] = {}
    table["table"] = table
    with pytest.raises(InputError, match="nested too deep"):
        whole.changed({"array": table})


def test_numbers_of_numpy_are_plain_numbers(whole: Design) -> None:
    array = whole.changed({"array": {"tilt_deg": np.float64(7.5), "module_count": np.int64(
        whole.site.array.module_count)}}).site.array  # fmt: skip
    assert (type(array.tilt_deg), type(array.module_count)) == (float, int)
    assert array.tilt_deg == 7.5


@pytest.mark.parametrize("name", sorted(demo_sites()))
def test_a_place_chosen_and_given_up_leaves_the_site_as_it_was(name: str) -> None:
    """What a place brings with it does not stay when another is chosen, or none."""
    own = open_design(name)
    first, *_, last = (place.name for place in own.site.places)
    there = own.changed({"room": {"place": last}})
    assert there.site != own.site
    assert there.changed({"room": {"place": own.site.room.place}}).site == own.site
    again = there.changed({"room": {"place": first}})
    assert again.site == open_design(name, {"room": {"place": first}}).site


def test_a_change_of_equipment_takes_its_entry(whole: Design) -> None:
    modules = bundled_equipment()["modules"]
    key = next(one for one in modules if one != whole.sitefile.equipment_keys["module"])
    other = whole.changed({"module": {"use": key}})
    assert other.sitefile.equipment_keys["module"] == key
    assert other.site.module.pmax_w == modules[key].values["pmax_w"]


def test_a_change_of_name_and_clock_reaches_file_name_and_offset(whole: Design) -> None:
    other = whole.changed({"site": {"name": "Other Shop", "time_zone": "UTC-06:00"}})
    assert (other.sitefile.slug, other.sitefile.offset_h) == ("other-shop", -6.0)


def test_every_demo_site_opens_by_name() -> None:
    for name in demo_sites():
        assert open_design(name).site.site.name


def test_another_place_no_place_and_a_kept_room_can_be_tried_from_a_chosen_place() -> None:
    """What a chosen place set is no value of the file: it goes when the place does."""
    own = open_design("cove-cannery", {"room": {"place": ""}})
    chosen = own.changed({"room": {"place": "Old ice house"}})
    assert chosen.site.runs.dc_main.length_m == 40.0
    assert chosen.site.battery.room_swing_frac == 0.1
    back = chosen.changed({"room": {"place": ""}})
    assert (back.site.runs, back.site.duct) == (own.site.runs, own.site.duct)
    assert back.site.battery == own.site.battery
    other = chosen.changed({"room": {"place": "Net loft"}})
    assert other.site.battery.room_swing_frac == 0.4
    kept = chosen.changed({"battery": {"room_c": 18.0}})
    assert kept.site.battery.room_c == 18.0
    assert kept.site.runs.dc_main.length_m == 40.0


@pytest.mark.parametrize("changes", [
    {"cables": {"ac_drop_frac": 0.0001}}, {"cables": {"soil_k_m_per_w": 9.0}},
    {"runs": {"dc_main": {"size_mm2": 3.0}}}, {"runs": {"string": {"material": "aluminium"}}},
    {"runs": {"board_house": {"ambient_c": 95.0}}}, {"controller": {"count": 9}},
], ids=str)  # fmt: skip
@pytest.mark.parametrize("name", ["ridge-clinic", "valley-workshop"])
def test_a_fault_of_a_stage_names_the_site_file(name: str, changes: dict[str, Any]) -> None:
    """Also where it is no fault of a table alone, but of what follows from several."""
    with pytest.raises(InputError) as error:
        assert open_design(name, changes).electrical
    for fault in error.value.faults:
        assert fault.where.startswith(f"{name}.toml"), fault.where
        assert fault.allowed


def test_a_fault_of_a_stage_of_a_variant_names_file_and_variant() -> None:
    design = open_design("ridge-clinic", {"variants": [  # type: ignore[dict-item]
        {"name": "Odd", "runs": {"dc_main": {"size_mm2": 3.0}}}]})
    with pytest.raises(InputError) as error:
        assert open_design(alone(design.sitefile, "odd")).electrical
    (fault,) = error.value.faults
    assert fault.where == 'ridge-clinic.toml, variant "Odd": runs.dc_main.size_mm2'
