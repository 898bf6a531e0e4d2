"""Drawings in a crew's language: no word stays English, none is cut or lies over another.

Over the demo sites as the site pack has them, and over random sites and roofs. Sites are invented.
"""

from __future__ import annotations

import csv
import re
import runpy
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as some

from solarcalc.basis import phrases as phrases_module
from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder, demo_sites
from solarcalc.basis.messages import PATTERN, languages
from solarcalc.basis.phrases import phrase, untranslated
from solarcalc.diagrams import sheet as sheets
from solarcalc.diagrams.battery_terminals import terminal_diagram
from solarcalc.diagrams.earthing import earthing_drawing
from solarcalc.diagrams.fixing_plan import fixing_plans
from solarcalc.diagrams.lettering import SMALLEST_MM
from solarcalc.diagrams.roof_plan import roof_plans
from solarcalc.diagrams.room import MOST_BOXES, room_drawing
from solarcalc.diagrams.sheet import Sheet, Signed, draw_frame, title_block
from solarcalc.diagrams.single_line import single_line
from solarcalc.diagrams.string_plan import string_plans
from solarcalc.diagrams.trench_plan import trench_plans
from solarcalc.documents import site_pack
from solarcalc.documents.making import Making
from solarcalc.earthing.electrode import electrode_words
from solarcalc.installation.standing import held_words, room_tags
from solarcalc.report.letterhead import letterhead_of
from solarcalc.sitefile.quote import Checked
from solarcalc.sitefile.read import read_site
from solarcalc.sitefile.status import STAGES, Status
from solarcalc.sitepack.modules import module_plan
from solarcalc.sitepack.terminals import banks_at
from solarcalc.sitepack.trenches import digging_steps, trenches_of
from solarcalc.stages.array import own_hardware
from solarcalc.views import drawings as views

HERE = Path(__file__).parent
CASES = runpy.run_path(str(HERE / "installation_cases.py"))
DRAWN = runpy.run_path(str(HERE / "diagram_cases.py"))
ROOFS = runpy.run_path(str(HERE / "roof_cases.py"))
SITES = runpy.run_path(str(HERE / "site_files.py"))
Drawing, clashes = DRAWN["Drawing"], DRAWN["clashes"]
NAMES = tuple(sorted(demo_sites()))
SLOW = {"deadline": None, "suppress_health_check": list(HealthCheck)}
BUILT = CASES["installed"](read_site(demo_sites()["ridge-clinic"]).site)


def roof_drawings(own: Any, built: Any, language: str) -> Iterator[str]:
    """Roof, fixing and string plans."""
    plan, hardware = module_plan(own), own_hardware(own)
    if plan is None or hardware is None:
        return
    for drawn in (roof_plans(plan, language), string_plans(plan, built, language),
                  fixing_plans(plan, hardware, built.planes[0].structure, language)):  # fmt: skip
        yield from (svg for svg, _ in drawn)


def other_drawings(built: Any, earth: Any, language: str) -> Iterator[str]:
    """All other drawings of the site pack."""
    site = built.site
    yield single_line(built, language)
    yield earthing_drawing(built, earth, f"{electrode_words(site.earthing)}; 21 Ω in the worst"
                           " season", language)  # fmt: skip
    for bank in banks_at(built):
        yield terminal_diagram(bank, site_name=site.site.name, language=language)
    if len(built.layout.boxes) <= MOST_BOXES:
        yield room_drawing(built.layout, site_name=site.site.name, tags=room_tags(built),
                           held=held_words(built), language=language)  # fmt: skip
    trenches = trench_plans(trenches_of(built), site, digging_steps(built), language)
    yield from (svg for svg, _ in trenches)


def drawings(own: Any, built: Any, earth: Any, language: str) -> list[str]:
    """Every drawing of the site pack of a site with an invented year."""
    return [*roof_drawings(own, built, language), *other_drawings(built, earth, language)]


@pytest.fixture(scope="module", params=NAMES)
def demo(request: pytest.FixtureRequest) -> tuple[Any, Any, Any]:
    own = ROOFS["own_of"](request.param)
    return own, CASES["installed"](own.site), CASES["earth"](own.site)


