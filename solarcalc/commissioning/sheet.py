"""The test sheet of a site, in the order of the work: strings, bank, earth, boards, start."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from solarcalc.basis.sourced import FROM_MEMORY, NO_SOURCE
from solarcalc.battery.bank import set_points
from solarcalc.commissioning.facts import BankFacts, BoardFacts, StringFacts, TestFacts
from solarcalc.commissioning.line import (
    CELL_APART_V,
    DELAYED_LEAST_MS,
    DELAYED_MOST_MS,
    NEUTRAL_EARTH_V,
    RESIDUAL_SHARE,
    SET_POINT_FRAC,
    SUM_FRAC,
    SYSTEM_FACTOR,
    VOLTAGE_FRAC,
    TestLine,
    at_most,
    bond_limit_ohm,
    insulation_test,
    numbered,
    percent,
    trip_time_ms,
)
from solarcalc.energy.diode import STC, isc_expected_a, voc_expected_v

LIVE = "Live whenever there is light. Rated leads and gloves; no hand on bare metal."
ARC = "Never open a connector or a fuse under load: the arc does not go out."
_STRING_METER = "voltmeter, rated for the string's cold voltage, direct"
_CLAMP = "clamp meter, for direct current"
_LIGHT = "Write irradiance in the plane of the modules and cell temperature of the same minute."


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
    return f"{string.name}, to controller {string.controller}" if many else string.name


def _polarity_of_string(string: StringFacts) -> TestLine:
    return TestLine(
        category="polarity", what="plus is plus, minus is minus, and labelled so",
        where=string.name, instrument=_STRING_METER,
        how="String open at both ends of its cable. Red lead to plus: the reading has no minus.",
        caution=LIVE + " A reversed string joined to others burns them.",
        clause="IEC 62446-1:2016 cl. 6.2", key="polarity", group=string.name,
        remedy="swap the two cables at the string's own end, label them again, measure again",
    )  # fmt: skip


def _voltage(string: StringFacts, facts: TestFacts) -> TestLine:
    at_stc_v = voc_expected_v(facts.module, STC, in_series=string.modules)
    within = facts.rules.voltage_tolerance_frac
    return TestLine(
        category="string voltage", what="open-circuit voltage", where=_where(string, facts),
        instrument=_STRING_METER,
        how=f"String open, in steady sun. {_LIGHT} Keep the sign: a minus means reversed.",
        expected=f"{at_stc_v:.1f} V in 1000 W/m² at 25 °C, carried over to what you measure;"
        f" within {percent(within)}, and alike", unit="V", caution=LIVE,
        clause="IEC 62446-1:2016 cl. 6.4; IEC 60891", kind="string-voltage", key="voltage",
        group=string.name, count=string.modules,
        remedy="find the module or connector before any string is joined to another",
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
    return TestLine(
        category="string current", what="short-circuit current" if short else "working current",
        where=_where(string, facts), instrument=_CLAMP, how=f"{how} {_LIGHT}",
        expected=f"{at_stc_a:.2f} A in 1000 W/m² at 25 °C, carried over to what you measure;"
        f" strings alike within {percent(within)}", unit="A",
        caution=f"{LIVE} {ARC}", clause="IEC 62446-1:2016 cl. 6.5; IEC 60891",
        kind="string-current" if short else "working-current", key="current",
        group=string.name, count=string.modules,
        remedy="look at fuse, connectors, shade and dirt of that string",
    )  # fmt: skip


def _input_polarity(number: int, facts: TestFacts) -> TestLine:
    where = f"array terminals of controller {number}" if facts.controller_count > 1 else \
        "array terminals of the controller"  # fmt: skip
    return TestLine(
        category="polarity", what="array to controller: plus is plus", where=where,
        instrument=_STRING_METER, how="Array isolator on, controller's own switch or breaker off.",
        caution=LIVE, clause="IEC 62446-1:2016 cl. 6.2", key="input-polarity",
        remedy="isolator off and locked; swap the cables; measure again before the controller is"
        " switched on: most are destroyed by the wrong way round",
    )  # fmt: skip


def _insulation_of_strings(
    number: int, strings: list[StringFacts], facts: TestFacts
) -> Iterator[TestLine]:
    system_v = float(SYSTEM_FACTOR) * facts.module.voc_v * max(each.modules for each in strings)
    test = insulation_test("array", system_v)
    name = f"array of controller {number}" if facts.controller_count > 1 else "array"
    for pole in ("plus", "minus"):
        yield TestLine(
            category="insulation", what=f"{pole} of the array to earth", where=name,
            instrument=f"insulation tester, {test.test_v:.0f} V direct",
            how="Array cut off from controller; surge devices out. Tester's earth lead first."
            " Wait for a steady reading; discharge after it.",
            expected=f"at least {test.least_megohm:g} MΩ with {test.test_v:.0f} V",
            low=test.least_megohm, unit="MΩ", kind="reading", key="array-insulation",
            caution="The tester gives a shock and the array is live: nobody touches frames,"
            " cables or metal roof while it runs.",
            clause=f"{test.clause}; method 1, array at {system_v:.0f} V", group=name,
            count=sum(each.modules for each in strings),
            remedy="do not switch on; test string by string, then cable and modules apart",
        )  # fmt: skip


def label_lines(facts: TestFacts) -> Iterator[TestLine]:
    """What is looked at and tightened with everything off."""
    seen = [
        ("array cables, combiner and isolator: live in daylight, direct voltage", "roof and room"),
        ("every isolator and breaker: what it cuts off, on and off", "all cases"),
        ("single-line diagram and how to switch off, in what order", "power room, on the wall"),
        ("more than one source: cut all off before work", "boards and entry of the grid"),
        ("battery: kind, voltage, short-circuit danger, acid or gas where there is some",
         "door and battery"),
    ]  # fmt: skip
    for what, where in seen:
        yield TestLine(
            category="labels and fixings", what=f"label: {what}", where=where, instrument="eyes",
            how="There, fixed, readable from where one stands, made to last in the sun.",
            clause=f"IEC 62446-1:2016 cl. 5.2.7 and local rules, {FROM_MEMORY}", key="label",
            remedy="put the label on before hand-over",
        )  # fmt: skip
    yield TestLine(
        category="labels and fixings", what="module clamps, rails and feet tight",
        where="all rows", instrument="torque wrench",
        how="Every tenth clamp, and both ends of each rail, at the maker's torque; mark them.",
        caution="Fall: harness on a tested anchor, a second person, no wet roof, no wind.",
        clause=f"maker's sheet; {NO_SOURCE}", key="fixing",
        remedy="tighten all of that row and check the next ten",
    )  # fmt: skip
    yield TestLine(
        category="labels and fixings", what="connectors mated to the click, of one make, off the"
        " roof; cables tied, no sharp edge", where=f"{len(facts.strings)} strings",
        instrument="eyes and hands", how="Isolator off, no current flows: pull each connector"
        " lightly.", caution=f"{LIVE} {ARC}",
        clause=f"IEC 62548-1, {FROM_MEMORY}", key="connector",
        remedy="mate again or replace both halves by one make; tie the cable",
    )  # fmt: skip


_SHORT = "A bank gives thousands of amperes: insulated tools, no rings, face covered, links last."
_BANK_METER = "voltmeter, direct, 0.01 V"


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
            category="battery", what="voltage of the unit at rest",
            where=f"{bank.name}, string {string}, unit {unit}", instrument=_BANK_METER,
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
        where=f"{bank.name}, string {string}", instrument=_BANK_METER,
        how="From the free plus to the free minus, all links in.",
        expected=f"sum of its units within {percent(float(SUM_FRAC))}: {low:.1f} to {high:.1f} V",
        low=low, high=high, unit="V", kind="sum-voltage", key="links", caution=_SHORT,
        group=f"{bank.name} {string}", count=bank.battery.units_in_series, clause=SUM_FRAC.source,
        remedy="do not join it to anything; go from unit to unit with the meter and find the link",
    )  # fmt: skip


def _polarity_of_bank(bank: BankFacts) -> TestLine:
    return TestLine(
        category="polarity", what="battery to controller and inverter: plus is plus",
        where=f"{bank.name}, at each terminal before its fuse is put in", instrument=_BANK_METER,
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


def _insulation_of_bank(bank: BankFacts) -> TestLine:
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


_MAINS = "Live: a board kills. Rated probes, one hand, licensed people."
_JOINED = {
    "at-inverter": "at the inverter",
    "at-changeover": "at the changeover",
    "at-grid": "at the grid's entry",
}


def earth_lines(facts: TestFacts) -> Iterator[TestLine]:
    """Continuity of each protective conductor; the electrode."""
    for bond in facts.bonds:
        most_ohm = bond_limit_ohm(bond.size_mm2, bond.length_m)
        yield TestLine(
            category="continuity", what=bond.name, where=f"{bond.start} to {bond.end}",
            instrument="low-ohm tester, at least 0.2 A, 4 to 24 V",
            how="Leads zeroed. Bare metal to bare metal, not over paint or anodising; both ways.",
            expected=at_most(most_ohm, "Ω"), high=most_ohm, unit="Ω", kind="reading",
            key="continuity",
            caution="Everything off: an open earth conductor may be live at its loose end.",
            clause=f"IEC 60364-6 cl. 6.4.3.2, {FROM_MEMORY}; {bond.length_m:g} m of"
            f" {bond.size_mm2:g} mm² and a joint, {NO_SOURCE}",
            remedy="clean and tighten the joint, look for a broken or missing conductor",
        )  # fmt: skip
    yield TestLine(
        category="earth electrode", what="resistance of the electrode", where="at its test link",
        instrument="earth tester, three terminals",
        how="Test link open, everything off. Voltage pin at 62 % of the way to the current pin;"
        " move it by a tenth either way: three readings alike. Close the link.",
        expected=at_most(facts.electrode_limit_ohm, "Ω"), high=facts.electrode_limit_ohm,
        unit="Ω", kind="reading", key="electrode",
        caution="With the link open nothing is earthed: no source on, no thunder about.",
        clause="touch voltage over rated residual current, IEC 60364-4-41 cl. 411.5.3, or the"
        " target of the site file",
        remedy="add rods, deeper or further apart; do not switch on",
    )  # fmt: skip


def board_lines(facts: TestFacts) -> Iterator[TestLine]:
    """Insulation, voltage, residual current device of each board; the neutral's tie."""
    for board in facts.boards:
        test = insulation_test("others", board.voltage_v)
        yield TestLine(
            category="insulation", what="line and neutral together to earth",
            where=f"{board.name} board", instrument=f"insulation tester, {test.test_v:.0f} V",
            how="Inverter, appliances, lamps and surge devices cut off; neutral off its tie.",
            expected=f"at least {test.least_megohm:g} MΩ with {test.test_v:.0f} V",
            low=test.least_megohm, unit="MΩ", kind="reading", key="board-insulation",
            caution="The tester gives a shock: nobody at the sockets while it runs.",
            clause=test.clause, remedy="part the circuits and find the one that is low",
        )  # fmt: skip
        yield _board_voltage(board)
        if facts.residual:
            yield from _residual(board)
    for source in ("grid",) * facts.grid + ("generator",) * facts.generator:
        yield _incoming(source, facts.boards[0].voltage_v)
    if facts.grid and facts.grid_residual_ma is not None:
        yield _delayed(facts.grid_residual_ma)
    yield _neutral(facts)


