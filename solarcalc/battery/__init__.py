"""The battery: what a bank holds, gives and takes, and how long it lasts."""

from solarcalc.battery.bank import Bank
from solarcalc.battery.store import HOURS_IN_MONTH, STORE_MODEL, Store, store_of

__all__ = ["HOURS_IN_MONTH", "STORE_MODEL", "Bank", "Store", "store_of"]