@pytest.fixture
def heard(monkeypatch: pytest.MonkeyPatch) -> set[str]:
    """Parts of texts that a sheet had no words for in its language."""
    return listening(monkeypatch)


def listening(patch: pytest.MonkeyPatch) -> set[str]:
    left: set[str] = set()

    def said(text: str, language: str) -> str:
        left.update(untranslated(text, language))
        return phrase(text, language)

    patch.setattr(sheets, "phrase", said)
    return left


def own_words(site: Any) -> set[str]:
    """What a person wrote into the site file: names that no table can have."""
    return {part for name in names_of(site)
            for said in (name, name.partition(",")[0].removeprefix("Invented "))
            for part in (said, *untranslated(said, "fr"))}


ENGLISH = re.compile(
    r"\b(?:roof|eaves|datum|setback|row of|rails? of|splices?|clamps?|fixings?|frames?|strings?"
    r"|cable|leads?|links?|fuses?|breaker|switch|isolator|changeover|inverter|controller|battery"
    r"|boards?|loads?|essential|busbars?|bars?|bond|earth\w*|electrode|rods?|soil|sand|duct"
    r"|trench|backfill|cover|depth|deep|width|length|height|high|wall|door|opening|rack|aisle"
    r"|escape|alarm|extinguisher|grid|generator|house|circuits? of|sheet|scale|view|number"
    r"|issued|checked|approved|created|firm|status|draft|approval|licensed|live|with|and|from|of"
    r"|to|at|by|the|no|not|for|each|both|see|schedule)\b",
    re.IGNORECASE,
)
"""Words of drawings that are no French ones."""


SIGN = re.compile(r"[A-Z]+\d+(?:\.\d+)*[+−]?|\d+(?:\.\d+)*")
"""A tag or a number."""


def read(svg: str) -> Any:
    """A drawing that keeps what every drawing keeps."""
    drawing = Drawing(svg)
    assert clashes(drawing) == []
    assert min(drawing.sizes()) >= SMALLEST_MM
    return drawing


def all_said(svg: str) -> str:
    """Every word of a drawing, its title and description among them."""
    return " ".join(each.text for each in Drawing(svg).root.iter()
                    if each.text and each.text.strip())  # fmt: skip


FILES = ("battery-terminals",)
"""Schedules that a drawing names: files, whatever the language."""


def in_french(english: Iterable[str], french: Iterable[str], own: Iterable[str]) -> None:
    """No English word, nothing over anything, no more cut, the same tags and numbers."""
    for one, other in zip(english, french, strict=True):
        before, after = read(one), read(other)
        words = all_said(other)
        for name in sorted((*own, *FILES), key=len, reverse=True):
            words = words.replace(name, "")
        assert ENGLISH.findall(words) == []
        assert [line for line in after.texts() if " \u00a0" in line] == []  # said twice over
        assert cut(after) <= cut(before), [line for line in after.texts() if "…" in line]
        if cut(before) == cut(after) == 0:
            assert signs(before) == signs(after)


def cut(drawing: Any) -> int:
    """How many texts end where their room does."""
    return sum("…" in line for line in drawing.texts())


def signs(drawing: Any) -> Counter[str]:
    """Tags and numbers of a drawing, with a point for the decimal mark."""
    words = drawing.all_words().replace("…", "")
    return Counter(SIGN.findall(re.sub(r"(?<=\d),(?=\d)", ".", words)))


def names_of(site: Any) -> list[str]:
    roofs = [one.roof for one in site.sites]
    return [site.site.name, *(each.name for roof in roofs
                              for each in (roof, *roof.obstacles, *roof.walkways)),
            *(one.label for one in (site.battery, *site.existing)),
            *(one.name for one in site.status.signed), site.status.roof_confirmed]  # fmt: skip


def test_a_demo_site_is_drawn_in_french(demo: tuple[Any, Any, Any], heard: set[str]) -> None:
    own, _, _ = demo
    in_french(drawings(*demo, "en"), drawings(*demo, "fr"), names_of(own.site))
    assert heard <= own_words(own.site)


def in_both(site: Any) -> tuple[list[str], list[str]]:
    """Drawings of a random site in English and in French."""
    try:
        built = CASES["installed"](site)
    except InputError:
        assume(False)
    earth = CASES["earth"](site)
    english, french = ([*other_drawings(built, earth, language)] for language in ("en", "fr"))
    return english, french


