"""Strings, cables, duct and protection of one site, worked out once and shown in many tables."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from solarcalc.basis.check import Check, on_plane
from solarcalc.battery.bank import REFERENCE_C
from solarcalc.energy.year import Harvest
from solarcalc.protection.banks import banks_of
from solarcalc.protection.case import case_of
from solarcalc.protection.direct import with_fuses
from solarcalc.protection.plan import FaultHeat, ProtectionPlan, fault_heats, plan_of
from solarcalc.sitefile.site import Site
from solarcalc.siteyear import SiteYear
from solarcalc.supply.run import SupplyRun
from solarcalc.wiring.capacity import device_rating_a, sizes_of
from solarcalc.wiring.choose import Money, in_company, money_of, run_checks, safe_and_cheapest
from solarcalc.wiring.conductors import least_for_run_mm2, withstand_check
from solarcalc.wiring.ducts import DuctFill, cables_of_run, duct_fill, fill_checks
from solarcalc.wiring.flows import Flows, flows_from
from solarcalc.wiring.gauge import gauges
from solarcalc.wiring.runs import (
    Run,
    SizedRun,
    Way,
    bank_highest_v,
    coldest_string_v,
    duct_way,
    plane_key,
    plane_number,
    record_low_c,
    stem_of,
    strings_by_controller,
    way_by_run,
)
from solarcalc.wiring.string_checks import string_checks
from solarcalc.wiring.string_plan import (
    PlaneStrings,
    StringCase,
    StringFuses,
    string_fuse_checks,
    string_fuses,
)
from solarcalc.wiring.system import Load, regrouped, reverse_check, runs_of
from solarcalc.wiring.terminals import takes_mm2, terminal_checks

ROUNDS = 6
"""A thicker cable lets a little more fault current through, and more conductors a pole warm their
company: sizes settle in two or three rounds."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Electrical:
    """What the electrician builds.

    Parameters
    ----------
    site : Site
    flows : Flows
        Of the year, by hour.
    planes : tuple of PlaneStrings
        What the strings of each roof plane are checked with.
    money : Money
    sized, safe : tuple of SizedRun
        Every run with the cable that is installed, and with the smallest safe one.
    least_mm2 : dict of str to float
        Area that the short circuit asks of each run, by its key [mm2].
    plan : ProtectionPlan
    duct : DuctFill
    """

    site: Site
    flows: Flows
    planes: tuple[PlaneStrings, ...]
    money: Money
    sized: tuple[SizedRun, ...]
    safe: tuple[SizedRun, ...]
    least_mm2: dict[str, float]
    plan: ProtectionPlan
    duct: DuctFill

    def run(self, key: str) -> SizedRun:
        """The run of that key with its cable."""
        return next(one for one in self.sized if one.run.key == key)

    @property
    def case(self) -> StringCase:
        """What the strings of the first roof plane are checked with."""
        return self.planes[0].case

    @property
    def fuses(self) -> StringFuses:
        """Of the strings of the first roof plane."""
        return self.planes[0].fuses

    @property
    def strings(self) -> int:
        """Strings of the first roof plane."""
        return self.site.array.string_count

    @property
    def cold_string_v(self) -> float:
        """Open circuit of a string at the record low, the highest of all roof planes [V]."""
        return max(one.cold_string_v for one in self.planes)


def flows_of(
    own: SiteYear, harvests: Sequence[Harvest], year: SupplyRun, room_c: np.ndarray,
    controller_efficiency_frac: Sequence[float],
) -> Flows:
    """What flows through the system in each hour of the year, and how warm it is there [degC].

    Parameters
    ----------
    own : SiteYear
    harvests : sequence of Harvest
        One a roof plane.
    year : SupplyRun
    room_c : array (n,)
        Of the battery room [degC].
    controller_efficiency_frac : sequence of float
        One a roof plane.
    """
    index = pd.DatetimeIndex(year.hours.index)
    return flows_from(
        [one.hours for one in harvests], year.hours,
        controller_efficiency_frac=controller_efficiency_frac,
        air_c=own.weather.hours["temp_air"].to_numpy(), room_c=room_c,
        month=index.month.to_numpy(),
    )  # fmt: skip


def electrical_of(
    site: Site, flows: Flows, loads: Mapping[str, Load] | None = None
) -> Electrical:
    """Strings, cables and protection of a site whose year is known, and with it its `loads_of`.

    Raises
    ------
    InputError
        Where no cable satisfies, with what was tried, or the site file contradicts itself.
    """
    planes = tuple(_strings_of(one, flows.of_plane(number))
                   for number, one in enumerate(site.sites, start=1))  # fmt: skip
    runs = with_fuses(site, runs_of(
        site, flows,
        string_fuses=[one.fuses.needed and one.fuses.rated_a is not None for one in planes],
        loads=loads,
    ))  # fmt: skip
    sizing = _Sizing(site=site, planes=planes, ways=way_by_run(site),
                     most_mm2={run.key: _takes_mm2(site, run) for run in runs})  # fmt: skip
    pairs, least, faults = sizing.settled(runs)
    sized = tuple(chosen for _, chosen in pairs)
    return Electrical(
        site=site, flows=flows, planes=planes, money=money_of(site), sized=sized,
        safe=tuple(safe for safe, _ in pairs), least_mm2=least,
        plan=plan_of(site, sized, cold_string_v=planes[0].cold_string_v,
                     string_fuse_a=planes[0].fuses.rated_a, beside=planes[1:], faults=faults),
        duct=_duct(site, sized),
    )  # fmt: skip


