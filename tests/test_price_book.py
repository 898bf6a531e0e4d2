"""A firm's own price list: three formats, part of the prices, their age, other currencies."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some
from openpyxl import Workbook, load_workbook

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.cli import main
from solarcalc.design import open_design
from solarcalc.quote.answer import invented_words, quote_checks
from solarcalc.quote.bill import BillLine
from solarcalc.quote.costs import listed_trade
from solarcalc.quote.offer import LabourHours, Offer, quote_of
from solarcalc.quote.price_checks import old_prices, old_rates, price_checks, quote_day
from solarcalc.quote.prices import TRADES, PriceList, equipment_row, read_price_list
from solarcalc.quote.to_fill import rows_to_fill, write_to_fill
from solarcalc.sitefile.bill_items import ITEMS
from solarcalc.sitefile.equipment import bundled_equipment
from solarcalc.sitefile.quote import Quote
from solarcalc.sitefile.status import Status

INVENTED = read_price_list("invented", Path())
BUNDLED = {**{item: (row.unit, row.price) for item, row in INVENTED.prices.items()},
           **{f"labour/{trade}": ("h", rate) for trade, rate in INVENTED.rates.items()}}
KINDS = ("module", "inverter", "battery", "cable-copper", "rail", "label", "breaker-dc")
BILL = [BillLine(item=kind, key=f"{kind}-one", name=kind, quantity=3.0, unit=ITEMS[kind].unit,
                 group=ITEMS[kind].group, size=4.0) for kind in KINDS]  # fmt: skip
HOURS = [LabourHours(task=trade, trade=trade, hours=5.0) for trade in INVENTED.rates]
COLUMNS = ("item", "unit", "price", "currency", "date", "valid_days")
FEW = settings(max_examples=25, deadline=None,
               suppress_health_check=[HealthCheck.function_scoped_fixture])  # fmt: skip
NONE = PriceList(file="", name="", currency="USD", decimals=2, invented=False, prices={}, rates={})


def offer_with(prices: PriceList) -> Offer:
    return quote_of(BILL, prices, quote=Quote(tax_frac=0.1), array_kwp=1.2, labour_hours=HOURS)


def write_book(
    folder: Path, rows: list[dict[str, Any]], heading: dict[str, Any], rates: dict[str, Any]
) -> dict[str, PriceList]:
    """The same book as TOML, CSV and xlsx, each read."""
    lines = [f"# {key}: {value}" for key, value in heading.items()]
    lines += [f"# rate: {currency} {rate} {day}" for currency, (rate, day) in rates.items()]
    sheet = Workbook()
    text = io.StringIO()
    writer = csv.writer(text)
    for line in lines:
        text.write(line + "\n")
        sheet.active.append([line])
    for cells in (COLUMNS, *([row.get(name, "") for name in COLUMNS] for row in rows)):
        writer.writerow(cells)
        sheet.active.append([None if cell == "" else cell for cell in cells])
    (folder / "book.csv").write_text(text.getvalue(), encoding="utf-8")
    sheet.save(folder / "book.xlsx")
    toml = [f"{key} = {json.dumps(value)}" for key, value in heading.items()]
    toml += [f'[[rates]]\ncurrency = "{currency}"\nrate = {rate}\ndate = {day}'
             for currency, (rate, day) in rates.items()]  # fmt: skip
    for row in rows:
        toml.append("[[prices]]")
        toml += [f"{key} = {json.dumps(value)}" for key, value in row.items()]
    (folder / "book.toml").write_text("\n".join(toml), encoding="utf-8")
    return {ending: read_price_list(f"book.{ending}", folder) for ending in ("toml", "csv", "xlsx")}


@some.composite
def books(draw: some.DrawFn) -> tuple[list[dict[str, Any]], dict[str, Any], dict[str, Any]]:
    """Rows of some items of the invented list at other prices, some in euro, some with a day."""
    items = draw(some.lists(some.sampled_from(sorted(BUNDLED)), min_size=1, max_size=12,
                            unique=True))  # fmt: skip
    rows = []
    for item in items:
        row = {"item": item, "unit": BUNDLED[item][0],
               "price": draw(some.integers(1, 90000)) / 100.0}  # fmt: skip
        if draw(some.booleans()):
            row["currency"] = draw(some.sampled_from(["EUR", "USD"]))
        if draw(some.booleans()):
            row["date"] = str(date(2026, 1, 1) + timedelta(days=draw(some.integers(0, 700))))
        if draw(some.booleans()):
            row["valid_days"] = draw(some.integers(1, 400))
        rows.append(row)
    heading = {"name": "Ours", "currency": "USD", "decimals": draw(some.integers(0, 3)),
               "date": "2026-06-01", "valid_days": draw(some.integers(1, 200))}  # fmt: skip
    return rows, heading, {"EUR": (draw(some.integers(50, 300)) / 100.0, "2026-06-15")}


@given(books())
@FEW
def test_the_same_book_in_three_formats_gives_the_same_offer(tmp_path, book):
    found = write_book(tmp_path, *book)
    day = date(2026, 9, 1)
    toml, *others = found.values()
    for other in others:
        assert (other.prices, other.labour, other.exchange) == (
            toml.prices, toml.labour, toml.exchange)  # fmt: skip
        one, two = offer_with(toml), replace(offer_with(other), price_list_file=toml.file)
        assert one == two
        assert price_checks(one, toml, day) == price_checks(two, other, day)


@given(books())
@FEW
def test_what_a_book_lacks_is_invented_named_and_no_more_than_that(tmp_path, book):
    prices = write_book(tmp_path, *book)["toml"]
    own = {row["item"] for row in book[0]}
    offer = offer_with(prices)
    assert set(offer.invented_rows) == set(offer.rows) - {
        item for item in own if (BUNDLED[item][1] != prices.priced_by(item).price)}  # fmt: skip
    assert offer.invented == bool(offer.invented_rows)
    assert 0.0 <= offer.share_frac(offer.invented_rows) <= 1.0 + 1e-12
    both = offer.share_frac(offer.invented_rows) + offer.share_frac(
        set(offer.rows) - set(offer.invented_rows))  # fmt: skip
    assert both == pytest.approx(1.0)
    if offer.invented:
        said = invented_words(offer)
        check = next(one for one in quote_checks(offer, _money(offer)) if one.item == "Prices")
        assert check.outcome == "review"
        if len(offer.invented_rows) < offer.row_count:
            assert all(row in said and row in check.found for row in offer.invented_rows)
            assert f"{len(offer.invented_rows)} of {offer.row_count}" in said
            assert offer.share_words(offer.invented_rows) in check.found


def _money(offer: Offer) -> Any:
    from solarcalc.basis.no_answer import NoAnswer
    from solarcalc.basis.worded import worded

    return NoAnswer(**worded("stages", "no-autonomy"))


@pytest.mark.slow
@given(books(), some.sampled_from(["csv", "xlsx"]))
@FEW
def test_the_list_to_fill_filled_in_leaves_nothing_invented(tmp_path, book, ending):
    prices = write_book(tmp_path, *book)["csv"]
    offer = offer_with(prices)
    path = tmp_path / f"fill.{ending}"
    path.unlink(missing_ok=True)
    assert write_to_fill(path, [(offer, prices)]) == len(offer.invented_rows)
    if not offer.invented_rows:
        return
    with pytest.raises(InputError, match="no rows"):
        read_price_list(path.name, tmp_path)  # nothing is filled in yet
    lines = _filled(path)
    filled = read_price_list(path.name, tmp_path)
    own = {row: filled.priced_by(row).price for row in offer.invented_rows}
    assert own == {row: 7.5 + n for n, row in enumerate(lines)}
    both = replace(prices, prices={**prices.prices, **filled.own_prices},
                   labour={**prices.labour, **filled.labour},
                   rates={**prices.rates, **filled.rates},
                   invented_rows=prices.invented_rows - own.keys())  # fmt: skip
    assert not offer_with(both).invented


def _filled(path: Path) -> list[str]:
    """Prices from 7.5 on put into the list to fill; its items in their order."""
    if path.suffix == ".csv":
        lines = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8-sig"))))
    else:
        lines = [["" if cell is None else str(cell) for cell in row]
                 for row in load_workbook(path).active.iter_rows(values_only=True)]  # fmt: skip
    head = next(n for n, line in enumerate(lines) if line[0] == "item")
    items = [line[0] for line in lines[head + 1:]]
    for n, line in enumerate(lines[head + 1:]):
        line[2] = str(7.5 + n)
    if path.suffix == ".csv":
        text = io.StringIO()
        csv.writer(text).writerows(lines)
        path.write_text(text.getvalue(), encoding="utf-8")
    else:
        book = load_workbook(path)
        for n in range(len(items)):
            book.active.cell(row=head + 2 + n, column=3, value=7.5 + n)
        book.save(path)
    return items


def test_the_list_to_fill_of_two_sites_has_each_item_once_the_dearest_first():
    offer = offer_with(INVENTED)
    rows = [row for row, _, _ in rows_to_fill([(offer, INVENTED), (offer, INVENTED)])]
    assert sorted(rows) == sorted(offer.invented_rows)
    shares = [offer.share_frac([row]) for row in rows]
    assert shares == sorted(shares, reverse=True)


def test_the_firms_price_of_a_kind_goes_before_an_invented_one_of_the_very_thing(tmp_path):
    (tmp_path / "book.csv").write_text(
        "# currency: USD\nitem,unit,price\ncable-copper,m mm2,0.5\n", encoding="utf-8")  # fmt: skip
    prices = read_price_list("book.csv", tmp_path)
    assert "cable-copper-4mm2" in INVENTED.prices
    assert "cable-copper-4mm2" not in prices.prices
    assert prices.prices["roof-sheet-insulated"] == INVENTED.prices["roof-sheet-insulated"]


def test_a_trade_may_be_called_as_the_programme_calls_it(tmp_path):
    for row, trade in (("labour/builder", "builder"), ("labour/mason", "mason")):
        (tmp_path / "book.csv").write_text(
            f"# currency: USD\nitem,unit,price\n{row},h,77\n", encoding="utf-8")  # fmt: skip
        prices = read_price_list("book.csv", tmp_path)
        assert listed_trade("builder", prices) == trade
        assert prices.rates[trade] == 77.0
        assert prices.unknown_rows == ()


@pytest.mark.parametrize("stem", ["ridge-clinic", "plateau-school", "valley-workshop"])
def test_a_row_named_as_in_an_equipment_list_is_told_as_the_bill_names_it(stem, tmp_path):
    """People copy the key that stands behind `use` in the site file."""
    keys = {line.key for line in open_design(stem).bill}
    used = [key for entries in bundled_equipment().values() for key in entries
            if equipment_row(key) in keys]
    assert len(used) >= 4  # module, battery, controller, an inverter
    for key in used:
        (tmp_path / "book.csv").write_text(
            f"# currency: USD\nitem,unit,price\n{key},each,9\n", encoding="utf-8")
        prices = read_price_list("book.csv", tmp_path)
        assert prices.unknown_told == f"{key} ({equipment_row(key)}?)"


LISTED = (*ITEMS, *(f"labour/{name}" for names in TRADES.values() for name in names))


def _idle(folder: Path, rows: list[str]) -> list[str]:
    """Rows that price nothing, as they are told."""
    units = dict.fromkeys(LISTED, "h") | {item: kind.unit for item, kind in ITEMS.items()}
    (folder / "book.csv").write_text("# currency: USD\nitem,unit,price\n" + "".join(
        f"{row},{units.get(row, 'h')},1\n" for row in rows), encoding="utf-8")  # fmt: skip
    prices = read_price_list("book.csv", folder)
    found = price_checks(offer_with(prices), prices, None)
    return [one.found for one in found if one.item == "Rows of the price list that price nothing"]


@settings(max_examples=30, deadline=None,
          suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(some.sets(some.sampled_from(LISTED), min_size=1, max_size=6), some.data())
def test_every_row_that_prices_nothing_is_told_thing_or_labour(tmp_path, rows, data):
    """A letter too many, and the invented price would stand in for the firm's without a word."""
    odd = data.draw(some.sampled_from(sorted(rows)))
    assert _idle(tmp_path, sorted(rows)) == []
    head, slash, name = odd.rpartition("/")
    (told,) = _idle(tmp_path, [*sorted(rows - {odd}), f"{head}{slash}q{name}"])
    assert told == f"{head}{slash}q{name} ({odd}?)"


