"""Every run of a system with what it carries; voltages along chains of cables."""

from __future__ import annotations

import json
import math
import os
import runpy
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.design import open_design
from solarcalc.sitefile.read import read_site
from solarcalc.sitefile.wiring import USUAL_RUNS
from solarcalc.wiring.chain import (
    Section,
    chain_of,
    chain_rows,
    chain_voltages,
    section_of,
    whole_drop_frac,
)
from solarcalc.wiring.flows import Flows, flows_from, squares_of
from solarcalc.wiring.runs import (
    SizedRun,
    bank_highest_v,
    bank_lowest_v,
    coldest_string_v,
    hottest_string_v,
    strings_by_controller,
)
from solarcalc.wiring.system import loads_of, reverse_check, runs_of

PLAIN = runpy.run_path(str(Path(__file__).with_name("plain_site.py")))
CLINIC = PLAIN["frozen"]("ridge-clinic")
"""18 modules, 3 in series, 2 controllers, lithium 51.2 V, two inverters."""


def changed(site, **tables):
    """The site with keys of its tables changed: `changed(site, array={"module_count": 9})`."""
    return site.model_copy(
        update={name: getattr(site, name).model_copy(update=keys) for name, keys in tables.items()}
    )


def with_run(site, key, **keys):
    """The site with keys of one of its runs changed."""
    return changed(site, runs={key: getattr(site.runs, key).model_copy(update=keys)})


def flows(**values):
    """Three hours: sun alone, battery alone, grid charging."""
    base = {
        "array_w": [3000.0, 0.0, 0.0], "array_v": [100.0, 0.0, 0.0],
        "bus_w": [2900.0, 0.0, 0.0], "essential_drawn_w": [500.0, 400.0, 0.0],
        "nonessential_drawn_w": [900.0, 100.0, 0.0], "essential_supplied_w": [450.0, 360.0, 300.0],
        "nonessential_supplied_w": [800.0, 80.0, 0.0], "charge_w": [1500.0, 0.0, 600.0],
        "discharge_w": [0.0, 500.0, 0.0], "grid_w": [0.0, 0.0, 966.0],
        "generator_w": [0.0, 0.0, 0.0], "hottest_cell_c": 65.0, "coldest_c": 5.0,
        "hottest_air_c": 38.0, "soil_c": 26.0, "room_c": 33.0,
    }  # fmt: skip
    base |= values
    return Flows(
        **{name: np.array(v) if isinstance(v, list) else v for name, v in base.items()}
    )


def by_key(site, given=None, **words):
    return {run.key: run for run in runs_of(site, given or flows(), **words)}


def sized(run, r_ohm, capacity_a=100.0):
    """A run with a cable of a resistance of both conductors, or of one of three [ohm]."""
    three = run.current == "ac" and run.loaded == 3
    drop_v = run.design_a * r_ohm * (math.sqrt(3.0) if three else 1.0)
    loss_kwh = float((run.hourly_a**2).sum()) * r_ohm * (3.0 if three else 1.0) / 1000.0
    return SizedRun(
        run=run, size_mm2=16.0, size_name="16 mm²", in_parallel=1, table_a=100.0,
        capacity_a=capacity_a, factors={}, device_a=None, drop_v=drop_v,
        drop_frac=drop_v / run.voltage_v,
        loss_w=run.design_a**2 * r_ohm * (3.0 if three else 1.0),
        loss_kwh_per_year=run.count * loss_kwh, cost=1.0, lifetime_cost=2.0, decided_by="drop",
    )  # fmt: skip


# --- what there is


def test_faults_of_controllers_and_of_cables_are_told_at_once():
    changes = {"controller": {"count": 5},
               "runs": {"string": {"method": "solar-surface", "material": "aluminium"}}}
    with pytest.raises(InputError) as refused:
        assert open_design("ridge-clinic", changes).electrical
    assert [fault.where.partition(": ")[2] for fault in refused.value.faults] == [
        "controller.count", "runs.string.material"]


@pytest.mark.parametrize("stem", demo_sites())
def test_a_run_is_what_it_carries_laid_some_way(stem):
    """Worked out beforehand or with it, and the squares are those of its own hours."""
    design = open_design(stem)
    own, beforehand = (runs_of(design.site, design.flows, loads=loads)
                       for loads in (None, design.run_loads))  # fmt: skip
    assert [run.key for run in own] == [run.key for run in beforehand]
    assert set(loads_of(design.site, design.flows)) == {run.key for run in own}
    for one, other in zip(own, beforehand, strict=True):
        assert np.array_equal(one.hourly_a, other.hourly_a)
        assert one.figures() == other.figures()
        assert one.squares == squares_of(one.hourly_a)
        assert one.design_a >= one.hourly_a.max()


