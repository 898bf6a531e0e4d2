"""Reading a filled-in sheet: every fault of the file named, the file never changed; the blank."""

from __future__ import annotations

import contextlib
import csv
import io
import re
import runpy
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder, demo_sites
from solarcalc.basis.messages import languages
from solarcalc.basis.phrases import listed, phrase, plain, untranslated
from solarcalc.commissioning.facts import facts_of
from solarcalc.commissioning.judge import commissioning_answer, judge
from solarcalc.commissioning.line import LETTERS, at_most, numbered
from solarcalc.commissioning.results import COLUMNS, Result, blank_csv, read_results, rows_read
from solarcalc.commissioning.sheet import SAFETY, sheet_of
from solarcalc.design import open_design
from solarcalc.views.commissioning import blank_bytes, sheet_of_site

CASES = runpy.run_path(str(Path(__file__).with_name("commissioning_cases.py")))
facts_with, clean_sheet, site_called = (
    CASES["facts_with"], CASES["clean_sheet"], CASES["site_called"]
)  # fmt: skip
SITES = ("ridge-clinic", "coral-pharmacy", "cove-cannery", "orchard-shop", "plateau-school")
FACTS = facts_with()
LINES = sheet_of(FACTS)
HEAD = "id,value,unit,irradiance_w_m2,cell_c,note,who,when\n"
VOLT = "V01,140.1,V,800,40,,A,2027-03-20\n"


def put(folder: Path, text: str | bytes, name: str = "tests.csv") -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return path


def faults(folder: Path, text: str | bytes) -> str:
    path = put(folder, text)
    before = path.read_bytes()
    with pytest.raises(InputError) as error:
        read_results(path, LINES)
    assert path.read_bytes() == before
    return str(error.value)


@pytest.mark.parametrize(("row", "where", "given_", "allowed", "remedy"), [
    ("V01,140.1 V,V,800,40,,,\n", "V01 value", "140.1 V", "a number, such as 12.5", "number alone"),
    ("V01,about 140,V,800,40,,,\n", "V01 value", "about 140", "a number, such as 12.5", ""),
    ('V01,"140,1",V,800,40,,,\n', "V01 value", "140,1", "a number", "a point in place"),
    ("V01,nan,V,800,40,,,\n", "V01 value", "nan", "a number", ""),
    ("V01,1e400,V,800,40,,,\n", "V01 value", "1e400", "a number", ""),
    ("V01,>140,V,800,40,,,\n", "V01 value", ">140", "a number", ""),
    ("R01,OL,MΩ,,,,,\n", "R01 value", "OL", "a number", "such as >999"),
    *((f"{line.id},-{value},{line.unit},,,,,\n", f"{line.id} value", f"-{value}", "0 or more",
       "zero the leads") for line in LINES if line.kind == "reading" for value in ("0.02", "12")),
    ("P01,ok,yes/no,,,,,\n", "P01 value", "ok", "yes or no", "write the word"),
    ("P01,✓,yes/no,,,,,\n", "P01 value", "✓", "yes or no", "write the word"),
    ("P01,n/a,yes/no,,,,,\n", "P01 value", "n/a", "yes or no", "leave the value empty"),
    ("R01,n/a,MΩ,,,,,\n", "R01 value", "n/a", "a number", "leave the value empty"),
    ("R01,∞,MΩ,,,,,\n", "R01 value", "∞", "a number", "such as >999"),
    ("R01,<0.1,MΩ,,,,,\n", "R01 value", "<0.1", "a number", "that the instrument shows"),
    ("R01,1 000,MΩ,,,,,\n", "R01 value", "1 000", "a number", "1000, no mark"),
    ("R01,5-6,MΩ,,,,,\n", "R01 value", "5-6", "a number", "one number in figures"),
    ("R01,5,,,,,,\n", "R01 unit", "nothing", "MΩ", "write MΩ beside it"),
    ("R01,5,MΩ,,,,,14/03/2027\n", "R01 when", "14/03/2027", "2027-03-14", "write 2027-03-14;"),
    ("V01,140.1,mV,800,40,,,\n", "V01 unit", "mV", "V", "work the value out in V"),
    ("V01,140.1,,800,40,,,\n", "V01 unit", "nothing", "V", ""),
    ("R01,5,kΩ,,,,,\n", "R01 unit", "kΩ", "MΩ", ""),
    ("R01,5,mΩ,,,,,\n", "R01 unit", "mΩ", "MΩ", ""),
    ("R01,5,mohm,,,,,\n", "R01 unit", "mohm", "MΩ", ""),
    ("I01,9.1,A,,40,,,\n", "I01 irradiance_w_m2", "nothing", "1 to 1500 W/m2", "measure again"),
    ("I01,9.1,A,-,-,,,\n", "I01 cell_c", "nothing", "-40 to 110 degC", "measure again"),
    ("V01,140.1,V,,40,,,\n", "V01 irradiance_w_m2", "nothing", "1 to 1500", "not done"),
    ("V01,140.1,V,0.8,40,,,\n", "V01 irradiance_w_m2", "0.8", "1 to 1500 W/m2", ""),
    ("V01,140.1,V,800,140,,,\n", "V01 cell_c", "140", "-40 to 110 degC", ""),
    ("V01,140.1,V,sunny,40,,,\n", "V01 irradiance_w_m2", "sunny", "a number", ""),
    ("V99,140.1,V,800,40,,,\n", "id", "V99", "an id of this site's sheet, V01 to V06", ""),
    ("V011,140.1,V,800,40,,,\n", "id", "V011", "V01 to V06", "did you mean V01"),
    ("string1,140.1,V,800,40,,,\n", "id", "string1", "an id of this site's sheet", "blank sheet"),
    (",140.1,V,800,40,,,\n", "id", "nothing", "an id of this site's sheet", ""),
    ("V01,140.1,V,800,40,,,20 March\n", "V01 when", "20 March", "2027-03-14", ""),
    ("V01,140,1,V,800,40,,,\n", "V01 unit", "1", "V", "a comma inside the number parted it"),
    ("V01,140.1,V,800,40,wet, windy,A,2027-03-20\n", "line 2", "more cells: 2027-03-20", "8 cells",
     "quotes around a note"),
])  # fmt: skip
def test_a_bad_row_is_named(tmp_path, row, where, given_, allowed, remedy):
    text = faults(tmp_path, HEAD + row)
    assert text.startswith("tests.csv: line 2")
    for part in (where, given_, allowed, remedy):
        assert part in text