def test_a_price_of_nothing_is_told_not_added_up_in_silence(tmp_path):
    for price, told in (("0", ["module"]), ("0.25", [])):
        (tmp_path / "book.csv").write_text(
            f"# currency: USD\nitem,unit,price\nmodule,W,{price}\ndoor,each,0\n", encoding="utf-8")
        prices = read_price_list("book.csv", tmp_path)
        offer = offer_with(prices)
        assert "door" not in offer.rows
        assert [one.found for one in price_checks(offer, prices, None)
                if one.item == "Prices of 0 in the price list"] == told


def _refused_of(folder: Path, change: Any) -> list[str]:
    """Faults of a workbook with two prices, changed; none where it is read."""
    book = Workbook()
    for row in (["# currency: usd"], ["item", "unit", "price"], ["module", "W", 0.25],
                ["inverter", "each", 300]):  # fmt: skip
        book.active.append(row)
    change(book)
    book.save(folder / "book.xlsx")
    try:
        assert read_price_list("book.xlsx", folder).currency == "USD"
    except InputError as error:
        return [fault.where for fault in error.faults]
    return []


def test_what_nobody_would_read_of_a_workbook_is_refused(tmp_path):
    def second(book: Any) -> None:
        other = book.create_sheet("New")
        other.append(["from May"])
        other.append(["Item", "unit ", "price", "date"])

    assert _refused_of(tmp_path, lambda book: None) == []
    assert _refused_of(tmp_path, lambda book: book.create_sheet("Notes").append(["item"])) == []
    assert _refused_of(tmp_path, lambda book: book.active.merge_cells("A1:C1")) == []
    assert _refused_of(tmp_path, second) == ["book.xlsx: sheet New"]
    assert _refused_of(tmp_path, lambda book: book.active.merge_cells("C3:C4")) == [
        "book.xlsx: cells C3:C4"]


