"""One record through four forms is one site; what a spreadsheet may hold; nothing half-written."""

from __future__ import annotations

import io
import json
import runpy
import tempfile
import zipfile
from collections.abc import Callable
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some
from openpyxl import load_workbook

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import demo_sites
from solarcalc.cli import main
from solarcalc.sitefile.read import read_site, with_changes
from solarcalc.sitefile.survey import survey_of
from solarcalc.sitefile.survey_fields import by_key, fields
from solarcalc.sitefile.survey_text import short_text
from solarcalc.survey.known import known_answers
from solarcalc.survey.layout import sheet_name
from solarcalc.survey.phone import phone_html, started
from solarcalc.survey.reading import read_survey, write_surveyed
from solarcalc.survey.workbook import survey_xlsx

_RECORDS = runpy.run_path(str(Path(__file__).with_name("survey_records.py")))
records, sound_records = _RECORDS["records"], _RECORDS["sound_records"]
FOLDER = Path(tempfile.mkdtemp())
Change = Callable[[Any], None]
"""Something done to a workbook."""


def saved(content: bytes, name: str = "survey.xlsx") -> Path:
    path = FOLDER / name
    path.write_bytes(content)
    return path


@cache
def _blank(asked: str) -> bytes:
    values, rows = json.loads(asked)
    return survey_xlsx([{key: tuple(one) if isinstance(one, list) else one
                         for key, one in values.items()}], rows=rows)  # fmt: skip


def changed(values: dict[str, Any], change: Change, *, rows: bool = False) -> Path:
    """A filled-in survey with something done to it."""
    book = load_workbook(io.BytesIO(_blank(json.dumps([values, rows]))))
    change(book)
    raw = io.BytesIO()
    book.save(raw)
    return saved(raw.getvalue())


def cell_of(sheet: Any, key: str) -> Any:
    """The cell of a field in a sheet of one site; the first row of a list."""
    return next(sheet.cell(row, 3) for row in range(1, sheet.max_row + 1)
                if sheet.cell(row, 1).value == key)


def faults_of(path: Path) -> dict[str, Fault]:
    """Faults by cell; nothing is written."""
    with tempfile.TemporaryDirectory() as folder:
        with pytest.raises(InputError) as caught:
            write_surveyed(path, Path(folder))
        assert list(Path(folder).iterdir()) == []
    return {fault.where: fault for fault in caught.value.faults}


# --- what a long site file says


@pytest.mark.parametrize("stem", demo_sites())
def test_each_key_of_a_long_file_is_an_answer_or_told_to_stay(stem: str) -> None:
    sitefile = read_site(demo_sites()[stem])
    values, left = known_answers(sitefile)
    held = {path for one in fields() for path in one.path if one.key in values}
    held |= {"loads.nonessential", "grid.kind", "grid.outage_h_per_day"}
    for name, table in sitefile.written.items():
        for key in table if isinstance(table, dict) else ():
            told = name in left or f"{name}.{key}" in left
            taken = any(path == f"{name}.{key}" or path.startswith(f"{name}.{key}.")
                        for path in held)
            assert told or taken, f"{name}.{key}"


def test_a_row_that_no_line_can_hold_is_told_and_the_others_stay() -> None:
    radio = {"name": "Radio, old; red", "power_w": 5.5, "use": ["22:00-06:00"]}
    site = with_changes(read_site(demo_sites()["ridge-clinic"]), {
        "loads": {"essential": [radio, {**radio, "name": "=cmd"}], "nonessential": []}})
    values, left = known_answers(site)
    assert values["loads"] == ("Radio old red 5.5 W, 1, 22:00-06:00, essential",)
    assert "loads.essential: =cmd" in left


