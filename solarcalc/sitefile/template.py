"""What a site file still has as the template gave it: told, and refused where a report needs more.

A fresh site file is sound so that it can be tried; its place and its loads are invented, and a
report of them would be one of nobody's house.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from typing import TYPE_CHECKING, Any

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import data_folder
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import Loc, Origins, plain, shown, where
from solarcalc.sitefile.loads import BOARDS
from solarcalc.sitefile.survey import PLACE_KEYS, TABLE, Survey

if TYPE_CHECKING:
    from solarcalc.sitefile.read import SiteFile

PLACE = ("name", "latitude_deg", "longitude_deg")
"""Keys of [site] that no two sites share; a clock they may, so it goes with the longitude."""


@cache
def template_tables() -> Mapping[str, Any]:
    """The tables of the template as a fresh site file has them."""
    return tomllib.loads((data_folder() / "templates" / "site.toml").read_text(encoding="utf-8"))


def as_template(written: Mapping[str, Any]) -> list[tuple[Loc, Any]]:
    """Place and value of each key that stands as in the template."""
    return list(_same(written, template_tables(), ()))


def _same(written: Any, template: Any, loc: Loc) -> Iterator[tuple[Loc, Any]]:
    if isinstance(written, Mapping) and isinstance(template, Mapping):
        for key in template.keys() & written.keys():
            yield from _same(written[key], template[key], (*loc, key))
    elif isinstance(template, list) and template and isinstance(template[0], Mapping):
        for number, row in enumerate(written if isinstance(written, list) else []):
            if row in template:
                yield (*loc, number), row
    elif written == template:
        yield loc, written


def template_lines(sitefile: SiteFile) -> list[str]:
    """What stands as in the template, for a reader: nothing where no value does."""
    if sitefile.survey is not None:
        return survey_lines(sitefile.survey)
    found = sorted(_words(loc, value) for loc, value in as_template(sitefile.written))
    if not found:
        return []
    refused = template_faults(sitefile)
    return [
        f"template  {len(found)} still as in the template, check each:"
        f" {', '.join(found)}",
        *([f"template  no report until these are your own: "
           f"{', '.join(fault.where.partition(': ')[2] for fault in refused)}"] if refused else []),
    ]  # fmt: skip


def survey_lines(survey: Survey) -> list[str]:
    """What a short site file leaves to defaults and rules of thumb, for a reader."""
    said = "; ".join(f"{one.key}: {words}" for one, words in survey.defaults)
    refused = [one.key for one, _ in survey.defaults if one.key in _nobodys(survey)]
    return [
        *([f"survey    {len(survey.defaults)} not filled in, default used: {said}"]
          if said else []),
        *([f"survey    answers that tables of the file take the place of:"
           f" {'; '.join(survey.replaced)}"] if survey.replaced else []),
        *([f"survey    first size by rules of thumb, enter your own: {', '.join(survey.sized)}"]
          if survey.sized else []),
        *([f"survey    no report until these are filled in: {', '.join(refused)}"]
          if refused else []),
    ]  # fmt: skip


def _nobodys(survey: Survey) -> tuple[str, ...]:
    """Keys left empty that a report cannot do without; a time zone's town is a place."""
    town = "time_zone" in survey.answers.values
    asked = PLACE_KEYS[2:] if town else PLACE_KEYS
    return tuple(one.key for one, _ in survey.defaults if one.key in asked)


def _words(loc: Loc, value: Any) -> str:
    place = where(loc, Origins(file="")).partition(": ")[2].partition(" (")[0]
    return f"{place} = {shown(value['name'] if isinstance(value, Mapping) else value)}"


def template_faults(sitefile: SiteFile) -> list[Fault]:
    """A fault for each part of the place, and each board's loads, that is the template's.

    Of a short site file: for each of them that nobody filled in.
    """
    if (survey := sitefile.survey) is not None:
        told = {one.key: words for one, words in survey.defaults}
        return [Fault(where=f"{plain(sitefile.path.name)}: {TABLE}.{key}",
                      **worded("sitefile", "survey-empty", key=key, words=told[key]))
                for key in _nobodys(survey)]  # fmt: skip
    written, origins = sitefile.written, Origins(file=sitefile.path.name)
    site, template = written["site"], template_tables()["site"]
    kept = [key for key in PLACE if site.get(key) == template[key]]
    if "longitude_deg" in kept and site.get("time_zone") == template["time_zone"]:
        kept.append("time_zone")
    faults = [
        Fault(where=where(("site", key), origins), given=shown(site[key]),
              **worded("sitefile", "template-place", key=key))
        for key in kept
    ]  # fmt: skip
    for board in BOARDS:
        rows = written.get("loads", {}).get(board)
        if rows and rows == template_tables()["loads"][board]:
            names = ", ".join(plain(str(row["name"])) for row in rows)
            faults.append(Fault(
                where=where(("loads", board), origins),
                **worded("sitefile", "template-loads", names=names, board=board),
            ))  # fmt: skip
    return faults


def refuse_template(sitefile: SiteFile) -> None:
    """InputError for a site whose place or loads are still those of the template."""
    if faults := template_faults(sitefile):
        raise InputError(faults)
