"""The test sheet of a site, in the order of the work: strings, bank, earth, boards, start."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import combinations

from solarcalc.basis.text import counted
from solarcalc.basis.worded import worded
from solarcalc.battery.bank import set_points
from solarcalc.commissioning.facts import BankFacts, BoardFacts, StringFacts, TestFacts
from solarcalc.commissioning.line import (
    CELL_APART_V,
    DELAYED_LEAST_MS,
    DELAYED_MOST_MS,
    NEUTRAL_EARTH_V,
    POLES,
    RESIDUAL_SHARE,
    SET_POINT_FRAC,
    SHORT_DELAY_LEAST_MS,
    SUM_FRAC,
    SYSTEM_FACTOR,
    VOLTAGE_FRAC,
    TestLine,
    at_most,
    bond_limit_ohm,
    insulation_test,
    numbered,
    percent,
    plain_number,
    trip_time_ms,
)
from solarcalc.energy.diode import STC, isc_expected_a, voc_expected_v
from solarcalc.protection.case import AT_SOURCE
from solarcalc.sitefile.generator import CO_ALARM_WHERE


def array_lines(facts: TestFacts) -> Iterator[TestLine]:
    """Polarity, voltage, current of each string; insulation of each controller's part."""
    for string in facts.strings:
        yield _polarity_of_string(string)
        yield _voltage(string, facts)
        yield _current(string, facts)
    for number in range(1, facts.controller_count + 1):
        strings = [each for each in facts.strings if each.controller == number]
        if strings:
            yield _input_polarity(number, facts)
            yield from _insulation_of_strings(number, strings, facts)


def _where(string: StringFacts, facts: TestFacts | None = None) -> str:
    many = facts is None or facts.controller_count > 1
    name = f"{string.name} ({string.plane})" if string.plane else string.name
    return f"{name}, to controller {string.controller}" if many else name


def _polarity_of_string(string: StringFacts) -> TestLine:
    return TestLine(**worded("commissioning", "polarity"), where=string.name, group=string.name)


def _voltage(string: StringFacts, facts: TestFacts) -> TestLine:
    at_stc_v = voc_expected_v(facts.module, STC, in_series=string.modules)
    within = facts.rules.voltage_tolerance_frac
    return TestLine(
        **worded("commissioning", "voltage", at_stc_v=at_stc_v, within=percent(within)),
        where=_where(string, facts), group=string.name, count=string.modules,
    )  # fmt: skip


def _current(string: StringFacts, facts: TestFacts) -> TestLine:
    short = facts.rules.current_test == "short-circuit"
    at_stc_a = isc_expected_a(facts.module, STC) if short else facts.module.imp_a
    within = facts.rules.current_tolerance_frac
    how = (
        "Through a switch or a tester made for it, rated for the string's direct voltage and"
        " current; open it before any connector." if short else
        "Controllers at work on a battery that is not full, all strings joined; one clamp a string."
    )  # fmt: skip
    beside = "; short-circuit test switch or tester" if short else ""
    return TestLine(
        **worded("commissioning", "current", how=how, beside=beside, at_stc_a=at_stc_a,
                 within=percent(within)),
        what="short-circuit current" if short else "working current", where=_where(string, facts),
        kind="string-current" if short else "working-current", group=string.name,
        count=string.modules,
    )  # fmt: skip


def _input_polarity(number: int, facts: TestFacts) -> TestLine:
    where = f"inlet of the array isolator of controller {number}" \
        if facts.controller_count > 1 else "inlet of the array isolator"  # fmt: skip
    return TestLine(**worded("commissioning", "input-polarity"), where=where)


def _insulation_of_strings(
    number: int, strings: list[StringFacts], facts: TestFacts
) -> Iterator[TestLine]:
    system_v = float(SYSTEM_FACTOR) * facts.module.voc_v * max(each.modules for each in strings)
    test = insulation_test("array", system_v)
    name = f"array of controller {number}" if facts.controller_count > 1 else "array"
    for pole in POLES:
        yield TestLine(
            **worded(
                "commissioning", "array-insulation", pole=pole, test_v=test.test_v,
                least_megohm=test.least_megohm, clause=test.clause, system_v=system_v,
            ),
            where=name, low=test.least_megohm, group=name,
            count=sum(each.modules for each in strings),
        )  # fmt: skip


