"""How far what the package works out lies from what was measured, record by record.

``data/measured_bias.csv`` holds one comparison a row; `tests/refresh_measured.py` works it out.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from functools import cache

from solarcalc.basis.files import csv_lines, data_folder

FILE = "measured_bias.csv"
HEADS = ("quantity", "record", "place", "period", "hours", "bias_frac", "scatter_frac",
         "compared_with", "note")  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class MeasuredBias:
    """One quantity beside one measured record.

    Parameters
    ----------
    quantity : str
    record, place, period : str
        What was measured, where and when.
    hours : int
        Hours compared; 0 where the record could not be: the note says why.
    bias_frac : float
        Sum worked out over the sum measured, less one; NaN where not compared.
    scatter_frac : float
        Root mean square of the hours' differences over the mean measured; NaN likewise.
    compared_with : str
        What the measured values were, and by which model ours were made.
    note : str
    """

    quantity: str
    record: str
    place: str
    period: str
    hours: int
    bias_frac: float
    scatter_frac: float
    compared_with: str
    note: str

    @property
    def compared(self) -> bool:
        """Whether any hour could be compared."""
        return self.hours > 0


@cache
def measured_biases(quantity: str) -> tuple[MeasuredBias, ...]:
    """Every record of a quantity, in the order of the file.

    Raises
    ------
    ValueError
        When the columns are others, or the file has no record of the quantity.
    """
    first, *rows = csv.reader(csv_lines(data_folder() / FILE))
    if tuple(first) != HEADS:
        raise ValueError(f"data/{FILE}: the columns are {', '.join(HEADS)}")
    found = tuple(_record(row) for row in rows if row[0] == quantity)
    if not found:
        raise ValueError(f"data/{FILE}: no record of {quantity!r}")
    return found


def remaining_bias_frac(quantity: str, *, known_frac: float = 0.0) -> float:
    """Root mean square of the bias of a quantity over its compared records, [0 to 1].

    Parameters
    ----------
    quantity : str
    known_frac : float
        Standard deviation that another part of the uncertainty explains [0 to 1]: its square is
        taken off.
    """
    biases = [one.bias_frac for one in measured_biases(quantity) if one.compared]
    mean_square = sum(bias**2 for bias in biases) / len(biases)
    return math.sqrt(max(mean_square - known_frac**2, 0.0))


def _record(row: list[str]) -> MeasuredBias:
    known = dict(zip(HEADS, row, strict=True))
    return MeasuredBias(
        quantity=known["quantity"], record=known["record"], place=known["place"],
        period=known["period"], hours=int(known["hours"]),
        bias_frac=float(known["bias_frac"] or "nan"),
        scatter_frac=float(known["scatter_frac"] or "nan"),
        compared_with=known["compared_with"], note=known["note"],
    )  # fmt: skip
