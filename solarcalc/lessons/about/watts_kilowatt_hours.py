"""Lesson 5: power is how fast, energy is how much, and what an array gives in a day."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random
from statistics import median
from typing import Any

import numpy as np
import pandas as pd

from solarcalc.basis.hours import MONTHS
from solarcalc.basis.physics import STC_W_M2
from solarcalc.design import Design
from solarcalc.energy.year import Harvest, LossStep
from solarcalc.lessons import pictures_roof
from solarcalc.lessons.tasks import Picture, Worked
from solarcalc.loads.days import energy_per_day_wh
from solarcalc.sitefile.loads import Appliance

DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
LOW_FRAC = 0.9
"""A month whose performance ratio is below this part of the middle one is looked at: no source."""
SCATTER_FRAC = 0.01
LEAST_DAY_KWH_M2 = 3.0
"""Days of less sun are left out of the table of a day."""


@dataclass(frozen=True, kw_only=True)
class Given:
    """Numbers of one learner: an appliance, a day, a site's months, an array, five months."""

    appliance_w: int
    duty_percent: int
    peak_kwp: float
    first_h: int
    day_w: tuple[int, ...]
    daylight_h: int
    mean_w_m2: int
    irradiation: float
    ratio_percent: int
    demand_kwh: float
    by_month: tuple[float, ...]
    months: tuple[str, ...]
    months_kwh_m2: tuple[int, ...]
    months_kwh: tuple[int, ...]
    sample_days: tuple[tuple[float, ...], ...]


def draw(rng: Random, design: Design) -> Given:
    """A day and the months of the site's own year, an array of another size."""
    year, peak_kwp = design.energy, round(rng.uniform(2.0, 8.0), 1)
    plane = year.hours["plane_w_m2"].to_numpy().reshape(-1, 24)
    ac_w = year.hours["ac_w"].to_numpy().reshape(-1, 24) / year.peak_kwp * peak_kwp
    sums = plane.sum(axis=1) / STC_W_M2
    day = rng.choice(np.flatnonzero(sums > LEAST_DAY_KWH_M2).tolist())
    lit = np.flatnonzero(ac_w[day] > 50.0)
    read = 10 * np.round(ac_w[day, lit[0] : lit[-1] + 1] / 10.0).astype(int)
    table = year.by_month()
    sun = table["plane_kwh_m2"].round().astype(int).to_numpy()
    chosen = sorted(rng.sample(range(12), 5))
    low = sorted(chosen, key=lambda at: int(sun[at]))[rng.choice((2, 3))]
    ratio = table["performance_ratio"].to_numpy()
    made = [peak_kwp * sun[at] * ratio[at] * (1.0 + rng.uniform(-SCATTER_FRAC, SCATTER_FRAC))
            * (rng.uniform(0.78, 0.84) if at == low else 1.0) for at in chosen]  # fmt: skip
    order = np.argsort(sums)
    return Given(
        appliance_w=5 * rng.randint(14, 36), duty_percent=rng.choice((25, 30, 35, 40, 60, 65)),
        peak_kwp=peak_kwp, first_h=int(lit[0]), day_w=tuple(read.tolist()),
        daylight_h=rng.randint(10, 13), mean_w_m2=10 * rng.randint(32, 56),
        irradiation=round(rng.uniform(3.5, 6.8), 1), ratio_percent=rng.randint(70, 84),
        demand_kwh=round(rng.uniform(5.0, 22.0), 1),
        by_month=tuple(round(float(kwh) / days, 1) for kwh, days
                       in zip(table["plane_kwh_m2"], DAYS, strict=True)),
        months=tuple(MONTHS[at] for at in chosen), months_kwh=tuple(round(kwh) for kwh in made),
        months_kwh_m2=tuple(int(sun[at]) for at in chosen),
        sample_days=tuple(tuple(plane[order[at]].round(1).tolist()) for at in (-5, 182, 15)),
    )  # fmt: skip


def example() -> dict[str, float]:
    """5 kW, 1825 kWh/m2, 6850 kWh a year: a performance ratio of 0.751."""
    steps = (LossStep(name="in-plane irradiation", yield_kwh_per_kwp=1825.0, part="capture"),
             LossStep(name="delivered", yield_kwh_per_kwp=6850.0 / 5.0, part="system (BOS)"))
    year = Harvest(hours=pd.DataFrame(), told_steps=lambda: steps, peak_kwp=5.0,
                   in_window_frac=1.0, clipped_kwh=0.0, coldest_voc_v=0.0)  # fmt: skip
    return {"peak_kwp": 5.0, "sun": year.reference_yield_h, "ratio": year.performance_ratio,
            "energy_kwh": 5.0 * year.reference_yield_h * year.performance_ratio}  # fmt: skip


def picture(given: Given) -> Picture:
    """A day's power: drag the size of the array, change the day."""
    days = dict(zip(("clear day", "middling day", "dull day"), given.sample_days, strict=True))

    def draw_it(rated_power_kwp: float, performance_ratio_percent: float, day: str) -> str:
        return pictures_roof.day_power(days[day], peak_kwp=rated_power_kwp,
                                       performance_frac=performance_ratio_percent / 100.0)

    return Picture(draw=draw_it, ranges={
        "rated_power_kwp": (1.0, 10.0, 0.5, 5.0),
        "performance_ratio_percent": (60.0, 90.0, 1.0, 77.0), "day": {name: name for name in days},
    })  # fmt: skip


def good_day(given: Given) -> Worked:
    """The prediction: what an array gives on a day of so much sun."""
    gives = 5.0 * given.irradiation * given.ratio_percent / 100.0
    return Worked(right="c", steps={"gives": gives, "daylight": 5.0 * 12.0, "clock": 5.0 * 24.0})


