"""Which size a run gets: the smallest that is safe, then the cheapest over its life; its checks.

Safe: I_b <= I_n <= I_z and I_2 <= 1.45 I_z, drop within its limit, short circuit withstood.
Cheapest: among the safe one and all larger, least price and worth of the energy lost over the
years. Protective conductors are scheduled with the earthing, terminals have checks of their own.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Literal

from solarcalc.basis.check import Check, Outcome, checked
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.present_value import annuity_years
from solarcalc.basis.published import published
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.sitefile.site import Site
from solarcalc.wiring.capacity import (
    OVERLOAD_SHARE,
    Capacity,
    capacity,
    checked_size_mm2,
    device_rating_a,
    losses,
    sizes_of,
    surely_opens_a,
)
from solarcalc.wiring.conductors import (
    SOLAR_LASTING_C,
    TERMINAL_C,
    field_of,
    hottest_c,
    resistance_column,
    resistances,
    working_c,
)
from solarcalc.wiring.flows import Squares
from solarcalc.wiring.gauge import (
    Gauge,
    checked_gauge,
    gauge_capacity,
    gauge_resistance_ohm_per_km,
    gauges,
)
from solarcalc.wiring.runs import ARRAY_RUNS, Run, SizedRun, module_cable, stem_of


def length_faults(run: Run) -> list[Fault]:
    """What is wrong with the length of a run: it must be above zero."""
    if math.isfinite(run.length_m) and run.length_m > 0.0:
        return []
    return [Fault(
        where=field_of(run, "length_m"), given=f"{run.length_m:g} m", allowed="above 0 m",
        why="one way, along the cable", remedy="measure it",
    )]  # fmt: skip


@lru_cache(maxsize=64)
def run_checks(sized: SizedRun) -> tuple[Check, ...]:
    """Whether the run's cable carries, is protected, drops little enough, and was measured.

    Short circuits are checked by `withstand_check`, which needs the fault.

    Parameters
    ----------
    sized : SizedRun
    """
    checks = [_capacity_check(sized)]
    if sized.device_a is not None:
        checks.append(_overload_check(sized, sized.device_a))
    checks.append(drop_check(sized))
    if sized.run.lies.for_modules or (sized.run.insulation == "xlpe" and not _by_gauge(sized)):
        checks.append(_warmth_check(sized))
    checks.append(_rated_check(sized))
    if stem_of(sized.run.key) in ARRAY_RUNS:
        checks.append(_array_cable_check(sized.run))
    return tuple(checks)


def _capacity_check(sized: SizedRun) -> Check:
    run, i_z = sized.run, sized.capacity_a
    if sized.device_a is None:
        return checked(i_z >= run.design_a, "failed", **worded(
            "wiring", "current-cable-carries", run_name=run.name, i_z=i_z, design_a=run.design_a,
            sized=_table_of(sized),
        ))  # fmt: skip
    limit_a = _largest_device_a(sized)
    passed = run.least_device_a <= sized.device_a + 1e-9 and sized.device_a <= min(i_z, limit_a)
    small = f", largest device {limit_a:g} A: NEC 240.4(D)" if math.isfinite(limit_a) else ""
    return checked(passed, "failed", **worded(
        "wiring", "design-current-device", run_name=run.name, design_a=run.design_a,
        device_a=sized.device_a, i_z=i_z, small=small, sized=_table_of(sized),
    ))  # fmt: skip


def _overload_check(sized: SizedRun, rated_a: float) -> Check:
    opens_a = surely_opens_a(sized.run.device, rated_a)
    limit_a = float(OVERLOAD_SHARE) * sized.capacity_a
    return checked(opens_a <= limit_a, "failed", **worded(
        "wiring", "current-that-surely", run_name=sized.run.name, opens_a=opens_a, limit_a=limit_a,
    ))  # fmt: skip


def drop_check(sized: SizedRun) -> Check:
    """Whether a run drops no more than it may, at its design or its working current."""
    run, percent = sized.run, 100.0 * sized.drop_frac
    limit = 100.0 * run.drop_limit_frac
    words = worded(
        "wiring", "voltage-drop-design", run_name=run.name, drop_percent=percent,
        drop_limit_percent=limit,
    ) if run.drop_a is None else worded(
        "wiring", "voltage-drop-working", run_name=run.name, drop_a=run.drop_a,
        drop_percent=percent, drop_limit_percent=limit,
    )  # fmt: skip
    return checked(
        sized.drop_frac <= run.drop_limit_frac, "failed",
        evidence="computed" if run.length_given else "assumed", **words,
    )


def _rated_check(sized: SizedRun) -> Check:
    run = sized.run
    return checked(run.highest_v <= run.rated_v, "failed", **worded(
        "wiring", "rated-voltage", run_name=run.name, rated_v=run.rated_v, highest_v=run.highest_v,
        current={"dc": "d.c.", "ac": "a.c."}[run.current], field=field_of(run, "rated_v"),
    ))  # fmt: skip


def _array_cable_check(run: Run) -> Check:
    """Double insulated, of a cable made for modules; another metal is for its maker to state."""
    outcome: Outcome = "failed" if run.insulation == "pvc" else "review"
    return checked(module_cable(run), outcome, **worded(
        "wiring", "array-cable", run_name=run.name, insulation=run.insulation.upper(),
        material=run.material, table=field_of(run, "").rstrip("."),
    ))  # fmt: skip


def warm_c(sized: SizedRun) -> float:
    """Conductor at the design current in its surroundings [degC]."""
    run = sized.run
    return working_c(run.ambient_c, hottest_c(run), run.design_a / sized.capacity_a)


def _warmth_check(sized: SizedRun) -> Check:
    """Cable made for modules: how hot it may be for its whole life. XLPE: what terminals stand."""
    run, solar = sized.run, sized.run.lies.for_modules
    limit_c = float(SOLAR_LASTING_C if solar else TERMINAL_C)
    return checked(
        warm_c(sized) <= limit_c, "failed",
        rule="wiring/conductor-temperature", kind="safety",
        item=f"{run.name}: conductor at the design current, {run.ambient_c:.0f} °C around it",
        found=f"{warm_c(sized):.0f}",
        limit=f"at most {limit_c:.0f} {'for its whole life' if solar else 'at usual terminals'}",
        unit="°C",
        clause="EN 50618: 90 °C for life, up to 120 °C for 20 000 h" if solar
        else TERMINAL_C.source,
        remedy="take a larger size or shade the cable: hotter than this its life is cut short"
        if solar else "take a larger size, or see that the terminals at both ends stand it",
    )  # fmt: skip


def _by_gauge(sized: SizedRun) -> bool:
    """Whether its current was read from the American table."""
    named = any(gauge.name == sized.size_name for gauge in gauges())
    return named and not sized.run.lies.for_modules and not sized.run.lies.in_ground


def _largest_device_a(sized: SizedRun) -> float:
    """Largest device of a small American conductor in conduit or cable [A]; no limit for others."""
    if _by_gauge(sized):
        for gauge in gauges():
            if gauge.name == sized.size_name and gauge.largest_device_a is not None:
                return gauge.largest_device_a * sized.in_parallel
    return math.inf


def _table_of(sized: SizedRun) -> str:
    """Source of the table that its current was read from."""
    if _by_gauge(sized):
        return published("gauge_capacity").source
    tables = [published(name) for name in sized.run.lies.capacity]
    last_mm2 = (table.numbers("size_mm2")[-1] or 0.0 for table in tables)
    reach = zip(tables, last_mm2, strict=True)
    return next((t.clause for t, most in reach if sized.size_mm2 <= most), tables[-1].clause)


Sizes = Literal["metric", "awg"]

PARALLEL_FROM_MM2 = constant("wiring.parallel_from_mm2")
PARALLEL_TO_MM2 = constant("wiring.parallel_to_mm2")
MOST_IN_PARALLEL = constant("wiring.most_in_parallel")
SMALLEST_SOLAR_MM2 = constant("wiring.smallest_solar_mm2")


HOT_PLACE_C = 60.0
"""Air in which no size keeps usual terminals cool enough: their check says so [degC]."""


@dataclass(frozen=True, kw_only=True)
class Money:
    """Prices that weigh a thicker cable against what a thinner one loses, in the site's money.

    Parameters
    ----------
    per_m_mm2_of_copper, per_m_mm2_of_aluminium : float
        A metre of single core, for each mm2 of it.
    per_metre_of_core : float
        A metre of single core laid, whatever its size.
    per_kwh_lost : float
    lifetime_years : float
        [years].
    interest_frac : float
        A year, [0 to 1].
    """

    per_m_mm2_of_copper: float
    per_m_mm2_of_aluminium: float
    per_metre_of_core: float
    per_kwh_lost: float
    lifetime_years: float
    interest_frac: float


@dataclass(frozen=True, kw_only=True)
class _Option:
    """A conductor, or some in parallel, that a run may get."""

    name: str
    size_mm2: float
    r20_ohm_per_km: float
    carries: Capacity
    in_parallel: int


def money_of(site: Site) -> Money:
    """The prices of the site file's [costs]."""
    costs = site.costs
    return Money(
        per_m_mm2_of_copper=costs.per_m_mm2_of_copper,
        per_m_mm2_of_aluminium=costs.per_m_mm2_of_aluminium,
        per_metre_of_core=costs.per_metre_of_core,
        per_kwh_lost=costs.per_kwh_lost,
        lifetime_years=costs.lifetime_years,
        interest_frac=costs.interest_frac,
    )


