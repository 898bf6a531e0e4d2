"""One system through the year, hour by hour, until the year closes on itself."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.battery.bank import LEAST_SPAN, Bank
from solarcalc.sitefile.loads import BOARDS
from solarcalc.supply.system import (
    NOT_SUPPLIED_W,
    Board,
    GeneratorSet,
    GridSupply,
    Shedding,
    System,
)

if TYPE_CHECKING:
    from solarcalc.supply.kernels import Island


FLOWS = (
    "solar_w", "solar_used_w", "solar_curtailed_w",
    "essential_load_w", "essential_supplied_w", "essential_drawn_w",
    "nonessential_load_w", "nonessential_supplied_w", "nonessential_drawn_w",
    "grid_to_essential_w", "grid_to_nonessential_w", "grid_to_charge_w",
    "generator_to_essential_w", "generator_to_nonessential_w", "generator_to_charge_w", "fuel_l",
    "charge_w", "discharge_w", "inverter_loss_w", "charger_loss_w", "battery_loss_w",
    "self_discharge_w", "available_wh", "bound_wh", "stored_wh", "nonessential_fed_frac",
    "generator_on",
)  # fmt: skip
"""What `kernels.write_down` writes of an hour; wells and switches stand as at its start, but for
the generator, which stands as it ran."""

_NOBODY = Board(rating_w=0.0, efficiency_frac=1.0, no_load_w=0.0)
_NO_ENGINE = GeneratorSet(
    power_w=0.0, start_frac=0.0, stop_frac=1.0, least_load_frac=0.0, idle_fuel_l_per_h=0.0,
    fuel_l_per_kwh=0.0,
)  # fmt: skip


def check_series(solar_w: pd.Series, loads_w: pd.DataFrame, system: System) -> None:
    """Refuse series that do not fit one another or hold what cannot be.

    Raises
    ------
    InputError
        For a missing load column, unlike hours, another count of hours in a bank or the grid, or
        a negative, missing or endless value; it names series and hour.
    """
    n, faults = len(solar_w), []
    if n == 0:
        faults.append(Fault(where="solar_w", given="no hour", allowed="one hour or more"))
    for name in BOARDS:
        if name not in loads_w:
            faults.append(Fault(where="loads_w", given=", ".join(map(str, loads_w.columns)),
                                allowed=f"a column {name!r}"))  # fmt: skip
    if not loads_w.index.equals(solar_w.index):
        faults.append(Fault(where="loads_w", given=f"{len(loads_w)} hours, not those of solar_w",
                            allowed=f"the same {n} hours"))  # fmt: skip
    counts = [(f"bank {i}: {name}", len(getattr(bank, name)))
              for i, bank in enumerate(system.banks, start=1)
              for name in ("capacity_factor", "charge_factor")]  # fmt: skip
    counts += [(f"board {name}: served_w", len(values))
               for name, values in system.served_w.items()]  # fmt: skip
    if system.grid is not None:
        counts.append(("grid: present_frac", len(system.grid.present_frac)))
    faults += [Fault(where=where, given=f"{count} hours", allowed=f"{n} hours, as solar_w")
               for where, count in counts if count != n]  # fmt: skip
    series: list[tuple[str, pd.Series]] = [("solar_w", solar_w)]
    series += [(name, loads_w[name]) for name in BOARDS if name in loads_w]
    for column, one in series:
        values = one.to_numpy(float)
        bad = ~((values >= 0.0) & np.isfinite(values))
        if bad.any():
            faults.append(Fault(where=f"{column}, hour {one.index[int(np.argmax(bad))]}",
                                given=str(values[bad][0]), allowed="0 W or more in every hour",
                                remedy="correct the profile at that hour"))  # fmt: skip
    if faults:
        raise InputError(faults)


def islands_of(
    solar_w: pd.Series, loads_w: pd.DataFrame, system: System
) -> list[tuple[str, Island, np.ndarray]]:
    """Name, constants and series of each bank with what hangs on it; series as `kernels` has it."""
    sun = solar_w.to_numpy(float)
    loads = [loads_w[name].to_numpy(float) for name in BOARDS]
    most = [np.minimum(load, system.served_w.get(name, np.inf))
            for name, load in zip(BOARDS, loads, strict=True)]  # fmt: skip
    boards = [system.boards[name] for name in BOARDS]
    if not system.separate:
        one = system.architecture.layout == "one-inverter"
        served = np.minimum(most[0], boards[0].rating_w)
        room = boards[0].rating_w - served if one else boards[1].rating_w
        if one:
            boards[1] = Board(rating_w=boards[0].rating_w, no_load_w=0.0,
                              efficiency_frac=boards[0].efficiency_frac)  # fmt: skip
        series = _series(system, sun, loads, (served, np.minimum(most[1], room)), system.banks[0])
        return [("shared", _island(system, system.banks[0], boards, system.generator), series)]
    share = system.architecture.essential_array_frac
    found: list[tuple[str, Island, np.ndarray]] = []
    for at, name in enumerate(BOARDS):
        own = [load if i == at else np.zeros(len(sun)) for i, load in enumerate(loads)]
        here = [board if i == at else _NOBODY for i, board in enumerate(boards)]
        part = sun * (share if at == 0 else 1.0 - share)
        capped = tuple(np.minimum(np.minimum(x, m), b.rating_w)
                       for x, m, b in zip(own, most, here, strict=True))  # fmt: skip
        series = _series(system, part, own, capped, system.banks[at])
        engine = system.generator if at == 0 else None
        found.append((name, _island(system, system.banks[at], here, engine), series))
    return found


def _series(
    system: System, sun: np.ndarray, loads: list[np.ndarray], served: tuple[np.ndarray, ...],
    bank: Bank,
) -> np.ndarray:  # fmt: skip
    present = np.zeros(len(sun)) if system.grid is None else system.grid.present_frac
    limit_w = 0.0 if system.grid is None else system.grid.limit_w
    works = np.asarray(bank.capacity_factor) > 0.0
    columns = [sun, *served, present, present * limit_w, works, bank.charge_factor, *loads]
    return np.ascontiguousarray(np.stack(columns, axis=1), dtype=float)


_LEAST_EXCHANGE = 1e-12
"""Exchange [1/h] below which the two wells stand apart: a guard against rounding, no more."""


def well_step(bank: Bank) -> tuple[float, float, float]:
    """Constants of an hour of the two wells: q1' = keep q1 + gain q0 - give d.

    Factors of charge [Wh/Wh] for an exchange a hour.

    Parameters
    ----------
    bank : Bank

    Notes
    -----
    With k and c of `kernels`: keep = e^-k, gain = c (1 - e^-k),
    give = ((1 - e^-k) + c (k - 1 + e^-k)) / k. One well (c = 1): keep + gain = give = 1.
    """
    c = bank.available_frac
    k = max(bank.exchange_per_h, _LEAST_EXCHANGE) if c < 1.0 else 1.0
    gone = -math.expm1(-k)
    return 1.0 - gone, c * gone, (gone + c * (k - gone)) / k


def _island(
    system: System, bank: Bank, boards: list[Board], engine: GeneratorSet | None
) -> Island:
    from solarcalc.supply.kernels import Island

    keep, gain, give = well_step(bank)
    engine, grid, plan = engine or _NO_ENGINE, system.grid, system.architecture
    shed, level = system.shedding, bank.level_frac
    essential, nonessential = boards
    second_w = plan.second_charger_power_w
    charger_w = second_w if essential is _NOBODY and second_w is not None else plan.charger_power_w
    floor = level(bank.min_soc_frac)
    return Island(
        capacity_wh=float(bank.capacity_wh), first_frac=float(bank.available_frac),
        keep=keep, gain=gain, give=give,
        charge_efficiency=float(bank.charge_efficiency_frac),
        discharge_efficiency=float(bank.discharge_efficiency_frac),
        max_charge_w=float(bank.max_charge_w), max_discharge_w=float(bank.max_discharge_w),
        accepted_frac=bank.accepted_frac,
        self_discharge=min(bank.self_discharge_frac_per_h / max(1.0 - floor, LEAST_SPAN), 1.0),
        floor_frac=floor, shed_frac=level(shed.off_frac),
        band_frac=level(shed.on_frac) - level(shed.off_frac),
        essential_efficiency=float(essential.efficiency_frac),
        essential_no_load_w=float(essential.no_load_w),
        nonessential_efficiency=float(nonessential.efficiency_frac),
        nonessential_no_load_w=float(nonessential.no_load_w),
        grid_first=plan.order == "sun-grid-battery",
        grid_frac=level(grid.charge_below_frac) if grid and grid.charge_below_frac > 0.0 else 0.0,
        charger_efficiency=float(plan.charger_efficiency_frac),
        charger_w=float(charger_w),
        generator_w=float(engine.power_w), warm_up_h=float(engine.warm_up_h),
        start_frac=level(engine.start_frac),
        stop_frac=level(engine.stop_frac), least_w=float(engine.power_w * engine.least_load_frac),
        idle_fuel_l=float(engine.idle_fuel_l_per_h),
        fuel_l_per_wh=float(engine.fuel_l_per_kwh) / 1000.0,
    )  # fmt: skip


_SETTLED_FRAC = 1e-6


@dataclass(frozen=True, kw_only=True, eq=False)
class SupplyRun:
    """A year of supply.

    Parameters
    ----------
    hours : DataFrame, shape (n,)
        Means over each hour [W]: ``solar_w`` offered at the bus, ``solar_used_w``,
        ``solar_curtailed_w``; ``essential_...`` and ``nonessential_...`` load, supplied,
        not_supplied (alternating current) and drawn (from the bus, inverter loss and idle draw
        included); ``grid_to_...`` and ``generator_to_...`` essential, nonessential, charge;
        ``charge_w`` and ``discharge_w`` at the terminals; ``inverter_loss_w``,
        ``charger_loss_w``, ``battery_loss_w``, ``self_discharge_w``. Beside them ``fuel_l`` [l],
        the wells ``available_wh`` and ``bound_wh`` with their sum ``stored_wh`` at the hour's
        start [Wh], ``nonessential_fed_frac``, the share of its draw that sun and store feed, and
        ``generator_on``. With separate banks: of both together.
    banks : dict of DataFrame
        The same for each bank: ``shared``, or ``essential`` and ``nonessential``.
    end_wh : dict of float
        Energy stored in each bank after the last hour [Wh].
    system : System
    """

    hours: pd.DataFrame
    banks: dict[str, pd.DataFrame]
    end_wh: dict[str, float]
    system: System

    @cached_property
    def sums_kwh(self) -> dict[str, float]:
        """Energies that were asked for, by name; see `solarcalc.supply.energy.energy_kwh`."""
        return {}

    @property
    def capacity_wh(self) -> float:
        """Capacity of all banks [Wh]."""
        return sum(bank.capacity_wh for bank in self.system.banks)

    @property
    def state_of_charge(self) -> pd.Series:
        """Of all banks together, at the start of each hour, [0 to 1]."""
        return self.hours["stored_wh"] / self.capacity_wh

    @property
    def closing_gap_frac(self) -> float:
        """Charge at the end of the year less that at its start, [-1 to 1]; 0 in a closed year."""
        first = float(self.hours["stored_wh"].iloc[0])
        return (sum(self.end_wh.values()) - first) / self.capacity_wh

    @property
    def generator_h(self) -> float:
        """Hours the generator runs [h]."""
        return float(self.hours["generator_on"].sum())

    @property
    def fuel_l(self) -> float:
        """Fuel of the year [l]."""
        return float(self.hours["fuel_l"].sum())

    def not_supplied_w(self, board: str) -> pd.Series:
        """Demand of ``"essential"`` or ``"nonessential"`` that was not supplied, by hour [W]."""
        return self.hours[f"{board}_not_supplied_w"]

    def hours_without_supply(self, board: str) -> int:
        """Hours in which a board got less than its demand."""
        return int(self.without_supply(board).sum())

    def without_supply(self, board: str) -> pd.Series:
        """Whether a board got less than its demand in an hour, by more than rounding.

        An hour of the nonessential board that is fed in part is one too.
        """
        return self.not_supplied_w(board) > NOT_SUPPLIED_W

    def longest_without_supply_h(self, board: str) -> int:
        """Longest run of such hours [h]; one over the year's end counts as one."""
        dark = self.without_supply(board).to_numpy()
        if dark.all():
            return len(dark)
        turned = np.roll(dark, -int(np.argmin(dark)))
        edges = np.flatnonzero(np.diff(np.concatenate([[0], turned.astype(int), [0]])))
        return int((edges[1::2] - edges[::2]).max(initial=0))

    def balance_error_w(self) -> pd.Series:
        """Energy in less energy out, worst of bus, boards, stores and the whole, by hour [W]."""
        errors = [np.zeros(len(self.hours))]
        for bank, (name, hours) in zip(self.system.banks, self.banks.items(), strict=True):
            after = np.append(hours["stored_wh"].to_numpy()[1:], self.end_wh[name])
            gained = after - hours["stored_wh"]
            mains = hours["grid_to_charge_w"] + hours["generator_to_charge_w"]
            bus = hours["solar_used_w"] + hours["discharge_w"] - hours["charge_w"]
            bus += mains - hours["charger_loss_w"]
            bus -= hours["essential_drawn_w"] + hours["nonessential_drawn_w"]
            store = hours["charge_w"] * bank.charge_efficiency_frac - gained
            store -= hours["discharge_w"] / bank.discharge_efficiency_frac
            store -= hours["self_discharge_w"]
            served = hours["essential_supplied_w"] + hours["nonessential_supplied_w"]
            boards = hours["essential_drawn_w"] + hours["nonessential_drawn_w"] - served
            boards -= hours["inverter_loss_w"]
            for board in BOARDS:
                boards += hours[f"grid_to_{board}_w"] + hours[f"generator_to_{board}_w"]
            lost = hours[["inverter_loss_w", "charger_loss_w", "battery_loss_w",
                          "self_discharge_w"]].sum(axis=1)  # fmt: skip
            bought = hours[[f"{source}_to_{to}_w" for source in ("grid", "generator")
                            for to in (*BOARDS, "charge")]].sum(axis=1)  # fmt: skip
            whole = hours["solar_w"] - hours["solar_curtailed_w"] + bought - served - lost - gained
            errors += [part.abs().to_numpy() for part in (bus, store, boards, whole)]
        worst = np.max(errors, axis=0)
        return pd.Series(worst, index=self.hours.index, name="balance_error_w")


