"""The price list: what is read, and that each fault names book, place, given and allowed."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder
from solarcalc.quote.answer import bill_rows, invented_words
from solarcalc.quote.bill import BillLine
from solarcalc.quote.offer import LabourHours, quote_of
from solarcalc.quote.prices import priced, rate_of, read_price_list
from solarcalc.sitefile.bill_items import CIVIL, GROUPS, ITEMS
from solarcalc.sitefile.quote import Quote

HEAD = 'currency = "USD"\n'
CSV_HEAD = "# name: Ours\n# currency: EUR\n# decimals: 0\nitem,unit,price\n"


def _toml(folder: Path, *rows: str, head: str = HEAD) -> Path:
    body = head + "prices = [\n" + "".join(f"  {{ {row} }},\n" for row in rows) + "]\n"
    (folder / "price_list.toml").write_text(body, encoding="utf-8")
    return folder


def _csv(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    (folder / "price_list.csv").write_bytes(text.encode(encoding))
    return folder


def _line(item: str = "module", key: str = "", quantity: float = 2.0, size: float = 400.0):
    kind = ITEMS[item]
    return BillLine(item=item, key=key or item, name=kind.name, quantity=quantity,
                    unit=kind.unit, group=kind.group, size=size)  # fmt: skip


def test_the_invented_book_has_a_price_for_all_a_bill_can_hold_and_says_what_it_is():
    price_list = read_price_list("invented", Path("."))
    assert price_list.invented
    assert set(ITEMS) <= set(price_list.prices)
    assert len(priced([_line(item) for item in ITEMS], price_list)) == len(ITEMS)
    assert set(price_list.rates) == {"electrician", "installer", "mason", "painter"}
    assert {kind.group for kind in ITEMS.values()} == set(GROUPS) - {CIVIL}
    text = Path(__file__).parents[1] / "data" / "prices" / "invented.toml"
    assert text.read_text(encoding="utf-8").startswith("# INVENTED")


def test_toml_and_csv_say_the_same(tmp_path):
    rows = [("module", "W", 0.25), ("labour/fitter", "h", 5.0)]
    _toml(tmp_path, *(f'item = "{i}", unit = "{u}", price = {p}' for i, u, p in rows))
    lines = "".join(f"{i},{u},{p}\n" for i, u, p in rows)
    _csv(tmp_path, "﻿# currency: USD\n\nItem,Unit,Price\n" + lines)
    first, second = (read_price_list(name, tmp_path)
                     for name in ("price_list.toml", "price_list.csv"))
    assert first.prices == second.prices
    assert first.rates == second.rates
    assert first.rates["fitter"] == 5.0
    assert "labour/fitter" not in first.invented_rows
    assert (first.decimals, first.invented, first.currency) == (2, False, "USD")


def test_a_csv_from_a_spreadsheet_with_semicolons_and_decimal_commas(tmp_path):
    _csv(tmp_path, "# currency: EUR;;\n# decimals: 0;;\nitem;unit;price;\nmodule;W;0,25;\n;;;\n")
    price_list = read_price_list("price_list.csv", tmp_path)
    assert price_list.prices["module"].price == 0.25
    assert (price_list.currency, price_list.decimals) == ("EUR", 0)


def test_the_very_thing_goes_before_its_kind_and_sizes_multiply(tmp_path):
    _toml(tmp_path, 'item = "module", unit = "W", price = 0.25',
          'item = "cable-copper", unit = "m mm2", price = 0.1',
          'item = "cable-copper-16mm2", unit = "m", price = 2.2')  # fmt: skip
    price_list = read_price_list("price_list.toml", tmp_path)
    bill = [_line(), _line("cable-copper", "cable-copper-16mm2", size=16.0),
            _line("cable-copper", "cable-copper-25mm2", size=25.0)]  # fmt: skip
    assert priced(bill, price_list) == pytest.approx((100.0, 2.2, 2.5))


def test_every_missing_item_is_named_with_the_book_and_what_is_near(tmp_path):
    _toml(tmp_path, 'item = "modul", unit = "W", price = 0.25', head='currency = "XOF"\n')
    price_list = read_price_list("price_list.toml", tmp_path)
    with pytest.raises(InputError) as error:
        priced([_line(), _line("lug", size=16.0)], price_list)
    first, second = error.value.faults
    assert first.where == "price_list.toml: module"
    assert "did you mean it by 'modul'" in first.remedy
    assert "W" in first.allowed
    assert "2 of: Module" in first.why
    assert "a rate for USD" in first.remedy
    assert second.where == "price_list.toml: lug"


FAULTS = [
    ('item = "module", unit = "kg", price = 1.0', "unit 'kg'", "each or W"),
    ('item = "module", unit = "W", price = -0.1', "price -0.1", "from 0 to 1e+12"),
    ('item = "module", unit = "W", price = nan', "price nan", "from 0 to 1e+12"),
    ('item = "module", unit = "W", price = 1e300', "price 1e+300", "from 0 to 1e+12"),
    ('item = "module", unit = "W", price = "0.3 USD"', "'0.3 USD'", "a number"),
    ('item = "module", unit = "W", price = true', "true", "a number"),
    ('item = "Module!", unit = "W", price = 1.0', "Module!", "small letters"),
    ('item = "module", unit = "W"', "'item', 'unit'", "item, unit and price"),
    ('item = "labour/fitter", unit = "day", price = 1.0', "unit 'day'", "h"),
    ('item = "hours/module/fitter", unit = "h per each", price = 1.0', "hours/module/fitter",
     "labour/TRADE per hour"),
]  # fmt: skip


@pytest.mark.parametrize(("row", "given", "allowed"), FAULTS)
def test_a_bad_row_is_named(tmp_path, row, given, allowed):
    _toml(tmp_path, row)
    with pytest.raises(InputError) as error:
        read_price_list("price_list.toml", tmp_path)
    (fault,) = error.value.faults
    assert fault.where.startswith("price_list.toml: row 1")
    assert given in fault.given
    assert allowed in fault.allowed


def test_all_faults_come_at_once_and_an_item_twice_says_where(tmp_path):
    _toml(tmp_path, 'item = "lug", unit = "mm2", price = 0.1',
          'item = "door", unit = "m", price = 1',
          'item = "lug", unit = "each", price = 1.0')  # fmt: skip
    with pytest.raises(InputError) as error:
        read_price_list("price_list.toml", tmp_path)
    texts = [str(fault) for fault in error.value.faults]
    assert len(texts) == 2
    assert "row 3 (lug)" in texts[0]
    assert "row 1 (lug)" in texts[0]
    assert "row 2 (door)" in texts[1]


@pytest.mark.parametrize(
    ("text", "match"),
    [
        (CSV_HEAD + "module,W,0.3 USD\n", r"line 5 \(module\)[\s\S]*text where a number"),
        (CSV_HEAD + "module,W\n", "line 5[\\s\\S]*item, unit and price"),
        (CSV_HEAD + "module,W,1\nmodule,W,2\n", "a second time"),
        (CSV_HEAD + "module,W,1e400\n", "price inf"),
        (CSV_HEAD, "no rows"),
        ("", "heads of the columns"),
        ("a,b,c\nmodule,W,1\n", "heads of the columns"),
        ("item,unit,price\nmodule,W,1\n", "currency"),
        (CSV_HEAD.replace("0", "7") + "module,W,1\n", "decimals"),
    ],
)  # fmt: skip
def test_a_bad_csv_is_named(tmp_path, text, match):
    _csv(tmp_path, text)
    with pytest.raises(InputError, match=match):
        read_price_list("price_list.csv", tmp_path)


def test_files_that_are_no_book(tmp_path):
    with pytest.raises(InputError, match="which is no file"):
        read_price_list("gone.csv", tmp_path)
    with pytest.raises(InputError, match="did you mean invented"):
        read_price_list("invented-prices", tmp_path)
    _csv(tmp_path, CSV_HEAD + "module,W,1\n# é\n", encoding="latin-1")
    with pytest.raises(InputError, match="UTF-8"):
        read_price_list("price_list.csv", tmp_path)
    (tmp_path / "twice.toml").write_text(HEAD + HEAD, encoding="utf-8")
    with pytest.raises(InputError, match="line 2"):
        read_price_list("twice.toml", tmp_path)
    (tmp_path / "odd.toml").write_text(HEAD + "price = []\nprices = 3\n", encoding="utf-8")
    with pytest.raises(InputError, match="did you mean prices") as error:
        read_price_list("odd.toml", tmp_path)
    assert len(error.value.faults) == 2


def test_a_book_is_never_altered(tmp_path):
    _toml(tmp_path, 'item = "module", unit = "W", price = 0.25')
    before = (tmp_path / "price_list.toml").read_bytes()
    read_price_list("price_list.toml", tmp_path)
    assert (tmp_path / "price_list.toml").read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["price_list.toml"]


def test_a_trade_without_a_rate():
    with pytest.raises(InputError, match="did you mean 'installer'"):
        rate_of("instaler", read_price_list("invented", Path(".")))


# --- rows that are still invented


def _copied(folder, changed, own=()):
    """The bundled list as a firm's own, with the prices of some rows changed."""
    text = (data_folder() / "prices" / "invented.toml").read_text(encoding="utf-8")
    text = text.replace("invented = true\n", f"own = {json.dumps(list(own))}\n", 1)
    rows = []
    for line in text.splitlines():
        item = line.partition('item = "')[2].partition('"')[0]
        rows.append(re.sub(r"price = ([\d.]+)", r"price = 9\1", line) if item in changed else line)
    (folder / "ours.toml").write_text("\n".join(rows), encoding="utf-8")
    return read_price_list("ours.toml", folder)


