"""Bill, offer and files: quantities by hand, sums that must close, text that stays text."""

from __future__ import annotations

import csv
import io
import runpy
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some
from openpyxl import load_workbook

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.basis.hours import year_hours
from solarcalc.installation.records import Bought, Conductor, Installation, Part, Route
from solarcalc.powerroom.civil import civil_works
from solarcalc.quote.answer import (
    bill_rows,
    cash_rows,
    economics_rows,
    labour_rows,
    plan_of,
    quote_answer,
    quote_checks,
    quote_rows,
    quote_values,
)
from solarcalc.quote.bill import bill_of
from solarcalc.quote.economics import economics_of
from solarcalc.quote.export import quote_files, quote_xlsx, table_csv, write_bytes
from solarcalc.quote.offer import LabourHours, compare_offers, group_prices, paid_for, quote_of
from solarcalc.quote.prices import read_price_list
from solarcalc.quote.tariff import EnergyBills, grid_bill
from solarcalc.sitefile.quote import Quote
from solarcalc.sitefile.read import read_site
from solarcalc.supply.engine import Running
from solarcalc.wiring.ducts import duct_size

PLAIN = runpy.run_path(str(Path(__file__).with_name("plain_site.py")))


def part(key, item, count, very="", words="", size=1.0):
    return Part(key=key, kind=item, name=key, count=count, place="roof",
                bought=Bought(item=item, very=very, words=words, size=size))  # fmt: skip


def conductor(key, core_m, size_mm2, size_name, lugs=0, current="dc"):
    """One core of that length."""
    return Conductor(
        key=key, name=key, start="a", end="b", start_words="a", end_words="b", current=current,
        functions=("+",) if current == "dc" else ("PE",), count=1, size_mm2=size_mm2,
        size_name=size_name, material="copper", insulation="PVC", rated_v=1000.0, highest_v=50.0,
        length_m=core_m, length_given=True, lug_count=lugs,
    )  # fmt: skip


BUILT = Installation(
    site=read_site(demo_sites()["ridge-clinic"]).site, layout=None, planes=(),
    parts=(
        part("module", "module", 12, "invented-400-w", "Invented 400 W", 400.0),
        part("controller", "controller", 1, "invented-60-a", "Invented 60 A", 60.0),
        part("inverter-essential", "inverter", 1, "invented-3-kw", "Invented 3 kW", 3000.0),
        part("inverter-nonessential", "inverter", 1, "invented-3-kw", "Invented 3 kW", 3000.0),
        part("battery", "battery", 4, "2-3", "=2+3", 2.4), part("battery-link", "battery-link", 3),
        part("string-connector", "string-connector", 4),
        part("rail", "rail", 10, "4.2m", "4.2 m", 4.2), part("rail-splice", "rail-splice", 8),
        part("a", "breaker-dc", 1, "63a-2p", "63 A, 2 poles", 2.0),
        part("b", "breaker-dc", 2, "63a-2p", "63 A, 2 poles", 2.0),
        part("c", "surge-dc", 1, "3p", "3 poles", 3.0),
        part("electrode", "earth-rod", 2, "2.4m", "2.4 m", 2.4),
    ),
    conductors=(
        conductor("strings", 41.0, 6.0, "6 mm²"), conductor("dc_main", 20.5, 6.0, "6 mm²", 4),
        conductor("bank", 6.0, 107.0, "AWG 4/0", 8),
        conductor("earth-1", 20.0, 16.0, "16 mm²", 0, "earth"),
    ),
    routes=(Route(key="dc_main", name="dc_main", method="D1", conductors=("dc_main",), circuits=1,
                  duct=duct_size("conduit-32"), duct_count=1, duct_m=10.0, trench_m=8.0),),
)  # fmt: skip
CIVIL = civil_works(length_m=3.0, depth_m=2.4, height_m=2.6)
QUOTE = Quote(margin_frac=0.25, tax_frac=0.1)
BOOK = read_price_list("invented", Path("."))
HOURS = (
    LabourHours(task="Modules", trade="installer", hours=7.0),
    LabourHours(task="Battery", trade="electrician", hours=3.5, item="battery"),
    LabourHours(task="Walls", trade="mason", hours=40.0),
)
"""Made up."""


@pytest.fixture(scope="module")
def offer():
    return quote_of(bill_of(BUILT, CIVIL, 0.1), BOOK, quote=QUOTE, array_kwp=4.8,
                    labour_hours=HOURS)  # fmt: skip


