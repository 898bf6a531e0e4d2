"""Kinds of day, and what each board draws on them hour by hour, from the list of appliances."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache

import numpy as np
import pandas as pd

from solarcalc.basis.hours import DAYS_IN_YEAR, MONTHS, TYPICAL_YEAR
from solarcalc.sitefile.loads import WEEKDAYS, Appliance, weekday_numbers

Place = tuple[int, int]
"""A month, 1 to 12, and a day of the week, 0 Monday to 6 Sunday."""

Mask = tuple[bool, ...]
"""Which appliances of a list are used."""

PLACES: tuple[Place, ...] = tuple((month, day) for month in range(1, 13) for day in range(7))


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
            kinds.append(DayKind(months=months, weekdays=weekdays, days=days, profiles_w=profiles))
    return tuple(kinds)


MINUTES_IN_DAY = 1440


def minutes_in_use(use: Sequence[str]) -> np.ndarray:
    """Which minutes of the day an appliance is in use.

    Parameters
    ----------
    use : sequence of str
        Clock spans ``"HH:MM-HH:MM"``; a span whose end is earlier than its start goes over
        midnight; overlapping spans count once.

    Returns
    -------
    ndarray of bool, shape (1440,)
    """
    of_day, of_next = _minutes_of_two_days(use)
    on: np.ndarray = of_day | of_next
    return on


def _minutes_of_two_days(use: Sequence[str]) -> tuple[np.ndarray, np.ndarray]:
    """Minutes in use on the day itself, and on the next by spans that go over midnight."""
    of_day, of_next = np.zeros((2, MINUTES_IN_DAY), dtype=bool)
    for span in use:
        start, end = (_minute_of_day(clock) for clock in span.split("-"))
        of_day[start : end if start < end else MINUTES_IN_DAY] = True
        if start >= end:
            of_next[:end] = True
    return of_day, of_next


Used = list[tuple[Appliance, np.ndarray]]
"""Appliances in use on a day, each with its minutes, bool, shape (1440,)."""


def _used(appliances: Sequence[Appliance], before: Mask, today: Mask) -> Used:
    found = []
    for item, was, is_ in zip(appliances, before, today, strict=True):
        if was or is_:
            of_day, of_next = _minutes_of_two_days(item.use)
            found.append((item, (of_day & is_) | (of_next & was)))
    return found


def used_together(appliances: Sequence[Appliance]) -> list[Used]:
    """What is in use on a day, once for each different day of the typical year.

    A span over midnight belongs to the day on which it begins: its later hours are those of the
    day after, whether the appliance is used on that day or not.
    """
    different = dict.fromkeys(used_by_day(appliances))
    return [_used(appliances, before, today) for before, today in different]


def _profile_w(used: Used) -> np.ndarray:
    """Mean power [W] in each minute of a day."""
    profile = np.zeros(MINUTES_IN_DAY)
    for item, on in used:
        profile += on * (item.power_w * item.count * item.duty_frac)
    return profile


def daily_profile_w(appliances: Sequence[Appliance]) -> np.ndarray:
    """Mean power [W] in each minute of a day, shape (1440,): the mean over the days of the year.

    Where every day is alike that is each day; `day_kinds` tells the others apart.
    """
    profile = np.zeros(MINUTES_IN_DAY)
    for (before, today), days in Counter(used_by_day(appliances)).items():
        profile += _profile_w(_used(appliances, before, today)) * (days / DAYS_IN_YEAR)
    return profile


def energy_per_day_wh(appliances: Sequence[Appliance]) -> float:
    """Energy of an appliance list in a day [Wh/day], the mean over the days of the year.

    Notes
    -----
    E = sum of n P t d: count, power, hours in use and duty (trade practice), times the share of
    the year's days on which the appliance is used.

    Examples
    --------
    >>> from solarcalc.sitefile.loads import Appliance
    >>> energy_per_day_wh([Appliance(name="lamp", power_w=9.0, count=8, use=["18:00-24:00"])])
    432.0
    """
    return float(daily_profile_w(appliances).sum() / 60.0)


def peak_power_w(appliances: Sequence[Appliance]) -> float:
    """Largest power [W] when every appliance of each minute runs at once, duty left out."""
    return max(float(_running_w(used).max()) for used in used_together(appliances))


def _running_w(used: Used) -> np.ndarray:
    running = np.zeros(MINUTES_IN_DAY)
    for item, on in used:
        running += on * (item.power_w * item.count)
    return running


def day_kinds(boards: Mapping[str, Sequence[Appliance]]) -> tuple[DayKind, ...]:
    """Kinds of day of the typical year, with what each board draws on them.

    Parameters
    ----------
    boards : mapping of board to appliances

    Returns
    -------
    tuple of DayKind
        Their days add up to 365; profiles have a value for each minute. Hours after midnight
        are counted with the day on which their span begins.
    """
    masks = {board: used_at(appliances) for board, appliances in boards.items()}
    alike = {place: tuple(mask[place] for mask in masks.values()) for place in PLACES}
    counts = days_at()
    kinds = []
    for months, weekdays in split_in_kinds(alike):
        place = (months[0], weekdays[0])
        profiles = {
            board: _profile_w(_used(appliances, masks[board][place], masks[board][place]))
            for board, appliances in boards.items()
        }
        days = sum(counts[(month, day)] for month in months for day in weekdays)
        kinds.append(DayKind(months=months, weekdays=weekdays, days=days, profiles_w=profiles))
    return tuple(kinds)


def hourly_power_w(appliances: Sequence[Appliance], index: pd.DatetimeIndex) -> pd.Series:
    """Mean power [W] in each hour of the year.

    Each hour takes the minutes it covers on the site's standard clock, so hours labelled at
    half past (weather from another zone) are right as well, also over the midnight between two
    kinds of day. Days of the week are those of the typical year, and after 31 December comes its
    1 January. A span over midnight belongs to the day on which it begins.

    Parameters
    ----------
    appliances : sequence of Appliance
    index : DatetimeIndex, shape (n,)
        Starts of the hours on the site's clock, of one year.

    Returns
    -------
    Series, shape (n,), [W]
    """
    by_day = used_by_day(appliances)
    kinds = list(dict.fromkeys(by_day))
    profiles = [_profile_w(_used(appliances, before, today)) for before, today in kinds]
    kind_of_day = np.array([kinds.index(day) for day in by_day])
    day = index.day_of_year.to_numpy() - 1
    today = kind_of_day[day % DAYS_IN_YEAR]
    tomorrow = kind_of_day[(day + 1) % DAYS_IN_YEAR]
    start = (index.hour * 60 + index.minute).to_numpy()
    mean_w = np.zeros(len(index))
    for first, second in set(zip(today.tolist(), tomorrow.tolist(), strict=True)):
        totals = np.concatenate(
            [[0.0], np.cumsum(np.concatenate([profiles[first], profiles[second]]))]
        )
        here = (today == first) & (tomorrow == second)
        mean_w[here] = (totals[start[here] + 60] - totals[start[here]]) / 60.0
    return pd.Series(mean_w, index=index, name="load_w")


def _minute_of_day(clock: str) -> int:
    hour, minute = clock.strip().split(":")
    return int(hour) * 60 + int(minute)