def label_lines(facts: TestFacts) -> Iterator[TestLine]:
    """What is looked at and tightened with everything off."""
    seen = [
        ("array cables, combiner and isolator: live in daylight, direct voltage", "roof and room"),
        ("every isolator and circuit-breaker: what it isolates, on and off", "all cases"),
        ("single-line diagram and switching-off sequence", "power room, on the wall"),
        ("more than one source: isolate all before work",
         "boards and entry of the grid" if facts.grid else "boards"),
        ("battery: type, voltage, short-circuit danger, acid or gas where applicable",
         "door and battery"),
    ]  # fmt: skip
    for what, where in seen:
        yield TestLine(**worded("commissioning", "label", what=what), where=where)
    yield TestLine(**worded("commissioning", "fixing"))
    yield TestLine(**worded(
        "commissioning", "connector", strings=counted(len(facts.strings), "string")
    ))  # fmt: skip


def battery_lines(facts: TestFacts) -> Iterator[TestLine]:
    """Every line of every bank."""
    for bank in facts.banks:
        yield _insulation_of_bank(bank)
        yield _tight(bank)
        for string in range(1, bank.battery.units_in_parallel + 1):
            yield from _units(bank, string)
            if bank.battery.units_in_series > 1:
                yield _sum(bank, string)
        yield _polarity_of_bank(bank)
        yield from _settings(bank)


def _units(bank: BankFacts, string: int) -> Iterator[TestLine]:
    cells, rest = bank.battery.unit_cells, bank.battery.traits.rest
    low, high = cells * rest.sound_v, cells * rest.most_v
    apart_v = cells * float(CELL_APART_V)
    alone = bank.battery.units_in_series == 1  # then what is alike is all that lies in parallel
    group = bank.name if alone else f"{bank.name} {string}"
    for unit in range(1, bank.battery.units_in_series + 1):
        yield TestLine(
            **worded(
                "commissioning", "unit", bank_name=bank.name, string=string, unit=unit, low=low,
                high=high, apart_v=apart_v, clause=rest.clause,
            ),
            low=low, high=high, group=group, count=cells,
        )  # fmt: skip


def _sum(bank: BankFacts, string: int) -> TestLine:
    cells, rest = bank.battery.cells_in_series, bank.battery.traits.rest
    low, high = cells * rest.sound_v, cells * rest.most_v
    return TestLine(
        **worded(
            "commissioning", "links", bank_name=bank.name, string=string,
            sum_frac=percent(float(SUM_FRAC)), low=low, high=high,
        ),
        low=low, high=high, count=bank.battery.units_in_series, clause=SUM_FRAC.source,
    )  # fmt: skip


def _polarity_of_bank(bank: BankFacts) -> TestLine:
    return TestLine(**worded("commissioning", "battery-polarity", bank_name=bank.name))


def _tight(bank: BankFacts) -> TestLine:
    return TestLine(**worded("commissioning", "torque"), where=bank.name)


def _insulation_of_bank(bank: BankFacts) -> TestLine:
    test = insulation_test("extra-low", bank.battery.nominal_voltage_v)
    return TestLine(
        **worded(
            "commissioning", "battery-insulation", test_v=test.test_v,
            least_megohm=test.least_megohm,
        ),
        where=bank.name, low=test.least_megohm, clause=test.clause,
    )  # fmt: skip


def _settings(bank: BankFacts) -> Iterator[TestLine]:
    points = set_points(bank.battery)
    wanted = {"absorption": points.absorption_v, "float": points.float_v}
    if points.equalise_v is not None:
        wanted["equalising"] = points.equalise_v
    for name, volts in wanted.items():
        low, high = (volts * (1.0 + sign * float(SET_POINT_FRAC)) for sign in (-1.0, 1.0))
        yield TestLine(
            **worded(
                "commissioning", "set-point", name=name, bank_name=bank.name, low=low, high=high,
                clause=bank.battery.traits.charge.clause,
            ),
            low=low, high=high,
        )  # fmt: skip
    yield from _guards(bank)


