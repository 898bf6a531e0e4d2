"""The earthing of a job: its plan, and its tables."""

from __future__ import annotations

from collections.abc import Iterable

from solarcalc.earthing import plan as earthing
from solarcalc.earthing.bar import bar_rows
from solarcalc.earthing.plan import EarthingPlan, earthing_plan
from solarcalc.job.electrical.built import Electrical
from solarcalc.job.opening import Job
from solarcalc.job.tables import Row, fact_line
from solarcalc.wiring.runs import SizedRun

_ARRAY = ("string", "main")
_BATTERY = ("controller_battery", "battery_inverter")


def earth_of(job: Job, built: Electrical) -> EarthingPlan:
    """The earthing of a job whose cables are chosen.

    Raises
    ------
    InputError
        When the electrode leaves the formulas' range.
    """
    fault_a, clear_s = max(
        (built.plan.fault_of(one.run.key) for one in built.sized
         if one.run.key.startswith("battery_inverter")),
        key=lambda pair: pair[0] ** 2 * pair[1],
    )  # fmt: skip
    return earthing_plan(
        job.site,
        largest_line_mm2=_largest_mm2(one for one in built.sized if one.run.current == "ac"),
        dc_line_mm2=_largest_mm2(one for one in built.sized if one.run.key in _ARRAY),
        battery_line_mm2=_largest_mm2(
            one for one in built.sized if one.run.key.startswith(_BATTERY)
        ),
        battery_fault_a=fault_a, battery_clear_s=clear_s,
    )  # fmt: skip


def _largest_mm2(sized: Iterable[SizedRun]) -> float:
    """Largest conductor of some runs, those in parallel together [mm2]."""
    return max(one.size_mm2 * one.in_parallel for one in sized)


def has_soil_test(job: Job) -> bool:
    """Whether the site file holds a four-pin test."""
    return bool(job.site.soil.spacing_m)


def soil_rows(plan: EarthingPlan) -> list[Row]:
    """Readings of the four-pin test, or what stands in for it."""
    ground = plan.electrode.ground
    read: list[Row] = [dict(row) for row in earthing.ground_rows(plan)]
    return read or [
        fact_line("No test: by the kind of soil", ground.basis),
        fact_line("Resistivity", ground.resistivity_ohm_m, "Ωm"),
    ]


def electrode_rows(plan: EarthingPlan) -> list[Row]:
    """Resistances of the electrode, down to what the checks use."""
    signs = {"ohm m": "Ωm", "ohm": "Ω"}
    return [
        {**row, "unit": signs.get(str(row["unit"]), row["unit"])}
        for row in earthing.electrode_rows(plan)
    ]


def electrode_words(plan: EarthingPlan) -> str:
    """The electrode in words, for its drawing."""
    electrode = plan.electrode
    return f"{electrode.words}; {electrode.worst_ohm:.0f} Ω in the worst season"


def rod_rows(plan: EarthingPlan) -> list[Row]:
    """What other lengths and numbers of rods would give in the worst season."""
    return [dict(row) for row in plan.rod_rows]


def measuring_words(plan: EarthingPlan) -> tuple[str, ...]:
    """Steps of measuring soil and electrode."""
    return (*plan.soil_steps, *plan.electrode_steps)


def bar_schedule(plan: EarthingPlan) -> list[Row]:
    """The schedule of the main earth bar."""
    return [dict(row) for row in bar_rows(plan.lines)]


def lightning_rows(plan: EarthingPlan) -> list[Row]:
    """Flashes, distances and what a rod would shelter."""
    lightning = plan.lightning
    return [
        fact_line("Days with thunder", lightning.thunder_days, "days/year"),
        fact_line("Flashes to the ground", lightning.flashes_per_km2, "per km² and year"),
        fact_line("Lightning rods on the house", "yes" if lightning.rods else "no"),
        fact_line("Distance that array and rods must keep", lightning.keep_away_m, "m"),
        fact_line("Array joined to the rods", "yes" if lightning.array_bonded else "no"),
    ]


def lightning_words(plan: EarthingPlan) -> tuple[str, ...]:
    """What lightning asks, and how the earths meet."""
    return (*plan.notes, *plan.lightning_notes)
