"""A site with some values changed, as a workbook's parameters cell asks for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from pydantic import ValidationError

from solarcalc.basis.errors import InputError
from solarcalc.sitefile.cross import cross_faults
from solarcalc.sitefile.read import SiteFile
from solarcalc.sitefile.records import Site
from solarcalc.sitefile.sound import Sound
from solarcalc.sitefile.wording import Origins, faults_of


def with_changes(sitefile: SiteFile, changes: Mapping[str, Mapping[str, Any]]) -> SiteFile:
    """The same site with values changed, checked as if they stood in the file.

    Parameters
    ----------
    sitefile : SiteFile
    changes : mapping of table to mapping of key to value
        ``{"array": {"tilt_deg": 15.0}}``; a value of None leaves the file's own.

    Raises
    ------
    InputError
        With every fault, named as in the site file with the words "as changed".
    """
    data = sitefile.site.model_dump(exclude_unset=True, exclude_none=True)
    for table, values in changes.items():
        kept = {key: value for key, value in values.items() if value is not None}
        data[table] = {**data.get(table, {}), **kept}
    origins = Origins(file=f"{sitefile.path.name}, as changed")
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
