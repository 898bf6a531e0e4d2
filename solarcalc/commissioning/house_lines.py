"""Tests of earth, boards and what the system does when it is switched on."""

from __future__ import annotations

from collections.abc import Iterator

from solarcalc.basis.sourced import FROM_MEMORY, NO_SOURCE
from solarcalc.commissioning.facts import BoardFacts, TestFacts
from solarcalc.commissioning.limits import (
    NEUTRAL_EARTH_V,
    RESIDUAL_SHARE,
    VOLTAGE_FRAC,
    bond_limit_ohm,
    insulation_test,
    trip_time_ms,
)
from solarcalc.commissioning.line import TestLine, at_most

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
        if facts.neutral_earth != "nowhere":
            yield from _residual(board)
    yield _neutral(facts)


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
