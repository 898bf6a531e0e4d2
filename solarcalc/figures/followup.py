"""Pictures of a logger's record: day by day, month by month, and by day and hour."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from solarcalc.basis.text import capital
from solarcalc.figures.style import DARK, LIGHT, MID, PALE, WARM, sheet, styled
from solarcalc.followup.answer import FollowUp
from solarcalc.followup.clock import by_day
from solarcalc.followup.daily import Finding, Measured

_MARKED = {"dust": ("dust", "////"), "string": ("string out of operation", "\\\\\\\\"),
           "step": ("sudden drop", "...."), "outage": ("outage", "xxxx"),
           "shade": ("shade", "----"), "clock": ("clock error", "++++")}  # fmt: skip
MOST_MONTHS = 14
"""Names of months with their years that stand side by side."""


@styled
def draw_measured_by_day(found: FollowUp) -> Figure:
    """Measured over expected energy of each day, its fitted line, and the findings' days."""
    if found.separated is None:
        raise ValueError("draw_measured_by_day: needs a record with measured light")
    days = found.separated.days
    stamps = pd.DatetimeIndex(days.index).tz_localize(None)
    when = np.asarray((stamps - pd.Timestamp("1970-01-01")).total_seconds() / 86400.0)
    figure, (axis,) = sheet(7.2, 3.0)
    axis.plot(when, 100.0 * days["ratio"], ls="none", marker="o", ms=3, color=MID,
              label="days that can be assessed")
    axis.plot(when, 100.0 * days["level"], color=DARK, lw=1.4, label="fitted line")
    named: set[str] = set()
    marked = [one for one in found.findings if one.kind in _MARKED and one.since is not None]
    for one in marked:
        label, hatch = _MARKED[one.kind]
        first = _days_since_1970(one.since or date(1970, 1, 1))
        last = float(when[-1]) if one.until is None else _days_since_1970(one.until)
        axis.axvspan(first, last, fc="none", ec=WARM, hatch=hatch, alpha=0.35, lw=0.8,
                     label=None if label in named else label)
        named.add(label)
    axis.set(ylabel="energy performance index [%]", ylim=(0.0, 130.0), title=_day_title(marked))
    _month_ticks(axis, [(place, stamp) for place, stamp in zip(when, stamps, strict=True)
                        if stamp.day == 1])  # fmt: skip
    axis.legend(loc="center left", bbox_to_anchor=(1.01, 0.5), frameon=False)  # no hatch over it
    axis.grid(color=PALE)
    return figure


def _month_ticks(
    axis: Axes, months: Sequence[tuple[float, date]], *, ha: str = "center"
) -> None:
    """Names of months with their years, so many as stand side by side."""
    shown = months[:: max(-(-len(months) // MOST_MONTHS), 1)]
    axis.set_xticks([place for place, _ in shown],
                    [f"{day:%b}\n{day:%Y}" for _, day in shown], ha=ha)  # fmt: skip


def _days_since_1970(day: date) -> float:
    return float((day - date(1970, 1, 1)).days)


def _day_title(marked: list[Finding]) -> str:
    names = list(dict.fromkeys(_MARKED[one.kind][0] for one in marked))
    if not names:
        return "Daily energy is as expected"
    text = " and ".join(names) if len(names) < 3 else ", ".join(names)
    return f"{capital(text)} visible in the daily energy"


@styled
def draw_ratio_by_month(found: FollowUp) -> Figure:
    """Performance ratio of each month, as it is and with the heat taken out."""
    months = found.months
    places = np.arange(len(months))
    figure, (axis,) = sheet(7.2, 2.8)
    if "ratio_25c" in months:
        starts = pd.DatetimeIndex(months.index)
        axis.bar(places, months["ratio"], color=LIGHT, ec=DARK, label="not corrected")
        free = months["ratio_25c_free"]
        axis.plot(places, free, color=WARM, marker="D", ms=5, ls="--",
                  label="corrected to 25 °C,\nbattery full left out")
        low = f"{starts[int(np.nanargmin(free.to_numpy()))]:%b %Y}" \
            if free.notna().any() else "no month"
        title = f"Temperature-corrected, battery full left out: {low} is lowest"
        words = "performance ratio of the array"
    else:
        starts = pd.DatetimeIndex([f"{name}-01" for name in months.index])
        axis.bar(places, months["ratio"], color=LIGHT, ec=DARK, label="all days")
        axis.plot(places, months["clear_ratio"], color=WARM, marker="D", ms=5, ls="--",
                  label="clear days")
        title, words = "Months against the typical year, including weather", "measured over design"
    axis.set(title=title, ylabel=f"{words} [-]", ylim=(0.0, None))
    _month_ticks(axis, list(zip(places.astype(float), starts, strict=True)))
    axis.grid(axis="y", color=PALE)
    axis.legend(loc="center left", bbox_to_anchor=(1.01, 0.5), frameon=False)
    return figure


@styled
def draw_ratio_map(measured: Measured) -> Figure:
    """Measured over expected power by day and hour; pale where the battery was full."""
    floor = 0.1 * float(measured.expected_w.quantile(0.995))
    bright = measured.expected_w > floor
    ratio = (100.0 * measured.power_w / measured.expected_w).where(bright & ~measured.full)
    block, dates = by_day(ratio)
    held, _ = by_day((bright & measured.full).astype(float).where(bright))
    figure, (axis,) = sheet(7.2, 3.0)
    extent = (0.0, float(len(dates)), 0.0, 24.0)
    axis.imshow(np.where(held.T > 0.5, 0.12, np.nan), aspect="auto", origin="lower", cmap="Greys",
                vmin=0.0, vmax=1.0, extent=extent, interpolation="nearest")
    picture = axis.imshow(block.T, aspect="auto", origin="lower", cmap="cividis", vmin=40.0,
                          vmax=120.0, extent=extent, interpolation="nearest")
    figure.colorbar(picture, ax=axis, label="energy performance index [%]")
    _month_ticks(axis, [(float(place), day) for place, day in enumerate(dates) if day.day == 1],
                 ha="left")  # fmt: skip
    axis.set_yticks([0, 6, 12, 18, 24])
    axis.set(ylabel="hour of the day [h]",
             title="Vertical edges are days, horizontal bands are hours; grey: battery full")
    axis.spines[["top", "right"]].set_visible(True)
    return figure
