"""Where a calculation stands in the calculation appendix: its chapter and its number there.

Chapters are made of the sections of the workbooks, then of the runs of cable, then of the checks:
``A5.3`` is the third of the fifth chapter. A section is asked for by a function that it calls,
which does not change with its heading.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from solarcalc.basis.check import Check
from solarcalc.basis.files import workbooks_folder
from solarcalc.basis.text import brief
from solarcalc.design import Design
from solarcalc.diagrams.sheet import TITLE_LETTERS
from solarcalc.documents.making import document_number, file_stem
from solarcalc.documents.tree import Word, link
from solarcalc.report.findings import LEFT_OUT, notebook_title


@dataclass(frozen=True, kw_only=True)
class Chapter:
    """A chapter of the appendix.

    Parameters
    ----------
    number : int
    title : str
    workbook : str
        Whose sections it has; empty for none.
    begins : str
        What the first of them calls; empty for the first of the workbook.
    tables : tuple of str
        Of the site file, whose values it rests on.
    """

    number: int
    title: str
    workbook: str = ""
    begins: str = ""
    tables: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """Such as ``A5``."""
        return f"A{self.number}"

    @property
    def title_words(self) -> str:
        """Number and title."""
        return f"{self.name} {self.title}"


CHAPTERS = (
    Chapter(number=1, title="Site and orientation", workbook="orientation",
            tables=("site", "horizon", "roof", "module", "array", "rails", "structure")),
    Chapter(number=2, title="Weather and yield", workbook="yield",
            tables=("weather", "soiling", "snow", "losses")),
    Chapter(number=3, title="Loads", workbook="battery", tables=("loads",)),
    Chapter(number=4, title="Battery and supply", workbook="battery", begins="bank_inputs",
            tables=("battery", "controller", "inverter", "supply", "grid", "generator",
                    "existing")),
    Chapter(number=5, title="Electrical design", workbook="electrical",
            tables=("cables", "runs", "duct", "places", "protection")),
    Chapter(number=6, title="Earthing, power room", workbook="earthing",
            tables=("soil", "earthing", "room")),
    Chapter(number=7, title="Tests", workbook="commissioning"),
    Chapter(number=8, title="Visit", workbook="followup"),
    Chapter(number=9, title="Cost and programme", workbook="quote",
            tables=("costs", "quote", "programme")),
    Chapter(number=10, title="Assumptions, sources"),
)  # fmt: skip
ASSUMED = CHAPTERS[-1]
CHECKS_OF = {"orientation": 1, "yield": 2, "battery": 4, "electrical": 5, "earthing": 6, "quote": 9,
             "commissioning": 7, "followup": 8}
"""Chapter of the checks of each workbook."""
LISTS = ("guesses", "given", "defaults", "constants", "sheets", "sources")
"""Parts of the last chapter, in their order."""

FOR_THE_CREW = (
    "roof_plans", "measuring_words", "trench_rows", "design.room.notes", "gauge_rows",
    "switching_rows", "terminal_rows", "torque_rows", "pick_rows", "go_on_rows", "blank_bytes",
)  # fmt: skip
"""Calls of sections that no figure of the design comes from: the site pack has them."""
_HEADING = re.compile(r"^#{2,3}\s+(.+?)\s*$", re.MULTILINE)
_ENDS = ("page.show_results", "page.show_assumptions")


def chapters_of(notebooks: Mapping[str, Any]) -> tuple[Chapter, ...]:
    """Chapters of the appendix, and one behind them for each notebook that has none of its own."""
    known = {one.workbook for one in CHAPTERS}
    others = [name for name in notebooks if name not in known]
    return (*CHAPTERS, *(
        Chapter(number=number, title=brief(notebook_title(notebooks[name]) or name, _TITLE_LETTERS),
                workbook=name)
        for number, name in enumerate(others, start=ASSUMED.number + 1)))


_TITLE_LETTERS = TITLE_LETTERS - len("A99 ")


@dataclass(frozen=True, kw_only=True)
class Section:
    """A section of a workbook in the appendix.

    Parameters
    ----------
    title : str
    cells : tuple of notebook cells
        Of code, in their order.
    """

    title: str
    cells: tuple[Any, ...]

    @property
    def calls(self) -> str:
        """Its code."""
        return "\n".join(_source(cell) for cell in self.cells)


def _source(cell: Any) -> str:
    return "".join(cell["source"])


def sections_of(notebook: Any) -> list[Section]:
    """Sections of a workbook that a figure of the design comes from, executed or not."""
    found: list[tuple[str, list[Any]]] = []
    for cell in notebook["cells"]:
        if set(cell.get("metadata", {}).get("tags", [])) & LEFT_OUT:
            continue
        source, kind = _source(cell), cell["cell_type"]
        if kind == "markdown" and (said := _HEADING.search(source)):
            found.append((said[1], []))
        elif kind == "code" and found and not any(end in source for end in _ENDS):
            found[-1][1].append(cell)
    made = [Section(title=title, cells=tuple(cells)) for title, cells in found if cells]
    return [one for one in made if not any(call in one.calls for call in FOR_THE_CREW)]


def chapter_sections(chapter: Chapter, notebooks: Mapping[str, Any]) -> list[Section]:
    """Sections of a chapter: those of its workbook from its own first one to the next chapter's."""
    if chapter.workbook not in notebooks:
        return []
    found = sections_of(notebooks[chapter.workbook])
    starts = {
        one.number: next((n for n, section in enumerate(found)
                          if one.begins and one.begins in section.calls), 0)
        for one in CHAPTERS if one.workbook == chapter.workbook
    }  # fmt: skip
    later = [start for number, start in starts.items() if number > chapter.number]
    return found[starts.get(chapter.number, 0):min(later, default=len(found))]


