"""The battery's fuses: rated current, class, what they break and how soon."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from solarcalc.basis.check import Check, checked
from solarcalc.basis.published import published
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.protection.case import Case, Device, board_of, next_rating, sold_v
from solarcalc.protection.faults import (
    FUSE_SELECTIVE,
    BankFault,
    FuseClass,
    bank_fault,
    class_for,
    fuse_classes,
    fuse_clear_s,
    lead_ohm,
    melting_a,
)
from solarcalc.sitefile.battery import Battery
from solarcalc.sitefile.site import Site
from solarcalc.wiring.conductors import LONGEST_S
from solarcalc.wiring.runs import SizedRun, battery_poles, charger_of_a, controllers_by_bank

BREAKS = "IEC 60364-4-43 cl. 434.5.1: breaking capacity at least the prospective fault current"
DIVIDE = "divide the battery so that each part has its own fuse (supply.layout), or "
"""Of a battery that both boards share: half of it gives half of the fault."""
UNBROKEN = "no class of the table has this breaking capacity"
"""Instead of a class: nothing to buy; a check fails."""


@dataclass(frozen=True, kw_only=True)
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
    charger_a : float
        What grid or generator charge it with at the most [A].
    least_a : float
        Least rating of its main fuse by what it carries [A].
    bar_a : float
        What its bars must carry: the main fuse, and what all inverters draw of it and of the
        controllers together [A].
    fuse_a : float or None
        Rated current of its main fuse [A]; None where none is made so large.
    string_fuse_a : float or None
        Of the fuse in each string of units [A]; None for a single string.
    poles : int
        That its fuses stand in.
    apart : bool
        Whether both poles of a string have a fuse and lie at different units, each out of reach
        of the other: then each has a fuse in a box of its own.
    unfused_m : float
        Cable from its terminals to the first fuse [m].
    """

    board: str
    fault: BankFault
    voltage_v: float
    inverters: tuple[SizedRun, ...]
    charge_a: float
    charger_a: float
    least_a: float
    bar_a: float
    fuse_a: float | None
    string_fuse_a: float | None
    poles: int
    apart: bool
    unfused_m: float

    @property
    def charging_a(self) -> float:
        """Sun and charger at once [A]: neither knows of the other."""
        return self.charge_a + self.charger_a

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
    feeds = case.of("controller_battery")
    if not site.supply.separate_banks:
        return (_bank(case, "", runs, site.battery, (feeds, 1.0)),)
    own = controllers_by_bank(site)
    return tuple(
        _bank(
            case, board,
            tuple(run for run in runs if board_of(run.run.key, "battery_inverter") == board),
            battery, (feeds, own[board] / site.controller.count),
        )
        for board, battery in site.banks.items()
    )  # fmt: skip


def _bank(
    case: Case, board: str, runs: tuple[SizedRun, ...], battery: Battery,
    feeds: tuple[tuple[SizedRun, ...], float],
) -> Bank:  # fmt: skip
    (controllers, share), strings = feeds, battery.units_in_parallel
    poles = battery_poles(case.site)
    charge_a = share * sum(each.run.count * each.run.design_a for each in controllers)
    mains_a = charger_of_a(case.site, board)
    lasting_a = max(
        sum(each.run.count * each.run.least_device_a for each in runs),
        share * sum(each.run.count * each.run.least_device_a for each in controllers)
        + mains_a * max((1.0, *(each.run.lasting_factor for each in runs))),
    )
    branch_a = max((each.device_a or 0.0 for each in runs), default=0.0)
    least_a = max(lasting_a, float(FUSE_SELECTIVE) * branch_a)
    fuse_a = next_rating("device_ratings", "fuse", least_a)
    return Bank(
        board=board,
        fault=bank_fault(
            case.site.battery, strings=strings, known_a=case.site.protection.battery_fault_a
        ),
        voltage_v=case.bank_v,
        inverters=runs,
        charge_a=charge_a,
        charger_a=mains_a,
        least_a=lasting_a,
        bar_a=max(fuse_a or least_a,
                  sum(each.run.count * (each.device_a or 0.0) for each in runs), lasting_a),
        fuse_a=fuse_a,
        string_fuse_a=next_rating("device_ratings", "fuse", lasting_a / max(strings - 1, 1))
        if strings > 1 else None,
        poles=poles,
        apart=poles > 1 and battery.units_in_series > 1,
        unfused_m=case.site.battery.unfused_lead_m,
    )  # fmt: skip


