"""From a site file, or one with some values changed, to a validated record or to every fault."""

from __future__ import annotations

import importlib.util
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.text import brief, nearest, safe_file_name
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import Loc, Record, Sound, plain, shown, where
from solarcalc.sitefile.changes import changed_tables, put_in
from solarcalc.sitefile.equipment import fill_in_equipment, known_equipment
from solarcalc.sitefile.load_profile import profile_faults
from solarcalc.sitefile.place import standard_time_offset_h, zone_fault
from solarcalc.sitefile.planes import (
    PlaneDoubt,
    plane_faults,
    tables_by_plane,
    with_whole_planes,
)
from solarcalc.sitefile.renamed import by_todays_names
from solarcalc.sitefile.search import kind_faults, plane_name_faults, searches_kinds
from solarcalc.sitefile.site import Site, cross_faults
from solarcalc.sitefile.survey import TABLE, Survey, read_answers, survey_of
from solarcalc.sitefile.survey_fields import Answers
from solarcalc.sitefile.variants import (
    Variant,
    read_tables,
    rows_of,
    still_there,
    variant_file,
    variant_key,
)
from solarcalc.sitefile.weather import LIBRARY, NO_FILE
from solarcalc.sitefile.wording import faults_of, follows

_MOST_NAME = 120
"""Letters of a site's name."""
_OF_WHAT_STANDS = {
    "commissioning": {"results": ""}, "logger": {"file": ""}, "handover": {"serials": ""}}


@dataclass(frozen=True, kw_only=True)
class SiteFile:
    """A site file that passed every check.

    Parameters
    ----------
    path : Path
        The file.
    folder : Path
        Its folder; names of other files in it are looked for from here.
    written : mapping
        Its tables as written, before equipment and the chosen place are filled in; those of the
        files it is based on are under its own, those that follow from [survey] among them.
    site : Site
        The validated record, with its power room at the place chosen for it.
    offset_h : float
        Standard-time offset of the site's clock [h] east of Greenwich.
    equipment_keys : mapping
        Table of the site file, such as ``"inverter.nonessential"``, to the catalogue key it used.
    slug : str
        The site's name as a safe file name.
    examples : tuple of str
        Tables whose equipment comes from the invented lists: ``"module"``.
    bases : tuple of Path
        The files it is based on, the nearest first.
    survey : Survey or None
        What a short site file says; None for one without [survey].
    variant : str
        Which of the file's variants this is, as a site of its own; empty: the site itself.
    as_written : Site or None
        The record of `written` alone, before its power room is at its place; None for one roof
        plane of several.
    """

    path: Path
    folder: Path
    written: Mapping[str, Any]
    site: Site
    offset_h: float
    equipment_keys: Mapping[str, str]
    slug: str
    examples: tuple[str, ...] = ()
    bases: tuple[Path, ...] = ()
    survey: Survey | None = None
    variant: str = ""
    as_written: Site | None = None

    @property
    def word(self) -> str:
        """What asks for it: its file, and after a colon its variant."""
        return f"{self.path}:{self.variant}" if self.variant else str(self.path)

    @property
    def called(self) -> str:
        """What its faults call it: the file, and its variant."""
        name = self.path.name
        return variant_file(name, self.variant) if self.variant else name

    @property
    def content(self) -> bytes:
        """The file and those it is based on, as they stand on the disk."""
        return b"\n".join(path.read_bytes() for path in (self.path, *self.bases))


def read_site(path: Path | str) -> SiteFile:
    """The validated site of a site file.

    Parameters
    ----------
    path : Path or str
        A TOML file.

    Returns
    -------
    SiteFile

    Raises
    ------
    InputError
        With every fault of the file: syntax, unknown or missing keys, values out of range,
        contradictions between fields, equipment keys and weather files that do not exist.
    """
    path = Path(path).absolute()
    if path.suffix.lower() == ".xlsx":
        raise InputError(Fault(
            where=path.name, given="a spreadsheet", allowed="a site file (TOML)",
            remedy=f"solarcalc new --from {path.name} makes the site files of a survey"))
    read = read_tables(path)
    if TABLE not in read.tables:
        return replace(_whole(read.tables, path, read.stands, read.faults), bases=read.bases)
    if read.faults:
        raise InputError(read.faults)
    answers = read_answers(read.tables[TABLE], path, plain(path.name))
    return replace(surveyed_site(answers, read.tables, path), bases=read.bases)


def surveyed_site(answers: Answers, written: Mapping[str, Any], path: Path) -> SiteFile:
    """The validated site of what was found on the first visit.

    Parameters
    ----------
    answers : Answers
    written : mapping
        Tables of the site file that stand beside its table [survey].
    path : Path
        The site file, which need not exist.

    Raises
    ------
    InputError
        As `read_site`; a fault names the line or cell of the answer that it comes from.
    """
    own, faults = by_todays_names(
        {name: table for name, table in written.items() if name != TABLE}, f"{plain(path.name)}: ")
    survey = survey_of(answers, own, plain(path.name), known_equipment(own, path))
    if faults:
        raise InputError(faults)
    return replace(_whole(survey.tables, path, survey.places), survey=survey)


