"""Very many pairs of array and bank through the year, and the smallest that meets a target."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.supply.run import check_series, islands_of, made_up_days
from solarcalc.supply.system import System

PAIRS_AT_ONCE = 64
"""Pairs a thread takes at a time; a multiple of the lanes of `kernels`."""


@dataclass(frozen=True, kw_only=True)
class Prices:
    """What array and bank cost, in any one currency.

    Parameters
    ----------
    array, bank : float
        Money at a scale of 1.
    per_fuel_l : float
        Money for each litre that a year burns, over all the years the rest is paid for [1/l].
    fixed : float
        Whatever does not depend on either.

    Raises
    ------
    InputError
        For a price below 0, missing or endless.
    """

    array: float
    bank: float
    per_fuel_l: float = 0.0
    fixed: float = 0.0

    def __post_init__(self) -> None:
        faults = [
            Fault(where=f"prices: {field.name}", given=repr(getattr(self, field.name)),
                  allowed="0 or more")
            for field in fields(self)
            if not 0.0 <= getattr(self, field.name) < np.inf
        ]  # fmt: skip
        if faults:
            raise InputError(faults)


def frontier(
    solar_w: pd.Series, loads_w: pd.DataFrame, system: System, *,
    array_scales: Sequence[float] | np.ndarray, bank_scales: Sequence[float] | np.ndarray,
    threads: int | None = None,
) -> pd.DataFrame:  # fmt: skip
    """What every array with every bank leaves dark, burns and throws away in a closed year.

    Use it to search; `simulate` gives one system with all its flows. One that does not close is
    given by the last of its years. An array's scale multiplies the sun at the bus, a bank's its
    capacity and its limits of power; the controller's own limit, inverters, grid and generator
    stay as they are.

    Parameters
    ----------
    solar_w : Series, shape (n,)
        Of the array at a scale of 1, at the battery bus [W].
    loads_w : DataFrame, shape (n,)
        ``essential`` and ``nonessential`` load [W].
    system : System
        With the bank, or banks, at a scale of 1.
    array_scales, bank_scales : array
        0 or more, and above 0.
    threads : int, optional
        Processors to use; all that the process may use if left out. The figures do not depend
        on it.

    Returns
    -------
    DataFrame, one line a pair, arrays outermost
        ``array_scale``, ``bank_scale``, ``essential_without_supply_h``,
        ``nonessential_without_supply_h`` [h], ``essential_not_supplied_kwh``,
        ``nonessential_not_supplied_kwh``, ``curtailed_kwh``, ``throughput_kwh`` (drawn at
        the banks' terminals), ``generator_h`` [h], ``fuel_l`` [l], ``grid_kwh``.

    Raises
    ------
    InputError
        As `simulate`, and for a scale that is no size.
    """
    from solarcalc.supply import kernels
    from solarcalc.supply.jobs import mains_of
    from solarcalc.sweep.compiled import in_threads

    check_series(solar_w, loads_w, system)
    arrays = _scales("array_scales", array_scales, least=0.0)
    banks = _scales("bank_scales", bank_scales, least=1e-9)
    islands = islands_of(solar_w, loads_w, system)
    scales = np.stack([np.repeat(arrays, len(banks)), np.tile(banks, len(arrays))], axis=1)
    results = np.empty((len(scales), len(kernels.SUMS)))
    constants = tuple(island for _, island, _ in islands)
    series = tuple(one for _, _, one in islands)

    mains = mains_of(constants, series)

    def work(first: int) -> None:
        last = min(first + PAIRS_AT_ONCE, len(scales))
        shared = len(islands) > 1 and mains.grid is not None
        grid = np.empty((2, len(solar_w), kernels.LANES)) if shared else None
        kernels.pairs(first, last, constants, series, scales, mains, grid, results)

    in_threads(work, range(0, len(scales), PAIRS_AT_ONCE), threads)
    table = pd.DataFrame(results, columns=list(kernels.SUMS))
    for name in kernels.SUMS:
        if name.endswith("_wh"):
            table[name] /= 1000.0
            table = table.rename(columns={name: f"{name.removesuffix('_wh')}_kwh"})
    table.insert(0, "array_scale", scales[:, 0])
    table.insert(1, "bank_scale", scales[:, 1])
    return table


def with_cost(table: pd.DataFrame, prices: Prices) -> pd.DataFrame:
    """The table of `frontier` with a column ``cost``: array and bank by their scales, and fuel."""
    cost = prices.fixed + prices.array * table["array_scale"] + prices.bank * table["bank_scale"]
    return table.assign(cost=cost + prices.per_fuel_l * table["fuel_l"])


def smallest_that_meets(
    table: pd.DataFrame, limits: dict[str, float], *, by: str = "cost"
) -> pd.Series | None:
    """The line with the least of a column among those within every limit, or None.

    Lines that are equal are told apart by the smaller bank, then the smaller array.

    Parameters
    ----------
    table : DataFrame
        Of `frontier`, with `with_cost` where ``by`` is its column.
    limits : dict of str to float
        Most of each column: ``{"essential_without_supply_h": 0.0, "fuel_l": 100.0}``.
    by : str

    Raises
    ------
    InputError
        For a column the table does not have.
    """
    unknown = [name for name in (*limits, by) if name not in table]
    if unknown:
        raise InputError([Fault(where="column", given=repr(name),
                                allowed=", ".join(map(str, table.columns)),
                                remedy="with_cost adds cost" if name == "cost" else "")
                          for name in unknown])  # fmt: skip
    within = np.ones(len(table), dtype=bool)
    for name, most in limits.items():
        within &= table[name].to_numpy(float) <= most
    if not within.any():
        return None
    return table[within].sort_values([by, "bank_scale", "array_scale"], kind="stable").iloc[0]


def cost_front(table: pd.DataFrame, *, less: str = "essential_without_supply_h") -> pd.DataFrame:
    """The lines that no other beats in both cost and another column, cheapest first.

    Parameters
    ----------
    table : DataFrame
        With a column ``cost``.
    less : str
        The other column, less of it being better.

    Raises
    ------
    InputError
        For a column the table does not have.
    """
    from solarcalc.sweep.ranking import trade_off_front

    return trade_off_front(table, first=("cost", "less"), second=(less, "less"))


def _scales(
    name: str, scales: Sequence[float] | np.ndarray, *, least: float
) -> np.ndarray:
    values = np.asarray(scales, float)
    bad = ~((values >= least) & np.isfinite(values))
    if values.ndim != 1 or values.size == 0 or bad.any():
        given = str(values[bad][0]) if bad.any() else f"shape {values.shape}"
        allowed = f"a row of sizes, {'0 or more' if least == 0.0 else 'above 0'}"
        raise InputError(Fault(where=name, given=given, allowed=allowed))
    return values


def warm_up() -> None:
    """A day of a made-up system with grid, searched; no thread. Others compile where asked."""
    *_, (sun, loads, system) = made_up_days()
    frontier(sun, loads, system, array_scales=[1.0], bank_scales=[1.0], threads=1)
