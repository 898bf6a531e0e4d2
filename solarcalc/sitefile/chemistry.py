"""Battery kinds and their traits, as `data/chemistries.toml` has them.

Code asks for a trait, ``battery.traits.gas``, and never for the name of a kind: a kind added to
the file is then met everywhere by what it is.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, ValidationError, model_validator

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import data_folder
from solarcalc.basis.published import published
from solarcalc.basis.sourced import NO_SOURCE, Sourced, printed_source
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import Fraction, Record, rising

FILE = "chemistries.toml"
NONE = "none"
"""In the file: the kind has no such thing."""

Seen = Literal["read", "quoted", "worked", "from memory", "common practice, no source"]
Volts = Annotated[float, Field(gt=0.0, le=10.0)]
Celsius = Annotated[float, Field(ge=-60.0, le=100.0)]
Years = Annotated[float, Field(gt=0.0, le=50.0)]
PerHour = Annotated[float, Field(gt=0.0, le=20.0)]
Texts = Annotated[list[str], Field(min_length=1)]


class Figures(Record):
    """A group of figures of one source."""

    source: str
    seen: Seen

    @property
    def clause(self) -> str:
        """The source as a check prints it."""
        return printed_source(self.source, self.seen)

    def sourced(self, name: str, unit: str = "") -> Sourced:
        """One of the figures as an assumption to print; its label is the field's description."""
        value = getattr(self, name)
        return Sourced(
            label=str(type(self).model_fields[name].description), unit=unit, source=self.clause,
            value=value if isinstance(value, float | int) else listed(value),
        )  # fmt: skip

    @model_validator(mode="after")
    def _with_source(self) -> Figures:
        if not self.source and self.seen != NO_SOURCE:
            raise ValueError(f'a source, or seen = "{NO_SOURCE}"')
        return self


def listed(values: list[float]) -> str:
    """Numbers as a text."""
    return ", ".join(f"{value:.3g}" for value in values)


class Cell(Figures):
    """Of one cell."""

    nominal_v: Volts


class Empty(Figures):
    """The end of discharge."""

    cell_v: Volts = Field(description="Cell at the end of discharge")


class Rate(Figures):
    """How the capacity depends on the pace."""

    rated_discharge_h: float = Field(gt=0.0, le=240.0)
    exponent: float = Field(ge=1.0, le=2.0, description="Exponent of capacity against current")


class Wells(Figures):
    """The two wells of the kinetic model; one, where all is available."""

    available_frac: float = Field(gt=0.0, le=1.0)
    exchange_per_h: float = Field(ge=0.0, le=100.0)

    @model_validator(mode="after")
    def _flows(self) -> Wells:
        if self.available_frac < 1.0 and self.exchange_per_h == 0.0:
            raise ValueError("exchange_per_h above 0 where available_frac is below 1")
        return self


class Charge(Figures):
    """Charge voltages of one cell at 25 degC; the compensation is taken off for each kelvin."""

    absorption_v: Volts
    float_v: Volts
    equalise_v: Volts | None = Field(description="Voltage of an equalising charge, a cell")
    compensation_v_per_k: float = Field(ge=0.0, le=0.02)

    @model_validator(mode="after")
    def _in_order(self) -> Charge:
        points = [self.float_v, self.absorption_v]
        if not rising([*points, self.equalise_v] if self.equalise_v else points):
            raise ValueError("float_v below absorption_v below equalise_v")
        return self


class Taper(Figures):
    """The last part of the charge."""

    acceptance_per_h: PerHour | None = Field(
        description="At absorption voltage: current over the charge that is missing"
    )

    @property
    def limit_per_h(self) -> float:
        """Largest charge current over the charge still missing [1/h]; infinite for no taper."""
        return math.inf if self.acceptance_per_h is None else self.acceptance_per_h


