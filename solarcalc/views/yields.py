"""What the yield workbook says beyond the middle figure: how sure it is, and when to wash."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd

from solarcalc.basis.hours import MONTHS
from solarcalc.basis.quantity import grouped
from solarcalc.design import Design
from solarcalc.energy.light import gap_table
from solarcalc.energy.year import (
    Uncertainty,
    combined_frac,
    exceeded_kwh,
    lost_frac,
    uncertainties_of,
)
from solarcalc.sitefile.weather import MONTHLY
from solarcalc.stages.array import standing
from solarcalc.stages.snow import snow_of
from solarcalc.views.rows import Row, Values, fact_line
from solarcalc.weather.records import WeatherYear

P90_FRAC = 0.9
"""Chance with which the P90 energy is exceeded, by its name."""


def uncertainties(design: Design) -> tuple[Uncertainty, ...]:
    """What is uncertain in the yield of a design, each as a share of it."""
    return uncertainties_of(design.energy, made_year=design.site.weather.source == MONTHLY)


def uncertainty_table(design: Design) -> list[dict[str, object]]:
    """Each uncertainty with its source, and all together."""
    parts = uncertainties(design)
    rows: list[dict[str, object]] = [
        {"what is uncertain": part.name, "standard deviation [%]": 100.0 * part.sigma_frac,
         "source": part.source}
        for part in parts
    ]
    rows.append(
        {"what is uncertain": "All together",
         "standard deviation [%]": 100.0 * combined_frac(parts),
         "source": "root of the sum of squares: taken as independent of one another"}
    )
    return rows


def promised_kwh(design: Design) -> float:
    """Potential AC energy of a year that is exceeded with a chance of nine in ten, P90 [kWh]."""
    sigma = combined_frac(uncertainties(design))
    return exceeded_kwh(design.energy.ac_kwh, sigma, chance_frac=P90_FRAC)


def _whole(kwh: float) -> str:
    return grouped(f"{kwh:.0f}")


def answer(design: Design) -> str:
    """The answer in one sentence, from the figures."""
    harvest = design.energy
    months = harvest.by_month()["ac_kwh"].to_numpy()
    least, most = int(np.argmin(months)), int(np.argmax(months))
    return (
        f"{design.site.array.module_count} modules, {harvest.peak_kwp:.2f} kWp, give"
        f" {_whole(harvest.ac_kwh)} kWh of potential AC energy a year, before battery and"
        f" demand, from {_whole(months[least])} kWh in"
        f" {MONTHS[least]} to {_whole(months[most])} kWh in {MONTHS[most]}, at a performance ratio"
        f" of {harvest.performance_ratio:.2f}; with a chance of nine in ten a year gives more than"
        f" {_whole(promised_kwh(design))} kWh."
    )


def gap_rows(design: Design) -> list[dict[str, object]]:
    """What air under the modules does in full sun, one row a gap."""
    return [
        {"gap [cm]": 100.0 * line["gap_m"], "cell [°C]": line["cell_c"],
         "above an open frame [K]": line["above_open_k"],
         "power lost to it [%]": 100.0 * line["power_lost_frac"]}
        for _, line in gap_table(design.site.module).iterrows()
    ]


def _sureness_values(design: Design) -> dict[str, float | int | str]:
    """Energy in the middle, energy exceeded with a chance of nine in ten, and the spread."""
    sigma = combined_frac(uncertainties(design))
    return {"p50_energy_kwh": round(design.energy.ac_kwh),
            "p90_energy_kwh": round(promised_kwh(design)),
            "standard_deviation_frac": round(sigma, 3)}


def cleaning_table(plan: pd.DataFrame) -> list[dict[str, object]]:
    """One row an interval between washes."""
    return [
        {
            "wash every [days]": f"{row['interval_days']:.0f}" if row["cleanings"] else "never",
            "washes a year": int(row["cleanings"]),
            "lost to dust [%]": 100.0 * row["dust_loss_frac"],
            "energy won [kWh]": row["won_kwh"],
            "cost of washing [kWh]": row["cost_kwh"],
            "net [kWh]": row["net_kwh"],
        }
        for _, row in plan.iterrows()
    ]


def chosen_days_sentence(chosen: tuple[Sequence[str], float]) -> str:
    """The washes that pay one by one, in words."""
    days, net_kwh = chosen
    if not days:
        return "Chosen one by one, no wash of the year wins its cost."
    return (
        f"Chosen one by one, washes on {', '.join(days)} (month-day) win {net_kwh:.0f} kWh a year"
        " net."
    )


Change = tuple[str, dict[str, dict[str, Any]]]

STEEPER_DEG = 10.0
TURNED_DEG = 30.0
CLOSER_FRAC = 0.8
OLDER_YEARS = 10.0
WIDE_GAP_M = 0.15
"""Sizes of the changes tried: round figures to see a direction by, no advice."""


def what_would_change_the_yield(design: Design) -> list[Row]:
    """One row for each thing changed alone: potential AC energy and the change in it."""
    harvest = design.energy
    rows = [_row("as the site file says", harvest.ac_kwh, harvest.ac_kwh)]
    for name, tables in _changes(design):
        rows.append(_row(name, design.changed(tables).energy.ac_kwh, harvest.ac_kwh))
    return rows


def _changes(design: Design) -> Iterator[Change]:
    array, soiling, losses = design.site.array, design.site.soiling, design.site.losses
    if array.mounting != "flush":
        for word, turn in (("steeper", STEEPER_DEG), ("flatter", -STEEPER_DEG)):
            tilt_deg = min(max(array.tilt_deg + turn, 0.0), 90.0)
            tilted = {"tilt_deg": tilt_deg}
            yield f"{STEEPER_DEG:.0f}° {word}, tilt {tilt_deg:g}°", {"array": tilted}
        for turn in (TURNED_DEG, -TURNED_DEG):
            turned = {"azimuth_deg": (array.azimuth_deg + turn) % 360.0}
            yield f"facing {turned['azimuth_deg']:g}° from north", {"array": turned}
    stands = standing(design)
    closer_m = round(CLOSER_FRAC * stands.pitch_m, 2)
    if array.rows > 1 and stands.rows.lift_deg > 0.0 and closer_m >= stands.rows.footprint_m:
        yield f"rows closer, {closer_m:.2f} m apart", {"array": {"row_pitch_m": closer_m}}
    dust = min(2.0 * soiling.loss_per_dry_day_frac, 0.05)
    yield "twice the dust", {"soiling": {"loss_per_dry_day_frac": dust}}
    yield "washed on the 1st of every month", {
        "soiling": {"cleaning_dates": [f"{month:02d}-01" for month in range(1, 13)]}
    }
    if array.mounting == "small-gap":
        yield f"{100.0 * WIDE_GAP_M:.0f} cm of air under the modules", {
            "array": {"gap_under_m": WIDE_GAP_M}
        }
    yield f"{OLDER_YEARS:.0f} years older", {
        "losses": {"age_years": min(losses.age_years + OLDER_YEARS, 40.0)}
    }
    yield "half the cable losses", {"losses": {"dc_wiring_frac": 0.5 * losses.dc_wiring_frac}}


def _row(name: str, kwh: float, before_kwh: float) -> Row:
    change = 100.0 * (kwh / before_kwh - 1.0) if before_kwh > 0.0 else 0.0
    return {"what is changed": name, "potential AC energy [kWh]": kwh, "change [%]": change}


def largest_changes_sentence(rows: list[Row]) -> str:
    """The change that helps most and the one that hurts most, in words."""
    tried = rows[1:]
    best = max(tried, key=lambda row: float(row["change [%]"]))
    worst = min(tried, key=lambda row: float(row["change [%]"]))
    gain, loss = float(best["change [%]"]), float(worst["change [%]"])
    helps = (
        f"Of what is tried here, most is won by: {best['what is changed']} ({gain:+.1f} %)"
        if gain > 0.05
        else "Nothing tried here wins energy"
    )
    hurts = (
        f"most is lost by: {worst['what is changed']} ({loss:+.1f} %)"
        if loss < -0.05
        else "nothing tried loses any"
    )
    return f"{helps}; {hurts}."


ROUNDING_FRAC = 1e-9
"""A step that takes less than this share took nothing."""

def weather_inputs(design: Design) -> list[Row]:
    """The weather year in a few lines."""
    weather = design.weather
    return [
        fact_line("File", weather.source),
        fact_line("Station", weather.station),
        fact_line("Distance from the site", weather.distance_km, "km"),
        fact_line("Site above the station", weather.elevation_gap_m, "m"),
        fact_line("Hours are labelled", weather.file_label_convention),
        fact_line("Global light on the level", weather.ghi_kwh_m2_year, "kWh/m² a year"),
        fact_line("Beam light, facing the sun", weather.dni_kwh_m2_year, "kWh/m² a year"),
        fact_line("Diffuse light on the level", weather.dhi_kwh_m2_year, "kWh/m² a year"),
        fact_line("Mean air temperature", weather.temp_air_mean_c, "°C"),
        fact_line("Coldest hour", float(weather.hours["temp_air"].min()), "°C"),
        fact_line("Hottest hour", float(weather.hours["temp_air"].max()), "°C"),
        _rain_line(weather),
        _snow_line(design),
    ]


def _rain_line(weather: WeatherYear) -> Row:
    """Rain of the year, or why the file's is not used."""
    if weather.rain_mm_year is not None:
        return fact_line("Rain", weather.rain_mm_year, "mm")
    said = (one.found for one in weather.checks if one.rule == "weather/rain-weather-file")
    return fact_line("Rain", next(said, "not used"))


