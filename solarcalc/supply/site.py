"""The supply of a site file: its grid and when it is there, its generator, how they are joined."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from solarcalc.basis.check import Check, checked
from solarcalc.basis.hours import HOURS_IN_DAY, HOURS_IN_YEAR
from solarcalc.basis.sourced import NO_SOURCE, Sourced, constant
from solarcalc.basis.worded import worded
from solarcalc.battery.bank import Bank
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.supply import Grid, Inverter, minutes_of_spans
from solarcalc.supply.engine import generator_of
from solarcalc.supply.system import (
    MOST_W,
    Architecture,
    Board,
    GridSupply,
    Shedding,
    System,
)

SATURDAY = 5
"""Number of that day where Monday is 0."""
LOW_VOLTAGE_PERCENT = 100.0 * float(constant("supply.low_voltage_frac"))
DAYS_IN_YEAR = HOURS_IN_YEAR // HOURS_IN_DAY


def grid_present_frac(grid: Grid, index: pd.DatetimeIndex) -> np.ndarray:
    """Share of each hour in which the grid is there, (n,) [0 to 1].

    Whole hours are not forced: an outage may begin at any moment, and an hour then counts in
    part. Within the hour what is left over is taken as spread evenly.

    Parameters
    ----------
    grid : Grid
    index : DatetimeIndex, shape (n,)
        Starts of the hours on the site's clock.
    """
    if grid.kind == "random":
        present = random_presence(
            len(index), outage_h_per_day=grid.outage_h_per_day, mean_outage_h=grid.mean_outage_h,
            seed=grid.seed,
        )  # fmt: skip
        return present * (1.0 - _low_frac(grid, index)) if grid.low_voltage else present
    if grid.kind == "rota":
        return _by_day(_of_rota(grid), index)
    if grid.kind == "timetable":
        rows = [(row.days, minutes_of_spans(row.present)) for row in grid.timetable]
        return _by_week([_minutes(rows, weekend=weekend) & ~_low(grid)
                         for weekend in (False, True)], index)  # fmt: skip
    if grid.kind == "always" and grid.low_voltage:
        return 1.0 - _low_frac(grid, index)
    return np.full(len(index), 1.0 if grid.kind == "always" else 0.0)


def _low(grid: Grid) -> np.ndarray:
    """Minutes of a day in which the voltage is too low, (1440,)."""
    return _minutes([("all", minutes_of_spans(grid.low_voltage))], weekend=False)


def _low_frac(grid: Grid, index: pd.DatetimeIndex) -> np.ndarray:
    return _by_day([_low(grid)], index)


def _of_rota(grid: Grid) -> list[np.ndarray]:
    """Minutes with usable grid of each day of the rota, (1440,) each."""
    return [_minutes([("all", minutes_of_spans(day.present))], weekend=False) & ~_low(grid)
            for day in grid.rota]  # fmt: skip


def _by_day(days: Sequence[np.ndarray], index: pd.DatetimeIndex) -> np.ndarray:
    """Share of each hour within the minutes of its day, (n,) [0 to 1].

    Parameters
    ----------
    days : sequence of array (1440,)
        Of 1 January and the days after it; after the last the first comes again, and on
        1 January as well.
    index : DatetimeIndex, shape (n,)
    """
    day = (index.day_of_year.to_numpy() - 1) % DAYS_IN_YEAR
    return _shares(days, day % len(days), (day + 1) % DAYS_IN_YEAR % len(days), index)


def _by_week(kinds: Sequence[np.ndarray], index: pd.DatetimeIndex) -> np.ndarray:
    """The same by the minutes of a weekday and of a day of the weekend, (n,) [0 to 1]."""
    day = index.day_of_week.to_numpy()
    today, tomorrow = ((one >= SATURDAY).astype(int) for one in (day, (day + 1) % 7))
    return _shares(kinds, today, tomorrow, index)


def _shares(
    days: Sequence[np.ndarray], today: np.ndarray, tomorrow: np.ndarray, index: pd.DatetimeIndex
) -> np.ndarray:
    """The same by which of the days each hour begins on, (n,), and which one follows."""
    start = (index.hour * 60 + index.minute).to_numpy()
    share = np.zeros(len(index))
    for first, second in set(zip(today.tolist(), tomorrow.tolist(), strict=True)):
        sums = np.concatenate([[0.0], np.cumsum(np.concatenate([days[first], days[second]]))])
        here = (today == first) & (tomorrow == second)
        share[here] = ((sums[start + 60] - sums[start]) / 60.0)[here]
    return share


def random_presence(
    hour_count: int, *, outage_h_per_day: float, mean_outage_h: float, seed: int
) -> np.ndarray:
    """Share of each hour with grid, (hour_count,) [0 to 1], outages falling by chance.

    The year has exactly the outage hours asked for, and as many outages as their mean length
    asks for, to the nearest whole one; one that lasts over the year's end goes on at its start.

    Parameters
    ----------
    hour_count : int
    outage_h_per_day : float
        [h/day], 0 to 24.
    mean_outage_h : float
        Mean length of an outage [h].
    seed : int
        The same seed gives the same year.

    Notes
    -----
    Alternating renewal process with exponential lengths of outage and of supply (Rausand and
    Hoyland 2004, System Reliability Theory, ch. 7, from memory), given its count and its total:
    then the lengths are independent exponential ones scaled to their totals.
    """
    dark_h = hour_count * outage_h_per_day / HOURS_IN_DAY
    if dark_h <= 0.0 or dark_h >= hour_count:
        return np.full(hour_count, 1.0 if dark_h <= 0.0 else 0.0)
    dice = np.random.default_rng(seed)
    count = max(round(dark_h / mean_outage_h), 1)
    lengths = np.empty(2 * count)
    for start, total in ((0, dark_h), (1, hour_count - dark_h)):
        drawn = dice.exponential(size=count)
        lengths[start::2] = drawn * (total / drawn.sum())
    ends = np.cumsum(lengths) + dice.uniform(0.0, hour_count)
    dark_until = np.concatenate([[0.0], np.cumsum(np.where(np.arange(2 * count) % 2, 0, lengths))])
    moments = np.concatenate([[ends[0] - lengths[0]], ends])
    hours = np.arange(2 * hour_count + 1, dtype=float)
    total_dark = np.interp(hours, moments, dark_until)
    twice = np.diff(total_dark)
    present = 1.0 - (twice[:hour_count] + twice[hour_count:])
    bounded: np.ndarray = np.clip(present, 0.0, 1.0)
    return bounded


def share_of_hours(
    rows: Sequence[tuple[str, Sequence[tuple[int, int]]]], index: pd.DatetimeIndex
) -> np.ndarray:
    """Share of each hour that lies in spans of its kind of day, (n,) [0 to 1].

    Parameters
    ----------
    rows : sequence of kind of day and spans
        ``"all"``, ``"weekdays"`` or ``"weekends"``; first minute of a span and the one after its
        last [min].
    index : DatetimeIndex, shape (n,)
        Starts of the hours on the site's clock.
    """
    return _by_week([_minutes(rows, weekend=weekend) for weekend in (False, True)], index)


def _minutes(
    rows: Sequence[tuple[str, Sequence[tuple[int, int]]]], *, weekend: bool
) -> np.ndarray:
    """Minutes of a day within the spans, (1440,)."""
    days = ("all", "weekends" if weekend else "weekdays")
    on = np.zeros(24 * 60, dtype=bool)
    for kind, spans in rows:
        if kind in days:
            for start, end in spans:
                on[start:end] = True
    return on


def system_of(
    site: Site, banks: tuple[Bank, ...], index: pd.DatetimeIndex,
    served_w: dict[str, np.ndarray] | None = None,
) -> System:
    """The system of a site file with its bank, or banks.

    Parameters
    ----------
    site : Site
    banks : tuple of Bank
        One; two, of the essential and the nonessential board, with separate banks.
    index : DatetimeIndex, shape (n,)
        Starts of the hours on the site's clock.
    served_w : dict of array (n,), optional
        As `System` has it [W].

    Raises
    ------
    InputError
        As `System`.
    """
    return System(
        banks=banks,
        boards={board.key: board_of(board.inverter) for board in site.boards},
        shedding=Shedding(
            off_frac=site.battery.nonessential_shed_frac,
            on_frac=site.battery.nonessential_return_frac
        ),
        architecture=architecture_of(site),
        grid=grid_of(site, index),
        generator=generator_of(site),
        served_w=served_w or {},
    )  # fmt: skip


def board_of(inverter: Inverter) -> Board:
    """A board behind the inverters of the site file that serve it."""
    return Board(rating_w=inverter.total_power_w, efficiency_frac=inverter.efficiency_frac,
                 no_load_w=inverter.total_no_load_w)


def architecture_of(site: Site) -> Architecture:
    """How things hang together, by the site file."""
    supply, limits_w = site.supply, tuple(site.charger_limits_w.values())
    limited = {name: MOST_W if limit_w is None else limit_w for name, limit_w in zip(
        ("charger_power_w", "second_charger_power_w"), limits_w, strict=False)}  # fmt: skip
    return Architecture(layout=supply.layout, order=supply.order,
                        essential_array_frac=supply.essential_array_frac,
                        charger_efficiency_frac=supply.charger_efficiency_frac, **limited)


def grid_of(site: Site, index: pd.DatetimeIndex) -> GridSupply | None:
    """The grid of the site file through the year; None where there is none."""
    grid = site.grid
    if not grid.there:
        return None
    return GridSupply(present_frac=grid_present_frac(grid, index), limit_w=grid.limit_w,
                      charge_below_frac=site.grid_charges_below_frac)


def grid_checks(site: Site) -> list[Check]:
    """Whether the grid charges to where all of the nonessential board is back, if it charges.

    And hours of low voltage, which are counted as without grid.
    """
    level, back = site.grid_charges_below_frac, site.battery.nonessential_return_frac
    low_h = sum(end - start for start, end in minutes_of_spans(site.grid.low_voltage)) / 60.0
    low = [Check(outcome="review", **worded(
        "supply", "low-voltage", low_h=low_h, least_percent=LOW_VOLTAGE_PERCENT,
    ))] if low_h and site.grid.there else []  # fmt: skip
    if level <= 0.0:
        return low
    return [*low, checked(level >= back, **worded(
        "supply", "grid-level", level=100.0 * level, back=100.0 * back,
    ))]  # fmt: skip


def grid_assumptions(site: Site) -> list[Sourced]:
    """The level that the grid charges to, where the site file leaves it out."""
    if not site.grid.there or site.grid.charge_below_frac is not None:
        return []
    return [Sourced(label="Grid charges below a state of charge of, as the nonessential board is"
                    " back there", value=100.0 * site.grid_charges_below_frac, unit="%",
                    source=NO_SOURCE)]
