"""Hour by hour: sun, store and two boards; who is served, who waits, what is thrown away."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.battery import Store

UNSERVED_W = 0.5
"""A board short of less than this is taken as served: rounding, not darkness [W]."""
_MOST_YEARS = 40
_SETTLED_FRAC = 1e-6
SHED_MARGIN_FRAC = 1e-9
"""Charge this little above the shed level counts as at it: rounding must not decide."""


@dataclass(frozen=True, kw_only=True)
class Board:
    """One board behind its inverter.

    Parameters
    ----------
    rating_w : float
        Continuous rating of the inverter [W].
    efficiency_frac : float
    idle_w : float
        What the inverter draws from the store's side while it is on [W].
    """

    rating_w: float
    efficiency_frac: float
    idle_w: float


@dataclass(frozen=True, kw_only=True)
class Shedding:
    """When the heavy board waits: it goes off at ``off_frac`` and returns at ``on_frac``.

    Both are states of charge, [0 to 1].
    """

    off_frac: float
    on_frac: float


COLUMNS = (
    "solar_w",
    "solar_used_w",
    "critical_load_w",
    "critical_served_w",
    "critical_drawn_w",
    "heavy_load_w",
    "heavy_served_w",
    "heavy_drawn_w",
    "charge_w",
    "discharge_w",
    "self_discharge_w",
    "stored_wh",
    "heavy_on",
)


@dataclass(frozen=True, kw_only=True)
class SupplyYear:
    """A year of supply.

    Parameters
    ----------
    hours : DataFrame, shape (8760,)
        Means over each hour [W] of ``solar_w`` (offered at the battery bus), ``solar_used_w``,
        loads and what was served (alternating current), ``*_drawn_w`` (taken from the bus for
        it, inverter loss and idle draw included), ``charge_w``, ``discharge_w`` (at the
        terminals), ``self_discharge_w``; ``stored_wh`` and ``heavy_on`` at the hour's start.
    store : Store
    end_stored_wh : float
        Energy stored after the last hour [Wh].
    """

    hours: pd.DataFrame
    store: Store
    end_stored_wh: float

    @property
    def state_of_charge(self) -> pd.Series:
        """State of charge at the start of each hour, [0 to 1]."""
        return self.hours["stored_wh"] / self.store.capacity_wh

    @property
    def closing_gap_frac(self) -> float:
        """Charge at the end of the year less that at its start, [-1 to 1]; 0 in a closed year."""
        first = float(self.hours["stored_wh"].iloc[0])
        return (self.end_stored_wh - first) / self.store.capacity_wh

    @property
    def spilled_w(self) -> pd.Series:
        """Sun offered and not taken, the battery being full or at its charge limit [W]."""
        return self.hours["solar_w"] - self.hours["solar_used_w"]

    def unserved_w(self, board: str) -> pd.Series:
        """Load of ``"critical"`` or ``"heavy"`` that was not served, by hour [W]."""
        return self.hours[f"{board}_load_w"] - self.hours[f"{board}_served_w"]

    def dark_hours(self, board: str) -> int:
        """Hours in which a board with a load got less than it asked for."""
        return int((self.unserved_w(board) > UNSERVED_W).sum())

    def longest_dark_spell_h(self, board: str) -> int:
        """Longest run of such hours [h]."""
        dark = (self.unserved_w(board) > UNSERVED_W).to_numpy()
        runs = np.split(dark, np.flatnonzero(np.diff(dark.astype(int))) + 1)
        return max((len(run) for run in runs if run[0]), default=0)

    def balance_error_w(self) -> pd.Series:
        """Energy in less energy out at the bus and in the store, worst of the two, by hour [W]."""
        hours, store = self.hours, self.store
        bus = (
            hours["solar_used_w"] + hours["discharge_w"]
            - hours["charge_w"] - hours["critical_drawn_w"] - hours["heavy_drawn_w"]
        )
        after = np.append(hours["stored_wh"].to_numpy()[1:], self.end_stored_wh)
        kept = (
            hours["charge_w"] * store.charge_efficiency_frac
            - hours["discharge_w"] / store.discharge_efficiency_frac
            - hours["self_discharge_w"]
        )
        tank = hours["stored_wh"] + kept - after
        worst = np.maximum(bus.abs().to_numpy(), tank.abs().to_numpy())
        return pd.Series(worst, index=hours.index, name="balance_error_w")


def simulate_year(
    solar_w: pd.Series,
    loads_w: pd.DataFrame,
    store: Store,
    boards: dict[str, Board],
    shedding: Shedding,
) -> SupplyYear:
    """Run the year hour by hour until it closes on itself.

    Order of use: sun to the critical board, to the heavy board, then into the store; the store
    serves what is left, the critical board down to the reserve, the heavy board down to the
    level at which it is shed. The year is run again from its own end state until start and end
    agree, so that no guess of the first state of charge enters. A bank that gains or loses a
    little each year may not get there in the years allowed: see `SupplyYear.closing_gap_frac`.

    Parameters
    ----------
    solar_w : Series, shape (n,)
        Offered at the battery bus, after the controller [W].
    loads_w : DataFrame, shape (n,)
        ``critical`` and ``heavy`` load [W], alternating current.
    store : Store
    boards : dict
        ``critical`` and ``heavy``.
    shedding : Shedding

    Raises
    ------
    InputError
        When a series holds a negative, missing or endless value; it names the hour.
    """
    for name, series in (("solar_w", solar_w), *loads_w.items()):
        _refuse_bad(str(name), series)
    stored = store.capacity_wh
    heavy_on = True
    for _ in range(_MOST_YEARS):
        table, end, end_on = _run(solar_w, loads_w, store, boards, shedding, (stored, heavy_on))
        if abs(end - stored) <= _SETTLED_FRAC * store.capacity_wh and end_on == heavy_on:
            break
        stored, heavy_on = end, end_on
    hours = pd.DataFrame(table, columns=list(COLUMNS), index=solar_w.index)
    hours["heavy_on"] = hours["heavy_on"] > 0.5
    return SupplyYear(hours=hours, store=store, end_stored_wh=end)


def _refuse_bad(name: str, series: pd.Series) -> None:
    values = series.to_numpy()
    bad = ~((values >= 0.0) & np.isfinite(values))
    if bad.any():
        raise InputError(
            Fault(
                where=f"{name}, hour {series.index[int(np.argmax(bad))]}",
                given=str(values[bad][0]),
                allowed="0 W or more in every hour",
            )
        )


def _run(
    solar_w: pd.Series,
    loads_w: pd.DataFrame,
    store: Store,
    boards: dict[str, Board],
    shedding: Shedding,
    start: tuple[float, bool],
) -> tuple[list[tuple[float, ...]], float, bool]:
    """One pass through the year; rows follow `COLUMNS`."""
    stored, heavy_on = start
    critical, heavy = boards["critical"], boards["heavy"]
    margin_wh = SHED_MARGIN_FRAC * store.capacity_wh
    off_wh, on_wh = shedding.off_frac * store.capacity_wh, shedding.on_frac * store.capacity_wh
    table: list[tuple[float, ...]] = []
    series = (solar_w, loads_w["critical"], loads_w["heavy"])
    for sun, critical_load, heavy_load in zip(*(s.tolist() for s in series), strict=True):
        before = stored
        heavy_on = stored > off_wh + margin_wh if heavy_on else stored >= on_wh - margin_wh
        asked = _asked(critical, critical_load), _asked(heavy, heavy_load) if heavy_on else 0.0
        drawn, discharge, sun_used = _share_out(sun, asked, stored, off_wh, store)
        lost = stored * store.self_discharge_frac_per_h
        stored -= lost + discharge / store.discharge_efficiency_frac
        room = (store.capacity_wh - stored) / store.charge_efficiency_frac
        charge = max(0.0, min(sun - sun_used, store.max_charge_w, room))
        if discharge > 0.0:
            charge = 0.0
        stored += charge * store.charge_efficiency_frac
        table.append(
            (
                sun, sun_used + charge,
                critical_load, _served(critical, critical_load, drawn[0]), drawn[0],
                heavy_load, _served(heavy, heavy_load, drawn[1]), drawn[1],
                charge, discharge, lost, before, float(heavy_on),
            )
        )
    return table, stored, heavy_on


def _asked(board: Board, load_w: float) -> float:
    """What a board would draw from the bus [W]; the inverter idles even without a load."""
    return min(load_w, board.rating_w) / board.efficiency_frac + board.idle_w


def _served(board: Board, load_w: float, drawn_w: float) -> float:
    """Alternating current that a draw on the bus gives [W]; never more than the load."""
    return min(load_w, max(0.0, drawn_w - board.idle_w) * board.efficiency_frac)


def _share_out(
    sun: float, asked: tuple[float, float], stored: float, off_wh: float, store: Store
) -> tuple[tuple[float, float], float, float]:
    """Draw of each board, discharge at the terminals and sun used for them, in one hour [W]."""
    above_reserve = max(0.0, stored * (1.0 - store.self_discharge_frac_per_h) - store.reserve_wh)
    above_shed = max(0.0, stored * (1.0 - store.self_discharge_frac_per_h) - off_wh)
    sun_critical = min(sun, asked[0])
    sun_heavy = min(sun - sun_critical, asked[1])
    most = min(store.max_discharge_w, above_reserve * store.discharge_efficiency_frac)
    from_store_critical = min(asked[0] - sun_critical, most)
    most_heavy = min(most, above_shed * store.discharge_efficiency_frac) - from_store_critical
    from_store_heavy = min(asked[1] - sun_heavy, max(0.0, most_heavy))
    drawn = (sun_critical + from_store_critical, sun_heavy + from_store_heavy)
    return drawn, from_store_critical + from_store_heavy, sun_critical + sun_heavy
