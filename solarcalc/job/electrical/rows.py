"""Tables and schedules of the electrical workbook: figures put into rows."""

from __future__ import annotations

from solarcalc.job.electrical.built import Electrical, options_of
from solarcalc.job.tables import Row, fact_line
from solarcalc.protection import plan as protection
from solarcalc.wiring.choose import core_count
from solarcalc.wiring.labels import LabelFacts, label_facts, label_rows
from solarcalc.wiring.runs import SizedRun
from solarcalc.wiring.string_checks import allowed_table, string_plan

_METHOD_WORDS = {
    "A1": "single cores in pipe in an insulated wall",
    "A2": "cable in pipe in an insulated wall",
    "B1": "single cores in pipe on a wall",
    "B2": "cable in pipe on a wall",
    "C": "clipped to a wall",
    "D1": "in a pipe in the ground",
    "D2": "straight in the ground",
    "solar-free": "free in air, cable made for modules",
    "solar-surface": "alone on a surface, cable made for modules",
    "solar-touching": "two side by side, cable made for modules",
}


def design_rows(built: Electrical) -> list[Row]:
    """What strings, cables and devices are chosen for."""
    site, case, flows = built.site, built.case, built.flows
    return [
        fact_line("Strings", f"{built.strings} of {site.array.modules_in_series} modules"),
        fact_line("Charge controllers", site.controller.count),
        fact_line("Record low of the air", case.coldest_c, "°C"),
        fact_line("Hottest cell", case.hottest_cell_c, "°C"),
        fact_line("Air around cables under modules", built.run("string").run.ambient_c, "°C"),
        fact_line("Ground around the pipe", built.run("main").run.ambient_c, "°C"),
        fact_line("Hottest hour of the battery room", flows.room_c, "°C"),
        fact_line("Bank, nominal", case.bank_v, "V"),
        fact_line("Boards, line to neutral", site.supply.ac_voltage_v, "V"),
        fact_line("Phases of the boards", site.loads.phases),
    ]


def allowed_rows(built: Electrical) -> list[Row]:
    """Series and parallel counts up to a string more for each controller, with the reasons."""
    most = built.strings + built.site.controller.count
    return allowed_table(string_plan(built.case, most_strings=most))


def fuse_rows(built: Electrical) -> list[Row]:
    """Whether strings need fuses, and which."""
    fuses = built.fuses
    rows = [
        fact_line("Strings on the fullest controller", fuses.strings),
        fact_line("Current that the others can push into one", fuses.backfeed_a, "A"),
        fact_line("Largest fuse that the module allows", fuses.max_fuse_a, "A"),
        fact_line("String fuses needed", "yes" if fuses.needed else "no"),
    ]
    if fuses.needed:
        rated = "none is made that fits" if fuses.rated_a is None else fuses.rated_a
        rows += [
            fact_line("Rated current, above", fuses.least_a, "A"),
            fact_line("Rated current, below", fuses.most_a, "A"),
            fact_line("Taken", rated, "A"),
            fact_line("Rated voltage, at least", fuses.rated_v, "V"),
            fact_line("Fuses on the fullest controller", fuses.fuse_count),
        ]
    return rows


def run_rows(built: Electrical) -> list[Row]:
    """Each run: what it carries, its device, its capacity and its cable."""
    return [
        {
            "run": one.run.name,
            "count": one.run.count,
            "length [m]": one.run.length_m,
            "voltage [V]": one.run.voltage_v,
            "I_b [A]": one.run.design_a,
            "I_n [A]": one.device_a,
            "I_z [A]": one.capacity_a,
            "cable": _cable(one),
            "lost [%]": 100.0 * one.drop_frac,
            "limit [%]": 100.0 * one.run.drop_limit_frac,
            "decided by": one.decided_by,
        }
        for one in built.sized
    ]


def _cable(one: SizedRun) -> str:
    beside = "" if one.in_parallel == 1 else f", {one.in_parallel} in parallel"
    metal = "" if one.run.material == "copper" else " aluminium"
    return f"{one.size_name}{metal}{beside}"


def factor_rows(built: Electrical) -> list[Row]:
    """How each run lies, and what heat and neighbours take from its capacity."""
    return [
        {
            "run": one.run.name,
            "how it lies": f"{one.run.method}: {_METHOD_WORDS[one.run.method]}",
            "insulation": one.run.insulation.upper(),
            "ambient [°C]": one.run.ambient_c,
            "by the table [A]": one.table_a,
            "factors": "; ".join(f"{words} {factor:.2f}" for words, factor in one.factors.items()),
            "as laid [A]": one.capacity_a,
        }
        for one in built.sized
    ]


