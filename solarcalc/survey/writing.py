"""A survey to fill in, with what site files say already: as a spreadsheet, as a page for a phone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import write_whole
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import plain
from solarcalc.sitefile.read import LIBRARY, SiteFile, read_site
from solarcalc.sitefile.survey import TABLE
from solarcalc.sitefile.survey_fields import Answers, Value, fields, read_value
from solarcalc.sitefile.survey_lines import obstacle_line
from solarcalc.sitefile.toml import read_toml
from solarcalc.sitefile.weather import NO_FILE
from solarcalc.survey.phone import phone_html
from solarcalc.survey.workbook import survey_xlsx

_LOAD_KEYS = {"name", "catalogue", "power_w", "count", "use"}


def write_spreadsheet(path: Path, sites: Sequence[Path], *, rows: bool) -> list[str]:
    """Write a spreadsheet of a survey; gives notes on what of site files it cannot hold.

    Raises
    ------
    InputError
        For a site file that is not valid, or when there is a file already.
    """
    known, notes = _known(sites)
    _put(path, survey_xlsx(known, rows=rows))
    return notes


def write_phone(path: Path, sites: Sequence[Path]) -> list[str]:
    """Write the page for a phone, of at most one site; gives notes as `write_spreadsheet`.

    Raises
    ------
    InputError
        As `write_spreadsheet`, and for more sites than one.
    """
    if len(sites) > 1:
        raise InputError(Fault(where="SITE", given=f"{len(sites)} sites with --phone",
                               allowed="at most one"))  # fmt: skip
    known, notes = _known(sites)
    _put(path, phone_html(known[0] if known else {}).encode())
    return notes


def _put(path: Path, content: bytes) -> None:
    if path.exists():
        raise InputError(Fault(where=str(path), **worded("survey", "survey-there")))
    try:
        write_whole(path, content)
    except OSError as error:
        raise InputError(Fault(where=str(path), given=error.strerror or str(error),
                               allowed="a folder that exists and may be written")) from None


def _known(sites: Sequence[Path]) -> tuple[list[Mapping[str, Value]], list[str]]:
    faults: list[Fault] = []
    found, notes = [], []
    for path in sites:
        try:
            sitefile = read_site(path)
        except InputError as error:
            faults += error.faults
            continue
        values, left = known_answers(sitefile)
        found.append(values)
        if left:
            notes.append(f"{path}: not in the survey, stays in the site file:"
                         f" {', '.join(map(plain, left))}")  # fmt: skip
    if faults:
        raise InputError(faults)
    return found, notes


def known_answers(sitefile: SiteFile) -> tuple[dict[str, Value], list[str]]:
    """What a site file answers of the list, and the tables or keys that the list has not.

    Parameters
    ----------
    sitefile : SiteFile
        A short one, or one of the long form.
    """
    if sitefile.survey is not None:
        others = [name for name in read_toml(sitefile.path) if name != TABLE]
        return dict(sitefile.survey.answers.values), others
    answers = Answers()
    written, held = sitefile.written, set[str]()
    for one in fields():
        if one.kind in ("number", "text", "choice") and len(one.path) == 1:
            value = _at(written, one.path[0])
            _take(answers, one.key, value)
        held |= {path.partition(".")[0] for path in one.path}
    source = str(answers.values.get("weather", ""))
    if source and source not in NO_FILE and not source.startswith(LIBRARY):
        _take(answers, "weather", str((sitefile.folder / source).resolve()))
    _roof(answers, written)
    _grid(answers, written)
    left = _loads(answers, written)
    return answers.values, [*(name for name in written if name not in held), *left]


def _at(tables: Mapping[str, Any], path: str) -> Any:
    found: Any = tables
    for part in path.split("."):
        found = found.get(part) if isinstance(found, Mapping) else None
    return found


def _take(answers: Answers, key: str, value: Any) -> None:
    """Take a value that the list can hold; another stays in the site file."""
    one = next(one for one in fields() if one.key == key)
    try:
        found = read_value(one, value, "")
    except InputError:
        return
    if found is not None:
        answers.values[key] = found


def _roof(answers: Answers, written: Mapping[str, Any]) -> None:
    boxes = _at(written, "roof.obstacles") or []
    keys = ("name", "along_m", "up_m", "length_m", "depth_m", "height_m")
    _take(answers, "obstacles",
          [obstacle_line([box["name"].replace(":", " "), *(float(box[key]) for key in keys[1:])])
           for box in boxes])  # fmt: skip
    azimuth, height = (_at(written, f"horizon.{key}_deg") or [] for key in ("azimuth", "height"))
    _take(answers, "horizon", ", ".join(f"{east:g}:{high:g}" for east, high in
                                        zip(azimuth, height, strict=True)))  # fmt: skip
    sizes = [_at(written, f"room.{key}_m") for key in ("length", "depth", "height")]
    if None not in sizes:
        _take(answers, "room_m", " x ".join(f"{size:.12g}" for size in sizes))
    kinds = {"open-frame": "flat slab", "small-gap": "metal sheet", "flush": "metal sheet"}
    _take(answers, "roof_kind", kinds.get(str(_at(written, "array.mounting"))))


def _grid(answers: Answers, written: Mapping[str, Any]) -> None:
    answers.values.pop("grid_h_per_day", None)
    kind, away = _at(written, "grid.kind") or "none", _at(written, "grid.outage_h_per_day")
    hours = {"none": 0.0, "always": 24.0}.get(kind)
    if kind == "random":
        hours = 24.0 - (away if away is not None else 6.0)
    _take(answers, "grid_h_per_day", hours)


def _loads(answers: Answers, written: Mapping[str, Any]) -> list[str]:
    """The rows of both boards as lines; the keys of theirs that a line has not."""
    lines, left = [], set[str]()
    for board in ("essential", "nonessential"):
        for row in _at(written, f"loads.{board}") or []:
            name = " ".join(str(row["name"]).replace(",", " ").replace(";", " ").split())
            what = row.get("catalogue") if "power_w" not in row else None
            hours = "+".join(span.replace(" ", "") for span in row["use"])
            power = f"{row.get('power_w', 0.0):.12g}"
            lines.append(f"{what or f'{name} {power} W'}, {row.get('count', 1)}, {hours}, {board}")
            left |= {f"loads.{board}.{key}" for key in row.keys() - _LOAD_KEYS}
    _take(answers, "loads", lines)
    return sorted(left)
