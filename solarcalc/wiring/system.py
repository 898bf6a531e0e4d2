"""Every run of a site's system, from the modules to the house, with what it must carry.

Sizes are chosen elsewhere from what stands here. Design currents follow published rules and are
for a licensed electrician to check: local codes and the makers' sheets go before them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np

from solarcalc.basis.check import Check, checked
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.worded import worded
from solarcalc.sitefile.loads import BOARDS, Board
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.wiring import USUAL_RUNS, CableMethod, CableRun, Runs, cable_methods
from solarcalc.wiring.choose import drop_frac_within
from solarcalc.wiring.flows import Floats, Flows, Squares, squares_of
from solarcalc.wiring.runs import (
    PLANE_RUNS,
    RATED_V,
    ROOF_ABOVE_AIR_K,
    DeviceKind,
    Run,
    SizedRun,
    Way,
    bank_highest_v,
    bank_lowest_v,
    between_v,
    charger_a,
    charging_share,
    circuits_of,
    coldest_string_v,
    grouped_boards,
    hottest_string_v,
    mean_power_factor,
    of_plane,
    phases_of_run,
    plane_key,
    record_low_c,
    run_count,
    sets_on_way,
    strings_by_controller,
    way_by_run,
)
from solarcalc.wiring.string_plan import LASTING_FACTOR, circuit_a, lasting_factor
from solarcalc.wiring.terminals import takes_mm2

_IN_ROOM = ("controller_battery", "battery_inverter", "inverter_output", "inverter_board")


@dataclass(frozen=True, kw_only=True, eq=False)
class Load:
    """What a run carries, however its cable lies.

    Parameters
    ----------
    current : {"dc", "ac"}
    loaded : {2, 3}
        Loaded conductors.
    voltage_v, highest_v : float
        At which it works, and the highest between its conductors [V].
    design_a : float
        Design current [A].
    hourly_a : array (n,)
        Current of each hour [A].
    drop_a : float or None
        At which its voltage drop is judged [A]; None: the design current.
    lasting_a : float or None
        That flows for hours on end [A]; None: the design current.
    """

    current: Literal["dc", "ac"]
    loaded: Literal[2, 3] = 2
    voltage_v: float
    highest_v: float
    design_a: float
    hourly_a: Floats
    drop_a: float | None = None
    lasting_a: float | None = None

    @cached_property
    def peak_a(self) -> float:
        """Current of its fullest hour [A]."""
        return float(self.hourly_a.max())

    @cached_property
    def squares(self) -> Squares:
        """Of its hourly current."""
        return squares_of(self.hourly_a)


def loads_of(site: Site, flows: Flows) -> dict[str, Load]:
    """What every run of the system carries, by the key of the run; no length stands in it.

    Where controllers have unlike numbers of strings the fullest one decides the design current;
    the hourly current is the root mean square of them all, so that the loss of the year is that
    of the real ones. Phases are taken as evenly loaded.

    Parameters
    ----------
    site : Site
    flows : Flows
    """
    found = {
        plane_key(key, number): load for number, one in enumerate(site.sites, start=1)
        for key, load in _plane_loads(one, flows.of_plane(number)).items()
    } | _battery_loads(site, flows)  # fmt: skip
    for board in BOARDS:
        found |= _board_loads(site, flows, board)
    return found | _incoming_loads(site, flows)


def _plane_loads(site: Site, flows: Flows) -> dict[str, Load]:
    """Of the strings, main cables and controllers of a roof plane."""
    by_controller = np.array(strings_by_controller(site), dtype=float)
    array_v = np.broadcast_to(flows.array_v, flows.array_w.shape)
    array_a = np.divide(
        flows.array_w, array_v, out=np.zeros_like(flows.array_w), where=array_v > 0.0
    )
    string_a = array_a / by_controller.sum()
    each_a, most = circuit_a(site.module.isc_a), float(by_controller.max())
    hot_v = hottest_string_v(site, flows.hottest_cell_c)
    cold_v = coldest_string_v(site, flows.coldest_c)
    volts, controller = site.battery.nominal_voltage_v, site.controller
    return {
        "string": Load(
            current="dc", voltage_v=hot_v, highest_v=cold_v, design_a=each_a, hourly_a=string_a,
            drop_a=site.module.imp_a,
        ),
        "dc_main": Load(
            current="dc", voltage_v=hot_v, highest_v=cold_v, design_a=each_a * most,
            hourly_a=string_a * float(np.sqrt(np.mean(by_controller**2))),
            drop_a=site.module.imp_a * most,
        ),
        "controller_battery": Load(
            current="dc", voltage_v=volts,
            highest_v=bank_highest_v(site.battery, record_low_c(site, flows.coldest_c)),
            design_a=float(LASTING_FACTOR) * controller.max_charge_current_a,
            lasting_a=controller.max_charge_current_a,
            hourly_a=flows.bus_w / (controller.count * volts),
        ),
    }  # fmt: skip


def _battery_loads(site: Site, flows: Flows) -> dict[str, Load]:
    """Of the cables from the battery to the inverters; one joins both boards' inverter to it."""
    volts, charging = site.battery.nominal_voltage_v, charging_share(site)
    drawn: dict[Board, Floats] = {
        "essential": flows.essential_drawn_w, "nonessential": flows.nonessential_drawn_w,
    }  # fmt: skip
    if site.supply.one_inverter:
        drawn = {"essential": flows.essential_drawn_w + flows.nonessential_drawn_w}
    found = {}
    for board, drawn_w in drawn.items():
        inverter = site.inverter_of(board)
        watts, count = drawn_w / inverter.count, inverter.count
        inverter_a = inverter.continuous_power_w / inverter.efficiency_frac
        found[f"battery_inverter_{board}"] = Load(
            current="dc", voltage_v=volts,
            highest_v=bank_highest_v(site.battery, record_low_c(site, flows.coldest_c)),
            design_a=max(inverter_a / bank_lowest_v(site.battery),
                         charging[board] * charger_a(site) / count),
            hourly_a=(watts + charging[board] * flows.charger_w / count) / volts,
        )  # fmt: skip
    return found


