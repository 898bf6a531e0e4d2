"""What sets or dries before anyone goes on, and for how long at least: ``data/setting.csv``."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from functools import cache

from solarcalc.basis.files import csv_lines, data_folder
from solarcalc.basis.sourced import constant

FILE = "setting.csv"
NOTHING = "nothing"
WIDE_SPAN_M = constant("programme.wide_span_m")


@dataclass(frozen=True, kw_only=True)
class Setting:
    """One thing that sets: `least_wait_h` by the clock [h], and words it is known by."""

    what: str
    least_wait_h: float
    words: tuple[str, ...]
    source: str

    def named_in(self, text: str) -> bool:
        """Whether a text speaks of it."""
        return any(re.search(rf"\b{re.escape(word)}", text.lower()) for word in self.words)


@cache
def settings() -> dict[str, Setting]:
    """Everything that sets, by its key, in the order of the file."""
    lines = [line for line in csv_lines(data_folder() / FILE) if not line.startswith("#")]
    return {
        row["what"]: Setting(
            what=row["what"], least_wait_h=float(row["least_wait_h"]),
            words=tuple(row["words"].split(";")), source=row["source"],
        )
        for row in csv.DictReader(lines)
    }  # fmt: skip


def setting_of(text: str) -> Setting | None:
    """What sets in a task or a unit of that name; None where nothing is known to.

    Examples
    --------
    >>> setting_of("Square metre of concrete roof").what
    'concrete-overhead'
    >>> setting_of("Fence") is None
    True
    """
    return next((one for one in settings().values() if one.named_in(text)), None)