def _whole(
    tables: Mapping[str, Any], path: Path, stands: Mapping[Loc, str], faults: Sequence[Fault] = ()
) -> SiteFile:
    """The site of tables with its variants, or every fault, those given first."""
    sitefile, own = _judged(tables, path, path.name, stands)
    found = [*faults, *own, *_faults_of_variants(tables, path, (path.name, own, stands))]
    if found or sitefile is None:
        raise InputError(found)
    return sitefile


def _faults_of_variants(
    written: Mapping[str, Any], path: Path, own: tuple[str, list[Fault], Mapping[Loc, str]]
) -> list[Fault]:
    """What each variant has wrong with it that the site itself has not.

    Of the site: what its faults call it, these, and what stands in another file.
    """
    file, known, stands = own
    told = {_without(fault, file) for fault in known}
    faults: list[Fault] = []
    for name, tables in rows_of(written):
        label = variant_file(file, name)
        try:
            _, found = _judged(changed_tables(written, tables, label), path, label,
                               still_there(stands, tables))  # fmt: skip
        except InputError as error:  # what differs is not in tables
            found = list(error.faults)
        faults += [fault for fault in found if _without(fault, label) not in told]
    return faults


def _without(fault: Fault, file: str) -> Fault:
    """A fault wherever it was found."""
    return replace(fault, where=fault.where.removeprefix(plain(file)))


def _judged(
    written: Mapping[str, Any], path: Path, file: str, stands: Mapping[Loc, str] | None = None,
    before: SiteFile | None = None,
) -> tuple[SiteFile | None, list[Fault]]:
    """The site of the tables of a file, if it is one, and every fault; `file` is what they call it.

    `stands` says of values that no table of the file has where they are: in another file, or in an
    answer of its survey. A table that is as it was `before` is not validated again.
    """
    written, faults = by_todays_names(written, f"{plain(file)}: ",
                                      settled=before.written if before else None)  # fmt: skip
    resolved = fill_in_equipment(with_whole_planes(written), path, file)
    faults += resolved.faults
    origins = replace(resolved.origins, equipment={**(stands or {}), **resolved.origins.equipment})
    site, bad = None, list(resolved.broken)
    try:
        site = Site.model_validate(resolved.data | _as_before(written, before))
    except ValidationError as error:
        bad += [item["loc"] for item in error.errors(include_url=False) if not follows(item)]
        told = PlaneDoubt(written=written, bad=bad)
        faults += faults_of(error, origins=origins, data=resolved.data,
                            skip=(*resolved.broken, *filter(told.inherited, bad)))
    sound = Sound(resolved.data, bad, origins, Site)
    faults += cross_faults(sound)
    faults += plane_faults(sound, written, Site)
    offset_h = _offset_h(sound, faults)
    _weather(sound, path, faults)
    if searches_kinds(sound):
        faults += kind_faults(sound, known_equipment(written, path))
    if file == path.name:  # as written, not as a variant or a search changes it
        faults += plane_name_faults(sound)
    faults += profile_faults(sound, path.parent)
    if site is None or offset_h is None:
        return None, faults
    return SiteFile(path=path, folder=path.parent, written=written, as_written=site,
                    site=site.at(site.room.place).unnamed(), offset_h=offset_h,
                    equipment_keys=resolved.keys, slug=safe_file_name(site.site.name),
                    examples=resolved.examples), faults  # fmt: skip


def _as_before(written: Mapping[str, Any], before: SiteFile | None) -> dict[str, Record]:
    """Records of the tables that are those written before; a plane follows from other tables."""
    if before is None or before.as_written is None or _unlike(
            "equipment_files", written, before.written):  # fmt: skip
        return {}
    known = Site.model_fields.keys() - {"planes"}
    return {name: getattr(before.as_written, name) for name in written
            if name in known and not _unlike(name, written, before.written)}  # fmt: skip


