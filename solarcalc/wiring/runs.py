"""Every run of the system, what is joined before any size is known, and what each must carry.

Counts, poles, cores and ways are settled here and nowhere else; all others read them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cached_property
from operator import attrgetter
from typing import Any, Literal

import numpy as np

from solarcalc.basis.physics import STC_C
from solarcalc.basis.record import but
from solarcalc.basis.sourced import constant
from solarcalc.battery.bank import REFERENCE_C, set_points
from solarcalc.loads.days import minutes_in_use
from solarcalc.loads.peaks import running_va
from solarcalc.loads.year import appliances_of
from solarcalc.sitefile.battery import Battery
from solarcalc.sitefile.loads import BOARDS, Board, Loads
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.wiring import (
    TO_BATTERY,
    USUAL_RUNS,
    CableMethod,
    CableRun,
    Method,
    cable_methods,
)
from solarcalc.wiring.flows import Squares, squares_of

DeviceKind = Literal["none", "dc-fuse", "dc-breaker", "ac-breaker"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Run:
    """A run as it is asked for, before a cable is chosen.

    Parameters
    ----------
    key : str
        ``"string"``, ``"dc_main"``, ``"controller_battery"``, ``"battery_inverter_essential"``,
        ``"inverter_board_nonessential"``... A run of each board carries the board's name.
    name : str
        In words, for schedules.
    start, end : str
        What it joins, in words.
    current : {"dc", "ac"}
    count : int
        How many alike: strings, controllers.
    loaded : {2, 3}
        Loaded conductors of a circuit.
    voltage_v : float
        That the drop is measured against: at the hottest cell, bank nominal, board [V];
        three phases: line to line.
    highest_v : float
        Largest voltage between conductors: cold string, bank at equalising, board [V].
    design_a : float
        Design current with the standard factors, of one of the `count` [A].
    device : {"none", "dc-fuse", "dc-breaker", "ac-breaker"}
        What protects it against overload, if anything must.
    hourly_a : array (n,)
        Current of each hour of the year, mean, of one of the `count` [A].
    power_factor : float
        Of the design current, [0 to 1]; 1 for direct current.
    length_m : float
        One way [m].
    length_given : bool
        False where the site file leaves it out and a usual one stands in.
    method : str
        Reference method of installation.
    insulation : {"pvc", "xlpe"}
    material : {"copper", "aluminium"}
    ambient_c : float
        Of the air, or of the ground for D1 and D2 [degC].
    soil_k_m_per_w : float
        Of the ground; of no matter in air [K m/W].
    grouped_circuits : int
        On its way, with one conductor a pole of this run; others as they are chosen.
    alike : int
        Of these, how many are this run's own: each conductor more a pole is as many more.
    company_mm2 : tuple of float
        Smallest and largest conductor of the others on its way [mm2]; empty where it lies alone.
    split : bool
        Two lines and a neutral of a split supply.
    drop_a : float or None
        Working current that the drop is reckoned at [A]; None for the design current.
    rated_v : float
        Of the cable, between conductors [V].
    lasting_a : float
        Of the design current what flows for hours, without standard factors [A].
    lasting_factor : float
        Rating of its fuse or breaker over that current, at least.
    size_mm2 : float or None
        Where the site file fixes it [mm2].
    in_parallel : int
        Conductors for each pole.
    drop_limit_frac : float
        Allowed for this run alone, [0 to 1].
    """

    key: str
    name: str
    start: str
    end: str
    current: Literal["dc", "ac"]
    count: int
    loaded: Literal[2, 3]
    voltage_v: float
    highest_v: float
    design_a: float
    device: DeviceKind
    hourly_a: np.ndarray
    power_factor: float
    length_m: float
    length_given: bool
    method: Method
    insulation: Literal["pvc", "xlpe"]
    material: Literal["copper", "aluminium"]
    ambient_c: float
    soil_k_m_per_w: float
    grouped_circuits: int
    size_mm2: float | None
    in_parallel: int
    drop_limit_frac: float
    alike: int = 1
    company_mm2: tuple[float, ...] = ()
    split: bool = False
    drop_a: float | None = None
    rated_v: float = 1000.0
    lasting_a: float = 0.0
    lasting_factor: float = 1.0

    @property
    def lies(self) -> CableMethod:
        """What its method is."""
        return cable_methods()[self.method]

    @property
    def least_device_a(self) -> float:
        """Least rated current of its fuse or breaker [A]: I_b, and the rule of hours on end."""
        return max(self.design_a, self.lasting_factor * self.lasting_a)

    def circuits_with(self, in_parallel: int) -> int:
        """Circuits on its way with so many conductors a pole of this run."""
        return self.grouped_circuits + self.alike * (in_parallel - 1)

    @cached_property
    def squares(self) -> Squares:
        """Of its hourly current."""
        return squares_of(self.hourly_a)

    def figures(self) -> tuple[object, ...]:
        """All that a cable is chosen by: every field, and of the hours what their loss needs."""
        return (*_CHOSEN_BY(self), self.squares)

    def laid(self, **differs: Any) -> Run:
        """The same current laid otherwise: another length, way or company; its hours stay."""
        return but(self, **differs)


_CHOSEN_BY = attrgetter(*(each.name for each in fields(Run) if each.name != "hourly_a"))


@dataclass(frozen=True, kw_only=True, eq=False)
class SizedRun:
    """A run with its cable.

    Parameters
    ----------
    run : Run
    size_mm2 : float
        Of one conductor [mm2]; with American sizes the area that the gauge has.
    size_name : str
        As it is bought: ``"16 mm²"`` or ``"AWG 4"``.
    in_parallel : int
    table_a : float
        Capacity by the table, before factors, all parallel conductors together [A].
    capacity_a : float
        Capacity as it lies (I_z) [A].
    factors : dict of str to float
        Each factor by its name in words, in the order they are multiplied.
    device_a : float or None
        Rated current of the overload device (I_n) [A]; None where there is none.
    drop_v : float
        At the run's working current, conductor at its working temperature [V].
    drop_frac : float
        Of `run.voltage_v`, [0 to 1].
    loss_w : float
        At the design current, of one of the `count` [W].
    loss_kwh_per_year : float
        By the hourly currents, all of the `count` together [kWh/year].
    cost : float
        Cable bought and laid, all of the `count`, in the site's money.
    lifetime_cost : float
        The same and the worth of the energy lost over the life.
    decided_by : str
        What asked for this size: capacity, drop, short circuit, lifetime cost, the site file.
    drop_c, drop_ohm_per_km : float
        Conductor at the current of the drop [degC], and its resistance at that, all in parallel
        [ohm/km].
    """

    run: Run
    size_mm2: float
    size_name: str
    in_parallel: int
    table_a: float
    capacity_a: float
    factors: dict[str, float]
    device_a: float | None
    drop_v: float
    drop_frac: float
    loss_w: float
    loss_kwh_per_year: float
    cost: float
    lifetime_cost: float
    decided_by: str
    drop_c: float = STC_C
    drop_ohm_per_km: float = 0.0


State = Literal["grid", "inverter", "generator"]
Function = Literal["+", "-", "L", "L1", "L2", "L3", "N", "PE"]  # of a core
LINES: dict[int, tuple[Function, ...]] = {1: ("L",), 2: ("L1", "L2"), 3: ("L1", "L2", "L3")}
"""Line conductors of the boards, by phases."""
PLANE_RUNS = ("string", "dc_main", "controller_battery")
"""Runs that each roof plane has of its own; those of the first plane have the plain key."""
_PLANE_MARK = "@"
AT_INVERTER = ("inverter_output", "source_link", "charger_input")
"""Alternating-current cables that end at an inverter itself."""
BY_BOARD = ("battery_inverter", "inverter_output", "inverter_board", "board_house")
"""Tables of [runs] that hold a run of each board or inverter."""


@dataclass(frozen=True, kw_only=True)
class Way:
    """One way that cables are laid.

    Parameters
    ----------
    key : str
        The table of [runs]; ``"battery"`` for what leads to the battery.
    runs : tuple of str
        Keys of the runs in it.
    method : str
    length_m : float
        Of the longest run in it [m].
    beside : int
        Circuits of others that lie with them, by the site file.
    """

    key: str
    runs: tuple[str, ...]
    method: Method
    length_m: float
    beside: int

    @property
    def lies(self) -> CableMethod:
        """What its method is."""
        return cable_methods()[self.method]

    @property
    def together(self) -> bool:
        """Whether its circuits warm one another."""
        return not self.lies.alone


def plane_key(stem: str, number: int) -> str:
    """Key of a run, part or device of a roof plane, counted from 1.

    Examples
    --------
    >>> plane_key("dc_main", 1), plane_key("dc_main", 2)
    ('dc_main', 'dc_main@2')
    """
    return stem if number == 1 else f"{stem}{_PLANE_MARK}{number}"


def stem_of(key: str) -> str:
    """A key without its roof plane: ``"dc_main"``."""
    return key.partition(_PLANE_MARK)[0]


def plane_number(key: str) -> int:
    """The roof plane that a key belongs to, counted from 1; 1 for what belongs to all."""
    return int(key.partition(_PLANE_MARK)[2] or 1)


def of_plane(words: str, site: Site) -> str:
    """Words with the name of the roof plane behind them; as they are where a site has one.

    Parameters
    ----------
    words : str
    site : Site
        Of the plane, one of `Site.sites`.
    """
    return f"{words}, {site.roof.name}" if site.roof.name else words


def strings_by_controller(site: Site) -> tuple[int, ...]:
    """Strings on each controller, shared out as evenly as they go, the fullest first.

    Of the first roof plane, or the one whose site it is.
    """
    each, more = divmod(site.array.string_count, site.controller.count)
    return tuple(each + (number < more) for number in range(site.controller.count))


def controllers_by_bank(site: Site) -> dict[str, int]:
    """Whole controllers of each bank: as the sun is shared out, and at least one for each."""
    count = site.controller_count
    if not site.supply.separate_banks:
        return {"shared": count}
    essential = min(max(round(count * site.supply.essential_array_frac), 1), max(count - 1, 1))
    return {"essential": essential, "nonessential": count - essential}


def phases_of_run(site: Site, key: str) -> int:
    """Phases of a cable of alternating current, by its key.

    That of a source has those of the supply, that of a board its board's; one that ends at an
    inverter of a single phase has one.
    """
    board = key.rpartition("_")[2]
    if board not in BOARDS:
        return site.loads.phases
    inside = site.protection.changeover == "built-in" or not key.startswith("source_link")
    alone = inside and key.startswith(AT_INVERTER) and site.inverter_of(board).one_a_phase
    return 1 if alone else site.loads.phases_of(board)


def line_conductors(site: Site, key: str) -> tuple[Function, ...]:
    """Line and neutral conductors of a cable of alternating current, by its key."""
    return (*LINES[phases_of_run(site, key)], "N")


def between_v(site: Site, phases: int) -> float:
    """Largest voltage between the conductors of so many phases [V]."""
    return site.supply.ac_voltage_v * (phases if phases < len(LINES) else math.sqrt(phases))


def grouped_boards(site: Site) -> tuple[Board, ...]:
    """Boards whose inverters are several, joined at an output board of their own."""
    inverters = site.inverters
    return tuple(board for board in BOARDS if board in inverters and inverters[board].count > 1)


def battery_poles(site: Site) -> int:
    """Poles that fuses and breakers at the battery break: the earthed one has none."""
    return 2 if site.battery.pole_earthed == "none" else 1


def states_of(site: Site) -> tuple[State, ...]:
    """What can feed the boards, one after another."""
    order: tuple[State, ...] = ("grid", "inverter", "generator")
    sources = site.sources
    return tuple(state for state in order if state == "inverter" or state in sources)


def ways_of(site: Site) -> tuple[Way, ...]:
    """Every way of the system's cables, from the roof to the house, with the runs in it.

    What leads to the battery from controllers and inverters lies in one trunking of the power
    room where both tables name the same method; the main cables of all roof planes in one trench
    where they lie in the ground alike. Every other run of [runs] is a way of its own.
    """
    boards = dict.fromkeys(BY_BOARD, BOARDS) | {
        "battery_inverter": tuple(site.inverters), "inverter_output": grouped_boards(site)}
    states = states_of(site)
    there = {"grid_in": "grid" in states, "generator_in": "generator" in states,
             "inverter_output": bool(grouped_boards(site))}  # fmt: skip
    found: dict[tuple[str, Method], Way] = {}
    each = [(table, number, one) for table in USUAL_RUNS if there.get(table, True)
            for number, one in enumerate(site.sites if table in PLANE_RUNS else (site,), start=1)]
    for table, number, one in each:
        usual_m, usual_method, _ = USUAL_RUNS[table]
        cable: CableRun = getattr(one.runs, table)
        method, length_m = cable.method or usual_method, cable.length_m or usual_m
        if table == "string" and cable.method is None and one.array.strings_side_by_side > 1:
            method = "solar-touching"
        own = plane_key(table, number)
        dug = table == "dc_main" and cable_methods()[method].in_ground
        key = "battery" if table in TO_BATTERY else table if dug else own
        runs = tuple(f"{table}_{board}" for board in boards.get(table, ())) or (own,)
        other = found.get((key, method))
        found[key, method] = Way(
            key=other.key if other is not None
            else key if all(each.key != key for each in found.values()) else own,
            runs=runs if other is None else other.runs + runs, method=method,
            length_m=length_m if other is None else max(length_m, other.length_m),
            beside=max(cable.grouped_circuits - 1, 0 if other is None else other.beside),
        )  # fmt: skip
    return tuple(found.values())


def way_by_run(site: Site) -> dict[str, Way]:
    """The way that each run lies on, by the key of the run."""
    return {key: way for way in ways_of(site) for key in way.runs}


def run_count(site: Site, key: str) -> int:
    """Circuits alike of a run: of strings, controllers of its roof plane, inverters; one else."""
    if key.startswith(("battery_inverter", "inverter_output")):
        return site.inverter_of(key.rpartition("_")[2]).count
    if stem_of(key) not in PLANE_RUNS:
        return 1
    one = plane_site(site, key)
    return one.array.string_count if stem_of(key) == "string" else one.controller.count


def plane_site(site: Site, key: str) -> Site:
    """The site of the roof plane that a key belongs to; the whole one for a site of one plane."""
    return site.sites[plane_number(key) - 1]


def sets_on_way(site: Site, way: Way, key: str) -> int:
    """Circuits alike of a run that lie on its way together: strings by row, all of the others."""
    by_row = stem_of(key) == "string" and way.lies.for_modules
    return plane_site(site, key).array.strings_side_by_side if by_row else run_count(site, key)


def trench_m(site: Site, way: Way) -> float:
    """To dig for a way [m]: its length where it lies in the ground, that of [duct] for the main."""
    if not way.lies.in_ground or site.duct.depth_m <= 0.0:
        return 0.0
    return (site.duct.length_m or way.length_m) if by_duct(site, way) else way.length_m


def by_duct(site: Site, way: Way) -> bool:
    """Whether the length of [duct] is that of a way: of the main cables.

    With several roof planes only where they lie in the ground: their duct is one, their conduits
    on the wall are not.
    """
    return stem_of(way.key) == "dc_main" and (not site.planes or way.lies.in_ground)


def duct_way(site: Site) -> Way:
    """The way of the main cables that lies in the duct of [duct]; where none does, the first's."""
    ways = way_by_run(site)
    return next((way for key, way in ways.items()
                 if stem_of(key) == "dc_main" and way.lies.in_duct), ways["dc_main"])  # fmt: skip