def _incoming(source: str, line_v: float) -> TestLine:
    test = insulation_test("others", line_v)
    return TestLine(
        category="insulation", what="all conductors of the incoming cable to earth",
        where=f"cable from the {source}", instrument=f"insulation tester, {test.test_v:.0f} V",
        how="Cut off at both ends and proved dead: the source may come back at any moment.",
        expected=f"at least {test.least_megohm:g} MΩ with {test.test_v:.0f} V",
        low=test.least_megohm, unit="MΩ", kind="reading", key="incoming-insulation",
        caution=_MAINS, clause=test.clause, remedy="look for a crushed or wet cable; lay it anew",
    )  # fmt: skip


def _delayed(rated_ma: float) -> TestLine:
    """Delayed device before the grid: it waits for those of the boards (IEC 61008-1, type S)."""
    low_ms, high_ms = float(DELAYED_LEAST_MS), float(DELAYED_MOST_MS)
    return TestLine(
        category="functions", what=f"trip time of the delayed device at {rated_ma:g} mA",
        where="where the grid comes in", instrument="tester for residual current devices, type S",
        how="Supplied by the grid, at 0° and 180°: write the longer. Never trips: write > and the"
        " range.", expected=f"{low_ms:g} to {high_ms:g} ms", low=low_ms, high=high_ms, unit="ms",
        kind="reading", key="trip-time-delayed", caution=_MAINS, clause=DELAYED_MOST_MS.source,
        remedy="replace the device; do not hand over",
    )  # fmt: skip