@pytest.mark.parametrize(("phases", "word"), [(3, "three"), (2, "two")])
def test_a_load_on_several_phases_goes_into_a_line_and_back(phases: int, word: str) -> None:
    oven = {"name": "Oven", "power_w": 9000.0, "use": ["04:00-09:00"], "phase": word}
    site = with_changes(read_site(demo_sites()["ridge-clinic"]), {
        "loads": {"phases": phases, "essential": [oven], "nonessential": []}})
    values, left = known_answers(site)
    line = f"Oven 9000 W {word}-phase, 1, 04:00-09:00, essential"
    assert values["loads"] == (line,)
    assert not any("phase" in one for one in left if one.startswith("loads.essential"))
    path = saved(survey_xlsx([{"name": "Shop", "phases": str(phases), "loads": (line,)}]))
    assert read_survey(path).sites[0].values["loads"] == (line,)


# --- four forms, one record


@pytest.mark.slow
@settings(deadline=None, max_examples=12)
@given(record=records())
def test_a_file_a_sheet_and_a_row_give_the_same_record(record: dict[str, Any]) -> None:
    file = FOLDER / "short.toml"
    file.write_text(short_text(record), encoding="utf-8")
    found = [read_survey(file), read_survey(saved(survey_xlsx([record]))),
             read_survey(saved(survey_xlsx([record], rows=True)))]  # fmt: skip
    for read in found:
        assert read.faults == []
        assert [answers.values for answers in read.sites] == [record]
    tables = [survey_of(read.sites[0], {}, "a").tables for read in found]
    assert tables[0] == tables[1] == tables[2]


@pytest.mark.slow
@settings(deadline=None, max_examples=10)
@given(some.lists(sound_records(), min_size=1, max_size=3), some.booleans())
def test_there_and_back_again_is_the_same(found: list[dict[str, Any]], rows: bool) -> None:
    """A spreadsheet makes site files; these make the same spreadsheet."""
    for number, record in enumerate(found):
        record["name"] = f"Site {number}"
    with tempfile.TemporaryDirectory() as folder:
        written = write_surveyed(saved(survey_xlsx(found, rows=rows)), Path(folder)).written
        again = [known_answers(read_site(path))[0] for path, _ in written]
    assert again == found
    assert values_of(survey_xlsx(again, rows=rows)) == values_of(survey_xlsx(found, rows=rows))


def values_of(content: bytes) -> dict[str, list[Any]]:
    book = load_workbook(io.BytesIO(content))
    return {sheet.title: [[cell.value for cell in row] for row in sheet.iter_rows()]
            for sheet in book.worksheets}


