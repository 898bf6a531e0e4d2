"""Dust and what takes it off: [soiling]."""

from __future__ import annotations

import re

from pydantic import Field, field_validator

from solarcalc.sitefile.base import Record

_DAY = re.compile(r"^(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])$")


class Soiling(Record):
    """[soiling]: dust between rains and washes."""

    loss_per_dry_day_frac: float = Field(default=0.0015, ge=0.0, le=0.05)
    cleaning_rain_mm: float = Field(default=6.0, ge=0.0, le=100.0, description="in one day")
    grace_days: int = Field(default=0, ge=0, le=60, description="after a rain, still no dust")
    max_loss_frac: float = Field(default=0.3, ge=0.0, le=0.9)
    cleaning_dates: list[str] = Field(default_factory=list, description='month-day, "04-01"')
    dry_months: list[int] = Field(
        default_factory=list, description="1 to 12; used only where the weather has no rain"
    )
    days_between_rains: int = Field(
        default=10, ge=1, le=366, description="outside dry months, where the weather has no rain"
    )

    @field_validator("cleaning_dates")
    @classmethod
    def _dates(cls, value: list[str]) -> list[str]:
        for day in value:
            if not _DAY.match(day) or day in ("02-29", "02-30", "02-31", "04-31", "06-31",
                                              "09-31", "11-31"):
                raise ValueError('each is "MM-DD", such as "04-01", a day every year has')
        return value

    @field_validator("dry_months")
    @classmethod
    def _months(cls, value: list[int]) -> list[int]:
        if any(not 1 <= month <= 12 for month in value) or len(set(value)) != len(value):
            raise ValueError("month numbers from 1 to 12, each once")
        return value
