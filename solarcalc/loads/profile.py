"""What each board draws, hour by hour, from the appliance list of the site file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from solarcalc.loads.days import (
    DAYS_IN_YEAR,
    PLACES,
    DayKind,
    Mask,
    days_at,
    split_in_kinds,
    used_at,
    used_by_day,
)
from solarcalc.sitefile.records import Appliance

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
    >>> from solarcalc.sitefile.records import Appliance
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