def _strings_of(site: Site, flows: Flows) -> PlaneStrings:
    """The strings of a roof plane, by its site and what flows on it."""
    cold_v, hot_c = coldest_string_v(site, flows.coldest_c), site.cables.hottest_cell_c
    return PlaneStrings(
        site=site, cold_string_v=cold_v,
        fuses=string_fuses(
            isc_a=site.module.isc_a, strings=max(strings_by_controller(site)),
            max_fuse_a=site.protection.string_fuse_max_a, cold_voc_v=cold_v,
            sizes=site.cables.sizes,
        ),
        case=StringCase(
            module=site.module, controller=site.controller, bank_v=site.battery.charging_voltage_v,
            bank_top_v=bank_highest_v(site.battery, REFERENCE_C),
            coldest_c=record_low_c(site, flows.coldest_c),
            hottest_cell_c=flows.hottest_cell_c if hot_c is None else hot_c,
        ),
    )  # fmt: skip


Pair = tuple[SizedRun, SizedRun]
"""The smallest safe cable of a run, and the one that is chosen."""


@dataclass(frozen=True, kw_only=True)
class _Sizing:
    """How the cables of a site are chosen, each beside the others.

    Parameters
    ----------
    site : Site
    planes : tuple of PlaneStrings
        The strings of each roof plane.
    ways : mapping of str to Way
        By the key of the run.
    most_mm2 : mapping of str to float
        Thickest conductor that the terminals of a run take, by its key [mm2].
    """

    site: Site
    planes: tuple[PlaneStrings, ...]
    ways: Mapping[str, Way]
    most_mm2: Mapping[str, float]

    def settled(
        self, runs: Sequence[Run]
    ) -> tuple[list[Pair], dict[str, float], dict[str, FaultHeat]]:
        """Cables that stand beside one another, what their faults ask of each [mm2], and these.

        Company only grows on the way: up to the largest size tried, down to what the current
        alone asks of each, whatever its length. So a longer run never makes its way more alike,
        and never gets a smaller conductor. What is chosen is then told in the company it has.
        """
        least: dict[str, float] = {}
        beside: dict[str, int] = {}
        known: dict[tuple[object, ...], dict[str, FaultHeat]] = {}
        spans = {key: (size_mm2, size_mm2) for key, size_mm2 in self._by_current(runs).items()}
        for _ in range(ROUNDS):
            pairs = self._pairs(runs, least)
            cables = tuple((one.size_mm2, one.in_parallel, one.device_a) for _, one in pairs)
            if cables not in known:  # a fault asks nothing of their company
                known[cables] = self._heats(pairs)
            asked = _least_mm2(pairs, known[cables])
            for _, one in pairs:
                key, (low, high) = one.run.key, spans[one.run.key]
                beside[key] = max(one.in_parallel, beside.get(key, 1))
                spans[key] = (min(low, one.size_mm2), max(high, one.size_mm2))
            joined = regrouped(self.site, self.ways, runs, beside, spans)
            if _laid_alike(runs, joined) and _no_more(asked, least):
                break
            runs = joined
            least = {key: max(each, least.get(key, 0.0)) for key, each in asked.items()}
        exact = self._joined(runs, pairs)
        money = money_of(self.site)
        return [(safe, in_company(chosen, run, money, sizes=self.site.cables.sizes))
                for (safe, chosen), run in zip(pairs, exact, strict=True)
                ], least, known[cables]  # fmt: skip

    def _by_current(self, runs: Sequence[Run]) -> dict[str, float]:
        """Size of each run if it dropped nothing, by its key [mm2]: it hangs on no length."""
        short = [run.laid(drop_limit_frac=math.inf, length_m=1.0) for run in runs]
        return {one.run.key: one.size_mm2 for _, one in self._pairs(short, {})}

    def _pairs(self, runs: Sequence[Run], least: Mapping[str, float]) -> list[Pair]:
        money = money_of(self.site)
        return [
            safe_and_cheapest(
                run, money, sizes=self.site.cables.sizes, least_mm2=least.get(run.key, 0.0),
                device_a=self.planes[plane_number(run.key) - 1].fuses.rated_a
                if stem_of(run.key) == "string" else None,
                most_mm2=self.most_mm2[run.key],
            )
            for run in runs
        ]  # fmt: skip

    def _joined(self, runs: Sequence[Run], pairs: Sequence[Pair]) -> tuple[Run, ...]:
        """The runs in the company of these cables."""
        chosen = [one for _, one in pairs]
        return regrouped(
            self.site, self.ways, runs, {one.run.key: one.in_parallel for one in chosen},
            {one.run.key: (one.size_mm2,) for one in chosen},
        )  # fmt: skip

    def _heats(self, pairs: Sequence[Pair]) -> dict[str, FaultHeat]:
        """The faults that heat each cable most, whatever company it lies in."""
        case = case_of(
            self.site, [one for _, one in pairs], cold_string_v=self.planes[0].cold_string_v,
            string_fuse_a=self.planes[0].fuses.rated_a, beside=self.planes[1:],
        )  # fmt: skip
        return fault_heats(case, banks_of(case))


