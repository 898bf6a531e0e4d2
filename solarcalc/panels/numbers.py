"""The numbers that stand beside a panel's picture, worked out step by step."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass

from solarcalc.basis.no_answer import NO_ANSWER, NoAnswer, or_why
from solarcalc.basis.quantity import grouped, in_percent, told_share
from solarcalc.design import Design
from solarcalc.panels.pictures import monthly_kwh
from solarcalc.stages.battery_life import told_years
from solarcalc.supply.energy import energy_kwh, energy_w
from solarcalc.variants import offer_of

STEPS = (
    "light", "energy", "supply", "weak_supply", "year_energy", "room_year", "life", "worksheet",
    "flows", "electrical", "earth", "room", "structure", "installation", "programme", "bill",
    "offer", "bills", "economics", "roof_checks", "energy_checks", "supply_checks",
    "electrical_checks", "ground_checks", "money_checks",
)  # fmt: skip
"""Stages that the numbers rest on, in an order in which each finds those before it done."""


@dataclass(frozen=True, kw_only=True)
class Numbers:
    """What matters of a design; None where it has no answer.

    Parameters
    ----------
    demand_kwh, supplied_kwh : float
        Of the year at the boards [kWh].
    without_supply_h : int
        Hours of the essential board [h/year].
    battery_years : float or None
        [years]
    price : float or None
        Total price, in `currency`.
    currency : str
    failed_safety, failed_other : int
        Failed checks.
    potential_kwh, missing_kwh : list of float
        By month: potential AC energy, energy not supplied [kWh].
    """

    demand_kwh: float | None
    supplied_kwh: float | None
    without_supply_h: int | None
    battery_years: float | None
    price: float | None
    currency: str
    failed_safety: int
    failed_other: int
    potential_kwh: list[float]
    missing_kwh: list[float]

    @property
    def supplied_frac(self) -> float | None:
        """Supplied of demand, [0 to 1]; None without a demand."""
        if self.supplied_kwh is None or not self.demand_kwh:
            return None
        return told_share(self.supplied_kwh, self.demand_kwh)

    def record(self) -> dict[str, object]:
        """Plain values."""
        return asdict(self)

    def rows(self) -> dict[str, str]:
        """Each number as printed, by its words with their unit."""
        return {
            "supplied of demand": NO_ANSWER if self.supplied_frac is None else (
                f"{in_percent(self.supplied_frac)} %"),
            "hours without supply, essential loads": _shown(self.without_supply_h, 0, " h/year"),
            "expected battery service life": _shown(self.battery_years, 1, " years"),
            "price": _shown(self.price, 0, f" {self.currency}"),
            "failed checks": f"{self.failed_safety + self.failed_other}",
            "failed checks, safety": f"{self.failed_safety}",
        }


def _shown(value: float | None, digits: int, unit: str) -> str:
    return NO_ANSWER if value is None else grouped(f"{value:.{digits}f}") + unit


def steps_of(design: Design) -> Iterator[None]:
    """Work the stages of a design out one after another; between two, something else may be done.

    Raises
    ------
    InputError
        By a stage whose input cannot stand; not where it merely has no answer.
    """
    for name in STEPS:
        if name not in design.kept:
            or_why(getattr)(design, name)
            yield


def numbers_of(design: Design) -> Numbers:
    """The numbers of a design, every check among them.

    Raises
    ------
    InputError
        As `steps_of`.
    """
    year, life = or_why(lambda: design.supply)(), or_why(lambda: design.life)()
    energy, offer = or_why(lambda: design.energy)(), offer_of(design)
    failed = design.failed
    safety = sum(check.kind == "safety" for check in failed)
    without = None if isinstance(year, NoAnswer) else year
    return Numbers(
        demand_kwh=None if without is None else energy_kwh(without, "demand"),
        supplied_kwh=None if without is None else energy_kwh(without, "supplied"),
        without_supply_h=None if without is None else without.hours_without_supply("essential"),
        battery_years=None if isinstance(life, NoAnswer) else told_years(life),
        price=None if isinstance(offer, NoAnswer) else float(offer.total),
        currency=design.prices.currency, failed_safety=safety,
        failed_other=len(failed) - safety,
        potential_kwh=[] if isinstance(energy, NoAnswer) else monthly_kwh(energy.hours["ac_w"]),
        missing_kwh=[] if without is None else monthly_kwh(energy_w(without, "not_supplied")),
    )  # fmt: skip