def _guards(bank: BankFacts) -> Iterator[TestLine]:
    """What keeps a charge from doing harm in heat and cold, where the kind has it."""
    kind = bank.battery.traits
    cold_c = kind.charge_by_temperature.stops_below_c
    if kind.charge.compensation_v_per_k > 0.0:
        yield TestLine(**worded("commissioning", "sensor"), where=bank.name)
    if kind.management_system:
        cold = "" if cold_c is None else f" and stops a charge below {cold_c:g} °C"
        yield TestLine(**worded("commissioning", "sensor-guards", cold=cold), where=bank.name)


_MAINS = "Live distribution board: danger of death. Rated probes, one hand, licensed persons only."
_FED = {
    "grid": "supplied by the grid",
    "inverter": "supplied by the inverter only",
    "generator": "supplied by the generator",
}
_JOINED = {
    "at-inverter": "at the inverter",
    "at-changeover": "at the changeover",
    "at-grid": "at the grid's entry",
}


def earth_lines(facts: TestFacts) -> Iterator[TestLine]:
    """Continuity of each protective conductor; the electrode."""
    for bond in facts.bonds:
        most_ohm = bond_limit_ohm(bond.size_mm2, bond.length_m)
        start = f"{bond.start}," if re.search(", | where ", bond.start) else bond.start
        yield TestLine(
            **worded(
                "commissioning", "continuity", start=start, end=bond.end,
                length_m=bond.length_m, size_mm2=bond.size_mm2,
            ),
            what=bond.name, expected=at_most(most_ohm, "Ω"), high=most_ohm,
        )  # fmt: skip
    most_ohm, assumed_ohm = facts.electrode_limit_ohm, facts.electrode_assumed_ohm
    expected = at_most(most_ohm, "Ω")
    if assumed_ohm is not None and assumed_ohm < most_ohm:
        expected += f"; above the calculated {plain_number(assumed_ohm)} Ω to be reviewed"
    yield TestLine(**worded("commissioning", "electrode"), expected=expected, high=most_ohm,
                   assumed=assumed_ohm)  # fmt: skip


def board_lines(facts: TestFacts) -> Iterator[TestLine]:
    """Insulation, voltage, residual current device of each board; the neutral's tie."""
    for board in facts.boards:
        test = insulation_test("others", board.voltage_v)
        yield TestLine(
            **worded(
                "commissioning", "board-insulation", board_name=board.name, test_v=test.test_v,
                least_megohm=test.least_megohm,
            ),
            low=test.least_megohm, clause=test.clause,
        )  # fmt: skip
        yield from _board_voltages(board)
        if facts.residual:
            yield from _residual(board, short_delay=facts.short_delay)
    for source in ("grid",) * facts.grid + ("generator",) * facts.generator:
        yield _incoming(source, facts.boards[0].voltage_v)
    for source in facts.delayed_at:
        yield _delayed(source, facts.delayed_ma)
    yield from _neutral(facts)


def _incoming(source: str, line_v: float) -> TestLine:
    test = insulation_test("others", line_v)
    return TestLine(
        **worded(
            "commissioning", "incoming-insulation", source=source, test_v=test.test_v,
            least_megohm=test.least_megohm,
        ),
        low=test.least_megohm, clause=test.clause,
    )  # fmt: skip


def _delayed(source: str, rated_ma: float) -> TestLine:
    """Delayed device of a source: it waits for those of the boards (IEC 61008-1, type S)."""
    low_ms, high_ms = float(DELAYED_LEAST_MS), float(DELAYED_MOST_MS)
    return TestLine(
        **worded(
            "commissioning", "trip-time-delayed", rated_ma=rated_ma, low_ms=low_ms, high_ms=high_ms,
            source=source, at=AT_SOURCE[source],
        ),
        low=low_ms, high=high_ms, clause=DELAYED_MOST_MS.source,
    )  # fmt: skip