def page_at(browser: Any, width: int = 390, start: dict[str, Any] | None = None, **how: Any) -> Any:
    path = FOLDER / "phone.html"
    path.write_text(phone_html(start or {}), encoding="utf-8")
    context = browser.new_context(viewport={"width": width, "height": 844}, offline=True, **how)
    page = context.new_page()
    page.goto(path.as_uri())
    return page


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_the_file_of_a_phone_gives_the_same_record_too(browser: Any) -> None:
    page = page_at(browser)
    path = FOLDER / "of-phone.toml"

    @settings(deadline=None, max_examples=40)
    @given(record=records())
    def same(record: dict[str, Any]) -> None:
        page.evaluate("found => { memory.sites[memory.now] = found; keep(); fillForm(); }",
                      started(record))
        path.write_text(page.evaluate("exportText(values())"), encoding="utf-8")
        read = read_survey(path)
        assert read.faults == []
        assert [answers.values for answers in read.sites] == [record]

    same()


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_what_is_typed_on_a_phone_is_kept_there_and_saved(browser: Any, tmp_path: Path) -> None:
    page = page_at(browser, accept_downloads=True)
    said: list[str] = []
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", lambda request: said.append(request.url))
    page.fill("#name", "Hill Street Shop")
    page.fill("#latitude_deg", "-13,6")
    page.fill("#roof_length_m", "95000")
    page.click("#loads-add")
    page.select_option("#loads-rows select >> nth=0", "fridge")
    assert page.input_value("#latitude_deg") == "-13.6", "a comma becomes a point as it is left"
    assert page.inner_text("#roof_length_m-wrong") == "Allowed: 1 to 500 m"
    page.reload()
    assert page.input_value("#name") == "Hill Street Shop"
    with page.expect_download() as waiting:
        page.click("#save")
    saved_as = tmp_path / "phone.toml"
    waiting.value.save_as(saved_as)
    assert waiting.value.suggested_filename == "survey-hill-street-shop.toml"
    read = read_survey(saved_as)
    assert [fault.where for fault in read.faults] == [
        "phone.toml: survey.roof_length_m (line 4)"], "what is wrong is sent as it is, and told"
    assert [url for url in said if not url.startswith(("file:", "blob:"))] == []


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_a_comma_between_thousands_is_asked_about_not_read_as_a_decimal(browser: Any) -> None:
    page = page_at(browser)
    page.click("#elevation_m")
    page.keyboard.type("1,100")
    page.click("#obstacles-add")
    for place, cell in enumerate(("Tank", "9,5", "2", "1", "1", "1")):
        page.fill(f"#obstacles-rows [id$='-{place}']", cell)
    page.click("#roof_length_m")
    assert "1100 or 1.100" in page.inner_text("#elevation_m-wrong")
    page.keyboard.type("14,5")
    page.click("#show")
    text = page.input_value("#text")
    assert 'elevation_m = "1,100"' in text, "refused at the office, where it was 1.1 before"
    assert "roof_length_m = 14.5" in text
    assert "Tank: 9.5 along" in text


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("width", [320, 390])
def test_the_page_fits_a_phone_and_a_thumb(browser: Any, width: int) -> None:
    package = pytest.importorskip("axe_playwright_python", reason="the extra 'screen' is missing")
    page = page_at(browser, width, bypass_csp=True)
    page.click("#loads-add")
    page.click("#obstacles-add")
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate("""[...document.querySelectorAll("input,select,button,summary,textarea")]
        .filter(one => one.offsetParent && one.getBoundingClientRect().height < 44)
        .map(one => one.outerHTML)""") == []
    page.add_script_tag(path=str(Path(package.__file__).parent / "axe.min.js"))
    assert page.evaluate("axe.run().then(found => found.violations.map(one => one.id))") == []
    labels = page.evaluate("[...document.querySelectorAll('#form label')].map(l => l.innerText)")
    assert {one.titled for one in fields() if not one.is_list} <= set(labels)


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_a_phone_that_keeps_nothing_says_so(browser: Any) -> None:
    path = FOLDER / "phone.html"
    path.write_text(phone_html({}), encoding="utf-8")
    page = browser.new_page()
    page.add_init_script("Object.defineProperty(window, 'localStorage',"
                         " { get() { throw new Error('none'); } });")
    page.goto(path.as_uri())
    assert "keeps nothing" in page.inner_text("#kept")
    page.fill("#name", "Shop")
    page.click("#show")
    assert 'name = "Shop"' in page.input_value("#text")


def test_the_page_asks_nothing_of_a_network() -> None:
    html = phone_html({"name": "</script><img src=x onerror=alert(1)>"})
    assert html.count("</script>") == 1
    assert "<img" not in html
    assert "http" not in html.replace("http-equiv", "").replace("http://www.w3.org/2000/svg", "")
    assert "default-src 'none'" in html
    assert json.dumps(fields()[0].key) in html


# --- the spreadsheet


def test_each_field_has_its_cell_help_and_rule_in_both_forms() -> None:
    book = load_workbook(io.BytesIO(survey_xlsx([])))
    assert book.sheetnames == ["Survey", "Sites", "Lists"]
    one, many = book["Survey"], book["Sites"]
    keys = [one.cell(row, 1).value for row in range(3, one.max_row + 1)]
    assert list(dict.fromkeys(key for key in keys if key)) == [field.key for field in fields()]
    assert [cell.value for cell in many[1]] == [field.key for field in fields()]
    for sheet in (one, many):
        rules = [(rule, cell) for rule in sheet.data_validations.dataValidation
                 for cell in str(rule.sqref).split()]
        for field in fields():
            if field.is_list and sheet is many:
                continue
            if field.kind in ("number", "choice") or field.is_list:
                cell = cell_of(one, field.key).coordinate if sheet is one else next(
                    f"{head.column_letter}4" for head in many[1] if head.value == field.key)
                if field.kind == "obstacles":  # its name is free
                    cell = cell.replace("C", "D")
                held = [rule for rule, cells in rules if cell in _corners(cells)]
                assert held, (sheet.title, field.key)
                numbers = field.kind in ("number", "obstacles")
                assert held[0].type == ("decimal" if numbers else "list")
                assert held[0].prompt
                assert held[0].formula1
    for row in range(3, one.max_row + 1):
        field = by_key().get(one.cell(row, 1).value or "")
        if field is not None and not field.is_list:
            assert (one.cell(row, 4).value or "") == field.unit
            assert one.cell(row, 5).value or field.kind == "text"