def circuits_of(site: Site, way: Way, in_parallel: Mapping[str, int]) -> int:
    """Circuits that warm one another on a way: each set of conductors counts, and the others'.

    Parameters
    ----------
    site : Site
    way : Way
    in_parallel : mapping of str to int
        Conductors for each pole by the key of the run; 1 where it is not named.
    """
    sets = [sets_on_way(site, way, key) * in_parallel.get(key, 1) for key in way.runs]
    own = sum(sets) if way.together else max(in_parallel.get(key, 1) for key in way.runs)
    return own + way.beside


RATED_V = {
    "dc": float(constant("wiring.rated_dc_v")), "ac": float(constant("wiring.rated_ac_v")),
}  # fmt: skip
"""Of usual cables, between conductors [V]."""
ARRAY_RUNS = ("string", "dc_main")
"""Runs of the array: double insulated cable, whatever other runs have."""


def module_cable(run: Run) -> bool:
    """Whether it is the single-core tinned cable made for modules (EN 50618)."""
    made = run.insulation == "xlpe" and run.material == "copper"
    return run.lies.for_modules or (stem_of(run.key) in ARRAY_RUNS and made)


ROOF_ABOVE_AIR_K = constant("wiring.roof_above_air_k")
COLDER_THAN_YEAR_K = constant("wiring.colder_than_year_k")


