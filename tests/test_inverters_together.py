"""Several inverters to a board: rating, idle draw, phases, checks, papers follow the number."""

from __future__ import annotations

import runpy
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.design import open_design
from solarcalc.quote.bill import bill_of
from solarcalc.sitefile.read import read_site, with_changes
from solarcalc.stages.boards import board_checks, phase_hours_w, supply_system
from solarcalc.supply.run import simulate
from solarcalc.wiring.runs import charger_a, charger_w

HERE = Path(__file__).parent
CASES = runpy.run_path(str(HERE / "installation_cases.py"))
NAMES = sorted(demo_sites())


def three(count=3, arrangement="one-a-phase", **more):
    """Changes to three phases, with so many inverters on the essential board."""
    return {"loads": {"phases": 3},
            "inverter": {"essential": {"count": count, "arrangement": arrangement, **more}}}


@pytest.fixture(scope="module")
def clinic():
    return open_design(demo_sites()["ridge-clinic"])


@pytest.fixture(scope="module")
def site():
    return read_site(demo_sites()["ridge-clinic"])


@pytest.mark.parametrize(("changes", "where", "allowed"), [
    ({"inverter": {"essential": {"count": 0}}}, "inverter.essential.count", "1"),
    ({"inverter": {"essential": {"arrangement": "star"}}}, "inverter.essential.arrangement",
     "parallel, one-a-phase"),
    (three(count=4), "inverter.essential.count", "3, 6, 9"),
    ({"inverter": {"essential": {"count": 3, "arrangement": "one-a-phase"}}},
     "inverter.essential.arrangement", "parallel"),
    ({"loads": {"phases": 3, "essential_phases": 2}}, "loads.essential_phases", "1 or 3"),
    ({"loads": {"phases": 1, "nonessential_phases": 3}}, "loads.nonessential_phases", "1"),
    ({"loads": {"phases": 3, "essential_phases": 1}, "supply": {"layout": "one-inverter"}},
     "loads.essential_phases", "3"),
])  # fmt: skip
def test_a_fault_names_field_and_what_is_allowed(site, changes, where, allowed):
    with pytest.raises(InputError) as caught:
        with_changes(site, changes)
    (fault,) = caught.value.faults
    assert where in fault.where
    assert allowed in fault.allowed
    assert fault.remedy or fault.why


@pytest.mark.parametrize("name", [name for name in NAMES if name != "valley-workshop"])
@pytest.mark.parametrize("count", [2, 3, 4])
def test_n_in_parallel_are_one_of_n_times_the_rating(name, count):
    """The same year to the last bit, and the same checks of rating and start.

    The workshop has several inverters already; a charger's power is that of each inverter.
    """
    design = open_design(demo_sites()[name])
    charger_w = design.site.supply.charger_power_w
    found = {}
    for board in design.site.inverters:
        one = getattr(design.site.inverter, board)
        found[board] = {
            "continuous_power_w": one.continuous_power_w / count,
            "surge_power_va": one.surge_power_va / count,
            "no_load_power_w": one.no_load_power_w / count, "count": count,
        }  # fmt: skip
    changes = {"inverter": found}
    if charger_w is not None:
        changes["supply"] = {"charger_power_w": charger_w / count}
    several = design.changed(changes)
    for key, board in supply_system(design).boards.items():
        other = supply_system(several).boards[key]
        assert other.rating_w == pytest.approx(board.rating_w, rel=1e-12)
        assert other.no_load_w == pytest.approx(board.no_load_w, rel=1e-12)
    for column in design.supply.hours:
        assert np.allclose(several.supply.hours[column], design.supply.hours[column], atol=1e-6)
    same = [[(check.item, check.found, check.outcome) for check in board_checks(one, one.supply)]
            for one in (design, several)]
    assert same[0] == same[1]


def test_idle_draw_and_efficiency_follow_the_number(clinic):
    two = clinic.changed({"inverter": {"essential": {"count": 2}}})
    lost = [float(one.supply.hours["inverter_loss_w"].sum()) for one in (clinic, two)]
    idle_wh = 8760.0 * clinic.site.inverter.essential.no_load_power_w
    assert lost[1] - lost[0] == pytest.approx(idle_wh, rel=0.02)


