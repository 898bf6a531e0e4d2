"""The supply of a site file: its grid, its generator and how it hangs together."""

from __future__ import annotations

import pandas as pd

from solarcalc.battery import Bank
from solarcalc.sitefile.records import Generator, Grid, Inverter, Site, Supply
from solarcalc.supply.boards import Board, Shedding
from solarcalc.supply.presence import grid_present_frac
from solarcalc.supply.system import Architecture, GeneratorSet, GridSupply, System


def system_of(site: Site, banks: tuple[Bank, ...], index: pd.DatetimeIndex) -> System:
    """The system of a site file with its bank, or banks.

    Parameters
    ----------
    site : Site
    banks : tuple of Bank
        One; two, of the critical and the heavy board, with separate banks.
    index : DatetimeIndex, shape (n,)
        Starts of the hours on the site's clock.

    Raises
    ------
    InputError
        As `System`.
    """
    return System(
        banks=banks,
        boards={"critical": board_of(site.inverter.critical),
                "heavy": board_of(site.inverter.heavy)},
        shedding=Shedding(
            off_frac=site.battery.heavy_shed_frac, on_frac=site.battery.heavy_return_frac
        ),
        architecture=architecture_of(site.supply),
        grid=grid_of(site.grid, index),
        generator=generator_of(site.generator),
    )  # fmt: skip


def board_of(inverter: Inverter) -> Board:
    """A board behind an inverter of the site file."""
    return Board(
        rating_w=inverter.continuous_power_w,
        efficiency_frac=inverter.efficiency_frac,
        idle_w=inverter.idle_power_w,
    )


def architecture_of(supply: Supply) -> Architecture:
    """How things hang together, by the site file."""
    return Architecture(
        layout=supply.layout,
        order=supply.order,
        critical_sun_frac=supply.critical_sun_frac,
        charger_efficiency_frac=supply.charger_efficiency_frac,
    )


def grid_of(grid: Grid, index: pd.DatetimeIndex) -> GridSupply | None:
    """The grid of the site file through the year; None where there is none."""
    if not grid.there:
        return None
    return GridSupply(
        present_frac=grid_present_frac(grid, index),
        limit_w=grid.limit_w,
        charge_below_frac=grid.charge_below_frac,
    )


def generator_of(generator: Generator) -> GeneratorSet | None:
    """The generator of the site file; None at 0 W."""
    if not generator.there:
        return None
    return GeneratorSet(
        power_w=generator.power_w,
        start_frac=generator.start_frac,
        stop_frac=generator.stop_frac,
        least_load_frac=generator.least_load_frac,
        idle_fuel_l_per_h=generator.idle_fuel_l_per_h,
        fuel_l_per_kwh=generator.fuel_l_per_kwh,
    )
