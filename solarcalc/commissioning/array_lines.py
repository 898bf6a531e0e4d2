"""Tests of the array: strings one by one, then the insulation of what they make together."""

from __future__ import annotations

from collections.abc import Iterator

from solarcalc.basis.sourced import FROM_MEMORY, NO_SOURCE
from solarcalc.commissioning.facts import StringFacts, TestFacts
from solarcalc.commissioning.limits import SYSTEM_FACTOR, insulation_test
from solarcalc.commissioning.line import TestLine, percent
from solarcalc.harvest.standard_conditions import STC, isc_expected_a, voc_expected_v

LIVE = "Live whenever there is light. Rated leads and gloves; no hand on bare metal."
ARC = "Never open a connector or a fuse under load: the arc does not go out."
_METER = "voltmeter, rated for the string's cold voltage, direct"
_CLAMP = "clamp meter, for direct current"
_LIGHT = "Write irradiance in the plane of the modules and cell temperature of the same minute."


def array_lines(facts: TestFacts) -> Iterator[TestLine]:
    """Polarity, voltage, current of each string; insulation of each controller's part."""
    for string in facts.strings:
        yield _polarity(string)
        yield _voltage(string, facts)
        yield _current(string, facts)
    for number in range(1, facts.controller_count + 1):
        strings = [each for each in facts.strings if each.controller == number]
        if strings:
            yield _input_polarity(number, facts)
            yield from _insulation(number, strings, facts)


def _where(string: StringFacts, facts: TestFacts | None = None) -> str:
    many = facts is None or facts.controller_count > 1
    return f"{string.name}, to controller {string.controller}" if many else string.name


def _polarity(string: StringFacts) -> TestLine:
    return TestLine(
        category="polarity", what="plus is plus, minus is minus, and labelled so",
        where=string.name, instrument=_METER,
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
        instrument=_METER,
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
        instrument=_METER, how="Array isolator on, controller's own switch or breaker off.",
        caution=LIVE, clause="IEC 62446-1:2016 cl. 6.2", key="input-polarity",
        remedy="isolator off and locked; swap the cables; measure again before the controller is"
        " switched on: most are destroyed by the wrong way round",
    )  # fmt: skip


def _insulation(number: int, strings: list[StringFacts], facts: TestFacts) -> Iterator[TestLine]:
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
