"""Which end is plus, what each thing is called, and which label goes where.

Names first: every string, its two ends, the terminals they go to and every cable have one name
that stands on both ends and in the drawings. Then the warnings for whoever opens a box in years.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import FROM_MEMORY, NO_SOURCE, constant
from solarcalc.sitefile.site import Site
from solarcalc.wiring.runs import SizedRun

SIGNS_RULE = f"IEC 62548-1 clause on marking and IEC 60364-7-712.514, {FROM_MEMORY}"
TEST_RULE = "IEC 62446-1 cl. 6.2 and 6.3: polarity test, combiner box test"
COLOUR_RULE = f"IEC 60445:2021, {FROM_MEMORY}"

MOST_STRINGS_LISTED = 12
"""Strings that have a line of their own in the schedule; more share one line."""

CABLE_SIGN_EVERY_M = float(constant("wiring.cable_sign_every_m"))


@dataclass(frozen=True, kw_only=True)
class LabelFacts:
    """What the labels depend on.

    Parameters
    ----------
    strings, series : int
        Strings in parallel; modules in each.
    controllers : int
    cold_voc_v : float
        Open circuit of a string at the record low [V].
    circuit_a : float
        Largest lasting current of one string [A].
    string_fuses : bool
    bank_v : float
        Nominal [V].
    bank_danger : str
        What the sign at the bank says of this kind.
    boards : tuple of str
        Names of the alternating-current boards.
    inverters : int
    grid, generator : bool
        Whether there is one.
    main_m : float
        Length of the direct-current run that leaves the roof [m].
    """

    strings: int
    series: int
    controllers: int
    cold_voc_v: float
    circuit_a: float
    string_fuses: bool
    bank_v: float
    bank_danger: str
    boards: tuple[str, ...]
    inverters: int
    grid: bool
    generator: bool
    main_m: float


def label_facts(
    site: Site, *, cold_voc_v: float, circuit_a: float, string_fuses: bool, main_m: float
) -> LabelFacts:
    """Facts for the labels of a site.

    Parameters
    ----------
    site : Site
    cold_voc_v : float
        Open circuit of a string at the record low [V].
    circuit_a : float
        Largest lasting current of one string [A].
    string_fuses : bool
    main_m : float
        Length of the main run [m].
    """
    battery = site.battery
    return LabelFacts(
        strings=site.array.string_count,
        series=site.array.modules_in_series, controllers=site.controller.count,
        cold_voc_v=cold_voc_v, circuit_a=circuit_a, string_fuses=string_fuses,
        bank_v=battery.nominal_voltage_v, bank_danger=battery.traits.words.sign,
        boards=("critical", "heavy"),
        inverters=len(site.inverters),
        grid=site.grid.there, generator=site.generator.there, main_m=main_m,
    )  # fmt: skip


def string_names(strings: int) -> tuple[str, ...]:
    """S1, S2 and so on.

    Raises
    ------
    InputError
        When there is none.
    """
    if strings < 1:
        fault = Fault(where="strings in parallel", given=f"{strings}", allowed="1 or more")
        raise InputError(fault)
    return tuple(f"S{number}" for number in range(1, strings + 1))


def _row(label: str, words: str, where: str, count: int, rule: str) -> dict[str, object]:
    return {"label": label, "words on it": words, "where": where, "count": count, "rule": rule}


def label_rows(facts: LabelFacts, runs: Sequence[SizedRun] = ()) -> list[dict[str, object]]:
    """The label schedule: strings, cables by run, boxes and warnings, in the order of the current.

    Parameters
    ----------
    facts : LabelFacts
    runs : sequence of SizedRun
        Those with a cable; each gets a name that stands on both ends.
    """
    return [
        *_string_rows(facts), *_cable_rows(runs), *_direct_rows(facts), *_bank_rows(facts),
        *_board_rows(facts),
    ]  # fmt: skip


def label_count(rows: Sequence[dict[str, object]]) -> int:
    """Labels to order, all lines together."""
    return sum(int(str(row["count"])) for row in rows)


def _string_rows(facts: LabelFacts) -> list[dict[str, object]]:
    names = string_names(facts.strings)
    places = "at the module's connector, and at the combiner's terminal of the same name"
    if len(names) > MOST_STRINGS_LISTED:
        span = f"{names[0]} to {names[-1]}"
        return [
            _row(f"{span}, + and −", "name and sign, such as S1+ and S1−", places,
                 4 * len(names), NO_SOURCE)
        ]  # fmt: skip
    return [
        _row(f"{name}+, {name}−", f"{name}+ on the plus, {name}− on the minus", places, 4,
             NO_SOURCE)
        for name in names
    ]  # fmt: skip


def _cable_rows(runs: Sequence[SizedRun]) -> list[dict[str, object]]:
    rows = []
    for number, sized in enumerate(runs, start=1):
        run, name = sized.run, f"W{number}"
        if run.key == "string":
            continue
        many = f"{name}.1 to {name}.{run.count}" if run.count > 1 else name
        volts = f"{run.highest_v:.0f} V {'d.c.' if run.current == 'dc' else 'a.c.'}"
        rows.append(
            _row(many, f"{run.name}, {sized.size_name}, {volts}",
                 f"both ends: {run.start}; {run.end}", 2 * run.count, NO_SOURCE)
        )  # fmt: skip
    return rows


def _direct_rows(facts: LabelFacts) -> list[dict[str, object]]:
    along = 1 + int(facts.main_m / CABLE_SIGN_EVERY_M)
    boxes = max(facts.controllers, 1)
    rating = (
        f"PV array: at most {math.ceil(facts.cold_voc_v)} V d.c. open circuit,"
        f" {facts.circuit_a:.1f} A a string"
    )
    rows = [
        _row("Sign 1", "SOLAR d.c. — live whenever there is light",
             "along direct-current cables and pipe,"
             f" every {CABLE_SIGN_EVERY_M:g} m and at each end that enters a box",
             along + 2 * boxes, SIGNS_RULE),
        _row("Sign 2", "Connector: do not open under load", "at each string's connectors",
             2 * facts.strings, SIGNS_RULE),
        _row("Sign 3", f"PV combiner. Live by day, also with the isolator off. {rating}",
             "outside and inside of each combiner", 2 * boxes, SIGNS_RULE),
        _row("Sign 4", "PV array d.c. isolator: on, off", "at each isolator", boxes, SIGNS_RULE),
    ]  # fmt: skip
    if facts.string_fuses:
        rows.append(
            _row("Sign 5", "Fuses: never pull under load. Isolator off first; fuses for"
                 " photovoltaic strings only", "inside each combiner", boxes, SIGNS_RULE)
        )  # fmt: skip
    return rows


def _bank_rows(facts: LabelFacts) -> list[dict[str, object]]:
    return [
        _row("Sign 6", f"Battery {facts.bank_v:.0f} V: stays live whatever is switched; a short"
             f" circuit burns; {facts.bank_danger}", "door of the battery room, and at the bank", 2,
             f"IEC 62485-2 clause on marking, {FROM_MEMORY}"),
        _row("Sign 7", "Battery fuse or isolator: turn off to part the bank from all else",
             "at each battery fuse or isolator", facts.inverters + facts.controllers, NO_SOURCE),
    ]  # fmt: skip


def _board_rows(facts: LabelFacts) -> list[dict[str, object]]:
    sources = ["inverter with battery"]
    sources += ["grid"] * facts.grid + ["generator"] * facts.generator
    several = len(sources) > 1
    words = (
        f"Warning: {len(sources)} sources ({', '.join(sources)}). Part all of them before work"
        if several
        else "Warning: fed by an inverter with battery. Part it before work, and prove it dead"
    )
    rows = [
        _row("Sign 8", words, "at each board, and at the meter if there is one",
             len(facts.boards) + facts.grid, SIGNS_RULE),
        _row("Sign 9", "Inverter: part direct and alternating current, then wait as its sheet says",
             "at each inverter", facts.inverters, SIGNS_RULE),
        _row("Sign 10", "Order of switching off: loads, inverter, array isolator, battery; the"
             " place of each; telephone of the installer",
             "in the power room, and at the entrance", 2, SIGNS_RULE),
    ]  # fmt: skip
    rows += [
        _row(f"B{number}", f"Board {board}: what it feeds, circuit by circuit", "inside its door",
             1, NO_SOURCE)
        for number, board in enumerate(facts.boards, start=1)
    ]  # fmt: skip
    return rows


def core_colour_rows() -> list[dict[str, object]]:
    """Colours of cores; the local code decides where it says otherwise."""
    note = "local code decides; mark both ends with letters whatever the colour"
    return [
        {"core": "plus, L+", "colour": "red", "source": COLOUR_RULE, "note": note},
        {"core": "minus, L−", "colour": "white", "source": COLOUR_RULE,
         "note": f"black is common, and black for both on solar cable; {note}"},
        {"core": "line L1, L2, L3", "colour": "brown, black, grey", "source": COLOUR_RULE,
         "note": note},
        {"core": "neutral N", "colour": "blue", "source": COLOUR_RULE, "note": note},
        {"core": "protective earth", "colour": "green-and-yellow, for nothing else",
         "source": COLOUR_RULE, "note": note},
        {"core": "functional earth", "colour": "pink", "source": COLOUR_RULE, "note": note},
    ]  # fmt: skip


def polarity_steps(facts: LabelFacts) -> tuple[str, ...]:
    """How the polarity is proved before anything is closed, step by step (IEC 62446-1).

    From plus to plus of two strings, one of them reversed, stands twice the voltage of a string:
    the meter must be made for that.
    """
    names = string_names(facts.strings)
    meter_v = facts.cold_voc_v * (2.0 if len(names) > 1 else 1.0)
    which = names[0] if len(names) == 1 else f"{names[0]} to {names[-1]}, one at a time"
    steps = [
        "All isolators off, fuse carriers open, controllers and battery parted.",
        f"Meter and leads made for {math.ceil(meter_v)} V direct current or more, insulating"
        " gloves; test the meter on a known source first.",
        f"Strings {which}: red lead on the end marked plus, black on minus. The reading must be"
        " positive; a minus sign means swapped ends.",
        f"Write the voltage down. {facts.series} modules each: strings within 5 % of one another"
        " in the same light.",
    ]
    if len(names) > 1:
        steps += [
            "In the combiner, first put two strings' minus ends on the bar and measure from plus to"
            " plus: near 0 V. Near twice the string voltage means that one is reversed; do not"
            " close.",
            "Repeat for each further string against the first.",
        ]
    steps += [
        "At the controller's input, isolator on, nothing connected: plus is plus, voltage as"
        " before. Isolator off again; then connect.",
        f"The same for the battery: {facts.bank_v:.0f} V, plus is plus, before its fuse is closed.",
        "Never trust the colour of a sheath or the plug alone: makers' leads have been swapped.",
        "Live direct current is work for licensed people, under local codes, never alone.",
    ]
    return tuple(steps)
