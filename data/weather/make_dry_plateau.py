"""Make dry-plateau-synthetic.csv: an invented year of a dry savanna plateau, for the demo only.

Nothing in it was measured. Run from anywhere: python data/weather/make_dry_plateau.py
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
from pvlib import atmosphere, clearsky, irradiance, solarposition

LATITUDE_DEG, LONGITUDE_DEG, ELEVATION_M, OFFSET_H = -17.9, 29.5, 1400.0, 2
YEAR, SEED = 2001, 20010517
OUTPUT = Path(__file__).with_name("dry-plateau-synthetic.csv")

# By month, January first; all invented: wet from November to March, cool and dry in June and
# July, hot in October.
CLEAR_DAYS_FRAC = [0.15, 0.20, 0.35, 0.55, 0.75, 0.80, 0.80, 0.85, 0.80, 0.55, 0.30, 0.20]
OVERCAST_DAYS_FRAC = [0.30, 0.25, 0.20, 0.10, 0.05, 0.05, 0.05, 0.03, 0.03, 0.10, 0.20, 0.30]
LINKE_TURBIDITY = [3.6, 3.5, 3.4, 3.3, 3.2, 3.1, 3.2, 3.7, 4.3, 4.5, 4.0, 3.7]
RAIN_MM = [180.0, 155.0, 85.0, 25.0, 4.0, 1.0, 0.0, 1.0, 4.0, 28.0, 95.0, 172.0]
RAIN_DAYS = [15, 13, 9, 3, 1, 1, 0, 1, 1, 4, 9, 14]
TEMP_MEAN_C = [21.0, 20.6, 20.2, 18.9, 16.4, 14.0, 13.9, 16.5, 20.1, 22.6, 22.0, 21.2]
TEMP_RANGE_K = [9.0, 9.0, 10.0, 11.5, 13.0, 13.5, 14.0, 14.5, 14.5, 13.5, 11.0, 9.5]
WIND_MEAN_M_S = [2.4, 2.3, 2.4, 2.4, 2.3, 2.4, 2.7, 3.1, 3.6, 3.7, 3.1, 2.6]

# Share of the clear-sky global that comes through: mean and spread by kind of day; invented.
THROUGH = {"clear": (0.97, 0.015), "mixed": (0.71, 0.16), "overcast": (0.36, 0.12)}
CLOUD_MEMORY = 0.55  # from one hour to the next; invented
TEMP_PEAK_H = 14.5

HEADER = f"""\
# SYNTHETIC: an invented weather year for the demo only. Nothing in it was measured.
# A dry savanna plateau near {-LATITUDE_DEG} S, {LONGITUDE_DEG} E, at {ELEVATION_M:.0f} m.
# Clock UTC+{OFFSET_H}; each hour is named by its start. W/m2, degC, m/s, mm.
# Made by make_dry_plateau.py, seed {SEED}: clear sky times a random cloud factor;
# beam and diffuse by decomposition.
"""


def make_year() -> pd.DataFrame:
    """The year, rounded as it is written."""
    rng = np.random.default_rng(SEED)
    index = pd.date_range(f"{YEAR}-01-01", periods=8760, freq="h", tz="UTC")  # local clock
    month = index.month.to_numpy() - 1
    middle = index - pd.Timedelta(hours=OFFSET_H) + pd.Timedelta(minutes=30)
    sun = solarposition.get_solarposition(middle, LATITUDE_DEG, LONGITUDE_DEG, altitude=ELEVATION_M)
    kinds = day_kinds(rng)
    through = cloud_factor(rng, kinds)
    ghi = np.round(clear_global(middle, sun, month) * through)
    parts = irradiance.erbs_driesse(ghi, sun["zenith"].to_numpy(), middle.day_of_year.to_numpy())
    year = pd.DataFrame(
        {
            "time": index.strftime("%Y-%m-%d %H:%M"),
            "ghi": ghi.astype(int),
            "dni": np.round(parts["dni"]).astype(int),
            "dhi": np.round(parts["dhi"]).astype(int),
        }
    )
    year["temp_air"] = np.round(air_temperature(rng, index, month, kinds), 1)
    year["wind_speed"] = np.round(wind(rng, index, month), 1)
    year["precipitation"] = np.round(rain(rng, index, kinds), 1)
    return year


def clear_global(middle, sun, month):
    """Clear-sky global radiation by Ineichen and Perez 2002 with our own turbidity [W/m2]."""
    airmass = atmosphere.get_absolute_airmass(
        atmosphere.get_relative_airmass(sun["apparent_zenith"]), atmosphere.alt2pres(ELEVATION_M)
    )
    clear = clearsky.ineichen(
        sun["apparent_zenith"],
        airmass,
        np.asarray(LINKE_TURBIDITY)[month],
        altitude=ELEVATION_M,
        dni_extra=irradiance.get_extra_radiation(middle.day_of_year.to_numpy()),
    )
    return clear["ghi"].to_numpy()


def day_kinds(rng):
    """Kind of each of the 365 days, drawn by the month's shares."""
    month = pd.date_range(f"{YEAR}-01-01", periods=365).month.to_numpy() - 1
    draw = rng.random(365)
    clear, overcast = np.asarray(CLEAR_DAYS_FRAC)[month], np.asarray(OVERCAST_DAYS_FRAC)[month]
    return np.where(draw < clear, "clear", np.where(draw > 1.0 - overcast, "overcast", "mixed"))


