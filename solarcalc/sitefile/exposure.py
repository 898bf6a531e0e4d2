"""What a place does to a system and what is asked for against it: ``data/exposure.toml``."""

from __future__ import annotations

import tomllib
from functools import cache
from typing import Literal

from pydantic import Field, model_validator

from solarcalc.basis.files import data_folder
from solarcalc.sitefile.base import Record
from solarcalc.sitefile.chemistry import Figures
from solarcalc.sitefile.place import Exposure
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.task_list import task_list

FILE = "exposure.toml"


class GuardPart(Record):
    """What is bought against it: how many is counted by `per`."""

    item: str
    name: str
    place: Literal["roof", "power room"]
    where: str
    per: Literal["module", "entry", "once"]
    work: Literal["guard", "module_fixing"] = "guard"


class Measure(Figures):
    """One measure: when it is asked for, what is said of it, what it takes."""

    key: str
    exposure: str
    at: list[str] = Field(min_length=1)
    sentence: str = Field(min_length=1)
    booklet: list[str] = Field(default_factory=list, description="keys of data/messages")
    tasks: list[str] = Field(default_factory=list, description="of data/tasks.csv")
    caution: str = ""
    part: GuardPart | None = None

    @model_validator(mode="after")
    def _agree(self) -> Measure:
        known = Exposure.model_fields
        if self.exposure not in known:
            raise ValueError(f"{FILE}: {self.key}: exposure is one of {', '.join(known)}")
        for value in self.at:
            Exposure.model_validate({self.exposure: value})
        if set(self.tasks) - {task.key for task in task_list()}:
            raise ValueError(f"{FILE}: {self.key}: tasks of data/tasks.csv")
        return self


@cache
def measures() -> tuple[Measure, ...]:
    """Every measure of the file, in its order."""
    tables = tomllib.loads((data_folder() / FILE).read_text(encoding="utf-8"))
    return tuple(Measure.model_validate({"key": key, **table}) for key, table in tables.items())


def measures_of(site: Site) -> tuple[Measure, ...]:
    """The measures that the place of a site asks for."""
    found = site.site.exposure
    return tuple(one for one in measures() if getattr(found, one.exposure) in one.at)