def test_all_faults_are_told_at_once(tmp_path):
    rows = "V01,x,mV,800,,,,\n" + VOLT + "V03,140,V,800,40,,,\nQ,1,V,,,,,\n"
    text = faults(tmp_path, HEAD + rows)
    for part in ("V01 value", "V01 unit", "V01 cell_c", "V01, as line 2 already", "given:   Q"):
        assert part in text


def test_a_test_twice_is_refused_even_where_one_is_empty(tmp_path):
    assert "line 3: id" in faults(tmp_path, HEAD + "V01,,V,,,,,\n" + VOLT)


@given(some.data())
@settings(deadline=None, max_examples=30)
def test_rows_without_a_fault_are_read_beside_any_that_have_one(data):
    """Each row of a sound sheet is left, emptied of its unit, given twice or of another id."""
    sound = {line.id: f"{line.id},{'yes' if line.unit == 'yes/no' else 5},{line.unit},800,40,,,"
             for line in LINES}
    kept, rows = set(), [HEAD.strip()]
    for name, row in sound.items():
        what = data.draw(some.sampled_from(["keep", "unit", "twice", "id"]))
        kept |= {name} if what == "keep" else set()
        rows += {"keep": [row], "unit": [row.replace(",800", "x,800")], "twice": [row, row],
                 "id": [f"Z{row}"]}[what]
    with TemporaryDirectory() as folder:
        found, told = rows_read(put(Path(folder), "\n".join(rows) + "\n"), LINES)
    assert set(found) == kept
    assert len(told) == len(sound) - len(kept)


@pytest.mark.parametrize(("text", "part"), [
    ("", "an empty file"),
    ("\n\n# words\n", "an empty file"),
    ("id,value\nV01,1\n", "no column unit"),
    (HEAD.replace("value", "valeu"), "did you mean value?"),
    (HEAD.replace("note", "id"), "column id twice"),
    (b"id,value,unit\nV01,\xff\xfe,V\n", "no UTF-8 text"),
    (b"PK\x03\x04\x00\x00", "no UTF-8 text"),
    (HEAD + 'V01,"140,V,800,40,,,\n', "no CSV"),
    (HEAD + "#" + "x" * 5_000_001, "more than 5 MB"),
])  # fmt: skip
def test_a_bad_file_is_named(tmp_path, text, part):
    assert part in faults(tmp_path, text)


