"""Who offers and who checked it, and what the work costs: [firm], [checked], [quote], [costs]."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from pydantic import Field, ValidationInfo, field_validator

from solarcalc.basis.errors import Fault
from solarcalc.basis.messages import language_fault
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import FileName, Line, Record, Sound
from solarcalc.sitefile.programme import day_of
from solarcalc.sitefile.tariff import Tariff


class Firm(Record):
    """[firm]: who offers, builds and answers the telephone."""

    name: Line = Field(default="", description="on quote and handover documents")
    logo: Line = Field(default="", description="a PNG or SVG file, from this file's folder")
    contact: Line = Field(default="", description="contact, as printed")
    licence: Line = Field(default="", description="of the electrician who signs")
    language: Line = Field(
        default="en", min_length=2, max_length=12,
        description="of the customer's documents: a file of data/messages, such as en or fr",
    )
    crew_language: Line = Field(
        default="", max_length=12,
        description='of the site pack, such as en or fr; "": the same as language',
    )

    @property
    def crew(self) -> str:
        """The language of the site pack."""
        return self.crew_language or self.language

    @field_validator("language", "crew_language")
    @classmethod
    def _language(cls, value: str, info: ValidationInfo) -> str:
        fault = language_fault(value, f"firm.{info.field_name}")
        if fault is not None and (value or info.field_name == "language"):
            raise ValueError(f"{fault.allowed}; {fault.remedy}")
        return value


class Checked(Record):
    """[checked]: the person who checked the drawings; empty until one has."""

    name: Line = Field(default="", description="of the person; all four or none")
    licence: Line = Field(default="", description="of that person")
    date: Line = Field(default="", description='of the check, "YYYY-MM-DD"')
    fingerprint: Line = Field(
        default="", description="of the design that was checked, as `solarcalc check` prints it"
    )

    @property
    def done(self) -> bool:
        """Whether a person has put in name, licence, date and the design that was checked."""
        return all(getattr(self, key).strip() for key in _CHECKED)


def checked_faults(sound: Sound) -> Iterator[Fault]:
    """A check of which a part is missing, or whose date is none."""
    written = {key: str(sound.get("checked", key) or "").strip() for key in _CHECKED}
    missing = [key for key, text in written.items() if not text]
    if len(missing) < len(_CHECKED):
        for key in missing:
            yield sound.fault(("checked", key), **worded("sitefile", "checked-in-part", key=key))
    if written["date"] and day_of(written["date"]) is None:
        yield sound.fault(("checked", "date"), written["date"],
                          **worded("sitefile", "checked-date"))


_CHECKED = ("name", "licence", "date", "fingerprint")


def _money(what: str, source: str = "by the price list") -> Any:
    """A sum of [costs]: no number until the price list gives it."""
    return Field(default=None, ge=0.0, description=f"{what}; default: {source}")


class Instalments(Record):
    """[quote.instalments]: how the customer may pay over months."""

    months: int = Field(
        default=0, ge=0, le=360, description="number of monthly payments; 0: no instalments"
    )
    deposit_frac: float = Field(
        default=0.3, ge=0.0, le=1.0, description="of the total, at the order"
    )
    yearly_rate_frac: float = Field(
        default=0.0, ge=0.0, le=2.0, description="interest per year; per month a twelfth of it"
    )
    grace_months: int = Field(
        default=0, ge=0, le=60, description="before the first payment; interest is added"
    )


MOST_GROWTH = 1000.0
"""Times that a debt nobody pays may grow over the months of payment: beyond it the cents that each
payment is rounded by come to more than a payment at the end; common practice, no source."""


def instalments_faults(sound: Sound) -> Iterator[Fault]:
    """A rate so high for so many months that they cannot be equal payments of whole cents."""
    place = ("quote", "instalments")
    months, rate = (sound.get(*place, key) for key in ("months", "yearly_rate_frac"))
    if not months or not rate or (1.0 + rate / 12.0) ** months <= MOST_GROWTH:
        return
    most = int(math.log(MOST_GROWTH) / math.log1p(rate / 12.0))
    yield sound.fault(
        (*place, "months"), **worded("sitefile", "instalments-grow", months=months, rate=rate,
                                     most=most, growth=MOST_GROWTH))  # fmt: skip


class Quote(Record):
    """[quote]: prices, margin, tax, and what the customer pays for energy today."""

    price_list: FileName = Field(
        default="invented", description="a TOML, CSV or xlsx file of prices, or a bundled one"
    )
    margin_frac: float = Field(default=0.2, ge=0.0, le=0.95, description="of the price")
    tax_frac: float = Field(default=0.0, ge=0.0, le=1.0, description="on top of the price")
    cable_waste_frac: float = Field(default=0.1, ge=0.0, le=1.0, description="offcuts")
    grid_tariff_per_kwh: float = Field(
        default=0.25, ge=0.0, le=1e6,
        description="in the price list's currency; not used with quote.tariff.bands"
    )
    fuel_price_per_l: float = Field(
        default=1.2, ge=0.0, le=1e6, description="in the price list's currency"
    )
    replaced_generator_frac: float | None = Field(
        default=None, ge=0.0, le=1.0, description="of today's energy, from a generator; rest:"
        " grid; default: 0.5, without a grid all of it"
    )  # fmt: skip
    replaced_fuel_l_per_kwh: float = Field(
        default=0.45, gt=0.0, le=5.0, description="of today's generator, with no-load running"
    )
    price_escalation_frac: float = Field(
        default=0.03, ge=-0.2, le=0.5, description="annual real price escalation of tariff and fuel"
    )
    maintenance_frac: float = Field(
        default=0.01, ge=0.0, le=0.5,
        description="of the price, per year, for operation and maintenance"
    )
    inverter_years: float | None = Field(
        default=None, ge=1.0, le=50.0, description="until replacement; default: as the system"
    )
    valid_days: int = Field(default=30, ge=1, le=365, description="from the day of issue")
    payment: Line = Field(default="", description="terms of payment, as the quote prints them")
    tariff: Tariff = Field(default_factory=Tariff)
    instalments: Instalments = Field(default_factory=Instalments)

    @property
    def grid_price_per_kwh(self) -> float:
        """One price of a kWh of the grid: the single one, or the mean of the tariff's bands."""
        mean = self.tariff.mean_per_kwh
        return self.grid_tariff_per_kwh if mean is None else mean


