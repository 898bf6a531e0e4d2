"""Earthing and power room of a job, in the order of their workbook."""

from solarcalc.job.grounds.answers import (
    grounds_answer,
    grounds_assumptions,
    grounds_values,
    grounds_verdicts,
)
from solarcalc.job.grounds.earth import (
    bar_schedule,
    earth_of,
    electrode_rows,
    electrode_words,
    has_soil_test,
    lightning_rows,
    lightning_words,
    measuring_words,
    rod_rows,
    soil_rows,
)
from solarcalc.job.grounds.room import (
    battery_years_rows,
    room_notes,
    room_of,
    room_rows,
)

__all__ = [
    "bar_schedule",
    "battery_years_rows",
    "earth_of",
    "electrode_rows",
    "electrode_words",
    "grounds_answer",
    "grounds_assumptions",
    "grounds_values",
    "grounds_verdicts",
    "has_soil_test",
    "lightning_rows",
    "lightning_words",
    "measuring_words",
    "rod_rows",
    "room_notes",
    "room_of",
    "room_rows",
    "soil_rows",
]
