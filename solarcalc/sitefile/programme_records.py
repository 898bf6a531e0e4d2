"""When the crew does what: [programme]."""

from __future__ import annotations

import re
from datetime import date
from typing import Literal

from pydantic import Field

from solarcalc.sitefile.base import Line, Name, Record

FIRST_YEAR, LAST_YEAR = 2000, 2100


class Task(Record):
    """[[programme.tasks]]: a task of our list changed, or one more."""

    key: Name = Field(description="of the list, or a new one")
    name: Line = Field(default="", description="in words; needed for a new one")
    work_h: float | None = Field(
        default=None, ge=0.0, le=2000.0, description="of its usual crew, working time"
    )
    wait_h: float | None = Field(
        default=None, ge=0.0, le=2000.0, description="by the clock, to dry or set, after it"
    )
    crew: int | None = Field(default=None, ge=1, le=100, description="people it takes")
    after: list[str] | None = Field(default=None, description="keys of what must be done before")
    deferred_to: Line = Field(default="", description='"2027-03-15": not before that day')


class Programme(Record):
    """[programme]: crew, calendar and changes to the list of tasks."""

    start: Line = Field(default="2027-03-01", description='first day of work, "YYYY-MM-DD"')
    crew: int = Field(default=3, ge=1, le=100, description="people on this site")
    hours_a_day_h: float = Field(default=8.0, ge=1.0, le=16.0)
    work_days: Literal["mon-fri", "mon-sat", "every-day"] = Field(default="mon-sat")
    days_off: list[str] = Field(default_factory=list, description='such as ["2027-04-02"]')
    power_room: Literal["existing", "new"] = Field(
        default="existing", description="new: built for this job, with its walls and paint"
    )
    half_leaves: Line = Field(default="", description='day half the crew goes elsewhere, or ""')
    half_returns: Line = Field(default="", description='first day they are back, or ""')
    priority: int = Field(
        default=1, ge=1, le=1000, description="among sites that share crews; 1 is served first"
    )
    tasks: list[Task] = Field(default_factory=list)


def day_of(text: str) -> date | None:
    """The day that ``"YYYY-MM-DD"`` names; None where it is no day of 2000 to 2100.

    Examples
    --------
    >>> day_of("2028-02-29")
    datetime.date(2028, 2, 29)
    >>> day_of("2027-02-29") is None
    True
    """
    if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        return None
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return None
    return day if FIRST_YEAR <= day.year <= LAST_YEAR else None
