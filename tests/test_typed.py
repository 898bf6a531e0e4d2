"""Numbers of files and of people: a decimal comma where it is one, thousands never guessed."""

from __future__ import annotations

import itertools
import re

import pandas as pd
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.typed import column_commas, metres_of, pointed, readings_of, typed_number
from solarcalc.cli import main
from solarcalc.followup.columns import numbers_of, text_table
from solarcalc.quote.price_file import read_rows
from solarcalc.sitefile.load_profile import read_profile_w
from solarcalc.sitefile.survey_fields import by_key, read_value
from solarcalc.sitefile.survey_lines import load_tables, read_load

TMP = settings(max_examples=40, deadline=None,
               suppress_health_check=[HealthCheck.function_scoped_fixture])  # fmt: skip
AMOUNTS = some.decimals(0, 199_999, places=2, allow_nan=False).map(str)
"""Figures with two decimals: nobody parts thousands so."""
THREES = some.integers(1, 499).flatmap(
    lambda whole: some.integers(0, 999).map(lambda rest: (f"{whole}", f"{rest:03d}")))  # fmt: skip
"""Figures before and behind a mark that may be that of thousands."""


def refuse(why: str, remedy: str) -> InputError:
    return InputError(Fault(where="x", given="y", allowed="z", why=why, remedy=remedy))


@given(AMOUNTS, some.sampled_from(";\t"))
def test_a_comma_is_the_decimal_mark_where_it_parts_no_cells(amount, mark):
    comma = amount.replace(".", ",")
    assert pointed(comma, mark) == amount
    assert typed_number(comma, refuse, mark=mark) == float(amount)
    assert pointed(comma, ",") == comma
    with pytest.raises(InputError):
        typed_number(comma, refuse)


@given(THREES)
def test_what_may_have_thousands_is_asked_about(parts):
    whole, rest = parts
    for mark, large in (("", False), (";", False), ("", True)):
        with pytest.raises(InputError) as asked:
            typed_number(f"{whole},{rest}", refuse, mark=mark, large=large)
        said = re.search(r"enter (\d+) or ([\d.]+)", str(asked.value))
        assert said
        for text, number in zip(said.groups(), (f"{whole}{rest}", f"{whole}.{rest}"), strict=True):
            assert typed_number(text, refuse, mark=mark, large=large) == float(number)
    for mark, large in ((";", False), ("", True)):
        with pytest.raises(InputError):
            typed_number(f"{whole}.{rest}", refuse, mark=mark, large=large)
    assert typed_number(f"{whole}.{rest}", refuse) == float(f"{whole}.{rest}")
    assert readings_of(f"0,{rest}") is None


@given(some.lists(AMOUNTS, min_size=1, max_size=20))
def test_a_column_shows_its_own_mark(amounts):
    commas = [amount.replace(".", ",") for amount in amounts]
    assert column_commas(commas) == (True, "")
    assert column_commas([*commas, "1,234"]) == (True, "")
    assert column_commas([*commas, "1.234"]) == (True, "1.234")
    assert column_commas(["1,234", "950"]) == (False, "1,234")


@TMP
@given(some.lists(AMOUNTS, min_size=24, max_size=24))
def test_profile_price_list_and_logger_read_both_ways_of_writing_alike(tmp_path, amounts):
    """The same table with commas and points, and with semicolons and decimal commas."""
    found = []
    for mark in ",;":
        said = [one if mark == "," else one.replace(".", ",") for one in amounts]
        (tmp_path / "p.csv").write_text(
            f"hour{mark}power_w\n" + "".join(f"{n}{mark}{one}\n" for n, one in enumerate(said)))
        (tmp_path / "b.csv").write_text(
            f"# currency: USD\nitem{mark}unit{mark}price\n"
            + "".join(f"cable-{n}{mark}m{mark}{one}\n" for n, one in enumerate(said)))
        table = text_table(
            f"t{mark}p\n" + "".join(f"2026-01-01 {n:02d}:00{mark}{one}\n"
                                    for n, one in enumerate(said)),
            {"time": "t", "array_power": "p"}, where="x", name="y")  # fmt: skip
        found.append((
            read_profile_w(tmp_path / "p.csv", where="x"),
            tuple(row.price for row in read_rows("b.csv", tmp_path).rows),
            tuple(numbers_of(table["array_power"], where="x")[0]),
        ))  # fmt: skip
    assert found[0] == found[1]
    assert found[0][0] == tuple(map(float, amounts))


