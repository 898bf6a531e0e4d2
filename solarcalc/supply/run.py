"""One system through the year, hour by hour, until the year closes on itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from solarcalc.supply.boards import UNSERVED_W
from solarcalc.supply.ready import BOARDS, check_series, islands_of
from solarcalc.supply.system import System

_SETTLED_FRAC = 1e-6
_SWITCHES = ("heavy_on", "generator_on")


@dataclass(frozen=True, kw_only=True, eq=False)
class SupplyRun:
    """A year of supply.

    Parameters
    ----------
    hours : DataFrame, shape (n,)
        Means over each hour [W]: ``solar_w`` offered at the bus, ``solar_used_w``,
        ``solar_spilled_w``; ``critical_...`` and ``heavy_...`` load, served, unserved
        (alternating current) and drawn (from the bus, inverter loss and idle draw included);
        ``grid_to_...`` and ``generator_to_...`` critical, heavy, charge; ``charge_w`` and
        ``discharge_w`` at the terminals; ``inverter_loss_w``, ``charger_loss_w``,
        ``battery_loss_w``, ``self_discharge_w``. Beside them ``fuel_l`` [l], the wells
        ``available_wh`` and ``bound_wh`` with their sum ``stored_wh`` at the hour's start [Wh],
        ``heavy_on`` and ``generator_on``. With separate banks: of both together.
    banks : dict of DataFrame
        The same for each bank: ``shared``, or ``critical`` and ``heavy``.
    end_wh : dict of float
        Energy stored in each bank after the last hour [Wh].
    system : System
    """

    hours: pd.DataFrame
    banks: dict[str, pd.DataFrame]
    end_wh: dict[str, float]
    system: System

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
    def spilled_w(self) -> pd.Series:
        """Sun offered that nobody took, by hour [W]."""
        return self.hours["solar_spilled_w"]

    @property
    def generator_h(self) -> float:
        """Hours the generator runs [h]."""
        return float(self.hours["generator_on"].sum())

    @property
    def fuel_l(self) -> float:
        """Fuel of the year [l]."""
        return float(self.hours["fuel_l"].sum())

    def unserved_w(self, board: str) -> pd.Series:
        """Load of ``"critical"`` or ``"heavy"`` that was not served, by hour [W]."""
        return self.hours[f"{board}_unserved_w"]

    def unserved_wh(self, board: str) -> float:
        """Energy a board asked for and did not get [Wh]."""
        return float(self.unserved_w(board).sum())

    def dark_hours(self, board: str) -> int:
        """Hours in which a board with a load got less than it asked for."""
        return int((self.unserved_w(board) > UNSERVED_W).sum())

    def longest_dark_spell_h(self, board: str) -> int:
        """Longest run of such hours [h]; one over the year's end counts as one."""
        dark = (self.unserved_w(board) > UNSERVED_W).to_numpy()
        if dark.all():
            return len(dark)
        turned = np.roll(dark, -int(np.argmin(dark)))
        edges = np.flatnonzero(np.diff(np.concatenate([[0], turned.astype(int), [0]])))
        return int((edges[1::2] - edges[::2]).max(initial=0))

    def by_month(self) -> pd.DataFrame:
        """Each month: hours dark, energy of every flow [kWh], fuel [l], generator hours."""
        hours = self.hours
        month = pd.DatetimeIndex(hours.index).month
        flows = [name for name in map(str, hours.columns) if name.endswith("_w")]
        table: pd.DataFrame = hours.loc[:, flows].groupby(month).sum() / 1000.0
        table.columns = pd.Index([f"{name.removesuffix('_w')}_kwh" for name in flows])
        for board in BOARDS:
            dark = self.unserved_w(board) > UNSERVED_W
            table[f"{board}_dark_h"] = dark.groupby(month).sum()
        table["fuel_l"] = hours["fuel_l"].groupby(month).sum()
        table["generator_h"] = hours["generator_on"].groupby(month).sum()
        table.index.name = "month"
        return table

    def balance_error_w(self) -> pd.Series:
        """Energy in less energy out, worst of bus, boards, stores and the whole, by hour [W]."""
        errors = [np.zeros(len(self.hours))]
        for bank, (name, hours) in zip(self.system.banks, self.banks.items(), strict=True):
            after = np.append(hours["stored_wh"].to_numpy()[1:], self.end_wh[name])
            gained = after - hours["stored_wh"]
            mains = hours["grid_to_charge_w"] + hours["generator_to_charge_w"]
            bus = hours["solar_used_w"] + hours["discharge_w"] - hours["charge_w"]
            bus += mains - hours["charger_loss_w"]
            bus -= hours["critical_drawn_w"] + hours["heavy_drawn_w"]
            store = hours["charge_w"] * bank.charge_efficiency_frac - gained
            store -= hours["discharge_w"] / bank.discharge_efficiency_frac
            store -= hours["self_discharge_w"]
            served = hours["critical_served_w"] + hours["heavy_served_w"]
            boards = hours["critical_drawn_w"] + hours["heavy_drawn_w"] - served
            boards -= hours["inverter_loss_w"]
            for board in BOARDS:
                boards += hours[f"grid_to_{board}_w"] + hours[f"generator_to_{board}_w"]
            lost = hours[["inverter_loss_w", "charger_loss_w", "battery_loss_w",
                          "self_discharge_w"]].sum(axis=1)  # fmt: skip
            bought = hours[[f"{source}_to_{to}_w" for source in ("grid", "generator")
                            for to in (*BOARDS, "charge")]].sum(axis=1)  # fmt: skip
            whole = hours["solar_w"] - hours["solar_spilled_w"] + bought - served - lost - gained
            errors += [part.abs().to_numpy() for part in (bus, store, boards, whole)]
        worst = np.max(errors, axis=0)
        return pd.Series(worst, index=self.hours.index, name="balance_error_w")