def _corners(cells: str) -> list[str]:
    return [cells.split(":")[0], *cells.split(":")[1:]]


def test_a_fault_names_sheet_and_cell() -> None:
    path = changed({"name": "Shop"}, lambda book: _set(book["Shop"], "latitude_deg", 95))
    book = load_workbook(path)
    coordinate = cell_of(book["Shop"], "latitude_deg").coordinate
    (fault,) = faults_of(path).values()
    assert fault.where == f"survey.xlsx: Shop!{coordinate}"
    assert (fault.given, fault.allowed) == ("95", "-66 to 66 degrees")


@pytest.mark.parametrize("key", ["module", "battery"])
def test_a_make_that_no_list_has_is_told_how_to_go_on(key: str) -> None:
    """The way that is told works: the rest of the survey with choose, the make in its own table."""
    path = changed({"name": "Shop"}, lambda book: _set(book["Shop"], key, "Own make, 100 Ah"))
    (fault,) = faults_of(path).values()
    assert f"choose, and its data sheet under [{key}]" in fault.remedy
    own = {"module": 'label = "Own make"\nlength_m = 1.7\n',
           "battery": 'label = "Own make"\nunit_capacity_ah = 100.0\n'}
    with tempfile.TemporaryDirectory() as folder:
        site = Path(folder) / "shop.toml"
        site.write_text(f'[survey]\nname = "Shop"\n{key} = "choose"\n\n[{key}]\n{own[key]}')
        assert getattr(read_site(site).site, key).label.startswith("Own make")


@pytest.mark.parametrize(("shown_as", "words"), [
    ("0\"'\"", "11' is 3.353"), ('0.0" ft"', "11 ft is 3.353"), ("0\\'", "11' is 3.353"),
    ('[Red]0" ft";-0" ft"', "11 ft is 3.353"), ('0" cm"', "11 cm is 0.11"), ("0%", "in m")])
def test_a_number_that_the_cell_shows_in_another_unit_is_refused(
    shown_as: str, words: str
) -> None:
    """The cell shows 11' and holds 11: nobody who sees it means 11 m."""
    def put(book: Any) -> None:
        for key, column in (("roof_length_m", 0), ("obstacles", 1)):
            _set(book["Shop"], key, 11, column)
            cell = cell_of(book["Shop"], key)
            book["Shop"].cell(cell.row, cell.column + column).number_format = shown_as

    first, second = faults_of(changed({"name": "Shop"}, put)).values()
    assert words in first.remedy
    assert "it is text" in second.why


@pytest.mark.parametrize("shown_as", ['0.00" m"', "0.0", "General", '_-* #,##0.00_-', "#,##0"])
def test_a_number_that_the_cell_shows_in_its_own_unit_is_read(shown_as: str) -> None:
    def put(book: Any) -> None:
        _set(book["Shop"], "roof_length_m", 11)
        cell_of(book["Shop"], "roof_length_m").number_format = shown_as

    with tempfile.TemporaryDirectory() as folder:
        write_surveyed(changed({"name": "Shop"}, put), Path(folder))
        (text,) = (one.read_text() for one in Path(folder).iterdir())
    assert "roof_length_m = 11.0" in text


def _set(sheet: Any, key: str, value: Any, column: int = 0) -> None:
    cell = cell_of(sheet, key)
    sheet.cell(cell.row, cell.column + column).value = value


