"""The battery bank: [battery], and what charges it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import pairwise
from typing import Literal

from pydantic import Field, ValidationInfo, field_validator

from solarcalc.basis.errors import Fault
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import (
    Fraction,
    Name,
    Record,
    Sound,
    check_one_each,
    ordered,
    rising,
)
from solarcalc.sitefile.chemistry import Chemistry, ChemistryKey, chemistries
from solarcalc.sitefile.loads import BOARDS

FEWEST_RATES = 3
"""Capacities a table needs: two wells and the pace between them are three unknowns."""


MOST_UNITS = 400
"""Units in series of the longest bank."""


INSTEAD: Mapping[str, tuple[str, ...]] = {
    "room_c": ("room_swing_frac", "room_above_k"),
    "room_swing_frac": ("room_c",), "room_above_k": ("room_c",),
}  # fmt: skip
"""Keys of [battery] that another takes the place of: a room is held or follows the air outdoors."""

WHAT_IT_IS = ("use", "chemistry", "unit_voltage_v", "unit_capacity_ah")
"""Keys of [battery] of which another value is another battery."""
OF_ITS_SHEET: Mapping[str, tuple[str, ...]] = {
    "protection": ("battery_fault_a",),
    "room": ("unit_mass_kg", "unit_length_m", "unit_depth_m", "unit_height_m"),
}
"""Keys of other tables that are figures of the data sheet of the battery."""


class Battery(Record):
    """[battery]: one bank that serves both boards."""

    label: Name
    chemistry: ChemistryKey
    unit_voltage_v: float = Field(gt=0.0, le=1000.0)
    unit_capacity_ah: float = Field(gt=0.0, le=10000.0)
    rated_discharge_h: float | None = Field(
        default=None, gt=0.0, le=240.0,
        description="rated discharge time of unit_capacity_ah (hour rate, such as C10 or C20);"
        " default: usual for the kind",
    )
    discharge_hours: list[float] = Field(
        default_factory=list,
        description="times of the capacity table of the data sheet, rising; lead-acid",
    )
    discharge_capacity_ah: list[float] = Field(
        default_factory=list, validate_default=True, description="of one unit in those times"
    )
    units_in_series: int = Field(ge=1, le=MOST_UNITS)
    units_in_parallel: int = Field(ge=1, le=50)
    charge_efficiency_frac: float = Field(gt=0.3, le=1.0)
    discharge_efficiency_frac: float = Field(gt=0.3, le=1.0)
    max_charge_c_rate: float = Field(gt=0.0, le=5.0, description="1/h, of the rated capacity")
    max_discharge_c_rate: float = Field(gt=0.0, le=10.0, description="1/h, of the rated capacity")
    self_discharge_frac_per_month: float = Field(ge=0.0, le=0.3)
    min_soc_frac: Fraction = Field(description="minimum state of charge (discharge limit)")
    nonessential_shed_frac: Fraction = Field(description="state of charge at which the last of "
                                                         "the nonessential board is shed")
    nonessential_return_frac: Fraction = Field(description="state of charge at which all of it is "
                                                           "back")
    life_depth_frac: list[float] = Field(
        default_factory=list,
        description="depths of the cycle-life table of the data sheet, rising, above 0 to 1",
    )
    life_cycles: list[float] = Field(
        default_factory=list, validate_default=True,
        description="cycles to end of life at those depths"
    )
    life_years: float | None = Field(
        default=None, gt=0.0, le=50.0, description="calendar life at 20 °C, lithium at 25 °C"
    )
    pole_earthed: Literal["none", "negative", "positive"] = Field(
        default="none",
        description="from the data sheets of inverter and battery; an earthed pole has no"
        " fuse, without one both poles have fuses"
    )  # fmt: skip
    unfused_lead_m: float = Field(
        default=0.3, gt=0.0, le=20.0, description="cable from the terminals to the first fuse"
    )
    room_c: float | None = Field(
        default=None, ge=-40.0, le=60.0,
        description="of a room held at this temperature; default: the room follows the"
        " outdoor air",
    )
    room_swing_frac: Fraction = Field(
        default=0.3,
        description="share of the outdoor swing around its 24 h mean that reaches the room"
    )
    room_above_k: float = Field(default=2.0, ge=-20.0, le=40.0, description="above that mean")

    @property
    def traits(self) -> Chemistry:
        """What its kind is."""
        return chemistries()[self.chemistry]

    @property
    def rated_time_h(self) -> float:
        """Discharge time of the rated capacity [h]: the site file's, or as usual for the kind."""
        return self.rated_discharge_h or self.traits.rate.rated_discharge_h

    @property
    def unit_cells(self) -> int:
        """Cells one after another inside one unit."""
        return self.traits.cells(self.unit_voltage_v)

    @property
    def fused_poles(self) -> str:
        """Signs of the poles that have a fuse: each that is not earthed."""
        return {"none": "+−", "negative": "+", "positive": "−"}[self.pole_earthed]

    @property
    def cells_in_series(self) -> int:
        """Cells one after another from the bank's plus to its minus."""
        return self.unit_cells * self.units_in_series

    @property
    def unit_wh(self) -> float:
        """Rated energy of one unit [Wh]."""
        return self.unit_voltage_v * self.unit_capacity_ah

    @property
    def unit_count(self) -> int:
        """Units of all strings."""
        return self.units_in_series * self.units_in_parallel

    @property
    def nominal_voltage_v(self) -> float:
        """Nominal voltage of the bank [V]."""
        return self.unit_voltage_v * self.units_in_series

    @property
    def charging_voltage_v(self) -> float:
        """Voltage of the bank on the mean while a charger works at its limit of current [V].

        A charge climbs from a little above rest to absorption; the float voltage lies between
        them (common practice, no source).
        """
        return self.cells_in_series * self.traits.charge.float_v

    @property
    def rated_ah(self) -> float:
        """Rated capacity of the bank [Ah]."""
        return self.unit_capacity_ah * self.units_in_parallel

    @property
    def rated_wh(self) -> float:
        """Rated energy of the bank [Wh]."""
        return self.rated_ah * self.nominal_voltage_v

    @field_validator("discharge_hours")
    @classmethod
    def _rising(cls, value: list[float]) -> list[float]:
        sound = rising(value) and all(hours > 0.0 for hours in value)
        if not sound or 0 < len(value) < FEWEST_RATES:
            raise ValueError(
                f"a list of at least {FEWEST_RATES} numbers above 0, each above the one before it"
            )
        return value

    @field_validator("life_depth_frac")
    @classmethod
    def _deeper(cls, value: list[float]) -> list[float]:
        if not rising(value) or any(not 0.0 < depth <= 1.0 for depth in value) or len(value) == 1:
            raise ValueError("a list of two or more numbers, rising, above 0 to 1; or left out")
        return value

    @field_validator("life_cycles")
    @classmethod
    def _fewer(cls, value: list[float], info: ValidationInfo) -> list[float]:
        check_one_each(value, "battery.life_depth_frac", info)
        if any(low <= high for low, high in pairwise(value)) or any(n <= 0.0 for n in value):
            raise ValueError("a list of numbers above 0, each below the one before it")
        return value

    @field_validator("discharge_capacity_ah")
    @classmethod
    def _one_a_time(cls, value: list[float], info: ValidationInfo) -> list[float]:
        check_one_each(value, "battery.discharge_hours", info)
        if any(capacity <= 0.0 for capacity in value):
            raise ValueError("a list of numbers above 0")
        return value