def _snow_line(design: Design) -> Row:
    """Fresh snow of the year, and whether anyone gave it."""
    year = snow_of(design)
    if not year.falls:
        return fact_line("Fresh snow", "none")
    name = "Fresh snow, assumed" if year.assumed else "Fresh snow"
    return fact_line(name, sum(year.fall_cm), "cm a year")


def loss_table(design: Design) -> list[Row]:
    """Yield left after each step, and what the step took; below 0 where it gave (cold cells)."""
    harvest = design.energy
    rows: list[Row] = [
        {"step": harvest.steps[0].name, "part": "light",
         "yield left [kWh/kWp]": harvest.reference_yield_h, "lost in the step [%]": None}
    ]
    for before, after in pairwise(harvest.steps):
        lost = lost_frac(before, after)
        rows.append(
            {
                "step": after.name,
                "part": f"{after.part} loss",
                "yield left [kWh/kWp]": after.yield_kwh_per_kwp,
                "lost in the step [%]": 100.0 * lost if abs(lost) > ROUNDING_FRAC else 0.0,
            }
        )
    return rows


def month_table(design: Design) -> list[Row]:
    """Light, energy, yield and performance ratio of each month."""
    return [
        {"month": MONTHS[number], "in-plane light [kWh/m²]": row["plane_kwh_m2"],
         "array energy [kWh]": row["dc_kwh"], "potential AC energy [kWh]": row["ac_kwh"],
         "final yield [kWh/kWp]": row["final_yield_kwh_per_kwp"],
         "performance ratio": row["performance_ratio"]}
        for number, (_, row) in enumerate(design.energy.by_month().iterrows())
    ]


def _yield_values(design: Design) -> Values:
    """Named results of the yield workbook."""
    harvest = design.energy
    months = harvest.by_month()["ac_kwh"]
    values: Values = {
        "array_power_kwp": round(harvest.peak_kwp, 2),
        "reference_yield_kwh_per_kwp": round(harvest.reference_yield_h),
        "array_yield_kwh_per_kwp": round(harvest.array_yield_h),
        "final_yield_kwh_per_kwp": round(harvest.final_yield_h),
        "capture_loss_kwh_per_kwp": round(harvest.reference_yield_h - harvest.array_yield_h),
        "system_loss_kwh_per_kwp": round(harvest.array_yield_h - harvest.final_yield_h),
        "performance_ratio": round(harvest.performance_ratio, 3),
        "potential_ac_energy_kwh": round(harvest.ac_kwh),
        "string_coldest_voltage_v": round(harvest.coldest_voc_v),
    }
    return values | {
        f"potential_ac_{name.lower()}_kwh": round(float(energy))
        for name, energy in zip(MONTHS, months, strict=True)
    }


def values(design: Design) -> Values:
    """Named results of the yield workbook, and how sure they are."""
    return {**_yield_values(design), **_sureness_values(design)}