def test_a_missing_file_and_a_folder(tmp_path):
    for path in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(InputError, match="a CSV file that can be read"):
            read_results(path, LINES)


def test_what_is_read(tmp_path):
    text = (
        "# INVENTED\n" + HEAD + VOLT + "r01,> 999,Mohm,,,dry,B,2027-03-20 11:20\n"
        "P01,Yes,yes/no,,,,,\nP02,NO,yes/no,,,,,\nE01,12.5,ohm,,,,,\nV02,,V,,,,,\nV03,-140,V,800,40,,,\n"
    )  # fmt: skip
    read = read_results(put(tmp_path, text), LINES)
    assert list(read) == ["V01", "R01", "P01", "P02", "E01", "V03"]
    first = read["V01"]
    assert (first.value, first.light_w_m2, first.cell_c, first.row) == (140.1, 800.0, 40.0, 3)
    assert (read["R01"].value, read["R01"].beyond, read["R01"].note) == (999.0, True, "dry")
    assert (read["P01"].value, read["P02"].value, read["V03"].value) == (True, False, -140.0)
    assert read["V01"].beyond is False


def test_semicolons_and_a_byte_order_mark(tmp_path):
    text = "\ufeff" + (HEAD + VOLT).replace(",", ";")
    assert read_results(put(tmp_path, text), LINES)["V01"].value == 140.1
    row = "V01;140,1;V;800,5;40;;;\n"
    found = read_results(put(tmp_path, HEAD.replace(",", ";") + row), LINES)["V01"]
    assert (found.value, found.light_w_m2) == (140.1, 800.5)
    row = "V01;140,125;V;800;40;;;\n"
    assert "write 140125 or 140.1250" in faults(tmp_path, HEAD.replace(",", ";") + row)


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture],
          deadline=None)
@given(some.one_of(some.binary(max_size=200), some.text(max_size=200).map(
    lambda tail: (HEAD + tail).encode("utf-8", "replace"))))
def test_any_bytes_are_read_or_refused_in_words(tmp_path, content):
    path = put(tmp_path, content)
    with contextlib.suppress(InputError):  # any other exception fails the test
        assert set(read_results(path, LINES)) <= {line.id for line in LINES}
    assert path.read_bytes() == content


@pytest.mark.parametrize("stem", SITES)
def test_the_sheet_of_each_site(stem):
    site = site_called(stem)
    lines = sheet_of(facts_of(site))
    ids = [line.id for line in lines]
    assert len(set(ids)) == len(ids)
    letters = [name[0] for name in ids]
    assert letters == sorted(letters, key=list(LETTERS.values()).index)
    assert set(letters) == set(LETTERS.values())
    strings = site.array.module_count // site.array.modules_in_series
    for key in ("polarity", "voltage", "current"):
        assert sum(line.key == key for line in lines) == strings
    units = site.battery.units_in_series * site.battery.units_in_parallel
    assert sum(line.key == "unit" for line in lines) == units
    for line in lines:
        assert line.what
        assert line.where
        assert line.instrument
        assert line.how
        assert line.expected
        assert line.clause
        assert line.remedy
        assert line.caution or line.category in ("labels and fixings", "battery", "functions")


def test_what_is_not_there_is_not_tested():
    alone = {line.what for line in LINES}
    site = site_called("ridge-clinic")
    both = site.model_copy(update={
        "grid": site.grid.model_copy(update={"kind": "always"}),
        "generator": site.generator.model_copy(update={"power_w": 3000.0}),
    })  # fmt: skip
    more = {line.what for line in sheet_of(facts_of(both))} - alone
    assert {word.split(":")[0] for word in more} == {
        "grid lost", "grid back", "carbon monoxide alarm sounds",
        "generator starts automatically, takes the load, stops",
        "changeover cannot connect two sources together, in any position",
        "insulation resistance of the incoming cable, all conductors to earth",
        "trip time of the delayed residual current device at 100 mA",
        "neutral to earth, supplied by the grid", "neutral to earth, supplied by the generator",
        "neutral to earth, supplied by the inverter only",
    }  # fmt: skip
    # hand: a breaker that is open leaves the grid's side live, and back-feed is sought on ours
    (lost,) = [line for line in sheet_of(facts_of(both)) if line.key == "grid-lost"]
    assert "grid side stays live" in lost.how
    assert "terminals on our side, line to neutral and each to earth: 0 V" in lost.how
    floating = site.model_copy(update={
        "protection": site.protection.model_copy(
            update={"neutral_earth_bond": "nowhere", "system": "IT"}),
    })  # fmt: skip
    keys = {line.key for line in sheet_of(facts_of(floating))}
    assert "trip-time" not in keys
    assert "neutral" in keys