def test_every_run_of_two_inverters_in_order():
    keys = [run.key for run in runs_of(CLINIC, flows())]
    assert keys == [
        "string", "dc_main", "controller_battery", "battery_inverter_essential",
        "battery_inverter_nonessential", "inverter_board_essential", "board_house_essential",
        "inverter_board_nonessential", "board_house_nonessential",
    ]  # fmt: skip


def test_grid_and_generator_come_in_where_there_are_any():
    site = changed(CLINIC, grid={"kind": "always", "limit_w": 4600.0},
                   generator={"power_w": 2300.0})  # fmt: skip
    runs = by_key(site)
    assert runs["grid_in"].design_a == pytest.approx(20.0)
    assert runs["generator_in"].design_a == pytest.approx(10.0)
    np.testing.assert_allclose(runs["grid_in"].hourly_a, [0.0, 0.0, 966.0 / 230.0])
    assert {"grid_in", "generator_in"}.isdisjoint(by_key(CLINIC))


def test_one_inverter_has_one_run_to_the_battery_and_one_to_each_board():
    runs = by_key(changed(CLINIC, supply={"layout": "one-inverter"}))
    assert "battery_inverter_nonessential" not in runs
    volts = 51.2
    np.testing.assert_allclose(
        runs["battery_inverter_essential"].hourly_a, [1400.0 / volts, 500.0 / volts, 600.0 / volts]
    )
    each = CLINIC.inverter.essential.continuous_power_w / 230.0
    assert runs["inverter_board_essential"].design_a == pytest.approx(each)
    assert runs["inverter_board_nonessential"].design_a == pytest.approx(each)


def test_every_demo_site_has_runs_with_positive_currents():
    for path in demo_sites().values():
        for run in runs_of(read_site(path).site, flows()):
            assert 0.0 < run.design_a < 1000.0, (path.name, run.key)
            assert run.highest_v >= run.voltage_v > 0.0
            assert run.length_given is False or run.length_m > 0.0
            assert run.hourly_a.shape == (3,)


# --- direct current


@pytest.mark.published("wiring/system.toml")
def test_design_currents_are_those_printed(case):
    within, inputs = case["last_digit"] / 2.0 * 1.0001, case["inputs"]
    if case["quantity"] == "array_a":
        site = changed(CLINIC, module={"isc_a": inputs["isc_a"]})
        low = flows(array_w=[0.0, 0.0, 0.0])
        assert by_key(site, low)["string"].design_a == pytest.approx(case["figure"], abs=within)
    else:
        site = changed(
            CLINIC,
            battery={"chemistry": "flooded", "unit_voltage_v": 2.0,
                     "units_in_series": inputs["cells"]},
        )  # fmt: skip
        inverter = site.inverter.essential.model_copy(
            update={"continuous_power_w": inputs["power_w"],
                    "efficiency_frac": inputs["efficiency_frac"]}
        )  # fmt: skip
        site = changed(site, inverter={"essential": inverter})
        none = flows(**dict.fromkeys(
            ("essential_drawn_w", "nonessential_drawn_w", "charge_w", "discharge_w", "bus_w"),
            [0.0] * 3
        ))  # fmt: skip
        found = by_key(site, none)["battery_inverter_essential"].design_a
        assert found == pytest.approx(case["figure"], abs=within)


def test_strings_are_shared_out_and_the_fullest_controller_decides():
    site = changed(CLINIC, array={"module_count": 21}, controller={"count": 3})
    assert strings_by_controller(site) == (3, 2, 2)
    runs = by_key(site)
    assert (runs["string"].count, runs["dc_main"].count) == (7, 3)
    assert runs["dc_main"].design_a == pytest.approx(1.25 * 3 * site.module.isc_a)
    # hand: 30 A in seven strings; squares of 3, 2 and 2 of them together are 17.
    each = 30.0 / 7.0
    np.testing.assert_allclose(runs["string"].hourly_a, [each, 0.0, 0.0])
    assert 3 * runs["dc_main"].hourly_a[0] ** 2 == pytest.approx(17 * each**2)


