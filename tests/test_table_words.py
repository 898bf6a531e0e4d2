"""Tables of money and of variants read well: labels, units and numbers."""

from __future__ import annotations

import pickle
import re
from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path

import nbformat
import pytest
from hypothesis import example, given
from hypothesis import strategies as some

from solarcalc.basis.files import workbooks_folder
from solarcalc.basis.quantity import in_unit, on_paper, three_figures, with_units
from solarcalc.design import Design, open_design
from solarcalc.documents.report_parts import in_figures
from solarcalc.page import cell_text
from solarcalc.quote.answer import cash_rows, economics_rows, quote_rows, tornado
from solarcalc.sitefile.variants import OWN
from solarcalc.variants import variants_of
from solarcalc.views import arrays_tried, battery_tried
from solarcalc.views import quote as money
from solarcalc.views.rows import fact_line

FROZEN = Path(__file__).with_name("frozen")
BAD = re.compile(r"\d[eE][+-]?\d|\d\.\d{6,}|(?<![\d.])\d+\.0(?![\d]| %)|\bnan\b|\binf\b|\bNone\b")
"""An exponent, digits nobody asked for, a whole number with a float's tail, no number at all."""
CLIPPED = re.compile(r"\b(ac|dc|jan|feb|mar|apr|jun|jul|aug|sep|oct|nov|dec|p50|p90|max|min|stc)\b"
                     r"|\b(count|hours)$|_")
"""Words that a name in the code may have and a label may not."""


def changed() -> dict[str, list[dict[str, object]]]:
    other = {"name": "With a generator", "battery": {"units_in_parallel": 4},
             "generator": {"power_w": 3000.0}}
    return {"variants": [other]}


@cache
def designed(site: str) -> Design:
    return open_design(FROZEN / f"{site}.toml", changed())


Rows = Iterable[Mapping[str, object]]


def tables(design: Design) -> dict[str, tuple[Rows, int]]:
    """Each table with the decimals that its workbook gives its floats."""
    found = variants_of(design)
    held = money.economics_by_name(found)
    sizes = battery_tried.size_table(design)
    swept = arrays_tried.swept_roof(design)
    bests = arrays_tried.bests_table(design, swept) if len(swept) else []
    return {
        "quote": (quote_rows(design.offer), 2),
        "variants": (money.variant_rows(found), 0),
        "differences": (money.difference_rows(found), 1),
        "money": (economics_rows(held, design.offer.currency), 2),
        "years": (cash_rows(design.economics, design.offer), 0),
        "bill": (money.quantity_rows(design), 1),
        "front": (battery_tried.front_rows(design, battery_tried.front_of_sizes(sizes)), 1),
        "supply": (battery_tried.what_would_change_the_supply(design), 1),
        "arrays": (bests, 1),
    }


@pytest.mark.slow
@pytest.mark.parametrize("site", ["plateau-school", "ridge-clinic"])
def test_labels_and_numbers_read_well(site: str) -> None:
    for name, (rows, digits) in tables(designed(site)).items():
        for row in rows:
            for key, value in row.items():
                assert not BAD.search(key), (name, key)
                text = cell_text(value, digits)
                years = any("[years]" in str(one) for one in row.values())
                if isinstance(value, str) and not (years and re.fullmatch(r"\d+\.0", text)):
                    assert not BAD.search(text), (name, key, text)  # years have one decimal


@pytest.mark.parametrize("name", ["variants", "differences", "money"])
def test_rows_of_unlike_units_hold_no_bare_floats(name: str) -> None:
    """One count of decimals for all of them would print an array of 2.7 kWp as 3."""
    rows, _ = tables(designed("plateau-school"))[name]
    assert not [row for row in rows if any(isinstance(value, float) for value in row.values())]


def test_an_array_keeps_its_digits() -> None:
    rows = {row[""]: row for row in tables(designed("plateau-school"))["variants"][0]}
    assert rows["array [kWp]"][OWN] == "2.70"


def test_named_values_without_a_float_tail() -> None:
    assert on_paper("price_of_a_kwp", 1738.0)[1] == "1738"
    for name, value in money.values(designed("ridge-clinic")).items():
        assert not BAD.search(on_paper(name, value)[1]), (name, value)


@pytest.mark.parametrize("path", sorted(workbooks_folder().glob("*.ipynb")),
                         ids=lambda one: one.stem)  # fmt: skip
def test_results_of_a_workbook_are_named_in_words(path: Path) -> None:
    """No clipped word, no abbreviation in small letters, no number that is said to be a count."""
    names = [line.partition("=")[0].strip() for cell in nbformat.read(path, 4).cells
             if "results" in cell.metadata.get("tags", []) for output in cell.outputs
             for line in output["data"]["text/plain"].splitlines() if re.match(r"\w+ += ", line)]
    assert names
    words = [on_paper(name, 1.0)[0] for name in names]
    assert not [said for said in words if CLIPPED.search(said)]
    assert len(set(words)) == len(words)


@given(some.floats(-1e9, 1e9), some.sampled_from(["", "kWp", "USD", "years", "kWh/year", "%"]))
def test_one_formatter_for_whatever_comes(value: float, unit: str) -> None:
    text = in_unit(value, unit)
    assert not re.search(r"\d[eE][+-]?\d", text)
    assert text not in ("-0", "-0.0", "−0", "−0.0")
    read = float(text.replace("\u202f", "").replace("−", "-"))
    half = {"kWp": 0.005, "years": 0.05, "kWh/year": 0.5, "%": 0.05}.get(
        unit, max(0.5 if abs(value) >= 1000.0 else 0.0, 0.0051 * abs(value)))  # fmt: skip
    assert read == pytest.approx(value, abs=half * 1.0001 + 1e-6)


def test_the_unit_is_that_of_the_row() -> None:
    (row,) = with_units([{"": "array [kWp]", "a": 2.7, "b": "none"}])
    assert row == {"": "array [kWp]", "a": "2.70", "b": "none"}
    assert three_figures(12345.6) == "12\u202f346"


def test_interest_and_price_rise_are_told_in_percent() -> None:
    swings = {one.name: one for one in tornado(designed("ridge-clinic").economics.plan)}
    assert {name for name, one in swings.items() if one.percent} == {
        "real interest rate", "real energy price escalation"}  # fmt: skip


@given(some.floats(-1e6, 1e6))
@example(19.0456)
def test_a_fact_on_two_papers_is_rounded_once(value: float) -> None:
    """19.0456 kWh stood as 19.0 on the quote and as 19.1, by way of 19.05, in the report."""
    shown = fact_line("Rated energy", value, "kWh")["Value"]
    assert in_figures(shown) == three_figures(value)
    assert pickle.loads(pickle.dumps(shown)).exact == value