def appliance_day(given: Given) -> Worked:
    """Energy of an appliance in a day by power, hours and duty factor [Wh]."""
    duty, watts = given.duty_percent / 100.0, float(given.appliance_w)
    fridge = Appliance(name="Refrigerator", power_w=watts, use=["00:00-24:00"], duty_frac=duty)
    return Worked(
        right=energy_per_day_wh([fridge]), unit="Wh", within_frac=0.01,
        wrong={"always_on": watts * 24.0, "one_hour": watts * duty,
               "while_it_rests": watts * 24.0 * (1.0 - duty)},
        steps={"hours": 24.0 * duty},
    )  # fmt: skip


def energy_of_day(given: Given) -> Worked:
    """Energy of a day out of its hourly means [kWh]."""
    read = np.array(given.day_w)
    hours = range(given.first_h, given.first_h + len(read))
    return Worked(
        right=float(read.sum()) / 1000.0, unit="kWh", within_frac=0.01,
        wrong={"highest_all_day": float(read.max()) * len(read) / 1000.0,
               "highest_alone": float(read.max()) / 1000.0,
               "mean_alone": float(read.mean()) / 1000.0},
        rows=[{"from": f"{hour}:00", "to": f"{hour + 1}:00", "mean power_w": int(watts)}
              for hour, watts in zip(hours, read, strict=True)],
        steps={"sum": float(read.sum())},
    )  # fmt: skip


def sun_hours(given: Given) -> Worked:
    """Hours at 1 kW/m2 that hold the same sun [h]."""
    return Worked(
        right=given.mean_w_m2 * given.daylight_h / STC_W_M2, unit="h", within_frac=0.01,
        wrong={"daylight": float(given.daylight_h), "mean_alone": given.mean_w_m2 / STC_W_M2,
               "round_the_clock": given.mean_w_m2 * 24.0 / STC_W_M2},
        steps={"sun_wh": float(given.mean_w_m2 * given.daylight_h)},
    )  # fmt: skip


def energy_from_sun(given: Given) -> Worked:
    """Energy of a day from rated power, irradiation and performance ratio [kWh]."""
    ratio, full = given.ratio_percent / 100.0, given.peak_kwp * given.irradiation
    return Worked(
        right=full * ratio, unit="kWh", within_frac=0.01,
        wrong={"forgot_the_losses": full, "divided_by_the_ratio": full / ratio,
               "round_the_clock": given.peak_kwp * 24.0 * ratio,
               "forgot_the_array": given.irradiation * ratio},
        steps={"full": full, "ratio": ratio},
    )  # fmt: skip


def performance_ratio(given: Given) -> Worked:
    """Performance ratio of a month without a fault [%]."""
    place = _ratios(given).index(max(_ratios(given)))
    energy, sun = given.months_kwh[place], given.months_kwh_m2[place]
    full = given.peak_kwp * sun
    return Worked(
        right=100.0 * energy / full, unit="%", within_frac=0.01,
        wrong={"upside_down": 100.0 * full / energy, "forgot_the_array": 100.0 * energy / sun,
               "forgot_the_sun": energy / given.peak_kwp, "share_not_percent": energy / full},
        steps={"month": given.months[place], "energy": energy, "sun": sun, "full": full},
    )  # fmt: skip


def array_for_demand(given: Given) -> Worked:
    """Rated power that covers a demand in the month of least sun [kWp]."""
    ratio, need_kwh = given.ratio_percent / 100.0, given.demand_kwh
    least, most = min(given.by_month), max(given.by_month)
    return Worked(
        right=need_kwh / (least * ratio), unit="kWp", within_frac=0.01,
        wrong={"forgot_the_losses": need_kwh / least, "best_month": need_kwh / (most * ratio),
               "mean_of_the_year": need_kwh / (sum(given.by_month) / 12.0 * ratio),
               "multiplied_by_the_ratio": need_kwh * ratio / least},
        rows=[{"month": name, "in-plane irradiation [kWh/m² a day]": sun}
              for name, sun in zip(MONTHS, given.by_month, strict=True)],
        steps={"least": least, "month": MONTHS[given.by_month.index(least)],
               "per_kwp": least * ratio},
    )  # fmt: skip


def low_month(given: Given) -> Worked:
    """Which month gave less than its sun explains."""
    ratios = _ratios(given)
    low = [name for name, ratio in zip(given.months, ratios, strict=True)
           if ratio < LOW_FRAC * median(ratios)]  # fmt: skip
    rows: list[dict[str, Any]] = [
        {"month": name, "in-plane irradiation [kWh/m²]": sun, "energy_kwh": kwh}
        for name, sun, kwh in zip(given.months, given.months_kwh_m2, given.months_kwh, strict=True)
    ]
    right = low[0] if len(low) == 1 else ""
    place = given.months.index(low[0]) if low else 0
    slips = {"least_energy": given.months[given.months_kwh.index(min(given.months_kwh))],
             "most_sun": given.months[given.months_kwh_m2.index(max(given.months_kwh_m2))]}
    return Worked(
        right=right, items=given.months,
        wrong={slip: month for slip, month in slips.items() if month != right},
        rows=rows,
        steps={"name": given.months[place], "its_percent": 100.0 * ratios[place],
               "usual_percent": 100.0 * median(ratios)},
    )  # fmt: skip


def _ratios(given: Given) -> list[float]:
    return [kwh / (given.peak_kwp * sun) for kwh, sun
            in zip(given.months_kwh, given.months_kwh_m2, strict=True)]
