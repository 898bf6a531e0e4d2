"""The pack that is handed over: the customer's figures, words, both files, whole or not at all."""

from __future__ import annotations

import math
import re
import runpy
from dataclasses import replace
from datetime import date
from html import unescape
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from solarcalc.basis.errors import InputError
from solarcalc.basis.messages import languages, messages
from solarcalc.battery.bank import Bank
from solarcalc.battery.kinetic import TwoWells, capacity_at_ah
from solarcalc.design import open_design
from solarcalc.documents.booklet import booklet_of, care_calendar, hours_words
from solarcalc.documents.html import document_html
from solarcalc.documents.tree import Head
from solarcalc.report.findings import Letterhead
from solarcalc.report.handover_facts import (
    ApplianceFacts,
    BoardFacts,
    CustomerFacts,
    WarrantyRow,
    lasting_h,
)
from solarcalc.report.letterhead import letterhead_of
from solarcalc.sitefile.chemistry import chemistries
from solarcalc.sitefile.read import read_site
from solarcalc.sitefile.toml import write_new_site
from solarcalc.views.handover import (
    _alone_h,
    _together_h,
    booklet_facts,
    customer_facts,
)

READER = runpy.run_path(str(Path(__file__).with_name("html_reader.py")))
EVIL, assert_stands_alone = READER["EVIL"], READER["assert_stands_alone"]
LOGO = ("data:image/png;base64,iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAQAAAC1HAwCAAAAC0lEQVR42mNkYAAAAAYA"
        "AjCB0C8AAAAASUVORK5CYII=")
KINDS = chemistries()
FIRM = Letterhead(name="Invented Works", contact="000 000", licence="INV-1", logo=LOGO)
REPORT = ('<!DOCTYPE html><html lang="en"><head><title>R</title></head><body>'
          '<header id="top">\n<h1>R</h1></header></body></html>')


def facts(name: str = "Ridge clinic", **changes: Any) -> CustomerFacts:
    boards = (
        BoardFacts(board="essential", tag="DB1", inverter_w=3000.0, evening_h=14.6, night_h=9.2,
                   appliances=(ApplianceFacts(name=name, count=3, runs_h=30.4),
                               ApplianceFacts(name="Lamp", count=1, runs_h=math.inf))),
        BoardFacts(board="nonessential", tag="DB2", inverter_w=5000.0, evening_h=0.3, night_h=2.0,
                   appliances=(ApplianceFacts(name="Pump", count=1, runs_h=2.7),)),
    )
    made = CustomerFacts(
        site_name=name, customer=name, module_count=18, array_w=9810.0,
        battery=KINDS["lifepo4"], unit_count=5, full_wh=25600.0, usable_wh=18900.0, boards=boards,
        nonessential_off_frac=0.5, nonessential_on_frac=0.7, given_kwh=(900.0, *(1200.0,) * 11),
        needed_kwh=(1000.0,) * 12, warranty=(
            WarrantyRow(part="part_panels", label=name, count=1, serials=("A7",),
                        until=date(2052, 3, 1)),
            WarrantyRow(part="part_work")),
        handed_over=date(2027, 3, 1),
    )
    return replace(made, **changes)


def customer_document(facts, firm, language):
    head = Head(firm=firm.name, licence=firm.licence, contact=firm.contact, logo=firm.logo,
                site=facts.site_name, number="RC-BK-01", language=language,
                issued="2027-03-01",
                title=messages(language).text("kind"))
    return booklet_of(facts, firm, head)


def customer_html(facts, firm, language):
    return document_html(customer_document(facts, firm, language))


