"""What the yield workbook says beyond the middle figure: how sure it is, and when to wash."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd

from solarcalc.basis.hours import MONTHS
from solarcalc.basis.quantity import grouped, signed
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
from solarcalc.stages.kept import of_design
from solarcalc.stages.snow import snow_of
from solarcalc.variants import change_of_plane
from solarcalc.views.rows import PLANE, Row, Values, fact_line
from solarcalc.weather.records import WeatherYear
from solarcalc.wiring.runs import of_plane

P90_FRAC = 0.9
"""Chance with which the P90 energy is exceeded, by its name."""


def uncertainties(design: Design) -> tuple[Uncertainty, ...]:
    """What is uncertain in the yield of a design, each as a share of it."""
    return uncertainties_of(design.energy, made_year=design.site.weather.source == MONTHLY)


def uncertainty_table(design: Design) -> list[dict[str, object]]:
    """Each uncertainty with its source, and all together."""
    parts = uncertainties(design)
    rows: list[dict[str, object]] = [
        {"source of uncertainty": part.name, "standard deviation [%]": 100.0 * part.sigma_frac,
         "source": part.source}
        for part in parts
    ]
    rows.append(
        {"source of uncertainty": "Combined",
         "standard deviation [%]": 100.0 * combined_frac(parts),
         "source": "root sum of squares of independent uncertainties"}
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
        f"{design.site.module_count} modules, {harvest.peak_kwp:.2f} kWp, yield"
        f" {_whole(harvest.ac_kwh)} kWh/year of potential AC energy, before battery and demand"
        f" (lowest month {MONTHS[least]} {_whole(months[least])} kWh, highest {MONTHS[most]}"
        f" {_whole(months[most])} kWh), at an annual performance ratio of"
        f" {harvest.performance_ratio:.2f}; P90, exceeded in 9 years of 10:"
        f" {_whole(promised_kwh(design))} kWh/year."
    )


def plane_rows(design: Design) -> list[Row]:
    """What each roof plane brings to the year; empty where the site has one."""
    if len(design.planes) == 1:
        return []
    return [
        {PLANE: one.plane, "modules": one.site.array.module_count,
         "tilt [°]": one.array.rows.tilt_deg, "azimuth [°]": one.array.rows.azimuth_deg,
         "array [kWp]": one.energy.peak_kwp, "potential AC energy [kWh]": one.energy.ac_kwh,
         "potential final yield [kWh/kWp]": one.energy.final_yield_h,
         "performance ratio": one.energy.performance_ratio}
        for one in design.planes
    ]  # fmt: skip


def gap_rows(design: Design) -> list[dict[str, object]]:
    """What the rear gap does at 1 kW/m², one row a gap."""
    return [
        {"rear gap [cm]": 100.0 * line["gap_m"], "cell temperature [°C]": line["cell_c"],
         "above an open rack [K]": line["above_open_k"],
         "power loss [%]": 100.0 * line["power_lost_frac"]}
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
            "cleaning interval [days]": f"{row['interval_days']:.0f}" if row["cleanings"]
            else "never",
            "cleanings per year": int(row["cleanings"]),
            "soiling loss [%]": 100.0 * row["dust_loss_frac"],
            "energy gained [kWh/year]": row["won_kwh"],
            "cost of cleaning [kWh/year]": row["cost_kwh"],
            "net gain [kWh/year]": row["net_kwh"],
        }
        for _, row in plan.iterrows()
    ]


def chosen_days_sentence(chosen: tuple[Sequence[str], float]) -> str:
    """The washes that pay one by one, in words."""
    days, net_kwh = chosen
    if not days:
        return "With single cleaning days, none is worth its cost."
    return (
        f"Best single cleaning days: {', '.join(map(_day_words, days))}, net gain {net_kwh:.0f}"
        " kWh/year."
    )


def _day_words(month_day: str) -> str:
    month, _, day = month_day.partition("-")
    return f"{int(day)} {MONTHS[int(month) - 1]}"


Change = tuple[str, dict[str, dict[str, Any]]]

STEEPER_DEG = 10.0
TURNED_DEG = 30.0
CLOSER_FRAC = 0.8
OLDER_YEARS = 10.0
WIDE_GAP_M = 0.15
"""Sizes of the changes tried: round figures to see a direction by, no advice."""


@of_design
def what_would_change_the_yield(design: Design) -> list[Row]:
    """One row for each thing changed alone: potential AC energy and the change in it."""
    harvest = design.energy
    rows = [_row("as designed", harvest.ac_kwh, harvest.ac_kwh)]
    for name, tables in _changes(design):
        changed = design.changed(change_of_plane(design, 0, tables))
        rows.append(_row(name, changed.energy.ac_kwh, harvest.ac_kwh))
    return rows


def _changes(design: Design) -> Iterator[Change]:
    array, soiling, losses = design.site.array, design.site.soiling, design.site.losses
    of = of_plane("", design.planes[0].site)  # what lies otherwise is the first plane
    if array.mounting != "flush":
        for word, turn in (("steeper", STEEPER_DEG), ("flatter", -STEEPER_DEG)):
            tilt_deg = min(max(array.tilt_deg + turn, 0.0), 90.0)
            tilted = {"tilt_deg": tilt_deg}
            yield f"{STEEPER_DEG:.0f}° {word}, tilt {tilt_deg:g}°{of}", {"array": tilted}
        for turn in (TURNED_DEG, -TURNED_DEG):
            turned = {"azimuth_deg": (array.azimuth_deg + turn) % 360.0}
            yield f"azimuth {turned['azimuth_deg']:g}°{of}", {"array": turned}
    stands = standing(design)
    closer_m = round(CLOSER_FRAC * stands.pitch_m, 2)
    if array.rows > 1 and stands.rows.lift_deg > 0.0 and closer_m >= stands.rows.footprint_m:
        yield f"closer rows, pitch {closer_m:.2f} m{of}", {"array": {"row_pitch_m": closer_m}}
    dust = min(2.0 * soiling.loss_per_dry_day_frac, 0.05)
    yield "double soiling rate", {"soiling": {"loss_per_dry_day_frac": dust}}
    yield "cleaned on the 1st of every month", {
        "soiling": {"cleaning_dates": [f"{month:02d}-01" for month in range(1, 13)]}
    }
    if array.mounting == "small-gap":
        yield f"{100.0 * WIDE_GAP_M:.0f} cm rear ventilation gap{of}", {
            "array": {"gap_under_m": WIDE_GAP_M}
        }
    yield f"{OLDER_YEARS:.0f} years older", {
        "losses": {"age_years": min(losses.age_years + OLDER_YEARS, 40.0)}
    }
    yield "half the DC cable losses", {"losses": {"dc_wiring_frac": 0.5 * losses.dc_wiring_frac}}


def _row(name: str, kwh: float, before_kwh: float) -> Row:
    change = 100.0 * (kwh / before_kwh - 1.0) if before_kwh > 0.0 else 0.0
    return {"changed parameter": name, "potential AC energy [kWh]": kwh, "change [%]": change}


def largest_changes_sentence(rows: list[Row]) -> str:
    """The change that helps most and the one that hurts most, in words."""
    tried = rows[1:]
    best = max(tried, key=lambda row: float(row["change [%]"]))
    worst = min(tried, key=lambda row: float(row["change [%]"]))
    gain, loss = float(best["change [%]"]), float(worst["change [%]"])
    helps = (
        f"Largest gain: {best['changed parameter']} ({signed(gain)} %)"
        if gain > 0.05
        else "None of these changes gains energy"
    )
    hurts = (
        f"largest loss: {worst['changed parameter']} ({signed(loss)} %)"
        if loss < -0.05
        else "none of them loses any"
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
        fact_line("Time stamps of the file", weather.file_label_convention),
        fact_line("Global horizontal irradiation (GHI)",
                  weather.ghi_kwh_m2_year, "kWh/m² per year"),
        fact_line("Direct normal irradiation (DNI)", weather.dni_kwh_m2_year, "kWh/m² per year"),
        fact_line("Diffuse horizontal irradiation (DHI)",
                  weather.dhi_kwh_m2_year, "kWh/m² per year"),
        fact_line("Mean air temperature", weather.temp_air_mean_c, "°C"),
        fact_line("Lowest hourly air temperature", float(weather.hours["temp_air"].min()), "°C"),
        fact_line("Highest hourly air temperature", float(weather.hours["temp_air"].max()), "°C"),
        _rain_line(weather),
        _snow_line(design),
    ]


def _rain_line(weather: WeatherYear) -> Row:
    """Rain of the year, or why the file's is not used."""
    if weather.rain_mm_year is not None:
        return fact_line("Rain", weather.rain_mm_year, "mm/year")
    said = (one.found for one in weather.checks if one.rule == "weather/rain-weather-file")
    return fact_line("Rain", next(said, "not used"))


