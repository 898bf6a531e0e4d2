"""When the crew does what: [programme]."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.sitefile.base import Line, Name, Record


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
    crew: int = Field(default=4, ge=1, le=100, description="people on this site")
    hours_a_day_h: float = Field(default=8.0, gt=0.0, le=16.0)
    work_days: Literal["mon-fri", "mon-sat", "every-day"] = Field(default="mon-sat")
    days_off: list[str] = Field(default_factory=list, description='such as ["2027-04-02"]')
    power_room: Literal["new", "existing"] = Field(default="new")
    half_leaves: Line = Field(default="", description='day half the crew goes elsewhere, or ""')
    half_returns: Line = Field(default="", description='first day they are back, or ""')
    tasks: list[Task] = Field(default_factory=list)


PROGRAMME_SOURCES = {
    "programme.crew": NO_SOURCE,
    "programme.hours_a_day_h": NO_SOURCE,
}