@pytest.fixture(scope="module")
def site():
    return PLAIN["plain"](read_site(demo_sites()["ridge-clinic"]).site)


RUNNING = Running(run_h=400.0, starts=90, fuel_l=50.0, warm_up_l=1.0, mean_load_frac=0.6)


def _bills(grid_kwh=0.0):
    """A flat year at 0.25 of the grid and 1.2 a litre: half of 5000 kWh each, 50 l still."""
    index = year_hours(0.0)
    even = pd.Series(1.0 / len(index), index=index)
    return EnergyBills(
        before=grid_bill(2500.0 * even, Quote()), after=grid_bill(grid_kwh * even, Quote()),
        fuel_before=np.full(12, 2500.0 * 0.45 * 1.2 / 12.0),
        fuel_after=np.full(12, 50.0 * 1.2 / 12.0), supplied_kwh=5000.0,
    )  # fmt: skip


@pytest.fixture(scope="module")
def economics(offer, site):
    return economics_of(plan_of(
        offer, site, supplied_kwh_per_year=5000.0, generated_kwh_per_year=7000.0, battery_years=9.4,
        bills=_bills(400.0), running=RUNNING,
    ))  # fmt: skip


def test_quantities_by_hand():
    lines = {line.key: line for line in bill_of(BUILT, CIVIL, 0.1)}
    found = {key: line.quantity for key, line in lines.items()}
    # hand: (41 + 20.5) x 1.1 = 67.65 m; 6 x 1.1 = 6.6 m; 10 x 1.1 = 11 m exactly
    assert found["cable-copper-6mm2"] == 68.0
    assert found["cable-copper-awg4/0"] == 7.0
    assert found["duct-32mm"] == 11.0
    assert found["earth-conductor-16mm2"] == 22.0
    assert found["lug-6mm2"] == 4.0
    assert found["rail-4.2m"] == 10.0
    assert found["rail-splice"] == 8.0
    assert found["inverter-invented-3-kw"] == 2.0
    assert found["breaker-dc-63a-2p"] == 3.0
    assert found["surge-dc-3p"] == 1.0
    assert lines["surge-dc-3p"].size == 3.0
    assert lines["rail-4.2m"].size == 4.2


def test_a_room_by_hand():
    # hand: ring 2 (3 + 2.4 + 0.4) = 11.6 m; wall 11.6 x 2.6 - 0.9 x 2.1 = 28.27 m2
    works = civil_works(length_m=3.0, depth_m=2.4, height_m=2.6)
    assert works.wall_m2 == pytest.approx(28.27)
    assert works.block_count == pytest.approx(28.27 * 12.5 * 1.05)
    # hand: inside 2 x 5.4 x 2.6 - 1.89 = 26.19, outside 2 x 6.2 x 2.6 - 1.89 = 30.35
    assert works.plaster_m2 == pytest.approx(56.54)
    assert works.paint_l == pytest.approx(2.0 * 56.54 / 9.0)
    # hand: slab 3.4 x 2.8 x 0.1 = 0.952, footing 11.6 x 0.4 x 0.2 = 0.928
    assert works.concrete_m3 == pytest.approx(1.88)
    # hand: (3 + 1) x (2.4 + 1) x 1.1
    assert works.roof_m2 == pytest.approx(14.96)
    # hand: joints are 1 - 0.39 x 0.19 / 0.08 = 7.375 % of the wall, 0.2 m thick, a quarter lost
    assert works.mortar_m3 == pytest.approx(28.27 * 0.2 * 0.07375 * 1.25)


def test_other_walls_and_roofs():
    sizes = {"length_m": 3.0, "depth_m": 2.4, "height_m": 2.6}
    timber = civil_works(**sizes, wall="timber", roof="sheet")
    assert timber.block_count == timber.mortar_m3 == timber.plaster_m2 == timber.paint_l == 0.0
    keys = {line.key for line in bill_of(BUILT, timber, 0.1)}
    assert {"timber-wall", "roof-sheet"} <= keys
    assert not {"block", "mortar", "paint", "plastering"} & keys
    brick = civil_works(**sizes, wall="brick", roof="concrete")
    # about 120 bricks a m2 of a wall one brick thick (59 a m2 of half a brick), common practice
    assert brick.block_count / 1.05 / brick.wall_m2 == pytest.approx(118.5, abs=0.1)
    assert brick.concrete_m3 == pytest.approx(1.88 + 4.0 * 3.4 * 0.12)
    with pytest.raises(InputError) as error:
        civil_works(length_m=0.0, depth_m=2.4, height_m=-1.0, door_m=9.0, vent_count=-1)
    assert len(error.value.faults) == 4


