"""Every run of a site's system, from the modules to the house, with what it must carry.

Sizes are chosen elsewhere from what stands here. Design currents follow published rules and are
for a licensed electrician to check: local codes and the makers' sheets go before them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from solarcalc.basis.check import Check, checked
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.worded import worded
from solarcalc.sitefile.loads import BOARDS, Board
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.wiring import USUAL_RUNS, CableMethod, CableRun, Runs, cable_methods
from solarcalc.wiring.flows import Floats, Flows
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

_IN_ROOM = ("controller_battery", "battery_inverter", "inverter_output", "inverter_board")


def runs_of(
    site: Site, flows: Flows, *, string_fuses: bool | Sequence[bool] = False
) -> tuple[Run, ...]:
    """Every run of the system, from the modules to the house.

    With one inverter for both boards one run joins it to the battery. Where controllers have
    unlike numbers of strings the fullest one decides the design current; the hourly current is
    the root mean square of them all, so that the loss of the year is that of the real ones.
    Phases are taken as evenly loaded. No run is designed for less than its fullest hour.

    Parameters
    ----------
    site : Site
    flows : Flows
    string_fuses : bool, or sequence of bool
        Whether each string has a fuse; by roof plane where they differ.

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
    maker = _Maker(site=site, flows=flows, ways=way_by_run(site))
    planes = [
        replace(maker, site=one, flows=flows.of_plane(number), whole=site, plane=number)
        for number, one in enumerate(site.sites, start=1)
    ]
    fused = [string_fuses] * len(planes) if isinstance(string_fuses, bool) else string_fuses
    found = [run for one, fuses in zip(planes, fused, strict=True)
             for run in _array_runs(one, fuses)]  # fmt: skip
    found += [*map(_charge_run, planes), *_battery_runs(maker)]
    for board in BOARDS:
        found += _board_runs(maker, board)
    return (*found, *_incoming_runs(maker))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Load:
    """What a run carries and what protects it."""

    current: Literal["dc", "ac"]
    loaded: Literal[2, 3] = 2
    voltage_v: float
    highest_v: float
    design_a: float
    device: DeviceKind
    hourly_a: Floats
    drop_limit_frac: float
    drop_a: float | None = None
    lasting_a: float | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class _Maker:
    """Makes runs: what a run carries, with how its cable lies by the site file.

    Of one roof plane, `site` and `flows` are its own, and `whole` is the site with all of them.
    """

    site: Site
    flows: Flows
    ways: Mapping[str, Way]
    whole: Site | None = None
    plane: int = 1

    def run(self, key: str, board: str, words: tuple[str, str, str], load: _Load) -> Run:
        cable: CableRun = getattr(self.site.runs, key)
        usual_m, _, usual_insulation = USUAL_RUNS[key]
        whole_key = f"{key}_{board}" if board else plane_key(key, self.plane)
        way, whole = self.ways[whole_key], self.whole or self.site
        method, count = way.method, run_count(whole, whole_key)
        insulation = cable.insulation or ("xlpe" if way.lies.for_modules else usual_insulation)
        name, start, end = words
        return Run(
            key=whole_key, name=of_plane(name, self.site) if self.whole else name, start=start,
            end=end,
            current=load.current, count=count, loaded=load.loaded, voltage_v=load.voltage_v,
            highest_v=load.highest_v, design_a=max(load.design_a, float(load.hourly_a.max())),
            device=load.device, hourly_a=load.hourly_a, power_factor=1.0,
            length_m=cable.length_m or usual_m, length_given=cable.length_m is not None,
            method=method, insulation=insulation, material=cable.material,
            ambient_c=self._ambient_c(key, way.lies, cable),
            soil_k_m_per_w=self.site.cables.soil_k_m_per_w,
            grouped_circuits=circuits_of(whole, way, {}), size_mm2=cable.size_mm2,
            in_parallel=cable.in_parallel, drop_limit_frac=load.drop_limit_frac,
            alike=sets_on_way(whole, way, whole_key) if way.together else 1,
            split=load.current == "ac" and phases_of_run(self.site, whole_key) == 2,
            drop_a=load.drop_a,
            rated_v=cable.rated_v or RATED_V[load.current],
            lasting_a=load.design_a if load.lasting_a is None else load.lasting_a,
            lasting_factor=lasting_factor(self.site.cables.sizes),
        )  # fmt: skip

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
    site, flows = maker.site, maker.flows
    by_controller = np.array(strings_by_controller(site), dtype=float)
    array_v = np.broadcast_to(flows.array_v, flows.array_w.shape)
    array_a = np.divide(
        flows.array_w, array_v, out=np.zeros_like(flows.array_w), where=array_v > 0.0
    )
    string_a = array_a / by_controller.sum()
    each_a = circuit_a(site.module.isc_a)
    for_string, for_main = maker.shares("string", "dc_main")
    hot_v = hottest_string_v(site, flows.hottest_cell_c)
    cold_v = coldest_string_v(site, flows.coldest_c)
    string = _Load(
        current="dc", voltage_v=hot_v, highest_v=cold_v,
        design_a=each_a, device="dc-fuse" if string_fuses else "none", hourly_a=string_a,
        drop_limit_frac=site.cables.dc_drop_frac * for_string, drop_a=site.module.imp_a,
    )  # fmt: skip
    main = _Load(
        current="dc", voltage_v=hot_v, highest_v=cold_v,
        design_a=each_a * float(by_controller.max()), device="none",
        hourly_a=string_a * float(np.sqrt(np.mean(by_controller**2))),
        drop_limit_frac=site.cables.dc_drop_frac * for_main,
        drop_a=site.module.imp_a * float(by_controller.max()),
    )  # fmt: skip
    return [
        maker.run("string", "", ("PV string cable", "modules",
                                     "where strings are joined"), string),
        maker.run("dc_main", "", ("PV DC main cable", "where strings are joined",
                                      "charge controller"), main),
    ]


