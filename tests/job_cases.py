"""Demo jobs at other stages: the school at its handover, with two gaps in its list of numbers."""

from __future__ import annotations

import csv
import tempfile
from functools import cache
from pathlib import Path

from solarcalc.basis.files import demo_sites
from solarcalc.design import Design, open_design

LACKING = {"G2.17": "serial", "T3": "warranty_until"}
"""Position of the list, and what nobody has filled in there."""
LATER, NOT_ISSUED = ("drawings", "BK", "VL"), ("HF", "VL", "CL")
"""What is not signed by then, and not issued."""
NOBODY = {"name": "", "licence": "", "date": "", "fingerprint": ""}


@cache
def list_with_gaps() -> Path:
    """The school's serial numbers without one number and one last day."""
    full = demo_sites()["plateau-school"].parents[1] / "handover" / "plateau-school.csv"
    first, *lines = full.read_text(encoding="utf-8").splitlines()
    rows = [row | {LACKING[row["position"]]: ""} if row["position"] in LACKING else row
            for row in csv.DictReader(lines)]  # fmt: skip
    path = Path(tempfile.mkdtemp(prefix="solarcalc-test-")) / "serials.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(f"{first}\n")
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    return path


@cache
def school_at_handover() -> Design:
    """Tested and signed; list with gaps, drawings neither approved nor brought up to as built."""
    status = open_design("plateau-school").site.status
    signed = [one.model_dump() for one in status.signed if one.what not in LATER]
    issued = [one.model_dump() for one in status.issued if one.document not in NOT_ISSUED]
    return open_design("plateau-school", {
        "status": {"stage": "handover", "signed": signed, "issued": issued, "actions": [],
                   "next_date": "2025-12-12"},
        "handover": {"serials": str(list_with_gaps()), "claims": []}, "checked": NOBODY,
    })  # fmt: skip
