"""The index of all sites: page and table from one list of columns, the unsafe first."""

from __future__ import annotations

import csv
import json
import re
import runpy
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as some

from solarcalc.basis.files import demo_sites
from solarcalc.batch.index import (
    COLUMNS,
    office_row,
    page_cells,
    worst_sites_first,
    write_index,
)
from solarcalc.batch.listed import COUNTED, SCHEMA
from solarcalc.batch.summary import (
    job_record,
    price_status,
    site_record,
    site_summary,
)
from solarcalc.checking.lines import answer_of
from solarcalc.design import open_design
from solarcalc.sitefile.status import STAGES

READER = runpy.run_path(str(Path(__file__).with_name("html_reader.py")))
Page, assert_stands_alone = READER["Page"], READER["assert_stands_alone"]


def record(name: str = "Hill Shop", counts: tuple[int, ...] = (0, 0, 0), **job: Any
           ) -> dict[str, Any]:
    made = {"stage": "offer", "array_kwp": 7.238, "usable_battery_kwh": 28.21,
            "supplied_kwh": 14863.4, "supplied_frac": 0.982, "without_supply_h": 3,
            "price": 17050.4, "currency": "USD", "price_status": "example", "days": 5,
            "open_holds": ["H2", "H7"], "next_step": "office: issue the quote",
            "next_date": "2026-12-16", **job}
    return {"schema": SCHEMA, "headline": "", "workbooks": {"yield": {"values": {"a_kwh": 1.0}}},
            "site": {"name": name, "customer": "C", "latitude_deg": 1.0, "longitude_deg": 2.0,
                     "elevation_m": 3.0, "made": "2026-11-01T10:00:00+00:00", "version": "1"},
            "check_counts": {**dict.fromkeys(COUNTED, 0), "failed_safety": counts[0],
                             "failed": counts[1], "review": counts[2]}, "job": made}


def put(out: Path, *records: dict[str, Any]) -> None:
    for number, one in enumerate(records):
        (out / f"site-{number}").mkdir()
        (out / f"site-{number}" / "index.html").write_text("")
        (out / f"site-{number}" / "summary.json").write_text(json.dumps(one), encoding="utf-8")


def test_a_row_reads_as_the_office_says_it() -> None:
    """Printed by hand by the house's rule of numbers: three figures, thin spaces from 10 000 on."""
    assert page_cells(record(counts=(1, 2, 8))) == [
        "Hill Shop", "offer", "7.24", "28.2", "14\u202f863 (98.2\N{NO-BREAK SPACE}%)", "3",
        "17\u202f050 USD, example", "5", "✗ 2, 1 of safety", "8", "2", "office: issue the quote",
        "2026-12-16"]
    empty = record(price=None, supplied_kwh=None, supplied_frac=None, without_supply_h=None,
                   days=None)
    assert page_cells(empty)[4:8] == ["", "", "", ""]


