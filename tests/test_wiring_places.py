"""Places of the power room compared: cables, prices, losses and heat."""

from __future__ import annotations

import runpy
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from solarcalc.basis.errors import InputError
from solarcalc.battery.bank import room_temp_c
from solarcalc.design import open_design
from solarcalc.sitefile.wiring import PowerPlace
from solarcalc.views.electrical import places_of
from solarcalc.wiring.places import (
    best_place,
    life_factor,
    money_words,
    place_result,
    place_rows,
    places_sentence,
    present_years,
)
from solarcalc.wiring.runs import Run, SizedRun
from solarcalc.wiring.system import runs_of

_RUNS = runpy.run_path(str(Path(__file__).with_name("test_wiring_runs.py")))
CLINIC, changed, flows, by_key = (_RUNS[name] for name in ("CLINIC", "changed", "flows", "by_key"))
FROZEN = Path(__file__).with_name("frozen")
AIR = 20.0 + 8.0 * np.sin(np.arange(48) * 2.0 * np.pi / 24.0)
"""Two days alike, mean 20 degC."""
NEAR = PowerPlace(name="Near", dc_main_m=12.0, house_m=10.0, trench_m=8.0, cost=2.0,
                  room_swing_frac=0.3, room_above_k=2.0)  # fmt: skip
FAR = PowerPlace(name="Far", dc_main_m=36.0, house_m=40.0, trench_m=30.0, cost=1.0,
                 room_swing_frac=1.0, room_above_k=6.0, note="of sheet metal")  # fmt: skip
SIZES_MM2 = (4.0, 10.0, 25.0, 50.0, 95.0, 240.0)


def sizer(run: Run) -> SizedRun:
    """A stand-in: the first size that keeps the drop, priced by length and size."""
    for size in SIZES_MM2:
        r_ohm = 2.0 * run.length_m / 50.0 / size
        if run.design_a * r_ohm <= run.drop_limit_frac * run.voltage_v:
            break
    else:
        raise AssertionError(f"{run.key}: no size of the stand-in")
    loss = run.count * r_ohm * float((run.hourly_a**2).sum()) / 1000.0
    cost = run.count * run.length_m * size * 0.001
    return SizedRun(
        run=run, size_mm2=size, size_name=f"{size:g} mm²", in_parallel=1, table_a=99.0,
        capacity_a=99.0, factors={}, device_a=None, drop_v=run.design_a * r_ohm,
        drop_frac=run.design_a * r_ohm / run.voltage_v, loss_w=run.design_a**2 * r_ohm,
        loss_kwh_per_year=loss, cost=cost, lifetime_cost=cost + loss, decided_by="drop",
    )  # fmt: skip


def site_with(*places, **tables):
    battery = {"room_c": None, "life_years": 10.0} | tables.pop("battery", {})
    site = changed(CLINIC, battery=battery, **tables)
    return site.model_copy(update={"places": list(places)})


def compared(*places, size=sizer, air=AIR, **tables):
    return at_places(site_with(*places, **tables), size=size, air=air)


def at_places(site, *, size=sizer, air=AIR):
    """Each place with the cables a stand-in gives them."""
    found = []
    for name in [place.name for place in site.places] or [""]:
        here = site.at(name)
        room_c = room_temp_c(here.battery, air)
        runs = runs_of(here, replace(flows(), room_c=float(room_c.max())))
        found.append(place_result(here, tuple(size(run) for run in runs), room_c, name))
    return tuple(found)


def test_each_place_has_its_own_lengths_and_all_else_stays():
    near, far = compared(NEAR, FAR)
    for result, place in ((near, NEAR), (far, FAR)):
        lengths = {one.run.key: one.run.length_m for one in result.runs}
        assert lengths["dc_main"] == place.dc_main_m
        assert lengths["board_house_essential"] == place.house_m
        assert lengths["board_house_nonessential"] == place.house_m
        assert all(one.run.length_given for one in result.runs if one.run.key == "dc_main")
    same = {one.run.key: one.run.length_m for one in near.runs} | {
        one.run.key: one.run.length_m for one in far.runs
        if one.run.key not in ("dc_main", "board_house_essential", "board_house_nonessential")
    }  # fmt: skip
    assert same == {one.run.key: one.run.length_m for one in near.runs}
    # hand: two mains and two runs to the house are longer, by 24 and by 30 m.
    assert far.cable_m - near.cable_m == pytest.approx(2 * 24.0 + 2 * 30.0)


def test_a_far_place_loses_more_and_costs_more():
    near, far = compared(NEAR, FAR)
    assert far.loss_kwh_per_year > near.loss_kwh_per_year
    assert far.drop_frac > near.drop_frac
    assert _mm2(far) > _mm2(near)
    assert best_place((near, far)) is near
    assert best_place((far, near)) is near


def _mm2(result):
    return next(one.size_mm2 for one in result.runs if one.run.key == "dc_main")


