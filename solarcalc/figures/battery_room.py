"""Pictures of the bank and its room: how terminals are joined, the room's year, its openings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from solarcalc.basis.hours import MONTHS
from solarcalc.figures.style import DARK, INK, LIGHT, MID, PALE, WARM, sheet, styled
from solarcalc.powerroom.air import AirNeed
from solarcalc.powerroom.heat import RoomYear
from solarcalc.powerroom.life import HOT_C
from solarcalc.sitefile.battery import Battery
from solarcalc.sitefile.room import Room

if TYPE_CHECKING:
    from matplotlib.axes import Axes


MOST_IN_A_ROW, MOST_ROWS = 6, 4
"""Units and strings drawn; of more, the first and the last ones with dots between."""

_PITCH, _WIDE, _HIGH, _ROW, _LEAD = 1.5, 1.05, 0.62, 1.15, 1.45
_POST = 0.18
"""Sizes on the sheet: from unit to unit, a unit's width and height, from string to string,
from a string to its bar."""


@styled
def draw_bank_wiring(battery: Battery) -> Figure:
    """Units, series links, bars, string fuses and the take-off at opposite corners."""
    columns = _shortened(battery.units_in_series, MOST_IN_A_ROW)
    rows = _shortened(battery.units_in_parallel, MOST_ROWS)
    many = battery.units_in_parallel > 1
    right = _PITCH * (len(columns) - 1) + _WIDE
    low = -_ROW * (len(rows) - 1)
    figure, (axis,) = sheet(7.2, max(2.1, 1.5 + 0.75 * len(rows)))
    for place, number in enumerate(rows):
        if number is None:
            _dots(axis, right / 2.0, -_ROW * place, upright=True)
        else:
            _draw_string(axis, columns, -_ROW * place, number if many else None,
                         battery.fused_poles)
    if len(columns) > 1:
        axis.text((_PITCH + _WIDE) / 2.0, _HIGH / 2.0 + 0.08, "inter-unit connector", ha="center",
                  va="bottom", fontsize=7.5)  # fmt: skip
    _draw_ends(axis, right, low, battery.fused_poles, many=many)
    axis.set_title(
        f"{battery.nominal_voltage_v:g} V, {battery.rated_ah:g} Ah: {_in_words(battery)}"
    )
    axis.text(
        right / 2.0, low - 0.95, _note(battery, many=many), ha="center", va="top", fontsize=8.0
    )
    axis.set(xlim=(-3.4, right + 3.4), ylim=(low - 1.6, 0.95), aspect="equal")
    axis.set_axis_off()
    return figure


def _shortened(count: int, most: int) -> list[int | None]:
    """Numbers from 1 on, those that do not fit left out for one None."""
    if count <= most:
        return list(range(1, count + 1))
    ahead = most // 2
    return [*range(1, ahead + 1), None, *range(count - (most - ahead - 1) + 1, count + 1)]


def _in_words(battery: Battery) -> str:
    series, strings = battery.units_in_series, battery.units_in_parallel
    if strings == 1:
        return "one monobloc or module" if series == 1 else f"{series} in series"
    return f"{strings} in parallel" if series == 1 else (
        f"{strings} strings of {series} in series"
    )


def _note(battery: Battery, *, many: bool) -> str:
    unit = (
        f"each monobloc or module {battery.unit_voltage_v:g} V, {battery.unit_capacity_ah:g} Ah;"
        " positive (+) and negative (−) lead to the controllers and inverters"
    )
    corners = ("connecting cables of equal length to the busbars; main connection at diagonally"
               " opposite ends")
    return f"{unit}\n{corners}" if many else unit


def _draw_string(
    axis: Axes, columns: list[int | None], level: float, number: int | None, fused: str
) -> None:
    """One string: a fuse in each pole that has one, its units and the links between them."""
    for place, unit in enumerate(columns):
        left = _PITCH * place
        if place:
            start = left - _PITCH + _WIDE
            _wire(axis, [start, left], [level, level])
        if unit is None:
            _dots(axis, left + _WIDE / 2.0, level)
        else:
            _draw_unit(axis, left, level, unit)
    if number is None:
        return
    right = _PITCH * (len(columns) - 1) + _WIDE
    axis.text(-0.75, level + 0.2, f"string {number}", ha="center", va="bottom", fontsize=7.5)
    for sign, begin, end in (("+", -_LEAD, 0.0), ("−", right, right + _LEAD)):
        if sign in fused:
            _draw_fuse(axis, (begin + end) / 2.0, level, "fuse", below=True)
        _wire(axis, [begin, end], [level, level])


def _draw_unit(axis: Axes, left: float, level: float, number: int) -> None:
    axis.add_patch(
        Rectangle((left, level - _HIGH / 2.0), _WIDE, _HIGH, fc=PALE, ec=INK, lw=1.2, zorder=2)
    )
    for x, sign in ((left + _POST, "+"), (left + _WIDE - _POST, "−")):
        axis.text(x, level, sign, ha="center", va="center_baseline", fontsize=11.0,
                  fontweight="bold", zorder=3)  # fmt: skip
    axis.text(left + _WIDE / 2.0, level, f"{number}", ha="center", va="center_baseline",
              fontsize=7.5, zorder=3)  # fmt: skip


def _draw_fuse(axis: Axes, middle: float, level: float, name: str, *, below: bool) -> None:
    axis.add_patch(
        Rectangle((middle - 0.26, level - 0.11), 0.52, 0.22, fc="white", ec=INK, lw=1.2, zorder=2)
    )
    axis.plot([middle - 0.26, middle + 0.26], [level, level], color=INK, lw=1.0, zorder=3)
    axis.text(middle, level - 0.2 if below else level + 0.2, name, ha="center",
              va="top" if below else "bottom", fontsize=7.5)  # fmt: skip


def _draw_ends(axis: Axes, right: float, low: float, fused: str, *, many: bool) -> None:
    """Bars, and where plus and minus leave: plus at the upper left, minus at the lower right."""
    plus, minus = (-_LEAD, right + _LEAD) if many else (0.0, right)
    if many:
        for x in (plus, minus):
            axis.plot([x, x], [0.25, low - 0.25], color=INK, lw=4.0, solid_capstyle="butt")
        axis.text(plus - 0.15, low - 0.1, "positive busbar", ha="right", va="center", fontsize=7.5)
        axis.text(minus + 0.15, 0.1, "negative busbar", ha="left", va="center", fontsize=7.5)
    for end, way, level, sign in ((plus, -1.0, 0.0, "+"), (minus, 1.0, low, "−")):
        _wire(axis, [end, end + way * 1.5], [level, level], wide=2.4)
        axis.text(end + way * 1.65, level, sign, ha="center", va="center_baseline",
                  fontsize=13.0, fontweight="bold")  # fmt: skip
        if sign in fused:
            _draw_fuse(axis, end + way * 0.85, level, "battery fuse", below=sign == "−")


def _wire(axis: Axes, xs: list[float], ys: list[float], wide: float = 1.4) -> None:
    axis.plot(xs, ys, color=INK, lw=wide, solid_capstyle="butt", zorder=1)


def _dots(axis: Axes, x: float, y: float, *, upright: bool = False) -> None:
    axis.text(x, y, "⋮" if upright else "· · ·", ha="center", va="center", fontsize=14.0,
              bbox={"fc": "white", "ec": "none", "pad": 1.5}, zorder=3)  # fmt: skip


_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
"""Days of the months of a year that is no leap year."""


@styled
def draw_room_year(room_year: RoomYear, air_c: npt.ArrayLike, battery: Battery) -> Figure:
    """Band of every month from its coldest to its hottest hour, mean marked; limits as lines.

    Parameters
    ----------
    room_year : RoomYear
        8760 hours.
    air_c : array (8760,)
        Outdoors [degC].
    battery : Battery
        Cold that stops its charge is marked where the year comes near it.
    """
    outdoors = np.asarray(air_c, dtype=float)
    cold_c = battery.traits.charge_by_temperature.stops_below_c
    series = (
        ("outdoors", outdoors, LIGHT, None, "s"),
        ("room, by heat balance", room_year.temp_c, MID, "////", "o"),
        ("batteries", room_year.battery_c, DARK, None, "D"),
    )
    figure, (axis,) = sheet(7.2, 3.3)
    for place, (name, values, color, hatch, mark) in enumerate(series):
        low, mean, high = _by_month(values)
        at = np.arange(12) + 0.27 * (place - 1)
        axis.bar(at, high - low, bottom=low, width=0.24, color=color, ec=INK, lw=0.5,
                 hatch=hatch, label=name)  # fmt: skip
        axis.plot(at, mean, color="white", mec=INK, marker=mark, ms=3.5, ls="none", zorder=3)
    hot = float(HOT_C)
    lowest = min(float(values.min()) for _, values, *_ in series)
    _limit(axis, hot, f"{hot:g} °C:\ntoo high")
    _limit(axis, 25.0, "25 °C: data\nsheet")
    if cold_c is not None and lowest < cold_c + 3.0:
        _limit(axis, cold_c, f"{cold_c:g} °C: charge\nstops below")
    top = max(float(values.max()) for _, values, *_ in series)
    axis.set(
        title=_finding(room_year, outdoors), ylabel="temperature [°C]", xlim=(-0.6, 11.6),
        ylim=(lowest - 2.0, max(top, hot) + 4.0),
    )  # fmt: skip
    axis.set_xticks(range(12), MONTHS)
    axis.grid(axis="y", color=PALE)
    figure.legend(loc="outside lower center", ncols=3, frameon=False,
                  title="bar: lowest to highest hourly value of the month; mark: mean")  # fmt: skip
    return figure


@styled
def draw_openings(room: Room, need: AirNeed) -> Figure:
    """Free area of both openings as built against what the battery's gas asks for.

    Parameters
    ----------
    room : Room
    need : AirNeed
    """
    free = [cm2 * room.mesh_free_frac for cm2 in (room.vent_high_cm2, room.vent_low_cm2)]
    built = [room.vent_high_cm2, room.vent_low_cm2]
    figure, (axis,) = sheet(7.2, 2.1)
    axis.barh([0, 1], built, color="white", ec=MID, hatch="....", height=0.55,
              label="blocked by the mesh")  # fmt: skip
    axis.barh([0, 1], free, color=MID, ec=DARK, height=0.55, label="free")
    axis.axvline(need.free_cm2, color=WARM, lw=2.0, ls="--", label="required free area, each")
    axis.set_yticks([0, 1], ["high opening", "low opening"])
    axis.invert_yaxis()
    axis.set(
        title=_openings_finding(room, need, min(free)), xlabel="area [cm²]",
        xlim=(0.0, 1.1 * max(*built, need.free_cm2, 1.0)),
    )  # fmt: skip
    axis.grid(axis="x", color=PALE)
    figure.legend(loc="outside lower center", ncols=3, frameon=False)
    return figure


def _openings_finding(room: Room, need: AirNeed, smaller_cm2: float) -> str:
    if need.free_cm2 <= 0.0:
        return "No gassing in normal use; openings keep the room cool"
    if room.fan_m3_per_h >= need.flow_m3_per_h:
        return f"Fan of {room.fan_m3_per_h:g} m³/h; {need.flow_m3_per_h:.1f} m³/h required"
    share = smaller_cm2 / need.free_cm2
    if share >= 1.0:
        return f"Ventilation openings sufficient: {share:.1f} times the required area"
    return f"Ventilation openings too small: {100.0 * share:.0f} % of the required area"


def _by_month(values: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Coldest hour, mean and hottest hour of each month."""
    edges = 24 * np.cumsum((0, *_DAYS[:-1]))
    low, high = np.minimum.reduceat(values, edges), np.maximum.reduceat(values, edges)
    return low, np.add.reduceat(values, edges) / (24.0 * np.array(_DAYS)), high


def _limit(axis: Axes, level: float, words: str) -> None:
    axis.axhline(level, color=WARM, lw=1.0, ls="--", zorder=2.5)
    axis.text(11.7, level, words, color=WARM, ha="left", va="center", fontsize=7.5)


def _finding(room_year: RoomYear, air_c: np.ndarray) -> str:
    hottest = float(room_year.battery_c.max())
    warmer = float(room_year.battery_c.mean()) - float(air_c.mean())
    word = "warmer" if warmer >= 0.0 else "cooler"
    return (
        f"Battery up to {hottest:.0f} °C; annual mean {abs(warmer):.0f} K {word} than outdoors"
    )
