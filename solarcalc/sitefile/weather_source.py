"""Checks of weather that is no file: what it needs is there, and the sun of the place allows it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from solarcalc.basis.errors import Fault
from solarcalc.basis.hours import MONTHS
from solarcalc.basis.sourced import NO_SOURCE, constant
from solarcalc.sitefile.records import CSV_ONLY, DOWNLOAD, MONTHLY

if TYPE_CHECKING:
    from solarcalc.sitefile.sound import Sound

CLEARNESS = (0.10, 0.82)
"""Monthly mean clearness that is believed; common practice, no source. Measured: 0.25 to 0.75."""

MARGIN_KWH_M2_DAY = float(constant("sitefile.margin_kwh_m2_day"))

_FILE_ONLY = ("format", *CSV_ONLY, "max_distance_km")
_NEEDS = {
    MONTHLY: ("monthly", "the table [weather.monthly] with ghi_kwh_m2_day and temp_air_c"),
    DOWNLOAD: ("year", "year = 2001 or later"),
}
"""Source that is no file: the key it needs and alone may have, and that key in words."""

_MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def weather_source_faults(sound: Sound) -> Iterator[Fault]:
    """Every fault of monthly means or of a download that is not one of a single key."""
    source = sound.get("weather", "source")
    if source is None:
        return
    for other, (key, _) in _NEEDS.items():
        if source != other and sound.given("weather", key):
            yield sound.fault(
                ("weather", key),
                f"given with source = {source!r}"[:120],
                f'left out, or source = "{other}"',
                "the weather comes from one source",
            )
    if source not in _NEEDS:
        return
    refused = (*_FILE_ONLY, "rebuild_beam") if source == MONTHLY else _FILE_ONLY
    for name in refused:
        if sound.given("weather", name):
            yield sound.fault(
                ("weather", name),
                sound.data["weather"][name],
                f'left out with source = "{source}"',
                "it is about a weather file, and there is none",
                f"take {name} out",
            )
    key, words = _NEEDS[source]
    if not sound.given("weather", key):
        yield sound.fault(
            ("weather", key),
            "nothing",
            words,
            f'source = "{source}" goes by it',
            "add it; solarcalc new NAME shows every key",
        )
    elif source == MONTHLY:
        yield from _clearness(sound)


def _clearness(sound: Sound) -> Iterator[Fault]:
    latitude: Any = sound.get("site", "latitude_deg")
    given: Any = sound.get("weather", "monthly", "ghi_kwh_m2_day")
    if latitude is None or not isinstance(given, list):
        return
    low, high = CLEARNESS
    wrong = []
    for name, mean, above in zip(MONTHS, given, above_air_kwh_m2_day(latitude), strict=True):
        least = low * above - MARGIN_KWH_M2_DAY
        most = high * above + MARGIN_KWH_M2_DAY
        if not least <= mean <= most:
            wrong.append(f"{name} {mean:g} (allowed {max(least, 0.0):.2f} to {most:.2f})")
    if wrong:
        yield sound.fault(
            ("weather", "monthly", "ghi_kwh_m2_day"),
            ", ".join(wrong),
            f"{low:g} to {high:g} of what comes above the air at {latitude:g} degrees [kWh/m2"
            " a day]",
            f"no month is so dull or so clear ({NO_SOURCE})",
            "give the mean of one day on the flat, January first: MJ/m2 divided by 3.6; a month's"
            " sum divided by its days; check the sign of the latitude",
        )


def above_air_kwh_m2_day(latitude_deg: float) -> tuple[float, ...]:
    """Daily radiation above the air on the flat, mean of each month [kWh/m2 a day].

    Parameters
    ----------
    latitude_deg : float
        North positive [deg], -90 to 90.

    Notes
    -----
    Duffie and Beckman 2013 eq. 1.10.3 for every day of the month, with eq. 1.4.1a for the
    distance of the sun, eq. 1.6.1a for its declination, and 1367 W/m2.
    """
    first, means = 1, []
    for days in _MONTH_DAYS:
        total = sum(_above_air(latitude_deg, day) for day in range(first, first + days))
        means.append(total / days)
        first += days
    return tuple(means)


def _above_air(latitude_deg: float, day: int) -> float:
    declination = math.radians(23.45) * math.sin(math.radians(360.0 * (284 + day) / 365.0))
    latitude = math.radians(min(max(latitude_deg, -89.99), 89.99))
    sunset = math.acos(min(max(-math.tan(latitude) * math.tan(declination), -1.0), 1.0))
    normal = 1.367 * (1.0 + 0.033 * math.cos(math.radians(360.0 * day / 365.0)))
    return (
        24.0 / math.pi * normal
        * (
            math.cos(latitude) * math.cos(declination) * math.sin(sunset)
            + sunset * math.sin(latitude) * math.sin(declination)
        )
    )
