"""Tools, instruments and protective equipment of a site's tasks, and what is too heavy for one."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from solarcalc.basis.files import data_rows
from solarcalc.basis.sourced import constant
from solarcalc.installation.records import Installation
from solarcalc.powerroom.layout import unit_mass_kg
from solarcalc.programme.schedule import Schedule

Row = dict[str, object]
ONE_PERSON_KG = constant("sitepack.one_person_kg")
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
        "digging": built.trench_m > 0.0 or schedule.at("footing") is not None,
        "acid": any(kind.water is not None for kind in kinds),
        "vented": any(kind.gas is not None for kind in kinds),
        "generator": site.generator.there,
        "masonry": site.programme.power_room == "new",
        "phases": site.loads.phases > 1,
    }  # fmt: skip


def highest_v(built: Installation) -> dict[str, float]:
    """Highest voltage that a meter can meet [V]: two strings of which one is reversed stand double.

    From plus to plus of two strings, one of them the wrong way round, twice the voltage of one:
    see `solarcalc.wiring.string_checks.polarity_steps`.
    """
    doubled = 2.0 if built.site.array.string_count > 1 else 1.0
    return {
        current: max((
            one.highest_v * (doubled if one.key == "string" else 1.0)
            for one in built.cables if one.current == current
        ), default=0.0)
        for current in ("dc", "ac")
    }  # fmt: skip


def rated_words(built: Installation, row: Mapping[str, str]) -> str:
    """What a thing is rated for at this site, in words."""
    volts = highest_v(built)
    if row["rated"] == "glove":
        return f"class {glove_class(volts['ac'], volts['dc'])}"
    if row["rated"] in volts:
        return f"at least {math.ceil(volts[row['rated']])} V {row['rated'][0]}.c."
    return row["rated"]


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
            people = "" if kg is None else f"{people_for(kg)} people" if people_for(kg) > 1 else (
                "1 person")  # fmt: skip
            yield _row("lift", name, names[task], "" if kg is None else f"{kg:.0f} kg", people)


def people_for(mass_kg: float) -> int:
    """How many lift a thing, each the guideline figure at the most; from four on a hoist.

    Parameters
    ----------
    mass_kg : float
        [kg].

    Examples
    --------
    >>> people_for(25.0), people_for(28.0), people_for(51.0)
    (1, 2, 3)
    """
    return max(1, math.ceil(mass_kg / float(ONE_PERSON_KG) - 1e-9))
