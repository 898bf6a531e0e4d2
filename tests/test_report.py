"""The report: whole in itself, nothing in it runs or points outside, and it reads in order."""

from __future__ import annotations

import re
import runpy
from collections.abc import Callable
from datetime import UTC, datetime
from html import escape
from pathlib import Path
from typing import Any

import IPython.display
import nbformat
import pytest
from IPython.core.interactiveshell import InteractiveShell
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from solarcalc import page
from solarcalc.basis.check import Check, Kind
from solarcalc.basis.errors import InputError
from solarcalc.basis.sourced import NO_SOURCE, Sourced
from solarcalc.report import write as report_write
from solarcalc.report.findings import LEFT_OUT, ReportError, SiteSummary, sheet_files
from solarcalc.report.outputs import Outline, maths_svg, prose_maker
from solarcalc.report.write import write_report
from solarcalc.sitefile.dangers import dangers

SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><text>{}</text></svg>'
READER = runpy.run_path(str(Path(__file__).with_name("html_reader.py")))
EVIL, Page, assert_stands_alone = (
    READER[name] for name in ("EVIL", "Page", "assert_stands_alone"))
PIXEL = ("iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAQAAAC1HAwCAAAAC0lEQVR42mNkYAAAAAYAAjCB0C8AAAAASUVORK5C"
         "YII=")


def site(name: str = "Ridge clinic") -> SiteSummary:
    return SiteSummary(
        name=name, customer=name, note=name, slug="ridge-clinic", latitude_deg=-12.5,
        longitude_deg=-28.25, elevation_m=1210.0, file_name="ridge.toml", file_sha256="ab" * 32,
        made=datetime(2025, 3, 4, 5, 6, tzinfo=UTC), version="9.9.9", dangers=dangers())


def shown(show: Callable[[], None]) -> list[Any]:
    """Outputs of a call of the page, as a notebook holds them."""
    outputs: list[Any] = []
    patch = pytest.MonkeyPatch()
    patch.setattr(InteractiveShell, "initialized", lambda: True)
    patch.setattr(IPython.display, "publish_display_data", lambda data, metadata: outputs.append(
        new_output("display_data", data=data, metadata=metadata)))
    try:
        show()
    finally:
        patch.undo()
    return outputs


def workbook(
    name: str = "Ridge clinic", *extra: Any, title: str = "How much sun?", kind: Kind = "supply"
) -> Any:
    """A small executed workbook that shows one of everything, with `name` in every place."""
    checks = [
        Check(item=name, found="3", limit="2", unit="d", outcome=outcome, clause=NO_SOURCE,
              remedy="more", rule="a/b", kind=kind)
        for outcome in ("passed", "review", "failed")]
    picture = new_output("display_data", data={"image/png": PIXEL, "text/plain": name},
                         metadata={"image/png": {"alt": name}})
    outputs = [
        picture,
        *shown(lambda: page.say(name)),
        *shown(lambda: page.show_table([{name: name}], caption=name)),
        *shown(lambda: page.show_schedule([{name: name}], file="cables", caption=name)),
        *shown(lambda: page.show_drawing(SVG.format(escape(name)), file="line", alt=name)),
        *shown(lambda: page.show_formula(r"Y = \frac{E}{P}", name)),
        *shown(lambda: page.show_assumptions(
            [Sourced(label=name, value=0.2, unit="1", source=name)])),
        new_output("stream", name="stdout", text=name),
        new_output("execute_result", data={"text/plain": name, "text/html": f"<b>{name}</b>",
                                           "text/markdown": name, "text/latex": name}),
    ]
    results = shown(lambda: page.show_results(
        answer=f"{name}: yes.", values={"sun_kwh": 12345.5, "loss_frac": 0.07, "word": name},
        checks=checks))
    hidden = [new_code_cell("1", outputs=[new_output("stream", name="stdout", text=f"HIDDEN{tag}")],
                            metadata={"tags": [tag]}) for tag in sorted(LEFT_OUT)]
    return new_notebook(cells=[
        new_markdown_cell(f"# {title}\n\nSome $a_1 + b$ and\n\n$$\\frac{{a}}{{b}}$$\n"),
        *hidden,
        new_markdown_cell("## Steps\n\nWords <script>alert(2)</script> [x](https://example.org/y) "
                          "![p](https://example.org/p.png) [z](javascript:alert(3))"),
        new_code_cell("SECRET_CODE = 1", outputs=outputs),
        *extra,
        new_code_cell("results", outputs=results, metadata={"tags": ["results"]}),
    ])