def _board_loads(site: Site, flows: Flows, board: Board) -> dict[str, Load]:
    """Of the cables of alternating current to a board."""
    served_w = {"essential": flows.essential_supplied_w,
                "nonessential": flows.nonessential_supplied_w}  # fmt: skip
    own_va, other_va = (served_w[each] / mean_power_factor(site.loads, each)
                        for each in sorted(BOARDS, key=lambda each: each != board))
    inverter = site.inverter_of(board)
    found = {key: _ac_load(site, key, inverter.total_power_w, own_va)
             for key in (f"inverter_board_{board}", f"board_house_{board}")}  # fmt: skip
    if board in grouped_boards(site):
        key, served_va = f"inverter_output_{board}", own_va
        if site.supply.one_inverter:
            served_va = own_va + other_va
        found[key] = _ac_load(site, key, inverter.total_power_w / inverter.count,
                              served_va / inverter.count)  # fmt: skip
    return found


def _incoming_loads(site: Site, flows: Flows) -> dict[str, Load]:
    """Of the cables from grid and generator."""
    hourly_w = {"grid": flows.grid_w, "generator": flows.generator_w}
    rated_va = site.sources | {"generator": site.generator.alternator_va}
    return {f"{source}_in": _ac_load(site, f"{source}_in", rated_va[source], hourly_w[source])
            for source in site.sources}  # fmt: skip


def _ac_load(site: Site, key: str, power_w: float, hourly_va: Floats) -> Load:
    """Alternating current of one phase; 2: from line to line of a split supply; or of three."""
    phases, volts = phases_of_run(site, key), site.supply.ac_voltage_v
    highest_v = between_v(site, phases)
    return Load(
        current="ac", loaded=3 if phases == 3 else 2, voltage_v=highest_v, highest_v=highest_v,
        design_a=power_w / (phases * volts), hourly_a=hourly_va / (phases * volts),
    )  # fmt: skip