def hottest_string_v(site: Site, hottest_cell_c: float) -> float:
    """Working voltage of a string at the hottest cell [V]; `cables.hottest_cell_c` goes before.

    Parameters
    ----------
    site : Site
    hottest_cell_c : float
        Hottest hour of the cells [degC].

    Notes
    -----
    Vmp (1 + (gamma - alpha) (T - 25) / 100): power falls with gamma while current rises with
    alpha, what is left is the voltage; alpha is that of the short-circuit current.
    """
    module, given = site.module, site.cables.hottest_cell_c
    warmer_k = (hottest_cell_c if given is None else given) - STC_C
    per_k = (module.gamma_pmax_pct_per_k - module.alpha_isc_pct_per_k) / 100.0
    return site.array.modules_in_series * module.vmp_v * (1.0 + per_k * warmer_k)


def coldest_string_v(site: Site, coldest_c: float) -> float:
    """Open-circuit voltage of a string at the record low [V]; `cables.coldest_c` goes before.

    Parameters
    ----------
    site : Site
    coldest_c : float
        Coldest hour of the air in the year [degC].

    Notes
    -----
    Voc (1 + beta (T - 25) / 100), the cell as cold as the air (IEC 62548).
    """
    module = site.module
    colder_k = record_low_c(site, coldest_c) - STC_C
    per_k = module.beta_voc_pct_per_k / 100.0
    return site.array.modules_in_series * module.voc_v * (1.0 + per_k * colder_k)