@pytest.mark.parametrize(
    ("key", "column", "value", "said"),
    [("roof_length_m", 0, "3,5", "3.5"), ("roof_length_m", 0, "=1+1", "a formula"),
     ("roof_length_m", 0, True, "true or false"), ("room_m", 0, datetime(2026, 3, 4), "a date"),
     ("roof_kind", 0, "thatch", "flat slab"), ("customer", 0, "a\nb", "control"),
     ("loads", 0, "nothing known", "neither a word"), ("loads", 0, '=HYPERLINK("x")', "a formula"),
     ("loads", 2, datetime(2026, 8, 6), "format the cell as text"), ("loads", 1, "2,5", "2.5"),
     ("customer", 0, datetime(2026, 8, 6), "format the cell as text"),
     ("roof_azimuth_deg", 0, "North", "North is 0"), ("roof_azimuth_deg", 0, "SW", "SW is 225"),
     ("elevation_m", 0, "1,100", "1100 or 1.1"), ("elevation_m", 0, "1,234,567", "1234567"),
     ("basic_wind_m_per_s", 0, "30 km/h", "in m/s"), ("generator_w", 0, "2.2 kVA", "in W"),
     ("latitude_deg", 0, "6.2 S", "a minus sign for S"), ("longitude_deg", 0, "7° W", "sign for W"),
     ("loads", 1, 0, "1 to 10000"), ("obstacles", 0, "Tank", "Along"),
     ("obstacles", 3, "wide", "it is text"), ("latitude_deg", 0, "#DIV/0!", "#DIV/0!")],
)  # fmt: skip
def test_what_a_cell_may_not_hold_is_named(key: str, column: int, value: Any, said: str) -> None:
    path = changed({"name": "Shop"}, lambda book: _set(book["Shop"], key, value, column))
    sheet = load_workbook(path)["Shop"]
    found = faults_of(path)
    row = cell_of(sheet, key).row
    assert all(where.startswith("survey.xlsx: Shop!") and where.endswith(str(row))
               for where in found), found
    assert any(said in str(fault) for fault in found.values()), found


@pytest.mark.parametrize(("column", "value", "said"), [
    (0, "frige", "did you mean fridge"), (1, 2.5, "no count"), (2, "18 to 23", "span of the clock"),
    (3, "non-essential", "did you mean nonessential"), (2, "6-8, 18-23", "a comma")])  # fmt: skip
def test_a_fault_in_a_line_of_loads_names_its_own_cell(column: int, value: Any, said: str) -> None:
    def change(book: Any) -> None:
        _set(book["Shop"], "loads", "fridge")
        _set(book["Shop"], "loads", value, column)

    path = changed({"name": "Shop"}, change)
    row = cell_of(load_workbook(path)["Shop"], "loads").row
    ((where, fault),) = faults_of(path).items()
    assert where == f"survey.xlsx: Shop!{'CDEF'[column]}{row}"
    assert said in str(fault)


def test_a_half_filled_obstacle_is_one_fault_with_the_cells_that_are_empty() -> None:
    def change(book: Any) -> None:
        _set(book["Shop"], "obstacles", "Tank")
        _set(book["Shop"], "obstacles", 2.0, 2)

    path = changed({"name": "Shop"}, change)
    row = cell_of(load_workbook(path)["Shop"], "obstacles").row
    ((where, fault),) = faults_of(path).items()
    assert where == f"survey.xlsx: Shop!D{row}, F{row}, G{row}, H{row}"
    assert fault.allowed == "Along [m], Length [m], Depth [m], Height [m]"


def test_thousands_with_a_space_are_one_number() -> None:
    for text in ("1 100", "1\N{NARROW NO-BREAK SPACE}100"):
        path = changed({"name": "Shop"}, lambda book, text=text: _set(
            book["Shop"], "elevation_m", text))
        assert read_survey(path).sites[0].values["elevation_m"] == 1100.0