def core_count(run: Run) -> int:
    """Cores of one run with one conductor a pole and without a protective one.

    Two; three for two lines and a neutral, four for three.
    """
    return 4 if run.loaded == 3 else 2 + run.split


def safe_and_cheapest(
    run: Run, money: Money, *, sizes: Sizes = "metric", least_mm2: float = 0.0,
    device_a: float | None = None, most_mm2: float = math.inf,
) -> tuple[SizedRun, SizedRun]:
    """The smallest safe cable, and the one that costs least over its life, never smaller.

    Parameters
    ----------
    run, money, sizes, least_mm2
        As `size_run` [mm2].
    device_a : float, optional
        Rated current of its device where another rule has chosen it, as for string fuses [A].
    most_mm2 : float
        What the terminals take: no step beyond it for its price alone [mm2].

    Raises
    ------
    InputError
        A length, current, voltage or limit that cannot be; what `capacity` refuses; a design
        current above every device; no size that satisfies, with what was tried.
    """
    return _found(_Asked(run, money, sizes, (least_mm2, device_a, most_mm2)))


def in_company(sized: SizedRun, run: Run, money: Money, *, sizes: Sizes = "metric") -> SizedRun:
    """The same cable as its run lies in another company: what it carries and loses there."""
    if (run.grouped_circuits, run.company_mm2) == (
        sized.run.grouped_circuits, sized.run.company_mm2
    ):
        return sized
    return _moved(_Asked(run, money, sizes, (sized,)))


