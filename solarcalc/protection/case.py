"""What the checks of protection are about: one site, its sized runs, and one device."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Literal

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.published import published
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.sitefile.site import Site
from solarcalc.wiring.runs import (
    PLANE_RUNS,
    SizedRun,
    between_v,
    line_conductors,
    of_plane,
    phases_of_run,
    plane_key,
    plane_number,
    stem_of,
    strings_by_controller,
)
from solarcalc.wiring.string_plan import PlaneStrings

DeviceKind = Literal["fuse", "breaker", "isolator", "surge", "residual", "changeover"]


@dataclass(frozen=True, kw_only=True)
class Device:
    """One line of the protection schedule.

    Parameters
    ----------
    key : str
        Such as ``"string-fuse"``, ``"array-isolator"``, ``"array-surge"``,
        ``"controller-breaker"``, ``"battery-fuse"``, ``"inverter-fuse-essential"``,
        ``"board-breaker-nonessential"``, ``"residual-essential"``, ``"changeover"``,
        ``"grid-breaker"``, ``"generator-breaker"``, ``"board-surge"``.
    name : str
        In words.
    kind : {"fuse", "breaker", "isolator", "surge", "residual", "changeover"}
    run_key : str
        Key of the run it protects or stands in; empty where it is none.
    at : str
        Where it is mounted, in words.
    current : {"dc", "ac"}
    count, poles : int
    rated_a : float or None
        Rated current [A]; None for a surge device.
    rated_v : float
        That it is sold with, at least what stands across it [V].
    breaking_ka : float or None
        Least breaking (or withstand) capacity [kA].
    extra : str
        What else to ask for: curve, class, type, protection voltage.
    clause : str
        Rule and source.
    least_v : float
        Largest voltage that stands across it [V].
    asked : tuple of str
        The same in the shortest words, so that no two of unlike kind are swapped: class, curve,
        type, continuous and protection voltage.
    in_switch : bool
        Whether it is a fuse in a switch that isolates it: a fuse-switch-disconnector.
    pole_by_pole : bool
        Whether each pole has a fuse of its own, in a box of its own at its own terminal: `count`
        counts both, the positive first, and each has one pole.
    """

    key: str
    name: str
    kind: DeviceKind
    run_key: str
    at: str
    current: Literal["dc", "ac"]
    count: int
    poles: int
    rated_a: float | None
    rated_v: float
    breaking_ka: float | None
    extra: str
    clause: str
    least_v: float = 0.0
    asked: tuple[str, ...] = ()
    in_switch: bool = False
    pole_by_pole: bool = False

    @property
    def delayed(self) -> bool:
        """Whether it is a residual current device at a source, which waits for those behind it."""
        return self.kind == "residual" and self.run_key.removesuffix("_in") in AT_SOURCE


AT_SOURCE = {"grid": "where the grid comes in", "generator": "at the generator"}
"""Where what protects the cable of a source stands."""
HIGHEST_DC_V = float(constant("protection.highest_dc_v"))


@dataclass(frozen=True, kw_only=True, eq=False)
class Case:
    """A site with its runs, as the checks of this stage take it.

    Parameters
    ----------
    site : Site
    runs : tuple of SizedRun
        Each key once.
    cold_string_v : float
        Open-circuit voltage of a string at the record low [V].
    string_fuse_a : float or None
        Chosen string fuse [A]; None where strings need none.
    beside : tuple of PlaneStrings
        Strings of the roof planes beside the first, whose figures stand above.
    plane : int
        Number of the roof plane that it is the case of, counted from 1.
    """

    site: Site
    runs: tuple[SizedRun, ...]
    cold_string_v: float
    string_fuse_a: float | None
    beside: tuple[PlaneStrings, ...] = ()
    plane: int = 1

    def of(self, stem: str) -> tuple[SizedRun, ...]:
        """Runs whose key is the stem, or the stem and a board, of all roof planes."""
        if stem not in self._of:
            self._of[stem] = tuple(
                each for each in self.runs
                if stem_of(each.run.key) == stem or each.run.key.startswith(stem + "_")
            )  # fmt: skip
        return self._of[stem]

    @cached_property
    def _of(self) -> dict[str, tuple[SizedRun, ...]]:
        """What `of` was asked for."""
        return {}

    @cached_property
    def planes(self) -> tuple[Case, ...]:
        """The case of each roof plane as if it were alone, its runs by their plain keys."""
        if not self.beside:
            return (self,)
        each = [(self.cold_string_v, self.string_fuse_a),
                *((one.cold_string_v, one.fuses.rated_a) for one in self.beside)]  # fmt: skip
        return tuple(
            Case(site=site, runs=tuple(self._own_runs(number)), cold_string_v=cold_v,
                 string_fuse_a=fuse_a, plane=number)
            for number, (site, (cold_v, fuse_a)) in enumerate(
                zip(self.site.sites, each, strict=True), start=1)
        )  # fmt: skip

    def _own_runs(self, number: int) -> Iterator[SizedRun]:
        for each in self.runs:
            key = each.run.key
            if stem_of(key) not in PLANE_RUNS:
                yield each
            elif plane_number(key) == number:
                yield replace(each, run=each.run.laid(key=stem_of(key)))

    def plane_of(self, key: str) -> Case:
        """The case of the roof plane that a run or a device belongs to."""
        return self.planes[plane_number(key) - 1]

    def on_plane(self, device: Device) -> Device:
        """A device of this roof plane: its key, its name and its run are the plane's own."""
        if not self.site.roof.name:
            return device
        run_key = device.run_key
        if run_key in PLANE_RUNS:
            run_key = plane_key(run_key, self.plane)
        return replace(device, key=plane_key(device.key, self.plane), run_key=run_key,
                       name=of_plane(device.name, self.site))  # fmt: skip

    def get(self, key: str) -> SizedRun | None:
        """The run of that key, None where there is none."""
        return next((each for each in self.runs if each.run.key == key), None)

    @property
    def boards(self) -> tuple[str, ...]:
        """Boards that have a run from an inverter: such as essential and nonessential."""
        return tuple(board_of(each.run.key, "inverter_board") for each in self.of("inverter_board"))

    @property
    def line_v(self) -> float:
        """Line to neutral [V]."""
        return self.site.supply.ac_voltage_v

    def ac_poles(self, key: str) -> int:
        """Poles of a switch that breaks every line and the neutral of a run, by its key."""
        return len(line_conductors(self.site, key))

    def ac_rated_v(self, key: str) -> float:
        """Largest voltage between the conductors of a run [V]: line to line where it has two."""
        return round(between_v(self.site, phases_of_run(self.site, key)))

    @property
    def has_grid(self) -> bool:
        """Whether a grid is there at all."""
        return self.site.grid.there

    @property
    def has_generator(self) -> bool:
        """Whether a generator is there."""
        return self.site.generator.there

    @property
    def strings(self) -> int:
        """Strings of the array; with several roof planes, of the first."""
        return self.site.array.string_count

    @property
    def strings_together(self) -> int:
        """Strings in parallel on the fullest controller."""
        return strings_by_controller(self.site)[0]

    @cached_property
    def bank_v(self) -> float:
        """Highest voltage of the bank, by the runs that hang on it [V]."""
        found = [
            each.run.highest_v
            for each in (*self.of("controller_battery"), *self.of("battery_inverter"))
        ]
        nominal = self.site.battery.nominal_voltage_v
        return max(found, default=nominal)

    def inverter_va(self, board: str) -> float:
        """Largest apparent power that all inverters of a board give for a moment [VA]."""
        return self.site.inverter_of(board).total_surge_va

    def phase_a(self, power_va: float, phases: int) -> float:
        """Current in each line of a source of that apparent power and so many phases [A]."""
        return power_va / (self.line_v * phases)


