"""Papers of one site or several that are not the report: test sheet, handover pack, crews' days."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import write_whole
from solarcalc.batch.folders import check_out_folder
from solarcalc.batch.summary import site_summary
from solarcalc.sitefile.dangers import task_cautions
from solarcalc.sitefile.read import read_site

if TYPE_CHECKING:
    from solarcalc.basis.check import Check


@dataclass(frozen=True, kw_only=True)
class Papers:
    """Files that were written, a sentence about them, and checks that stand open."""

    files: tuple[Path, ...]
    words: str = ""
    open_checks: tuple[Check, ...] = ()


def write_test_sheet(path: Path, out: Path) -> Papers:
    """The blank test sheet of a site: one to print on A4, one to fill in as CSV.

    A sheet that is there already is left alone: somebody may have filled it in.

    Parameters
    ----------
    path : Path
        Site file.
    out : Path
        Folder; made if its parent exists.

    Raises
    ------
    InputError
        For a site file with faults, a folder that cannot be written to, or a CSV file of that
        name that exists already.
    """
    from solarcalc.design import open_design
    from solarcalc.report.write import blank_sheet_html
    from solarcalc.views.commissioning import blank_bytes, sheet_of_site

    check_out_folder(out)
    design = open_design(path)
    _, lines = sheet_of_site(design)
    summary = site_summary(design.sitefile, path.read_bytes())
    page, table = (out / f"{summary.slug}-tests.{ending}" for ending in ("html", "csv"))
    try:
        with table.open("xb") as file:
            file.write(blank_bytes(design, lines))
    except FileExistsError:
        raise InputError(Fault(
            where=str(table), given="a sheet that exists already", allowed="a new file",
            why="it may have been filled in", remedy="move it away, or name another --out",
        )) from None  # fmt: skip
    write_whole(page, blank_sheet_html(summary, lines))
    return Papers(files=(page, table), words=f"{len(lines)} tests: print the one, fill in the"
                  " other, and name it under [commissioning] in the site file")  # fmt: skip


def write_handover_pack(path: Path, out: Path, *, pdf: bool = True) -> Papers:
    """The report of a site, and beside it the pack for customer and engineer.

    Parameters
    ----------
    path : Path
        Site file; its ``[firm]`` says name, logo and language.
    out : Path
        Folder of the reports.
    pdf : bool
        Also as PDF.

    Raises
    ------
    InputError
        For a site file, logo or language that cannot be used, or a site whose report failed.
    """
    from solarcalc.batch.run import report_sites
    from solarcalc.design import open_design
    from solarcalc.report.handover import letterhead_of, make_handover
    from solarcalc.views.handover import customer_facts

    letterhead_of(read_site(path))
    result = report_sites([path], out)
    if result.failed:
        raise InputError(Fault(where=str(path), given="no report", allowed="a report to hand over",
                               why=result.failed[0][1]))  # fmt: skip
    ((slug, report),) = result.done
    design = open_design(path)
    facts = customer_facts(
        design, reference=hashlib.sha256(path.read_bytes()).hexdigest()[:12],
    )  # fmt: skip
    made = make_handover(
        design.sitefile, out / slug, facts=facts, findings=_findings(out / slug),
        report_html=report.read_text(encoding="utf-8"), pdf=pdf,
    )  # fmt: skip
    return Papers(files=made.files, open_checks=made.open_checks)


def write_crews(paths: Sequence[Path], out: Path, *, crews: int) -> Papers:
    """Days of several sites that share crews: a picture and a day list.

    Parameters
    ----------
    paths : sequence of Path
        Site files; ``programme.priority`` says who comes first, each crew is that of the first.
    out : Path
        Folder; made if its parent exists.
    crews : int
        How many, 1 or more.

    Raises
    ------
    InputError
        For site files with faults, two of one name, or a folder that cannot be written to.
    """
    from solarcalc.design import open_design
    from solarcalc.programme.days import day_rows, programme_answer
    from solarcalc.programme.schedule import share_crews, site_crew, site_works
    from solarcalc.quote.export import table_csv, write_bytes
    from solarcalc.stages.money import work_of

    check_out_folder(out)
    found = []
    for path in paths:
        design = open_design(path)
        work = work_of(design.installation)
        found.append(site_works(design.site.programme, work, name=design.site.site.name,
                                where=f"{path.name}: programme",
                                cautions=task_cautions(design.site)))  # fmt: skip
    names = [one.name for one in found]
    if len(set(names)) < len(names):
        raise InputError(Fault(where="site.name", given=", ".join(names),
                               allowed="each site under a name of its own"))  # fmt: skip
    rule = read_site(paths[0]).site.programme
    teams = [site_crew(rule, name=f"crew {number + 1}") for number in range(crews)]
    schedule = share_crews(found, teams)
    picture, table = out / "crews.png", out / "crews.csv"
    _write_picture(schedule, picture)
    write_bytes(table, table_csv(day_rows(schedule)))
    words = " ".join(f"{name}: {programme_answer(schedule, name)}" for name in names)
    return Papers(files=(picture, table), words=words)


def _findings(folder: Path) -> list[Any]:
    import nbformat

    from solarcalc.batch.workbook import in_chapter_order
    from solarcalc.report.findings import findings_of

    read: Any = nbformat.read
    books = {path.stem: path for path in sorted((folder / "workbooks").glob("*.ipynb"))}
    return [findings_of(name, read(books[name], as_version=4)) for name in in_chapter_order(books)]


def _write_picture(schedule: Any, path: Path) -> None:
    import io

    from solarcalc.figures import draw_sites
    from solarcalc.page import FIGURE_DPI
    from solarcalc.quote.export import write_bytes

    picture = io.BytesIO()
    draw_sites(schedule).savefig(picture, format="png", dpi=FIGURE_DPI, bbox_inches="tight")
    write_bytes(path, picture.getvalue())