def _board_voltage(board: BoardFacts) -> TestLine:
    low, high = (board.voltage_v * (1.0 + sign * float(VOLTAGE_FRAC)) for sign in (-1.0, 1.0))
    return TestLine(
        category="functions", what="voltage on the inverter, line to neutral",
        where=f"{board.name} board", instrument="voltmeter, category III",
        how="Without load, then with the largest load on: write the lower.",
        expected=f"{low:.0f} to {high:.0f} V", low=low, high=high, unit="V", kind="reading",
        key="board-voltage", caution=_MAINS, clause=VOLTAGE_FRAC.source,
        remedy="look at the inverter's setting, its tie and the cables' drop",
    )  # fmt: skip


def _residual(board: BoardFacts) -> Iterator[TestLine]:
    rated, where = board.residual_ma, f"{board.name} board"
    common = {
        "where": where, "instrument": "tester for residual current devices", "caution": _MAINS,
        "remedy": "replace the device, or mend the neutral's tie to earth in front of it; do not"
        " hand over", "clause": f"IEC 61008-1, {rated:g} mA, general type", "group": where,
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
            expected=at_most(most_ms, "ms"), high=most_ms, unit="ms", kind="reading",
            key="trip-time", **common,  # type: ignore[arg-type]
        )  # fmt: skip
    low, high = (share * rated for share in RESIDUAL_SHARE)
    yield TestLine(
        category="functions", what="residual current at which it trips",
        how="Rising current, with the appliances off.", expected=f"{low:g} to {high:g} mA",
        low=low, high=high, unit="mA", kind="reading", key="trip-current",
        **common,  # type: ignore[arg-type]
    )  # fmt: skip


