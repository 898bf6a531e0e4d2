"""What the public grid charges, by season, hour and use a month: [quote.tariff]."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal

from pydantic import Field, ValidationInfo, field_validator

from solarcalc.basis.errors import Fault
from solarcalc.basis.hours import MONTHS
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import Months, Name, Record, Sound, list_at, rising, sound_rows
from solarcalc.sitefile.supply import Spans, minutes_of_spans

KINDS_OF_DAY = ("weekdays", "weekends")
_DAY_MIN, _MOST_ENDS = 24 * 60, 12
_DAYS_A_WEEK = {"weekdays": 5, "weekends": 2}


class Band(Record):
    """[[quote.tariff.bands]]: the price of a kWh in some months, on some days, in some hours."""

    name: Name
    months: Months = Field(default_factory=lambda: list(range(1, 13)), min_length=1)
    days: Literal["all", "weekdays", "weekends"] = "all"
    hours: Spans = Field(
        default_factory=lambda: ["00:00-24:00"], description="clock spans; over midnight is two"
    )
    block_kwh: list[float] = Field(
        default_factory=list,
        description="where each block but the last ends, of the use of a month; [] for one block",
    )
    per_kwh: list[float] = Field(
        description="price in each block: one more than there are in block_kwh"
    )

    @field_validator("block_kwh")
    @classmethod
    def _ends(cls, value: list[float]) -> list[float]:
        if not rising([0.0, *value]) or len(value) > _MOST_ENDS:
            raise ValueError(f"at most {_MOST_ENDS}, above 0, each above the one before it")
        return value

    @field_validator("per_kwh")
    @classmethod
    def _one_a_block(cls, value: list[float], info: ValidationInfo) -> list[float]:
        if any(not 0.0 <= price <= 1e6 for price in value):
            raise ValueError("prices from 0 to 1e+06")
        ends = info.data.get("block_kwh")
        if ends is not None and len(value) != len(ends) + 1:
            raise ValueError(f"one price a block: {len(ends) + 1}, with {len(ends)} in block_kwh")
        return value

    @property
    def kinds_of_day(self) -> tuple[str, ...]:
        """Of weekdays and weekends, those it is for."""
        return KINDS_OF_DAY if self.days == "all" else (self.days,)

    @property
    def minutes(self) -> list[tuple[int, int]]:
        """First minute of each span of its day and the one after its last [min]."""
        return minutes_of_spans(self.hours)


class Tariff(Record):
    """[quote.tariff]: what the grid charges beside a single price, or in place of it."""

    fixed_per_month: float = Field(
        default=0.0, ge=0.0, le=1e9, description="whatever is used, in the price list's currency"
    )
    tax_frac: float = Field(
        default=0.0, ge=0.0, le=1.0, description="on energy and fixed charge"
    )
    topup_credit: float | None = Field(
        default=None, gt=0.0, le=1e12,
        description="prepaid: credit per purchase; default: billed afterwards",
    )
    topup_charge: float = Field(
        default=0.0, ge=0.0, le=1e9, description="prepaid: service charge of each purchase"
    )
    feed_in_per_kwh: float = Field(
        default=0.0, ge=0.0, le=1e6, description="paid for energy fed into the grid; 0: none"
    )
    feed_in_limit_w: float = Field(
        default=0.0, ge=0.0, le=200000.0, description="largest power fed in; 0: none"
    )
    feed_in_escalation_frac: float = Field(
        default=0.0, ge=-0.2, le=0.5,
        description="annual real escalation of feed_in_per_kwh; below 0 where a contract fixes it"
        " in money, by the inflation",
    )
    bands: list[Band] = Field(default_factory=list, max_length=60)

    @property
    def mean_per_kwh(self) -> float | None:
        """Mean price over the hours of a week of each month, first blocks; None without bands."""
        if not self.bands:
            return None
        weights = [
            len(band.months) * sum(_DAYS_A_WEEK[day] for day in band.kinds_of_day)
            * sum(end - start for start, end in band.minutes)
            for band in self.bands
        ]  # fmt: skip
        prices = sum(weight * band.per_kwh[0]
                     for weight, band in zip(weights, self.bands, strict=True))  # fmt: skip
        return prices / sum(weights)


def tariff_faults(sound: Sound) -> Iterator[Fault]:
    """Hours of the year without a price or with two; blocks that fall where hours differ too."""
    place = ("quote", "tariff", "bands")
    rows = list_at(sound, place)
    bands = [(number, Band.model_construct(**(_defaults() | row)))
             for number, row in sound_rows(sound, *place)]  # fmt: skip
    if not rows or len(bands) < len(rows):
        return
    yield from _covered(sound, [band for _, band in bands])
    for number, band in bands:
        falls = any(high > low for high, low in zip(band.per_kwh, band.per_kwh[1:], strict=False))
        whole = band.days == "all" and sum(end - start for start, end in band.minutes) == _DAY_MIN
        if falls and not whole:
            yield sound.fault((*place, number, "per_kwh"), **worded("sitefile", "falling-blocks"),
                              given=", ".join(f"{price:g}" for price in band.per_kwh))


def _defaults() -> dict[str, Any]:
    return {name: info.get_default(call_default_factory=True, validated_data={})
            for name, info in Band.model_fields.items() if not info.is_required()}  # fmt: skip


def _covered(sound: Sound, bands: list[Band]) -> Iterator[Fault]:
    """The first hour without a price, and the first with two."""
    place, told = ("quote", "tariff", "bands"), set[int]()
    for month in range(1, 13):
        for day in KINDS_OF_DAY:
            prices = [0] * _DAY_MIN
            for band in bands:
                if month in band.months and day in band.kinds_of_day:
                    for start, end in band.minutes:
                        prices[start:end] = [count + 1 for count in prices[start:end]]
            for wrong, found in ((0, [0]), (1, [count for count in prices if count > 1])):
                at = next((prices.index(count) for count in found if count in prices), None)
                if at is None or wrong in told:
                    continue
                told.add(wrong)
                day_at = f"{day} of {MONTHS[month - 1]} from {at // 60:02d}:{at % 60:02d}"
                yield sound.fault(place, **(
                    worded("sitefile", "tariff-twice", at=day_at) if wrong
                    else worded("sitefile", "tariff-gap", at=day_at)))
