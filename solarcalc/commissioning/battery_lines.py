"""Tests of the bank: each unit, each string of units, links, set points, temperature."""

from __future__ import annotations

from collections.abc import Iterator

from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.battery.chemistry import set_points
from solarcalc.commissioning.facts import BankFacts, TestFacts
from solarcalc.commissioning.limits import (
    CELL_APART_V,
    SET_POINT_FRAC,
    SUM_FRAC,
    insulation_test,
)
from solarcalc.commissioning.line import TestLine, percent

_SHORT = "A bank gives thousands of amperes: insulated tools, no rings, face covered, links last."
_METER = "voltmeter, direct, 0.01 V"


def battery_lines(facts: TestFacts) -> Iterator[TestLine]:
    """Every line of every bank."""
    for bank in facts.banks:
        yield _insulation(bank)
        yield _tight(bank)
        for string in range(1, bank.battery.units_in_parallel + 1):
            yield from _units(bank, string)
            if bank.battery.units_in_series > 1:
                yield _sum(bank, string)
        yield _polarity(bank)
        yield from _settings(bank)


def _units(bank: BankFacts, string: int) -> Iterator[TestLine]:
    cells, rest = bank.battery.unit_cells, bank.battery.traits.rest
    low, high = cells * rest.sound_v, cells * rest.most_v
    apart_v = cells * float(CELL_APART_V)
    alone = bank.battery.units_in_series == 1  # then what is alike is all that lies in parallel
    group = bank.name if alone else f"{bank.name} {string}"
    for unit in range(1, bank.battery.units_in_series + 1):
        yield TestLine(
            category="battery", what="voltage of the unit at rest",
            where=f"{bank.name}, string {string}, unit {unit}", instrument=_METER,
            how="Charged, then hours without current, before strings are joined. Keep the sign.",
            expected=f"{low:.2f} to {high:.2f} V, all alike within {apart_v:.2f} V",
            low=low, high=high, unit="V", kind="unit-voltage", key="unit", caution=_SHORT,
            group=group, count=cells, clause=f"near full after hours at rest; {rest.clause}",
            remedy="charge that unit alone and measure again; a unit that stays apart is replaced",
        )  # fmt: skip


def _sum(bank: BankFacts, string: int) -> TestLine:
    cells, rest = bank.battery.cells_in_series, bank.battery.traits.rest
    low, high = cells * rest.sound_v, cells * rest.most_v
    return TestLine(
        category="battery", what="voltage of the whole string of units",
        where=f"{bank.name}, string {string}", instrument=_METER,
        how="From the free plus to the free minus, all links in.",
        expected=f"sum of its units within {percent(float(SUM_FRAC))}: {low:.1f} to {high:.1f} V",
        low=low, high=high, unit="V", kind="sum-voltage", key="links", caution=_SHORT,
        group=f"{bank.name} {string}", count=bank.battery.units_in_series, clause=SUM_FRAC.source,
        remedy="do not join it to anything; go from unit to unit with the meter and find the link",
    )  # fmt: skip


def _polarity(bank: BankFacts) -> TestLine:
    return TestLine(
        category="polarity", what="battery to controller and inverter: plus is plus",
        where=f"{bank.name}, at each terminal before its fuse is put in", instrument=_METER,
        how="Fuses out, breakers off. Red lead to plus: the reading has no minus.",
        caution=_SHORT, clause=f"IEC 62446-1:2016 cl. 6.2; {NO_SOURCE}", key="battery-polarity",
        remedy="swap the cables with the bank's fuse out; a wrong way round destroys inverters",
    )  # fmt: skip


def _tight(bank: BankFacts) -> TestLine:
    return TestLine(
        category="labels and fixings", what="battery links and lugs at the maker's torque, covered",
        where=bank.name, instrument="torque wrench, its handle insulated",
        how="Each bolt once, marked; covers on. Again after a month.", caution=_SHORT,
        clause=f"maker's sheet; {NO_SOURCE}", key="torque",
        remedy="clean, grease, tighten and mark again",
    )  # fmt: skip


def _insulation(bank: BankFacts) -> TestLine:
    test = insulation_test("extra-low", bank.battery.nominal_voltage_v)
    return TestLine(
        category="insulation", what="battery cables, plus and minus together, to earth",
        where=bank.name, instrument=f"insulation tester, {test.test_v:.0f} V",
        how="Battery, controllers and inverters cut off: they do not stand the test voltage.",
        expected=f"at least {test.least_megohm:g} MΩ with {test.test_v:.0f} V",
        low=test.least_megohm, unit="MΩ", kind="reading", key="battery-insulation",
        caution="Cables only. The tester destroys electronics that are still joined.",
        clause=test.clause, remedy="part the cables and look for a crushed or wet one",
    )  # fmt: skip


def _settings(bank: BankFacts) -> Iterator[TestLine]:
    points = set_points(bank.battery)
    wanted = {"absorption": points.absorption_v, "float": points.float_v}
    if points.equalise_v is not None:
        wanted["equalising"] = points.equalise_v
    for name, volts in wanted.items():
        low, high = (volts * (1.0 + sign * float(SET_POINT_FRAC)) for sign in (-1.0, 1.0))
        yield TestLine(
            category="battery", what=f"{name} voltage as set, at 25 °C",
            where=f"{bank.name}, each charger", instrument="display of the charger",
            how="Read back after it was set; all chargers alike.",
            expected=f"{low:.2f} to {high:.2f} V, or the maker's sheet", low=low, high=high,
            unit="V", kind="reading", key="set-point",
            clause=f"{bank.battery.traits.charge.clause}; the maker's sheet goes first",
            remedy="set it again by the maker's sheet, and write that figure into the note",
        )  # fmt: skip
    yield from _guards(bank)


def _guards(bank: BankFacts) -> Iterator[TestLine]:
    """What keeps a charge from doing harm in heat and cold, where the kind has it."""
    kind = bank.battery.traits
    cold_c = kind.charge_by_temperature.stops_below_c
    if kind.charge.compensation_v_per_k > 0.0:
        yield TestLine(
            category="battery", what="temperature sensor on the battery, read by every charger",
            where=bank.name, instrument="thermometer", clause=NO_SOURCE, key="sensor",
            how="Within 3 K of the thermometer; charge voltage falls as it warms.",
            remedy="fix the sensor to the side of a middle unit",
        )  # fmt: skip
    if kind.management_system:
        cold = "" if cold_c is None else f" and stops a charge below {cold_c:g} °C"
        yield TestLine(
            category="battery", what=f"management system talks to every charger{cold}",
            where=bank.name, instrument="display", clause=NO_SOURCE, key="sensor",
            how="By the maker's test, not by frost.", remedy="do not charge before it does",
        )  # fmt: skip
