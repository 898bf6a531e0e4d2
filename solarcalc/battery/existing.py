"""What the customer already owns, by its tests: keep it, use it elsewhere, or replace it.

The essential board must not lose supply, so it gets what is sound; the other board may wait, and
can have what is worn but safe. Checked by the test results of the site file's [[existing]].
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import pandas as pd

from solarcalc.basis.check import Check, checked
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.hours import HOURS_IN_YEAR
from solarcalc.basis.sourced import NO_SOURCE, Sourced, assumptions, constant
from solarcalc.basis.worded import worded
from solarcalc.battery.existing_battery import (
    CHOICES,
    BoardNeed,
    Judgement,
    Place,
    choice_check,
    judged_battery,
    kind_assumptions,
    kind_of,
    same_class,
    worst,
)
from solarcalc.energy.diode import (
    DIODE_FACTOR,
    Conditions,
    isc_at_stc_a,
    power_at_stc_w,
    voc_at_stc_v,
)
from solarcalc.sitefile.existing import Existing

LOST_EFFICIENCY_FRAC = constant("battery.lost_efficiency_frac")
BAD_EFFICIENCY_FRAC = constant("battery.bad_efficiency_frac")
NO_LOAD_TIMES = constant("battery.no_load_times")
OLD_YEARS = constant("battery.old_years")


def judged_inverter(existing: Existing, place: Place) -> Judgement:
    """An existing inverter: whether it carries a board, and what it costs to run."""
    surge, efficiency, idle = _found(existing)
    fit = _fits(existing, place, surge)
    tests = [_inverter_voltage(existing, place), fit, _lost(existing, efficiency),
             _idle(existing, idle),
             _age(existing)]  # fmt: skip
    tested = existing.measured_surge_va is not None
    choice = worst([rank for rank, _ in tests], tested=tested)
    values = _values(place, efficiency=efficiency, no_load_w=idle)
    checks = [check for _, check in tests]
    return Judgement(
        label=existing.label, kind=existing.kind, choice=choice,
        why=tuple(f"{check.item}: {check.found_words}"
                  for check in checks if check.outcome != "passed")
        or ("all tests passed" if tested else "no objection, but not tested",),
        consequences=_consequences_of_inverter(existing, values),
        values=values,
        checks=(
            choice_check(
                existing.label, choice, clause=f"the loads of the board, and its tests;"
                                               f" {NO_SOURCE}",
                remedy={
                    "replace": "a new inverter sized to its board",
                    "use on the other board": "use it for the non-essential board, which may be"
                                              " shed",
                    "test first": "start the largest motor of the board on it, by trained people",
                }.get(choice, ""),
            ),
            *checks,
        ),
    )  # fmt: skip


def _found(existing: Existing) -> tuple[float, float, float]:
    """Surge [VA], efficiency and no-load power [W]: measured, or else as rated."""
    pairs = (
        (existing.measured_surge_va, existing.surge_power_va),
        (existing.measured_efficiency_frac, existing.efficiency_frac),
        (existing.measured_no_load_w, existing.no_load_power_w),
    )
    surge, efficiency, idle = (
        float((rated or 0.0) if measured is None else measured) for measured, rated in pairs
    )
    return surge, efficiency, idle


def _inverter_voltage(existing: Existing, place: Place) -> tuple[int, Check]:
    fits = same_class(existing.bank_voltage_v or 0.0, place.bank_voltage_v)
    return 0 if fits else 2, checked(fits, "failed", **worded(
        "battery", "voltage-bank", bank_voltage_v=existing.bank_voltage_v,
        place_bank_voltage_v=place.bank_voltage_v,
    ))  # fmt: skip


def _fits(existing: Existing, place: Place, surge_va: float) -> tuple[int, Check]:
    essential, nonessential = (_carries(existing, need, surge_va)
                               for need in (place.essential, place.nonessential))
    rank = 0 if essential else 1 if nonessential else 2
    return rank, checked(
        essential, "failed" if rank == 2 else "review",
        rule="battery/owned-power", kind="supply",
        item="Continuous power and largest starting load",
        found=f"{existing.continuous_power_w:g} W, {surge_va:g} VA",
        limit=f"essential {place.essential.peak_w:g} W, {place.essential.surge_va:g} VA;"
        f" non-essential {place.nonessential.peak_w:g} W, {place.nonessential.surge_va:g} VA",
        clause="measured value where there is one, otherwise rated value",
        remedy="it is suitable for the non-essential board only" if rank == 1
        else "it is suitable for neither board",
    )  # fmt: skip


def _carries(existing: Existing, need: BoardNeed, surge_va: float) -> bool:
    return (existing.continuous_power_w or 0.0) >= need.peak_w and surge_va >= need.surge_va


def _lost(existing: Existing, efficiency_frac: float) -> tuple[int, Check]:
    lost = (existing.efficiency_frac or 0.0) - efficiency_frac
    rank = (
        0 if lost <= float(LOST_EFFICIENCY_FRAC)
        else 1 if lost <= float(BAD_EFFICIENCY_FRAC) else 2
    )  # fmt: skip
    return rank, checked(
        rank == 0, "failed" if rank == 2 else "review",
        rule="battery/owned-efficiency", kind="yield",
        item="Loss of efficiency", found=f"{max(lost, 0.0) * 100.0:.1f}",
        limit=f"{float(LOST_EFFICIENCY_FRAC) * 100.0:g}", unit="points",
        clause=LOST_EFFICIENCY_FRAC.source,
        remedy="check terminals and fan; the losses heat it",
    )  # fmt: skip


def _idle(existing: Existing, no_load_w: float) -> tuple[int, Check]:
    most = (existing.no_load_power_w or 0.0) * float(NO_LOAD_TIMES)
    fine = no_load_w <= most or existing.measured_no_load_w is None
    return 0 if fine else 1, checked(
        fine, **worded("battery", "idle-power", no_load_w=no_load_w, most=most),
        clause=NO_LOAD_TIMES.source,
    )  # fmt: skip


def _age(existing: Existing) -> tuple[int, Check]:
    young = existing.age_years < float(OLD_YEARS)
    return 0 if young else 1, checked(
        young,
        rule="battery/owned-age", kind="cost",
        item="Age", found=f"{existing.age_years:g}", limit=f"{float(OLD_YEARS):g}",
        unit="years", clause=OLD_YEARS.source, remedy="not on the essential board",
    )  # fmt: skip


def _values(place: Place, *, efficiency: float, no_load_w: float) -> dict[str, float]:
    heat = (1.0 / efficiency - 1.0) * HOURS_IN_YEAR / 24.0 / 1000.0
    return {"no_load_kwh_per_year": no_load_w * HOURS_IN_YEAR / 1000.0,
            "essential_loss_kwh_per_year": place.essential.daily_wh * heat,
            "nonessential_loss_kwh_per_year": place.nonessential.daily_wh * heat}


def _consequences_of_inverter(existing: Existing, values: dict[str, float]) -> dict[str, str]:
    idle = values["no_load_kwh_per_year"]
    return {
        "keep": f"On the essential board its losses are"
        f" {values['essential_loss_kwh_per_year']:.0f} kWh/year and its no-load consumption"
        f" {idle:.0f} kWh/year; it is the only supply of that board, {existing.age_years:g} years"
        " old: keep a spare.",
        "use on the other board": "On the non-essential board its losses are"
        f" {values['nonessential_loss_kwh_per_year']:.0f} kWh/year and its no-load consumption"
        f" up to {idle:.0f} kWh/year; if it fails, the essential board keeps its supply from the"
        " new one.",
        "replace": "The price of a new one sized for its board; the old one can be kept as a spare"
        " if serviceable.",
    }


CORRECTION = constant("battery.correction")
LEAST_W_M2 = constant("battery.least_w_m2")
SOUND_MODULE_FRAC = constant("battery.sound_module_frac")
REPLACE_MODULE_FRAC = constant("battery.replace_module_frac")
SECTION_FRAC = constant("battery.section_frac")
AGEING_FRAC = constant("battery.ageing_frac")


@dataclass(frozen=True, kw_only=True)
class AtStandard:
    """Test results at 1000 W/m2 and 25 degC; None for what was not measured."""

    isc_a: float | None
    voc_v: float | None
    pmax_w: float | None


def at_standard(existing: Existing) -> AtStandard:
    """The test results of an existing module at 1000 W/m2 and 25 degC.

    Power that was not measured is taken from current and voltage with the fill factor of the
    data sheet: an upper bound, for age takes from the fill factor as well.
    """
    light, temp = existing.measured_irradiance_w_m2, existing.measured_temp_c
    if light is None or temp is None:
        return AtStandard(isc_a=None, voc_v=None, pmax_w=None)
    at = Conditions(light_w_m2=light, cell_c=temp)
    isc, voc, power = existing.measured_isc_a, existing.measured_voc_v, existing.measured_pmax_w
    isc = None if isc is None else isc_at_stc_a(isc, existing, at)
    voc = None if voc is None else voc_at_stc_v(voc, existing, at)
    if power is not None:
        power = power_at_stc_w(power, existing, at)
    elif isc is not None and voc is not None:
        power = float(existing.pmax_w or 0.0) * isc / float(existing.isc_a or 1.0)
        power *= voc / float(existing.voc_v or 1.0)
    return AtStandard(isc_a=isc, voc_v=voc, pmax_w=power)


def judged_module(existing: Existing, place: Place) -> Judgement:
    """An existing module, or several alike: power left, and what follows from each choice."""
    found = at_standard(existing)
    tests = [test for test in (_power(existing, found), _module_voltage(existing, found),
                               _light(existing))
             if test is not None]  # fmt: skip
    choice = worst([rank for rank, _ in tests], tested=found.pmax_w is not None)
    rated = float(existing.pmax_w or 0.0)
    power = rated if found.pmax_w is None else found.pmax_w
    values = {"rated_power_w": rated * existing.count, "power_now_w": power * existing.count}
    if found.pmax_w is not None:
        values["power_left_frac"] = power / rated
        values["power_by_age_frac"] = (1.0 - float(AGEING_FRAC)) ** existing.age_years
    checks = [check for _, check in tests]
    return Judgement(
        label=existing.label, kind=existing.kind, choice=choice,
        why=tuple(f"{check.item}: {check.found_words}"
                  for check in checks) or ("no test was given",),
        consequences=_consequences_of_module(place, values),
        values=values,
        checks=(
            choice_check(
                existing.label, choice, clause=REPLACE_MODULE_FRAC.source,
                remedy={
                    "replace": "take it down; cracked glass, burn marks or bad insulation ask for"
                    " that whatever its power",
                    "use on the other board": "separate strings with their own controller, for the"
                    " non-essential board",
                    "test first": "measure current, voltage and power at high irradiance, with"
                    " irradiance and cell temperature, by trained people: a module"
                    " cannot be switched off",
                }.get(choice, ""),
            ),
            *checks,
        ),
    )  # fmt: skip


def _power(existing: Existing, found: AtStandard) -> tuple[int, Check] | None:
    if found.pmax_w is None:
        return None
    left = found.pmax_w / float(existing.pmax_w or 1.0)
    rank = 0 if left >= float(SOUND_MODULE_FRAC) else 1 if left >= float(REPLACE_MODULE_FRAC) else 2
    how = "" if existing.measured_pmax_w is not None else ", from current and voltage, at most"
    return rank, checked(rank == 0, "failed" if rank == 2 else "review", **worded(
        "battery", "power-standard-conditions", how=how, left=left * 100.0,
        sound_module_frac=float(SOUND_MODULE_FRAC) * 100.0,
        replace_module_frac=float(REPLACE_MODULE_FRAC) * 100.0, correction_source=CORRECTION.source,
        replace_module_frac_source=REPLACE_MODULE_FRAC.source,
    ))  # fmt: skip


def _module_voltage(existing: Existing, found: AtStandard) -> tuple[int, Check] | None:
    """A section between bypass diodes that is gone lowers the voltage by its share."""
    if found.voc_v is None:
        return None
    share = found.voc_v / float(existing.voc_v or 1.0)
    fine = share >= float(SECTION_FRAC)
    return 0 if fine else 1, checked(fine, clause=SECTION_FRAC.source, **worded(
        "battery", "open-circuit-voltage", share=share * 100.0,
        section_frac=float(SECTION_FRAC) * 100.0,
    ))  # fmt: skip


def _light(existing: Existing) -> tuple[int, Check] | None:
    if existing.measured_irradiance_w_m2 is None:
        return None
    return 0, checked(
        existing.measured_irradiance_w_m2 >= float(LEAST_W_M2),
        rule="battery/light-at-test", kind="data",
        item="Irradiance at the test", found=f"{existing.measured_irradiance_w_m2:.0f}",
        limit=f"{float(LEAST_W_M2):.0f}", unit="W/m²", clause=LEAST_W_M2.source,
        remedy="measure again at higher irradiance: the correction becomes uncertain",
    )  # fmt: skip


def _consequences_of_module(place: Place, values: dict[str, float]) -> dict[str, str]:
    now_w, missing_w = values["power_now_w"], values["rated_power_w"] - values["power_now_w"]
    per_kw = place.yield_kwh_per_kw_per_year

    def energy(watts: float) -> str:
        return "" if per_kw is None else f", about {watts * per_kw / 1000.0:.0f} kWh/year"

    return {
        "keep": f"{now_w:.0f} W in the strings of the array{energy(now_w)}; in series with better"
        " modules the lowest current limits the whole string.",
        "use on the other board": f"{now_w:.0f} W in strings and with a controller of their own"
        f"{energy(now_w)}, so that they do not limit healthy modules.",
        "replace": f"New modules of the same rating add {max(missing_w, 0.0):.0f} W"
        f"{energy(max(missing_w, 0.0))}.",
    }


EXISTING_CAUTION = (
    "A swollen, leaking or hot battery, a cracked or burnt module, an inverter with a damaged case"
    " or a tripping breaker is not tested and not used, whatever its figures: isolate it and call"
    " a licensed person. Tests and reuse go by local codes."
)
"""To be shown wherever a judgement is."""


def existing_assumptions(existing: Iterable[Existing]) -> list[Sourced]:
    """What the judgement of these takes for granted, each with its source; empty for none."""
    things = list(existing)
    kinds = {str(one.chemistry): kind_of(one) for one in things if one.kind == "battery"}
    by_kind = [entry for kind in kinds.values() for entry in kind_assumptions(kind)]
    return [*assumptions("battery", "existing"), DIODE_FACTOR, *by_kind] if things else []


def judge_existing(existing: Existing, place: Place) -> Judgement:
    """Keep, use on the other board, replace, or test first; with what follows from each.

    Parameters
    ----------
    existing : Existing
        One [[existing]] of the site file.
    place : Place
        The bank's voltage and what the two boards ask.

    Returns
    -------
    Judgement

    Raises
    ------
    InputError
        A bank voltage that is not above 0, or a need below 0.
    """
    _check(place)
    return JUDGED[existing.kind](existing, place)


JUDGED = {"battery": judged_battery, "inverter": judged_inverter, "module": judged_module}
"""How each kind is judged that has a choice; others are tested, and used again or not."""


def existing_table(judgements: Iterable[Judgement]) -> pd.DataFrame:
    """One row a thing: what it is, the choice, why, and what follows from each choice."""
    rows = [
        (item.label, item.kind, item.choice, "; ".join(item.why),
         *(item.consequences[choice] for choice in CHOICES))
        for item in judgements
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["existing", "kind", "choice", "found", *CHOICES])


def _check(place: Place) -> None:
    faults = []
    if not 0.0 < place.bank_voltage_v < float("inf"):
        faults.append(_fault("bank_voltage_v", place.bank_voltage_v, "above 0 V"))
    for board, need in (("essential", place.essential), ("nonessential", place.nonessential)):
        for name in ("peak_w", "surge_va", "daily_wh"):
            value = getattr(need, name)
            if not 0.0 <= value < float("inf"):
                faults.append(_fault(f"{board}.{name}", value, "0 or more"))
    if faults:
        raise InputError(faults)


def _fault(field: str, given: object, allowed: str) -> Fault:
    return Fault(where=f"existing things: {field}", given=str(given), allowed=allowed)