@pytest.mark.parametrize("own", [1, 2, 3])
@pytest.mark.parametrize("supply", [1, 2, 3])
def test_every_line_of_a_board_is_measured_and_their_order(supply, own):
    if own not in (1, supply):
        return  # no such site: a board has one phase or those of its supply
    site = site_called("ridge-clinic")
    facts = facts_of(site.model_copy(update={"loads": site.loads.model_copy(update={
        "phases": supply, "essential_phases": own, "nonessential_phases": supply})}))
    lines = sheet_of(facts)
    for board, phases in (("essential", own), ("nonessential", supply)):
        of_board = [line for line in lines if line.where.startswith(f"{board} board")]
        volts = [line for line in of_board if line.key == "board-voltage"]
        between = [line for line in of_board if line.key == "line-voltage"]
        assert len({line.where for line in volts}) == phases
        assert len(between) == {1: 0, 2: 1, 3: 3}[phases]
        assert sum(line.key == "phase-sequence" for line in of_board) == (phases == 3)
        for line in between:  # 230 V lines: 180° apart on two phases, 120° on three
            apart = abs(1.0 - np.exp(1j * {2: np.pi, 3: 2.0 * np.pi / 3.0}[phases]))
            middle = (line.low + line.high) / 2.0  # of limits to a whole volt
            assert middle == pytest.approx(230.0 * apart, abs=0.5)
            assert line.high < 1.25 * line.low
        same = [0.0 for _ in between]  # inverters set to one phase
        assert all(value < line.low for value, line in zip(same, between, strict=True))


def test_separate_banks_are_tested_each():
    site = site_called("coral-pharmacy")
    parted = site.model_copy(update={
        "supply": site.supply.model_copy(update={
            "layout": "separate-banks", "essential_bank_frac": 2.0 / 3.0}),
    })  # fmt: skip
    names = [line.where for line in sheet_of(facts_of(parted)) if line.key == "links"]
    assert names == ["essential bank, string 1", "essential bank, string 2",
                     "nonessential bank, string 1"]


def test_strings_are_spread_over_the_controllers():
    site = site_called("ridge-clinic")
    odd = site.model_copy(update={
        "controller": site.controller.model_copy(update={"count": 4}),
    })  # fmt: skip
    facts = facts_of(odd)
    assert [string.controller for string in facts.strings] == [1, 1, 2, 2, 3, 4]
    lines = sheet_of(facts)
    assert sum(line.key == "array-insulation" for line in lines) == 8


def test_limits_that_other_stages_know_better():
    site = site_called("ridge-clinic")
    assert facts_of(site).electrode_limit_ohm == 200.0  # BS 7671, note on table 41.5
    aimed = site.model_copy(update={
        "earthing": site.earthing.model_copy(update={"target_ohm": 30.0})})
    assert facts_of(aimed).electrode_limit_ohm == 30.0


def test_the_safety_text_says_what_kills_and_who_may():
    words = " ".join(SAFETY)
    for part in ("Two people", "live in any light", "locked", "proved dead", "rated for",
                 "licensed people", "Local codes"):
        assert part in words
    assert "Local codes" in SAFETY[-1]