class ChargeByTemperature(Figures):
    """Where the charge is stopped or slowed."""

    stops_below_c: Celsius | None
    slow_below_c: Celsius | None
    slow_above_c: Celsius | None
    stops_above_c: Celsius
    slow_per_h: PerHour | None = Field(description="1/h, of the rated capacity, where slowed")
    cold: str | None = Field(description="what a charge in the cold does")

    @model_validator(mode="after")
    def _in_order(self) -> ChargeByTemperature:
        marks = [self.stops_below_c, self.slow_below_c, self.slow_above_c, self.stops_above_c]
        if not rising([mark for mark in marks if mark is not None]):
            raise ValueError("stops_below_c, slow_below_c, slow_above_c, stops_above_c, rising")
        if (self.slow_below_c is None and self.slow_above_c is None) != (self.slow_per_h is None):
            raise ValueError("slow_per_h where the charge is slowed, and only there")
        if (self.stops_below_c is None) != (self.cold is None):
            raise ValueError("cold in words where the charge stops in the cold, and only there")
        return self

    @property
    def in_words(self) -> str:
        """All of it, short."""
        words = f"none above {self.stops_above_c:g} °C"
        if self.stops_below_c is not None:
            words = f"none below {self.stops_below_c:g} and above {self.stops_above_c:g} °C"
        slow = [f"{word} {mark:g}" for word, mark in (
            ("below", self.slow_below_c), ("above", self.slow_above_c)) if mark is not None]
        if slow:
            words += f", at most {self.slow_per_h:g} of the capacity an hour {' and '.join(slow)}"
        return words


class CapacityByTemperature(Figures):
    """Share of the capacity at a temperature, straight lines between the points."""

    temp_c: list[Celsius] = Field(min_length=2)
    capacity_frac: list[Fraction]
    works_from_c: Celsius | None
    works_to_c: Celsius | None

    @model_validator(mode="after")
    def _a_curve(self) -> CapacityByTemperature:
        if len(self.temp_c) != len(self.capacity_frac) or not rising(self.temp_c):
            raise ValueError("a share for each temperature, temperatures rising")
        if any(low > high for low, high in pairwise(self.capacity_frac)):
            raise ValueError("shares that do not fall with temperature")
        return self

    @property
    def in_words(self) -> str:
        """The points, and where it does not work at all."""
        pairs = zip(self.capacity_frac, self.temp_c, strict=True)
        words = ", ".join(f"{share:.2g} at {temp:g}" for share, temp in pairs) + " °C"
        ends = [f"{word} {mark:g}" for word, mark in (
            ("below", self.works_from_c), ("above", self.works_to_c)) if mark is not None]
        return f"{words}; none {' or '.join(ends)} °C" if ends else words


class Rest(Figures):
    """Voltage of one cell hours after charge or discharge: the one place for it."""

    spent_v: Volts = Field(description="Cell at rest after a full charge: worn out below")
    sound_v: Volts = Field(description="Cell at rest after a full charge: good from")
    full_v: Volts = Field(description="Cell at rest, full")
    most_v: Volts

    @model_validator(mode="after")
    def _in_order(self) -> Rest:
        if not rising([self.spent_v, self.sound_v, self.full_v, self.most_v]):
            raise ValueError("spent_v, sound_v, full_v, most_v, rising")
        return self


class Gas(Figures):
    """Currents that make gas, and the factors that ventilation takes them times."""

    float_ma_per_ah: float = Field(
        gt=0.0, le=100.0, description="Current that gasses while the bank is held full"
    )
    boost_ma_per_ah: float = Field(gt=0.0, le=500.0)
    emission_factor: float = Field(gt=0.0, le=1.0)
    safety_factor: float = Field(ge=1.0, le=10.0)

    def design_ma_per_ah(self, charge: Literal["float", "boost"]) -> float:
        """Design current that makes gas, held full or at the absorption voltage [mA/Ah]."""
        current = self.float_ma_per_ah if charge == "float" else self.boost_ma_per_ah
        return current * self.emission_factor * self.safety_factor


class Water(Figures):
    """Cells that water is filled into."""

    overcharge_frac: Fraction = Field(description="Charge beyond what was drawn, that becomes gas")


class EqualisingPlan(Figures):
    """Charges on purpose beyond full; their voltage is `Charge.equalise_v`."""

    every_days: int = Field(ge=1, le=366, description="Days between equalising charges")
    length_h: float = Field(gt=0.0, le=48.0, description="Length of an equalising charge")
    current_per_h: PerHour = Field(
        description="Current of an equalising charge, of the rated capacity"
    )