# --- another currency


BOOK = "# currency: XOF\n{rate}item,unit,price,currency\nmodule,W,{price},{currency}\n"


def _book(folder: Path, **said: str) -> PriceList:
    (folder / "book.csv").write_text(
        BOOK.format(**{"rate": "", "price": "150", "currency": "", **said}), encoding="utf-8")
    return read_price_list("book.csv", folder)


def test_a_price_in_another_currency_by_hand(tmp_path):
    """hand: 0.25 EUR at 655.957 are 163.98925; the invented list is in USD, at 600."""
    rates = "# rate: EUR 655.957 2026-11-01\n# rate: USD 600 2026-11-01\n"
    prices = _book(tmp_path, rate=rates, price="0.25", currency="EUR")
    assert prices.prices["module"].price == pytest.approx(163.98925)
    assert prices.prices["module"].currency == "EUR"
    assert prices.prices["battery"].price == pytest.approx(210.0 * 600.0)
    assert prices.rates["electrician"] == pytest.approx(9.0 * 600.0)
    offer = offer_with(prices)
    found = {one.item: one for one in price_checks(offer, prices, date(2026, 12, 1))}
    assert found["Rate of exchange, EUR"].outcome == "passed"
    late = {one.item: one for one in price_checks(offer, prices, date(2026, 12, 2))}
    assert late["Rate of exchange, EUR"].outcome == "review"
    assert offer.share_words(["module"]) in late["Rate of exchange, EUR"].found
    assert old_rates(offer, prices, date(2026, 12, 2))["EUR"] == ("module",)


