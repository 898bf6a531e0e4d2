"""Make the INVENTED list of serial numbers of the demo site plateau-school; run it in this folder.

Nothing of it exists.
"""

from __future__ import annotations

import csv
from pathlib import Path

from solarcalc.design import open_design
from solarcalc.stages.serials import COLUMNS, positions_of

HEAD = "# INVENTED: no such makers, models or numbers. Demo site Plateau Boarding School.\n"
UNTIL = {"module": "2037-10-24", "battery": "2030-10-24", "controller": "2030-10-24",
         "inverter": "2030-10-24"}  # fmt: skip
MODEL = {"module": "Invented IM-307", "battery": "Invented IG-2V-800",
         "controller": "Invented IT-1", "inverter": "Invented II-1"}  # fmt: skip


def main() -> None:
    """Write ``plateau-school.csv`` beside this file."""
    rows = []
    for number, one in enumerate(positions_of(open_design("plateau-school").installation)):
        row = {"position": one.name, "model": MODEL[one.kind],
               "serial": f"INV{one.kind[0].upper()}{4100 + 7 * number}",
               "warranty_until": UNTIL[one.kind]}  # fmt: skip
        rows.append(row)
    with Path(__file__).with_suffix("").with_name("plateau-school.csv").open(
        "w", encoding="utf-8", newline=""
    ) as file:
        file.write(HEAD)
        writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


if __name__ == "__main__":
    main()