def _board_voltages(board: BoardFacts) -> Iterator[TestLine]:
    """Each line to neutral, and where there are several, each to the next and their order.

    Inverters one a phase that are set to the same phase have every line right to neutral and 0 V
    between them; only this shows it before the neutral carries the sum of their currents.
    """
    named = f"{board.name} board"
    for name in board.line_names:
        low, high = _around(board.voltage_v)
        where = {"where": f"{named}, {name}"} if board.phases > 1 else {}
        yield TestLine(
            **worded("commissioning", "board-voltage", board_name=board.name, low=low, high=high)
            | where, low=low, high=high, clause=VOLTAGE_FRAC.source,
        )  # fmt: skip
    if board.phases < 2:
        return
    low, high = _around(board.between_v)
    pairs = list(combinations(board.line_names, 2))
    for first, second in pairs:
        yield TestLine(
            **worded("commissioning", "line-voltage", board_name=board.name, low=low, high=high,
                     pair=f"{first} and {second}"),
            low=low, high=high, clause=VOLTAGE_FRAC.source, group=named,
        )  # fmt: skip
    if board.phases == 3:
        yield TestLine(**worded("commissioning", "phase-sequence", board_name=board.name))


def _around(voltage_v: float) -> tuple[float, float]:
    """Least and most of a rated voltage [V]."""
    low, high = (voltage_v * (1.0 + sign * float(VOLTAGE_FRAC)) for sign in (-1.0, 1.0))
    return low, high


def _residual(board: BoardFacts, *, short_delay: bool) -> Iterator[TestLine]:
    least_ms = float(SHORT_DELAY_LEAST_MS) if short_delay else None
    rated, where = board.residual_ma, f"{board.name} board"
    common = {
        "where": where, "instrument": "residual current device tester", "caution": _MAINS,
        "remedy": "replace the device, or repair the neutral-earth bond upstream of it; no"
        " handover before", "clause": f"IEC 61008-1, {rated:g} mA, general type", "group": where,
    }  # fmt: skip
    yield TestLine(
        category="functions", what=f"holds at half of {rated:g} mA",
        how="Supplied by the inverter.", key="trip-half", **common,  # type: ignore[arg-type]
    )  # fmt: skip
    for times in (1, 5):
        most_ms = trip_time_ms(times)
        yield TestLine(
            category="functions", what=f"trip time at {times} × {rated:g} mA",
            how="At 0° and 180°: write the longer. Never trips: write > and the range.",
            expected=f"{least_ms:g} to {most_ms:g} ms" if least_ms else at_most(most_ms, "ms"),
            low=least_ms, high=most_ms, unit="ms", kind="reading", key="trip-time",
            **common,  # type: ignore[arg-type]
        )  # fmt: skip
    low, high = (share * rated for share in RESIDUAL_SHARE)
    yield TestLine(
        category="functions", what="residual current at which it trips",
        how="Rising current, with the appliances off.", expected=f"{low:g} to {high:g} mA",
        low=low, high=high, unit="mA", kind="reading", key="trip-current",
        **common,  # type: ignore[arg-type]
    )  # fmt: skip


def _neutral(facts: TestFacts) -> Iterator[TestLine]:
    """One line for each source: the join of neutral and earth is another with each."""
    if facts.neutral_earth_bond == "nowhere":
        yield TestLine(**worded("commissioning", "neutral-neutral"))
        return
    most_v = float(NEUTRAL_EARTH_V)
    each = [worded("commissioning", "neutral-state", source=_FED[state], joined=joined)
            for state, joined in facts.joined.items()]  # fmt: skip
    alone = [worded("commissioning", "neutral", joined=_JOINED[facts.neutral_earth_bond])]
    for words in each if len(each) > 1 else alone:
        yield TestLine(**words, expected=at_most(most_v, "V"), high=most_v,
                       clause=NEUTRAL_EARTH_V.source)  # fmt: skip