def report(tmp_path: Path, notebooks: dict[str, Any], name: str = "Ridge clinic") -> str:
    write_report(site(name), notebooks, tmp_path / "report.html")
    assert [path.name for path in tmp_path.iterdir()] == ["report.html"]
    return (tmp_path / "report.html").read_text(encoding="utf-8")


def test_stands_alone_with_two_workbooks_of_the_same_headings(tmp_path: Path) -> None:
    text = report(tmp_path, {"one": workbook(), "two": workbook()})
    read = assert_stands_alone(text)
    assert "SECRET_CODE" not in text
    assert "HIDDEN" not in text
    assert read.tags.count("h1") == 1
    assert ("html", "lang", "en") in read.attributes
    assert all(value.strip() for tag, name, value in read.attributes
               if tag == "img" and name == "alt")
    assert read.tags.count("img") == sum(
        tag == "img" and name == "alt" for tag, name, _ in read.attributes)
    assert "@media print" in text
    assert "size: A4" in text


def test_a_hostile_name_is_only_ever_text(tmp_path: Path) -> None:
    text = report(tmp_path, {"one": workbook(EVIL)}, name=EVIL)
    read = assert_stands_alone(text)
    assert "<script" not in text
    assert read.words.count(EVIL) >= 12, "the name stands everywhere, letter by letter"
    assert ("img", "alt", EVIL) in read.attributes
    labels = {value for tag, name, value in read.attributes
              if tag == "svg" and name == "aria-label"}
    assert labels == {"a_1 + b", r"\frac{a}{b}", r"Y = \frac{E}{P}"}, "no formula from the name"


def guessed(rows: list[dict[str, str]]) -> Any:
    return new_code_cell("guesses", outputs=shown(
        lambda: page.show_schedule(rows, file="guesses", caption="Guesses")))


def test_guesses_that_decide_stand_before_the_checks_and_the_contents(tmp_path: Path) -> None:
    row = {"guess": "Thunderstorm days", "used": "40", "usual range": "5 to 60", "flips at": "53",
           "what changes": "Surge device: not bought below, bought above", "as designed": "bought"}
    calm = row | {"guess": "Record low", "as designed": ""}
    words = Page(report(tmp_path, {"one": workbook("a", guessed([row, calm]))})).words
    places = [words.index(mark) for mark in (
        "In short", "Guesses that decide", "Thunderstorm days", "not bought below", "Checks",
        "Contents")]
    assert places == sorted(places)
    assert words[: words.index("Contents")].count("Record low") == 0, "nothing hangs on it"


def test_a_report_without_guesses_has_no_table_of_them(tmp_path: Path) -> None:
    assert "Guesses that decide" not in report(tmp_path, {"one": workbook()})


def test_order_of_the_report(tmp_path: Path) -> None:
    words = Page(report(tmp_path, {"one": workbook(title="First question?"),
                                   "two": workbook(title="Second question?")})).words
    places = [words.index(mark) for mark in (
        "2 checks fail; 2 to review, 2 passed.", "In short", "Ridge clinic: yes.", "Checks",
        "✗ FAILED", "▲ review", "Dangers", dangers()[0].danger, "Contents", "Some ",
        "Every number that was assumed", "Works named by the assumptions", "No random numbers")]
    assert places == sorted(places)
    assert "12.500° S, 28.250° W, 1210 m above sea level" in words
    assert "2025-03-04 05:06 UTC" in words
    assert "solarcalc 9.9.9" in words


def test_what_is_unsafe_stands_before_everything_else(tmp_path: Path) -> None:
    words = Page(report(tmp_path, {"one": workbook(kind="safety")})).words
    places = [words.index(mark) for mark in (
        "Not safe", "1 check of safety fails:", "3 d (required 2 d); more", "In short")]
    assert places == sorted(places)
    (tmp_path / "report.html").unlink()
    assert "Not safe" not in Page(report(tmp_path, {"one": workbook()})).words


def test_results_are_words_with_units(tmp_path: Path) -> None:
    text = report(tmp_path, {"one": workbook()})
    assert '<th scope="row">sun</th><td class="number">12\u202f345.5\xa0kWh</td>' in text
    assert '<th scope="row">loss</th><td class="number">7\xa0%</td>' in text


