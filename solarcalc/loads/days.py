"""Kinds of day: which appliances are used on which days of the week, in which months."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache

import numpy as np
import pandas as pd

from solarcalc.basis.hours import MONTHS, TYPICAL_YEAR
from solarcalc.sitefile.loads_records import WEEKDAYS, weekday_numbers
from solarcalc.sitefile.records import Appliance

Place = tuple[int, int]
"""A month, 1 to 12, and a day of the week, 0 Monday to 6 Sunday."""

Mask = tuple[bool, ...]
"""Which appliances of a list are used."""

PLACES: tuple[Place, ...] = tuple((month, day) for month in range(1, 13) for day in range(7))

DAYS_IN_YEAR = 365

SEASONS = ((12, 1, 2), (3, 4, 5), (6, 7, 8), (9, 10, 11))
"""Quarters of the year by which a measured year is summed up; common practice, no source."""


@dataclass(frozen=True, kw_only=True, eq=False)
class DayKind:
    """Days of the typical year that are alike.

    Parameters
    ----------
    months : tuple of int
        1 to 12.
    weekdays : tuple of int
        0 Monday to 6 Sunday.
    days : int
        How many of them the typical year has.
    profiles_w : mapping of board to ndarray
        Mean power of equal parts of the day from midnight on [W].
    """

    months: tuple[int, ...]
    weekdays: tuple[int, ...]
    days: int
    profiles_w: Mapping[str, np.ndarray]

    @property
    def months_name(self) -> str:
        """The months in words: ``"Jun to Aug"``."""
        return "whole year" if len(self.months) == 12 else _runs(self.months, MONTHS, 12)

    @property
    def weekdays_name(self) -> str:
        """The days of the week in words."""
        words = {7: "every day", 5: "Monday to Friday", 2: "Saturday and Sunday"}
        if self.weekdays in (tuple(range(7)), tuple(range(5)), (5, 6)):
            return words[len(self.weekdays)]
        return _runs(self.weekdays, [name.capitalize() for name in WEEKDAYS], 7)

    @property
    def name(self) -> str:
        """Season and days in words."""
        return f"{self.months_name}, {self.weekdays_name}"

    def energy_wh(self, board: str) -> float:
        """Energy of one board in one such day [Wh]."""
        return float(np.mean(self.profiles_w[board])) * 24.0


def _runs(numbers: Sequence[int], names: Sequence[str], around: int) -> str:
    """Numbers that follow each other as "first to last", also past the end of the round."""
    first = min(numbers)
    left = sorted(number - first for number in numbers)
    runs = [[left[0]]]
    for number in left[1:]:
        if number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    if len(runs) > 1 and first in (0, 1) and runs[-1][-1] == around - 1:
        runs[0] = runs.pop() + runs[0]
    base = 1 if around == 12 else 0
    words = [
        names[run[0] + first - base]
        + ("" if len(run) == 1 else f" to {names[run[-1] + first - base]}")
        for run in runs
    ]
    return ", ".join(words)


def _places(item: Appliance) -> frozenset[Place]:
    """Months and days of the week on which an appliance is used."""
    numbers = weekday_numbers(item.days)
    return frozenset((month, number) for month in item.months for number in numbers)


def used_at(appliances: Sequence[Appliance]) -> dict[Place, Mask]:
    """Which appliances are used, for each month and day of the week."""
    places = [_places(item) for item in appliances]
    return {place: tuple(place in of_item for of_item in places) for place in PLACES}


@cache
def calendar() -> tuple[Place, ...]:
    """Month and day of the week of each day of the typical year, shape (365,)."""
    days = (date(TYPICAL_YEAR, 1, 1) + timedelta(days=number) for number in range(DAYS_IN_YEAR))
    return tuple((day.month, day.weekday()) for day in days)


@cache
def days_at() -> Mapping[Place, int]:
    """How many days of the typical year fall on each day of the week of each month."""
    counts = dict.fromkeys(PLACES, 0)
    for place in calendar():
        counts[place] += 1
    return counts


def used_by_day(appliances: Sequence[Appliance]) -> list[tuple[Mask, Mask]]:
    """Which appliances were used the day before, and which are used, on each day of the year.

    Before 1 January stands 31 December of the same typical year.
    """
    at = used_at(appliances)
    today = [at[place] for place in calendar()]
    return list(zip([today[-1], *today[:-1]], today, strict=True))


def split_in_kinds(alike: Mapping[Place, object]) -> list[tuple[tuple[int, ...], tuple[int, ...]]]:
    """Months and days of the week of each kind of day, where equal values are alike.

    Months whose seven days are alike come together first, then days of the week within them.
    """
    seasons: dict[tuple[object, ...], list[int]] = {}
    for month in range(1, 13):
        seasons.setdefault(tuple(alike[(month, day)] for day in range(7)), []).append(month)
    kinds = []
    for week, months in seasons.items():
        days: dict[object, list[int]] = {}
        for day, value in enumerate(week):
            days.setdefault(value, []).append(day)
        kinds += [(tuple(months), tuple(group)) for group in days.values()]
    return kinds


def kinds_of_year(hours_w: Mapping[str, pd.Series]) -> tuple[DayKind, ...]:
    """Mean day of Monday to Friday and of the weekend, in each quarter of a measured year.

    Parameters
    ----------
    hours_w : mapping of board to Series, shape (8760,)
        Mean power of each hour of the typical year [W].
    """
    kinds = []
    counts = days_at()
    for months in SEASONS:
        for weekdays in (tuple(range(5)), (5, 6)):
            profiles = {}
            for board, hours in hours_w.items():
                index = pd.DatetimeIndex(hours.index)
                chosen = hours[index.month.isin(months) & index.day_of_week.isin(weekdays)]
                hour = pd.DatetimeIndex(chosen.index).hour
                profiles[board] = chosen.groupby(hour).mean().to_numpy()
            days = sum(counts[(month, day)] for month in months for day in weekdays)
            kinds.append(
                DayKind(months=months, weekdays=weekdays, days=days, profiles_w=profiles)
            )
    return tuple(kinds)
