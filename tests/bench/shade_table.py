"""What the shade table costs: making it once, and looking a year of hours up.

    python tests/bench/shade_table.py

The peer is the circuit itself, solved anew for each hour, over a sample of the same hours.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from circuit_cases import cells_of

from solarcalc.circuit.strings import Strung, along_row, kept_by_circuit_frac
from solarcalc.circuit.table import power_kept_frac, shade_table

HOURS = 8760
SAMPLE = 100


def line(figure: str, value: float, unit: str) -> None:
    """Print one figure as one JSON object."""
    print(json.dumps({"figure": figure, "value": round(value, 5), "unit": unit, "target": None,
                      "better": "higher" if unit == "times" else "lower"}))  # fmt: skip


def main() -> None:
    """Both module builds, both ways round, ten modules in series along a row."""
    dice = np.random.default_rng(1)
    fraction, diffuse = dice.random((2, HOURS))
    for build in ("full", "half-cut"):
        for way in ("portrait", "landscape"):
            strung = Strung(cells=cells_of(build), wiring=along_row(10), orientation=way)
            shade_table.cache_clear()
            times = [time.perf_counter()]
            shade_table(strung)
            times.append(time.perf_counter())
            power_kept_frac(fraction, diffuse, 500.0, 40.0, strung=strung)
            times.append(time.perf_counter())
            kept_by_circuit_frac(
                fraction[:SAMPLE], diffuse[:SAMPLE], 500.0, 40.0, strung=strung
            )
            times.append(time.perf_counter())
            make_s, look_s, circuit_s = np.diff(times)
            circuit_year_s = circuit_s * HOURS / SAMPLE
            line(f"{build} {way}: table made", make_s, "s")
            line(f"{build} {way}: year looked up", look_s, "s")
            line(f"{build} {way}: year by the circuit, from {SAMPLE} hours", circuit_year_s, "s")
            line(f"{build} {way}: circuit over look-up", circuit_year_s / look_s, "times")


if __name__ == "__main__":
    main()
