"""The site pack: what the crew builds, fits and tests by, a sheet for each thing they ask.

Sheets 1 to 13 are always the same; the test sheet begins with sheet 14. Headings are in the
crew's language by ``data/messages``, texts of the data tables by `solarcalc.basis.phrases`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from solarcalc.basis.files import data_rows
from solarcalc.basis.phrases import listed
from solarcalc.basis.text import capital, short_name
from solarcalc.diagrams.sheet import SHEETS, paper_of, title_block
from solarcalc.documents import site_lists
from solarcalc.documents.crew import Crew
from solarcalc.documents.making import Making
from solarcalc.documents.pdf import page_count
from solarcalc.documents.test_sheet import LINE_MM, blank_blocks, safety_blocks
from solarcalc.documents.tree import (
    Block,
    Document,
    Head,
    Words,
    beside,
    box,
    closer,
    columns,
    drawing,
    drawings,
    fill,
    heading,
    landscape,
    new_page,
    pairs,
    points,
    sentence,
    soft,
    strong,
    table,
)
from solarcalc.programme.days import day_list, day_words
from solarcalc.quote.export import table_csv
from solarcalc.sitefile.dangers import dangers_of
from solarcalc.sitefile.status import signatures
from solarcalc.sitepack import modules
from solarcalc.stages.progress import document_status
from solarcalc.stages.serials import blank_serials, positions_of
from solarcalc.views import drawings as sheets
from solarcalc.views import sitepack as lists
from solarcalc.views.commissioning import blank_bytes, sheet_of_site

MOST_DANGERS = 5
"""Lines of the box of dangers on the job card; each task's own stand beside it in the day list."""
LINES_FRAC = (0.95, 0.9, 0.85, 0.8)
"""Height of the lines of a sheet of which a few would need a page of their own; a hand still
writes in the lowest, of 4.4 mm (common practice, no source)."""
TITLES = (
    "job_card", "roof", "fixing", "strings", "single_line", "room_and_terminals",
    "trench_and_earthing",
    "schedule", "pick", "tools", "torques", "days", "switching", "tests",
)  # fmt: skip
"""Key of the title of each sheet, from sheet 1 on; ``sp_...`` of data/messages."""


def documents(making: Making) -> tuple[Document, ...]:
    """The site pack of a site, with the table of tests to be filled in beside it."""
    design, crew = making.design, Crew(design=making.design)
    _, lines = sheet_of_site(design)
    block = title_block(design.drawn.site, number="SP-01", sheet=1, title=crew.t("sp_title"))
    head = making.head("SP", crew.t("sp_title"), kind=crew.t("sp_kind"), language=crew.language,
                       status=document_status(design, "SP"))  # fmt: skip
    return (Document(
        code="SP", head=head, look="sheet", stamp=making.example_stamp(crew.language, priced=False),
        contents=True, blocks=tuple(_blocks(making, crew, block.status)),
        files={"tests-to-fill-in.csv": blank_bytes(design, lines),
               "serial-numbers.csv": blank_serials(
                   positions_of(design.installation), language=crew.language),
               **_schedules(crew)},
    ),)  # fmt: skip


def _schedules(crew: Crew) -> dict[str, bytes]:
    """Tables that the drawings name: every corner of a module and every rail; none without plan."""
    tables = {name: [
        {listed(head, crew.language): listed(one, crew.language) if isinstance(one, str) else one
         for head, one in row.items()} for row in lists.plan_rows(crew.design, rows)]
        for name, rows in (
            ("module-plan", modules.module_rows), ("rail-plan", modules.rail_rows))}  # fmt: skip
    return {f"{name}.csv": table_csv(rows) for name, rows in tables.items() if rows}


def _blocks(making: Making, crew: Crew, status: str) -> Iterator[Block]:
    yield from job_card(making, crew, status)
    yield from _drawings(crew)

    def top(number: int) -> Block:
        key = TITLES[number - 1]
        where = f"{crew.number(number)} · {crew.t('document_revision', revision=crew.revision)}"
        said = crew.t(f"status_{status.replace(' ', '_')}")
        return heading(
            [f"{crew.t(f'sp_{key}')} ", soft(f"{where} · {number}/{SHEETS} · {said}")],
            key=_anchor(key),
        )  # fmt: skip

    yield landscape([top(8), *site_lists.schedule(crew)], paper="a3")
    yield landscape([top(9), *site_lists.pick_list(crew)], paper="a3")
    yield from snug([top(10), *site_lists.tools_and_labels(crew)])
    yield new_page()
    yield from snug([top(11), *site_lists.torques(crew)])
    yield landscape([top(12), *site_lists.days(crew)], paper="a3")
    yield landscape([top(13), *site_lists.switching(crew, making.firm.contact)])
    yield from snug([landscape([top(14), columns(_tests(crew))])])


