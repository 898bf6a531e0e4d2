"""All sites together: sums, spread, what stands apart, one file of all values."""

from __future__ import annotations

import io
import math
import re
import runpy
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.basis.quantity import in_percent, told_share
from solarcalc.batch.fleet import (
    CHARTED,
    FENCE,
    FEWEST,
    Measure,
    fleet_page,
    measures,
    outliers,
    parquet_of,
)
from solarcalc.batch.index import data_rows, page_cells
from solarcalc.batch.listed import COUNTED, SCHEMA, listed
from solarcalc.batch.summary import job_record
from solarcalc.design import open_design
from solarcalc.documents.html import document_html
from solarcalc.figures.fleet import draw_failed, draw_spread
from solarcalc.figures.style import svg_of

READER = runpy.run_path(str(Path(__file__).with_name("html_reader.py")))
Page, assert_stands_alone = READER["Page"], READER["assert_stands_alone"]
POWER = Measure(what="Array power", unit="kWp", of=lambda record: record["job"]["array_kwp"])


def record(name: str = "A", **job: Any) -> dict[str, Any]:
    made = {"array_kwp": 7.0, "demand_kwh": 5000.0, "supplied_kwh": 4500.0, "supplied_frac": 0.9,
            "usable_battery_kwh": 12.0, "price": 14000.0, "currency": "USD",
            "levelised_cost_per_kwh": 0.31, **job}  # fmt: skip
    return {"schema": SCHEMA, "headline": "", "workbooks": {"w": {"values": {"a_kwh": 1.5}}},
            "site": {"name": name, "customer": "C", "latitude_deg": 1.0, "longitude_deg": 2.0,
                     "elevation_m": 3.0, "made": "2026-11-01T10:00:00+00:00", "version": "1"},
            "check_counts": dict.fromkeys(COUNTED, 0), "failed_by_kind": {}, "job": made}


def many(values: list[float]) -> list[tuple[str, dict[str, Any]]]:
    return [(f"s{number}", record(f"S{number}", array_kwp=value))
            for number, value in enumerate(values)]  # fmt: skip


KWP = some.integers(1, 60).map(float)


@given(some.lists(KWP, max_size=30))
@settings(max_examples=80, deadline=None)
def test_outliers_stand_beyond_the_fences_and_all_others_within(values: list[float]) -> None:
    """By the quartiles as numpy has them; the order of the sites does not matter."""
    found = list(outliers(many(values), POWER))
    assert {one.value for one in found} == {
        one.value for one in outliers(many(values)[::-1], POWER)}
    if len(values) < FEWEST:
        assert found == []
        return
    low, high = np.percentile(values, [25, 75])
    apart = [value for value in values
             if not low - FENCE * (high - low) <= value <= high + FENCE * (high - low)]  # fmt: skip
    assert sorted(one.value for one in found) == sorted(apart)
    assert len(found) <= len(values) / 2
    others = set(values) - set(apart)
    assert all((one.low, one.high) == (min(others), max(others)) for one in found)


def test_the_page_says_sums_spread_and_who_stands_apart() -> None:
    records = [*many([7.0, 7.5, 8.0, 8.5, 7.2, 7.8, 8.1, 7.6]),
               ("far", record("Far Hotel", array_kwp=90.0, currency="EUR"))]  # fmt: skip
    records[0][1]["failed_by_kind"] = {"safety": 2, "supply": 1}
    text = document_html(fleet_page(records))
    words = Page(text).words
    assert "9" in words
    assert "152 kWp" in words
    assert "Array power: median 7.80 kWp" in text
    assert "3 failed checks, most of them of safety" in text
    assert "Far Hotel" in words
    assert "another currency" in words
    assert "<script" not in text
    alone = re.sub(r'href="[\w-]+/?[\w.]*\.(html|csv|parquet)"', 'href="#outliers"', text)
    assert_stands_alone(alone)


@pytest.mark.parametrize("records", [[], [("a", record(array_kwp=None, price=None, demand_kwh=0.0,
                                                        supplied_frac=math.nan))]])
def test_a_batch_without_figures_has_a_page(records: list[Any]) -> None:
    text = document_html(fleet_page(records))
    assert "no site has one" in text
    assert "nan" not in Page(text).words