@settings(deadline=None, max_examples=12, suppress_health_check=list(HealthCheck))
@given(name=some.sampled_from(NAMES), phases=some.sampled_from([2, 3]),
       variation=some.sampled_from([0.0, 0.3]))  # fmt: skip
def test_the_phases_of_a_board_are_the_board(name, phases, variation):
    design = open_design(demo_sites()[name]).changed(
        {"loads": {"phases": phases, "variation_frac": variation}})
    for board in ("essential", "nonessential"):
        if getattr(design.site.loads, f"{board}_profile"):
            continue
        parts = phase_hours_w(design.site, design.loads, board)
        assert len(parts) == phases
        assert np.allclose(sum(parts.values()), design.loads[board].to_numpy(), atol=1e-6)
        assert all((part >= 0.0).all() for part in parts.values())


@pytest.mark.slow
@settings(deadline=None, max_examples=12, suppress_health_check=list(HealthCheck))
@given(name=some.sampled_from(NAMES), scale=some.floats(0.1, 1.5))
def test_a_limit_on_each_phase_never_serves_more_than_the_whole(name, scale):
    """Phases evenly loaded bear all of it; unevenly loaded never more than one of one phase."""
    design = open_design(demo_sites()[name])
    power_w = scale * design.site.inverter.essential.continuous_power_w
    small = {"continuous_power_w": power_w,
             "surge_power_va": max(design.site.inverter.essential.surge_power_va, power_w)}
    one = design.changed({"inverter": {"essential": small}})
    on_three = design.changed({"inverter": {"essential": small}, "loads": {"phases": 3}})
    whole, limited = supply_system(one), supply_system(on_three)
    at_most = np.minimum(one.loads["essential"], whole.boards["essential"].rating_w)
    served = limited.served_w.get("essential", on_three.loads["essential"].to_numpy())
    assert (np.minimum(served, at_most) <= at_most + 1e-9).all()
    even = replace(limited, served_w={"essential": at_most.to_numpy()})
    again = simulate(one.energy.hours["bus_w"], one.loads, even)
    plain = simulate(one.energy.hours["bus_w"], one.loads, whole)
    assert again.hours.equals(plain.hours)


def test_a_phase_beyond_its_inverter_is_not_served(clinic):
    """Hand: a heater of 900 W on phase a behind an inverter of 600 W gets 600 W by itself."""
    heater = {"name": "Heater", "power_w": 900.0, "use": ["10:00-12:00"], "phase": "a"}
    design = clinic.changed({
        "loads": {"phases": 3, "essential": [heater], "nonessential": []},
        "inverter": {"essential": {"count": 3, "arrangement": "one-a-phase",
                                   "continuous_power_w": 600.0, "surge_power_va": 1200.0}},
        "grid": {"kind": "none"}, "generator": {"power_w": 0.0},
    })  # fmt: skip
    hours = design.supply.hours
    on = hours["essential_load_w"] > 0.0
    assert hours.loc[on, "essential_supplied_w"].max() == pytest.approx(600.0)
    failed = [check.item for check in board_checks(design, design.supply)
              if check.outcome == "failed"]
    assert "Maximum coincident demand on each phase of the essential board" in failed
    alone = design.changed({"loads": {"phases": 1, "essential": [{**heater, "phase": "any"}]},
                            "inverter": {"essential": {"count": 3, "arrangement": "parallel"}}})
    assert alone.supply.hours["essential_supplied_w"].max() == pytest.approx(900.0)