def _snow_line(design: Design) -> Row:
    """Fresh snow of the year, and whether anyone gave it."""
    year = snow_of(design)
    if not year.falls:
        return fact_line("Snowfall", "none")
    name = "Snowfall, assumed" if year.assumed else "Snowfall"
    return fact_line(name, sum(year.fall_cm), "cm/year")


def loss_table(design: Design) -> list[Row]:
    """Yield left after each step, and what the step took; below 0 where it gave (cold cells)."""
    harvest = design.energy
    rows: list[Row] = [
        {"step": harvest.steps[0].name, "part": "irradiation",
         "yield left [kWh/kWp]": harvest.reference_yield_h, "loss [%]": None}
    ]
    for before, after in pairwise(harvest.steps):
        lost = lost_frac(before, after)
        rows.append(
            {
                "step": after.name,
                "part": f"{after.part} loss",
                "yield left [kWh/kWp]": after.yield_kwh_per_kwp,
                "loss [%]": 100.0 * lost if abs(lost) > ROUNDING_FRAC else 0.0,
            }
        )
    return rows


def month_table(design: Design) -> list[Row]:
    """Light, energy, yield and performance ratio of each month."""
    return [
        {"month": MONTHS[number], "in-plane irradiation [kWh/m²]": row["plane_kwh_m2"],
         "array energy [kWh]": row["dc_kwh"], "potential AC energy [kWh]": row["ac_kwh"],
         "potential final yield [kWh/kWp]": row["final_yield_kwh_per_kwp"],
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
    """Named results of the yield workbook, and how sure they are.

    Each name ends in its unit.
    """
    return {**_yield_values(design), **_sureness_values(design)}