def _unlike(table: str, one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Whether a table is not the very same in both: 1 and true are equal, and only one is right."""
    return one.get(table) is not other.get(table)


def plane_files(sitefile: SiteFile) -> tuple[SiteFile, ...]:
    """The site file of each roof plane, as if the site had that one alone; itself where it has one.

    They may be changed as any other: what they say is theirs.
    """
    if not sitefile.site.planes:
        return (sitefile,)
    return tuple(
        replace(sitefile, written=tables, site=site, as_written=None)
        for tables, site in zip(tables_by_plane(sitefile.written), sitefile.site.sites, strict=True)
    )


def weather_path(sitefile: SiteFile) -> Path:
    """The weather file of a site.

    Parameters
    ----------
    sitefile : SiteFile

    Returns
    -------
    Path
        A file that exists.

    Raises
    ------
    InputError
        When there is no such file.
    """
    where = f"{plain(sitefile.path.name)}: weather.source"
    return _weather_file(sitefile.site.weather.source, sitefile.folder, where)


@cache
def library_folder() -> Path:
    """Data folder of the installed pvlib, found without importing pvlib."""
    spec = importlib.util.find_spec("pvlib")
    if spec is None or not spec.submodule_search_locations:
        raise InputError(Fault(**worded("sitefile", "weather-source")))
    return Path(spec.submodule_search_locations[0]) / "data"


@cache
def library_weather() -> tuple[str, ...]:
    """Names of the weather years in pvlib's own data."""
    return tuple(
        sorted(
            path.name
            for path in library_folder().iterdir()
            if path.suffix.lower() == ".tm2"
            or (path.suffix.lower() == ".csv" and "TY" in path.stem)
        )
    )


def _weather_file(source: str, folder: Path, where: str) -> Path:
    if source.startswith(LIBRARY):
        name, known = source.removeprefix(LIBRARY), library_weather()
        if name in known:
            return library_folder() / name
        near = nearest(name, known)
        raise InputError(
            Fault(
                where=where,
                given=shown(source),
                allowed=f"{LIBRARY} and one of " + ", ".join(known),
                why="library: names a weather year that comes with pvlib, without a folder",
                remedy=f"did you mean {LIBRARY}{near}?" if near else "",
            )
        )
    path = folder / source
    try:
        if path.is_file():
            return path
        found = "a folder" if path.is_dir() else "which does not exist"
    except OSError as error:
        found = error.strerror or "which cannot be read"
    raise InputError(
        Fault(
            **worded("sitefile", "weather-file", shown=shown(source), found=found, folder=folder),
            where=where,
        )
    )


def _weather(sound: Sound, path: Path, faults: list[Fault]) -> None:
    source = sound.get("weather", "source")
    if source is None or source in NO_FILE:
        return
    try:
        _weather_file(source, path.parent, where(("weather", "source"), sound.origins))
    except InputError as error:
        faults += error.faults


def _offset_h(sound: Sound, faults: list[Fault]) -> float | None:
    time_zone, longitude = sound.get("site", "time_zone"), sound.get("site", "longitude_deg")
    if time_zone is None:
        return None
    place = where(("site", "time_zone"), sound.origins)
    try:
        offset_h = standard_time_offset_h(time_zone, where=place)
    except InputError as error:
        faults += error.faults
        return None
    if longitude is not None:
        fault = zone_fault(time_zone, longitude, offset_h, where=place)
        faults += [fault] if fault is not None else []
    return offset_h


def with_changes(sitefile: SiteFile, changes: Mapping[str, Mapping[str, Any]]) -> SiteFile:
    """The same site with values changed, checked as if they stood in the file.

    Parameters
    ----------
    sitefile : SiteFile
    changes : mapping of table to mapping of key to value
        ``{"array": {"tilt_deg": 15.0}}``, a table in a table as ``{"runs": {"dc_main": {...}}}``; a
        value of None leaves the file's own.

    Raises
    ------
    InputError
        With every fault, named as in the site file with the words "as changed".
    """
    return _changed(sitefile, changes, f"{sitefile.path.name}, as changed")


def as_variant(sitefile: SiteFile, name: str) -> SiteFile:
    """One of the variants of a site, whatever the case and spaces of its name.

    Raises
    ------
    InputError
        Where the site has none of that name, and with every fault of one that the site as it was
        changed does not allow.
    """
    found = _variant(sitefile, name)
    return _changed(sitefile, found.tables, variant_file(sitefile.path.name, found.name))


def alone(sitefile: SiteFile, name: str) -> SiteFile:
    """One of the variants as a site of its own, called by both names, without the others.

    Tests, logger and serial numbers of the site are of the system that stands, not of this one.

    Raises
    ------
    InputError
        As `as_variant`.
    """
    found = _variant(sitefile, name)
    own = {"name": brief(f"{sitefile.site.site.name}, {found.name}", _MOST_NAME)}
    tables = put_in({"site": own, "variants": [], **_OF_WHAT_STANDS}, found.tables)
    file = variant_file(sitefile.path.name, found.name)
    return replace(_changed(sitefile, tables, file), variant=found.name)


def _variant(sitefile: SiteFile, name: str) -> Variant:
    known = {variant_key(one.name): one for one in sitefile.site.variants}
    found = known.get(variant_key(name))
    if found is None:
        near = nearest(name, [one.name for one in known.values()])
        names = ", ".join(one.name for one in known.values())
        raise InputError(Fault(
            where=f"{plain(sitefile.path.name)}: variants", given=shown(name),
            allowed=f"one of {names}" if names else "none: the site file has no [[variants]]",
            remedy=f"did you mean {near}?" if near else "",
        ))  # fmt: skip
    return found


def _changed(sitefile: SiteFile, changes: Mapping[str, Any], file: str) -> SiteFile:
    tables = changed_tables(sitefile.written, changes, file)
    found, faults = _judged(tables, sitefile.path, file, before=sitefile)
    if "variants" in changes:
        faults += _faults_of_variants(tables, sitefile.path, (file, faults, {}))
    if faults or found is None:
        raise InputError(faults)
    return replace(found, bases=sitefile.bases, survey=sitefile.survey, variant=sitefile.variant)
