"""The protection of a site: devices for the schedule, checks, states of the changeover, notes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from solarcalc.basis.check import Check, on_plane, worst_first
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import assumptions, constant
from solarcalc.basis.worded import worded
from solarcalc.protection.alternating import (
    AC_NOTES,
    ac_checks,
    ac_devices,
    far_fault_a,
    largest_fault_a,
)
from solarcalc.protection.banks import (
    Bank,
    bank_checks,
    bank_devices,
    banks_of,
    pole_check,
    shared_check,
)
from solarcalc.protection.case import Case, Device, board_of, case_of
from solarcalc.protection.direct import DIRECT_NOTES, direct_checks, direct_devices
from solarcalc.protection.faults import (
    DC_BAND_FACTOR,
    breaker_clear_s,
    fuse_clear_s,
    lead_ohm,
    let_through_a2_s,
    trip_a,
)
from solarcalc.protection.neutral import (
    NEUTRAL_NOTES,
    StateRow,
    changeover_checks,
    changeover_devices,
    neutral_checks,
    residual_checks,
    residual_devices,
    state_rows,
)
from solarcalc.protection.surge import (
    LOW_BOARD_V,
    SURGE_NOTES,
    spared_words,
    surge_checks,
    surge_devices,
    surge_proof,
    type_words,
)
from solarcalc.sitefile.site import Site
from solarcalc.wiring.conductors import LONGEST_S, OHM_MM2_PER_KM
from solarcalc.wiring.runs import SizedRun, stem_of
from solarcalc.wiring.string_plan import PlaneStrings, circuit_a
from solarcalc.wiring.switching import system_words

FaultHeat = tuple[float, float]
"""Fault current [A] and how long it flows at the most [s]."""


def fault_heats(case: Case, banks: tuple[Bank, ...]) -> dict[str, FaultHeat]:
    """Fault and clearing time that heat the cable of each run most, by the run's key.

    A fault at the start of a run is larger, one at its end flows longer: of the two the pair with
    the larger I^2 t counts. Where a device does not clear a fault within 5 s, 5 s stand: then a
    check says so. Modules cannot drive more than 1.25 I_sc: nothing clears that, and the
    cable's capacity covers it.
    """
    return {sized.run.key: _heat(case, banks, sized) for sized in case.runs}


def _heat(case: Case, banks: tuple[Bank, ...], sized: SizedRun) -> FaultHeat:
    key = sized.run.key
    if stem_of(key) in ("string", "dc_main"):
        isc_a = case.site.module.isc_a
        return circuit_a(isc_a, case.plane_of(key).strings_together), LONGEST_S
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
    """Faults at both ends of a run that hangs on the bars, by both ends of the band."""
    for fault_a in bank.fault.ends_a(lead_ohm(sized)):
        times = [
            fuse_clear_s(rated_a, fault_a)
            for rated_a in (bank.fuse_a, sized.device_a if _fused(sized) else None)
            if rated_a is not None
        ]
        if sized.run.device == "dc-breaker" and sized.device_a is not None:
            trips_a = trip_a("C", sized.device_a) * float(DC_BAND_FACTOR)
            times.append(breaker_clear_s(trips_a, fault_a))
        yield fault_a, min((each for each in times if each is not None), default=LONGEST_S)


def rack_fault(banks: Sequence[Bank]) -> FaultHeat | None:
    """Fault of a string of units to its rack that heats most, until the fuse nearest clears it.

    That is the fuse of the string, or the main fuse where there is one string: those of the
    branches stand behind the bars and do not see it. None where no fuse is made so large, which a
    check of safety fails: nothing then says how long the rack's conductor is to stand it.
    """
    pairs = [
        (fault_a, fuse_clear_s(fuse_a, fault_a) or LONGEST_S)
        for bank in banks
        if (fuse_a := bank.string_fuse_a if bank.fault.strings > 1 else bank.fuse_a) is not None
        for fault_a in (bank.fault.string_a, bank.fault.least_string_a)
    ]  # fmt: skip
    return max(pairs, key=_heat_a2_s, default=None)


def _fused(sized: SizedRun) -> bool:
    return sized.run.device == "dc-fuse"


PROTECTION_ASSUMPTIONS = (
    *assumptions("protection"), *OHM_MM2_PER_KM.values(),
)  # fmt: skip
"""Every constant of this stage, with its source."""

LAST_WORD = "Choosing, wiring and testing these devices is work of a licensed electrician; where" \
    " local codes ask for more or for something else, they go first."


@dataclass(frozen=True, kw_only=True)
class ProtectionPlan:
    """What a site is protected with.

    Parameters
    ----------
    devices : tuple of Device
        Schedule, from the roof to the house; keys stand once.
    checks : tuple of Check
        The failed ones first.
    state_rows : tuple of StateRow
        Where neutral and earth are joined in each state of each board.
    notes : tuple of str
        Advice; the last one defers to local codes and licensed people.
    faults : dict of str to (float, float)
        Fault [A] and clearing time [s] by the key of each run.
    banks : tuple of Bank
    """

    devices: tuple[Device, ...]
    checks: tuple[Check, ...]
    state_rows: tuple[StateRow, ...]
    notes: tuple[str, ...]
    faults: dict[str, FaultHeat]
    banks: tuple[Bank, ...]

    def fault_of(self, run_key: str) -> FaultHeat:
        """Fault current [A] and clearing time [s] that heat the cable of a run most.

        Raises
        ------
        InputError
            For a key that no run has.
        """
        if run_key not in self.faults:
            raise InputError(
                Fault(
                    **worded("protection", "protection-run-key"), given=run_key,
                    allowed=", ".join(sorted(self.faults)),
                )
            )
        return self.faults[run_key]

    def device(self, key: str) -> Device | None:
        """The device of that key; None where the site has none."""
        return next((each for each in self.devices if each.key == key), None)


def plan_of(
    site: Site,
    runs: Sequence[SizedRun],
    *,
    cold_string_v: float,
    string_fuse_a: float | None,
    beside: Sequence[PlaneStrings] = (),
    faults: dict[str, FaultHeat] | None = None,
) -> ProtectionPlan:
    """Devices, checks and notes of a site whose cables are sized.

    Parameters
    ----------
    site : Site
    runs : sequence of SizedRun
        Every run of the system, each key once.
    cold_string_v : float
        Open-circuit voltage of a string at the record low [V], above 0 up to 1500.
    string_fuse_a : float or None
        Chosen fuse of a string [A]; None where strings need none.
    beside : sequence of PlaneStrings
        Of the roof planes beside the first, whose figures stand above.
    faults : dict of str to (float, float), optional
        `fault_heats` of these cables, where they are known already: they do not depend on company.

    Raises
    ------
    InputError
        For a figure outside its range, no runs, a key of a run that stands twice, or a board
        that has no string of a divided battery.
    """
    case = case_of(site, runs, cold_string_v=cold_string_v, string_fuse_a=string_fuse_a,
                   beside=beside)  # fmt: skip
    banks, rows = banks_of(case), state_rows(case)
    return ProtectionPlan(
        devices=(
            *(one.on_plane(device) for one in case.planes
              for device in direct_devices(one, banks)),
            *(device for bank in banks for device in bank_devices(case, bank)),
            *changeover_devices(case), *ac_devices(case),
            *surge_proof(case, residual_devices(case)), *surge_devices(case),
        ),
        checks=worst_first((
            *(check for one in case.planes
              for check in on_plane(direct_checks(one, banks), one.site.roof.name)),
            *(check for bank in banks for check in bank_checks(bank)),
            *height_check(case.site), *split_check(case.site),
            *pole_check(case), *shared_check(case),
            *ac_checks(case), *residual_checks(case),
            *changeover_checks(case),
            *neutral_checks(case, rows), *surge_checks(case),
        )),
        state_rows=rows,
        notes=_notes(case),
        faults=fault_heats(case, banks) if faults is None else faults,
        banks=banks,
    )  # fmt: skip


MOST_HEIGHT_M = constant("protection.most_height_m")


def height_check(site: Site) -> Iterator[Check]:
    """Whether the site is above the height that switchgear and electronics are made for."""
    if site.site.elevation_m > float(MOST_HEIGHT_M):
        yield Check(outcome="review", clause=MOST_HEIGHT_M.source, **worded(
            "protection", "height", elevation_m=site.site.elevation_m,
            most_m=float(MOST_HEIGHT_M)))


def split_check(site: Site) -> Iterator[Check]:
    """Whether the lines of a split-phase supply have the voltage that is usual there."""
    line_v = site.supply.ac_voltage_v
    if site.loads.phases == 2 and line_v > float(LOW_BOARD_V):
        yield Check(outcome="review", **worded(
            "protection", "split-voltage", line_v=line_v, both_v=2.0 * line_v))


def _notes(case: Case) -> tuple[str, ...]:
    return (
        f"System of the boards: {system_words(case.site)}; neutral and earth joined"
        f" {case.site.protection.neutral_earth_bond.replace('-', ' ')}.",
        *(["The switch inside a battery is no substitute for its fuse: it may weld shut."]
          if case.site.battery.traits.management_system else []),
        *DIRECT_NOTES, *AC_NOTES, *NEUTRAL_NOTES,
        f"Surge devices: {type_words(case)}.", *spared_words(case), *SURGE_NOTES, LAST_WORD,
    )  # fmt: skip


def neutral_rows(plan: ProtectionPlan) -> tuple[dict[str, str], ...]:
    """States of each board as a table: what feeds, where joined, outcome, what to do."""
    return tuple(
        {
            "board": each.board,
            "state": each.words,
            "neutral and earth joined": "; ".join(each.joined) or "nowhere",
            "outcome": each.outcome,
            "what to do": each.note,
        }
        for each in plan.state_rows
    )