def test_all_power_of_the_array_goes_through_its_strings():
    runs, given_flows = by_key(CLINIC), flows()
    through = runs["string"].hourly_a * runs["string"].count * given_flows.array_v
    np.testing.assert_allclose(through, given_flows.array_w)
    even = flows(array_v=90.0)
    np.testing.assert_allclose(
        by_key(CLINIC, even)["dc_main"].hourly_a * 2 * 90.0, even.array_w
    )


def test_a_string_has_a_fuse_where_it_is_said():
    assert by_key(CLINIC)["string"].device == "none"
    assert by_key(CLINIC, string_fuses=True)["string"].device == "dc-fuse"
    assert by_key(CLINIC)["dc_main"].device == "none"


def test_voltages_of_a_string_hot_and_cold():
    module = CLINIC.module
    # hand: hot by (gamma - alpha) of 40 K, cold by beta of 25 K: 5 degC less 5 K.
    hot = 3 * module.vmp_v * (
        1 + 40 * (module.gamma_pmax_pct_per_k - module.alpha_isc_pct_per_k) / 100
    )
    cold = 3 * module.voc_v * (1 - 25 * module.beta_voc_pct_per_k / 100)
    runs = by_key(CLINIC)
    assert runs["string"].voltage_v == runs["dc_main"].voltage_v == pytest.approx(hot)
    assert runs["dc_main"].highest_v == pytest.approx(cold)
    assert hot == pytest.approx(hottest_string_v(CLINIC, 65.0))
    site = changed(CLINIC, cables={"hottest_cell_c": 25.0, "coldest_c": 25.0})
    assert hottest_string_v(site, 65.0) == pytest.approx(3 * module.vmp_v)
    assert coldest_string_v(site, -40.0) == pytest.approx(3 * module.voc_v)


def test_voltages_of_a_bank_empty_and_at_its_highest():
    lithium = CLINIC.battery
    assert bank_lowest_v(lithium) == pytest.approx(40.0)
    assert bank_highest_v(lithium, -10.0) == pytest.approx(56.8)
    acid = changed(
        CLINIC, battery={"chemistry": "flooded", "unit_voltage_v": 2.0, "units_in_series": 24}
    ).battery
    assert bank_lowest_v(acid) == pytest.approx(42.0)
    assert bank_highest_v(acid, 40.0) == pytest.approx(24 * 2.55)
    assert bank_highest_v(acid, 5.0) == pytest.approx(24 * (2.55 + 20 * 0.005))


def test_controller_to_battery_and_battery_to_inverter():
    runs, volts = by_key(CLINIC), 51.2
    controller, nonessential = runs["controller_battery"], runs["battery_inverter_nonessential"]
    assert controller.design_a == pytest.approx(1.25 * CLINIC.controller.max_charge_current_a)
    assert (controller.count, controller.device) == (2, "dc-breaker")
    np.testing.assert_allclose(controller.hourly_a, [1450.0 / volts, 0.0, 0.0])
    inverter = CLINIC.inverter.nonessential
    asked = inverter.continuous_power_w / inverter.efficiency_frac / 40.0
    assert nonessential.design_a == pytest.approx(asked)
    assert nonessential.device == "dc-fuse"
    np.testing.assert_allclose(nonessential.hourly_a, [900.0 / volts, 100.0 / volts, 0.0])


def test_a_charger_larger_than_the_inverter_decides_its_battery_cable():
    small = CLINIC.inverter.essential.model_copy(update={"continuous_power_w": 500.0})
    site = changed(
        CLINIC, inverter={"essential": small}, generator={"power_w": 5000.0},
        supply={"charger_efficiency_frac": 0.9},
    )  # fmt: skip
    run = by_key(site)["battery_inverter_essential"]
    assert run.design_a == pytest.approx(5000.0 * 0.9 / 51.2)
    np.testing.assert_allclose(run.hourly_a, [500.0 / 51.2, 400.0 / 51.2, 600.0 / 51.2])
    tiny = changed(site, battery={"max_charge_c_rate": 0.1})
    most_a = 0.1 * site.battery.unit_capacity_ah * site.battery.units_in_parallel
    assert by_key(tiny)["battery_inverter_essential"].design_a == pytest.approx(most_a)


def test_separate_banks_share_the_charger():
    site = changed(CLINIC, supply={"layout": "separate-banks", "essential_bank_frac": 0.4})
    runs = by_key(site)
    assert runs["battery_inverter_essential"].hourly_a[2] == pytest.approx(0.4 * 600.0 / 51.2)
    assert runs["battery_inverter_nonessential"].hourly_a[2] == pytest.approx(0.6 * 600.0 / 51.2)


