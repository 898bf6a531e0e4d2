"""Every kind of thing a bill can hold: ``data/bill_items.csv``."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from solarcalc.basis.files import data_rows

CIVIL = "civil works"
"""Group of what the chosen place of the power room costs to build or clear."""


@dataclass(frozen=True, kw_only=True)
class Item:
    """A kind of thing to buy.

    Parameters
    ----------
    key : str
        In the price list, for all of the kind.
    name : str
        In words.
    unit : str
        It is counted in.
    group : str
        One of `GROUPS`.
    by : str
        Second unit a price may be given by, quantity times size: ``"W"`` for modules,
        ``"m mm2"`` for cable; empty where there is none.
    """

    key: str
    name: str
    unit: str
    group: str
    by: str


ITEMS: dict[str, Item] = {row["key"]: Item(**row) for row in data_rows("bill_items")}
"""Every kind by its key."""
GROUPS = (*dict.fromkeys(item.group for item in ITEMS.values()), CIVIL)
"""Groups of a bill, in the order they are printed."""


@lru_cache(maxsize=2048)
def kind_of(key: str) -> Item | None:
    """The kind that a key of a bill begins with, the longest; None for no key of any bill.

    Examples
    --------
    >>> kind_of("cable-copper-16mm2").name
    'Cable, copper, single core'
    """
    kinds = [one for one in ITEMS if key == one or key.startswith(f"{one}-")]
    return ITEMS[max(kinds, key=len)] if kinds else None
