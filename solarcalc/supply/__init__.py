"""Hour by hour: sun, store, grid and generator, and two boards; who is served and who waits.

`simulate` runs one system with all its flows, `frontier` ten thousand pairs of array and bank.
Both bring the compiler in when they are called, not before; the first use after a change of the
code compiles for some seconds, and the machine code is then kept on disk.
"""

from solarcalc.supply.boards import (
    UNSERVED_W,
    Board,
    Shedding,
)
from solarcalc.supply.frontier import Prices, cost_front, frontier, smallest_that_meets, with_cost
from solarcalc.supply.presence import grid_present_frac, random_presence
from solarcalc.supply.run import SupplyRun, simulate
from solarcalc.supply.site import board_of, generator_of, grid_of, system_of
from solarcalc.supply.system import (
    Architecture,
    GeneratorSet,
    GridSupply,
    System,
)

__all__ = [
    "UNSERVED_W",
    "Architecture",
    "Board",
    "GeneratorSet",
    "GridSupply",
    "Prices",
    "Shedding",
    "SupplyRun",
    "System",
    "board_of",
    "cost_front",
    "frontier",
    "generator_of",
    "grid_of",
    "grid_present_frac",
    "random_presence",
    "simulate",
    "smallest_that_meets",
    "system_of",
    "with_cost",
]
