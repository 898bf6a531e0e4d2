"""Fault and clearing time of every run, for the check that its cable stands the heat."""

from __future__ import annotations

from collections.abc import Iterator

from solarcalc.protection.alternating import far_fault_a, largest_fault_a
from solarcalc.protection.banks import Bank
from solarcalc.protection.battery_fault import lead_ohm
from solarcalc.protection.case import Case, board_of
from solarcalc.protection.fuses import LONGEST_S, fuse_clear_s
from solarcalc.protection.overcurrent import (
    DC_BAND_FACTOR,
    breaker_clear_s,
    let_through_a2_s,
    trip_a,
)
from solarcalc.wiring.runs import SizedRun
from solarcalc.wiring.string_plan import circuit_a

FaultHeat = tuple[float, float]
"""Fault current [A] and how long it flows at the most [s]."""


def fault_heats(case: Case, banks: tuple[Bank, ...]) -> dict[str, FaultHeat]:
    """Fault and clearing time that heat the cable of each run most, by the run's key.

    A fault at the start of a run is larger, one at its end flows longer: of the two the pair with
    the larger I^2 t counts. Where a device does not clear a fault within 5 s, 5 s stand: then a
    verdict says so. Modules cannot drive more than 1.25 I_sc: nothing clears that, and the
    cable's capacity covers it.
    """
    return {sized.run.key: _heat(case, banks, sized) for sized in case.runs}


def _heat(case: Case, banks: tuple[Bank, ...], sized: SizedRun) -> FaultHeat:
    key = sized.run.key
    if key in ("string", "main"):
        isc_a = case.site.module.isc_a
        return circuit_a(isc_a, case.strings_together), LONGEST_S
    if sized.run.current == "ac":
        return max(_on_board(case, sized), key=_heat_a2_s)
    board = board_of(key, "battery_inverter") if key.startswith("battery_inverter") else ""
    own = [bank for bank in banks if bank.board in ("", board)] or list(banks)
    pairs = [pair for bank in own for pair in _on_bank(bank, sized)]
    return max(pairs, key=_heat_a2_s)


def _heat_a2_s(pair: FaultHeat) -> float:
    return pair[0] ** 2 * pair[1]


def _on_board(case: Case, sized: SizedRun) -> Iterator[FaultHeat]:
    """Faults at both ends of a run of alternating current."""
    for fault_a in (largest_fault_a(case, sized.run.key), far_fault_a(case, sized)):
        curve, rated_a = case.site.protection.breaker_curve, sized.device_a or fault_a
        clear_s = breaker_clear_s(trip_a(curve, rated_a), fault_a)
        limited = let_through_a2_s(curve, rated_a, fault_a)
        if clear_s is None:
            yield fault_a, LONGEST_S
        else:
            yield fault_a, min(clear_s, limited / fault_a**2) if limited else clear_s


def _on_bank(bank: Bank, sized: SizedRun) -> Iterator[FaultHeat]:
    """Faults at both ends of a run that hangs on the bars."""
    for fault_a in (bank.fault.bars_a, bank.fault.far_a(lead_ohm(sized))):
        times = [
            fuse_clear_s(rated_a, fault_a)
            for rated_a in (bank.fuse_a, sized.device_a if _fused(sized) else None)
            if rated_a is not None
        ]
        if sized.run.device == "dc-breaker" and sized.device_a is not None:
            trips_a = trip_a("C", sized.device_a) * float(DC_BAND_FACTOR)
            times.append(breaker_clear_s(trips_a, fault_a))
        yield fault_a, min((each for each in times if each is not None), default=LONGEST_S)


def _fused(sized: SizedRun) -> bool:
    return sized.run.device == "dc-fuse"