class Costs(Record):
    """[costs]: what an array costs, to weigh one against another; no quotation.

    Money left out comes from the price list (`solarcalc.quote.costs`), in its currency; a site
    that was read without one has none of it.
    """

    currency: Line = Field(default="", description="of the price list, and no other")
    per_module: float = _money("with its clamps and work")
    per_metre_of_row: float = _money("rails, roof fixings, work")
    fixed: float = _money("costs that do not depend on the array")
    per_cleaning: float = _money("of the whole array")
    per_battery_unit: float = _money("one battery unit, installed")
    per_generator: float = _money("a generator as specified, installed")
    per_generator_service: float = _money("oil, filters and work")
    per_fuel_l: float = _money("per litre, for the generator", "quote.fuel_price_per_l")
    per_m_mm2_of_copper: float = _money("per metre of single-core cable and mm²")
    per_m_mm2_of_aluminium: float = _money("per metre of single-core cable and mm²")
    per_metre_of_core: float = _money("per metre of single-core cable laid, any size")
    per_metre_of_trench: float = _money("excavated and backfilled")
    per_kwh_lost: float = _money(
        "value of a kWh of cable losses", "quote.grid_tariff_per_kwh, or the mean of the tariff"
    )
    lifetime_years: float = Field(default=20.0, ge=1.0, le=50.0)
    interest_frac: float = Field(default=0.08, ge=0.0, le=1.0, description="a year")


IN_MONEY = tuple(name for name in Costs.model_fields if name.startswith(("per_", "fixed")))
"""Keys of [costs] that are money."""
