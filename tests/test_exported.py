"""Workbooks exported or printed by JupyterLab's own menu: pictures have words, nothing is cut."""

from __future__ import annotations

import runpy
from functools import cache
from pathlib import Path
from typing import Any

import nbformat
import pytest
from bs4 import BeautifulSoup
from matplotlib.figure import Figure
from nbclient import NotebookClient
from nbconvert import HTMLExporter

from solarcalc.basis.files import workbooks_folder
from solarcalc.design import open_design
from solarcalc.figures import style

executed = runpy.run_path(str(Path(__file__).with_name("executed.py")))["executed"]
A4_WIDE_PX = 700
"""What is left of A4 between the margins of the page, at 96 pixels to the inch."""
CUT = """() => [...document.querySelectorAll('.jp-InputArea-editor .highlight pre, .sc-table, img')]
  .filter(one => {
    const area = one.closest('.jp-InputArea-editor, .jp-OutputArea-output');
    return one.clientWidth > 0 && (one.scrollWidth > one.clientWidth + 1
      || one.getBoundingClientRect().right > area.getBoundingClientRect().right + 1);
  }).map(one => one.innerText.slice(0, 90) || one.alt)"""
"""What runs out of its place at the right."""


@cache
def exported() -> dict[str, str]:
    """Each workbook of a demo site as the page that the menu exports."""
    made = executed(open_design("ridge-clinic"))
    return {name: HTMLExporter().from_notebook_node(one)[0] for name, one in made.items()}


@pytest.mark.slow
def test_every_picture_has_words_of_its_own() -> None:
    for name, text in exported().items():
        words = [one.get("alt", "") for one in BeautifulSoup(text, "html.parser").find_all("img")]
        assert all(len(one) > 15 and "No description" not in one for one in words), (name, words)
        assert len(set(words)) == len(words), name
        assert words or name == "commissioning"


@pytest.mark.slow
def test_the_words_of_a_figure_hold_what_its_titles_find(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each number of a title is in the words; a title is no picture of words alone."""
    found: list[str] = []
    titles = style.titles_of

    def kept(figure: Figure) -> str:
        found.append(titles(figure))
        return found[-1]

    monkeypatch.setattr(style, "titles_of", kept)
    made = executed(open_design("plateau-school"))
    said = [output.metadata["image/png"]["alt"] for one in made.values() for cell in one.cells
            for output in cell.get("outputs", []) if "image/png" in output.data]  # fmt: skip
    assert len(said) == len(found) > 20
    for words, title in zip(said, found, strict=True):
        assert title
        assert words.endswith(title)
        assert words != title


@pytest.mark.parametrize("path", [
    workbooks_folder() / "lessons" / "04_shade_strings.ipynb",
    workbooks_folder() / "lessons" / "09_batteries_that_tire.ipynb",
], ids=lambda path: path.stem)
@pytest.mark.slow
def test_nothing_of_a_lesson_is_cut_on_paper(path: Path, browser: Any) -> None:
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(notebook, timeout=300, kernel_name="python3").execute()
    _is_whole(browser, HTMLExporter().from_notebook_node(notebook)[0])


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(one.stem for one in workbooks_folder().glob("*.ipynb")))
def test_nothing_of_a_workbook_is_cut_on_paper(name: str, browser: Any) -> None:
    _is_whole(browser, exported()[name])


def _is_whole(browser: Any, text: str) -> None:
    one = browser.new_page(viewport={"width": A4_WIDE_PX, "height": 1000})
    try:
        one.route("**/*", lambda route: route.abort())
        one.emulate_media(media="print")
        one.set_content(text, wait_until="domcontentloaded")
        assert one.evaluate(CUT) == []
    finally:
        one.close()