@cache
def _workbooks() -> dict[str, Any]:
    return {path.stem: json.loads(path.read_text(encoding="utf-8"))
            for path in workbooks_folder().glob("*.ipynb")}  # fmt: skip


@cache
def _sections() -> dict[int, tuple[Section, ...]]:
    return {one.number: tuple(chapter_sections(one, _workbooks())) for one in CHAPTERS}


@dataclass(frozen=True, kw_only=True)
class Anchors:
    """Numbers of everything in the appendix of a site.

    Parameters
    ----------
    site, revision : str
    runs : mapping of str to str
        Anchor of each run of cable by its key.
    checks : mapping of Check to str
        Anchor of each check of the design.
    """

    site: str
    revision: str
    runs: Mapping[str, str] = field(default_factory=dict)
    checks: Mapping[Check, str] = field(default_factory=dict)

    def of(self, call: str) -> str:
        """Anchor of the section that calls a function.

        Raises
        ------
        KeyError
            When none does.
        """
        for number, sections in _sections().items():
            for place, section in enumerate(sections, start=1):
                if re.search(rf"\b{re.escape(call)}\b", section.calls):
                    return f"A{number}.{place}"
        raise KeyError(call)

    def part(self, name: str) -> str:
        """Anchor of one of the lists of the last chapter."""
        return f"{ASSUMED.name}.{LISTS.index(name) + 1}"

    def link(self, anchor: str) -> Word:
        """A link from another document to an anchor, which is its text."""
        number = int(anchor[1:].partition(".")[0])
        return link(f"{self.file(number)}#{anchor}", anchor)

    def file(self, chapter: int) -> str:
        """Name of the file of a chapter; 0 for the first page."""
        number = document_number(self.site, "CA", chapter)
        return f"{file_stem(number, self.revision)}.html"

    def to(self, *calls: str) -> list[Word]:
        """Links to sections by what they call, in brackets behind a text."""
        return self.links([self.of(call) for call in calls])

    def links(self, anchors: Sequence[str]) -> list[Word]:
        """Links in brackets."""
        found: list[Word] = [" ("]
        for anchor in dict.fromkeys(anchors):
            found += [self.link(anchor), ", "]
        return [*found[:-1], ")"]


def run_numbers(design: Design) -> Iterator[tuple[str, str]]:
    """Each run of cable, the battery's own too, and its anchor, behind the sections of its chapter.
    """
    first = len(_sections()[CHECKS_OF["electrical"]]) + 1
    sized = [one.sized for one in design.installation.cables if one.sized]
    for place, one in enumerate(sized, start=first):
        yield one.run.key, f"A{CHECKS_OF['electrical']}.{place}"


def check_numbers(
    checks: Mapping[str, Sequence[Check]], runs: int
) -> Iterator[tuple[Check, str]]:
    """Each check and its anchor, behind the calculations of its chapter; alike ones once."""
    for workbook, number in CHECKS_OF.items():
        first = len(_sections()[number]) + 1 + (runs if workbook == "electrical" else 0)
        for place, check in enumerate(dict.fromkeys(checks.get(workbook, ())), start=first):
            yield check, f"A{number}.{place}"


def anchors_of(design: Design) -> Anchors:
    """Anchors of a design."""
    runs = dict(run_numbers(design))
    site = design.site
    return Anchors(site=site.site.name, revision=site.status.revision, runs=runs,
                   checks=dict(check_numbers(design.checks, len(runs))))
