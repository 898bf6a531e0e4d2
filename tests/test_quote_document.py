"""QU and the message beside it: the customer's numbers, none of the firm's, no false offer."""

from __future__ import annotations

import re
import runpy
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as some

from solarcalc.basis.check import Check
from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder
from solarcalc.basis.messages import languages, messages, read_texts
from solarcalc.design import Design, open_design
from solarcalc.documents.columns import fit_table
from solarcalc.documents.facts import price_status
from solarcalc.documents.making import Making
from solarcalc.documents.message import message_text
from solarcalc.documents.pdf import document_pdf, page_count
from solarcalc.documents.quote import (
    MOST_CONDITIONS,
    conditions_of,
    documents,
    energy_words,
    group_name,
    why_no_quote,
)
from solarcalc.documents.tree import text_of, texts_of
from solarcalc.quote.instalments import first_year, instalments_of
from solarcalc.quote.offer import LABOUR_GROUP, group_prices
from solarcalc.report.findings import Letterhead
from solarcalc.sitefile.bill_items import GROUPS
from solarcalc.views.yields import promised_kwh

HERE = Path(__file__).parent
BROKEN = runpy.run_path(str(HERE / "test_no_answer.py"))["BROKEN"]
SITES = runpy.run_path(str(HERE / "site_files.py"))
DEMOS = ["coral-pharmacy", "cove-cannery", "orchard-shop", "plateau-school", "ridge-clinic"]
FEW = settings(max_examples=6, deadline=None, suppress_health_check=list(HealthCheck))
FIRM = Letterhead(name="A firm", contact="1 23 45")
LONG = "Long name of a thing that somebody wrote out in full length without ever coming to an end, "


def making(design: Design) -> Making:
    return Making(design=design, firm=FIRM)


def said(document: Any) -> str:
    return " ".join(texts_of(document.blocks))


def hold_to_offer(text: str, design: Design) -> None:
    """The total, each group, validity; and no figure that is the firm's alone."""
    offer, words = design.offer, messages(design.site.firm.language)

    def money(amount: float) -> str:
        return words.number(amount, offer.decimals)

    assert money(offer.total) in text
    for group, price in group_prices(offer).items():
        assert f"{group_name(group, words)} {money(price)}" in text
    shown = {money(one) for one in (*group_prices(offer).values(), offer.total, offer.price,
                                    offer.tax)}  # fmt: skip
    numbers = set(re.findall(r"\d[\d\u202f]*[.,]\d\d\b", text))
    for secret in (offer.margin, offer.cost, offer.material_cost, offer.labour_cost):
        assert money(secret) in shown or money(secret) not in numbers
    for line in offer.lines:
        assert line.line.name not in text
    for word in ("margin", "marge", "INVENTED", "no source", "from memory", "per kWp"):
        assert word not in text


@pytest.mark.parametrize("name", DEMOS)
def test_two_pages_in_the_customers_words_or_none_and_why(document_cases: Any, name: str) -> None:
    design, made = document_cases.demo(name), document_cases.made(name, "QU")
    blocked = [one for one in design.failed if one.kind in ("safety", "supply")]
    assert bool(made) == (not blocked)
    if blocked:
        why = why_no_quote(design)
        assert why.startswith("No offer can be made")
        assert blocked[0].item in why
        assert blocked[0].found_words in why
        return
    (document,) = made
    html, pages = document_cases.hold_to_rules(document, pages=2)
    assert len(pages) == 2
    assert len(document_pdf(document)) < 1_000_000
    assert len(html) < 1_000_000
    stamp = messages(document.head.language).text("stamp_example_prices")
    assert all(stamp.replace(" ", "") in page.replace(" ", "") for page in pages)
    hold_to_offer(said(document), design)
    for words in energy_words(design, messages(design.site.firm.language)):
        assert words in said(document)
    assert not re.search(r"\b[a-z]+_[a-z_]+\b", said(document)), "a site-file key"
    assert document.head.language == design.site.firm.language


@pytest.mark.slow
def test_own_prices_are_an_offer_and_invented_ones_are_none(tmp_path: Path) -> None:
    """The invented list a tenth dearer, said to be the firm's own; as invented as that one."""
    rows = (data_folder() / "prices" / "invented.toml").read_text(encoding="utf-8")
    own = tmp_path / "own.toml"
    dearer = re.sub(r"price = ([\d.]+)", lambda one: f"price = {1.1 * float(one[1]):.6f}", rows)
    own.write_text(dearer.replace("invented = true\n", "invented = false\n"), encoding="utf-8")
    changes = {"quote": {"price_list": str(own), "payment": "Half with the order, half at the end",
                         "tax_frac": 0.175, "valid_days": 45},
               "status": {"stage": "offer", "revision": "A", "issued": [
                   {"document": "QU", "revision": "A", "date": "2027-01-10", "to": "A. Customer"},
               ]}}  # fmt: skip
    for found, invented in ((open_design("ridge-clinic", changes), False),
                            (open_design("ridge-clinic"), True)):
        (document,) = documents(making(found))
        assert ("EXAMPLE PRICES" in document.stamp) == invented
        assert (price_status(found) == "example") == invented
        assert ("EXAMPLE PRICES" in message_text(making(found))) == invented
    (document,) = documents(making(open_design("ridge-clinic", changes)))
    assert document.head.status == "for offer"
    later = open_design("ridge-clinic", {**changes, "status": {**changes["status"],
                                                               "revision": "C"}})  # fmt: skip
    assert documents(making(later))[0].head.status == "draft"
    assert price_status(later) == "price list"
    assert "45 days" in said(documents(making(later))[0])
    text = said(document)
    for words in ("Half with the order, half at the end", "until 24 February 2027", "Tax, 17.50"):
        assert words in text


