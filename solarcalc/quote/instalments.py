"""Payment of a price in instalments, beside what is spent on energy today, month by month.

Interest is nominal and of today's money, as a lender quotes it. Left out: fees of a lender,
insurance of the debt, and the care that the system wants.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solarcalc.basis.present_value import annuity_years
from solarcalc.basis.sourced import constant
from solarcalc.quote.economics import Money
from solarcalc.quote.tariff import EnergyBills
from solarcalc.sitefile.quote import Instalments

MONTHS_A_YEAR = 12
SEASONAL_FRAC = constant("quote.seasonal_frac")


@dataclass(frozen=True, kw_only=True)
class InstalmentPlan:
    """A deposit and equal payments at the end of each month after the months of grace.

    Parameters
    ----------
    terms : Instalments
        Of the site file.
    deposit : float
        At the order.
    financed : float
        The rest of the total.
    payments : tuple of float
        One a month after the months of grace, in the money of the offer; what rounding leaves is
        in the last.
    """

    terms: Instalments
    deposit: Money
    financed: Money
    payments: tuple[Money, ...]

    @property
    def paid(self) -> Money:
        """All that is paid, deposit included."""
        return self.deposit + sum(self.payments)

    def due(self, month: int) -> Money:
        """What is due at the end of a month from the start, counted from 1."""
        paid = month - self.terms.grace_months
        return self.payments[paid - 1] if 1 <= paid <= len(self.payments) else 0.0


@dataclass(frozen=True, kw_only=True)
class MonthMoney:
    """One month of the first year: its number from January as 1, and what is paid in it.

    Parameters
    ----------
    month : int
    today : float
        On energy today, for what the system will supply.
    payment : float
    energy : float
        On grid and fuel with the system.
    """

    month: int
    today: Money
    payment: Money
    energy: Money

    @property
    def left(self) -> Money:
        """Today's spending less payment and energy; below 0 the month does not balance."""
        return self.today - self.payment - self.energy


def monthly_payment(debt: Money, yearly_rate_frac: float, months: int) -> Money:
    """Equal payments at each month's end that pay off a debt: D i / (1 - (1 + i)^-n).

    Parameters
    ----------
    debt : float
    yearly_rate_frac : float
        A twelfth of it a month [frac].
    months : int
        How many payments, 1 or more.

    Examples
    --------
    >>> round(monthly_payment(200000.0, 0.075, 180), 2)
    1854.02
    """
    return debt / annuity_years(yearly_rate_frac / MONTHS_A_YEAR, months)


def instalments_of(total: Money, terms: Instalments, decimals: int) -> InstalmentPlan | None:
    """Instalments of a total; None where the site file offers none, or the deposit is all of it.

    Parameters
    ----------
    total : float
        Tax included.
    terms : Instalments
    decimals : int
        Of money.

    Notes
    -----
    In the months of grace nothing is paid and the interest is added to the debt: D = F (1 + i)^g.
    """
    deposit = round(terms.deposit_frac * total, decimals)
    financed = round(total - deposit, decimals)
    if terms.months == 0 or financed <= 0.0:
        return None
    growth = 1.0 + terms.yearly_rate_frac / MONTHS_A_YEAR
    debt = financed * growth**terms.grace_months
    payment, payments = monthly_payment(debt, terms.yearly_rate_frac, terms.months), []
    for _ in range(terms.months - 1):
        payments.append(round(min(payment, debt * growth), decimals))
        debt = max(debt * growth - payments[-1], 0.0)
    payments.append(round(debt * growth, decimals))
    return InstalmentPlan(terms=terms, deposit=deposit, financed=financed,
                          payments=tuple(payments))  # fmt: skip


def first_year(plan: InstalmentPlan, bills: EnergyBills,
               first_month: int | None) -> list[MonthMoney]:
    """The first twelve months, by the name of the month.

    Parameters
    ----------
    plan : InstalmentPlan
    bills : EnergyBills
    first_month : int or None
        That the system works in, 1 to 12. None where nobody knows: then no month is named as one
        of grace, or after the last payment, and each is as when a payment is due.
    """
    today, still = bills.today_by_month, bills.still_by_month
    begin = (first_month or 1) - 1
    months = [(begin + past) % MONTHS_A_YEAR for past in range(MONTHS_A_YEAR)]
    return [
        MonthMoney(month=month + 1, today=float(today[month]), energy=float(still[month]),
                   payment=plan.due(past) if first_month else plan.payments[0])
        for past, month in enumerate(months, start=1)
    ]  # fmt: skip


def seasonal(year: list[MonthMoney]) -> bool:
    """Whether what is left differs between months by more than the length of a month explains."""
    for spent in ([one.today for one in year], [one.today - one.energy for one in year]):
        if float(np.ptp(spent)) > float(SEASONAL_FRAC) * abs(float(np.mean(spent))):
            return True
    return False
