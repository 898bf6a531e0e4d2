"""Which arrays are best: by energy, by roof area, by cost, and where one is bought with another."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Literal, get_args

import numpy as np
import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.present_value import annuity_years
from solarcalc.sweep.device import Equipment

Better = Literal["more", "less"]


@dataclass(frozen=True, kw_only=True)
class Costs:
    """What an array costs, in any one currency.

    Parameters
    ----------
    per_module, per_row_m, fixed : float
        Money once: a module with its share of everything counted by module; a metre of row
        (rails, feet, labour); whatever does not depend on the array.
    per_cleaning : float
        Money for one wash of the whole array.
    lifetime_years : float
        Over which the money spent once is paid back [years].
    interest_frac : float
        Yearly interest [0 to 1].

    Raises
    ------
    InputError
        When money or interest is negative or missing, or the lifetime is not above 0.
    """

    per_module: float
    per_row_m: float
    fixed: float
    per_cleaning: float
    lifetime_years: float
    interest_frac: float

    def __post_init__(self) -> None:
        faults = [
            Fault(where=f"costs: {field.name}", given=repr(getattr(self, field.name)),
                  allowed="0 or more")
            for field in fields(self)
            if not 0.0 <= getattr(self, field.name) < np.inf
        ]  # fmt: skip
        if self.lifetime_years == 0.0:
            faults.append(Fault(where="costs: lifetime_years", given="0", allowed="above 0 years"))
        if faults:
            raise InputError(faults)


def yearly_share_frac(*, interest_frac: float, lifetime_years: float) -> float:
    """Share of a sum to be paid each year, at the year's end, to pay it back with interest.

    Parameters
    ----------
    interest_frac : float
        Yearly interest [0 to 1]; 0 gives equal parts.
    lifetime_years : float
        [years], above 0.

    Notes
    -----
    Capital recovery factor i (1 + i)^n / ((1 + i)^n - 1), as in Duffie and Beckman 2013, ch.
    11 (from memory).

    Examples
    --------
    >>> round(yearly_share_frac(interest_frac=0.10, lifetime_years=10.0), 5)
    0.16275
    >>> yearly_share_frac(interest_frac=0.0, lifetime_years=20.0)
    0.05
    """
    return 1.0 / annuity_years(interest_frac, lifetime_years)


def cost_per_kwh(
    costs: Costs, *, energy_kwh: np.ndarray | pd.Series, module_count: np.ndarray | pd.Series,
    row_length_m: np.ndarray | pd.Series, cleanings_per_year: np.ndarray | pd.Series,
) -> np.ndarray:  # fmt: skip
    """Money for each kWh of arrays, yearly payments over yearly energy.

    Parameters
    ----------
    costs : Costs
    energy_kwh : array (n,)
        Energy of the whole array in a year [kWh].
    module_count, cleanings_per_year : array (n,)
    row_length_m : array (n,)
        Length of all rows together [m].

    Returns
    -------
    array (n,)
        Missing (NaN) where there is no energy.
    """
    energy = np.asarray(energy_kwh, float)
    once = costs.fixed + costs.per_module * np.asarray(module_count, float)
    once = once + costs.per_row_m * np.asarray(row_length_m, float)
    share = yearly_share_frac(
        interest_frac=costs.interest_frac, lifetime_years=costs.lifetime_years
    )
    yearly = once * share + costs.per_cleaning * np.asarray(cleanings_per_year, float)
    result: np.ndarray = np.divide(
        yearly, energy, out=np.full(np.broadcast(yearly, energy).shape, np.nan), where=energy > 0.0
    )
    return result


def kwh_per_kwp(table: pd.DataFrame, *, row_count: int | np.ndarray) -> pd.Series:
    """Yearly energy of arrays of so many rows [kWh/kWp]: one in front, the others behind.

    Raises
    ------
    InputError
        For fewer than one row.
    """
    rows = np.broadcast_to(np.asarray(row_count, float), len(table))
    if not (rows >= 1.0).all():
        raise InputError(Fault(where="row_count", given=str(row_count), allowed="1 or more"))
    front = table["front_kwh_per_kwp"].to_numpy()
    behind = np.where(rows == 1.0, front, table["behind_kwh_per_kwp"].to_numpy())
    mean = (front + behind * (rows - 1.0)) / rows
    return pd.Series(mean, index=table.index, name="kwh_per_kwp")


def kwh_per_m2(table: pd.DataFrame, equipment: Equipment) -> pd.Series:
    """Yearly energy of rows behind others over the roof they take [kWh/m2].

    Notes
    -----
    Energy of one stack of modules over the length of row it takes, gap included, times the
    pitch: the limit of a roof of many long rows.
    """
    along = table["orientation"].astype(str).map(
        {way: equipment.along_m(way) + equipment.gap_m for way in ("portrait", "landscape")}
    )
    rated_kwp = equipment.module.pmax_w / 1000.0 * table["modules_high"]
    result: pd.Series = table["behind_kwh_per_kwp"] * rated_kwp / (along * table["pitch_m"])
    return result.rename("kwh_per_m2")


def best(
    table: pd.DataFrame, column: str, *, count: int = 1, better: Better = "more"
) -> pd.DataFrame:
    """The lines with the most, or least, of a column, best first; missing values never win.

    Lines that are equal keep the table's order.

    Raises
    ------
    InputError
        For a column the table does not have, or another word for better.
    """
    _check(table, ((column, better),))
    known = table[table[column].notna()]
    order = np.argsort(_worse(known, column, better), kind="stable")
    return known.iloc[order[:count]]


def trade_off_front(
    table: pd.DataFrame, *, first: tuple[str, Better], second: tuple[str, Better]
) -> pd.DataFrame:
    """The lines that no other line beats: any gain in one column is paid for in the other.

    Parameters
    ----------
    table : DataFrame
    first, second : tuple of str and {"more", "less"}
        A column and whether more or less of it is better.

    Returns
    -------
    DataFrame
        Best in the first column first. A line is left out when another is at least as good in
        both columns and better in one; equal lines stay together. Lines with a missing value
        are left out.

    Raises
    ------
    InputError
        For a column the table does not have, or another word for better.
    """
    _check(table, (first, second))
    known = table[table[first[0]].notna() & table[second[0]].notna()]
    if known.empty:
        return known
    one, two = _worse(known, *first), _worse(known, *second)
    order = np.lexsort((two, one))
    one, two = one[order], two[order]
    _, starts, group = np.unique(one, return_index=True, return_inverse=True)
    least = two[starts]
    before = np.concatenate([[np.inf], np.minimum.accumulate(least)[:-1]])
    stays = (least < before)[group] & (two == least[group])
    left: pd.DataFrame = known.iloc[order[stays]]
    return left


def _worse(table: pd.DataFrame, column: str, better: Better) -> np.ndarray:
    """Values that grow as the line gets worse."""
    values: np.ndarray = table[column].to_numpy(float)
    return -values if better == "more" else values


def _check(table: pd.DataFrame, wishes: tuple[tuple[str, Better], ...]) -> None:
    faults = [
        Fault(where="column", given=repr(column), allowed=", ".join(map(str, table.columns)))
        for column, _ in wishes
        if column not in table
    ]
    faults += [
        Fault(where=f"better, of {column}", given=repr(better), allowed="'more' or 'less'")
        for column, better in wishes
        if better not in get_args(Better)
    ]
    if faults:
        raise InputError(faults)
