"""The programme of a job whose cables and earth are chosen."""

from __future__ import annotations

from solarcalc.earthing.plan import EarthingPlan
from solarcalc.job.electrical import Electrical
from solarcalc.job.electrical.answers import core_m
from solarcalc.job.opening import Job
from solarcalc.programme.days import task_rows
from solarcalc.programme.from_site import site_schedule
from solarcalc.programme.labour import Works
from solarcalc.programme.schedule import Schedule, what_can_go_on
from solarcalc.programme.tasks import Task

Row = dict[str, object]


def works_of(job: Job, built: Electrical, earth: EarthingPlan) -> Works:
    """Quantities of a job that decide how long the work takes.

    Cable is counted by its cores; rods where the electrode is made of them.
    """
    site = job.site
    return Works(
        module_count=site.array.module_count, rows=site.array.rows, cable_m=core_m(built),
        pipe_m=site.pipe.length_m or built.run("main").run.length_m,
        battery_units=site.battery.unit_count,
        controller_count=site.controller.count,
        inverter_count=len(site.inverters),
        rod_count=earth.earthing.rod_count if earth.earthing.electrode == "rods" else 0,
        room=site.programme.power_room, room_floor_m2=site.room.length_m * site.room.depth_m,
    )  # fmt: skip


def schedule_of(job: Job, built: Electrical, earth: EarthingPlan) -> Schedule:
    """Who does what on which day, for this site with its own crew.

    Raises
    ------
    InputError
        For tasks that wait for themselves, unknown tasks or days; see `site_schedule`.
    """
    return site_schedule(
        job.site.programme, works_of(job, built, earth), name=job.site.site.name,
        where=f"{job.sitefile.path.name}: programme",
    )  # fmt: skip


def task_table(schedule: Schedule) -> list[Row]:
    """The tasks with their hours, when they begin and end, and by how much each may slip."""
    kept = ("task", "people", "work [h]", "begins", "ends", "dry", "float [h]",
            "the end hangs on it", "deferred to")  # fmt: skip
    return [{key: row[key] for key in kept} for row in task_rows(schedule)]


def tasks_of_schedule(schedule: Schedule) -> list[Task]:
    """The tasks of a schedule in the order they begin."""
    return [one.task for one in schedule.planned]


def go_on_rows(schedule: Schedule) -> list[Row]:
    """For each task that may be deferred: what else can go on while it waits."""
    rows: list[Row] = []
    for one in schedule.planned:
        if one.task.deferrable:
            others = what_can_go_on(schedule, one.task.key)
            names = ", ".join(other.task.name for other in others)
            rows.append({
                "put off": one.task.name,
                "what can still be done": names or "nothing",
            })  # fmt: skip
    return rows