class Sulphation(Figures):
    """What a kind suffers from that must be charged to full."""

    raised_days: float = Field(
        gt=0.0, description="Days without a full charge from which sulphation is a risk"
    )
    high_days: float = Field(
        gt=0.0, description="Days without a full charge from which the risk is high"
    )
    high_below_half_frac: Fraction = Field(
        description="Share of the year below half charge from which the risk is high"
    )


class Freezing(Figures):
    """Temperature at which the acid freezes, by the charge left in it; lines between the points."""

    charge_frac: list[Fraction] = Field(min_length=2)
    freezes_c: list[Celsius] = Field(description="Acid freezes at, empty to full")

    @model_validator(mode="after")
    def _a_curve(self) -> Freezing:
        if len(self.charge_frac) != len(self.freezes_c) or not rising(self.charge_frac):
            raise ValueError("a temperature for each charge_frac, charge_frac rising")
        if not rising(self.freezes_c[::-1]):
            raise ValueError("freezes_c that falls with the charge")
        return self


class Life(Figures):
    """Cycles at a depth, years at rest, where the maker's sheet is not at hand."""

    depth_frac: list[float]
    cycles: list[float]
    calendar_years: Years
    reference_c: Celsius


class CellFault(Figures):
    """The short circuit of a cell: a band, as makers of one kind differ and cells age."""

    least_cell_ohm_ah: float = Field(
        gt=0.0, le=5.0, description="Least resistance of a cell times its Ah: what must be broken"
    )
    most_cell_ohm_ah: float = Field(
        gt=0.0, le=5.0, description="Most resistance of a cell times its Ah: what must still melt"
    )

    @model_validator(mode="after")
    def _band(self) -> CellFault:
        if self.least_cell_ohm_ah > self.most_cell_ohm_ah:
            raise ValueError("least_cell_ohm_ah at most most_cell_ohm_ah")
        return self


class StringsOfUnits(Figures):
    """How units may be joined."""

    most_strings: int | None = Field(ge=1)
    most_in_series: int | None = Field(ge=1)


class Mass(Figures):
    """Of complete units."""

    energy_wh_per_kg: float = Field(gt=0.0, le=1000.0)


class CapacityTest(Figures):
    """A discharge test at another temperature."""

    per_k_frac: float = Field(
        ge=0.0, le=0.05, description="Capacity against the temperature of the test"
    )


class ExistingUnits(Figures):
    """What is counted on of units that are there already."""

    usable_frac: Fraction = Field(description="Share of an existing battery counted as usable")


class InRoom(Figures):
    """What it asks of the room."""

    above_m: float = Field(ge=0.0, le=2.0, description="Free height above a battery unit")


class Fire(Figures):
    """What puts it out, and what to do and not to do."""

    extinguishers: Texts
    fit: str
    notes: Texts


class Words(Record):
    """What is said of it on signs and to those who work on it."""

    sign: str
    discard: str
    safety: Texts


class Booklet(Record):
    """Keys of the customer's words in `data/messages`."""

    battery: Literal["flooded", "sealed", "lithium"]
    care: str
    danger: str


