"""The battery's fuses: rated current, class, what they break and how soon."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from solarcalc.basis.check import Check, checked
from solarcalc.basis.worded import worded
from solarcalc.protection.case import Case, Device, board_of, next_rating
from solarcalc.protection.faults import (
    FUSE_SELECTIVE,
    BankFault,
    FuseClass,
    bank_fault,
    class_for,
    fuse_classes,
    lead_ohm,
    melting_a,
)
from solarcalc.wiring.runs import SizedRun

BREAKS = "IEC 60364-4-43 cl. 434.5.1: breaking capacity at least the prospective fault current"


@dataclass(frozen=True, kw_only=True, eq=False)
class Bank:
    """A bank with what hangs on it.

    Parameters
    ----------
    board : str
        Whose bank it is; empty for one that serves both.
    fault : BankFault
    voltage_v : float
        Highest [V].
    inverters : tuple of SizedRun
        Runs from this bank to its inverters.
    charge_a : float
        Design current of all controllers on it [A].
    fuse_a : float or None
        Rated current of its main fuse [A]; None where none is made so large.
    string_fuse_a : float or None
        Of the fuse in each string of units [A]; None for a single string.
    """

    board: str
    fault: BankFault
    voltage_v: float
    inverters: tuple[SizedRun, ...]
    charge_a: float
    fuse_a: float | None
    string_fuse_a: float | None

    @property
    def words(self) -> str:
        """Name in words."""
        return f"battery of the {self.board} board" if self.board else "battery"

    def key(self, stem: str) -> str:
        """A device's key, with the board where each has a bank."""
        return f"{stem}-{self.board}" if self.board else stem


def banks_of(case: Case) -> tuple[Bank, ...]:
    """One bank, or one a board with separate banks."""
    runs, site = case.of("battery_inverter"), case.site
    charge_a = sum(each.run.count * each.run.design_a for each in case.of("controller_battery"))
    if not site.supply.separate_banks:
        return (_bank(case, "", runs, site.battery.units_in_parallel, charge_a),)
    sun = {"essential": site.supply.essential_array_frac,
           "nonessential": 1 - site.supply.essential_array_frac}
    return tuple(
        _bank(
            case, board,
            tuple(run for run in runs if board_of(run.run.key, "battery_inverter") == board),
            battery.units_in_parallel, sun[board] * charge_a,
        )
        for board, battery in site.banks.items()
    )  # fmt: skip


def _bank(
    case: Case, board: str, runs: tuple[SizedRun, ...], strings: int, charge_a: float
) -> Bank:
    draw_a = sum(each.run.design_a for each in runs)
    branch_a = max((each.device_a or 0.0 for each in runs), default=0.0)
    branches = len([each for each in runs if each.device_a])
    least_a = max(draw_a, charge_a, float(FUSE_SELECTIVE) * branch_a if branches else 0.0)
    share_a = max(draw_a, charge_a) / max(strings - 1, 1)
    return Bank(
        board=board,
        fault=bank_fault(
            case.site.battery, strings=strings, known_a=case.site.protection.battery_fault_a
        ),
        voltage_v=case.bank_v,
        inverters=runs,
        charge_a=charge_a,
        fuse_a=next_rating("device_ratings", "fuse", least_a),
        string_fuse_a=next_rating("device_ratings", "fuse", share_a) if strings > 1 else None,
    )


def string_fault_a(bank: Bank) -> float:
    """Largest current that the fuse of one string of units must break [A].

    A fault at the bars draws its own string through it; one inside the string draws all others.
    """
    return max(bank.fault.string_a, (bank.fault.strings - 1) * bank.fault.string_a)


def bank_devices(bank: Bank) -> Iterator[Device]:
    """Main fuse, fuses of the strings and of each inverter."""
    if bank.fuse_a is not None:
        yield _fuse(
            bank, bank.key("battery-fuse"), f"Main fuse, {bank.words}", bank.fuse_a,
            bank.fault.bars_a, "at the battery's bars, before all else",
        )  # fmt: skip
        yield _switch(bank, bank.fuse_a)
    if bank.string_fuse_a is not None:
        yield _fuse(
            bank, bank.key("battery-string-fuse"), f"Fuse of a string of units, {bank.words}",
            bank.string_fuse_a, string_fault_a(bank), "at the plus of each string",
            count=bank.fault.strings,
        )  # fmt: skip
    for each in bank.inverters:
        if each.device_a is not None:
            board = board_of(each.run.key, "battery_inverter")
            yield _fuse(
                bank, f"inverter-fuse-{board}" if board else "inverter-fuse",
                f"Fuse of the inverter: {each.run.name}", each.device_a,
                bank.fault.bars_a, "at the bars, at the battery's end of its cable",
                run_key=each.run.key,
            )  # fmt: skip


