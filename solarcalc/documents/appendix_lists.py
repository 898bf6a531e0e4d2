"""Lists at the end of the calculation appendix: guesses, values, data sheets, works.

Each value stands once: given in the site file, left to its default, or a constant of the package.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from solarcalc.basis.no_answer import or_why
from solarcalc.basis.quantity import figure, unit_sign
from solarcalc.basis.sourced import HOW_SEEN, Sourced
from solarcalc.design import Design
from solarcalc.documents.anchors import ASSUMED, CHAPTERS, CHECKS_OF, LISTS, Chapter
from solarcalc.documents.tree import Block, Cell, code, fold, heading, sentence, strong, table
from solarcalc.report.findings import Findings, sources_of
from solarcalc.sitefile.base import is_record, unwrapped
from solarcalc.sitefile.site import Site
from solarcalc.views.assumptions import DEFAULT_USED
from solarcalc.views.electrical import guess_rows

_TITLES = {
    "guesses": "Guesses, ranked", "given": "Values of the site file", "defaults": "Defaults",
    "constants": "Constants", "sheets": "Data sheets used", "sources": "Works used",
}  # fmt: skip
Rows = Sequence[Sequence[Cell]]


def list_blocks(
    design: Design, findings: Mapping[str, Findings], chapters: Sequence[Chapter] = CHAPTERS
) -> Iterator[Block]:
    """A fold for each list."""
    yield heading("Lists", key=f"{ASSUMED.name}-lists")
    taken = by_chapter(findings, chapters)
    titles = {one.number: one.title_words for one in (*CHAPTERS, *chapters)}
    blocks: dict[str, list[Block]] = {
        "guesses": list(_guesses(design)),
        "given": _by_chapter(("Key", "Value", "What"), {
            one.number: list(_given(design, one)) for one in CHAPTERS}, titles),
        "defaults": _by_chapter(("Key", "Value", "Source"), {
            number: [[code(entry.label.removesuffix(DEFAULT_USED)), _value(entry), entry.source]
                     for entry in entries if entry.label.endswith(DEFAULT_USED)]
            for number, entries in taken.items()}, titles),
        "constants": _by_chapter(("What", "Value", "Unit", "Source"), {
            number: [[entry.label, _value(entry), unit_sign(entry.unit), entry.source]
                     for entry in entries if not entry.label.endswith(DEFAULT_USED)]
            for number, entries in taken.items()}, titles),
        "sheets": [table(("Key", "Equipment", "Sheet"), _sheets(design))],
        "sources": [table(("Short name", "Work", "Used for", "How seen"), [
            [one.name, one.work, one.used_for, HOW_SEEN.get(one.seen, one.seen)]
            for one in sources_of(findings.values())])],
    }  # fmt: skip
    for place, name in enumerate(LISTS, start=1):
        anchor = f"{ASSUMED.name}.{place}"
        yield fold([strong(anchor), f" {_TITLES[name]}"],
                   blocks[name] or [sentence("None.")], key=anchor)  # fmt: skip


def by_chapter(
    findings: Mapping[str, Findings], chapters: Sequence[Chapter] = ()
) -> dict[int, list[Sourced]]:
    """Every assumption once, in the chapter that is the first to make it."""
    found: dict[int, list[Sourced]] = {}
    met: set[Sourced] = set()
    places = {one.workbook: one.number for one in chapters if one.workbook} | CHECKS_OF
    for workbook, number in sorted(places.items(), key=lambda item: item[1]):
        entries = findings[workbook].assumptions if workbook in findings else ()
        found[number] = [one for one in dict.fromkeys(entries) if one not in met]
        met.update(entries)
    return found


def _by_chapter(
    head: Sequence[str], rows: Mapping[int, Rows], titles: Mapping[int, str]
) -> list[Block]:
    return [table(head, lines, caption=titles[number]) for number, lines in rows.items() if lines]


def _value(entry: Sourced) -> str:
    return figure(entry.value)


def _guesses(design: Design) -> Iterator[Block]:
    found = or_why(lambda: guess_rows(design))()
    if isinstance(found, list):
        yield table([str(name) for name in found[0]], [list(row.values()) for row in found])
    else:
        yield sentence(found.sentence)


def _given(design: Design, chapter: Chapter) -> Iterator[list[Cell]]:
    for name in chapter.tables:
        if name in design.sitefile.written:
            yield from _lines(name, design.sitefile.written[name],
                              Site.model_fields[name].annotation)


def _lines(key: str, value: Any, kind: Any, what: str = "") -> Iterator[list[Cell]]:
    """A line for each value; of a list of tables their number."""
    if isinstance(value, Mapping):
        fields = unwrapped(kind).model_fields if is_record(unwrapped(kind)) else {}
        for name, one in value.items():
            known = fields.get(name)
            yield from _lines(f"{key}.{name}", one, known and known.annotation,
                              (known and known.description) or "")
    elif isinstance(value, list) and value and isinstance(value[0], Mapping):
        yield [code(key), f"{len(value)} entries", what]
    else:
        shown = ", ".join(map(str, value)) if isinstance(value, list) else str(value)
        yield [code(key), shown, what]


def _sheets(design: Design) -> Iterator[list[Cell]]:
    """Each machine with the list or sheet that its values are from."""
    site, taken = design.site, design.sitefile.equipment_keys
    machines = {
        "module": site.module.label, "controller": site.controller.label,
        **{f"planes[{number}].controller": one.controller.label
           for number, one in enumerate(site.planes, start=1)},
        **{f"inverter.{board}": one.alike + one.label
           for board, one in site.inverters.items()},
        "battery": site.battery.label,
    }  # fmt: skip
    for key, label in machines.items():
        of = f"entry {taken[key]} of the equipment list" if key in taken else "the site file"
        invented = ", invented" if key in design.sitefile.examples else ""
        yield [code(key), label, f"{of}{invented}"]
