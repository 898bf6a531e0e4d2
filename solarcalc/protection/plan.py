"""The protection of a site: devices for the schedule, checks, states of the changeover, notes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import assumptions
from solarcalc.basis.verdict import Verdict, worst_first
from solarcalc.protection.alternating import AC_NOTES, ac_devices, ac_verdicts
from solarcalc.protection.banks import bank_devices, bank_verdicts, banks_of
from solarcalc.protection.case import Case, case_of
from solarcalc.protection.clearing import FaultHeat, fault_heats
from solarcalc.protection.devices import Device
from solarcalc.protection.direct import (
    DIRECT_NOTES,
    direct_devices,
    direct_verdicts,
)
from solarcalc.protection.neutral import (
    NEUTRAL_NOTES,
    StateRow,
    changeover_devices,
    changeover_verdicts,
    neutral_verdicts,
    state_rows,
)
from solarcalc.protection.residual import (
    residual_devices,
    residual_verdicts,
)
from solarcalc.protection.surge import SURGE_NOTES, surge_devices
from solarcalc.protection.surge_checks import spared_words, surge_verdicts, type_words
from solarcalc.sitefile.site import Site
from solarcalc.wiring.conductors import OHM_MM2_PER_KM
from solarcalc.wiring.runs import SizedRun

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
    verdicts : tuple of Verdict
        The failed ones first.
    state_rows : tuple of StateRow
        Where neutral and earth are joined in each state of the changeover.
    notes : tuple of str
        Advice; the last one defers to local codes and licensed people.
    faults : dict of str to (float, float)
        Fault [A] and clearing time [s] by the key of each run.
    """

    devices: tuple[Device, ...]
    verdicts: tuple[Verdict, ...]
    state_rows: tuple[StateRow, ...]
    notes: tuple[str, ...]
    faults: dict[str, FaultHeat]

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
                    where="protection: run_key", given=run_key,
                    allowed=", ".join(sorted(self.faults)),
                    why="a fault is known for the runs of this site only",
                    remedy="take the key of one of its runs",
                )
            )  # fmt: skip
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

    Raises
    ------
    InputError
        For a figure outside its range, no runs, a key of a run that stands twice, or a board
        that has no string of a divided battery.
    """
    case = case_of(site, runs, cold_string_v=cold_string_v, string_fuse_a=string_fuse_a)
    banks = banks_of(case)
    return ProtectionPlan(
        devices=(
            *direct_devices(case, banks),
            *(device for bank in banks for device in bank_devices(bank)),
            *changeover_devices(case), *ac_devices(case), *residual_devices(case),
            *surge_devices(case),
        ),
        verdicts=worst_first((
            *direct_verdicts(case, banks),
            *(verdict for bank in banks for verdict in bank_verdicts(bank)),
            *ac_verdicts(case), *residual_verdicts(case), *changeover_verdicts(case),
            *neutral_verdicts(case), *surge_verdicts(case),
        )),
        state_rows=state_rows(case),
        notes=_notes(case),
        faults=fault_heats(case, banks),
    )  # fmt: skip


def _notes(case: Case) -> tuple[str, ...]:
    system = case.site.protection.system
    return (
        f"System of the boards: {system}; neutral and earth joined"
        f" {case.site.protection.neutral_earth.replace('-', ' ')}.",
        *(["The switch inside a battery unit is no substitute for its fuse: it may weld shut."]
          if case.site.battery.traits.management_system else []),
        *DIRECT_NOTES, *AC_NOTES, *NEUTRAL_NOTES,
        f"Surge devices: {type_words(case)}.", *spared_words(case), *SURGE_NOTES, LAST_WORD,
    )  # fmt: skip


def device_rows(plan: ProtectionPlan) -> tuple[dict[str, str], ...]:
    """The protection schedule: one mapping of column to plain text a device."""
    return tuple(
        {
            "device": each.name,
            "where": each.at,
            "count": f"{each.count}",
            "poles": f"{each.poles}",
            "rated": "" if each.rated_a is None else f"{each.rated_a:g} A",
            "voltage": f"{each.rated_v:g} V {'DC' if each.current == 'dc' else 'AC'}",
            "breaking": "" if each.breaking_ka is None else f"{each.breaking_ka:g} kA",
            "what else": each.extra,
            "rule": each.clause,
        }
        for each in plan.devices
    )


def neutral_rows(plan: ProtectionPlan) -> tuple[dict[str, str], ...]:
    """States of the changeover as a table: what feeds, where joined, outcome, what to do."""
    return tuple(
        {
            "state": each.words,
            "neutral and earth joined": "; ".join(each.joined) or "nowhere",
            "outcome": each.outcome,
            "what to do": each.note,
        }
        for each in plan.state_rows
    )