def test_assumptions_and_sources_stand_once(tmp_path: Path) -> None:
    text = report(tmp_path, {"one": workbook(), "two": workbook()})
    chapter = text.partition('<h2 id="assumptions">')[2].partition("</section>")[0]
    assert chapter.count("<tr><td>Ridge clinic</td>") == 1


def test_works_named_in_assumptions_are_written_out_once(tmp_path: Path) -> None:
    notebook = workbook()
    for cell in notebook.cells:
        for output in cell.get("outputs", []):
            for entry in output.get("data", {}).get(page.ASSUMPTIONS_MIME, {}).get(
                "assumptions", []
            ):
                entry["source"] = "Hay and Davies 1980, through pvlib"
    text = report(tmp_path, {"one": notebook, "two": notebook})
    chapter = text.partition('<h2 id="sources">')[2].partition("</section>")[0]
    assert chapter.count("<li>") == 1
    assert "<strong>Hay and Davies 1980</strong>: J. E. Hay, J. A. Davies" in chapter


def test_same_input_same_report(tmp_path: Path) -> None:
    notebooks = {"one": workbook(), "two": workbook()}
    assert report(tmp_path, notebooks) == report(tmp_path, notebooks)


@pytest.mark.parametrize(("output", "message"), [
    (new_output("stream", name="stderr", text="FutureWarning: old\nmore"),
     "one, cell 9: a warning or message on stderr: FutureWarning: old"),
    (new_output("error", ename="ValueError", evalue="no", traceback=[]), "one, cell 9: ValueErr"),
    (new_output("display_data", data={"image/png": PIXEL}), "without a text alternative"),
    (new_output("display_data", data={page.RESULTS_MIME: {}}), "2 results outputs"),
    (new_output("display_data", data={page.FORMULA_MIME: {"latex": r"\frac{a}{", "note": ""}}),
     "one: formula cannot be drawn"),
])
def test_a_workbook_that_went_wrong_is_refused(
    tmp_path: Path, output: Any, message: str
) -> None:
    notebook = workbook("Ridge clinic", new_code_cell("x", outputs=[output]))
    assert len(notebook.cells) == 10
    with pytest.raises(ReportError, match=re.escape(message)):
        write_report(site(), {"one": notebook}, tmp_path / "report.html")
    assert list(tmp_path.iterdir()) == []


def test_a_workbook_without_results_is_refused(tmp_path: Path) -> None:
    notebook = new_notebook(cells=[new_markdown_cell("# T")])
    with pytest.raises(ReportError, match="0 results"):
        write_report(site(), {"one": notebook}, tmp_path / "report.html")


def test_markdown_has_no_live_links_and_no_raw_html() -> None:
    outline = Outline()
    html = str(prose_maker(outline, "one")(
        "# A & B\n\n[words](https://example.org/a?b=1&c=2) <b>raw</b> <https://example.org>\n\n"
        "[ref]\n\n[ref]: javascript:alert(1)\n\n`code $x$`\n\n![alt](data:image/png;base64,AA)\n"))
    read = Page(html)
    assert set(read.tags) <= {"h2", "p", "span", "code"}
    assert "words (https://example.org/a?b=1&c=2)" in read.words
    assert "<b>raw</b>" in read.words
    assert outline.entries == [(2, "A & B", "one-a-b")]


def test_anchors_do_not_repeat() -> None:
    outline = Outline()
    prose = prose_maker(outline, "one")
    prose("## Same\n\n## Same\n")
    assert [entry[2] for entry in outline.entries] == ["one-same", "one-same-2"]


def test_formula_has_its_tex_as_words_and_no_ids() -> None:
    tex = r"\eta < 1 \& \text{\"q\"}"
    inline, block = (str(maths_svg(tex, display=display)) for display in (False, True))
    for drawn in (inline, block):
        read = Page(drawn)
        assert ("svg", "aria-label", tex) in read.attributes
        assert ("svg", "role", "img") in read.attributes
        assert "path" in read.tags
        assert read.ids == []
        assert "http" not in drawn
    assert "vertical-align" in inline
    assert "vertical-align" not in block


def test_every_caution_says_what_to_do_and_where_it_is_from() -> None:
    assert len(dangers()) >= 6
    for one in dangers():
        assert one.danger
        assert one.measure
        assert one.clause