def simulate(solar_w: pd.Series, loads_w: pd.DataFrame, system: System) -> SupplyRun:
    """Run the year hour by hour until it closes on itself.

    Order of use in each hour: the essential board takes sun, then what it still needs from the
    bank and then the grid (``sun-battery-grid``), or from the grid and then the bank
    (``sun-grid-battery``). While the grid is there the bank gives only what it holds above the
    level up to which the grid charges it; the grid comes next, and below that level the bank gives
    what the grid's limit leaves over. The generator runs from its start level to its stop level,
    unless the grid is there all hour, and whenever the essential board would lose supply; it
    serves before the bank does, in its first hour less by the minutes it warms up. The
    nonessential board comes after: sun and bank feed as much of it as leaves the bank, at the
    hour's end, as far above its shed level as that share of the way to its level of return; while
    the grid is there they feed all of it down to the shed level or the grid's, whichever is
    higher, and grid and generator feed the rest. So loads are dropped one after another on the
    way down, and come back on the way up; a single contactor with both levels does the same on the
    mean, by turns. Below the shed level sun goes to the bank first. Sun left over charges the
    bank, then the grid (up to its level, by the charger's limit while it is there), then the
    generator with what its boards leave and the charger can still take. The essential board may
    draw the bank down to the reserve. Cold moves the reserve and all levels with it, by the
    coldest month of the year (`Bank.cold_frac`): none of them passes another. Self-discharge
    falls in proportion from the rate of the full bank to nothing at the reserve. Grid and
    generator serve past the inverters, whose idle draw they then pay as well.

    The rules are made so that more sun or a larger bank never serves the essential board worse in
    any hour. A generator too small for it, which comes and goes by two levels, breaks that; and
    where a bank's limit of discharge binds, a larger one gives more then and less later.

    A bank that gains or loses a little each year, or a generator with a rhythm of its own, may
    not close in the years allowed: see `SupplyRun.closing_gap_frac`. Starting currents and the
    grid's quality are left out.

    Parameters
    ----------
    solar_w : Series, shape (n,)
        Offered at the battery bus, after the controller [W].
    loads_w : DataFrame, shape (n,)
        ``essential`` and ``nonessential`` load [W], alternating current.
    system : System

    Returns
    -------
    SupplyRun
        With separate banks the grid serves the essential board's bank before the other.

    Raises
    ------
    InputError
        When series do not fit one another, or hold a negative, missing or endless value; it
        names series and hour.
    """
    from solarcalc.supply import kernels

    check_series(solar_w, loads_w, system)
    index = solar_w.index
    taken = np.zeros(len(index))
    banks: dict[str, pd.DataFrame] = {}
    end_wh: dict[str, float] = {}
    for name, island, series in islands_of(solar_w, loads_w, system):
        first, full = island.first_frac, island.capacity_wh
        state = (first * full, (1.0 - first) * full, 0.0)
        out = np.empty((len(index), len(FLOWS)))
        engine = island.generator_w > 0.0
        for _ in range(kernels.MOST_YEARS_ENGINE if engine else kernels.MOST_YEARS):
            end = kernels.written_year(island, series, state, taken, out)
            gap = max(abs(end[0] - state[0]), abs(end[1] - state[1]))
            settled = gap <= _SETTLED_FRAC * full and end[2:] == state[2:]
            if settled:
                break
            state = end
        hours = pd.DataFrame(out, columns=list(FLOWS), index=index)
        for board in BOARDS:
            at = hours.columns.get_loc(f"{board}_supplied_w")
            missed = hours[f"{board}_load_w"] - hours[f"{board}_supplied_w"]
            hours.insert(int(at) + 1, f"{board}_not_supplied_w", missed)  # type: ignore[arg-type]
        banks[name], end_wh[name] = hours, end[0] + end[1]
        taken = hours[[f"grid_to_{to}_w" for to in (*BOARDS, "charge")]].sum(axis=1).to_numpy()
    return SupplyRun(hours=_together(banks), banks=_with_switches(banks), end_wh=end_wh,
                     system=system)  # fmt: skip


