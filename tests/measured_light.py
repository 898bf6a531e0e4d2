"""Light on a tilted plane beside measured records: the rows of ``data/measured_bias.csv``.

The weather reader's own limits say how a record is read. Where global light and the sum of its
parts lie further apart than what it calls sound, the beam and the diffuse light are also made
from the other two, and each reading is a row of its own; beyond what it refuses, the three are
not used as they are.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pvanalytics
import pvlib

from solarcalc.basis.sourced import constant
from solarcalc.sky import beam_above_air, plane_light
from solarcalc.sun import sun_of_hours

QUANTITY = "light on the tilted plane"
LIBRARY = Path(pvanalytics.__file__).parent / "data"
CLOCK = "Etc/GMT+7"
ALBEDO_FRAC = 0.2
LOWEST_SUN_DEG = 85.0
"""Zenith beyond which hours are left out: the plane sees what stands around it."""
GOLDEN = {"latitude_deg": 39.742, "longitude_deg": -105.18, "elevation_m": 1829.0}
ALBUQUERQUE = {"latitude_deg": 35.054, "longitude_deg": -106.539, "elevation_m": 1663.0}
READINGS = {
    "as measured": lambda ghi, dni, dhi, level: (dni, dhi),
    "beam from global and diffuse": lambda ghi, dni, dhi, level: (
        ((ghi - dhi) / level.clip(lower=0.05)).clip(lower=0.0), dhi),
    "diffuse from global and beam": lambda ghi, dni, dhi, level: (
        dni, (ghi - dni * level).clip(lower=0.0)),
}  # fmt: skip


def hourly(table: pd.DataFrame, columns: dict[str, str], *, per_hour: int) -> pd.DataFrame:
    """Means of whole hours under the names ghi, dni, dhi, poa; nothing below zero [W/m2]."""
    named = table.rename(columns=columns)[list(columns.values())].clip(lower=0.0)
    named.index = named.index.tz_localize(CLOCK)
    count = named.resample("h").count().min(axis=1)
    return named.resample("h").mean()[count >= per_hour]


def level_of(hours: pd.DataFrame, sun: pd.DataFrame) -> pd.Series:
    """Cosine of the zenith, not below zero."""
    return np.cos(np.radians(sun["apparent_zenith_deg"])).clip(lower=0.0)


def hay_davies(hours: pd.DataFrame, sun: pd.DataFrame, **plane: float) -> pd.Series:
    """The same light by the sky model used before [W/m2]."""
    zenith, azimuth = sun["apparent_zenith_deg"], sun["azimuth_deg"]
    return pvlib.irradiance.get_total_irradiance(
        plane["tilt_deg"], plane["azimuth_deg"], zenith, azimuth,
        hours["dni"].where(zenith < 90.0, 0.0), hours["ghi"], hours["dhi"],
        dni_extra=beam_above_air(hours), albedo=ALBEDO_FRAC, model="haydavies",
    )["poa_global"]  # fmt: skip


def ours(hours: pd.DataFrame, sun: pd.DataFrame, **plane: float) -> pd.Series:
    """Light on the plane by the package [W/m2]."""
    return plane_light(hours, sun, albedo_frac=ALBEDO_FRAC, **plane)["total"]


def beside(
    hours: pd.DataFrame, place: dict[str, float], plane: dict[str, float],
    model: Callable[..., pd.Series],
) -> tuple[int, float, float]:  # fmt: skip
    """Hours compared, bias and scatter, both over the mean measured."""
    sun = sun_of_hours(hours.index, **place)
    seen = (sun["apparent_zenith_deg"] < LOWEST_SUN_DEG) & hours.notna().all(axis=1)
    off = (model(hours, sun, **plane) - hours["poa"])[seen]
    mean = hours["poa"][seen].mean()
    return int(seen.sum()), float(off.mean() / mean), float(np.sqrt((off**2).mean()) / mean)


def readings(
    hours: pd.DataFrame, place: dict[str, float]
) -> Iterator[tuple[str, pd.DataFrame, float]]:
    """The ways a record of all three parts may be read, and the gap between them."""
    sun = sun_of_hours(hours.index, **place)
    level, high = level_of(hours, sun), sun["apparent_zenith_deg"] < 80.0
    gap = (hours["dni"] * level + hours["dhi"] - hours["ghi"])[high].abs().sum()
    gap /= hours["ghi"][high].sum()
    for name, read in READINGS.items():
        if name == "as measured" and gap > float(constant("weather.max_frac")):
            continue
        if name != "as measured" and gap <= float(constant("weather.closes_frac")):
            continue
        dni, dhi = read(hours["ghi"], hours["dni"], hours["dhi"], level)
        yield name, hours.assign(dni=dni, dhi=dhi), float(gap)


def albuquerque(path: Path) -> pd.DataFrame:
    """The three whole hours of its clear afternoon that end above ten degrees of sun."""
    table = pd.read_csv(path, index_col=0, parse_dates=True)
    columns = {"Global_Wm2_Avg": "ghi", "Direct_Wm2_Avg": "dni", "Diffuse_Wm2_Avg": "dhi",
               "POAIrrad1_Avg": "poa"}  # fmt: skip
    hours = hourly(table, columns, per_hour=60)
    return hours[(hours.index.hour >= 13) & (hours.index.hour <= 15)]


def golden(path: Path) -> pd.DataFrame:
    """Eight days with global light alone; its parts by pvlib.irradiance.erbs_driesse."""
    table = pd.read_csv(path, index_col=0, parse_dates=True)
    columns = dict(zip(table.columns[:2], ("ghi", "poa"), strict=True))
    hours = hourly(table, columns, per_hour=60)
    zenith = sun_of_hours(hours.index, **GOLDEN)["apparent_zenith_deg"]
    parts = pvlib.irradiance.erbs_driesse(hours["ghi"], zenith, dni_extra=beam_above_air(hours))
    return hours.assign(dni=parts["dni"], dhi=parts["dhi"])


def serf_west() -> pd.DataFrame:
    """Three January days: the plane's own light, the parts from a station on the same campus."""
    sky = pd.read_csv(LIBRARY / "rmis_weather_data.csv", index_col=0, parse_dates=True)
    sky.index = sky.index - pd.Timedelta(minutes=5)  # its stamps end the interval
    columns = {"Global Horizontal": "ghi", "Direct Normal": "dni", "Diffuse Horizontal": "dhi"}
    parts = hourly(sky, columns, per_hour=12)
    plane = pd.read_csv(LIBRARY / "serf_west_15min.csv", index_col=0, parse_dates=True)
    plane.index = plane.index - pd.Timedelta(minutes=16)
    light = hourly(plane, {"poa_irradiance__771": "poa"}, per_hour=4)
    return parts.join(light, how="inner")["2022-01-02":"2022-01-04"]