def test_the_blank_sheet_comes_back_as_not_done(tmp_path):
    path = tmp_path / "blank.csv"
    head = ["Ridge Road Clinic, INVENTED", 'two\nlines and a "quote"']
    path.write_bytes(blank_csv(LINES, head=head).encode("utf-8-sig"))
    assert read_results(path, LINES) == {}
    text = path.read_text(encoding="utf-8-sig")
    assert text.startswith("# Ridge Road Clinic, INVENTED\n# two lines and a 'quote'\n")
    rows = list(csv.reader(io.StringIO(text)))[2:]
    assert tuple(rows[0]) == COLUMNS
    assert [row[0] for row in rows[1:]] == [line.id for line in LINES]
    filled = text.replace("alike\",,V,,,", "alike\",140,V,800,40,", 1)
    assert list(read_results(put(tmp_path, filled), LINES)) == ["V01"]


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("name", sorted(demo_sites()))
def test_a_sheet_in_the_crews_language_is_read_back_in_any(language, name, tmp_path):
    """Texts in their language and none in English; columns keep the names they are read by."""
    design = open_design(name).changed({"firm": {"crew_language": language}})
    lines = sheet_of_site(design)[1]
    text = blank_bytes(design, lines).decode("utf-8-sig")
    rows = list(csv.DictReader(text.splitlines()[2:]))
    assert tuple(rows[0]) == COLUMNS
    own = {plane.site.roof.name for plane in design.planes}
    for row, line in zip(rows, lines, strict=True):
        for key, said in (("what", line.what), ("where", line.where), ("expected", line.expected)):
            assert set(untranslated(plain(said), language)) <= own
            assert row[key].removeprefix("'") == listed(said, language)
    for answer, means in (("yes", True), ("no", False)):
        for told in languages():
            filled = [row | {"value": phrase(answer, told).upper()} for row in rows
                      if row["unit"] == phrase("yes/no", language)]
            assert filled
            path = tmp_path / f"{answer}-{told}.csv"
            with path.open("w", newline="", encoding="utf-8-sig") as file:
                writer = csv.DictWriter(file, COLUMNS)
                writer.writeheader()
                writer.writerows(filled)
            found = read_results(path, lines)
            assert {one.value for one in found.values()} == {means}
            assert len(found) == len(filled)


@pytest.mark.parametrize("name", sorted(demo_sites()))
def test_a_reading_at_the_printed_limit_has_passed(name):
    """What the sheet prints is what is judged: no line fails with its own limit beside it."""
    design = open_design(name)
    facts, lines = sheet_of_site(design)
    seen = set()
    for line in lines:
        printed = {float(one) for one in re.findall(r"\d+(?:\.\d+)?", line.expected)}
        limits = {one for one in (line.low, line.high) if one is not None}
        if line.assumed and line.assumed < (line.high or 0.0):
            limits.add(line.assumed)
        assert limits <= printed, line.expected
        if line.kind == "reading" and line.key not in ("trip-time", "trip-current"):
            for limit in {line.low, line.high} - {None}:
                result = Result(id=line.id, value=limit, beyond=False, light_w_m2=None, cell_c=None,
                                note="", who="A", when="2027-03-09", row=1)
                (found,) = judge([line], {line.id: result}, facts).lines
                assert found.standing != "fail", (found.found, found.limit)
                seen.add(line.key)
    assert {"continuity", "set-point", "board-voltage"} <= seen


@given(some.floats(0.002, 5000.0))
def test_a_limit_is_judged_as_it_is_printed(limit):
    line = replace(LINES[0], kind="reading", unit="Ω", expected=at_most(limit, "Ω"), high=limit)
    (made,) = numbered([line])
    assert at_most(made.high, "Ω") == line.expected
    assert made.high == pytest.approx(limit, rel=0.0051)
    assert float(re.search(r"[\d.]+", line.expected)[0]) == made.high


def test_no_cell_of_the_blank_is_a_formula():
    facts = facts_of(site_called("ridge-clinic"), bonds=[
        CASES["facts_of"].__globals__["Bond"](
            name="=cmd()", start="+a", end="b", size_mm2=6.0, length_m=5.0)])  # fmt: skip
    rows = csv.reader(io.StringIO(blank_csv(sheet_of(facts))))
    cells = [cell for row in rows for cell in row]
    assert "'=cmd()" in cells
    assert not [cell for cell in cells if cell[:1] in "=+@" and cell]


def test_the_demo_sheet_is_invented_and_names_its_fault():
    path = data_folder() / "tests" / "ridge-clinic.csv"
    assert path.read_text(encoding="utf-8-sig").startswith("# INVENTED")
    this = open_design("ridge-clinic")
    facts, lines = sheet_of_site(this)
    report = judge(lines, read_results(path, lines), facts)
    assert [cause.key for cause in report.causes] == [
        "bypass-diode", "poor-bond", "short-delay", "short-delay", "electrode-assumed"]
    assert [each.line.id for each in report.standing("not done")] == ["F15"]
    assert commissioning_answer(report).startswith(
        f"{len(lines) - 1} of {len(lines)} tests done, 2 failed (C02, V02),"
        " 3 to review (E01, F04, F09). Not ready"
    )