def runs_of(
    site: Site, flows: Flows, *, string_fuses: bool | Sequence[bool] = False,
    loads: Mapping[str, Load] | None = None,
) -> tuple[Run, ...]:  # fmt: skip
    """Every run of the system, from the modules to the house.

    With one inverter for both boards one run joins it to the battery. No run is designed for less
    than its fullest hour.

    Parameters
    ----------
    site : Site
    flows : Flows
    string_fuses : bool, or sequence of bool
        Whether each string has a fuse; by roof plane where they differ.
    loads : mapping of str to Load, optional
        `loads_of` of them.

    Returns
    -------
    tuple of Run
        ``string``, ``dc_main``, ``controller_battery``, then ``battery_inverter_``,
        ``inverter_output_`` of inverters that are several, ``inverter_board_`` and
        ``board_house_`` with ``essential`` and ``nonessential``, last
        ``grid_in`` and ``generator_in`` where there are any. Roof planes after the first have
        the first three once more, ``dc_main@2``.

    Raises
    ------
    InputError
        When strings, controllers and banks do not go together, or a cable made for modules is
        asked for in what it is not made of; it names the keys of the site file.
    """
    faults = [*_count_faults(site), *_cable_faults(site)]
    if faults:
        raise InputError(faults)
    maker = _Maker(site=site, flows=flows, ways=way_by_run(site),
                   loads=loads_of(site, flows) if loads is None else loads)  # fmt: skip
    planes = [replace(maker, site=one, whole=site, plane=number)
              for number, one in enumerate(site.sites, start=1)]  # fmt: skip
    fused = [string_fuses] * len(planes) if isinstance(string_fuses, bool) else string_fuses
    found = [run for one, fuses in zip(planes, fused, strict=True)
             for run in _array_runs(one, fuses)]  # fmt: skip
    found += [*map(_charge_run, planes), *_battery_runs(maker)]
    for board in BOARDS:
        found += _board_runs(maker, board)
    return (*found, *_incoming_runs(maker))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Maker:
    """Makes runs: what a run carries, with how its cable lies by the site file.

    Of one roof plane, `site` is its own, and `whole` is the site with all of them.
    """

    site: Site
    flows: Flows
    ways: Mapping[str, Way]
    loads: Mapping[str, Load]
    whole: Site | None = None
    plane: int = 1

    def run(
        self, key: str, board: str, words: tuple[str, str, str], device: DeviceKind,
        drop_limit_frac: float,
    ) -> Run:  # fmt: skip
        cable: CableRun = getattr(self.site.runs, key)
        usual_m, _, usual_insulation = USUAL_RUNS[key]
        whole_key = f"{key}_{board}" if board else plane_key(key, self.plane)
        way, whole, load = self.ways[whole_key], self.whole or self.site, self.loads[whole_key]
        method, count = way.method, run_count(whole, whole_key)
        insulation = cable.insulation or ("xlpe" if way.lies.for_modules else usual_insulation)
        name, start, end = words
        made = Run(
            key=whole_key, name=of_plane(name, self.site) if self.whole else name, start=start,
            end=end,
            current=load.current, count=count, loaded=load.loaded, voltage_v=load.voltage_v,
            highest_v=load.highest_v, design_a=max(load.design_a, load.peak_a),
            device=device, hourly_a=load.hourly_a, power_factor=1.0,
            length_m=cable.length_m or usual_m, length_given=cable.length_m is not None,
            method=method, insulation=insulation, material=cable.material,
            ambient_c=self._ambient_c(key, way.lies, cable),
            soil_k_m_per_w=self.site.cables.soil_k_m_per_w,
            grouped_circuits=circuits_of(whole, way, {}), size_mm2=cable.size_mm2,
            in_parallel=cable.in_parallel, drop_limit_frac=drop_limit_frac,
            alike=sets_on_way(whole, way, whole_key) if way.together else 1,
            split=load.current == "ac" and phases_of_run(self.site, whole_key) == 2,
            drop_a=load.drop_a,
            rated_v=cable.rated_v or RATED_V[load.current],
            lasting_a=load.design_a if load.lasting_a is None else load.lasting_a,
            lasting_factor=lasting_factor(self.site.cables.sizes),
        )  # fmt: skip
        vars(made)["squares"] = load.squares  # its cached property, worked out once a year of flows
        return made

    def _ambient_c(self, key: str, lies: CableMethod, cable: CableRun) -> float:
        cables, flows = self.site.cables, self.flows
        if cable.ambient_c is not None:
            return cable.ambient_c
        if lies.in_ground:
            return flows.soil_c if cables.soil_c is None else cables.soil_c
        if key == "string" or lies.for_modules:
            hot_c = flows.hottest_air_c + float(ROOF_ABOVE_AIR_K)
            return hot_c if cables.roof_c is None else cables.roof_c
        return flows.room_c if key in _IN_ROOM else flows.hottest_air_c

    def shares(self, *keys: str) -> list[float]:
        """Shares of a drop in proportion to lengths, [0 to 1]."""
        lengths = [getattr(self.site.runs, key).length_m or USUAL_RUNS[key][0] for key in keys]
        return [length / sum(lengths) for length in lengths]