class _Asked:
    """What is asked of a run; two askings are one where all that a cable is chosen by agrees."""

    def __init__(self, run: Run, money: Money, sizes: Sizes, more: tuple[Any, ...]) -> None:
        self.run, self.money, self.sizes, self.more = run, money, sizes, more
        self.key = (*run.figures(), money, sizes, *more)

    def __hash__(self) -> int:
        return hash(self.key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Asked) and other.key == self.key


@lru_cache(maxsize=64)
def _moved(asked: _Asked) -> SizedRun:
    """The cable of `in_company`: kept, so that what follows from it is."""
    run, (sized,) = asked.run, asked.more
    option = (
        _gauge_option(run, checked_gauge(run, sized.size_mm2), sized.in_parallel)
        if asked.sizes == "awg" else _metric_option(run, sized.size_mm2, sized.in_parallel)
    )  # fmt: skip
    moved = _sized(run, option, sized.device_a, asked.money, run.squares)
    return replace(moved, decided_by=sized.decided_by)


@lru_cache(maxsize=512)
def _found(asked: _Asked) -> tuple[SizedRun, SizedRun]:
    """Kept: a change of one cable leaves the others as they were."""
    run, money, sizes = asked.run, asked.money, asked.sizes
    least_mm2, device_a, most_mm2 = asked.more
    _check_run(run)
    rated_a = device_rating_a(run) if device_a is None else device_a
    squares = run.squares
    if run.size_mm2 is not None:
        only = _sized(run, _fixed_option(run, run.size_mm2, sizes), rated_a, money, squares)
        only = replace(only, decided_by="the site file")
        return only, only
    tried: list[tuple[SizedRun, tuple[str, ...]]] = []
    for in_parallel in _parallel_counts(run):
        found: list[SizedRun] = []
        best = math.inf
        for option in _options(run, sizes, in_parallel):
            if _cost(run, option, money) >= best:  # so is every larger one, whatever it loses
                break
            sized = _sized(run, option, rated_a, money, squares)
            unmet = _unmet(sized, option, least_mm2)
            if not unmet:
                why = " and ".join(tried[-1][1]) if tried else "smallest size taken"
                found.append(replace(sized, decided_by=why) if not found else sized)
                if len(found) == 1 or _taken(sized, most_mm2):
                    best = min(best, sized.lifetime_cost)
            elif not found:
                tried.append((sized, unmet))
        if found:
            return found[0], _cheapest(found, most_mm2)
    raise _nothing_fits(run, tried, rated_a, least_mm2)


