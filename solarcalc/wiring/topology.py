"""What a site is made of before any size is known: how many of each thing, its poles, its ways.

Counts, poles, cores and ways are settled here and nowhere else: what sizes, protects, draws, buys
and tests reads them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from solarcalc.loads.year import BOARDS
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.wiring import USUAL_RUNS, CableRun, Method

State = Literal["grid", "inverter", "generator"]
Function = Literal["+", "-", "L", "L1", "L2", "L3", "N", "PE"]
"""Of a core."""
LINES: dict[int, tuple[Function, ...]] = {1: ("L",), 2: ("L1", "L2"), 3: ("L1", "L2", "L3")}
"""Line conductors of the boards, by phases."""
APART: tuple[Method, ...] = ("solar-free", "solar-surface")
"""Methods whose name says that a circuit lies alone: free in air, alone on a surface."""
IN_PIPE: tuple[Method, ...] = ("A1", "A2", "B1", "B2", "D1")
IN_GROUND: tuple[Method, ...] = ("D1", "D2")
TO_BATTERY = ("controller_battery", "battery_inverter")
BY_BOARD = ("battery_inverter", "inverter_board", "board_house")
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
    def together(self) -> bool:
        """Whether its circuits warm one another."""
        return self.method not in APART


@dataclass(frozen=True, kw_only=True)
class Changeover:
    """One changeover switch.

    Parameters
    ----------
    key : str
    board : str
        Whose inverter it stands behind; empty for one that serves both, or the sources.
    words : str
        What it changes over between.
    """

    key: str
    board: str
    words: str


@dataclass(frozen=True, kw_only=True)
class Bond:
    """One place where neutral and earth are joined.

    Parameters
    ----------
    key : str
    board : str
        Of the inverter or changeover it is in; empty where it serves every board.
    words : str
        Where it is.
    ours : bool
        False for the supplier's.
    states : tuple of str
        Of the changeover in which it is in effect.
    """

    key: str
    board: str
    words: str
    ours: bool
    states: tuple[State, ...]


def strings_by_controller(site: Site) -> tuple[int, ...]:
    """Strings on each controller, shared out as evenly as they go, the fullest first."""
    each, more = divmod(site.array.string_count, site.controller.count)
    return tuple(each + (number < more) for number in range(site.controller.count))


def line_conductors(site: Site) -> tuple[Function, ...]:
    """Line and neutral conductors of the boards' circuits, without the protective one."""
    return (*LINES[site.loads.phases], "N")


def ac_poles(site: Site) -> int:
    """Poles of a switch that breaks every line and the neutral."""
    return len(line_conductors(site))


def states_of(site: Site) -> tuple[State, ...]:
    """What can feed the boards, one after another."""
    found: list[State] = ["grid"] if site.grid.there else []
    found.append("inverter")
    if site.generator.there:
        found.append("generator")
    return tuple(found)


def changeovers_of(site: Site) -> tuple[Changeover, ...]:
    """Every changeover switch: one behind each inverter, one more between two sources outside."""
    sources = [state for state in states_of(site) if state != "inverter"]
    kind = site.protection.changeover
    if not sources or kind == "none":
        return ()
    boards = tuple(site.inverters)
    names = [""] if len(boards) == 1 else list(boards)
    found = [
        Changeover(key=f"changeover-{board}".rstrip("-"), board=board,
                   words=" / ".join(states_of(site)) + (f", {board} board" if board else ""))
        for board in names
    ]  # fmt: skip
    if len(sources) > 1 and kind != "built-in":
        found.append(Changeover(key="changeover-sources", board="", words=" / ".join(sources)))
    return tuple(found)


def bonds_of(site: Site) -> tuple[Bond, ...]:
    """Every place where neutral and earth are joined, ours and the supplier's."""
    states, place = states_of(site), site.protection.neutral_earth
    several = len(site.inverters) > 1
    names = tuple(site.inverters) if several else ("",)
    found = []
    if "grid" in states and site.protection.system != "IT":
        found.append(Bond(key="bond-grid", board="", words="at the grid's transformer, by the"
                          " supplier", ours=False, states=("grid",)))  # fmt: skip
    for board in names:
        of = f", {board} board" if board else ""
        if place == "at-inverter":
            stays = site.protection.changeover == "none" and len(states) > 1
            found.append(Bond(key=f"bond-{board}".rstrip("-"), board=board,
                              words=f"at the inverter{of}", ours=True,
                              states=states if stays else ("inverter",)))  # fmt: skip
        elif place == "at-changeover":
            found.append(Bond(key=f"bond-{board}".rstrip("-"), board=board, words="behind the"
                              " changeover, at the boards" + of, ours=True, states=states))
    return tuple(found)


def ways_of(site: Site) -> tuple[Way, ...]:
    """Every way of the system's cables, from the roof to the house, with the runs in it.

    What leads to the battery from controllers and inverters lies in one trunking of the power
    room where both tables name the same method; every other table of [runs] is a way of its own.
    """
    boards = dict.fromkeys(BY_BOARD, BOARDS) | {"battery_inverter": tuple(site.inverters)}
    there = {"grid_in": "grid" in states_of(site), "generator_in": "generator" in states_of(site)}
    found: dict[tuple[str, Method], Way] = {}
    for table, (usual_m, usual_method, _) in USUAL_RUNS.items():
        cable: CableRun = getattr(site.runs, table)
        if not there.get(table, True):
            continue
        key = "battery" if table in TO_BATTERY else table
        method, length_m = cable.method or usual_method, cable.length_m or usual_m
        runs = tuple(f"{table}_{board}" for board in boards.get(table, ())) or (table,)
        other = found.get((key, method))
        found[key, method] = Way(
            key=key if other or not any(each.key == key for each in found.values()) else table,
            runs=runs if other is None else other.runs + runs, method=method,
            length_m=length_m if other is None else max(length_m, other.length_m),
            beside=max(cable.circuits_together - 1, 0 if other is None else other.beside),
        )  # fmt: skip
    return tuple(found.values())


def run_count(site: Site, key: str) -> int:
    """Circuits alike of a run: one a string, one a controller, one else."""
    return {
        "string": site.array.string_count, "main": site.controller.count,
        "controller_battery": site.controller.count,
    }.get(key, 1)  # fmt: skip


def circuits_of(site: Site, way: Way, in_parallel: Mapping[str, int]) -> int:
    """Circuits that warm one another on a way: each set of conductors counts, and the others'.

    Parameters
    ----------
    site : Site
    way : Way
    in_parallel : mapping of str to int
        Conductors for each pole by the key of the run; 1 where it is not named.
    """
    sets = [run_count(site, key) * in_parallel.get(key, 1) for key in way.runs]
    own = sum(sets) if way.together else max(in_parallel.get(key, 1) for key in way.runs)
    return own + way.beside
