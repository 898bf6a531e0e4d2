"""Where the site is, what stands around it, and its clock: [site], [horizon]."""

from __future__ import annotations

import re
from functools import cache
from typing import Literal
from zoneinfo import ZoneInfo, available_timezones

from pydantic import Field, ValidationInfo, field_validator

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import constant
from solarcalc.basis.text import nearest
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import Line, Name, Note, Record, check_one_each, rising


class Exposure(Record):
    """[site.exposure]: what wears, breaks or takes things at this place."""

    salt: Literal["none", "coastal", "severe"] = Field(
        default="none", description="coastal: within a few km of the sea; severe: in sea spray"
    )
    hail: Literal["none", "some", "severe"] = Field(
        default="none", description="severe: hail above 25 mm is known here"
    )
    theft: Literal["none", "some", "high"] = Field(default="none")
    animals: Literal["none", "rodents", "rodents-and-birds"] = Field(default="none")
    dust: Literal["none", "some", "heavy"] = Field(
        default="none", description="dust that enters enclosures; dust on modules: [soiling]"
    )


class Place(Record):
    """[site]: who and where."""

    name: Name
    customer: Line = ""
    note: Note = ""
    latitude_deg: float = Field(ge=-90.0, le=90.0, description="north positive")
    longitude_deg: float = Field(ge=-180.0, le=180.0, description="east positive")
    elevation_m: float = Field(ge=-430.0, le=6000.0)
    time_zone: str = Field(description="IANA name such as Africa/Lusaka, or UTC+05:45")
    exposure: Exposure = Field(default_factory=Exposure)


HORIZON_MAX_DEG = float(constant("sitefile.horizon_max_deg"))


class Horizon(Record):
    """[horizon]: the line of hills, trees and buildings far off, as points around the circle."""

    azimuth_deg: list[float] = Field(
        default_factory=list, description="of each point: 0 north, 90 east, in rising order"
    )
    height_deg: list[float] = Field(
        default_factory=list, validate_default=True,
        description="of the horizon line above the horizontal at each of those azimuths",
    )

    @field_validator("azimuth_deg")
    @classmethod
    def _around_the_circle(cls, value: list[float]) -> list[float]:
        if not rising(value) or any(not 0.0 <= azimuth < 360.0 for azimuth in value):
            raise ValueError("a list of numbers from 0 to below 360, each above the one before it")
        return value

    @field_validator("height_deg")
    @classmethod
    def _one_a_point(cls, value: list[float], info: ValidationInfo) -> list[float]:
        check_one_each(value, "horizon.azimuth_deg", info)
        if any(not 0.0 <= height <= HORIZON_MAX_DEG for height in value):
            raise ValueError(f"a list of numbers, each from 0 to {HORIZON_MAX_DEG:g}")
        return value


MAX_GAP_H = float(constant("sitefile.max_gap_h"))

_FIXED = re.compile(r"^UTC([+-])(\d{2}):(00|15|30|45)$")
_WEST_H, _EAST_H = -12.0, 14.0
_ALLOWED = "a zone name such as Africa/Lusaka, or UTC-12:00 to UTC+14:00 written like UTC+05:45"


def standard_time_offset_h(time_zone: str, *, where: str) -> float:
    """Standard-time offset of a zone, without summer time.

    Parameters
    ----------
    time_zone : str
        Name of the IANA time zone database, or ``"UTC+05:45"`` in quarter hours.
    where : str
        File and field, for the error.

    Returns
    -------
    float
        Hours east of Greenwich [h].

    Raises
    ------
    InputError
        When the name is not in the database, or the offset is outside -12:00 to +14:00.

    Examples
    --------
    >>> standard_time_offset_h("UTC+05:45", where="shop.toml: site.time_zone")
    5.75
    """
    fixed_h = _fixed_offset_h(time_zone)
    if fixed_h is not None:
        return fixed_h
    if time_zone in _zone_names():
        return _zone_offset_h(time_zone)
    raise InputError(
        Fault(where=where, given=repr(time_zone)[:80], allowed=_ALLOWED,
              why="zone names are those of the IANA time zone database",
              remedy=_suggestion(time_zone))
    )


@cache
def _zone_offset_h(time_zone: str) -> float:
    from solarcalc.basis.hours import standard_offset_h

    return standard_offset_h(ZoneInfo(time_zone))


def zone_of(time_zone: str) -> ZoneInfo | None:
    """The zone of the database by its name; None for a fixed offset, which has no summer time."""
    return None if _fixed_offset_h(time_zone) is not None else ZoneInfo(time_zone)


@cache
def _zone_names() -> frozenset[str]:
    return frozenset(available_timezones())


def _fixed_offset_h(time_zone: str) -> float | None:
    fixed = _FIXED.match(time_zone)
    if fixed is None:
        return None
    size = int(fixed[2]) + int(fixed[3]) / 60.0
    offset = -size if fixed[1] == "-" else size
    return offset if _WEST_H <= offset <= _EAST_H else None


def _suggestion(time_zone: str) -> str:
    offset = re.match(r"^(?:UTC|GMT)?\s*([+-])\s*(\d{1,2})(?::?(\d{2}))?$", time_zone.strip(), re.I)
    if offset:
        fixed = f"UTC{offset[1]}{int(offset[2]):02d}:{offset[3] or '00'}"
        return f"did you mean {fixed}?" if _fixed_offset_h(fixed) is not None else ""
    known = {name.lower(): name for name in _zone_names()}
    last = {name.rsplit("/", 1)[-1]: full for name, full in sorted(known.items())}
    word = time_zone.strip().lower().replace(" ", "_")
    near = known.get(nearest(word, known) or "") or last.get(nearest(word, last) or "")
    return f"did you mean {near}?" if near else "enter the fixed offset, such as UTC+02:00"


def gap_to_sun_h(offset_h: float, longitude_deg: float) -> float:
    """Hours between a clock and the mean sun, the short way round.

    Parameters
    ----------
    offset_h : float
        Standard-time offset [h], -12 to 14.
    longitude_deg : float
        East positive [deg], -180 to 180.

    Returns
    -------
    float
        0 to 12 [h]; a day more or less (either side of the date line) does not count.

    Notes
    -----
    The sun crosses 15 degrees of longitude an hour.

    Examples
    --------
    >>> round(gap_to_sun_h(13.0, -172.0), 2)
    0.47
    """
    return abs((offset_h - longitude_deg / 15.0 + 12.0) % 24.0 - 12.0)


def zone_fault(
    time_zone: str, longitude_deg: float, offset_h: float, *, where: str
) -> Fault | None:
    """A Fault when the clock cannot be that of the longitude [deg]; None when it can."""
    gap = gap_to_sun_h(offset_h, longitude_deg)
    if gap <= MAX_GAP_H:
        return None
    sun = longitude_deg / 15.0
    return Fault(where=where, **worded(
        "sitefile", "zone-fault", time_zone=time_zone, offset_h=offset_h, max_gap_h=MAX_GAP_H,
        longitude_deg=longitude_deg, sun=sun, gap=gap,
    ))  # fmt: skip
