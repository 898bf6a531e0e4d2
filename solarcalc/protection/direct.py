"""Direct current: fuses of strings, isolators, breakers of the controllers.

An arc of direct current has no zero to go out at. A switch made for alternating current welds or
burns when it opens one, and a connector pulled under load arcs from hand to hand.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from solarcalc.basis.check import Check, checked
from solarcalc.basis.sourced import NO_SOURCE, constant
from solarcalc.basis.worded import worded
from solarcalc.protection.banks import BREAKS, DIVIDE, UNBROKEN, Bank, poles_words
from solarcalc.protection.case import Case, Device, next_rating, sold_v
from solarcalc.protection.faults import bank_fault, class_for
from solarcalc.sitefile.site import Site
from solarcalc.wiring.runs import Run, SizedRun, battery_poles
from solarcalc.wiring.string_plan import circuit_a

BUILDING_DC_V = constant("protection.building_dc_v")
DC_BREAKER_KA = constant("protection.dc_breaker_ka")
STRING_FUSE_KA = constant("protection.string_fuse_ka")


def backfeed_a(isc_a: float, strings: int) -> float:
    """What the other strings drive into a shorted one [A].

    Parameters
    ----------
    isc_a : float
        [A].
    strings : int
        In parallel, the shorted one counted.
    """
    return max(strings - 1, 0) * isc_a


def direct_devices(case: Case, banks: tuple[Bank, ...]) -> Iterator[Device]:
    """Fuses of strings, isolators of the array, breakers of the controllers."""
    if case.string_fuse_a is not None:
        yield Device(
            **worded("protection", "string-fuse-direct-devices"), count=case.strings, poles=2,
            rated_a=case.string_fuse_a, **sold_v("dc", case.cold_string_v),
            breaking_ka=float(STRING_FUSE_KA), asked=("gPV",),
        )  # fmt: skip
    rated_a = isolator_a(case)
    if rated_a is not None:
        yield Device(
            **worded("protection", "array-isolator"), count=case.site.controller.count, poles=2,
            rated_a=rated_a, **sold_v("dc", case.cold_string_v), breaking_ka=None,
            asked=("DC-PV2",),
        )  # fmt: skip
    for sized in case.of("controller_battery"):
        if sized.device_a is not None:
            yield _controller(case.site, sized, banks)


def with_fuses(site: Site, runs: Sequence[Run]) -> tuple[Run, ...]:
    """The runs; where no breaker breaks the bank's largest fault, a controller's has a fuse."""
    fault_a = max(
        bank_fault(bank, strings=bank.units_in_parallel,
                   known_a=site.protection.battery_fault_a).bars_a
        for bank in site.banks.values()
    )  # fmt: skip
    if fault_a <= 1000.0 * float(DC_BREAKER_KA):
        return tuple(runs)
    return tuple(
        replace(run, device="dc-fuse") if run.key.startswith("controller_battery") else run
        for run in runs
    )


def _controller(site: Site, sized: SizedRun, banks: tuple[Bank, ...]) -> Device:
    fuse = sized.run.device == "dc-fuse"
    bars_a = 1000.0 * _bars_ka(banks)
    made = class_for(sized.device_a or 0.0, sized.run.highest_v, bars_a) if fuse else None
    breaking_ka = None if fuse else float(DC_BREAKER_KA)
    words = f", {UNBROKEN}"
    if made:
        breaking_ka, words = made.breaking_ka, f", {made.name}, in a switch that isolates it"
    return Device(
        key="controller-fuse" if fuse else "controller-breaker",
        name="Fuse of the controller" if fuse else "Breaker of the controller",
        kind="fuse" if fuse else "breaker", run_key=sized.run.key,
        at="at the battery busbars, at that end of the cable", current="dc",
        count=sized.run.count, poles=battery_poles(site), rated_a=sized.device_a,
        **sold_v("dc", sized.run.highest_v), breaking_ka=breaking_ka,
        extra=f"DC, {poles_words(site)}"
        + (words if fuse else ", not polarised"),
        clause=BREAKS, in_switch=made is not None, asked=(made.name,) if made else (),
    )  # fmt: skip


def _bars_ka(banks: tuple[Bank, ...]) -> float:
    return max(bank.fault.bars_a for bank in banks) / 1000.0


def isolator_a(case: Case) -> float | None:
    """Rated current of the isolator of one controller's strings [A]; None: none so large."""
    least_a = circuit_a(case.site.module.isc_a, case.strings_together)
    return next_rating("protection_ratings", "isolator", least_a)


