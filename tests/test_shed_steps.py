"""Loads shed in an order: which step goes at which charge, and what each gets through the year."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.design import open_design
from solarcalc.documents.anchors import Anchors
from solarcalc.documents.report_supply import battery_and_supply
from solarcalc.loads.shedding import shared_by_step, shed_steps
from solarcalc.sitefile.loads import Appliance, Loads
from solarcalc.sitefile.read import read_site, with_changes
from solarcalc.sitepack.torques import torque_rows
from solarcalc.stages.boards import level_frac, step_hours_w
from solarcalc.views import battery

NAMES = sorted(demo_sites())


def stepped(name, steps, **more):
    """A demo site whose nonessential appliances go in these steps, one after another."""
    design = open_design(demo_sites()[name])
    lines = [{**item.model_dump(exclude_defaults=True), "shed_step": steps[at % len(steps)]}
             for at, item in enumerate(design.site.loads.nonessential)]  # fmt: skip
    return design, design.changed({"loads": {"nonessential": lines}, **more})


def _item(name, power_w, step):
    return Appliance(name=name, power_w=power_w, use=["00:00-24:00"], shed_step=step)


def test_levels_of_three_steps_by_hand():
    """Energy 1 : 1 : 2. Step 1 is shed at 3/4 of the way, step 2 at 1/2, step 3 at the end."""
    loads = Loads(nonessential=[_item("a", 100.0, 1), _item("b", 100.0, 2), _item("c", 200.0, 7)])
    steps = shed_steps(loads)
    assert [step.number for step in steps] == [1, 2, 7]
    assert [step.off_share_frac for step in steps] == pytest.approx([0.75, 0.5, 0.0])
    assert [step.back_share_frac for step in steps] == pytest.approx([1.0, 0.75, 0.5])
    assert steps[1].level_frac(0.5, 0.4, 0.6) == pytest.approx(0.5)


def test_one_step_is_no_order():
    assert shed_steps(Loads(nonessential=[_item("a", 1.0, 3), _item("b", 1.0, 3)])) == ()
    design = open_design(demo_sites()["ridge-clinic"])
    assert battery.step_rows(design) == []
    assert step_hours_w(design, design.supply) == {}


@given(data=some.data())
def test_the_step_that_is_shed_last_is_served_first(data):
    hours = 12
    powers = some.lists(some.floats(0.0, 1e4), min_size=hours, max_size=hours)
    demand = {number: np.array(data.draw(powers)) for number in (1, 2, 5)}
    share = np.array(data.draw(some.lists(some.floats(0.0, 1.0), min_size=hours, max_size=hours)))
    supplied = share * sum(demand.values())
    found = shared_by_step(demand, supplied)
    assert np.allclose(sum(found.values()), supplied)
    for number, got in found.items():
        assert (got >= 0.0).all()
        assert (got <= demand[number] + 1e-9).all()
    for first, later in ((1, 2), (2, 5)):  # while the later one lacks anything the first has none
        lacks = found[later] < demand[later] - 1e-6
        assert np.allclose(found[first][lacks], 0.0, atol=1e-6)
    more = shared_by_step(demand, np.minimum(supplied + 50.0, sum(demand.values())))
    assert all((more[number] >= got - 1e-9).all() for number, got in found.items())


@settings(deadline=None, max_examples=8, suppress_health_check=list(HealthCheck))
@given(name=some.sampled_from(NAMES), steps=some.sampled_from([[1, 2], [2, 1, 3], [4, 9]]),
       parallel=some.integers(1, 3))  # fmt: skip
def test_steps_together_are_the_board_and_change_nothing_of_its_year(name, steps, parallel):
    plain, design = stepped(name, steps)
    if design.site.loads.nonessential_profile or len(design.site.loads.nonessential) < 2:
        return
    hours = design.supply.hours
    assert hours.equals(plain.supply.hours)
    found = step_hours_w(design, design.supply)
    for column, board in (("load_w", "nonessential_load_w"),
                          ("supplied_w", "nonessential_supplied_w")):
        total = sum(table[column] for table in found.values())
        assert np.allclose(total, hours[board], atol=1e-6)
    missed = [float((table["load_w"] - table["supplied_w"]).sum()) / float(table["load_w"].sum())
              for _, table in sorted(found.items())]
    rows = battery.step_rows(design)
    assert sum(row["not supplied [kWh/year]"] for row in rows) == pytest.approx(
        float(hours["nonessential_not_supplied_w"].sum()) / 1e3, abs=1e-6)
    levels = [(row["shed at a state of charge of [%]"], row["back at [%]"]) for row in rows]
    site = design.site.battery
    assert levels[0][1] == pytest.approx(100.0 * site.nonessential_return_frac)
    assert levels[-1][0] == pytest.approx(100.0 * site.nonessential_shed_frac)
    assert all(off < back for off, back in levels)
    assert all(one[0] == pytest.approx(two[1]) for one, two in itertools.pairwise(levels))
    assert len(missed) == len(rows)


def test_papers_say_the_steps():
    _, design = stepped("ridge-clinic", [1, 2])
    settings_of = [row["what"] for row in torque_rows(
        design.installation, level=lambda soc: level_frac(design, soc))]  # fmt: skip
    said = [what for what in settings_of if "shedding step" in what]
    assert len(said) == 4
    assert said[0] == "State of charge at which shedding step 1 is shed, cold included"
    page = "".join(map(str, battery_and_supply(design, Anchors(site="x", revision="0"))))
    assert "Shedding of the non-essential loads, step by step" in page


def test_nothing_of_the_essential_board_is_shed():
    site = read_site(demo_sites()["ridge-clinic"])
    lines = [{"name": "Lamp", "power_w": 9.0, "use": ["18:00-22:00"], "shed_step": 2}]
    with pytest.raises(InputError, match=r"loads\.essential"):
        with_changes(site, {"loads": {"essential": lines}})
