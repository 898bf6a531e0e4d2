"""Pictures of the power room: its year, month by month, and its openings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from matplotlib.figure import Figure

from solarcalc.basis.hours import MONTHS
from solarcalc.figures.style import DARK, INK, LIGHT, MID, PALE, WARM, sheet, styled
from solarcalc.powerroom.air import AirNeed
from solarcalc.powerroom.heat import RoomYear
from solarcalc.powerroom.life import HOT_C
from solarcalc.sitefile.room import Room

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
"""Days of the months of a year that is no leap year."""


@styled
def draw_room_year(room_year: RoomYear, air_c: npt.ArrayLike) -> Figure:
    """Band of every month from its coldest to its hottest hour, mean marked; limits as lines.

    Parameters
    ----------
    room_year : RoomYear
        8760 hours.
    air_c : array (8760,)
        Outdoors [degC].
    """
    outdoors = np.asarray(air_c, dtype=float)
    series = (
        ("outdoors", outdoors, LIGHT, None, "s"),
        ("room, by its heat balance", room_year.temp_c, MID, "////", "o"),
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
    _limit(axis, hot, f"{hot:g} °C:\ntoo hot")
    _limit(axis, 25.0, "25 °C: as on\nthe data sheet")
    if lowest < 3.0:
        _limit(axis, 0.0, "0 °C: lithium\nnot charged")
    top = max(float(values.max()) for _, values, *_ in series)
    axis.set(
        title=_finding(room_year, outdoors), ylabel="temperature [°C]", xlim=(-0.6, 11.6),
        ylim=(lowest - 2.0, max(top, hot) + 4.0),
    )  # fmt: skip
    axis.set_xticks(range(12), MONTHS)
    axis.grid(axis="y", color=PALE)
    axis.set_axisbelow(True)
    figure.legend(loc="outside lower center", ncols=3, frameon=False,
                  title="bar: coldest to hottest hour of the month; mark: its mean")  # fmt: skip
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
              label="taken by the mesh")  # fmt: skip
    axis.barh([0, 1], free, color=MID, ec=DARK, height=0.55, label="free")
    axis.axvline(need.free_cm2, color=WARM, lw=2.0, ls="--", label="needed free, each")
    axis.set_yticks([0, 1], ["high opening", "low opening"])
    axis.invert_yaxis()
    axis.set(
        title=_openings_finding(room, need, min(free)), xlabel="area [cm²]",
        xlim=(0.0, 1.1 * max(*built, need.free_cm2, 1.0)),
    )  # fmt: skip
    axis.grid(axis="x", color=PALE)
    axis.set_axisbelow(True)
    figure.legend(loc="outside lower center", ncols=3, frameon=False)
    return figure


def _openings_finding(room: Room, need: AirNeed, smaller_cm2: float) -> str:
    if need.free_cm2 <= 0.0:
        return "This battery makes no gas in use; openings keep the room cool"
    if room.fan_m3_per_h >= need.flow_m3_per_h:
        return f"The fan's {room.fan_m3_per_h:g} m³/h do for the {need.flow_m3_per_h:.1f} needed"
    share = smaller_cm2 / need.free_cm2
    if share >= 1.0:
        return f"Openings are large enough: {share:.1f} times what the gas needs"
    return f"Openings are too small: {100.0 * share:.0f} % of what the gas needs"


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
        f"Batteries reach {hottest:.0f} °C; over the year {abs(warmer):.0f} K {word} than outdoors"
    )