def _rows(
    head: dict[str, str], hours: pd.DataFrame, place: dict[str, float], plane: dict[str, float],
    note: str,
) -> Iterator[dict[str, Any]]:  # fmt: skip
    for name, read, gap in readings(hours, place):
        yield _row(head, f"{name}: {note}; the three parts miss one another by {100 * gap:.1f} %",
                   read, place, plane)  # fmt: skip


def _row(
    head: dict[str, str], note: str, hours: pd.DataFrame, place: dict[str, float],
    plane: dict[str, float],
) -> dict[str, Any]:  # fmt: skip
    count, bias, scatter = beside(hours, place, plane, ours)
    _, before, wide = beside(hours, place, plane, hay_davies)
    said = f"{note}; Hay and Davies 1980: {100 * before:+.1f} and {100 * wide:.1f} %"
    return {"quantity": QUANTITY, **head, "hours": count, "bias_frac": round(bias, 4),
            "scatter_frac": round(scatter, 4), "note": said}  # fmt: skip


def albuquerque_rows(path: Path) -> list[dict[str, Any]]:
    """A clear afternoon."""
    head = {"record": "albuquerque_pv_met_1min_2015-11-11", "place": "Albuquerque, USA",
            "period": "11 November 2015, 13 to 16 h",
            "compared_with": "pyranometer at 35 deg south; global, beam and diffuse measured"}
    plane = {"tilt_deg": 35.054, "azimuth_deg": 180.0}
    note = "the diffuse meter sees part of the sun until 15 h"
    return list(_rows(head, albuquerque(path), ALBUQUERQUE, plane, note))


def golden_rows(path: Path) -> list[dict[str, Any]]:
    """Eight days, a snow storm among them."""
    head = {"record": "golden_ghi_poa40S_temp_wind_1min_2019-03", "place": "Golden, USA",
            "period": "10 to 17 March 2019",
            "compared_with": "pyranometer at 40 deg south; global measured, its parts by"
            " pvlib.irradiance.erbs_driesse"}  # fmt: skip
    plane = {"tilt_deg": 40.0, "azimuth_deg": 180.0}
    note = "the split of global light into parts is part of it; snow on one day, albedo 0.2"
    return [_row(head, note, golden(path), GOLDEN, plane)]


def serf_west_rows() -> list[dict[str, Any]]:
    """Three days."""
    head = {"record": "serf_west_15min with rmis_weather_data of pvanalytics",
            "place": "Golden, USA", "period": "2 to 4 January 2022",
            "compared_with": "pyranometer at 45 deg, azimuth 158 (from memory); global, beam and"
            " diffuse measured on the same campus"}  # fmt: skip
    plane = {"tilt_deg": 45.0, "azimuth_deg": 158.0}
    note = "snow about, albedo 0.2"
    return list(_rows(head, serf_west(), GOLDEN, plane, note))


NOT_COMPARED = [
    {"quantity": QUANTITY, "record": record, "place": place, "period": period, "hours": 0,
     "bias_frac": "", "scatter_frac": "", "compared_with": what, "note": f"not compared: {why}"}
    for record, place, period, what, why in (
        ("albuquerque_pv_met_1min_2015-11-11", "Albuquerque, USA", "11 November 2015, to 13 h",
         "pyranometer at 35 deg south",
         "clouds pass plane and station at different minutes (at 11:45 beam 1026, plane 283 W/m2)"),
        ("pvanalytics_nrel_RSF_II", "Golden, USA", "2 to 6 January 2022",
         "sensor at about 10 deg", "snow lay on the plane: it has under two thirds of the light"),
        ("irradiance_RMIS_NREL and rmis_weather_data of pvanalytics", "Golden, USA",
         "February 2019, January 2022", "pyranometer on a tilted plane",
         "the tilt of the plane is not stated"),
        ("serf_east_15min_ac_power of pvanalytics", "Golden, USA", "July to October 2016",
         "alternating power", "no light was measured"),
    )
]  # fmt: skip
