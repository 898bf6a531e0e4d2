"""Lesson 16: a year of data: yield, performance ratio, and what a fall of it says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from random import Random
from statistics import median

import numpy as np
import pandas as pd

from solarcalc.basis.physics import STC_C
from solarcalc.design import Design
from solarcalc.followup.daily import OUTAGE_OF_USUAL, ratio_table
from solarcalc.followup.segments import straight_pieces, without_outliers
from solarcalc.followup.separate import LEAST_DUST_DAYS, LEAST_FALL_FRAC, LEAST_STEP_FRAC
from solarcalc.lessons import pictures
from solarcalc.lessons.tasks import Picture, Worked

MONTHS = ("January", "February", "March", "April", "May", "June")
QUARTERS = ("January to March", "April to June", "July to September", "October to December")
DAYS = 60
RATIOS = ((0.69, 0.73), (0.775, 0.82))
"""Performance ratios drawn: the quarters scatter by 2 %, and the example's 0.751 is in neither."""
KINDS = {"dust": "a", "string": "b", "outage": "c"}
"""What happened, to the letter of its choice."""
FALLEN_FRAC = 0.1
"""A month is out of line from so much below the middle of all on: common practice, no source."""
MOST_FULL_FRAC = 0.25
"""Share of daylight with a full battery that explains a low month: common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Month:
    """One month of a log.

    Parameters
    ----------
    name : str
    light_kwh_m2, energy_kwh : int
    full_percent : int
        Share of the daylight in which the battery was full.
    """

    name: str
    light_kwh_m2: int
    energy_kwh: int
    full_percent: int


@dataclass(frozen=True, kw_only=True)
class Given:
    """Numbers of one learner: an invented array, its year, an hour, months and days of it."""

    rated_kw: float
    energy_kwh: tuple[int, ...]
    light_kwh_m2: tuple[int, ...]
    hour_w: int
    hour_w_m2: int
    hour_c: int
    gamma_pct_per_k: float
    expected_kwh: int
    measured_kwh: int
    held_kwh: int
    strings: int
    before_percent: int
    after_percent: int
    months: tuple[Month, ...]
    scatter: tuple[float, ...]
    kind: str
    daily: tuple[float, ...]


def draw(rng: Random, design: Design) -> Given:
    """An array that works, then the same with one month and one stretch of days that do not."""
    rated_kw, ratio = round(rng.uniform(2.0, 9.0), 1), rng.uniform(*rng.choice(RATIOS))
    light = tuple(rng.randint(330, 560) for _ in QUARTERS)
    gamma, hour_c, bright = -rng.choice((0.30, 0.34, 0.36, 0.40)), rng.randint(44, 64), 10 * \
        rng.randint(70, 98)  # fmt: skip
    hot = 1.0 + gamma / 100.0 * (hour_c - 25.0)
    expected, strings = rng.randint(450, 900) * 10, rng.randint(3, 6)
    held = round(expected * rng.uniform(0.08, 0.25))
    lost, before = rng.randint(1, strings // 2), rng.randint(93, 99)
    scatter = tuple(rng.uniform(-0.012, 0.012) for _ in range(DAYS))
    kind = rng.choice(tuple(KINDS))
    return Given(
        rated_kw=rated_kw, light_kwh_m2=light, kind=kind, scatter=scatter,
        energy_kwh=tuple(round(rated_kw * one * ratio * rng.uniform(0.98, 1.02)) for one in light),
        hour_w=round(1000.0 * rated_kw * bright / 1000.0 * hot * rng.uniform(0.9, 0.97)),
        hour_w_m2=bright, hour_c=hour_c, gamma_pct_per_k=gamma, expected_kwh=expected,
        held_kwh=held, measured_kwh=round((expected - held) * rng.uniform(0.93, 0.99)),
        strings=strings, before_percent=before,
        after_percent=round(before * (1.0 - lost / strings)),
        months=_months(rng, rated_kw, ratio),
        daily=_daily(scatter, kind, rng.uniform(0.003, 0.006), rng.randint(24, 38), strings),
    )  # fmt: skip


def _months(rng: Random, rated_kw: float, ratio: float) -> tuple[Month, ...]:
    """Six months: one with little light, one with a full battery, one with a fault."""
    dim, full, faulty = rng.sample(range(len(MONTHS)), 3)
    found = []
    for place, name in enumerate(MONTHS):
        light = rng.randint(60, 75) if place == dim else rng.randint(130, 185)
        kept = {full: rng.uniform(0.74, 0.82), faulty: rng.uniform(0.7, 0.8)}.get(
            place, rng.uniform(0.98, 1.02))  # fmt: skip
        percent = rng.randint(35, 55) if place == full else rng.randint(2, 12)
        found.append(Month(name=name, light_kwh_m2=light, full_percent=percent,
                           energy_kwh=round(rated_kw * light * ratio * kept)))
    return tuple(found)


def _daily(scatter: Sequence[float], kind: str, fall_per_day: float, first: int, strings: int
           ) -> tuple[float, ...]:  # fmt: skip
    """Daily ratios: dust that rain takes off, a string out, or single days without power."""
    found = []
    for day, noise in enumerate(scatter):
        level = 0.98
        if kind == "dust" and day < first + 12:
            level -= fall_per_day * day
        if kind == "string" and day >= first:
            level *= 1.0 - 1.0 / strings
        if kind == "outage" and day in (first, first + 1, first + 9):
            level = 0.1
        found.append(round(level + noise, 3))
    return tuple(found)


def example() -> dict[str, float]:
    """5 kW, 6850 kWh, 1825 kWh/m2 in a year: 0.751."""
    year = (6850e3, 1825e3, STC_C)
    return {"energy": 6850, "rated": 5, "light": 1825, "yield": 6850 / 5,
            "ratio": float(_of_hours([year, year], 5.0, 0.0)["ratio"].iloc[0])}  # fmt: skip


def picture(given: Given) -> Picture:
    """Daily ratios: drag dust and a lost string."""
    def draw(dust_percent_per_day: float, strings_out_from_day_30: int) -> str:
        ratio = [(0.98 + noise - dust_percent_per_day / 100.0 * day)
                 * (1.0 - (day >= 29) * strings_out_from_day_30 / given.strings)
                 for day, noise in enumerate(given.scatter)]  # fmt: skip
        whole = 100.0 * sum(ratio) / len(ratio)
        return pictures.daily_ratio(ratio, f"{whole:.0f} % of what was expected in {DAYS} days")

    return Picture(draw=draw, ranges={
        "dust_percent_per_day": (0.0, 0.8, 0.05, 0.2),
        "strings_out_from_day_30": (0, given.strings - 1, 1, 0),
    })  # fmt: skip


def less_than_rated(given: Given) -> Worked:
    """The prediction: which share of rated power times light a sound array brings."""
    percent = 100.0 * _ratios(given)[0]
    right = "a" if percent >= 95.0 else "b" if percent >= 65.0 else "c"
    hours = sum(given.light_kwh_m2)
    return Worked(right=right, steps={"hours": hours, "most_kwh": given.rated_kw * hours})


def yield_of_year(given: Given) -> Worked:
    """Energy of the year by rated power [kWh/kWp]."""
    whole = float(sum(given.energy_kwh))
    return Worked(
        right=whole / given.rated_kw, unit="kWh/kWp", within_frac=0.005,
        wrong={"not_divided": whole, "mean_of_the_quarters": whole / 4.0 / given.rated_kw,
               "divided_by_the_light": whole / sum(given.light_kwh_m2)},
        rows=[{"quarter": name, "energy [kWh]": energy, "irradiation [kWh/m²]": light}
              for name, energy, light in zip(QUARTERS, given.energy_kwh, given.light_kwh_m2,
                                             strict=True)],
        steps={"whole": whole, "right": whole / given.rated_kw},
    )  # fmt: skip


def performance_ratio(given: Given) -> Worked:
    """Performance ratio of the year [%]."""
    whole, light = float(sum(given.energy_kwh)), float(sum(given.light_kwh_m2))
    return Worked(
        right=100.0 * _ratios(given)[0], unit="%", within_frac=0.005,
        wrong={"upside_down": 100.0 / _ratios(given)[0],
               "forgot_the_rated_power": 100.0 * whole / light,
               "by_all_hours": 100.0 * whole / given.rated_kw / 8760.0},
        steps={"whole": whole, "light": light, "yield": whole / given.rated_kw,
               "right": 100.0 * _ratios(given)[0]},
    )  # fmt: skip


def ratio_at_25(given: Given) -> Worked:
    """Performance ratio of an hour with the heat taken out [%]."""
    plain = given.hour_w / (1000.0 * given.rated_kw * given.hour_w_m2 / 1000.0)
    gamma, warmer_k = given.gamma_pct_per_k / 100.0, given.hour_c - 25
    return Worked(
        right=100.0 * _ratios(given)[1], unit="%", within_frac=0.01,
        wrong={"heat_left_in": 100.0 * plain, "wrong_way": 100.0 * plain * (1.0 + gamma * warmer_k),
               "counted_from_zero": 100.0 * plain / (1.0 + gamma * given.hour_c)},
        steps={"cold_w": given.rated_kw * given.hour_w_m2, "warmer_k": warmer_k,
               "hot_percent": -100.0 * gamma * warmer_k, "right": 100.0 * _ratios(given)[1],
               "hot_w": given.rated_kw * given.hour_w_m2 * (1.0 + gamma * warmer_k)},
    )  # fmt: skip


def without_full_battery(given: Given) -> Worked:
    """Energy over expected, what a full battery did not take left out [%]."""
    free = given.expected_kwh - given.held_kwh
    return Worked(
        right=100.0 * given.measured_kwh / free, unit="%", within_frac=0.005,
        wrong={"blamed_the_array": 100.0 * given.measured_kwh / given.expected_kwh,
               "added_to_the_expected": 100.0 * given.measured_kwh
               / (given.expected_kwh + given.held_kwh),
               "share_held_back": 100.0 * given.held_kwh / given.expected_kwh},
        steps={"free": free, "right": 100.0 * given.measured_kwh / free},
    )  # fmt: skip


def strings_out(given: Given) -> Worked:
    """Strings out of operation by a fall that stays."""
    drop = 1.0 - given.after_percent / given.before_percent
    lost = round(drop * given.strings)
    return Worked(
        right=lost, unit="strings", within_frac=0.0,
        wrong={"those_left": given.strings - lost, "all_of_them": given.strings},
        steps={"drop_percent": 100.0 * drop, "one_percent": 100.0 / given.strings, "lost": lost},
    )  # fmt: skip


def faulty_month(given: Given) -> Worked:
    """Which month is low without an excuse."""
    ratios = dict(zip(MONTHS, _ratios(given)[2:], strict=True))
    usual = median(ratios.values())
    full = {one.name: one.full_percent for one in given.months}
    low = [name for name, ratio in ratios.items() if ratio < (1.0 - FALLEN_FRAC) * usual]
    right = "".join(name for name in low if full[name] <= 100.0 * MOST_FULL_FRAC)
    return Worked(
        right=right, items=MONTHS,
        wrong={"least_light": min(given.months, key=lambda one: one.light_kwh_m2).name,
               "battery_was_full": max(full, key=full.__getitem__),
               "highest_ratio": max(ratios, key=ratios.__getitem__)},
        rows=[{"month": one.name, "irradiation [kWh/m²]": one.light_kwh_m2,
               "energy [kWh]": one.energy_kwh, "battery full [% of the daylight]": one.full_percent}
              for one in given.months],
        steps={"right": right, "ratio": 100.0 * ratios.get(right, 0.0), "usual": 100.0 * usual,
               "full": full.get(right, 0)},
    )  # fmt: skip


def what_happened(given: Given) -> Worked:
    """What a line of daily ratios shows: dust and rain, a string out, or days without power."""
    right = KINDS.get(_kind_of(given.daily), "")
    slips = {"took_it_for_dust": "a", "took_it_for_a_string": "b", "took_it_for_outages": "c",
             "took_it_for_clouds": "d"}  # fmt: skip
    said = {"a": "it falls slowly, day by day, and jumps back up after rain or a wash",
            "b": "it falls from one day to the next, and stays there",
            "c": "single days are near zero, and the days between are as before"}  # fmt: skip
    return Worked(
        right=right, wrong={slip: letter for slip, letter in slips.items() if letter != right},
        drawing=lambda: pictures.daily_ratio(given.daily, f"{DAYS} days"),
        steps={"because": said.get(right, "")},
    )  # fmt: skip


def _kind_of(daily: Sequence[float]) -> str:
    """By the package's own division of a daily line into straight pieces."""
    value = np.array(daily)
    if (value < OUTAGE_OF_USUAL * np.median(value)).any():
        return "outage"
    pieces = straight_pieces(np.arange(len(value), dtype=float), without_outliers(value))
    if any(one.fall > LEAST_FALL_FRAC and one.count >= LEAST_DUST_DAYS for one in pieces):
        return "dust"
    fell = [a.end - b.start for a, b in pairwise(pieces)]
    return "string" if any(drop > LEAST_STEP_FRAC for drop in fell) else ""