def shared_check(case: Case) -> Iterator[Check]:
    """With separate banks: whether whole controllers share the sun out as the site file does."""
    site = case.site
    if not site.supply.separate_banks:
        return
    own = controllers_by_bank(site)
    found = own["essential"] / site.controller.count
    wanted = site.supply.essential_array_frac
    yield checked(abs(found - wanted) <= float(SHARE_FRAC), **worded(
        "protection", "controllers-shared", essential=own["essential"],
        nonessential=own["nonessential"], found_percent=100.0 * found,
        wanted_percent=100.0 * wanted,
    ))  # fmt: skip


def pole_check(case: Case) -> Iterator[Check]:
    """Whether the sheets allow a pole on earth: nothing here knows them."""
    pole = case.site.battery.pole_earthed
    if pole != "none":
        yield Check(outcome="review", **worded("protection", "pole-earthed", pole=pole))


def string_fault_a(bank: Bank) -> float:
    """Largest current that the fuse of one string of units must break [A].

    A fault at the bars draws its own string through it; one inside the string draws all others.
    """
    return max(bank.fault.string_a, (bank.fault.strings - 1) * bank.fault.string_a)


def poles_words(site: Site) -> str:
    """Which poles a fuse or breaker at the battery stands in."""
    return {"+−": "in positive (+) and negative (−)", "+": "in the positive (+)",
            "−": "in the negative (−)"}[site.battery.fused_poles]


def bank_devices(case: Case, bank: Bank) -> Iterator[Device]:
    """Main fuse, fuses of the strings and of each inverter."""
    poles, strings = poles_words(case.site), bank.fault.strings
    near = f"in a closed enclosure at most {bank.unfused_m:g} m of cable from"
    each = "one in positive (+), one in negative (−)"
    if bank.fuse_a is not None:
        alone = bank.apart and strings == 1
        at = f"{poles}, in a closed enclosure at the string busbars, before the main busbars" \
            if strings > 1 else f"{poles}, {near} the battery terminals, before its busbars"
        yield _fuse(
            bank, bank.key("battery-fuse"), f"Main fuse, {bank.words}", bank.fuse_a,
            bank.fault.bars_a, f"{each}, each {near} its own battery terminal" if alone else at,
            pole_by_pole=alone,
        )  # fmt: skip
        yield _switch(bank, bank.fuse_a)
    if bank.string_fuse_a is not None:
        yield _fuse(
            bank, bank.key("battery-string-fuse"), f"Battery string fuse, {bank.words}",
            bank.string_fuse_a, string_fault_a(bank),
            f"{each} of each string, each at its own terminal" if bank.apart
            else f"{poles} of each string, at its terminals",
            count=strings, pole_by_pole=bank.apart,
        )  # fmt: skip
    for one in bank.inverters:
        if one.device_a is not None:
            board = board_of(one.run.key, "battery_inverter")
            yield _fuse(
                bank, f"inverter-fuse-{board}" if board else "inverter-fuse",
                f"Inverter fuse: {one.run.name}", one.device_a,
                bank.fault.bars_a, f"{poles}, at the busbars, at the battery end of its cable",
                run_key=one.run.key, count=one.run.count,
            )  # fmt: skip


def _switch(bank: Bank, fuse_a: float) -> Device:
    return Device(
        **worded("protection", "isolator", bank_words=bank.words), key=bank.key("battery-isolator"),
        run_key="", count=1, poles=2,
        rated_a=next_rating("protection_ratings", "isolator", fuse_a) or fuse_a,
        **sold_v("dc", bank.voltage_v), breaking_ka=None,
    )  # fmt: skip