def simulate(solar_w: pd.Series, loads_w: pd.DataFrame, system: System) -> SupplyRun:
    """Run the year hour by hour until it closes on itself.

    Order of use in each hour: sun to the critical board, then to the heavy one. What they still
    need comes from the bank, then from the grid (``sun-battery-grid``), or from the grid, then
    from the bank (``sun-grid-battery``, and in any order while the bank is below the level at
    which the grid charges it, or the generator runs). The generator runs from its start level to
    its stop level, unless the grid is there all hour, and whenever the critical board would go
    dark; it serves before the bank does. Sun left over charges the bank, then the grid (below its
    level, up to it), then the generator with what its boards leave. A bank that gives in an hour
    is not charged in it. The critical board may draw the bank down to the reserve, which cold
    raises; the heavy board down to its shed level, then it waits, sun or not, until the level of
    its return, but for the hours, or parts of hours, in which grid or generator is there to feed
    it. Grid and generator serve past the inverters, whose idle draw they then pay as well.
    A bank that gains or loses a little each year, or a generator with a rhythm of its own, may
    not close in the years allowed: see `SupplyRun.closing_gap_frac`. Starting currents, the
    generator's warming up and the grid's quality are left out.

    Parameters
    ----------
    solar_w : Series, shape (n,)
        Offered at the battery bus, after the controller [W].
    loads_w : DataFrame, shape (n,)
        ``critical`` and ``heavy`` load [W], alternating current.
    system : System

    Returns
    -------
    SupplyRun
        With separate banks the grid serves the critical board's bank before the other.

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
        state = (first * full, (1.0 - first) * full, 1.0, 0.0)
        out = np.empty((len(index), len(kernels.FLOWS)))
        engine = island.generator_w > 0.0
        for _ in range(kernels.MOST_YEARS_ENGINE if engine else kernels.MOST_YEARS):
            end = kernels.written_year(island, series, state, taken, out)
            gap = max(abs(end[0] - state[0]), abs(end[1] - state[1]))
            settled = gap <= _SETTLED_FRAC * full and end[2:] == state[2:]
            if settled:
                break
            state = end
        hours = pd.DataFrame(out, columns=list(kernels.FLOWS), index=index)
        for board in BOARDS:
            at = hours.columns.get_loc(f"{board}_served_w")
            missed = hours[f"{board}_load_w"] - hours[f"{board}_served_w"]
            hours.insert(int(at) + 1, f"{board}_unserved_w", missed)  # type: ignore[arg-type]
        banks[name], end_wh[name] = hours, end[0] + end[1]
        taken = hours[[f"grid_to_{to}_w" for to in (*BOARDS, "charge")]].sum(axis=1).to_numpy()
    return SupplyRun(hours=_together(banks), banks=_with_switches(banks), end_wh=end_wh,
                     system=system)  # fmt: skip


def _with_switches(banks: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    return {
        name: hours.assign(**{switch: hours[switch] > 0.5 for switch in _SWITCHES})
        for name, hours in banks.items()
    }


def _together(banks: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Sums of all banks; the switches of the bank each stands for."""
    tables = list(banks.values())
    hours = tables[0].copy() if len(tables) == 1 else tables[0] + tables[1]
    hours["heavy_on"] = tables[-1]["heavy_on"] > 0.5
    hours["generator_on"] = tables[0]["generator_on"] > 0.5
    return hours