@given(some.floats(0.0, 500.0), some.floats(0.0, 1.0))
@settings(max_examples=60, deadline=None)
def test_cable_is_never_short_and_never_a_metre_too_long(core_m, waste):
    alone = replace(BUILT, parts=(), routes=(), conductors=(
        conductor("strings", core_m, 6.0, "6 mm²"),
    ))  # fmt: skip
    bill = bill_of(alone, None, waste)
    need = core_m * (1.0 + waste)
    bought = sum(line.quantity for line in bill if line.item.startswith("cable-"))
    assert need - 1e-6 <= bought < need + 1.0
    assert bought == int(bought)


def test_bad_designs_are_refused():
    with pytest.raises(InputError, match="waste_frac"):
        bill_of(BUILT, CIVIL, 1.5)
    (route,) = BUILT.routes
    with pytest.raises(InputError, match="Trench"):
        bill_of(replace(BUILT, routes=(replace(route, trench_m=-1.0),)), None, 0.1)
    with pytest.raises(InputError, match="Rigid plastic conduit"):
        bill_of(replace(BUILT, routes=(replace(route, duct_m=float("nan")),)), None, 0.1)


def test_the_sums_of_an_offer_close(offer):
    assert offer.material_cost == pytest.approx(sum(one.cost for one in offer.lines))
    assert offer.cost == pytest.approx(offer.material_cost + offer.labour_cost)
    assert offer.price == pytest.approx(offer.cost / 0.75, abs=0.005)
    assert offer.margin / offer.price == pytest.approx(0.25, abs=1e-5)
    assert offer.tax == pytest.approx(0.1 * offer.price, abs=0.005)
    assert offer.total == pytest.approx(offer.price + offer.tax)
    assert offer.per_kwp == pytest.approx(offer.total / 4.8)
    # hand: 12 modules of 400 W at 0.26; 7 h of an installer at 6
    assert offer.lines[0].cost == pytest.approx(1248.0)
    assert (offer.labour[0].hours, offer.labour[0].cost) == (7.0, 42.0)


@pytest.mark.parametrize("decimals", [0, 2, 3])
@pytest.mark.parametrize("margin", [0.0, 0.137, 0.9])
def test_groups_add_up_to_the_price_to_the_last_coin(decimals, margin):
    book = replace(BOOK, decimals=decimals)
    found = quote_of(bill_of(BUILT, CIVIL, 0.07), book, array_kwp=4.8, labour_hours=HOURS,
                     quote=Quote(margin_frac=margin, tax_frac=0.19))  # fmt: skip
    groups = group_prices(found)
    assert round(sum(groups.values()), decimals) == found.price
    assert all(round(part, decimals) == part for part in groups.values())


def test_hours_are_priced_by_the_rate_of_their_trade(offer):
    hours = [LabourHours(task="All of it", trade="installer", hours=10.0)]
    found = quote_of(bill_of(BUILT, CIVIL, 0.1), BOOK, quote=QUOTE, array_kwp=4.8,
                     labour_hours=hours)  # fmt: skip
    assert found.labour_cost == 60.0
    assert found.material_cost == offer.material_cost
    with pytest.raises(InputError, match="plumber"):
        quote_of([], BOOK, quote=QUOTE, array_kwp=0.0,
                 labour_hours=[replace(hours[0], trade="plumber")])  # fmt: skip
    with pytest.raises(InputError, match="0 h or more"):
        quote_of([], BOOK, quote=QUOTE, array_kwp=0.0, labour_hours=[replace(hours[0], hours=-1.0)])


def test_an_empty_bill_is_an_offer_of_nothing():
    found = quote_of([], BOOK, quote=QUOTE, array_kwp=0.0, labour_hours=())
    assert (found.total, found.per_kwp, group_prices(found)) == (0.0, None, {})


