"""The modules, how they lie and how they are wired: [module], [array]."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Literal

from pydantic import Field, ValidationInfo, field_validator

from solarcalc.basis.errors import Fault
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import Name, Record, Sound, ordered

COLUMNS_PER_DIODE = int(constant("circuit.columns_per_diode"))
"""Columns of cells behind one bypass diode where the site file gives none: common practice."""


class Module(Record):
    """[module]: figures of the data sheet at standard test conditions."""

    label: Name
    pmax_w: float = Field(gt=0.0, le=1500.0)
    voc_v: float = Field(gt=0.0, le=400.0)
    isc_a: float = Field(gt=0.0, le=60.0)
    vmp_v: float = Field(gt=0.0, le=400.0)
    imp_a: float = Field(gt=0.0, le=60.0)
    alpha_isc_pct_per_k: float = Field(ge=-0.05, le=0.3)
    beta_voc_pct_per_k: float = Field(ge=-0.6, lt=0.0)
    gamma_pmax_pct_per_k: float = Field(ge=-0.8, lt=0.0)
    efficiency_200_w_m2_frac: float | None = Field(
        default=None, ge=0.75, le=1.05,
        description="power at 200 W/m² and 25 °C over a fifth of pmax_w, by the sheet;"
        " left out: a usual one",
    )
    cells_in_series: int = Field(ge=1, le=400)
    cell_build: Literal["full", "half-cut"]
    bypass_diodes: int = Field(default=3, ge=1, le=6)
    cell_columns: int | None = Field(
        default=None, ge=1, le=24, description="along the long side; default: two per bypass diode"
    )
    length_m: float = Field(gt=0.1, le=4.0, description="the long side")
    width_m: float = Field(gt=0.1, le=4.0, description="the short side")
    mass_kg: float = Field(gt=0.0, le=80.0)


class Array(Record):
    """[array]: how the modules lie and how they are wired."""

    module_count: int = Field(ge=1, le=5000)
    modules_in_series: int = Field(ge=1, le=60)
    orientation: Literal["portrait", "landscape"]
    rows: int = Field(ge=1, le=500)
    modules_high: int = Field(default=1, ge=1, le=6,
                              description="modules high in a row")
    tilt_deg: float = Field(ge=0.0, le=90.0, description="from the horizontal")
    azimuth_deg: float = Field(ge=0.0, lt=360.0, description="0 north, 90 east, 180 south")
    row_pitch_m: float | None = Field(
        default=None, gt=0.0, le=100.0,
        description="on the roof; default: by the row-spacing criterion",
    )
    clear_from_solar_h: float = Field(default=9.0, ge=0.0, lt=12.0)
    clear_to_solar_h: float = Field(default=15.0, gt=12.0, le=24.0)
    module_gap_m: float = Field(default=0.02, ge=0.0, le=0.5)
    string_layout: Literal["along-row", "tier-by-tier", "across-rows"] = Field(
        default="along-row", description="which modules share a string"
    )
    mounting: Literal["open-frame", "small-gap", "flush"]
    gap_under_m: float | None = Field(
        default=None, ge=0.0, le=1.0,
        description="modules to roof; with small-gap only"
    )

    @property
    def strings_side_by_side(self) -> int:
        """Strings whose cables touch on their way to where they are joined.

        Along the front of a row lie those that end in it, whichever controller they go to: whole
        ones, and where rows share modules out so that strings go on in the next row, those cut off
        at both its ends; across rows all of them end in one. Cables of other rows lie two diameters
        or more away (IEC 60364-5-52 table B.52.17, note on distance, from memory).
        """
        if self.rows == 1 or self.string_layout == "across-rows":
            return self.string_count
        in_row = math.ceil(self.module_count / self.rows)
        if in_row % self.modules_in_series == 0 or self.rows == 2:
            return math.ceil(in_row / self.modules_in_series)
        cut = max(in_row - 2, 0) // self.modules_in_series + 2
        return min(cut, self.string_count)

    @property
    def string_count(self) -> int:
        """Strings in parallel."""
        return self.module_count // self.modules_in_series

    @field_validator("gap_under_m")
    @classmethod
    def _small_gap_only(cls, value: float | None, info: ValidationInfo) -> float | None:
        if value is not None and info.data.get("mounting", "small-gap") != "small-gap":
            raise ValueError('left out, or used with mounting = "small-gap"')
        return value


PMAX_TOLERANCE_FRAC = float(constant("sitefile.pmax_tolerance_frac"))


def array_faults(sound: Sound) -> Iterator[Fault]:
    """A data sheet that contradicts itself, columns of cells no diode spans, unlike strings."""
    yield from _module(sound)
    yield from _cells(sound)
    yield from _strings(sound)


def _module(sound: Sound) -> Iterator[Fault]:
    one = "module"
    yield from ordered(
        sound, (one, "width_m"), (one, "length_m"), "length_m is the long side", equal=True
    )
    yield from ordered(
        sound, (one, "vmp_v"), (one, "voc_v"), "open circuit is the highest voltage", equal=False
    )
    yield from ordered(
        sound, (one, "imp_a"), (one, "isc_a"), "short circuit is the highest current", equal=False
    )
    pmax, vmp, imp = (sound.get(one, name) for name in ("pmax_w", "vmp_v", "imp_a"))
    if None in (pmax, vmp, imp):
        return
    product = vmp * imp
    if abs(pmax - product) > PMAX_TOLERANCE_FRAC * product:
        yield sound.fault((one, "pmax_w"), **worded(
            "sitefile", "power-of-module", pmax=pmax, vmp=vmp, imp=imp, product=product,
            pmax_tolerance_frac=PMAX_TOLERANCE_FRAC,
        ))  # fmt: skip


def _cells(sound: Sound) -> Iterator[Fault]:
    diodes, cells = sound.get("module", "bypass_diodes"), sound.get("module", "cells_in_series")
    given = sound.get("module", "cell_columns")
    if None in (diodes, cells):
        return
    columns = given or COLUMNS_PER_DIODE * diodes
    key = "cell_columns" if given else "cells_in_series"
    value = f"{key} = {given or cells}"
    if columns % diodes:
        yield sound.fault(
            ("module", key), **worded("sitefile", "columns-of-diodes", value=value, diodes=diodes),
        )  # fmt: skip
    elif cells % columns:
        yield sound.fault(("module", key), **worded(
            "sitefile", "cells-of-unlike-columns", value=value, columns=columns, cells=cells,
            columns_per_diode=COLUMNS_PER_DIODE,
        ))  # fmt: skip


def _strings(sound: Sound) -> Iterator[Fault]:
    count, series = sound.get("array", "module_count"), sound.get("array", "modules_in_series")
    if count is None or series is None or count % series == 0:
        return
    nearby = sorted({max(count // series, 1) * series, (count // series + 1) * series})
    yield sound.fault(("array", "module_count"), **worded(
        "sitefile", "unlike-strings", count=count, series=series,
        nearby=" or ".join(map(str, nearby)),
    ))  # fmt: skip


def holds(row_sizes: Sequence[int], rows: int, module_count: int) -> bool:
    """Whether so many rows, the fullest first, hold the modules shared evenly.

    Examples
    --------
    >>> holds((9, 4, 9), 2, 18), holds((9, 4, 9), 3, 18), holds((9, 4, 9), 4, 4)
    (True, False, False)
    """
    share = -(-module_count // rows)
    room = sum(min(size, share) for size in sorted(row_sizes, reverse=True)[:rows])
    return rows <= len(row_sizes) and room >= module_count


def rows_that_hold(row_sizes: Sequence[int], module_count: int) -> int:
    """The fewest rows that `holds` so many modules; 0 where none do.

    Examples
    --------
    >>> [rows_that_hold((6, 6, 4, 4), count) for count in (12, 18, 20)]
    [2, 4, 0]
    """
    fewest = -(-module_count // max(row_sizes, default=1))
    return next((rows for rows in range(fewest, len(row_sizes) + 1)
                 if holds(row_sizes, rows, module_count)), 0)  # fmt: skip