def _fuse(
    bank: Bank, key: str, name: str, rated_a: float, fault_a: float, at: str, *,
    run_key: str = "", count: int = 1, pole_by_pole: bool = False,
) -> Device:  # fmt: skip
    chosen = class_for(rated_a, bank.voltage_v, fault_a)
    words = chosen.name if chosen else UNBROKEN
    volts = sold_v("dc", bank.voltage_v)
    return Device(
        **worded("protection", "fuse", words=words), key=key, name=name, run_key=run_key, at=at,
        count=count * (2 if pole_by_pole else 1), poles=1 if pole_by_pole else bank.poles,
        pole_by_pole=pole_by_pole, rated_a=rated_a,
        rated_v=chosen.rated_v if chosen else volts["rated_v"], least_v=volts["least_v"],
        breaking_ka=chosen.breaking_ka if chosen else None,
        asked=(chosen.name,) if chosen else (),
    )  # fmt: skip


def bank_checks(bank: Bank) -> Iterator[Check]:
    """Whether fuses are made for the load, break what the bank gives and melt in time."""
    yield _known(bank)
    yield _rated(bank)
    yield _unfused(bank)
    yield from _bars(bank)
    if bank.fault.strings > 1 and bank.string_fuse_a is None:
        yield _made(
            None, item=f"Fuse of each string, {bank.words}", limit="a fuse of the table",
            clause="data/tables/device_ratings.csv",
        )  # fmt: skip
    for name, rated_a, fault_a in _fuses(bank):
        yield _breaks(bank, name, rated_a, fault_a)
    for each in bank.inverters:
        if each.device_a is not None:
            yield _melts(bank, each, each.device_a)


def _fuses(bank: Bank) -> Iterator[tuple[str, float, float]]:
    """Of each kind of fuse: name, rating, largest fault at it."""
    if bank.fuse_a is not None:
        yield f"main fuse, {bank.words}", bank.fuse_a, bank.fault.bars_a
    if bank.string_fuse_a is not None:
        yield f"fuse of each string, {bank.words}", bank.string_fuse_a, string_fault_a(bank)
    for each in bank.inverters:
        if each.device_a is not None:
            yield f"fuse of {each.run.name}", each.device_a, bank.fault.bars_a


def flips(bank: Bank) -> tuple[tuple[str, float], ...]:
    """Fuses whose class hangs on where in its band the fault lies, with the value of one string.

    Returns
    -------
    tuple of (str, float)
        Name, and the largest short circuit of a string that the weaker class still breaks [A].
    """
    found, low = [], bank.fault.least_string_a / bank.fault.string_a
    for name, rated_a, most_a in _fuses(bank):
        weak = class_for(rated_a, bank.voltage_v, low * most_a)
        strong = class_for(rated_a, bank.voltage_v, most_a)
        if weak is not None and weak != strong:
            found.append((name, 1000.0 * weak.breaking_ka * bank.fault.string_a / most_a))
    return tuple(found)


def _known(bank: Bank) -> Check:
    fault, turns = bank.fault, flips(bank)
    band = f"{fault.least_string_a / 1000.0:.1f} to {fault.string_a / 1000.0:.1f}"
    at = "; ".join(f"{name}: another class above {amps / 1000.0:.1f} kA" for name, amps in turns)
    return checked(
        fault.known or not turns,
        **worded("protection", "battery-fault", bank_words=bank.words),
        found=f"{fault.string_a / 1000.0:.1f}" if fault.known else band,
        limit="from the manufacturer's data sheet" if fault.known
        else f"from the manufacturer's data sheet; this is an estimate by its kind;"
        f" {at or 'it decides no class'}",
        clause=fault.source, evidence="data sheet" if fault.known else "assumed",
    )  # fmt: skip


def _made(rated_a: float | None, *, item: str, limit: str, clause: str) -> Check:
    return checked(
        rated_a is not None, "failed", **worded("protection", "made"), item=item,
        found="none made" if rated_a is None else f"{rated_a:g}", limit=limit, clause=clause,
    )  # fmt: skip


def _rated(bank: Bank) -> Check:
    """Whether a fuse is made for what the bank gives and takes: it is chosen by that."""
    leads = "" if bank.fuse_a is None else f"; the cables to it carry {bank.fuse_a:g} A"
    return _made(
        bank.fuse_a, item=f"Rated current of the main fuse, {bank.words}",
        limit=f"at least {bank.least_a:.0f}{leads}",
        clause="IEC 60364-4-43 cl. 433.1: I_b <= I_n <= I_z",
    )  # fmt: skip