def test_a_currency_without_a_rate_is_named_with_its_line(tmp_path):
    with pytest.raises(InputError) as error:
        _book(tmp_path, currency="EUR")
    (fault,) = error.value.faults
    assert fault.where == "book.csv: line 3 (module)"
    assert "rate: EUR" in fault.remedy


def test_without_a_rate_for_the_invented_list_nothing_is_filled_in_and_no_offer_is_made(tmp_path):
    prices = _book(tmp_path)
    assert not prices.filled
    with pytest.raises(InputError, match="no price"):
        offer_with(prices)


@given(some.floats(0.01, 1000.0))
@FEW
def test_prices_in_another_currency_grow_with_its_rate(tmp_path, rate):
    one = _book(tmp_path, rate=f"# rate: EUR {rate!r} 2026-11-01\n", price="2", currency="EUR")
    assert one.prices["module"].price == pytest.approx(2.0 * rate, rel=1e-12)


@pytest.mark.parametrize("rate", ["EUR", "EUR 0 2026-11-01", "EUR x 2026-11-01", "EUR 1 2026-13-01",
                                  "EUR 1 2026-11-01\n# rate: EUR 2 2026-11-01"])  # fmt: skip
def test_a_bad_rate_is_named(tmp_path, rate):
    with pytest.raises(InputError, match=r"book\.csv: rates"):
        _book(tmp_path, rate=f"# rate: {rate}\n")


