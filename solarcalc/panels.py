"""Slider panels of the workbooks: each computes a changed job and draws it."""

from __future__ import annotations

from matplotlib.figure import Figure

from solarcalc import figures, page
from solarcalc.job import (
    Job,
    changed,
    compare_orientations,
    standing,
    supply_year,
    yearly_harvest,
)
from solarcalc.job.electrical import Electrical, options_of
from solarcalc.job.grounds import earth_of
from solarcalc.programme.from_job import schedule_of


def explore_pitch(job: Job) -> None:
    """Drag tilt and azimuth; see the energy against the pitch in both orientations."""
    from solarcalc.job import search  # brings in a compiler: not before it is wanted

    array = job.site.array
    if array.mounting == "flush":
        return

    def draw(tilt_deg: float, azimuth_deg: float) -> Figure:
        tried = changed(
            job, array={"tilt_deg": tilt_deg, "azimuth_deg": azimuth_deg, "row_pitch_m": None}
        )
        curve = search.energy_by_pitch(tried)
        ways = ("portrait", "landscape")
        return figures.draw_energy_by_pitch(curve, {w: standing(tried, w).rule_m for w in ways})

    steepest = 45.0
    page.explore(
        draw,
        live=True,
        tilt_deg=(5.0, steepest, 1.0, min(max(array.tilt_deg, 5.0), steepest)),
        azimuth_deg=(0.0, 355.0, 5.0, min(5.0 * round(array.azimuth_deg / 5.0), 355.0)),
    )


def explore_roof(job: Job) -> None:
    """Drag tilt and pitch; see what fits on the roof in both orientations."""
    site = job.site
    steepest = 45.0
    if site.array.mounting == "flush":
        page.say("These modules lie flush with the roof: tilt and pitch change nothing until the"
                 " site file says another mounting.")

    def draw(tilt_deg: float, row_pitch_m: float) -> Figure:
        tried = changed(job, array={"tilt_deg": tilt_deg, "row_pitch_m": row_pitch_m or None})
        variants = compare_orientations(tried)
        return figures.draw_roof_fits(
            {name: variant.fit for name, variant in variants.items()}, site.roof
        )

    page.explore(
        draw,
        tilt_deg=(0.0, steepest, 1.0, min(site.array.tilt_deg, steepest)),
        row_pitch_m={"as the site has it": 0.0, **{f"{p:.2f} m": p for p in (2.5, 3.0, 4.0, 5.0)}},
    )


def explore_yield(job: Job) -> None:
    """Drag tilt and azimuth; see the losses in order."""
    array = job.site.array

    def draw(tilt_deg: float, azimuth_deg: float) -> Figure:
        tried = changed(job, array={"tilt_deg": tilt_deg, "azimuth_deg": azimuth_deg})
        return figures.draw_loss_steps(yearly_harvest(tried))

    page.explore(
        draw,
        tilt_deg=(0.0, 60.0, 1.0, min(array.tilt_deg, 60.0)),
        azimuth_deg=(0.0, 355.0, 5.0, min(5.0 * round(array.azimuth_deg / 5.0), 355.0)),
    )


def explore_battery(job: Job) -> None:
    """Choose the bank and the array; see the hardest week."""
    array, battery = job.site.array, job.site.battery

    def draw(units_in_parallel: int, strings: int) -> Figure:
        tried = changed(
            job,
            battery={"units_in_parallel": units_in_parallel},
            array={"module_count": strings * array.modules_in_series},
        )
        return figures.draw_worst_week(supply_year(tried, yearly_harvest(tried)))

    strings = array.string_count
    page.explore(
        draw,
        units_in_parallel=(1, min(battery.units_in_parallel * 3, 50), 1, battery.units_in_parallel),
        strings=(1, strings * 3, 1, strings),
    )


def explore_cables(job: Job, built: Electrical) -> None:
    """Drag length and ambient of the main run; see what each size costs over the life."""
    own = built.run("main").run

    def draw(length_m: float, ambient_c: float) -> Figure:
        options, safe_mm2, chosen = options_of(
            built, "main", length_m=length_m, ambient_c=ambient_c
        )
        return figures.draw_cable_sizes(
            options, safe_mm2, chosen, currency=job.site.costs.currency
        )

    page.explore(
        draw,
        length_m=(2.0, max(4.0 * own.length_m, 40.0), 1.0, own.length_m),
        ambient_c=(10.0, 55.0, 1.0, min(max(round(own.ambient_c), 10.0), 55.0)),
    )


def explore_rods(job: Job, built: Electrical) -> None:
    """Choose rods and their length; see the electrode."""
    own = job.site.earthing

    def draw(rod_count: int, rod_length_m: float) -> Figure:
        tried = changed(job, earthing={
            "electrode": "rods", "rod_count": rod_count, "rod_length_m": rod_length_m,
            "rod_spacing_m": max(own.rod_spacing_m, rod_length_m),
        })  # fmt: skip
        return figures.draw_electrode(earth_of(tried, built))

    page.explore(
        draw,
        rod_count=(1, 12, 1, own.rod_count),
        rod_length_m=(1.2, 6.0, 0.3, min(max(own.rod_length_m, 1.2), 6.0)),
    )


def explore_crew(job: Job, built: Electrical) -> None:
    """Drag the crew; see the days."""
    earth = earth_of(job, built)

    def draw(crew: int) -> Figure:
        return figures.draw_programme(
            schedule_of(changed(job, programme={"crew": crew}), built, earth)
        )

    page.explore(draw, crew=(2, max(10, job.site.programme.crew), 1, job.site.programme.crew))
