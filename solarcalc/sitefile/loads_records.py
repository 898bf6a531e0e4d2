"""What the boards feed: [[loads.critical]] and [[loads.heavy]]."""

from __future__ import annotations

import re

from pydantic import Field, field_validator

from solarcalc.sitefile.base import Name, Record

_CLOCK = re.compile(r"^([01]\d|2[0-3]|24):([0-5]\d)$")


class Appliance(Record):
    """[[loads.critical]] or [[loads.heavy]]: one line of the appliance list."""

    name: Name
    power_w: float = Field(ge=0.0, le=200000.0)
    count: int = Field(default=1, ge=1, le=10000)
    use: list[str] = Field(min_length=1, description='clock spans, ["18:00-23:00"]')
    duty_frac: float = Field(default=1.0, gt=0.0, le=1.0, description="share of the time it runs")

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


class Loads(Record):
    """[loads]: the appliances of each board."""

    critical: list[Appliance] = Field(default_factory=list)
    heavy: list[Appliance] = Field(default_factory=list)
