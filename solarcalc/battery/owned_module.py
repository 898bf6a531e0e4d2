"""An owned module by its tests, brought to 1000 W/m2 and 25 degC."""

from __future__ import annotations

from dataclasses import dataclass

from solarcalc.basis.sourced import constant
from solarcalc.basis.verdict import Verdict, judged
from solarcalc.battery.owned_result import Judgement, Place, choice_verdict, worst
from solarcalc.energy.diode import Conditions, isc_at_stc_a, power_at_stc_w, voc_at_stc_v
from solarcalc.sitefile.owned import Owned

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


def at_standard(owned: Owned) -> AtStandard:
    """The test results of an owned module at 1000 W/m2 and 25 degC.

    Power that was not measured is taken from current and voltage with the fill factor of the
    data sheet: an upper bound, for age takes from the fill factor as well.
    """
    light, temp = owned.measured_irradiance_w_m2, owned.measured_temp_c
    if light is None or temp is None:
        return AtStandard(isc_a=None, voc_v=None, pmax_w=None)
    at = Conditions(light_w_m2=light, cell_c=temp)
    isc, voc, power = owned.measured_isc_a, owned.measured_voc_v, owned.measured_pmax_w
    isc = None if isc is None else isc_at_stc_a(isc, owned, at)
    voc = None if voc is None else voc_at_stc_v(voc, owned, at)
    if power is not None:
        power = power_at_stc_w(power, owned, at)
    elif isc is not None and voc is not None:
        power = float(owned.pmax_w or 0.0) * isc / float(owned.isc_a or 1.0)
        power *= voc / float(owned.voc_v or 1.0)
    return AtStandard(isc_a=isc, voc_v=voc, pmax_w=power)


def judged_module(owned: Owned, place: Place) -> Judgement:
    """An owned module, or several alike: power left, and what follows from each choice."""
    found = at_standard(owned)
    tests = [test for test in (_power(owned, found), _voltage(owned, found), _light(owned))
             if test is not None]  # fmt: skip
    choice = worst([rank for rank, _ in tests], tested=found.pmax_w is not None)
    rated = float(owned.pmax_w or 0.0)
    power = rated if found.pmax_w is None else found.pmax_w
    values = {"rated_power_w": rated * owned.count, "power_now_w": power * owned.count}
    if found.pmax_w is not None:
        values["power_left_frac"] = power / rated
        values["power_by_age_frac"] = (1.0 - float(AGEING_FRAC)) ** owned.age_years
    verdicts = [verdict for _, verdict in tests]
    return Judgement(
        label=owned.label, kind=owned.kind, choice=choice,
        why=tuple(f"{verdict.item}: {verdict.found} {verdict.unit}".strip()
                  for verdict in verdicts) or ("no test was given",),
        consequences=_consequences(place, values),
        values=values,
        verdicts=(
            choice_verdict(
                owned.label, choice, clause=REPLACE_MODULE_FRAC.source,
                remedy={
                    "replace": "take it down; cracked glass, burn marks or bad insulation ask for"
                    " that whatever its power",
                    "use on the other board": "strings and a controller of their own, for the"
                    " heavy board",
                    "test first": "measure current, voltage and power in full sun, with light and"
                    " cell temperature, by trained people: a module cannot be switched off",
                }.get(choice, ""),
            ),
            *verdicts,
        ),
    )  # fmt: skip


def _power(owned: Owned, found: AtStandard) -> tuple[int, Verdict] | None:
    if found.pmax_w is None:
        return None
    left = found.pmax_w / float(owned.pmax_w or 1.0)
    rank = 0 if left >= float(SOUND_MODULE_FRAC) else 1 if left >= float(
        REPLACE_MODULE_FRAC) else 2  # fmt: skip
    how = "" if owned.measured_pmax_w is not None else ", from current and voltage, at most"
    return rank, judged(
        rank == 0, "failed" if rank == 2 else "caution",
        item=f"Power at standard conditions against the rating{how}",
        found=f"{left * 100.0:.0f}",
        limit=f"{float(SOUND_MODULE_FRAC) * 100.0:.0f}, and"
        f" {float(REPLACE_MODULE_FRAC) * 100.0:.0f} to stay in use",
        unit="%", clause=f"{CORRECTION.source}; {REPLACE_MODULE_FRAC.source}",
        remedy="clean it and measure again before it is given up",
    )  # fmt: skip


def _voltage(owned: Owned, found: AtStandard) -> tuple[int, Verdict] | None:
    """A section between bypass diodes that is gone lowers the voltage by its share."""
    if found.voc_v is None:
        return None
    share = found.voc_v / float(owned.voc_v or 1.0)
    fine = share >= float(SECTION_FRAC)
    return 0 if fine else 1, judged(
        fine, item="Open-circuit voltage against the rating", found=f"{share * 100.0:.0f}",
        limit=f"{float(SECTION_FRAC) * 100.0:.0f}", unit="%", clause=SECTION_FRAC.source,
        remedy="a section or its bypass diode may be gone: never in a string with sound modules",
    )  # fmt: skip


def _light(owned: Owned) -> tuple[int, Verdict] | None:
    if owned.measured_irradiance_w_m2 is None:
        return None
    return 0, judged(
        owned.measured_irradiance_w_m2 >= float(LEAST_W_M2),
        item="Light at the test", found=f"{owned.measured_irradiance_w_m2:.0f}",
        limit=f"{float(LEAST_W_M2):.0f}", unit="W/m2", clause=LEAST_W_M2.source,
        remedy="measure again in stronger light: the correction grows uncertain",
    )  # fmt: skip


def _consequences(place: Place, values: dict[str, float]) -> dict[str, str]:
    now_w, missing_w = values["power_now_w"], values["rated_power_w"] - values["power_now_w"]
    per_kw = place.yield_kwh_per_kw_per_year

    def energy(watts: float) -> str:
        return "" if per_kw is None else f", about {watts * per_kw / 1000.0:.0f} kWh a year"

    return {
        "keep": f"{now_w:.0f} W in the strings of the array{energy(now_w)}; in series with better"
        " modules the weakest current holds for all of its string.",
        "use on the other board": f"{now_w:.0f} W in strings and with a controller of their own"
        f"{energy(now_w)}, so that they hold no sound module back.",
        "replace": f"New modules of the same rating bring {max(missing_w, 0.0):.0f} W more"
        f"{energy(max(missing_w, 0.0))}.",
    }