def test_plan_of_a_site(offer, site, economics):
    plan = economics.plan
    assert plan.first_price == offer.total
    # hand: 4 units of 2.4 kWh at 210, 3 links at 6, 3.5 h of an electrician at 9
    cost = 4 * 2.4 * 210.0 + 18.0 + 31.5
    assert plan.battery_price == pytest.approx(cost / 0.75 * 1.1)
    assert paid_for(offer, ()) == 0.0
    assert plan.maintenance_per_year == pytest.approx(0.01 * offer.total)
    assert plan.bought_per_year == pytest.approx(400.0 * 0.25 + 50.0 * 1.2)
    assert plan.today_per_kwh == pytest.approx(0.5 * 0.25 + 0.5 * 1.2 * 0.45)
    assert plan.ageing_frac == site.losses.yearly_ageing_frac
    assert economics.replacement_years == (10, 19)


def test_what_is_said_is_what_was_found(offer, economics):
    words = quote_answer(offer, economics)
    assert words.startswith("Budget estimate, not an offer:")
    assert "INVENTED" in words
    assert f"{economics.payback_years:.1f} years" in words
    own = quote_answer(replace(offer, invented=False), economics)
    assert "INVENTED" not in own
    values = quote_values(offer, economics)
    assert values["total_price"] == offer.total
    assert values["battery_replacements"] == 2
    assert values["payback_at_todays_prices_years"] > values["payback_years"]
    assert (f"simple payback in {economics.payback_years:.1f} years if energy prices rise 3 % a"
            " year above inflation, in ") in words
    assert f"in {economics.today_payback_years:.1f} at today's prices; discounted payback " in words
    none = replace(economics.plan, price_escalation_frac=0.0)
    assert " at today's prices;" not in quote_answer(offer, economics_of(none))
    lost = economics_of(replace(economics.plan, battery_years=None))
    assert "No battery service life can be stated" in quote_answer(offer, lost)
    checks = {one.item: one for one in quote_checks(offer, economics)}
    assert checks["Prices"].outcome == "review"
    assert checks["Simple payback period"].outcome == "passed"
    assert checks["Simple payback period"].found == f"{economics.payback_years:.1f}"


def test_service_and_life_of_a_generator_by_hand(offer, site):
    """hand: 400 h by 250 h are 1.6 services; 8000 h, of which 1200 gone, end after 17 years."""
    from solarcalc.sitefile.generator import Generator

    costs = site.costs.model_copy(update={"per_generator": 800.0, "per_generator_service": 30.0})
    here = site.model_copy(update={
        "generator": Generator(power_w=3000.0, run_h=1200.0), "costs": costs,
        "quote": site.quote.model_copy(update={"margin_frac": 0.25, "tax_frac": 0.1}),
    })  # fmt: skip
    given = {"supplied_kwh_per_year": 5000.0, "generated_kwh_per_year": 7000.0,
             "battery_years": 9.4, "bills": _bills()}  # fmt: skip
    plan = plan_of(offer, here, **given, running=RUNNING)
    assert plan.service_per_year == pytest.approx(1.6 * 30.0 / 0.75 * 1.1)
    assert plan.generator_price == pytest.approx(800.0 / 0.75 * 1.1)
    assert (plan.generator_years, plan.generator_worn_years) == (20.0, 3.0)
    assert economics_of(plan).generator_replacement_years == (17,)
    idle = plan_of(offer, here, **given, running=replace(RUNNING, run_h=0.0, fuel_l=0.0))
    assert idle.service_per_year == pytest.approx(30.0 / 0.75 * 1.1)  # once a year at least
    assert idle.generator_years is None


def test_money_that_does_not_come_back_is_said(offer, economics):
    poor = economics_of(replace(economics.plan, today_per_kwh=0.01))
    assert poor.payback_years is None
    assert "no payback within 20 years" in quote_answer(offer, poor)
    outcomes = {one.item: one.outcome for one in quote_checks(offer, poor)}
    assert outcomes["Simple payback period"] == "review"
    assert outcomes["Levelised cost of energy supplied"] == "review"
    values = quote_values(offer, poor)
    assert values["payback_years"] == values["payback_at_todays_prices_years"] == "never"
    # hand: 5000 kWh at 0.01 are 50 a year, and 160 are still bought; at 0.06 they are 300
    assert values["return_frac"] == "none: no savings"
    little = economics_of(replace(economics.plan, today_per_kwh=0.06))
    assert quote_values(offer, little)["return_frac"] == "none: no payback"
    rows = economics_rows({"a": economics, "b": poor}, "USD")
    (back,) = [row for row in rows if row[""] == "simple payback period [years]"]
    assert back["b"] == "never"


