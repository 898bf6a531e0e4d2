"""Make the INVENTED filled-in test sheets of demo sites; run it in this folder, with their names.

No such clinic and no such school exist and nobody measured anything. Readings of strings are those
of the fitted single diode in the light and heat written beside them, the others are a share of
their limit, all scattered a little as meters do. In the clinic two groups of cells of one module in
string 2 are bridged by their diodes, one bonding joint is poor and one test was left out, so that
there is something to find; in the school all is well.
"""

from __future__ import annotations

import csv
import sys
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pvlib

from solarcalc.circuit.module import five_parameters
from solarcalc.commissioning.facts import TestFacts
from solarcalc.commissioning.line import TestLine
from solarcalc.commissioning.results import COLUMNS
from solarcalc.design import open_design
from solarcalc.energy.diode import diode_of
from solarcalc.views.commissioning import sheet_of_site

SEED = 11
FIRST = {"ridge-clinic": datetime(2026, 11, 20, 11, 10),
         "plateau-school": datetime(2025, 10, 23, 11, 10)}
HEAD = "# INVENTED: nobody measured this. Sheet of the demo site {}, filled in by a model.\n"
GROUPS_LOST = 2
DIGITS = {"Ω": 3, "ms": 0, "MΩ": 1, "mA": 1, "A": 2}


def measured(line: TestLine, facts: TestFacts, noise: np.random.Generator) -> dict[str, str]:
    """Value of a string in the light and heat of its minute."""
    light, cell_c = float(round(noise.normal(776.0, 6.0))), round(float(noise.normal(46.0, 0.2)), 1)
    curve = pvlib.pvsystem.singlediode(
        *five_parameters(diode_of(facts.module), light, cell_c)
    )
    value = line.count * float(curve["v_oc"]) if line.unit == "V" else float(curve["i_sc"])
    value *= 1.0 + noise.normal(0.0, 0.002)
    digits = 1 if line.unit == "V" else DIGITS[line.unit]
    return {
        "value": f"{value:.{digits}f}", "irradiance_w_m2": f"{light:.0f}", "cell_c": f"{cell_c}",
    }  # fmt: skip


def read_off(line: TestLine, noise: np.random.Generator) -> str:
    """A good reading between the limits of a line."""
    if line.kind == "yes":
        return "yes"
    if line.unit == "MΩ":
        return f"{noise.uniform(12.0, 19.0):.1f}" if line.key == "array-insulation" else ">200"
    if line.low is None:
        value = float(line.high or 0.0) * noise.uniform(0.05, 0.35)
    else:
        value = 0.5 * (line.low + float(line.high or line.low))
        value *= 1.0 + noise.normal(0.0, 0.001)
    digits = 0 if value > 30.0 and line.unit == "Ω" else DIGITS.get(line.unit, 2)
    return f"{value:.{digits}f}"


def with_faults(row: dict[str, str], line: TestLine, facts: TestFacts) -> dict[str, str]:
    """What is wrong in the clinic."""
    if line.key == "voltage" and line.group == "string 2":
        lost = GROUPS_LOST / (line.count * facts.module.bypass_diodes)
        return {"value": f"{float(row['value']) * (1.0 - lost):.1f}", "note": "read twice"}
    if line.what == "rails":
        return {"value": "0.84", "note": "clamp on the painted rail"}
    if line.what.startswith("board goes off when the battery is low"):
        return {"value": "", "note": "no time", "who": "", "when": ""}
    return {}


def write_sheet(name: str) -> None:
    """Write the sheet of a demo site beside this file."""
    design, first = open_design(name), FIRST[name]
    facts, lines = sheet_of_site(design)
    noise, clock = np.random.default_rng(SEED), first
    rows = []
    for line in lines:
        row = {name: getattr(line, name) for name in ("id", "what", "where", "expected", "unit")}
        row |= {"irradiance_w_m2": "-", "cell_c": "-", "note": "", "who": "Invented Tester A",
                "when": first.strftime("%Y-%m-%d")}  # fmt: skip
        if line.wants_light:
            row |= measured(line, facts, noise) | {"when": clock.strftime("%Y-%m-%d %H:%M")}
            clock += timedelta(minutes=2)
        else:
            row["value"] = read_off(line, noise)
        if name == "ridge-clinic":
            row |= with_faults(row, line, facts)
        rows.append(row)
    path = Path(__file__).parent / f"{name}.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(HEAD.format(design.site.site.name))
        writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


if __name__ == "__main__":
    for site in sys.argv[1:]:
        write_sheet(site)
