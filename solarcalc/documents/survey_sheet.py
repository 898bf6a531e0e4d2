"""The survey sheet: what to measure, ask and photograph on the first visit, with room to write."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import groupby

from solarcalc.basis.text import short_name
from solarcalc.documents.making import Making
from solarcalc.documents.tree import (
    Block,
    Cell,
    Document,
    beside,
    box,
    fill,
    heading,
    new_page,
    pairs,
    picture,
    points,
    sentence,
    signatures,
    strong,
    table,
)
from solarcalc.sitefile.dangers import dangers_of
from solarcalc.sitefile.equipment import appliance_catalogue
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.survey_fields import Value, by_key, fields
from solarcalc.stages.progress import document_status
from solarcalc.survey.known import known_answers
from solarcalc.survey.layout import parts_of
from solarcalc.survey.lines import cells_of_line

LINE_MM = 4.6
MOST_LOADS, LOAD_LINES = 10, 14
MOST_BOXES, BOX_LINES = 5, 7
"""Lines shown of what is known; lines in all, so that some are left for what nobody listed."""
MOST_DANGERS = 3
MOST_EM = 54.0
"""Letters of what is known already that stand in two lines of the sheet."""
APART = ("Loads", "Photographs")
"""Groups with a table of their own."""
_MEASURED = " ".join(f"☐\u00a0{how}" for how in ("measured", "stated", "assumed"))


def documents(making: Making) -> tuple[Document, ...]:
    """The survey sheet of a site, with what its file says already."""
    design, site = making.design, making.design.site
    head = making.head("SV", "Survey sheet", kind="record of a visit",
                       status=document_status(design, "SV"))  # fmt: skip
    known, _ = known_answers(design.sitefile)
    known |= {key: str(known[key]).rpartition("/")[2] for key in ("weather",) if key in known}
    for key, own in (("module", site.module), ("battery", site.battery)):
        if own.label and "label" in design.sitefile.written.get(key, {}):
            known[key] = own.label  # its own figures stand over those of the list
    if site.grid.kind == "timetable":
        known["grid_h_per_day"] = "by timetable"
    known.setdefault("language", f"{site.firm.language} unless told")
    known.setdefault("currency", f"{design.prices.currency}, of the price list")
    blocks = [*_head(site), *_questions(known), new_page(), *_loads(known),
              *_obstacles(known), *_last(site)]
    return (Document(code="SV", head=head, look="sheet", blocks=tuple(blocks)),)


def _head(site: Site) -> Iterator[Block]:
    yield beside([pairs([("Address", fill(16.0)), ("Contact on site", fill(14.0))])],
                 [pairs([("Surveyor", fill(14.0)), ("Date", fill(14.0))])])  # fmt: skip
    yield box([sentence(strong("DANGER"), " Before anybody climbs or opens anything:"),
               points(one.danger for one in dangers_of(site)[:MOST_DANGERS])],
              look="danger")  # fmt: skip


def _questions(known: Mapping[str, Value]) -> Iterator[Block]:
    """Every field but loads and photographs, by group."""
    for group, members in groupby(fields(), key=lambda one: one.group):
        rows: list[list[Cell]] = [
            [one.titled, _so_far(known.get(one.key)), None, _MEASURED]
            for one in members if group not in APART
        ]  # fmt: skip
        if rows:
            yield table([group, "So far", "Found", "How it is known"], rows, look="tests",
                        tall_mm=LINE_MM, shares=(31, 25, 19, 25))  # fmt: skip


def _so_far(value: Value | int | None) -> str:
    if value is None:
        return "–"
    if isinstance(value, tuple):
        return f"{len(value)} entered"
    told = f"{value:g}" if isinstance(value, float) else str(value)
    return short_name(told, MOST_EM)


def lines_of(known: Mapping[str, Value], key: str) -> tuple[str, ...]:
    """Lines of a list, none where nobody gave any."""
    value = known.get(key, ())
    return value if isinstance(value, tuple) else ()


def _loads(known: Mapping[str, Value]) -> Iterator[Block]:
    yield heading("Loads: agreed with the customer, essential ones first")
    lines = lines_of(known, "loads")
    rows: list[list[Cell]] = [
        [_in_words(what), count, hours.replace("-", "–").replace("+", ", "), board]
        for what, count, hours, board in (line.split(", ") for line in lines[:MOST_LOADS])
    ]  # fmt: skip
    heads = list(parts_of(by_key()["loads"]).heads)
    yield table(heads, rows + [[None] * len(heads)] * (LOAD_LINES - len(rows)), look="tests",
                tall_mm=LINE_MM)  # fmt: skip
    yield sentence("Essential loads agreed: ☐ yes   Name and signature of the customer: ",
                   fill(20.0))  # fmt: skip


def _in_words(what: str) -> str:
    """An appliance as the customer calls it: one of the catalogue by what it is, not by its key."""
    return short_name(str(appliance_catalogue().get(what, {}).get("about", what)), MOST_EM)


def _obstacles(known: Mapping[str, Value]) -> Iterator[Block]:
    """Where each stands: from the left end of the eaves, up the slope, to its nearest corner."""
    one = by_key()["obstacles"]
    parts = parts_of(one)
    rows: list[list[Cell]] = [
        [str(name), *map(_so_far, sizes)]
        for name, *sizes in (cells_of_line(one, line)
                             for line in lines_of(known, "obstacles")[:MOST_BOXES])
    ]  # fmt: skip
    yield table([one.label, *parts.heads[1:]], rows + [[None] * 6] * (BOX_LINES - len(rows)),
                look="tests", tall_mm=LINE_MM, shares=(40, 12, 12, 12, 12, 12))  # fmt: skip


def _last(site: Site) -> Iterator[Block]:
    yield table(["", "Photographs", "Numbers"],
                [["☐", one.label, None] for one in fields() if one.group == "Photographs"],
                shares=(3, 70, 30))  # fmt: skip
    yield heading("Sketch: roof with north, obstacles, access; power room; cable routes")
    yield picture(_grid_svg(site), "Squared field for a sketch, the roof as far as it is known")
    yield signatures("Surveyor: name, date", "Customer: name, date")


def _grid_svg(site: Site, wide_mm: int = 180, high_mm: int = 80) -> str:
    """Squares of 4 mm, with the outline of the roof to scale, its eaves below, and its boxes."""
    lines = "".join(f"M{x} 0V{high_mm}" for x in range(0, wide_mm + 1, 4))
    lines += "".join(f"M0 {y}H{wide_mm}" for y in range(0, high_mm + 1, 4))
    roof = site.roof
    unit_mm = min((wide_mm / 2.0 - 8.0) / roof.length_m, (high_mm - 8.0) / roof.depth_m)
    eaves_mm = 4.0 + roof.depth_m * unit_mm
    boxes = [(0.0, 0.0, roof.length_m, roof.depth_m)]
    boxes += [(one.along_m, one.up_m, one.length_m, one.depth_m) for one in roof.obstacles]
    drawn = "".join(
        f'<rect x="{4.0 + along * unit_mm:.2f}" y="{eaves_mm - (up + depth) * unit_mm:.2f}"'
        f' width="{length * unit_mm:.2f}" height="{depth * unit_mm:.2f}" fill="none"'
        ' stroke="#1d2329" stroke-width="0.4"/>' for along, up, length, depth in boxes
    )  # fmt: skip
    return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide_mm} {high_mm}"'
            f' role="img"><rect width="{wide_mm}" height="{high_mm}" fill="white"/>'
            f'<path d="{lines}" stroke="#b4afa4" stroke-width="0.2" fill="none"/>{drawn}</svg>')
