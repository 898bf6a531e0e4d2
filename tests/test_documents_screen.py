"""Documents on a screen: nothing wider than it, and nothing that a checker of access calls serious.

The checker is axe-core, which holds pages to rules of WCAG; both need Debian's Chromium.
"""

from __future__ import annotations

import json
import os
import runpy
from pathlib import Path
from typing import Any

import pytest

from solarcalc.batch.index import write_index
from solarcalc.batch.summary import site_record, site_summary
from solarcalc.documents import appendix, site_pack
from solarcalc.documents.catalogue import codes_at
from solarcalc.documents.html import document_html
from solarcalc.documents.making import Making
from solarcalc.documents.site_page import site_page

SITES = Path(__file__).resolve().parents[1] / "data" / "sites"
WIDTHS_PX = (320, 390, 1280)
SHORTER = os.environ.get("SOLARCALC_SITES", "").split()
TRIED = tuple(sorted(path.stem for path in SITES.glob("*.toml")))
"""Sites of which every document that there is at any stage is looked at."""
FRENCH = "cove-cannery"
"""Its site pack is looked at in French, though it has come no farther than its design."""
CODES = codes_at("visit")
executed = runpy.run_path(str(Path(__file__).parent / "executed.py"))["executed"]

_CUT = """() => [...document.querySelectorAll("body *:not(svg *)")].filter(one => {
  const look = getComputedStyle(one);
  const shut = flow => flow === "hidden" || flow === "clip";
  return (shut(look.overflowX) && one.scrollWidth > one.clientWidth + 1 ||
    shut(look.overflowY) && one.scrollHeight > one.clientHeight + 1) &&
    !one.closest(".unseen, .cards thead") && one.innerText?.trim(); })
    .map(one => one.outerHTML.slice(0, 120)).slice(0, 3)"""
"""Words that end where a box does that nobody can scroll."""

_WIDER = """() => {
  const wide = document.documentElement.clientWidth + 1;
  const moved = one => { for (let up = one; up; up = up.parentElement) {
    const flow = getComputedStyle(up).overflowX;
    if (flow === "auto" || flow === "scroll" || flow === "hidden") return true; } return false; };
  return [...document.querySelectorAll("body *")].filter(one =>
    one.getBoundingClientRect().right > wide && !moved(one) && !one.closest("svg"))
    .map(one => one.outerHTML.slice(0, 120)).slice(0, 3); }"""


_SCROLLS = """() => [...document.querySelectorAll(".wide")].filter(one =>
  one.scrollWidth > one.clientWidth).map(one => one.innerText.slice(0, 80))"""


LEAST_PX = 9.0
"""Height of the letters of a picture that is not moved sideways."""
_SMALL = """least => [...document.querySelectorAll("svg text")].filter(one =>
  one.getBoundingClientRect().width > 0 && !one.closest("figure.drawing, figure.sheet") &&
  parseFloat(getComputedStyle(one).fontSize) * one.getScreenCTM().a < least)
    .map(one => one.textContent.slice(0, 40)).slice(0, 3)"""
"""Words of a picture that nobody can read on a phone."""


_ALIKE = """() => {
  const seen = {}, path = one => one && one !== document.body ?
    `${path(one.parentElement)} ${one.tagName}.${one.getAttribute("class")}` : "";
  const alike = [...document.querySelectorAll("body *:not(svg *)")].filter(one => {
    const look = getComputedStyle(one);
    const kind = [path(one), one.getAttribute("style"), look.color, look.backgroundColor,
      look.fontSize, getComputedStyle(one.parentElement).backgroundColor].join();
    return !one.children.length && (seen[kind] = (seen[kind] || 0) + 1) > 3; });
  alike.forEach(one => one.remove()); }"""
"""Takes away words of a look that stands three times before: a long table has few looks."""


def axe_file() -> Path:
    package = pytest.importorskip("axe_playwright_python", reason="the extra 'screen' is missing")
    return Path(package.__file__).parent / "axe.min.js"


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("code", CODES)
@pytest.mark.parametrize("site", TRIED)
def test_nothing_is_wider_than_the_screen_or_seriously_out_of_reach(
    browser: Any, document_cases: Any, tmp_path: Path, site: str, code: str
) -> None:
    """The appendix with the outputs of its workbooks, every fold open."""
    if code == "CA" and SHORTER and site != SHORTER[0]:
        pytest.skip("of sites that are named the appendix of the first stands for all")
    design = document_cases.demo(site)
    found = (appendix.documents(Making(design=design, notebooks=executed(design)))
             if code == "CA" else document_cases.made(site, code))  # fmt: skip
    for document in found:
        hold_on_a_screen(browser, document_html(document), tmp_path)


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_a_french_site_pack_fits_the_screen(
    browser: Any, document_cases: Any, tmp_path: Path
) -> None:
    design = document_cases.demo(FRENCH).changed({"firm": {"crew_language": "fr"}})
    for document in site_pack.documents(Making(design=design)):
        hold_on_a_screen(browser, document_html(document), tmp_path)


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("which", ["site", "sites"])
def test_an_index_fits_the_screen_too(
    browser: Any, document_cases: Any, tmp_path: Path, which: str
) -> None:
    for site in TRIED:
        making = Making(design=document_cases.demo(site))
        if which == "site":
            html = document_html(site_page(making, [], None))
        else:
            (tmp_path / site).mkdir()
            (tmp_path / site / "index.html").write_text("", encoding="utf-8")
            record = site_record(site_summary(making.design.sitefile, b""), [], making.design)
            (tmp_path / site / "summary.json").write_text(json.dumps(record), encoding="utf-8")
            write_index(tmp_path, [])
            html = (tmp_path / "index.html").read_text(encoding="utf-8")
        hold_on_a_screen(browser, html, tmp_path)
        if which == "sites":  # all thirteen columns at once
            page = browser.new_page(viewport={"width": 1280, "height": 800})
            page.goto((tmp_path / "page.html").as_uri())
            assert page.evaluate(_SCROLLS) == []
            page.close()


def hold_on_a_screen(browser: Any, html: str, folder: Path) -> None:
    path = folder / "page.html"
    path.write_text(html, encoding="utf-8")
    page = browser.new_page(bypass_csp=True)
    page.goto(path.as_uri())
    page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
    for width in WIDTHS_PX:
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.evaluate(_WIDER) == [], width
        assert page.evaluate(_CUT) == [], width
        assert width < 390 or page.evaluate(_SMALL, LEAST_PX) == [], width
    page.add_script_tag(path=str(axe_file()))
    page.set_viewport_size({"width": 1280, "height": 800})
    contrast = "runOnly: ['color-contrast']"
    others = "rules: {'color-contrast': {enabled: false}}"
    for scheme, rules in (("light", others), ("light", contrast), ("dark", contrast)):
        page.emulate_media(color_scheme=scheme)  # colours alone differ between them
        if rules == contrast:  # takes a time that grows with the square of the page
            page.evaluate(_ALIKE)
        run = f"axe.run({{{rules}, resultTypes: ['violations']}})"  # passes take most of the time
        found = page.evaluate(run)["violations"]
        assert [(one["id"], one["nodes"][0]["html"][:200]) for one in found
                if one["impact"] in ("serious", "critical")
                or one["id"] in ("heading-order", "landmark-unique")] == [], scheme  # fmt: skip
    page.close()
