"""How far the weather is from the site, along the ground and in height."""

from __future__ import annotations

import math

from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.basis.verdict import Verdict
from solarcalc.weather.records import Place, Source

EARTH_RADIUS_KM = 6371.0  # mean radius of the Earth, IUGG: 6371.0088 km
MAX_ELEVATION_GAP_M = 300.0  # common practice, no source; about 2 K of air temperature


def distance_km(one: Place, other: Place) -> float:
    """Great-circle distance [km]; haversine formula, right across the date line and the poles."""
    lat_one, lat_other = math.radians(one.latitude_deg), math.radians(other.latitude_deg)
    lon_gap = math.radians(other.longitude_deg - one.longitude_deg)
    half = (
        math.sin((lat_other - lat_one) / 2.0) ** 2
        + math.cos(lat_one) * math.cos(lat_other) * math.sin(lon_gap / 2.0) ** 2
    )
    return 2.0 * EARTH_RADIUS_KM * math.asin(math.sqrt(min(1.0, half)))


def check_place(
    station: Place | None, site: Place, max_distance_km: float, source: Source
) -> list[Verdict]:
    """Verdicts on distance and height.

    Raises
    ------
    InputError
        When the station is farther than `max_distance_km`.
    """
    if station is None:
        return [
            Verdict(
                item="Place of the weather",
                found="not given, taken as the site's",
                limit=f"{max_distance_km:g} km",
                unit="",
                outcome="caution",
                clause=NO_SOURCE,
                remedy="give weather.station_latitude_deg and weather.station_longitude_deg",
            )
        ]
    apart = distance_km(station, site)
    if apart > max_distance_km:
        raise source.error(
            field_name="max_distance_km",
            found=f"{station} is {apart:.0f} km from the site ({site.latitude_deg:.3f}, "
            f"{site.longitude_deg:.3f})",
            allowed=f"at most {max_distance_km:g} km",
            why="sun, cloud and air of a far place are not those of the site",
            remedy="check the signs of latitude and longitude (south and west are negative); take"
            " a nearer file; or raise weather.max_distance_km and say why in the site's note",
        )
    return [_distance_verdict(apart, station, max_distance_km), _height_verdict(site, station)]


def _distance_verdict(apart_km: float, station: Place, max_distance_km: float) -> Verdict:
    far = apart_km > max_distance_km / 2.0
    return Verdict(
        item=f"Distance of the weather station ({station.name})",
        found=f"{apart_km:.0f}",
        limit=f"{max_distance_km:g}",
        unit="km",
        outcome="caution" if far else "passed",
        clause=NO_SOURCE,
        remedy="see whether a nearer file exists" if far else "",
    )


def _height_verdict(site: Place, station: Place) -> Verdict:
    gap_m = site.elevation_m - station.elevation_m
    high = abs(gap_m) > MAX_ELEVATION_GAP_M
    return Verdict(
        item="Site above the weather station",
        found=f"{gap_m:.0f}",
        limit=f"-{MAX_ELEVATION_GAP_M:.0f} to +{MAX_ELEVATION_GAP_M:.0f}",
        unit="m",
        outcome="caution" if high else "passed",
        clause=NO_SOURCE,
        remedy="the air temperature is not corrected for height: expect about 0.65 K less for"
        " each 100 m more"  # International Standard Atmosphere, ISO 2533
        if high
        else "",
    )
