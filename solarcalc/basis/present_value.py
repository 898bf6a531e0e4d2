"""What a yearly sum is worth today."""

from __future__ import annotations

import math


def annuity_years(interest_frac: float, paid_years: float) -> float:
    """Present worth of one a year, paid at each year's end, [years]: (1 - (1 + i)^-n) / i.

    Parameters
    ----------
    interest_frac : float
        A year [frac]; 0 is allowed and gives the years themselves.
    paid_years : float
        How many payments, one a year [years].

    Examples
    --------
    >>> round(annuity_years(0.1, 10), 4)
    6.1446
    """
    if interest_frac == 0.0:
        return float(paid_years)
    return -math.expm1(-paid_years * math.log1p(interest_frac)) / interest_frac