def test_page_and_table_show_the_same_columns(tmp_path: Path) -> None:
    put(tmp_path, record(), record("=Cove", (2, 2, 0), stage="design"))
    write_index(tmp_path, [])
    text = (tmp_path / "index.html").read_text(encoding="utf-8")
    for column in COLUMNS:
        assert f">{column.head}</th>" in text
    with (tmp_path / "office.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0]) == [name for column in COLUMNS for name in column.cells]
    assert [row["site"] for row in rows] == ["'=Cove", "Hill Shop"]
    assert rows[1]["price"] == "17050.0"
    assert rows[1]["open_holds"] == "2"
    with (tmp_path / "data.csv").open(encoding="utf-8-sig", newline="") as file:
        (first, _) = csv.DictReader(file)
    assert first["yield.a_kwh"] == "1.0"
    assert first.keys() > rows[0].keys()
    for name in ("office.csv", "data.csv"):
        assert (tmp_path / name).read_bytes().startswith(b"\xef\xbb\xbf")


def test_the_page_stands_alone_and_is_read_by_all(tmp_path: Path) -> None:
    """WCAG 2.2: one h1 and a title (2.4.2, 1.3.1), scope on headers (1.3.1), marks by word and sign
    (1.4.1), reflow of rows to cards (1.4.10)."""
    put(tmp_path, record("A", (1, 1, 0), stage="test"), record("B"), record("C", stage="test"))
    write_index(tmp_path, [(Path("bad.toml"), "no such key")])
    text = (tmp_path / "index.html").read_text(encoding="utf-8")
    alone = re.sub('href="(office.csv|data.csv|orders.csv|fleet.html)"', 'href="#failed"', text)
    for number in range(3):
        assert f'href="site-{number}/index.html"' in text
        alone = alone.replace(f'href="site-{number}/index.html"', 'href="#failed"')
    read = assert_stands_alone(alone)
    assert read.tags.count("h1") == 1
    assert read.tags.count("table") == 2, "a table a stage"
    heads = [value for tag, name, value in read.attributes if tag == "th" and name == "scope"]
    assert heads.count("col") == 2 * len(COLUMNS)
    assert heads.count("row") == 3
    labels = [value for tag, name, value in read.attributes if name == "data-label"]
    assert labels == [column.head for column in COLUMNS[1:]] * 3
    assert "max-width: 480px" in text
    assert text.index("Stage: offer") < text.index("Stage: test")
    assert "Failed checks of safety" in read.words
    assert "no such key" in read.words


def test_an_office_without_sites_has_a_page_and_a_table(tmp_path: Path) -> None:
    write_index(tmp_path, [])
    assert "0 sites" in Page((tmp_path / "index.html").read_text(encoding="utf-8")).words
    assert (tmp_path / "office.csv").read_text(encoding="utf-8-sig").startswith("site,stage,")


@given(some.lists(some.tuples(*[some.integers(0, 3)] * 3), max_size=8))
def test_the_unsafe_stand_first_whatever_else_they_are(counts: list[tuple[int, ...]]) -> None:
    records = [(f"s{number}", record(counts=one)) for number, one in enumerate(counts)]
    found = [tuple(one["check_counts"][key] for key in ("failed_safety", "failed", "review"))
             for _, one in worst_sites_first(records)]
    assert found == sorted(counts, reverse=True)


@pytest.mark.parametrize("stem", ["ridge-clinic", "cove-cannery", "plateau-school"])
def test_the_record_of_a_job_fills_every_column(stem: str) -> None:
    design = open_design(stem)
    job = job_record(design)
    json.dumps(job, allow_nan=False)
    row = office_row({**record(), "job": job})
    assert all(value not in (None, "") for key, value in row.items() if key != "next_date")
    assert job["stage"] in STAGES
    assert job["price_status"] == "example"
    energy = design.year_energy
    assert job["supplied_frac"] == pytest.approx(energy.supplied_kwh / energy.demand_kwh)
    assert job["array_kwp"] == pytest.approx(design.site.array_w / 1000.0)


@pytest.mark.parametrize("stem", demo_sites())
def test_the_office_counts_the_checks_that_check_tells(stem: str) -> None:
    """One count of each outcome, and of each class that failed, tests and logger among them."""
    design = open_design(stem)
    found = site_record(site_summary(design.sitefile, b""), [], design)
    answer = answer_of(demo_sites()[stem]).text.splitlines()
    said: Counter[str] = Counter()
    counted = re.findall(r"(\d+) (checks? fail|of safety|[a-z]+(?: [a-z]+)?)", answer[0])
    for count, words in counted:
        said[words] += int(count)
    names = {"check fail": "failed", "checks fail": "failed", "of safety": "failed_safety",
             "to review": "review"}
    told = Counter(dict.fromkeys(COUNTED, 0))
    for words, count in said.items():
        told[names.get(words, words.replace(" ", "_"))] += count
    assert {name: told[name] for name in COUNTED} == found["check_counts"]
    assert found["failed_by_kind"].total() == told["failed"]
    lines = [line for line in answer if line.startswith("  failed")]
    tests = [line for line in answer if re.match(r"  open +test \w+ failed", line)]
    assert len(lines) + len(tests) == told["failed"], "each that fails is told"


def test_a_price_is_an_offer_only_while_its_quote_is_of_this_design(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    design = open_design("coral-pharmacy")
    monkeypatch.setattr(type(design), "example_of", ())
    assert price_status(design) == "offer"
    assert price_status(design.changed({"status": {"revision": "B"}})) == "list"
    assert price_status(design.changed({"status": {"stage": "design"}})) == "list"


def test_a_site_counts_its_checks_though_no_workbook_ran() -> None:
    """Two failed lines of the clinic's sheet; the group they stand in is no third."""
    design = open_design("ridge-clinic")
    site = site_summary(design.sitefile, b"")
    found = site_record(site, [], design)
    assert found["check_counts"]["failed"] == found["check_counts"]["failed_safety"] == 2
    assert found["headline"] == design.year_energy.words
    before = design.changed({"status": {"stage": "build"}})
    assert site_record(site, [], before)["check_counts"]["failed"] == 0
    open_ = sum(one.open for one in before.all_checks)
    assert site_record(site, [], before)["check_counts"]["review"] == open_