def direct_checks(case: Case, banks: tuple[Bank, ...]) -> Iterator[Check]:
    """Checks of fuses, isolators and breakers for direct current."""
    yield _string_fuses(case)
    yield from _string_fuse_fits(case)
    yield _isolator(case)
    yield _voltage(case)
    for sized in case.of("controller_battery"):
        if sized.device_a is not None:
            yield _breaker(sized, banks)


def _string_fuses(case: Case) -> Check:
    module = case.site.module
    back_a = backfeed_a(module.isc_a, case.strings_together)
    largest_a = case.site.protection.string_fuse_max_a
    good = case.string_fuse_a is not None or back_a <= largest_a
    return checked(good, "failed", **worded(
        "protection", "other-strings-drive", back_a=back_a,
        string_fuse_a_said=", fused" if case.string_fuse_a is not None else "", largest_a=largest_a,
    ))  # fmt: skip


def _string_fuse_fits(case: Case) -> Iterator[Check]:
    for sized in case.of("string"):
        if case.string_fuse_a is None:
            return
        limit_a = min(sized.capacity_a, case.site.protection.string_fuse_max_a)
        yield checked(case.string_fuse_a <= limit_a, "failed", **worded(
            "protection", "fuse-string-against", string_fuse_a=case.string_fuse_a, limit_a=limit_a,
        ))  # fmt: skip


def _isolator(case: Case) -> Check:
    least_a = circuit_a(case.site.module.isc_a, case.strings_together)
    rated_a = isolator_a(case)
    return checked(
        rated_a is not None, "failed",
        **worded("protection", "isolator-array", least_a=least_a, cold_string_v=case.cold_string_v),
        found=f"{rated_a:g}" if rated_a else "none made",
    )  # fmt: skip


def _voltage(case: Case) -> Check:
    return checked(
        case.cold_string_v <= float(BUILDING_DC_V), clause=BUILDING_DC_V.source,
        **worded("protection", "voltage-cold-string", cold_string_v=case.cold_string_v,
                 building_dc_v=float(BUILDING_DC_V)),
    )  # fmt: skip


def _breaker(sized: SizedRun, banks: tuple[Bank, ...]) -> Check:
    bars_ka = _bars_ka(banks)
    made_ka = float(DC_BREAKER_KA)
    if sized.run.device == "dc-fuse":
        chosen = class_for(sized.device_a or 0.0, sized.run.highest_v, bars_ka * 1000.0)
        made_ka = chosen.breaking_ka if chosen else 0.0
    return checked(
        made_ka >= bars_ka, "failed", found=f"{made_ka:g}" if made_ka else "none made",
        **worded("protection", "breaking-capacity-direct", run_name=sized.run.name,
                 bars_ka=bars_ka, highest_v=sized.run.highest_v,
                 dc_breaker_ka_source=DC_BREAKER_KA.source,
                 divide="" if all(one.board for one in banks) else DIVIDE),
    )  # fmt: skip


DIRECT_NOTES = (
    "Many DC circuit-breakers are polarised: with reversed polarity they do not extinguish the"
    " arc and burn. Between controller and battery the current of a fault runs against"
    " that of the charge: take a breaker that is not polarised.",
    "An AC switch or circuit-breaker is no DC switch, whatever its rated current.",
    "Modules are live in any daylight. Connectors are not opened under load: isolator"
    f" first, then a clamp meter that reads no current ({NO_SOURCE}).",
)
