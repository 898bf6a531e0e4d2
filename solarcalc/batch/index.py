"""The index of all sites: one list of columns, for the page of the office and for its table."""

from __future__ import annotations

import csv
import io
import math
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import write_whole
from solarcalc.basis.quantity import in_unit
from solarcalc.basis.text import guard_cell
from solarcalc.batch.fleet import write_fleet
from solarcalc.batch.listed import COUNTED, by_name, finished_record, read_records
from solarcalc.batch.orders import HEADS, order_rows, read_orders
from solarcalc.batch.unchanged import DATA, FLEET, OFFICE, ORDERS, RECORD, note_lists
from solarcalc.documents.html import document_html
from solarcalc.documents.tree import (
    Block,
    Cell,
    Document,
    Head,
    box,
    cell,
    heading,
    link,
    sentence,
    strong,
    table,
)
from solarcalc.sitefile.status import STAGES

Record = Mapping[str, Any]


@dataclass(frozen=True, kw_only=True)
class Column:
    """A column of the page with the columns of the table that it shows.

    Parameters
    ----------
    head : str
        On the page.
    cells : dict of name to function
        Columns of the table, unit last in the name, and their value in a record.
    shown : function
        The values of these cells as the page prints them.
    number : bool
        Whether it is a number, set to the right.
    """

    head: str
    cells: dict[str, Callable[[Record], Any]]
    shown: Callable[..., str]
    number: bool = False


def _of_job(key: str) -> Callable[[Record], Any]:
    return lambda record: record["job"].get(key)


def _of_checks(key: str) -> Callable[[Record], Any]:
    return lambda record: record["check_counts"][key]


def _text(value: Any) -> str:
    return "" if value is None else str(value)


def _in(unit: str) -> Callable[[Any], str]:
    return lambda value: in_unit(value, unit)


def _supplied(supplied_kwh: float | None, frac: float | None) -> str:
    if supplied_kwh is None:
        return ""
    share = f" ({in_unit(100.0 * frac, '%')}\u00a0%)" if frac is not None else ""
    return f"{in_unit(supplied_kwh, 'kWh/year')}{share}"


def _price(price: float | None, currency: str | None, status: str | None) -> str:
    return "" if price is None else f"{in_unit(float(round(price)), 'kWh')} {currency}, {status}"


def _failed(failed: int, of_safety: int) -> str:
    return f"✗ {failed}, {of_safety} of safety" if of_safety else f"✗ {failed}" if failed else "0"



COLUMNS = (
    Column(head="site", cells={"site": lambda record: record["site"]["name"]}, shown=_text),
    Column(head="stage", cells={"stage": _of_job("stage")}, shown=_text),
    Column(head="kWp", cells={"array_kwp": _of_job("array_kwp")}, shown=_in("kWp"), number=True),
    Column(head="usable battery, kWh", cells={"usable_battery_kwh": _of_job("usable_battery_kwh")},
           shown=lambda kwh: in_unit(kwh), number=True),
    Column(head="supplied, kWh/year (of demand)", shown=_supplied, number=True,
           cells={"supplied_kwh": _of_job("supplied_kwh"),
                  "supplied_frac": _of_job("supplied_frac")}),
    Column(head="without supply, h/year", cells={"without_supply_h": _of_job("without_supply_h")},
           shown=_in("h/year"), number=True),
    Column(head="price", shown=_price, number=True,
           cells={"price": _of_job("price"), "currency": _of_job("currency"),
                  "price_status": _of_job("price_status")}),
    Column(head="days on site", cells={"days": _of_job("days")}, shown=_text, number=True),
    Column(head="failed", shown=_failed, number=True,
           cells={"failed": _of_checks("failed"), "failed_safety": _of_checks("failed_safety")}),
    Column(head="to review", cells={"review": _of_checks("review")}, shown=_text, number=True),
    Column(head="open holds", shown=_text, number=True,
           cells={"open_holds": lambda record: len(record["job"].get("open_holds", ()))}),
    Column(head="next step", cells={"next_step": _of_job("next_step")}, shown=_text),
    Column(head="by", cells={"next_date": _of_job("next_date")}, shown=_text),
)  # fmt: skip
"""Of page and table alike."""


