"""Executed workbooks as documents read them: refused where one went wrong, sheets as files."""

from __future__ import annotations

import re
import runpy
from collections.abc import Callable
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
from solarcalc.report.findings import LEFT_OUT, ReportError, check_clean, findings_of, sheet_files
from solarcalc.report.maths import maths_svg
from solarcalc.sitefile.dangers import dangers

SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><text>{}</text></svg>'
READER = runpy.run_path(str(Path(__file__).with_name("html_reader.py")))
EVIL, Page, assert_stands_alone = (
    READER[name] for name in ("EVIL", "Page", "assert_stands_alone"))
PIXEL = ("iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAQAAAC1HAwCAAAAC0lEQVR42mNkYAAAAAYAAjCB0C8AAAAASUVORK5C"
         "YII=")


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


@pytest.mark.parametrize(("output", "message"), [
    (new_output("stream", name="stderr", text="FutureWarning: old\nmore"),
     "one, cell 9: a warning or message on stderr: FutureWarning: old"),
    (new_output("error", ename="ValueError", evalue="no", traceback=[]), "one, cell 9: ValueErr"),
    (new_output("display_data", data={"image/png": PIXEL}), "without a text alternative"),
])
def test_a_workbook_that_went_wrong_is_refused(output: Any, message: str) -> None:
    notebook = workbook("Ridge clinic", new_code_cell("x", outputs=[output]))
    assert len(notebook.cells) == 10
    with pytest.raises(ReportError, match=re.escape(message)):
        check_clean("one", notebook)


def test_a_workbook_without_results_is_refused() -> None:
    notebook = new_notebook(cells=[new_markdown_cell("# T")])
    with pytest.raises(ReportError, match="0 results"):
        findings_of("one", notebook)
    twice = [*shown(lambda: page.show_results(answer="a", values={}))] * 2
    with pytest.raises(ReportError, match="2 results outputs"):
        findings_of("one", new_notebook(cells=[new_code_cell("x", outputs=twice)]))


def test_a_formula_that_cannot_be_drawn_is_told() -> None:
    with pytest.raises(ReportError, match="formula cannot be drawn"):
        maths_svg(r"\frac{a}{", display=True)


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
