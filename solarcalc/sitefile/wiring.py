"""Cables, duct and where the power room stands: [cables], [runs.*], [duct], [[places]]."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping
from functools import cache
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, field_validator

from solarcalc.basis.errors import Fault
from solarcalc.basis.files import data_folder
from solarcalc.basis.published import published
from solarcalc.basis.text import nearest
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import Fraction, Name, Note, Record, Sound

METHODS_FILE = "cable_methods.csv"


class CableMethod(Record):
    """A row of ``data/cable_methods.csv``: one way a cable lies, and the tables of its standard.

    The reference methods of IEC 60364-5-52, and those of EN 50618 for the single-core cable made
    for modules. Code asks for a trait, never for the name of a method.

    Parameters
    ----------
    method : str
        The word of the site file.
    column : str
        Of its capacity (and soil) tables.
    words, drawn : str
        In schedules; beside its line in a drawing.
    place : str
    alone : bool
        Whether its name says that a circuit lies by itself.
    for_modules : bool
        Whether it is the tinned single-core cable made for modules.
    capacity : tuple of str
        Tables in ``data/tables``, small sizes before large ones.
    heat_factor : str
        Table of the factor for what is around it: a column an insulation, or ``factor``.
    group : str
        Column of the table of circuits together.
    """

    method: Name
    column: Name
    words: Name
    drawn: Name
    place: Literal["duct", "surface", "air", "ground", "duct in ground"]
    alone: bool
    for_modules: bool
    capacity: tuple[str, ...]
    heat_factor: str
    group: Literal["bunched", "layer", "buried"]

    @property
    def in_conduit(self) -> bool:
        """Whether it lies in a conduit or duct, in the ground or not."""
        return self.place in ("duct", "duct in ground")

    @property
    def in_ground(self) -> bool:
        """Whether it lies in the ground, in a duct or not."""
        return self.place in ("ground", "duct in ground")

    @property
    def in_duct(self) -> bool:
        """Whether it lies in a duct in the ground."""
        return self.in_conduit and self.in_ground

    @property
    def standard(self) -> str:
        """The work that its capacities are from."""
        return published(self.capacity[0]).headings["source"]


@cache
def cable_methods() -> Mapping[str, CableMethod]:
    """The methods by their word in the site file, in the order of the file."""
    said = {"yes": True, "no": False}
    with (data_folder() / METHODS_FILE).open(encoding="utf-8", newline="") as file:
        return {
            row["method"]: CableMethod.model_validate(row | {
                "alone": said[row["alone"]], "for_modules": said[row["for_modules"]],
                "capacity": tuple(row["capacity"].split()),
            })
            for row in csv.DictReader(file)
        }  # fmt: skip


def _known_method(method: str) -> str:
    if method not in cable_methods():
        raise ValueError("one of " + ", ".join(cable_methods()))
    return method


Method = Annotated[str, AfterValidator(_known_method)]


class Cables(Record):
    """[cables]: what holds for every run."""

    sizes: Literal["metric", "awg"] = Field(
        default="metric", description="mm² of IEC 60228, or American wire gauge"
    )
    dc_drop_frac: float = Field(
        default=0.03, gt=0.0, le=0.2,
        description="modules to controller, PV string cables and DC main cable together"
    )
    battery_drop_frac: float = Field(
        default=0.01, gt=0.0, le=0.2, description="controller to battery, battery to inverter; each"
    )
    ac_drop_frac: float = Field(
        default=0.03, gt=0.0, le=0.2,
        description="inverter to the main distribution board of the building, in total"
    )
    coldest_c: float | None = Field(
        default=None, ge=-60.0, le=30.0,
        description="record low of the site; default: the year's coldest hour less 5 K",
    )
    hottest_cell_c: float | None = Field(
        default=None, ge=30.0, le=110.0,
        description="default: the hottest hour of the modules in the year",
    )
    roof_c: float | None = Field(
        default=None, ge=20.0, le=100.0,
        description="air around cables under modules; default: the hottest air plus 20 K",
    )
    soil_c: float | None = Field(
        default=None, ge=0.0, le=60.0,
        description="of the soil around a buried duct; default: the warmest month's air",
    )
    soil_k_m_per_w: float = Field(
        default=2.5, ge=0.5, le=3.0, description="thermal resistivity of the soil"
    )
    connector_mm2: float | None = Field(
        default=None, gt=0.0, le=50.0,
        description="largest conductor that the module connectors take; default: 6",
    )


class CableRun(Record):
    """One of [runs.*]: a run of the system, one way, and how its cable lies."""

    length_m: float | None = Field(
        default=None, gt=0.0, le=2000.0, description="one way, along the cable; measure it"
    )
    method: Method | None = Field(default=None, description="installation method, see above")
    insulation: Literal["pvc", "xlpe"] | None = Field(
        default=None, description="pvc up to 70 °C, xlpe up to 90 °C"
    )
    material: Literal["copper", "aluminium"] = Field(default="copper")
    ambient_c: float | None = Field(
        default=None, ge=-20.0, le=110.0, description="default: roof, room or soil by method"
    )
    grouped_circuits: int = Field(
        default=1, ge=1, le=20,
        description="grouped circuits: 1 and those of others that touch it or share its duct;"
        " circuits of this system on the same route are counted automatically",
    )
    size_mm2: float | None = Field(
        default=None, gt=0.0, le=1000.0, description="of a conductor; default: chosen here"
    )
    in_parallel: int = Field(default=1, ge=1, le=6, description="conductors for each pole")
    rated_v: float | None = Field(
        default=None, gt=0.0, le=3000.0,
        description="V between conductors, of the cable as bought; default: 1500 DC,"
        " 1000 AC",
    )


class Runs(Record):
    """[runs.*]: every run of the system, from the modules to the house."""

    string: CableRun = Field(default_factory=CableRun)
    dc_main: CableRun = Field(default_factory=CableRun)
    controller_battery: CableRun = Field(default_factory=CableRun)
    battery_inverter: CableRun = Field(default_factory=CableRun)
    inverter_output: CableRun = Field(default_factory=CableRun)
    inverter_board: CableRun = Field(default_factory=CableRun)
    board_house: CableRun = Field(default_factory=CableRun)
    grid_in: CableRun = Field(default_factory=CableRun)
    generator_in: CableRun = Field(default_factory=CableRun)


USUAL_RUNS: dict[str, tuple[float, Method, Literal["pvc", "xlpe"]]] = {
    "string": (12.0, "solar-free", "xlpe"),
    "dc_main": (15.0, "D1", "xlpe"),
    "controller_battery": (2.0, "B1", "xlpe"),
    "battery_inverter": (2.0, "B1", "xlpe"),
    "inverter_output": (2.0, "B1", "pvc"),
    "inverter_board": (3.0, "B1", "pvc"),
    "board_house": (15.0, "D1", "xlpe"),
    "grid_in": (10.0, "B1", "pvc"),
    "generator_in": (15.0, "B1", "pvc"),
}
"""Length [m], method and insulation where the site file leaves them out; common practice, no
source. A length left out is a guess: the check says so until it has been measured."""
TO_BATTERY = ("controller_battery", "battery_inverter")
"""Runs between the battery and what stands around it."""


class Duct(Record):
    """[duct]: the duct in the ground that the main run goes through."""

    size: str = Field(
        default="duct-75", min_length=1, max_length=40,
        description="a key of data/tables/ducts.csv",
    )
    inner_mm: float | None = Field(
        default=None, gt=5.0, le=500.0,
        description="inner diameter, measured; default: by the table"
    )
    length_m: float | None = Field(
        default=None, gt=0.0, le=2000.0, description="default: that of runs.dc_main"
    )
    bends: int = Field(default=2, ge=0, le=12, description="of 90°, or the equivalent")
    depth_m: float = Field(default=0.6, ge=0.0, le=3.0, description="of cover above it")
    other_cables_mm: list[float] = Field(
        default_factory=list, description="outer diameters of other cables in it"
    )

    @field_validator("other_cables_mm")
    @classmethod
    def _sizes(cls, value: list[float]) -> list[float]:
        if any(not 1.0 <= size <= 200.0 for size in value):
            raise ValueError("a list of numbers from 1 to 200 mm")
        return value


class PowerPlace(Record):
    """[[places]]: a place where the power room could stand."""

    name: Name
    dc_main_m: float = Field(gt=0.0, le=2000.0, description="from the combiner, along the cable")
    house_m: float = Field(gt=0.0, le=2000.0,
        description="to the main distribution board of the building, along the cable")
    trench_m: float = Field(default=0.0, ge=0.0, le=2000.0, description="to excavate")
    cost: float = Field(
        default=0.0, ge=0.0, description="to build or clear it, in the price list's currency"
    )
    room_swing_frac: Fraction = Field(
        default=0.3,
        description="share of the outdoor swing that reaches the room; 1: a sheet-metal shed"
    )
    room_above_k: float = Field(
        default=2.0, ge=-20.0, le=40.0,
        description="above the mean outdoor temperature, without equipment"
    )
    note: Note = Field(default="", max_length=200)


def wiring_faults(sound: Sound) -> Iterator[Fault]:
    """A duct that the table does not have."""
    size = sound.get("duct", "size")
    known = [row["key"] for row in published("ducts").rows]
    if size is None or size in known:
        return
    near = nearest(size, known)
    other = "choose the next smaller one, and enter duct.inner_mm as measured"
    yield sound.fault(
        ("duct", "size"), **worded("sitefile", "wiring-faults", known=", ".join(known)), given=size,
        remedy=f"did you mean {near}? Of a duct not listed, {other}" if near else other,
    )  # fmt: skip