@given(some.lists(KWP, min_size=1, max_size=40))
@settings(max_examples=20, deadline=None)
def test_a_picture_shows_every_site_and_the_median(values: list[float]) -> None:
    axis = draw_spread(values, what="Array power", unit="kWp").axes[0]
    shown = sum(patch.get_height() for patch in axis.patches[1:]) if len(values) > 12 else (
        len(axis.lines[0].get_xdata()))
    assert shown == len(values)
    assert float(axis.lines[-1].get_xdata()[0]) == pytest.approx(float(np.median(values)))


@pytest.mark.parametrize("currency", ["USD", "XOF", "MMK"])
@pytest.mark.parametrize("scale", [0.0123, 1.0, 987.6])
def test_the_charts_of_the_page_are_alike_in_size(currency: str, scale: float) -> None:
    """A title wider than its axes makes a picture that its page then shows smaller."""
    wide = {svg_of(draw_spread([scale * value for value in (0.41, 0.52, 0.86)],
                               what=one.what, unit=one.unit)).split('width="')[1].split("pt")[0]
            for one in measures(currency)[:CHARTED]}
    assert max(map(float, wide)) <= 1.05 * min(map(float, wide))


@given(some.floats(1.0, 9999.0), some.floats(0.0, 1.0))
@settings(max_examples=100, deadline=None)
def test_a_share_is_printed_alike_on_index_page_and_check(demand: float, share: float) -> None:
    """All is said where supplied and demand are printed alike, on every paper."""
    supplied = demand * (1.0 - share**8)
    told = told_share(supplied, demand)
    row = page_cells(record("A", supplied_kwh=supplied, supplied_frac=told))
    said = f"{in_percent(told)} %"
    assert f"({said})" in row[4].replace("\N{NO-BREAK SPACE}", " ")
    drawn = draw_spread([100.0 * told], what="Supplied of demand", unit="%")
    assert drawn.axes[0].get_title(loc="left").endswith(f"median {said}")


def test_failed_checks_by_class_the_most_on_top() -> None:
    axis = draw_failed({"cost": 1, "safety": 4, "supply": 2}, sites=3).axes[0]
    assert [label.get_text() for label in axis.get_yticklabels()] == ["cost", "supply", "safety"]
    assert axis.get_title(loc="left") == "7 failed checks, most of them of safety"
    assert "No check failed at 1 site" in draw_failed({}, sites=1).axes[0].get_title(loc="left")


@pytest.mark.parametrize(("counts", "said"), [
    ({"cost": 2, "safety": 3, "supply": 2}, "7 failed checks, 3 of them of safety"),
    ({"safety": 1, "yield": 2}, "3 failed checks, most of them of yield"),
    ({"safety": 2}, "2 failed checks, of safety"), ({"cost": 1}, "1 failed check, of cost"),
])  # fmt: skip
def test_most_is_said_of_more_than_half_alone(counts: dict[str, int], said: str) -> None:
    assert draw_failed(counts, sites=3).axes[0].get_title(loc="left") == said


def test_every_value_is_in_one_file() -> None:
    pytest.importorskip("pyarrow", reason="the extra 'fleet' is missing")
    records = many([7.0, 8.0])
    records[1][1]["workbooks"]["w"]["values"]["a_kwh"] = "none"
    rows = list(data_rows(records))
    frame = pd.read_parquet(io.BytesIO(parquet_of(rows)))
    assert list(frame.columns) == list(rows[0])
    assert list(frame["array_kwp"]) == [7.0, 8.0]
    assert list(frame["w.a_kwh"]) == ["1.5", "none"], "unlike values as text"


def test_the_record_of_a_site_has_what_the_page_compares() -> None:
    design = open_design("ridge-clinic")
    job = job_record(design)
    assert job["levelised_cost_per_kwh"] == pytest.approx(design.economics.cost_per_kwh_supplied)
    short = listed({**record(), "job": job, "checks": [{"outcome": "failed", "kind": "safety"}]})
    assert "checks" not in short
    assert "bill" not in short["job"]
    assert all(one.of(short) is not None for one in measures(job["currency"]))