def snug(sheet: Sequence[Block]) -> list[Block]:
    """A sheet whose last lines would stand alone on a page, with lower lines that save the page.

    The highest of `LINES_FRAC` that do; as it is where even the lowest do not.
    """
    most = _pages(sheet)
    if most > 1:
        least = _pages(closer(sheet, LINES_FRAC[-1]))
        for frac in LINES_FRAC if least < most else ():
            if _pages(lower := closer(sheet, frac)) == least:
                return lower
    return list(sheet)


def _pages(sheet: Sequence[Block]) -> int:
    """Pages of a sheet by itself."""
    head = Head(site="-", number="-", title="-")
    return page_count(Document(code="SP", head=head, look="sheet", headed=False,
                               blocks=tuple(sheet)))  # fmt: skip


def job_card(making: Making, crew: Crew, status: str) -> list[Block]:
    """Sheet 1: where, who, when, what kills, and where work stops until somebody has signed."""
    dangers = [crew.p(one.danger) for one in dangers_of(crew.design.site)[:MOST_DANGERS]]
    return [
        heading(crew.t("sp_job_card"), key="job-card"),
        beside([pairs(_where(making, crew))], [pairs(_who(making, crew))]),
        box([sentence(strong(crew.t("sp_danger")), f" {crew.t('sp_kills')}"), points(dangers)],
            look="danger"),
        heading(crew.t("sp_holds"), 3, key="hold-points"),
        table([crew.t(f"sp_{key}") for key in ("no", "hold", "who_signs", "name", "date")],
              hold_points(crew), look="tests", tall_mm=LINE_MM, shares=(7, 80, 26, 36, 22)),
        heading(crew.t("sp_sheets"), 3, key="sheets"),
        _listed(crew, status),
        sentence(crew.t("sp_local"), look="small"),
    ]  # fmt: skip