def test_no_run_is_designed_for_less_than_its_fullest_hour():
    busy = flows(essential_supplied_w=[5000.0, 0.0, 0.0])
    run = by_key(CLINIC, busy)["board_house_essential"]
    assert run.design_a == run.hourly_a.max() > CLINIC.inverter.essential.continuous_power_w / 230.0


# --- alternating current


@pytest.mark.parametrize(
    ("phases", "between_v", "loaded", "per_phase"), [(1, 230.0, 2, 1), (2, 460.0, 2, 2),
                                                    (3, 398.37, 3, 3)]
)  # fmt: skip
def test_phases(phases, between_v, loaded, per_phase):
    run = by_key(changed(CLINIC, loads={"phases": phases}))["inverter_board_nonessential"]
    assert run.voltage_v == pytest.approx(between_v, abs=0.01)
    assert run.loaded == loaded
    power = CLINIC.inverter.nonessential.continuous_power_w
    assert run.design_a == pytest.approx(power / 230.0 / per_phase)


def test_hourly_current_counts_the_power_factor_of_the_board():
    nonessential = CLINIC.loads.nonessential
    motor = nonessential[0].model_copy(update={"power_factor": 0.8, "use": ["10:00-12:00"]})
    run = by_key(changed(CLINIC, loads={"nonessential": [motor]}))["board_house_nonessential"]
    np.testing.assert_allclose(run.hourly_a, np.array([800.0, 80.0, 0.0]) / 0.8 / 230.0)
    # hand: equal energy at 0.8 and at 1: 2 / (1 / 0.8 + 1) = 8 / 9.
    plain = motor.model_copy(update={"power_factor": 1.0})
    run = by_key(changed(CLINIC, loads={"nonessential": [motor,
                                                         plain]}))["board_house_nonessential"]
    assert run.hourly_a[0] == pytest.approx(800.0 * 9 / 8 / 230.0)
    measured = changed(CLINIC, loads={"nonessential": [motor],
                                      "nonessential_profile": "nonessential.csv"})
    assert by_key(measured)["board_house_nonessential"].hourly_a[0] == pytest.approx(800.0 / 230.0)


# --- how they lie


def test_ambient_by_method_and_place():
    runs = by_key(CLINIC)
    assert runs["string"].ambient_c == 58.0
    assert runs["dc_main"].ambient_c == runs["board_house_nonessential"].ambient_c == 26.0
    assert runs["battery_inverter_nonessential"].ambient_c == 33.0
    assert runs["controller_battery"].ambient_c == 33.0
    assert by_key(with_run(CLINIC, "dc_main", method="B1"))["dc_main"].ambient_c == 38.0
    assert by_key(with_run(CLINIC, "dc_main", method="solar-surface"))["dc_main"].ambient_c == 58.0
    assert by_key(with_run(CLINIC, "string", ambient_c=71.0))["string"].ambient_c == 71.0
    site = changed(CLINIC, cables={"roof_c": 66.0, "soil_c": 31.0})
    assert by_key(site)["string"].ambient_c == 66.0
    assert by_key(site)["dc_main"].ambient_c == 31.0


def test_a_length_left_out_is_the_usual_one_and_says_so():
    bare = changed(CLINIC, runs={key: type(CLINIC.runs.dc_main)() for key in USUAL_RUNS})
    for key, run in by_key(bare).items():
        usual = next(name for name in USUAL_RUNS if key.startswith(name))
        usual_m, method, insulation = USUAL_RUNS[usual]
        if key == "string":  # several lie along the front of a row
            method = "solar-touching"
        assert (run.length_m, run.method, run.insulation) == (usual_m, method, insulation)
        assert run.length_given is False
    assert by_key(with_run(CLINIC, "dc_main", length_m=44.0))["dc_main"].length_given is True