def _least_mm2(pairs: Sequence[Pair], heats: Mapping[str, FaultHeat]) -> dict[str, float]:
    """What the heat of a fault asks of each cable [mm2]."""
    return {
        one.run.key: least_for_run_mm2(one.run, *heats[one.run.key])
        if heats[one.run.key][0] > 0.0 else 0.0
        for _, one in pairs
    }  # fmt: skip


def _laid_alike(runs: Sequence[Run], others: Sequence[Run]) -> bool:
    """Whether each run lies in the same company in both."""
    return all(
        (one.grouped_circuits, one.company_mm2) == (other.grouped_circuits, other.company_mm2)
        for one, other in zip(runs, others, strict=True)
    )


def _no_more(asked: Mapping[str, float], least: Mapping[str, float]) -> bool:
    return all(asked[key] <= least.get(key, 0.0) for key in asked)


def _duct(site: Site, sized: Sequence[SizedRun]) -> DuctFill:
    """The duct of the main cables, of all roof planes that lie in it."""
    way = duct_way(site)
    mains = [one for one in sized if one.run.key in way.runs]
    return duct_fill(site, [each for one in mains for each in cables_of_run(one)],
                     length_m=max(one.run.length_m for one in mains))  # fmt: skip


def options_of(
    built: Electrical, key: str, *, length_m: float | None = None, ambient_c: float | None = None
) -> tuple[list[SizedRun], float, SizedRun]:
    """Sizes around the chosen one of a run, the smallest safe size [mm2], and the chosen one.

    Parameters
    ----------
    built : Electrical
    key : str
        Of the run.
    length_m, ambient_c : float, optional
        To be tried in place of its own [m], [degC].
    """
    own = next(one.run for one in built.safe if one.run.key == key)  # beside what was tried
    run = own.laid(
        length_m=own.length_m if length_m is None else length_m,
        ambient_c=own.ambient_c if ambient_c is None else ambient_c,
    )  # fmt: skip
    sizes = built.site.cables.sizes
    safe, chosen = safe_and_cheapest(
        run, built.money, sizes=sizes, least_mm2=built.least_mm2.get(key, 0.0),
        most_mm2=_takes_mm2(built.site, run),
    )
    made = made_mm2(built.site, run)
    nearest = [min(range(len(made)), key=lambda at: abs(made[at] - one.size_mm2))
               for one in (safe, chosen)]  # fmt: skip
    shown = made[max(min(nearest) - 3, 0) : max(nearest) + 4]
    options = []
    for size_mm2 in shown:
        fixed = run.laid(size_mm2=size_mm2, in_parallel=chosen.in_parallel)
        options.append(safe_and_cheapest(fixed, built.money, sizes=sizes)[1])
    return options, safe.size_mm2, chosen


def _takes_mm2(site: Site, run: Run) -> float:
    """Thickest conductor that its terminals take [mm2]; a string has no breaker in it."""
    return takes_mm2(site, run, device_rating_a(run) if run.device.endswith("breaker") else None)


def made_mm2(site: Site, run: Run) -> list[float]:
    """Sizes in which the conductor of a run is made, in the system of the site [mm2]."""
    if site.cables.sizes == "awg":
        return [gauge.size_mm2 for gauge in gauges()]
    return list(sizes_of(run))


def electrical_checks(built: Electrical) -> list[Check]:
    """Every check of strings, cables, duct and protection."""
    site = built.site
    checks = [check for number, one in enumerate(built.planes, start=1)
              for check in on_plane((
        *string_checks(one.case, one.site.array.modules_in_series, one.site.array.string_count),
        *string_fuse_checks(one.fuses),
        reverse_check(one.site, built.run(plane_key("string", number))),
    ), one.site.roof.name)]  # fmt: skip
    for one in built.sized:
        checks += run_checks(one)
        fault_a, clear_s = built.plan.fault_of(one.run.key)
        if fault_a > 0.0:
            checks.append(withstand_check(one, fault_a, clear_s))
    checks += terminal_checks(site, built.sized)
    if duct_way(site).lies.in_duct:
        checks += fill_checks(built.duct)
    return [*checks, *built.plan.checks]


def lost_kwh(built: Electrical) -> float:
    """Energy that warms the cables in the year [kWh]."""
    return sum(one.loss_kwh_per_year for one in built.sized)