def _cheapest(found: list[SizedRun], most_mm2: float) -> SizedRun:
    safe, *larger = found
    larger = [sized for sized in larger if _taken(sized, most_mm2)]
    best = min((safe, *larger), key=lambda sized: sized.lifetime_cost)
    return safe if best is safe else replace(best, decided_by="least lifetime cost")


def _taken(sized: SizedRun, most_mm2: float) -> bool:
    """Whether its terminals take the conductor."""
    return sized.size_mm2 <= most_mm2 * (1.0 + 1e-9)


def _unmet(sized: SizedRun, option: _Option, least_mm2: float) -> tuple[str, ...]:
    """What the option does not satisfy."""
    i_z, rated_a = sized.capacity_a, sized.device_a
    if rated_a is None:
        carries = i_z >= sized.run.design_a
    else:
        opens_a = surely_opens_a(sized.run.device, rated_a)
        carries = i_z >= rated_a and opens_a <= float(OVERLOAD_SHARE) * i_z
        largest = option.carries.largest_device_a
        carries = carries and (largest is None or rated_a <= largest * option.in_parallel)
    fits = {
        "capacity": carries,
        "voltage drop": sized.drop_frac <= sized.run.drop_limit_frac,
        "short circuit": sized.size_mm2 * sized.in_parallel >= least_mm2,
        "heat at the terminals": _cool_enough(sized),
    }
    return tuple(name for name, met in fits.items() if not met)


def _cool_enough(sized: SizedRun) -> bool:
    """Whether its terminals stand the conductor; a place too hot for them is left to its check."""
    run = sized.run
    if run.lies.for_modules or run.insulation != "xlpe" or _by_gauge(sized):
        return True
    return run.ambient_c > HOT_PLACE_C or warm_c(sized) <= float(TERMINAL_C)


def _parallel_counts(run: Run) -> tuple[int, ...]:
    if run.in_parallel > 1:
        return (run.in_parallel,)
    return tuple(range(1, int(float(MOST_IN_PARALLEL)) + 1))


def _options(run: Run, sizes: Sizes, in_parallel: int) -> Iterator[_Option]:
    """Conductors that may be chosen, rising."""
    least = float(SMALLEST_SOLAR_MM2) if run.lies.for_modules else 0.0
    low, high = least, math.inf
    if in_parallel > 1 and run.in_parallel == 1:
        low, high = float(PARALLEL_FROM_MM2), float(PARALLEL_TO_MM2)
    if sizes == "awg":
        made = [gauge for gauge in gauges() if low <= gauge.size_mm2 <= high]
        return (_gauge_option(run, gauge, in_parallel) for gauge in made)
    within = [size for size in sizes_of(run) if low <= size <= high]
    return (_metric_option(run, size, in_parallel) for size in within)


def _metric_option(run: Run, size_mm2: float, in_parallel: int) -> _Option:
    size = checked_size_mm2(run, size_mm2)
    return _Option(
        name=f"{size:g} mm²",
        size_mm2=size,
        r20_ohm_per_km=resistances(resistance_column(run))[size],
        carries=capacity(run, size, in_parallel),
        in_parallel=in_parallel,
    )


def _gauge_option(run: Run, gauge: Gauge, in_parallel: int) -> _Option:
    carries = gauge_capacity(run, gauge, in_parallel)
    return _Option(
        name=gauge.name,
        size_mm2=gauge.size_mm2,
        r20_ohm_per_km=gauge_resistance_ohm_per_km(run, gauge),
        carries=carries,
        in_parallel=in_parallel,
    )


def _fixed_option(run: Run, size_mm2: float, sizes: Sizes) -> _Option:
    if sizes == "awg":
        return _gauge_option(run, checked_gauge(run, size_mm2), run.in_parallel)
    return _metric_option(run, size_mm2, run.in_parallel)


def drop_frac_within(run: Run, most_mm2: float, *, sizes: Sizes = "metric") -> float:
    """Share of its voltage that a run drops in the size given, or in the thickest up to another.

    Parameters
    ----------
    run : Run
    most_mm2 : float
        Of one conductor [mm2].
    sizes : {"metric", "awg"}

    Raises
    ------
    InputError
        For a size that is not made, and what `capacity` refuses.
    ValueError
        When none is as thin.
    """
    made = [one.size_mm2 for one in gauges()] if sizes == "awg" else sizes_of(run)
    size_mm2 = run.size_mm2 or max(one for one in made if one <= most_mm2)
    option = _fixed_option(run, size_mm2, sizes)
    return losses(run, option.r20_ohm_per_km, option.carries, in_parallel=option.in_parallel,
                  squares=run.squares).drop_frac  # fmt: skip


