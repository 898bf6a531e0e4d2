"""A site with some values changed, as a workbook's parameters cell asks for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from pydantic import ValidationError

from solarcalc.basis.errors import Fault, InputError
from solarcalc.sitefile.cross import cross_faults
from solarcalc.sitefile.read import SiteFile
from solarcalc.sitefile.records import Site
from solarcalc.sitefile.sound import Sound
from solarcalc.sitefile.wording import Origins, faults_of, shown


def with_changes(sitefile: SiteFile, changes: Mapping[str, Mapping[str, Any]]) -> SiteFile:
    """The same site with values changed, checked as if they stood in the file.

    Parameters
    ----------
    sitefile : SiteFile
    changes : mapping of table to mapping of key to value
        ``{"array": {"tilt_deg": 15.0}}``, a table in a table as ``{"runs": {"main": {...}}}``; a
        value of None leaves the file's own.

    Raises
    ------
    InputError
        With every fault, named as in the site file with the words "as changed".
    """
    data = sitefile.site.model_dump(exclude_unset=True, exclude_none=True)
    origins = Origins(file=f"{sitefile.path.name}, as changed")
    _refuse_no_tables(changes, origins)
    data = _put_in(data, changes)
    site, faults, bad = None, [], []
    try:
        site = Site.model_validate(data)
    except ValidationError as error:
        faults += faults_of(error, origins=origins, data=data)
        bad = [item["loc"] for item in error.errors(include_url=False)]
    faults += cross_faults(Sound(data, bad, origins))
    if faults or site is None:
        raise InputError(faults)
    return replace(sitefile, site=site)


def _put_in(data: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    """`data` with the values of `changes` in place of its own, table by table."""
    found = dict(data)
    for key, value in changes.items():
        if isinstance(value, Mapping):
            own = found.get(key)
            found[key] = _put_in(own if isinstance(own, Mapping) else {}, value)
        elif value is not None:
            found[key] = value
    return found


def _refuse_no_tables(changes: object, origins: Origins) -> None:
    """Raise where `changes` is not a table of tables."""
    wrong = {"changes": changes} if not isinstance(changes, Mapping) else {
        f"changes: {key}": value for key, value in changes.items()
        if not isinstance(value, Mapping | list)
    }  # fmt: skip
    if wrong:
        raise InputError([
            Fault(where=f"{origins.file}: {where}", given=shown(value),
                  allowed='tables with their keys, {"array": {"tilt_deg": 15.0}}')
            for where, value in wrong.items()
        ])  # fmt: skip