def _neutral(facts: TestFacts) -> TestLine:
    if facts.neutral_earth == "nowhere":
        return TestLine(
            category="functions", what="neutral is not tied to earth anywhere, and the insulation"
            " monitor reports a fault put on for the test", where="boards",
            instrument="low-ohm tester, test resistor of the monitor's sheet", how="Everything off"
            " for the first; licensed people for the second.", caution=_MAINS,
            clause=f"IEC 60364-4-41 cl. 411.6, {FROM_MEMORY}", key="neutral",
            remedy="find the tie; a monitor that is silent is no protection",
        )  # fmt: skip
    most_v = float(NEUTRAL_EARTH_V)
    return TestLine(
        category="functions", what=f"neutral to earth: tied {_JOINED[facts.neutral_earth]} and"
        " nowhere else", where="boards, each source in turn, under load",
        instrument="voltmeter, category III", how="Grid, inverter and generator one after another:"
        " write the highest.", expected=at_most(most_v, "V"), high=most_v, unit="V",
        kind="reading", key="neutral", caution=_MAINS, clause=NEUTRAL_EARTH_V.source,
        remedy="a high voltage: no tie on that source, so no residual current device works",
    )  # fmt: skip


def function_lines(facts: TestFacts) -> Iterator[TestLine]:
    """What is switched, started and cut, and what must follow."""
    yield _does("array isolator cuts the current off", "array isolator",
                "Under load; the controller shows 0 A.", "replace it: it is the fire brigade's")
    yield _does("controller starts and charges; no error", "each controller",
                "Battery side on first, array last.", "maker's sheet of errors")
    yield _does("inverter starts, carries the largest start, stops", "each inverter",
                "Start the largest motor on it with the usual load.", "settings; cables; bank")
    for board in facts.boards:
        if board.waits:
            yield _does("board goes off when the battery is low and comes back",
                        f"{board.name} board", "Raise the set point for the test; set it back.",
                        "settings of the shedding relay or inverter")
    yield from _sources(facts)
    yield _does("low battery, high battery and fault alarms are heard or sent", "power room",
                "Set points moved for the test; set back.", "wiring and settings of the alarm")
    if facts.smoke_alarm:
        yield _does("smoke alarm sounds", "power room", "By its button.", "battery or alarm")
    yield TestLine(
        category="labels and fixings", what="every fuse, breaker, isolator, residual current and"
        " surge device: rating, poles, place and tag as in the protection schedule",
        where="all cases", instrument="eyes", how="Schedule in hand, covers off, all sources off;"
        " windows of the surge devices good.", caution=_MAINS, key="ratings",
        clause=f"IEC 60364-6 cl. 6.4.2, {FROM_MEMORY}", remedy="the device of the schedule",
    )  # fmt: skip
    yield _does("customer has switched off and on alone, by the sheet on the wall", "power room",
                "Watch; do not help.", "go through it again", caution="")


