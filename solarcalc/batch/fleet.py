"""All sites of a batch together: one page of charts, and every value in one Parquet file."""

from __future__ import annotations

import importlib.util
import math
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from solarcalc.basis.files import write_whole
from solarcalc.basis.quantity import in_unit
from solarcalc.batch.unchanged import DATA, FLEET
from solarcalc.documents.html import document_html
from solarcalc.documents.tree import (
    Block,
    Document,
    Head,
    beside,
    cell,
    figure,
    heading,
    link,
    numbers,
    sentence,
    table,
)

Record = Mapping[str, Any]
PARQUET = "fleet.parquet"
FENCE = 1.5
"""An outlier lies this many widths of the middle half beyond it (Tukey, Exploratory Data Analysis,
1977, from memory)."""
FEWEST = 8
"""Sites below which the middle half says nothing; common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Measure:
    """A figure that is compared over sites.

    Parameters
    ----------
    what : str
        With a capital.
    unit : str
        As printed.
    of : function
        Its value in a record, or None.
    """

    what: str
    unit: str
    of: Callable[[Record], float | None]


def _job(key: str, scale: float = 1.0) -> Callable[[Record], float | None]:
    def of(record: Record) -> float | None:
        value = record["job"].get(key)
        known = isinstance(value, int | float) and math.isfinite(value)
        return scale * float(value) if known else None

    return of


def _over(key: str, below: str, scale: float = 1.0) -> Callable[[Record], float | None]:
    above, under = _job(key), _job(below)

    def of(record: Record) -> float | None:
        value, part = above(record), under(record)
        return scale * value / part if value is not None and part else None

    return of


def measures(currency: str) -> tuple[Measure, ...]:
    """The figures that are compared, money in one currency."""

    def paid(of: Callable[[Record], float | None]) -> Callable[[Record], float | None]:
        return lambda record: of(record) if record["job"].get("currency") == currency else None

    return (
        Measure(what="Array power", unit="kWp", of=_job("array_kwp")),
        Measure(what="Supplied of demand", unit="%", of=_job("supplied_frac", 100.0)),
        Measure(what="Levelised cost", unit=f"{currency}/kWh",
                of=paid(_job("levelised_cost_per_kwh"))),
        Measure(what="Specific price", unit=f"{currency}/kWp",
                of=paid(_over("price", "array_kwp"))),
        Measure(what="Array over yearly demand", unit="kWp per MWh",
                of=_over("array_kwp", "demand_kwh", 1000.0)),
        Measure(what="Usable battery over a day's demand", unit="days",
                of=_over("usable_battery_kwh", "demand_kwh", 365.0)),
    )  # fmt: skip


CHARTED = 3
"""Of the measures, the first so many have a chart."""


@dataclass(frozen=True, kw_only=True)
class Outlier:
    """A site whose figure stands apart from those of the others, which lie from `low` to `high`."""

    slug: str
    name: str
    measure: Measure
    value: float
    low: float
    high: float


def outliers(records: Sequence[tuple[str, Record]], found: Measure) -> Iterator[Outlier]:
    """Sites beyond the fences of a figure, the farthest first; none among few sites."""
    values = [(slug, record, value) for slug, record in records
              if (value := found.of(record)) is not None]  # fmt: skip
    if len(values) < FEWEST:
        return
    low, high = np.percentile([value for _, _, value in values], [25.0, 75.0])
    width = high - low
    fences = float(low - FENCE * width), float(high + FENCE * width)
    others = [value for _, _, value in values if fences[0] <= value <= fences[1]]
    apart = [(max(fences[0] - value, value - fences[1]), slug, record, value)
             for slug, record, value in values if not fences[0] <= value <= fences[1]]  # fmt: skip
    for _, slug, record, value in sorted(apart, key=lambda one: (-one[0], one[1])):
        yield Outlier(slug=slug, name=str(record["site"]["name"]), measure=found, value=value,
                      low=min(others), high=max(others))  # fmt: skip


def write_fleet(
    out: Path, records: Sequence[tuple[str, Record]], rows: Sequence[Mapping[str, Any]]
) -> None:
    """Write the page of charts, and the Parquet file where pyarrow is installed.

    Parameters
    ----------
    out : Path
    records : sequence of (folder, summary as listed)
    rows : sequence of mapping
        Every value of every site, as in `DATA`.
    """
    write_whole(out / FLEET, document_html(fleet_page(records)))
    if can_write_parquet():
        write_whole(out / PARQUET, parquet_of(rows))


def can_write_parquet() -> bool:
    """Whether pyarrow is there: the extra ``fleet``."""
    return importlib.util.find_spec("pyarrow") is not None


def parquet_of(rows: Sequence[Mapping[str, Any]]) -> bytes:
    """One row a site; a column of unlike values as text."""
    import io

    import pandas as pd

    names = list(dict.fromkeys(name for row in rows for name in row))
    frame = pd.DataFrame({name: _column([row.get(name) for row in rows]) for name in names})
    out = io.BytesIO()
    frame.to_parquet(out, index=False)
    return out.getvalue()


def _column(values: Sequence[Any]) -> Any:
    import pandas as pd

    kinds = {type(value) for value in values if value is not None}
    if kinds and kinds <= {int, float}:
        return pd.array([math.nan if value is None else float(value) for value in values],
                        dtype="float64")  # fmt: skip
    if kinds == {bool}:
        return pd.array(list(values), dtype="boolean")
    return pd.array([None if value is None else str(value) for value in values], dtype="string")


def fleet_page(records: Sequence[tuple[str, Record]]) -> Document:
    """The page of charts over all sites."""
    count = f"{len(records)} site{'s' * (len(records) != 1)}"
    money = Counter(record["job"].get("currency") for _, record in records
                    if record["job"].get("price") is not None)  # fmt: skip
    currency = str(money.most_common(1)[0][0]) if money else "USD"
    head = Head(site=count, number="", revision="", title="All sites together", status="")
    found = measures(currency)
    return Document(code="IX", head=head, look="index", contents=False, blocks=(
        sentence("Every site whose folder is whole. ", link("index.html", "Index of sites")),
        _sums(records), *_charts(records, found), *_money_left_out(money, currency),
        *_apart(records, found), *_parquet_words()))  # fmt: skip


def _sums(records: Sequence[tuple[str, Record]]) -> Block:
    def total(key: str) -> float:
        return sum(_job(key)(record) or 0.0 for _, record in records)

    demand = total("demand_kwh")
    share = 100.0 * total("supplied_kwh") / demand if demand else math.nan
    return numbers([
        (str(len(records)), "sites"),
        (f"{in_unit(total('array_kwp'))} kWp", "arrays"),
        (f"{in_unit(total('usable_battery_kwh'))} kWh", "usable battery"),
        (f"{in_unit(share, '%')} %" if math.isfinite(share) else "−", "supplied, of demand"),
    ])


def _charts(records: Sequence[tuple[str, Record]], found: Sequence[Measure]) -> Iterator[Block]:
    from solarcalc.figures.fleet import draw_failed, draw_spread
    from solarcalc.figures.style import svg_of

    charts = []
    for one in found[:CHARTED]:
        values = [value for _, record in records if (value := one.of(record)) is not None]
        drawn = draw_spread(values, what=one.what, unit=one.unit)
        charts.append(figure(svg_of(drawn), drawn.axes[0].get_title(loc="left")))
    failed: Counter[str] = Counter()
    for _, record in records:
        failed.update(record.get("failed_by_kind") or {})
    drawn = draw_failed(failed, sites=len(records))
    charts.append(figure(svg_of(drawn), drawn.axes[0].get_title(loc="left")))
    yield beside(charts[:2], charts[2:])


def _money_left_out(money: Counter[Any], currency: str) -> Iterator[Block]:
    others = sum(count for name, count in money.items() if name != currency)
    if others:
        yield sentence(f"Prices and costs are those in {currency}; {others}"
                       f" site{'s have theirs' if others > 1 else ' has its own'} in another"
                       " currency.", look="aside")  # fmt: skip


def _apart(records: Sequence[tuple[str, Record]], found: Sequence[Measure]) -> Iterator[Block]:
    yield heading("Outliers", key="outliers")
    far = [one for measure in found for one in outliers(records, measure)]
    if len(records) < FEWEST:
        yield sentence(f"Told from {FEWEST} sites on.")
    elif not far:
        yield sentence("None.")
    else:
        yield sentence(f"Beyond the middle half of the sites by more than {FENCE:g} times its"
                       " width: look whether the input is right.")  # fmt: skip
        yield table(["site", "figure", "here", "of the others"], [
            [cell(link(f"{one.slug}/index.html", one.name), head=True),
             f"{one.measure.what} [{one.measure.unit}]", in_unit(one.value, one.measure.unit),
             " to ".join(in_unit(value, one.measure.unit) for value in (one.low, one.high))]
            for one in far], right=(2, 3))  # fmt: skip


def _parquet_words() -> Iterator[Block]:
    if can_write_parquet():
        yield sentence("Every value of every site: ", link(PARQUET, PARQUET), look="aside")
    else:
        yield sentence("Every value of every site: ", link(DATA, DATA),
                       "; with the extra fleet (pyarrow) also as one Parquet file.",
                       look="aside")  # fmt: skip
