"""An owned inverter by its tests: largest start, efficiency, idle power."""

from __future__ import annotations

from solarcalc.basis.hours import HOURS_IN_YEAR
from solarcalc.basis.sourced import NO_SOURCE, constant
from solarcalc.basis.verdict import Verdict, judged
from solarcalc.battery.owned_result import (
    BoardNeed,
    Judgement,
    Place,
    choice_verdict,
    same_class,
    worst,
)
from solarcalc.sitefile.owned import Owned

LOST_EFFICIENCY_FRAC = constant("battery.lost_efficiency_frac")
BAD_EFFICIENCY_FRAC = constant("battery.bad_efficiency_frac")
IDLE_TIMES = constant("battery.idle_times")
OLD_YEARS = constant("battery.old_years")


def judged_inverter(owned: Owned, place: Place) -> Judgement:
    """An owned inverter: whether it carries a board, and what it costs to run."""
    surge, efficiency, idle = _found(owned)
    fit = _fits(owned, place, surge)
    tests = [_voltage(owned, place), fit, _lost(owned, efficiency), _idle(owned, idle),
             _age(owned)]  # fmt: skip
    tested = owned.measured_surge_va is not None
    choice = worst([rank for rank, _ in tests], tested=tested)
    values = _values(place, efficiency=efficiency, idle_w=idle)
    verdicts = [verdict for _, verdict in tests]
    return Judgement(
        label=owned.label, kind=owned.kind, choice=choice,
        why=tuple(f"{verdict.item}: {verdict.found} {verdict.unit}".strip()
                  for verdict in verdicts if verdict.outcome != "passed")
        or ("every test is passed",),
        consequences=_consequences(owned, values),
        values=values,
        verdicts=(
            choice_verdict(
                owned.label, choice, clause=f"the board's loads, and its tests; {NO_SOURCE}",
                remedy={
                    "replace": "a new inverter sized to its board",
                    "use on the other board": "let it serve the heavy board, which may wait",
                    "test first": "start the largest motor of the board on it, by trained people",
                }.get(choice, ""),
            ),
            *verdicts,
        ),
    )  # fmt: skip


def _found(owned: Owned) -> tuple[float, float, float]:
    """Surge [VA], efficiency and idle power [W]: measured, or else as rated."""
    pairs = (
        (owned.measured_surge_va, owned.surge_power_va),
        (owned.measured_efficiency_frac, owned.efficiency_frac),
        (owned.measured_idle_w, owned.idle_power_w),
    )
    surge, efficiency, idle = (
        float((rated or 0.0) if measured is None else measured) for measured, rated in pairs
    )
    return surge, efficiency, idle


def _voltage(owned: Owned, place: Place) -> tuple[int, Verdict]:
    fits = same_class(owned.bank_voltage_v or 0.0, place.bank_voltage_v)
    return 0 if fits else 2, judged(
        fits, "failed",
        item="Voltage of the bank", found=f"{owned.bank_voltage_v:g}",
        limit=f"{place.bank_voltage_v:g}", unit="V",
        clause="an inverter works on one nominal voltage; its data sheet",
        remedy="it cannot work on this bank",
    )  # fmt: skip


def _fits(owned: Owned, place: Place, surge_va: float) -> tuple[int, Verdict]:
    critical, heavy = (_carries(owned, need, surge_va) for need in (place.critical, place.heavy))
    rank = 0 if critical else 1 if heavy else 2
    return rank, judged(
        critical, "failed" if rank == 2 else "caution",
        item="Continuous power and largest start",
        found=f"{owned.continuous_power_w:g} W, {surge_va:g} VA",
        limit=f"critical {place.critical.peak_w:g} W, {place.critical.surge_va:g} VA;"
        f" heavy {place.heavy.peak_w:g} W, {place.heavy.surge_va:g} VA",
        clause="measured where it was measured, otherwise as rated",
        remedy="it carries the heavy board only" if rank == 1 else "it carries neither board",
    )  # fmt: skip


def _carries(owned: Owned, need: BoardNeed, surge_va: float) -> bool:
    return (owned.continuous_power_w or 0.0) >= need.peak_w and surge_va >= need.surge_va


def _lost(owned: Owned, efficiency_frac: float) -> tuple[int, Verdict]:
    lost = (owned.efficiency_frac or 0.0) - efficiency_frac
    rank = (
        0 if lost <= float(LOST_EFFICIENCY_FRAC)
        else 1 if lost <= float(BAD_EFFICIENCY_FRAC) else 2
    )  # fmt: skip
    return rank, judged(
        rank == 0, "failed" if rank == 2 else "caution",
        item="Efficiency lost", found=f"{max(lost, 0.0) * 100.0:.1f}",
        limit=f"{float(LOST_EFFICIENCY_FRAC) * 100.0:g}", unit="points",
        clause=LOST_EFFICIENCY_FRAC.source,
        remedy="look at terminals and fan; what is lost is heat inside it",
    )  # fmt: skip


def _idle(owned: Owned, idle_w: float) -> tuple[int, Verdict]:
    most = (owned.idle_power_w or 0.0) * float(IDLE_TIMES)
    fine = idle_w <= most or owned.measured_idle_w is None
    return 0 if fine else 1, judged(
        fine, item="Idle power", found=f"{idle_w:g}", limit=f"{most:g}", unit="W",
        clause=IDLE_TIMES.source, remedy="on the heavy board it can be switched off when idle",
    )  # fmt: skip


def _age(owned: Owned) -> tuple[int, Verdict]:
    young = owned.age_years < float(OLD_YEARS)
    return 0 if young else 1, judged(
        young, item="Age", found=f"{owned.age_years:g}", limit=f"{float(OLD_YEARS):g}",
        unit="years", clause=OLD_YEARS.source, remedy="not on the board that must not go dark",
    )  # fmt: skip


def _values(place: Place, *, efficiency: float, idle_w: float) -> dict[str, float]:
    heat = (1.0 / efficiency - 1.0) * HOURS_IN_YEAR / 24.0 / 1000.0
    return {
        "idle_kwh_per_year": idle_w * HOURS_IN_YEAR / 1000.0,
        "critical_loss_kwh_per_year": place.critical.daily_wh * heat,
        "heavy_loss_kwh_per_year": place.heavy.daily_wh * heat,
    }


def _consequences(owned: Owned, values: dict[str, float]) -> dict[str, str]:
    idle = values["idle_kwh_per_year"]
    return {
        "keep": f"On the critical board it turns {values['critical_loss_kwh_per_year']:.0f} kWh a"
        f" year into heat and idles through {idle:.0f} kWh; it is the only supply of that board,"
        f" {owned.age_years:g} years old: have a spare.",
        "use on the other board": "On the heavy board it turns"
        f" {values['heavy_loss_kwh_per_year']:.0f} kWh a year into heat and idles through up to"
        f" {idle:.0f} kWh; when it fails the critical board stays alight on a new one.",
        "replace": "The price of a new one sized to its board; the old one may wait as a spare if"
        " it is sound.",
    }