def test_a_half_filled_row_of_a_list_is_read_and_told() -> None:
    path = changed({"name": "Shop"}, lambda book: _set(book["Shop"], "loads", "fridge"))
    read = read_survey(path)
    assert read.sites[0].values["loads"] == ("fridge, 1, 00:00-24:00, essential",)
    assert [note.rpartition(", ")[2] for note in read.notes] == ["Count", "Hours", "Board"]
    assert all(note.startswith("empty, default used: survey.xlsx: Shop!") for note in read.notes)


def _hide_row(sheet: Any, row: int) -> None:
    sheet.row_dimensions[row].hidden = True


def _hide_columns(sheet: Any, _: int) -> None:
    sheet.column_dimensions.group("B", "D", hidden=True)


def _hide_sheet(sheet: Any, _: int) -> None:
    sheet.sheet_state = "hidden"


@pytest.mark.parametrize("hide", [_hide_row, _hide_columns, _hide_sheet])
@pytest.mark.parametrize(("key", "value"), [("roof_length_m", 33.0), ("loads", "fridge")])
def test_a_value_on_no_screen_is_read_and_told(hide: Any, key: str, value: Any) -> None:
    def change(book: Any) -> None:
        _set(book["Shop"], key, value)
        hide(book["Shop"], cell_of(book["Shop"], key).row)

    path = changed({"name": "Shop"}, change)
    read = read_survey(path)
    assert key in read.sites[0].values
    told = [note for note in read.notes if note.startswith("read, though hidden: ")]
    assert any(f"Shop!C{cell_of(load_workbook(path)['Shop'], key).row}, " in one for one in told)
    assert not [note for note in read_survey(changed({"name": "Shop"}, lambda book: _set(
        book["Shop"], key, value))).notes if "hidden" in note]  # fmt: skip


def _beside(book: Any) -> None:
    book["Shop"]["J5"] = "call again"
    book.create_sheet("My notes")["B2"] = "gate code"


def test_what_stands_beside_the_form_is_told_not_lost() -> None:
    notes = "\n".join(read_survey(changed({"name": "Shop"}, _beside)).notes)
    assert "Shop!J5, call again" in notes
    assert "sheet My notes" in notes


def _moved(book: Any) -> None:
    book["Shop"].insert_rows(4, 3)
    book["Shop"].delete_rows(12)
    book["Shop"].sheet_view.zoomScale = 50


def test_rows_may_be_moved_for_they_are_found_by_their_keys() -> None:
    record = {"name": "Shop", "roof_length_m": 9.0, "language": "fr"}
    assert read_survey(changed(record, _moved)).sites[0].values.items() <= record.items()


def _unmerged_no_more(book: Any) -> None:
    book["Shop"].merge_cells("C5:D6")


def _many_rows(book: Any) -> None:
    book["Shop"].cell(9000, 3).value = 1


def _no_form(book: Any) -> None:
    book["Shop"]["A2"] = "things"
    for cell in book["Sites"][1]:
        cell.value = None


def _key_twice(book: Any) -> None:
    sheet = book["Shop"]
    sheet.cell(300, 1).value = "name"
    sheet.cell(300, 3).value = "Other"


def _unknown_key(book: Any) -> None:
    sheet = book["Shop"]
    sheet.cell(300, 1).value = "roof_lenght_m"
    sheet.cell(300, 3).value = 5


@pytest.mark.parametrize(
    ("change", "where", "said"),
    [(_unmerged_no_more, "Shop!C5:D6", "merged"), (_many_rows, "Shop", "9000 rows"),
     (_no_form, "survey.xlsx", "no sheet of a survey"), (_key_twice, "Shop!C300", "name again"),
     (_unknown_key, "Shop!A300", "did you mean roof_length_m")],
)  # fmt: skip
def test_a_form_that_is_broken_is_refused(change: Change, where: str, said: str) -> None:
    found = faults_of(changed({"name": "Shop"}, change))
    assert any(where in place and said in str(fault) for place, fault in found.items()), found


def test_two_sites_of_one_name_or_one_file_are_refused() -> None:
    path = saved(survey_xlsx([{"name": "Shop A"}, {"name": "Other"}, {"name": "shop-a"}],
                             rows=True))  # fmt: skip
    (fault,) = faults_of(path).values()
    assert fault.where == "survey.xlsx: Sites!A6"
    assert "Sites!A4" in fault.why