def _array_runs(maker: _Maker, string_fuses: bool) -> list[Run]:
    """String and main cables: they share the drop by length, which takes the least copper.

    Beside a long main cable that would leave strings less than the thickest cable needs that their
    connectors take: they have as much as that drops, where some of it is left for the main cable.
    """
    for_string, _ = maker.shares("string", "dc_main")
    drop_frac = maker.site.cables.dc_drop_frac

    def string(share: float) -> Run:
        return maker.run("string", "", ("PV string cable", "modules", "where strings are joined"),
                         "dc-fuse" if string_fuses else "none", drop_frac * share)  # fmt: skip

    strings = string(for_string)
    at_connector = _at_connector_frac(maker, strings) / drop_frac
    if for_string < at_connector <= _MOST_FOR_STRINGS:
        for_string = at_connector
        strings = string(for_string)
    return [strings, maker.run(
        "dc_main", "", ("PV DC main cable", "where strings are joined", "charge controller"),
        "none", drop_frac * (1.0 - for_string),
    )]  # fmt: skip


_MOST_FOR_STRINGS = 0.8
_COMPANY = 1.03
"""Other cables on the way, counted once all are known, make a string cable this much warmer."""


def _at_connector_frac(maker: _Maker, run: Run) -> float:
    """What strings drop in the size that is given or else the thickest their ends take."""
    site = maker.whole or maker.site
    with suppress(InputError, ValueError):  # told where the size is chosen
        return _COMPANY * drop_frac_within(run, takes_mm2(site, run, None),
                                           sizes=site.cables.sizes)  # fmt: skip
    return 0.0


def _charge_run(maker: _Maker) -> Run:
    words = ("Controller to battery", "charge controller", "battery")
    drop_frac = maker.site.cables.battery_drop_frac
    return maker.run("controller_battery", "", words, "dc-breaker", drop_frac)


def _battery_runs(maker: _Maker) -> list[Run]:
    site, found = maker.site, []
    one = site.supply.one_inverter
    for board in BOARDS[:1] if one else BOARDS:
        end = "inverter" if one else f"inverter, {board} board"
        several = "each " * (site.inverter_of(board).count > 1)
        words = (f"Battery to {several}{end}", "battery", end)
        found.append(maker.run("battery_inverter", board, words, "dc-fuse",
                               site.cables.battery_drop_frac))  # fmt: skip
    return found


def _board_runs(maker: _Maker, board: Board) -> list[Run]:
    site, one = maker.site, maker.site.supply.one_inverter
    source = "inverter" if one else f"inverter, {board} board"
    bar = "inverter output board" if one else f"inverter output board, {board}"
    grouped = (board if board in site.inverters else BOARDS[0]) in grouped_boards(site)
    words = {
        "inverter_output": (f"Each {source} to its output board", source, bar),
        "inverter_board": (f"Inverter to {board} board", bar if grouped else source,
                           f"{board} board"),
        "board_house": (f"Distribution circuit to the {board} board", f"{board} board",
                        "house"),
    }
    output = ("inverter_output",) if grouped else ()
    keys = (*output, "inverter_board", "board_house")
    return [
        maker.run(key, board, words[key], "ac-breaker", site.cables.ac_drop_frac * share)
        for key, share in zip(keys, maker.shares(*keys), strict=True)
        if f"{key}_{board}" in maker.loads
    ]  # fmt: skip


