"""What each board draws, hour by hour, from the appliance list of the site file."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

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
    on = np.zeros(MINUTES_IN_DAY, dtype=bool)
    for span in use:
        start, end = (_minute_of_day(clock) for clock in span.split("-"))
        if start < end:
            on[start:end] = True
        else:
            on[start:] = True
            on[:end] = True
    return on


def daily_profile_w(appliances: Sequence[Appliance]) -> np.ndarray:
    """Mean power [W] in each minute of a day, shape (1440,)."""
    profile = np.zeros(MINUTES_IN_DAY)
    for item in appliances:
        profile += minutes_in_use(item.use) * (item.power_w * item.count * item.duty_frac)
    return profile


def energy_per_day_wh(appliances: Sequence[Appliance]) -> float:
    """Energy of an appliance list in a day [Wh/day].

    Notes
    -----
    E = sum of n P t d: count, power, hours in use and duty (trade practice).

    Examples
    --------
    >>> from solarcalc.sitefile.records import Appliance
    >>> energy_per_day_wh([Appliance(name="lamp", power_w=9.0, count=8, use=["18:00-24:00"])])
    432.0
    """
    return float(daily_profile_w(appliances).sum() / 60.0)


def peak_power_w(appliances: Sequence[Appliance]) -> float:
    """Largest power [W] when every appliance of each minute runs at once, duty left out."""
    running = np.zeros(MINUTES_IN_DAY)
    for item in appliances:
        running += minutes_in_use(item.use) * (item.power_w * item.count)
    return float(running.max())


def hourly_power_w(appliances: Sequence[Appliance], index: pd.DatetimeIndex) -> pd.Series:
    """Mean power [W] in each hour of the year.

    Each hour takes the minutes it covers on the site's standard clock, so hours labelled at
    half past (weather from another zone) are right as well. Every day is alike.

    Parameters
    ----------
    appliances : sequence of Appliance
    index : DatetimeIndex, shape (n,)
        Starts of the hours on the site's clock.

    Returns
    -------
    Series, shape (n,), [W]
    """
    profile = daily_profile_w(appliances)
    totals = np.concatenate([[0.0], np.cumsum(np.concatenate([profile, profile]))])
    start = (index.hour * 60 + index.minute).to_numpy()
    mean_w = (totals[start + 60] - totals[start]) / 60.0
    return pd.Series(mean_w, index=index, name="load_w")


def _minute_of_day(clock: str) -> int:
    hour, minute = clock.strip().split(":")
    return int(hour) * 60 + int(minute)