def _listed(crew: Crew, status: str) -> Block:
    """Every sheet by its number, title and revision, in two halves."""
    said = crew.t(f"status_{status.replace(' ', '_')}")
    rows = [[crew.number(number), crew.t(f"sp_{key}"), crew.revision, said]
            for number, key in enumerate(TITLES, start=1)]
    heads = [crew.t(f"sp_{head}") for head in ("sheet", "name_of_sheet", "revision", "status")]
    half = -(-len(rows) // 2)
    return beside(*([table(heads, part, shares=(17, 33, 7, 26))]
                    for part in (rows[:half], rows[half:])))  # fmt: skip


def _where(making: Making, crew: Crew) -> Iterator[tuple[Words, Words]]:
    place, t = crew.design.site.site, crew.t
    north, east = place.latitude_deg, place.longitude_deg
    yield t("sp_customer"), short_name(place.customer) or _line()
    yield t("sp_place"), (
        f"{crew.n(abs(north), 4)}° {t('sp_north' if north >= 0 else 'sp_south')}, "
        f"{crew.n(abs(east), 4)}° {t('sp_east' if east >= 0 else 'sp_west')}")
    for key in ("address", "contact", "hospital", "emergency"):
        yield t(f"sp_{key}"), _line()
    yield t("sp_office"), making.firm.contact or _line()


def _who(making: Making, crew: Crew) -> Iterator[tuple[Words, Words]]:
    site, t, works = crew.design.site, crew.t, day_list(crew.design.programme)
    yield t("sp_first_day"), crew.p(day_words(works[0].day))
    yield t("sp_last_day"), crew.p(day_words(works[-1].day))
    yield t("sp_people"), str(max(one.people for one in works))
    yield t("sp_built"), t(
        "sp_built_words", modules=site.module_count, kwp=crew.n(site.array_w / 1e3, 2),
        kwh=crew.n(site.battery.rated_wh / 1e3, 1),
        inverters=sum(one.count for one in site.inverters.values())) + (
        t("sp_built_generator", kw=crew.n(site.generator.power_w / 1e3, 1))
        if site.generator.there else "")
    for key in ("lead", "first_aider"):
        yield t(f"sp_{key}"), _line()
    yield t("sp_licensed"), crew.design.site.firm.licence or _line()


def _line() -> Words:
    return fill(16.0)


def hold_points(crew: Crew) -> list[list[str | None]]:
    """Number, what is to be seen to, who signs, and who has signed; then what was accepted.

    A review item of safety that somebody accepted is a hold point too: it was accepted on paper,
    and the crew is who sees it.
    """
    signed = {one.what: one for one in crew.design.site.status.signed}
    rows: list[list[str | None]] = []
    for key, one in signatures().items():
        if one.hold:
            by = signed.get(key)
            rows.append([key, crew.p(capital(one.what)), crew.p(one.who), by.name if by else None,
                         by.date if by else None])  # fmt: skip
        if key == "H2" and site_lists.tilted(crew):
            rows.append([site_lists.TILT_HOLD, crew.t("sp_tilt_hold"), crew.p(one.who), None,
                         None])  # fmt: skip
    lead = next(one.who for one in signatures().values() if one.hold)
    for number, check in enumerate(site_lists.accepted_for_safety(crew), start=1):
        rows.append([f"A{number}", crew.t("sp_accepted_line", what=crew.p(check.item)),
                     crew.p(lead), None, None])  # fmt: skip
    return rows


def _drawings(crew: Crew) -> Iterator[Block]:
    """Sheets 2 to 7: drawings on pages of their own, or why there is none."""
    design, t, language = crew.design, crew.t, crew.language
    for number, plane in enumerate(lists.sheets_by_plane(design, language), start=1):
        yield from _together(crew, ("roof", plane.roof), ("fixing", plane.fixing), of=number)
        yield from _each(crew, "strings", plane.strings, of=number)
    for name in lists.planes_without_plan(design):
        of = [f" {name}:"] if name else []
        yield box([sentence(strong(t("sp_warning")), *of, f" {t('sp_no_plan')}")], look="warning")
    yield from _each(crew, "single_line", sheets.single_line_sheets(design, language))
    yield from _each(crew, "room", [sheets.room_sheet(design, language)])
    terminals = [(svg, t("sp_terminals"))
                 for svg in lists.terminal_drawings(design, language).values()]
    trenches = lists.trench_plans(design, language)
    earthing = [sheets.earthing_sheet(design, language)]
    if trenches:
        yield from _together(crew, ("terminals", terminals[:1]), ("terminals", terminals[1:]))
        yield from _together(crew, ("trench", trenches), ("earthing", earthing))
    else:
        yield from _together(crew, ("terminals", terminals), ("earthing", earthing))


def _together(
    crew: Crew, *named: tuple[str, Sequence[lists.Drawn]], of: int = 1
) -> Iterator[Block]:
    """Drawings of two sheets: on one upright A3 where each is one of A4, else one after another.

    `of` counts the roof planes.
    """
    drawn = [one for _, svgs in named for one in svgs]
    small = all(paper_of(svg) == "a4" for svg, _ in drawn)
    if small and [len(svgs) for _, svgs in named] == [1, 1]:
        titles = dict.fromkeys(crew.t(f"sp_{key}") for key, _ in named)
        yield drawings(drawn, title=", ".join(titles), key=_anchor(named[0][0], of))
    else:
        for key, svgs in named:
            yield from _each(crew, key, svgs, of=of)


def _anchor(key: str, of: int = 1) -> str:
    """Where a sheet is linked to; those of further roof planes are told apart by their number."""
    return key.replace("_", "-") + ("" if of == 1 else f"-plane-{of}")


def _each(
    crew: Crew, key: str, drawn: Sequence[lists.Drawn], *, of: int = 1
) -> Iterator[Block]:
    """Drawings, each on a page of its own."""
    title, anchor = crew.t(f"sp_{key}"), _anchor(key, of)
    for number, (svg, alt) in enumerate(drawn, start=1):
        last = "" if len(drawn) == 1 else f" {number}"
        yield drawing(svg, alt, paper=paper_of(svg), title=f"{title}{last}",
                      key=anchor if number == 1 else f"{anchor}-{number}")  # fmt: skip


def _tests(crew: Crew) -> list[Block]:
    """Sheet 14 and its continuation: what is seen to first, then every test."""
    _, lines = sheet_of_site(crew.design)
    return [
        *safety_blocks(crew), *blank_blocks(lines, crew),
        sentence(crew.t("sp_tested_by"), " ", fill(14.0)),
        sentence(crew.t("sp_signed_by"), " ", fill(14.0)),
        sentence(crew.t("sp_csv"), look="small"),
    ]  # fmt: skip


def task_sheets() -> dict[str, tuple[tuple[int, ...], tuple[str, ...]]]:
    """Sheets and hold points of each task, by its key."""
    return {
        row["task"]: (tuple(int(one) for one in row["sheets"].split()), tuple(row["holds"].split()))
        for row in data_rows("task_sheets")
    }  # fmt: skip