def _breaks(bank: Bank, item: str, rated_a: float, fault_a: float) -> Check:
    chosen: FuseClass | None = class_for(rated_a, bank.voltage_v, fault_a)
    strongest = fuse_classes()[-1]
    found = f"{chosen.breaking_ka:g}, {chosen.name}" if chosen else (
        f"{strongest.breaking_ka:g}, {strongest.name}"
    )
    return checked(chosen is not None, "failed", found=found, **worded(
        "protection", "breaking-capacity", item=item,
        fault_a=fault_a / 1000.0, voltage_v=bank.voltage_v, rated_a=rated_a,
        divide="" if bank.board else DIVIDE,
    ))  # fmt: skip


def _melts(bank: Bank, sized: SizedRun, rated_a: float) -> Check:
    far_a = bank.fault.least_far_a(lead_ohm(sized))
    return checked(far_a >= melting_a(rated_a), "failed", **worded(
        "protection", "fault-far-end", run_name=sized.run.name, far_a=far_a,
        melting_a=melting_a(rated_a),
    ))  # fmt: skip


SHARE_FRAC = constant("protection.share_frac")
UNFUSED_M = constant("protection.unfused_m")
GUARDED_M = constant("protection.guarded_m")
BAR_K = constant("protection.bar_k")


def _unfused(bank: Bank) -> Check:
    """Cable that no fuse guards, between the terminals and the first fuse."""
    near_m, most_m = float(UNFUSED_M), float(GUARDED_M)
    return checked(
        bank.unfused_m <= near_m, "review" if bank.unfused_m <= most_m else "failed",
        **worded("protection", "unfused-lead", bank_words=bank.words, unfused_m=bank.unfused_m,
                 near_m=near_m, most_m=most_m, unfused_source=UNFUSED_M.source,
                 guarded_source=GUARDED_M.source),
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class BusBar:
    """A bar that is sold.

    Parameters
    ----------
    rated_a, width_mm, thickness_mm : float
        [A], [mm], [mm].
    """

    rated_a: float
    width_mm: float
    thickness_mm: float

    @property
    def words(self) -> str:
        """Size in words."""
        return f"{self.width_mm:g} × {self.thickness_mm:g} mm"


def bar_for(least_a: float) -> BusBar | None:
    """Smallest copper bar that carries so much for ever; None where none of the table does.

    Parameters
    ----------
    least_a : float
        [A].

    Examples
    --------
    >>> bar_for(400.0).rated_a
    482.0
    """
    made = (
        BusBar(rated_a=float(row["rating_a"]), width_mm=float(row["width_mm"]),
               thickness_mm=float(row["thickness_mm"]))
        for row in published("busbar_ratings").rows
    )  # fmt: skip
    return next((bar for bar in made if bar.rated_a >= least_a - 1e-9), None)


def _bars(bank: Bank) -> Iterator[Check]:
    """Whether a bar is sold that carries the current, and stands the fault until it is cleared."""
    bar = bar_for(bank.bar_a)
    yield checked(
        bar is not None, "failed", **worded("protection", "bars", bank_words=bank.words,
                                            bar_a=bank.bar_a),
        found=f"{bar.rated_a:g}, {bar.words}" if bar else "none made",
    )  # fmt: skip
    if bar is None or bank.fuse_a is None:
        return
    heat = max(a**2 * (fuse_clear_s(bank.fuse_a, a) or LONGEST_S) for a in bank.fault.ends_a(0.0))
    stands = (float(BAR_K) * bar.width_mm * bar.thickness_mm) ** 2
    yield checked(
        heat <= stands, "failed", **worded(
            "protection", "bars-short", bank_words=bank.words, heat_ka2_s=heat / 1e6,
            stands_ka2_s=stands / 1e6, bars_ka=bank.fault.bars_a / 1000.0,
            bar_k_source=BAR_K.source,
    ))  # fmt: skip
