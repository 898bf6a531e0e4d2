"""Papers of one site or several that are no documents: blank serial numbers, crews' days."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from solarcalc.basis.errors import Fault, InputError
from solarcalc.batch.folders import check_out_folder
from solarcalc.sitefile.dangers import task_cautions
from solarcalc.sitefile.read import read_site


@dataclass(frozen=True, kw_only=True)
class Papers:
    """Files that were written, and a sentence about them."""

    files: tuple[Path, ...]
    words: str = ""


def write_serials(path: Path, out: Path) -> Papers:
    """The blank list of serial numbers of a site, a position a line; one there is left alone.

    Parameters
    ----------
    path : Path
        Site file.
    out : Path
        Folder; made if its parent exists.

    Raises
    ------
    InputError
        For a site file with faults, a folder that cannot be written to, or a list of that name
        that exists already.
    """
    from solarcalc.basis.messages import messages
    from solarcalc.design import open_design
    from solarcalc.stages.serials import blank_serials, positions_of

    check_out_folder(out)
    design = open_design(path)
    positions = positions_of(design.installation)
    table = out / f"{design.sitefile.slug}-serials.csv"
    language = design.site.firm.crew
    said = messages(language).text
    head = (said("sp_serials_of", site=design.site.site.name), said("sp_serials_fill"))
    _write_new(table, blank_serials(positions, head=head, language=language))
    return Papers(files=(table,), words=f"{len(positions)} positions: fill them in, and name the"
                  " list under [handover] in the site file")  # fmt: skip


def _write_new(table: Path, content: bytes) -> None:
    try:
        with table.open("xb") as file:
            file.write(content)
    except FileExistsError:
        raise InputError(Fault(
            where=str(table), given="a list that exists already", allowed="a new file",
            why="it may have been filled in", remedy="move it, or choose another --out",
        )) from None  # fmt: skip


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

    check_out_folder(out)
    found = []
    for path in paths:
        design = open_design(path)
        found.append(site_works(design.site.programme, design.work, name=design.site.site.name,
                                where=f"{path.name}: programme",
                                cautions=task_cautions(design.site)))  # fmt: skip
    names = [one.name for one in found]
    if len(set(names)) < len(names):
        raise InputError(Fault(where="site.name", given=", ".join(names),
                               allowed="a different name for each site"))  # fmt: skip
    rule = read_site(paths[0]).site.programme
    teams = [site_crew(rule, name=f"crew {number + 1}") for number in range(crews)]
    schedule = share_crews(found, teams)
    picture, table = out / "crews.png", out / "crews.csv"
    _write_picture(schedule, picture)
    write_bytes(table, table_csv(day_rows(schedule)))
    words = " ".join(f"{name}: {programme_answer(schedule, name)}" for name in names)
    return Papers(files=(picture, table), words=words)


def _write_picture(schedule: Any, path: Path) -> None:
    import io

    from solarcalc.figures import draw_sites
    from solarcalc.page import FIGURE_DPI
    from solarcalc.quote.export import write_bytes

    picture = io.BytesIO()
    draw_sites(schedule).savefig(picture, format="png", dpi=FIGURE_DPI, bbox_inches="tight")
    write_bytes(path, picture.getvalue())
