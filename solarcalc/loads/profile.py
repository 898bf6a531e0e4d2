"""What each board draws, hour by hour, from the appliance list of the site file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from solarcalc.loads.days import (
    PLACES,
    DayKind,
    days_at,
    days_used,
    split_in_kinds,
    used_at,
)
from solarcalc.sitefile.records import Appliance

MINUTES_IN_DAY = 1440
DAYS_IN_YEAR = 365


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
        A span over midnight belongs to the day it is written for at both ends: its hours after
        midnight are those of the same day.
    """
    on = np.zeros(MINUTES_IN_DAY, dtype=bool)
    for span in use:
        start, end = (_minute_of_day(clock) for clock in span.split("-"))
        if start < end:
            on[start:end] = True
        else:
            on[start:] = True
            on[:end] = True
    return on


def _profile_of_day_w(appliances: Sequence[Appliance]) -> np.ndarray:
    """Mean power [W] in each minute of a day on which every one of them is used."""
    profile = np.zeros(MINUTES_IN_DAY)
    for item in appliances:
        profile += minutes_in_use(item.use) * (item.power_w * item.count * item.duty_frac)
    return profile


def daily_profile_w(appliances: Sequence[Appliance]) -> np.ndarray:
    """Mean power [W] in each minute of a day, shape (1440,): the mean over the days of the year.

    Where every day is alike that is each day; `day_kinds` tells the others apart.
    """
    profile = np.zeros(MINUTES_IN_DAY)
    for item in appliances:
        mean_w = item.power_w * item.count * item.duty_frac
        profile += minutes_in_use(item.use) * (mean_w * (days_used(item) / DAYS_IN_YEAR))
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
    return max(float(_running_w(group).max()) for group in groups_used(appliances))


def _running_w(appliances: Sequence[Appliance]) -> np.ndarray:
    running = np.zeros(MINUTES_IN_DAY)
    for item in appliances:
        running += minutes_in_use(item.use) * (item.power_w * item.count)
    return running


def groups_used(appliances: Sequence[Appliance]) -> list[list[Appliance]]:
    """The appliances used together on a day, once for each different day of the year."""
    different = dict.fromkeys(used_at(appliances).values())
    return [
        [item for item, used in zip(appliances, mask, strict=True) if used] for mask in different
    ]


def day_kinds(boards: Mapping[str, Sequence[Appliance]]) -> tuple[DayKind, ...]:
    """Kinds of day of the typical year, with what each board draws on them.

    Parameters
    ----------
    boards : mapping of board to appliances

    Returns
    -------
    tuple of DayKind
        Their days add up to 365; profiles have a value for each minute.
    """
    masks = {board: used_at(appliances) for board, appliances in boards.items()}
    alike = {place: tuple(mask[place] for mask in masks.values()) for place in PLACES}
    counts = days_at()
    kinds = []
    for months, weekdays in split_in_kinds(alike):
        place = (months[0], weekdays[0])
        profiles = {
            board: _profile_of_day_w(_chosen(appliances, masks[board][place]))
            for board, appliances in boards.items()
        }
        days = sum(counts[(month, day)] for month in months for day in weekdays)
        kinds.append(DayKind(months=months, weekdays=weekdays, days=days, profiles_w=profiles))
    return tuple(kinds)


def _chosen(appliances: Sequence[Appliance], mask: Sequence[bool]) -> list[Appliance]:
    return [item for item, used in zip(appliances, mask, strict=True) if used]


def hourly_power_w(appliances: Sequence[Appliance], index: pd.DatetimeIndex) -> pd.Series:
    """Mean power [W] in each hour of the year.

    Each hour takes the minutes it covers on the site's standard clock, so hours labelled at
    half past (weather from another zone) are right as well, also over the midnight between two
    kinds of day. After 31 December comes 1 January of the same typical year.

    Parameters
    ----------
    appliances : sequence of Appliance
    index : DatetimeIndex, shape (n,)
        Starts of the hours on the site's clock, of one year.

    Returns
    -------
    Series, shape (n,), [W]
    """
    profiles: dict[tuple[bool, ...], np.ndarray] = {}
    for mask in used_at(appliances).values():
        profiles.setdefault(mask, _profile_of_day_w(_chosen(appliances, mask)))
    place_of = list(profiles)
    numbers = {place: place_of.index(mask) for place, mask in used_at(appliances).items()}
    today = _kind_numbers(index, numbers)
    tomorrow = _kind_numbers(_next_day(index), numbers)
    start = (index.hour * 60 + index.minute).to_numpy()
    mean_w = np.zeros(len(index))
    for first, second in set(zip(today.tolist(), tomorrow.tolist(), strict=True)):
        both = np.concatenate([profiles[place_of[first]], profiles[place_of[second]]])
        totals = np.concatenate([[0.0], np.cumsum(both)])
        here = (today == first) & (tomorrow == second)
        mean_w[here] = (totals[start[here] + 60] - totals[start[here]]) / 60.0
    return pd.Series(mean_w, index=index, name="load_w")


def _kind_numbers(index: pd.DatetimeIndex, numbers: Mapping[tuple[int, int], int]) -> np.ndarray:
    places = zip(index.month.tolist(), index.day_of_week.tolist(), strict=True)
    return np.array([numbers[place] for place in places], dtype=int)


def _next_day(index: pd.DatetimeIndex) -> pd.DatetimeIndex:
    """The day after each label; after the last of the year, its first."""
    following = index + pd.Timedelta(days=1)
    over = following.year != index.year
    return pd.DatetimeIndex(following.where(~over, following - pd.Timedelta(days=DAYS_IN_YEAR)))


def _minute_of_day(clock: str) -> int:
    hour, minute = clock.strip().split(":")
    return int(hour) * 60 + int(minute)
