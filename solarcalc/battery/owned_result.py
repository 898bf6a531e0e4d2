"""What comes of judging a thing the customer already owns."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from solarcalc.basis.verdict import Outcome, Verdict
from solarcalc.sitefile.battery import VOLTAGE_CLASS_FRAC

Choice = Literal["keep", "use on the other board", "replace", "test first"]
CHOICES: tuple[Choice, ...] = ("keep", "use on the other board", "replace")
"""From the best to the worst; a thing without the test that decides is to be tested first."""

OUTCOMES: dict[str, Outcome] = {
    "keep": "passed", "use on the other board": "caution", "replace": "failed",
    "test first": "caution",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class BoardNeed:
    """What a board asks of its supply.

    Parameters
    ----------
    peak_w : float
        Highest load for minutes and more [W].
    surge_va : float
        Highest start of a motor or charger [VA].
    daily_wh : float
        Energy of a mean day [Wh].
    """

    peak_w: float
    surge_va: float
    daily_wh: float


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where a thing owned would work.

    Parameters
    ----------
    bank_voltage_v : float
        Nominal, of the bank to be [V].
    critical, heavy : BoardNeed
        The board that must not go dark, and the other one, which may wait.
    yield_kwh_per_kw_per_year : float or None
        What a kilowatt of modules brings here, where it is known [kWh/kW].
    """

    bank_voltage_v: float
    critical: BoardNeed
    heavy: BoardNeed
    yield_kwh_per_kw_per_year: float | None = None


@dataclass(frozen=True, kw_only=True)
class Judgement:
    """Keep, use on the other board, or replace: with what follows from each.

    Parameters
    ----------
    label, kind : str
        Of the thing.
    choice : {"keep", "use on the other board", "replace", "test first"}
    why : tuple of str
        What was found, one sentence each.
    consequences : mapping
        What follows from each of the three choices, in words and figures.
    values : mapping
        Named figures, unit last in the name.
    verdicts : tuple of Verdict
        The choice first, then each test.
    """

    label: str
    kind: str
    choice: Choice
    why: tuple[str, ...]
    consequences: Mapping[str, str]
    values: Mapping[str, float]
    verdicts: tuple[Verdict, ...]


def same_class(one_v: float, other_v: float) -> bool:
    """Whether two nominal voltages [V] are of one class: 48 and 51.2, 24 and 25.6, 12 and 12.8."""
    return abs(one_v - other_v) <= float(VOLTAGE_CLASS_FRAC) * other_v


def worst(ranks: list[int], *, tested: bool) -> Choice:
    """The choice that the worst of the ranks (0 keep, 1 other board, 2 replace) leaves.

    Without the test that decides it is to be tested first, unless it is to be replaced anyway.
    """
    rank = max(ranks, default=0)
    return CHOICES[rank] if tested or rank == len(CHOICES) - 1 else "test first"


def choice_verdict(label: str, choice: Choice, *, clause: str, remedy: str) -> Verdict:
    """The verdict that tells the choice itself."""
    return Verdict(
        item=f"Owned: {label}", found=choice, limit="keep", unit="", outcome=OUTCOMES[choice],
        clause=clause, remedy="" if choice == "keep" else remedy,
    )  # fmt: skip
