"""Payment in instalments: against a printed example and numpy-financial, and beside the energy."""

from __future__ import annotations

import re
import runpy
from pathlib import Path
from typing import Any

import numpy as np
import numpy_financial as npf
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.messages import languages, messages
from solarcalc.design import Design, open_design
from solarcalc.documents.making import Making
from solarcalc.documents.pdf import page_count
from solarcalc.documents.quote import documents, plan_words
from solarcalc.documents.tree import texts_of
from solarcalc.quote.instalments import first_year, instalments_of, monthly_payment, seasonal
from solarcalc.quote.tariff import EnergyBills, grid_bill
from solarcalc.sitefile.quote import Instalments, Quote

TARIFF = runpy.run_path(str(Path(__file__).with_name("test_tariff.py")))
SITES = runpy.run_path(str(Path(__file__).with_name("site_files.py")))
FEW = settings(max_examples=6, deadline=None, suppress_health_check=list(HealthCheck))
USE = TARIFF["_use"](300.0)
BLANK = grid_bill(USE * 0.0, Quote())

terms = some.builds(
    Instalments, months=some.integers(1, 120), deposit_frac=some.floats(0.0, 0.9),
    yearly_rate_frac=some.sampled_from([0.0, 0.01, 0.12, 0.36, 1.0]),
    grace_months=some.integers(0, 12),
)  # fmt: skip


@pytest.mark.parametrize("language", languages())
@given(terms, some.floats(2000.0, 1e6))
@settings(max_examples=100, deadline=None)
def test_what_the_sentence_tells_of_the_payments_adds_up(language, terms, total):
    """24 payments of 559.90 beside a deposit were 4 cents less than what was told as all."""
    plan, words = instalments_of(total, terms, 2), messages(language)
    assert plan is not None
    said = plan_words(plan, words, currency="USD", decimals=2)
    amounts = [float(one[0].replace("\u202f", "").replace(",", "."))
               for one in re.finditer(r"[\d\u202f]+[.,]\d\d(?=\sUSD)", said)]
    deposit, payment, *last, paid = amounts
    told = deposit + (terms.months - 1) * payment + (last[0] if last else payment)
    assert told == pytest.approx(paid, rel=0.0, abs=0.005)
    assert len(last) == (plan.payments[-1] != plan.payments[0])


@pytest.mark.published("quote/instalments.toml")
def test_printed_payments(case):
    found = monthly_payment(case["debt"], case["yearly_rate_frac"], case["months"])
    assert found == pytest.approx(case["figure"], rel=0.0, abs=case["tolerance"])


@given(terms, some.floats(500.0, 1e6), some.sampled_from([0, 2, 3]))
@settings(max_examples=200, deadline=None)
def test_payments_are_numpy_financials_and_pay_the_debt_off(terms, total, decimals):
    plan = instalments_of(total, terms, decimals)
    assert plan is not None
    rate, coin = terms.yearly_rate_frac / 12.0, 10.0**-decimals
    debt = plan.financed * (1.0 + rate) ** terms.grace_months
    wanted = -npf.pmt(rate, terms.months, debt)
    rounding = coin * (1.0 + rate) ** terms.months
    assert plan.payments[0] == pytest.approx(wanted, rel=1e-9, abs=rounding)
    assert min(plan.payments) >= 0.0
    assert plan.deposit + plan.financed == pytest.approx(total, abs=coin)
    # all that is paid is worth the debt today; the deposit is paid today
    flows = [plan.due(month) for month in range(terms.grace_months + terms.months + 1)]
    assert npf.npv(rate, flows) == pytest.approx(plan.financed, rel=1e-9, abs=coin)
    assert sum(flows) + plan.deposit == pytest.approx(plan.paid)
    assert plan.paid >= total - coin
    if terms.yearly_rate_frac == 0.0:
        assert plan.paid == pytest.approx(total, abs=coin)


