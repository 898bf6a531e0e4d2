"""One list of what to buy over several sites: it adds up to the bill and the van of each."""

from __future__ import annotations

import csv
import json
from collections import Counter
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as some

from solarcalc.basis.files import demo_sites
from solarcalc.batch.orders import (
    BUILT_FROM,
    HEADS,
    TO_BUY,
    SiteOrders,
    order_rows,
    read_orders,
)
from solarcalc.batch.summary import job_record
from solarcalc.cli import main
from solarcalc.design import Design, open_design
from solarcalc.sitefile.status import STAGES
from solarcalc.sitepack.pick_list import LOADED_NOT, picks_of

NAMES = sorted(demo_sites())


@cache
def design_of(name: str) -> Design:
    return open_design(name)


@cache
def job_of(name: str) -> dict[str, Any]:
    return job_record(design_of(name))


@pytest.mark.parametrize("name", NAMES)
def test_what_a_site_buys_is_its_bill_and_what_its_crew_loads(name):
    """Each line of the bill that is not the customer's, cable by its kind to the next metre."""
    design, orders = design_of(name), job_of(name)["orders"]
    bought, kinds = Counter(), Counter()
    for line in orders:
        bought[line["key"]] += line["quantity"]
        kinds[line["key"]] += 1
    bill = {line.key: line for line in design.bill
            if not line.owned and line.item not in LOADED_NOT}  # work: nobody sells it
    assert design.example_of == job_of(name)["example_of"]
    assert set(bought) == set(bill)
    for key, line in bill.items():
        assert line.quantity - 1e-6 <= bought[key] < line.quantity + kinds[key]
    loaded = Counter()
    for pick in picks_of(design.installation, design.bill, design.programme):
        if pick.key in bill:
            loaded[pick.key, pick.name] += pick.quantity
    assert {(line["key"], line["name"]): pytest.approx(line["quantity"]) for line in orders} == (
        dict(loaded))  # fmt: skip


LINES = some.lists(
    some.builds(
        lambda group, kind, quantity: {
            "group": group, "key": kind, "name": f"Thing {kind}", "unit": "m" if kind > "m" else
            "each", "quantity": quantity},
        some.sampled_from(["array", "battery", "protection", "of another version"]),
        some.sampled_from("abmxyz"), some.integers(1, 4000).map(lambda n: n / 10.0)),
    max_size=12)  # fmt: skip


@given(some.lists(some.tuples(some.sampled_from(TO_BUY), LINES), max_size=6))
def test_the_list_adds_up_to_each_site_whatever_they_buy(sites):
    orders = [SiteOrders(slug=f"site-{number}", stage=stage, lines=lines, example=number % 2 == 0)
              for number, (stage, lines) in enumerate(sites)]  # fmt: skip
    rows = order_rows(orders)
    assert len({tuple(row[head] for head in HEADS[:4]) for row in rows}) == len(rows)
    for row in rows:
        of_sites = {one.head: row[one.head] or 0.0 for one in orders}
        assert row["total"] == pytest.approx(sum(of_sites.values()))
        assert row["of_it_at_build"] == pytest.approx(sum(
            quantity for head, quantity in of_sites.items() if "(build" in head))
        assert all(("EXAMPLE" in one.head) == one.example for one in orders)
        assert list(row) == [*HEADS, *sorted(one.head for one in orders)]
    for one in orders:
        assert sum(row[one.head] or 0.0 for row in rows) == pytest.approx(
            sum(line["quantity"] for line in one.lines))  # fmt: skip


def put(out: Path, slug: str, **job: Any) -> None:
    (out / slug).mkdir()
    (out / slug / "summary.json").write_text(json.dumps({"site": {}, "job": job}))


def test_built_sites_and_variants_are_left_out(tmp_path):
    """A variant stands beside its site and is not built as well."""
    orders = [{"group": "array", "key": "module", "name": "M", "unit": "each", "quantity": 4}]
    for stage in STAGES:
        put(tmp_path, stage, stage=stage, file="a.toml", orders=orders)
    put(tmp_path, "variant", stage="build", file="a.toml:Larger", orders=orders)
    put(tmp_path, "older", stage="build", file="a.toml")
    found = [one.slug for one in read_orders(tmp_path, sorted([*STAGES, "variant", "older"]))]
    assert found == sorted(STAGES[: STAGES.index(BUILT_FROM)])


@pytest.mark.slow
def test_a_batch_writes_the_list_beside_its_index(tmp_path, capsys):
    out = tmp_path / "out"
    names = ["orchard-shop", "coral-pharmacy"]
    assert main(["report", *names, "--documents", "DS", "--out", str(out)]) == 0
    with (out / "orders.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    said = "EXAMPLE: invented equipment"
    heads = {"orchard-shop": f"orchard-farm-shop (build, {said})",
             "coral-pharmacy": f"coral-street-pharmacy (offer, {said})"}  # fmt: skip
    for name, head in heads.items():
        assert {(row["kind"], row["item"]): float(row[head]) for row in rows if row[head]} == {
            (line["key"], line["name"]): line["quantity"] for line in job_of(name)["orders"]}
    assert all(float(row["of_it_at_build"]) == float(row[heads["orchard-shop"]] or 0)
               for row in rows)  # fmt: skip
    assert 'href="orders.csv"' in (out / "index.html").read_text(encoding="utf-8")