def bank_lowest_v(battery: Battery) -> float:
    """Voltage of the bank at the end of discharge [V]."""
    return battery.cells_in_series * battery.traits.empty.cell_v


def bank_highest_v(battery: Battery, coldest_c: float) -> float:
    """Voltage of the bank at equalising, or absorption where it never equalises [V].

    Parameters
    ----------
    battery : Battery
    coldest_c : float
        A cold lead-acid bank is charged at more; taken no warmer than 25 [degC].
    """
    points = set_points(battery, battery_c=min(coldest_c, REFERENCE_C))
    return points.absorption_v if points.equalise_v is None else points.equalise_v


def record_low_c(site: Site, coldest_c: float) -> float:
    """Record low of the place [degC]: `cables.coldest_c`, or 5 K below the year's coldest hour.

    Parameters
    ----------
    site : Site
    coldest_c : float
        Coldest hour of the air in the year [degC].
    """
    given = site.cables.coldest_c
    return coldest_c - float(COLDER_THAN_YEAR_K) if given is None else given


def charger_w(site: Site) -> float:
    """Largest power that the chargers take of grid or generator [W]: theirs, or all these give.

    With separate banks each has chargers of its own (`Site.charger_limits_w`).
    """
    grid = site.grid_charges_below_frac > 0.0
    source_w = max(site.grid.limit_w if grid else 0.0, site.generator.power_w)
    own_w = [source_w if each is None else each for each in site.charger_limits_w.values()]
    return min(source_w, sum(own_w))


