"""Which values of a site file nobody gave, and what they usually lie between.

A default that stands in for something that could be measured is a guess. Its usual range is a row
of ``data/guesses.csv``.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from typing import Literal

from solarcalc.basis.files import data_folder
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.wiring import USUAL_RUNS

WARM_DEG = 30.0
"""Latitude up to which a row for ``warm`` places holds [deg]."""
GUESSES_FILE = "guesses.csv"
Value = float
"""In the unit of its row."""


@dataclass(frozen=True, kw_only=True)
class Guess:
    """A row of ``data/guesses.csv``.

    Parameters
    ----------
    key : str
        Of the site file, ``"protection.thunderstorm_days"``.
    label, unit : str
    where : {"warm", "elsewhere", "everywhere"}
        Latitudes that the range holds for.
    how : {"value", "times", "plus"}
        How the bounds are meant: as they stand, times what is guessed, or added to it.
    low, high : float or None
        Bounds; None where a table or the design itself has them.
    source : str
        With how it was seen.
    """

    key: str
    label: str
    unit: str
    where: Literal["warm", "elsewhere", "everywhere"]
    how: Literal["value", "times", "plus"]
    low: float | None
    high: float | None
    source: str

    def bounds(self, guessed: Value) -> tuple[float, float]:
        """Usual least and most of what is guessed, in its unit."""
        low, high = self.low or 0.0, self.high or 0.0
        if self.how == "times":
            return low * guessed, high * guessed
        return (low + guessed, high + guessed) if self.how == "plus" else (low, high)


@cache
def guesses() -> tuple[Guess, ...]:
    """Every row, in the order of the file."""
    with (data_folder() / GUESSES_FILE).open(encoding="utf-8", newline="") as file:
        return tuple(
            Guess(
                key=row["key"], label=row["label"], unit=row["unit"],
                where=row["where"], how=row["how"],  # type: ignore[arg-type]
                low=float(row["low"]) if row["low"] else None,
                high=float(row["high"]) if row["high"] else None,
                source=f"{row['source']}; {row['seen']}",
            )
            for row in csv.DictReader(file)
        )  # fmt: skip


def guess_of(site: Site, key: str) -> Guess:
    """The row of a key that holds where the site lies.

    Raises
    ------
    KeyError
        When there is none.
    """
    band = "warm" if abs(site.site.latitude_deg) <= WARM_DEG else "elsewhere"
    for guess in guesses():
        if guess.key == key and guess.where in (band, "everywhere"):
            return guess
    raise KeyError(key)


def guess_range(site: Site, key: str) -> tuple[float, float]:
    """Usual least and most of a value with a default of its own, in the unit of the row.

    Parameters
    ----------
    site : Site
    key : str
        Of the site file.
    """
    head, _, name = key.partition(".")
    if head == "runs":
        return guess_of(site, key).bounds(USUAL_RUNS[name.partition(".")[0]][0])
    return guess_of(site, key).bounds(float(getattr(getattr(site, head), name)))


def is_given(site: Site, key: str) -> bool:
    """Whether someone wrote a value for the key: a default, or a None, is nobody's.

    Parameters
    ----------
    site : Site
    key : str
        Such as ``"runs.dc_main.length_m"``.
    """
    table, *names = key.split(".")
    record: object = getattr(site, table)
    for name in names:
        if name not in getattr(record, "model_fields_set", ()):
            return False
        record = getattr(record, name)
    return record is not None and record != []