@TMP
@given(THREES, some.sampled_from([",;", ".;", ".,"]))
@example(("12", "500"), ".;")
def test_a_price_that_may_have_thousands_is_refused_by_its_line(tmp_path, parts, marks):
    (before, behind), (decimal, mark) = parts, marks
    price = f"{before}{decimal}{behind}"
    (tmp_path / "b.csv").write_text(
        f"# currency: USD\nitem{mark}unit{mark}price\ncable-1{mark}m{mark}1\n"
        f"cable-2{mark}m{mark}{price}\n")  # fmt: skip
    with pytest.raises(InputError) as refused:
        read_rows("b.csv", tmp_path)
    (fault,) = refused.value.faults
    assert fault.where.startswith("b.csv: line 4")
    assert price in fault.given
    assert fault.remedy.startswith(f"enter {before}{behind} or {before}")


def test_a_currency_of_thousandths_has_three_decimals(tmp_path):
    """Where a comma parts the cells; behind semicolons a point may still part thousands."""
    for mark, fits in ((",", True), (";", False)):
        (tmp_path / "b.csv").write_text(
            f"# currency: KWD\n# decimals: 3\nitem{mark}unit{mark}price\n"
            f"cable-1{mark}m{mark}1.250\n")  # fmt: skip
        if fits:
            assert read_rows("b.csv", tmp_path).rows[0].price == 1.25
        else:
            with pytest.raises(InputError, match=r"1250 or 1\.25"):
                read_rows("b.csv", tmp_path)


def test_a_logger_with_thousands_is_asked_about_once():
    with pytest.raises(InputError, match=r"1234 or 1\.234"):
        numbers_of(pd.Series(["950", "1,234", "2,345"]), where="x")


@pytest.mark.parametrize("word", ["12.500", "9,000", "nan", "-1", "1e999", "", "x", "1_000", "inf"])
def test_a_budget_is_read_as_an_amount(capsys, word):
    assert main(["search", "orchard-shop", "--budget", word]) == 1
    told = capsys.readouterr().err
    assert "--budget" in told
    assert "allowed" in told
    assert "Traceback" not in told


@given(THREES)
def test_watts_of_a_survey_are_asked_about_and_metres_are_not(parts):
    text = ".".join(parts)
    assert read_value(by_key()["roof_to_room_m"], text, "x") == float(text)
    with pytest.raises(InputError, match=r"enter \d+ or "):
        read_value(by_key()["grid_w"], text, "x")


def test_a_list_is_read_alike_however_its_marks_are_mixed(tmp_path):
    """Each price by itself: a whole one, one with a point, one with a comma, one with a space."""
    ways = {"1200": 1200.0, "12.5": 12.5, "12,5": 12.5, "1 200": 1200.0, "1 200,5": 1200.5}
    for order in itertools.islice(itertools.permutations(ways), 0, 120, 17):
        (tmp_path / "b.csv").write_text("# currency: USD\nitem;unit;price\n" + "".join(
            f"cable-{n};m;{one}\n" for n, one in enumerate(order)))  # fmt: skip
        read = read_rows("b.csv", tmp_path)
        assert [row.price for row in read.rows] == [ways[one] for one in order]


@given(some.sampled_from(["Oven", "Oven 1", "Mill no. 2", "Pump 12"]), THREES, some.booleans())
def test_a_power_behind_a_name_is_never_a_thousandth(name, parts, kilo):
    """What may be 2500 or 2.5, 1500 or 500, is asked about; what is read is read again alike."""
    before, behind = parts
    for figure in (f"{before}.{behind}", behind, f"{before}{behind}"):
        line = f"{name} {figure} {'k' * kilo}W"
        last = name.rpartition(" ")[2]
        unsure = "." in figure or (last.isdecimal() and len(figure) == 3)
        if unsure and not kilo:
            with pytest.raises(ValueError, match=r"may mean \d+ W or [\d.]+ W: enter"):
                read_load(line)
            continue
        read = read_load(line)
        assert read_load(read) == read
        (row,) = load_tables([read])["essential"]
        assert row["power_w"] == pytest.approx(float(figure) * (1000.0 if kilo else 1.0))
        assert row["name"] == name


@pytest.mark.parametrize("space", ["\N{NO-BREAK SPACE}", "\N{NARROW NO-BREAK SPACE}"])
def test_a_space_of_a_spreadsheet_parts_thousands_of_watts(space):
    assert read_load(f"Oven 1{space}500 W") == read_load("Oven 1500 W")


@given(some.integers(0, 200), some.integers(0, 11), some.sampled_from(["'", "′", " ft", " feet"]),
       some.sampled_from(['"', "″", " in", ""]))
def test_feet_and_inches_are_told_in_metres_and_never_taken_as_metres(feet, inches, foot, inch):
    """A foot is 0.3048 m and an inch a twelfth of it, exactly (NIST SP 811, from memory)."""
    text = f"{feet}{foot} {inches}{inch}"
    assert metres_of(text) == pytest.approx((12 * feet + inches) * 0.0254, abs=1e-6)
    with pytest.raises(InputError) as caught:
        read_value(by_key()["roof_length_m"], text, "x")
    assert f"{metres_of(text):.4g}" in caught.value.faults[0].remedy
    assert metres_of(f"{feet}") is None
