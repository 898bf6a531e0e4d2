"""Make the INVENTED logger's file of the demo site ridge-clinic; run it in this folder.

No such clinic or logger exists. Eight months of the site's typical weather goes through the
design's own array hour by hour; a little noise, dust until a wash, one string lost in autumn, a
battery that is full on many middays and two gaps are put in, so that the follow-up has something
to find.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from solarcalc.design import open_design
from solarcalc.stages.array import open_plane

SEED, FIRST_DAY = 19, 120
DUST_FROM, CLEANED, DUST_FRAC_PER_DAY, STRING_LOST = 200, 260, 0.0025, 290
"""Days of the year, from 0."""


def main() -> None:
    """Write ``ridge-clinic.csv`` beside this file."""
    design = open_design("ridge-clinic")
    noise = np.random.default_rng(SEED)
    harvest, supply, rows = design.energy, design.supply, design.array.rows
    light, dust = open_plane(design, rows.tilt_deg, rows.azimuth_deg)
    day = np.arange(8760) // 24
    dusty = (day >= DUST_FROM) & (day < CLEANED)
    kept = np.where(dusty, 1.0 - DUST_FRAC_PER_DAY * (day - DUST_FROM), 1.0)
    strings = design.site.array.module_count // design.site.array.modules_in_series
    kept = np.where(day >= STRING_LOST, kept * (1.0 - 1.0 / strings), kept)
    power = harvest.hours["dc_w"].to_numpy() / (1.0 - dust.to_numpy()) * kept
    power *= 1.0 + noise.normal(0.0, 0.02, 8760)
    charge = supply.state_of_charge.to_numpy()
    hours = supply.hours
    asked = (hours["essential_supplied_w"] + hours["nonessential_supplied_w"]).to_numpy()
    held = charge >= 0.97
    power = np.where(held, np.minimum(power, 1.1 * asked), power)
    stamps = pd.date_range("2025-01-01", periods=8760, freq="h")
    table = pd.DataFrame(
        {
            "Time": stamps.strftime("%Y-%m-%d %H:%M"),
            "Array W": np.round(power).astype(int),
            "Light W/m2": np.round(light["total"].to_numpy()).astype(int),
            "Charge %": np.round(100.0 * charge).astype(int),
        }
    )
    gone = (day < FIRST_DAY) | ((day >= 140) & (day < 142)) | ((day >= 300) & (day < 301))
    lines = ["# INVENTED logger of an invented clinic", table[~gone].to_csv(index=False)]
    (Path(__file__).parent / "ridge-clinic.csv").write_text(
        "\n".join(lines).rstrip() + "\n", encoding="utf-8"
    )


if __name__ == "__main__":
    main()