@pytest.mark.slow
@FEW
@given(SITES["site_changes"](), some.integers(20, 118), some.sampled_from(["en", "fr"]))
def test_the_papers_of_any_site_agree_with_its_year_and_offer(
    document_cases: Any, changes: dict[str, dict[str, Any]], length: int, language: str
) -> None:
    """Two pages at most whatever the names; a blocked design has no quote and no price told."""
    name = (LONG * 2)[:length].strip()
    named = {**changes, "firm": {"language": language, "name": name, "contact": name},
             "site": {**changes["site"], "name": name, "customer": name}}  # fmt: skip
    try:
        design = open_design(SITES["_base"](), named)
        made = documents(making(design))
    except InputError:
        return
    message, words = message_text(making(design)), messages(language)
    assert len(message.splitlines()) == 5
    assert bool(made) == (not design.blocking)
    assert (words.number(design.offer.total, design.offer.decimals) in message) == bool(made)
    if made:
        _, pages = document_cases.hold_to_rules(made[0], pages=2)
        assert len(pages) == 2
        hold_to_offer(said(made[0]), design)
        energy = design.year_energy
        for kwh in (energy.demand_kwh, energy.supplied_kwh, promised_kwh(design)):
            assert words.text("kwh", number=words.number(kwh)) in said(made[0])


@FEW
@given(some.sampled_from(["harmattan-clinic", "lagoon-house", "plateau-school"]),
       some.integers(0, 3), some.integers(0, 36), some.sampled_from(["en", "fr"]),
       some.integers(10, 100), some.booleans())
@example("plateau-school", 1, 36, "fr", 40, True)
def test_a_quote_with_equipment_of_the_customers_own_keeps_to_two_pages(
    name: str, parts: int, months: int, language: str, length: int, every_source: bool
) -> None:
    """One in French, with instalments, variants and three owned things had its signature alone on
    a third page; and one with grid, generator and two variants.
    """
    design = open_design(name)
    if every_source:
        design = design.changed({
            "grid": {"kind": "random", "outage_h_per_day": 6.0, "limit_w": 6000.0},
            "generator": {"power_w": 6000.0}, "protection": {"changeover": "built-in"}})
    things = [{"kind": "part", "label": f"{number} {LONG}"[:length].strip(" ,"), "item": item,
               "age_years": 3.0, "count": 1, "used": 1}
              for number, item in zip(range(parts), ("module", "board", "inverter"), strict=False)]
    quoted = design.changed({
        "firm": {"language": language}, "existing": things,
        "quote": {"tax_frac": 0.15, "instalments": {"months": months, "yearly_rate_frac": 0.18}},
        "variants": [{"name": f"{more} battery strings more", "battery": {
            "units_in_parallel": design.site.battery.units_in_parallel + more}}
            for more in (1, 2)]})  # fmt: skip
    if every_source and why_no_quote(quoted):
        return
    (made,) = documents(making(quoted))
    assert page_count(made) <= 2
    own = messages(language).text("quote_own_title")
    assert said(made).count(own) == bool(things)