def _charge_run(maker: _Maker) -> Run:
    site, count = maker.site, maker.site.controller.count
    volts = site.battery.nominal_voltage_v
    load = _Load(
        current="dc", voltage_v=volts,
        highest_v=bank_highest_v(site.battery, record_low_c(site, maker.flows.coldest_c)),
        design_a=float(LASTING_FACTOR) * site.controller.max_charge_current_a,
        lasting_a=site.controller.max_charge_current_a, device="dc-breaker",
        hourly_a=maker.flows.bus_w / (count * volts),
        drop_limit_frac=site.cables.battery_drop_frac,
    )  # fmt: skip
    words = ("Controller to battery", "charge controller", "battery")
    return maker.run("controller_battery", "", words, load)


def _battery_runs(maker: _Maker) -> list[Run]:
    site, flows = maker.site, maker.flows
    volts, one = site.battery.nominal_voltage_v, site.supply.one_inverter
    drawn: dict[Board, Floats] = {
        "essential": flows.essential_drawn_w, "nonessential": flows.nonessential_drawn_w,
    }  # fmt: skip
    if one:
        drawn = {"essential": flows.essential_drawn_w + flows.nonessential_drawn_w}
    charging = charging_share(site)
    found = []
    for board, drawn_w in drawn.items():
        inverter = site.inverter_of(board)
        watts, count = drawn_w / inverter.count, inverter.count
        inverter_a = inverter.continuous_power_w / inverter.efficiency_frac
        load = _Load(
            current="dc", voltage_v=volts,
            highest_v=bank_highest_v(site.battery, record_low_c(site, flows.coldest_c)),
            design_a=max(inverter_a / bank_lowest_v(site.battery),
                         charging[board] * charger_a(site) / count),
            device="dc-fuse",
            hourly_a=(watts + charging[board] * flows.charger_w / count) / volts,
            drop_limit_frac=site.cables.battery_drop_frac,
        )  # fmt: skip
        end = "inverter" if one else f"inverter, {board} board"
        words = (f"Battery to {'each ' * (count > 1)}{end}", "battery", end)
        found.append(maker.run("battery_inverter", board, words, load))
    return found


def _ac_load(
    maker: _Maker, key: str, power_w: float, hourly_va: Floats, drop_limit_frac: float
) -> _Load:
    """Alternating current of one phase; 2: from line to line of a split supply; or of three."""
    phases, volts = phases_of_run(maker.site, key), maker.site.supply.ac_voltage_v
    highest_v = between_v(maker.site, phases)
    return _Load(
        current="ac", loaded=3 if phases == 3 else 2, voltage_v=highest_v, highest_v=highest_v,
        design_a=power_w / (phases * volts), device="ac-breaker",
        hourly_a=hourly_va / (phases * volts), drop_limit_frac=drop_limit_frac,
    )  # fmt: skip


def _board_runs(maker: _Maker, board: Board) -> list[Run]:
    site, flows = maker.site, maker.flows
    one, inverter = site.supply.one_inverter, site.inverter_of(board)
    served = flows.essential_supplied_w if board == "essential" else flows.nonessential_supplied_w
    hourly_va = served / mean_power_factor(site.loads, board)
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
    shares = dict(zip((*output, "inverter_board", "board_house"),
                      maker.shares(*output, "inverter_board", "board_house"), strict=True))
    if one:
        hourly = flows.essential_supplied_w / mean_power_factor(site.loads, BOARDS[0])
        hourly = hourly + flows.nonessential_supplied_w / mean_power_factor(site.loads, BOARDS[1])
    else:
        hourly = hourly_va
    found = []
    for key, share in shares.items():
        if key == "inverter_output" and board not in site.inverters:
            continue
        each = inverter.count if key == "inverter_output" else 1
        found.append(maker.run(key, board, words[key], _ac_load(
            maker, f"{key}_{board}", inverter.total_power_w / each,
            (hourly if each > 1 else hourly_va) / each, site.cables.ac_drop_frac * share,
        )))  # fmt: skip
    return found


def _incoming_runs(maker: _Maker) -> list[Run]:
    site, flows, found = maker.site, maker.flows, []
    hourly_w = {"grid": flows.grid_w, "generator": flows.generator_w}
    for source, power_w in site.sources.items():
        rated_va = site.generator.alternator_va if source == "generator" else power_w
        load = _ac_load(maker, f"{source}_in", rated_va, hourly_w[source],
                        site.cables.ac_drop_frac)  # fmt: skip
        words = (f"{source.capitalize()} to changeover", source, "changeover")
        found.append(maker.run(f"{source}_in", "", words, load))
    return found


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