def cloud_factor(rng, kinds):
    """Share of the clear-sky global in each hour; each hour leans on the one before."""
    noise, state = rng.standard_normal(8760), 0.0
    factor = np.empty(8760)
    for hour in range(8760):
        state = CLOUD_MEMORY * state + np.sqrt(1.0 - CLOUD_MEMORY**2) * noise[hour]
        mean, spread = THROUGH[kinds[hour // 24]]
        factor[hour] = mean + spread * state
    return np.clip(factor, 0.08, 1.0)


def air_temperature(rng, index, month, kinds):
    """Air temperature [degC]: month's mean, a daily wave, cooler and flatter under cloud."""
    clock = index.hour.to_numpy() + 0.5
    cloudy = np.repeat(kinds, 24) == "overcast"
    half_range = 0.5 * np.asarray(TEMP_RANGE_K)[month]
    wave = half_range * np.cos(2.0 * np.pi * (clock - TEMP_PEAK_H) / 24.0)
    day_to_day = np.repeat(rng.normal(0.0, 1.2, 365), 24)
    mean = np.interp(
        index.day_of_year.to_numpy(), 15.2 + 30.42 * np.arange(12), TEMP_MEAN_C, period=365
    )
    return mean + day_to_day + wave * np.where(cloudy, 0.5, 1.0) - np.where(cloudy, 1.0, 0.0)


def wind(rng, index, month):
    """Wind speed [m/s]: month's mean, stronger by day."""
    by_day = 1.0 + 0.45 * np.cos(2.0 * np.pi * (index.hour.to_numpy() - 13.0) / 24.0)
    return np.asarray(WIND_MEAN_M_S)[month] * by_day * rng.weibull(2.2, 8760) / 0.8856


def rain(rng, index, kinds):
    """Rain [mm]: on cloudy days of the month, in the afternoon, scaled to the month's sum."""
    fall = np.zeros(8760)
    day_month = pd.date_range(f"{YEAR}-01-01", periods=365).month.to_numpy() - 1
    rank = {"overcast": 0, "mixed": 1, "clear": 2}
    for number in range(12):
        days = np.flatnonzero(day_month == number)
        order = sorted(rng.permutation(days), key=lambda day: rank[kinds[day]])
        amounts = np.zeros(8760)
        for day in order[: RAIN_DAYS[number]]:
            first, length = int(rng.integers(13, 19)), int(rng.integers(1, 5))
            amounts[day * 24 + first : day * 24 + first + length] = rng.exponential(1.0, length)
        total = amounts.sum()
        fall += amounts * (RAIN_MM[number] / total if total > 0.0 else 0.0)
    return fall


def main() -> None:
    """Write the file."""
    with OUTPUT.open("w", encoding="utf-8", newline="\n") as file:
        file.write(HEADER)
        make_year().to_csv(file, index=False, lineterminator="\n")


if __name__ == "__main__":
    main()
