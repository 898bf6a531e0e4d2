"""What is to be bought for all sites of a batch together: one list, a column a site.

A line is what its supplier knows it by: kind, size, and of cable which cable it is. Quantities are
those that the crews' pick lists are made from, so that an order fills every van.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from solarcalc.batch.folders import read_record
from solarcalc.sitefile.bill_items import GROUPS
from solarcalc.sitefile.status import STAGES

BUILT_FROM = "test"
"""Stage from which everything is on site and nothing is left to buy."""
TO_BUY = STAGES[: STAGES.index(BUILT_FROM)]
HEADS = ("group", "kind", "item", "unit", "total", "of_it_at_build")
"""Columns before those of the sites."""


@dataclass(frozen=True, kw_only=True)
class SiteOrders:
    """What one site buys.

    Parameters
    ----------
    slug : str
        Of its folder, which no other site has.
    stage : str
    lines : sequence of mappings
        Of `order_lines`, from its summary.
    example : bool
        Its equipment is invented, which nobody sells.
    """

    slug: str
    stage: str
    lines: Sequence[Mapping[str, Any]]
    example: bool = False

    @property
    def head(self) -> str:
        """Of its column."""
        return f"{self.slug} ({self.stage}{', EXAMPLE: invented equipment' * self.example})"


def read_orders(out: Path, slugs: Iterable[str]) -> Iterator[SiteOrders]:
    """What the finished sites in a folder buy that are not built yet, one after another.

    A variant stands beside its site in the lists and is left out: nobody builds both.
    """
    for slug in slugs:
        job = (read_record(out / slug) or {}).get("job") or {}
        variant = ":" in Path(str(job.get("file", ""))).name
        if job.get("stage") in TO_BUY and job.get("orders") and not variant:
            yield SiteOrders(slug=slug, stage=job["stage"], lines=job["orders"],
                             example="equipment" in job.get("example_of", ()))


def order_rows(sites: Iterable[SiteOrders]) -> list[dict[str, Any]]:
    """A row for each thing to buy, groups in the order of a bill, with its quantity by site.

    Parameters
    ----------
    sites : iterable of SiteOrders
        Each with a slug of its own.
    """
    found: dict[tuple[str, str, str, str], dict[str, float]] = {}
    heads: dict[str, str] = {}
    for site in sites:
        heads[site.head] = site.stage
        for line in site.lines:
            key = line["group"], line["key"], line["name"], line["unit"]
            of_site = found.setdefault(key, {})
            of_site[site.head] = of_site.get(site.head, 0.0) + line["quantity"]
    places = {group: place for place, group in enumerate(GROUPS)}
    order = sorted(found, key=lambda key: (places.get(key[0], len(places)), key))
    return [
        dict(zip(HEADS, (*key, _whole(sum(found[key].values())), _whole(sum(
            quantity for head, quantity in found[key].items() if heads[head] == "build"))),
            strict=True))
        | {head: _whole(found[key][head]) if head in found[key] else "" for head in sorted(heads)}
        for key in order
    ]  # fmt: skip


def _whole(quantity: float) -> float | int:
    """A sum without the dust of its floats, whole where it is whole."""
    rounded = round(float(quantity), 6)
    return int(rounded) if rounded.is_integer() else rounded
