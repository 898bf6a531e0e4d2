"""The site pack: what the crew builds, fits and tests by, a sheet for each thing they ask."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from typing import Any

from solarcalc.design import Design
from solarcalc.diagrams.sheet import paper_of
from solarcalc.documents.making import Making
from solarcalc.documents.test_sheet import LINE_MM, blank_blocks, instrument_table, safety_blocks
from solarcalc.documents.tree import (
    Block,
    Cell,
    Document,
    Words,
    beside,
    box,
    drawing,
    heading,
    landscape,
    new_page,
    pairs,
    points,
    sentence,
    strong,
    table,
)
from solarcalc.installation import schedules
from solarcalc.programme.days import day_rows
from solarcalc.sitefile.dangers import dangers_of
from solarcalc.views import sitepack as lists
from solarcalc.views.commissioning import blank_bytes, sheet_of_site

Row = dict[str, Any]
MOST_DANGERS = 5
"""Lines of the box of dangers on the job card; each task's own stand beside it in the day list."""


def documents(making: Making) -> tuple[Document, ...]:
    """The site pack of a site, with the table of tests to be filled in beside it."""
    design = making.design
    _, lines = sheet_of_site(design)
    head = making.head("SP", "Site pack", kind="construction documents",
                       status="for construction" if design.site.checked.done else "draft")
    return (Document(
        code="SP", head=head, look="sheet", stamp=making.example_stamp(),
        blocks=tuple(_blocks(making)),
        files={"tests-to-fill-in.csv": blank_bytes(design, lines)},
    ),)  # fmt: skip


def _blocks(making: Making) -> Iterator[Block]:
    design = making.design
    yield from job_card(making)
    yield from _drawings(design)
    yield from _schedule_sheet(design)
    for title, blocks in (
        ("Pick list", _pick_list(design)), ("Tools, protective equipment, labels", _tools(design)),
        ("Torques and settings", _torques(design)), ("Day list", _days(design)),
        ("Switching sequence", _switching(design)), ("Test sheet", _tests(design)),
    ):  # fmt: skip
        yield new_page()
        yield heading(title, key=title.split(",")[0].lower().replace(" ", "-"))
        yield from blocks


def job_card(making: Making) -> list[Block]:
    """Sheet 1: where, who, when, what kills, and where work stops until somebody has signed."""
    design = making.design
    site, place = design.site, design.site.site
    north, east = place.latitude_deg, place.longitude_deg
    days = day_rows(design.programme)
    dangers = [box([
        sentence(strong("DANGER"), " What kills on this site:"),
        points(one.danger for one in dangers_of(site)[:MOST_DANGERS]),
    ], look="danger")]  # fmt: skip
    return [
        heading("Job card", key="job-card"),
        beside(
            [pairs([
                ("Customer", place.customer or "−"),
                ("Place", f"{abs(north):.4f}° {'N' if north >= 0 else 'S'}, "
                          f"{abs(east):.4f}° {'E' if east >= 0 else 'W'}"),
                ("Address, access", None or _line()), ("Contact on site", _line()),
                ("Nearest hospital", _line()), ("Emergency call", _line()),
            ])],
            [pairs([
                ("First day", str(days[0]["day"]) if days else "−"),
                ("Last day", str(days[-1]["day"]) if days else "−"),
                ("People", str(max((row["people"] for row in days), default=0))),
                ("What is built", f"{site.array.module_count} modules, "
                 f"{site.array_w / 1000.0:.2f} kWp; battery {site.battery.rated_wh / 1000.0:.1f}"
                 f" kWh {site.battery.traits.name}; {len(site.inverters)} inverters"),
                ("Site lead", _line()), ("First aider", _line()),
            ])],
        ),
        *dangers,
        heading("Hold points: work stops here until the point is signed", 3, key="hold-points"),
        table(["No.", "Hold point", "Signed by", "Name", "Date"],
              [[key, what, who, None, None] for key, what, who in hold_points(design)],
              look="tests", tall_mm=LINE_MM),
        sentence("Local codes, the manufacturers' instructions and the licensed person on site"
                 " decide; where they differ from these sheets, follow them.", look="small"),
    ]  # fmt: skip


def hold_points(design: Design) -> list[tuple[str, str, str]]:
    """Number, what is to be seen to, and who signs."""
    return []


def _line() -> Words:
    return {"kind": "fill", "width_em": 16.0, "words": []}


def _drawings(design: Design) -> Iterator[Block]:
    """Sheets that are drawings, each on a page of its own."""
    if lists.module_plan(design) is None:
        yield sentence(lists.NO_PLAN)
    for drawn in (lists.roof_plans, lists.fixing_plans, lists.string_plans, lists.trench_plans):
        for svg, words in drawn(design):
            yield drawing(svg, words, paper=paper_of(svg))