@pytest.mark.parametrize("count", [1, 2, 3, 6])
def test_parts_bill_and_work_follow_the_number(site, count):
    changes = three(count) if count > 2 else three(count, "parallel")
    built = CASES["installed"](with_changes(site, changes).site)
    part = built.by_key["inverter-essential"]
    assert part.count == count
    (line,) = [line for line in bill_of(built, None, 0.0)
               if part.bought.very and line.key.endswith(part.bought.very)]
    assert line.quantity == count
    keys = {one.key: one for one in built.cables}
    assert keys["battery_inverter_essential"].count == count
    assert built.by_key["inverter-fuse-essential"].count == count
    assert ("inverter_output_essential" in keys) == (count > 1)
    if count > 1:
        output = keys["inverter_output_essential"]
        assert output.count == built.by_key["output-breaker-essential"].count == count
        lines = 1 if count > 2 else 3
        assert built.by_key["output-breaker-essential"].poles == lines + 1
    labels = sum(label.count for label in part.labels if label.label == "Sign 9")
    assert labels == count


def test_design_currents_of_one_and_of_several(site):
    """Hand: 3 inverters of P on one phase each draw P / V; the board's cable a third of 3 P."""
    built = CASES["installed"](with_changes(site, three(3)).site)
    runs = {one.key: one.sized.run for one in built.cables if one.sized}
    power_w = built.site.inverter.essential.continuous_power_w
    volts = built.site.supply.ac_voltage_v
    assert runs["inverter_output_essential"].design_a == pytest.approx(power_w / volts)
    assert runs["inverter_board_essential"].design_a == pytest.approx(power_w / volts)
    apart = CASES["installed"](with_changes(site, {"inverter": {"essential": {"count": 3}}}).site)
    runs = {one.key: one.sized.run for one in apart.cables if one.sized}
    assert runs["inverter_board_essential"].design_a == pytest.approx(3.0 * power_w / volts)


GRID = {"grid": {"kind": "timetable", "limit_w": 20000.0, "charge_below_frac": 0.9,
                 "timetable": [{"days": "all", "present": ["02:00-06:00"]}]},
        "array": {"module_count": 2, "modules_in_series": 2, "rows": 1}}
"""A grid that charges by night, and hardly any sun."""


@pytest.mark.parametrize("count", [1, 2])
def test_charging_goes_through_the_chargers_of_the_inverters(clinic, count):
    """Hand: 10 A at the nominal voltage over the charger's efficiency, of each inverter."""
    cheap = clinic.changed({**GRID, "controller": {"count": 1}, "inverter": {
        "essential": {"charge_current_a": 10.0, "count": count}}})  # fmt: skip
    site, hours = cheap.site, cheap.supply.hours
    most_w = count * 10.0 * site.battery.nominal_voltage_v / site.supply.charger_efficiency_frac
    assert site.charger_limits_w == {"shared": pytest.approx(most_w)}
    assert hours["grid_to_charge_w"].max() == pytest.approx(most_w)
    assert charger_w(site) == pytest.approx(most_w)
    assert charger_a(site) == pytest.approx(count * 10.0)
    free = clinic.changed({**GRID, "controller": {"count": 1}})
    assert free.supply.hours["grid_to_charge_w"].max() > most_w
    # a setting below the sheet holds
    less = cheap.changed({"supply": {"charger_power_w": 100.0}})
    assert less.site.charger_limits_w == {"shared": 100.0 * count}


def test_each_bank_is_charged_through_its_own_inverters(clinic):
    design = clinic.changed({
        "grid": GRID["grid"], "controller": {"count": 2},
        "supply": {"layout": "separate-banks"},
        "inverter": {"essential": {"charge_current_a": 5.0},
                     "nonessential": {"charge_current_a": 8.0, "count": 2}},
    })  # fmt: skip
    volts, share = design.site.battery.nominal_voltage_v, design.site.supply.charger_efficiency_frac
    for bank, amps in (("essential", 5.0), ("nonessential", 16.0)):
        most_w = amps * volts / share
        assert design.site.charger_limits_w[bank] == pytest.approx(most_w)
        assert design.supply.banks[bank]["grid_to_charge_w"].max() <= most_w + 1e-6


def test_a_charger_that_charges_nothing_is_refused(site):
    with pytest.raises(InputError, match=r"inverter\.nonessential\.charge_current_a"):
        with_changes(site, {"inverter": {"nonessential": {"charge_current_a": 5.0}}})