@lru_cache(maxsize=256)
def _ratios(given: Given) -> tuple[float, ...]:
    """Of the year, of the hour with the heat taken out, of each month."""
    sums = [(sum(given.energy_kwh), sum(given.light_kwh_m2)),
            *((one.energy_kwh, one.light_kwh_m2) for one in given.months)]  # fmt: skip
    year, *months = ((1000.0 * energy, 1000.0 * light, STC_C) for energy, light in sums)
    table = _of_hours([year, (given.hour_w, given.hour_w_m2, given.hour_c), *months],
                      given.rated_kw, given.gamma_pct_per_k)  # fmt: skip
    ratio = table["ratio"].tolist()
    return (ratio[0], float(table["ratio_25c"].iloc[1]), *ratio[2:])


def _of_hours(rows: Sequence[tuple[float, float, float]], rated_kw: float,
              gamma_pct_per_k: float) -> pd.DataFrame:  # fmt: skip
    """Ratios of hours of power, light and heat; what is summed up longer stands as an hour."""
    index = pd.date_range("2027-01-01", periods=len(rows), freq="h")
    power, light, heat = (pd.Series(values, index=index, dtype=float)
                          for values in zip(*rows, strict=True))  # fmt: skip
    return ratio_table(power, light, heat, rated_w=1000.0 * rated_kw,
                       gamma_per_k=gamma_pct_per_k / 100.0, by="h")  # fmt: skip
