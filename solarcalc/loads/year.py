"""The year of one board: its appliances or what was measured there, with or without variation."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from statistics import NormalDist

import numpy as np
import pandas as pd

from solarcalc.basis.hours import HOURS_IN_YEAR
from solarcalc.loads.days import (
    MINUTES_IN_DAY,
    DayKind,
    daily_profile_w,
    day_kinds,
    hourly_power_w,
    kinds_of_year,
)
from solarcalc.loads.peaks import Peaks, board_peaks, measured_peaks
from solarcalc.sitefile.load_profile import read_profile_w
from solarcalc.sitefile.loads import BOARDS, Appliance, Board, Loads

LOADS_OF = {"essential": "essential loads", "nonessential": "non-essential loads"}
"""What a board supplies, as it is printed."""


def appliances_of(loads: Loads, board: Board) -> list[Appliance]:
    """The appliance list of a board; empty where it was measured."""
    return loads.essential if board == "essential" else loads.nonessential


def measured_w(loads: Loads, board: Board, folder: Path) -> np.ndarray | None:
    """Measured profile of a board [W], shape (24, 48, 96, 1440 or 8760,); None without one.

    Raises
    ------
    InputError
        When its file is missing or has a fault.
    """
    name = loads.essential_profile if board == "essential" else loads.nonessential_profile
    if not name:
        return None
    return np.array(read_profile_w(folder / name, where=f"loads.{board}_profile"))


def board_day_w(loads: Loads, board: Board, *, folder: Path) -> np.ndarray:
    """Mean power of a board in each minute of the mean day of its year [W], shape (1440,).

    From its appliance list, or from what was measured there; `sum() / 60` is its energy a day
    [Wh].

    Raises
    ------
    InputError
        When the file of a measured profile is missing or has a fault.
    """
    measured = measured_w(loads, board, folder)
    if measured is None:
        return daily_profile_w(appliances_of(loads, board))
    if len(measured) == HOURS_IN_YEAR:
        measured = measured.reshape(-1, 24).mean(axis=0)
    return np.repeat(measured, MINUTES_IN_DAY // len(measured))


def peaks_of(loads: Loads, board: Board, *, folder: Path) -> Peaks:
    """Worst minute and hardest start of a board, from its list or from what was measured.

    Raises
    ------
    InputError
        When the file of a measured profile is missing or has a fault.
    """
    measured = measured_w(loads, board, folder)
    if measured is None:
        return board_peaks(appliances_of(loads, board))
    return measured_peaks(measured)


def board_hours_w(
    loads: Loads, board: Board, index: pd.DatetimeIndex, *, folder: Path
) -> pd.Series:
    """Mean power [W] that a board asks for in each hour of the typical year.

    Parameters
    ----------
    loads : Loads
        The table of the site file.
    board : {"essential", "nonessential"}
    index : DatetimeIndex, shape (8760,)
        Starts of the hours on the site's clock.
    folder : Path
        Folder of the site file, from which a measured profile is looked for.

    Returns
    -------
    Series, shape (8760,), [W]
        With `variation_frac` each day is multiplied by a factor of its own (see `varied_w`); not
        so where a whole year was measured, which has its own days.

    Raises
    ------
    InputError
        When the file of a measured profile is missing or has a fault.
    """
    measured = measured_w(loads, board, folder)
    if measured is None:
        hours = hourly_power_w(appliances_of(loads, board), index)
    else:
        hours = profile_hours_w(measured, index)
    if measured is not None and len(measured) == HOURS_IN_YEAR:
        return hours
    seed = (loads.variation_seed, BOARDS.index(board))
    return varied_w(hours, variation_frac=loads.variation_frac, seed=seed)


def profile_hours_w(profile_w: Sequence[float] | np.ndarray, index: pd.DatetimeIndex) -> pd.Series:
    """A measured day, repeated, or a measured year as mean power [W] of the hours of `index`.

    Parameters
    ----------
    profile_w : array, shape (n,), [W]
        Means over equal parts of a day (n a divisor of 1440), or the 8760 hours of a year.
    index : DatetimeIndex
        Starts of the hours; one at half past takes half of each of two hours.
    """
    values = np.asarray(profile_w, dtype=float)
    days = HOURS_IN_YEAR // 24 if len(values) == HOURS_IN_YEAR else 1
    minutes = np.repeat(values, days * MINUTES_IN_DAY // len(values))
    totals = np.concatenate([[0.0], np.cumsum(np.concatenate([minutes, minutes[:60]]))])
    start = (index.hour * 60 + index.minute).to_numpy()
    if days > 1:
        start = start + (index.day_of_year.to_numpy() - 1) * MINUTES_IN_DAY
    return pd.Series((totals[start + 60] - totals[start]) / 60.0, index=index, name="load_w")


def varied_w(hours_w: pd.Series, *, variation_frac: float, seed: Sequence[int]) -> pd.Series:
    """The same year with days that differ: each multiplied by a factor of mean 1.

    For a look at how a system stands days that are not all alike; what makes people use more on
    one day than another (weather, feasts) is not in it, and one day tells nothing of the next.

    Parameters
    ----------
    hours_w : Series, shape (n,), [W]
    variation_frac : float
        Standard deviation of the factors, [0 to 1]; 0 leaves the year as it is.
    seed : sequence of int
        The same seed gives the same year.

    Returns
    -------
    Series, shape (n,), [W]
        Never negative; its sum is that of `hours_w`.

    Notes
    -----
    Factors are lognormal, exp(s z - s^2 / 2) with s^2 = ln(1 + v^2): mean 1, standard deviation
    v = variation_frac (textbook moments of the lognormal distribution). All are then divided by
    one figure so that the energy of the year is kept.
    """
    if variation_frac == 0.0 or float(hours_w.sum()) == 0.0:
        return hours_w
    index = pd.DatetimeIndex(hours_w.index)
    day = index.day_of_year.to_numpy() - 1
    picks = np.random.default_rng(list(seed)).integers(0, 2**52, size=366)
    normal = NormalDist()
    width = math.sqrt(math.log1p(variation_frac**2))
    factors = np.array(
        [math.exp(width * normal.inv_cdf((k + 0.5) / 2**52) - width**2 / 2.0) for k in picks]
    )
    varied = hours_w.to_numpy() * factors[day]
    varied *= float(hours_w.sum()) / float(varied.sum())
    return pd.Series(varied, index=index, name=hours_w.name)


def kinds_of_loads(
    loads: Loads, hours_w: Mapping[str, pd.Series], *, folder: Path
) -> tuple[DayKind, ...]:
    """Kinds of day of both boards, for a table or a picture.

    From the appliance lists and measured days; where a whole year was measured on either board,
    means of the quarters of the year as `hours_w` has them.

    Parameters
    ----------
    loads : Loads
    hours_w : mapping of board to Series, shape (8760,), [W]
        From `board_hours_w`.
    folder : Path
        Folder of the site file.
    """
    measured = {board: measured_w(loads, board, folder) for board in BOARDS}
    if any(values is not None and len(values) == HOURS_IN_YEAR for values in measured.values()):
        return kinds_of_year(hours_w)
    kinds = day_kinds({board: appliances_of(loads, board) for board in BOARDS})
    days: dict[str, np.ndarray] = {
        board: np.repeat(values, MINUTES_IN_DAY // len(values))
        for board, values in measured.items()
        if values is not None
    }
    return tuple(
        DayKind(months=kind.months, weekdays=kind.weekdays, days=kind.days,
                profiles_w={**kind.profiles_w, **days})
        for kind in kinds
    )


def energy_table(kinds: Sequence[DayKind]) -> list[dict[str, str | int | float]]:
    """Energy a day [Wh] of each board on each kind of day, with the mean day at the end."""
    boards = list(kinds[0].profiles_w)
    rows: list[dict[str, str | int | float]] = [
        {"months": kind.months_name, "days": kind.weekdays_name, "days a year": kind.days,
         **{f"{board} board [Wh/day]": kind.energy_wh(board) for board in boards}}
        for kind in kinds
    ]
    total = sum(kind.days for kind in kinds)
    means = {
        f"{board} board [Wh/day]": sum(kind.days * kind.energy_wh(board) for kind in kinds) / total
        for board in boards
    }
    return [*rows, {"months": "whole year", "days": "mean day", "days a year": total, **means}]
