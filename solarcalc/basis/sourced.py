"""Numbers that cannot exist without a source."""

from __future__ import annotations

from dataclasses import dataclass

NO_SOURCE = "common practice, no source"
FROM_MEMORY = "from memory"


@dataclass(frozen=True, kw_only=True)
class Sourced:
    """A constant or default with its unit and where it comes from.

    Parameters
    ----------
    label : str
        What it is, in site language; printed under Assumptions in the report.
    value : float or str
    unit : str
    source : str
        Work, clause or table; or ``NO_SOURCE``; or ``FROM_MEMORY``.

    Raises
    ------
    ValueError
        When the source is empty.
    """

    label: str
    value: float | str
    unit: str
    source: str

    def __post_init__(self) -> None:
        if not self.source.strip():
            raise ValueError(f"{self.label}: a constant needs a source")

    def __float__(self) -> float:
        return float(self.value)