def _with_switches(banks: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    return {
        name: hours.assign(generator_on=hours["generator_on"] > 0.5)
        for name, hours in banks.items()
    }


def _together(banks: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Sums of all banks; the switches of the bank each stands for."""
    tables = list(banks.values())
    hours = tables[0].copy() if len(tables) == 1 else tables[0] + tables[1]
    hours["nonessential_fed_frac"] = tables[-1]["nonessential_fed_frac"]
    hours["generator_on"] = tables[0]["generator_on"] > 0.5
    return hours


def warm_up() -> None:
    """A day of a made-up system, with grid and without."""
    for sun, loads, system in made_up_days():
        simulate(sun, loads, system)


def made_up_days() -> Iterator[tuple[pd.Series, pd.DataFrame, System]]:
    """Hourly sun [W] and loads [W], and system, of a day of no site: without grid, with it."""
    hours = 24
    index = pd.date_range("2001-01-01", periods=hours, freq="h", tz="UTC")
    sun = pd.Series(100.0, index=index)
    loads = pd.DataFrame({"essential": 50.0, "nonessential": 0.0}, index=index)
    board = Board(rating_w=1000.0, efficiency_frac=0.9, no_load_w=1.0)
    bank = Bank(
        capacity_wh=1000.0, voltage_v=48.0, available_frac=0.5, exchange_per_h=0.5,
        min_soc_frac=0.2, charge_efficiency_frac=0.9, discharge_efficiency_frac=0.9,
        max_charge_w=200.0, max_discharge_w=200.0, acceptance_per_h=0.5,
        self_discharge_frac_per_h=1e-5, capacity_factor=np.ones(hours),
        charge_factor=np.ones(hours),
    )  # fmt: skip
    grid = GridSupply(present_frac=np.ones(hours), limit_w=100.0, charge_below_frac=0.5)
    for one in (None, grid):
        yield sun, loads, System(
            banks=(bank,), boards={"essential": board, "nonessential": board},
            shedding=Shedding(off_frac=0.4, on_frac=0.6), grid=one,
        )  # fmt: skip
