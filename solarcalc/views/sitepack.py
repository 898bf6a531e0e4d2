"""What the crew builds by, as the workbooks show it: plans, lists and orders of the site pack."""

from __future__ import annotations

from functools import partial

from solarcalc.basis.messages import PATTERN
from solarcalc.design import Design
from solarcalc.diagrams import fixing_plan, roof_plan, string_plan, trench_plan
from solarcalc.diagrams.battery_terminals import terminal_diagram
from solarcalc.installation.records import Bought
from solarcalc.quote.bill import bought_line
from solarcalc.sitepack import modules, pick_list, switching, terminals, tools, torques, trenches
from solarcalc.stages.boards import level_frac
from solarcalc.views.rows import Row

Drawn = tuple[str, str]
"""A drawing as SVG, and what it shows in words for a reader who cannot see it."""
NO_PLAN = (
    "The roof has no room for all modules of the design, so there is no module plan: see the"
    " checks."
)
NO_TRENCH = "No cables of this site are buried."


def module_plan(design: Design) -> modules.ModulePlan | None:
    """Where each module stands; None where the roof does not hold them."""
    return modules.module_plan(design.drawn)


def roof_plans(design: Design, language: str = PATTERN) -> list[Drawn]:
    """Sheets SP 2: every module with its number; none where the roof does not hold them."""
    plan = module_plan(design)
    return [] if plan is None else roof_plan.roof_plans(plan, language)


def fixing_plans(design: Design, language: str = PATTERN) -> list[Drawn]:
    """Sheets SP 3: rails and every roof fixing; none where the roof does not hold the modules."""
    plan, built = module_plan(design), design.drawn.installation
    if plan is None or built.hardware is None:
        return []
    return fixing_plan.fixing_plans(plan, built.hardware, built.structure, language)


def string_plans(design: Design, language: str = PATTERN) -> list[Drawn]:
    """Sheets SP 4: strings, their ends and cables; none where the roof does not hold them."""
    plan = module_plan(design)
    built = design.drawn.installation
    return [] if plan is None else string_plan.string_plans(plan, built, language)


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