def test_samples_have_only_the_results_as_output() -> None:
    """The sample workbooks are kept as workbooks are: outputs in the results cell alone."""
    read: Any = nbformat.read
    for path in (Path(__file__).parent / "workbook_samples").glob("*.ipynb"):
        notebook = read(path, as_version=4)
        nbformat.validate(notebook)
        for cell in notebook.cells:
            if cell.cell_type == "code" and "results" not in cell.metadata.get("tags", []):
                assert cell.outputs == []


def test_schedules_and_drawings_become_files_of_their_own() -> None:
    files = sheet_files({"one": workbook("=Ätna")})
    assert set(files) == {"schedules/cables.csv", "drawings/line.svg"}
    assert files["schedules/cables.csv"].decode("utf-8-sig").splitlines() == ["'=Ätna", "'=Ätna"]
    assert files["drawings/line.svg"].decode() == SVG.format("=Ätna")


def test_a_schedule_may_hold_more_than_the_page_shows() -> None:
    outputs = shown(lambda: page.show_schedule(
        [{"run": "Main", "rule": "long"}], file="runs", caption="Runs", shown=["run"]))
    assert "long" not in outputs[0].data["text/html"]
    assert b"long" in sheet_files({"one": workbook("A", new_code_cell("x", outputs=outputs))})[
        "schedules/runs.csv"]


def test_files_named_on_the_page_are_written_as_they_are() -> None:
    shown_files = shown(lambda: page.show_files(
        {"quote.xlsx": b"\x00PK"}, folder="quote", caption="Files"))
    book = workbook("A", new_code_cell("x", outputs=shown_files))
    assert sheet_files({"one": book})["quote/quote.xlsx"] == b"\x00PK"


@pytest.mark.parametrize(
    ("name", "folder"), [("a1.exe", "quote"), ("../a1.csv", "quote"), ("a1.csv", "..")]
)
def test_a_file_of_another_name_is_refused(name: str, folder: str) -> None:
    with pytest.raises(InputError, match="show_files"):
        page.show_files({name: b""}, folder=folder, caption="Files")


def test_two_sheets_of_one_name_are_refused() -> None:
    with pytest.raises(ReportError, match=r"two: a second schedules/cables\.csv"):
        sheet_files({"one": workbook(), "two": workbook()})


def test_a_drawing_is_a_picture_in_the_report_and_says_its_file(tmp_path: Path) -> None:
    text = report(tmp_path, {"one": workbook()})
    assert "data:image/svg+xml;base64," in text
    assert "the file drawings/line.svg" in text
    assert "the file schedules/cables.csv" in text


@pytest.mark.parametrize(
    ("show", "complaint"),
    [
        (lambda: page.show_schedule([], file="x1", caption="c"), "one or more rows"),
        (lambda: page.show_schedule([{"a": 1}, {"b": 1}], file="x1", caption="c"), "same columns"),
        (lambda: page.show_schedule([{"a": 1}], file="../x", caption="c"), "small letters"),
        (lambda: page.show_schedule([{"a": 1}], file="x1", caption="c", shown=["b"]), "shown"),
        (lambda: page.show_drawing("<b>no</b>", file="x1", alt="c"), "a whole SVG"),
        (lambda: page.show_drawing(SVG, file="x1", alt=" "), "a sentence"),
        (lambda: page.show_drawing("<svg><script>1</script></svg>", file="x1", alt="a"), "runs"),
    ],
)
def test_a_sheet_that_cannot_be_shown_is_refused(
    show: Callable[[], None], complaint: str
) -> None:
    with pytest.raises(InputError, match=complaint):
        show()


TEMPLATES = Path(report_write.__file__).parent / "template" / "solarcalc"


DOCUMENTS = [
    path for path in sorted(TEMPLATES.glob("*.j2")) if "<title>" in path.read_text("utf-8")
]


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: path.name.split(".")[0])
def test_what_a_document_is_called_stands_once(path: Path) -> None:
    """The browser's title and the line above the heading take the same words from one place."""
    text = path.read_text(encoding="utf-8")
    (said,) = re.findall(r'<p class="kind">(.*?)</p>', text)
    assert re.fullmatch(r"\{\{ .+ \}\}", said)
    assert said in re.findall(r"<title>(.*?)</title>", text)[0]
    assert len(re.findall(r"set kind =", text)) == (said == "{{ kind }}")
