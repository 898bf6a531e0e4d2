"""Lines of the sizing worksheet, as a table."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import pandas as pd


@dataclass(frozen=True, kw_only=True)
class WorksheetLine:
    """One line of the worksheet.

    Parameters
    ----------
    number : int
        From 1.
    step : str
        What it gives, in site language.
    formula : str
        In words.
    figures : str
        The same with the figures put in.
    value : float
    unit : str
    source : str
    """

    number: int
    step: str
    formula: str
    figures: str
    value: float
    unit: str
    source: str


class Lines:
    """The lines as they are worked out, numbered from 1."""

    def __init__(self) -> None:
        self._lines: list[WorksheetLine] = []

    def add(
        self, step: str, formula: str, figures: str, value: float, unit: str, source: str
    ) -> None:
        """One line more."""
        self._lines.append(
            WorksheetLine(number=len(self._lines) + 1, step=step, formula=formula,
                          figures=figures, value=float(value), unit=unit, source=source)
        )  # fmt: skip

    def __iter__(self) -> Iterator[WorksheetLine]:
        return iter(self._lines)


def worksheet_table(lines: Iterable[WorksheetLine]) -> pd.DataFrame:
    """The lines as a table: step, formula, figures, value (rounded text), unit, source."""
    rows = [
        (line.step, line.formula, line.figures, f"{line.value:.4g}", line.unit, line.source)
        for line in lines
    ]
    return pd.DataFrame(
        rows, columns=["step", "formula", "figures", "value", "unit", "source"],
        index=pd.RangeIndex(1, len(rows) + 1, name="line"),
    )  # fmt: skip
