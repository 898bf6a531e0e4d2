"""What the crew builds by, as the workbooks show it: plans, lists and orders of the site pack."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from solarcalc.basis.messages import PATTERN
from solarcalc.basis.text import small
from solarcalc.design import Design
from solarcalc.diagrams import fixing_plan, roof_plan, string_plan, trench_plan
from solarcalc.diagrams.battery_terminals import terminal_diagram
from solarcalc.installation.records import Bought
from solarcalc.quote.bill import bought_line
from solarcalc.sitepack import modules, pick_list, switching, terminals, tools, torques, trenches
from solarcalc.stages.boards import level_frac
from solarcalc.views.rows import PLANE, Row, with_plane

Drawn = tuple[str, str]
"""A drawing as SVG, and what it shows in words for a reader who cannot see it."""
NO_PLAN = (
    "The roof has no room for all modules of the design, so there is no module plan: see the"
    " checks."
)
NO_TRENCH = "No cables of this site are buried."


def module_plan(design: Design) -> modules.ModulePlan | None:
    """Where each module of the first roof plane stands; None where the roof does not hold them."""
    return modules.module_plan(design.drawn.planes[0])


def module_plans(design: Design) -> tuple[modules.ModulePlan, ...]:
    """Where each module stands, roof plane by roof plane; without those that do not hold them."""
    return tuple(one for one in modules.module_plans(design.drawn.planes) if one is not None)


def planes_without_plan(design: Design) -> tuple[str, ...]:
    """Names of the roof planes that do not hold their modules; an empty one of the only plane."""
    plans = modules.module_plans(design.planes)
    return tuple(one.plane for one, plan in zip(design.planes, plans, strict=True) if plan is None)


@dataclass(frozen=True, kw_only=True)
class PlaneSheets:
    """What is drawn of a roof plane: sheets SP 2 to SP 4.

    Parameters
    ----------
    roof : list of tuple of str
        Every module with its number.
    fixing : list of tuple of str
        Rails and every roof fixing.
    strings : list of tuple of str
        Strings, their ends and cables.
    """

    roof: list[Drawn]
    fixing: list[Drawn]
    strings: list[Drawn]


def no_plan_words(design: Design) -> tuple[str, ...]:
    """Why there is no module plan, a sentence each roof plane that has none."""
    return tuple(f"{name}: {small(NO_PLAN)}" if name else NO_PLAN
                 for name in planes_without_plan(design))  # fmt: skip


def sheets_by_plane(design: Design, language: str = PATTERN) -> tuple[PlaneSheets, ...]:
    """The sheets of each roof plane that holds its modules."""
    built = design.drawn.installation
    found = []
    for plan in module_plans(design):
        held = built.planes[plan.plane - 1]
        found.append(PlaneSheets(
            roof=roof_plan.roof_plans(plan, language),
            fixing=[] if held.hardware is None else fixing_plan.fixing_plans(
                plan, held.hardware, held.structure, language),
            strings=string_plan.string_plans(plan, built, language),
        ))  # fmt: skip
    return tuple(found)


def roof_plans(design: Design, language: str = PATTERN) -> list[Drawn]:
    """Sheets SP 2: every module with its number; none where the roof does not hold them."""
    return [drawn for plan in module_plans(design)
            for drawn in roof_plan.roof_plans(plan, language)]  # fmt: skip


def string_plans(design: Design, language: str = PATTERN) -> list[Drawn]:
    """Sheets SP 4: strings, their ends and cables; none where the roof does not hold them."""
    built = design.drawn.installation
    return [drawn for plan in module_plans(design)
            for drawn in string_plan.string_plans(plan, built, language)]  # fmt: skip


def plan_rows(
    design: Design, rows: Callable[[modules.ModulePlan], Sequence[Row]]
) -> list[Row]:
    """A list of all module plans, with the roof plane in front where there are several."""
    return [
        row for plan in module_plans(design)
        for row in with_plane(plan.site.roof.name, rows(plan))
    ]  # fmt: skip


def plan_columns(design: Design, columns: Sequence[str]) -> tuple[str, ...]:
    """Columns of `plan_rows` that fit a page."""
    return (PLANE, *columns) if len(design.planes) > 1 else tuple(columns)


def trench_plans(design: Design, language: str = PATTERN) -> list[Drawn]:
    """Sheets SP 7a: every trench in section and route; none where nothing is dug."""
    built = design.drawn.installation
    return trench_plan.trench_plans(trenches.trenches_of(built), built.site,
                                    trenches.digging_steps(built), language)  # fmt: skip


def trench_rows(design: Design) -> list[Row]:
    """The trench plan; empty where nothing is dug."""
    return trenches.trench_rows(design.installation)


def digging_words(design: Design) -> tuple[str, ...]:
    """What to do before and while a trench is dug."""
    return trenches.digging_steps(design.installation)


def picks(design: Design) -> tuple[pick_list.Pick, ...]:
    """What goes on the van, by day, crew and task."""
    return pick_list.picks_of(design.installation, design.bill, design.programme)


def pick_rows(design: Design) -> list[Row]:
    """What goes on the van, by crew and day."""
    return pick_list.pick_rows(picks(design))


def bought_key(bought: Bought) -> str:
    """Key of the line of the bill that a part is bought under."""
    return bought_line(bought).key


def tool_rows(design: Design) -> list[Row]:
    """Tools, instruments, protective equipment, and what is lifted."""
    return tools.tool_rows(design.installation, design.programme)


def torque_rows(design: Design) -> list[Row]:
    """Joints to tighten and values to set, with boxes for what the maker says."""
    return torques.torque_rows(design.installation, level=partial(level_frac, design))


def switching_rows(design: Design) -> list[Row]:
    """Switching off, on, and in an emergency."""
    return switching.switching_rows(design.installation)


def switching_words(design: Design) -> str:
    """Where locks go, and what nobody does in an emergency."""
    locked = ", ".join(part.tag for part in switching.lock_points(design.installation))
    return f"Lock and tag while somebody works: {locked}. {switching.NOT_IN_AN_EMERGENCY}"


def terminal_rows(design: Design) -> list[Row]:
    """Every joint of the battery, from terminal to terminal."""
    return terminals.terminal_rows(design.installation)


def terminal_drawings(design: Design, language: str = PATTERN) -> dict[str, str]:
    """The battery's terminals as drawings, by the name of their file: one a bank."""
    return {
        "-".join(["battery-terminals", *filter(None, [bank.board])]): terminal_diagram(
            bank, site_name=design.site.site.name, language=language
        )
        for bank in terminals.banks_at(design.drawn.installation)
    }  # fmt: skip