def choice_rows(built: Electrical) -> list[Row]:
    """Smallest safe cable of each run beside the one that costs least over the life."""
    return [
        {
            "run": chosen.run.name,
            "safe": _cable(safe),
            "its loss [kWh/year]": safe.loss_kwh_per_year,
            "its cost over the life": f"{safe.lifetime_cost:.3g}",
            "chosen": _cable(chosen),
            "loss [kWh/year]": chosen.loss_kwh_per_year,
            "to buy and lay": f"{chosen.cost:.3g}",
            "cost over the life": f"{chosen.lifetime_cost:.3g}",
        }
        for safe, chosen in zip(built.safe, built.sized, strict=True)
    ]


def size_choice(built: Electrical, key: str) -> tuple[list[SizedRun], float, SizedRun]:
    """Sizes around the chosen one of a run, the smallest safe one [mm2], and the chosen one."""
    return options_of(built, key)


def withstand_rows(built: Electrical) -> list[Row]:
    """Fault of each run, how long it lasts, and the area that it asks for."""
    rows: list[Row] = []
    for one in built.sized:
        fault_a, clear_s = built.plan.fault_of(one.run.key)
        rows.append({
            "run": one.run.name,
            "fault [A]": round(fault_a),
            "cleared in [s]": f"{clear_s:.3g}",
            "asks for [mm²]": built.least_mm2.get(one.run.key, 0.0),
            "has [mm²]": one.size_mm2 * one.in_parallel,
        })  # fmt: skip
    return rows


def pipe_rows(built: Electrical) -> list[Row]:
    """The pipe, what lies in it, and the pull."""
    fill = built.pipe
    rows = [
        fact_line("Pipe", fill.words),
        fact_line("Inner diameter", fill.inner_mm, "mm"),
        fact_line("Cables in it", fill.cable_count),
        fact_line("Filled", 100.0 * fill.fill_frac, "%"),
        fact_line("Allowed", 100.0 * fill.limit_frac, "%"),
        fact_line("Bends, together", fill.bends_deg, "deg"),
        fact_line("Length", fill.length_m, "m"),
        fact_line("Cover over it", fill.depth_m, "m"),
        fact_line("Pull at the rope", fill.pull_kn, "kN"),
    ]
    if fill.pull_limit_kn is not None:
        rows.append(fact_line("The cables stand", fill.pull_limit_kn, "kN"))
    return rows


def device_rows(built: Electrical) -> list[Row]:
    """The protection schedule."""
    return [dict(row) for row in protection.device_rows(built.plan)]


def facts_of_labels(built: Electrical) -> LabelFacts:
    """What the labels are made from."""
    return label_facts(
        built.site, cold_voc_v=built.cold_string_v, circuit_a=built.run("string").run.design_a,
        string_fuses=built.fuses.needed, main_m=built.run("main").run.length_m,
    )  # fmt: skip


def label_schedule(built: Electrical) -> list[Row]:
    """Labels: words, where they go, how many."""
    return label_rows(facts_of_labels(built), built.sized)


CABLE_COLUMNS = (
    "run", "count", "cores", "size", "material", "insulation", "how it lies", "length [m]",
    "core in all [m]", "device [A]",
)
"""Of the cable schedule: what fits a page and is bought from; the file holds the rest."""


def cable_schedule(built: Electrical) -> list[Row]:
    """What is bought and laid, a line a run."""
    return [
        {
            "run": one.run.name,
            "from": one.run.start,
            "to": one.run.end,
            "count": one.run.count,
            "cores": core_count(one.run) * one.in_parallel,
            "size": one.size_name,
            "material": one.run.material,
            "insulation": "cable made for modules (EN 50618)"
            if one.run.method.startswith("solar-") else one.run.insulation.upper(),
            "how it lies": one.run.method,
            "length [m]": f"{one.run.length_m:g}",
            "core in all [m]": round(
                core_count(one.run) * one.in_parallel * one.run.count * one.run.length_m
            ),
            "design current [A]": f"{one.run.design_a:.1f}",
            "device [A]": "" if one.device_a is None else f"{one.device_a:g}",
            "capacity [A]": f"{one.capacity_a:.0f}",
            "drop [%]": f"{100.0 * one.drop_frac:.2f}",
            "highest voltage [V]": f"{one.run.highest_v:.0f}",
            "length measured": "yes" if one.run.length_given else "no, measure it",
        }
        for one in built.sized
    ]