def office_row(record: Record) -> dict[str, Any]:
    """A site's row of the table, by the names of its columns; `DATA` has every figure."""
    return {name: _rounded(value(record)) for column in COLUMNS
            for name, value in column.cells.items()}  # fmt: skip


def _rounded(value: Any) -> Any:
    """A number that is no count to four figures, whole ones beyond them kept."""
    if not isinstance(value, float) or not math.isfinite(value):
        return value
    return round(value, max(3 - math.floor(math.log10(abs(value))), 0)) if value else value


def page_cells(record: Record) -> list[str]:
    """A site's row of the page, a text a column."""
    return [column.shown(*(value(record) for value in column.cells.values()))
            for column in COLUMNS]  # fmt: skip


def worst_sites_first(records: Sequence[tuple[str, Record]]) -> list[tuple[str, Record]]:
    """Most failed checks of safety first, then most failed, then most to review; stable."""
    counted = ("failed_safety", "failed", "review")
    return sorted(records, key=lambda item: [-item[1]["check_counts"][key] for key in counted])


class Lists:
    """The lists over all sites, written again as sites are made.

    Parameters
    ----------
    out : Path
        Folder of the reports: every finished site in it is listed.
    """

    def __init__(self, out: Path) -> None:
        self.out = out
        self.fault = ""
        self._records: dict[str, Record] = dict(read_records(out))
        self._wrote_s, self._took_s = 0.0, 0.0

    def add(self, slug: str, failed: Sequence[tuple[Path, str]]) -> None:
        """A site has been made: list it, at once where the list is written soon.

        A long list takes a tenth of the time at most: it then lags some sites behind, until the
        end of the batch or what stops it.

        Parameters
        ----------
        slug : str
        failed : sequence of (path of the site file, reason)
            Of this run, so far.
        """
        record = finished_record(self.out, slug)
        if record is not None:
            self._records[slug] = record
        if time.monotonic() - self._wrote_s >= _PAUSES * self._took_s:
            self.write(failed)

    def write(self, failed: Sequence[tuple[Path, str]], *, last: bool = False) -> None:
        """Write index.html and the tables beside it, each whole; why not stands in `fault`.

        Parameters
        ----------
        failed : sequence of (path of the site file, reason)
        last : bool
            Nothing more is made: the page over the fleet is written too.
        """
        began_s = time.monotonic()
        try:
            self._write(failed, last=last)
            self.fault = ""
        except OSError as error:
            self.fault = f"{error.filename or self.out}: {error.strerror or error}"
        self._wrote_s = time.monotonic()
        self._took_s = self._wrote_s - began_s

    def _write(self, failed: Sequence[tuple[Path, str]], *, last: bool) -> None:
        out = self.out
        records = worst_sites_first(sorted(self._records.items(), key=by_name))
        write_whole(out / "index.html", document_html(_page(records, failed)))
        names = [name for column in COLUMNS for name in column.cells]
        _write_table(out / OFFICE, [office_row(record) for _, record in records], names)
        rows = list(data_rows(sorted(records, key=lambda item: item[0])))
        _write_table(out / DATA, rows, names)
        if last:
            write_fleet(out, records, rows)
            _write_table(out / ORDERS, order_rows(read_orders(out, sorted(self._records))), HEADS)
        if failed or not last:
            (out / RECORD).unlink(missing_ok=True)
        else:
            note_lists(out)


_PAUSES = 9.0


def write_index(out: Path, failed: Sequence[tuple[Path, str]]) -> None:
    """Write index.html, and the two tables beside it.

    Parameters
    ----------
    out : Path
        Folder of the reports: every finished site in it is listed.
    failed : sequence of (path of the site file, reason)
        Of this run.

    Raises
    ------
    InputError
        When they cannot be written.
    """
    lists = Lists(out)
    lists.write(failed, last=True)
    told(lists)


