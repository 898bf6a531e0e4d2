"""Time rules: an hour is labelled by its start; its sun is the sun of its middle."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    import pandas as pd

TYPICAL_YEAR = 2001
"""Calendar year every typical year is laid on: not a leap year, begins on a Monday."""

HOURS_IN_DAY, DAYS_IN_YEAR = 24, 365
HOURS_IN_YEAR = HOURS_IN_DAY * DAYS_IN_YEAR
HOURS_IN_MONTH = HOURS_IN_YEAR / 12.0

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
"""Short names of the months, in order."""


def fixed_zone(offset_h: float) -> timezone:
    """Fixed-offset zone; `offset_h` [h] east of Greenwich, half and quarter hours allowed."""
    return timezone(timedelta(hours=offset_h))


def standard_offset_h(zone: ZoneInfo) -> float:
    """Standard-time offset [h] of an IANA zone, without any summer time."""
    offsets = [datetime(2025, month, 1, 12, tzinfo=zone).utcoffset() for month in (1, 7)]
    return min(offset.total_seconds() for offset in offsets if offset is not None) / 3600.0


def has_summer_time(zone: ZoneInfo) -> bool:
    """Whether the zone's clock differs between January and July."""
    return len({datetime(2025, month, 1, 12, tzinfo=zone).utcoffset() for month in (1, 7)}) > 1


def year_hours(offset_h: float) -> pd.DatetimeIndex:
    """The 8760 interval-start labels of the typical year at a fixed offset [h]."""
    import pandas as pd

    return pd.date_range(start=datetime(TYPICAL_YEAR, 1, 1, tzinfo=fixed_zone(offset_h)),
                         periods=HOURS_IN_YEAR, freq="h", name="time")


def mid_hour(index: pd.DatetimeIndex) -> pd.DatetimeIndex:
    """Middle of each one-hour interval labelled by its start."""
    return index + timedelta(minutes=30)


def to_zone_of_year(frame: pd.DataFrame, offset_h: float) -> pd.DataFrame:
    """Move a typical year to another fixed offset [h] and wrap it into its own calendar year.

    One row an hour, the columns as they are.

    Instants are kept; hours that fall outside the typical year after the move come back in
    at its other end, which is what a typical year means.
    """
    import pandas as pd

    moved = frame.tz_convert(fixed_zone(offset_h))
    stamps = pd.DatetimeIndex(moved.index)
    year = pd.Timedelta(hours=HOURS_IN_YEAR)
    first = pd.Timestamp(datetime(TYPICAL_YEAR, 1, 1, tzinfo=fixed_zone(offset_h)))
    stamps = stamps.where(stamps >= first, stamps + year)
    stamps = stamps.where(stamps < first + year, stamps - year)
    moved.index = pd.DatetimeIndex(stamps, name="time")
    return moved.sort_index()