CELL_TOLERANCE_FRAC = float(constant("sitefile.cell_tolerance_frac"))
VOLTAGE_CLASS_FRAC = constant("battery.voltage_class_frac")


def battery_faults(sound: Sound) -> Iterator[Fault]:
    """Units of no whole cells, two rooms, tables that contradict themselves, a bank too high."""
    yield from _levels(sound)
    yield from _cells(sound)
    yield from _room(sound)
    yield from _table(sound)
    yield from tracking_faults(sound)
    yield from _plates(sound)


def _plates(sound: Sound) -> Iterator[Fault]:
    unit_v, series = (sound.get("battery", key) for key in ("unit_voltage_v", "units_in_series"))
    if None in (unit_v, series):
        return
    bank_v = unit_v * series
    one = sound.get("supply", "layout") == "one-inverter"
    for board in BOARDS[:1] if one else BOARDS:
        plate_v = sound.get("inverter", board, "bank_voltage_v")
        if plate_v is None or _meets(bank_v, plate_v):
            continue
        fit = [count for count in range(1, MOST_UNITS + 1) if _meets(count * unit_v, plate_v)]
        nearest = min(fit, key=lambda count: abs(count - series), default=None)
        yield sound.fault(("inverter", board, "bank_voltage_v"), **worded(
            "sitefile", "voltage-on-plate", plate_v=plate_v, series=series, unit_v=unit_v,
            bank_v=bank_v, voltage_class_frac=float(VOLTAGE_CLASS_FRAC),
            near=f" to {nearest}" if nearest else "",
        ))  # fmt: skip