def board_of(key: str, stem: str) -> str:
    """Board that a run's key names: ``"nonessential"``; empty where it names none.

    Examples
    --------
    >>> board_of("inverter_board_nonessential", "inverter_board")
    'nonessential'
    """
    return key.removeprefix(stem).removeprefix("_")


def case_of(
    site: Site,
    runs: Sequence[SizedRun],
    *,
    cold_string_v: float,
    string_fuse_a: float | None,
    beside: Sequence[PlaneStrings] = (),
) -> Case:
    """The case, once what came in holds together.

    Parameters
    ----------
    site : Site
    runs : sequence of SizedRun
    cold_string_v : float
        Open-circuit voltage of a string at the record low [V], above 0 up to 1500.
    string_fuse_a : float or None
        [A], above 0.
    beside : sequence of PlaneStrings
        Of the roof planes beside the first.

    Raises
    ------
    InputError
        For a figure outside its range, no runs, a key that stands twice, or a board that has
        no string of a divided battery.
    """
    case = Case(
        site=site, runs=tuple(runs), cold_string_v=cold_string_v, string_fuse_a=string_fuse_a,
        beside=tuple(beside),
    )  # fmt: skip
    faults = [*_figures(case), *_keys(case), *_two_banks(case)]
    if faults:
        raise InputError(faults)
    return case


