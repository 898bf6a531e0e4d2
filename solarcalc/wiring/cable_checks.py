"""Verdicts on a run that has its cable."""

from __future__ import annotations

import math

from solarcalc.basis.errors import Fault
from solarcalc.basis.published import published
from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.basis.verdict import Verdict, judged
from solarcalc.wiring.conductors import (
    SOLAR_LASTING_C,
    TERMINAL_C,
    field_of,
    hottest_c,
    is_buried,
    is_solar,
    working_c,
)
from solarcalc.wiring.gauge import gauges
from solarcalc.wiring.overload import OVERLOAD_SHARE, surely_opens_a
from solarcalc.wiring.runs import Run, SizedRun

_LICENSED = "; a licensed electrician decides under local codes"


def length_faults(run: Run) -> list[Fault]:
    """What is wrong with the length of a run: it must be above zero."""
    if math.isfinite(run.length_m) and run.length_m > 0.0:
        return []
    return [Fault(
        where=field_of(run, "length_m"), given=f"{run.length_m:g} m", allowed="above 0 m",
        why="one way, along the cable", remedy="measure it",
    )]  # fmt: skip


def run_verdicts(sized: SizedRun) -> list[Verdict]:
    """Whether the run's cable carries, is protected, drops little enough, and was measured.

    Short circuits are judged by `withstand_verdict`, which needs the fault.

    Parameters
    ----------
    sized : SizedRun
    """
    verdicts = [_capacity_verdict(sized)]
    if sized.device_a is not None:
        verdicts.append(_overload_verdict(sized, sized.device_a))
    verdicts.append(_drop_verdict(sized))
    if is_solar(sized.run) or (sized.run.insulation == "xlpe" and not _by_gauge(sized)):
        verdicts.append(_warmth_verdict(sized))
    if not sized.run.length_given:
        verdicts.append(_length_verdict(sized.run))
    return verdicts


def _capacity_verdict(sized: SizedRun) -> Verdict:
    run, i_z = sized.run, sized.capacity_a
    if sized.device_a is None:
        return judged(
            i_z >= run.design_a, "failed",
            item=f"{run.name}: current the cable carries (I_z)", found=f"{i_z:.1f}",
            limit=f"at least {run.design_a:.1f}", unit="A",
            clause=f"I_b ≤ I_z: IEC 60364-4-43 433.1; {_table_of(sized)}",
            remedy="take a larger size, or lay it cooler or apart from others" + _LICENSED,
        )  # fmt: skip
    limit_a = _largest_device_a(sized)
    passed = run.design_a <= sized.device_a + 1e-9 and sized.device_a <= min(i_z, limit_a)
    small = f", largest device {limit_a:g} A: NEC 240.4(D)" if math.isfinite(limit_a) else ""
    return judged(
        passed, "failed",
        item=f"{run.name}: design current, device, cable (I_b, I_n, I_z)",
        found=f"{run.design_a:.1f}, {sized.device_a:g}, {i_z:.1f}",
        limit="each at least the one before", unit="A",
        clause=f"I_b ≤ I_n ≤ I_z: IEC 60364-4-43 433.1{small}; {_table_of(sized)}",
        remedy="take a larger size, or lay it cooler or apart from others" + _LICENSED,
    )  # fmt: skip


def _overload_verdict(sized: SizedRun, rated_a: float) -> Verdict:
    opens_a = surely_opens_a(sized.run.device, rated_a)
    limit_a = float(OVERLOAD_SHARE) * sized.capacity_a
    return judged(
        opens_a <= limit_a, "failed",
        item=f"{sized.run.name}: current that surely opens the device (I_2)",
        found=f"{opens_a:.1f}", limit=f"at most {limit_a:.1f}", unit="A",
        clause="I_2 ≤ 1.45 I_z: IEC 60364-4-43 433.1",
        remedy="take a larger size, or a breaker for the fuse" + _LICENSED,
    )  # fmt: skip


def _drop_verdict(sized: SizedRun) -> Verdict:
    return judged(
        sized.drop_frac <= sized.run.drop_limit_frac, "failed",
        item=f"{sized.run.name}: voltage drop at the design current",
        found=f"{100.0 * sized.drop_frac:.2f}",
        limit=f"at most {100.0 * sized.run.drop_limit_frac:.2f}", unit="%",
        clause=f"the site's limits in [cables], {NO_SOURCE}; method IEC 60364-5-52 annex G",
        remedy="take a larger size, shorten the run or raise its voltage",
    )  # fmt: skip


def _warmth_verdict(sized: SizedRun) -> Verdict:
    """Cable made for modules: how hot it may be for its whole life. XLPE: what terminals stand."""
    run, solar = sized.run, is_solar(sized.run)
    warm_c = working_c(run.ambient_c, hottest_c(run), run.design_a / sized.capacity_a)
    limit_c = float(SOLAR_LASTING_C if solar else TERMINAL_C)
    return judged(
        warm_c <= limit_c,
        item=f"{run.name}: conductor at the design current, {run.ambient_c:.0f} °C around it",
        found=f"{warm_c:.0f}",
        limit=f"at most {limit_c:.0f} {'for its whole life' if solar else 'at usual terminals'}",
        unit="°C",
        clause="EN 50618: 90 °C for life, up to 120 °C for 20 000 h" if solar
        else TERMINAL_C.source,
        remedy="take a larger size or shade the cable: hotter than this its life is cut short"
        if solar else "take a larger size, or see that the terminals at both ends stand it",
    )  # fmt: skip


def _length_verdict(run: Run) -> Verdict:
    return Verdict(
        item=f"{run.name}: length", found=f"{run.length_m:g}, a usual one", limit="measured",
        unit="m", outcome="caution", clause=NO_SOURCE,
        remedy=f"measure it along the cable and write {field_of(run, 'length_m')}",
    )  # fmt: skip


def _by_gauge(sized: SizedRun) -> bool:
    """Whether its current was read from the American table."""
    named = any(gauge.name == sized.size_name for gauge in gauges())
    return named and not is_solar(sized.run) and not is_buried(sized.run)


def _largest_device_a(sized: SizedRun) -> float:
    """Largest device of a small American conductor in pipe or cable [A]; no limit for others."""
    if _by_gauge(sized):
        for gauge in gauges():
            if gauge.name == sized.size_name and gauge.largest_device_a is not None:
                return gauge.largest_device_a * sized.in_parallel
    return math.inf


def _table_of(sized: SizedRun) -> str:
    """Source of the table that its current was read from."""
    if is_solar(sized.run):
        return published("cable_capacity_solar").clause
    if _by_gauge(sized):
        return published("gauge_capacity").source
    last_mm2 = published("cable_capacity").numbers("size_mm2")[-1] or 0.0
    large = sized.size_mm2 > last_mm2
    return published("cable_capacity_large" if large else "cable_capacity").clause
