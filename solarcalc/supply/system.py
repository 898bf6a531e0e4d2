"""What a supply is made of: banks, boards, grid, generator, and how they hang together."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, get_args

import numpy as np

from solarcalc.basis.errors import Fault, InputError
from solarcalc.battery.bank import Bank

NOT_SUPPLIED_W = 0.5
"""A board short of less than this is taken as supplied: rounding, no want [W]."""


@dataclass(frozen=True, kw_only=True)
class Board:
    """One board behind its inverter.

    Parameters
    ----------
    rating_w : float
        Continuous rating of the inverter [W].
    efficiency_frac : float
    no_load_w : float
        What the inverter draws from the store's side while it is on [W].
    """

    rating_w: float
    efficiency_frac: float
    no_load_w: float


@dataclass(frozen=True, kw_only=True)
class Shedding:
    """When the nonessential board is shed: all of it at ``off_frac``, none at ``on_frac``.

    Both are states of charge, [0 to 1].
    """

    off_frac: float
    on_frac: float


MOST_W = 1e12
Layout = Literal["shared-bank", "one-inverter", "separate-banks"]
Order = Literal["sun-battery-grid", "sun-grid-battery"]


@dataclass(frozen=True, kw_only=True, eq=False)
class GridSupply:
    """What the grid offers.

    Parameters
    ----------
    present_frac : array (n,)
        Share of each hour in which it is there, [0 to 1].
    limit_w : float
        Most it gives to boards and charger together while it is there [W].
    charge_below_frac : float
        State of charge below which it charges the bank, up to that level, and serves the boards
        before the bank does, [0 to 1]; 0: it never charges.
    """

    present_frac: np.ndarray
    limit_w: float
    charge_below_frac: float


@dataclass(frozen=True, kw_only=True)
class GeneratorSet:
    """A generator that starts and stops by itself.

    Parameters
    ----------
    power_w : float
        That it gives at its place, height and heat taken off [W].
    start_frac, stop_frac : float
        State of charge at which it starts, and at which it stops, [0 to 1].
    least_load_frac : float
        Of the rating: fuel is burnt as if at least that much were drawn, [0 to 1].
    idle_fuel_l_per_h : float
        Fuel without load [l/h].
    fuel_l_per_kwh : float
        Fuel for each kWh more [l/kWh].
    warm_up_h : float
        From its start until it takes load, within the first hour it runs [h].

    Notes
    -----
    Fuel is a straight line of power: idle_fuel_l_per_h + fuel_l_per_kwh P (common practice, no
    source).
    """

    power_w: float
    start_frac: float
    stop_frac: float
    least_load_frac: float
    idle_fuel_l_per_h: float
    fuel_l_per_kwh: float
    warm_up_h: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Architecture:
    """How banks, inverters and boards hang together, and who serves first.

    Parameters
    ----------
    layout : {"shared-bank", "one-inverter", "separate-banks"}
        One bank and an inverter for each board; one bank and one inverter (the essential one of
        `System.boards`) for both; or a bank and an inverter for each board, sun shared out.
    order : {"sun-battery-grid", "sun-grid-battery"}
    essential_array_frac : float
        Share of the array on the essential board's bank, with separate banks, [0 to 1].
    charger_efficiency_frac : float
        From grid or generator to the battery's terminals, [0 to 1].
    charger_power_w : float
        That the chargers of the first bank take of grid and generator at the most [W].
    second_charger_power_w : float, optional
        The same of the nonessential board's own bank [W]; left out: as of the first.
    """

    layout: Layout = "shared-bank"
    order: Order = "sun-battery-grid"
    essential_array_frac: float = 0.5
    charger_efficiency_frac: float = 0.9
    charger_power_w: float = MOST_W
    second_charger_power_w: float | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class System:
    """A supply, all but its sun and its loads.

    Parameters
    ----------
    banks : tuple of Bank
        One, or with separate banks two: of the essential and of the nonessential board.
    boards : dict
        ``essential`` and ``nonessential``; with one inverter both stand on the essential one.
    shedding : Shedding
        Levels of the bank that feeds the nonessential board.
    architecture : Architecture
    grid : GridSupply or None
    generator : GeneratorSet or None
        On the essential board's bank.
    served_w : dict of array (n,)
        Most of a board's load that its inverters can serve in each hour, where each phase has its
        own limit [W]; of a board that is not named only the whole rating counts.

    Raises
    ------
    InputError
        For anything outside its limits: a bank too many, a level out of order, a share above 1.
    """

    banks: tuple[Bank, ...]
    boards: dict[str, Board]
    shedding: Shedding
    architecture: Architecture = Architecture()
    grid: GridSupply | None = None
    generator: GeneratorSet | None = None
    served_w: dict[str, np.ndarray] = field(default_factory=dict)

    def __post_init__(self) -> None:
        faults = [*_layout_faults(self), *_level_faults(self)]
        for number, bank in enumerate(self.banks, start=1):
            faults += _bank_faults(f"bank {number}", bank)
        for name, board in self.boards.items():
            faults += _limits(f"board {name}", board, _BOARD_LIMITS)
        if self.grid is not None:
            faults += _limits("grid", self.grid, _GRID_LIMITS)
        if self.generator is not None:
            faults += _generator_faults(self.generator)
        for name, values in self.served_w.items():
            faults += _limits(f"board {name}", _Served(served_w=values),
                              [("served_w", 0.0, MOST_W)])  # fmt: skip
        if faults:
            raise InputError(faults)

    @property
    def separate(self) -> bool:
        """Whether each board has a bank of its own."""
        return self.architecture.layout == "separate-banks"


@dataclass(frozen=True, kw_only=True)
class _Served:
    served_w: np.ndarray


_LEAST = 1e-6
_BOARD_LIMITS = [
    ("rating_w", 0.0, MOST_W), ("efficiency_frac", _LEAST, 1.0), ("no_load_w", 0.0, MOST_W)
]  # fmt: skip
_GRID_LIMITS = [
    ("present_frac", 0.0, 1.0), ("limit_w", 0.0, MOST_W), ("charge_below_frac", 0.0, 1.0)
]
_BANK_LIMITS = [
    ("capacity_wh", _LEAST, MOST_W), ("available_frac", _LEAST, 1.0),
    ("min_soc_frac", 0.0, 1.0), ("charge_efficiency_frac", _LEAST, 1.0),
    ("discharge_efficiency_frac", _LEAST, 1.0), ("max_charge_w", 0.0, MOST_W),
    ("max_discharge_w", 0.0, MOST_W), ("self_discharge_frac_per_h", 0.0, 1.0),
    ("capacity_factor", 0.0, 1.0), ("charge_factor", 0.0, 1.0),
]  # fmt: skip
_GENERATOR_LIMITS = [
    ("power_w", _LEAST, MOST_W), ("start_frac", 0.0, 1.0), ("stop_frac", 0.0, 1.0),
    ("least_load_frac", 0.0, 1.0), ("idle_fuel_l_per_h", 0.0, 1e6), ("fuel_l_per_kwh", 0.0, 1e6),
    ("warm_up_h", 0.0, 1.0),
]  # fmt: skip


def _layout_faults(system: System) -> list[Fault]:
    one = system.architecture
    faults = [
        Fault(where=f"supply.{name}", given=repr(given), allowed=" or ".join(get_args(words)))
        for name, given, words in (("layout", one.layout, Layout), ("order", one.order, Order))
        if given not in get_args(words)
    ]
    wanted = 2 if system.separate else 1
    if len(system.banks) != wanted:
        faults.append(
            Fault(where="banks", given=f"{len(system.banks)} with layout {one.layout!r}",
                  allowed=f"{wanted}", why="separate banks are two, any other layout has one")
        )
    if set(system.boards) != {"essential", "nonessential"}:
        faults.append(Fault(where="boards", given=", ".join(system.boards) or "none",
                            allowed="essential and nonessential"))  # fmt: skip
    return faults + _limits("supply", one, [("essential_array_frac", 0.0, 1.0),
                            ("charger_efficiency_frac", _LEAST, 1.0),
                            ("charger_power_w", 0.0, MOST_W),
                            *([] if one.second_charger_power_w is None
                              else [("second_charger_power_w", 0.0, MOST_W)])])  # fmt: skip


def _level_faults(system: System) -> list[Fault]:
    shed, faults = system.shedding, _limits(
        "battery", system.shedding, [("off_frac", 0.0, 1.0), ("on_frac", 0.0, 1.0)]
    )
    if shed.off_frac >= shed.on_frac:
        faults.append(
            Fault(where="battery.nonessential_return_frac", given=f"{shed.on_frac:g}",
                  allowed=f"above nonessential_shed_frac = {shed.off_frac:g}",
                  why="the nonessential board comes back at a higher charge than it left at")
        )
    for bank in system.banks[-1:]:
        if shed.off_frac < bank.min_soc_frac:
            faults.append(
                Fault(where="battery.nonessential_shed_frac", given=f"{shed.off_frac:g}",
                      allowed=f"at least min_soc_frac = {bank.min_soc_frac:g}",
                      why="below the reserve nothing is drawn: the board would never be shed",
                      remedy="raise nonessential_shed_frac, or lower the reserve")
            )
    return faults


def _bank_faults(where: str, bank: Bank) -> list[Fault]:
    faults = _limits(where, bank, _BANK_LIMITS)
    if bank.available_frac < 1.0:
        faults += _limits(where, bank, [("exchange_per_h", _LEAST, 1e3)])
    if not bank.acceptance_per_h > 0.0:
        faults.append(Fault(where=_place(where, "acceptance_per_h"),
                            given=f"{bank.acceptance_per_h}",
                            allowed="above 0 a hour, or infinite"))  # fmt: skip
    return faults


def _generator_faults(generator: GeneratorSet) -> list[Fault]:
    faults = _limits("generator", generator, _GENERATOR_LIMITS)
    if generator.stop_frac <= generator.start_frac:
        faults.append(
            Fault(where="generator.stop_frac", given=f"{generator.stop_frac:g}",
                  allowed=f"above start_frac = {generator.start_frac:g}",
                  why="it stops at a higher charge than it starts at",
                  remedy="a usual pair is 0.3 and 0.8")
        )
    return faults


KEY_OF = {
    "off_frac": "battery.nonessential_shed_frac", "on_frac": "battery.nonessential_return_frac",
    "capacity_wh": "battery.unit_capacity_ah", "max_charge_w": "battery.max_charge_c_rate",
    "max_discharge_w": "battery.max_discharge_c_rate",
    "self_discharge_frac_per_h": "battery.self_discharge_frac_per_month",
    "available_frac": "battery.discharge_capacity_ah",
    "exchange_per_h": "battery.discharge_capacity_ah", "acceptance_per_h": "battery.chemistry",
    "capacity_factor": "battery.room_c", "charge_factor": "battery.room_c",
    "present_frac": "grid.kind", "idle_fuel_l_per_h": "generator.no_load_fuel_l_per_h_per_kw",
    "warm_up_h": "generator.warm_up_min", "second_charger_power_w": "supply.charger_power_w",
}  # fmt: skip
"""Keys of the site file that a figure of a system comes from, where they have another name."""


def _place(where: str, name: str) -> str:
    """The key of the site file that a figure comes from, and the figure; `where` is its table."""
    table = where.split(" ")[0].replace("bank", "battery")
    key = KEY_OF.get(name, f"{table}.{name}")
    if where.startswith("board "):
        key = f"inverter.{where.removeprefix('board ')}"
    return key if key == f"{where}.{name}" else f"{key} ({where}: {name})"


def _limits(where: str, record: object, wishes: list[tuple[str, float, float]]) -> list[Fault]:
    """A fault for each field with a value outside its limits, missing or endless."""
    faults = []
    for name, low, high in wishes:
        values = np.atleast_1d(np.asarray(getattr(record, name), float))
        bad = ~((values >= low) & (values <= high))
        if bad.any():
            at = f", hour {int(np.argmax(bad))}" if values.size > 1 else ""
            faults.append(Fault(where=_place(where, name) + at, given=f"{values[bad][0]:g}",
                                allowed=f"from {low:g} to {high:g}"))  # fmt: skip
    return faults
