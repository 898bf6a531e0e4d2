"""Dangers that a site meets, by what it has: ``data/dangers.toml``.

One entry is what the report says, what the tasks of the programme are warned of and what the
customer's booklet says of the same danger; a site that does not have the thing reads nothing of it.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from functools import cache

from pydantic import Field, model_validator

from solarcalc.basis.files import data_folder
from solarcalc.basis.sourced import constant
from solarcalc.sitefile.chemistry import Figures
from solarcalc.sitefile.exposure import Measure, measures_of
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.task_list import task_list

FILE = "dangers.toml"
STEEP_FROM_DEG = constant("sitefile.steep_from_deg")


def coverings(site: Site) -> set[str]:
    """What the planes of a roof are covered with, as far as somebody gave it."""
    return {one.structure.covering for one in site.sites if one.structure.covering}


MET: Mapping[str, Callable[[Site], bool]] = {
    "array": lambda site: True,
    "battery": lambda site: True,
    "gas": lambda site: site.battery.traits.gas is not None,
    "liquid acid": lambda site: site.battery.traits.electrolyte == "liquid acid",
    "held acid": lambda site: site.battery.traits.electrolyte == "held acid",
    "management system": lambda site: site.battery.traits.management_system,
    "grid": lambda site: site.grid.there,
    "generator": lambda site: site.generator.there,
    "generator indoors": lambda site: site.generator.there and site.generator.place != "outside",
    "CO2 extinguisher": lambda site: site.room.extinguisher == "CO2",
    "steep roof": lambda site: any(
        one.roof.slope_deg > float(STEEP_FROM_DEG) for one in site.sites),
    "sheet roof": lambda site: "sheet" in coverings(site),
    "tile roof": lambda site: "tile" in coverings(site),
}
"""Conditions that a danger may hang on."""


class Danger(Figures):
    """One danger: what it is, what to do about it, and where that is said besides the report."""

    key: str
    met: str
    danger: str = Field(min_length=1)
    measure: str = Field(min_length=1)
    tasks: list[str] = Field(default_factory=list, description="of data/tasks.csv")
    caution: str = Field(default="", description="for whoever does those tasks")
    booklet: list[str] = Field(default_factory=list, description="keys of data/messages")

    @model_validator(mode="after")
    def _agree(self) -> Danger:
        if self.met not in MET:
            raise ValueError(f"{FILE}: {self.key}: met is one of {', '.join(MET)}")
        unknown = set(self.tasks) - {task.key for task in task_list()}
        if unknown:
            raise ValueError(f"{FILE}: {self.key}: tasks of data/tasks.csv, not {sorted(unknown)}")
        if bool(self.tasks) != bool(self.caution):
            raise ValueError(f"{FILE}: {self.key}: caution where there are tasks, and only there")
        return self


@cache
def dangers() -> tuple[Danger, ...]:
    """Every danger of the file, in its order."""
    tables = tomllib.loads((data_folder() / FILE).read_text(encoding="utf-8"))
    return tuple(Danger.model_validate({"key": key, **table}) for key, table in tables.items())


def dangers_of(site: Site) -> tuple[Danger, ...]:
    """The dangers that a site meets."""
    return tuple(one for one in dangers() if MET[one.met](site))


def task_cautions(site: Site) -> dict[str, tuple[str, ...]]:
    """What each task of the list is warned of at a site, beside what the list says."""
    found: dict[str, tuple[str, ...]] = {}
    said: list[Danger | Measure] = [*dangers_of(site), *measures_of(site)]
    for one in said:
        for task in one.tasks:
            found[task] = (*found.get(task, ()), one.caution)
    return found
