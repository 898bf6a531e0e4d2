"""Dust and what takes it off, and the losses that are plain fractions: [soiling], [losses]."""

from __future__ import annotations

import re
from typing import Literal

from pydantic import Field, ValidationInfo, field_validator

from solarcalc.sitefile.base import Months, Record

_DAY = re.compile(r"^(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])$")
_NO_DAYS = ("02-29", "02-30", "02-31", "04-31", "06-31", "09-31", "11-31")
_MOST_UG_M3 = 5000.0


class Soiling(Record):
    """[soiling]: dust between rains and washes, and the dirt band above the lower frame."""

    model: Literal["dry-days", "particulates"] = "dry-days"
    loss_per_dry_day_frac: float = Field(default=0.0015, ge=0.0, le=0.05)
    dust_season_months: Months = Field(
        default_factory=list, description="1 to 12; months with more soiling"
    )
    dust_season_loss_per_dry_day_frac: float = Field(
        default=0.003, ge=0.0, le=0.05, description="in those months, instead of the other rate"
    )
    pm2_5_ug_m3: list[float] = Field(
        default_factory=list, validate_default=True,
        description="finer than 2.5 µm, in the air; one value, or twelve, January first",
    )
    pm10_ug_m3: list[float] = Field(
        default_factory=list, validate_default=True,
        description="finer than 10 µm, including the finer ones; one value, or twelve",
    )
    cleaning_rain_mm: float = Field(default=6.0, ge=0.0, le=100.0, description="in one day")
    grace_days: int = Field(default=0, ge=0, le=60, description="after rain, still without soiling")
    max_loss_frac: float = Field(default=0.3, ge=0.0, le=0.9)
    cleaning_dates: list[str] = Field(default_factory=list, description='month-day, "04-01"')
    dry_months: Months = Field(
        default_factory=list, description="1 to 12; used only where the weather has no rain"
    )
    days_between_rains: int = Field(
        default=10, ge=1, le=366, description="outside dry months, where the weather has no rain"
    )
    dirt_band_lip_m: float = Field(
        default=0.002, ge=0.0, le=0.02, description="height of the frame above the glass"
    )
    dirt_band_margin_m: float = Field(
        default=0.012, ge=0.0, le=0.1, description="from the lower frame up to the first cells"
    )
    dirt_band_loss_per_dry_day_frac: float = Field(
        default=0.005, ge=0.0, le=0.2, description="of the dirt band itself"
    )
    dirt_band_loss_per_light_rain_frac: float = Field(
        default=0.03, ge=0.0, le=1.0, description="rain that carries dirt down"
    )
    dirt_band_clearing_rain_mm: float = Field(default=25.0, ge=0.0, le=1000.0,
                                              description="in one day")
    dirt_band_max_loss_frac: float = Field(default=0.5, ge=0.0, le=1.0)

    @field_validator("cleaning_dates")
    @classmethod
    def _dates(cls, value: list[str]) -> list[str]:
        for day in value:
            if not _DAY.match(day) or day in _NO_DAYS:
                raise ValueError('each is "MM-DD", such as "04-01", a day every year has')
        return value

    @field_validator("dust_season_months")
    @classmethod
    def _season(cls, value: list[int], info: ValidationInfo) -> list[int]:
        if value and info.data.get("model") == "particulates":
            raise ValueError('left out, as model = "particulates" has its seasons in pm2_5_ug_m3')
        return value

    @field_validator("pm2_5_ug_m3", "pm10_ug_m3", mode="before")
    @classmethod
    def _one_figure(cls, value: object) -> object:
        """A number by itself is a list of one."""
        single = isinstance(value, int | float) and not isinstance(value, bool)
        return [value] if single else value

    @field_validator("pm2_5_ug_m3", "pm10_ug_m3")
    @classmethod
    def _particulates(cls, value: list[float], info: ValidationInfo) -> list[float]:
        if any(not 0.0 <= figure <= _MOST_UG_M3 for figure in value):
            raise ValueError(f"each from 0 to {_MOST_UG_M3:g} µg/m³")
        model = info.data.get("model")
        if model == "particulates" and len(value) not in (1, 12):
            raise ValueError('with model = "particulates" one figure in µg/m³, or twelve')
        if model not in (None, "particulates") and value:
            raise ValueError('left out, or used with model = "particulates"')
        return value

    @field_validator("pm10_ug_m3")
    @classmethod
    def _coarse(cls, value: list[float], info: ValidationInfo) -> list[float]:
        fine = info.data.get("pm2_5_ug_m3")
        if not fine or not value:
            return value
        months = range(12)
        if any(value[m % len(value)] < fine[m % len(fine)] for m in months):
            raise ValueError("at least pm2_5_ug_m3 in every month: it counts the finer ones in")
        return value


class Losses(Record):
    """[losses]: fixed fractions; the others are computed."""

    dc_wiring_frac: float = Field(default=0.015, ge=0.0, le=0.2, description="at full current")
    mismatch_frac: float = Field(default=0.01, ge=0.0, le=0.2)
    light_induced_frac: float = Field(default=0.015, ge=0.0, le=0.1)
    yearly_ageing_frac: float = Field(default=0.005, ge=0.0, le=0.05)
    age_years: float = Field(default=0.0, ge=0.0, le=40.0)