def test_the_drop_is_shared_by_length():
    site = with_run(with_run(CLINIC, "string", length_m=10.0), "dc_main", length_m=30.0)
    runs = by_key(changed(site, cables={"dc_drop_frac": 0.06, "battery_drop_frac": 0.008}))
    assert runs["string"].drop_limit_frac == pytest.approx(0.015)
    assert runs["dc_main"].drop_limit_frac == pytest.approx(0.045)
    assert runs["controller_battery"].drop_limit_frac == 0.008
    assert runs["battery_inverter_nonessential"].drop_limit_frac == 0.008
    both = sum(runs[f"{name}_nonessential"].drop_limit_frac
               for name in ("inverter_board", "board_house"))
    assert both == pytest.approx(CLINIC.cables.ac_drop_frac)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(string_m=st.floats(3.0, 60.0), main_m=st.floats(3.0, 200.0),
       drop=st.floats(0.01, 0.05), sizes=st.sampled_from(["metric", "awg"]))
def test_beside_a_long_main_cable_strings_may_drop_what_their_connectors_ask(
        string_m, main_m, drop, sizes):
    """The two share the whole; strings have their part by length, or what 6 mm2 drops, up to 80 %.

    As a conductor's drop is b I L R (IEC 60364-5-52 annex G), here of 6 mm2 of class 5 or AWG 10
    between 20 and 120 degC, the most that a cable of modules may have (EN 50618).
    """
    site = with_run(with_run(CLINIC, "string", length_m=string_m), "dc_main", length_m=main_m)
    runs = by_key(changed(site, cables={"dc_drop_frac": drop, "sizes": sizes}))
    string, main = runs["string"], runs["dc_main"]
    assert string.drop_limit_frac + main.drop_limit_frac == pytest.approx(drop)
    by_length = drop * string_m / (string_m + main_m)
    r20 = 3.39 if sizes == "metric" else 3.39 * 6.0 / 5.26  # IEC 60228 table 3, tinned
    cold = 2.0 * string.drop_a * string_m / 1000.0 * r20 / string.voltage_v
    hot = 1.393 * 1.08 * cold  # gauges are stranded a little longer
    assert string.drop_limit_frac >= by_length - 1e-12
    assert string.drop_limit_frac <= max(by_length, min(hot, 0.8 * drop)) + 1e-12
    if hot <= 0.8 * drop:
        assert string.drop_limit_frac >= cold


def test_a_string_cable_that_is_given_has_its_drop_and_the_main_cable_the_rest():
    site = with_run(with_run(CLINIC, "string", length_m=12.0, size_mm2=4.0), "dc_main",
                    length_m=80.0)  # fmt: skip
    four = by_key(site)
    six = by_key(with_run(site, "string", size_mm2=6.0))
    assert four["string"].drop_limit_frac > six["string"].drop_limit_frac
    assert four["dc_main"].drop_limit_frac < six["dc_main"].drop_limit_frac


# --- what does not go together


@pytest.mark.parametrize(
    ("site", "where", "allowed"),
    [
        (changed(CLINIC, controller={"count": 7}), r"controller\.count", "at most 6"),
        (changed(CLINIC, controller={"count": 1}, supply={"layout": "separate-banks"}),
         r"controller\.count", "2 or more"),
        (with_run(CLINIC, "string", method="solar-free", material="aluminium"),
         r"runs\.string\.material", '"copper"'),
        (with_run(CLINIC, "dc_main", method="solar-touching", insulation="pvc"),
         r"runs\.dc_main\.insulation", '"xlpe"'),
    ],
)  # fmt: skip
def test_what_does_not_go_together_is_said(site, where, allowed):
    with pytest.raises(InputError, match=where) as caught:
        runs_of(site, flows())
    assert caught.value.faults[0].allowed == allowed
    assert caught.value.faults[0].remedy


def test_all_faults_come_at_once():
    site = with_run(changed(CLINIC, controller={"count": 9}), "dc_main", method="solar-free",
                    insulation="pvc", material="aluminium")  # fmt: skip
    with pytest.raises(InputError) as caught:
        runs_of(site, flows())
    assert len(caught.value.faults) == 3


@pytest.mark.parametrize(
    ("values", "match"),
    [
        ({"bus_w": [1.0, 2.0]}, r"flows\.bus_w"),
        ({"grid_w": [0.0, math.nan, 0.0]}, r"flows\.grid_w[\s\S]*hour 1"),
        ({"array_w": [0.0, -5.0, 0.0]}, r"flows\.array_w[\s\S]*-5 in hour 1"),
        ({"array_v": 0.0}, r"flows\.array_v"),
        ({"room_c": math.inf}, r"flows\.room_c"),
        ({"bus_w": [2900.0, 0.0, 700.0]}, r"flows\.bus_w[\s\S]*100 W more[\s\S]*hour 2"),
    ],
)
def test_flows_that_cannot_be_are_refused(values, match):
    with pytest.raises(InputError, match=match):
        flows(**values)