def test_a_file_there_already_stops_all(tmp_path: Path) -> None:
    (tmp_path / "b.toml").write_text("mine", encoding="utf-8")
    path = saved(survey_xlsx([{"name": "A"}, {"name": "B"}]))
    with pytest.raises(InputError, match="exists already"):
        write_surveyed(path, tmp_path)
    assert [one.name for one in tmp_path.iterdir()] == ["b.toml"]


def test_a_blank_survey_holds_no_site() -> None:
    (fault,) = faults_of(saved(survey_xlsx([]))).values()
    assert fault.given == "nothing filled in"


def _packed(**parts: bytes) -> bytes:
    raw = io.BytesIO()
    with zipfile.ZipFile(raw, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in parts.items():
            packed.writestr(name.replace("__", "/") + ".xml", content)
    return raw.getvalue()


@pytest.mark.parametrize(
    "content",
    [b"", b"not a workbook", b"\xd0\xcf\x11\xe0" + b"\0" * 600, b"PK\x03\x04 cut off",
     _packed(xl__workbook=b"<a/>"), _packed(big=b"0" * 61_000_000), b"0" * 5_000_001,
     _packed(xl__workbook=b'<!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>')],
    ids=["empty", "text", "old", "cut", "other", "bomb", "large", "entity"],
)  # fmt: skip
def test_what_is_no_workbook_is_refused(content: bytes) -> None:
    found = faults_of(saved(content))
    assert all(where == "survey.xlsx" and fault.allowed for where, fault in found.items())


@given(names=some.lists(some.text(max_size=60), max_size=8))
def test_sheets_get_names_a_spreadsheet_takes(names: list[str]) -> None:
    taken: set[str] = set()
    for name in names:
        found = sheet_name(name, taken)
        assert 1 <= len(found) <= 31
        assert found.casefold() not in taken
        assert not set(found) & set("[]:*?/\\")
        assert not found.startswith("'")
        taken.add(found.casefold())


# --- commands


@pytest.mark.parametrize("form", [["--rows"], []])
def test_demo_sites_go_into_a_spreadsheet_and_come_out_as_sites(
    form: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "sites.xlsx"
    names = ["ridge-clinic", "orchard-shop", "coral-pharmacy"]
    assert main(["survey", "--xlsx", str(path), *form, *names]) == 0
    assert "stays in the site file" in capsys.readouterr().out
    assert main(["new", "--from", str(path), "--folder", str(tmp_path)]) == 0
    said = capsys.readouterr().out
    assert said.count("wrote ") == 3
    for name in names:
        demo, again = read_site(demo_sites()[name]).site, next(
            read_site(one).site for one in tmp_path.glob("*.toml")
            if read_site(one).site.site.name == read_site(demo_sites()[name]).site.site.name)
        assert again.site.latitude_deg == demo.site.latitude_deg
        assert again.roof.length_m == demo.roof.length_m
        assert len(again.roof.obstacles) == len(demo.roof.obstacles)
        assert len(again.loads.essential) == len(demo.loads.essential)
    assert main(["survey", "--xlsx", str(path)]) == 1
    assert "filled it in" in capsys.readouterr().err


def test_a_phone_page_of_one_site_and_not_of_two(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["survey", "--phone", str(tmp_path / "p.html"), "ridge-clinic"]) == 0
    html = (tmp_path / "p.html").read_text(encoding="utf-8")
    assert read_site(demo_sites()["ridge-clinic"]).site.site.name in html
    two = ["ridge-clinic", "orchard-shop"]
    assert main(["survey", "--phone", str(tmp_path / "q.html"), *two]) == 1
    assert not (tmp_path / "q.html").exists()


def test_a_site_file_is_no_survey(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "shop.toml"
    path.write_text(short_text({"name": "Shop"}) + "\n[roof]\nslope_deg = 2.0\n", encoding="utf-8")
    assert main(["new", "--from", str(path), "--folder", str(tmp_path)]) == 1
    assert "use it as it is" in capsys.readouterr().err
