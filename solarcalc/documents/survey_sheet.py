"""The survey sheet: what to measure, ask and photograph on the first visit, with room to write."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from solarcalc.basis.files import data_rows
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
from solarcalc.loads.year import appliances_of
from solarcalc.sitefile.dangers import dangers_of
from solarcalc.sitefile.loads import BOARDS
from solarcalc.sitefile.site import Site
from solarcalc.stages.progress import document_status

LINE_MM = 5.2
EMPTY_LOADS = 6
"""Lines for appliances that nobody has listed yet."""
MOST_LOADS = 8
MOST_DANGERS = 4
_MEASURED = "☐ measured ☐ stated ☐ assumed"


def documents(making: Making) -> tuple[Document, ...]:
    """The survey sheet of a site, with what its file says already."""
    design, site = making.design, making.design.site
    head = making.head("SV", "Survey sheet", kind="record of a visit",
                       status=document_status(design, "SV"))  # fmt: skip
    blocks = [*_first_page(site), new_page(), *_second_page(site)]
    return (Document(code="SV", head=head, look="sheet", blocks=tuple(blocks)),)


def written(site: Site, table_name: str, key: str) -> str:
    """What the site file says under a key, or keys; empty where it was not written there."""
    if not key:
        return ""
    if " " in key:
        found = [written(site, table_name, one) or "–" for one in key.split()]
        return " × ".join(found) if any(one != "–" for one in found) else ""
    record = getattr(site, table_name)
    if key not in getattr(record, "model_fields_set", ()):
        return ""
    value = getattr(record, key)
    if table_name == "runs":
        length_m = getattr(value, "length_m", None)
        return "" if length_m is None else f"{length_m:g}"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, list):
        return f"{len(value)} entered" if value else ""
    return str(value) if isinstance(value, int | str) else ""


def _first_page(site: Site) -> Iterator[Block]:
    place = site.site
    yield beside(
        [pairs([("Site", place.name), ("Customer", place.customer or "−"),
                ("Address", fill(16.0))])],
        [pairs([("Surveyor", fill(14.0)),
                ("Date", fill(14.0)),
                ("Contact on site", fill(14.0))])],
    )  # fmt: skip
    yield box([sentence(strong("DANGER"), " Before anybody climbs or opens anything:"),
               points(one.danger for one in dangers_of(site)[:MOST_DANGERS])],
              look="danger")  # fmt: skip
    for group, members in groupby(data_rows("survey"), key=lambda row: row["group"]):
        if group == "Photographs":
            continue
        rows: list[list[Cell]] = [
            [f"{row['what']}{' [' + row['unit'] + ']' if row['unit'] else ''}",
             written(site, row["table"], row["key"]), None, _MEASURED] for row in members
        ]  # fmt: skip
        yield table([group, "So far", "Found", "How it is known"], rows, look="tests",
                    tall_mm=LINE_MM)  # fmt: skip


def _second_page(site: Site) -> Iterator[Block]:
    yield heading("Loads: agreed with the customer, essential ones first")
    yield table(["Appliance", "Count", "Power [W]", "Hours a day", "Board"],
                _load_rows(site), look="tests", tall_mm=LINE_MM)  # fmt: skip
    yield sentence("Essential loads agreed: ☐ yes   Name and signature of the customer: ",
                   fill(20.0))  # fmt: skip
    yield table(["", "Photographs"], [["☐", row["what"]] for row in data_rows("survey")
                                      if row["group"] == "Photographs"], shares=(3, 100))
    yield heading("Sketch: roof with north, obstacles, access; power room; cable routes")
    yield picture(_grid_svg(), "Empty squared field for a sketch")
    yield signatures("Surveyor: name, date", "Customer: name, date")


def _load_rows(site: Site) -> list[list[Cell]]:
    rows: list[list[Cell]] = []
    for board in BOARDS:
        words = "essential" if board == "essential" else "non-essential"
        for item in list(appliances_of(site.loads, board))[:MOST_LOADS]:
            rows.append([item.name, f"{item.count}", f"{item.power_w:g}",
                         ", ".join(item.use).replace("-", "–"), words])
    return rows + [[None] * 5] * EMPTY_LOADS


def _grid_svg(wide_mm: int = 180, high_mm: int = 88) -> str:
    """Squares of 4 mm."""
    lines = "".join(f"M{x} 0V{high_mm}" for x in range(0, wide_mm + 1, 4))
    lines += "".join(f"M0 {y}H{wide_mm}" for y in range(0, high_mm + 1, 4))
    return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide_mm} {high_mm}"'
            f' role="img"><rect width="{wide_mm}" height="{high_mm}" fill="white"/>'
            f'<path d="{lines}" stroke="#b4afa4" stroke-width="0.2" fill="none"/></svg>')