def test_flows_without_an_hour_are_refused():
    names = [name for name, value in vars(flows()).items() if isinstance(value, np.ndarray)]
    with pytest.raises(InputError, match=r"flows\.array_w"):
        flows(**{name: [] for name in names})


def test_flows_from_tables_of_harvest_and_supply():
    supply = {name: [0.0, 0.0] for name in (
        "essential_drawn_w", "nonessential_drawn_w", "essential_supplied_w",
        "nonessential_supplied_w",
        "discharge_w", "grid_to_essential_w", "grid_to_nonessential_w", "generator_to_essential_w",
        "generator_to_nonessential_w", "generator_to_charge_w",
    )} | {"solar_used_w": [500.0, 0.0], "charge_w": [500.0, 90.0],
          "grid_to_charge_w": [0.0, 100.0]}  # fmt: skip
    harvest = {"string_v": [90.0, 0.0], "cell_c": [61.0, 20.0]}
    found = flows_from(
        [harvest], supply, controller_efficiency_frac=[0.8], air_c=[30.0, 10.0],
        room_c=[25.0, 27.0], month=[1, 2],
    )  # fmt: skip
    np.testing.assert_allclose(found.array_w, [625.0, 0.0])
    np.testing.assert_allclose(found.charger_w, [0.0, 90.0])
    np.testing.assert_allclose(found.grid_w, [0.0, 100.0])
    assert (found.hottest_cell_c, found.coldest_c, found.hottest_air_c) == (61.0, 10.0, 30.0)
    assert (found.soil_c, found.room_c) == (30.0, 27.0)


def test_flows_of_a_site_add_up():
    job = open_design("coral-pharmacy")
    harvest = job.energy
    run = job.supply
    found = flows_from(
        [harvest.hours], run.hours,
        controller_efficiency_frac=[job.site.controller.efficiency_frac],
        air_c=job.weather.hours["temp_air"], room_c=job.room_year.temp_c,
        month=harvest.hours.index.month,
    )  # fmt: skip
    charged = run.hours["grid_to_charge_w"] * job.site.supply.charger_efficiency_frac
    np.testing.assert_allclose(found.charger_w, charged, atol=1e-6)
    runs = by_key(job.site, found)
    strings = runs["string"].hourly_a * runs["string"].count * found.array_v
    offered = harvest.hours["dc_w"].to_numpy()
    assert (strings <= offered + 1e-6).all()
    busy = run.hours["solar_curtailed_w"].to_numpy() == 0.0
    np.testing.assert_allclose(strings[busy], offered[busy], atol=1e-6)
    assert 0 < busy.sum() < len(busy)
    assert runs["grid_in"].hourly_a.max() * 230.0 <= job.site.grid.limit_w * (1.0 + 1e-9)


def test_strings_without_fuses_push_current_back():
    site = changed(CLINIC, controller={"count": 1})
    # hand: five others of 1.25 Isc.
    back = 5 * 1.25 * site.module.isc_a
    run = by_key(site)["string"]
    assert reverse_check(site, sized(run, 0.01, capacity_a=back + 0.1)).outcome == "passed"
    failed = reverse_check(site, sized(run, 0.01, capacity_a=back - 0.1))
    assert failed.outcome == "failed"
    assert failed.found == f"{back:.1f}"
    fused = replace(run, device="dc-fuse")
    assert reverse_check(site, sized(fused, 0.01, capacity_a=1.0)).outcome == "passed"


# --- chains

TESTS = Path(__file__).parent
SOLVER = TESTS / "power_flow" / "solve.py"


def _sections(case):
    return [Section(**section) for section in case["sections"]]


@pytest.mark.published("wiring/chain.toml")
def test_voltages_are_those_of_a_power_flow_library(case):
    _same_volts(case, case["volts"])


def _same_volts(case, volts):
    """Each voltage, and each drop from the source, within 0.1 %."""
    found = np.array(chain_voltages(case["source_v"], _sections(case)))
    np.testing.assert_allclose(found, volts, rtol=case["tolerance_frac"])
    drops = [case["source_v"] - np.array(values)[1:] for values in (found, volts)]
    np.testing.assert_allclose(*drops, rtol=case["drop_tolerance_frac"])


