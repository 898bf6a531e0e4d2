"""One thing found in a logger's file: how large, since when, how sure, and what to do."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.basis.verdict import Outcome, Verdict

Kind = Literal[
    "file", "units", "clock", "dust", "string", "step", "outage", "shade", "heat", "full battery",
    "ageing", "capacity", "plane",
]  # fmt: skip
Confidence = Literal["high", "medium", "low"]


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One thing found.

    Parameters
    ----------
    kind : str
        What it is, of a closed list.
    said : str
        In words, with its figures.
    size : float
        Share of what was expected while it lasted, [0 to 1]; for a clock, minutes; for notes on
        the file, a count.
    lost_kwh : float
        Energy of the array that it cost over the whole file [kWh]; 0 where it cost none.
    since, until : date or None
        First and last day; None where that has no meaning.
    confidence : {"high", "medium", "low"}
    remedy : str
        What to do.
    outcome : {"passed", "caution", "failed"}
        "passed" for what is said and needs no action.
    """

    kind: Kind
    said: str
    size: float = 0.0
    lost_kwh: float = 0.0
    since: date | None = None
    until: date | None = None
    confidence: Confidence = "medium"
    remedy: str = ""
    outcome: Outcome = "caution"

    @property
    def when(self) -> str:
        """The days it lasted, in words."""
        if self.since is None:
            return ""
        return f"{self.since}" if self.until is None else f"{self.since} to {self.until}"

    def verdict(self) -> Verdict:
        """The same as a check with its figures."""
        return Verdict(
            item=ITEMS[self.kind], found=f"{self.said} ({self.confidence} confidence)",
            limit=LIMITS[self.kind], unit="", outcome=self.outcome, clause=NO_SOURCE,
            remedy="" if self.outcome == "passed" else self.remedy,
        )  # fmt: skip


ITEMS: dict[Kind, str] = {
    "file": "The logger's file",
    "units": "Unit of the logger's power",
    "clock": "Clock of the logger against the sun",
    "dust": "Slow fall between washes (dust)",
    "string": "Strings at work",
    "step": "Sudden fall at all hours",
    "outage": "Days of little or no power",
    "shade": "Shade at the same hour day after day",
    "heat": "Heat of the modules",
    "full battery": "Sun that a full battery could not store",
    "ageing": "Yearly loss of power",
    "capacity": "Capacity of the battery",
    "plane": "Direction of the array against the sun",
}
LIMITS: dict[Kind, str] = {
    "file": "a value in every interval",
    "units": "highest power between 1/100 and 1.5 of the rated power",
    "clock": "within 25 min",
    "dust": "less than 3 % between washes",
    "string": "all of them",
    "step": "no fall of 5 % or more from one day to the next",
    "outage": "none",
    "shade": "less than 10 % at any hour that the design did not count",
    "heat": "within 8 K of the design",
    "full battery": "said, no fault of the array",
    "ageing": "as in the design",
    "capacity": "at least 80 % of the rating",
    "plane": "its clear days as the site file's plane has them",
}
