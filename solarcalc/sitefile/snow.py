"""What falls as snow, how long it lies and what it lies against: [snow]."""

from __future__ import annotations

from collections.abc import Iterator

from pydantic import Field, ValidationInfo, field_validator

from solarcalc.basis.errors import Fault
from solarcalc.basis.hours import MONTHS
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import Fraction, Record, Sound
from solarcalc.sitefile.weather import MONTH_DAYS

EVENT_CM = 2.54
"""Fresh snow in a day from which the snow model counts an event [cm]: one inch, as pvlib has it."""
_LIMITS = {"snowfall_cm": (0.0, 1000.0), "events": (0.0, 31.0), "ground_days": (0.0, 31.0),
           "humidity_pct": (1.0, 100.0)}
"""What a figure of a month may be; common practice, no source."""


class Snow(Record):
    """[snow]: twelve figures a line, January first."""

    snowfall_cm: list[float] | None = Field(
        default=None, min_length=12, max_length=12, description="fresh snow of the whole month"
    )
    events: list[float] | None = Field(
        default=None, min_length=12, max_length=12,
        description="days with 2.54 cm of fresh snow or more",
    )
    ground_days: list[float] | None = Field(
        default=None, min_length=12, max_length=12,
        description="days with snow cover in front of the modules",
    )
    humidity_pct: list[float] | None = Field(
        default=None, min_length=12, max_length=12, description="relative humidity, monthly mean"
    )
    lower_edge_m: float = Field(
        default=0.1, ge=0.0, le=20.0,
        description="from the lower edge of a row down to the roof or ground"
    )
    albedo_frac: Fraction = Field(default=0.65, description="of the snow cover")

    @field_validator(*_LIMITS)
    @classmethod
    def _possible(cls, value: list[float] | None, info: ValidationInfo) -> list[float] | None:
        low, high = _LIMITS[str(info.field_name)]
        if value is not None and any(not low <= figure <= high for figure in value):
            raise ValueError(f"a list of 12 numbers, each from {low:g} to {high:g}")
        return value


def snow_faults(sound: Sound) -> Iterator[Fault]:
    """Snow that contradicts itself: events without snow, more days than the month has."""
    fall, events, days = (
        sound.get("snow", key) or [] for key in ("snowfall_cm", "events", "ground_days")
    )
    if events and not sound.given("snow", "snowfall_cm"):
        yield sound.fault(("snow", "events"), events, **worded("sitefile", "snow-events-alone"))
    wrong = [
        f"{name} {count:g} with {cm:g} cm"
        for name, count, cm in zip(MONTHS, events, fall, strict=False)
        if count * EVENT_CM > cm + 1e-9 or (count == 0.0 and cm >= EVENT_CM)
    ]
    if wrong:
        yield sound.fault(("snow", "events"), ", ".join(wrong), **worded(
            "sitefile", "snow-events", event_cm=EVENT_CM,
        ))  # fmt: skip
    long = [f"{name} {count:g}" for name, count, most in zip(MONTHS, days, MONTH_DAYS, strict=False)
            if count > most]  # fmt: skip
    if long:
        yield sound.fault(("snow", "ground_days"), ", ".join(long),
                          **worded("sitefile", "snow-days"))
