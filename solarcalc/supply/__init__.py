"""Hour by hour: sun, store, grid and generator, and two boards; who is served and who waits."""

from solarcalc.supply.year import (
    UNSERVED_W,
    Board,
    Shedding,
    SupplyYear,
    simulate_year,
)

__all__ = ["UNSERVED_W", "Board", "Shedding", "SupplyYear", "simulate_year"]