@given(terms, some.floats(500.0, 1e6), some.integers(1, 12))
@settings(max_examples=100, deadline=None)
def test_the_first_year_is_twelve_months_in_their_order_and_adds_up(terms, total, first):
    plan = instalments_of(total, terms, 2)
    bills = EnergyBills(
        before=grid_bill(USE, Quote()), after=BLANK, fuel_before=np.arange(12.0),
        fuel_after=np.zeros(12), supplied_kwh=3600.0)  # fmt: skip
    year = first_year(plan, bills, first)
    assert [one.month for one in year] == [(first - 1 + n) % 12 + 1 for n in range(12)]
    assert sum(one.today for one in year) == pytest.approx(float(bills.today_by_month.sum()))
    assert sum(one.payment for one in year) == pytest.approx(
        sum(plan.due(month) for month in range(1, 13)))  # fmt: skip
    for one in year:
        assert one.left == pytest.approx(one.today - one.payment - one.energy)


@given(terms, some.floats(500.0, 1e6))
@settings(max_examples=100, deadline=None)
def test_no_month_is_named_as_free_of_payment_where_nobody_knows_when_the_works_are(terms, total):
    plan = instalments_of(total, terms, 2)
    bills = EnergyBills(
        before=grid_bill(USE, Quote()), after=BLANK, fuel_before=np.arange(12.0),
        fuel_after=np.zeros(12), supplied_kwh=3600.0)  # fmt: skip
    year = first_year(plan, bills, None)
    assert [one.month for one in year] == [*range(1, 13)]
    assert {one.payment for one in year} == {plan.payments[0]}
    for first in range(1, 13):  # whenever it begins, no month costs more than is told
        assert all(one.left >= year[one.month - 1].left - 0.01 * plan.terms.months
                   for one in first_year(plan, bills, first))


@pytest.mark.parametrize("language", ["en", "fr"])
def test_a_grid_that_pays_more_than_it_costs_is_no_spending_below_zero(language: str) -> None:
    tariff = {"feed_in_per_kwh": 5.0, "feed_in_limit_w": 3000.0}
    for feed_in, key in ((tariff, "quote_energy_earned"), ({}, "quote_energy_beside")):
        design = open_design("coral-pharmacy", {"firm": {"language": language}, "quote": {
            "instalments": {"months": 24, "grace_months": 3}, "tariff": feed_in}})  # fmt: skip
        begins = messages(language).text(key, today="@", energy="@", currency="@").split("@")[2:]
        assert all(part in _said(design) for part in begins if len(part) > 3)


def test_a_dearer_loan_never_costs_less_and_no_months_are_none():
    def paid(**keys: Any) -> float:
        given_ = {"months": 24, "yearly_rate_frac": 0.1, "grace_months": 1, **keys}
        plan = instalments_of(10000.0, Instalments(**given_), 2)
        assert plan is not None
        return plan.paid

    assert paid(yearly_rate_frac=0.2) > paid()
    assert paid(months=36) > paid()
    assert paid(grace_months=6) > paid()
    assert paid(deposit_frac=0.6) < paid()
    assert instalments_of(10000.0, Instalments(), 2) is None
    assert instalments_of(10000.0, Instalments(months=12, deposit_frac=1.0), 2) is None


@given(some.integers(1, 360), some.floats(0.0, 2.0))
@settings(max_examples=40, deadline=None)
def test_a_term_and_rate_that_the_file_takes_have_payments_that_are_alike(months, rate):
    """360 payments of 570.37 at 50 % a year ended with one of 255 447.48."""
    changes = {"quote": {"instalments": {"months": months, "yearly_rate_frac": rate}}}
    if (1.0 + rate / 12.0) ** months > 1000.0:
        with pytest.raises(InputError, match=r"quote\.instalments\.months"):
            open_design("ridge-clinic", changes)
        return
    design = open_design("ridge-clinic", changes)
    plan = instalments_of(50_000.0, design.site.quote.instalments, 2)
    assert plan is not None
    assert set(plan.payments[:-1]) <= {plan.payments[0]}
    assert 0.0 < plan.payments[-1] < 2.0 * plan.payments[0]