def words(html: str) -> str:
    """What a reader sees, one space between any two things."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html.partition("</head>")[2] or html)).split())


def bank(**changes: Any) -> Bank:
    made = Bank(
        capacity_wh=10000.0, voltage_v=48.0, available_frac=1.0, exchange_per_h=0.0,
        min_soc_frac=0.2, charge_efficiency_frac=1.0, discharge_efficiency_frac=1.0,
        max_charge_w=1e4, max_discharge_w=1e4, acceptance_per_h=math.inf,
        self_discharge_frac_per_h=0.0, capacity_factor=np.ones(3), charge_factor=np.ones(3))
    return replace(made, **changes)


def test_hours_on_a_full_battery_by_hand() -> None:
    """Hand: from 22:00, 2 h at 200 W, then 100 W: 650 Wh last 2 h + 250/100 h."""
    draw = [100.0] * 22 + [200.0] * 2
    assert lasting_h(draw, 650.0, from_hour=22) == pytest.approx(4.5)
    assert lasting_h(draw, 0.0, from_hour=22) == 0.0
    assert lasting_h([0.0] * 12 + [500.0] * 12, 1000.0, from_hour=0) == pytest.approx(14.0)
    assert lasting_h([10.0] * 24, 481.0, from_hour=5) == math.inf
    assert lasting_h([10.0] * 24, 480.0, from_hour=5) == pytest.approx(48.0)


def test_more_energy_lasts_longer_and_more_draw_less() -> None:
    draw = [60.0 + 11.0 * hour for hour in range(24)]
    hours = [lasting_h(draw, energy, from_hour=18) for energy in (500.0, 1000.0, 4000.0)]
    assert hours == sorted(hours)
    assert lasting_h([2.0 * one for one in draw], 1000.0, from_hour=18) < hours[1]


def test_the_second_board_goes_first_and_its_share_is_kept_for_the_first() -> None:
    """Hand: 10 kWh, off at half: 5000 Wh at 1500 W; then 3000 Wh at 500 W."""
    first, second = _together_h([500.0] * 24, [1000.0] * 24, bank(), 0.5, 18)
    assert second == pytest.approx(5000.0 / 1500.0)
    assert first == pytest.approx(5000.0 / 1500.0 + 3000.0 / 500.0)


def test_the_second_board_never_outlasts_the_reserve() -> None:
    first, second = _together_h([500.0] * 24, [1000.0] * 24, bank(), 0.0, 18)
    assert first == pytest.approx(second)
    assert second == pytest.approx(8000.0 / 1500.0)


@pytest.mark.parametrize("draw_w", [400.0, 2000.0, 6000.0])
def test_a_fast_draw_gets_less_of_lead_as_the_two_wells_have_it(draw_w: float) -> None:
    wells = TwoWells(capacity_ah=10000.0, available_frac=0.3, exchange_per_h=0.6)
    lead = bank(available_frac=0.3, exchange_per_h=0.6, min_soc_frac=0.0)
    hours = _alone_h([draw_w] * 24, lead, 0.0, 0)
    assert hours == pytest.approx(capacity_at_ah(wells, draw_w) / draw_w, abs=0.02)


def test_lithium_gives_the_same_fast_or_slow() -> None:
    assert _alone_h([4000.0] * 24, bank(), 0.2, 0) == pytest.approx(2.0)


@pytest.mark.parametrize(("hours", "english"), [
    (0.0, "less than half an hour"), (0.49, "less than half an hour"), (0.5, "0 h 30"),
    (1.99, "1 h 30"), (2.0, "2 h"), (9.99, "9 h 30"), (10.9, "10 h"), (48.0, "48 h"),
    (48.1, "more than 48 h"), (math.inf, "more than 48 h"),
])
def test_a_time_is_never_rounded_up(hours: float, english: str) -> None:
    assert hours_words(hours, messages("en")).replace("\xa0", " ") == english


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("battery", ["flooded", "agm", "lifepo4"])
def test_the_page_stands_alone_and_says_its_language(language: str, battery: str) -> None:
    for changes in ({}, {"grid": True, "generator_w": 4000.0, "cleaning_months": (4, 9)},
                    {"one_inverter": True, "handed_over": None, "module_count": 1,
                     "unit_count": 1}, {"separate_banks": True, "customer": ""}):
        made = facts(battery=KINDS[battery], **changes)
        html = customer_html(made, FIRM, language)
        page = assert_stands_alone(html)
        assert ("html", "lang", language) in page.attributes
        assert page.tags.count("h1") == 1
        assert "{" not in words(html)
        assert all(value.strip() for tag, name, value in page.attributes
                   if tag == "img" and name == "alt")


def test_what_the_customer_reads_in_english() -> None:
    text = words(customer_html(facts(), FIRM, "en"))
    for sentence in (
        "18 solar panels, 9.81 kW in total in full sun.",
        "5 lithium batteries. Full, they hold 25.6 kWh, of which you can use 18.9 kWh",
        "one for the essential board, up to 3.0 kW at a time",
        "and one for the non-essential board, up to 5.0 kW",
        "No public grid", "Without sun: what runs",
        "DB1 Essential board 14 h 9 h", "DB2 Non-essential board less than half",
        "Ridge clinic (3) 30 h", "Lamp more than 48 h", "Pump 2 h 30",
        "low, at 50 % at the latest, the non-essential board", "At 70 % all of it is on again",
        "your panels can supply 14 100 kWh at your sockets, after the losses of batteries and"
        " inverters, and your appliances need 12 000 kWh",
        "In one month the panels supply less",
        "(January)", "A7 1 March 2052", "Issued 2027-03-01", "INV-1", "000 000",
    ):
        assert re.sub(r"\s+", " ", sentence) in text.replace("\xa0", " "), sentence


def test_what_the_customer_reads_in_french() -> None:
    text = words(customer_html(facts(grid=True, generator_w=4000.0), FIRM, "fr"))
    text = text.replace("\xa0", " ")
    for sentence in (
        "18 panneaux solaires, 9,81 kW au total en plein soleil.",
        "5 batteries au lithium. Pleines, elles contiennent 25,6 kWh, dont 18,9 kWh utilisables",
        "Le réseau public", "Un groupe électrogène de 4,0 kW", "En cas de coupure de courant",
        "DB1 Tableau prioritaire 14 h 9 h", "DB2 Tableau non prioritaire moins d’une demi-heure",
        "plus de 48 h", "au plus tard à 50 %", "14 100 kWh", "(janvier)",
        "A7 1er mars 2052", "2027-03-01", "INV-1",
    ):
        assert sentence in text, sentence
    assert not re.search(r"\b(the|and|your|battery)\b", text)


def test_the_booklet_warns_of_the_hours_without_supply() -> None:
    # hand: 300 + 260 h are more than 3/4 of 674 h, 300 h alone are less
    dark = (300.0, 100.0, 14.0, *(0.0,) * 8, 260.0)
    made = facts(unsupplied_h=dark)
    english, french = (words(customer_html(made, FIRM, tongue)) for tongue in ("en", "fr"))
    assert ("In a typical year the essential board loses supply for about 670 hours, mostly"
            " in January and December.") in english
    assert "privé d’alimentation environ 670 heures, surtout en janvier et décembre" in french
    assert "loses supply" not in words(customer_html(facts(), FIRM, "en"))
    one = words(customer_html(facts(unsupplied_h=(0.4, *(0.0,) * 11)), FIRM, "en"))
    assert "loses supply for about 1 hour, mostly in January." in one


def test_hours_without_supply_of_a_job_are_those_of_its_year() -> None:
    job = open_design("cove-cannery")
    found = customer_facts(job).unsupplied_h
    assert sum(found) == pytest.approx(job.supply.hours_without_supply("essential"))
    assert sum(found) > 0.0


def test_power_that_an_inverter_gives_is_rounded_down() -> None:
    one = replace(facts().boards[0], inverter_w=1857.0)
    assert "up to 1.85 kW" in words(customer_html(
        facts(boards=(one, facts().boards[1])), FIRM, "en"))  # fmt: skip


@pytest.mark.parametrize(("counts", "alone", "said"), [
    ((1, 1), False, "Two inverters, which"), ((1, 3), False, "4 inverters, which"),
    ((1, 1), True, "An inverter, which"), ((3, 3), True, "3 inverters, which"),
])
def test_as_many_inverters_are_told_as_are_built(
    counts: tuple[int, int], alone: bool, said: str
) -> None:
    boards = tuple(replace(board, inverter_count=count)
                   for board, count in zip(facts().boards, counts, strict=True))  # fmt: skip
    assert said in words(customer_html(facts(boards=boards, one_inverter=alone), FIRM, "en"))


def test_the_facts_of_a_site_have_the_inverters_of_each_board() -> None:
    found = customer_facts(open_design("valley-workshop")).boards
    assert [board.inverter_count for board in found] == [1, 3]


def test_months_without_enough_sun_are_listed_in_words() -> None:
    given = (1.0, 1.0, 5.0, 5.0, 5.0, 5.0, 5.0, 5.0, 5.0, 5.0, 5.0, 1.0)
    text = words(customer_html(facts(given_kwh=given, needed_kwh=(4.0,) * 12), FIRM, "en"))
    assert "In 3 months the panels supply less than you need (January, February and Dec" in text
    plenty = facts(given_kwh=(9.0,) * 12, needed_kwh=(4.0,) * 12)
    enough = words(customer_html(plenty, FIRM, "en"))
    assert "supply less" not in enough


def test_a_site_that_gives_and_asks_nothing_still_has_its_page() -> None:
    empty = facts(given_kwh=(0.0,) * 12, needed_kwh=(0.0,) * 12, boards=tuple(
        replace(board, appliances=()) for board in facts().boards))
    text = words(customer_html(empty, Letterhead(), "en"))
    assert "nothing listed" in text
    assert "the firm that installed it" in text


@pytest.mark.parametrize("language", languages())
def test_a_hostile_name_is_only_ever_text(language: str) -> None:
    firm = Letterhead(name=EVIL, contact=EVIL, licence=EVIL, logo=LOGO)
    html = customer_html(facts(EVIL), firm, language)
    page = assert_stands_alone(html)
    assert "<script" not in html
    assert page.words.count(EVIL) >= 12


def test_the_bars_stand_for_the_figures() -> None:
    html = customer_html(facts(), FIRM, "en")
    heights = [float(height) for height in re.findall(
        r'height="([\d.]+)" fill="#23395b"', html)]
    assert len(heights) == 24, "twelve months, and the same drawn for a phone"
    for first in (0, 12):
        assert heights[first + 1] / heights[first] == pytest.approx(1200.0 / 900.0, rel=0.01)
    assert max(heights) <= 152.0


def test_what_is_due_follows_the_battery_and_the_month_of_the_hand_over() -> None:
    flooded = facts(battery=KINDS["flooded"], generator_w=1.0)
    lead = {task.key: task for task in care_calendar(flooded)}
    assert lead["care_water"].who == "care_trained"
    assert lead["care_water"].months == tuple(range(1, 13))
    assert lead["care_visit"].months == (3,)
    assert lead["care_button"].months == (3, 9)
    assert lead["care_dust"].months == (3, 6, 9, 12)
    lithium = {task.key: task for task in care_calendar(facts(cleaning_months=(4, 9)))}
    assert "care_water" not in lithium
    assert "care_generator" not in lithium
    assert lithium["care_wash"].months == (4, 9)
    assert all(task.source for task in lithium.values())
    assert {task.key: task for task in care_calendar(facts(handed_over=None))}[
        "care_visit"].months == (1,)


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("battery", ["flooded", "lifepo4"])
def test_dangers_of_this_battery_and_no_other_end_with_local_rules(
    language: str, battery: str
) -> None:
    text = messages(language)
    html = customer_html(facts(battery=KINDS[battery]), FIRM, language)
    dangers = words(html.partition(text.text("danger_title"))[2].partition("</ul>")[0])
    said = words(text.text("danger_lithium" if battery == "lifepo4" else "danger_lead"))
    other = words(text.text("danger_lead" if battery == "lifepo4" else "danger_lithium"))
    assert said in dangers
    assert other not in dangers
    assert dangers.rstrip().endswith(words(text.text("danger_defer")))
    wrong = words(html.partition(text.text("emergency_title"))[2].partition("</ul>")[0])
    assert wrong.rstrip().endswith(words(text.text("emergency_defer")))


@pytest.mark.parametrize(("changes", "complaint"), [
    ({"given_kwh": (1.0,) * 11}, "given_kwh"),
    ({"needed_kwh": (-1.0,) * 12}, "needed_kwh"),
    ({"needed_kwh": (math.nan,) * 12}, "needed_kwh"),
    ({"usable_wh": 40000.0}, "usable_wh"),
    ({"cleaning_months": (0,)}, "cleaning_months"),
    ({"boards": ()}, "boards"),
])
def test_facts_that_cannot_be_are_refused(changes: dict[str, Any], complaint: str) -> None:
    with pytest.raises(InputError, match=f"customer facts: {complaint}"):
        facts(**changes)


def test_facts_of_a_job() -> None:
    job = open_design("ridge-clinic")
    harvest, year = job.energy, job.supply
    made = booklet_facts(job)
    site, bank = job.site, job.site.battery
    units = bank.units_in_series * bank.units_in_parallel
    assert (made.module_count, made.unit_count) == (site.array.module_count, units)
    assert made.battery == KINDS[bank.chemistry]
    assert made.full_wh == pytest.approx(bank.unit_voltage_v * bank.unit_capacity_ah * units)
    asked = year.hours[["essential_load_w", "nonessential_load_w"]].sum().sum() / 1000.0
    assert sum(made.needed_kwh) == pytest.approx(asked)
    offered = float(harvest.hours["bus_w"].sum()) / 1000.0
    assert 0.7 * offered < sum(made.given_kwh) < offered, "losses are taken off"
    essential, nonessential = made.boards
    assert nonessential.evening_h < essential.evening_h, "the second board goes first"
    assert [item.name for item in essential.appliances] == [
        item.name for item in job.site.loads.essential]
    labels = {row.part: row.label for row in made.warranty}
    assert labels["part_battery"] == job.site.battery.label
    assert all(row.until is None for row in made.warranty), "terms are the makers'"


def test_same_facts_same_pages() -> None:
    assert customer_html(facts(), FIRM, "fr") == customer_html(facts(), FIRM, "fr")


def with_firm(tmp_path: Path, firm: str) -> Path:
    path = write_new_site("Shop", tmp_path)
    path.write_text(path.read_text(encoding="utf-8").replace("[firm]\n", f"[firm]\n{firm}\n"),
                    encoding="utf-8")
    return path


def test_a_logo_that_is_not_there_names_file_and_field(tmp_path: Path) -> None:
    site = read_site(with_firm(tmp_path, 'name = "Works"\nlogo = "no.png"'))
    with pytest.raises(InputError, match=r"shop\.toml: firm\.logo"):
        letterhead_of(site)