@pytest.mark.slow
@given(site=SITES["sites"]())
@settings(max_examples=15, **SLOW)
def test_a_random_site_is_drawn_in_french(site: Any) -> None:
    with pytest.MonkeyPatch.context() as patch:
        left = listening(patch)
        in_french(*in_both(site), names_of(site))
    assert left <= own_words(site)


@given(changes=ROOFS["roofs"]())
@settings(max_examples=15, **SLOW)
def test_a_random_roof_is_drawn_in_french(changes: Any) -> None:
    try:
        own = ROOFS["own_of"]("ridge-clinic", **changes)
    except InputError:
        assume(False)  # boxes in one another's place
    with pytest.MonkeyPatch.context() as patch:
        left = listening(patch)
        in_french(roof_drawings(own, BUILT, "en"), roof_drawings(own, BUILT, "fr"),
                  names_of(own.site))  # fmt: skip
    assert left <= own_words(own.site)


DONE = {"name": "Somebody invented", "licence": "0000, invented", "date": "2027-03-01"}
"""A check of a drawing by an invented person."""


@given(
    stage=some.sampled_from(STAGES), revision=some.sampled_from(["", "A", "AB"]),
    issued=some.sampled_from(["", "2027-02-01"]), done=some.booleans(),
    scale=some.sampled_from(["1:50, 1:100", "sections 1:100", sheets.NO_SCALE]),
    title=some.sampled_from(["Single-line diagram", "Battery terminals 2/2", "Earthing diagram"]),
    language=some.sampled_from(languages()),
)  # fmt: skip
def test_a_title_block_has_room_for_every_status(
    stage: Any, revision: str, issued: str, done: bool, scale: str, title: str, language: str
) -> None:
    shop = Signed(name="Shop", checked=Checked(**DONE) if done else Checked(),
                  status=Status(stage=stage, revision=revision, date=issued))  # fmt: skip
    sheet = Sheet("room", "t", "d", language=language)
    block = title_block(shop, number="SP-05", sheet=5, title=title, scale=scale, language=language)
    draw_frame(sheet, block, [])
    assert "…" not in read(sheet.svg()).all_words()


@given(words=some.text(max_size=60), language=some.sampled_from(languages()))
def test_words_are_said_once(words: str, language: str) -> None:
    sheet = Sheet("room", "t", "d", language=language)
    said = sheet.said(words)
    assert sheet.said(said) is said
    assert language != PATTERN or said == words
    assert " ".join(sheet.fitted(words, 1e6)).split() == said.replace("\n", " ").split()


def test_words_of_the_site_pack_have_one_home() -> None:
    """No row of the table of phrases says again what a heading of the site pack says."""
    catalogued = phrases_module._catalogued("fr")
    path = data_folder() / "phrases" / "fr.csv"
    with path.open(encoding="utf-8", newline="") as file:
        rows = [row for row in list(csv.reader(file))[1:] if row[0] in catalogued]
    assert [english for english, said in rows if said == catalogued[english]] == []


@pytest.mark.parametrize("name", ["cove-cannery", "plateau-school"])
def test_a_french_crew_has_french_drawings_and_the_firm_keeps_its_own(
    document_cases: Any, name: str, heard: set[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(views, "phrase", sheets.phrase)
    english = document_cases.demo(name)
    design = english.changed({"firm": {"crew_language": "fr"}})
    making = Making(design=design, firm=letterhead_of(design.sitefile))
    (pack,) = site_pack.documents(making)
    pictures = [one for block in pack.blocks if block.get("look") == "drawing"
                for one in block["blocks"]]  # fmt: skip
    assert len(pictures) >= 7
    for one in pictures:
        drawn = read(one["content"])
        assert "Langue fr" in drawn.texts()
        words = f"{all_said(one['content'])} {one['alt']}"
        for own in sorted(names_of(design.site), key=len, reverse=True):
            words = words.replace(own, "")
        assert ENGLISH.findall(words) == []
    assert heard <= own_words(design.site)
    figure, words = views.single_line_figure(design)
    assert (figure, words) == views.single_line_figure(english)
    assert "essential loads" in Drawing(figure).all_words()