def _figures(case: Case) -> Iterator[Fault]:
    name = case.site.site.name
    for cold_v in (case.cold_string_v, *(one.cold_string_v for one in case.beside)):
        if not 0.0 < cold_v <= HIGHEST_DC_V:
            yield Fault(**worded(
                "protection", "cold-string-v", name=name, cold_string_v=cold_v,
                highest_dc_v=HIGHEST_DC_V,
            ))  # fmt: skip
    if case.string_fuse_a is not None and not 0.0 < case.string_fuse_a < math.inf:
        yield Fault(
            **worded("protection", "string-fuse", name=name, string_fuse_a=case.string_fuse_a),
        )  # fmt: skip


def _two_banks(case: Case) -> Iterator[Fault]:
    supply, units = case.site.supply, case.site.battery.units_in_parallel
    if not all(bank.units_in_parallel for bank in case.site.banks.values()):
        yield Fault(**worded(
            "protection", "supply-essential-bank", site_name=case.site.site.name,
            essential_bank_frac=supply.essential_bank_frac, units=units,
        ))  # fmt: skip


def _keys(case: Case) -> Iterator[Fault]:
    keys = [each.run.key for each in case.runs]
    twice = sorted({key for key in keys if keys.count(key) > 1})
    if not keys or twice:
        yield Fault(
            **worded("protection", "runs", site_name=case.site.site.name),
            given=", ".join(twice) + " twice" if twice else "none",
        )  # fmt: skip


def next_rating(table: str, kind: str, least_a: float) -> float | None:
    """Smallest rated current made that is at least so large [A]; None where none is made.

    Parameters
    ----------
    table : {"device_ratings", "protection_ratings"}
    kind : str
        As in its first column.
    least_a : float
        [A].

    Examples
    --------
    >>> next_rating("device_ratings", "fuse", 101.0)
    125.0
    """
    rows = published(table).rows
    made = sorted(float(row["rating_a"]) for row in rows if row["kind"] == kind)
    return next((each for each in made if each >= least_a - 1e-9), None)


def sold_v(current: Literal["dc", "ac"], least_v: float) -> dict[str, Any]:
    """Rated voltage that devices are sold with and what it must be at least, for a `Device` [V].

    Above the table's last row what is needed stands for both: then no such device is made.

    Parameters
    ----------
    current : {"dc", "ac"}
    least_v : float
        [V].

    Examples
    --------
    >>> sold_v("dc", 166.12)
    {'rated_v': 250.0, 'least_v': 166.1}
    """
    made = [float(row["rated_v"]) for row in published("rated_voltages").rows
            if row["current"] == current]  # fmt: skip
    rated_v = next((each for each in made if each >= least_v - 1e-9), round(least_v, 1))
    return {"rated_v": rated_v, "least_v": round(least_v, 1)}
