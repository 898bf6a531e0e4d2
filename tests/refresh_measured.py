"""Work out light and array energy beside the measured records and write their rows anew.

    python tests/refresh_measured.py

``data/measured_bias.csv``: rows of other quantities stay as they are. The optional folder of
measured data must be there (`tests/measured_files.py`).
"""

from __future__ import annotations

import csv
import runpy
from pathlib import Path

TESTS = Path(__file__).resolve().parent
TABLE = TESTS.parent / "data" / "measured_bias.csv"


def main() -> None:
    """Write the rows."""
    light = runpy.run_path(str(TESTS / "measured_light.py"))
    array = runpy.run_path(str(TESTS / "measured_array.py"))
    measured_file = runpy.run_path(str(TESTS / "measured_files.py"))["measured_file"]
    rows = [
        *light["albuquerque_rows"](
            measured_file("measured/albuquerque_pv_met_1min_2015-11-11.csv")),
        *light["golden_rows"](
            measured_file("measured/golden_ghi_poa40S_temp_wind_1min_2019-03.csv")),
        *light["serf_west_rows"](),
        *light["NOT_COMPARED"],
        *array["albuquerque_rows"](
            measured_file("measured/albuquerque_pv_met_1min_2015-11-11.csv")),
    ]  # fmt: skip
    own, others = {light["QUANTITY"], *array["QUANTITIES"]}, []
    if TABLE.exists():
        with TABLE.open(encoding="utf-8", newline="") as file:
            others = [row for row in csv.DictReader(file) if row["quantity"] not in own]
    heads = ["quantity", "record", "place", "period", "hours", "bias_frac", "scatter_frac",
             "compared_with", "note"]  # fmt: skip
    with TABLE.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, heads, lineterminator="\n")
        writer.writeheader()
        writer.writerows([*rows, *others])


if __name__ == "__main__":
    main()
