"""What is there already is not bought; the place, the label and the currency are one everywhere."""

from __future__ import annotations

from functools import cache

import pytest

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.design import open_design
from solarcalc.quote.offer import group_prices
from solarcalc.sitefile.bill_items import CIVIL
from solarcalc.sitefile.read import read_site, with_changes


@cache
def base(stem="ridge-clinic"):
    return open_design(stem)


def test_owned_modules_lower_the_price_by_their_own_by_hand():
    thing = {"kind": "part", "item": "module", "label": "Own", "age_years": 2.0, "count": 4,
             "used": 4}  # fmt: skip
    owned = base().changed({"existing": [thing]})
    # hand: 4 modules of 517 W at 0.26 USD/W
    saved = base().offer.material_cost - owned.offer.material_cost
    assert saved == pytest.approx(4 * 517.0 * 0.26, abs=0.02)
    assert owned.offer.total < base().offer.total


@pytest.mark.parametrize(("table", "key", "value"), [
    ("inverter", "continuous_power_w", 2600.0), ("module", "pmax_w", 515.0),
    ("controller", "max_charge_current_a", 90.0),
])  # fmt: skip
def test_a_thing_with_own_ratings_is_not_called_as_the_one_of_the_list(table, key, value):
    sitefile = read_site(demo_sites()["ridge-clinic"])
    change = {"essential": {key: value}} if table == "inverter" else {key: value}
    changed = with_changes(sitefile, {table: change})
    before, after = (getattr(one.site, table) for one in (sitefile, changed))
    if table == "inverter":
        before, after = before.essential, after.essential
    assert before.label != after.label
    assert "Invented" in before.label
    assert "Invented" not in after.label
    assert key in after.label
    same = {key: getattr(before, key)}
    again = with_changes(sitefile, {table: {"essential": same} if table == "inverter" else same})
    kept = getattr(again.site, table)
    assert (kept.essential if table == "inverter" else kept).label == before.label


def test_an_own_label_beside_own_ratings_stands():
    change = {"module": {"pmax_w": 515.0, "label": "Ours, 515 W"}}
    assert with_changes(read_site(demo_sites()["ridge-clinic"]), change).site.module.label == (
        "Ours, 515 W")


def test_a_changed_inverter_is_priced_by_its_watts_alone():
    design = base().changed({"inverter": {"essential": {"continuous_power_w": 4000.0}}})
    (line,) = [one for one in design.offer.lines if "continuous_power_w" in one.line.name]
    assert line.row == "inverter"
    assert line.cost == pytest.approx(4000.0 * 0.22)


@pytest.mark.parametrize(("stem", "name"), [
    (stem, place.name) for stem, path in demo_sites().items()
    for place in read_site(path).site.places
])
def test_the_offer_at_a_place_is_that_of_a_file_with_its_lengths(stem, name):
    # One temperature for both: how warm a place is belongs to the room's own year.
    kept = {"battery": {"room_c": 24.0}}
    chosen = base(stem).changed({"room": {"place": name}, **kept})
    place = next(one for one in chosen.site.places if one.name == name)
    dug = place.trench_m > 0.0
    main = {"length_m": place.dc_main_m} | ({} if dug else {"method": "B1"})
    written = base(stem).changed({
        "runs": {"dc_main": main, "board_house": {"length_m": place.house_m}},
        "duct": {"length_m": place.trench_m} if dug else {},
        **kept,
    })  # fmt: skip
    assert [(one.key, one.quantity) for one in chosen.bill] == [
        (one.key, one.quantity) for one in written.bill]
    step = 0.5 * 10.0**-chosen.offer.decimals
    assert chosen.offer.cost == pytest.approx(written.offer.cost + place.cost, abs=step)
    of_place = [one for one in chosen.offer.lines if one.line.group == CIVIL]
    assert [one.cost for one in of_place] == [place.cost] * (place.cost > 0.0)
    assert [one for one in chosen.offer.lines if one not in of_place] == [*written.offer.lines]
    assert sum(group_prices(chosen.offer).values()) == pytest.approx(chosen.offer.price)
    assert [one.key for one in chosen.failed] == [one.key for one in written.failed]
    if not dug:
        assert all(not route.trench_m for route in chosen.installation.routes
                   if route.key == "dc_main")


def test_costs_in_two_currencies_are_refused():
    assert base().changed({"costs": {"currency": "USD", "per_module": 110.0}})
    for other in ("EUR", "module prices"):
        with pytest.raises(InputError, match=f"{other}, with prices in USD"):
            base().changed({"costs": {"currency": other}})