@pytest.mark.parametrize("rate", [1.0, 605.0, 3700.0])
@pytest.mark.parametrize("language", ["en", "fr"])
def test_no_amount_is_broken_over_two_lines_in_any_currency(
    tmp_path: Path, rate: float, language: str
) -> None:
    """"−309 333" of a month stood as "−309 33" over "3" in a currency of large numbers."""
    prices = tmp_path / "prices.toml"
    prices.write_text(
        'name = "List"\ncurrency = "XYZ"\ndecimals = 0\ndate = "2026-11-01"\n'
        f'rates = [{{ currency = "USD", rate = {rate}, date = "2026-11-01" }}]\n'
        'prices = [{ item = "rack", unit = "each", price = 10 }]\n')
    design = open_design("coral-pharmacy", {
        "firm": {"language": language}, "costs": {"currency": ""},
        "quote": {"price_list": str(prices), "fuel_price_per_l": 1.2 * rate,
                  "grid_tariff_per_kwh": 0.25 * rate,
                  "instalments": {"months": 12, "yearly_rate_frac": 0.18}}})  # fmt: skip
    year, blocks = first_year(
        instalments_of(design.offer.total, design.site.quote.instalments, 0), design.bills, None
    ), documents(making(design))[0].blocks  # fmt: skip
    tables = [one for one in blocks if one["kind"] == "table" and one["wide"]]
    words = messages(language)
    assert len(tables) == 1 + (rate > 1.0)
    told = [text_of(one["words"]) for name in range(3) for block in tables
            for one in block["rows"][name][1:]]  # fmt: skip
    assert told == [words.number(amount) for amounts in (
        [one.today for one in year], [one.payment + one.energy for one in year],
        [one.left for one in year]) for amount in amounts]  # fmt: skip
    for block in tables:
        assert "\u200b" not in "".join(
            text_of(one["words"]) for row in fit_table(block, 482.0, fill=True)["rows"]
            for one in row[1:])  # fmt: skip


@pytest.mark.parametrize("broken", BROKEN)
def test_a_broken_design_has_no_quote_and_the_message_says_so(broken: str) -> None:
    site, changes, _ = BROKEN[broken]
    design = open_design(site, changes)
    made, message = documents(making(design)), message_text(making(design))
    assert bool(made) == (not why_no_quote(design))
    assert len(message.splitlines()) == 5
    if not made:
        assert messages(design.site.firm.language).text("message_no_price") in message


CHECKS = some.builds(
    Check, item=some.sampled_from(["Floor", "Air"]), found=some.just("1"), limit=some.just("2"),
    outcome=some.sampled_from(["review", "passed", "not assessed"]), clause=some.just("c"),
    rule=some.sampled_from([
        "earthing/electrode-limit", "loads/starts-assumed", "wiring/duct-made-cables",
        "protection/surge-order", "stages/keeping-room-one", "wiring/x", "powerroom/y",
        "quote/prices"]), kind=some.just("safety"), accepted=some.sampled_from(["", "A., today"]),
)  # fmt: skip


@given(some.lists(CHECKS, max_size=12))
def test_conditions_are_what_is_open_and_the_roof_is_always_one(checks: list[Check]) -> None:
    keys, others = conditions_of(tuple(checks))
    assert keys[0] == "condition_roof"
    assert len(set(keys)) == len(keys) <= MOST_CONDITIONS
    assert "condition_roof" not in conditions_of(tuple(checks), roof_confirmed=True)[0]
    still = {one.rule for one in checks if one.open} - {"quote/prices"}
    assert bool(others) == bool(still & {"wiring/x", "powerroom/y"}) or len(keys) == MOST_CONDITIONS
    if all(one.accepted or one.outcome == "passed" for one in checks if one.outcome != "review"):
        assert ("condition_duct" in keys) <= any(
            one.rule == "wiring/duct-made-cables" and one.outcome != "passed" for one in checks)


@pytest.mark.parametrize("language", languages())
def test_words_of_the_quote_are_whole_and_plain(language: str) -> None:
    texts = read_texts(data_folder() / "messages" / language / "quote.toml")
    assert {f"group_{one.replace(' ', '_')}" for one in (*GROUPS, LABOUR_GROUP)} <= set(texts)
    for key, text in texts.items():
        assert "  " not in text, key
        assert not re.search(r"MPPT|kWp|RCD|P90|DoD|margin|marge", text), key
        if language == "fr":
            assert not re.search(r" [;:!?»%]|'", text), key
            assert not re.search("[^\u202f\\s][;!?]|[^\u00a0]:", text), key




@pytest.mark.parametrize("name", DEMOS)
def test_times_without_sun_are_without_the_grid_too(document_cases: Any, name: str) -> None:
    """They are of the batteries alone; what the grid gives is told apart."""
    design = document_cases.demo(name).changed({"firm": {"language": "en"}})
    grid, message = design.site.grid.there, message_text(making(design))
    assert ("No sun and no grid, from" in message) == grid
    assert ("Without sun, from" in message) != grid
    told = " ".join(energy_words(design, messages("en")))
    assert ("The public grid gives" in told) == bool(design.year_energy.grid_kwh)
    assert told.count("before the") == 2, "losses of the batteries are not in either figure"


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize(("bare", "told"), [
    ((), "both"), (("nonessential",), "essential"), (("essential",), "nonessential")])
def test_the_message_tells_times_of_the_boards_that_carry_something(
    language: str, bare: tuple[str, ...], told: str
) -> None:
    design = open_design("coral-pharmacy", {
        "firm": {"language": language}, "loads": {board: [] for board in bare}})  # fmt: skip
    line = message_text(making(design)).splitlines()[3]
    said = messages(language).texts[f"message_boards_{told}"].split("{")[0]
    assert said in line
    assert "−" not in line