def test_voltages_are_those_of_the_library_run_now(cases_of):
    python = os.environ.get("SOLARCALC_POWER_FLOW_PYTHON", "")
    if not python:
        pytest.skip("SOLARCALC_POWER_FLOW_PYTHON names no interpreter with pandapower")
    chains = cases_of("wiring/chain.toml")
    asked = [{name: case[name] for name in ("source_v", "sections")} for case in chains]
    done = subprocess.run(
        [python, str(SOLVER)], input=json.dumps({"cases": asked}), capture_output=True, text=True,
        check=True, timeout=120, env=_plain_environment(),
    )  # fmt: skip
    answer = json.loads(done.stdout)
    assert answer["version"]
    for case, volts in zip(chains, answer["volts"], strict=True):
        _same_volts(case, volts)
        np.testing.assert_allclose(volts, case["volts"], atol=1e-5)


def _plain_environment():
    """Without the paths of this interpreter, which has another pandas."""
    return {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}


def test_the_solver_stands_by_itself():
    text = Path(SOLVER).read_text(encoding="utf-8")
    assert "import solarcalc" not in text
    assert "from solarcalc" not in text


@given(
    source_v=st.floats(12.0, 600.0), share=st.floats(0.0, 0.99), power_w=st.floats(1.0, 20000.0)
)
def test_one_run_of_direct_current_is_the_closed_form(source_v, share, power_w):
    r_ohm = share * source_v**2 / (4.0 * power_w)
    found = chain_voltages(source_v, [Section(r_ohm=r_ohm, load_w=power_w)])[-1]
    closed = (source_v + math.sqrt(source_v**2 - 4.0 * r_ohm * power_w)) / 2.0
    assert found == pytest.approx(closed, rel=1e-9)


@given(
    sections=st.lists(
        st.builds(
            Section, r_ohm=st.floats(0.0, 0.05), x_ohm=st.floats(0.0, 0.02),
            load_w=st.floats(0.0, 1500.0), power_factor=st.floats(0.6, 1.0),
        ),
        min_size=1, max_size=5,
    )
)  # fmt: skip
@settings(max_examples=60)
def test_what_leaves_the_source_is_loads_and_losses(sections):
    volts = chain_voltages(230.0, sections)
    # Complex currents from the far end on; angles measured along the chain.
    power = other = 0.0
    loads = sum(section.load_w for section in sections)
    lost = 0.0
    for section, volt in zip(reversed(sections), reversed(volts), strict=False):
        power += section.load_w
        other += section.load_w * math.tan(math.acos(section.power_factor))
        amps_squared = (power**2 + other**2) / volt**2
        lost += section.r_ohm * amps_squared
        power += section.r_ohm * amps_squared
        other += section.x_ohm * amps_squared
    assert power == pytest.approx(loads + lost)
    # Whole phasors: V1 = V2 + Z conj(S / V2), hand solution of each section.
    for number, section in enumerate(sections):
        rest = _power_into(sections[number:], volts[number + 1 :])
        phasor = volts[number + 1] + complex(section.r_ohm, section.x_ohm) * (
            rest / volts[number + 1]
        ).conjugate()
        assert abs(phasor) == pytest.approx(volts[number], rel=1e-9)


def _power_into(sections, volts):
    """Complex power that comes out of the first section."""
    power = 0j
    for number in range(len(sections) - 1, -1, -1):
        angle = math.acos(sections[number].power_factor)
        power += sections[number].load_w * complex(1.0, math.tan(angle))
        if number:
            impedance = complex(sections[number].r_ohm, sections[number].x_ohm)
            power += impedance * abs(power) ** 2 / volts[number] ** 2
    return power


def test_limits_of_a_chain():
    assert chain_voltages(48.0, []) == (48.0,)
    assert chain_voltages(48.0, [Section(r_ohm=0.0, load_w=9000.0)]) == (48.0, 48.0)
    assert chain_voltages(48.0, [Section(r_ohm=0.5), Section(r_ohm=0.5)]) == (48.0, 48.0, 48.0)
    # The most a run can carry: half the voltage is left.
    assert chain_voltages(24.0, [Section(r_ohm=0.1, load_w=1440.0 - 1e-6)])[-1] == pytest.approx(
        12.0, abs=1e-3
    )