def function_lines(facts: TestFacts) -> Iterator[TestLine]:
    """What is switched, started and cut, and what must follow."""
    yield _does("array isolator interrupts the current", "array isolator",
                "Under load; the controller shows 0 A.", "replace it: the fire service relies on"
                " it")
    yield _does("controller starts and charges; no error", "each controller",
                "Battery side on first, array last.", "error list of the manufacturer")
    yield _does("inverter starts, carries the largest starting load, stops", "each inverter",
                "Start the largest motor on it with the usual load.", "settings; cables; battery")
    for board in facts.boards:
        if board.waits:
            yield _does("board is shed when the battery is low and reconnects",
                        f"{board.name} board", "Raise the set point for the test; set it back.",
                        "settings of the shedding relay or inverter")
    yield _does("low-battery, high-battery and fault alarms are audible or sent", "power room",
                "Set points changed for the test; reset afterwards.", "wiring and settings of"
                " the alarm")
    if facts.smoke_alarm:
        yield _does("smoke alarm sounds", "power room", "By its button.", "battery or alarm")
    if facts.generator:
        yield _does("carbon monoxide alarm sounds", CO_ALARM_WHERE, "By its button.",
                    "battery or alarm")
    yield from _sources(facts)  # after the alarms: an engine is not started without its own
    yield TestLine(**worded("commissioning", "ratings"))
    yield _does("customer has switched off without help, by the booklet", "power room",
                "Watch; do not help; switch on again afterwards.", "go through it again",
                caution="")
    yield TestLine(**worded("commissioning", "inverter-short"))


def _sources(facts: TestFacts) -> Iterator[TestLine]:
    if facts.grid:
        yield _does("grid lost: boards stay supplied, no back-feed into the line",
                    "entry of the grid", "Main switch open and locked; its grid side stays live."
                    " The inverter feeds the boards: measure the main switch's terminals on our"
                    " side, line to neutral and each to earth: 0 V, in each position of a"
                    " changeover. Prove the tester before and after.",
                    "do not connect: a line worker can be killed", key="grid-lost",
                    instrument=_VOLTMETER)
        yield _does("grid back: charger and boards return by themselves", "boards",
                    "Main switch on; wait the reconnection time.", "settings of the inverter")
    if facts.generator:
        yield _does("generator starts automatically, takes the load, stops", "generator",
                    "Set point raised for the test; hands off."
                    + (" Its changeover turned by hand, and back after it."
                       if facts.changeover == "manual" else ""), "start wires, fuel, settings")
    if facts.changeover != "none" and (facts.grid or facts.generator):
        yield _does("changeover cannot connect two sources together, in any position", "changeover",
                    "Each position in turn; measure the terminals that are off: 0 V.",
                    "do not connect: replace it or repair its interlock", key="changeover",
                    instrument=_VOLTMETER)


_VOLTMETER = "voltmeter, category III"


def _does(
    what: str, where: str, how: str, remedy: str, *, key: str = "function", caution: str = _MAINS,
    instrument: str = "visual",
) -> TestLine:
    return TestLine(
        **worded("commissioning", "does"), what=what, where=where, how=how, caution=caution,
        key=key, remedy=remedy, instrument=instrument,
    )  # fmt: skip


Row = dict[str, str]

SAFETY: tuple[str, ...] = (
    "Two people, one of whom only watches and can switch off; the way to the switches is free.",
    "Modules are live in any light, and no switch makes a string dead. A DC arc does not"
    " extinguish by itself: never open a connector or a fuse under load.",
    "Before each dead test: all sources off (array, battery, inverter, grid, generator), locked"
    " with your own lock and tag, proved dead with a tester that was tried on a live point before"
    " and after.",
    "Instruments, leads and gloves rated for the highest voltage of the site, direct and"
    " alternating; fused leads; look at them before use. Eyes covered, no rings or watches.",
    "On the roof: harness on a tested anchor or edge protection; no wet roof, wind or thunder.",
    "Go on to the next list only when the one before has passed: a failed item is repaired first.",
    "These tests are done or supervised by licensed people. Local codes, licensed practice and the"
    " manufacturers' instructions take precedence over anything written here.",
)  # fmt: skip


def sheet_of(facts: TestFacts) -> tuple[TestLine, ...]:
    """All tests of a site.

    Parameters
    ----------
    facts : TestFacts

    Returns
    -------
    tuple of TestLine
        Dead tests first, then what needs light, then what is switched on. The same facts give the
        same ids.
    """
    return numbered([
        *label_lines(facts), *earth_lines(facts), *array_lines(facts), *battery_lines(facts),
        *board_lines(facts), *function_lines(facts),
    ])  # fmt: skip
