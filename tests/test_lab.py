"""The workbooks in JupyterLab before a browser: panels by keyboard and mouse, kept, restarted."""

from __future__ import annotations

import hashlib
import runpy
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pypdfium2
import pytest

from solarcalc.basis.files import workbooks_folder
from solarcalc.design import open_design
from solarcalc.documents.html import document_html
from solarcalc.lessons.source import lesson_text
from solarcalc.lessons.tasks import Worked, drawn_for, worked

lab = SimpleNamespace(**runpy.run_path(str(Path(__file__).with_name("lab.py"))))
WORKBOOKS = sorted(path.stem for path in workbooks_folder().glob("*.ipynb"))
WHY_NOT = lab.why_no_browser()
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(bool(WHY_NOT), reason=WHY_NOT or "a browser is there"),
]
SOON_MS = 2000.0
"""No test of speed, which `tests/bench/explore.py` measures: a panel that hangs is found."""


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with lab.lab(tmp_path_factory.mktemp("books"), tmp_path_factory.mktemp("state")) as found:
        yield found


@pytest.fixture(scope="module")
def page() -> Iterator[Any]:
    with lab.browser() as found:
        yield found


def pixels(page: Any) -> str:
    """Digest of what is painted where the panel's picture is."""
    picture = page.locator(".widget-html svg").first
    picture.scroll_into_view_if_needed()
    return hashlib.sha256(picture.screenshot()).hexdigest()


def ready(page: Any, address: str, name: str) -> None:
    lab.open_workbook(page, address, name)
    lab.run_all(page)
    lab.watch(page)


@pytest.mark.parametrize("name", WORKBOOKS)
def test_every_workbook_runs_and_its_panel_moves_by_key_and_mouse(
    page: Any, address: str, name: str
) -> None:
    ready(page, address, name)
    assert page.locator(lab.ERROR).count() == 0
    handle = lab.first_handle(page)
    assert handle.get_attribute("role") == "slider"
    before = pixels(page)
    value = handle.get_attribute("aria-valuetext")
    handle.press("ArrowRight")
    picture_ms, numbers_ms = lab.times(page)
    assert 0.0 < picture_ms <= numbers_ms < SOON_MS
    assert handle.get_attribute("aria-valuetext") != value
    keyed = pixels(page)
    track = page.locator(".jp-OutputArea-output .noUi-target").first
    track.scroll_into_view_if_needed()
    box = track.bounding_box()
    far = 0.85 if handle.bounding_box()["x"] < box["x"] + box["width"] / 2.0 else 0.15
    page.mouse.click(box["x"] + far * box["width"], box["y"] + box["height"] / 2.0)
    lab.times(page)
    assert len({before, keyed, pixels(page)}) == 3


def test_what_stands_beside_the_picture_has_units_and_the_baseline(
    page: Any, address: str
) -> None:
    ready(page, address, "battery")
    lab.first_handle(page).press("ArrowLeft")
    lab.times(page)
    table = page.locator(".widget-html table").first.inner_text()
    for words in ("supplied of demand", "h/year", "years", "price", "failed checks", "baseline"):
        assert words in table


def test_a_variant_kept_in_one_workbook_stands_in_another(page: Any, address: str) -> None:
    ready(page, address, "yield")
    lab.first_handle(page).press("ArrowRight")
    lab.times(page)
    page.get_by_placeholder("name of the variant").fill("steeper")
    page.get_by_role("button", name="Keep").click()
    page.get_by_text("Variants kept of this site").wait_for(timeout=10_000)
    ready(page, address, "earthing")
    kept = page.locator(".widget-html table", has_text="Variants kept of this site")
    assert "steeper" in kept.text_content()
    page.get_by_text("Entries of [[variants]]").click()
    assert "array.tilt_deg = " in page.locator(".widget-html pre").text_content()


def test_after_a_restart_a_still_picture_stands_there(page: Any, address: str) -> None:
    ready(page, address, "yield")
    still = page.locator('[class^="sc-still"]')
    assert still.count() == 1
    assert not still.is_visible()  # the panel is alive
    lab.save_and_end(page)
    lab.open_workbook(page, address, "yield")
    still = page.locator('[class^="sc-still"]')
    still.scroll_into_view_if_needed()
    assert still.is_visible()
    assert still.locator("svg").is_visible()
    assert "supplied of demand" in still.inner_text()


