"""Strings, cables, protection, earth and room put together for one site."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from solarcalc.basis.files import demo_sites
from solarcalc.design import Design, open_design
from solarcalc.diagrams.room import room_drawing
from solarcalc.diagrams.single_line import single_line
from solarcalc.installation import schedules
from solarcalc.lessons.exercises import exercise_dc_main_size_mm2, exercise_rods
from solarcalc.stages.electrical import Electrical, lost_kwh, options_of
from solarcalc.views import earthing, electrical
from solarcalc.wiring.conductors import least_for_run_mm2

SITES = sorted(demo_sites())


@cache
def design_of(stem: str) -> Design:
    return open_design(stem)


def built_of(stem: str) -> Electrical:
    return design_of(stem).electrical


@pytest.mark.parametrize("stem", SITES)
def test_every_cable_stands_the_fault_that_its_own_protection_lets_through(stem: str) -> None:
    """The round of sizes and faults has settled: the last plan asks for nothing more."""
    built = built_of(stem)
    for one in built.sized:
        fault_a, clear_s = built.plan.fault_of(one.run.key)
        asked = least_for_run_mm2(one.run, fault_a, clear_s) if fault_a else 0.0
        assert one.size_mm2 * one.in_parallel >= asked
    assert [one.run.key for one in built.safe] == [one.run.key for one in built.sized]
    for safe, chosen in zip(built.safe, built.sized, strict=True):
        assert chosen.size_mm2 * chosen.in_parallel >= safe.size_mm2 * safe.in_parallel
        assert chosen.lifetime_cost <= safe.lifetime_cost * (1.0 + 1e-12)


@pytest.mark.parametrize("stem", SITES)
def test_the_fuse_of_a_string_is_one_and_the_same_in_every_table(stem: str) -> None:
    built = built_of(stem)
    device = built.plan.device("string-fuse")
    assert (device is not None) == (built.run("string").run.device == "dc-fuse")
    if device is not None:
        assert device.rated_a == built.fuses.rated_a == built.run("string").device_a


@pytest.mark.parametrize("stem", SITES)
def test_only_the_cold_cannery_fails_and_its_reason_is_named(stem: str) -> None:
    design = design_of(stem)
    failed = [check.item.partition(":")[0] for check in design.failed]
    if stem == "cove-cannery":
        assert failed == ["Essential board without supply", "Risk of sulphation"]
    else:
        assert failed == []
    checks = [*design.checks["electrical"], *design.checks["earthing"]]
    assert all(check.remedy for check in checks if check.outcome != "passed")
    assert all(check.clause for check in checks)
    assert len({(check.item, check.found, check.limit) for check in checks}) == len(checks)


def test_the_energy_that_warms_a_cable_is_its_resistance_under_the_current_of_each_hour() -> None:
    """Main run of the clinic again, at one temperature: 2 R I^2 over the hours, by hand."""
    main = built_of("ridge-clinic").run("dc_main")
    r20_ohm_per_m = 3.39e-3  # IEC 60228, 6 mm2, class 5, tinned copper, as EN 50618 has it
    loss = 2.0 * main.run.length_m * r20_ohm_per_m * main.run.hourly_a**2
    at_20c = float(loss.sum()) / 1000.0 * main.run.count
    ground = 1.0 + 0.00393 * (main.run.ambient_c - 20.0)
    assert main.size_name == "6 mm²"
    assert at_20c * ground <= main.loss_kwh_per_year <= at_20c * ground * 1.12


def test_twice_the_length_loses_more_and_never_takes_a_thinner_cable() -> None:
    built = built_of("plateau-school")
    options, safe_mm2, chosen = options_of(built, "dc_main")
    longer = options_of(built, "dc_main", length_m=2.0 * chosen.run.length_m)
    assert longer[1] >= safe_mm2
    assert safe_mm2 <= chosen.size_mm2
    assert [one.size_mm2 for one in options] == sorted(one.size_mm2 for one in options)
    assert chosen.size_mm2 in [one.size_mm2 for one in options]


def test_the_exercise_is_the_first_size_that_keeps_the_limit_at_twice_the_length() -> None:
    built = built_of("ridge-clinic")
    run = built.run("dc_main").run
    answer = exercise_dc_main_size_mm2(design_of("ridge-clinic"))
    assert answer is not None
    by_hand = 2.0 * 2.0 * run.length_m * run.design_a * 0.0172 * 1.1 / (
        run.drop_limit_frac * run.voltage_v
    )
    assert by_hand * 0.75 < answer < by_hand * 1.6


def test_the_exercise_of_the_rods_halves_less_than_it_doubles() -> None:
    rods = exercise_rods(design_of("plateau-school"))
    assert rods is not None
    assert rods >= 3


@pytest.mark.parametrize("stem", SITES)
def test_schedules_hold_every_run_device_and_terminal(stem: str) -> None:
    design = design_of(stem)
    built = design.electrical
    cables = schedules.cable_rows(design.installation)
    named = [row["run"] for row in cables]
    assert named[: len(built.sized)] == [one.run.name for one in built.sized]
    assert any("Battery to its busbars" in name for name in named)
    of_all = electrical.values(design, ())["cable_core_m"]
    assert sum(row["core in all [m]"] for row in cables) == pytest.approx(of_all, abs=8)
    assert len(schedules.device_rows(design.installation)) == len(built.plan.devices)
    assert len(earthing.bar_schedule(design)) == len(design.earth.lines)
    assert len(schedules.label_rows(design.installation)) > 30


@pytest.mark.parametrize("stem", SITES)
def test_drawings_name_every_cable_of_the_schedule(stem: str) -> None:
    design = design_of(stem)
    built = design.electrical
    drawn = single_line(design.installation)
    for number in range(1, len(built.sized) + 1):
        assert f"W{number}" in drawn
    assert "<svg" in room_drawing(design.room.layout, site_name=design.site.site.name)


def test_a_change_that_no_cable_satisfies_is_a_line_with_its_reason() -> None:
    rows = electrical.what_would_change_the_cables(design_of("ridge-clinic"))
    assert rows[0]["loss [kWh/year]"] == pytest.approx(lost_kwh(built_of("ridge-clinic")))
    aluminium = next(row for row in rows if "aluminium" in row["changed parameter"])
    metal = aluminium["PV DC main cable"]
    assert metal.endswith("aluminium") or metal == "none fits"
    assert len({row["changed parameter"] for row in rows}) == len(rows)


def test_american_sizes_go_through_the_whole_chain() -> None:
    awg = design_of("orchard-shop").changed({"cables": {"sizes": "awg"}})
    built = awg.electrical
    assert all("AWG" in one.size_name or "kcmil" in one.size_name for one in built.sized)
    failed = {check.rule for check in awg.checks["electrical"] if check.outcome == "failed"}
    assert failed <= {"wiring/conduit"}, "its bars' cables want a trunking made for them"


def test_the_room_of_the_plan_takes_the_heat_of_its_own_year() -> None:
    design = design_of("coral-pharmacy")
    harvest, room, supply = design.energy, design.room, design.supply.hours
    used = supply["solar_used_w"].sum() / supply["solar_w"].sum()
    least = float((supply["inverter_loss_w"] + supply["battery_loss_w"]).sum())
    most = least + float((supply["charger_loss_w"] + supply["self_discharge_w"]).sum()) + float(
        (harvest.hours["dc_w"] - harvest.hours["bus_w"]).sum()
    )
    assert 0.0 < used < 1.0
    assert least <= float(room.year.heat_w.sum()) <= most
    assert room.year.balance_error_frac < 1e-6
    assert [float(row["Value"]) for row in earthing.battery_years_rows(design)] == [
        design.life["shared"].said_years
    ]


def test_rods_of_a_site_change_the_electrode_alone() -> None:
    design = design_of("plateau-school")
    more = design.changed({"earthing": {"rod_count": 8}})
    assert more.earth.electrode.worst_ohm < design.earth.electrode.worst_ohm
    assert np.isfinite(more.earth.electrode.worst_ohm)