class Chemistry(Record):
    """One battery kind."""

    name: str = Field(min_length=1, description="as the trade calls it")
    family: str
    management_system: bool = Field(description="each unit has one of its own")
    electrolyte: Literal["liquid acid", "held acid", "no acid"] = Field(
        description="what runs out of a broken case"
    )
    in_sizing_worksheet: bool = Field(description="whether the worksheet is written for it")
    cell: Cell
    empty: Empty
    rate: Rate
    wells: Wells
    charge: Charge
    taper: Taper
    charge_by_temperature: ChargeByTemperature
    capacity_by_temperature: CapacityByTemperature
    capacity_test: CapacityTest
    rest: Rest
    gas: Gas | None
    water: Water | None
    equalising: EqualisingPlan | None
    sulphation: Sulphation | None
    freezing: Freezing | None
    life: Life
    fault: CellFault
    bank: StringsOfUnits
    mass: Mass
    existing: ExistingUnits
    room: InRoom
    fire: Fire
    words: Words
    booklet: Booklet
    advice: Texts

    @model_validator(mode="after")
    def _agree(self) -> Chemistry:
        if (self.equalising is None) != (self.charge.equalise_v is None):
            raise ValueError("equalising and charge.equalise_v both, or neither")
        if self.water is not None and self.gas is None:
            raise ValueError("gas where there is water to fill up")
        return self

    @property
    def two_wells(self) -> bool:
        """Whether a fast discharge gives less than a slow one."""
        return self.wells.available_frac < 1.0

    def string_ohm(self, cells: int, unit_capacity_ah: float) -> tuple[float, float]:
        """Least and most resistance of so many cells in series [ohm], for a short circuit."""
        each = self.fault.least_cell_ohm_ah, self.fault.most_cell_ohm_ah
        return each[0] * cells / unit_capacity_ah, each[1] * cells / unit_capacity_ah

    def cells(self, voltage_v: float) -> int:
        """Cells one after another in a unit or a bank of that nominal voltage [V]."""
        return max(round(voltage_v / self.cell.nominal_v), 1)


@cache
def chemistries() -> Mapping[str, Chemistry]:
    """Battery kinds by the word of the site file, in the order of the file.

    Raises
    ------
    InputError
        When a kind lacks a trait, has one that does not exist, or one that cannot be.
    """
    return read_chemistries(data_folder() / FILE)


def read_chemistries(path: Path) -> dict[str, Chemistry]:
    """Kinds of a file; raises as `chemistries`."""
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    families, kinds = data.get("family", {}), data.get("kind", {})
    faults: list[Fault] = []
    found = {}
    for key, own in kinds.items():
        given = {**families.get(own.get("family"), {}), **own}
        try:
            found[key] = Chemistry.model_validate(_with_none(given))
        except ValidationError as error:
            faults += [_fault(path.name, key, item) for item in error.errors(include_url=False)]
    if faults:
        raise InputError(faults)
    return found


def _with_none(value: Any) -> Any:
    """The same with None for the word none."""
    if isinstance(value, dict):
        return {key: _with_none(each) for key, each in value.items()}
    return None if value == NONE else value


def _fault(file: str, kind: str, item: Mapping[str, Any]) -> Fault:
    """A complaint of the validation: file, kind and trait."""
    place = ".".join(str(part) for part in item["loc"])
    where = f"{file}: {kind}.{place}" if place else f"{file}: {kind}"
    if item["type"] == "missing":
        words = worded("sitefile", "trait-missing", place=place, none=NONE, kind=kind)
        return Fault(**words, where=where)
    if item["type"] == "extra_forbidden":
        return Fault(where=where, given=f"the key {place}", allowed="a trait that is used")
    return Fault(where=where, given=str(item["input"])[:80], allowed=str(item["msg"]))


def known_chemistry(key: str) -> str:
    """The key itself; ValueError for one that the file does not have."""
    if key not in chemistries():
        raise ValueError("one of " + ", ".join(chemistries()))
    return key


ChemistryKey = Annotated[str, AfterValidator(known_chemistry)]


def most_strings(
    chemistry: str, unit_capacity_ah: float, *, known_a: float | None = None
) -> int:
    """Battery strings together whose short circuit the strongest listed fuse still breaks.

    Parameters
    ----------
    chemistry : str
        A kind of `chemistries`.
    unit_capacity_ah : float
        Of a unit [Ah].
    known_a : float, optional
        One string shorted, by the maker's sheet [A]; by the kind if left out.

    Notes
    -----
    A string gives V / R of its cells, however many are in series, by the least resistance of the
    kind; IEC 60364-4-43 cl. 434.5.1: a device breaks the prospective fault current.
    """
    kind = chemistries()[chemistry]
    each_a = known_a or kind.rest.full_v / kind.string_ohm(1, unit_capacity_ah)[0]
    breaking_ka = published("battery_fuse_classes").numbers("breaking_ka")
    return int(1000.0 * max(one for one in breaking_ka if one is not None) / each_a)