# --- age


@given(books(), some.integers(-400, 900))
@FEW
def test_prices_are_out_of_date_exactly_after_their_last_day(tmp_path, book, later):
    rows, heading, _ = book
    prices = write_book(tmp_path, *book)["toml"]
    day, offer = date(2026, 6, 1) + timedelta(days=later), offer_with(prices)
    last = {row["item"]: date.fromisoformat(row.get("date", heading["date"])) + timedelta(
        days=row.get("valid_days", heading["valid_days"])) for row in rows}  # fmt: skip
    own = set(offer.rows) - set(offer.invented_rows)
    old = old_prices(offer, prices, day)
    assert set(old) == {row for row in own if last[row] < day}
    dated = [one for one in price_checks(offer, prices, day) if one.item == "Validity of prices"]
    assert bool(dated) == bool(own)
    for check in dated:
        assert check.outcome == ("review" if old else "passed")
        assert not old or offer.share_words(old) in check.found
    for check in price_checks(offer, prices, None):
        assert check.outcome == "not assessed"


def test_prices_without_a_date_are_to_be_looked_at(tmp_path):
    prices = _book(tmp_path, rate="# rate: USD 600 2026-11-01\n")
    check = price_checks(offer_with(prices), prices, date(2026, 11, 2))[0]
    assert (check.item, check.outcome) == ("Validity of prices", "review")
    assert "1 of 1 without a date" in check.found


def test_an_invented_list_has_no_age():
    assert price_checks(offer_with(INVENTED), INVENTED, date(2030, 1, 1)) == []


def test_the_day_of_a_quote_is_that_of_its_issue_or_of_the_revision():
    assert quote_day(Status()) is None
    status = Status(revision="B", date="2026-03-01")
    assert quote_day(status) == date(2026, 3, 1)
    rows = [{"document": "QU", "revision": revision, "date": day, "to": "A"}
            for revision, day in (("A", "2026-05-05"), ("B", "2026-04-04"))]  # fmt: skip
    assert quote_day(Status.model_validate({**status.model_dump(), "issued": rows})) == (
        date(2026, 4, 4))  # fmt: skip