def test_price_is_cable_and_trench_and_what_the_place_costs():
    near, far = compared(NEAR, FAR, costs={"per_metre_of_trench": 0.5})
    for result, place in ((near, NEAR), (far, FAR)):
        cables = sum(one.cost for one in result.runs)
        assert result.price == pytest.approx(
            cables + 0.5 * (place.trench_m + place.house_m) + place.cost
        )
        lost = sum(one.loss_kwh_per_year for one in result.runs)
        assert result.lifetime_cost - result.price == pytest.approx(lost)
        assert result.loss_kwh_per_year == pytest.approx(lost)
        assert result.whole_cost == pytest.approx(result.lifetime_cost + result.heat_cost)


def test_heat_is_that_of_the_room_rule():
    near, far = compared(NEAR, FAR)
    # hand: near 20 + 0.3 x 8 + 2, far 20 + 8 + 6 at the hottest; means 22 and 26.
    assert (near.room_hottest_c, near.room_mean_c) == (pytest.approx(24.4), pytest.approx(22.0))
    assert (far.room_hottest_c, far.room_mean_c) == (pytest.approx(34.0), pytest.approx(26.0))
    rooms = [
        room_temp_c(
            site_with().battery.model_copy(
                update={"room_swing_frac": place.room_swing_frac,
                        "room_above_k": place.room_above_k}
            ), AIR,
        )
        for place in (NEAR, FAR)
    ]  # fmt: skip
    assert near.life_factor == pytest.approx(life_factor(rooms[0]))
    assert far.life_factor == pytest.approx(life_factor(rooms[1]))
    assert far.life_factor < near.life_factor < 1.0
    heated = next(one.run for one in far.runs if one.run.key == "controller_battery")
    assert heated.ambient_c == pytest.approx(34.0)


def test_life_halves_each_ten_kelvin_and_a_cool_room_stretches_it_twice_at_most():
    assert life_factor([20.0]) == 1.0
    assert life_factor([40.0]) == pytest.approx(0.25)
    assert life_factor([10.0]) == life_factor([-30.0]) == pytest.approx(2.0)
    # hand: half the hours age twice as fast, half as at 20 degC: 1 / 1.5.
    assert life_factor([30.0, 20.0]) == pytest.approx(2.0 / 3.0)


def test_heat_costs_its_share_of_the_bank():
    # hand: at 30 degC all year a bank of 10 years (stated at 20, lead) ages 0.2 a year, 0.1 more.
    tables = {
        "battery": {"chemistry": "agm", "units_in_series": 2, "units_in_parallel": 3},
        "costs": {"per_battery_unit": 5.0, "interest_frac": 0.0, "lifetime_years": 10.0},
    }
    still = NEAR.model_copy(update={"room_swing_frac": 0.0, "room_above_k": 10.0})
    (result,) = compared(still, **tables)
    assert result.heat_cost == pytest.approx(0.1 * 30.0 * 10.0)
    cool = still.model_copy(update={"room_above_k": 0.0})
    assert compared(cool, **tables)[0].heat_cost == pytest.approx(0.0)


def test_heat_may_turn_the_choice():
    hot = NEAR.model_copy(update={"room_swing_frac": 1.0, "room_above_k": 15.0})
    cool = FAR.model_copy(update={"room_swing_frac": 0.3, "room_above_k": 0.0})
    free = {"per_metre_of_trench": 0.06}
    dear, cheap = {"per_battery_unit": 30.0, **free}, {"per_battery_unit": 0.0, **free}
    assert best_place(compared(hot, cool, costs=dear)).name == "Far"
    assert best_place(compared(hot, cool, costs=cheap)).name == "Near"
    text = places_sentence(compared(hot, cool, costs=cheap), "shells")
    assert "But a battery at rest lasts" in text
    assert "% as long there as at Far" in text
    text = places_sentence(compared(hot, cool, costs=dear), "shells")
    assert text.startswith("Far: least cost over its life")
    assert "Near is cheaper to build, by" in text


def test_a_room_kept_at_a_temperature_is_kept_so_anywhere():
    near, far = compared(NEAR, FAR, battery={"room_c": 21.0})
    assert near.room_hottest_c == far.room_hottest_c == near.room_mean_c == 21.0
    assert near.heat_cost == far.heat_cost


def test_without_places_the_runs_as_given_are_the_only_one():
    (one,) = compared()
    given = by_key(site_with())
    assert {run.run.key: run.run.length_m for run in one.runs} == {
        key: run.length_m for key, run in given.items()
    }
    # the main and the feeder to the house lie in the ground, each in a trench of its own
    house_m = given["board_house_essential"].length_m
    assert one.trench_m == given["dc_main"].length_m + house_m
    digging = one.trench_m * CLINIC.costs.per_metre_of_trench
    assert one.price == pytest.approx(sum(run.cost for run in one.runs) + digging)
    assert best_place((one,)) is one
    assert places_sentence((one,), "shells").startswith("One place, as the runs are given")
    above = site_with().runs.dc_main.model_copy(update={"method": "B1"})
    site = changed(site_with(), runs={"dc_main": above})
    assert at_places(site)[0].trench_m == house_m