def _meets(bank_v: float, plate_v: float) -> bool:
    return abs(bank_v / plate_v - 1.0) <= float(VOLTAGE_CLASS_FRAC)


def _cells(sound: Sound) -> Iterator[Fault]:
    chemistry, unit_v = (sound.get("battery", key) for key in ("chemistry", "unit_voltage_v"))
    if None in (chemistry, unit_v):
        return
    kind = chemistries()[chemistry]
    cells, cell_v = kind.cells(unit_v), kind.cell.nominal_v
    if abs(unit_v / (cells * cell_v) - 1.0) <= CELL_TOLERANCE_FRAC:
        return
    counts = (max(cells - 1, 1), cells, cells + 1)
    yield sound.fault(("battery", "unit_voltage_v"), **worded(
        "sitefile", "no-whole-cells", unit_v=unit_v, chemistry=chemistry, cell_v=cell_v,
        whole_v=" or ".join(f"{count * cell_v:g}" for count in counts),
        kind_name=kind.name, clause=kind.cell.clause,
    ))  # fmt: skip


def _room(sound: Sound) -> Iterator[Fault]:
    if not sound.given("battery", "room_c"):
        return
    for key in INSTEAD["room_c"]:
        if sound.given("battery", key):
            yield sound.fault(("battery", key), sound.data["battery"][key],
                              "omitted, as room_c holds the room at one temperature",
                              "a room is held at one temperature or follows the outdoor air",
                              f"delete {key}, or room_c")


def _table(sound: Sound) -> Iterator[Fault]:
    hours, charges = (
        sound.get("battery", key) or [] for key in ("discharge_hours", "discharge_capacity_ah")
    )
    if not sound.given("battery", "discharge_hours") or len(hours) != len(charges):
        return
    rows = list(zip(hours, charges, strict=True))
    for (short_h, less_ah), (long_h, more_ah) in pairwise(rows):
        given = f"{less_ah:g} Ah in {short_h:g} h and {more_ah:g} Ah in {long_h:g} h"
        allowed = why = ""
        if less_ah > more_ah:
            allowed = "no less charge in a longer time"
            why = "a battery delivers less at a high discharge rate"
        elif less_ah / short_h <= more_ah / long_h:
            allowed, why = "less current in a longer time", "a higher current empties it sooner"
        if allowed:
            yield sound.fault(
                ("battery", "discharge_capacity_ah"), given, allowed, why,
                "copy times and capacities from one row of the data sheet",
            )  # fmt: skip


def tracking_faults(sound: Sound) -> Iterator[Fault]:
    """A bank whose voltage no controller reaches."""
    unit_v, series = (sound.get("battery", key) for key in ("unit_voltage_v", "units_in_series"))
    most_v = sound.get("controller", "max_tracking_voltage_v")
    if None in (unit_v, series, most_v) or unit_v * series < most_v:
        return
    yield sound.fault(("battery", "units_in_series"), **worded(
        "sitefile", "bank-above-array", series=series, unit_v=unit_v, bank_v=unit_v * series,
        most_v=most_v,
    ))  # fmt: skip


def _levels(sound: Sound) -> Iterator[Fault]:
    reserve, shed, back = (
        ("battery", name) for name in ("min_soc_frac", "nonessential_shed_frac",
                                       "nonessential_return_frac")
    )
    yield from ordered(
        sound, reserve, shed, "the nonessential board is shed above the discharge limit",
        equal=True
    )
    yield from ordered(
        sound, shed, back, "it is reconnected at a higher state of charge than it is shed at",
        equal=False
    )