def told(lists: Lists) -> None:
    """Tell why the lists could not be written; those before are still there, whole.

    Raises
    ------
    InputError
    """
    if lists.fault:
        raise InputError(Fault(
            where=f"lists over all sites in {lists.out}", given=lists.fault,
            allowed="a folder with some room", why="the sites are made; their lists are the ones"
            " before", remedy="make room, then run the same command again"))  # fmt: skip


def _page(
    records: Sequence[tuple[str, Record]], failed: Sequence[tuple[Path, str]]
) -> Document:
    count = f"{len(records)} site{'s' * (len(records) != 1)}"
    head = Head(site=count, number="", revision="", title="Index of sites", status="")
    blocks = (*_unsafe(records), *_failed_now(failed), *_stages(records),
              sentence("Beside this page: ", link(OFFICE, OFFICE), " has these columns, ",
                       link(DATA, DATA), " all values of all sites, ",
                       link(ORDERS, ORDERS), " what is to be bought for those not built yet, with"
                       " the quantity of each site; ", link(FLEET, "charts over all sites"), ".",
                       look="aside"))  # fmt: skip
    return Document(code="IX", head=head, look="index", contents=True, blocks=blocks)


def _unsafe(records: Sequence[tuple[str, Record]]) -> Iterator[Block]:
    found = [(slug, record) for slug, record in records if record["check_counts"]["failed_safety"]]
    if found:
        yield box([sentence(strong("✗ Failed checks of safety: "), *(
            word for number, (slug, record) in enumerate(found) for word in (
                "; " if number else "", link(f"{slug}/index.html", record["site"]["name"]),
                f"\u00a0({record['check_counts']['failed_safety']})")))],
            look="danger")  # fmt: skip


def _failed_now(failed: Sequence[tuple[Path, str]]) -> Iterator[Block]:
    if failed:
        yield heading("No documents made in this run", key="failed")
        yield sentence("Documents of an earlier run, if there are any, are still listed below.")
        for path, reason in failed:
            yield heading(path.name, 3)
            yield {"kind": "plain", "text": reason}


def _stages(records: Sequence[tuple[str, Record]]) -> Iterator[Block]:
    numbers = [place for place, column in enumerate(COLUMNS) if column.number]
    for stage in (*STAGES, None):
        rows: list[list[Cell]] = [
            [cell(link(f"{slug}/index.html", cells[0]), head=True), *cells[1:]]
            for slug, record in records if record["job"].get("stage") == stage
            for cells in [page_cells(record)]
        ]  # fmt: skip
        if rows:
            yield heading(f"Stage: {stage or 'none'} ({len(rows)})", key=f"stage-{stage or 'none'}")
            yield table([column.head for column in COLUMNS], rows, right=numbers)


def data_rows(records: Sequence[tuple[str, Record]]) -> Iterator[dict[str, Any]]:
    """Every value of every site: one row a site, unit last in the column's name."""
    kept = ("customer", "latitude_deg", "longitude_deg", "elevation_m", "made", "version")
    for slug, record in records:
        site = record["site"]
        yield {
            "slug": slug, "energy": record["headline"], **office_row(record),
            "demand_kwh": record["job"].get("demand_kwh"),
            "revision": record["job"].get("revision"),
            **{key: site[key] for key in kept},
            **{f"checks_{name}": record["check_counts"][name] for name in COUNTED},
            **{f"{workbook}.{name}": value for workbook, found in record["workbooks"].items()
               for name, value in found["values"].items()},
        }  # fmt: skip


def _write_table(
    path: Path, rows: Sequence[Mapping[str, Any]], empty: Sequence[str]
) -> None:
    """A CSV file with a byte order mark, without which spreadsheets misread accented names.

    A text that a spreadsheet would run as a formula is made plain; `empty` are the names of the
    columns where there is no row.
    """
    names = list(dict.fromkeys(name for row in rows for name in row)) or empty
    text = io.StringIO()
    writer = csv.DictWriter(text, fieldnames=names, lineterminator="\r\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({key: guard_cell(value) if isinstance(value, str) else value
                         for key, value in row.items()})
    write_whole(path, text.getvalue(), encoding="utf-8-sig")