def _sources(facts: TestFacts) -> Iterator[TestLine]:
    if facts.grid:
        yield _does("grid lost: boards go on, nothing comes back out of the line",
                    "entry of the grid", "Main switch off; measure its grid side: 0 V.",
                    "do not connect: a line worker can be killed", key="grid-lost")
        yield _does("grid back: charger and boards return by themselves", "boards",
                    "Main switch on; wait the reconnection time.", "settings of the inverter")
    if facts.generator:
        yield _does("generator starts by itself, takes the load, stops", "generator",
                    "Set point raised for the test; hands off.", "start wires, fuel, settings")
    if facts.changeover != "none" and (facts.grid or facts.generator):
        yield _does("changeover cannot join two sources, in any position", "changeover",
                    "Each position in turn; measure the terminals that are off: 0 V.",
                    "do not connect: replace it or mend its interlock", key="changeover")


def _does(
    what: str, where: str, how: str, remedy: str, *, key: str = "function", caution: str = _MAINS
) -> TestLine:
    return TestLine(
        category="functions", what=what, where=where, how=how,
        instrument="eyes, and a voltmeter where it says so",
        caution=caution, clause=f"IEC 62446-1:2016 cl. 6.6; {NO_SOURCE}", key=key, remedy=remedy,
    )  # fmt: skip


Row = dict[str, str]

SAFETY: tuple[str, ...] = (
    "Two people, one of whom only watches and can switch off; the way to the switches is free.",
    "Modules are live in any light, and no switch makes a string dead. Direct current does not go"
    " out by itself: never open a connector or a fuse under load.",
    "Before each dead test: all sources off (array, battery, inverter, grid, generator), locked"
    " with your own lock and tag, proved dead with a tester that was tried on a live point before"
    " and after.",
    "Instruments, leads and gloves rated for the highest voltage of the site, direct and"
    " alternating; fused leads; look at them before use. Eyes covered, no rings or watches.",
    "On the roof: harness on a tested anchor or edge protection; no wet roof, wind or thunder.",
    "Go on to the next list only when the one before is good: a failed test is mended first.",
    "These tests are done or supervised by licensed people. Local codes, licensed practice and the"
    " makers' instructions stand before anything written here.",
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


def sheet_rows(lines: Sequence[TestLine]) -> list[Row]:
    """The blank sheet as a schedule."""
    return [
        {"id": line.id, "category": line.category, "what": line.what, "where": line.where,
         "instrument": line.instrument, "how": line.how, "expected": line.expected,
         "unit": line.unit, "caution": line.caution, "rule and source": line.clause}
        for line in lines
    ]  # fmt: skip