def test_tables_hold_the_sums(offer, economics):
    rows = cash_rows(economics, offer)
    assert len(rows) == 21
    assert rows[-1]["cumulative cash flow [USD]"] == pytest.approx(
        float(economics.net.sum()), abs=0.01)
    assert rows[0]["net cash flow [USD]"] == -offer.total
    assert quote_rows(offer)[-1] == {"group": "Total", "price [USD]": offer.total}
    assert sum(row["cost [USD]"] for row in bill_rows(offer)) == pytest.approx(offer.material_cost)
    assert sum(row["cost [USD]"] for row in labour_rows(offer)) == pytest.approx(offer.labour_cost)


def test_alternatives_side_by_side(offer):
    without = quote_of(bill_of(BUILT, None, 0.1), BOOK, quote=QUOTE, array_kwp=4.8,
                       labour_hours=HOURS)  # fmt: skip
    rows = {row[""]: row for row in compare_offers({"with room": offer, "without": without})}
    assert rows["power room [USD]"]["without"] == 0.0
    assert rows["total [USD]"]["with room"] == offer.total > rows["total [USD]"]["without"]
    with pytest.raises(InputError, match="one currency"):
        compare_offers({"a": offer, "b": replace(without, currency="EUR")})
    with pytest.raises(InputError, match="no offers"):
        compare_offers({})


def test_spreadsheet_has_numbers_as_numbers_and_text_as_text(offer, economics):
    content = quote_xlsx(offer, economics)
    assert content == quote_xlsx(offer, economics)
    book = load_workbook(io.BytesIO(content))
    assert book.sheetnames == ["bill", "labour", "quote", "cost and margin", "cash flow", "notes"]
    cells = [cell for sheet in book for row in sheet for cell in row]
    assert {cell.data_type for cell in cells} <= {"n", "s"}
    bill = list(book["bill"].values)
    heads = bill[0]
    assert bill[1][0] == "EXAMPLE PRICES, NOT AN OFFER"  # the list of the demo is invented
    costs = [row[heads.index("cost [USD]")] for row in bill[2:]]
    assert all(isinstance(cost, int | float) for cost in costs)
    assert sum(costs) == pytest.approx(offer.material_cost)
    notes = [row[0] for row in book["notes"].values]
    assert any(note.startswith("Budget estimate, not an offer") for note in notes)
    assert any("INVENTED" in note for note in notes)


def test_what_the_customer_gets_shows_no_cost(offer, economics):
    files = quote_files(offer, economics, for_customer=True)
    assert sorted(files) == ["bill.csv", "cash-flow.csv", "quote.csv", "quote.xlsx"]
    book = load_workbook(io.BytesIO(files["quote.xlsx"]))
    words = " ".join(str(cell.value) for sheet in book for row in sheet for cell in row)
    assert "Margin" not in words
    assert str(offer.cost) not in words
    assert {"labour.csv", "cost-and-margin.csv"} <= set(quote_files(offer, economics))


def test_csv_reads_back_and_no_text_is_a_formula(offer):
    rows = bill_rows(offer)
    back = list(csv.DictReader(io.StringIO(table_csv(rows).decode("utf-8-sig"))))
    assert [float(row["cost [USD]"]) for row in back] == [row["cost [USD]"] for row in rows]
    raw = table_csv([{"=head": "=cmd|' /C calc'!A0", "n": -1.5, "m": 2.0}]).decode("utf-8-sig")
    assert raw == "'=head,n,m\r\n'=cmd|' /C calc'!A0,-1.5,2\r\n"
    with pytest.raises(InputError, match="0 rows"):
        table_csv([])
    with pytest.raises(InputError, match="same columns"):
        table_csv([{"a": 1}, {"b": 1}])
    with pytest.raises(InputError, match="an end"):
        table_csv([{"a": float("nan")}])


def test_files_are_written_whole(tmp_path):
    path = tmp_path / "quote.csv"
    write_bytes(path, b"one")
    write_bytes(path, b"two")
    assert path.read_bytes() == b"two"
    assert [one.name for one in tmp_path.iterdir()] == ["quote.csv"]
    with pytest.raises(InputError, match="a folder that exists"):
        write_bytes(tmp_path / "gone" / "quote.csv", b"")