def _cost(run: Run, option: _Option, money: Money) -> float:
    """Cable bought and laid, all of the run's `count`, in the site's money."""
    copper = run.material == "copper"
    per_mm2 = money.per_m_mm2_of_copper if copper else money.per_m_mm2_of_aluminium
    core_m = core_count(run) * option.in_parallel * run.count * run.length_m
    return core_m * (per_mm2 * option.size_mm2 + money.per_metre_of_core)


def _sized(
    run: Run, option: _Option, rated_a: float | None, money: Money, squares: Squares
) -> SizedRun:
    lost = losses(
        run, option.r20_ohm_per_km, option.carries, in_parallel=option.in_parallel,
        squares=squares,
    )  # fmt: skip
    cost = _cost(run, option, money)
    yearly = money.per_kwh_lost * lost.loss_kwh_per_year
    return SizedRun(
        run=run,
        size_mm2=option.size_mm2,
        size_name=option.name,
        in_parallel=option.in_parallel,
        table_a=option.carries.table_a,
        capacity_a=option.carries.capacity_a,
        factors=dict(option.carries.factors),
        device_a=rated_a,
        drop_v=lost.drop_v,
        drop_frac=lost.drop_frac,
        loss_w=lost.loss_w,
        loss_kwh_per_year=lost.loss_kwh_per_year,
        cost=cost,
        lifetime_cost=cost + yearly * annuity_years(money.interest_frac, money.lifetime_years),
        decided_by="",
        drop_c=lost.drop_c,
        drop_ohm_per_km=lost.drop_ohm_per_km,
    )


def _check_run(run: Run) -> None:
    faults = length_faults(run)
    if not (math.isfinite(run.design_a) and run.design_a >= 0.0):
        faults.append(Fault(
            where=f"run {run.key}: design current", given=f"{run.design_a:g} A",
            allowed="0 A or more",
        ))  # fmt: skip
    if not (math.isfinite(run.voltage_v) and run.voltage_v > 0.0):
        faults.append(Fault(
            where=f"run {run.key}: voltage", given=f"{run.voltage_v:g} V", allowed="above 0 V"
        ))
    if not 0.0 < run.power_factor <= 1.0:
        faults.append(Fault(
            where=f"run {run.key}: power factor", given=f"{run.power_factor:g}",
            allowed="above 0 to 1",
        ))  # fmt: skip
    if run.in_parallel < 1:
        faults.append(Fault(
            where=field_of(run, "in_parallel"), given=f"{run.in_parallel}", allowed="1 or more"
        ))
    if faults:
        raise InputError(faults)


def _nothing_fits(
    run: Run,
    tried: list[tuple[SizedRun, tuple[str, ...]]],
    rated_a: float | None,
    least_mm2: float,
) -> InputError:
    last = tried[-1][0]
    asked_a = run.design_a if rated_a is None else rated_a
    if rated_a is not None:
        opens_a = surely_opens_a(run.device, rated_a)
        asked_a = max(rated_a, opens_a / float(OVERLOAD_SHARE))
    short = f" and {least_mm2:.0f} mm² for the short circuit" if least_mm2 > 0.0 else ""
    limit = run.drop_limit_frac
    drop = f", a drop of at most {100.0 * limit:.3g} %" if math.isfinite(limit) else ""
    beside = "" if run.grouped_circuits == 1 else (
        f"; {run.grouped_circuits} circuits lie together: fewer of them (larger battery units,"
        f" controllers, inverters), or another method for part ({field_of(run, 'method')})")
    return InputError(Fault(where=field_of(run, "size_mm2"), **worded(
        "wiring", "nothing-fits", run_name=run.name, material=run.material,
        said=_ranges([sized for sized, _ in tried]), capacity_a=last.capacity_a,
        drop_percent=100.0 * last.drop_frac, asked_a=asked_a, drop=drop, short=short,
        tried_1=", ".join(tried[-1][1]), beside=beside,
    )))  # fmt: skip


def _ranges(tried: list[SizedRun]) -> str:
    """The sizes tried, for each number in parallel."""
    parts = []
    for count in sorted({sized.in_parallel for sized in tried}):
        names = [sized.size_name for sized in tried if sized.in_parallel == count]
        each = "one" if count == 1 else f"{count} in parallel"
        parts.append(f"{each} of {names[0]} to {names[-1]}")
    return ", ".join(parts)
