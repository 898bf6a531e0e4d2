"""Tasks, crew and calendar: what is done on which day, and what waits for what.

``site_schedule`` makes the programme of one site, ``share_crews`` that of several;
``day_rows``, ``task_rows``, ``programme_verdicts`` and ``programme_answer`` read it.
"""

from solarcalc.programme.changes import in_order, waits_for, with_changes
from solarcalc.programme.checks import crews_verdict, programme_verdicts
from solarcalc.programme.days import (
    Day,
    crew_days,
    day_list,
    day_rows,
    day_words,
    person_days,
    programme_answer,
    task_rows,
)
from solarcalc.programme.from_site import (
    programme_cautions,
    site_crew,
    site_schedule,
    site_works,
)
from solarcalc.programme.labour import PROGRAMME_ASSUMPTIONS, Works
from solarcalc.programme.network import Network, Times, critical_path
from solarcalc.programme.schedule import (
    Away,
    Crew,
    Planned,
    Schedule,
    SiteWorks,
    schedule_site,
    share_crews,
    what_can_go_on,
)
from solarcalc.programme.tasks import Task, labour_hours, tasks_of
from solarcalc.programme.workdays import DAY_BEGINS, Calendar

__all__ = [
    "DAY_BEGINS",
    "PROGRAMME_ASSUMPTIONS",
    "Away",
    "Calendar",
    "Crew",
    "Day",
    "Network",
    "Planned",
    "Schedule",
    "SiteWorks",
    "Task",
    "Times",
    "Works",
    "crew_days",
    "crews_verdict",
    "critical_path",
    "day_list",
    "day_rows",
    "day_words",
    "in_order",
    "labour_hours",
    "person_days",
    "programme_answer",
    "programme_cautions",
    "programme_verdicts",
    "schedule_site",
    "share_crews",
    "site_crew",
    "site_schedule",
    "site_works",
    "task_rows",
    "tasks_of",
    "waits_for",
    "what_can_go_on",
    "with_changes",
]