@pytest.mark.parametrize(
    ("source_v", "sections", "match"),
    [
        (24.0, [Section(name="thin", r_ohm=0.1, load_w=1500.0)], "section thin[\\s\\S]*thicker"),
        (48.0, [Section(r_ohm=0.2, load_w=1000.0)] * 4, "no stable operating point"),
        (0.0, [Section(r_ohm=0.1)], "source_v"),
        (48.0, [Section(r_ohm=-0.1)], "section 1: r_ohm"),
        (48.0, [Section(r_ohm=0.1, load_w=math.nan)], "section 1: load_w"),
        (48.0, [Section(r_ohm=0.1, power_factor=0.0)], "section 1: power_factor"),
    ],
)
def test_a_chain_that_cannot_be_is_refused(source_v, sections, match):
    with pytest.raises(InputError, match=match):
        chain_voltages(source_v, sections)


def test_a_run_as_a_section_has_its_resistance_back():
    run = by_key(CLINIC)["dc_main"]
    assert section_of(sized(run, 0.03)).r_ohm == pytest.approx(0.03)
    assert section_of(sized(run, 0.03), together=3).r_ohm == pytest.approx(0.01)
    three = by_key(changed(CLINIC, loads={"phases": 3}))["board_house_nonessential"]
    assert section_of(sized(three, 0.03)).r_ohm == pytest.approx(0.03)
    # hand: 0.8 of R and 0.6 of X in the drop of one phase.
    lagging = replace(by_key(CLINIC)["board_house_nonessential"], power_factor=0.8)
    drop = lagging.design_a * (0.8 * 0.03 + 0.6 * 0.01)
    section = section_of(replace(sized(lagging, 0.03), drop_v=drop))
    assert (section.r_ohm, section.x_ohm) == (pytest.approx(0.03), pytest.approx(0.01))


def test_the_chain_of_a_system_at_full_load():
    cables = [sized(run, 0.02 if run.current == "dc" else 0.3) for run in runs_of(CLINIC, flows())]
    parts = {part.name: part for part in chain_of(CLINIC, cables)}
    assert len(parts) == 6
    # hand: strings of three side by side, 39 A less heat, through 0.02 / 3 and 0.02 ohm.
    array = parts["Modules to controller"]
    amps = 3 * CLINIC.module.imp_a
    volts = hottest_string_v(CLINIC, 65.0) - amps * (0.02 / 3 + 0.02)
    assert array.volts[-1] == pytest.approx(volts)
    house = parts["Inverter to house, nonessential board"]
    power = CLINIC.inverter.nonessential.continuous_power_w
    assert house.volts[-1] == pytest.approx((230 + math.sqrt(230**2 - 4 * 0.6 * power)) / 2)
    total = sum(part.loss_kwh_per_year for part in parts.values())
    assert total == pytest.approx(sum(one.loss_kwh_per_year for one in cables))
    nonessential = parts["Battery to inverter, nonessential board"].drop_frac + house.drop_frac
    common = array.drop_frac + parts["Controller to battery"].drop_frac
    assert whole_drop_frac(tuple(parts.values())) == pytest.approx(common + nonessential)
    assert len(chain_rows(tuple(parts.values()))) == 6


def test_the_chain_of_one_inverter():
    site = changed(CLINIC, supply={"layout": "one-inverter"})
    cables = [sized(run, 0.02) for run in runs_of(site, flows())]
    names = [part.name for part in chain_of(site, cables)]
    assert names.count("Battery to inverter") == 1
    assert len(names) == 5
    parts = chain_of(site, cables)
    drops = {part.name: part.drop_frac for part in parts}
    both = [drops[f"Inverter to house, {board} board"] for board in ("essential", "nonessential")]
    assert whole_drop_frac(parts) == pytest.approx(
        drops["Modules to controller"] + drops["Controller to battery"]
        + drops["Battery to inverter"] + max(both)
    )  # fmt: skip


def test_a_chain_too_thin_has_no_voltage_at_its_end():
    runs = {run.key: run for run in runs_of(CLINIC, flows())}
    for thin in ("string", "board_house_nonessential"):
        cables = [sized(run, 20.0 if key == thin else 0.02) for key, run in runs.items()]
        parts = chain_of(CLINIC, cables)
        bad = next(part for part in parts if thin in part.run_keys)
        assert (bad.volts[0] > 0.0, bad.volts[1:], bad.drop_frac) == (True, (0.0, 0.0), 1.0)
        assert [row["voltage along it [V]"] for row in chain_rows(parts)].count(
            "the cables cannot carry it"
        ) == 1
        assert whole_drop_frac(parts) >= 1.0
