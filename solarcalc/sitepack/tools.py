"""Tools, instruments and protective equipment of a site's tasks, and what is too heavy for one."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping

from solarcalc.basis.files import data_rows
from solarcalc.commissioning.facts import facts_of
from solarcalc.commissioning.sheet import sheet_of
from solarcalc.installation.records import Installation
from solarcalc.powerroom.layout import lifted_by, unit_mass_kg
from solarcalc.programme.schedule import Schedule
from solarcalc.sitefile.dangers import MET
from solarcalc.wiring.runs import stem_of

Row = dict[str, object]
CATEGORY_V = (150.0, 300.0, 600.0, 1000.0)
"""Rated voltages of measuring category III, line to earth: IEC 61010-2-030, from memory [V]."""
KINDS = ("protective equipment", "tool", "instrument")


def tool_rows(built: Installation, schedule: Schedule) -> list[Row]:
    """What the site's own tasks ask for, then what is lifted; the calibration is a box to fill in.

    Parameters
    ----------
    built : Installation
    schedule : Schedule
        Its tasks say what is done: no locator without digging, no acid gloves without acid.
    """
    names = {one.task.key: one.task.name for one in schedule.planned}
    has = conditions(built, schedule)
    rows = sorted(data_rows("tools"), key=lambda row: KINDS.index(row["kind"]))
    found: list[Row] = []
    for row in rows:
        tasks = [names[key] for key in row["tasks"].split() if key in names]
        if tasks and (not row["when"] or has[row["when"]]):
            found.append(_row(row["kind"], row["item"], "; ".join(tasks), rated_words(built, row),
                              row["standard"], calibrated=row["calibrated"] == "yes"))  # fmt: skip
    return [*found, *_lifts(built, names)]


def _row(
    kind: str, item: str, tasks: str, rated: str, standard: str, *, calibrated: bool = False
) -> Row:
    due = "" if calibrated else "–"
    return {"kind": kind, "item": item, "for": tasks, "rated": rated, "standard": standard,
            "calibrated until": due, "serial number": due, "there": ""}


def conditions(built: Installation, schedule: Schedule) -> dict[str, bool]:
    """What a site has that asks for tools of its own."""
    site = built.site
    kinds = [battery.traits for battery in site.banks.values()]
    return {
        "height": any(one.task.at_height for one in schedule.planned),
        "fixed": bool(built.of_kind("roof-foot")),
        "digging": built.trench_m > 0.0 or schedule.at("footing") is not None,
        "acid": any(kind.water is not None for kind in kinds),
        "vented": any(kind.gas is not None for kind in kinds),
        "generator": site.generator.there,
        **{kind: MET[f"{kind} roof"](site) for kind in ("steep", "sheet", "tile")},
        "masonry": site.programme.power_room == "new",
        "phases": site.loads.phases > 1,
        "hoist": any(lifted_by(unit_mass_kg(battery, site.room)) == "hoist or lifting table"
                     for battery in site.banks.values()),
        "crane": any(lifted_by(unit_mass_kg(battery, site.room)) == "crane"
                     for battery in site.banks.values()),
        "short": any(line.what == "short-circuit current"
                     for line in sheet_of(facts_of(built.site))),
    }  # fmt: skip


def highest_v(built: Installation) -> dict[str, float]:
    """Highest voltage that a meter can meet [V]: two strings of which one is reversed stand double.

    From plus to plus of two strings, one of them the wrong way round, twice the voltage of one:
    see `solarcalc.wiring.string_checks.polarity_steps`.
    """
    doubled = 2.0 if built.site.string_count > 1 else 1.0
    return {
        current: max((
            one.highest_v * (doubled if stem_of(one.key) == "string" else 1.0)
            for one in built.cables if one.current == current
        ), default=0.0)
        for current in ("dc", "ac")
    }  # fmt: skip


def rated_words(built: Installation, row: Mapping[str, str]) -> str:
    """What a thing is rated for at this site, in words."""
    volts = highest_v(built)
    if row["rated"] == "glove":
        return f"class {glove_class(volts['ac'], volts['dc'])}"
    if row["rated"] == "tests":
        return f"{insulation_voltages(built)} DC"
    least = {key: f"at least {math.ceil(volt)} V {key.upper()}" for key, volt in volts.items()}
    if row["rated"] == "meter":
        return f"{least['dc']}; mains {mains_category(volts['ac'])}"
    if row["rated"] == "mains":
        return f"{least['ac']}; {mains_category(volts['ac'])}"
    return least.get(row["rated"], row["rated"])


def insulation_voltages(built: Installation) -> str:
    """Voltages that the test sheet asks of the insulation tester, the highest first [V]."""
    asked = {
        int(found[1]) for line in sheet_of(facts_of(built.site))
        if (found := re.match(r"insulation tester, (\d+) V", line.instrument))
    }  # fmt: skip
    return " and ".join(f"{volt} V" for volt in sorted(asked, reverse=True))


def mains_category(ac_v: float) -> str:
    """Measuring category on mains with the least rated voltage that is made [V].

    Examples
    --------
    >>> mains_category(230.0), mains_category(400.0)
    ('category III 300 V', 'category III 600 V')
    """
    rated_v = next((volt for volt in CATEGORY_V if ac_v <= volt), CATEGORY_V[-1])
    return f"category III {rated_v:.0f} V"


def glove_class(ac_v: float, dc_v: float) -> str:
    """The lowest class of insulating gloves for both voltages [V].

    Examples
    --------
    >>> glove_class(230.0, 740.0), glove_class(400.0, 900.0)
    ('00', '0')
    """
    return next(
        (row["class"] for row in data_rows("glove_classes")
         if ac_v <= float(row["ac_v"]) and dc_v <= float(row["dc_v"])),
        "none of the list: no work live",
    )  # fmt: skip


def _lifts(built: Installation, names: Mapping[str, str]) -> Iterator[Row]:
    """What is carried, its weight and by how many; a weight nobody gave is a box to fill in."""
    site = built.site
    weights: list[tuple[str, str, float | None]] = [
        ("Module", "modules", site.module.mass_kg),
        ("Rail, stock length", "rails", site.rails.stock_length_m * site.rails.mass_kg_per_m),
        *((f"Battery unit{'' if board == 'shared' else f', {board} board'}", "battery",
           unit_mass_kg(battery, site.room)) for board, battery in site.banks.items()),
        *((part.name, "boards", None) for part in built.of_kind("inverter", "controller")),
        *((part.name, "generator", None) for part in built.of_kind("generator")),
    ]  # fmt: skip
    for name, task, kg in weights:
        if task in names:
            yield _row("lift", name, names[task], "" if kg is None else f"{kg:.1f} kg",
                       "" if kg is None else lifted_by(kg))  # fmt: skip