def test_pictures_have_words_on_the_page_and_on_paper(page: Any, address: str) -> None:
    """In JupyterLab itself, and in the page that its Print and its export menu show."""
    ready(page, address, "yield")
    lab.show_all_cells(page)
    pictures = page.locator(".jp-OutputArea-output img")
    pictures.first.wait_for(timeout=30_000)
    shown = [one.get_attribute("alt") for one in pictures.all()]
    assert len(shown) > 1
    assert all(words and len(words) > 15 for words in shown)
    lab.save_and_end(page)
    printed = page.evaluate("""async () => {
      const answer = await fetch('/nbconvert/html/yield.ipynb');
      const read = new DOMParser().parseFromString(await answer.text(), 'text/html');
      return [...read.querySelectorAll('img')].map(one => one.alt);
    }""")
    assert printed == shown


def oddly(found: Worked) -> str:
    """A right answer as a learner may write it: a comma for the point, the unit close by."""
    if isinstance(found.right, str):
        return found.right.upper()
    return f"about {found.right:.4g}{found.unit}".replace(".", ",")


@pytest.mark.parametrize("key", ["01_module_sheet", "12_earthing_residual_current"])
def test_a_lesson_is_done_and_kept(page: Any, address: str, key: str) -> None:
    """All tasks right at once but the first, which earns a hint; progress lies beside it."""
    lab.open_workbook(page, address, f"lessons/{key}")
    lab.show_all_cells(page)
    text, design = lesson_text(key), open_design("ridge-clinic")
    numbers = drawn_for(text, "Ama Mensah", design)
    right = {asked.key: oddly(worked(text, asked.key, numbers))
             for asked in (text.predict, *text.tasks)}
    tasks = {f'lesson.ask("{name}"': f'my_answer = "{right[name]}"\nlesson.ask("{name}", my_answer)'
             for name in list(right)[1:]}  # fmt: skip
    first, told = next(iter(tasks)), 'my_answer = "1e9"\n'
    lab.fill_in(page, {
        "learner = ": 'learner = "Ama Mensah"\nsite_file = ""\nchanges = None\n',
        "my_prediction": f'lesson.predict("{right[text.predict.key]}")', **tasks,
        first: f"{told}{first}, my_answer)\n{tasks[first]}",
    })  # fmt: skip
    lab.run_all(page)
    page.get_by_text("Kept in progress").wait_for(timeout=60_000)
    assert page.locator(lab.ERROR).count() == 0
    assert page.locator(".jp-OutputArea-output", has_text="Correct:").count() == len(tasks)
    assert page.locator(".jp-OutputArea-output", has_text="Hint 1 of").count() == 1
    done = page.locator(".sc-table", has_text="Your tasks at").inner_text()
    assert done.count("yes") == len(tasks)
    assert "not yet" not in done
    folder = f"{address}/api/contents/lessons/progress"
    (own,) = [one["name"] for one in page.request.get(folder).json()["content"]]
    held = page.request.get(f"{folder}/{own}?format=text&type=file").json()["content"]
    assert own.startswith("ama-mensah")
    assert key in held


def test_an_error_in_a_cell_is_one_short_box(page: Any, address: str) -> None:
    lab.open_workbook(page, address, "yield")
    lab.change_parameters(page, 'site_file = "nowhere.toml"\nchanges = None\n')
    lab.run_all(page)
    box = page.locator(lab.ERROR).first
    box.wait_for(timeout=30_000)
    assert "nowhere.toml" in box.inner_text()
    assert "Traceback" not in box.inner_text()
    assert len(box.inner_text().splitlines()) <= 6
    assert page.locator(lab.ERROR).count() == 1  # and the cells after it did not run


def test_documents_ask_nothing_of_a_network_and_print(
    page: Any, document_cases: Any, tmp_path: Path
) -> None:
    made = [*document_cases.made("ridge-clinic", "DS"), *document_cases.made("ridge-clinic", "CA")]
    asked: list[str] = []
    one = page.context.browser.new_page()
    one.on("request", lambda request: asked.append(request.url))
    try:
        for document in made[:3]:
            path = tmp_path / "document.html"
            path.write_text(document_html(document), encoding="utf-8")
            asked.clear()
            one.goto(path.as_uri())
            assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
            printed = pypdfium2.PdfDocument(one.pdf(prefer_css_page_size=True))
            text = "".join(sheet.get_textpage().get_text_range() for sheet in printed)
            assert len(printed) >= 1
            assert document.head.title.split()[0].lower() in text.lower()
            printed.close()
    finally:
        one.close()