def charger_a(site: Site) -> float:
    """Largest current that grid or generator charge the bank with [A]."""
    power_w = charger_w(site) * site.supply.charger_efficiency_frac
    current_a = power_w / site.battery.nominal_voltage_v
    return min(current_a, site.battery.max_charge_c_rate * site.battery.rated_ah)


def charging_share(site: Site) -> dict[Board, float]:
    """Share of `charger_a` that each board's inverter charges its bank with, [0 to 1]."""
    share = site.supply.essential_bank_frac if site.supply.separate_banks else 1.0
    return {"essential": share, "nonessential": 1.0 - share}


def charger_of_a(site: Site, bank: str) -> float:
    """Of `charger_a` what a bank of `Site.banks` takes [A]; one for both boards takes all."""
    return charging_share(site)["nonessential" if bank == "nonessential" else "essential"] * (
        charger_a(site))


def mean_power_factor(loads: Loads, board: Board) -> float:
    """Power factor of a board's energy, [0 to 1]; 1 where it was measured, or has no load.

    Notes
    -----
    W over VA, each appliance weighed by count, duty, hours in use and months; which days of the
    week it is used on is left out.
    """
    watts = volt_amperes = 0.0
    if not (loads.essential_profile if board == "essential" else loads.nonessential_profile):
        for item in appliances_of(loads, board):
            used = item.count * item.duty_frac * float(minutes_in_use(item.use).sum())
            watts += used * item.power_w * len(item.months)
            volt_amperes += used * running_va(item) * len(item.months)
    return watts / volt_amperes if watts > 0.0 else 1.0