def _schedule_sheet(design: Design) -> Iterator[Block]:
    """Sheet 8: cables and protective devices."""
    built = design.installation
    yield landscape([
        heading("Cable schedule", 2, key="cables"), rows_table(schedules.cable_rows(built)),
        heading("Protective devices", 2, key="devices"), rows_table(schedules.device_rows(built)),
    ], paper="a3")  # fmt: skip


def _pick_list(design: Design) -> Iterator[Block]:
    """Sheet 9: what goes on the van, by day; two columns."""
    rows = [row for row in lists.pick_rows(design) if not row["note"].startswith("work")]
    days: list[Block] = []
    for day, members in groupby(rows, key=lambda row: row["day"]):
        days.append(table(
            ["", str(day), "Quantity", "Serial number"],
            [["☐", row["what"], f"{row['quantity']} {row['unit']}".strip(), None]
             for row in members], right=(2,)))  # fmt: skip
    yield beside(*_halves(days))


def _halves(blocks: Sequence[Block]) -> tuple[list[Block], list[Block]]:
    """Tables in two columns of about the same height."""
    sizes = [len(block["rows"]) + 2 for block in blocks]
    half, count, cut = sum(sizes) / 2.0, 0, 0
    while cut < len(blocks) and count + sizes[cut] / 2.0 <= half:
        count += sizes[cut]
        cut += 1
    return list(blocks[:cut]), list(blocks[cut:])


def _tools(design: Design) -> Iterator[Block]:
    """Sheet 10."""
    rows = lists.tool_rows(design)
    for kind, members in groupby(rows, key=lambda row: row["kind"]):
        yield table([f"{str(kind)[:1].upper()}{str(kind)[1:]}", "Rated", "Standard",
                     "Calibrated until", "Serial number", "☐"],
                    [[*(str(row[head]) for head in ("item", "rated", "standard", "calibrated until",
                                                     "serial number")), "☐"]
                     for row in members])  # fmt: skip
    labels = schedules.label_rows(design.installation)
    yield table(["Label or sign", "Words on it", "Where", "Count"],
                [[str(row[head]) for head in ("label", "words on it", "where", "count")]
                 for row in labels], right=(3,))  # fmt: skip


def _torques(design: Design) -> Iterator[Block]:
    """Sheet 11: values stay empty until they are copied from the data sheet."""
    yield sentence("Copy each value from the manufacturer's sheet, with its page and your initials;"
                   " no value is given here on purpose.")  # fmt: skip
    yield table(
        ["Joint or setting", "Tags", "Count", "By the design", "Unit", "Set to", "Sheet, page",
         "Initials", "Checked"],
        [[*(str(row[head]) for head in ("what", "tags", "joints", "by the design", "unit")),
          None, None, None, None] for row in lists.torque_rows(design)],
        look="tests", tall_mm=5.5, right=(2,),
    )  # fmt: skip


def _days(design: Design) -> Iterator[Block]:
    """Sheet 12."""
    yield table(["Day", "Work", "People", "Hours", "Stops in rain", "Curing"],
                [[str(row[head]) for head in ("day", "work", "people", "work [h]",
                                              "weather-dependent", "curing")]
                 for row in day_rows(design.programme)],
                right=(2, 3), look="schedule")  # fmt: skip


def _switching(design: Design) -> Iterator[Block]:
    """Sheet 13, which also goes on the wall: off, on and emergency side by side."""
    rows = lists.switching_rows(design)
    columns = [
        [table([f"{str(sequence).upper()}", "Device", "Do"],
               [[str(row["step"]), f"{row['tag']} {row['device']}", row["do"]]
                for row in members], look="schedule")]
        for sequence, members in groupby(rows, key=lambda row: row["sequence"])
    ]  # fmt: skip
    yield beside(*columns)
    yield sentence(strong("WARNING "), lists.switching_words(design))


def _tests(design: Design) -> Iterator[Block]:
    """Sheets 14 to 16."""
    _, lines = sheet_of_site(design)
    yield from safety_blocks()
    yield instrument_table(lines)
    yield from blank_blocks(lines)


def rows_table(rows: Iterable[Row], *, left_out: Sequence[str] = ()) -> Block:
    """A schedule as a table with all of its columns but some."""
    kept = [{key: value for key, value in row.items() if key not in left_out} for row in rows]
    heads = list(kept[0]) if kept else []
    cells: list[list[Cell]] = [[str(row[head]) for head in heads] for row in kept]
    return table([f"{head[:1].upper()}{head[1:]}" for head in heads], cells, look="schedule")
