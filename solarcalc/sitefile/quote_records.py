"""What the work costs and who offers it: [firm], [quote]."""

from __future__ import annotations

from pydantic import Field, field_validator

from solarcalc.basis.messages import language_fault
from solarcalc.sitefile.base import FileName, Line, Name, Record


class Firm(Record):
    """[firm]: who offers, builds and answers the telephone."""

    name: Line = Field(default="", description="on quote and handover pack")
    logo: Line = Field(default="", description="a PNG or SVG file, from this file's folder")
    contact: Line = Field(default="", description="who to call, as it is to be printed")
    licence: Line = Field(default="", description="of the electrician who signs")
    language: Line = Field(
        default="en", min_length=2, max_length=12,
        description="of the handover pack: en, fr, or another with a file of texts",
    )

    @field_validator("language")
    @classmethod
    def _language(cls, value: str) -> str:
        fault = language_fault(value, "firm.language")
        if fault is not None:
            raise ValueError(f"{fault.allowed}; {fault.remedy}")
        return value


class Alternative(Record):
    """[[quote.alternatives]]: another system for the same site, to stand beside the first."""

    name: Name
    module_count: int | None = Field(default=None, ge=1, le=5000)
    units_in_parallel: int | None = Field(default=None, ge=1, le=50)
    generator_w: float | None = Field(default=None, ge=0.0, le=200000.0)


class Quote(Record):
    """[quote]: prices, margin, tax, and what the customer pays for energy today."""

    price_book: FileName = Field(
        default="invented", description="a TOML or CSV file of prices, or a bundled one"
    )
    margin_frac: float = Field(default=0.2, ge=0.0, le=0.95, description="of the price")
    tax_frac: float = Field(default=0.0, ge=0.0, le=1.0, description="on top of the price")
    cable_waste_frac: float = Field(default=0.1, ge=0.0, le=1.0, description="cut off and lost")
    grid_tariff_per_kwh: float = Field(
        default=0.25, ge=0.0, le=1e6, description="in the price book's currency"
    )
    fuel_price_per_l: float = Field(
        default=1.2, ge=0.0, le=1e6, description="in the price book's currency"
    )
    replaced_generator_frac: float = Field(
        default=0.5, ge=0.0, le=1.0, description="of today's energy, by a generator; rest: grid"
    )
    replaced_fuel_l_per_kwh: float = Field(
        default=0.45, gt=0.0, le=5.0, description="of today's generator with its idling"
    )
    price_rise_frac: float = Field(
        default=0.03, ge=-0.2, le=0.5, description="of tariff and fuel, a year, above inflation"
    )
    upkeep_frac: float = Field(
        default=0.01, ge=0.0, le=0.5, description="of the price, a year, for care and repair"
    )
    inverter_years: float | None = Field(
        default=None, ge=1.0, le=50.0, description="until new ones; left out: as the system"
    )
    valid_days: int = Field(default=30, ge=1, le=365)
    alternatives: list[Alternative] = Field(default_factory=list)