def _switch(bank: Bank, fuse_a: float) -> Device:
    return Device(
        **worded("protection", "isolator", bank_words=bank.words), key=bank.key("battery-isolator"),
        run_key="", count=1, poles=2,
        rated_a=next_rating("protection_ratings", "isolator", fuse_a) or fuse_a,
        rated_v=round(bank.voltage_v, 1), breaking_ka=None,
    )  # fmt: skip


def _fuse(
    bank: Bank, key: str, name: str, rated_a: float, fault_a: float, at: str, *,
    run_key: str = "", count: int = 1,
) -> Device:  # fmt: skip
    chosen = class_for(rated_a, bank.voltage_v, fault_a)
    words = chosen.name if chosen else "no class of the table breaks this fault"
    return Device(
        **worded("protection", "fuse", words=words), key=key, name=name, run_key=run_key, at=at,
        count=count, poles=1, rated_a=rated_a, rated_v=round(bank.voltage_v, 1),
        breaking_ka=chosen.breaking_ka if chosen else round(fault_a / 1000.0, 1),
    )  # fmt: skip


def bank_checks(bank: Bank) -> Iterator[Check]:
    """Whether fuses are made for the load, break what the bank gives and melt in time."""
    yield _known(bank)
    yield _rated(bank)
    if bank.fuse_a is not None:
        yield _breaks(bank, f"Main fuse, {bank.words}", bank.fuse_a, bank.fault.bars_a)
    if bank.fault.strings > 1:
        if bank.string_fuse_a is None:
            yield _made(
                None, item=f"Fuse of each string, {bank.words}", limit="a fuse of the table",
                clause="data/tables/device_ratings.csv",
            )  # fmt: skip
        else:
            yield _breaks(
                bank, f"Fuse of each string, {bank.words}", bank.string_fuse_a,
                string_fault_a(bank),
            )  # fmt: skip
    for each in bank.inverters:
        if each.device_a is not None:
            yield _breaks(bank, f"Fuse of {each.run.name}", each.device_a, bank.fault.bars_a)
            yield _melts(bank, each, each.device_a)


def _known(bank: Bank) -> Check:
    return checked(
        bank.fault.known,
        rule="protection/battery-fault", kind="data",
        item=f"Short-circuit current of one string, {bank.words}",
        found=f"{bank.fault.string_a / 1000.0:.1f}",
        limit="from the maker's sheet" if bank.fault.known
        else "from the maker's sheet; this is a guess by its kind",
        unit="kA",
        clause=bank.fault.source,
        remedy="give protection.battery_fault_a from the sheet of the unit; never measure it by"
        " making a short circuit",
    )  # fmt: skip


def _made(rated_a: float | None, *, item: str, limit: str, clause: str) -> Check:
    return checked(
        rated_a is not None, "failed", **worded("protection", "made"), item=item,
        found="none made" if rated_a is None else f"{rated_a:g}", limit=limit, clause=clause,
    )  # fmt: skip


def _rated(bank: Bank) -> Check:
    """Whether a fuse is made for what the bank gives and takes: it is chosen by that."""
    draw_a = sum(each.run.design_a for each in bank.inverters)
    leads = "" if bank.fuse_a is None else f"; the leads to it carry {bank.fuse_a:g}"
    return _made(
        bank.fuse_a, item=f"Rated current of the main fuse, {bank.words}",
        limit=f"at least {max(draw_a, bank.charge_a):.0f}{leads}",
        clause="IEC 60364-4-43 cl. 433.1: I_b <= I_n <= I_z",
    )  # fmt: skip


def _breaks(bank: Bank, item: str, rated_a: float, fault_a: float) -> Check:
    chosen: FuseClass | None = class_for(rated_a, bank.voltage_v, fault_a)
    strongest = fuse_classes()[-1]
    found = f"{chosen.name}, {chosen.breaking_ka:g}" if chosen else (
        f"{strongest.name}, {strongest.breaking_ka:g}"
    )
    return checked(chosen is not None, "failed", found=found, **worded(
        "protection", "breaking-capacity", item_0=item[0].lower(), item=item[1:],
        fault_a=fault_a / 1000.0, voltage_v=bank.voltage_v, rated_a=rated_a,
    ))  # fmt: skip


def _melts(bank: Bank, sized: SizedRun, rated_a: float) -> Check:
    far_a = bank.fault.far_a(lead_ohm(sized))
    return checked(far_a >= melting_a(rated_a), "failed", **worded(
        "protection", "fault-far-end", run_name=sized.run.name, far_a=far_a,
        melting_a=melting_a(rated_a),
    ))  # fmt: skip