def test_a_bill_is_seasonal_by_what_the_length_of_months_does_not_explain():
    plan = instalments_of(1000.0, Instalments(months=12), 2)
    days = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31], dtype=float)
    for fuel, wanted in ((days, False), (days * np.where(np.arange(12) < 6, 1.0, 1.4), True)):
        bills = EnergyBills(before=BLANK, after=BLANK, fuel_before=fuel, fuel_after=np.zeros(12),
                            supplied_kwh=1.0)  # fmt: skip
        assert seasonal(first_year(plan, bills, 1)) is wanted


# --- on the quote


def _said(design: Design) -> str:
    (document,) = documents(Making(design=design))
    return " ".join(texts_of(document.blocks))


@pytest.mark.parametrize("language", ["en", "fr"])
@pytest.mark.parametrize("months", [6, 60])
def test_the_quote_keeps_its_two_pages_and_says_which_months_do_not_balance(
    document_cases: Any, language: str, months: int
) -> None:
    design = open_design("ridge-clinic", {
        "firm": {"language": language},
        "quote": {"instalments": {"months": months, "deposit_frac": 0.2, "grace_months": 2,
                                  "yearly_rate_frac": 0.125},
                  "tariff": {"bands": [
                      {"name": "dry", "months": [1, 2, 3, 10, 11, 12], "per_kwh": [0.1]},
                      {"name": "wet", "months": [4, 5, 6, 7, 8, 9], "per_kwh": [2.5]}]}},
    })  # fmt: skip
    (document,) = documents(Making(design=design))
    _, pages = document_cases.hold_to_rules(document, pages=2)
    assert len(pages) == 2
    words, text = messages(language), " ".join(texts_of(document.blocks))
    plan = instalments_of(design.offer.total, design.site.quote.instalments, 2)
    assert words.number(plan.payments[0], 2) in text
    assert words.number(plan.deposit, 2) in text
    year = first_year(plan, design.bills, 12)  # works from 2 to the end of November
    short = {one.month for one in year if round(one.left) < 0}
    assert short
    if short == {one.month for one in year if one.payment}:
        most = words.text("quote_months_all_short", most="@", currency="@")
        assert most.partition("@")[0] in text
    else:
        sentence = words.text("quote_months_short", months="@", most="@", currency="@")
        begins = sentence.partition("@")[0]
        told = text.partition(begins)[2].split(".")[0]
        assert {month for month in range(1, 13) if words.month(month) in told} == short
    assert words.month_short(1) in text  # the table of months


@pytest.mark.slow
@FEW
@given(SITES["site_changes"](), terms, some.integers(20, 118), some.sampled_from(["en", "fr"]))
def test_any_site_with_instalments_keeps_to_two_pages(
    document_cases: Any, changes: dict[str, dict[str, Any]], terms: Instalments, length: int,
    language: str,
) -> None:
    name = ("A long name of a thing that somebody wrote out in full, " * 3)[:length].strip()
    quote = {**changes.get("quote", {}), "instalments": terms.model_dump(), "tax_frac": 0.175,
             "payment": name, "replaced_generator_frac": 1.0}  # fmt: skip
    try:
        design = open_design(SITES["_base"](), {
            **changes, "firm": {"language": language, "name": name, "contact": name},
            "site": {**changes["site"], "name": name, "customer": name}, "quote": quote})
        made = documents(Making(design=design))
    except InputError:
        return
    for document in made:
        assert page_count(document) <= 2
        text = " ".join(texts_of(document.blocks))
        assert messages(language).text("quote_instalments_title") in text


def test_without_instalments_the_quote_has_none():
    assert messages("en").text("quote_instalments_title") not in _said(open_design("ridge-clinic"))