def test_a_row_that_nobody_priced_is_told_by_name(tmp_path):
    items = set(read_price_list("invented", Path()).invented_rows)
    assert "labour/installer" in items
    left = {"module", "label", "labour/installer"}
    found = _copied(tmp_path, items - left)
    assert not found.invented
    assert found.invented_rows == left
    assert _copied(tmp_path, items - left, own=["label"]).invented_rows == left - {"label"}
    assert _copied(tmp_path, items).invented_rows == frozenset()
    with pytest.raises(InputError, match=r"ours\.toml: own"):
        _copied(tmp_path, items, own=["moduel"])


@settings(deadline=None, max_examples=25,
          suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=some.data())
def test_an_offer_names_exactly_the_invented_rows_that_it_uses(tmp_path, data):
    items = sorted(read_price_list("invented", Path()).invented_rows)
    left = data.draw(some.sets(some.sampled_from(items)))
    bill = [BillLine(item=key, key=key, name=key, quantity=2.0, unit=ITEMS[key].unit,
                     group=ITEMS[key].group) for key in ("module", "rail", "label")]
    hours = [LabourHours(task="All", trade="installer", hours=3.0)]
    offer = quote_of(bill, _copied(tmp_path, set(items) - left), quote=Quote(), array_kwp=1.0,
                     labour_hours=hours)
    used = left & {"module", "rail", "label", "labour/installer"}
    assert set(offer.invented_rows) == used
    assert offer.invented == bool(used)
    marked = {row["price list item"] for row in bill_rows(offer)
              if row["price source"] == "INVENTED"}
    assert marked == used - {"labour/installer"}
    assert all(name in invented_words(offer) for name in used) or len(used) == 4
