"""Direct current: fuses of strings, isolators, breakers of the controllers.

An arc of direct current has no zero to go out at. A switch made for alternating current welds or
burns when it opens one, and a connector pulled under load arcs from hand to hand.
"""

from __future__ import annotations

from collections.abc import Iterator

from solarcalc.basis.sourced import NO_SOURCE, constant
from solarcalc.basis.verdict import Verdict, judged
from solarcalc.protection.banks import BREAKS, Bank
from solarcalc.protection.case import Case, Device, next_rating
from solarcalc.protection.faults import class_for
from solarcalc.wiring.runs import SizedRun
from solarcalc.wiring.string_plan import circuit_a

BUILDING_DC_V = constant("protection.building_dc_v")
DC_BREAKER_KA = constant("protection.dc_breaker_ka")
STRING_FUSE_KA = constant("protection.string_fuse_ka")
_ISOLATOR = "IEC 60364-7-712 and IEC 62548-1: isolator that breaks load, DC-PV2 or DC-21B of" \
    " IEC 60947-3"


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
            key="string-fuse", name="Fuse of a string", kind="fuse", run_key="string",
            at="combiner box", current="dc", count=case.strings, poles=2,
            rated_a=case.string_fuse_a, rated_v=round(case.cold_string_v, 1),
            breaking_ka=float(STRING_FUSE_KA),
            extra="gPV, in plus and in minus; never pulled under load",
            clause="IEC 62548-1, strings in parallel; gPV fuse of IEC 60269-6",
        )  # fmt: skip
    rated_a = isolator_a(case)
    if rated_a is not None:
        yield Device(
            key="array-isolator", name="Isolator of the array", kind="isolator", run_key="dc_main",
            at="before the controller, within reach", current="dc",
            count=case.site.controller.count, poles=2, rated_a=rated_a,
            rated_v=round(case.cold_string_v, 1), breaking_ka=None,
            extra="DC-PV2 (or DC-21B), breaks both poles under load, can be locked open",
            clause=_ISOLATOR,
        )  # fmt: skip
    for sized in case.of("controller_battery"):
        if sized.device_a is not None:
            yield _controller(sized, banks)


def _controller(sized: SizedRun, banks: tuple[Bank, ...]) -> Device:
    fuse = sized.run.device == "dc-fuse"
    return Device(
        key="controller-fuse" if fuse else "controller-breaker",
        name="Fuse of the controller" if fuse else "Breaker of the controller",
        kind="fuse" if fuse else "breaker", run_key=sized.run.key,
        at="at the battery's bars, at that end of the cable", current="dc",
        count=sized.run.count, poles=1 if fuse else 2, rated_a=sized.device_a,
        rated_v=round(sized.run.highest_v, 1), breaking_ka=round(_bars_ka(banks), 1),
        extra="for direct current"
        + ("" if fuse else ", not polarised; its breaking capacity may be had with the main fuse"),
        clause=BREAKS,
    )  # fmt: skip


def _bars_ka(banks: tuple[Bank, ...]) -> float:
    return max(bank.fault.bars_a for bank in banks) / 1000.0


def isolator_a(case: Case) -> float | None:
    """Rated current of the isolator of one controller's strings [A]; None: none so large."""
    least_a = circuit_a(case.site.module.isc_a, case.strings_together)
    return next_rating("protection_ratings", "isolator", least_a)


def direct_verdicts(case: Case, banks: tuple[Bank, ...]) -> Iterator[Verdict]:
    """Checks of fuses, isolators and breakers for direct current."""
    yield _string_fuses(case)
    yield from _string_fuse_fits(case)
    yield _isolator(case)
    yield _voltage(case)
    for sized in case.of("controller_battery"):
        if sized.device_a is not None:
            yield _breaker(sized, banks)


def _string_fuses(case: Case) -> Verdict:
    module = case.site.module
    back_a = backfeed_a(module.isc_a, case.strings_together)
    largest_a = case.site.protection.string_fuse_max_a
    good = case.string_fuse_a is not None or back_a <= largest_a
    return judged(
        good, "failed",
        item="What the other strings drive into a shorted one",
        found=f"{back_a:.1f}" + (", fused" if case.string_fuse_a is not None else ""),
        limit=f"without fuses at most {largest_a:g}",
        unit="A", clause="IEC 62548-1 (62548:2016 cl. 6.5.3), read in a list of published values",
        remedy="a gPV fuse in plus and minus of each string",
    )  # fmt: skip


def _string_fuse_fits(case: Case) -> Iterator[Verdict]:
    for sized in case.of("string"):
        if case.string_fuse_a is None:
            return
        limit_a = min(sized.capacity_a, case.site.protection.string_fuse_max_a)
        yield judged(
            case.string_fuse_a <= limit_a, "failed",
            item="Fuse of a string against its cable and its modules",
            found=f"{case.string_fuse_a:g}", limit=f"at most {limit_a:.1f}", unit="A",
            clause="IEC 60364-4-43 cl. 433.1, a gPV fuse surely melts at 1.45 I_n (IEC 60269-6,"
            " from memory); the largest fuse of the module's sheet",
            remedy="a larger string cable, a smaller fuse of at least 1.5 I_sc, or fewer strings",
        )  # fmt: skip


def _isolator(case: Case) -> Verdict:
    least_a = circuit_a(case.site.module.isc_a, case.strings_together)
    rated_a = isolator_a(case)
    return judged(
        rated_a is not None, "failed",
        item="Isolator of the array",
        found=f"{rated_a:g}" if rated_a else "none made",
        limit=f"at least {least_a:.1f}, and {case.cold_string_v:.0f} V between its poles",
        unit="A", clause=_ISOLATOR,
        remedy="share the strings among more controllers, each with an isolator of its own",
    )  # fmt: skip


def _voltage(case: Case) -> Verdict:
    return judged(
        case.cold_string_v <= float(BUILDING_DC_V),
        item="Voltage of a cold string on a building", found=f"{case.cold_string_v:.0f}",
        limit=f"at most {float(BUILDING_DC_V):g}", unit="V", clause=BUILDING_DC_V.source,
        remedy="fewer modules in series, or an array that only licensed people can reach",
    )  # fmt: skip


def _breaker(sized: SizedRun, banks: tuple[Bank, ...]) -> Verdict:
    bars_ka = _bars_ka(banks)
    made_ka = float(DC_BREAKER_KA)
    if sized.run.device == "dc-fuse":
        chosen = class_for(sized.device_a or 0.0, sized.run.highest_v, bars_ka * 1000.0)
        made_ka = chosen.breaking_ka if chosen else 0.0
    return judged(
        made_ka >= bars_ka,
        item=f"Breaking capacity for direct current: {sized.run.name}",
        found=f"{made_ka:g}" if made_ka else "none made",
        limit=f"at least {bars_ka:.1f}, {sized.run.highest_v:.0f} V", unit="kA",
        clause=f"{BREAKS}; {DC_BREAKER_KA.source}",
        remedy="a fuse in its place, or the maker's word that the breaker stands this current"
        " behind the main fuse",
    )  # fmt: skip


DIRECT_NOTES = (
    "Many breakers for direct current are polarised: wired the wrong way round they do not put"
    " out the arc and burn. Between controller and battery the current of a fault runs against"
    " that of the charge: take a breaker that is not polarised.",
    "A switch or breaker for alternating current is no switch for direct current, whatever its"
    " rated current.",
    "Modules are live whenever there is light. Connectors are not opened under load: isolator"
    f" first, then a clamp meter that reads no current ({NO_SOURCE}).",
)
