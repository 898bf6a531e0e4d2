"""Make the INVENTED logger's file of the demo site plateau-school; run it in this folder.

No such school or logger exists. A year of the site's synthetic weather goes through the design's
own array hour by hour, from the day after hand-over to the visit; a little noise, a wash that was
left out in the dry season, five days switched off and a string lost in October are put in, so
that the visit has something to find.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from solarcalc.design import Design, open_design
from solarcalc.stages.array import open_plane

SEED, FIRST_DAY, LAST_DAY = 23, "2025-10-25", "2026-11-16"
DUST_FRAC_PER_DAY, RAIN_ENDS, CLEANED = 0.002, "2026-04-20", "2026-08-01"
OFF = ("2026-02-10", "2026-02-14")
STRING_LOST = "2026-10-12"
HEAD = "# INVENTED logger of an invented school"


def main() -> None:
    """Write ``plateau-school.csv`` beside this file."""
    design = open_design("plateau-school")
    per_string = design.site.array.modules_in_series
    strings = design.site.array.module_count // per_string
    stamps = pd.date_range(FIRST_DAY, pd.Timestamp(LAST_DAY) + pd.Timedelta(hours=23), freq="h")
    lost = stamps >= pd.Timestamp(STRING_LOST)
    half = design.changed({"array": {"module_count": design.site.array.module_count - per_string}})
    table = hours_of(design, stamps)
    without = hours_of(half, stamps)
    for name in ("charge", "asked"):
        table[name] = table[name].where(~lost, without[name])
    kept = dusty(stamps)
    kept = np.where(lost, kept * (1.0 - 1.0 / strings), kept)
    off = (stamps >= pd.Timestamp(OFF[0])) & (stamps.normalize() <= pd.Timestamp(OFF[1]))
    noise = np.random.default_rng(SEED).normal(0.0, 0.02, len(stamps))
    power = np.where(off, 0.0, table["power"] * kept * (1.0 + noise))
    power = np.where(table["charge"] >= 0.97, np.minimum(power, 1.1 * table["asked"]), power)
    charge = np.where(off, table["charge"].clip(upper=0.9), table["charge"])
    logged = pd.DataFrame({
        "Time": stamps.strftime("%Y-%m-%d %H:%M"), "Array W": np.round(power).astype(int),
        "Light W/m2": np.round(table["light"]).astype(int).to_numpy(),
        "Charge %": np.round(100.0 * charge).astype(int),
    })  # fmt: skip
    (Path(__file__).parent / "plateau-school.csv").write_text(
        f"{HEAD}\n{logged.to_csv(index=False, lineterminator=chr(10))}", encoding="utf-8")


def hours_of(design: Design, stamps: pd.DatetimeIndex) -> pd.DataFrame:
    """Hours of a design's typical year, on the days of the logger: power of a clean array [W],
    light on it [W/m2], state of charge and what the boards are supplied with [W].
    """
    rows, supply = design.array.rows, design.supply
    light, dust = open_plane(design, rows.tilt_deg, rows.azimuth_deg)
    asked = supply.hours["essential_supplied_w"] + supply.hours["nonessential_supplied_w"]
    year = pd.DataFrame({
        "power": design.energy.hours["dc_w"].to_numpy() / (1.0 - dust.to_numpy()),
        "light": light["total"].to_numpy(), "charge": supply.state_of_charge.to_numpy(),
        "asked": asked.to_numpy(),
    })  # fmt: skip
    return year.iloc[(stamps.day_of_year - 1) * 24 + stamps.hour].set_index(stamps)


def dusty(stamps: pd.DatetimeIndex) -> np.ndarray:
    """What dust leaves of the light, from the last rain of the season to the late wash."""
    inside = (stamps >= pd.Timestamp(RAIN_ENDS)) & (stamps < pd.Timestamp(CLEANED))
    return np.where(inside, 1.0 - DUST_FRAC_PER_DAY * (stamps - pd.Timestamp(RAIN_ENDS)).days, 1.0)


if __name__ == "__main__":
    main()