def _incoming_runs(maker: _Maker) -> list[Run]:
    return [
        maker.run(f"{source}_in", "", (f"{source.capitalize()} to changeover", source,
                                       "changeover"), "ac-breaker", maker.site.cables.ac_drop_frac)
        for source in maker.site.sources
    ]  # fmt: skip


def _count_faults(site: Site) -> list[Fault]:
    """Controllers without a string; two banks on one controller."""
    faults, count = [], site.controller_count
    for number, one in enumerate(site.sites):
        strings, controllers = sum(strings_by_controller(one)), one.controller.count
        if controllers > strings:
            fault = Fault(**worded(
                "wiring", "controller-count", count=controllers, strings=strings,
                plural="s" * (strings != 1), module_count=one.array.module_count,
                modules_in_series=one.array.modules_in_series,
            ))  # fmt: skip
            faults.append(_in_plane(fault, one, number))
    if site.supply.separate_banks and count < 2:
        faults.append(
            Fault(**worded("wiring", "controller-count-count-faults", count=count))
        )
    return faults


def _cable_faults(site: Site) -> list[Fault]:
    """Cables made for modules in what they are not made of."""
    faults = []
    each = [(key, number, one) for key in Runs.model_fields
            for number, one in enumerate(site.sites if key in PLANE_RUNS else (site,))]
    for key, number, one in each:
        cable: CableRun = getattr(one.runs, key)
        if cable.method is None or not cable_methods()[cable.method].for_modules:
            continue
        for name, given, allowed in (
            ("insulation", cable.insulation or "xlpe", "xlpe"),
            ("material", cable.material, "copper"),
        ):
            if given != allowed:
                fault = Fault(**worded(
                    "wiring", "runs", key=key, name=name, given=given, method=cable.method,
                    allowed=allowed, standard=cable_methods()[cable.method].standard,
                ))  # fmt: skip
                faults.append(_in_plane(fault, one, number))
    return faults


def _in_plane(fault: Fault, site: Site, number: int) -> Fault:
    """A fault about a table of a roof plane beside the first."""
    if not number:
        return fault
    return replace(fault, where=f'planes[{number}].{fault.where} (plane {number},'
                   f' "{site.roof.name}")')  # fmt: skip


def regrouped(
    site: Site, ways: Mapping[str, Way], runs: Sequence[Run], in_parallel: Mapping[str, int],
    sizes_mm2: Mapping[str, tuple[float, ...]],
) -> tuple[Run, ...]:  # fmt: skip
    """The runs with the circuits of their ways, once the conductors of each are known.

    A run's own conductors are counted when it is sized; those of its company here.

    Parameters
    ----------
    site : Site
    ways : mapping of str to Way
        By the key of the run.
    runs : sequence of Run
    in_parallel : mapping of str to int
        Conductors for each pole by the key of the run.
    sizes_mm2 : mapping of str to tuple of float
        Of one conductor, smallest and largest, by the key of the run [mm2].
    """
    found = []
    for run in runs:
        way = ways[run.key]
        own = {**in_parallel, run.key: 1} if way.together else {}
        others = [each for key in way.runs if key != run.key for each in sizes_mm2[key]]
        company = (min(others), max(others)) if others and way.together else ()
        found.append(run.laid(grouped_circuits=circuits_of(site, way, own), company_mm2=company))
    return tuple(found)


def reverse_check(site: Site, string: SizedRun) -> Check:
    """Whether the cable of a string without a fuse carries what the other strings push back.

    A fault in one string draws the current of all others on the same controller through its
    cable, and no device opens it.

    Parameters
    ----------
    site : Site
    string : SizedRun
        The string's, with its cable.

    Notes
    -----
    I_z at least 1.25 Isc (n - 1), n the strings joined; with a fuse the fuse holds it.
    """
    others = strings_by_controller(site)[0] - 1
    back_a = circuit_a(site.module.isc_a, others)
    fused = string.run.device == "dc-fuse"
    return checked(
        fused or back_a <= string.capacity_a, "failed",
        **worded("wiring", "current-that-other", capacity_a=string.capacity_a),
        found="held by its fuse" if fused else f"{back_a:.1f}", unit="" if fused else "A",
    )  # fmt: skip
