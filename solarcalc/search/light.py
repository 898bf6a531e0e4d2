"""Light that planes of a field turn into power, hour by hour, at a speed for tens of thousands.

The same model as the year of one array (`solarcalc.energy`), by the loops of `solarcalc.sweep`:
power over rated power of a front row and of rows behind others; shares of both by the number of
rows; cables; the controller's tracking window. What boxes on the roof and beside it leave is
worked out for the site's own tilt and azimuth, by orientation and number of modules, and taken for
every plane.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import gcd

import numpy as np
import pandas as pd

from solarcalc.circuit.strings import StringWiring, Strung
from solarcalc.design import Design
from solarcalc.energy.diode import cells_of, diode_curve
from solarcalc.energy.light import cell_temperature_c, within_row
from solarcalc.energy.year import Balance, array_power, kept_by_window
from solarcalc.roof.rows import Orientation, Rows, rows_of
from solarcalc.search.setting import own_plan, setting_of
from solarcalc.sitefile.roof import WALKWAY_M
from solarcalc.snow import Table, snow_loss_frac
from solarcalc.soiling import (
    dirt_band_kept_frac,
    dirt_band_of_year,
    dirt_band_over_cells_m,
    dirt_band_strung,
)
from solarcalc.stages.array import light_of, open_plane, standing
from solarcalc.stages.snow import snow_of
from solarcalc.stages.surroundings import boxes_of
from solarcalc.sweep import kernels
from solarcalc.sweep.device import device_of, shade_of
from solarcalc.sweep.fields import Setting, planes_of, sun_of
from solarcalc.sweep.roof_rows import rows_for
from solarcalc.sweep.years import Field, lit_hours

_LIGHTS, _HEATS = 120, 61
_LIGHT_W_M2, _HEAT_C = (1.5, 1600.0), (-40.0, 110.0)
_WHOLE = 1.0 - 1e-7


@dataclass(frozen=True, kw_only=True, eq=False)
class Node:
    """One tilt and azimuth: its front row, and what bounds every row of it.

    Parameters
    ----------
    front : array (n,)
        Power over rated power by hour with light, before cables.
    net : array (n,)
        The same behind cables.
    held : array (w, n)
        What each tracking window leaves.
    rows : array (k, c)
        Fewest rows for each pitch and count of modules; 0: not held.
    """

    front: np.ndarray
    net: np.ndarray
    held: np.ndarray
    rows: np.ndarray

    @property
    def holds(self) -> np.ndarray:
        """Which counts some pitch holds, (c,)."""
        return np.asarray((self.rows > 0).any(axis=0))


@dataclass(frozen=True, kw_only=True, eq=False)
class PlaneField:
    """Planes of one orientation whose strings meet shade alike.

    Parameters
    ----------
    design : Design
        Laid in that orientation.
    tilts_deg, azimuths_deg, pitches_m : tuple of float
    counts : tuple of int
        Of modules.
    strung : Strung
        How their strings meet the shade of a row.
    balances : tuple of Balance
        Whose tracking windows are looked at, with the modules in series of each.
    """

    design: Design
    tilts_deg: tuple[float, ...]
    azimuths_deg: tuple[float, ...]
    pitches_m: tuple[float, ...]
    counts: tuple[int, ...]
    strung: Strung
    balances: tuple[Balance, ...]

    @property
    def node_count(self) -> int:
        """Tilts with azimuths."""
        return len(self.tilts_deg) * len(self.azimuths_deg)

    @cached_property
    def base_rows(self) -> Rows:
        """Rows at the site's own tilt and azimuth."""
        site = self.design.site
        return rows_of(site.array, site.module, site.roof)

    @cached_property
    def _setting(self) -> Setting:
        return setting_of(self.design, ())

    @cached_property
    def _ready(self) -> tuple[kernels.Sun, kernels.Planes, kernels.Device, kernels.Shade]:
        rows, site = self.base_rows, self.design.site
        setting = self._setting
        field = Field(
            tilts_deg=self.tilts_deg, azimuths_deg=self.azimuths_deg, pitches=self.pitches_m,
            orientations=(rows.orientation,), modules_high=(rows.modules_high,),
            plans=(own_plan(self.design),),
        )  # fmt: skip
        device = device_of(site.module, site.losses)._replace(wiring=np.float32(0.0))
        return (sun_of(setting.year, setting.roof, setting.equipment),
                planes_of(setting, field), device, shade_of((self.strung,)))  # fmt: skip

    @cached_property
    def lit(self) -> np.ndarray:
        """Places of the hours with light in the year.

        Numbers of hours from 0, (n,), rising.
        """
        return lit_hours(self._setting.year).astype(np.int64)

    @cached_property
    def windows(self) -> tuple[kernels.Windows, tuple[int, ...]]:
        """Tables of the windows that take anything, and for each balance its table; -1: none."""
        tables = [_window(self.design, balance) for balance in self.balances]
        bites = [number for number, table in enumerate(tables) if table.min() < _WHOLE]
        shape = (len(bites), _LIGHTS, _HEATS)
        kept = np.array([tables[number] for number in bites], np.float32).reshape(shape)
        low, high = np.log(_LIGHT_W_M2)
        return kernels.Windows(
            kept=kept, log_from=np.float32(low),
            log_per=np.float32((_LIGHTS - 1) / (high - low)), heat_from=np.float32(_HEAT_C[0]),
            heat_per=np.float32((_HEATS - 1) / (_HEAT_C[1] - _HEAT_C[0])),
        ), tuple(bites.index(number) if number in bites else -1
                 for number in range(len(tables)))  # fmt: skip

    @cached_property
    def _dirt(self) -> np.ndarray:
        """The most that the dirt band leaves, (tilts, n)."""
        return np.array([_under_dirt_band(self.design, self.base_rows, tilt)[self.lit]
                         for tilt in self.tilts_deg], np.float32)  # fmt: skip

    def rows_at(self, number: int) -> Rows:
        """Rows at a node."""
        tilt, azimuth = divmod(number, len(self.azimuths_deg))
        if self.design.site.array.mounting == "flush":
            return self.base_rows
        return replace(self.base_rows, tilt_deg=self.tilts_deg[tilt],
                       azimuth_deg=self.azimuths_deg[azimuth])  # fmt: skip

    @cached_property
    def least_pitch_m(self) -> np.ndarray:
        """Closest that rows may stand at each node [m]."""
        _, planes, _, _ = self._ready
        rows = self.base_rows
        strip = np.where(planes.cos_lift >= 1.0, rows.gap_m, float(WALKWAY_M))
        least: np.ndarray = rows.slant_m * planes.cos_lift + strip - 1e-9
        return least

    def valid(self, number: int) -> np.ndarray:
        """Which pitches leave the free strip between rows at a node, (k,)."""
        good: np.ndarray = np.array(self.pitches_m) >= self.least_pitch_m[number]
        return good

    def front(self, number: int) -> np.ndarray:
        """Power over rated power of a node's front row, before cables, (n,)."""
        return self._front(number)[0]

    def _front(self, number: int) -> tuple[np.ndarray, np.ndarray]:
        sun, planes, device, _ = self._ready
        windows, _ = self.windows
        front = np.empty(len(self.lit), np.float32)
        held = np.empty((len(windows.kept), len(self.lit)), np.float32)
        kernels.front_row(sun, planes, number, device, self._leaves(number), windows, front, held)
        return front, held

    def node(self, number: int) -> Node:
        """The front row of a node and how many rows its counts take."""
        front, held = self._front(number)
        net = np.empty_like(front)
        kernels.net_of_rows(front, front, 1, self._wiring, np.ones_like(front), net)
        good = self.valid(number)
        rows = np.zeros((len(self.pitches_m), len(self.counts)), np.int64)
        if good.any():
            rows[good] = rows_for(self.rows_at(number), self.design.site.roof,
                                  pitches_m=np.array(self.pitches_m)[good],
                                  counts=np.array(self.counts))  # fmt: skip
        return Node(front=front, net=net, held=held, rows=rows)

    def behind(
        self, number: int, pitches: np.ndarray, front: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """Rows behind others at some pitches of a node: power, (p, n), and what windows leave."""
        sun, planes, device, shade = self._ready
        windows, _ = self.windows
        q = np.array(self.pitches_m)[pitches] / self.base_rows.slant_m
        power = np.empty((len(q), len(self.lit)), np.float32)
        held = np.empty((len(q), len(windows.kept), len(self.lit)), np.float32)
        closest = np.array(self.pitches_m)[self.valid(number)].min() / self.base_rows.slant_m
        kernels.rows_behind(sun, planes, number, device, shade, closest, q, self._leaves(number),
                            windows, front, power, held)  # fmt: skip
        return power, held

    def net_power(
        self, front: np.ndarray, behind: np.ndarray, rows: int, held: np.ndarray | None
    ) -> np.ndarray:
        """Power over rated power of so many rows behind cables and tracking window, (n,)."""
        out = np.empty_like(front)
        kernels.net_of_rows(front, behind, rows, self._wiring,
                            np.ones_like(front) if held is None else held, out)  # fmt: skip
        return out

    @cached_property
    def _wiring(self) -> np.float32:
        return np.float32(self.design.site.losses.dc_wiring_frac)

    def _leaves(self, number: int) -> np.ndarray:
        tilt = number // len(self.azimuths_deg)
        return np.stack([self._dirt[tilt], self._snow(number)])

    @cached_property
    def _month(self) -> np.ndarray:
        index = pd.DatetimeIndex(self.design.weather.hours.index)
        month: np.ndarray = index.month.to_numpy()[self.lit] - 1
        return month

    def _snow(self, number: int) -> np.ndarray:
        """What snow leaves of the power of a node's rows by hour, (n,)."""
        year = snow_of(self.design)
        if not year.falls:
            return np.ones(len(self.lit), np.float32)
        sun, planes, _, _ = self._ready
        cosine = (planes.east[number] * sun.east + planes.north[number] * sun.north
                  + planes.up[number] * sun.up)  # fmt: skip
        light = (sun.direct * np.maximum(cosine, 0.0) + sun.ground * planes.ground[number]
                 + np.maximum(sun.sky * planes.sky[number] + sun.band * planes.dark[number], 0.0))
        month_kwh = np.bincount(self._month, weights=light, minlength=12) / 1000.0
        array, rows = self.design.site.array, self.rows_at(number)
        table = Table(
            tilt_deg=rows.tilt_deg, slant_m=rows.slant_m,
            lower_edge_m=self.design.site.snow.lower_edge_m,
            several=rows.modules_high > 1 and array.string_layout == "tier-by-tier",
        )  # fmt: skip
        loss = np.array(snow_loss_frac(year, table, month_kwh.tolist()))
        leaves: np.ndarray = (1.0 - loss[self._month]).astype(np.float32)
        return leaves


def strung_alike(design: Design, series: int) -> Strung:
    """How strings of so many modules within a row meet its shade; the site's own where alike."""
    site = design.site
    array = site.array.model_copy(update={"modules_in_series": series})
    wiring = within_row(array, modules_high=array.modules_high)
    own = within_row(site.array, modules_high=array.modules_high)
    alike = _in_lowest_terms(wiring) == _in_lowest_terms(own)
    return Strung(cells=cells_of(site.module), wiring=own if alike else wiring,
                  orientation=array.orientation)  # fmt: skip


def _in_lowest_terms(wiring: Sequence[StringWiring]) -> list[tuple[tuple[int, ...], int, int]]:
    """Modules of strings by tier and unshaded, over their common divisor; number of strings."""
    shared = gcd(*(part for one in wiring for part in (*one.by_tier, one.unshaded)))
    return [(tuple(part // shared for part in one.by_tier), one.unshaded // shared, one.strings)
            for one in wiring]  # fmt: skip


def _window(design: Design, balance: Balance) -> np.ndarray:
    """Share that a tracking window leaves, over light and heat, (lights, heats)."""
    light, heat = np.geomspace(*_LIGHT_W_M2, _LIGHTS), np.linspace(*_HEAT_C, _HEATS)
    first, second = (pd.Series(one.ravel()) for one in np.meshgrid(light, heat, indexing="ij"))
    module = design.site.module
    curve = diode_curve(module, first, second)
    array = pd.DataFrame({"light_w_m2": first, "lit_cell_c": second, "v_v": curve["v_v"]})
    kept: np.ndarray = kept_by_window(array, module, balance).to_numpy()
    table: np.ndarray = kept.reshape(_LIGHTS, _HEATS)
    return table


def _under_dirt_band(design: Design, rows: Rows, tilt_deg: float) -> np.ndarray:
    """The most of the power that the dirt band leaves by hour, at the site's own azimuth."""
    site = design.site
    n = len(design.weather.hours)
    if dirt_band_over_cells_m(site.soiling, tilt_deg=tilt_deg) == 0.0:
        return np.ones(n)
    strip = dirt_band_of_year(design.weather.hours, site.soiling, tilt_deg=tilt_deg,
                              module_up_m=rows.module_up_m)  # fmt: skip
    light = open_plane(design, tilt_deg, rows.azimuth_deg)[0]["total"]
    cell_c = cell_temperature_c(light, design.weather.hours, mounting=site.array.mounting,
                                gap_under_m=site.array.gap_under_m)  # fmt: skip
    strung = dirt_band_strung(cells_of(site.module), rows.orientation)
    kept: np.ndarray = dirt_band_kept_frac(strip, light, cell_c, strung=strung).to_numpy()
    return kept


def laid(design: Design, way: Orientation) -> Design:
    """The site with its modules in an orientation, one string in one row."""
    site, array = design.site, design.site.array
    least_m = rows_of(site.array.model_copy(update={"orientation": way}), site.module,
                      site.roof).least_pitch_m  # fmt: skip
    own_m = array.row_pitch_m
    return design.changed({"array": {
        "orientation": way, "rows": 1, "module_count": array.modules_in_series,
        "row_pitch_m": None if own_m is None else max(own_m, least_m),
    }})  # fmt: skip


def boxes_leave(design: Design, counts: Sequence[int]) -> Mapping[int, np.ndarray]:
    """Share of the power by hour that boxes leave an array of each count, (n,); none without any.

    At the site's own tilt, azimuth and pitch; a count that the roof does not hold there has the
    share of the largest that it does.
    """
    roof, stands = design.site.roof, standing(design)
    if not (roof.obstacles or roof.neighbours) or not stands.roof_fit.places:
        return {}
    held = rows_for(stands.rows, roof, pitches_m=np.array([stands.pitch_m]),
                    counts=np.array(counts))[0]  # fmt: skip
    found: dict[int, np.ndarray] = {}
    for count, rows in sorted(zip(counts, held.tolist(), strict=True)):
        if rows == 0 and found:
            found[count] = next(reversed(found.values()))
            continue
        boxes = boxes_of(design, stands.roof_fit, module_count=count, row_count=max(rows, 1))
        with_, without = (
            array_power(design.site.module, light_of(
                design, stands.rows, pitch_m=stands.pitch_m, row_count=max(rows, 1), boxes=one,
            ))["p_w"].to_numpy() for one in (boxes, None)
        )  # fmt: skip
        found[count] = np.clip(np.divide(with_, without, out=np.ones(len(with_)),
                                         where=without > 0.0), 0.0, 1.0)  # fmt: skip
    return found