# --- faults of a spreadsheet name the cell


def _sheet(folder: Path, *rows: list[Any]) -> None:
    book = Workbook()
    for row in (["# currency: USD"], ["item", "unit", "price", "date"], *rows):
        book.active.append(row)
    book.save(folder / "book.xlsx")


@pytest.mark.parametrize(
    ("row", "where", "given_"),
    [
        (["module", "W", "a lot"], "cell C3 (module)", "a lot"),
        (["module", "W", -1], "cell C3 (module)", "price -1"),
        (["module", "W", "=1/3"], "cell C3 (module)", "=1/3"),
        (["Module!", "W", 1], "cell A3 (Module!)", "Module!"),
        (["module", "W", 1, "soon"], "cell D3 (module)", "soon"),
        (["module", "kg", 1], "row 3 (module)", "kg"),
    ],
)  # fmt: skip
def test_a_bad_cell_is_named(tmp_path, row, where, given_):
    _sheet(tmp_path, row)
    with pytest.raises(InputError) as error:
        read_price_list("book.xlsx", tmp_path)
    (fault,) = error.value.faults
    assert fault.where == f"book.xlsx: {where}"
    assert given_ in fault.given


@pytest.mark.parametrize("column", COLUMNS)
@pytest.mark.parametrize("ending", ["csv", "toml"])
def test_a_bad_value_says_its_column_where_there_is_no_cell_to_name(tmp_path, column, ending):
    bad = {"item": "Module!", "unit": "\u200e\x7f", "price": "-1", "currency": "x" * 21,
           "date": "2026-13-01", "valid_days": "0"}  # fmt: skip
    row = dict(zip(COLUMNS, ("module", "W", "5", "EUR", "2026-01-02", "9"), strict=True))
    row[column] = bad[column]
    if ending == "csv":
        text = f"# currency: EUR\n{','.join(row)}\n{','.join(row.values())}\n"
    else:
        text = 'currency = "EUR"\n[[prices]]\n' + "".join(
            f"{name} = {value if name in ('price', 'valid_days') else json.dumps(value)}\n"
            for name, value in row.items())
    (tmp_path / f"book.{ending}").write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as error:
        read_price_list(f"book.{ending}", tmp_path)
    (fault,) = error.value.faults
    assert fault.given.startswith(f"{column} ")
    assert fault.where.startswith(f"book.{ending}: ")


def test_days_of_a_spreadsheet_and_rows_still_to_fill(tmp_path):
    _sheet(tmp_path, ["module", "W", 0.25, date(2026, 11, 3)], ["battery", "kWh", None], [None])
    prices = read_price_list("book.xlsx", tmp_path)
    assert prices.prices["module"].valid_to == date(2026, 11, 3) + timedelta(days=90)
    assert "battery" in prices.filled


def test_what_is_no_spreadsheet_is_said(tmp_path):
    (tmp_path / "book.xlsx").write_bytes(b"PK not a sheet")
    with pytest.raises(InputError, match="save it again"):
        read_price_list("book.xlsx", tmp_path)


def test_a_spreadsheet_that_would_fill_the_memory_is_not_opened(tmp_path):
    with zipfile.ZipFile(tmp_path / "book.xlsx", "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/workbook.xml", b"0" * 61_000_000)
    with pytest.raises(InputError, match="60 MB once unpacked"):
        read_price_list("book.xlsx", tmp_path)


# --- on the papers of a site


