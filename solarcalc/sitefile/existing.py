"""What the customer already owns, with its test results, and what is used again: [[existing]]."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Set
from typing import Any, Literal

from pydantic import Field

from solarcalc.basis.errors import Fault
from solarcalc.basis.text import nearest
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import Line, Name, Record, Sound, sound_values
from solarcalc.sitefile.bill_items import ITEMS, kind_of
from solarcalc.sitefile.chemistry import ChemistryKey
from solarcalc.sitefile.programme import day_of

OF_EVERY_KIND = ("kind", "label", "age_years", "count", "used", "item", "tested_by", "tested_on",
                 "insulation_megohm")  # fmt: skip
RATED: dict[str, tuple[str, ...]] = {
    "battery": ("chemistry", "unit_voltage_v", "unit_capacity_ah", "rated_discharge_h"),
    "inverter": ("bank_voltage_v", "continuous_power_w", "surge_power_va", "efficiency_frac",
                 "no_load_power_w"),
    "module": ("pmax_w", "voc_v", "isc_a", "alpha_isc_pct_per_k", "beta_voc_pct_per_k",
               "gamma_pmax_pct_per_k", "cells_in_series"),
    "controller": ("max_charge_current_a",),
    "generator": ("power_w",),
    "part": ("item",),
}  # fmt: skip
"""Keys of the data sheet that each kind needs."""
MEASURED: dict[str, tuple[str, ...]] = {
    "battery": ("new_resistance_ohm", "measured_capacity_ah", "measured_discharge_h",
                "measured_temp_c", "rest_voltage_v", "measured_resistance_ohm"),
    "inverter": ("measured_surge_va", "measured_efficiency_frac", "measured_no_load_w"),
    "module": ("measured_pmax_w", "measured_voc_v", "measured_isc_a",
               "measured_irradiance_w_m2", "measured_temp_c"),
    "controller": ("measured_charge_current_a",),
    "generator": ("measured_power_w",),
    "part": (),
}  # fmt: skip
"""Keys of test results that each kind may have."""
DECIDES: dict[str, tuple[tuple[str, ...], ...]] = {
    "battery": (("measured_capacity_ah",),), "inverter": (("measured_surge_va",),),
    "module": (("measured_pmax_w",), ("measured_isc_a", "measured_voc_v")),
    "controller": (("measured_charge_current_a",),), "generator": (("measured_power_w",),),
    "part": ((),),
}  # fmt: skip
"""Results without which a kind counts as untested, one set or the other; of the test of a part the
name of who made it and the day are written alone."""


class Existing(Record):
    """[[existing]]: a thing that is there already, and how much of it this design uses again."""

    kind: Literal["battery", "inverter", "module", "controller", "generator", "part"]
    label: Name
    age_years: float = Field(ge=0.0, le=60.0)
    count: int = Field(ge=1, le=1000, description="identical, of the same age")
    used: int = Field(
        default=0, ge=0, le=1000,
        description="of these used again and not bought, in the unit of the bill; 0: assessed alone"
    )
    item: Line | None = Field(
        default=None,
        description="item or key of the bill it takes the place of; default: its kind's",
    )
    tested_by: Line = Field(default="", description="name of the person who tested it")
    tested_on: Line = Field(default="", description='day of that test, "YYYY-MM-DD"')
    insulation_megohm: float | None = Field(
        default=None, ge=0.0, le=10000.0, description="measured insulation resistance to earth"
    )

    chemistry: ChemistryKey | None = None
    unit_voltage_v: float | None = Field(default=None, gt=0.0, le=1000.0)
    unit_capacity_ah: float | None = Field(default=None, gt=0.0, le=10000.0)
    rated_discharge_h: float | None = Field(
        default=None, ge=0.5, le=120.0, description="rated discharge time"
    )
    new_resistance_ohm: float | None = Field(
        default=None, gt=0.0, le=10.0, description="of a unit when new, from the data sheet"
    )
    measured_capacity_ah: float | None = Field(
        default=None, ge=0.0, le=10000.0, description="of a unit, from full to its end voltage"
    )
    measured_discharge_h: float | None = Field(
        default=None, ge=0.1, le=200.0, description="duration of the test"
    )
    rest_voltage_v: float | None = Field(
        default=None, ge=0.0, le=1000.0, description="of a unit, full, after a day at rest"
    )
    measured_resistance_ohm: float | None = Field(default=None, gt=0.0, le=100.0)
    measured_temp_c: float | None = Field(
        default=None, ge=-20.0, le=90.0, description="of the battery, or of the cells"
    )

    bank_voltage_v: float | None = Field(default=None, gt=0.0, le=1000.0)
    continuous_power_w: float | None = Field(default=None, gt=0.0, le=200000.0)
    surge_power_va: float | None = Field(default=None, gt=0.0, le=600000.0)
    efficiency_frac: float | None = Field(default=None, gt=0.5, le=1.0)
    no_load_power_w: float | None = Field(default=None, ge=0.0, le=1000.0)
    measured_surge_va: float | None = Field(
        default=None, ge=0.0, le=600000.0, description="largest starting load it carried"
    )
    measured_efficiency_frac: float | None = Field(default=None, gt=0.0, le=1.0)
    measured_no_load_w: float | None = Field(default=None, ge=0.0, le=1000.0)

    pmax_w: float | None = Field(default=None, gt=0.0, le=1500.0)
    voc_v: float | None = Field(default=None, gt=0.0, le=400.0)
    isc_a: float | None = Field(default=None, gt=0.0, le=60.0)
    alpha_isc_pct_per_k: float | None = Field(default=None, ge=-0.05, le=0.3)
    beta_voc_pct_per_k: float | None = Field(default=None, ge=-0.6, lt=0.0)
    gamma_pmax_pct_per_k: float | None = Field(default=None, ge=-0.8, lt=0.0)
    cells_in_series: int | None = Field(default=None, ge=1, le=400)
    measured_pmax_w: float | None = Field(default=None, ge=0.0, le=2000.0)
    measured_voc_v: float | None = Field(default=None, ge=0.0, le=500.0)
    measured_isc_a: float | None = Field(default=None, ge=0.0, le=80.0)
    measured_irradiance_w_m2: float | None = Field(
        default=None, ge=200.0, le=1500.0, description="in the plane of the module"
    )

    max_charge_current_a: float | None = Field(default=None, gt=0.0, le=1000.0)
    measured_charge_current_a: float | None = Field(
        default=None, ge=0.0, le=1000.0, description="largest that it held for an hour"
    )
    power_w: float | None = Field(default=None, gt=0.0, le=1e6, description="of a generator")
    measured_power_w: float | None = Field(
        default=None, ge=0.0, le=1e6, description="largest load that it held for an hour"
    )

    @property
    def tested(self) -> bool:
        """Whether the results that decide are there, and who tested it on which day."""
        decides = any(all(getattr(self, name) is not None for name in names)
                      for names in DECIDES[self.kind])  # fmt: skip
        return decides and bool(self.tested_by.strip() and self.tested_on.strip())

    @property
    def bill_item(self) -> str:
        """Item or key of the bill that it takes the place of."""
        return self.item or self.kind

    @property
    def plate_size(self) -> float | None:
        """Rating on its plate, in the second unit of its item in the bill; None where it has none.

        Such as [W] of a module or [Ah] of a battery.

        Watts of modules, inverters and generators, kilowatt hours of a battery unit, amperes of a
        controller.
        """
        if self.kind == "battery":
            return (self.unit_voltage_v or 0.0) * (self.unit_capacity_ah or 0.0) / 1000.0
        return {"inverter": self.continuous_power_w, "module": self.pmax_w,
                "controller": self.max_charge_current_a, "generator": self.power_w,
                "part": None}[self.kind]


TOGETHER: tuple[tuple[str, str, str], ...] = (
    ("measured_capacity_ah", "measured_discharge_h", "capacity depends on the length of the test"),
    ("measured_discharge_h", "measured_capacity_ah", "the length of a test belongs to its result"),
    ("measured_resistance_ohm", "new_resistance_ohm", "it is compared with that of a new unit"),
    *(
        (name, other, "the result is corrected to 1000 W/m² and 25 °C")
        for name in ("measured_pmax_w", "measured_voc_v", "measured_isc_a")
        for other in ("measured_irradiance_w_m2", "measured_temp_c")
    ),
)
"""A key, the key that must stand beside it, and why."""


def existing_faults(sound: Sound) -> Iterator[Fault]:
    """Keys of another kind, rated figures left out, halves of tests, labels given twice.

    Of each thing all at once: a fault of one of its values keeps back none of the others.
    """
    labels: dict[str, int] = {}
    for number, row, told in sound_values(sound, "existing"):
        if "kind" in row:
            yield from _of_kind(sound, number, row, told)
        yield from _use(sound, number, row, told)
        yield from _item(sound, number, row.get("item") or "")
        if "label" in row:
            yield from _label_once(sound, number, row["label"], labels)


def _of_kind(
    sound: Sound, number: int, row: Mapping[str, Any], told: Set[str]
) -> Iterator[Fault]:
    """Keys that its kind does not have, figures that it needs, halves of its tests."""
    loc, kind = ("existing", number), row["kind"]
    own = {*OF_EVERY_KIND, *RATED[kind], *MEASURED[kind]}
    for name in row:
        if name not in own:
            yield sound.fault(
                (*loc, name), row[name], f'left out with kind = "{kind}"',
                "it belongs to another kind", f"delete {name}, or correct kind",
            )  # fmt: skip
    for name in RATED[kind]:
        if row.get(name, "") == "" and name not in told:
            yield sound.fault((*loc, name), **(
                worded("sitefile", "part-without-item") if kind == "part" else worded(
                    "sitefile", "rated-figure-missing", kind=kind, name=name)
            ))  # fmt: skip
    for name, other, why in TOGETHER:
        if name in row and name in own and other not in row and other not in told:
            yield sound.fault((*loc, other), why=why, **worded(
                "sitefile", "half-a-test", name=name, row=row[name], other=other,
            ))  # fmt: skip


def _use(
    sound: Sound, number: int, row: Mapping[str, Any], told: Set[str]
) -> Iterator[Fault]:
    """More used than there is; a test by nobody or on no day."""
    loc, count = ("existing", number), row.get("count", math.inf)
    if row.get("used", 0) > count:
        yield sound.fault((*loc, "used"), row["used"],
                          **worded("sitefile", "more-used-than-there", count=count))
    by, day = (str(row.get(key, "")).strip() for key in ("tested_by", "tested_on"))
    if bool(by) != bool(day) and not {"tested_by", "tested_on"} & told:
        missing = "tested_on" if by else "tested_by"
        yield sound.fault((*loc, missing), **worded("sitefile", "tested-in-part", key=missing))
    if day and day_of(day) is None:
        yield sound.fault((*loc, "tested_on"), day, **worded("sitefile", "checked-date"))


def _item(sound: Sound, number: int, item: str) -> Iterator[Fault]:
    """No thing of any bill; whether that of this design has it is known later."""
    if item and kind_of(item) is None:
        near = nearest(item, ITEMS)
        yield sound.fault(("existing", number, "item"), item, **worded(
            "sitefile", "no-item-of-a-bill", items=", ".join(ITEMS),
            remedy=f"did you mean {near}?" if near else "",
        ))  # fmt: skip


def _label_once(sound: Sound, number: int, label: str, labels: dict[str, int]) -> Iterator[Fault]:
    key = " ".join(label.casefold().split())
    if key in labels:
        yield sound.fault(
            ("existing", number, "label"), **worded("sitefile", "label-twice",
                                                    first=labels[key] + 1),
            given=label,
        )  # fmt: skip
    labels.setdefault(key, number)