def test_rows_and_sentence_say_the_same():
    results = compared(NEAR, FAR)
    rows = place_rows(results, "shells")
    assert [row["place"] for row in rows] == ["Near (costs least)", "Far"]
    assert rows[1]["note"] == "of sheet metal"
    assert rows[0]["DC main"] == results[0].dc_main_size
    text = places_sentence(results, "shells")
    assert f"{results[0].cable_m:.0f} m of cable" in text
    assert f"Far {money_words(results[1].whole_cost - results[0].whole_cost)} more [shells]" in text


def test_the_thickest_run_to_the_house_is_named_with_its_conductors():
    def doubled(run):
        one = sizer(run)
        return one if run.key != "dc_main" else SizedRun(**{**vars(one), "in_parallel": 2})

    (one,) = compared(NEAR, size=doubled)
    assert one.dc_main_size.startswith("2 × ")
    houses = [run.size_mm2 for run in one.runs if run.run.key.startswith("board_house")]
    assert one.house_size == f"{max(houses):g} mm²"


def places_in(text):
    """Changes of the clinic's file that bring these two places, and choose one by its name."""
    two = [place.model_dump(exclude_unset=True) for place in (NEAR, FAR)]
    return {"places": two, "room": {"place": text}}


def test_two_places_of_one_name_are_refused():
    twice = {"places": [NEAR.model_dump(exclude_unset=True)] * 2}
    with pytest.raises(InputError, match=r'places[\s\S]*"Near" 2 times'):
        open_design("ridge-clinic", twice)


def test_a_place_that_is_not_described_cannot_be_chosen():
    with pytest.raises(InputError, match=r'room\.place[\s\S]*"Fare"[\s\S]*did you mean "Far"'):
        open_design("ridge-clinic", places_in("Fare"))


@pytest.mark.parametrize("place", [NEAR, FAR], ids=["near", "far"])
def test_a_chosen_place_reaches_cables_trench_bill_and_battery(place):
    """Every paper of a design with its room there says what the comparison of places says."""
    design = open_design(FROZEN / "coral-pharmacy.toml", places_in(place.name))
    compared_there = next(one for one in places_of(design) if one.name == place.name)
    lengths = {one.run.key: one.run.length_m for one in design.electrical.sized}
    assert lengths["dc_main"] == place.dc_main_m
    assert lengths["board_house_essential"] == lengths["board_house_nonessential"] == place.house_m
    assert [one.size_name for one in compared_there.runs] == [
        one.size_name for one in design.electrical.sized
    ]
    assert compared_there.loss_kwh_per_year == pytest.approx(
        sum(one.loss_kwh_per_year for one in design.electrical.sized)
    )
    assert compared_there.room_hottest_c == pytest.approx(
        design.room.warmth.hottest_c
    )
    dug_m = {route.key: route.trench_m for route in design.installation.routes}
    main = next(each for each in design.installation.conductors if each.key == "dc_main")
    assert dug_m[main.route] == place.trench_m
    assert compared_there.trench_m == sum(dug_m.values())
    trench = sum(line.quantity for line in design.bill if line.item == "trench")
    electrode_m = sum(each.trench_m for each in design.installation.conductors)
    assert trench == pytest.approx(sum(dug_m.values()) + electrode_m, abs=1.0)


def test_less_than_a_day_of_air_is_refused():
    with pytest.raises(InputError, match="at least 24 hours"):
        compared(NEAR, air=AIR[:20])


def test_worth_of_one_a_year():
    # Annuity tables, as held in a list of check values: P/A of 8 % and 25 years is 10.6748.
    costs = CLINIC.costs.model_copy(update={"interest_frac": 0.08, "lifetime_years": 25.0})
    assert present_years(costs) == pytest.approx(10.6748, abs=5e-5)
    assert present_years(costs.model_copy(update={"interest_frac": 0.0})) == 25.0
    near = costs.model_copy(update={"interest_frac": 1e-9})
    assert present_years(near) == pytest.approx(25.0, abs=1e-5)


def test_amounts_of_small_money_are_written_whole():
    results = compared(NEAR, FAR, costs={"per_metre_of_trench": 15000.0})
    rows = place_rows(results, "shells")
    assert rows[0]["to build [shells]"].startswith("270\u202f00")
    assert "e+" not in places_sentence(results, "shells")


def test_a_hotter_place_heats_the_room_by_as_much_in_the_mean():
    """The balance is linear in the air outdoors, so 6 K more of a place are 6 K more inside."""
    base = open_design(FROZEN / "plateau-school.toml")
    school = base.changed({"room": {"fan_m3_per_h": 500.0}})
    means = {one.name: one.room_mean_c for one in places_of(school)}
    above = {one.name: one.room_above_k for one in school.site.places}
    coolest = min(above, key=above.__getitem__)
    for name, mean_c in means.items():
        assert mean_c - means[coolest] == pytest.approx(above[name] - above[coolest], abs=0.4)