@pytest.fixture(scope="module")
def part_priced(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("part")
    (folder / "part.csv").write_text(
        "# currency: USD\n# date: 2026-11-01\n# valid_days: 30\n# rate: EUR 1.1 2026-11-01\n"
        "item,unit,price,currency\nmodule,W,0.31,\nbattery,kWh,200,EUR\nlabour/electrician,h,11,\n",
        encoding="utf-8",
    )
    return {"quote": {"price_list": str(folder / "part.csv")}}


def test_a_design_with_part_of_its_prices_is_an_example_and_says_how_much(part_priced):
    design = open_design("ridge-clinic", part_priced)
    offer = design.offer
    assert "prices" in design.example_of
    assert {"module", "battery", "labour/electrician"}.isdisjoint(offer.invented_rows)
    checks = {one.item: one for one in design.all_checks}
    assert f"{len(offer.invented_rows)} of {offer.row_count} rows" in checks["Prices"].found
    late = design.changed({"status": {"date": "2026-12-24", "issued": []}})
    found = {one.item: one for one in late.all_checks}
    assert found["Validity of prices"].outcome == "review"
    assert found["Rate of exchange, EUR"].outcome == "review"
    assert late.fingerprint == design.fingerprint


def test_the_command_writes_the_list_to_fill_and_writes_over_nothing(tmp_path, capsys):
    path = tmp_path / "fill.xlsx"
    main(["check", "ridge-clinic", "--prices-to-fill", str(path)])
    said = capsys.readouterr()
    assert f"wrote {path}" in said.out
    assert "then name it in quote.price_list" in said.out
    assert "invented, 100 % of the price" in said.out
    before = path.read_bytes()
    main(["check", "ridge-clinic", "--prices-to-fill", str(path)])
    assert "exists already" in capsys.readouterr().err
    assert path.read_bytes() == before


def test_what_a_firms_own_list_lacks_is_copied_into_it(tmp_path, capsys):
    """Named in its place, the rows to fill would leave out the prices that the firm has."""
    text = demo_sites()["orchard-shop"].read_text(encoding="utf-8")
    site = tmp_path / "shop.toml"
    site.write_text(text.replace("[status]", '[quote]\nprice_list = "own.csv"\n\n[status]', 1),
                    encoding="utf-8")  # fmt: skip
    own = tmp_path / "own.csv"
    own.write_text("# currency: XOF\n# decimals: 0\n# rate: USD 610 2026-11-01\n"
                   "item,unit,price\nmodule,W,165\nlabour/electrician,h,4500\n", encoding="utf-8")
    main(["check", str(site), "--prices-to-fill", str(tmp_path / "fill.csv")])
    assert "prices to fill; then copy its rows into own.csv" in capsys.readouterr().out
    rows = (tmp_path / "fill.csv").read_text(encoding="utf-8-sig").splitlines()
    begin = next(n for n, row in enumerate(rows) if row.startswith("item,")) + 1
    with own.open("a", encoding="utf-8") as file:
        file.writelines(f"{row.split(',')[0]},{row.split(',')[1]},{1000 + n}\n"
                        for n, row in enumerate(rows[begin:]))
    assert open_design(str(site)).offer.invented_rows == ()


# --- labour by trade


def test_each_trade_of_the_list_is_paid_its_rate_and_what_it_lacks_as_before(tmp_path):
    """hand: the same rate under two names is the same price; more an hour is more by its hours."""
    def offer(**rates: float) -> Offer:
        lines = "".join(f"labour/{trade},h,{rate}\n" for trade, rate in rates.items())
        path = tmp_path / f"{'-'.join(map(str, rates.values()))}{len(rates)}.csv"
        path.write_text(f"# currency: USD\nitem,unit,price\n{lines}", encoding="utf-8")
        return open_design("ridge-clinic", {"quote": {"price_list": str(path)}}).offer

    plain = offer(installer=6.5, electrician=9.5)
    same = offer(installer=99.0, fitter=6.5, labourer=6.5, electrician=9.5)
    assert same.total == plain.total
    trades = {one.trade for one in same.labour}
    assert {"fitter", "labourer", "electrician"} <= trades
    assert "installer" not in trades
    dear = offer(installer=99.0, fitter=8.5, labourer=6.5, electrician=9.5)
    hours = sum(one.hours for one in same.labour if one.trade == "fitter")
    assert dear.labour_cost - same.labour_cost == pytest.approx(2.0 * hours, abs=0.05)
