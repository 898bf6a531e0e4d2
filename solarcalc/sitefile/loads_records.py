"""What the boards feed: [loads], [[loads.critical]] and [[loads.heavy]]."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Literal

from pydantic import Field, field_validator

from solarcalc.sitefile.base import Line, Name, Record

_CLOCK = re.compile(r"^([01]\d|2[0-3]|24):([0-5]\d)$")

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
"""Names of the days of the week, in the order of their numbers from 0."""

DAY_WORDS: dict[str, tuple[int, ...]] = {
    "every-day": (0, 1, 2, 3, 4, 5, 6),
    "weekdays": (0, 1, 2, 3, 4),
    "weekends": (5, 6),
    **{name: (number,) for number, name in enumerate(WEEKDAYS)},
}
"""What `days` may hold, and the days of the week each word stands for."""

_DAYS_ALLOWED = "every-day, weekdays (monday to friday), weekends (saturday and sunday), or names" \
    " of days such as friday"


def weekday_numbers(days: Sequence[str]) -> frozenset[int]:
    """Days of the week, 0 Monday to 6 Sunday, that the words of a `days` key stand for."""
    return frozenset(number for word in days for number in DAY_WORDS[word])


class Appliance(Record):
    """[[loads.critical]] or [[loads.heavy]]: one line of the appliance list."""

    name: Name
    power_w: float = Field(ge=0.0, le=200000.0)
    count: int = Field(default=1, ge=1, le=10000)
    use: list[str] = Field(min_length=1, description='clock spans, ["18:00-23:00"]')
    days: list[str] = Field(
        default_factory=lambda: ["every-day"],
        min_length=1,
        description='or one: "weekdays", "weekends"; or names of days; a span belongs to the day it'
        " begins on",
    )
    months: list[int] = Field(
        default_factory=lambda: list(range(1, 13)), min_length=1, description="1 to 12"
    )
    duty_frac: float = Field(default=1.0, gt=0.0, le=1.0, description="share of the time it runs")
    power_factor: float = Field(default=1.0, gt=0.0, le=1.0, description="W over VA, running")
    surge_factor: float = Field(
        default=1.0, ge=1.0, le=20.0, description="starting over running current"
    )
    surge_va: float | None = Field(
        default=None, gt=0.0, le=600000.0, description="of one as it starts, for surge_factor"
    )
    phase: Literal["any", "a", "b", "c", "two", "three"] = Field(
        default="any", description="two: from line to line of a split supply"
    )

    @field_validator("use")
    @classmethod
    def _spans(cls, value: list[str]) -> list[str]:
        for span in value:
            ends = span.split("-")
            if len(ends) != 2 or not all(_CLOCK.match(end.strip()) for end in ends):
                raise ValueError('each is "HH:MM-HH:MM", such as "18:00-23:00" or "22:00-06:00"')
            if ends[0].strip() == ends[1].strip():
                raise ValueError('a span must have a length; the whole day is "00:00-24:00"')
            if any(end.strip().startswith("24") and end.strip() != "24:00" for end in ends):
                raise ValueError("24:00 is the last moment of the day")
            if ends[0].strip() == "24:00":
                raise ValueError("a span that begins at midnight begins at 00:00")
        return value

    @field_validator("days", mode="before")
    @classmethod
    def _one_word(cls, value: object) -> object:
        """A word by itself is a list of one."""
        return [value] if isinstance(value, str) else value

    @field_validator("days")
    @classmethod
    def _days(cls, value: list[str]) -> list[str]:
        if any(word not in DAY_WORDS for word in value) or len(set(value)) != len(value):
            raise ValueError(f"{_DAYS_ALLOWED}, each once")
        return value

    @field_validator("months")
    @classmethod
    def _months(cls, value: list[int]) -> list[int]:
        if any(not 1 <= month <= 12 for month in value) or len(set(value)) != len(value):
            raise ValueError("month numbers from 1 to 12, each once")
        return value


class Loads(Record):
    """[loads]: the appliances of each board, or what was measured there."""

    phases: Literal[1, 2, 3] = Field(default=1, description="of the supply; 2 is a split supply")
    variation_frac: float = Field(
        default=0.0, ge=0.0, le=1.0, description="of a board's energy, from day to day"
    )
    variation_seed: int = Field(
        default=1, ge=0, le=999999, description="the same seed gives the same year"
    )
    critical_profile: Line = Field(
        default="", description="a CSV file of measured power_w, in place of the list"
    )
    heavy_profile: Line = Field(default="", description="the same for the heavy board")
    critical: list[Appliance] = Field(default_factory=list)
    heavy: list[Appliance] = Field(default_factory=list)
