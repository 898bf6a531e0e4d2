"""What would change the year's energy: one thing changed at a time, the rest as the site has it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from solarcalc.harvest.energy import Harvest
from solarcalc.job.array import standing, yearly_harvest
from solarcalc.job.opening import Job, changed

Row = dict[str, Any]
Change = tuple[str, dict[str, dict[str, Any]]]

STEEPER_DEG = 10.0
TURNED_DEG = 30.0
CLOSER_FRAC = 0.8
OLDER_YEARS = 10.0
WIDE_GAP_M = 0.15
"""Sizes of the changes tried: round figures to see a direction by, no advice."""


def what_would_change_the_yield(job: Job, harvest: Harvest) -> list[Row]:
    """One row for each thing changed alone: usable energy of the year and the change in it."""
    rows = [_row("as the site file says", harvest.ac_kwh, harvest.ac_kwh)]
    for name, tables in _changes(job):
        rows.append(_row(name, yearly_harvest(changed(job, **tables)).ac_kwh, harvest.ac_kwh))
    return rows


def _changes(job: Job) -> Iterator[Change]:
    array, soiling, losses = job.site.array, job.site.soiling, job.site.losses
    if array.mounting != "flush":
        for word, turn in (("steeper", STEEPER_DEG), ("flatter", -STEEPER_DEG)):
            tilt_deg = min(max(array.tilt_deg + turn, 0.0), 90.0)
            tilted = {"tilt_deg": tilt_deg}
            yield f"{STEEPER_DEG:.0f}° {word}, tilt {tilt_deg:g}°", {"array": tilted}
        for turn in (TURNED_DEG, -TURNED_DEG):
            turned = {"azimuth_deg": (array.azimuth_deg + turn) % 360.0}
            yield f"facing {turned['azimuth_deg']:g}° from north", {"array": turned}
    stands = standing(job)
    closer_m = round(CLOSER_FRAC * stands.pitch_m, 2)
    if array.rows > 1 and stands.rows.lift_deg > 0.0 and closer_m >= stands.rows.footprint_m:
        yield f"rows closer, {closer_m:.2f} m apart", {"array": {"row_pitch_m": closer_m}}
    dust = min(2.0 * soiling.loss_per_dry_day_frac, 0.05)
    yield "twice the dust", {"soiling": {"loss_per_dry_day_frac": dust}}
    yield "washed on the 1st of every month", {
        "soiling": {"cleaning_dates": [f"{month:02d}-01" for month in range(1, 13)]}
    }
    if array.mounting == "small-gap":
        yield f"{100.0 * WIDE_GAP_M:.0f} cm of air under the modules", {
            "array": {"gap_under_m": WIDE_GAP_M}
        }
    yield f"{OLDER_YEARS:.0f} years older", {
        "losses": {"age_years": min(losses.age_years + OLDER_YEARS, 40.0)}
    }
    yield "half the cable losses", {"losses": {"dc_wiring_frac": 0.5 * losses.dc_wiring_frac}}


def _row(name: str, kwh: float, before_kwh: float) -> Row:
    change = 100.0 * (kwh / before_kwh - 1.0) if before_kwh > 0.0 else 0.0
    return {
        "what is changed": name,
        "usable energy [kWh]": kwh,
        "change [%]": change,
    }


def largest_changes_sentence(rows: list[Row]) -> str:
    """The change that helps most and the one that hurts most, in words."""
    tried = rows[1:]
    best = max(tried, key=lambda row: float(row["change [%]"]))
    worst = min(tried, key=lambda row: float(row["change [%]"]))
    gain, loss = float(best["change [%]"]), float(worst["change [%]"])
    helps = (
        f"Of what is tried here, most is won by: {best['what is changed']} ({gain:+.1f} %)"
        if gain > 0.05
        else "Nothing tried here wins energy"
    )
    hurts = (
        f"most is lost by: {worst['what is changed']} ({loss:+.1f} %)"
        if loss < -0.05
        else "nothing tried loses any"
    )
    return f"{helps}; {hurts}."
